"""Rings: closed outlines as arrays, brought into one canonical form.

A ring is an (n, 2) float array in mm, counter-clockwise, the first point not repeated. The one
place where coordinates are rounded to the grid is `canonical_ring`.
"""

from __future__ import annotations

import numpy as np

GRID_MM = 1e-4  # every coordinate that leaves the tool is a multiple of this


def signed_area_mm2(ring_mm: np.ndarray) -> float:
    """Shoelace area of an (n, 2) ring; positive when counter-clockwise."""
    x, y = np.asarray(ring_mm, dtype=float).T
    x, y = x - x[0], y - y[0]  # keeps digits for rings far from the origin
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def canonical_ring(ring_mm: np.ndarray, grid_mm: float = GRID_MM) -> np.ndarray:
    """The same ring, counter-clockwise, on the grid, starting at its lowest-leftmost point.

    Repeated neighbouring points (also first = last) are dropped. The start is the point with the
    smallest x, then the smallest y.

    Raises:
        ValueError: fewer than three different points, or a coordinate that is not finite.
    """
    ring = np.asarray(ring_mm, dtype=float)
    if ring.ndim != 2 or ring.shape[1] != 2 or not np.isfinite(ring).all():
        raise ValueError("a ring is an (n, 2) array of finite numbers")
    ring = np.round(ring / grid_mm) * grid_mm
    ring = np.round(ring, 6) + 0.0  # clears binary dust and -0.0
    ring = ring[np.any(ring != np.roll(ring, 1, axis=0), axis=1)]
    if len(ring) < 3:
        raise ValueError("a ring needs at least three different points")
    if signed_area_mm2(ring) < 0:
        ring = ring[::-1]
    start = np.lexsort((ring[:, 1], ring[:, 0]))[0]
    return np.roll(ring, -start, axis=0)
