"""Inputs made to hurt: what each comes to now. None ends in a fault of our own."""

import json
import os
import shutil

import pytest
import yaml

from plybook.cli import main
from plybook.verify import verify_folder
from tests.conftest import SPECS
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
        for inner in plan[key][0]:
            for odd in (5, None, [1], "x"):
                first = {**plan[key][0], inner: odd}
                yield f"{key}.{inner} = {odd}", {**plan, key: [first, *plan[key][1:]]}


@pytest.mark.slow
def test_no_plan_of_wrong_types_makes_a_command_fail(hatch_copy, tmp_path, capsys):
    """`compare` and `record` refuse it with words, or make what they can of it."""
    folder, odd = hatch_copy / "TN-420", tmp_path / "odd"
    odd.mkdir()
    record = tmp_path / "record.json"
    record.write_text("{}")
    plan = json.loads((folder / "plan.json").read_text())
    for name, spoilt in spoiled(plan):
        (odd / "plan.json").write_text(json.dumps(spoilt))
        for command in (["compare", str(folder), str(odd)], ["compare", str(odd), str(folder)]):
            assert main([*command, "--out", str(tmp_path / "changes")]) in (0, 1), name
    assert "plybook failed" not in capsys.readouterr().err


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
