"""Covers, convex parts and no-fit polygons against shapely's own geometry."""

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from plybook.nest.bound import sheet_bound, strip_bound
from plybook.nest.model import Placement
from plybook.nest.nofit import Part, convex_parts, no_fit
from plybook.nest.outline import cover_ring
from plybook.nest.placing import fibre_rotations, placed, turn_ring
from tests.nest.makers import box


def star(radii):
    """A simple ring about the origin, (n, 2) in mm: one point at each radius, evenly turned."""
    angles = 2 * np.pi * np.arange(len(radii)) / len(radii)
    return np.round((np.array(radii) * np.array([np.cos(angles), np.sin(angles)])).T, 3)


@st.composite
def stars(draw):
    """A simple ring about the origin, up to 40 points, any concavity."""
    n = draw(st.integers(4, 40))
    return star(draw(st.lists(st.floats(20.0, 400.0), min_size=n, max_size=n)))


# a wavy round: its sides extended to one another would stand more than 20 mm over its hollows
RADII = (295, 314, 297, 286, 287, 316, 296, 299, 271, 291, 302, 255, 296, 283, 355, 293, 258)


@settings(max_examples=80, deadline=None)
@given(stars(), st.sampled_from((0.0, 0.2, 3.0, 20.0)))
@example(star(RADII), 20.0)
def test_cover_holds_the_ring_and_stays_near(ring, reach):
    cover = cover_ring(ring, reach)
    true, outer = shapely.Polygon(ring), shapely.Polygon(cover)
    assert len(cover) <= len(ring)
    assert true.difference(outer.buffer(1e-6)).area < 1e-6
    assert (
        outer.difference(true.buffer(reach + 1e-6, join_style="mitre", mitre_limit=50)).area < 1e-3
    )


def test_cover_of_a_finely_sampled_curve_has_few_points():
    """A quarter round of 5000 mm in 500 chords: sagitta r (1 - cos(t/2)) <= 0.3 mm allows chords
    of 2 acos(1 - 0.3 / 5000) = 0.022 rad, so some 70 sides and no more than 150 are needed."""
    turn = np.linspace(0.0, np.pi / 2, 500)
    arc = 5000.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    ring = np.vstack([[(0.0, 0.0)], arc])
    assert len(cover_ring(ring, 0.3)) < 150


@settings(max_examples=60, deadline=None)
@given(stars())
def test_convex_parts_make_up_the_ring(ring):
    parts = [shapely.Polygon(p) for p in convex_parts(ring)]
    whole = shapely.Polygon(ring)
    for part in parts:
        assert part.convex_hull.area == pytest.approx(part.area, rel=1e-6, abs=1e-3)
    assert sum(p.area for p in parts) == pytest.approx(whole.area, rel=1e-9)
    assert shapely.union_all(parts).symmetric_difference(whole).area < 1e-3 + 1e-6 * whole.area


@settings(max_examples=60, deadline=None)
@given(stars(), stars(), st.sampled_from((0.0, 3.0)), st.tuples(*[st.floats(-900, 900)] * 2))
def test_no_fit_polygon_says_what_shapely_says(first, second, gap, place):
    a = Part(np.asarray(shapely.Polygon(first).convex_hull.exterior.coords)[:-1][::-1])
    b = Part(np.asarray(shapely.Polygon(second).convex_hull.exterior.coords)[:-1][::-1])
    plane = no_fit(a, b, gap)
    clear = float((plane.normals @ place - plane.reach_mm).max())
    apart = shapely.distance(
        shapely.Polygon(a.points_mm), shapely.Polygon(b.points_mm + np.array(place))
    )
    if clear > 1e-6:
        assert apart >= gap - 1e-6
    if apart > gap * 1.03 + 1e-6:
        assert clear > -1e-6


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0, -45.0, 90.0, 12.5])
@pytest.mark.parametrize("every", [180.0, 90.0])
@pytest.mark.parametrize("flipped", [False, True])
def test_allowed_rotations_lay_the_fibre_along_the_warp(angle, every, flipped):
    """A unit vector along the fibre, mirrored if flipped and turned, lies along the warp (x),
    or across it where warp and weft are alike."""
    fibre = np.array([[0.0, 0.0], [np.cos(np.radians(angle)), np.sin(np.radians(angle))]])
    rotations = fibre_rotations(-angle if flipped else angle, every)
    assert len(rotations) == 360 / every
    for rotation in rotations:
        turned = turn_ring(fibre, rotation, flipped)
        x, y = np.abs(turned[1] - turned[0])
        assert min(x, y) < 1e-9 if every == 90.0 else y < 1e-9


def test_turning_by_quarters_is_exact():
    ring = box(3.0, 1.0)
    assert turn_ring(ring, 90.0).tolist() == [[0, 0], [0, 3], [-1, 3], [-1, 0]]
    assert np.array_equal(turn_ring(turn_ring(ring, 180.0), 180.0), ring)


def test_bound_of_rectangles_that_cannot_lie_side_by_side():
    """Three pieces 60 wide on a strip of 100 lie one after another: 3 x 200."""
    bound = strip_bound([box(200.0, 60.0)], [3], [(0.0,)], 0.0, 100.0)
    assert 599.9 < bound <= 600.0


def test_bound_is_at_least_area_and_longest_piece():
    assert strip_bound([box(100.0, 50.0)], [8], [(0.0, 90.0)], 0.0, 100.0) == pytest.approx(400.0)
    assert strip_bound([box(900.0, 5.0)], [1], [(0.0,)], 0.0, 100.0) == pytest.approx(900.0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from((0.0, 0.5, 3.0, 5.0)))
def test_bound_never_exceeds_a_layout_known_to_be_possible(seed, gap):
    """A strip cut up at random: pieces of a perfect layout, drawn in by half the gap each, so the
    bound must not exceed the strip they were cut from."""
    rng = np.random.default_rng(seed)
    xs = np.sort(np.concatenate([[0.0, 1000.0], rng.uniform(0, 1000, 5)]))
    rings = []
    for x0, x1 in zip(xs, xs[1:], strict=False):
        if x1 - x0 < 12.0:
            continue
        y = rng.uniform(20.0, 80.0, 2)
        lower = np.array([(x0, 0.0), (x1, 0.0), (x1, y[1]), (x0, y[0])])
        upper = np.array([(x0, y[0]), (x1, y[1]), (x1, 100.0), (x0, 100.0)])
        for ring in (lower, upper):
            shape = shapely.Polygon(ring).buffer(-gap / 2, join_style="mitre")
            rings.append(np.asarray(shapely.geometry.polygon.orient(shape).exterior.coords)[:-1])
    low = min(r[:, 0].min() for r in rings)
    high = max(r[:, 0].max() for r in rings)
    bound = strip_bound(rings, [1] * len(rings), [(0.0, 180.0)] * len(rings), gap, 100.0 - gap)
    assert bound <= high - low + 1e-6


def test_sheet_bound_counts_pieces_over_half_a_sheet():
    """Five pieces of 0.55 of a sheet: area says 3, but no two share one."""
    assert sheet_bound([box(1100.0, 500.0)], [5], 0.0, (1000.0, 1000.0)) == 5
    assert sheet_bound([box(500.0, 500.0)], [9], 0.0, (1000.0, 1000.0)) == 3


def test_bound_of_strips_that_lie_in_two_rows():
    """Strips of 0.44 of the width lie in two rows at most: half their total length."""
    lengths = (3433.0, 3083.0, 2733.0, 2382.0)
    bound = strip_bound([box(v, 220.0) for v in lengths], [2] * 4, [(0.0, 180.0)] * 4, 0.0, 500.0)
    assert bound == pytest.approx(sum(lengths), rel=1e-6)


def test_a_placed_point_is_mirrored_then_turned_then_moved():
    """Mirror y if flipped, turn counter-clockwise about the origin, translate; the ring stays
    counter-clockwise."""
    ring = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]])
    lies = placed(ring, Placement("x", 1, 10.0, 20.0, 90.0, True))
    assert lies == pytest.approx(np.array([[11.0, 22.0], [10.0, 22.0], [10.0, 20.0]]))
