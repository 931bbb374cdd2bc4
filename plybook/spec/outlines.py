"""Flat outlines: from points, corners and arcs to a ring, and what can be wrong with one.

A ring is an (n, 2) array in mm, first point not repeated. Arcs become chords that leave the arc
by at most `CHORD_MM`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.geometry.rings import signed_area_mm2
from plybook.units import bare_mm

CHORD_MM = 0.01
MOST_CHORDS = 20_000  # of one arc; an arc as large as any part has a fifth of them
_SWEPT = 300  # points of a ring whose sides are compared here; a larger one is GEOS's work
_TOUCHING = 1e-9  # of the size of a ring: closer sides touch


@dataclass(frozen=True)
class Fault:
    """Something wrong with a ring; `at_mm` is where, `sides` which two sides meet there."""

    message: str
    help: str
    at_mm: tuple[float, float] = (0.0, 0.0)
    sides: tuple[int, int] | None = None


def arc_through(start, through, end) -> tuple[np.ndarray, float, float, float] | None:
    """Centre, radius, start angle and sweep (signed, rad) of the arc over three points; None
    where they lie on a line."""
    (ax, ay), (bx, by), (cx, cy) = start, through, end
    d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    size = max(abs(ax - cx), abs(ay - cy), abs(ax - bx), abs(ay - by), 1e-9)
    if abs(d) < 1e-9 * size * size:
        return None
    a2, b2, c2 = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
    ux = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / d
    uy = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / d
    centre = np.array([ux, uy])
    first = math.atan2(ay - uy, ax - ux)
    middle = (math.atan2(by - uy, bx - ux) - first) % math.tau
    last = (math.atan2(cy - uy, cx - ux) - first) % math.tau
    sweep = last if middle < last else last - math.tau
    return centre, math.hypot(ax - ux, ay - uy), first, sweep


def arc_by_radius(start, end, radius: float, turn: str):
    """The shorter arc from start to end that turns left or right; None where the radius is less
    than half the distance."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    chord = end - start
    length = float(np.hypot(*chord))
    if length == 0 or radius < length / 2 * (1 - 1e-12):
        return None
    height = math.sqrt(max(radius * radius - length * length / 4, 0.0))
    left = np.array([-chord[1], chord[0]]) / length
    sign = 1.0 if turn == "left" else -1.0
    centre = (start + end) / 2 + left * height * sign
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    sweep = sign * 2 * math.asin(min(1.0, length / 2 / radius))
    return centre, radius, first, sweep


def arc_points(centre, radius: float, first: float, sweep: float) -> np.ndarray:
    """Points along an arc without its two ends; chords leave it by at most CHORD_MM."""
    step = 2 * math.acos(max(1 - CHORD_MM / radius, 0.0)) if radius > CHORD_MM else math.pi / 2
    # beyond any radius that a float can tell from a straight line, step is 0
    count = min(max(2, math.ceil(abs(sweep) / max(step, 1e-12))), MOST_CHORDS)
    angles = first + sweep * np.arange(1, count) / count
    return np.asarray(centre) + radius * np.column_stack([np.cos(angles), np.sin(angles)])


def circle(centre, radius: float) -> np.ndarray:
    """A full circle, counter-clockwise."""
    points = arc_points(centre, radius, 0.0, math.tau)
    return np.vstack([[centre[0] + radius, centre[1]], points])


def round_corners(
    ring: np.ndarray, radii: list[float], names: list[str]
) -> tuple[np.ndarray, list[str], int | None]:
    """Round the corners of a ring.

    Args:
        ring: (n, 2) corners.
        radii: radius at each corner, 0 leaves it sharp.
        names: names[i] is the side that leaves corner i.

    Returns:
        The new ring, the name of the side leaving each of its points (an arc belongs half to
        either neighbour), and the index of a corner too tight for its radius, or None.
    """
    n = len(ring)
    cuts = np.zeros(n)
    angles = np.zeros(n)
    for i in range(n):
        before, here, after = ring[i - 1], ring[i], ring[(i + 1) % n]
        u, v = _unit(before - here), _unit(after - here)
        cosine = float(np.clip(u @ v, -1, 1))
        angles[i] = math.acos(cosine)
        if radii[i] and 1e-6 < angles[i] < math.pi - 1e-6:
            cuts[i] = radii[i] / math.tan(angles[i] / 2)
    for i in range(n):
        side = float(np.hypot(*(ring[(i + 1) % n] - ring[i])))
        if cuts[i] + cuts[(i + 1) % n] > side + 1e-9:
            return ring, names, i if cuts[i] >= cuts[(i + 1) % n] else (i + 1) % n
    points: list[np.ndarray] = []
    new_names: list[str] = []
    for i in range(n):
        here, name_in, name_out = ring[i], names[i - 1], names[i]
        if not cuts[i]:
            points.append(here)
            new_names.append(name_out)
            continue
        u, v = _unit(ring[i - 1] - here), _unit(ring[(i + 1) % n] - here)
        start, end = here + u * cuts[i], here + v * cuts[i]
        centre = here + _unit(u + v) * radii[i] / math.sin(angles[i] / 2)
        first = math.atan2(*(start - centre)[::-1])
        sweep = (math.atan2(*(end - centre)[::-1]) - first + math.pi) % math.tau - math.pi
        arc = [start, *arc_points(centre, radii[i], first, sweep), end]
        points.extend(arc)
        half = len(arc) // 2
        new_names.extend([name_in] * half + [name_out] * (len(arc) - half))
    return np.array(points), new_names, None


def clean(ring: np.ndarray, names: list[str]) -> tuple[np.ndarray, list[str]]:
    """Without points that repeat the one before, counter-clockwise, names kept with sides."""
    keep = [i for i in range(len(ring)) if np.hypot(*(ring[i] - ring[i - 1])) > 1e-6]
    ring, names = ring[keep], [names[i] for i in keep]
    if len(ring) >= 3 and signed_area_mm2(ring) < 0:
        ring = ring[::-1].copy()
        names = [names[(len(ring) - 2 - i) % len(ring)] for i in range(len(ring))]
    return ring, names


def edges_of(names: list[str]) -> tuple[tuple[str, int, int], ...]:
    """Sides of equal name that follow one another, as (name, first vertex, last vertex)."""
    n = len(names)
    start = next((i for i in range(n) if names[i] != names[i - 1]), 0)
    edges: list[tuple[str, int, int]] = []
    i = start
    while i < start + n:
        j = i
        while j + 1 < start + n and names[(j + 1) % n] == names[i % n]:
            j += 1
        edges.append((names[i % n], i % n, (j + 1) % n))
        i = j + 1
    return tuple(edges)


def crossing(ring: np.ndarray) -> Fault | None:
    """The first place where a ring touches or crosses itself, None for a simple ring.

    The sides of a small ring are compared one by one; a large one is judged by GEOS, whose work
    grows little faster than the number of sides.
    """
    ring = np.asarray(ring, float)
    n = len(ring)
    if n > _SWEPT:
        return _large_crossing(ring)
    ends = np.roll(ring, -1, axis=0)
    size = float(np.abs(ring - ring[0]).max()) or 1.0
    if n < 3 or abs(signed_area_mm2(ring)) < 1e-9 * size * size:
        shapely_like = _pair_crossing(ring, ends) if n >= 4 else None
        return shapely_like or Fault("the outline has no area", "list its corners in order")
    return _pair_crossing(ring, ends)


def _large_crossing(ring: np.ndarray) -> Fault | None:
    import shapely

    polygon = shapely.Polygon(ring)
    size = float(np.abs(ring - ring[0]).max()) or 1.0
    if abs(signed_area_mm2(ring)) < 1e-9 * size * size:
        return Fault("the outline has no area", "list its corners in order")
    if shapely.is_valid(polygon):
        if shapely.minimum_clearance(polygon) > _TOUCHING * size:
            return None
        at = shapely.get_coordinates(shapely.minimum_clearance_line(polygon))[0]
    else:
        said = re.search(r"\[(\S+) (\S+)\]", shapely.is_valid_reason(polygon))
        at = np.array([float(said[1]), float(said[2])]) if said else ring[0]
    sides = np.stack([ring, np.roll(ring, -1, axis=0)], axis=1)
    away = shapely.distance(shapely.linestrings(sides), shapely.Point(at))
    first, *others = np.argsort(away, kind="stable")[:8].tolist()
    apart = [k for k in others if (k - first) % len(ring) not in (1, len(ring) - 1)] or others
    i, j = sorted((first, apart[0]))
    return _fault_at(ring, sides[:, 1], i, j, float(at[0]), float(at[1]))


def _pair_crossing(a: np.ndarray, b: np.ndarray) -> Fault | None:
    n = len(a)
    low_x, high_x = np.minimum(a[:, 0], b[:, 0]), np.maximum(a[:, 0], b[:, 0])
    low_y, high_y = np.minimum(a[:, 1], b[:, 1]), np.maximum(a[:, 1], b[:, 1])
    order = np.argsort(low_x, kind="stable")
    sorted_low = low_x[order]
    found: tuple[int, int, tuple[float, float]] | None = None
    for rank, i in enumerate(order):
        stop = np.searchsorted(sorted_low, high_x[i] + 1e-9, side="right")
        near = order[rank + 1 : stop]
        near = near[(low_y[near] <= high_y[i] + 1e-9) & (high_y[near] >= low_y[i] - 1e-9)]
        for j in near:
            gap = (j - i) % n
            point = _meet(a[i], b[i], a[j], b[j])
            if point is None:
                continue
            if gap in (1, n - 1):  # neighbours share a corner; only folding back is wrong
                first, second = (i, j) if gap == 1 else (j, i)
                u, v = b[first] - a[first], b[second] - a[second]
                if abs(u[0] * v[1] - u[1] * v[0]) > 1e-9 * np.hypot(*u) * np.hypot(*v) or u @ v > 0:
                    continue
                point = (float(b[first][0]), float(b[first][1]))
            pair = (min(i, j), max(i, j), point)
            if found is None or pair[:2] < found[:2]:
                found = pair
    if found is None:
        return None
    i, j, (x, y) = found
    return _fault_at(a, b, i, j, x, y)


def _fault_at(a: np.ndarray, b: np.ndarray, i: int, j: int, x: float, y: float) -> Fault:
    return Fault(
        f"the outline crosses or touches itself at ({bare_mm(x):.6g}, {bare_mm(y):.6g}): "
        f"side {i + 1} ({_show(a[i])} to {_show(b[i])}) meets "
        f"side {j + 1} ({_show(a[j])} to {_show(b[j])})",
        "list the corners in the order they are walked",
        (x, y),
        (i, j),
    )


def _show(point: np.ndarray) -> str:
    return f"{bare_mm(point[0]):.6g}, {bare_mm(point[1]):.6g}"


def _meet(p, q, r, s) -> tuple[float, float] | None:
    """Where two segments meet; None where they do not."""
    d1, d2 = q - p, s - r
    det = d1[0] * d2[1] - d1[1] * d2[0]
    w = r - p
    scale = float(np.hypot(*d1) * np.hypot(*d2))
    if scale == 0:
        return None
    if abs(det) > 1e-12 * scale:
        t = (w[0] * d2[1] - w[1] * d2[0]) / det
        u = (w[0] * d1[1] - w[1] * d1[0]) / det
        eps = 1e-9
        if -eps <= t <= 1 + eps and -eps <= u <= 1 + eps:
            return float(p[0] + t * d1[0]), float(p[1] + t * d1[1])
        return None
    if abs(w[0] * d1[1] - w[1] * d1[0]) > 1e-9 * scale:
        return None
    length2 = float(d1 @ d1)
    t0, t1 = sorted((float(w @ d1) / length2, float((s - p) @ d1) / length2))
    if t1 < -1e-9 or t0 > 1 + 1e-9:
        return None
    t = min(max(t0, 0.0), 1.0)
    return float(p[0] + t * d1[0]), float(p[1] + t * d1[1])


def inside(ring: np.ndarray, point) -> bool:
    """Whether a point lies inside a ring (even-odd rule)."""
    x, y = point
    a, b = ring, np.roll(ring, -1, axis=0)
    spans = (a[:, 1] > y) != (b[:, 1] > y)
    if not spans.any():
        return False
    a, b = a[spans], b[spans]
    at = a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool(np.count_nonzero(at > x) % 2)


def rings_meet(one: np.ndarray, other: np.ndarray) -> tuple[float, float] | None:
    """A point where two rings touch or cross, None when they stay apart."""
    if len(one) > len(other):  # the shorter is walked, the longer compared at once
        one, other = other, one
    a, b = one, np.roll(one, -1, axis=0)
    c, d = other, np.roll(other, -1, axis=0)
    low, high = np.minimum(c, d) - 1e-9, np.maximum(c, d) + 1e-9
    for p, q in zip(a, b, strict=True):
        near = np.flatnonzero(((low <= np.maximum(p, q)) & (high >= np.minimum(p, q))).all(axis=1))
        for j in near:
            point = _meet(p, q, c[j], d[j])
            if point is not None:
                return point
    return None


def _unit(vector: np.ndarray) -> np.ndarray:
    length = float(np.hypot(*vector))
    return vector / length if length else vector


class Boxes:
    """Boxes round rings, to tell which of many can meet another at all."""

    def __init__(self, rings: Sequence[np.ndarray]):
        self._low = np.array([ring.min(axis=0) for ring in rings]).reshape(-1, 2)
        self._high = np.array([ring.max(axis=0) for ring in rings]).reshape(-1, 2)

    def before(self, n: int) -> list[int]:
        """Rings before the n-th whose boxes meet its box."""
        low, high = self._low[:n], self._high[:n]
        near = (low <= self._high[n] + 1e-9) & (high >= self._low[n] - 1e-9)
        return np.flatnonzero(near.all(axis=1)).tolist()
