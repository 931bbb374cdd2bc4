"""What lies over something else on a page, by boxes that are added up by hand, and shapes of very
many points."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.verify import plane
from plybook.verify.covering import Drawn, covered

LINE = Drawn("CUT", np.array([[10.0, 10.0], [30.0, 10.0]]), "", True)
SQUARE = np.array([[5.0, 5.0], [60.0, 5.0], [60.0, 40.0], [5.0, 40.0]])
AREA = Drawn("FILL", SQUARE, "#faf3e2", False)


@pytest.mark.parametrize(
    ("area", "line", "hides"),
    [
        (None, None, True),
        ((40.0, 0.0, 90.0, 60.0), None, False),  # the area shows in the window beside only
        ((0.0, 0.0, 35.0, 60.0), None, True),
        (None, (40.0, 0.0, 90.0, 60.0), False),  # the line is hidden by its own window
        ((0.0, 0.0, 90.0, 60.0), (0.0, 0.0, 90.0, 60.0), True),
    ],
)
def test_an_area_hides_what_both_windows_show(area, line, hides):
    drawn = [replace(LINE, clip_mm=line), replace(AREA, clip_mm=area)]
    assert bool(list(covered(drawn))) == hides


def gear(teeth, radius_mm):
    """A ring of two points for each tooth."""
    turn = np.linspace(0.0, 2 * np.pi, 2 * teeth, endpoint=False)
    far = radius_mm * np.where(np.arange(2 * teeth) % 2, 1.0, 0.9)
    return np.column_stack([far * np.cos(turn), far * np.sin(turn)])


def ways_out(points, ring):
    """Along x, by the crossings of rays with the ring."""
    ring = shapely.LinearRing(ring)
    rays = (shapely.LineString([p, p + (1e3, 0.0)]).intersection(ring) for p in points)
    return [shapely.distance(shapely.Point(p), ray) for p, ray in zip(points, rays, strict=True)]


def test_shapes_of_very_many_points_are_looked_at_in_little_memory():
    """All pairs of these points and sides at once would take 500 MB and more; what is found is what
    GEOS finds."""
    ring = gear(1000, 100.0)
    points = np.random.default_rng(5).uniform(-110.0, 110.0, (3000, 2))
    shape = shapely.Polygon(ring)
    held = shapely.contains_xy(shape, points)
    tracemalloc.start()
    try:
        inside = plane.inside(points, ring)
        out = plane.way_out(points[held], np.tile((1.0, 0.0), (held.sum(), 1)), ring)
        clear = plane.clearance(ring, gear(1000, 50.0) + (160.0, 0.0))
        away = plane.distance_to_path(points, ring)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 100 * 2**20
    assert (inside == held).all()
    few = points[held][:50]
    assert np.allclose(out[:50], ways_out(few, ring), atol=1e-6)
    assert np.isclose(clear, shape.distance(shapely.Polygon(gear(1000, 50.0) + (160.0, 0.0))))
    assert np.allclose(away[:500], shapely.distance(shapely.points(points[:500]), shape.exterior))
