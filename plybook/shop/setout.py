"""What is marked on the mould face before a stage begins, by tape, marker and batten.

Every point to be marked has a number and is told by ties: distances along a line that is marked
already, or square to it. All of them are measured on the flat pattern, the scale of the templates
and corner tables; on a developable face that is what a tape laid on the face shows.

Terms:
    row: a station line from the first long edge to the last; the end rows are net edges.
    outline: a line to be drawn: of a core, an opening, an insert or a bond land, without what
        runs along the net line.
    string: the straight line between two marks, which a bowed line is offset from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from plybook.geometry.offsets import offset_mm
from plybook.laminate.model import Laminate
from plybook.shop.setout_lines import (
    BOW_MM,
    NET,
    Corner,
    Outline,
    Role,
    circle_of,
    corners_of,
    layer_of,
    net_outline,
    outlines,
)
from plybook.spec.model import PartSpec
from plybook.surface.model import Face, FaceEdge
from plybook.units import MM_PER_INCH

AXIS, BASE, SQUARE = "axis", "base line", "square line"
SIDES = {SQUARE: ("along 0°", "left of"), BASE: ("above", "below")}  # usual, and beyond the line
ON_LINE_MM = 0.5  # two points that lie closer are one mark
_ON_ROW_MM = 0.05
_MOST_PLACES = 8  # of one bow
_STEPS = {
    "mm": (50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0),
    "in": tuple(MM_PER_INCH * n for n in (2, 4, 6, 12, 24, 48, 96)),
}


@dataclass(frozen=True)
class Line:
    """Something to measure along or square to; it starts where the tape does. Pattern mm."""

    name: str
    points_mm: np.ndarray  # (n, 2)


@dataclass(frozen=True)
class Tie:
    """`way`: along the line from its start, square to it, across a circle, or the radius at which
    the corner is rounded (neither has a line); `side` of the line, in words, for one that is square
    to it."""

    way: Literal["along", "square", "across", "radius"]
    line: str
    mm: float
    side: str = ""


@dataclass(frozen=True)
class SetMark:
    """A point to be marked.

    Attributes:
        row: the station line that it lies on, "".
        outline: place in `SetOut.outlines` of the line that it is of, -1.
    """

    number: int
    role: Role
    of: str
    row: str
    outline: int
    at_mm: tuple[float, float]
    ties: tuple[Tie, ...]


@dataclass(frozen=True)
class Diagonal:
    """Straight from mark to mark."""

    of: str
    start: int
    end: int
    mm: float


@dataclass(frozen=True)
class Bow:
    """Offsets of a line from the string between two marks, at distances from the first."""

    line: str
    start: int
    end: int
    at_mm: tuple[float, ...]
    offsets_mm: tuple[float, ...]  # positive on the left of the string
    sides: tuple[str, str]  # the left of the string in words, and its right


@dataclass(frozen=True)
class LeftOut:
    """A layer whose outlines the set-out leaves out, `THE_FACE` for openings of the face, "" for
    all of the set-out; and why, in words."""

    of: str
    why: str


@dataclass(frozen=True)
class SetOut:
    """`rows`: names of the lines across, from root to tip; none on a flat face. `tolerance_mm`:
    a diagonal that is off by more is not to be worked by. `strain_pct`: what a tape on the face
    may show more or less where it cannot be laid flat."""

    flat: bool
    rows: tuple[str, ...]
    lines: tuple[Line, ...]
    outlines: tuple[Outline, ...]
    marks: tuple[SetMark, ...]
    diagonals: tuple[Diagonal, ...]
    bows: tuple[Bow, ...]
    tolerance_mm: float
    strain_pct: float
    left_out: tuple[LeftOut, ...] = ()

    @property
    def empty(self) -> bool:
        """Whether all of it is left out."""
        return any(not one.of for one in self.left_out)


def set_out(
    spec: PartSpec, face: Face, laminate: Laminate, left_out: Sequence[LeftOut] = ()
) -> SetOut:
    """The set-out of the mould face of a part.

    Args:
        spec: for the unit of its tape and which films are pulled off later.
        face: the mould face.
        laminate: where cores, inserts and bond lands lie on it.
        left_out: what it is not to show.
    """
    less = {one.of for one in left_out}
    if "" in less:
        return SetOut(face.flat, (), (), (), (), (), (), 0.0, 0.0, tuple(left_out))
    drawn = tuple(x for x in outlines(spec, face, laminate) if layer_of(x) not in less)
    if face.station_lines:
        found = _stationed(face, drawn, spec.part.units)
    else:
        found = _flat(face, (net_outline(face), *drawn))
    return replace(found, left_out=tuple(left_out))


def tolerance_mm(diagonals: Sequence[Diagonal], strain_pct: float = 0.0) -> float:
    """How far a diagonal may be off: 1 mm in each metre of the longest, at least 2 mm, and what
    the face is strained when it is laid flat; to the millimetre above.

    Source: common practice, no source.
    """
    longest = max((d.mm for d in diagonals), default=0.0)
    return float(np.ceil(max(2.0, longest / 1000.0) + longest * strain_pct / 100.0 - 1e-9))


# ---------------------------------------------------------------- a face through stations


class _Marks:
    """Marks numbered in the order in which they come."""

    def __init__(self) -> None:
        self.all: list[SetMark] = []

    def add(
        self, role: Role, of: str, row: str, at: np.ndarray, ties: Sequence[Tie], outline: int = -1
    ) -> SetMark:
        spot = (float(at[0]), float(at[1]))
        self.all.append(SetMark(len(self.all) + 1, role, of, row, outline, spot, tuple(ties)))
        return self.all[-1]


def _stationed(face: Face, drawn: tuple[Outline, ...], unit: str) -> SetOut:
    first, last = _long_edges(face)
    edges = (_towards_tip(first, face), _towards_tip(last, face))
    rows = [Line(s.label, np.asarray(s.points_mm, float)) for s in face.station_lines]
    axis = Line(AXIS, np.asarray(face.axis_mm, float))
    marks = _Marks()
    ties: tuple[Tie, ...]
    for row in rows:
        for at in _crossings(row.points_mm, _past(axis.points_mm)):
            on_axis = Tie("along", AXIS, float(at[0] - axis.points_mm[0, 0]) + 0.0)
            marks.add("axis", AXIS, row.name, at, (_along(row, at), on_axis))
    for row in rows:
        for edge, end in zip(edges, (0, -1), strict=True):
            at = row.points_mm[end]
            ties = (_along(edge, at), _along(row, at)) if end else (_along(edge, at),)
            marks.add("net line", edge.name, row.name, at, ties)
    net = {(m.row, m.of): m for m in marks.all if m.role == NET}
    for k, outline in enumerate(drawn):
        round_ = circle_of(outline)
        if round_ is not None:
            ties = (*_squares(round_[0], rows, edges, axis), Tie("across", "", round_[1]))
            marks.add(outline.role, outline.of, "", round_[0], ties, k)
        for corner, on in () if round_ is not None else _points_of(outline, rows):
            if on is not None:
                ties = (_along(on, corner.at_mm),)
            else:
                ties = (*_squares(corner.at_mm, rows, edges, axis), *_radius(corner))
            name = "" if on is None else on.name
            marks.add(outline.role, outline.of, name, corner.at_mm, ties, k)
    diagonals = [
        _diagonal(f"{a.name} to {b.name}", net[a.name, one.name], net[b.name, other.name])
        for a, b in zip(rows, rows[1:], strict=False)
        for one, other in (edges, edges[::-1])
    ]
    bows = [*_bows_of_edges(edges, rows, net, unit), *_bows_of_rows(edges, rows, net, axis, unit)]
    strained = (face.strain.largest_tension_pct, face.strain.largest_compression_pct)
    worst = 0.0 if face.strain.developable else float(max(map(abs, strained)))
    return SetOut(
        False, tuple(r.name for r in rows), (*edges, *rows, axis), drawn, tuple(marks.all),
        tuple(diagonals), tuple(bows), tolerance_mm(diagonals, worst), worst,
    )  # fmt: skip


def _along(line: Line, at: np.ndarray) -> Tie:
    return Tie("along", line.name, along_mm(line.points_mm, at))


def _radius(corner: Corner) -> tuple[Tie, ...]:
    return (Tie("radius", "", corner.radius_mm),) if corner.radius_mm else ()


def _long_edges(face: Face) -> tuple[FaceEdge, FaceEdge]:
    """The edges on which the stations start and end."""
    root, tip = (np.asarray(face.station_lines[k].points_mm, float) for k in (0, -1))

    def between(one: np.ndarray, other: np.ndarray) -> FaceEdge:
        def off(edge: FaceEdge) -> float:
            start, end = np.asarray(edge.points_mm, float)[[0, -1]]
            there = np.hypot(*(start - one)) + np.hypot(*(end - other))
            return float(min(there, np.hypot(*(start - other)) + np.hypot(*(end - one))))

        return min(face.edges, key=off)

    return between(root[0], tip[0]), between(root[-1], tip[-1])


def _towards_tip(edge: FaceEdge, face: Face) -> Line:
    points = np.asarray(edge.points_mm, float)
    root = np.asarray(face.station_lines[0].points_mm, float)
    ends = [min(np.hypot(*(root - end).T)) for end in points[[0, -1]]]
    return Line(edge.name, points if ends[0] <= ends[1] else points[::-1])


def _past(line: np.ndarray) -> np.ndarray:
    """A straight line carried on past both ends, so that it crosses the rows there too."""
    way = line[-1] - line[0]
    return np.array([line[0] - way, line[-1] + way])


def _points_of(outline: Outline, rows: Sequence[Line]) -> Iterator[tuple[Corner, Line | None]]:
    """The marks of an outline in its own order, each with the row it lies on: its corners and
    where rows cross it."""
    line = outline.points_mm
    whole = np.vstack([line, line[:1]]) if outline.closed else line
    found: list[tuple[float, Corner, Line | None]] = []
    for row in rows:
        for at in _crossings(whole, row.points_mm):
            found.append((along_mm(whole, at), Corner(at), row))
    for corner in corners_of(outline):
        gaps = [np.hypot(*(corner.at_mm - other.at_mm)) for _, other, _ in found]
        if not corner.radius_mm and min(gaps, default=np.inf) < ON_LINE_MM:
            continue
        on = next((r for r in rows if _far(r, corner.at_mm) < _ON_ROW_MM), None)
        on = None if corner.radius_mm else on
        found.append((along_mm(whole, corner.at_mm), corner, on))
    found.sort(key=lambda f: round(f[0], 6))
    if not any(corner.radius_mm for _, corner, _ in found):
        found = _needed(found, outline, whole)
    yield from ((corner, row) for _, corner, row in found)


def _needed(found, outline: Outline, whole: np.ndarray) -> list:
    """Marks without the corners beside which others do as well: without them the outline leaves
    the straight lines from mark to mark by no more than it may."""
    steps = np.hypot(*np.diff(whole, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    kept = list(found)
    for one in found:
        k = kept.index(one)
        inner = outline.closed or 0 < k < len(kept) - 1
        if one[2] is not None or not inner or len(kept) <= 3:
            continue
        (start, a, _), (end, b, _) = kept[k - 1], kept[(k + 1) % len(kept)]
        between = (along > start) & (along < end)
        if start > end:
            between = (along > start) | (along < end)
        chord = shapely.LineString([a.at_mm, b.at_mm])
        spots = shapely.points(np.vstack([whole[between], one[1].at_mm]))
        if shapely.distance(spots, chord).max() <= outline.within_mm:
            kept.pop(k)
    return kept


def _crossings(line: np.ndarray, other: np.ndarray) -> list[np.ndarray]:
    """Where two lines cross, in the order along the first."""
    met = shapely.intersection(shapely.LineString(line), shapely.LineString(other))
    spots = [np.asarray(p.coords)[0, :2] for p in getattr(met, "geoms", [met])
             if p.geom_type == "Point" and not p.is_empty]  # fmt: skip
    spots.sort(key=lambda p: along_mm(line, p))
    return [p for k, p in enumerate(spots)
            if not k or np.hypot(*(p - spots[k - 1])) > _ON_ROW_MM]  # fmt: skip


def along_mm(line: np.ndarray, at: np.ndarray) -> float:
    """How far along a line (n, 2) the point nearest to another lies, mm from its start."""
    return float(shapely.LineString(line).project(shapely.Point(at)))


def _far(line: Line, at: np.ndarray) -> float:
    return float(shapely.LineString(line.points_mm).distance(shapely.Point(at)))


def _squares(
    at: np.ndarray, rows: Sequence[Line], edges: Sequence[Line], axis: Line
) -> tuple[Tie, Tie]:
    """A point's distances square to the nearest row and to the nearest long edge."""

    def tie(line: Line) -> Tie:
        off = offset_mm(line.points_mm, at)
        left, right = _sides_of(line, axis, edges)
        return Tie("square", line.name, abs(off), left if off > 0 else right)

    return tie(min(rows, key=lambda r: _far(r, at))), tie(min(edges, key=lambda e: _far(e, at)))


def _sides_of(line: Line, axis: Line, edges: Sequence[Line]) -> tuple[str, str]:
    """What lies on the left of a line and on its right, in words."""
    if line in edges:
        other = edges[1] if line is edges[0] else edges[0]
        inwards = offset_mm(line.points_mm, other.points_mm[len(other.points_mm) // 2]) > 0
        return ("inside", "outside") if inwards else ("outside", "inside")
    start, tip = (offset_mm(line.points_mm, end) for end in axis.points_mm[[0, -1]])
    return ("tipward", "rootward") if tip - start > 0 else ("rootward", "tipward")


def _diagonal(of: str, start: SetMark, end: SetMark) -> Diagonal:
    way = np.subtract(start.at_mm, end.at_mm)
    return Diagonal(of, start.number, end.number, float(np.hypot(*way)))


# ---------------------------------------------------------------- bows


def _bows_of_edges(edges, rows, net, unit: str) -> Iterator[Bow]:
    """Of each long edge from row to row."""
    for edge in edges:
        sides = _sides_of(edge, edge, edges)
        for a, b in zip(rows, rows[1:], strict=False):
            start, end = net[a.name, edge.name], net[b.name, edge.name]
            yield from _bow(edge, start, end, sides, unit)


def _bows_of_rows(edges, rows, net, axis: Line, unit: str) -> Iterator[Bow]:
    """Of each row from edge to edge."""
    for row in rows:
        start, end = (net[row.name, edge.name] for edge in edges)
        yield from _bow(row, start, end, _sides_of(row, axis, edges), unit)


def _bow(
    line: Line, start: SetMark, end: SetMark, sides: tuple[str, str], unit: str
) -> Iterator[Bow]:
    a, b = np.array(start.at_mm), np.array(end.at_mm)
    size = float(np.hypot(*(b - a)))
    if size < 1.0:
        return
    way = (b - a) / size
    from_a = line.points_mm - a
    x, y = from_a @ way, way[0] * from_a[:, 1] - way[1] * from_a[:, 0]
    on = (x > -BOW_MM) & (x < size + BOW_MM)
    on &= x >= np.maximum.accumulate(np.where(on, x, -np.inf))
    if not on.any() or np.abs(y[on]).max() <= BOW_MM:
        return
    step = next((s for s in _STEPS[unit] if size / s <= _MOST_PLACES), _STEPS[unit][-1])
    at = np.arange(1, int((size - 1.0) // step) + 1) * step
    if not len(at):
        at = np.array([size / 2])
    offs = np.interp(at, x[on], y[on])
    yield Bow(line.name, start.number, end.number, tuple(map(float, at)),
              tuple(map(float, offs)), sides)  # fmt: skip


# ---------------------------------------------------------------- a flat face


def _flat(face: Face, drawn: tuple[Outline, ...]) -> SetOut:
    """Every point by x from a line square to 0 degrees and y from a line along it, both touching
    the net line."""
    ring = np.asarray(face.outline_mm, float)
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    level = float(face.axis_mm[0, 1])
    lines = (
        Line(BASE, np.array([(x0, y0), (x1, y0)])),
        Line(SQUARE, np.array([(x0, y1), (x0, y0)])),
        Line(AXIS, np.array([(x0, level), (x1, level)])),
    )
    marks = _Marks()

    def ties(at: np.ndarray) -> tuple[Tie, Tie]:
        along, up = float(at[0] - x0), float(at[1] - y0)  # less than 0 before a corner is rounded
        return (Tie("square", SQUARE, abs(along), SIDES[SQUARE][along < -_ON_ROW_MM]),
                Tie("square", BASE, abs(up), SIDES[BASE][up < -_ON_ROW_MM]))  # fmt: skip

    if y0 + ON_LINE_MM < level <= y1:  # else the base line gives 0 degrees
        for end in lines[2].points_mm:
            marks.add("axis", AXIS, "", end, ties(end))
    diagonals: list[Diagonal] = []
    for k, outline in enumerate(drawn):
        round_ = circle_of(outline)
        if round_ is not None:
            across = Tie("across", "", round_[1])
            marks.add(outline.role, outline.of, "", round_[0], (*ties(round_[0]), across), k)
            continue
        own = [
            marks.add(outline.role, outline.of, "", c.at_mm, (*ties(c.at_mm), *_radius(c)), k)
            for c in corners_of(outline)
        ]
        if outline.closed and outline.role != "opening":
            diagonals += _across(outline.of, own)
    return SetOut(True, (), lines, drawn, tuple(marks.all), tuple(diagonals), (),
                  tolerance_mm(diagonals), 0.0)  # fmt: skip


def _across(of: str, marks: Sequence[SetMark]) -> Iterator[Diagonal]:
    """The two diagonals between the marks furthest out towards the corners of their box."""
    at = np.array([mark.at_mm for mark in marks])
    size = np.maximum(np.ptp(at, axis=0), 1e-9)
    ends = [int(np.argmax(np.round((at / size) @ way, 6)))
            for way in ((-1, -1), (1, 1), (1, -1), (-1, 1))]  # fmt: skip
    if len(set(ends)) == 4:
        yield _diagonal(of, marks[ends[0]], marks[ends[1]])
        yield _diagonal(of, marks[ends[2]], marks[ends[3]])
