"""A board finds the same place whether every side or only the outer ones are crossed."""

import math

import numpy as np
import pytest

from plybook.nest import board
from plybook.nest.board import Board
from plybook.nest.compact import NoFits
from plybook.nest.model import Unit
from plybook.nest.nofit import NoFit, Shape


def star(points: int, seed: int) -> Shape:
    rng = np.random.default_rng(seed)
    turn = 2 * math.pi * np.arange(points) / points
    reach = rng.uniform(60.0, 160.0, points)
    return Shape(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]))


@pytest.mark.parametrize("seed", range(3))
def test_outer_sides_alone_give_the_same_place(monkeypatch, seed):
    places = []
    for many in (10**9, 0):
        monkeypatch.setattr(board, "_MANY_SIDES", many)
        filled = Board(Unit("", "roll", "", 2000.0, 500.0), NoFits(3.0))
        for n in range(4):
            shape = star(9, 10 * seed + n)
            at = filled.spot(shape)
            assert at is not None
            filled.lay(shape, at)
            places.append(at)
    assert np.allclose(places[:4], places[4:], atol=1e-5)


def test_no_fit_polygons_that_rounding_makes_cross_themselves_are_joined_by_their_hulls():
    """As between sides all but parallel, whose corners lie metres off."""
    crossed = [(0, 0), (100, 0), (100, 50), (99, 60), (101, 55), (0, 50)]
    every = [(polygon(crossed), np.zeros(2)), (polygon([(50, 10), (150, 10), (150, 70), (50, 70)]),
              np.zeros(2))]  # fmt: skip
    start, way, _ = board._outer_sides(every)
    assert np.allclose(start + way, np.roll(start, -1, axis=0))
    assert start.min(axis=0).tolist() == [0, 0] and start.max(axis=0).tolist() == [150, 70]


def polygon(corners):
    """A no-fit polygon with these corners, its half-planes left out."""
    corners = np.array(corners, dtype=float)
    none = np.zeros((len(corners), 2))
    return NoFit(none, none[:, 0], corners, np.roll(corners, -1, axis=0) - corners)
