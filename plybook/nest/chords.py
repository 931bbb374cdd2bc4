"""Rings of few straight sides around others: what a curve is marked out by, on a tape's grid."""

from __future__ import annotations

import numpy as np
import shapely

_FINEST_MM = 0.01  # chords are not tried closer to a curve
_HAIR_MM = 1e-6  # a box has two sides
_REACH = 14  # grid steps searched for an outward point at a sharp corner


def outer_chords(ring_mm: np.ndarray, error_mm: float) -> tuple[np.ndarray, bool]:
    """A ring of few straight sides that holds another and lies close to it.

    The ring is thinned (Douglas and Peucker), then every side is moved out until the points it
    stands for are inside, and neighbouring sides are met again. Beside a bend sharper than the
    error, sides moved out may cross: then chords keep closer to the ring, at worst on it.

    Args:
        ring_mm: (n, 2) counter-clockwise.
        error_mm: how far a curve may leave its chord.

    Returns:
        (m, 2) ring and whether any side stands for a curve.
    """
    ring = np.asarray(ring_mm, dtype=float)
    keep = thinned(ring, error_mm)
    if len(keep) < 3:  # so slim that it is a line at this width: the slimmest box around it
        return slim_box(ring), True
    corners = ring[keep]
    count = len(corners)
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.hypot(*along.T)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    shift = np.zeros(count)
    for k in range(count):
        first, last = keep[k], keep[(k + 1) % count]
        run = np.arange(first, last + (len(ring) if last <= first else 0) + 1) % len(ring)
        shift[k] = max(0.0, float(((ring[run] - corners[k]) @ out[k]).max()))
    curved = bool((shift > 1e-3).any()) or count < len(ring) - _straight(ring)
    moved = np.empty_like(corners)
    for k in range(count):
        a, b = out[k - 1], out[k]
        system = np.array([a, b])
        wanted = np.array([corners[k] @ a + shift[k - 1], corners[k] @ b + shift[k]])
        if abs(np.linalg.det(system)) < 1e-3:  # nearly one line
            moved[k] = corners[k] + (a + b) / 2 * max(shift[k - 1], shift[k])
        else:
            moved[k] = np.linalg.solve(system, wanted)
    if shapely.Polygon(moved).is_valid:
        return moved, curved
    return outer_chords(ring, error_mm / 4) if error_mm > _FINEST_MM else (ring, False)


def _straight(ring: np.ndarray) -> int:
    """How many points of a ring lie on a straight line between their neighbours."""
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    u, v = ring - before, after - ring
    cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return int((cross < 1e-4 * np.hypot(*u.T) * np.hypot(*v.T)).sum())


def thinned(ring: np.ndarray, error_mm: float) -> np.ndarray:
    """Indices of the points of a ring that Douglas and Peucker's rule keeps.

    The ring is opened at its two points furthest apart along its longest way.
    """
    first = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    far = int(np.hypot(*(ring - ring[first]).T).argmax())
    n = len(ring)
    keep = {first, far}
    for a, b in ((first, far), (far, first)):
        span = np.arange(a, b + (n if b <= a else 0) + 1)
        stack = [(0, len(span) - 1)]
        while stack:
            low, high = stack.pop()
            if high - low < 2:
                continue
            p, q = ring[span[low] % n], ring[span[high] % n]
            between = ring[span[low + 1 : high] % n]
            run = q - p
            length = max(float(np.hypot(*run)), 1e-12)
            off = np.abs((between - p) @ np.array([-run[1], run[0]])) / length
            k = int(off.argmax())
            if off[k] > error_mm:
                keep.add(int(span[low + 1 + k] % n))
                stack += [(low, low + 1 + k), (low + 1 + k, high)]
    return np.array(sorted(keep))


def rounded_outwards(
    ring_mm: np.ndarray, grid_mm: float, room_mm: tuple[float, float] | None = None
) -> np.ndarray:
    """A ring on a grid whose sides lie on or outside the sides of the ring given.

    Every corner goes to the nearest grid point that is on the outer side of both its sides; then
    both ends of each side, and so the whole side, are outside. Points within the stock, 0 to
    `room_mm`, go before nearer ones beyond its edge.
    """
    ring = np.asarray(ring_mm, dtype=float)
    along = np.roll(ring, -1, axis=0) - ring
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    steps = np.arange(-_REACH, _REACH + 1)
    near = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    near = near[np.argsort((near**2).sum(axis=1), kind="stable")]
    points = np.empty_like(ring)
    for k, corner in enumerate(ring):
        tries = (np.round(corner / grid_mm) + near) * grid_mm
        gap = tries - corner
        outside = (gap @ out[k - 1] >= -1e-9) & (gap @ out[k] >= -1e-9)
        good = np.flatnonzero(outside)
        if len(good):
            far = np.round((gap[good] ** 2).sum(axis=1), 9)
            if room_mm is not None:
                off = (tries[good] < 0.0) | (tries[good] > np.array(room_mm) + grid_mm)
                far = far + 1e6 * off.any(axis=1)
            best = good[np.argmin(far)]
            points[k] = tries[best]
        else:
            points[k] = tries[0]
    return points


def slim_box(ring: np.ndarray) -> np.ndarray:
    """The box around a ring along its longest way, counter-clockwise."""
    first = ring[np.lexsort((ring[:, 1], ring[:, 0]))[0]]
    along = ring[np.hypot(*(ring - first).T).argmax()] - first
    along /= np.hypot(*along)
    turn = np.column_stack([along, (-along[1], along[0])])
    (x0, y0), (x1, y1) = (ring @ turn).min(axis=0) - _HAIR_MM, (ring @ turn).max(axis=0) + _HAIR_MM
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) @ turn.T


def around(shape: shapely.Polygon) -> np.ndarray:
    """The outer ring of a shape, counter-clockwise."""
    return np.array(shapely.geometry.polygon.orient(shape).exterior.coords)[:-1]
