"""`plybook verify` calls a good build sound and catches one that was tampered with."""

import hashlib
import json
import re

import pytest

from plybook.cli import main
from plybook.verify import verify_folder

PART = "TN-420"


def faults(folder):
    return [fault for report in verify_folder(folder).folders for fault in report.faults]


def reseal(folder, name, data):
    """Change a file and its entry in the manifest, as a careful forger would."""
    (folder / name).write_bytes(data)
    manifest = json.loads((folder / "manifest.json").read_bytes())
    for entry in manifest["files"]:
        if entry["name"] == name:
            entry.update(bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
    (folder / "manifest.json").write_text(json.dumps(manifest))


def change_plan(folder, change):
    plan = json.loads((folder / "plan.json").read_bytes())
    change(plan)
    reseal(folder, "plan.json", json.dumps(plan).encode())


def piece(plan, kind="ply"):
    return next(p for p in plan["pieces"] if p["kind"] == kind)


def test_a_fresh_build_is_sound(hatch_out, capsys):
    assert main(["verify", str(hatch_out)]) == 0
    said = capsys.readouterr().out
    assert "sound" in said and "FAULT" not in said and "not checked" in said


def test_a_folder_without_a_build_is_not_sound(tmp_path):
    assert "no manifest.json" in faults(tmp_path)[0]
    assert main(["verify", str(tmp_path / "missing")]) == 1


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
        (lambda p: p["quantities"]["batches"][0]["parts"][0].update(mass_g=1.0), "sum to"),
        (lambda p: p["stages"].reverse(), "laid after"),
        (lambda p: p["pieces"].append(dict(piece(p))), "stands twice"),
        (lambda p: p.pop("pieces"), "cannot be read"),
    ],
)
def test_a_forged_plan_is_caught_by_what_the_other_files_say(hatch_copy, change, words):
    change_plan(hatch_copy / PART, change)
    assert any(words in fault for fault in faults(hatch_copy)), faults(hatch_copy)


def shift_first_coordinate(data):
    """Move the first vertex of the first cut in a DXF by one millimetre."""
    text = data.decode()
    at = text.index("LWPOLYLINE", text.index("ENTITIES"))
    while "CUT\n" not in text[at : at + 200]:
        at = text.index("LWPOLYLINE", at + 1)
    match = re.compile(r"\n 10\n([-\d.]+)\n").search(text, at)
    return (text[: match.start(1)] + str(float(match[1]) + 1.0) + text[match.end(1) :]).encode()


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("templates/A1.dxf", shift_first_coordinate, "from plan.json"),
        ("templates/A1.dxf", lambda d: d.replace(b"$INSUNITS\n 70\n4", b"$INSUNITS\n 70\n1"),
         "$INSUNITS"),
        ("templates/A1.dxf", lambda d: d[: len(d) // 2], "cannot be read"),
        ("templates/A1.svg", lambda d: d.replace(b'width="', b'width="1', 1), "scales"),
        ("booklet.html", lambda d: d.replace(b"A2", b"A9"), "does not name"),
        ("booklet.html", lambda d: d.replace(b'href="#', b'href="http://x.test/#', 1), "names"),
        ("tables/resin.csv", lambda d: d.replace(b"\r\nR1,", b"\r\nR0,", 1), "sums to"),
    ],
)  # fmt: skip
def test_a_forged_file_is_caught_by_the_plan(hatch_copy, name, change, words):
    folder = hatch_copy / PART
    data = (folder / name).read_bytes()
    forged = change(data)
    assert forged != data, "the test did not change the file"
    reseal(folder, name, forged)
    assert any(words in fault for fault in faults(hatch_copy)), faults(hatch_copy)
