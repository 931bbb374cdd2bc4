"""The card a piece is drawn from with tape and straightedge: a small picture and every figure.

The rows of a card always come in this order: how the knots are found, the sides, the ties between
knots that no side joins, the way along and square to the warp, the offsets of bowed sides, the
marks along the edges. `plybook.drawing.tapeplan` says what the words mean.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely

from plybook.drawing import piecewords as words
from plybook.drawing.fibre import arrow_size_mm, fibre_arrow
from plybook.drawing.frame import Frame, fit_frame
from plybook.drawing.labels import Block, Line, Placer, grid
from plybook.drawing.letters import clean_text, text_width_mm, wrapped
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.drawing.tapeplan import Run, TapePlan
from plybook.laminate.model import Laminate, Mark, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.units import MM_PER_INCH, show_inches, show_number

WIDTH_MM = 190.0
_PICTURE_MM = (84.0, 46.0)  # width, least height
_ROWS_X_MM = 90.0
_VALUE_MM, _REST_MM = 14.0, 42.0  # columns of a row, from its start
_ROW_MM = 4.0
_HEAD_MM = 14.0
_SMALL_MM = 1.8
_ARROW_MM = 14.0  # where there is no room in the outline
_MARKED = ("station", "axis", "tick", "splice_line", "drop_line", "fold", "dart")
_ON_EDGE_MM = 1.0
_MOST_MARKS = 14  # on one side


def tape_words(value_mm: float, unit: str, tape_mm: float) -> str:
    """A distance as the tape shows it: "1443 mm", "56 13/16 in"."""
    if unit == "in":
        return f"{show_inches(value_mm, round(MM_PER_INCH / tape_mm))} in"
    return f"{show_number(value_mm, 1)} mm"


def tape_card(
    piece: Piece,
    plan: TapePlan,
    laminate: Laminate,
    spec: PartSpec,
    pages: Mapping[int, int] | None = None,
    serves: Sequence[str] = (),
) -> Scene:
    """The card of one piece, 190 mm wide and as high as it must be, lower left corner at 0, 0.

    Args:
        piece: in its cut frame.
        plan: its figures.
        laminate, spec: for the layer's place in the stack, names and units.
        pages: place of a printed run in `plan.runs` -> page it is printed on.
        serves: sentences that tell which other pieces are cut by these figures.
    """
    rows = _rows(piece, plan, spec, pages or {})
    head, top = _head(piece, laminate, spec)
    for said in serves:
        rows += [[(0.0, row, NOTE_MM, False)] for row in wrapped(clean_text(said),
                                                                WIDTH_MM - _ROWS_X_MM, NOTE_MM)]
    body = max(_PICTURE_MM[1], _ROW_MM * len(rows) + 2.0)
    high = top + body + 3.0
    items: list[Primitive] = [
        Path(Role.FRAME, np.array([(0.0, high), (WIDTH_MM, high)])),
        *Scene(tuple(head), (0.0, 0.0, WIDTH_MM, 0.0)).moved(0.0, high).items,
    ]
    y = high - top
    for cells in rows:
        y -= _ROW_MM
        items += [
            Text(Role.TEXT, (_ROWS_X_MM + x, y), said, height, bold=bold)
            for x, said, height, bold in cells
        ]
    items += picture(piece, plan, spec, (2.0, 2.0, _PICTURE_MM[0], high - top - 1.0))
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, high), f"Figures of {piece.id}")


def _head(piece: Piece, laminate: Laminate, spec: PartSpec) -> tuple[list[Primitive], float]:
    """The id and the words beside it, hanging down from 0, and how high they are."""
    said = clean_text(piece.id)
    letters = 10.0 if text_width_mm(said, 10.0, True) < 60.0 else 5.0
    x = max(_ROWS_X_MM, text_width_mm(said, letters, True) + 8.0)
    lines = (
        words.DOT.join((words.face_up_words(piece), f"{piece.quantity} OFF",
                        f"Stage {piece.stage}")),
        words.DOT.join((words.layer_words(piece, laminate),
                        spec.materials.name_of(piece.material))),
        words.DOT.join(w for w in (words.splice_words(piece),
                                   words.growth_words(piece, spec.part.units), *piece.notes) if w),
    )  # fmt: skip
    rows = [
        (row, k == 0)
        for k, line in enumerate(lines)
        for row in wrapped(clean_text(line), WIDTH_MM - x, NOTE_MM, k == 0)
    ]
    items: list[Primitive] = [Text(Role.ID, (2.0, -12.5), said, letters, bold=True)]
    items += [
        Text(Role.TEXT, (x, -4.6 - 4.2 * k), row, NOTE_MM, bold=bold)
        for k, (row, bold) in enumerate(rows)
    ]
    return items, max(_HEAD_MM, 4.2 * len(rows) + 1.6)


Cell = tuple[float, str, float, bool]


def _rows(
    piece: Piece, plan: TapePlan, spec: PartSpec, pages: Mapping[int, int]
) -> list[list[Cell]]:
    unit, tape = spec.part.units, plan.tape_mm
    name = [knot.name for knot in plan.knots]
    room = WIDTH_MM - _ROWS_X_MM

    def plain(said: str, bold: bool = False) -> list[list[Cell]]:
        return [[(0.0, row, NOTE_MM, bold)] for row in wrapped(said, room, NOTE_MM, bold)]

    def pair(a: int, b: int) -> str:
        return f"{name[a]}\u2013{name[b]}"

    def tie(a: int, b: int) -> float:
        return plan.ties_mm[min(a, b), max(a, b)]

    def figure(a: int, b: int, rest: str) -> list[list[Cell]]:
        first: list[Cell] = [
            (0.0, pair(a, b), NOTE_MM, True),
            (_VALUE_MM, tape_words(tie(a, b), unit, tape), NOTE_MM, True),
        ]
        told: list[list[Cell]] = [
            [(_REST_MM, row, _SMALL_MM, False)]
            for row in wrapped(clean_text(rest), room - _REST_MM, _SMALL_MM)
        ]
        return [first + sum(told[:1], []), *told[1:]]

    found = [f"{name[s.knot]} from {name[s.first]} and {name[s.second]}" for s in plan.steps]
    rows = plain(f"Draw {pair(*plan.base)}; find {', '.join(found)}." if found
                 else f"Draw {pair(*plan.base)}.")  # fmt: skip
    sides = {(min(r.start, r.end), max(r.start, r.end)) for r in plan.runs}
    for k, run in enumerate(plan.runs):
        if run.start == run.end:
            continue
        rest = _edge_words(piece, run)
        if run.kind == "printed":
            where = f"printed on page {pages[k]}" if k in pages else "printed"
            rest = words.DOT.join(w for w in (where, rest) if w)
        rows += figure(run.start, run.end, rest)
    for a, b in plan.ties_mm:
        if (a, b) not in sides:
            rows += figure(a, b, "diagonal")
    rows += plain(on_the_cloth(piece, plan, spec))
    bows = [
        f"{pair(run.start, run.end)} from {name[run.start]}, "
        + ", ".join(
            f"{short_words(o.along_mm, unit, tape)}: {short_words(abs(o.off_mm), unit, tape)}"
            f" {'outside' if o.off_mm >= 0 else 'inside'}"
            for o in run.offsets
        )
        for run in plan.runs
        if run.offsets
    ]
    if bows:
        rows += plain(f"Bows, off the straight line: {'; '.join(bows)}.")
    marks = [
        f"{pair(run.start, run.end)} from {name[run.start]}, "
        + ", ".join(f"{short_words(at, unit, tape)}: {label}" for label, at in told)
        for run, told in marks_by_side(piece.marks, plan)
    ]
    if marks:
        rows += plain(f"Marks on the edges: {'; '.join(marks)}.")
    return rows


def short_words(value_mm: float, unit: str, tape_mm: float) -> str:
    """A distance without its unit, which the sides above it name."""
    return tape_words(value_mm, unit, tape_mm).rpartition(" ")[0]


def _edge_words(piece: Piece, run: Run) -> str:
    """The edge of the piece a run belongs to, with how it is cut."""
    middle = shapely.LineString(run.points_mm).interpolate(0.5, normalized=True)
    near = [
        (shapely.LineString(e.points_mm).distance(middle), k)
        for k, e in enumerate(piece.edges)
        if len(e.points_mm) > 1
    ]
    if not near or min(near)[0] > piece.thickness_mm * 4 + 1.0:
        return ""
    return words.edge_variants(piece.edges[min(near)[1]], piece)[0][0]


def along_warp_mm(piece: Piece, plan: TapePlan) -> tuple[float, float]:
    """From the first knot of the base to the second: along the warp, and square to it (+ is to the
    left of the way). The warp runs both ways; the way along it is taken forwards."""
    a, b = (np.array(plan.knots[k].at_mm) for k in plan.base)
    turn = math.radians(piece.angle_deg)
    warp, way = np.array([math.cos(turn), math.sin(turn)]), b - a
    along, square = float(way @ warp), float(warp[0] * way[1] - warp[1] * way[0])
    return (along, square) if along >= 0 else (-along, -square)


def on_the_cloth(piece: Piece, plan: TapePlan, spec: PartSpec) -> str:
    """Where the base runs on its stock, by a square laid along the selvedge."""
    if words.fibre_words(piece, spec) is None or piece.kind not in ("ply", "film", "core"):
        return ""
    along, square = along_warp_mm(piece, plan)
    names = [plan.knots[k].name for k in plan.base]
    unit, tape = spec.part.units, plan.tape_mm
    along, square = (round(v / tape) * tape for v in (along, square))
    warp = "grain" if piece.kind == "core" else "warp"
    way = f"from {names[0]} to {names[1]}"
    if abs(square) < tape:
        return f"Lay: {names[0]}\u2013{names[1]} runs along the {warp}."
    if along < tape:
        return f"Lay: {names[0]}\u2013{names[1]} runs square to the {warp}."
    return (
        f"Lay: {way} {tape_words(along, unit, tape)} along the {warp}, "
        f"{tape_words(abs(square), unit, tape)} square to it to the "
        f"{'left' if square > 0 else 'right'}."
    )


def marks_by_side(
    marks: Iterable[Mark], plan: TapePlan
) -> list[tuple[Run, list[tuple[str, float]]]]:
    """Where station lines, ticks and the rest meet the edges, as distances along the side."""
    found: dict[int, list[tuple[float, str]]] = {}
    lines = [shapely.LineString(run.points_mm) for run in plan.runs]
    for mark in marks:
        points = np.asarray(mark.points_mm, float).reshape(-1, 2)
        if mark.kind not in _MARKED or len(points) < 2:
            continue
        label = _mark_words(mark)
        for end in points[:1] if mark.kind == "tick" else points[[0, -1]]:
            gaps = [line.distance(shapely.Point(end)) for line in lines]
            k = int(np.argmin(np.round(gaps, 3)))
            run = plan.runs[k]
            if gaps[k] > _ON_EDGE_MM or run.kind == "printed":
                continue
            a, b = run.points_mm[0], run.points_mm[-1]
            way = (b - a) / max(np.hypot(*(b - a)), 1e-9)
            found.setdefault(k, []).append((float((end - a) @ way), label))
    rows = []
    for k in sorted(found):
        told = sorted({(round(at / plan.tape_mm) * plan.tape_mm, label) for at, label in found[k]})
        rows.append((plan.runs[k], [(label, at) for at, label in told[:_MOST_MARKS]]))
    return rows


def _mark_words(mark: Mark) -> str:
    """What a mark is called in few words."""
    if mark.kind == "axis":
        return "0\u00b0 axis"
    if mark.kind == "splice_line":
        return mark.label.partition(":")[0] or "splice line"
    return clean_text(mark.label) or mark.kind.replace("_", " ")


def picture(
    piece: Piece, plan: TapePlan | None, spec: PartSpec, box: tuple[float, float, float, float],
    longer_mm: np.ndarray | None = None,
) -> list[Primitive]:  # fmt: skip
    """The outline in small with its knots lettered, and the fibre arrow: in the outline where
    there is room, else below it; under it a longer piece whose figures it is cut by."""
    said = words.fibre_words(piece, spec)
    items, shape, place = _outline(piece, plan, box, longer_mm)
    if said is None:
        return items
    for length in (36.0, 24.0, 16.0):
        size = arrow_size_mm(length, said)
        points = grid(shape) if not shape.is_empty else np.zeros((0, 2))
        cost = np.hypot(*(points - np.array(shape.centroid.coords[0])).T)
        spot = place.find(size, points, piece.angle_deg, cost)
        if spot is not None:
            return [*items, *fibre_arrow(spot.centre_mm, piece.angle_deg, length, said)]
    wide, high = arrow_size_mm(_ARROW_MM, said)
    turn = math.radians(piece.angle_deg)
    tall = wide * abs(math.sin(turn)) + high * abs(math.cos(turn))
    items, _, _ = _outline(piece, plan, (box[0], box[1] + tall, box[2], box[3]), longer_mm)
    centre = ((box[0] + box[2]) / 2, box[1] + tall / 2)
    return [*items, *fibre_arrow(centre, piece.angle_deg, _ARROW_MM, said)]


def _outline(
    piece: Piece, plan: TapePlan | None, box: tuple[float, float, float, float],
    longer_mm: np.ndarray | None,
) -> tuple[list[Primitive], shapely.Polygon, Placer]:  # fmt: skip
    ring = cut_outline_mm(piece)
    whole = ring if longer_mm is None else longer_mm
    low, high = whole.min(axis=0), whole.max(axis=0)
    pad = min(6.0, 0.12 * (box[2] - box[0]))
    frame = fit_frame((*low, *high), (box[0] + pad, box[1] + pad, box[2] - pad, box[3] - pad))
    shape = shapely.Polygon(frame.put(ring), [frame.put(h) for h in piece.holes_mm])
    items: list[Primitive] = []
    if longer_mm is not None:
        items.append(Path(Role.GHOST, frame.put(longer_mm), True))
    items.append(Path(Role.HIGHLIGHT, frame.put(ring), True))
    items += [Path(Role.HIGHLIGHT, frame.put(hole), True) for hole in piece.holes_mm]
    place = Placer(shape.buffer(-0.8), shape.buffer(0))
    items += _letters(plan, frame, place) if plan is not None else []
    return items, shape, place


def _letters(plan: TapePlan, frame: Frame, place: Placer) -> list[Primitive]:
    items: list[Primitive] = []
    at = frame.put(np.array([knot.at_mm for knot in plan.knots]))
    turns = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    for knot, spot in zip(plan.knots, at, strict=True):
        dot = (float(spot[0]), float(spot[1]))
        items.append(Circle(Role.DIMENSION, dot, 0.5, "ink"))
        for height in (LABEL_MM, NOTE_MM, 1.8):
            block = Block((Line(knot.name, height, True),), pad_mm=0.2)
            reach = np.array(block.size_mm) / 2 + 0.5
            tries = np.vstack([spot + ways / np.max(np.abs(ways) / (reach + more), axis=1)[:, None]
                               for more in (0.0, 1.2, 2.6)])  # fmt: skip
            cost = np.repeat([0.0, 1.0, 2.0], len(ways))
            free = place.find(block.size_mm, tries, 0.0, cost, inside=False)
            free = free or place.find(block.size_mm, tries, 0.0, cost, inside=True)
            if free is not None:
                items += place.put(block, free)
                break
    return items
