"""Splices against an exhaustive search, and area counted before and after."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from plybook.laminate.splice import (
    FIT_MM,
    barred_by_regions,
    barred_by_splices,
    place_splices,
    strips,
    warp_frame,
)
from plybook.spec.model import SpliceRule


def rule(overlap=0.0, narrowest=100.0, stagger=50.0):
    return SpliceRule("overlap" if overlap else "butt", overlap, stagger, narrowest)


def test_cloth_that_fits_its_roll_is_not_split():
    assert place_splices(0, 1250, 1250, rule()) == ()


def test_a_butt_gives_a_full_width_and_the_remainder():
    assert place_splices(0, 2000, 1250, rule()) == pytest.approx((1250 - FIT_MM,))


def test_a_remainder_under_the_narrowest_strip_takes_from_its_neighbour():
    assert place_splices(0, 1300, 1250, rule(narrowest=200)) == pytest.approx((1100,))


def test_an_overlap_takes_half_its_length_from_either_strip():
    lines = place_splices(0, 2400, 1250, rule(overlap=50))
    widths = [lines[0] + 25, 2400 - lines[0] + 25]
    assert max(widths) <= 1250 and sum(widths) == pytest.approx(2400 + 50)


def test_splices_of_neighbouring_layers_keep_the_stagger():
    first = place_splices(0, 3000, 1250, rule())
    frame = warp_frame(0.0, "left")
    lines = [np.array([[0.0, at], [500.0, at]]) for at in first]
    second = place_splices(0, 3000, 1250, rule(), barred_by_splices(lines, frame, 50.0))
    assert len(second) == len(first)
    assert min(abs(a - b) for a in first for b in second) >= 50.0


def test_a_region_kept_clear_moves_the_splice_out_of_it():
    ply = shapely.box(0, 0, 500, 2000)
    frame = warp_frame(0.0, "left")
    barred = barred_by_regions(shapely.box(200, 1180, 300, 1400), ply, frame, 30.0)
    (line,) = place_splices(0, 2000, 1250, rule(overlap=30.0), barred)
    assert line + 15 <= 1180 + 1e-9


def test_a_region_outside_the_ply_bars_nothing():
    assert barred_by_regions(
        shapely.box(900, 0, 950, 100), shapely.box(0, 0, 500, 200), warp_frame(0, "left"), 0
    ) == []  # fmt: skip


def test_no_set_of_splices_is_said_so():
    everywhere = [(100.0, 1900.0)]
    assert place_splices(0, 2000, 1250, rule(), everywhere) is None
    assert place_splices(0, 2000, 30, rule(overlap=40.0)) is None


def fewest_by_search(extent, width, overlap, narrowest, barred, most):
    """Exhaustive: reachable line positions on a half-millimetre grid, strip by strip."""
    grid = np.arange(0, 2 * extent + 1) / 2
    free = np.ones(len(grid), bool)
    for low, high in barred:
        free &= ~((grid > low) & (grid < high))
    reach = free & (grid >= narrowest) & (grid <= width - overlap / 2)
    for count in range(2, most + 1):
        last = reach & (extent - grid >= narrowest) & (extent - grid <= width - overlap / 2)
        if last.any():
            return count
        step = np.zeros_like(reach)
        for at in grid[reach]:
            step |= (grid - at >= narrowest) & (grid - at <= width - overlap)
        reach = step & free
    return None


@settings(max_examples=120, deadline=None)
@given(
    st.integers(101, 400), st.integers(40, 100), st.integers(0, 10).map(lambda k: 2 * k),
    st.integers(0, 45),
    st.lists(st.tuples(st.integers(0, 400), st.integers(1, 60)), max_size=4),
)  # fmt: skip
def test_strips_obey_every_rule_and_are_the_fewest(extent, width, overlap, narrowest, zones):
    assume(width - overlap > narrowest)
    barred = [(float(a), float(a + b)) for a, b in zones]
    lines = place_splices(0, extent, width + FIT_MM, rule(overlap, narrowest), barred)
    fewest = max(2, math.ceil((extent - overlap) / (width - overlap)))
    searched = fewest_by_search(extent, width, overlap, narrowest, barred, fewest + 4)
    if lines is None:
        assert searched is None
        return
    assert len(lines) + 1 == searched
    ends = [0.0, *lines, float(extent)]
    for k, (a, b) in enumerate(zip(ends, ends[1:], strict=False)):
        laps = (overlap / 2) * ((k > 0) + (k < len(lines)))
        assert b - a >= narrowest - 1e-9
        assert b - a + laps <= width + 1e-9
    assert not any(low + 1e-9 < at < high - 1e-9 for at in lines for low, high in barred)


outlines = st.lists(
    st.tuples(st.floats(0, 2 * math.pi), st.floats(300, 2500)), min_size=3, max_size=9
)


@settings(max_examples=60, deadline=None)
@given(outlines, st.floats(-90, 90), st.floats(0, 60), st.sampled_from(["left", "right"]))
def test_strips_conserve_area_but_for_their_overlaps(corners, angle, overlap, hand):
    """Sum of the strips = the whole + every overlap band."""
    ply = shapely.MultiPoint([(r * math.cos(a), r * math.sin(a)) for a, r in corners]).convex_hull
    assume(isinstance(ply, Polygon) and ply.area > 1e4)
    frame = warp_frame(angle, hand)
    at = frame.positions(shapely.get_coordinates(ply))
    lines = place_splices(at.min(), at.max(), 700.0, rule(overlap, 80.0))
    assume(lines)
    parts = strips(ply, lines, frame, overlap)
    laps = 0.0
    for line in lines:
        far = np.array([-1e4, 1e4, 1e4, -1e4])
        half = overlap / 2
        band = frame.points(far, np.array([line - half, line - half, line + half, line + half]))
        if overlap:
            laps += ply.intersection(Polygon(band)).area
    assert sum(p.area for p in parts) == pytest.approx(ply.area + laps, rel=1e-9)
    assert shapely.union_all(parts).area == pytest.approx(ply.area, rel=1e-9)
    for part in parts:
        width = frame.positions(shapely.get_coordinates(part))
        assert np.ptp(width) <= 700.0 + 1e-9


@given(st.sampled_from([0.0, 90.0, -90.0, 30.0, -45.0, 60.0]))
def test_the_other_hand_counts_its_strips_the_mirrored_way(angle):
    left = warp_frame(angle, "left")
    right = warp_frame(angle if abs(angle) == 90 else -angle, "right")
    assert right.across == pytest.approx(left.across * [1, -1], abs=1e-12)
    assert right.along == pytest.approx(left.along * [1, -1], abs=1e-12)
