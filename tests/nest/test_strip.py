"""The strip packer: known optima, rules kept, and what happens when the packer breaks."""

import os
import signal

import numpy as np
import pytest

from plybook.nest import race, split, strip
from plybook.nest.boxes import pack_boxes
from plybook.nest.budget import Budget
from plybook.nest.check import check_plan
from plybook.nest.compact import compact
from plybook.nest.model import Item, Layout, Placement, Unit
from plybook.nest.nofit import Shape
from plybook.nest.strip import pack_strip
from tests.nest.makers import box, slanted


def proved(result, rings, demands, rotations, gap, width, may_flip=False) -> tuple[str, ...]:
    items = tuple(
        Item(str(k), r, d, None if a is None else tuple(a), may_flip)
        for k, (r, d, a) in enumerate(zip(rings, demands, rotations, strict=True))
    )
    placements = tuple(
        Placement(str(p.index), p.copy, p.x_mm, p.y_mm, p.rotation_deg, p.flipped)
        for p in result.placements
    )
    unit = Unit("strip", "roll", "any", 1e9, width)
    layout = Layout(unit, placements, result.length_mm, 0.0, 0.0, gap_mm=gap)
    return check_plan([layout], items)


def test_two_wedges_make_a_rectangle():
    wedge = np.array([(0.0, 0.0), (400.0, 0.0), (0.0, 100.0)])
    result = pack_strip([wedge], [2], [(0.0, 180.0)], 0.0, 100.0, 3.0, target_mm=400.2)
    assert result.length_mm == pytest.approx(400.0, abs=0.5)
    assert proved(result, [wedge], [2], [(0.0, 180.0)], 0.0, 100.0) == ()


@pytest.mark.parametrize("gap", [0.0, 3.0])
@pytest.mark.parametrize("seconds", [0.3, 1.6])  # laid one by one; searched for
def test_layout_keeps_gap_width_and_rotations(gap, seconds):
    rings = [slanted(300 + 40 * k, 90, a) for k, a in enumerate((45.0, -45.0, 30.0, 10.0))]
    demands, rotations = [2, 3, 1, 2], [(0.0, 180.0)] * 3 + [None]
    heard = []
    result = pack_strip(rings, demands, rotations, gap, 500.0, seconds, progress=heard.append)
    assert result.method == "irregular"
    assert proved(result, rings, demands, rotations, gap, 500.0) == ()
    assert heard and heard[-1] == pytest.approx(min(heard), abs=1e-6)


def test_pieces_laid_face_down_are_mirrored():
    ring = slanted(300, 120, 45.0)
    result = pack_strip([ring, ring], [1, 1], [(0.0,), (90.0,)], 2.0, 400.0, 0.3,
                        flipped=[False, True])  # fmt: skip
    assert [p.flipped for p in sorted(result.placements)] == [False, True]
    assert proved(result, [ring] * 2, [1, 1], [(0.0,), (90.0,)], 2.0, 400.0, True) == ()


@pytest.mark.parametrize(
    "ring, words",
    [
        (box(50.0, 120.0), "wider than the strip"),
        (np.array([(0.0, 0.0), (10.0, 10.0), (20.0, 20.0)]), "no area"),
        (np.array([(0.0, 0.0), (np.nan, 0.0), (5.0, 5.0)]), "finite"),
        (np.array([(0.0, 0.0), (1.0, 1.0)]), "not a ring"),
    ],
)
def test_what_would_make_the_packer_panic_never_reaches_it(monkeypatch, ring, words):
    monkeypatch.setattr(race.subprocess, "Popen", lambda *_, **__: pytest.fail("packer started"))
    with pytest.raises(ValueError, match=words):
        pack_strip([ring], [1], [(0.0,)], 0.0, 100.0, 0.2)


def test_a_packer_that_dies_is_replaced_by_laying_one_by_one(monkeypatch, tmp_path):
    dying = tmp_path / "child.py"
    dying.write_text("import os, sys; sys.stdin.read(); os._exit(134)")
    monkeypatch.setattr(race, "CHILD", dying)
    rings = [slanted(300, 90, 45.0)]
    result = pack_strip(rings, [3], [(0.0, 180.0)], 3.0, 500.0, 3.0)
    assert result.method == "one by one, for the packer said: ended with status 134"
    boxes = pack_boxes(rings, [3], [(0.0, 180.0)], 3.0, 500.0)
    assert result.length_mm < boxes.length_mm
    assert proved(result, rings, [3], [(0.0, 180.0)], 3.0, 500.0) == ()


def test_a_packer_that_panics_ends_only_its_own_process():
    """A piece too wide, sent past the guard: the child's panic is counted, nothing is raised."""
    task = race.Task((box(10.0, 50.0),), (1,), ((0.0,),), 20.0, 0.1)
    with race.Race(task, 1.0, (1,)) as running:
        assert running.run(Budget(5.0)) is None
        assert running.crashed == 1
        assert "does not seem to fit into the strip" in running.words


# half a skin of a tail surface, cut at 45 degrees: 976.1 across a strip of 980
BIAS_HALF = np.array(
    [
        (400.0, -219.0), (1244.1, -174.9), (474.8, 594.5), (253.6, 630.6), (120.5, 650.9),
        (120.1, 650.5), (103.7, 577.0), (87.8, 509.8), (35.9, 282.3), (15.6, 186.0), (-7.8, 91.8),
        (-37.8, -35.2), (-53.1, -104.3), (-60.1, -147.3), (-71.3, -198.8), (-73.9, -213.6),
        (-72.8, -238.3), (23.9, -233.9), (71.8, -232.7), (194.7, -229.2),
    ]
)  # fmt: skip


def test_a_piece_nearly_as_wide_as_its_strip_is_packed_though_the_packer_widens_it():
    """Simplified and offset by the packer, its sharp corner stands 6 mm further out: at the
    first play the search ends in a panic, with more of it the piece finds its place."""
    turns = (45.0, 225.0)
    problem = strip.StripProblem([BIAS_HALF], [2], [turns], 5.0, 980.0)
    with race.Race(problem.task, 1.0, (1,)) as running:
        running.run(Budget(20.0))
        assert running.crashed == 1 and "does not seem to fit" in running.words
    result = pack_strip([BIAS_HALF], [2], [turns], 5.0, 980.0, 2.0)
    assert result.method == "irregular"
    assert proved(result, [BIAS_HALF], [2], [turns], 5.0, 980.0) == ()


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_a_search_that_is_killed_keeps_what_it_had_said():
    task = race.Task((slanted(300, 90, 45.0),), (12,), ((0.0, 180.0),), 500.0, 3.0)
    with race.Race(task, 20.0, (1,)) as running:
        running.run(Budget(20.0), target_mm=1e9)  # the first layout is enough
        os.kill(running.process_ids[0], signal.SIGKILL)
        best = running.run(Budget(20.0))
    assert best is not None and len(best.rows) == 12
    assert running.crashed == 1


def test_no_search_outlives_its_race():
    task = race.Task((slanted(300, 90, 45.0),), (12,), ((0.0, 180.0),), 500.0, 3.0)
    with race.Race(task, 60.0, (1, 2)) as running:
        running.run(Budget(0.3))
        ids = running.process_ids
    for process in ids:
        with pytest.raises(ProcessLookupError):
            os.kill(process, 0)


def test_pushing_together_closes_gaps_and_mends_overlaps():
    """Three squares of 10 in a row with a wide gap and an overlap of 0.1: 30 long afterwards."""
    shape = Shape(box(10.0, 10.0))
    places = np.array([(0.0, 0.0), (9.9, 0.0), (35.0, 0.0)])
    moved, length = compact([shape] * 3, places, 10.0, 0.0, step_mm=20.0)
    assert length == pytest.approx(30.0, abs=1e-4)
    assert np.diff(np.sort(moved[:, 0])) == pytest.approx([10.0, 10.0], abs=1e-4)


def test_a_large_set_is_packed_in_lots_and_every_copy_is_there(monkeypatch):
    monkeypatch.setattr(split, "SMALLEST_LOT", 6)
    monkeypatch.setattr(split, "MORE_PER_SECOND", 0.0)
    rings = [slanted(300 + 40 * k, 90, a) for k, a in enumerate((45.0, -45.0, 30.0))]
    demands, rotations = [7, 6, 5], [(0.0, 180.0)] * 3
    assert split.lots_of(18, 1.7) == 3
    result = pack_strip(rings, demands, rotations, 3.0, 500.0, 1.7)
    assert result.method == "irregular"
    assert proved(result, rings, demands, rotations, 3.0, 500.0) == ()
    area = sum(Shape(r).area_mm2 * d for r, d in zip(rings, demands, strict=True))
    assert result.length_mm < 3.0 * area / 500.0
