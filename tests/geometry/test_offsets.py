"""Distances beside a line: signed, and true past the ends too."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plybook.geometry.offsets import offset_mm

SLANTED = np.array([[0.0, 0.0], [30.0, 40.0], [60.0, 80.0]])


@pytest.mark.parametrize(
    ("point", "expected"),
    [
        ((-4.0, 3.0), 5.0),  # left of its start
        ((34.0, 37.0), -5.0),  # right of its middle
        ((-3.0, -4.0), 0.0),  # on the line carried on before its start
        ((60 + 30 - 8, 80 + 40 + 6), 10.0),  # beyond its end: still square to the line
    ],
)
def test_a_distance_is_square_to_the_line_and_has_a_side(point, expected):
    assert offset_mm(SLANTED, np.array(point)) == pytest.approx(expected, abs=1e-9)


@given(st.floats(-90, 90), st.floats(-200, 1200), st.floats(-80, 80))
def test_the_distance_from_a_straight_line_is_that_of_the_cross_product(turn, along, beside):
    way = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    line = np.linspace(0.0, 1000.0, 9)[:, None] * way
    point = along * way + beside * np.array([-way[1], way[0]])
    assert offset_mm(line, point) == pytest.approx(beside, abs=1e-7)


def test_a_bowed_line_is_carried_on_as_it_ends():
    turns = np.radians(np.linspace(0, 90, 901))
    arc = 100.0 * np.column_stack([np.sin(turns), 1 - np.cos(turns)])  # ends upwards at (100, 100)
    assert offset_mm(arc, np.array([90.0, 160.0])) == pytest.approx(10.0, abs=1.6)
    assert offset_mm(arc, np.array([0.0, 100.0])) == pytest.approx(100.0, abs=1e-3)


def test_a_line_without_length_is_refused():
    with pytest.raises(ValueError, match="two different points"):
        offset_mm(np.zeros((3, 2)), np.ones(2))
