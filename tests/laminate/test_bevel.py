"""Bevels: the narrow side against hand geometry, corners of unequal insets, curves, steps."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate.bevel import bevel_run_mm, parallel, polygons, rings_of, set_back


def ring(*points):
    return shapely.Polygon(np.array(points, float))


def narrowed(panel, *insets):
    return set_back(panel, [list(insets)])


@pytest.mark.parametrize(
    ("angle", "run"),
    [(5, 11.4301), (10, 5.6713), (20, 2.7475), (30, 1.7321), (45, 1.0), (60, 0.5774)],
)
def test_the_run_of_a_bevel_per_mm_of_thickness_is_one_over_the_tangent(angle, run):
    # elementary trigonometry, t / tan a
    assert bevel_run_mm(1.0, angle) == pytest.approx(run, abs=5e-5)


def test_a_square_edge_has_no_run():
    assert bevel_run_mm(10, 90) == 0.0


def test_a_rectangle_with_four_insets_keeps_its_sides_where_they_belong():
    left = narrowed(ring((0, 0), (100, 0), (100, 60), (0, 60)), 10, 0, 5, 20)
    assert left.equals(shapely.box(20, 10, 100, 55))


def test_unequal_insets_at_an_acute_corner_meet_where_the_set_back_lines_cross():
    # interior 60 deg at the origin: y = 10 and the line 20 inside the slanted side
    panel = ring((0, 0), (200, 0), (300, 173.2050807568877), (100, 173.2050807568877))
    left = narrowed(panel, 10, 0, 0, 20)
    # the slanted side is y = sqrt(3) x; 20 inside it at y = 10: x = (10 + 2 * 20) / sqrt(3)
    corner = np.array([50 / math.sqrt(3), 10.0])
    assert min(np.linalg.norm(np.array(left.exterior.coords) - corner, axis=1)) < 1e-6


def test_at_an_obtuse_corner_the_bevel_runs_on_to_the_square_edge():
    # interior 120 deg at (200, 0): the bevelled bottom's line y = 10 meets the square slanted side
    panel = ring((0, 0), (200, 0), (260, 60 * math.sqrt(3)), (0, 60 * math.sqrt(3)))
    left = narrowed(panel, 10, 0, 0, 0)
    corner = np.array([200 + 10 / math.sqrt(3), 10.0])
    assert min(np.linalg.norm(np.array(left.exterior.coords) - corner, axis=1)) < 1e-6
    assert left.area == pytest.approx(panel.area - 10 * (200 + 5 / math.sqrt(3)), abs=1e-4)


def test_an_inward_corner_is_mitred():
    panel = ring((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100))
    left = narrowed(panel, 5, 5, 5, 10, 5, 5)
    want = ring((5, 5), (95, 5), (95, 35), (30, 35), (30, 95), (5, 95))
    assert left.symmetric_difference(want).area < 1e-6


def test_square_beside_bevel_at_an_inward_corner_ends_the_bevel_in_line_with_the_square_edge():
    panel = ring((0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100))
    left = narrowed(panel, 0, 0, 8, 0, 0, 0)
    assert left.symmetric_difference(panel.difference(shapely.box(40, 32, 100, 40))).area < 1e-6


def test_edges_that_run_on_nearly_straight_change_bevel_in_a_step():
    panel = ring((0, 0), (100, 0), (200, 5), (200, 100), (0, 100))
    left = narrowed(panel, 0, 10, 0, 0, 0)
    assert left.contains(shapely.Point(99, 1))
    assert not left.contains(shapely.Point(103, 5))


@pytest.mark.parametrize("count", [72, 360])
def test_a_round_panel_narrows_to_the_round_panel_of_smaller_radius(count):
    turn = np.arange(count) * 2 * np.pi / count
    panel = shapely.Polygon(100 * np.column_stack([np.cos(turn), np.sin(turn)]))
    left = set_back(panel, [[10.0] * count])
    radii = np.hypot(*np.array(left.exterior.coords).T)
    flat = 100 * math.cos(math.pi / count)  # apothem of the polygon
    assert radii.max() == pytest.approx((flat - 10) / math.cos(math.pi / count), abs=1e-6)
    assert left.exterior.distance(shapely.Point(0, 0)) == pytest.approx(flat - 10, abs=1e-6)


def test_a_hollow_edge_is_set_back_along_its_parallel_curve():
    turn = np.radians(np.linspace(180, 0, 61))
    bay = np.column_stack([100 + 50 * np.cos(turn), 50 * np.sin(turn)])
    panel = shapely.Polygon(np.vstack([bay, [[300, 0], [300, 200], [-100, 200], [-100, 0]]]))
    edges = [12.0] * 60 + [0.0] * 5
    order = rings_of(panel)[0]
    assert np.allclose(order[:61], bay)
    left = set_back(panel, [edges])
    middle = [p for p in np.array(left.exterior.coords) if p[1] > 40 and p[1] < 100]
    assert middle
    for point in middle:
        assert math.hypot(point[0] - 100, point[1]) == pytest.approx(62, abs=0.03)


def test_bevels_that_meet_leave_nothing_or_two_parts():
    assert set_back(shapely.box(0, 0, 100, 15), [[10, 10, 10, 10]]).is_empty
    waist = ring((0, 0), (50, 0), (60, 20), (70, 0), (120, 0), (120, 60), (70, 60), (60, 25),
                 (50, 60), (0, 60))  # fmt: skip
    assert len(polygons(set_back(waist, [[4.0] * 10]))) == 2


def test_the_edge_of_an_opening_is_set_back_into_the_material():
    panel = shapely.Polygon(
        shapely.box(0, 0, 100, 100).exterior, [shapely.box(40, 40, 60, 60).exterior]
    )
    left = set_back(panel, [[0] * 4, [5] * 4])
    want = shapely.box(0, 0, 100, 100).difference(shapely.box(35, 35, 65, 65))
    assert left.symmetric_difference(want).area < 1e-6


def test_a_negative_inset_or_a_missing_one_is_refused():
    with pytest.raises(ValueError):
        set_back(shapely.box(0, 0, 1, 1), [[-1, 0, 0, 0]])
    with pytest.raises(ValueError):
        set_back(shapely.box(0, 0, 1, 1), [[0, 0, 0]])


convex = st.integers(3, 9).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.6, 1.4), min_size=n, max_size=n),
        st.lists(st.sampled_from([0.0, 2.0, 5.77, 10.0]), min_size=n, max_size=n),
        st.floats(0, 6.28),
    )
)


@settings(deadline=None)
@given(convex)
def test_a_convex_panel_narrows_to_the_common_part_of_its_set_back_half_planes(made):
    steps, insets, start = made
    turn = start + np.cumsum(steps) / sum(steps) * 2 * np.pi
    points = 200 * np.column_stack([np.cos(turn), np.sin(turn)])
    panel = shapely.Polygon(points)
    order = rings_of(panel)[0]
    want = panel
    steep = True
    for a, b, c, one, two in zip(
        order, np.roll(order, -1, 0), np.roll(order, -2, 0), insets, np.roll(insets, -1),
        strict=True,
    ):  # fmt: skip
        along = (b - a) / np.linalg.norm(b - a)
        inward = np.array([-along[1], along[0]])
        low = a + inward * one
        half = shapely.Polygon(
            [low - 1e4 * along, low + 1e4 * along, low + 1e4 * (along + inward),
             low + 1e4 * (inward - along)]
        )  # fmt: skip
        shared = shapely.get_parts(shapely.intersection(want, half, grid_size=1e-7))
        # without the lines where sides touch
        want = shapely.union_all([part for part in shared if part.geom_type == "Polygon"])
        onward = (c - b) / np.linalg.norm(c - b)
        steep &= along @ onward < 0.9 or one == two
    if not steep:
        return  # a step is wanted there, tested above
    assert set_back(panel, [insets]).symmetric_difference(want).area < 1e-4


@settings(deadline=None)
@given(st.lists(st.sampled_from([0.0, 4.0, 9.0]), min_size=6, max_size=6))
def test_a_square_edge_is_the_same_line_on_both_sides(insets):
    panel = ring((0, 0), (180, -20), (240, 60), (170, 150), (60, 170), (-30, 80))
    left = set_back(panel, [insets])
    order = rings_of(panel)[0]
    for a, b, inset in zip(order, np.roll(order, -1, 0), insets, strict=True):
        middle = (a + b) / 2
        away = left.exterior.distance(shapely.Point(middle))
        assert away == pytest.approx(inset, abs=1e-6)


def test_a_parallel_line_keeps_its_distance():
    line = np.array([[0, 0], [100, 5], [200, 0]], float)
    moved = parallel(line, 10)
    assert shapely.LineString(line).distance(shapely.Point(moved[1])) == pytest.approx(10, abs=0.02)
    assert moved[0] == pytest.approx(line[0] + 10 * np.array([-5, 100]) / math.hypot(5, 100))


@pytest.mark.parametrize("lean", [-3.0, 0.0, 3.0])
@pytest.mark.parametrize("bend", [0.02, 0.5, 2.0])
def test_a_square_edge_that_bends_within_a_bevel_keeps_no_needle(lean, bend):
    """The saw cut of a bevel runs straight on: the narrow side begins at its set-back line."""
    seam = [(200.0, 0.0), (200.0 + 0.05 * lean, 1.1), (200.0 + lean + bend, 60.0), (200.0, 120.0)]
    ring = np.array([(0.0, 0.0), *seam, (0.0, 120.0)])
    panel = shapely.Polygon(ring)
    (order,) = rings_of(panel)
    sides = np.roll(order, -1, axis=0) - order
    insets = np.where(np.abs(sides[:, 1]) < 1e-9, 10.0, 0.0)  # bevels below and above
    left = set_back(panel, [insets])
    want = panel.intersection(shapely.box(-1, 10, 300, 110))
    assert left.geom_type == "Polygon"
    assert left.symmetric_difference(want).area < 1e-4


@pytest.mark.parametrize(("round_mm", "flat_mm"), [(10.0, 27.5), (27.5, 10.0), (10.0, 0.0)])
def test_a_curved_edge_and_a_straight_one_of_other_insets_meet_where_their_set_back_lines_cross(
    round_mm, flat_mm
):
    """A half disc of 300 mm: what is left is the disc of its inset radius above its inset line."""
    turn = np.linspace(0.0, np.pi, 721)
    ring = 300.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    (order,) = rings_of(shapely.Polygon(ring))
    flat = np.hypot(*(np.roll(order, -1, axis=0) - order).T) > 100.0
    left = set_back(shapely.Polygon(ring), [np.where(flat, flat_mm, round_mm)])
    radius = 300.0 - round_mm
    corner = np.array([np.sqrt(radius**2 - flat_mm**2), flat_mm])
    assert shapely.Point(corner).distance(left.exterior) < 0.01
    half = np.arccos(flat_mm / radius)  # of the segment that the line cuts from the disc
    want = radius**2 * half - flat_mm * corner[0]
    assert left.area == pytest.approx(want, rel=1e-4)
    assert left.geom_type == "Polygon"
