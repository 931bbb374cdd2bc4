"""Outlines of what lies under a bag: made whole, grown, measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry


def ring_length_mm(ring_mm: np.ndarray) -> float:
    """Perimeter of a ring."""
    return float(np.hypot(*(ring_mm - np.roll(ring_mm, 1, axis=0)).T).sum())


def polyline_length_mm(points_mm: np.ndarray) -> float:
    """Length of an open polyline."""
    return float(np.hypot(*np.diff(points_mm, axis=0).T).sum())


def one_polygon(shape: BaseGeometry) -> Polygon:
    """One polygon without holes: the shape itself, or the hull of its parts."""
    import shapely

    if shape.geom_type != "Polygon":
        shape = shape.convex_hull
    return shapely.Polygon(shape.exterior)


def grown(shape: Polygon, by_mm: float) -> Polygon:
    """A margin round a shape, corners kept sharp as cloth is cut, fine curves smoothed."""
    return one_polygon(shape.simplify(0.5).buffer(by_mm, join_style="mitre", mitre_limit=2.0))


def ring_of(shape: Polygon) -> np.ndarray:
    """The outline of a polygon as a canonical ring (n, 2)."""
    from plybook.geometry.rings import canonical_ring

    return canonical_ring(np.asarray(shape.exterior.coords)[:-1], 0.01)
