"""Rectangles on a strip: published sets at their known heights, and what any layout must keep.

Sets of Hopper and Turton (source beside the data): each is a rectangle cut up without waste, so its
own height is the least there is.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.nest.boxes import pack_boxes, search_boxes
from plybook.nest.budget import Budget
from plybook.nest.skyline import Side, fill_skyline, lay_rectangles
from plybook.nest.strip import pack_strip
from tests.bench.data.hopper_turton import RECTANGLE_SETS
from tests.nest.makers import box
from tests.nest.test_strip import proved

QUARTERS = (0.0, 90.0)


def strip_of(sizes):
    rings = [box(float(h), float(w)) for w, h in sizes]
    return rings, [1] * len(rings), [QUARTERS] * len(rings)


@pytest.mark.parametrize("name, width, height, sizes", RECTANGLE_SETS, ids=lambda v: str(v)[:9])
def test_sizes_are_those_published(name, width, height, sizes):
    """A set cut from a rectangle without waste has that rectangle's area."""
    assert sum(w * h for w, h in sizes) == width * height


@pytest.mark.parametrize("name, width, height, sizes", RECTANGLE_SETS, ids=lambda v: str(v)[:9])
def test_orders_by_size_alone_come_within_a_tenth(name, width, height, sizes):
    """Without any time to search, and never longer than the simple rule of a public library."""
    rings, ones, turns = strip_of(sizes)
    result = search_boxes(rings, ones, turns, 0.0, width, Budget(0.0))
    assert height <= result.length_mm <= 1.1 * height
    assert result.length_mm <= pack_boxes(rings, ones, turns, 0.0, width).length_mm
    assert proved(result, rings, ones, turns, 0.0, width) == ()


@pytest.mark.parametrize("name, width, height, sizes", RECTANGLE_SETS[:3], ids=lambda v: str(v)[:9])
def test_small_sets_reach_their_known_height(name, width, height, sizes):
    """The search ends when the height is met; the time is only there so that it ends at all."""
    rings, ones, turns = strip_of(sizes)
    result = pack_strip(rings, ones, turns, 0.0, width, 60.0, target_mm=height)
    assert result.length_mm == height
    assert proved(result, rings, ones, turns, 0.0, width) == ()


def test_the_gap_is_kept_between_rectangles_and_not_at_the_edges():
    """Two of 48 with a gap of 4 are as wide as a strip of 100."""
    rings = [box(30.0, 48.0)]
    result = search_boxes(rings, [4], [(0.0,)], 4.0, 100.0, Budget(0.0))
    assert result.length_mm == pytest.approx(64.0)
    assert proved(result, rings, [4], [(0.0,)], 4.0, 100.0) == ()


def test_the_lowest_step_is_filled_by_what_comes_level_with_its_wall():
    """A post of 2 x 5 beside a step of 8: the plate of 8 x 5 is level with it and goes there."""
    post, plate, other = ((Side(*size, name),) for size, name in
                          (((2, 5), "post"), ((8, 5), "plate"), ((8, 4), "other")))  # fmt: skip
    reach, spots = fill_skyline([post, other, plate], 10, 1000)
    where = {s.side.name: (s.y, s.x) for s in spots}
    assert where["plate"] == (2, 0)
    assert reach == 9


def test_nothing_is_laid_past_the_limit():
    assert fill_skyline([(Side(5, 5, None),)], 10, 5) is None
    assert fill_skyline([(Side(5, 5, None),)], 10, 6) is not None


sides = st.tuples(st.integers(1, 40), st.integers(1, 90))


@settings(max_examples=60, deadline=None)
@given(st.lists(sides, min_size=1, max_size=25))
def test_rectangles_of_any_size_lie_apart_on_the_strip(sizes):
    rects = [tuple(Side(a, b, k) for a, b in {(w, h), (h, w)} if a <= 50) for k, (w, h) in
             enumerate(sizes)]  # fmt: skip
    reach, spots = lay_rectangles(rects, 50, Budget(0.0))
    taken = np.zeros((50, reach), dtype=int)
    for y, x, side in spots:
        assert side in rects[side.name] and y + side.across <= 50
        taken[y : y + side.across, x : x + side.along] += 1
    assert sorted(s.side.name for s in spots) == list(range(len(sizes)))
    assert taken.max() == 1 and taken.sum() == sum(w * h for w, h in sizes)
    assert taken[:, -1].any()
