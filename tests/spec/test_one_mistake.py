"""One mistake in a good spec: one finding, at its place, in words that mend it."""

from __future__ import annotations

import pytest

from plybook.spec.laminate_code import expand
from tests.spec.goods import HATCH, SHARED, SKIN, edit, faults, place_of, read

# spec, old, new, code, where the caret stands (text, how many such texts come before), words
ONE_MISTAKE = [
    # B: syntax and typing
    (SKIN, "  name: Outer skin\n", "  name: Outer skin\n  name: Skin\n", "duplicate-key",
     ("name: Skin", 0), "lines 5 and 6"),
    (SKIN, "angle: 45", "angle: 045", "leading-zero", ("045", 0), "write 45"),
    (SKIN, "cure: 12 h", "cure: 12:30", "clock-number", ("12:30", 0), "12 min"),
    (SKIN, "by: 50", "by: 1,5", "decimal-comma", ("1,5", 0), "decimal point: 1.5"),
    (SKIN, "by: 50", "by: .nan", "not-finite", (".nan", 0), "finite"),
    (SKIN, "by: 50", "by: -.inf", "not-finite", ("-.inf", 0), "finite"),
    (SKIN, "by: 50", 'by: "50"', "quoted-number", ('"50"', 0), "remove the quotes"),
    (SKIN, "by: 50", "by: 2026-01-02", "not-a-length", ("2026-01-02", 0), "expected a length"),
    (SKIN, "name: Outer skin", "name: 2026-01-02", "date-as-text", ("2026-01-02", 0), "in quotes"),
    (SKIN, "name: Outer skin", "name: a: b", "not-yaml", (": b", 0), "in quotes"),
    (SKIN, "share: 0.25}", "share: 0.25", "not-yaml", (":\n  leading", 0), "not closed"),
    (SKIN, "name: Outer skin", "name: 'Outer skin", "not-yaml", None, "never closed"),
    (SKIN, "  date: 2026-05-04", "\tdate: 2026-05-04", "tab", ("\tdate", 0), "spaces"),
    (SKIN, "    angle: 45\n", "    angle:\n", "empty", ("angle:", 0), "`angle` is empty"),
    (SKIN, "    plies: 4\n", "    plies:\n", "empty", ("plies:", 1), "`plies` is empty"),
    (SKIN, "rise: 90", "rize: 90", "unknown-key", ("rize", 0), "did you mean `rise`"),
    (SKIN, "chord: 1000", "chrod: 1000", "unknown-key", ("chrod", 0), "did you mean `chord`"),
    (SKIN, "  tip: {trim", "  roll: 1\n  tip: {trim", "wrong-kind", ("1\n  tip", 0), "a mapping"),
    (SKIN, "axis: {share: 0.25}\n", "axis: {share: 0.25}\nroll: 1270\n", "misplaced-key",
     ("roll: 1270", 0), "belongs at `materials.cloths.<id>.roll`"),
    (SKIN, "angle: 45", "angle: !!python/object/apply:os.system 45", "unknown-tag",
     ("!!python", 0), "delete the tag"),
    (SKIN, "angle: 45", "angle: !mm 45", "unknown-tag", ("!mm", 0), "unknown tag"),
    (SKIN, "angle: 45", "angle: &a 45", "anchor", ("&a", 0), "write the value out"),
    (SKIN, "angle: 45", "angle: *a", "alias", ("*a", 0), "write the value out"),
    (SKIN, "axis: {share: 0.25}", "axis: {<<: {share: 0.25}}", "merge-key", ("<<", 0), "included"),
    (SKIN, "ply: P1", 'ply: "P\\n1"', "several-lines", ('"P\\n1"', 0), "one line"),
    (SKIN, "name: Outer skin", 'name: "a\\x07"', "control-character", ('"a', 0), "U+0007"),
    (SKIN, "name: Outer skin", 'name: "a\\0"', "control-character", ('"a', 0), "NUL"),
    (SKIN, "plybook: 1", "plybook: 2", "wrong-version", ("2", 0), "upgrade"),
    (SKIN, "plybook: 1\n", "", "no-version", ("include", 0), "plybook: 1"),
    (SKIN, "  units: mm\n", "", "missing", ("number", 0), "`units` is missing"),
    (SKIN, "hand: left", "hand: west", "unknown-word", ("west", 0), "left, right, none"),
    (SKIN, "twist: -1 deg", "twist: -0.02 rad", "radians", ("-0.02", 0), "in degrees"),
    (SKIN, "layers:\n", "workshop: {booklets_at: 192.168.0.7}\nlayers:\n", "not-an-address",
     ("192.168.0.7", 0), "http://192.168.0.7:8000/"),
    (SKIN, "date: 2026-05-04", "date: 2026-13-04", "not-a-date", ("2026-13", 0), "2026-05-04"),
    (SKIN, "  - {check: height, at: 1900, tolerance: 1.5}", "  - 5", "wrong-kind", ("5\naccept", 0),
     "expected a mapping"),
    # C: quantities
    (SKIN, "trim: 15", "trim: -15", "out-of-range", ("-15", 0), "expected 0 or more"),
    (SKIN, "trim: 15", "trim: 15 m", "out-of-range", ("15 m", 0), "--limit edge-mm"),
    (SKIN, "flange: 60", "flange: 1e4", "out-of-range", ("1e4", 0), "--limit edge-mm"),
    (SKIN, "chord: 1200", "chord: 0", "out-of-range", ("0, section", 0), "more than 0"),
    (SKIN, "plies: 4", "plies: 2.5", "not-whole", ("2.5", 0), "whole number"),
    (SKIN, "plies: 4", "plies: 0", "out-of-range", ("0\n    region", 0), "expected 1 or more"),
    (SKIN, "plies: 4", "plies: -1", "out-of-range", ("-1\n", 0), "expected 1 or more"),
    (SKIN, "chord: 1200", "chord: 12 furlongs", "not-a-length", ("12 furlongs", 0), "1.2 m"),
    (SKIN, "chord: 1200", "chord: 1e9", "out-of-range", ("1e9", 0), "--limit part-mm"),
    (SKIN, "chord: 1200", "chord: 5", "comes-to-a-point", ("{at: 0", 0), "--limit taper"),
    (SKIN, "chord: 1200", "chord: 1e-9", "out-of-range", ("1e-9", 0), "least-mm"),
    (SKIN, "cure: 12 h", "cure: 12", "unknown-unit", ("12}\n  - {stage: trim", 0), "8 h"),
    (SKIN, "angle: -45", "angle: 135", "out-of-range", ("135", 0), "at most 90"),
    (SKIN, "share: 0.3}", "share: 30}", "out-of-range", ("30}", 0), "at most 1"),
    # D: references and meaning
    (SKIN, "    cloth: twill\n    angle: 45", "    cloth: twil\n    angle: 45", "unknown-cloth",
     ("twil\n", 0), "did you mean `twill`"),
    (SKIN, "sheet: foam", "sheet: twill", "wrong-material", ("twill", 2), "is a cloth"),
    (SKIN, "  - film: PEEL1", "  - {ply: P1, cloth: twill, angle: 0}\n  - film: PEEL1",
     "duplicate-id", ("P1, cloth", 0), "two layers"),
    (SKIN, "  - film: PEEL1", "  - {plies: '[0]', as: P, cloth: twill}\n  - film: PEEL1",
     "duplicate-id", ("P, cloth", 0), "`P1`"),
    (SKIN, "  - film: PEEL1", "  - {ply: p1, cloth: twill, angle: 0}\n  - film: PEEL1",
     "duplicate-id", ("p1, cloth", 0), "capitals"),
    (SKIN, "in: C1", "in: C2", "unknown-core", ("C2", 0), "did you mean `C1`"),
    (SKIN, "layer: C1", "layer: C9", "unknown-layer", ("C9", 0), "did you mean `C1`"),
    (SKIN, "layer: C1", "layer: Q1", "region-loop", ("Q1, by", 0), "follows itself"),
    (SKIN, "layer: C1", "layer: B", "several-layers", ("B, by", 0), "B1, B2"),
    (SKIN, "towards: tip", "towards: top", "unknown-edge", ("top", 0), "did you mean `tip`"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B, R], inlet: middle", "wrong-stage",
     ("inlet: middle", 0), "make it a `dry_layup` stage"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B, R], permeability: 1e-10", "unknown-unit",
     ("1e-10", 0), "1e-10 m2 or 100 darcy"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B, R], permeability: 1 m2", "out-of-range",
     ("1 m2", 0), "at most 1000000 um2"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B, R], inlet: nowhere", "unknown-word",
     ("nowhere", 0), "edge, middle"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B]", "never-laid", ("stages:", 0), "`R1`"),
    (SKIN, "lays: [P1, B, R]", "lays: [P1, B, R, P1]", "laid-twice", ("P1]", 0), "two stages"),
    (SKIN, "lays: [P1, B, R]", "lays: [B, P1, R]", "laid-out-of-order", ("P1, R]", 0),
     "the order they are listed"),
    (SKIN, "lays: [C1, H1]", "lays: [C1, H1, ZZ]", "unknown-layer", ("ZZ", 0), "no layer `ZZ`"),
    (SKIN, "thickened: paste", "thickened: pasta", "unknown-thickened-resin", ("pasta", 0),
     "did you mean `paste`"),
    (SKIN, "removed_after: trim", "removed_after: trimming", "unknown-stage", ("trimming", 0),
     "did you mean `trim`"),
    (SKIN, "hand: left", "hand: none", "no-hand", ("KT-211", 0), "hand: left"),
    (SKIN, "other_hand: KT-211", "other_hand: KT-210", "duplicate-id", ("KT-210", 1), "own number"),
    (SKIN, "before: 300, step: 150", "before: 300, step: 1500", "run-too-long",
     ("{towards", 0), "smaller or fewer"),
    (SKIN, "before: 300, ", "", "missing", ("{towards", 0), "`before`"),
    (SKIN, "span: [0, 2400]", "span: [2400, 0]", "out-of-range", ("[2400", 0), "smaller first"),
    (SKIN, "span: [0, 2400]", "span: [4000, 5000]", "region-outside", ("[4000", 0), "0 to 3800"),
    (SKIN, '"[0/±45]s"', '"[0/±45"', "bad-laminate-code", ('"\n    as', 0), "`]` is missing"),
    (SKIN, '"[0/±45]s"', '"[0/±x]s"', "bad-laminate-code", ("±x", 0), "expected an angle"),
    (SKIN, '"[0/±45]s"', '"[0~/±45]s"', "bad-laminate-code", ('[0~', 0), "centre ply"),
    (SKIN, "{at: 1900, chord", "{at: 4000, chord", "station-order", ("3800", 0), "root to tip"),
    (SKIN, "section: naca 2410", "section: naca 63-215", "unknown-section", ("naca 63-215", 0),
     "four and five digits"),
    (SKIN, "section: naca 2410", "section: naca 651212", "unknown-section", ("naca 651212", 0),
     "6 digits"),
    (SKIN, "section: naca 2410", "section: naca 21112", "unknown-section", ("naca 21112", 0),
     "2 to 5"),
    (SKIN, "section: naca 2410", "section: naca 23412", "unknown-section", ("naca 23412", 0),
     "reflexed"),
    (SKIN, "section: naca 2410", "section: naca 03012", "unknown-section", ("naca 03012", 0),
     "first digit of 0"),
    (SKIN, "  side: upper\n", "", "missing", ("loft", 0), "side: upper"),
    (SKIN, "axis: {share: 0.25}\n", "", "missing", ("plybook", 0), "axis: {share: 0.25}"),
    (SKIN, "edges: {all: bevel 45", "edges: {all: bevelled", "unknown-cut", ("bevelled", 0),
     "`bevel 45`"),
    (SKIN, "seams: [{at: 1300}", "seams: [{at: 5300}", "region-outside", ("{at: 5300", 0), "3800"),
    (SKIN, "kind: trim", "kind: triming", "unknown-word", ("triming", 0), "did you mean `trim`"),
    (SKIN, "check: height, at: 1900", "check: height", "missing", ("{check", 0), "at: 1900"),
    # E: geometry
    (HATCH, "    - [12, 8]\n    - {to: [0, 8], edge: latch}\n", "", "outline-too-short",
     ("- [0, 0]", 0), "3 or more"),
    (HATCH, "    - [12, 8]\n    - {to: [0, 8], edge: latch}\n  corners: 1",
     "    - {to: [0, 8], edge: latch}\n    - [12, 8]\n  corners: 0", "outline-crosses-itself",
     ("- [0, 0]", 0), "(6, 4)"),
    (HATCH, "[12, 8]", "[12, 8, 1]", "not-a-point", ("[12, 8", 0), "[x, y]"),
    (HATCH, "[12, 8]", "[12, .nan]", "not-finite", ("[12, .nan", 0), "finite"),
    (HATCH, "[12, 8]", "[12, 1e9]", "out-of-range", ("[12, 1e9", 0), "--limit part-mm"),
    (HATCH, "[12, 8]", "[12, 0]", "repeated-point", ("[12, 0]\n", 0), "delete it"),
    (HATCH, "corners: 1", "corners: 5", "radius-too-large", None, "does not fit"),
    (HATCH, "circle: [6, 4]", "circle: [11.9, 4]", "hole-outside", ("{circle", 0), "meets"),
    (HATCH, "circle: [6, 4]", "circle: [30, 4]", "hole-outside", ("{circle", 0), "lies outside"),
    (HATCH, "    - [12, 8]", "    - {arc_to: [12, 8], through: [12, 4]}", "unknown-arc",
     ("{arc_to", 0), "on a line"),
    (HATCH, "    - [12, 8]", "    - {arc_to: [12, 8], radius: 1, turn: left}", "radius-too-small",
     ("{arc_to", 0), "at least"),
    (HATCH, "    - [12, 8]", "    - {arc_to: [12, 0], radius: 5, turn: left}", None,
     ("{arc_to", 0), "360"),
    (HATCH, "inset: 1}", "span: [0, 5]}", "wrong-region", ("span", 0), "flat face has no span"),
    # H: paths
    (SKIN, "include: shared.yaml", "include: [shared.yaml, ../../etc/passwd]", "outside-folder",
     ("../../etc", 0), "leads out"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, /etc/passwd]", "outside-folder",
     ("/etc", 0), "absolute"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, ~/x.yaml]", "outside-folder",
     ("~/x", 0), "home"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, 'file:///x']", "outside-folder",
     ("'file", 0), "address"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, '\\\\host\\x']", "outside-folder",
     ("'\\\\host", 0), "network"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, nought.yaml]", "no-such-file",
     ("nought", 0), "no file"),
    (SKIN, "include: shared.yaml", "include: [shared.yaml, part.yaml]", "include-loop",
     ("part.yaml", 0), "itself"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("good", "old", "new", "code", "at", "words"),
    ONE_MISTAKE,
    ids=[f"{n:03}-{row[3]}" for n, row in enumerate(ONE_MISTAKE)],
)
def test_one_mistake_gives_one_finding_at_its_place(good, old, new, code, at, words):
    text = edit(good, old, new)
    found = faults(text)
    told = [(f.code, f.message, f.help) for f in found]
    assert len(found) == 1, told
    one = found[0]
    if code is not None:
        assert one.code == code, told
    assert words in f"{one.message} {one.help}"
    if at is not None:
        place = one.places[0]
        assert (place.line, place.column) == place_of(text, *at)
        assert place.file == "part.yaml"
        assert place.end_column > place.column


def test_the_good_specs_are_good():
    assert [s.part.number for s in read(SKIN).specs] == ["KT-210", "KT-211"]
    assert read(SKIN).findings == ()
    assert len(read(HATCH).specs) == 1


def test_many_mistakes_are_told_at_once_in_the_order_of_the_file():
    text = SKIN.replace("rise: 90", "rize: 90").replace("trim: 15", "trim: -15")
    text = text.replace("plies: 4", "plies: x")
    found = faults(text)
    assert [f.code for f in found] == ["unknown-key", "out-of-range", "not-a-number"]
    assert [f.places[0].line for f in found] == sorted(f.places[0].line for f in found)


def test_an_id_in_two_included_files_shows_both_places():
    more = "plybook: 1\nunits: mm\nstock:\n  - {id: T1, roll: twill}\n"
    text = edit(SKIN, "include: shared.yaml", "include: [shared.yaml, more.yaml]")
    (one,) = faults(text, more_yaml=more)
    assert one.code == "duplicate-id"
    assert [p.file for p in one.places] == ["more.yaml", "shared.yaml"]


def test_a_material_in_two_included_files_shows_both_places():
    more = (
        "plybook: 1\nunits: mm\nmaterials:\n  cores:\n"
        "    foam: {name: F, thickness: 5, density: 80, sheet: [100, 100]}\n"
    )
    text = edit(SKIN, "include: shared.yaml", "include: [shared.yaml, more.yaml]")
    (one,) = faults(text, more_yaml=more)
    assert one.code == "duplicate-id"
    assert [(p.file, p.line) for p in one.places] == [("more.yaml", 5), ("shared.yaml", 16)]


def test_bare_lengths_in_a_file_without_units_are_told_once():
    (one,) = faults(SKIN, shared_yaml=edit(SHARED, "units: mm\n", ""))
    assert one.code == "no-units"
    assert one.places[0].file == "shared.yaml"
    assert "units: mm" in one.help


def test_nothing_to_cut_from_is_an_error_at_the_layer():
    (one,) = faults(
        SKIN, shared_yaml=edit(SHARED, "  - {id: F1, sheet: foam, quantity: as needed}\n", "")
    )
    assert one.code == "no-stock"
    assert one.places[0].line == place_of(SKIN, "core: C1")[0]


def test_lost_layers_do_not_cause_further_findings():
    """`C1` cannot be made; the insert, the region and the stage that name it are not at fault."""
    (one,) = faults(edit(SKIN, "sheet: foam", "sheet: foan"))
    assert one.code == "unknown-core-material"


@pytest.mark.parametrize(
    ("old", "new", "most"),
    [
        ("weight: 200 g/m2", "weight: 1.0e+308 g/m2", "at most 100000 g/m2"),
        ("length: 40 m}", "length: 1.0e+8 mm}", "at most 5000000 mm"),
        ("density: 1.13", "density: 1.0e+308", "at most 25 g/cm3"),
        ("density: 80,", "density: 1.0e+20,", "at most 25000 kg/m3"),
        ("materials:\n", "workshop: {cup_loss: 1.0e+308}\nmaterials:\n", "at most 1000000 g"),
        ("materials:\n", "workshop: {cup_loss: 2000 kg}\nmaterials:\n", "at most 1000000 g"),
    ],
)
def test_what_no_material_weighs_or_measures_is_refused(old, new, most):
    (one,) = faults(SKIN, shared_yaml=edit(SHARED, old, new))
    assert one.code == "out-of-range" and most in one.message


def test_an_insert_is_written_before_what_covers_its_core():
    start, end = SKIN.index("  - insert: H1"), SKIN.index("  - ply: Q1")
    film = SKIN.index("  - film: PEEL1")
    (one,) = faults(SKIN[:start] + SKIN[end:film] + SKIN[start:end] + SKIN[film:])
    assert one.code == "insert-covered"
    assert "written after `Q1`" in one.message and "next to `C1`" in one.help


def test_the_laminate_code_in_the_good_spec_is_what_is_laid():
    spec = read(SKIN).specs[0]
    laid = [layer.angle_deg for layer in spec.layers if getattr(layer, "group", "") == "B"]
    assert laid == expand("[0/±45]s") == [0, 45, -45, -45, 45, 0]


def test_five_thousand_plies_are_refused_with_the_name_of_the_limit():
    plies = "".join(f"  - {{ply: X{n}, cloth: twill, angle: 0}}\n" for n in range(5000))
    text = SKIN[: SKIN.index("layers:")] + "layers:\n" + plies
    (one,) = faults(text)
    assert one.code == "too-many" and "--limit layers=N" in one.help


def test_a_limit_that_is_raised_lets_the_spec_through():
    from pathlib import Path

    from plybook.spec import load
    from tests.spec.goods import shelf

    plies = "".join(f"  - {{ply: X{n}, cloth: twill, angle: 0}}\n" for n in range(1001))
    text = SKIN[: SKIN.index("layers:")] + "layers:\n" + plies
    assert faults(text)
    spec = load(Path("part.yaml"), shelf(text), {"layers": 2000, "laid-points": 1_000_000}).specs[0]
    assert len(spec.layers) == 1001
