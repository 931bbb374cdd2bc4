"""Cloth wider than its roll: where it is split, always along the warp.

All widths are measured across the warp in the cut frame, because that is what has to fit on the
roll. The fewest strips are found that obey every rule; among those the first strips are as wide
as the roll allows (they waste nothing at the selvedge) and the last takes the remainder.

Terms:
    across: the unit vector across the warp along which strips are counted.
    line: the middle of a splice, a position along `across`. A butt is cut on the line; an overlap
        reaches half its length to either side of it.
    barred: open intervals of positions where no splice line may lie.

Rules: joints of the same direction with fewer than four plies between them are staggered, joints
further apart may coincide (MIL-HDBK-17-3F vol. 3 ch. 12, A-30 and A-31, written for prepreg
tape; for wet cloth common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.laminate.shapes import polygons_of
from plybook.spec.model import Hand, SpliceRule

PLIES_BETWEEN = 4  # joints this many plies apart may coincide
FIT_MM = 0.01  # left over at the selvedge so that rounding never makes a strip too wide
MORE_STRIPS = 4  # strips tried above the fewest before giving up

Interval = tuple[float, float]


@dataclass(frozen=True)
class WarpFrame:
    """Along and across the warp, the same physical way round for either hand."""

    along: np.ndarray  # (2,)
    across: np.ndarray  # (2,)

    def positions(self, points_mm: np.ndarray) -> np.ndarray:
        """(n,) positions of points across the warp."""
        return np.asarray(points_mm) @ self.across

    def distances(self, points_mm: np.ndarray) -> np.ndarray:
        """(n,) positions of points along the warp."""
        return np.asarray(points_mm) @ self.along

    def points(self, along_mm: np.ndarray, across_mm: np.ndarray) -> np.ndarray:
        """(n, 2) points from their two positions."""
        return np.multiply.outer(along_mm, self.along) + np.multiply.outer(across_mm, self.across)


def warp_frame(angle_deg: float, hand: Hand) -> WarpFrame:
    """The frame of a warp at `angle_deg`, counted from the root outwards; where that does not
    tell (warp along or square to the axis), upwards on a left part and downwards on a right."""
    angle = math.radians(angle_deg)
    up = -1.0 if hand == "right" else 1.0
    along = _facing(np.array([math.cos(angle), math.sin(angle)]), up)
    across = _facing(np.array([-math.sin(angle), math.cos(angle)]), up)
    return WarpFrame(along, across)


def _facing(direction: np.ndarray, up: float) -> np.ndarray:
    direction = np.where(np.abs(direction) < 1e-12, 0.0, direction)
    if abs(direction[0]) > 1e-9:
        return direction * math.copysign(1.0, direction[0])
    return direction * math.copysign(1.0, direction[1] * up)


def barred_by_regions(
    keep_clear: BaseGeometry, ply: BaseGeometry, frame: WarpFrame, overlap_mm: float
) -> list[Interval]:
    """Positions barred because a splice there would cross a region to be kept clear."""
    found = []
    for part in polygons_of(keep_clear.intersection(ply)):
        at = frame.positions(shapely.get_coordinates(part))
        found.append((float(at.min()) - overlap_mm / 2, float(at.max()) + overlap_mm / 2))
    return found


def barred_by_splices(
    lines_mm: Iterable[np.ndarray], frame: WarpFrame, stagger_mm: float
) -> list[Interval]:
    """Positions barred because a splice of a neighbouring layer lies too near."""
    found = []
    for line in lines_mm:
        at = frame.positions(line)
        found.append((float(at.min()) - stagger_mm, float(at.max()) + stagger_mm))
    return found


def place_splices(
    low_mm: float,
    high_mm: float,
    usable_mm: float,
    rule: SpliceRule,
    barred: Sequence[Interval] = (),
) -> tuple[float, ...] | None:
    """Positions of the splice lines for a ply from `low_mm` to `high_mm` across the warp.

    Args:
        low_mm, high_mm: extent of the ply across the warp.
        usable_mm: usable roll width.
        rule: kind, overlap and narrowest strip (the overlap counts towards the roll width, not
            towards the narrowest strip).
        barred: open intervals where no line may lie.

    Returns:
        Rising positions, () where the ply fits the roll, None where no set of lines obeys.
    """
    width = usable_mm - FIT_MM
    extent = high_mm - low_mm
    if extent <= usable_mm:
        return ()
    overlap = rule.overlap_mm if rule.kind == "overlap" else 0.0
    if width - overlap <= 0:
        return None
    fewest = max(2, math.ceil((extent - overlap) / (width - overlap) - 1e-12))
    allowed = _complement(low_mm, high_mm, barred)
    for count in range(fewest, fewest + MORE_STRIPS + 1):
        lines = _widest_first(low_mm, high_mm, width, overlap, rule.narrowest_mm, allowed, count)
        if lines is not None:
            return lines
    return None


def _widest_first(low, high, width, overlap, narrowest, allowed, count):
    """`count` strips, each line as far on as the rest still allows (backward reachable sets)."""
    step = (narrowest, width - overlap)
    end = (narrowest, width - overlap / 2)
    if step[0] > step[1]:
        return None
    reach = [_common(allowed, [(high - end[1], high - end[0])])]
    for _ in range(count - 2):
        moved = _merge([(lo - step[1], hi - step[0]) for lo, hi in reach[0]])
        reach.insert(0, _common(allowed, moved))
    lines: list[float] = []
    window = (low + end[0], low + end[1])
    for sets in reach:
        options = _common(sets, [window])
        if not options:
            return None
        lines.append(options[-1][1])
        window = (lines[-1] + step[0], lines[-1] + step[1])
    return tuple(lines)


def _complement(low: float, high: float, barred: Sequence[Interval]) -> list[Interval]:
    found, at = [], low
    for start, end in _merge(barred):
        if start >= at:
            found.append((at, min(start, high)))
        at = max(at, end)
    if at <= high:
        found.append((at, high))
    return [(a, b) for a, b in found if b >= a]


def _merge(intervals: Sequence[Interval]) -> list[Interval]:
    merged: list[Interval] = []
    for lo, hi in sorted(i for i in intervals if i[1] >= i[0]):
        if merged and lo <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], hi))
        else:
            merged.append((lo, hi))
    return merged


def _common(first: Sequence[Interval], second: Sequence[Interval]) -> list[Interval]:
    found = [(max(a, c), min(b, d)) for a, b in first for c, d in second]
    return sorted((lo, hi) for lo, hi in found if lo <= hi)


def strips(
    ply: Polygon, lines: Sequence[float], frame: WarpFrame, overlap_mm: float
) -> list[BaseGeometry]:
    """The ply cut into strips, in order across the warp, each with its share of the overlaps."""
    if not lines:
        return [ply]
    ring = shapely.get_coordinates(ply.exterior)
    along, across = frame.distances(ring), frame.positions(ring)
    far = 1.0 + overlap_mm
    ends = np.array([along.min() - far, along.max() + far])
    lows = [across.min() - far, *(line - overlap_mm / 2 for line in lines)]
    highs = [*(line + overlap_mm / 2 for line in lines), across.max() + far]
    found = []
    for low, high in zip(lows, highs, strict=True):
        slab = frame.points(ends[[0, 1, 1, 0]], np.array([low, low, high, high]))
        found.append(ply.intersection(Polygon(slab)))
    return found
