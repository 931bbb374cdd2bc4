"""The edges of the two leaves at a break, against the section unrolled by hand.

A bay that rises by an angle b without taper or sweep is a cylinder whose rulings slope by b:
unrolled, a point of the section lies z sin b along the rulings, and the girth across them is that
of the section squeezed to z cos b (elementary geometry; the section from the formulas of NACA
report 460).
"""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon

from plybook.surface.breaks import breaks_of, views_of
from tests.surface.faces import face, grid, station

CHORD = 1000.0
RISES = (50.0, 350.0)  # of the two bays, over BAY each
BAY = 1500.0


def upper_2412(count=20001):
    """Upper surface of NACA 2412 from leading to trailing edge, (n, 2) for a chord of 1."""
    x = (1 - np.cos(np.linspace(0, np.pi, count))) / 2
    thick = 0.6 * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    m, p = 0.02, 0.4
    fore = x < p
    line = np.where(fore, m / p**2 * (2 * p * x - x**2),
                    m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x**2))  # fmt: skip
    slope = np.where(fore, 2 * m / p**2 * (p - x), 2 * m / (1 - p) ** 2 * (p - x))
    turn = np.arctan(slope)
    return np.column_stack([x - thick * np.sin(turn), line + thick * np.cos(turn)])


def bow(line):
    """How far an open line leaves its chord."""
    along = (line[-1] - line[0]) / np.hypot(*(line[-1] - line[0]))
    return float(np.abs((line - line[0]) @ np.array([-along[1], along[0]])).max())


def unrolled_bow(rise):
    section = upper_2412() * CHORD
    slope = math.atan2(rise, BAY)
    step = np.diff(section, axis=0) * [1.0, math.cos(slope)]
    girth = np.concatenate([[0.0], np.cumsum(np.hypot(*step.T))])
    return bow(np.column_stack([section[:, 1] * math.sin(slope), girth]))


@pytest.fixture(scope="module")
def broken():
    return face(
        station(0, CHORD),
        station(BAY, CHORD, rise=RISES[0]),
        station(2 * BAY, CHORD, rise=sum(RISES)),
    )


def test_each_leaf_ends_on_the_section_as_its_own_bay_unrolls_it(broken):
    (one,) = breaks_of(broken, 50.0)
    assert (unrolled_bow(RISES[0]), unrolled_bow(RISES[1])) == pytest.approx(
        (2.62, 17.90), abs=0.01
    )
    for line, rise in zip((one.inner_mm, one.outer_mm), RISES, strict=True):
        assert bow(line[1:-1]) == pytest.approx(unrolled_bow(rise), abs=0.01)


def test_the_lines_of_a_break_are_one_line_on_the_part(broken):
    (one,) = breaks_of(broken, 50.0)
    inner, outer = broken.leaves
    lines = [
        leaf.space(*leaf.params(points[1:-1]))
        for leaf, points in ((inner, one.inner_mm), (outer, one.outer_mm))
    ]
    assert np.linalg.norm(lines[0] - lines[1], axis=1).max() < 1e-5
    lengths = [np.hypot(*np.diff(m[1:-1], axis=0).T).sum() for m in (one.inner_mm, one.outer_mm)]
    assert lengths[0] == pytest.approx(lengths[1], abs=0.002)


def test_where_the_face_turns_it_closes_by_half_the_angle(broken):
    """Where the section runs level the two bays turn by the difference of their slopes."""
    (one,) = breaks_of(broken, 50.0)
    turn = math.atan2(RISES[1], BAY) - math.atan2(RISES[0], BAY)
    assert np.abs(one.closing).max() == pytest.approx(math.tan(turn / 2), rel=1e-3)


def test_every_leaf_sees_the_face_in_one_piece(broken):
    at = grid([0, 700, BAY - 1e-6, BAY, BAY + 1e-6, 2000, 2 * BAY], np.linspace(0, 1, 7))
    for number, view in enumerate(views_of(broken)):
        assert Polygon(view.outline_mm).is_valid
        assert view.from_pattern(view.to_pattern(at)) == pytest.approx(at, abs=1e-5)
        own = at[(at[:, 0] <= BAY) if number == 0 else (at[:, 0] > BAY)]
        assert view.to_pattern(own) == pytest.approx(broken.to_pattern(own), abs=1e-9)
        ends = view.to_pattern(grid([BAY - 1e-6, BAY + 1e-6], np.linspace(0, 1, 7)))
        assert ends[:7] == pytest.approx(ends[7:], abs=1e-3)


def test_a_face_without_a_break_is_its_own_view():
    whole = face(station(0, CHORD), station(BAY, CHORD))
    assert views_of(whole) == (whole,) and breaks_of(whole, 50.0) == ()
