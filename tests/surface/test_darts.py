"""Darts are proposed only where laying the ply flat with them proves that they help."""

import numpy as np
import pytest
from shapely import Polygon

from plybook.spec.model import PolylineSection
from plybook.surface.darts import Below, over, propose_darts
from tests.surface.faces import face, station
from tests.surface.test_raised import level


def cap(radius=1000.0, half=400.0, hand="right"):
    """A spherical cap over a square, lofted smoothly through circular arcs."""
    stations = []
    for y in np.linspace(-half, half, 7):
        r = np.sqrt(radius**2 - y**2)
        turn = np.arcsin(half / r)
        low, top = r * np.cos(turn), r * np.cos(turn) + half * np.tan(turn)
        arc = PolylineSection(np.array([[-half, low], [0, top], [half, low]]), (r * (1 - 1e-13),))
        stations.append(station(y + half, 1, arc))
    return face(*stations, loft="smooth", axis=0.5, hand=hand)


@pytest.fixture(scope="module")
def dome():
    return cap()


@pytest.fixture(scope="module")
def plan(dome):
    return propose_darts(dome, dome.outline_mm, 0.8)


def test_darts_on_a_dome_keep_the_limit_and_make_nothing_worse(plan):
    assert plan.within_limit and plan.after_pct <= 0.8 < plan.before_pct
    assert plan.peak_after_pct < plan.peak_before_pct
    assert len(plan.darts) >= 2
    assert all(dart.width_mm > 5 for dart in plan.darts)


def test_the_cut_outline_is_one_simple_ring_that_loses_the_wedges(dome, plan):
    outline = Polygon(plan.outline_mm)
    assert outline.is_valid and outline.exterior.is_ccw
    assert outline.area == pytest.approx(dome.area_mm2, rel=0.01)
    assert outline.convex_hull.area > outline.area


def test_short_lines_keep_their_length_between_face_and_cut(dome, plan):
    # measured in space and on the cut, apart from the solver: 20 mm lines away from the darts
    rng = np.random.default_rng(5)
    low, high = dome.outline_mm.min(axis=0) + 30, dome.outline_mm.max(axis=0) - 30
    a = rng.uniform(low, high, (4000, 2))
    angle = rng.uniform(0, np.pi, 4000)
    b = a + 20 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    inside = np.isfinite(a).all(axis=1)
    import shapely

    cuts = shapely.union_all(
        [shapely.LineString([d.start_mm, d.tip_mm]).buffer(5) for d in plan.darts]
    )
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    inside &= ~shapely.intersects(lines, cuts)
    inside &= shapely.contains(Polygon(dome.outline_mm), lines)
    a, b = a[inside], b[inside]
    space = np.linalg.norm(dome.to_space(b) - dome.to_space(a), axis=1)
    cut = np.linalg.norm(plan.to_cut(b) - plan.to_cut(a), axis=1)
    stretch = np.abs(space / cut - 1) * 100
    assert np.quantile(stretch, 0.99) < 1.1 * plan.after_pct
    assert len(stretch) > 1000


def test_to_cut_and_back_away_from_the_darts(dome, plan):
    points = dome.outline_mm.mean(axis=0) + np.random.default_rng(1).uniform(-90, 90, (50, 2))
    assert plan.from_cut(plan.to_cut(points)) == pytest.approx(points, abs=1e-6)


def test_no_darts_where_the_cloth_takes_the_strain(dome):
    assert propose_darts(dome, dome.outline_mm, 10.0) is None


def test_no_darts_on_a_saddle_where_cloth_is_missing():
    made = face(station(0, 500, "0012"), station(500, 500, "0012", twist=30), loft="ruled")
    patch = made.to_pattern(np.array([[50, 0.3], [450, 0.3], [450, 0.9], [50, 0.9]]))
    patch = patch if Polygon(patch).exterior.is_ccw else patch[::-1]
    found = propose_darts(made, patch, 0.05)
    assert found is None or found.peak_after_pct < found.peak_before_pct


@pytest.mark.slow
def test_the_other_hand_gets_the_mirrored_darts(dome, plan):
    other = cap(hand="left")
    mirrored = propose_darts(other, other.outline_mm, 0.8)
    assert mirrored.after_pct == pytest.approx(plan.after_pct, rel=1e-3)
    assert sorted(d.width_mm for d in mirrored.darts) == pytest.approx(
        sorted(d.width_mm for d in plan.darts), rel=1e-2
    )


def test_darts_are_laid_anew_on_what_lies_below(dome, plan):
    """10 mm inside a sphere of 1 m all lengths are a hundredth less."""
    on = over(plan, dome, dome.outline_mm, Below(level(10.0)))
    assert Polygon(on.outline_mm).area / Polygon(plan.outline_mm).area == pytest.approx(
        0.99**2, abs=5e-4
    )
    for dart, bare in zip(on.darts, plan.darts, strict=True):
        assert dart.width_mm / bare.width_mm == pytest.approx(0.99, abs=2e-3)
    same = over(plan, dome, dome.outline_mm, Below(level(0.0)))
    assert same.outline_mm == pytest.approx(plan.outline_mm, abs=0.01)
