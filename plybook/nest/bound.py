"""Lower bounds: what no layout can go below, so that a plan can say how good it is.

Where two pieces keep a gap, each grown by half of it keeps clear of the other inside a strip grown
by half of it all round; so bounds are taken on grown pieces and grown stock.

A *dual feasible function* f keeps: numbers that add up to at most 1 still do after f (Fekete &
Schepers, Mathematical Programming 91, 2001; cited from memory). At every cut across the strip the
pieces' shares of the width add up to at most 1, so the sum over pieces of the integral of f(share)
along the strip is no more than the length. f(s) = s gives the area bound; others count pieces that
cannot lie side by side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from plybook.geometry.rings import signed_area_mm2
from plybook.nest.placing import turn_ring

_THRESHOLDS = (0.5, 0.45, 0.4, 0.35, 0.3, 0.25, 0.2, 0.15, 0.1)
_STEPS = (2, 3, 4, 5)
_FUNCTIONS = len(_THRESHOLDS) + len(_STEPS)
_SLICES = 400
_SAFE = 1.0 - 1e-9


def strip_bound(
    rings: Sequence[np.ndarray],
    demands: Sequence[int],
    rotations: Sequence[Sequence[float] | None],
    gap_mm: float,
    width_mm: float,
) -> float:
    """A length no layout on a strip of this width can go below, mm.

    Args:
        rings: (n, 2) outlines; flipping does not change the bound.
        demands: how many of each.
        rotations: allowed rotations of each; None = free (then only the area counts).
        gap_mm: clear distance between pieces.
        width_mm: of the strip.

    Returns:
        The largest of the area bound, the longest piece, and the bounds by shares of the width.
    """
    longest, wide = 0.0, width_mm + gap_mm
    totals = np.zeros(1 + _FUNCTIONS)
    for ring, demand, allowed in zip(rings, demands, rotations, strict=True):
        points = np.ascontiguousarray(ring, dtype=float).tobytes()
        turns = None if allowed is None else tuple(_halves(allowed))
        least, each = _takes(points, turns, gap_mm, wide)
        longest = max(longest, least)
        totals += np.array(each) * demand
    return max(longest, float(totals.max()) * _SAFE - gap_mm, 0.0)


@lru_cache(maxsize=4096)
def _takes(
    points: bytes, turns: tuple[float, ...] | None, gap_mm: float, wide_mm: float
) -> tuple[float, tuple[float, ...]]:
    """What one piece takes in any case: its least length, and its area and shares along the strip
    (grown by half the gap, on a strip that is as much wider)."""
    ring = np.frombuffer(points, dtype=float).reshape(-1, 2)
    nothing = (0.0,) * _FUNCTIONS
    grown = _grown_ring(ring, gap_mm)
    area = abs(signed_area_mm2(grown)) / wide_mm
    if turns is None:
        return _least_extent(ring), (area, *nothing)
    fitting = [t for t in (turn_ring(grown, r) for r in turns) if _across(t) <= wide_mm]
    if not fitting:
        return 0.0, (0.0, *nothing)
    least = min(float(np.ptp(t[:, 0])) for t in fitting) - gap_mm
    each = np.array([_share_integrals(t, wide_mm) for t in fitting]).min(axis=0)
    return least, (area, *(float(v) for v in each))


def sheet_bound(
    rings: Sequence[np.ndarray],
    demands: Sequence[int],
    gap_mm: float,
    sheet_mm: tuple[float, float],
) -> int:
    """How many sheets of one size are needed at least, by area and by pieces over half a sheet."""
    whole = (sheet_mm[0] + gap_mm) * (sheet_mm[1] + gap_mm)
    shares = np.concatenate(
        [
            np.full(d, abs(signed_area_mm2(_grown_ring(r, gap_mm))) / whole)
            for r, d in zip(rings, demands, strict=True)
        ]
        or [np.zeros(0)]
    )
    totals = [shares.sum(), *_dual_feasible(shares).sum(axis=1)]
    return math.ceil(max(totals) - 1e-9)


def _grown_ring(ring: np.ndarray, gap_mm: float) -> np.ndarray:
    """Grown by half the gap, inside the true rounding, so that bounds stay bounds."""
    if gap_mm <= 1e-6:
        return np.asarray(ring, dtype=float)
    import shapely

    grown = shapely.Polygon(ring).buffer(gap_mm / 2, quad_segs=4)
    return np.asarray(shapely.geometry.polygon.orient(grown).exterior.coords)[:-1]


def _halves(rotations: Sequence[float]) -> list[float]:
    """A half turn changes neither extents nor shares."""
    return sorted({round(r % 180.0, 6) for r in rotations})


def _across(ring: np.ndarray) -> float:
    return float(np.ptp(ring[:, 1])) - 1e-6


def _least_extent(ring: np.ndarray) -> float:
    import shapely

    rect = shapely.Polygon(ring).minimum_rotated_rectangle
    corner = np.asarray(rect.exterior.coords)
    return float(min(np.hypot(*(corner[1] - corner[0])), np.hypot(*(corner[2] - corner[1]))))


def _dual_feasible(share: np.ndarray) -> np.ndarray:
    """Every function of the share, one row each: (functions, n).

    For a threshold: 1 above 1 - threshold, 0 below the threshold, the share itself between. For a
    step k: floor((k + 1) share) / k, taken just below where (k + 1) share is whole; it knows that
    no more than k pieces wider than 1 / (k + 1) lie side by side.
    """
    rows = []
    for threshold in _THRESHOLDS:
        kept = np.where(share < threshold - 1e-12, 0.0, share)
        rows.append(np.where(share > 1.0 - threshold + 1e-12, 1.0, kept))
    rows += [np.maximum(np.floor((k + 1) * share - 1e-9), 0.0) / k for k in _STEPS]
    return np.array(rows)


def _share_integrals(ring: np.ndarray, width_mm: float) -> np.ndarray:
    """Integral along x of f(share) for each function; each slice counts with its least share.

    Between two slices through neighbouring points of the ring the share is linear for a simple
    ring, so taking the smaller end of many thin slices errs to the low side only.
    """
    xs = np.unique(np.concatenate([ring[:, 0], np.linspace(*_ends(ring), _SLICES)]))
    inner = np.diff(xs) * 1e-6
    left, right = xs[:-1] + inner, xs[1:] - inner
    least = np.minimum(_shares(ring, left), _shares(ring, right)) / width_mm
    step = np.diff(xs)
    return _dual_feasible(least) @ step


def _ends(ring: np.ndarray) -> tuple[float, float]:
    return float(ring[:, 0].min()), float(ring[:, 0].max())


def _shares(ring: np.ndarray, xs: np.ndarray) -> np.ndarray:
    """Total height of the ring's cross-section at each x (no x on a corner)."""
    x0, y0 = ring.T
    x1, y1 = np.roll(ring, -1, axis=0).T
    lower, upper = np.minimum(x0, x1), np.maximum(x0, x1)
    hit = (xs[:, None] > lower) & (xs[:, None] < upper)
    with np.errstate(divide="ignore", invalid="ignore"):
        y = y0 + (xs[:, None] - x0) * (y1 - y0) / (x1 - x0)
    sign = np.where(x1 > x0, -1.0, 1.0)  # counter-clockwise: the upper side runs to the left
    return np.where(hit, y * sign, 0.0).sum(axis=1)
