"""A flat outline read from a table of points, one to a row, in the order they are walked.

The columns are parted by commas, semicolons, tabs or spaces. A first row of words names them, in
any order, and may hold the unit: `x (mm), y (mm)`. Without one there are two columns, x and y. A
cell holds a number or any length of the language. Lines that are empty or begin with # are passed
over; the last point may repeat the first.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import Finding, Place, SpecError, error
from plybook.spec.collect import Collector
from plybook.spec.flat_face import holes_in
from plybook.spec.gather import Folder
from plybook.spec.model import OutlineMould
from plybook.spec.named_sides import named_sides
from plybook.spec.outlines import clean, crossing, edges_of
from plybook.spec.quantities import LONGEST, Wrong, length_of
from plybook.spec.reader import Scalar, decode
from plybook.spec.written.mould import ListedMould
from plybook.units import mm

_UNITS = {"mm": "mm", "cm": "cm", "m": "m", "in": "in", "inch": "in", "inches": "in", '"': "in",
          "ft": "ft", "feet": "ft"}  # fmt: skip
_HEADING = re.compile(
    rf"([a-z]+)[\s_]*[(\[/]?\s*({'|'.join(_UNITS)})?\s*[)\]]?", re.IGNORECASE | re.ASCII
)
_HELP = "give each point a row with x and y, such as 300, 200"
MOST_BAD = 10  # rows that are told of one by one


@dataclass(frozen=True)
class _Row:
    """One row that holds something: where it stands and its cells, each with its own place."""

    place: Place
    cells: tuple[Scalar, ...]


@dataclass(frozen=True)
class _Columns:
    """Which columns are x and y (z: -1 where there is none), and the unit the first row gives."""

    x: int
    y: int
    z: int
    count: int
    units: str | None


def read_points(w: ListedMould, folder: Folder, out: Collector) -> OutlineMould | None:
    """The face that a table of points walks round.

    Returns:
        The face; None where the outline is wrong (the findings say how).

    Raises:
        SpecError: the file cannot be read, or rows of it hold no point.
    """
    file = folder.shown(w.csv)
    place = w.place_of("csv")
    lines = _lines(decode(folder.read(w.csv, place), file))
    if len(lines) > out.limits["outline-points"] + 1:  # one may hold the headings
        why = out.limits.why("outline-points")
        raise SpecError(error("too-many", f"`{w.csv}` holds {len(lines)} points", why, place))
    rows = _rows(lines, file)
    if not rows:
        raise SpecError(error("bad-points", f"`{w.csv}` holds no points", _HELP, place))
    columns = _columns(rows[0], place)
    rows = rows if columns.units is None and _is_point(rows[0]) else rows[1:]
    if len(rows) > out.limits["outline-points"]:
        why = out.limits.why("outline-points")
        raise SpecError(error("too-many", f"`{w.csv}` holds {len(rows)} points", why, place))
    units = _units(columns, w, place)
    points, faults = _points(rows, columns, units)
    if faults:
        raise SpecError(faults)
    if len(points) > 1 and math.dist(points[0], points[-1]) < 1e-6:
        points, rows = points[:-1], rows[:-1]  # closed by hand
    if not _is_outline(points, rows, w, out):
        return None
    if columns.z >= 0:
        _warn_of_heights(rows, columns, units, w, out)
    ring, _ = clean(points, [""] * len(points))
    holes = holes_in(ring, w, out)
    return OutlineMould(ring, holes, edges_of(named_sides(ring, w, out)), w.here)


_MOST_PARTS = 200  # of a row; x, y and what else a drawing program lists


def _lines(text: str) -> list[tuple[int, str]]:
    """The lines that hold something, with their numbers."""
    return [
        (n, line)
        for n, line in enumerate(re.split("\r\n|\r|\n", text), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]


def _rows(lines: Sequence[tuple[int, str]], file: str) -> list[_Row]:
    first = lines[0][1] if lines else ""
    mark = next((m for m in (";", "\t", ",") if m in first), None)
    rows = []
    for number, line in lines:
        cells, column = [], 1
        parts = line.split(mark) if mark else re.split(r"(\s+)", line)
        if len(parts) > _MOST_PARTS:
            raise SpecError(
                error(
                    "bad-points",
                    f"a row with {len(parts)} columns and gaps between them",
                    _HELP,
                    Place(file, number, 1, len(line) + 1),
                )
            )
        for text in parts:
            bare = text.strip()
            at = column + (text.find(bare) if bare else 0)
            if bare or mark:
                place = Place(file, number, at, at + len(bare))
                cells.append(Scalar(bare.strip('"').strip(), place))
            column += len(text) + (1 if mark else 0)
        while cells and cells[-1] == "":
            cells.pop()
        rows.append(_Row(Place(file, number, 1, len(line) + 1), tuple(cells)))
    return rows


def _is_point(row: _Row) -> bool:
    """Whether a row begins with two lengths; one that does not is the row of headings."""
    try:
        return [length_of(cell, "mm") for cell in row.cells[:2]] != []
    except Wrong as no:
        return no.code != "not-a-length"


def _columns(first: _Row, place: Place) -> _Columns:
    if _is_point(first):
        if len(first.cells) != 2:
            raise SpecError(
                error(
                    "bad-points",
                    f"the first row has {len(first.cells)} columns and no headings",
                    "write a first row that names them, such as x,y,z",
                    first.place,
                    place,
                )
            )
        return _Columns(0, 1, -1, 2, None)
    found: dict[str, tuple[int, str | None]] = {}
    for n, cell in enumerate(first.cells):
        if match := _HEADING.fullmatch(cell) if len(cell) <= LONGEST else None:
            found.setdefault(match[1].lower(), (n, match[2] and _UNITS[match[2].lower()]))
    for name in "xy":
        if name not in found:
            raise SpecError(
                error(
                    "bad-points",
                    f"no column of the first row is called {name}",
                    "call two columns x and y, with the unit behind: x (mm), y (mm)",
                    first.place,
                    place,
                )
            )
    (x, unit_x), (y, unit_y) = found["x"], found["y"]
    if unit_x and unit_y and unit_x != unit_y:
        raise SpecError(
            error(
                "bad-points",
                f"x is in {unit_x} and y in {unit_y}",
                "give both in one unit",
                first.cells[x].place,
                first.cells[y].place,
            )
        )
    return _Columns(x, y, found.get("z", (-1, None))[0], len(first.cells), unit_x or unit_y)


def _units(columns: _Columns, w: ListedMould, place: Place) -> str:
    said = columns.units
    if said and w.csv_units and said != w.csv_units:
        raise SpecError(
            error(
                "bad-points",
                f"the first row of `{w.csv}` says {said}, `csv_units` says {w.csv_units}",
                "keep the one that is right",
                w.place_of("csv_units"),
            )
        )
    unit = w.csv_units or said
    if unit is None:
        raise SpecError(
            error(
                "no-units",
                f"`{w.csv}` does not say its unit",
                "add `csv_units: mm`, or write it into its first row: x (mm), y (mm)",
                place,
            )
        )
    return unit


def _points(
    rows: Sequence[_Row], columns: _Columns, units: str
) -> tuple[np.ndarray, list[Finding]]:
    """The points in mm, and a finding for each row that holds none (the first ones of many)."""
    points, faults = [], []
    for row in rows:
        if len(row.cells) != columns.count:
            doubled = len(row.cells) == 2 * columns.count
            faults.append(
                error(
                    "bad-points",
                    f"expected {columns.count} columns in this row, found {len(row.cells)}",
                    "use a decimal point, not a comma" if doubled else _HELP,
                    row.place,
                )
            )
            continue
        point = []
        for name, column in (("x", columns.x), ("y", columns.y)):
            cell = row.cells[column]
            try:
                point.append(length_of(cell, units))
            except Wrong as wrong:
                message = wrong.message.replace("{key}", name)
                faults.append(error(wrong.code, message, wrong.help, cell.place))
        points.append(point)
    if len(faults) > MOST_BAD:
        more = f"{len(faults) - MOST_BAD} more rows hold no point"
        faults = [*faults[:MOST_BAD], error("bad-points", more, _HELP, faults[MOST_BAD].places[0])]
    return (np.empty((0, 2)) if faults else np.array(points).reshape(-1, 2)), faults


def _is_outline(points: np.ndarray, rows: Sequence[_Row], w: ListedMould, out: Collector) -> bool:
    """Whether the points make a ring; what is wrong is said at the rows it is about."""
    place = w.place_of("csv")
    if len(points) < 3:
        out.error("outline-too-short", f"`{w.csv}` holds {len(points)} points, expected 3 or more",
                  "list every corner of the outline", place)  # fmt: skip
        return False
    most = float(np.abs(points).max())
    if most > out.limits["part-mm"]:
        row = rows[int(np.abs(points).max(axis=1).argmax())].place
        out.error("out-of-range", f"a coordinate of {mm(most):g}", out.limits.why("part-mm"), row)
        return False
    step = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    for n in np.flatnonzero(step < 1e-6).tolist():
        out.error("repeated-point", "this point is the same as the one before", "delete the row",
                  rows[n].place, rows[n - 1].place)  # fmt: skip
        return False
    if fault := crossing(points):
        where = [rows[n].place for n in fault.sides] if fault.sides else [place]
        out.error("outline-crosses-itself", fault.message,
                  "list the points in the order they are walked", *where)  # fmt: skip
        return False
    return True


def _warn_of_heights(
    rows: Sequence[_Row], columns: _Columns, units: str, w: ListedMould, out: Collector
) -> None:
    try:
        heights = [length_of(row.cells[columns.z], units) for row in rows]
    except Wrong:
        heights = [0.0]
    if (most := max(heights) - min(heights)) > 0.1:
        out.warning(
            "left-out",
            f"the heights z in `{w.csv}` differ by {mm(most):.3g} and are not read",
            "a flat face has one height; give a curved one by its stations",
            w.place_of("csv"),
        )
