"""Panels that meet: every seam edge knows its mate, and both carry the same ticks.

Terms:
    shared stretch: the part of a seam that two panels have in common, where they lie.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.ops

from plybook.laminate.ground import Meeting
from plybook.laminate.leaves import Leaf
from plybook.laminate.model import Mark, Piece
from plybook.laminate.panel_checks import base_name
from plybook.laminate.panels import SEAM

_TICK_MM = 10.0
_TICK_PITCH_MM = 400.0
_MEET_MM = 0.05
_LEAST_MM = 2.0


@dataclass(frozen=True)
class Met:
    """Two panels that meet at a break: their numbers, and from where to where along it."""

    meeting: Meeting
    seam: str
    inner: int
    outer: int
    reach_mm: tuple[float, float]

    @property
    def closing(self) -> float:
        """Tangent of half the angle that the face turns by where it turns most between the two;
        positive where the bag side is hollow."""
        places = np.union1d(np.linspace(*self.reach_mm, 2), self.meeting.along_mm)
        here = places[(places >= self.reach_mm[0]) & (places <= self.reach_mm[1])]
        closing = np.interp(here, self.meeting.along_mm, self.meeting.closing)
        return float(closing[np.argmax(np.abs(closing))])


def mated(
    pieces: Sequence[Piece], leaves: Sequence[Leaf], at_break: Mapping[str, Meeting]
) -> tuple[list[Piece], list[Met]]:
    """Tell every seam edge its mate and put matching ticks on both panels.

    Args:
        pieces: panels of one core, in order.
        leaves: the leaf each panel is cut on.
        at_break: by seam, the break it lies on, where the two leaves have lines of their own.

    Returns:
        The panels, and those that meet at breaks.
    """
    edges = [list(p.edges) for p in pieces]
    marks = [list(p.marks) for p in pieces]
    laid = [
        [leaf.from_cut(e.points_mm) if e.name.startswith(SEAM) else None for e in p.edges]
        for p, leaf in zip(pieces, leaves, strict=True)
    ]
    counts: dict[str, int] = {}
    met: list[Met] = []
    for i, one in enumerate(pieces):
        for j in range(i + 1, len(pieces)):
            for a, edge in enumerate(one.edges):
                for b, facing in enumerate(pieces[j].edges):
                    own, other = laid[i][a], laid[j][b]
                    if own is None or other is None or base_name(edge) != base_name(facing):
                        continue
                    seam = base_name(edge).removeprefix(SEAM)
                    broken = at_break.get(seam)
                    if broken is not None:
                        reach = _reach(broken, own, other)
                        ticks = [] if reach is None else _break_ticks(broken, reach)
                        if reach is not None:
                            met.append(Met(broken, seam, i, j, reach))
                    else:
                        shared = _shared(own, other)
                        ticks = [] if shared is None else [
                            (np.vstack([root, root + way]), np.vstack([root, root - way]))
                            for root, way in _ticks(shared)
                        ]  # fmt: skip
                    if not ticks:
                        continue
                    edges[i][a] = replace(edges[i][a], mate=pieces[j].id)
                    edges[j][b] = replace(edges[j][b], mate=one.id)
                    for lines in ticks:
                        counts[seam] = counts.get(seam, 0) + 1
                        label = f"{seam}-{counts[seam]}"
                        for k, line in zip((i, j), lines, strict=True):
                            marks[k].append(Mark("tick", leaves[k].to_cut(line), label))
    made = [
        replace(p, edges=tuple(e), marks=tuple(m))
        for p, e, m in zip(pieces, edges, marks, strict=True)
    ]
    return made, met


def _reach(
    broken: Meeting, inner_mm: np.ndarray, outer_mm: np.ndarray
) -> tuple[float, float] | None:
    """From where to where two edges at a break face each other along it."""
    ends = [broken.along(side, line) for side, line in enumerate((inner_mm, outer_mm))]
    start, end = max(e.min() for e in ends), min(e.max() for e in ends)
    return (float(start), float(end)) if end - start >= _LEAST_MM else None


def _break_ticks(
    broken: Meeting, reach_mm: tuple[float, float]
) -> list[tuple[np.ndarray, np.ndarray]]:
    """The ticks of the panels to both sides of a break, (2, 2) lines from its edge inwards."""
    at = np.array(_tick_places(reach_mm[1] - reach_mm[0])) + reach_mm[0]
    rows = [[broken.beside(side, at, by) for by in (0.0, _TICK_MM)] for side in (0, 1)]
    inner, outer = (np.stack(row, axis=1) for row in rows)
    return list(zip(inner, outer, strict=True))


def _shared(one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    """The stretch two facing edges have in common, in the direction of the first."""
    line, facing = shapely.LineString(one), shapely.LineString(other)
    if line.distance(facing) > _MEET_MM:
        return None
    reach = [line.project(p) for p in shapely.points(other) if line.distance(p) < _MEET_MM]
    reach += [line.project(p) for p in shapely.points(one) if facing.distance(p) < _MEET_MM]
    if not reach or max(reach) - min(reach) < _LEAST_MM:
        return None
    return np.asarray(shapely.ops.substring(line, min(reach), max(reach)).coords)


def _tick_places(length_mm: float) -> list[float]:
    """Unevenly set, so that a panel turned round does not match."""
    count = max(2, math.ceil(length_mm / _TICK_PITCH_MM))
    return [length_mm * (k + (0.5 if k else 0.35)) / count for k in range(count)]


def _ticks(shared: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Roots and ways inwards."""
    line = shapely.LineString(shared)
    found = []
    for at in _tick_places(line.length):
        root = np.asarray(line.interpolate(at).coords[0])
        ahead = np.asarray(line.interpolate(min(at + 0.5, line.length)).coords[0])
        back = np.asarray(line.interpolate(max(at - 0.5, 0.0)).coords[0])
        along = (ahead - back) / math.dist(ahead, back)
        found.append((root, np.array([-along[1], along[0]]) * _TICK_MM))
    return found
