"""Plane geometry for the verifier, on plain arrays; shares nothing with the code it checks.

A ring is an (n, 2) float array, not closed. All distances in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

_MOST_STEPS = 1_000_000  # along one line, or all round a piece
_BLOCK = 500_000  # pairs of points and sides looked at in one go: some 50 MB


def area(ring: np.ndarray) -> float:
    """Signed shoelace area, mm2; positive counter-clockwise."""
    x, y = (ring - ring[0]).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def length(ring: np.ndarray) -> float:
    """Length once round."""
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def is_simple(ring: np.ndarray) -> bool:
    """No two sides touch but neighbours at their common corner, and no side has no length."""
    n = len(ring)
    if n < 3:
        return False
    start, end = ring, np.roll(ring, -1, axis=0)
    if np.any(np.all(start == end, axis=1)):
        return False
    i, j = _near_pairs(start, end)
    apart = (j - i > 1) & ~((i == 0) & (j == n - 1))
    if np.any(_cross(start[i[apart]], end[i[apart]], start[j[apart]], end[j[apart]])):
        return False
    # neighbours may not fold back onto one another
    back = np.roll(end, -1, axis=0)
    u, v = end - start, back - end
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return not bool(np.any((turn == 0) & (np.sum(u * v, axis=1) < 0)))


def distance_to_path(points: np.ndarray, path: np.ndarray, closed: bool = True) -> np.ndarray:
    """Distance of each of (k, 2) points to a polyline, (k,)."""
    start = path if closed else path[:-1]
    end = np.roll(path, -1, axis=0) if closed else path[1:]
    return distance_to_sides(points, start, end)


def distance_to_sides(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of each of (k, 2) points to the nearest of (n, 2) to (n, 2) straight sides, (k,)."""
    best = np.full(len(points), np.inf)
    step = max(1, _BLOCK // max(1, len(points)))
    for k in range(0, len(start), step):
        a, d = start[k : k + step], end[k : k + step] - start[k : k + step]
        size = np.maximum(np.sum(d * d, axis=1), 1e-30)
        w = points[:, None, :] - a[None]
        t = np.clip(np.sum(w * d[None], axis=2) / size, 0.0, 1.0)
        near = w - t[..., None] * d[None]
        best = np.minimum(best, np.hypot(near[..., 0], near[..., 1]).min(axis=1))
    return best


def apart_by(one: np.ndarray, other: np.ndarray) -> float:
    """Largest distance from the points of either ring to the other (both ways)."""
    return float(
        max(
            distance_to_path(_with_middles(one), other).max(),
            distance_to_path(_with_middles(other), one).max(),
        )
    )


def _with_middles(ring: np.ndarray) -> np.ndarray:
    return np.concatenate([ring, 0.5 * (ring + np.roll(ring, -1, axis=0))])


def inside(points: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Even-odd rule, (k,) bool; points on the ring may fall either way."""
    a, b = ring, np.roll(ring, -1, axis=0)
    low, high = ring.min(axis=0), ring.max(axis=0)
    near = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
    slope = (b - a)[:, 0] / np.where(b[:, 1] == a[:, 1], 1.0, b[:, 1] - a[:, 1])
    found = np.zeros(len(points), dtype=bool)
    for some in in_blocks(near, len(ring)):
        x, y = points[some, 0, None], points[some, 1, None]
        crosses = (a[None, :, 1] > y) != (b[None, :, 1] > y)
        at = a[None, :, 0] + (y - a[None, :, 1]) * slope[None]
        found[some] = np.sum(crosses & (x < at), axis=1) % 2 == 1
    return found


def steps(sizes_mm: np.ndarray | Sequence[float], step_mm: float) -> np.ndarray:
    """Into how many steps, at least one, lengths are parted, (n,) int.

    Raises:
        ValueError: they are longer than anything that is cut.
    """
    count = np.maximum(1.0, np.ceil(np.asarray(sizes_mm, dtype=float) / step_mm))
    if not count.sum() <= _MOST_STEPS:
        raise ValueError("a line is longer than any part")
    return count.astype(int)


def walk(line: np.ndarray, step_mm: float) -> np.ndarray:
    """Points along a line, its corners and between them, no further apart than a step.

    Raises:
        ValueError: it is longer than anything that is cut.
    """
    way = np.diff(line, axis=0)
    found = [line[:1]]
    for a, leg, count in zip(line, way, steps(np.hypot(*way.T), step_mm), strict=False):
        found.append(a + leg * (np.arange(1, count + 1) / count)[:, None])
    return np.concatenate(found)


def in_blocks(indices: np.ndarray, each: int) -> Iterator[np.ndarray]:
    """Indices a few at a time, so that what is looked at in one go, `each` for one of them, stays
    small."""
    step = max(1, _BLOCK // max(1, each))
    for k in range(0, len(indices), step):
        yield indices[k : k + step]


def way_out(points: np.ndarray, ways: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """How far each of (k, 2) points inside a ring may go along its (k, 2) unit way to leave it."""
    found = np.full(len(points), np.inf)
    for some in in_blocks(np.arange(len(points)), len(ring)):
        a, way = ring[None] - points[some, None], ways[some, None]
        b = np.roll(a, -1, axis=1)
        side_a = way[..., 0] * a[..., 1] - way[..., 1] * a[..., 0]
        side_b = way[..., 0] * b[..., 1] - way[..., 1] * b[..., 0]
        crossed = (side_a > 0) != (side_b > 0)
        share = side_a / np.where(crossed, side_a - side_b, 1.0)
        along = np.sum((a + share[..., None] * (b - a)) * way, axis=2)
        found[some] = np.where(crossed & (along > 0), along, np.inf).min(axis=1)
    return found


def clearance(one: np.ndarray, other: np.ndarray) -> float:
    """Clear distance between two filled rings; 0 where they touch, -1 where they overlap."""
    a0, a1 = one, np.roll(one, -1, axis=0)
    b0, b1 = other, np.roll(other, -1, axis=0)
    for some in in_blocks(np.arange(len(one)), len(other)):
        i, j = np.repeat(some, len(other)), np.tile(np.arange(len(other)), len(some))
        if np.any(_cross_inside(a0[i], a1[i], b0[j], b1[j])):
            return -1.0
    if bool(inside(one[:1], other)[0]) and distance_to_path(one, other).max() > 1e-9:
        return -1.0
    if bool(inside(other[:1], one)[0]) and distance_to_path(other, one).max() > 1e-9:
        return -1.0
    return float(min(distance_to_sides(one, b0, b1).min(), distance_to_sides(other, a0, a1).min()))


def same_line(one: np.ndarray, two: np.ndarray, within: float) -> bool:
    """Whether two lines (n, 2) have the same points, in either direction."""
    return one.shape == two.shape and bool(
        min(np.abs(one - two).max(), np.abs(one[::-1] - two).max()) <= within
    )


def boxes(rings: Sequence[np.ndarray]) -> np.ndarray:
    """(n, 2, 2): lower and upper corner of the box round each of n rings or lines."""
    return np.array([[r.min(axis=0), r.max(axis=0)] for r in rings]).reshape(-1, 2, 2)


def boxes_meet(one: np.ndarray, others: np.ndarray, within: float = 0.0) -> np.ndarray:
    """Indices of the (n, 2, 2) boxes that come within a distance of a (2, 2) box."""
    clear = (others[:, 0] > one[1] + within) | (others[:, 1] < one[0] - within)
    return np.flatnonzero(~clear.any(axis=1))


def _near_pairs(start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of sides i < j whose boxes meet."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.argsort(low[:, 0], kind="stable")
    firsts, seconds = [], []
    for position, i in enumerate(order):
        rest = order[position + 1 :]
        rest = rest[: np.searchsorted(low[rest, 0], high[i, 0], side="right")]
        rest = rest[(low[rest, 1] <= high[i, 1]) & (high[rest, 1] >= low[i, 1])]
        firsts.append(np.minimum(rest, i))
        seconds.append(np.maximum(rest, i))
    return np.concatenate(firsts), np.concatenate(seconds)


def _side(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> np.ndarray:
    return (b[:, 0] - a[:, 0]) * (p[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (p[:, 0] - a[:, 0])


def _cross(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Segments ab and cd have a point in common."""
    s1, s2, s3, s4 = _side(a, b, c), _side(a, b, d), _side(c, d, a), _side(c, d, b)
    boxes = np.all(
        (np.minimum(a, b) <= np.maximum(c, d)) & (np.minimum(c, d) <= np.maximum(a, b)), axis=1
    )
    return boxes & (s1 * s2 <= 0) & (s3 * s4 <= 0)


def _cross_inside(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Segments cross properly, not only touch."""
    s1, s2, s3, s4 = _side(a, b, c), _side(a, b, d), _side(c, d, a), _side(c, d, b)
    return (s1 * s2 < 0) & (s3 * s4 < 0)


def placed(ring: np.ndarray, x: float, y: float, turn_deg: float, flipped: bool) -> np.ndarray:
    """Mirror y if flipped, turn counter-clockwise about the origin, move."""
    points = ring * (1.0, -1.0) if flipped else ring
    t = np.radians(turn_deg)
    turn = np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]])
    return points @ turn.T + (x, y)
