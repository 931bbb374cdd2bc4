"""Outlines of one region, as two leaves see them, meet at the break between them."""

import numpy as np
import pytest
import shapely
from shapely import box

from plybook.laminate.viewjoin import REACH_MM, led_together
from plybook.surface.breaks import Break

AT_X = 1000.0
ROWS = np.column_stack([np.full(81, AT_X), np.linspace(-100.0, 700.0, 81)])
BREAK = Break(0, AT_X, ROWS, ROWS + (3.0, 0.0), np.zeros(81))  # the next leaf has it 3 mm on
NETS = box(0.0, 0.0, 2000.0, 600.0), box(3.0, 0.0, 2003.0, 600.0)


def led(one, two):
    return led_together((one, two), NETS, [BREAK])


def top_at(shape, x):
    return shape.intersection(shapely.LineString([(x, -200.0), (x, 800.0)])).bounds[3]


def test_outlines_meet_half_way_between_the_two():
    one, two = led(box(100.0, 200.0, 1900.0, 400.0), box(103.0, 200.0, 1903.0, 404.0))
    assert top_at(one, AT_X) == pytest.approx(402.0, abs=0.003)
    assert top_at(two, AT_X + 3.0) == pytest.approx(402.0, abs=0.003)
    for shape, x, was in ((one, AT_X, 400.0), (two, AT_X + 3.0, 404.0)):
        assert top_at(shape, x - REACH_MM - 1) == pytest.approx(was, abs=1e-3)
        assert shape.bounds[1] == pytest.approx(200.0, abs=0.05)  # its other side lies still
        edge = np.array([top_at(shape, x + d) for d in np.linspace(-REACH_MM, REACH_MM, 301)])
        assert np.abs(np.diff(edge)).max() < 0.05 and np.abs(edge - was).max() < 2.001


def test_what_lies_on_the_net_line_stays_there():
    one, two = led(box(0.0, 300.0, 2000.0, 600.0), box(3.0, 306.0, 2003.0, 600.0))
    for shape, x in ((one, AT_X), (two, AT_X + 3.0)):
        assert top_at(shape, x) == 600.0
        low = shape.intersection(shapely.LineString([(x, -200.0), (x, 800.0)])).bounds[1]
        assert low == pytest.approx(303.0, abs=0.003)


def test_outlines_that_meet_are_left_alone():
    shapes = box(100.0, 200.0, 1900.0, 400.0), box(103.0, 200.0, 1903.0, 400.0)
    assert all(a is b for a, b in zip(led(*shapes), shapes, strict=True))


@pytest.mark.parametrize(
    "other",
    [
        box(103.0, 200.0, 1903.0, 480.0),  # too far off to be the same outline
        box(103.0, 200.0, 1903.0, 400.0) - box(903.0, 290.0, 1103.0, 310.0),  # passes more often
        box(1003.0, 200.0, 1903.0, 400.0),  # ends on the break
    ],
)
def test_outlines_that_do_not_belong_together_are_left_alone(other):
    shapes = box(100.0, 200.0, 1900.0, 400.0), other
    assert all(a is b for a, b in zip(led(*shapes), shapes, strict=True))
