"""Seams of a core: where they run, and where the tool puts them so that panels fit their sheets.

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
_FITS_EVERY_DEG = 0.5
_WELL_INSIDE_MM = 20.0


@dataclass(frozen=True)
class SeamLine:
    """A seam ready to split with; `line` is in the cut frame, running far past the core.

    `across` is True where the seam crosses the span (panels follow each other root to tip).
    `turn_deg` is the break of the face there, 0 away from kinks. `chosen` marks the tool's own.
    """

    id: str
    line: shapely.LineString
    first: shapely.Polygon  # everything on the first side
    across: bool
    treatment: Treatment
    turn_deg: float = 0.0
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
            return np.vstack([pattern_point(start, face), pattern_point(end, face)])


def pattern_point(point: PointRef, face: Face) -> np.ndarray:
    """A point of the spec in the pattern frame, (2,) mm."""
    if isinstance(point, OnFace):
        return np.asarray(face.to_pattern(np.array([[point.span_mm, point.share]])))[0]
    return np.array([point.x_mm, point.y_mm], dtype=float)


def place_seam(
    seam: Seam,
    face: Face,
    to_cut: ToCut,
    turn_deg: float = 0.0,
    chosen: bool = False,
) -> SeamLine:
    """Carry a seam of the spec into the cut frame and find its first side.

    Args:
        seam: the seam as given.
        to_cut: (n, 2) pattern mm -> (n, 2) cut frame mm, of the face the core lies on.
        turn_deg: break of the face at the seam.
        chosen: True for a seam the tool placed.
    """
    points = seam_points(seam.line, face)
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
    return SeamLine(seam.id, line, first, across, seam.treatment, turn_deg, chosen, seam)


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


# ---------------------------------------------------------------- sizes that fit a sheet


def fits_sheet(
    outline: shapely.Geometry, sheet_mm: tuple[float, float], grain: bool
) -> float | None:
    """Whether a panel goes on a sheet, and how it must be turned.

    Args:
        outline: panel in the cut frame.
        sheet_mm: length along the grain, width.
        grain: True where the panel's x must stay along the grain of the sheet.

    Returns:
        The turn in degrees that fits with most room, or None.
    """
    hull = np.asarray(outline.convex_hull.exterior.coords)[:-1]
    turns = np.array([0.0]) if grain else np.arange(0.0, 180.0, _FITS_EVERY_DEG)
    if not grain:
        step = np.roll(hull, -1, axis=0) - hull
        edge_turns = -np.degrees(np.arctan2(step[:, 1], step[:, 0]))
        turns = np.concatenate([turns, edge_turns % 180.0, (edge_turns + 90.0) % 180.0])
    c, s = np.cos(np.radians(turns)), np.sin(np.radians(turns))
    x = np.outer(c, hull[:, 0]) - np.outer(s, hull[:, 1])
    y = np.outer(s, hull[:, 0]) + np.outer(c, hull[:, 1])
    room = np.minimum(sheet_mm[0] - np.ptp(x, axis=1), sheet_mm[1] - np.ptp(y, axis=1))
    best = int(np.argmax(room))
    return float(turns[best]) if room[best] >= -1e-6 else None


def largest_fit(
    outline: shapely.Geometry, sheets_mm: Sequence[tuple[float, float]], grain: bool
) -> bool:
    """Whether a panel goes on any of the sheets."""
    return any(fits_sheet(outline, sheet, grain) is not None for sheet in sheets_mm)


@dataclass(frozen=True)
class SeamSearch:
    """What the search for seams may do.

    Attributes:
        sheets_mm: sheet sizes at hand (length along the grain, width).
        grain: the grain must follow the reference axis.
        keep_off: pattern geometry the seams stay clear of (hardpoints), or None.
        clear_mm: how far they stay clear.
        reserve_mm: room left round a panel for scarfs and saw cuts.
    """

    sheets_mm: tuple[tuple[float, float], ...]
    grain: bool
    keep_off: shapely.Geometry | None = None
    clear_mm: float = 30.0
    reserve_mm: float = 2.0


def choose_seams(
    region: shapely.Geometry,
    face: Face,
    to_cut: ToCut,
    search: SeamSearch,
    treatment: Treatment,
    fixed: Sequence[SeamLine] = (),
    most: int = 12,
) -> tuple[SeamLine, ...] | None:
    """The fewest seams that bring every panel onto a sheet.

    Rows along the span are tried one, two, three ... at equal shares of the section; within a
    row count the seams across the span are set greedily, each as far out as its panels still
    fit, then evened out. Seams keep clear of hardpoints. The division with the fewest panels
    wins, and of those the one with the least seam length.

    Args:
        region: the core in the cut frame.
        fixed: seams that stand already (kinks, the builder's own).
        most: give up above this many panels in one direction.

    Returns:
        The new seams (maybe none), or None where no such division exists.
    """
    blocks = split_by(region, fixed)
    best: tuple[tuple[int, float], tuple[SeamLine, ...]] | None = None
    span_low, span_high, share_low, share_high = _reach(region, face, to_cut, search)
    for rows in range(1, most + 1):
        if best is not None and rows >= best[0][0]:
            break
        along = _row_seams(rows, share_low, share_high, face, to_cut, search, treatment)
        if along is None:
            continue
        cuts = _greedy_cuts(
            blocks, along, (span_low, span_high), face, to_cut, search, treatment, most
        )
        if cuts is None:
            continue
        seams = along + cuts
        panels = split_by(region, [*fixed, *seams])
        length = sum(region.intersection(s.line).length for s in seams)
        score = (len(panels), length)
        if best is None or score < best[0]:
            best = (score, seams)
    return None if best is None else best[1]


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


def _reach(
    region: shapely.Geometry, face: Face, to_cut: ToCut, search: SeamSearch
) -> tuple[float, float, float, float]:
    """Span and share that the core covers; the cut frame is close enough to the pattern."""
    points = shapely.get_coordinates(region)
    span_share = np.asarray(face.from_pattern(points))
    return (*np.quantile(span_share[:, 0], [0, 1]), *np.quantile(span_share[:, 1], [0, 1]))


def _clear(seam: SeamLine, search: SeamSearch) -> bool:
    return search.keep_off is None or seam.line.distance(search.keep_off) >= search.clear_mm


def _crossing(search: SeamSearch, face: Face) -> list[tuple[float, float]]:
    """Spans where a seam across would run right through a hardpoint; there is no need to place
    it. The cut frame is close enough to the pattern."""
    found = []
    for part in polygons(search.keep_off) if search.keep_off is not None else []:
        spans = np.asarray(face.from_pattern(shapely.get_coordinates(part)))[:, 0]
        low, high = float(spans.min()) + _WELL_INSIDE_MM, float(spans.max()) - _WELL_INSIDE_MM
        if low < high:
            found.append((low, high))
    return found


def _row_seams(
    rows: int,
    low: float,
    high: float,
    face: Face,
    to_cut: ToCut,
    search: SeamSearch,
    treatment: Treatment,
) -> tuple[SeamLine, ...] | None:
    """Seams along the span at equal shares, each moved the least that clears the hardpoints."""
    seams = []
    pitch = (high - low) / rows
    for k in range(1, rows):
        wanted = low + k * pitch
        moves = sorted(np.linspace(-0.3, 0.3, 31), key=lambda m: (abs(m), m))
        for move in moves:
            seam = place_seam(
                Seam(f"L{k}", ShareLine(round(float(wanted + move * pitch), 4)), treatment),
                face,
                to_cut,
                chosen=True,
            )
            if _clear(seam, search):
                seams.append(seam)
                break
        else:
            return None
    return tuple(seams)


def _greedy_cuts(
    blocks: Sequence[shapely.Polygon],
    along: tuple[SeamLine, ...],
    spans: tuple[float, float],
    face: Face,
    to_cut: ToCut,
    search: SeamSearch,
    treatment: Treatment,
    most: int,
) -> tuple[SeamLine, ...] | None:
    """Seams across the span; every stretch between two of them fits in all rows and blocks."""
    rows = [q for b in blocks for q in split_by(b, along)]
    sheets = [(a - search.reserve_mm, b - search.reserve_mm) for a, b in search.sheets_mm]
    cache: dict[float, SeamLine] = {}
    barred = _crossing(search, face)

    def seam_at(at_mm: float) -> SeamLine:
        at_mm = round(at_mm)
        if at_mm not in cache:
            spec_seam = Seam(f"A{at_mm:.0f}", SpanLine(float(at_mm)), treatment)
            cache[at_mm] = place_seam(spec_seam, face, to_cut, chosen=True)
        return cache[at_mm]

    def between(low: float, high: float) -> list[shapely.Polygon]:
        parts = rows
        if low > spans[0]:
            first = seam_at(low).first
            parts = [q for p in parts for q in polygons(p.difference(first))]
        if high < spans[1]:
            first = seam_at(high).first
            parts = [q for p in parts for q in polygons(p.intersection(first))]
        return [p for p in parts if p.area > 1.0]

    def good(low: float, high: float) -> bool:
        return all(largest_fit(p, sheets, search.grain) for p in between(low, high))

    def farthest(low: float, reach: float) -> float | None:
        """The largest end <= low + reach whose stretch fits and whose seam is clear."""
        end = min(low + reach, spans[1])
        if not good(low, end):
            inside, outside = low, end
            while outside - inside > 2.0:
                middle = (inside + outside) / 2
                inside, outside = (middle, outside) if good(low, middle) else (inside, middle)
            end = inside
        if end >= spans[1]:
            return end
        while end > low + 20.0:
            through = [a for a, b in barred if a < round(end) < b]
            if not through and _clear(seam_at(end), search) and good(low, round(end)):
                return float(round(end))
            end -= 5.0
        return None

    def walk(reach: float) -> list[float] | None:
        ends, low = [], spans[0]
        while low < spans[1]:
            end = farthest(low, reach)
            if end is None or len(ends) >= most:
                return None
            ends.append(end)
            low = end
        return ends

    full = spans[1] - spans[0] + 1.0
    best = walk(full)
    if best is None:
        return None
    low, high = full / len(best) * 0.9, full  # even the panels out without adding one
    for _ in range(10):
        middle = (low + high) / 2
        tried = walk(middle)
        if tried is not None and len(tried) == len(best):
            best, high = tried, middle
        else:
            low = middle
    return tuple(seam_at(end) for end in best[:-1])
