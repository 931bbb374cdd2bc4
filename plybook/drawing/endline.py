"""A shorter piece of a drop-off run cut by the figures of a longer one: same sides, and a straight
line across them where it ends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from plybook.drawing.outlineruns import to_tape
from plybook.drawing.tapecard import tape_words
from plybook.drawing.tapeplan import TapePlan

_REACH_MM = 60.0  # a line runs on so far to the sides it ends on


@dataclass(frozen=True)
class EndLine:
    """Where a shorter piece ends on the figures of a longer one.

    Attributes:
        ends: the two straight runs that the line joins, each with how far along it from its first
            knot, mm as the tape shows it.
        kept: the knots that stay on the shorter piece.
    """

    ends: tuple[tuple[int, float], tuple[int, float]]
    kept: tuple[int, ...]

    def points_mm(self, plan: TapePlan) -> np.ndarray:
        """(2, 2) the ends of the line, in the frame of the plan."""
        return np.array([_along(plan, run) * at + _start(plan, run) for run, at in self.ends])

    def words(self, plan: TapePlan, unit: str) -> str:
        """How the line is found, in one sentence."""
        name = [knot.name for knot in plan.knots]
        told = []
        for k, at in self.ends:
            run = plan.runs[k]
            a, b = name[run.start], name[run.end]
            told.append(f"{a}\u2013{b}, {tape_words(at, unit, plan.tape_mm)} from {a}")
        kept = ", ".join(name[k] for k in self.kept)
        return f"Cut off from {told[0]}, straight to {told[1]}; keep {kept}."


def end_line(
    plan: TapePlan, longer_mm: np.ndarray, shorter_mm: np.ndarray, room_mm: float
) -> EndLine | None:
    """The line at which a piece ends on the template of another.

    Args:
        plan: figures of the longer piece.
        longer_mm, shorter_mm: (n, 2) the two outlines, in one frame.
        room_mm: how far the shorter outline may come out from its true place.

    Returns:
        The line, or None where the two differ in anything else.
    """
    longer, shorter = shapely.Polygon(longer_mm), shapely.Polygon(shorter_mm)
    if not longer.buffer(room_mm).covers(shorter):
        return None
    own = shorter.exterior.difference(longer.exterior.buffer(room_mm))
    own = shapely.line_merge(own) if own.geom_type == "MultiLineString" else own
    if own.geom_type != "LineString" or own.is_empty:
        return None
    a, b = np.array(own.coords)[[0, -1]]
    size = float(np.hypot(*(b - a)))
    if size <= 2 * room_mm:
        return None
    reach = (b - a) / size * _REACH_MM
    line = shapely.LineString([a - reach, b + reach])
    ends = tuple(_crossed(plan, line))
    if len(ends) != 2 or ends[0][0] == ends[1][0]:
        return None
    found = EndLine((ends[0], ends[1]), ())
    for part in _parts(longer, found.points_mm(plan)):
        if shapely.hausdorff_distance(part.exterior, shorter.exterior, 0.1) <= room_mm:
            near = part.buffer(room_mm)
            stays = near.covers(shapely.points([knot.at_mm for knot in plan.knots]))
            return EndLine(found.ends, tuple(np.flatnonzero(stays).tolist()))
    return None


def _crossed(plan: TapePlan, line: shapely.LineString) -> Iterator[tuple[int, float]]:
    """The straight runs of the outline that a line crosses, and how far along each."""
    for k, run in enumerate(plan.runs):
        if run.kind != "straight" or plan.knots[run.start].ring:
            continue
        ends = np.array([plan.knots[j].at_mm for j in (run.start, run.end)])
        hit = shapely.LineString(ends).intersection(line)
        if hit.geom_type == "Point" and not hit.is_empty:
            at = float(np.hypot(hit.x - ends[0][0], hit.y - ends[0][1]))
            yield k, to_tape(at, plan.tape_mm)


def _parts(longer: shapely.Polygon, line_mm: np.ndarray) -> Iterator[BaseGeometry]:
    """What a line cuts an outline into."""
    way = (line_mm[1] - line_mm[0]) / np.hypot(*(line_mm[1] - line_mm[0]))
    knife = shapely.LineString([line_mm[0] - way, line_mm[1] + way])
    yield from shapely.ops.split(longer, knife).geoms


def _start(plan: TapePlan, run: int) -> np.ndarray:
    return np.array(plan.knots[plan.runs[run].start].at_mm)


def _along(plan: TapePlan, run: int) -> np.ndarray:
    way = np.array(plan.knots[plan.runs[run].end].at_mm) - _start(plan, run)
    return way / np.hypot(*way)
