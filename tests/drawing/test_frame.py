"""Shapes on paper: what lies below an area with openings is seen through them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.drawing.frame import tinted
from plybook.drawing.scene import Role

FRAME = shapely.box(0, 0, 60, 40) - shapely.box(10, 10, 25, 30) - shapely.box(35, 10, 50, 30)


def _filled(shape) -> shapely.Geometry:
    """The area that a printer fills: inside an odd number of times (SVG 2, 13.4.2, evenodd)."""
    rings = [path.points_mm for path in tinted(shape, Role.GHOST, "ply") if path.fill]
    return shapely.union_all([shapely.make_valid(shapely.Polygon(ring)) for ring in rings])


def test_an_area_without_openings_is_one_path_with_its_line():
    (path,) = tinted(shapely.box(0, 0, 30, 20), Role.GHOST, "ply")
    assert (path.role, path.fill, path.closed) == (Role.GHOST, "ply", True)


def test_openings_are_left_out_of_the_tint_and_outlined():
    fill, *outlines = tinted(FRAME, Role.GHOST, "ply")
    assert fill.role is Role.FILL
    assert [path.fill for path in outlines] == ["", "", ""]
    assert _filled(FRAME).symmetric_difference(FRAME).area == pytest.approx(0.0, abs=1e-9)


def test_openings_run_against_the_outline():
    ring = next(tinted(FRAME, Role.GHOST, "ply")).points_mm
    assert shapely.LinearRing(ring).is_ccw
    area = 0.5 * np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1])
    assert area == pytest.approx(FRAME.area)


def test_a_tint_without_a_line_has_no_outlines():
    assert len(list(tinted(FRAME, Role.FILL, "highlight"))) == 1


def test_an_opening_behind_another_is_joined_to_it_not_across_it():
    behind = shapely.Point(42, 20).buffer(3).union(shapely.Point(18, 20).buffer(3))
    shape = shapely.box(0, 0, 60, 40) - behind
    assert _filled(shape).symmetric_difference(shape).area == pytest.approx(0.0, abs=1e-9)


@settings(deadline=None)  # time is not what is tested
@given(
    st.lists(
        st.tuples(st.integers(1, 18), st.integers(1, 12), st.floats(0.5, 1.9), st.integers(3, 12)),
        max_size=12,
    )
)
def test_any_openings_are_left_out(openings):
    rounds = []
    for across, up, radius, corners in openings:
        turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        ring = np.column_stack([np.cos(turn), np.sin(turn)]) * radius + (4 * across, 4 * up)
        rounds.append(shapely.Polygon(ring))
    shape = shapely.box(0, 0, 80, 56) - shapely.union_all(rounds)
    assert _filled(shape).symmetric_difference(shape).area == pytest.approx(0.0, abs=1e-6)
