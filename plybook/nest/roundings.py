"""Openings and pieces that are round or have round corners: told by a middle, or by where straight
sides meet, and a radius.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.nest.chords import around, rounded_outwards, thinned
from plybook.nest.model import Placement
from plybook.nest.placing import placed
from plybook.units import Grain

_STRAIGHT_MM = 0.02  # points of a straight side leave it by no more
_OPENING_MM = 0.5  # chords leave the curves of an opening by no more
_ROUND_POINTS, _ROUND_MM = 12, 0.3  # of a ring that is round, and how far its radii may differ
_HAIR_MM = 1e-6
_CHORDS = 128  # of a quarter of a circle: none leaves it by more than 0.01 mm up to 1 m across
_LITTLE_MM = 0.005  # what chords of a curve may lie outside by
# of a ring with round corners: sides against the longest, how many, how sharply they meet
_SIDE_SHARE, _MOST_SIDES, _LEAST_SINE = 0.2, 6, 0.3
_RADII = 12  # steps of the tape by which a radius is told larger or smaller at most
_AWAY_MM, _AWAY_STEPS = 2.0, 2.0  # most that it leaves the ring by, or as many steps of the grid


@dataclass(frozen=True)
class MarkedOpening:
    """An opening of a placed piece.

    Attributes:
        points_mm: (n, 2) corner points on the grid, counter-clockwise, so that what they say lies
            inside the opening; of a round one (1, 2) its middle.
        round_mm: how far a round one is across; 0 for others.
        corner_mm: the radius of one with round corners, whose points are where its sides meet.
    """

    points_mm: np.ndarray
    round_mm: float = 0.0
    corner_mm: float = 0.0


def mark_openings(
    place: Placement,
    holes_mm: Sequence[np.ndarray],
    edge_mm: float,
    unit: str,
    grain: Grain,
    line_mm: float = 0.0,
) -> tuple[MarkedOpening, ...]:
    """The openings of a piece where it lies, from the line of its bay and the stock's edge.

    Args:
        place: where the piece lies.
        holes_mm: (n, 2) rings in the piece's own frame.
        edge_mm: what of the stock is not used along its edge.
        unit: "mm" or "in": the tape in the builder's hand.
        grain: how closely corners are marked.
        line_mm: where its bay begins.
    """
    grid, found = grain.step_mm(unit), []
    for hole in holes_mm:
        ring = placed(hole, place) + (-line_mm, edge_mm)
        true = shapely.Polygon(ring)
        ring = around(true)
        middle = np.array(true.centroid.coords[0])
        radii = np.hypot(*(ring - middle).T)
        if len(ring) >= _ROUND_POINTS and np.ptp(radii) <= max(_ROUND_MM, 2e-3 * radii.mean()):
            across = 2.0 * float(radii.mean())
            found.append(MarkedOpening(np.round(middle / grid)[None] * grid, across))
            continue
        keep = thinned(ring, _OPENING_MM)
        few = ring[keep] if len(keep) > 2 else ring
        if (cornered := _with_round_corners(true, few, grid)) is not None:
            found.append(cornered)
            continue
        points = rounded_outwards(few[::-1], grid)[::-1]  # outwards of its rim is inwards
        if not shapely.Polygon(points).is_valid:
            points = np.round(few / grid) * grid
        found.append(MarkedOpening(points))
    return tuple(found)


def _with_round_corners(
    opening: shapely.Polygon, few: np.ndarray, grid: float
) -> MarkedOpening | None:
    """An opening of straight sides with corners of one radius by where its sides meet; None where
    that would not leave it by less than a tape shows. `few` is its ring with few points."""
    met = _sides_meet(opening, few)
    if met is None:
        return None
    corners, radius = met
    points = rounded_outwards(corners[::-1], grid)[::-1]
    for step in range(_RADII):
        corner_mm = (math.ceil(radius / grid) + step) * grid
        told = rounded_corners(points, corner_mm)
        if told is None:
            return None
        if opening.buffer(_HAIR_MM).covers(told):
            near = shapely.hausdorff_distance(told.exterior, opening.exterior, densify=0.05)
            return MarkedOpening(points, 0.0, corner_mm) if near <= _away_mm(grid) else None
    return None


def _sides_meet(shape: shapely.Polygon, few: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Where the straight sides of a ring with round corners meet, counter-clockwise, and the one
    radius of its corners; None of any other ring. `few` is the ring with few points."""
    way = np.roll(few, -1, axis=0) - few
    size = np.hypot(*way.T)
    sides = np.flatnonzero(size > _SIDE_SHARE * size.max())
    if not 3 <= len(sides) <= _MOST_SIDES or len(few) < 2 * len(sides):
        return None
    start, along = few[sides], way[sides] / size[sides, None]
    before = np.roll(along, 1, axis=0)
    sine = before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0]
    if (sine < _LEAST_SINE).any():
        return None
    gap = np.roll(start, 1, axis=0) - start
    reach = (gap[:, 0] * before[:, 1] - gap[:, 1] * before[:, 0]) / -sine
    corners = start + along * reach[:, None]
    half = np.arctan2(sine, np.sum(before * along, axis=1)) / 2
    missing = shapely.Polygon(corners).area - shape.area
    if missing <= 0:
        return None
    return corners, math.sqrt(missing / float((np.tan(half) - half).sum()))


def rounded_piece(
    ring_mm: np.ndarray, grid: float, step_mm: float, room_mm: tuple[float, float]
) -> tuple[np.ndarray, float] | None:
    """Corners and the radius that they are rounded to, of a piece that is round or whose corners
    are: nothing of it lies outside, and little that is not of it inside.

    Args:
        ring_mm: (n, 2) counter-clockwise, from the line of its bay and the stock's edge.
        grid: of the corners.
        step_mm: of the radius.
        room_mm: how far corners may lie from the line and the edge.

    Returns:
        (m, 2) corners, counter-clockwise, and their radius; of a circle those of the square around
        it. None of any other ring.
    """
    true = shapely.Polygon(ring_mm)
    if not true.is_valid:
        return None
    ring = around(true)
    middle = np.array(true.centroid.coords[0])
    radii = np.hypot(*(ring - middle).T)
    tries: list[tuple[np.ndarray, float]] = []
    over = _HAIR_MM
    if len(ring) >= _ROUND_POINTS and np.ptp(radii) <= _away_mm(grid):
        at = np.round(middle / grid) * grid
        half = math.ceil(float(np.hypot(*(ring - at).T).max()) / grid - 1e-9) * grid
        over = 2.0 * grid  # the square around it is not cut: its corners may lie off the stock
        tries.append((at + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]), half))
    else:
        for closely in (_STRAIGHT_MM, _OPENING_MM):
            keep = thinned(ring, closely)
            met = _sides_meet(true, ring[keep]) if len(keep) > 2 else None
            if met is None:
                continue
            points = rounded_outwards(met[0], grid, room_mm)
            most = math.floor(met[1] / step_mm + 1e-9)
            tries += [(points, k * step_mm) for k in range(most, max(most - _RADII, 0), -1)]
    for points, radius in tries:
        told = rounded_shape(points, radius)
        inside = (points >= -over).all() and (points <= np.array(room_mm) + over).all()
        if told is not None and inside and told.buffer(_LITTLE_MM).covers(true):
            near = shapely.hausdorff_distance(told.exterior, true.exterior, densify=0.05)
            if near <= _away_mm(grid):
                return points, radius
    return None


def rounded_shape(points_mm: np.ndarray, radius_mm: float) -> shapely.Polygon | None:
    """What corners and their radius stand for: a polygon, or the circle in a square; None where a
    side is too short for the radius."""
    if not radius_mm:
        return shapely.Polygon(points_mm)
    if is_circle(points_mm, radius_mm):
        return shapely.Point(points_mm.mean(axis=0)).buffer(radius_mm, quad_segs=_CHORDS)
    return rounded_corners(points_mm, radius_mm)


def _away_mm(grid: float) -> float:
    return max(_AWAY_MM, _AWAY_STEPS * grid)


def is_circle(points_mm: np.ndarray, radius_mm: float) -> bool:
    """Whether corners rounded to a radius are a circle: those of a square twice as wide."""
    wide = np.ptp(points_mm, axis=0)
    return len(points_mm) == 4 and bool(np.abs(wide - 2 * radius_mm).max() < 1e-6)


def rounded_corners(points_mm: np.ndarray, radius_mm: float) -> shapely.Polygon | None:
    """A polygon whose corners are rounded; None where a side is too short for it."""
    inner = shapely.Polygon(points_mm).buffer(-radius_mm, join_style="mitre", mitre_limit=100)
    if inner.geom_type != "Polygon" or len(inner.exterior.coords) != len(points_mm) + 1:
        return None
    return inner.buffer(radius_mm, quad_segs=_CHORDS)
