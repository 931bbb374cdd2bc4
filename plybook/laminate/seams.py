"""Seams of a core: where they run, and the panels they part it into.

Terms:
    seam line: the joint on the mould side, carried well past the core at both ends.
    first side: the side of a seam towards the root, or for a seam that runs along the span the
        side towards the leading edge (smaller share).
    scarf shift: how far a scarfed joint moves from the mould side to the bag side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.ops

from plybook.laminate.bevel import bevel_run_mm, parallel, polygons
from plybook.laminate.shapes import directed
from plybook.spec.model import (
    OnFace,
    PointLine,
    PointRef,
    Seam,
    ShareLine,
    SpanLine,
    Treatment,
)
from plybook.surface.model import Face

ToCut = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class SeamLine:
    """A seam ready to split with; `line` is in the cut frame, running far past the core.

    `across` is True where the seam crosses the span (panels follow each other root to tip).
    `chosen` marks the tool's own.
    """

    id: str
    line: shapely.LineString
    first: shapely.Polygon  # everything on the first side
    across: bool
    treatment: Treatment
    chosen: bool = False
    source: Seam | None = None  # as the spec says it

    def shifted(self, by_mm: float) -> SeamLine:
        """The seam moved sideways; positive moves it towards its second side."""
        if by_mm == 0:
            return self
        points = np.asarray(self.line.coords)
        middle = (points[len(points) // 2 - 1] + points[len(points) // 2]) / 2
        ahead = points[len(points) // 2] - middle
        left = middle + np.array([-ahead[1], ahead[0]]) / math.hypot(*ahead)
        left_is_first = self.first.contains(shapely.Point(left))
        moved = shapely.LineString(parallel(points, -by_mm if left_is_first else by_mm))
        return replace(self, line=moved, first=_half_like(moved, self.first))

    def scarf_shift_mm(self, thickness_mm: float) -> float:
        """Where the bag side of a scarfed joint lies, measured towards the second side.

        `wide_side` speaks of the panel on the first side; its neighbour is the other way round.
        """
        if self.treatment.kind != "scarf":
            return 0.0
        run = bevel_run_mm(thickness_mm, self.treatment.angle_deg)
        return -run if self.treatment.wide_side == "mould" else run


def seam_points(line: SpanLine | ShareLine | PointLine, face: Face) -> np.ndarray:
    """The (n, 2) pattern points of a seam as the spec gives it, mm."""
    match line:
        case SpanLine(at_mm=at):
            return np.asarray(face.span_line(at), dtype=float)
        case ShareLine(at_share=share):
            return np.asarray(face.share_line(share), dtype=float)
        case PointLine(start=start, end=end):
            return directed(np.vstack([pattern_point(start, face), pattern_point(end, face)]))


def pattern_point(point: PointRef, face: Face) -> np.ndarray:
    """A point of the spec in the pattern frame, (2,) mm."""
    if isinstance(point, OnFace):
        return np.asarray(face.to_pattern(np.array([[point.span_mm, point.share]])))[0]
    return np.array([point.x_mm, point.y_mm], dtype=float)


def place_seam(
    seam: Seam,
    face: Face,
    to_cut: ToCut,
    chosen: bool = False,
    line_mm: np.ndarray | None = None,
) -> SeamLine:
    """Carry a seam of the spec into the cut frame and find its first side.

    Args:
        seam: the seam as given.
        to_cut: (n, 2) pattern mm -> (n, 2) cut frame mm, of the face the core lies on.
        chosen: True for a seam the tool placed.
        line_mm: (n, 2) where it runs on the pattern, if not where its own words have it.
    """
    points = seam_points(seam.line, face) if line_mm is None else line_mm
    middle = points[len(points) // 2] if len(points) > 2 else points.mean(axis=0)
    run = points[-1] - points[0]
    across = (
        isinstance(seam.line, SpanLine)
        if not isinstance(seam.line, PointLine)
        else abs(run[1]) >= abs(run[0])
    )
    normal = np.array([-run[1], run[0]]) / math.hypot(*run)
    sides = np.vstack([middle + normal, middle - normal])
    measure = sides[:, 0] if across else np.asarray(face.from_pattern(sides))[:, 1]
    towards_first = sides[int(np.argmin(measure))]

    line = shapely.LineString(to_cut(points)).simplify(0.002)
    reach = 4 * _extent(face)
    line = _carried_past(line, reach)
    mark = shapely.Point(np.asarray(to_cut(towards_first[None]))[0])
    first = _half_with(line, mark)
    return SeamLine(seam.id, line, first, across, seam.treatment, chosen, seam)


def _extent(face: Face) -> float:
    x, y = face.outline_mm.T
    return math.hypot(x.max() - x.min(), y.max() - y.min())


def _carried_past(line: shapely.LineString, by_mm: float) -> shapely.LineString:
    points = np.asarray(line.coords)
    head, tail = points[0] - points[1], points[-1] - points[-2]
    return shapely.LineString(
        np.vstack(
            [
                points[0] + head / np.linalg.norm(head) * by_mm,
                points,
                points[-1] + tail / np.linalg.norm(tail) * by_mm,
            ]
        )
    )


def _halves(line: shapely.LineString) -> list[shapely.Polygon]:
    """The two sides of a long line, as polygons inside a box that the line crosses."""
    ends = np.asarray(line.coords)[[0, -1]]
    # a line at 45 degrees reaches 0.35 of its length to either side of its middle
    middle, half = ends.mean(axis=0), 0.3 * float(np.linalg.norm(ends[1] - ends[0]))
    box = shapely.box(*(middle - half), *(middle + half))
    parts = shapely.ops.polygonize(shapely.union_all([box.boundary, line]))
    return sorted(parts, key=lambda p: -p.area)[:2]


def _half_with(line: shapely.LineString, mark: shapely.Point) -> shapely.Polygon:
    return min(_halves(line), key=lambda p: p.distance(mark))


def _half_like(line: shapely.LineString, like: shapely.Polygon) -> shapely.Polygon:
    return max(_halves(line), key=lambda p: p.intersection(like).area)


def split_by(region: shapely.Geometry, seams: Sequence[SeamLine]) -> list[shapely.Polygon]:
    """The parts of a region between seams, dust dropped."""
    parts = polygons(region)
    for seam in seams:
        parts = [
            q
            for p in parts
            for side in (p.intersection(seam.first), p.difference(seam.first))
            for q in polygons(side)
            if q.area > 1.0
        ]
    return parts
