"""How an outline that may turn freely is laid on a rectangle."""

from __future__ import annotations

import numpy as np

_EVERY_DEG = 0.5


def flat_rotations(ring_mm: np.ndarray) -> tuple[float, ...]:
    """Rotations that lay a side of the convex hull along x, degrees in [0, 360), rising; the least
    width of a ring is across one of them.

    Args:
        ring_mm: (n, 2) ring.
    """
    angles = -_side_angles(_hull(ring_mm)) % 360.0
    return tuple(sorted({round(float(a), 9) for a in angles}))


def most_room(
    ring_mm: np.ndarray, size_mm: tuple[float, float], slantwise: bool = False
) -> tuple[float, float]:
    """The rotation in which a ring leaves most room on a rectangle.

    Args:
        ring_mm: (n, 2) ring.
        size_mm: length (x) and width (y) of the rectangle.
        slantwise: try every half degree too, not only a side of the hull along a side of the
            rectangle.

    Returns:
        The rotation in degrees, and the room in mm: what is left along or across, whichever is
        less; negative where the ring does not fit.
    """
    hull = _hull(ring_mm)
    flat = np.round(-_side_angles(hull), 9)
    turns = np.concatenate([[0.0, 90.0], flat % 180.0, (flat + 90.0) % 180.0])
    if slantwise:
        turns = np.concatenate([turns, np.arange(0.0, 180.0, _EVERY_DEG)])
    room = room_mm(hull, size_mm, turns)
    best = int(np.argmax(np.round(room, 6)))
    return float(turns[best]), float(room[best])


def room_mm(ring_mm: np.ndarray, size_mm: tuple[float, float], turns_deg: np.ndarray) -> np.ndarray:
    """(k,) room that a ring leaves on a rectangle, as of `most_room`, in each of (k,) rotations."""
    c, s = np.cos(np.radians(turns_deg)), np.sin(np.radians(turns_deg))
    x = np.outer(c, ring_mm[:, 0]) - np.outer(s, ring_mm[:, 1])
    y = np.outer(s, ring_mm[:, 0]) + np.outer(c, ring_mm[:, 1])
    return np.minimum(size_mm[0] - np.ptp(x, axis=1), size_mm[1] - np.ptp(y, axis=1))


def _hull(ring_mm: np.ndarray) -> np.ndarray:
    import shapely

    return np.asarray(shapely.MultiPoint(ring_mm).convex_hull.exterior.coords)[:-1]


def _side_angles(hull: np.ndarray) -> np.ndarray:
    step = np.roll(hull, -1, axis=0) - hull
    return np.degrees(np.arctan2(step[:, 1], step[:, 0]))
