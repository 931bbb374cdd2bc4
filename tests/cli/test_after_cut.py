"""`plybook keep`, `recut` and `record`: what happens to shelf, pieces and log at the table."""

import hashlib
import json
import shutil
import subprocess
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path

import pytest
import shapely
import shapely.affinity
import yaml

from plybook.builtfolder import latest_plan
from plybook.cli import main
from plybook.diagnostics import UsageError
from plybook.drawing.document import SERIAL
from plybook.outside import Outside
from plybook.record import compare, read_record
from plybook.record.compare import known_fields
from plybook.recutting import _meant
from plybook.verify import verify_folder
from tests.record.bench import Device

SPECS = Path(__file__).parents[2] / "specs"


@pytest.fixture
def shop(hatch_out, tmp_path):
    """The shipped specs and the built hatch, to be changed."""
    shutil.copytree(SPECS, tmp_path / "specs")
    shutil.copytree(hatch_out, tmp_path / "out")
    return tmp_path


def run(shop, *words):
    return main([*words, "--out", str(shop / "out")])


def shelf(shop) -> dict:
    text = (shop / "specs" / "shared" / "stock.yaml").read_text()
    return {entry["id"]: entry for entry in yaml.safe_load(text)["stock"]}


def plan(shop, name="TN-420") -> dict:
    return json.loads((shop / "out" / name / "plan.json").read_bytes())


def after_recuts(shop, name="TN-420") -> dict:
    """The plan of a part with the layouts of its recut, put together by hand."""
    data = plan(shop, name)
    (again,) = (shop / "out").glob("*-recut/recut.json")
    now = {row["stock"]: row for row in json.loads(again.read_bytes())["layouts"][name]}
    kept = [now.pop(row["stock"], row) for row in data["layouts"]]
    return {**data, "layouts": [*kept, *now.values()]}


def faults(shop) -> list[str]:
    return [f for report in verify_folder(shop / "out").folders for f in report.faults]


def ring_of(plan, row):
    """A placed piece by the arithmetic of the contract: mirror, turn, move."""
    outline = next(p for p in plan["pieces"] if p["id"] == row["piece"])["outline_mm"]
    shape = shapely.Polygon(outline)
    if row["flipped"]:
        shape = shapely.affinity.scale(shape, 1, -1, origin=(0, 0))
    shape = shapely.affinity.rotate(shape, row["rotation_deg"], origin=(0, 0))
    return shapely.affinity.translate(shape, row["x_mm"], row["y_mm"])


# ---------------------------------------------------------------- keep


def test_the_roll_is_shorter_by_what_was_cut_and_remarks_stay(shop, capsys):
    used = next(x for x in plan(shop)["layouts"] if x["stock"] == "TW-1")["used_length_mm"]
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml"), "--received", "2026-06-01") == 0
    after = shelf(shop)
    left = after["TW-1"]["length"]
    assert 42_000 - used - 10 < left <= 42_000 - used  # whole mm, less the knife's gap
    text = (shop / "specs" / "shared" / "stock.yaml").read_text()
    assert "# left over from the fuselage floor" in text and "# a dent" in text
    assert any(entry.get("received") and name.endswith("-rest") for name, entry in after.items())
    assert "left: TW-1" in capsys.readouterr().out


def test_nothing_is_taken_off_the_shelf_twice(shop, capsys):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "keep", spec) == 0
    once = shelf(shop)
    assert run(shop, "keep", spec) == 1
    assert shelf(shop) == once
    assert "kept-already" in capsys.readouterr().err


def test_a_build_after_it_was_kept_is_kept_only_when_it_is_cut_once_more(shop, capsys):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "keep", spec) == 0
    once = shelf(shop)
    manifest = shop / "out" / "TN-420" / "manifest.json"
    manifest.write_bytes(rebuilt_from(manifest, shop))
    assert run(shop, "keep", spec) == 1
    assert "kept-before" in capsys.readouterr().err and shelf(shop) == once
    assert run(shop, "keep", spec, "--again") == 0
    assert shelf(shop) != once  # another left-over


def rebuilt_from(manifest, shop):
    """The manifest of a build of the spec and its stock as they are now."""
    facts = json.loads(manifest.read_bytes())
    for part in facts["parts"]:
        for file in part["spec"]:
            content = (shop / "specs" / file["file"]).read_bytes()
            file["sha256"] = hashlib.sha256(content).hexdigest()
    return json.dumps(facts).encode()


KILLED = """
    import os, sys
    at, calls, real = int(sys.argv[1]), [], os.replace
    def counted(*given):
        calls.append(given)
        if len(calls) > at:
            os._exit(9)
        return real(*given)
    os.replace = counted
    from plybook.cli import main
    sys.exit(main(["keep", sys.argv[2], "--out", sys.argv[3]]))
"""


@pytest.mark.parametrize("at", [0, 1])
def test_cut_short_a_keep_is_ended_by_the_next_and_counts_once(shop, at):
    spec, out = str(shop / "specs" / "hatch.yaml"), str(shop / "out")
    whole = shop / "whole"
    shutil.copytree(shop / "specs", whole / "specs")
    shutil.copytree(shop / "out", whole / "out")
    assert run(whole, "keep", str(whole / "specs" / "hatch.yaml")) == 0
    words = [sys.executable, "-c", textwrap.dedent(KILLED), str(at), spec, out]
    assert subprocess.run(words, check=False).returncode == 9
    assert run(shop, "keep", spec) == 0
    assert shelf(shop) == shelf(whole)
    assert run(shop, "keep", spec) == 1 and shelf(shop) == shelf(whole)
    assert not list((shop / "specs" / "shared").glob(".plybook*"))


def test_a_link_stays_a_link_and_the_file_keeps_its_mode(shop):
    stock = shop / "specs" / "shared" / "stock.yaml"
    real = stock.with_name("real.yaml")
    stock.rename(real)
    stock.symlink_to("real.yaml")
    real.chmod(0o600)
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml")) == 0
    assert stock.is_symlink() and real.stat().st_mode & 0o777 == 0o600
    assert shelf(shop)["TW-1"]["length"] < 42_000


@pytest.mark.parametrize("damage", ["", "[", '{"parts": 5}', '{"parts": {"a": 1}, "writing": []}'])
def test_a_damaged_list_of_what_was_kept_is_told(shop, capsys, damage):
    (shop / "out" / ".plybook-kept.json").write_text(damage)
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml")) == 1
    assert "kept-list-damaged" in capsys.readouterr().err


def test_show_changes_nothing(shop, capsys):
    before = shelf(shop)
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml"), "--show") == 0
    assert shelf(shop) == before
    assert "would change" in capsys.readouterr().out


def test_parts_that_share_a_roll_are_named_together(shop, capsys):
    path = shop / "out" / "TN-420" / "plan.json"
    data = plan(shop)
    row = dict(data["layouts"][0]["placements"][0])
    outline = data["pieces"][0]["outline_mm"]
    data["layouts"][0]["also_cut"] = [{**row, "part": "TN-999", "outline_mm": outline}]
    path.write_text(json.dumps(data))
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml")) == 1
    assert "cut-together" in capsys.readouterr().err


def test_a_part_that_is_not_built_is_refused(shop, capsys):
    shutil.rmtree(shop / "out" / "TN-420")
    assert run(shop, "keep", str(shop / "specs" / "hatch.yaml")) == 1
    assert "not-built" in capsys.readouterr().err


def test_a_date_that_is_none_is_refused(shop, capsys):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "keep", spec, "--received", "1.6.2026") == 1
    assert "not-a-date" in capsys.readouterr().err


# ---------------------------------------------------------------- recut


def test_a_spoiled_piece_is_cut_elsewhere_and_the_others_stay(shop):
    assert run(shop, "recut", str(shop / "specs" / "hatch.yaml"), "A1") == 0
    before, after = plan(shop), after_recuts(shop)

    def places(data):
        return {(p["piece"], p["copy"]): p for row in data["layouts"] for p in row["placements"]}

    old, new = places(before), places(after)
    assert set(old) == set(new)
    assert [key for key in old if old[key] != new[key]] == [("A1", 1)]
    (row,) = [r for r in after["layouts"] if any(p["piece"] == "A1" for p in r["placements"])]
    rings = {p["piece"]: ring_of(after, p) for p in row["placements"]}
    spoiled = ring_of(before, old["A1", 1])
    fresh = rings.pop("A1")
    assert fresh.intersection(spoiled).area < 1.0
    assert all(fresh.intersection(other).area < 1.0 for other in rings.values())
    folder = shop / "out" / "TN-420-recut"
    assert (folder / "cutplan.pdf").read_bytes().startswith(b"%PDF")
    assert (folder / "cutplan" / f"{row['stock']}.dxf").exists()
    assert faults(shop) == []


def test_a_second_spoiled_piece_starts_from_the_first_recut(shop):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "recut", spec, "A1") == 0
    assert run(shop, "recut", spec, "A2") == 0
    zones = [len(row["bad_zones_mm"]) for row in after_recuts(shop)["layouts"]]
    assert sum(zones) == sum(len(row["bad_zones_mm"]) for row in plan(shop)["layouts"]) + 2
    assert faults(shop) == []


def moved(again):
    again["layouts"]["TN-420"][0]["placements"][0]["x_mm"] += 3.0


def open_again(again):
    """The place of the spoiled piece may be cut again."""
    row = next(r for r in again["layouts"]["TN-420"] if r["bad_zones_mm"])
    row["bad_zones_mm"].pop()


def of_another(again):
    again["spoiled"][0]["piece"] = "A2"


def not_there(again):
    again["spoiled"][0]["outline_mm"][0][0] += 5.0


def other_build(again):
    again["builds"]["TN-420"] = "0" * 64


def more(again):
    again["note"] = "cut where you like"


@pytest.mark.parametrize("forge", [moved, open_again, of_another, not_there, other_build, more])
def test_a_forged_recut_is_caught(shop, forge):
    assert run(shop, "recut", str(shop / "specs" / "hatch.yaml"), "A1") == 0
    folder = shop / "out" / "TN-420-recut"
    again = json.loads((folder / "recut.json").read_bytes())
    forge(again)
    data = json.dumps(again).encode()
    (folder / "recut.json").write_bytes(data)
    listing = json.loads((folder / "manifest.json").read_bytes())
    for entry in listing["files"]:
        if entry["name"] == "recut.json":
            entry |= {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
    (folder / "manifest.json").write_text(json.dumps(listing))
    assert any("recut.json" in f or "neighbours" in f or "cutplan" in f for f in faults(shop))


def test_a_recut_of_an_earlier_build_counts_no_more(shop):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "recut", spec, "A1") == 0
    manifest = shop / "out" / "TN-420" / "manifest.json"
    manifest.write_bytes(manifest.read_bytes() + b"\n")
    assert latest_plan("TN-420", shop / "out", Outside()) == plan(shop)
    assert any("another build of TN-420" in f for f in faults(shop))


@pytest.mark.slow
def test_what_is_kept_counts_the_spoiled_piece(shop):
    spec = str(shop / "specs" / "hatch.yaml")
    first = shop / "first"
    shutil.copytree(shop / "specs", first / "specs")
    shutil.copytree(shop / "out", first / "out")
    assert run(first, "keep", str(first / "specs" / "hatch.yaml")) == 0
    for piece in ("A1", "A2", "B1", "B2") * 2:
        assert run(shop, "recut", spec, piece) == 0
    assert run(shop, "keep", spec) == 0
    assert shelf(shop)["TW-1"]["length"] < shelf(first)["TW-1"]["length"]


@pytest.fixture
def two(tmp_path):
    """Two hatches cut from one roll."""
    shutil.copytree(SPECS, tmp_path / "specs")
    for path in (tmp_path / "specs").glob("*.layouts.json"):
        path.unlink()
    first = tmp_path / "specs" / "hatch.yaml"
    second = tmp_path / "specs" / "hatch2.yaml"
    second.write_text(first.read_text().replace("TN-420", "TN-421"))
    assert run(tmp_path, "build", str(first), str(second), "--effort", "quick") == 0
    return tmp_path


@pytest.mark.slow
def test_parts_on_one_roll_know_of_each_others_spoiled_pieces(two):
    specs = [str(two / "specs" / name) for name in ("hatch.yaml", "hatch2.yaml")]
    for spec, piece in ((specs[1], "B1"), (specs[0], "A1"), (specs[1], "A2"), (specs[0], "B2")):
        assert run(two, "recut", spec, piece) == 0
    (folder,) = (two / "out").glob("*-recut")
    assert folder.name == "TN-420+TN-421-recut"
    assert faults(two) == []
    plans = [after_recuts(two, "TN-420"), after_recuts(two, "TN-421")]
    rolls = [next(r for r in p["layouts"] if r["stock"] == "TW-1") for p in plans]
    shapes = [ring_of(p, row) for p, r in zip(plans, rolls, strict=True) for row in r["placements"]]
    assert len(shapes) == 8
    for n, shape in enumerate(shapes):
        assert all(shape.intersection(other).area < 1.0 for other in shapes[:n])
    assert [len(r["bad_zones_mm"]) for r in rolls] == [4, 4]
    assert rolls[0]["used_length_mm"] == rolls[1]["used_length_mm"]
    assert run(two, "keep", *specs) == 0


def test_a_piece_or_part_that_is_not_there_is_refused(shop, capsys):
    spec = str(shop / "specs" / "hatch.yaml")
    assert run(shop, "recut", spec, "Q7") == 2
    assert run(shop, "recut", spec, "A1", "--copy", "2") == 2
    assert run(shop, "recut", spec, "A1", "--part", "TN-1") == 2
    told = capsys.readouterr().err
    assert "no piece is called `Q7`" in told and "there are A1, A2, C, B1" in told
    assert "A1 is cut once; there is no copy 2" in told and "no-such-part" in told
    assert not (shop / "out" / "TN-420-recut").exists()


@dataclass
class Cut:
    id: str
    layer: str
    quantity: int = 1


@pytest.mark.parametrize(
    ("asked", "id"),
    [("A.1", "A.1"), ("B", "B.1-A"), ("b", "B.1-A"), ("B1a", "B.1-A"), ("a2", "A.2")],
)
def test_a_piece_is_known_by_its_layer_or_without_its_signs(asked, id):
    assert _meant(asked, 1, [Cut("A.1", "A"), Cut("A.2", "A"), Cut("B.1-A", "B")]) == id


def test_a_layer_of_several_pieces_asks_which():
    with pytest.raises(UsageError) as refused:
        _meant("A", 1, [Cut("A.1", "A"), Cut("A.2", "A")])
    assert refused.value.findings[0].help == "say which: A.1, A.2"


# ---------------------------------------------------------------- record


@pytest.fixture
def record(shop):
    """A record in which everything was ticked, as the booklet exports it."""
    data = plan(shop)
    part = data["part"]
    frame = {key: part[key] for key in ("name", "revision", "hand")} | {
        "part": part["number"], "plan": data["record_key"], "serial": "003",
    }  # fmt: skip
    device = Device()
    device.put("article.book", {k: v for k, v in frame.items() if k != "serial"})
    for id in known_fields(data):
        device.put(id, "003" if id == SERIAL else True)
    file = shop / "record.json"
    file.write_text(json.dumps(device.export(frame)))
    return file


def test_a_record_is_checked_and_printed(shop, record, capsys):
    home = str(shop / "out" / "TN-420")
    code = main(["record", str(record), "--plan", home])
    read = read_record(Outside().read(record, 2_000_000))
    found = compare(read, plan(shop))
    assert code == (1 if any(f.severity == "error" for f in found) else 0)
    folder = shop / "out" / "TN-420-as-built"
    assert (folder / "as-built.pdf").read_bytes().startswith(b"%PDF")
    assert b"As-built" in (folder / "as-built.html").read_bytes()
    told = capsys.readouterr()
    assert "open point" in told.out and "record-mass-missing" in told.err


def test_coats_ticked_within_seconds_and_words_for_a_time_are_told(shop):
    """Four coats of wax with a wait after each, all ticked within eight seconds."""
    data = plan(shop)
    wax = next(s for g in data["stages"] for s in g["steps"] if s["name"] == "wax")
    waits = [t["seconds"] for t in wax["timers"] if t["kind"] == "wait"]
    assert len(wax["checks"]) == len(waits) == 4 and min(waits) >= 20 * 60
    device = Device()
    for n, check in enumerate(wax["checks"]):
        device.put(f"{wax['id']}.{check['id']}", True, at=f"2026-06-01T10:00:0{2 * n}+00:00")
    cup = data["quantities"]["batches"][0]
    device.put(f"{cup['step']}.{cup['id']}.mixed", "ok")
    frame = {k: data["part"][k] for k in ("name", "revision", "hand")} | {
        "part": "TN-420", "plan": data["record_key"], "serial": "",
    }  # fmt: skip
    record = read_record(json.dumps(device.export(frame)).encode())
    found = [f for f in compare(record, data) if "Wax" in f.message or cup["id"] in f.message]
    short = [f.message for f in found if f.code == "record-wait-short"]
    assert len(short) == 3 and all("are 2 s apart" in message for message in short)
    assert any("says 'ok', which is no time" in f.message for f in found)


def test_a_record_of_another_revision_ends_with_1(shop, record, capsys):
    record.write_text(record.read_text().replace('"revision": "A"', '"revision": "Z"'))
    home = str(shop / "out" / "TN-420")
    assert main(["record", str(record), "--plan", home, "--no-book"]) == 1
    assert "record-revision-mismatch" in capsys.readouterr().err
    assert not (shop / "out" / "TN-420-as-built").exists()


def test_a_file_that_is_no_record_is_refused(shop, capsys):
    assert main(["record", str(SPECS / "hatch.yaml"), "--plan", str(shop / "out" / "TN-420")]) == 1
    assert "record-not-json" in capsys.readouterr().err


def test_the_record_tells_compare_what_is_cut(shop, record, capsys):
    home = str(shop / "out" / "TN-420")
    code = main(["compare", home, home, "--record", str(record), "--format", "json"])
    assert code == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told["cut_already"]) == {p["id"] for p in plan(shop)["pieces"]}
