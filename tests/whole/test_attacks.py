"""Inputs made to hurt: what each comes to now. None ends in a fault of our own."""

import copy
import errno
import json
import os
import re
import shutil

import pytest
import yaml

from plybook.cli import main
from plybook.verify import verify_folder
from tests.bench.bench_limits import ROWS as COSTLY
from tests.conftest import SPECS
from tests.record.bench import Device
from tests.whole.test_marking import SHARED

PLY = {"ply": "P1", "cloth": "carbon-twill-200", "angle": 45}
CORE = {"core": "C", "sheet": "foam-10", "region": {"inset": 20}}
SECTION = {"file": "sections/own.dat"}
LAYING = [
    {"stage": "mould", "kind": "mould_preparation"},
    {"stage": "lay", "kind": "wet_laminate", "lays": ["P1", "F"]},
    {"stage": "trim", "kind": "trim"},
]


def plate(*layers, **more):
    return {
        "plybook": 1, "include": SHARED,
        "part": {"number": "AT-1", "name": "Plate", "units": "mm", "date": "2026-05-04"},
        "mould": {"outline": [[0, 0], [300, 0], [300, 200], [0, 200]]},
        "layers": list(layers) or [PLY], **more,
    }  # fmt: skip


def skin(*stations, layers=(PLY,), **more):
    mould = {"side": "upper", "loft": "ruled", "stations": list(stations)}
    tree = plate(*layers, mould=mould, axis={"share": 0.25}, **more)
    tree["part"]["hand"] = "left"
    return tree


def wing(*layers):
    ends = [{"at": at, "chord": 600, "section": "naca 2412"} for at in (0, 900)]
    return skin(*ends, layers=(PLY, *layers))


def seam(start, end):
    return {**CORE, "seams": [{"from": start, "to": end}]}


def strip(start, end):
    return {**PLY, "ply": "S", "region": {"strip": {"line": [start, end], "width": 20}}}


def rod(start, end):
    return {"rod": "R", "bar": "carbon-strip-12x3", "line": [start, end]}


def film(after):
    return {"film": "F", "of": "peel-ply-85", "removed_after": after}


def through(*stations, loft="ruled", side="upper"):
    """A skin through stations 10 mm apart or at their own spans, all of one section."""
    tree = skin(*({"at": 10 * k, "chord": 600, "section": "naca 2418", **station}
                  for k, station in enumerate(stations)))  # fmt: skip
    tree["mould"] |= {"loft": loft, "side": side}
    return tree


def waved(loft, **wave):
    """Ends 900 mm apart, and a station between them that turns or moves."""
    return through({}, {"at": 450, **wave}, {"at": 900}, loft=loft)


def swept_to_and_fro(loft):
    return through(
        {}, {"at": 450, "sweep": 400}, {"at": 460, "sweep": -400}, {"at": 900}, loft=loft
    )


def remnant(count):
    """A left-over with a jagged edge of so many corners."""
    jagged = [[k, 300 + k % 2] for k in range(count, 0, -1)]
    return {"id": "R", "roll": "carbon-twill-200", "outline": [[0, 0], [count, 0], *jagged]}


ONE = [100, 100]
SPOT = {"span": 400, "share": 0.5}
# name, spec, other files, exit code, code of the one error ("" none)
ROWS = [
    ("seam of no length", plate(PLY, seam(ONE, ONE)), {}, 1, "repeated-point"),
    ("seam of a ten-millionth", plate(PLY, seam(ONE, [100, 100.0000001])), {}, 1, "repeated-point"),
    ("strip of no length", plate(PLY, strip(ONE, ONE)), {}, 1, "repeated-point"),
    ("rod of no length", plate(PLY, rod(ONE, ONE)), {}, 1, "repeated-point"),
    ("seam of no length on a loft", wing(seam(SPOT, SPOT)), {}, 1, "repeated-point"),
    ("strip of no length on a loft", wing(strip(SPOT, SPOT)), {}, 1, "repeated-point"),
    ("rod of no length on a loft", wing(rod(SPOT, SPOT)), {}, 1, "repeated-point"),
    ("film off before it is laid", plate(PLY, film("mould"), stages=LAYING), {}, 1,
     "peeled-before-laid"),
    ("film off after its own stage", plate(PLY, film("lay"), stages=LAYING), {}, 0, ""),
    ("no section that can be read", skin({"at": 0, "chord": 600, "section": SECTION},
                                         {"at": 900, "chord": 500, "section": SECTION}),
     {"sections/own.dat": "9" * 20_000 + "\n1 0\n0 0\n"}, 1, "bad-section"),
    ("face twisted upside down", skin({"at": 0, "chord": 600, "section": "naca 2412"},
                                      {"at": 900, "chord": 600, "twist": "180 deg",
                                       "section": "naca 2412"}), {}, 1, "pattern-folds"),
    ("ids of 0 and O", plate({**PLY, "ply": "A0"}, {**PLY, "ply": "AO"}), {}, 1, "ids-alike"),
    ("ids of L1 and 1L", plate({**PLY, "ply": "L1"}, {**PLY, "ply": "1L"}), {}, 0, ""),
    ("screws at a thousandth of a mm", wing() | {"jig": [
        {"check": "screws", "pitch": 0.001, "tolerance": 5}]}, {}, 0, ""),
    ("inserts that overlap", plate(PLY, CORE, *(
        {"insert": f"H{k}", "block": "birch-10", "in": "C",
         "region": {"patch": {"at": [100 + 20 * k, 100], "size": [60, 40]}}} for k in (0, 1))),
     {}, 1, "inserts-overlap"),
    ("stations to and fro", through(*({"sweep": 30 * (k % 2)} for k in range(200))), {}, 1,
     "too-many"),
    ("stations turned to and fro", through(*({"twist": f"{9 * (k % 2)} deg"} for k in range(200))),
     {}, 1, "too-many"),
    ("a ruled loft that crosses in the middle", waved("ruled", twist="180 deg"), {}, 1,
     "pattern-folds"),
    ("a smooth loft that crosses in the middle", waved("smooth", twist="180 deg"), {}, 1,
     "pattern-folds"),
    ("a smooth loft nearly on its back", waved("smooth", twist="170 deg"), {}, 1, "pattern-folds"),
    ("a ruled loft on its side", waved("ruled", twist="90 deg"), {}, 1, "pattern-folds"),
    ("a ruled loft swept to and fro", swept_to_and_fro("ruled"), {}, 1, "pattern-folds"),
    ("a smooth loft swept to and fro", swept_to_and_fro("smooth"), {}, 1, "pattern-folds"),
    ("a lower skin", through({}, {"at": 900}, side="lower"), {}, 0, ""),
    ("a left-over of many corners", plate(stock=[remnant(15_000)]), {}, 1, "too-many"),
    ("a printer of 200 %", plate(workshop={"printer": {"across": "200 %"}}), {}, 1, "out-of-range"),
]  # fmt: skip


def written(folder, tree, files=()):
    shutil.copytree(SPECS / "shared", folder / "shared")
    for name, content in dict(files).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(content)
    path = folder / "part.yaml"
    path.write_text(as_yaml(tree))
    return path


def as_yaml(tree):
    """Without anchors where an object stands twice in the tree."""
    return yaml.safe_dump(json.loads(json.dumps(tree)), sort_keys=False)


@pytest.mark.parametrize(("tree", "files", "code", "found"), [r[1:] for r in ROWS],
                         ids=[r[0] for r in ROWS])  # fmt: skip
def test_what_each_row_comes_to(tmp_path, capsys, tree, files, code, found):
    ended = main(["check", str(written(tmp_path, tree, files)), "--format", "json"])
    findings = json.loads(capsys.readouterr().out)
    errors = {f["code"] for f in findings if f["severity"] == "error"}
    assert (ended, errors) == (code, {found} if found else set())


@pytest.mark.parametrize("made", [pytest.param(made, id=name) for name, made, refused in COSTLY
                                  if refused and "crosses" not in name])  # fmt: skip
def test_past_each_limit_a_part_is_refused_by_its_name(tmp_path, capsys, made):
    tree, files = made()
    ended = main(["check", str(written(tmp_path, tree, files)), "--format", "line"])
    said = capsys.readouterr().err
    assert ended == 1 and said.count("error[") == said.count("error[too-many]") > 0
    assert "--limit " in said


def test_points_of_two_kinds_in_one_place_have_no_direction(tmp_path, capsys):
    """A place on the face and a place on its pattern are known to be one only once it is laid
    flat."""
    from plybook.outside import Outside
    from plybook.spec import load
    from plybook.surface import build_face

    face = build_face(load(written(tmp_path, wing()), Outside()).specs[0])
    at = [round(float(v), 6) for v in face.to_pattern([[400.0, 0.5]])[0]]
    for layer in (strip(SPOT, at), rod(SPOT, at), seam(SPOT, at)):
        (tmp_path / "part.yaml").write_text(as_yaml(wing(layer)))
        assert main(["check", str(tmp_path / "part.yaml"), "--format", "line"]) == 1
        assert "error[repeated-point]" in capsys.readouterr().err


@pytest.mark.parametrize("raised", ["spec-bytes=1e18", "data-bytes=1e300", "outline-points=1e300"])
def test_a_limit_raised_past_any_number_of_bytes_is_no_fault(tmp_path, capsys, raised):
    assert main(["check", str(written(tmp_path, plate())), "--limit", raised]) == 0


def test_what_stands_in_the_environment_for_a_date_is_not_read(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "abc")
    spec = str(written(tmp_path, plate()))
    assert main(["build", spec, "--out", str(tmp_path / "out"), "--effort", "quick"]) == 0


def test_a_set_named_as_a_part_is_refused_and_replaces_nothing(tmp_path, capsys):
    spec, other = written(tmp_path, plate()), tmp_path / "other.yaml"
    other.write_text(as_yaml(plate(part={**plate()["part"], "number": "AT-2"})))
    for name in ("AT-1", "at-2"):
        words = ["--set-name", name, "--out", str(tmp_path / "out"), "--format", "line"]
        assert main(["build", str(spec), str(other), *words]) == 1
        assert "error[set-name-taken]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("why", ["a folder in its place", "a disk that is read-only"])
def test_layouts_that_cannot_be_remembered_are_noted_and_the_part_is_built(
    tmp_path, monkeypatch, capsys, why
):
    from plybook.write import folder

    spec, memory, staged = written(tmp_path, plate()), tmp_path / "part.layouts.json", folder.staged

    def read_only(path, data):
        if path == memory:
            raise OSError(errno.EROFS, "Read-only file system", str(path))
        return staged(path, data)

    if why == "a folder in its place":
        memory.mkdir()
    else:
        monkeypatch.setattr(folder, "staged", read_only)
    build = ["build", str(spec), "--out", str(tmp_path / "out"), "--effort", "quick", "--all"]
    assert main(build) == 0
    assert "layouts.json" in capsys.readouterr().err
    assert verify_folder(tmp_path / "out" / "AT-1").sound
    assert not memory.is_file()


@pytest.mark.parametrize("damage", ["text", pytest.param("pipe", marks=pytest.mark.slow)])
def test_a_damaged_layout_memory_is_told_of(tmp_path, capsys, damage):
    spec = written(tmp_path, plate())
    memory = tmp_path / "part.layouts.json"
    if damage == "pipe":
        os.mkfifo(memory)
    else:
        memory.write_text("{")
    build = ["build", str(spec), "--out", str(tmp_path / "out"), "--effort", "quick",
             "--format", "line"]  # fmt: skip
    assert main(build) == 0
    assert "warning[layouts-forgotten]" in capsys.readouterr().err
    assert main(build) == 0  # the new one is sound
    assert "layouts-forgotten" not in capsys.readouterr().err
    assert "layouts-forgotten" not in (tmp_path / "out" / "AT-1" / "plan.json").read_text()


# ---------------------------------------------------------------- folders from someone else

ODD = [5, None, [], {}, "x", True, 1e999, [1], {"id": 1}, ["x"], 10**400]


def spoiled(plan):
    """Plans of wrong types: each value of the top, and of the first of each list, in turn."""
    for key in plan:
        for odd in ODD:
            yield f"{key} = {str(odd)[:12]}", {**plan, key: odd}
    for key in ("pieces", "layouts", "stages"):
        yield from wrong_within(plan, [key, 0], (5, None, [1], "x"))


def spoiled_for_record(plan):
    """As `spoiled`, what the record is held against and told with."""
    for path in ([], ["part"], ["stages", 0], ["stages", 0, "steps", 0], ["quantities"]):
        yield from wrong_within(plan, path, (5,))


def wrong_within(plan, path, odds):
    """Plans in which one value of the mapping at a path is of another type."""

    def held(tree):
        for key in path:
            tree = tree[key]
        return tree

    for inner in held(plan):
        for odd in odds:
            spoilt = copy.deepcopy(plan)
            held(spoilt)[inner] = odd
            yield f"{path} {inner} = {odd}", spoilt


def record_of(plan, path):
    """A record kept by the booklet of a plan, in a file: the checks of its first step."""
    part, device = plan["part"], Device()
    step = plan["stages"][0]["steps"][0]
    for check in step["checks"]:
        device.put(check["id"], True if check["kind"] == "tick" else "5")
    frame = {key: part[key] for key in ("name", "revision", "hand")}
    kept = device.export({"part": part["number"], "plan": plan["record_key"], "serial": "1",
                          **frame})  # fmt: skip
    path.write_text(json.dumps(kept))
    return path


@pytest.fixture
def odd_plan(hatch_copy, tmp_path):
    """The hatch's folder and plan, and a file for a spoiled plan."""
    folder, odd = hatch_copy / "TN-420", tmp_path / "odd"
    odd.mkdir()
    return folder, json.loads((folder / "plan.json").read_text()), odd / "plan.json"


@pytest.mark.slow
def test_compare_refuses_plans_of_wrong_types_or_makes_what_it_can_of_them(odd_plan, capsys):
    folder, plan, file = odd_plan
    pair = [str(folder), str(file.parent)]
    for name, spoilt in spoiled(plan):
        file.write_text(json.dumps(spoilt))
        for two in (pair, pair[::-1]):
            assert main(["compare", *two, "--out", str(folder.parent / "changes")]) in (0, 1), name
    assert "plybook failed" not in capsys.readouterr().err


@pytest.mark.slow
def test_record_refuses_plans_of_wrong_types_or_makes_what_it_can_of_them(odd_plan, capsys):
    _, plan, file = odd_plan
    record = [str(record_of(plan, file.parent.parent / "record.json")), "--out", str(file.parent)]
    for name, spoilt in spoiled_for_record(plan):
        file.write_text(json.dumps(spoilt))
        assert main(["record", *record, "--plan", str(file.parent)]) in (0, 1), name
    assert "plybook failed" not in capsys.readouterr().err


def test_record_refuses_a_plan_whose_part_is_named_by_no_words(odd_plan, tmp_path, capsys):
    folder, plan, file = odd_plan
    record, out = str(record_of(plan, tmp_path / "record.json")), tmp_path / "kept"
    command = ["record", record, "--out", str(out), "--plan"]
    for name, spoilt in wrong_within(plan, ["part"], (5, None, [1], {})):
        file.write_text(json.dumps(spoilt))
        told = name.split()[1] in ("number", "name", "revision", "hand")
        assert main([*command, str(file.parent), *["--no-book"] * (not told)]) == 1, name
        assert ("error[not-built]" in capsys.readouterr().err) == told, name
    assert not out.exists()
    assert main([*command, str(folder)]) == 1  # an open record of a plan that is one
    assert "error[not-built]" not in capsys.readouterr().err
    assert (out / "TN-420-as-built" / "as-built.pdf").is_file()


@pytest.mark.parametrize("key", ["part", "pieces", "stages", "layouts", "quantities", "findings"])
@pytest.mark.parametrize("odd", [5, [5], "x", {}])
def test_verify_finds_a_plan_of_wrong_types_unsound(hatch_copy, key, odd):
    path = hatch_copy / "TN-420" / "plan.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), key: odd}))
    assert not verify_folder(hatch_copy / "TN-420").sound


@pytest.mark.parametrize("odd", [10**9, -1, 1.5, "3", None, 10**400])
def test_verify_counts_no_pieces_without_end(hatch_copy, odd):
    path = hatch_copy / "TN-420" / "plan.json"
    plan = json.loads(path.read_text())
    plan["pieces"][0]["quantity"] = odd
    path.write_text(json.dumps(plan))
    report = verify_folder(hatch_copy / "TN-420").folders[0]
    assert any("plan.json" in fault for fault in report.faults)


@pytest.mark.parametrize("odd", ["NaN", "1e308", "1e999", "-Infinity", "9" * 5000])
def test_no_stock_is_kept_by_a_plan_with_what_is_no_number(hatch_out, tmp_path, capsys, odd):
    shutil.copytree(SPECS, tmp_path / "specs", ignore=shutil.ignore_patterns("*.layouts.json"))
    shutil.copytree(hatch_out, tmp_path / "out")
    plan = tmp_path / "out" / "TN-420" / "plan.json"
    plan.write_text(re.sub(r'("used_length_mm": ?)[\d.]+', rf"\g<1>{odd}", plan.read_text()))
    stock = (tmp_path / "specs" / "shared" / "stock.yaml").read_bytes()
    spec = str(tmp_path / "specs" / "hatch.yaml")
    assert main(["keep", spec, "--out", str(tmp_path / "out"), "--format", "line"]) == 1
    assert "is no number of a build" in capsys.readouterr().err
    assert (tmp_path / "specs" / "shared" / "stock.yaml").read_bytes() == stock


def test_a_far_coordinate_is_refused_and_no_library_warns_of_it(tmp_path, capfd):
    tree = plate(mould={"csv": "far.csv"})
    far = "x (mm), y (mm)\n1e308, 1e308\n-1e308, 1\n0, -1e308\n"
    assert main(["check", str(written(tmp_path, tree, {"far.csv": far})), "--format", "line"]) == 1
    said = capfd.readouterr()
    assert "out-of-range" in said.out + said.err and "Warning" not in said.err
