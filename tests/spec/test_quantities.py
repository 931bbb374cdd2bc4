"""Units and words, one value at a time.

Inch, ounce, yard: exact definitions (international yard and pound agreement, 1959).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from plybook.diagnostics import Place, SpecError
from plybook.finishing import Found, finish
from plybook.outside import Shelf
from plybook.spec import load
from plybook.spec.model import Core, Ply
from plybook.spec.quantities import Wrong, length_of
from plybook.spec.reader import Scalar
from plybook.starters import starter_text
from tests.spec.goods import SHARED, SKIN, edit, faults, read


def chord(written: str) -> float:
    return read(edit(SKIN, "chord: 1000", f"chord: {written}")).specs[0].mould.stations[1].chord_mm


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        ("1000", 1000),
        ("1000 mm", 1000),
        ("40 in", 1016),
        ("40 inch", 1016),
        ("'40 1/2 in'", 1028.7),
        ("'3 ft'", 914.4),
        ('"3\' 6\\""', 1066.8),
        ("'1 yd'", 914.4),
        ("1.05 m", 1050),
        ("40in", 1016),
    ],
)
def test_lengths_in_the_listed_forms(written, mm):
    assert chord(written) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    "written", ["12 MM", "1.2m5", "1,000", "1_000", "0x10", "'12 inches'", "x"]
)
def test_other_forms_of_length_are_refused(written):
    assert faults(edit(SKIN, "chord: 1000", f"chord: {written}"))


@pytest.mark.parametrize(
    ("written", "mm"), [("3/4", 19.05), ("1 1/2", 38.1), ("12 3/16", 309.5625)]
)
def test_a_bare_fraction_is_one_of_inches_and_only_where_inches_are_declared(written, mm):
    assert length_of(Scalar(written, Place("f", 1, 1)), "in") == pytest.approx(mm, abs=1e-9)
    for units in ("mm", None):
        with pytest.raises(Wrong):
            length_of(Scalar(written, Place("f", 1, 1)), units)


def test_units_may_be_mixed_in_one_list():
    text = edit(SKIN, "size: [180, 120]", "size: [18 cm, 4 in]")
    insert = next(layer for layer in read(text).specs[0].layers if layer.id == "H1")
    assert (insert.region.length_mm, insert.region.width_mm) == (180, 101.6)


@pytest.mark.parametrize("written", ["45", "45 deg", "45°", "45 °", "+45", "45.0", "'45°'"])
def test_angles(written):
    assert read(edit(SKIN, "angle: 45", f"angle: {written}")).specs[0].layers[0].angle_deg == 45


@pytest.mark.parametrize(
    ("written", "seconds"),
    [("12 h", 43200), ("90 min", 5400), ("1 h 30 min", 5400), ("2 d", 172800), ("30 s", 30)],
)
def test_times(written, seconds):
    stage = read(edit(SKIN, "cure: 12 h", f"cure: {written}")).specs[0].stages[3]
    assert stage.cure_s == seconds


@pytest.mark.parametrize("written", ["12", "12 hr", "30 min 1 h", "1 h 2 h", "-1 h", "h", "500 d"])
def test_odd_times_are_refused(written):
    assert len(faults(edit(SKIN, "cure: 12 h", f"cure: {written}"))) == 1


@pytest.mark.parametrize(
    ("written", "g_m2"),
    [
        ("200", 200),
        ("200 g/m2", 200),
        ("200 g/m²", 200),
        ("5.7 oz/yd2", 193.2628),  # 1 oz/yd2 = 33.905747 g/m2
        ("1.5 oz/ft2", 457.7276),  # mat is sold by the square foot: a factor of nine
    ],
)
def test_weights_by_area(written, g_m2):
    shared = edit(SHARED, "weight: 200 g/m2", f"weight: {written}")
    cloth = read(SKIN, shared_yaml=shared).specs[0].materials.cloths["twill"]
    assert cloth.areal_g_m2 == pytest.approx(g_m2, abs=1e-3)


@pytest.mark.parametrize(
    ("written", "kg_m3"), [("80", 80), ("5 lb/ft3", 80.0923), ("0.08 g/cm3", 80)]
)
def test_core_densities(written, kg_m3):
    shared = edit(SHARED, "density: 80,", f"density: {written},")
    core = read(SKIN, shared_yaml=shared).specs[0].materials.cores["foam"]
    assert core.density_kg_m3 == pytest.approx(kg_m3, abs=1e-3)  # 1 lb/ft3 = 16.01846337 kg/m3


@pytest.mark.parametrize(("written", "grams"), [("400", 400), ("0.4 kg", 400), ("14 oz", 396.893)])
def test_masses(written, grams):
    shared = edit(SHARED, "largest_batch: 400 g", f"largest_batch: {written}")
    resin = read(SKIN, shared_yaml=shared).specs[0].materials.resins["epoxy"]
    assert resin.largest_batch_g == pytest.approx(grams, abs=1e-3)


def test_a_sheet_of_four_by_eight_feet_is_2438_4_by_1219_2():
    assert read(SKIN).specs[0].materials.cores["foam"].sheet_mm == (2438.4, 1219.2)


def test_the_cured_ply_thickness_follows_weight_density_and_fibre_share():
    """200 g/m2, 1.80 g/cm3, 50 % by volume: 0.2222 mm (A_w / rho V_f, as in ASTM D3171 II)."""
    cloth = read(SKIN).specs[0].materials.cloths["twill"]
    assert cloth.thickness_mm == pytest.approx(0.2222, abs=5e-5)


def test_an_implausible_weight_is_a_warning_that_shows_the_figure():
    loaded = read(SKIN, shared_yaml=edit(SHARED, "weight: 200 g/m2", "weight: 0.2"))
    (one,) = loaded.findings
    assert (one.severity, one.code) == ("warning", "implausible-weight")
    assert "0.2 g/m2" in one.message and "10 to 3000" in one.message


def test_a_declared_thickness_that_does_not_match_is_a_warning_with_both_numbers():
    text = SKIN + "choices: {thickness: 5}\n"
    (one,) = read(text).findings
    spec = read(SKIN).specs[0]
    total = sum(
        spec.materials.cloths[layer.material].thickness_mm
        if isinstance(layer, Ply)
        else layer.thickness_mm * isinstance(layer, Core)
        for layer in spec.layers
        if isinstance(layer, (Ply, Core))
    )
    assert one.code == "thickness-differs"
    assert f"{total:.2f} mm" in one.message and "5.00 mm" in one.message and "10%" in one.message


def test_a_finding_that_is_accepted_carries_the_reason():
    text = SKIN + "choices: {thickness: 5}\n"
    text = edit(text, "accept:\n", "accept:\n  - {finding: thickness-differs, because: a guess}\n")
    loaded = read(text)
    told = finish([Found(loaded.specs[0], loaded.findings)], complete=False).findings
    assert [f.acknowledged for f in told] == ["a guess"]


def test_a_material_of_the_part_itself_that_is_never_used_is_a_warning():
    own = (
        "materials:\n  cores:\n    extra: {name: E, thickness: 5, density: 80, sheet: [100, 100]}\n"
    )
    (one,) = read(SKIN + own).findings
    assert (one.severity, one.code) == ("warning", "unused-material")


@pytest.mark.parametrize("word", ["yes", "no", "true", "false", "Yes"])
def test_yes_and_no(word):
    text = edit(SKIN, "    seams: [", f"    perforate: {word}\n    seams: [")
    core = next(layer for layer in read(text).specs[0].layers if layer.id == "C1")
    assert core.perforate is (word.lower() in ("yes", "true"))


@pytest.mark.parametrize("name", ["no", "on", "210", "1e3", "null", "~x", "'045'", "Käse 日本"])
def test_a_name_is_its_text_whatever_yaml_would_make_of_it(name):
    text = edit(SKIN, "name: Outer skin", f"name: {name}")
    assert read(text).specs[0].part.name == name.strip("'")


def test_a_length_in_millimetres_under_inches_is_told_as_such():
    """A starter in millimetres of which only `units` was changed."""
    text = starter_text("channel").replace("units: mm", "units: in", 1)
    with pytest.raises(SpecError) as refused:
        load(Path("part.yaml"), Shelf({"part.yaml": text.encode()}))
    helps = [f.help for f in refused.value.findings if "`at` is 1500 in" in f.message]
    assert helps and helps[0].startswith("in this file a bare number is in inches: write `1500 mm`")


@pytest.mark.parametrize(
    ("written", "mpas"), [("300", 300), ("300 mPa s", 300), ("300 cP", 300), ("0.3 Pa s", 300)]
)
def test_viscosities(written, mpas):
    shared = edit(SHARED, "mix: {resin: 100", f"viscosity: {written}\n      mix: {{resin: 100")
    resin = next(iter(read(SKIN, shared_yaml=shared).specs[0].materials.resins.values()))
    assert resin.viscosity_mpas == pytest.approx(mpas)  # 1 cP = 1 mPa s (SI)


@pytest.mark.parametrize(
    ("written", "m2"), [("1e-10 m2", 1e-10), ("100 um2", 1e-10), ("100 darcy", 9.869233e-11)]
)
def test_permeabilities(written, m2):
    """1 darcy = 9.869233e-13 m2 (SI conversion tables, from memory)."""
    new = f"outer, kind: dry_layup, permeability: {written}"
    spec = edit(SKIN, "outer, kind: wet_laminate", new)
    stages = {stage.id: stage for stage in read(spec).specs[0].stages}
    assert stages["outer"].permeability_m2 == pytest.approx(m2, rel=1e-9)
    assert stages["outer"].inlet == "edge" and stages["inner"].permeability_m2 == 0.0


def stitched(written):
    return edit(SHARED, "weave: twill", written)


def test_fibres_of_a_stitched_cloth():
    shared = stitched("weave: biaxial\n      fibres: [0, 90 deg]")
    assert read(SKIN, shared_yaml=shared).specs[0].materials.cloths["twill"].fibres_deg == (0, 90)
    plain = read(SKIN, shared_yaml=stitched("weave: biaxial"))
    assert plain.specs[0].materials.cloths["twill"].fibres_deg is None


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("weave: twill\n      fibres: [0, 90]", "is not stitched"),
        ("weave: biaxial\n      fibres: [0, 45, -45]", "2 different directions"),
        ("weave: biaxial\n      fibres: [45, 45]", "2 different directions"),
        ("weave: triaxial\n      fibres: [90, -90, 0]", "3 different directions"),
        ("weave: biaxial\n      fibres: [0, 60]", "alike on both sides of the warp"),
    ],
)
def test_fibres_that_a_cloth_cannot_have(written, said):
    (one,) = faults(SKIN, shared_yaml=stitched(written))
    assert one.code == "wrong-fibres" and said in one.message
    assert one.places[0].file == "shared.yaml"
