"""The set-out of the mould face: its picture with numbered marks, and the page that tells them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from plybook.drawing.aroundpart import edge_names, station_labels
from plybook.drawing.document import (
    Block,
    CautionBox,
    Heading,
    Items,
    Page,
    Paragraph,
    Picture,
    Table,
)
from plybook.drawing.frame import Box, cropped, fit_across
from plybook.drawing.letters import text_box_mm, text_width_mm
from plybook.drawing.locate import edge_name
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import NOTE_MM
from plybook.shop.setout import AXIS, SIDES, Bow, Diagonal, SetMark, SetOut, Tie
from plybook.shop.setout_lines import BOW_MM, NET
from plybook.surface.model import Face
from plybook.units import STIFF, show_figure, show_length

WIDTH_MM, LARGEST_MM = 180.0, 72.0
_FOOT_MM, _SIDE_MM, _DOT_MM = 14.0, 18.0, 0.55
_NAME_OUT_MM = 6.5  # names of root and tip, to leave room for numbers
_NEAR_MM = (2.6, 3.8, 5.4, 7.5, 10.0, 13.0)  # of a number from its dot
_PAD_MM = 0.5
_LEADER_MM = 2.7  # a number further off has a line to its dot
_ROLES = {NET: Role.NET, "core outline": Role.CORE_EDGE, "insert": Role.CUT_INNER,
          "opening": Role.CUT_INNER, "bond land": Role.ZONE}  # fmt: skip
_FILLS = {"core outline": "core", "insert": "insert", "opening": "white"}
CAUTION = (
    "Try the marker under your wax and resin on the flange first: some markers print through, "
    "spoil the release or weaken a bond. Draw lightly, never scribe the face, and lift tape and "
    "batten instead of dragging them."
)


def setout_picture(face: Face, setout: SetOut) -> Scene:
    """The face laid flat, from the bag side, with every line and numbered mark to be drawn.

    Returns:
        A scene 180 mm wide in paper millimetres.
    """
    ring = np.asarray(face.outline_mm, float)
    frame, tall = fit_across(ring, WIDTH_MM, _SIDE_MM, _FOOT_MM, LARGEST_MM)
    lines = [(x, frame.put(x.points_mm)) for x in setout.outlines]
    items: list[Primitive] = [Path(Role.FILL, frame.put(ring), True, "face")]
    items += [
        Path(Role.FILL, drawn, True, _FILLS[x.role])
        for x, drawn in lines
        if x.closed and x.role in _FILLS
    ]
    items.append(Path(Role.FACE, frame.put(ring), True))
    items += [Path(_ROLES[x.role], drawn, x.closed) for x, drawn in lines]
    items += [Path(Role.STATION, frame.put(s.points_mm)) for s in face.station_lines]
    axis = next(line for line in setout.lines if line.name == AXIS)
    items.append(Path(Role.AXIS, frame.put(axis.points_mm)))
    names = [_outwards(text) for text in edge_names(frame, None, face, WIDTH_MM)]
    names += station_labels(frame, None, face, WIDTH_MM)
    spots = [frame.put(np.array([mark.at_mm]))[0] for mark in setout.marks]
    items += [Circle(Role.DATUM, (float(x), float(y)), _DOT_MM, "ink") for x, y in spots]
    items += names
    taken = [_box(text_box_mm(name)) for name in names]
    taken += [(x - _DOT_MM, y - _DOT_MM, x + _DOT_MM, y + _DOT_MM) for x, y in spots]
    for mark, spot in zip(setout.marks, spots, strict=True):
        items += _number(mark.number, spot, taken)
    height = 2 * _FOOT_MM + tall
    return cropped(Scene(tuple(items), (0.0, 0.0, WIDTH_MM, height), "Set-out of the mould"))


def _outwards(name: Text) -> Text:
    """The name of an edge, further off at the ends of the part."""
    if not name.turn_deg:
        return name
    x, y = name.at_mm
    return replace(name, at_mm=(x + (_NAME_OUT_MM if x > WIDTH_MM / 2 else -_NAME_OUT_MM), y))


def _box(corners_mm: np.ndarray) -> Box:
    return (*corners_mm.min(axis=0), *corners_mm.max(axis=0))


def _number(number: int, spot: np.ndarray, taken: list[Box]) -> Iterator[Primitive]:
    """A mark's number where room for it is, with a line to its dot from further off; none where
    there is no room at all.

    Args:
        taken: boxes that other words and dots take; that of the number is added.
    """
    turns = np.radians(np.arange(45.0, 405.0, 22.5))
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    half = np.array([text_width_mm(str(number), NOTE_MM, True), NOTE_MM]) / 2 + _PAD_MM
    boxes = np.array(taken)
    near = boxes[(np.abs((boxes[:, :2] + boxes[:, 2:]) / 2 - spot) < 40.0).all(axis=1)]
    for far in _NEAR_MM:
        low, high = spot + far * ways - half, spot + far * ways + half
        free = (low[:, 0] > 0) & (high[:, 0] < WIDTH_MM)
        hit = (low[:, None] < near[None, :, 2:]) & (high[:, None] > near[None, :, :2])
        free &= ~hit.all(axis=2).any(axis=1)
        if free.any():
            way = ways[np.argmax(free)]
            at = spot + far * way
            taken.append(_box(np.array([at - half, at + half])))
            if far > _LEADER_MM:
                yield Path(Role.DIMENSION, np.array([spot, spot + way * (far - 1.6)]))
            yield Text(Role.TEXT, (float(at[0]), float(at[1])), str(number), NOTE_MM, 0.0,
                       "middle", "centre", bold=True)  # fmt: skip
            return


# ---------------------------------------------------------------- the page


def setout_page(face: Face, setout: SetOut, unit: str, kicker: str, chapter: str) -> Page | None:
    """What is marked on the mould face, in order, with all its figures; None where nothing is."""
    if setout.empty:
        return None
    picture = setout_picture(face, setout)
    blocks: list[Block] = [
        Paragraph(_lead(setout, unit), strong=True),
        CautionBox(CAUTION, small=True),
        Picture(
            picture, picture.window_mm[3] - picture.window_mm[1],
            "The mould face laid flat, from the bag side. Numbers are the marks of the tables.",
            "Set-out of the mould face with its marks",
        ),
        Items(tuple(_work(setout, unit)), numbered=True),
        *_tables(setout, unit),
    ]  # fmt: skip
    return Page("setout", "Set-out of the mould", kicker, tuple(blocks), chapter=chapter)


def _lead(setout: SetOut, unit: str) -> str:
    longest = max((d.mm for d in setout.diagonals), default=0.0)
    if setout.flat:
        scale = "Distances are those of a tape laid on the plate."
    elif not setout.strain_pct:
        scale = "The face lies flat without strain: a tape laid on it shows these distances."
    else:
        off = _at_most(longest * setout.strain_pct / 100.0, unit)
        scale = (
            "Distances are those of the flat pattern, as on all templates: on this face, curved "
            f"both ways, a tape may show up to {off} more or less on the longest diagonal."
        )
    order = ["axis", *(["stations"] if setout.rows else []), NET, *_drawn(setout)]
    return (
        f"Mark the mould face before it is waxed, in this order: {_listed(order)}. A diagonal "
        f"that is off by more than {_at_most(setout.tolerance_mm, unit)}: rub out and begin again. "
        f"{scale}"
    )


def _drawn(setout: SetOut) -> list[str]:
    """What is drawn within the net line, in words."""
    roles = dict.fromkeys(outline.role for outline in setout.outlines if outline.role != NET)
    return [f"{role}s" for role in roles]


def _at_most(value_mm: float, unit: str) -> str:
    """A bound, to the next mark of the tape above."""
    step = STIFF.step_mm(unit)
    return show_length(math.ceil(value_mm / step - 1e-9) * step, unit, grain=STIFF)


def _work(setout: SetOut, unit: str) -> Iterator[str]:
    yield from _flat_work(setout) if setout.flat else _station_work(setout)
    if setout.bows:
        yield (
            "Bowed lines: stretch a string between the two marks, set the offsets square to it and "
            "draw along a batten through them. All other stations and long edges are straight "
            f"within {_at_most(BOW_MM, unit)} from mark to mark."
        )
    drawn = _drawn(setout)
    if drawn:
        most = max(o.within_mm for o in setout.outlines if o.role != NET)
        yield (
            f"{_listed(drawn).capitalize()}: join the marks of each in the order of their numbers; "
            f"the true line lies within {_at_most(most, unit)} of a straightedge."
            + ("" if setout.flat else _rounding(setout))
        )
    if setout.left_out:
        names = _listed([one.of for one in setout.left_out])
        yield f"Not on this sheet: {names}. Mark the mould out for that from the templates."
    yield "Let a second person measure all diagonals again before the wax."


def _rounding(setout: SetOut) -> str:
    if not any(tie.way == "radius" for mark in setout.marks for tie in mark.ties):
        return ""
    return " R: the mark is the corner before it is rounded to that radius."


def _axis_marks(setout: SetOut) -> list[str]:
    return [str(m.number) for m in setout.marks if m.role == AXIS]


def _flat_work(setout: SetOut) -> Iterator[str]:
    axis = _axis_marks(setout)
    yield (
        "Draw the base line along 0° where the net line is lowest, and the square line square "
        "to it where the net line is furthest left: 3, 4 and 5 of any length make it square."
    )
    yield (
        f"Axis, 0°: a straight line through marks {_listed(axis)}." if axis
        else "Axis, 0°: the base line, or any line parallel to it."
    )  # fmt: skip
    yield (
        "Net line: set each mark along the base line and up from it, measure the diagonals, "
        "then join the marks, curves along a batten." + _rounding(setout)
    )


def _station_work(setout: SetOut) -> Iterator[str]:
    axis = _axis_marks(setout)
    first, last = (edge_name(line.name) for line in setout.lines[:2])
    start = next(m.number for m in setout.marks if m.role == NET)
    ends = [setout.rows[0], setout.rows[-1]]
    yield (
        f"Axis, 0°: distances along the {first} and across start at mark {start}, where "
        f"{setout.rows[0]} meets it. "
        + (f"Mark {axis[0]} and mark {axis[-1]} first; stretch a string on the face between them "
           "and mark the stations along it." if axis else "No station crosses the axis.")
    )  # fmt: skip
    yield (
        f"Stations: mark each on the {first} by its distance along it, and on the {last} where "
        "the distance along that meets the distance across. Measure both diagonals of a bay "
        "before you go on, then draw the station through its marks along a batten."
    )
    yield f"Net line: join the marks of either long edge; {_listed(ends)} close it."


def _listed(words: list[str]) -> str:
    return " and ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} and {words[-1]}"


# ---------------------------------------------------------------- tables


def _tables(setout: SetOut, unit: str) -> Iterator[Block]:
    if setout.rows:
        across = f"{unit} along each and across from {setout.lines[0].name}"
        yield Heading(f"Marks of axis and net line at the stations, {across}", 3)
        yield _station_table(setout, unit)
    if setout.diagonals:
        yield Heading("Diagonals", 3)
        rows = tuple(
            (one.of, *(cell for d in (one, other) for cell in _diagonal(d, unit)))
            for one, other in zip(setout.diagonals[::2], setout.diagonals[1::2], strict=True)
        )
        yield Table(("Of", "Marks", unit, "Marks", unit), rows, "llrlr",
                    widths=(72.0, 28.0, 24.0, 28.0, 28.0))  # fmt: skip
    if setout.bows:
        yield Heading("Offsets of bowed lines from a string", 3)
        yield Table(
            ("Line", "String", f"Along the string: offset, {unit}"),
            tuple((b.line, f"{b.start} to {b.end}", _bow_words(b, unit)) for b in setout.bows),
            "lll", widths=(40.0, 25.0, 115.0),
        )  # fmt: skip
    told = [m for m in setout.marks if not m.row or m.role not in (AXIS, NET)]
    first = setout.lines[0].name
    rows = tuple(_mark_row(mark, first, unit) for mark in told)
    if rows:
        yield Heading("Marks" if setout.flat else "Core outlines, openings and bond lands", 3)
        head = ("Mark", "Of", "Measured", unit, "and", unit)
        if setout.flat:
            head = ("Mark", "Of", "Along 0°", unit, "Up", unit)
        yield Table(head, rows, "rllrlr", widths=(12.0, 50.0, 46.0, 18.0, 36.0, 18.0))


def _diagonal(diagonal: Diagonal, unit: str) -> tuple[str, str]:
    return f"{diagonal.start} to {diagonal.end}", _told(diagonal.mm, unit)


def _station_table(setout: SetOut, unit: str) -> Table:
    """One row for each station: where axis and net line cross it."""
    first, last = (setout.lines[k].name for k in (0, 1))
    rows = []
    for name in setout.rows:
        own = [m for m in setout.marks if m.row == name]
        axis = [m for m in own if m.role == AXIS]
        low, high = (next(m for m in own if m.role == NET and m.of == of) for of in (first, last))
        on_axis = ("", "", "") if not axis else (
            str(axis[0].number), _tie(axis[0], AXIS, unit), _tie(axis[0], name, unit))  # fmt: skip
        rows.append(
            (name, *on_axis, str(low.number), _tie(low, first, unit), str(high.number),
             _tie(high, last, unit), _tie(high, name, unit))
        )  # fmt: skip
    head = ("Station", "Axis", "along", "across", first, "along", last, "along", "across")
    return Table(head, tuple(rows), "lrrrrrrrr", widths=(36.0, *(18.0,) * 8))


def _told(value_mm: float, unit: str) -> str:
    return show_figure(value_mm, unit, STIFF)


def _tie(mark: SetMark, line: str, unit: str) -> str:
    return _told(next(t.mm for t in mark.ties if t.line == line), unit)


def _mark_row(mark: SetMark, first: str, unit: str) -> tuple[str, ...]:
    """Number, what it is of, and where it is measured from; `first`: the edge that stations start
    on."""
    of = mark.of if mark.of == mark.role else f"{mark.of}, {mark.role}"
    measured: list[str] = []
    for tie in mark.ties:
        if tie.way == "across":
            of += f", middle of a circle {_told(tie.mm, unit)} across"
        elif tie.way == "radius":
            of += f", R {_told(tie.mm, unit)}"
        else:
            measured += [_from(tie, first), _told(tie.mm, unit)]
    return (str(mark.number), of, *measured, *("",) * (4 - len(measured)))


def _from(tie: Tie, first: str) -> str:
    if tie.way == "along":
        return f"{tie.line} from {first}"
    if tie.line in SIDES:
        return f"{'from' if tie.side == SIDES[tie.line][0] else tie.side} the {tie.line}"
    return f"{tie.side} {'of ' if tie.side.endswith('ward') else ''}{tie.line}"


def _bow_words(bow: Bow, unit: str) -> str:
    """'200: 2.5 tipward; 400: 3 tipward'."""
    return "; ".join(
        f"{_told(at, unit)}: {_told(abs(off), unit)} {bow.sides[0] if off > 0 else bow.sides[1]}"
        for at, off in zip(bow.at_mm, bow.offsets_mm, strict=True)
    )
