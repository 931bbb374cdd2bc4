"""Where one shape may not stand because of another: no-fit polygons of convex parts.

Terms:
    part: a convex piece of a shape; a shape is the union of its parts.
    no-fit polygon of A and B: the positions of B's origin, relative to A's, at which B comes
        nearer to A than the gap. For convex parts it is the Minkowski sum A + (-B) + disc(gap),
        here as half-planes: for every normal n of either part, n . t < h_A(n) + h_B(-n) + gap,
        h being the support function. (The no-fit polygon: Art 1966; half-plane and Minkowski form
        as in Bennell & Oliveira, "The geometry of nesting problems", EJOR 184, 2008; both cited
        from memory.)

The disc is taken as the polygon of `_ROUND` directions about it, so a corner may be kept up to
two per cent of the gap further away than needed; never nearer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from plybook.geometry.rings import signed_area_mm2

_ROUND = np.array([(math.cos(a), math.sin(a)) for a in np.arange(16) * (math.pi / 8)])
_SAME_DIRECTION = 1e-9


@dataclass(frozen=True, eq=False)
class Part:
    """A convex polygon and its outward unit normals."""

    points_mm: np.ndarray  # (n, 2) counter-clockwise
    normals: np.ndarray = field(init=False)  # (n, 2)

    def __post_init__(self) -> None:
        side = np.roll(self.points_mm, -1, axis=0) - self.points_mm
        length = np.hypot(side[:, 0], side[:, 1])
        side = side[length > 0] / length[length > 0, None]
        object.__setattr__(self, "normals", np.column_stack([side[:, 1], -side[:, 0]]))

    @cached_property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y."""
        low, high = self.points_mm.min(axis=0), self.points_mm.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def distance_box(self, other: Part, moved: np.ndarray) -> float:
        """Clear distance along x or y, the larger, from this box to that of another part moved by
        so much; less than 0 where they overlap."""
        x0, y0, x1, y1 = self.box_mm
        u0, v0, u1, v1 = other.box_mm
        dx, dy = float(moved[0]), float(moved[1])
        return max(u0 + dx - x1, x0 - u1 - dx, v0 + dy - y1, y0 - v1 - dy)

    def support(self, directions: np.ndarray) -> np.ndarray:
        """Furthest reach along each direction, (m,)."""
        return (self.points_mm @ directions.T).max(axis=0)


@dataclass(frozen=True, eq=False)
class Shape:
    """A ring in one orientation, ready to be placed by moving it."""

    ring_mm: np.ndarray

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        return tuple(Part(p) for p in convex_parts(self.ring_mm))

    @cached_property
    def area_mm2(self) -> float:
        return abs(signed_area_mm2(self.ring_mm))

    @cached_property
    def low(self) -> np.ndarray:
        return self.ring_mm.min(axis=0)

    @cached_property
    def high(self) -> np.ndarray:
        return self.ring_mm.max(axis=0)


@dataclass(frozen=True, eq=False)
class NoFit:
    """Half-planes of one convex no-fit polygon, sorted by direction, and its corners."""

    normals: np.ndarray  # (m, 2)
    reach_mm: np.ndarray  # (m,)
    corners_mm: np.ndarray  # (m, 2), corner k between half-planes k and k + 1
    sides_mm: np.ndarray  # (m, 2), from corner k to corner k + 1

    @cached_property
    def box_mm(self) -> tuple[float, float, float, float]:
        """Least x and y, largest x and y."""
        low, high = self.corners_mm.min(axis=0), self.corners_mm.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def no_fit(fixed: Part, moved: Part, gap_mm: float) -> NoFit:
    """The no-fit polygon of two convex parts; an empty gap adds no directions."""
    every = [fixed.normals, -moved.normals]
    if gap_mm > 0:
        every.append(_ROUND)
    normals = np.concatenate(every)
    turn = np.arctan2(normals[:, 1], normals[:, 0])
    order = np.argsort(turn, kind="stable")
    turn, normals = turn[order], normals[order]
    keep = np.diff(turn, prepend=turn[-1] - 2 * math.pi) > _SAME_DIRECTION
    normals = normals[keep]
    reach = fixed.support(normals) + moved.support(-normals) + gap_mm
    following = np.roll(normals, -1, axis=0)
    cross = normals[:, 0] * following[:, 1] - normals[:, 1] * following[:, 0]
    after = np.roll(reach, -1)
    corners = (
        np.column_stack(
            [
                reach * following[:, 1] - after * normals[:, 1],
                after * normals[:, 0] - reach * following[:, 0],
            ]
        )
        / cross[:, None]
    )
    return NoFit(normals, reach, corners, np.roll(corners, -1, axis=0) - corners)


def convex_parts(ring_mm: np.ndarray) -> list[np.ndarray]:
    """Split a simple ring into convex rings that cover it exactly.

    Triangles first, then neighbours are joined across their longest shared side while the union
    stays convex (after Hertel and Mehlhorn, 1983).

    Args:
        ring_mm: (n, 2) simple ring, counter-clockwise.

    Returns:
        Convex rings, counter-clockwise; the ring itself where it is convex.
    """
    ring = np.asarray(ring_mm, dtype=float)
    if _is_convex(ring):
        return [ring]
    import shapely

    try:
        triangles = shapely.constrained_delaunay_triangles(shapely.Polygon(ring)).geoms
        found = [_loose(np.asarray(t.exterior.coords)[:-1]) for t in triangles]
    except shapely.errors.GEOSException:  # rings that all but touch themselves
        found = _ears(ring)
    key = {}
    for loop in found:
        for point in loop:
            key.setdefault((round(point[0], 9), round(point[1], 9)), len(key))
    names = list(key)
    loops = [[key[(round(x, 9), round(y, 9))] for x, y in loop] for loop in found]
    coords = np.array(names)
    owner = {side: k for k, loop in enumerate(loops) for side in _sides(loop)}
    alive = dict(enumerate(loops))
    inner = [(p, q) for p, q in owner if p < q and (q, p) in owner]
    for p, q in sorted(inner, key=lambda s: (-math.dist(coords[s[0]], coords[s[1]]), s)):
        a, b = owner[p, q], owner[q, p]
        merged = _join(alive[a], alive[b], p, q) if a != b else []
        if merged and _is_convex(coords[merged]):
            alive[a] = merged
            del alive[b]
            owner.update(dict.fromkeys(_sides(merged), a))
    return [coords[loop] for loop in alive.values()]


def _ears(ring: np.ndarray) -> list[np.ndarray]:
    """Triangles cut off one by one at the corner that leaves the best triangle."""
    import shapely

    left, found = list(range(len(ring))), []
    while len(left) > 3:
        best = None
        for k, p in enumerate(left):
            corner = ring[[left[k - 1], p, left[(k + 1) % len(left)]]]
            area = signed_area_mm2(corner)
            if area <= 0:
                continue
            others = [q for q in left if not (ring[q] == corner).all(axis=1).any()]
            inside = shapely.covers(shapely.Polygon(corner), shapely.points(ring[others]))
            rank = (not inside.any(), area / np.ptp(corner, axis=0).max() ** 2)
            if best is None or rank > best[0]:
                best = (rank, k, corner)
        if best is None:
            break
        found.append(best[2])
        del left[best[1]]
    last = ring[left]
    return [*found, last] if signed_area_mm2(last) > 0 else found


def _loose(ring: np.ndarray) -> np.ndarray:
    return ring if signed_area_mm2(ring) > 0 else ring[::-1]


def _sides(loop: list[int]) -> list[tuple[int, int]]:
    return list(zip(loop, loop[1:] + loop[:1], strict=True))


def _join(a: list[int], b: list[int], p: int, q: int) -> list[int]:
    """Two loops joined across the side p-q of a (q-p of b)."""
    at = a.index(q)
    first = a[at:] + a[:at]  # q ... p
    at = b.index(p)
    second = b[at:] + b[:at]  # p ... q
    return first + second[1:-1]


def _is_convex(ring: np.ndarray) -> bool:
    side = np.roll(ring, -1, axis=0) - ring
    nxt = np.roll(side, -1, axis=0)
    cross = side[:, 0] * nxt[:, 1] - side[:, 1] * nxt[:, 0]
    scale = np.hypot(side[:, 0], side[:, 1]) * np.hypot(nxt[:, 0], nxt[:, 1])
    return bool((cross >= -1e-9 * scale).all())
