"""An outline cut up into the runs that a straightedge, a table of offsets or paper must show.

`plybook.drawing.tapeplan` says what knots, runs and offsets are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely

RunKind = Literal["straight", "bowed", "printed"]

SPAN_MM = 80.0  # between its marks a straightedge draws at least this much
SHORT_MM = 5.0  # a shorter side between two corners is printed with them
CORNER_DEG = 20.0  # a turn that is a corner, not a curve
BEND_DEG = 6.0  # neighbouring spans that turn less are one bowed side
MOST_BEND_DEG = 50.0  # a side that turns more in all is a curve
MOST_BOW_MM = 150.0  # further from the straight line a square is not held true
EVEN_OFFSETS = 8  # at even distances
MOST_OFFSETS = 20  # where they are needed
PRINT_MM = (165.0, 225.0)  # the largest curve on one sheet, with room around it
_LONE = 3.0  # times its longer neighbour, a straight span is a side of its own
_CORNER_MM = 1.5  # a corner turns within so little; a curve takes longer


@dataclass(frozen=True)
class Offset:
    """`along_mm` from the run's first knot, `off_mm` square off the straight line, + outwards."""

    along_mm: float
    off_mm: float


def to_tape(value, tape_mm: float):
    """A length, or an array of them, as a tape with so fine a grid shows it, mm."""
    return np.round(np.asarray(value) / tape_mm) * tape_mm if np.ndim(value) else (
        round(value / tape_mm) * tape_mm
    )  # fmt: skip


def cut_up(
    ring: np.ndarray, straight_mm: float, long_bows: bool = False
) -> list[tuple[RunKind, int, np.ndarray]] | None:
    """A ring in runs: (kind, index of its first vertex in the ring as it is cut, points).

    The ring is thinned to the points a straightedge needs and broken where it turns; what lies
    between two breaks is a side where it is long enough to be drawn, else part of a curve.

    Args:
        ring: (n, 2) mm.
        straight_mm: what a straightedge leaves out.
        long_bows: a side that is straight in its middle and bends softly towards its ends is one
            bowed side: the ends of its middle lie where no two tapes cross on a slender piece.
    """
    ring = np.roll(ring, -_start(ring), axis=0)
    closed = np.vstack([ring, ring[:1]])
    kept = _kept(closed, straight_mm)
    if len(kept) < 4:
        return None
    turns = np.abs(_turns(np.diff(closed[kept], axis=0)))  # at the start of each segment
    corner = _corners(ring)
    spans = np.hypot(*np.diff(closed[kept], axis=0).T)
    lone = np.zeros(len(spans), bool) if long_bows else _lone(spans, turns)
    breaks, bend = [0], 0.0
    for k in range(1, len(turns)):
        bend += turns[k]
        if turns[k] >= BEND_DEG or bend >= MOST_BEND_DEG or lone[k] or lone[k - 1]:
            breaks.append(k)
            bend = 0.0
    sides: list[tuple[bool, int, int]] = []  # whether it is a side, its first and last point
    for a, b in pairwise([*breaks, len(turns)]):
        length = float(np.hypot(*(closed[kept[b]] - closed[kept[a]])))
        sharp = corner[kept[a]] and corner[kept[b] % len(ring)]
        is_side = length >= SPAN_MM or (length >= SHORT_MM and sharp)
        if sides and not is_side and not sides[-1][0]:
            sides[-1] = (False, sides[-1][1], int(kept[b]))
        else:
            sides.append((is_side, int(kept[a]), int(kept[b])))
    runs: list[tuple[RunKind, int, np.ndarray]] = []
    for is_side, a, b in _without_tails(sides, kept, closed):
        points = closed[a : b + 1]
        if is_side:
            flat = _from_chord(points, points[0], points[-1]).max() <= straight_mm + 1e-9
            runs.append(("straight" if flat else "bowed", a, points))
        else:
            runs += [(kind, a + i, piece) for kind, i, piece in curve_runs(points)]
    if len(runs) < 2:  # one curve all round: two knots at least
        kind, a, points = runs[0]
        half = len(points) // 2
        runs = [(kind, a, points[: half + 1]), (kind, a + half, points[half:])]
    return runs


def _lone(spans_mm: np.ndarray, turns_deg: np.ndarray) -> np.ndarray:
    """Which spans of a thinned ring are straight sides that a curve runs into, not part of a bow:
    a bow of even bend has spans of like length."""
    smooth = turns_deg < BEND_DEG  # at the start of each span
    before = np.where(smooth, np.roll(spans_mm, 1), 0.0)
    after = np.where(np.roll(smooth, -1), np.roll(spans_mm, -1), 0.0)
    return (spans_mm >= 2 * SPAN_MM) & (spans_mm >= _LONE * np.maximum(before, after))


def _without_tails(
    sides: list[tuple[bool, int, int]], kept: np.ndarray, closed: np.ndarray
) -> list[tuple[bool, int, int]]:
    """Sides whose short ends belong to the curve beside them, given over to it."""
    sides = list(sides)
    for k, (is_side, a, b) in enumerate(sides):
        if not is_side:
            continue
        own = [int(p) for p in kept if a <= p <= b]

        def short(one: int, other: int) -> bool:
            return float(np.hypot(*(closed[other] - closed[one]))) < SPAN_MM

        if k > 0 and not sides[k - 1][0]:
            while len(own) > 2 and short(own[0], own[1]):
                own.pop(0)
        if k + 1 < len(sides) and not sides[k + 1][0]:
            while len(own) > 2 and short(own[-2], own[-1]):
                own.pop()
        if short(own[0], own[-1]):
            continue
        sides[k] = (True, own[0], own[-1])
        if k > 0:
            sides[k - 1] = (sides[k - 1][0], sides[k - 1][1], own[0])
        if k + 1 < len(sides):
            sides[k + 1] = (sides[k + 1][0], own[-1], sides[k + 1][2])
    return sides


def _start(ring: np.ndarray) -> int:
    """The vertex a ring is best cut up from: a corner, else where its longest side begins."""
    corner = _corners(ring)
    sides = np.round(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T), 6)
    return int(np.argmax(np.where(corner, sides, -1.0) if corner.any() else sides))


def _corners(ring: np.ndarray) -> np.ndarray:
    """Which vertices are corners: where the line turns within a millimetre or two."""
    line = shapely.LineString(np.vstack([ring, ring, ring, ring[:1]]))
    sides = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    at = np.concatenate([[0.0], np.cumsum(sides)[:-1]]) + sides.sum()
    before, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(line, at + step))
        for step in (-_CORNER_MM, _CORNER_MM)
    )
    return np.degrees(np.abs(_angle(ring - before, after - ring))) >= CORNER_DEG


def _kept(closed: np.ndarray, straight_mm: float) -> np.ndarray:
    """Places of the points that are left when a closed line is thinned (Douglas and Peucker)."""
    half = len(closed) // 2
    far = int(np.argmax(np.hypot(*(closed[1:-1] - closed[0]).T))) + 1 if half else 0
    places = [0]
    for a, b in ((0, far), (far, len(closed) - 1)):
        places += [a + k for k in _thinned(closed[a : b + 1], straight_mm)[1:]]
    return np.array(places)


def _thinned(points: np.ndarray, straight_mm: float) -> list[int]:
    kept, todo = {0, len(points) - 1}, [(0, len(points) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        off = _from_chord(points[a + 1 : b], points[a], points[b])
        k = int(np.argmax(off))
        if off[k] > straight_mm:
            kept.add(a + 1 + k)
            todo += [(a, a + 1 + k), (a + 1 + k, b)]
    return sorted(kept)


def _from_chord(points: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    way = b - a
    share = np.clip((points - a) @ way / max(way @ way, 1e-12), 0.0, 1.0)
    return np.hypot(*(points - a - share[:, None] * way).T)


def _turns(ways: np.ndarray) -> np.ndarray:
    """Turn at the start of each segment of a closed line, degrees."""
    return np.degrees(_angle(np.roll(ways, 1, axis=0), ways))


def _angle(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    cross = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    return np.arctan2(cross, np.einsum("ij,ij->i", one, other))


def curve_runs(points: np.ndarray) -> Iterator[tuple[RunKind, int, np.ndarray]]:
    """A curve in runs that each fit a sheet, a stretch too long for one as a straight run of its
    own: (kind, place of its first point, points)."""
    for i, j in _sheets_of(points):
        fits = (np.ptp(points[i : j + 1], axis=0) <= PRINT_MM).all()
        yield "printed" if fits else "straight", i, points[i : j + 1]


def _sheets_of(points: np.ndarray) -> Iterator[tuple[int, int]]:
    """A curve in stretches that each fit a sheet or are one line, as places of their first and
    last points."""
    start = 0
    low = high = points[0]
    for k in range(1, len(points)):
        low, high = np.minimum(low, points[k]), np.maximum(high, points[k])
        if (high - low > PRINT_MM).any() and k - 1 > start:
            yield start, k - 1
            start = k - 1
            low, high = np.minimum(points[start], points[k]), np.maximum(points[start], points[k])
    yield start, len(points) - 1


def offsets_of(
    points: np.ndarray, straight_mm: float, tape_mm: float, pitches_mm: Sequence[float], hole: bool
) -> tuple[Offset, ...] | None:
    """Offsets of a bowed side: at even distances where few do, else where they are needed; None
    where it is no such side."""
    way = points[-1] - points[0]
    length = float(np.hypot(*way))
    if length <= 0:
        return None
    along = (points - points[0]) @ way / length
    off = (points - points[0]) @ np.array([way[1], -way[0]]) / length  # the right is outwards
    off = -off if hole else off
    if (np.diff(along) <= 0).any() or np.abs(off).max() > MOST_BOW_MM:
        return None
    may = straight_mm + tape_mm / 2

    def table(marks: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What the tape shows at some marks, and how far the points lie from what it draws."""
        told = to_tape(np.interp(marks, along, off), tape_mm)
        back = np.interp(along, [0.0, *marks, length], [0.0, *told, 0.0])
        return told, np.abs(back - off)

    for most, pitches in ((EVEN_OFFSETS, pitches_mm), (MOST_OFFSETS, pitches_mm[-4:])):
        for pitch in pitches:
            marks = np.arange(1, math.ceil(length / pitch - 1e-9)) * pitch
            marks = marks[length - marks > 0.15 * pitch]
            if most > EVEN_OFFSETS:
                marks = _needed(marks, table, along, may, most)
            if 0 < len(marks) <= most:
                told, miss = table(marks)
                if miss.max() <= may:
                    return tuple(map(Offset, marks.tolist(), told.tolist()))
    return None


def _needed(
    marks: np.ndarray,
    table: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
    along: np.ndarray,
    may_mm: float,
    most: int,
) -> np.ndarray:
    """The marks of an even row that a side needs, found by taking in the one nearest to where
    the drawn line is furthest off."""
    taken: list[float] = []
    while len(taken) < most and len(marks):
        _, miss = table(np.array(taken))
        worst = int(np.argmax(miss))
        if miss[worst] <= may_mm:
            break
        left = np.array([m for m in marks if m not in taken])
        if not len(left):
            break
        taken = sorted([*taken, float(left[np.argmin(np.abs(left - along[worst]))])])
    return np.array(taken)
