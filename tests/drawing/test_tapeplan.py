"""Outlines drawn by tape: figures by hand, and outlines rebuilt another way."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.drawing.outlineruns import PRINT_MM
from plybook.drawing.tapeplan import rebuilt_knots, tape_plan

RECTANGLE = np.array([[0.0, 0.0], [1200.0, 0.0], [1200.0, 500.0], [0.0, 500.0]])


def ties(plan):
    name = [k.name for k in plan.knots]
    return {f"{name[a]}{name[b]}": v for (a, b), v in plan.ties_mm.items()}


def test_a_rectangle_is_its_sides_and_both_diagonals():
    """5 x 12 x 13: the diagonal of 500 by 1200 is 1300 (Pythagoras)."""
    plan = tape_plan(RECTANGLE, (), 0.5, "mm")
    assert ties(plan) == {"AB": 1200, "BC": 500, "CD": 1200, "AD": 500, "AC": 1300, "BD": 1300}
    assert {run.kind for run in plan.runs} == {"straight"} and plan.error_mm < 0.01


def test_figures_in_inches_are_whole_thirty_seconds():
    plan = tape_plan(RECTANGLE, (), 0.5, "in")
    assert all((v / 25.4 * 32) % 1 == pytest.approx(0.0, abs=1e-6) or
               (v / 25.4 * 32) % 1 == pytest.approx(1.0, abs=1e-6)
               for v in plan.ties_mm.values())  # fmt: skip


def rounded(wide, high, radius):
    box = shapely.box(radius, radius, wide - radius, high - radius)
    return np.array(box.buffer(radius, quad_segs=24).exterior.coords)[-2::-1][::-1]


def test_round_corners_are_printed_and_the_sides_between_them_are_not():
    plan = tape_plan(ccw(rounded(400, 910, 40.0)), (), 0.5, "mm")
    assert [run.kind for run in plan.runs].count("printed") == 4
    assert [run.kind for run in plan.runs].count("straight") == 4
    straight = sorted(plan.ties_mm[min(r.start, r.end), max(r.start, r.end)]
                      for r in plan.runs if r.kind == "straight")  # fmt: skip
    assert straight == pytest.approx([320, 320, 830, 830], abs=6)


@pytest.mark.parametrize("length", [400.0, 1500.0])
def test_a_straight_side_that_runs_into_an_arc_is_drawn_by_a_straightedge(length):
    """A panel with a round end: both straight sides touch the arc without a corner, and no stretch
    that is printed is larger than a sheet."""
    turn = np.radians(np.linspace(-90.0, 90.0, 241))
    end = np.column_stack([length + 640.0 * np.cos(turn), 640.0 + 640.0 * np.sin(turn)])
    plan = tape_plan(np.vstack([[0.0, 0.0], end, [0.0, 1280.0]]), (), 1.0, "mm")
    straight = [np.ptp(r.points_mm[:, 0]) for r in plan.runs
                if r.kind == "straight" and np.ptp(r.points_mm[:, 1]) < 2.0]  # fmt: skip
    assert len(straight) == 2 and min(straight) >= length - 2.0
    assert all((np.ptp(run.points_mm, axis=0) <= PRINT_MM).all() for run in plan.printed)


def test_a_bowed_side_gets_offsets_from_its_chord():
    """The rise of an arc over its chord: r - sqrt(r^2 - (c/2)^2)."""
    radius, chord = 40000.0, 2000.0
    rise = radius - math.sqrt(radius**2 - (chord / 2) ** 2)
    x = np.linspace(0.0, chord, 201)
    y = -(np.sqrt(radius**2 - (x - chord / 2) ** 2) - (radius - rise))
    ring = np.vstack([np.column_stack([x, y]), [(chord, 600.0), (0.0, 600.0)]])
    plan = tape_plan(ring, (), 0.5, "mm")
    (bowed,) = [run for run in plan.runs if run.kind == "bowed"]
    middle = max(bowed.offsets, key=lambda o: o.off_mm)
    assert middle.off_mm == pytest.approx(rise, abs=0.5) and middle.off_mm > 0
    assert abs(middle.along_mm - chord / 2) <= 250


def test_a_slender_strip_that_bends_softly_at_its_ends_is_drawn_by_offsets():
    """57 mm wide and 4 m long: two tapes to a point a metre in would cross at 57/1000, 3 degrees,
    so that its straight middle cannot be a side of its own."""
    x = np.linspace(0.0, 4000.0, 161)
    ends = np.exp(-((x / 400.0) ** 2)) - np.exp(-(((4000.0 - x) / 400.0) ** 2))
    low = 0.014 * x - 3.0 * ends
    ring = np.vstack([np.column_stack([x, low]), np.column_stack([x, low + 57.0])[::-1]])
    plan = tape_plan(ring, (), 1.0, "mm")
    assert [run.kind for run in plan.runs].count("bowed") == 2 and not plan.printed
    assert plan.error_mm <= 1.0


def test_a_hole_is_found_from_corners_and_printed():
    hole = np.array(shapely.Point(600, 250).buffer(40, quad_segs=24).exterior.coords)[:-1]
    plan = tape_plan(RECTANGLE, (ccw(hole),), 0.5, "mm")
    assert {k.ring for k in plan.knots} == {0, 1}
    assert {run.kind for run in plan.runs if plan.knots[run.start].ring} == {"printed"}


def ccw(ring):
    return ring if shapely.LinearRing(ring).is_ccw else ring[::-1]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.3, 1.0), st.floats(-0.2, 0.2)), min_size=3, max_size=8),
    st.floats(150, 4000),
    st.floats(0, 360),
)
def test_a_star_of_straight_sides_is_rebuilt_within_the_tolerance(points, size, turn):
    """Tapes cross where two circles do; shapely finds the corners again from the figures alone."""
    steps = 2 * math.pi / len(points)
    turns = np.array([(k + t) * steps for k, (_, t) in enumerate(points)]) + math.radians(turn)
    ring = np.column_stack([np.cos(turns), np.sin(turns)]) * size
    ring *= np.array([r for r, _ in points])[:, None]
    plan = tape_plan(ring, (), 1.0, "mm")
    if plan is None:
        return  # needles: no two tapes cross well enough
    assert plan.error_mm <= 1.0
    made = rebuilt_knots(plan)
    true = np.array([k.at_mm for k in plan.knots])
    assert np.hypot(*(made - true).T).max() <= 1.0
    for (a, b), told in plan.ties_mm.items():
        assert abs(math.dist(true[a], true[b]) - told) <= plan.tape_mm / 2 + 1e-6
    for step in plan.steps:
        circles = [
            shapely.Point(made[k]).buffer(
                plan.ties_mm[min(k, step.knot), max(k, step.knot)], quad_segs=512
            ).exterior
            for k in (step.first, step.second)
        ]  # fmt: skip
        crossing = circles[0].intersection(circles[1])
        assert crossing.distance(shapely.Point(made[step.knot])) < 0.2


def test_an_outline_and_its_mirror_image_take_the_same_figures():
    ring = np.array([[0.0, 0.0], [2000.0, 120.0], [1700.0, 800.0], [90.0, 700.0]])
    one, other = (tape_plan(r, (), 1.0, "mm") for r in (ring, ring[::-1] * [1, -1]))
    assert sorted(one.ties_mm.values()) == pytest.approx(sorted(other.ties_mm.values()))
