"""`plybook verify` calls a good build sound and catches one that was tampered with."""

import json
import random
import re
import shutil

import pytest

from plybook.cli import main
from plybook.verify import verify_folder
from plybook.verify.lengths import check_lengths
from plybook.verify.report import Report
from tests.forging import (
    change_plan,
    faults,
    page_bytes,
    reseal,
    smaller,
    swap,
    with_page,
)

PART = "TN-420"


def piece(plan, kind="ply"):
    return next(p for p in plan["pieces"] if p["kind"] == kind)


def test_a_fresh_build_is_sound(hatch_out, capsys):
    assert main(["verify", str(hatch_out)]) == 0
    said = capsys.readouterr().out
    assert "sound" in said and "FAULT" not in said and "not checked" in said


def test_a_folder_without_a_build_is_not_sound(tmp_path):
    assert "no manifest.json" in faults(tmp_path)[0]
    assert main(["verify", str(tmp_path / "missing")]) == 2


@pytest.mark.parametrize(
    "name", ["booklet.html", "booklet.pdf", "templates/A1.dxf", "plan.json", "tables/resin.csv"]
)
def test_a_changed_truncated_or_missing_file_is_caught(hatch_copy, name):
    path = hatch_copy / PART / name
    data = path.read_bytes()
    path.write_bytes(data.replace(b"1", b"2", 1))
    assert any(name in f and "hash" in f for f in faults(hatch_copy))
    path.write_bytes(data[: len(data) // 2])
    assert any(name in f and "bytes" in f for f in faults(hatch_copy))
    path.unlink()
    assert any(name in f for f in faults(hatch_copy))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: piece(p).update(angle_deg=30.0), "fibre arrow"),
        (lambda p: piece(p).update(angle_deg=30.0), "off the warp"),
        (lambda p: piece(p)["outline_mm"][0].__setitem__(0, -9.0), "from plan.json"),
        (lambda p: piece(p)["outline_mm"].reverse(), "clockwise"),
        (lambda p: piece(p).update(area_mm2=1.0), "its area is"),
        (lambda p: piece(p).update(quantity=2), "copies"),
        (lambda p: piece(p, "core")["edges"][0].update(treatment="square"), "where a square"),
        (lambda p: piece(p, "core")["edges"][0].update(angle_deg=30.0), "where a bevel"),
        (lambda p: p["layouts"][0]["placements"][0].update(x_mm=-50.0), "leaves the stock"),
        (lambda p: p["layouts"][0]["placements"][0].update(flipped=True), "face down"),
        (
            lambda p: p["layouts"][0]["placements"][0].update(
                x_mm=p["layouts"][0]["placements"][1]["x_mm"],
                y_mm=p["layouts"][0]["placements"][1]["y_mm"],
            ),
            "apart",
        ),
        (lambda p: p["layouts"][0]["placements"].pop(), "copies"),
        (lambda p: marks(p)[0].__setitem__(0, marks(p)[0][0] + 25.4), "off the piece"),
        (lambda p: marks(p)[0].__setitem__(0, marks(p)[0][0] - 25.4), "from the piece"),
        (lambda p: marks(p)[0].__setitem__(0, marks(p)[0][0] - 0.3), "no tape shows"),
        (lambda p: marks(p)[0].__setitem__(1, marks(p)[0][1] - 25.4 / 16), "where plan.json"),
        (lambda p: marks(p).reverse(), "not in their order"),
        (lambda p: p["quantities"]["batches"][0]["parts"][0].update(mass_g=1.0), "sum to"),
        (lambda p: [s["steps"].reverse() for s in p["stages"]], "laid after"),
        (lambda p: p["pieces"].append(dict(piece(p))), "stands twice"),
        (lambda p: p.pop("pieces"), "cannot be read"),
        (lambda p: p["layers"][0].update(angle_deg=10.0), "differs from its layer"),
        (lambda p: p["layers"][0]["pieces"].pop(), "just one layer"),
        (lambda p: p["layouts"][0].update(utilisation=0.99), "its pieces fill"),
        (lambda p: p["layouts"][0].update(bound_mm=1e6), "its least length"),
        (lambda p: p["quantities"]["resin"][0].update(amount=1.0), "its cups add up"),
        (lambda p: p["quantities"]["cloth"][0].update(amount=9.0), "the pieces add up"),
        (lambda p: p["materials"]["foam-6"].update(resin_uptake_g_m2=2500.0), "take "),
        (lambda p: p["quantities"]["mass"][0].update(amount=1.0), "is not there"),
        (lambda p: p["stages"][0]["steps"][0]["checks"][0].update(text="x"), "steps of plan.json"),
        (lambda p: p["layouts"][0]["placements"][0].update(x_mm=0.25), "placements.csv"),
        (lambda p: piece(p)["outline_mm"].insert(1, piece(p)["outline_mm"][0]), "crosses itself"),
        (lambda p: piece(p)["holes_mm"].append([[9, 9], [20, 9], [20, 20]]), "holes drawn"),
    ],
)
def test_a_forged_plan_is_caught_by_what_the_other_files_say(hatch_copy, change, words):
    change_plan(hatch_copy / PART, change)
    assert any(words in fault for fault in faults(hatch_copy)), faults(hatch_copy)


def marks(plan):
    """The corner points of the first piece that is cut."""
    return plan["layouts"][0]["placements"][0]["in_bay_mm"]


def shift_first_coordinate(data):
    """Move the first vertex of the first cut in a DXF by one millimetre."""
    text = data.decode()
    at = text.index("LWPOLYLINE", text.index("ENTITIES"))
    while "CUT\n" not in text[at : at + 200]:
        at = text.index("LWPOLYLINE", at + 1)
    match = re.compile(r"\n 10\n([-\d.]+)\n").search(text, at)
    return (text[: match.start(1)] + str(float(match[1]) + 1.0) + text[match.end(1) :]).encode()


def move_words(data, layer):
    """Put the first words of a DXF on another layer."""
    at = data.index(b"\nTEXT\n", data.index(b"\nENTITIES\n"))
    start = data.index(b"\n  8\n", at) + len(b"\n  8\n")
    return data[:start] + layer + data[data.index(b"\n", start) :]


def drawn_smaller(data, number):
    return with_page(data, number, smaller(page_bytes(data, number)))


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("templates/A1.dxf", shift_first_coordinate, "from plan.json"),
        ("templates/A1.dxf", lambda d: d.replace(b"$INSUNITS\n 70\n4", b"$INSUNITS\n 70\n1"),
         "$INSUNITS"),
        ("templates/A1.dxf", lambda d: d[: len(d) // 2], "cannot be read"),
        ("templates/A1.svg", lambda d: d.replace(b'width="', b'width="1', 1), "scales"),
        ("booklet.html", lambda d: d.replace(b"A2", b"A9"), "does not name"),
        ("booklet.html", lambda d: d.replace(b"305", b"300"), "12 in are 304.8 mm"),
        ("booklet.html", lambda d: d.replace(b'href="#', b'href="http://x.test/#', 1), "names"),
        ("tables/resin.csv", lambda d: d.replace(b"\r\nCup 1,", b"\r\nCup 0,", 1), "sums to"),
        ("tables/stock.csv", lambda d: d.replace(b"TW-1,", b"TW-9,", 1), "TW-1 differs"),
        ("tables/pieces.csv", lambda d: d.replace(b"A1,A1,ply", b"A1,A2,ply", 1), "A1 differs"),
        ("tables/placements.csv", lambda d: d.replace(b",no,,", b",yes,,", 1), "differs"),
        ("tables/placements.csv", lambda d: d + d.splitlines(True)[1], "stands twice"),
        ("tables/quantities.csv", lambda d: d.replace(b"cloth,", b"rod,", 1), "is not there"),
        ("tables/checks.csv", lambda d: d.replace(b",tick,", b",tick,not ", 1), "differs from"),
        ("templates/A1.dxf", lambda d: d.replace(b"\n  1\nA1\n", b"\n  1\nA2\n"), "largest words"),
        ("templates/A1.dxf", lambda d: move_words(d, b"CUT"), "no closed cut"),
        ("templates/A1.dxf", lambda d: move_words(d, b"0"), "no layer of their own"),
        ("templates/A1.dxf", lambda d: move_words(d, b"NOWHERE"), "not in its table"),
        ("templates/A1.svg", lambda d: d.replace(b'id="CUT"', b'id="NET"', 1), "outlines on layer"),
        ("cutplan/TW-1.dxf", lambda d: swap(d, b"\nA1\n", b"\nA2\n"), "in the outline of"),
        ("labels.pdf", lambda d: d[: len(d) // 2] + b"%%EOF", "labels.pdf"),
        ("templates/A1.svg", lambda d: d.replace(b">A1<", b">A2<"), "largest words"),
        ("cutplan/TW-1.svg", lambda d: swap(d, b">A1<", b">A2<"), "in the outline of"),
        ("templates-fullsize.pdf", lambda d: drawn_smaller(d, 0), "nowhere drawn at its size"),
        ("templates.pdf", lambda d: drawn_smaller(d, 3), "is headed"),
        ("booklet.html", lambda d: d.replace("<span>+45°".encode(), "<span>-45°".encode(), 1),
         "says ['-45°'] for ['+45°']"),
        ("booklet.html", lambda d: d.replace(b"<strong>resin ", b"<strong>resin 9", 1),
         "is told as resin9"),
        ("tables/resin.csv", lambda d: re.sub(rb",resin,(\d)", rb",hardener,\1", d, count=1),
         "differs from plan"),
        ("booklet.html", lambda d: d[: len(d) * 9 // 10], "cut short"),
    ],
)  # fmt: skip
def test_a_forged_file_is_caught_by_the_plan(hatch_copy, name, change, words):
    folder = hatch_copy / PART
    data = (folder / name).read_bytes()
    forged = change(data)
    assert forged != data, "the test did not change the file"
    reseal(folder, name, forged)
    assert any(words in fault for fault in faults(hatch_copy)), faults(hatch_copy)


def test_other_sheets_than_the_pieces_are_caught(hatch_copy):
    """Full-size sheets and labels of other pieces than the plan's, by swapping the files."""
    folder = hatch_copy / PART
    sheets = (folder / "templates-fullsize.pdf").read_bytes()
    labels = (folder / "labels.pdf").read_bytes()
    reseal(folder, "templates-fullsize.pdf", labels)
    reseal(folder, "labels.pdf", sheets)
    assert any("nowhere drawn at its size" in fault for fault in faults(hatch_copy))


def test_a_file_that_nobody_wrote_is_named_not_judged(hatch_copy):
    (hatch_copy / PART / "mine.txt").write_text("notes")
    (report,) = verify_folder(hatch_copy).folders
    assert report.sound and any("mine.txt" in said for said in report.unproved)


@pytest.mark.parametrize("name", ["../x", "/etc/passwd"])
def test_a_manifest_does_not_lead_out_of_the_folder(hatch_copy, name):
    path = hatch_copy / PART / "manifest.json"
    manifest = json.loads(path.read_bytes())
    manifest["files"][0]["name"] = name
    path.write_text(json.dumps(manifest))
    assert any("outside the folder" in fault for fault in faults(hatch_copy))


@pytest.mark.slow
def test_damage_at_random_is_a_fault_or_harmless_never_a_crash(hatch_out, tmp_path):
    """Bytes changed, cut off or doubled, each file resealed by a careful forger."""
    dice = random.Random(3)
    names = [p.relative_to(hatch_out / PART).as_posix() for p in (hatch_out / PART).rglob("*.*")]
    names = sorted(n for n in names if n != "manifest.json")
    caught = 0
    for turn in range(40):
        folder = tmp_path / str(turn)
        shutil.copytree(hatch_out / PART, folder)
        name = names[turn % len(names)]
        data = bytearray((folder / name).read_bytes())
        at, size = dice.randrange(len(data)), dice.randrange(1, 400)
        data[at : at + size] = [bytes(size), b"", data[at : at + size] * 2, b"((((<<<["][turn % 4]
        reseal(folder, name, bytes(data))
        caught += not verify_folder(folder).sound
        shutil.rmtree(folder)
    assert caught > 20


@pytest.mark.parametrize(
    ("words", "sound"),
    [
        ("12 in (304.8 mm)", True),
        ("12 in (300 mm)", False),
        ("3 ft 2 1/16 in (966.8 mm)", True),
        ("13/16 in (20.6 mm)", True),
        ("20 mm (13/16 in)", True),
        ("20 mm (7/8 in)", False),
        ("2</td><td>3/8 in (9.5 mm)", True),
    ],
)
def test_lengths_in_both_units_are_held_to_25_4_mm(words, sound):
    """25.4 mm to the inch, exact (international yard and pound agreement of 1959)."""
    report = Report("x")
    check_lengths({}, {"booklet.html": f"<p>{words}</p>".encode()}, report)
    assert report.sound is sound and sum(report.proofs.values()) == sound


def test_what_the_verifier_would_call_wrong_is_never_written(specs, tmp_path, monkeypatch, capsys):
    """A bevel that its edge does not explain, made up on the way: refused by name, no file."""
    import plybook.output as output

    honest = output.plan_dict

    def forged(*given):
        plan = honest(*given)
        piece(plan, "core")["edges"][0] |= {"treatment": "square", "angle_deg": 90.0}
        return plan

    monkeypatch.setattr(output, "plan_dict", forged)
    out = tmp_path / "out"
    hatch = str(specs / "hatch.yaml")
    assert main(["build", hatch, "--out", str(out), "--effort", "quick", "--format", "line"]) == 1
    said = capsys.readouterr().err
    assert "error[not-proved]" in said and "where a square" in said
    assert not out.exists()
