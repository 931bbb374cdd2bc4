"""Sloped edges: the outline of the narrow side of a panel, from the outline of its wide side.

Terms:
    inset: how far the narrow side stands back from the wide side at one edge, thickness / tan(a).
    wide side, narrow side: the faces of the sheet with the full and with the reduced outline.
    corner point: where the set-back lines of two neighbouring segments meet.

Each straight segment is set back by its own inset. What is taken away is the union of one
rectangle per segment and, at every vertex, the two triangles between the vertex, the feet of the
set-back lines and the corner point. At an outward corner that is the intersection of the set-back
half planes, at an inward corner the mitre, along a curve the parallel curve. A segment with no
inset takes nothing away, so that a square edge is the same line on both sides; the cut of a bevel
runs on straight through it. Where two edges of
unequal inset run on in nearly the same direction the corner point lies far off; there the bevel
ends in a step square to the edge instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

CORNER_REACH = 3.0  # corner points further off than this many insets become a step (about 20 deg)
RUN_OUT = 0.25  # of the inset, by which a bevel runs on past a square edge that bends away
_DUST_MM = 1e-6
_GRID_MM = 1e-7  # snap rounding: overlays of nearly coincident lines cannot fail


def bevel_run_mm(thickness_mm: float, angle_deg: float) -> float:
    """Width of a bevel in plan: thickness / tan(angle); 0 for a square edge.

    The sloped face is thickness / sin(angle) wide. `angle_deg` is measured from the sheet.
    """
    if angle_deg >= 90.0:
        return 0.0
    return thickness_mm / math.tan(math.radians(angle_deg))


def set_back(
    panel: shapely.Polygon, insets_mm: Sequence[Sequence[float]]
) -> shapely.Polygon | shapely.MultiPolygon:
    """Set every segment of a panel's rings back by its own distance.

    Args:
        panel: the full outline with its holes.
        insets_mm: for each ring of `rings_of(panel)` one distance >= 0 per segment; the i-th
            belongs to the segment from point i to point i + 1.

    Returns:
        What is left: a Polygon, a MultiPolygon where bevels meet and part the panel, or an empty
        geometry where nothing is left.

    Raises:
        ValueError: a negative inset or a wrong number of them.
    """
    taken: list[shapely.Polygon] = []
    rings = rings_of(panel)
    if len(rings) != len(insets_mm):
        raise ValueError("one row of insets for each ring")
    for ring, row in zip(rings, insets_mm, strict=True):
        insets = np.asarray(row, dtype=float)
        if insets.shape != (len(ring),):
            raise ValueError("one inset for each segment of the ring")
        if (insets < 0).any():
            raise ValueError("an inset is zero or more")
        taken += _rectangles(ring, insets) + _corners(ring, insets)
    if not taken:
        return panel
    gone = shapely.union_all(taken, grid_size=_GRID_MM)
    left = shapely.difference(panel, gone, grid_size=_GRID_MM)
    return drop_dust(left.simplify(_DUST_MM))


def rings_of(panel: shapely.Polygon) -> list[np.ndarray]:
    """Outer ring, then holes, each (n, 2), not closed, with the material on the left."""
    panel = shapely.geometry.polygon.orient(panel)
    return [np.asarray(r.coords)[:-1] for r in (panel.exterior, *panel.interiors)]


def parallel(line_mm: np.ndarray, by_mm: float) -> np.ndarray:
    """An open line moved to its left by a distance, corners mitred; for gently bent lines."""
    step = np.diff(line_mm, axis=0)
    along = step / np.linalg.norm(step, axis=1, keepdims=True)
    left = np.column_stack([-along[:, 1], along[:, 0]])
    both = np.vstack([left[:1], left[:-1] + left[1:], left[-1:]])
    both[1:-1] /= 1.0 + np.sum(left[:-1] * left[1:], axis=1, keepdims=True)
    return line_mm + both * by_mm


def drop_dust(shape: shapely.Geometry, least_mm2: float = 1e-3) -> shapely.Geometry:
    """The polygons of a geometry, without those smaller than `least_mm2`."""
    parts = [p for p in polygons(shape) if p.area > least_mm2]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    """All polygons of a geometry, counter-clockwise outside, largest first."""
    found = [g for g in shapely.get_parts(shape) if g.geom_type == "Polygon" and not g.is_empty]
    if shape.geom_type == "GeometryCollection":
        found = [p for g in shape.geoms for p in polygons(g)]
    found = [shapely.geometry.polygon.orient(p) for p in found]
    return sorted(found, key=lambda p: (-p.area, p.bounds))


def _directions(ring: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors along the segments and their inward normals (left of a ccw ring)."""
    step = np.roll(ring, -1, axis=0) - ring
    along = step / np.linalg.norm(step, axis=1, keepdims=True)
    return along, np.column_stack([-along[:, 1], along[:, 0]])


def _rectangles(ring: np.ndarray, insets: np.ndarray) -> list[shapely.Polygon]:
    _, inward = _directions(ring)
    after = np.roll(ring, -1, axis=0)
    back = inward * insets[:, None]
    return [
        shapely.Polygon([ring[i], after[i], after[i] + back[i], ring[i] + back[i]])
        for i in np.flatnonzero(insets > 0)
    ]


def _corners(ring: np.ndarray, insets: np.ndarray) -> list[shapely.Polygon]:
    """Triangles between each vertex, the feet of its two set-back lines and the corner point."""
    along, inward = _directions(ring)
    found = []
    for i, point in enumerate(ring):
        before, after = insets[i - 1], insets[i]
        reach = max(before, after)
        if reach == 0:
            continue
        foot_1, foot_2 = point + inward[i - 1] * before, point + inward[i] * after
        turn = along[i - 1][0] * along[i][1] - along[i - 1][1] * along[i][0]
        corner = _meeting(foot_1, along[i - 1], foot_2, along[i])
        if corner is None or math.dist(corner, point) > CORNER_REACH * reach:
            if turn < 0:  # inward corner: close the gap between the two rectangles
                found.append(shapely.Polygon([point, foot_1, foot_2]))
            continue
        found.append(shapely.Polygon([point, foot_1, corner]))
        found.append(shapely.Polygon([point, foot_2, corner]))
        if turn > 0 and after == 0:
            found += _run_out(point, foot_1, corner, along[i - 1], reach)
        elif turn > 0 and before == 0:
            found += _run_out(point, foot_2, corner, -along[i], reach)
    return [p for p in found if p.area > 1e-12]


def _run_out(
    point: np.ndarray, foot: np.ndarray, corner: np.ndarray, way: np.ndarray, reach: float
) -> list[shapely.Polygon]:
    """What a bevel still takes past its end at a square edge, which may bend within its run."""
    past = way * (max(float((corner - foot) @ way), 0.0) + RUN_OUT * reach)
    return [shapely.Polygon([point, foot, foot + past, point + past])]


def _meeting(p: np.ndarray, u: np.ndarray, q: np.ndarray, v: np.ndarray) -> np.ndarray | None:
    """Where the lines p + s u and q + t v meet; None where they are parallel and apart."""
    cross = u[0] * v[1] - u[1] * v[0]
    gap = q - p
    if abs(cross) < 1e-12:
        return (p + q) / 2 if np.linalg.norm(gap) < _DUST_MM else None
    return p + u * ((gap[0] * v[1] - gap[1] * v[0]) / cross)
