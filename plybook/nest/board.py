"""A board: one unit of stock while it is being filled, piece by piece.

For one shape the places worth trying are the corners of where its origin may go: corners of the
no-fit polygons of what already lies there, their crossings with one another and with the edges of
the board. The one furthest to the left (then lowest) that is clear of everything is the spot.
Remnant outlines and bad zones are shapes that lie there already and ask for no gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.geometry.rings import canonical_ring
from plybook.nest.compact import NoFits
from plybook.nest.model import Unit
from plybook.nest.nofit import NoFit, Part, Shape

CLEAR_MM = 1e-6
_CHUNK = 96
_IN_ONE_GO = 200  # half-planes; with more the board is searched pane by pane from the left
_MANY_SIDES = 1200  # of no-fit polygons in one pane; with more only the outer ones are crossed


@dataclass(frozen=True, eq=False)
class Laid:
    """A shape at its place."""

    shape: Shape
    place_mm: np.ndarray
    obstacle: bool = False


class Board:
    """One unit being filled. `length_mm` may be less than the unit's own (a strip of it)."""

    def __init__(self, unit: Unit, no_fits: NoFits, length_mm: float | None = None):
        self.unit, self._no_fits = unit, no_fits
        self.length_mm = unit.length_mm if length_mm is None else length_mm
        self.width_mm = unit.width_mm
        self.laid: list[Laid] = []
        for ring in obstacles(unit):
            self.block(ring)

    def lay(self, shape: Shape, place_mm: np.ndarray) -> None:
        self.laid.append(Laid(shape, np.asarray(place_mm, dtype=float)))

    def block(self, ring_mm: np.ndarray) -> None:
        """Nothing may be laid here."""
        self.laid.append(Laid(Shape(canonical_ring(ring_mm)), np.zeros(2), True))

    def pieces(self) -> list[Laid]:
        return [laid for laid in self.laid if not laid.obstacle]

    def spot(self, shape: Shape, slant: float = 0.01) -> np.ndarray | None:
        """The clear place furthest to the left, or None.

        Args:
            shape: what is to be laid.
            slant: how much of y counts beside x; a small share makes ties fall low.
        """
        low, high = -shape.low, (self.length_mm, self.width_mm) - shape.high
        if (high < low - 10 * CLEAR_MM).any():
            return None
        high = np.maximum(low, high)
        every = [
            (self._no_fit(laid, fixed, moved), laid.place_mm)
            for laid in self.laid
            for fixed in laid.shape.parts
            for moved in shape.parts
        ]
        if not every:
            return low
        if sum(len(n.reach_mm) for n, _ in every) <= _IN_ONE_GO:
            return _first_clear(every, low, high, slant)
        left = np.array([p[0] + n.box_mm[0] for n, p in every])
        right = np.array([p[0] + n.box_mm[2] for n, p in every])
        pane = max(float(shape.high[0] - shape.low[0]), self.width_mm / 2)
        start = low[0]
        while start <= high[0]:
            end = min(start + pane, high[0])
            inside = [every[k] for k in np.flatnonzero((left < end + 1) & (right > start - 1))]
            found = _first_clear(inside, np.array([start, low[1]]), np.array([end, high[1]]), slant)
            if found is not None:
                return found
            if end >= high[0]:
                return None
            start = end
        return None

    def _no_fit(self, laid: Laid, fixed: Part, moved: Part) -> NoFit:
        return self._no_fits.of(fixed, moved, 0.0 if laid.obstacle else None)


def obstacles(unit: Unit) -> list[np.ndarray]:
    """Rings of the unit's rectangle that may not be used: outside its outline, and bad zones."""
    import shapely

    rings = [canonical_ring(z) for z in unit.bad_zones_mm]
    if unit.outline_mm is not None:
        box = shapely.box(0.0, 0.0, unit.length_mm, unit.width_mm)
        rest = box.difference(shapely.Polygon(unit.outline_mm))
        for ring in shapely.get_parts(rest):
            if ring.geom_type == "Polygon" and ring.area > 1e-6:
                rings.append(canonical_ring(np.asarray(ring.exterior.coords)[:-1]))
    return rings


def _first_clear(every, low, high, slant) -> np.ndarray | None:
    """Leftmost place in the box low..high clear of the no-fit polygons [(NoFit, place)]."""
    points = _candidates(every, low, high)
    score = points[:, 0] + slant * points[:, 1]
    points = points[np.argsort(score, kind="stable")]
    if not every:
        return points[0]
    normals = np.concatenate([n.normals for n, _ in every])
    reach = np.concatenate([n.reach_mm + n.normals @ p for n, p in every])
    starts = np.cumsum([0] + [len(n.reach_mm) for n, _ in every[:-1]])
    for k in range(0, len(points), _CHUNK):
        some = points[k : k + _CHUNK]
        clear = np.maximum.reduceat(normals @ some.T - reach[:, None], starts, axis=0)
        good = np.flatnonzero((clear >= -CLEAR_MM).all(axis=0))
        if len(good):
            return some[good[0]]
    return None


def _candidates(every, low, high) -> np.ndarray:
    (x0, y0), (x1, y1) = low, high
    found = [np.array([(x0, y0), (x0, y1), (x1, y0), (x1, y1)])]
    if every:
        if sum(len(n.reach_mm) for n, _ in every) > _MANY_SIDES:
            start, way, owner = _outer_sides(every)
        else:
            start = np.concatenate([n.corners_mm + p for n, p in every])
            way = np.concatenate([n.sides_mm for n, _ in every])
            owner = np.repeat(np.arange(len(every)), [len(n.reach_mm) for n, _ in every])
        end = start + way
        found.append(start)
        inside = (
            (np.maximum(start, end) >= (x0 - 1, y0 - 1))
            & (np.minimum(start, end) <= (x1 + 1, y1 + 1))
        ).all(axis=1)
        start, way = start[inside], way[inside]
        owner = owner[inside] if len(owner) else owner
        for axis, value in ((0, x0), (0, x1), (1, y0), (1, y1)):
            with np.errstate(divide="ignore", invalid="ignore"):
                share = (value - start[:, axis]) / way[:, axis]
            hit = (share >= 0) & (share <= 1)
            crossing = start[hit] + share[hit, None] * way[hit]
            crossing[:, axis] = value
            found.append(crossing)
        if len(owner):
            found.append(_crossings(start, way, owner))
    points = np.concatenate(found)
    keep = (points >= (x0 - CLEAR_MM, y0 - CLEAR_MM)) & (points <= (x1 + CLEAR_MM, y1 + CLEAR_MM))
    return np.clip(points[keep.all(axis=1)], low, high)


def _outer_sides(every) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sides of the union of the no-fit polygons, whose corners are the crossings that count.

    For many sides only: all pairs would be crossed otherwise. No side has an owner then.
    """
    import shapely

    shapes = [shapely.Polygon(n.corners_mm + p) for n, p in every]
    try:
        whole = shapely.union_all(shapes)
    except shapely.errors.GEOSException:  # corners of metres between all but parallel sides
        whole = shapely.union_all(shapely.convex_hull(shapes))
    rings = [r for part in shapely.get_parts(whole) for r in (part.exterior, *part.interiors)]
    corners = [np.asarray(ring.coords) for ring in rings]
    start = np.concatenate([c[:-1] for c in corners])
    way = np.concatenate([np.diff(c, axis=0) for c in corners])
    return start, way, np.zeros(0, dtype=int)


def _crossings(start, way, owner) -> np.ndarray:
    """Crossings of segments of different owners."""
    if len(start) < 2:
        return np.zeros((0, 2))
    a, b = np.triu_indices(len(start), 1)
    other = owner[a] != owner[b]
    a, b = a[other], b[other]
    ux, uy = way[a, 0], way[a, 1]
    vx, vy = way[b, 0], way[b, 1]
    dx, dy = start[b, 0] - start[a, 0], start[b, 1] - start[a, 1]
    cross = ux * vy - uy * vx
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (dx * vy - dy * vx) / cross
        t = (dx * uy - dy * ux) / cross
    hit = (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)
    return start[a[hit]] + s[hit, None] * way[a[hit]]
