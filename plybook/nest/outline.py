"""Rings with few points that cover the true one: what the packers work with.

A packer's time grows with the points of an outline. `cover_ring` takes points away only where
the ring grows by it, so that a layout that is right for the covers is right for the true rings.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely

from plybook.geometry.rings import signed_area_mm2
from plybook.nest.placing import turn_ring


def cover_ring(ring_mm: np.ndarray, reach_mm: float) -> np.ndarray:
    """A ring of fewer points that covers the given one and stays within `reach_mm` of it.

    A reflex point is dropped (the ring is filled up to the chord); a convex edge is taken away by
    extending its two neighbours until they meet. The cheapest step in area goes first. A meeting
    point is measured against the true ring; what filling moves a side adds up. A side that was
    extended over a hollow may stand further out than both its ends: such a cover is made anew with
    half the reach.

    Args:
        ring_mm: (n, 2) simple ring, counter-clockwise.
        reach_mm: >= 0; 0 only drops points on straight lines.

    Returns:
        (m, 2) ring, counter-clockwise, m <= n; the given ring where a cover would not be simple or
        would not stay near.
    """
    ring = np.asarray(ring_mm, dtype=float)
    true = shapely.Polygon(ring)
    shapely.prepare(true)

    points: dict[int, tuple[float, float]] = {k: (x, y) for k, (x, y) in enumerate(ring.tolist())}
    moved = dict.fromkeys(points, 0.0)  # how far the boundary near a point has gone out
    after = {k: (k + 1) % len(ring) for k in points}
    before = {k: (k - 1) % len(ring) for k in points}
    fresh = len(ring)
    heap = [step for k in points for step in _steps(k, points, moved, after, reach_mm, true)]
    heapq.heapify(heap)
    while heap and len(points) > 4:
        _, kind, involved, meet, out = heapq.heappop(heap)
        if any(k not in points for k in involved):
            continue
        if any(after[a] != b for a, b in zip(involved, involved[1:], strict=False)):
            continue
        first, last = involved[0], involved[-1]
        for k in involved[1:-1]:
            del points[k]
        if kind == "fill":
            after[first], before[last] = last, first
            moved[first], moved[last] = max(moved[first], out), max(moved[last], out)
            touched: tuple[int, ...] = (first, last)
        else:
            points[fresh], moved[fresh] = meet, out
            after[first], before[fresh], after[fresh], before[last] = fresh, first, last, fresh
            touched = (first, fresh, last)
            fresh += 1
        for k in {before[touched[0]], *touched, after[touched[-1]]}:
            for step in _steps(k, points, moved, after, reach_mm, true):
                heapq.heappush(heap, step)
    start = next(iter(points))
    order, k = [start], after[start]
    while k != start:
        order.append(k)
        k = after[k]
    cover = np.array([points[k] for k in order])
    good = len(cover) >= 3 and signed_area_mm2(cover) >= signed_area_mm2(ring) - 1e-6
    if not good or not shapely.Polygon(cover).is_valid:
        return ring
    if _stays_near(cover, true, reach_mm):
        return cover
    return cover_ring(ring, reach_mm / 2) if reach_mm > 1e-3 else ring


def _stays_near(cover: np.ndarray, true: shapely.Polygon, reach_mm: float) -> bool:
    near = true.buffer(reach_mm + 1e-6, join_style="mitre", mitre_limit=50)
    return shapely.Polygon(cover).difference(near).area < 1e-3


def cover_for(ring_mm: np.ndarray, reach_mm: float, rotations_deg: Sequence[float]) -> np.ndarray:
    """A cover that in the given rotations is no longer and no wider than the ring itself, so that
    a piece as wide as its roll still fits. Not to be written to."""
    ring = np.ascontiguousarray(ring_mm, dtype=float)
    return _cover_of(ring.tobytes(), float(reach_mm), tuple(float(r) for r in rotations_deg))


@lru_cache(maxsize=4096)
def _cover_of(points: bytes, reach_mm: float, rotations_deg: tuple[float, ...]) -> np.ndarray:
    ring_mm = np.frombuffer(points, dtype=float).reshape(-1, 2)
    cover = _cover_within(ring_mm, reach_mm, rotations_deg)
    cover.flags.writeable = False
    return cover


def _cover_within(
    ring_mm: np.ndarray, reach_mm: float, rotations_deg: tuple[float, ...]
) -> np.ndarray:
    cover = shapely.Polygon(cover_ring(ring_mm, reach_mm))
    for rotation in sorted({round(r % 90.0, 6) for r in rotations_deg}):
        turned = turn_ring(ring_mm, rotation)
        box = shapely.box(*turned.min(axis=0), *turned.max(axis=0))
        back = turn_ring(np.asarray(box.exterior.coords)[:-1], -rotation)
        cover = cover.intersection(shapely.Polygon(back))
    if cover.geom_type != "Polygon" or cover.is_empty:
        return np.array(ring_mm)
    cover = np.asarray(shapely.geometry.polygon.orient(cover).exterior.coords)[:-1]
    cover = _tidy(cover)
    return cover if len(cover) <= len(ring_mm) else np.array(ring_mm)


def _tidy(ring: np.ndarray) -> np.ndarray:
    """Without points that stand on one another."""
    apart = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T)
    return ring[apart > 1e-6]


def _steps(k: int, points, moved, after, reach_mm: float, true) -> list[tuple]:
    """Steps that start at point k: fill the reflex point after it, or drop the edge after it."""
    a = k
    b = after[a]
    c = after[b]
    if a in (b, c) or b == c:
        return []
    found: list[tuple] = []
    (ax, ay), (bx, by), (cx, cy) = points[a], points[b], points[c]
    ux, uy, wx, wy = bx - ax, by - ay, cx - bx, cy - by
    turn = ux * wy - uy * wx
    base = math.hypot(cx - ax, cy - ay)
    if turn <= 1e-9 * (1.0 + base):
        deep = -turn / base if base else math.hypot(ux, uy)
        along = ux * (cx - ax) + uy * (cy - ay)
        out = deep + max(moved[a], moved[b], moved[c])
        if out <= reach_mm + 1e-9 and 0.0 <= along <= base * base:  # no spike past its chord
            found.append((-turn / 2, "fill", (a, b, c), (0.0, 0.0), max(out, 0.0)))
    d = after[c]
    if d in (a, b):
        return found
    dx, dy = points[d]
    vx, vy = cx - dx, cy - dy  # like u it runs towards the edge b-c that goes
    wedge = ux * (dy - cy) - uy * (dx - cx)
    if turn > 0 and wx * (dy - cy) - wy * (dx - cx) > 0 and wedge > 1e-12:
        slant = ux * vy - uy * vx
        share = ((dx - bx) * vy - (dy - by) * vx) / slant if slant else -1.0
        mx, my = bx + ux * share, by + uy * share
        aside = math.hypot(mx - bx, my - by)
        if share < 0 or aside > 1e3 * (reach_mm + math.hypot(wx, wy)):
            return found
        out = max(moved[b], moved[c])
        if out <= reach_mm:
            out = max(shapely.distance(true, shapely.Point(mx, my)), out)
        if out <= reach_mm:
            area = abs(wx * (my - by) - wy * (mx - bx)) / 2
            found.append((area, "meet", (a, b, c, d), (mx, my), out))
    return found
