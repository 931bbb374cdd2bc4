"""Regions of a face that breaks: at a break they begin and end at the same places from either leaf.

Each leaf sees the others attached to its own pattern, and what lies on those is a little out of
place. A distance from an edge on the next leaf, say, comes out otherwise than that leaf itself has
it, and the outlines of one region would pass the break apart. There they are led together: each
outline bends, over some way, to half between the two.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.laminate.regions import Regions
from plybook.laminate.shapes import at_rows, polygons_of, running
from plybook.spec.model import Region
from plybook.surface.breaks import Break
from plybook.surface.model import Face

SAME_MM = 0.02  # outlines that pass a break as near to one another are left alone
REACH_MM = 150.0  # from a break on which outlines bend
STEEPEST = 0.25  # most that they bend by; what is further apart is not one outline
EXACT_MM = 1e-4
STEP_MM = 3.0  # between the points of an outline that bends
_SLOPE = 2.11  # steepest slope of `_share` over a reach of 1
_ON_NET_MM = 0.01

Pull = tuple[np.ndarray, np.ndarray]  # where an outline passes a break (2,), and its way (2,)


class ViewRegions(Regions):
    """The regions as one leaf sees them; `views` are those of all leaves, itself among them."""

    views: Sequence[ViewRegions] = ()
    breaks: Sequence[Break] = ()

    def net(self, region: Region) -> BaseGeometry:
        """As `Regions.net`, led together with what the other leaves see."""
        if region not in self._net:
            shapes = [Regions.net(view, region) for view in self.views]
            nets = [view.plan.net for view in self.views]
            led = led_together(shapes, nets, self.breaks)
            for view, shape in zip(self.views, led, strict=True):
                view._net[region] = shape
        return self._net[region]


def views_on(
    regions: Regions, faces: Sequence[Face], breaks: Sequence[Break]
) -> tuple[Regions, ...]:
    """The regions as seen from each leaf of a face: those given where there is but one."""
    if len(faces) == 1:
        return (regions,)
    views = tuple(ViewRegions.like(regions, face) for face in faces)
    for view in views:
        view.views, view.breaks = views, breaks
    return views


def led_together(
    shapes: Sequence[BaseGeometry], nets: Sequence[BaseGeometry], breaks: Sequence[Break]
) -> list[BaseGeometry]:
    """One region as seen from each leaf, its outlines meeting at the breaks.

    Args:
        shapes: of each leaf, on its view of the pattern.
        nets: the faces as seen from each leaf; what lies on their net lines stays there.
        breaks: between the leaves, from the root.

    Returns:
        As many shapes; those that already meet, and those that are too far apart, as they are.
    """
    pulls: list[list[Pull]] = [[] for _ in shapes]
    for one in breaks:
        lines = one.inner_mm, one.outer_mm
        pair = shapes[one.number : one.number + 2]
        rows = [_passes(shape, line) for shape, line in zip(pair, lines, strict=True)]
        if len(rows[0]) != len(rows[1]):
            continue
        for side, line in enumerate(lines):
            own, middle = (at_rows(line, r) for r in (rows[side], (rows[0] + rows[1]) / 2))
            pulls[one.number + side] += zip(own, middle - own, strict=True)
    return [_pulled(shape, net, some) for shape, net, some in zip(shapes, nets, pulls, strict=True)]


def _passes(shape: BaseGeometry, line: np.ndarray) -> np.ndarray:
    """Where the outlines of a shape pass a line, in rows of it, rising; none where one runs along
    it."""
    met = shapely.linestrings(line).intersection(shape.boundary)
    if met.length > 0:
        return np.zeros(0)
    points = shapely.points(shapely.get_coordinates(met))
    at = shapely.line_locate_point(shapely.linestrings(line), points)
    return np.sort(np.interp(at, running(line), np.arange(len(line))))


def _pulled(shape: BaseGeometry, net: BaseGeometry, pulls: Sequence[Pull]) -> BaseGeometry:
    """The shape with its outlines bent so that each place that is pulled comes to where it is
    pulled to; as it is where that would bend them sharply."""
    fixed = shape.boundary.intersection(net.boundary.buffer(_ON_NET_MM))
    loose = [
        pull for pull in pulls if not shapely.dwithin(fixed, shapely.Point(pull[0]), SAME_MM)
    ]
    if not loose:
        return shape
    places, ways = (np.array([pull[k] for pull in loose]) for k in (0, 1))
    size = np.hypot(*ways.T)
    if size.max() < SAME_MM:
        return shape
    away = shapely.distance(shapely.points(places), fixed)  # nan where nothing lies on the net line
    reach = np.fmin(away, REACH_MM)
    weights = np.linalg.lstsq(_share(places, places, reach), ways, rcond=None)[0]
    if (_SLOPE * np.hypot(*weights.T) / reach).sum() > STEEPEST:
        return shape

    def bent(points: np.ndarray) -> np.ndarray:
        return points + _share(points, places, reach) @ weights

    dense = shapely.segmentize(shape, STEP_MM)
    found = shapely.transform(dense, bent).simplify(EXACT_MM)
    return found if found.is_valid and len(polygons_of(found)) else shape


def _share(points: np.ndarray, places: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """(n, m) how much points follow each of some places: 1 there, 0 from its reach on, smooth
    (Wendland's function of compact support, which tells any places apart)."""
    away = np.linalg.norm(points[:, None] - places[None], axis=2) / reach
    return np.maximum(1 - away, 0.0) ** 4 * (4 * away + 1)
