"""`plybook compare`: what differs between two plans, and what is cut already and now wrong."""

import copy
import json
import subprocess
import sys

import numpy as np
import pytest
import resvg_py
import shapely

from plybook.cli import main
from plybook.compare import as_text, changes_between, overlay
from plybook.compare.changes import pieces_done
from plybook.compare.cuts import ring_distance
from plybook.write.svg import svg_bytes


@pytest.fixture
def plan(hatch_out):
    return json.loads((hatch_out / "TN-420" / "plan.json").read_bytes())


@pytest.fixture
def other(plan):
    return copy.deepcopy(plan)


def piece(plan, id):
    return next(p for p in plan["pieces"] if p["id"] == id)


def test_a_plan_and_itself_have_no_changes(plan, other):
    changes = changes_between(plan, other)
    assert changes.none and changes.wrong_now == ()
    assert "Nothing that is cut or done has changed" in as_text(changes)


def test_a_ring_and_the_same_ring_begun_elsewhere_lie_nowhere_apart():
    ring = [[0, 0], [10, 0], [10, 5], [0, 5]]
    assert ring_distance(ring, ring[2:] + ring[:2]) == (0.0, None)


def test_the_distance_of_two_rings_is_the_largest_of_any_point():
    # Hausdorff distance of two rectangles that differ on one side by 3: 3
    far, moved = ring_distance(
        [[0, 0], [10, 0], [10, 5], [0, 5]], [[0, 0], [13, 0], [13, 5], [0, 5]]
    )
    assert far == pytest.approx(3.0) and moved is None


def test_rings_of_many_points_lie_as_far_apart_as_the_library_says():
    """GEOS, by shapely: the Hausdorff distance of the points of either ring."""
    turn = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    wave = 400 + 30 * np.sin(9 * turn)
    first = np.column_stack([wave * np.cos(turn), wave * np.sin(turn)])
    second = first * [1.0, 0.97] + [2.0, 0.0]
    a, b = shapely.LinearRing(first), shapely.LinearRing(second)
    far = max(shapely.distance(shapely.points(first), b).max(),
              shapely.distance(shapely.points(second), a).max())  # fmt: skip
    assert ring_distance(first, second)[0] == pytest.approx(far, abs=1e-9)


def test_a_ring_that_is_only_moved_says_by_how_much():
    ring = np.array([[0, 0], [10, 0], [10, 5], [0, 5]])
    far, moved = ring_distance(ring, ring + (3.0, 4.0))
    assert moved == pytest.approx(5.0) and far > 0.01


def test_a_larger_piece_is_altered_and_has_to_be_cut_again(plan, other):
    outline = np.array(piece(other, "A1")["outline_mm"])
    piece(other, "A1")["outline_mm"] = (outline * 1.1).tolist()
    changes = changes_between(plan, other)
    assert [c.id for c in changes.altered] == ["A1"]
    assert changes.wrong_now == ("A1",)
    assert changes.altered[0].recut


def test_a_moved_piece_is_altered_and_still_serves(plan, other):
    outline = np.array(piece(other, "A1")["outline_mm"])
    piece(other, "A1")["outline_mm"] = (outline + (30.0, 0.0)).tolist()
    changes = changes_between(plan, other)
    assert [c.id for c in changes.altered] == ["A1"] and changes.wrong_now == ()
    assert "still serves" in as_text(changes)


def test_an_angle_changed_by_half_a_turn_is_no_change(plan, other):
    piece(other, "A1")["angle_deg"] += 180.0
    assert changes_between(plan, other).none
    piece(other, "A1")["angle_deg"] += 30.0
    assert changes_between(plan, other).wrong_now == ("A1",)


def test_a_quarter_turn_of_cloth_that_is_alike_both_ways_needs_a_new_label_only(plan, other):
    piece(other, "A1")["angle_deg"] += 90.0
    changes = changes_between(plan, other)
    assert changes.wrong_now == () and changes.relabel == (("A1", "A1"),)
    other["materials"]["carbon-twill-200"]["axes_alike"] = False
    assert changes_between(plan, other).wrong_now == ("A1",)


def group(plan, *plies):
    """The hatch's plan with a group G of plies of one outline: (angle, width in mm) of each."""
    made = copy.deepcopy(plan)
    cloth = piece(plan, "A1")
    made["pieces"] = [p for p in made["pieces"] if p["kind"] == "core"]
    made["layers"] = []
    for n, (angle, wide) in enumerate(plies, 1):
        ring = [[0, 0], [wide, 0], [wide, 200], [0, 200]]
        made["pieces"].append({
            **copy.deepcopy(cloth), "id": f"G{n}", "layer": f"G{n}", "angle_deg": float(angle),
            "outline_mm": ring, "area_mm2": 200.0 * wide, "edges": [], "material": "ud",
        })  # fmt: skip
    return made


# The builder's own reckoning: [45/0/0/-30] with a ply at 90 put behind the first
def test_a_ply_put_in_the_middle_renumbers_and_spoils_nothing(plan):
    old = group(plan, (45, 500), (0, 500), (0, 500), (-30, 500))
    new = group(plan, (45, 500), (90, 500), (0, 500), (0, 500), (-30, 500))
    changes = changes_between(old, new)
    assert changes.added == ("G2",) and changes.wrong_now == changes.gone == ()
    assert changes.relabel == (("G2", "G3"), ("G3", "G4"), ("G4", "G5"))
    assert "pieces that only need a new label (3)\n  G2 -> G3" in as_text(changes)
    back = changes_between(new, old, done=["G1", "G2", "G3"])
    assert back.wrong_now == ("G2",) and back.relabel == (("G3", "G2"),)


def test_a_ply_put_in_between_beside_one_that_grew_is_told_from_it(plan):
    old = group(plan, (45, 500), (0, 400), (90, 300))
    new = group(plan, (45, 500), (90, 500), (0, 420), (90, 300))
    changes = changes_between(old, new)
    (grown,) = changes.altered
    assert (grown.was, grown.id, grown.recut) == ("G2", "G3", True)
    assert changes.wrong_now == ("G2",) and changes.added == ("G2",)
    assert changes.relabel == (("G3", "G4"),)


def test_plies_that_change_places_keep_their_cuts(plan):
    old = group(plan, (45, 500), (0, 500), (90, 500))
    changes = changes_between(old, group(plan, (90, 500), (45, 500), (0, 500)))
    assert changes.wrong_now == changes.added == changes.gone == ()
    assert changes.relabel == (("G1", "G2"), ("G2", "G3"), ("G3", "G1"))


def test_a_cut_of_a_ply_that_is_gone_serves_where_the_same_is_wanted(plan):
    old = group(plan, (45, 500), (0, 400))
    new = group(plan, (45, 400), (0, 400), (45, 500))
    changes = changes_between(old, new)
    assert changes.relabel == (("G1", "G3"),) and changes.added == ("G1",)
    assert changes.wrong_now == ()


def test_of_equal_patches_each_is_known_by_its_place(plan):
    old, new = group(plan, (0, 300), (0, 300)), group(plan, (0, 300), (0, 300), (0, 300))

    def put(of, id, x):
        row = piece(of, id)
        row["outline_mm"] = (np.array(row["outline_mm"]) + (x, 0.0)).tolist()

    for of, id, x in ((old, "G2", 1000.0), (new, "G2", 500.0), (new, "G3", 1000.0)):
        put(of, id, x)
    changes = changes_between(old, new)
    assert changes.relabel == (("G2", "G3"),) and changes.added == ("G2",)
    assert changes.altered == ()


def test_another_material_or_bevel_has_to_be_cut_again(plan, other):
    piece(other, "A2")["material"] = "glass-plain-163"
    piece(other, "C")["edges"][0]["angle_deg"] = 30.0
    changes = changes_between(plan, other)
    assert changes.wrong_now == ("A2", "C")
    assert "glass-plain-163" in as_text(changes) and "bevel 45 -> bevel 30" in as_text(changes)


def test_pieces_added_gone_and_renamed(plan, other):
    other["pieces"] = [p for p in other["pieces"] if p["id"] != "B2"]
    piece(other, "B1")["id"] = "X1"
    other["pieces"].append({**copy.deepcopy(piece(other, "C")), "id": "C9", "material": "foam-10"})
    changes = changes_between(plan, other)
    assert changes.gone == ("B2",)
    assert changes.relabel == (("B1", "X1"),)
    assert changes.added == ("C9",)
    assert "B2" in changes.wrong_now and "B1" not in changes.wrong_now


def test_only_what_is_cut_already_can_be_wrong(plan, other):
    for id in ("A1", "B1"):
        piece(other, id)["angle_deg"] = 30.0
    changes = changes_between(plan, other, done=["A1", "A2"])
    assert changes.wrong_now == ("A1",) and changes.cut_already == ("A1", "A2")
    assert "CUT OR LAID ALREADY AND WRONG NOW" in as_text(changes)


def test_steps_are_compared_by_what_they_say(plan, other):
    steps = other["stages"][0]["steps"]
    gone = steps.pop(0)
    steps[0]["text"] = ["Something else."]
    steps[0]["id"] = "s00000000"
    steps.append({**gone, "id": "s00000001", "title": "A new step"})
    changes = changes_between(plan, other)
    assert [name.split(" / ")[1] for name in changes.steps_gone] == [gone["title"]]
    assert [name.split(" / ")[1] for name in changes.steps_added] == ["A new step"]
    assert changes.steps_altered[0][1] == ('now "Something else."',)


def test_a_step_of_the_same_words_that_asks_for_another_figure_is_altered(plan, other):
    """A step's name comes from its words; a tolerance of the jig is a figure beside them."""
    rows = [s for stage in other["stages"] for s in stage["steps"]]
    step = next(s for s in rows if any(c["tolerance"] for c in s["checks"]))
    check = next(c for c in step["checks"] if c["tolerance"])
    before, check["tolerance"] = check["tolerance"], 9.5
    (altered,) = changes_between(plan, other).steps_altered
    assert altered[0].endswith(step["title"])
    assert f"tolerance {before:g} -> 9.5" in altered[1][0] and check["text"][:50] in altered[1][0]


def test_checks_that_come_and_go_are_named(plan, other):
    checks = other["stages"][0]["steps"][0]["checks"]
    old = checks[0]["text"]
    checks[0]["text"] = "Something new to look at"
    (altered,) = changes_between(plan, other).steps_altered
    assert altered[1] == ('check new: "Something new to look at"', f'check gone: "{old}"')


def test_with_stdout_closed_nothing_breaks(hatch_out):
    words = [sys.executable, "-m", "plybook", "compare", *[str(hatch_out / "TN-420")] * 2]
    done = subprocess.run(["sh", "-c", '"$@" >&-', "sh", *words], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_reader_that_stops_early_is_no_fault(hatch_out):
    words = [sys.executable, "-m", "plybook", "compare", *[str(hatch_out / "TN-420")] * 2]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as run:
        run.stdout.close()
        assert run.stderr.read() == b""
    assert run.returncode == 0


def test_steps_in_another_order_are_told(plan, other):
    other["stages"][0]["steps"].reverse()
    assert changes_between(plan, other).order_changed


def test_a_ticked_step_tells_which_pieces_are_cut(plan):
    step = next(s for g in plan["stages"] for s in g["steps"] if s["pieces"])
    field = f"{step['id']}.{step['checks'][0]['id']}"
    assert pieces_done(plan, [field, "record.notes"]) == set(step["pieces"])


def test_the_overlay_shows_both_outlines_and_where_they_differ(plan, other):
    outline = np.array(piece(other, "C")["outline_mm"])
    piece(other, "C")["outline_mm"] = (outline * (1.0, 1.2)).tolist()
    scene = overlay(piece(plan, "C"), piece(other, "C"))
    roles = [str(getattr(item, "role", "")) for item in scene.items]
    assert roles.count("bad_zone") == 1 and roles.count("cut") == 1 and "fill" in roles
    picture = svg_bytes(scene, reference=False)
    # read by a renderer that shares nothing with the writer (resvg)
    assert bytes(resvg_py.svg_to_bytes(svg_string=picture.decode(), dpi=96))[:4] == b"\x89PNG"


# ---------------------------------------------------------------- the command


def test_the_command_writes_words_data_and_a_drawing_for_each_altered_piece(
    hatch_out, hatch_copy, tmp_path, capsys
):
    path = hatch_copy / "TN-420" / "plan.json"
    plan = json.loads(path.read_bytes())
    plan["part"]["revision"] = "B"
    piece(plan, "A1")["outline_mm"] = [[0, 0], [500, 0], [500, 400], [0, 400]]
    path.write_text(json.dumps(plan))
    out = tmp_path / "changes"
    code = main(["compare", str(hatch_out / "TN-420"), str(path.parent), "--out", str(out)])
    assert code == 0
    (folder,) = out.iterdir()
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert names == ["changes.json", "changes.txt", "manifest.json", "pieces/A1.svg"]
    assert (folder / "changes.txt").read_text().rstrip() in capsys.readouterr().out


def test_nothing_is_written_unless_asked_for(hatch_out, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = str(hatch_out / "TN-420")
    assert main(["compare", folder, folder, "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["altered"] == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [None, b"", b"[]", b'{"part": 3}', b"\xff\xfe"])
def test_a_folder_that_is_no_build_is_refused(hatch_out, tmp_path, content, capsys):
    if content is not None:
        (tmp_path / "plan.json").write_bytes(content)
    assert main(["compare", str(hatch_out / "TN-420"), str(tmp_path)]) == 1
    assert "not-built" in capsys.readouterr().err
