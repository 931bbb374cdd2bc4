"""Templates on a plotter's roll of paper: pieces nested, wide ones in panels, in pages under 5 m.

A page is as wide as the paper; its foot says how much paper there is in all, and carries a ruler
each way. A piece wider than the paper is printed in panels, which are laid over one another by the
crosses of the strip they share.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import shapely

from plybook.drawing.frame import Box, kept_inside
from plybook.drawing.letters import clean_text, fitted, text_box_mm
from plybook.drawing.piecewords import part_words
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.template import PieceDrawing
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.nest.paper import SHARED_MM, Panel, PaperPage, on_paper
from plybook.spec.model import PartSpec
from plybook.units import show_length, show_number
from plybook.write.fonts import MM
from plybook.write.pdf import bounds_mm, draw_scene, new_canvas
from plybook.write.tiles import cross_at
from plybook.write.ways import Chosen

MARGIN_MM = 5.0  # on both sides: a plotter prints nearly to the edge
LEAST_MM = 110.0  # of a page: room for its shorter ruler
FOOT_MM = 24.0  # words and ruler at the start of each page
LONGEST_MM = 4900.0  # of what is nested on one page; readers show 5080 mm
EMPTY_MM = 120.0  # a page that says that no piece needs paper
GAP_MM = 4.0  # between templates
ROOM_MM = 1.5  # around a cut, for its line and the words that stand on it
LINE_MM = 0.5  # half the width of the widest line, and a hair
CROSS_STEP_MM = 500.0  # between crosses along a shared strip
INSET_MM = 35.0  # of a cross from the end of its strip: clear of those of a strip across
RULER_MM = 500.0
NAME_MM = (7.0, 5.0, 3.5)  # capitals of a panel's name, the first that fit into its piece


@dataclass(frozen=True)
class OnRoll:
    """A panel on the page: a point p of the piece's cut frame that lies in `window_mm` is at
    turn(p) + at_mm on the page, mm; pages count from 1."""

    piece: str
    panel: int
    of: int
    page: int
    window_mm: tuple[float, float, float, float]
    turn_deg: float
    at_mm: tuple[float, float]


@dataclass(frozen=True)
class RollTemplates:
    """The file; where panels lie; pieces that are left out; and the
    paper that it takes."""

    pdf: bytes
    panels: tuple[OnRoll, ...]
    left_out: tuple[str, ...]
    width_mm: float
    length_mm: float
    pages: int
    rolled: int  # pieces on the paper

    @property
    def told(self) -> str:
        """How much paper it takes, in words."""
        if not self.rolled:
            return "no piece needs paper: figures or the other hand's templates serve"
        pages = "1 page" if self.pages == 1 else f"{self.pages} pages"
        metres = show_number(math.ceil(self.length_mm / 100.0) / 10.0, 1)
        return f"{metres} m of paper {show_number(self.width_mm, 1)} mm wide, {pages}"


def needs_paper(chosen: Chosen) -> bool:
    """Whether a piece has a line that no straightedge draws. Rods are sawn to their length, and the
    template of another serves a piece that is cut by it, but for one that ends on a line of its
    own."""
    straight = chosen.plan is not None and all(run.kind == "straight" for run in chosen.plan.runs)
    if chosen.served is not None:
        return chosen.served.end is not None and not straight
    return chosen.piece.kind != "rod" and (chosen.way != "figures" or not straight)


def roll_pdf(spec: PartSpec, chosen: Sequence[Chosen]) -> RollTemplates:
    """The pieces of a part that need paper, or all of them, nested on a plotter's roll.

    Args:
        spec: the paper's width, names, units.
        chosen: every piece with the way it is cut by.
    """
    rules = spec.templates
    shown = [one for one in chosen if rules.roll_all or needs_paper(one)]
    ids = {one.piece.id for one in shown}
    left = tuple(one.piece.id for one in chosen if one.piece.id not in ids)
    rooms = {one.piece.id: _room(one.drawing) for one in shown}
    pages = on_paper(rooms, rules.roll_mm - 2 * MARGIN_MM, LONGEST_MM, GAP_MM)
    pages = pages or (PaperPage((), EMPTY_MM),)
    pages = tuple(replace(p, length_mm=max(p.length_mm, LEAST_MM)) for p in pages)
    length = sum(page.length_mm + FOOT_MM + MARGIN_MM for page in pages)
    made = RollTemplates(b"", (), left, rules.roll_mm, length, len(pages), len(shown))
    part = spec.part
    canvas, buffer = new_canvas(rules.roll_mm, 1000.0, f"{part.number} {part.revision} roll",
                                part.drawn_by, part.name)  # fmt: skip
    drawings = {one.piece.id: one.drawing for one in shown}
    placed: list[OnRoll] = []
    for number, page in enumerate(pages, start=1):
        height = page.length_mm + FOOT_MM + MARGIN_MM
        canvas.setPageSize((rules.roll_mm * MM, height * MM))
        _foot(canvas, spec, made, number, height)
        for row in _rows(page, number, rules.roll_mm):
            _draw(canvas, drawings[row.piece], row, pages)
            placed.append(row)
        canvas.showPage()
    canvas.save()
    return replace(made, pdf=buffer.getvalue(), panels=tuple(placed))


def _room(drawing: PieceDrawing) -> np.ndarray:
    """The ring of paper that a template takes: its cut, and what stands outside it."""
    cut = shapely.Polygon(cut_outline_mm(drawing.piece)).buffer(ROOM_MM, join_style="mitre")
    boxes = shapely.box(*bounds_mm(drawing.bare).T)
    outside = [
        _ground(item)
        for item, inside in zip(drawing.bare.items, shapely.covered_by(boxes, cut), strict=True)
        if not inside
    ]
    room = shapely.union_all([cut, *outside])
    if room.geom_type != "Polygon":
        room = room.convex_hull
    return np.array(shapely.geometry.polygon.orient(room).exterior.coords)[:-1]


def _ground(item: Primitive) -> Any:
    """Where one primitive stands, with its line."""
    if isinstance(item, Path):
        return shapely.LineString(item.points_mm).buffer(LINE_MM, quad_segs=1)
    if isinstance(item, Circle):
        return shapely.Point(item.centre_mm).buffer(item.radius_mm + LINE_MM)
    return shapely.Polygon(text_box_mm(item))


def _rows(page: PaperPage, number: int, width_mm: float) -> list[OnRoll]:
    """Panels of a page as they lie on it: along the roll is up the page."""
    rows = []
    for panel, place in page.placed:
        at = (width_mm - MARGIN_MM - place.y_mm, place.x_mm + FOOT_MM)
        turn = (place.rotation_deg + 90.0) % 360.0
        rows.append(OnRoll(panel.piece, panel.number, panel.of, number, panel.box_mm, turn, at))
    return rows


def _draw(canvas: Any, drawing: PieceDrawing, row: OnRoll, pages: Sequence[PaperPage]) -> None:
    scene = drawing.bare
    if row.of > 1:
        panels = [p for page in pages for p, _ in page.placed if p.piece == row.piece]
        joins = _joins(panels, row.panel, drawing)
        scene = Scene((*_inside(scene, row.window_mm), *joins), row.window_mm)
    items = _turned(scene.items, row.turn_deg, row.at_mm)
    draw_scene(canvas, Scene(items, (0.0, 0.0, 1.0, 1.0)), 0.0, 0.0)


def _turned(
    items: Sequence[Primitive], turn_deg: float, at_mm: tuple[float, float]
) -> tuple[Primitive, ...]:
    """Primitives turned about the origin, then moved; words turn with them."""
    turn = math.radians(turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    matrix, shift = np.array([[c, s], [-s, c]]), np.array(at_mm)

    def put(points: Any) -> np.ndarray:
        return np.asarray(points, dtype=float) @ matrix + shift

    out: list[Primitive] = []
    for item in items:
        if isinstance(item, Path):
            out.append(replace(item, points_mm=put(item.points_mm)))
        elif isinstance(item, Circle):
            out.append(replace(item, centre_mm=tuple(put(item.centre_mm).tolist())))
        else:
            at = tuple(put(item.at_mm).tolist())
            out.append(replace(item, at_mm=at, turn_deg=(item.turn_deg + turn_deg) % 360.0))
    return tuple(out)


def _inside(scene: Scene, window: tuple[float, float, float, float]) -> Iterator[Primitive]:
    """What of a drawing lies in a panel; a word or a circle that its rim cuts is left out."""
    box = shapely.box(*window)
    for item, bounds in zip(scene.items, bounds_mm(scene), strict=True):
        if shapely.covers(box, shapely.box(*bounds)):
            yield item
        elif isinstance(item, Path):
            points = np.asarray(item.points_mm, dtype=float)
            closed = item.closed and len(points) > 2
            shape = (shapely.Polygon(points) if closed and item.fill
                     else shapely.LinearRing(points) if closed
                     else shapely.LineString(points))  # fmt: skip
            for part in _parts(shape.intersection(box)):
                if part.geom_type == "Polygon":
                    around = np.array(part.exterior.coords)[:-1]
                    yield replace(item, points_mm=around)
                elif part.geom_type == "LineString":
                    yield replace(item, points_mm=np.array(part.coords), closed=False)


def _parts(shape: Any) -> list[Any]:
    """Lines that run on into one another joined, of areas and points each by itself."""
    if shape.geom_type in ("MultiLineString", "GeometryCollection"):
        lines = [g for g in shape.geoms if g.geom_type == "LineString"]
        joined = shapely.line_merge(shapely.MultiLineString(lines))
        others = [g for g in shape.geoms if g.geom_type == "Polygon"]
        return [*getattr(joined, "geoms", [joined]), *others]
    return list(getattr(shape, "geoms", [shape]))


def _joins(panels: Sequence[Panel], number: int, drawing: PieceDrawing) -> list[Primitive]:
    """The crosses by which a panel is laid over its neighbours, and what it joins."""
    cut = shapely.Polygon(cut_outline_mm(drawing.piece))
    own = next(p for p in panels if p.number == number)
    items: list[Primitive] = []
    x0, y0, x1, y1 = own.box_mm
    for a, b in combinations(panels, 2):
        if number not in (a.number, b.number):
            continue
        for cross in join_crosses(a, b, cut):
            items += cross_at(np.array(cross))
            other = b.number if a.number == number else a.number
            items.append(Text(Role.REGISTRATION, (cross[0] + 5.0, cross[1] + 3.0),
                              f"panel {other}", 1.8))  # fmt: skip
    name = clean_text(f"{own.piece}  panel {number} of {own.of}")
    inside = cut.intersection(shapely.box(*own.box_mm))
    return [*items, _clear_name(name, inside, own.box_mm, [*drawing.bare.items, *items])]


def _clear_name(name: str, inside: Any, box_mm: Box, drawn: Sequence[Primitive]) -> Text:
    """The name of a panel near its middle, as large as it fits into the piece clear of other words
    and arrows; where it does not, over them, on the panel."""
    taken = shapely.union_all([
        _ground(item).buffer(2.0) for item in drawn
        if isinstance(item, Text) or item.role in (Role.FIBRE, Role.REGISTRATION)
    ])  # fmt: skip
    middle = inside.representative_point()
    x0, y0, x1, y1 = inside.bounds
    spots = [(middle.x, middle.y), *((float(x), float(y)) for x in np.linspace(x0, x1, 25)[1:-1]
                                     for y in np.linspace(y0, y1, 25)[1:-1])]  # fmt: skip
    spots.sort(key=lambda at: round(math.dist(at, (middle.x, middle.y)), 6))
    ways = ((height, turn) for height in NAME_MM for turn in (0.0, 90.0))
    tries = (
        Text(Role.ID, at, name, height, turn, "middle", "centre", True, True)
        for height, turn in ways for at in spots
    )  # fmt: skip
    boxes = ((text, shapely.Polygon(text_box_mm(text))) for text in tries)
    clear = (text for text, box in boxes if inside.covers(box) and not box.intersects(taken))
    least = Text(Role.ID, spots[0], name, NAME_MM[-1], 0.0, "middle", "centre", True, True)
    return next(clear, kept_inside(least, box_mm))


def join_crosses(a: Panel, b: Panel, cut: Any) -> list[tuple[float, float]]:
    """Points in the middle of the strip that two panels share, inside the piece; none where they
    share no strip. At least two, near the ends of what the strip holds of the piece."""
    shared = shapely.box(*a.box_mm).intersection(shapely.box(*b.box_mm))
    if shared.is_empty or shared.area < 1.0:
        return []
    x0, y0, x1, y1 = shared.bounds
    if max(x1 - x0, y1 - y0) < 2 * SHARED_MM:
        return []  # they meet at a corner alone, where the strips of their neighbours cross
    upright = y1 - y0 > x1 - x0
    ends = [((x0 + x1) / 2, y0), ((x0 + x1) / 2, y1)] if upright else [
        (x0, (y0 + y1) / 2), (x1, (y0 + y1) / 2)]  # fmt: skip
    held = shapely.LineString(ends).intersection(cut)
    found: list[tuple[float, float]] = []
    for line in getattr(held, "geoms", [held]):
        if line.geom_type != "LineString" or line.length < 1.0:
            continue
        inset = min(INSET_MM, line.length / 4)
        count = max(2, math.ceil((line.length - 2 * inset) / CROSS_STEP_MM) + 1)
        for at in np.linspace(inset, line.length - inset, count):
            point = line.interpolate(float(at))
            found.append((point.x, point.y))
    return found


def _foot(canvas: Any, spec: PartSpec, made: RollTemplates, number: int, high: float) -> None:
    """The words and rulers of a page."""
    wide, part = made.width_mm, spec.part
    facts = (
        f"Templates 1:1 on a roll, page {number} of {made.pages}; in all {made.told}. Print at "
        "100 % and measure both rulers before you cut by it."
        if made.rolled
        else f"{made.told[0].upper()}{made.told[1:]}"
    )
    ruler = RULER_MM if wide > RULER_MM + 40.0 else 200.0
    items: list[Primitive] = [
        Text(Role.TEXT, (10.0, 15.0), fitted(f"{part_words(spec)} · {part.name}", wide - 20.0, 5.0,
                                             True), 5.0, bold=True),
        Text(Role.TEXT, (10.0, 9.0), fitted(facts, wide - 20.0, 3.5), 3.5),
    ]  # fmt: skip
    items += _ruler((10.0, 4.0), (ruler, 0.0), spec.part.units)
    along = RULER_MM if high > RULER_MM + FOOT_MM + 10.0 else 100.0
    items += _ruler((2.5, FOOT_MM), (0.0, along), spec.part.units)
    draw_scene(canvas, Scene(tuple(items), (0.0, 0.0, wide, high)), 0.0, 0.0)


def _ruler(start: tuple[float, float], way: tuple[float, float], unit: str) -> list[Primitive]:
    """A line of known length with a tick at each end."""
    a = np.array(start)
    b = a + way
    length = float(np.hypot(*way))
    along = np.array(way) / length
    across = np.array([-along[1], along[0]]) * 2.0
    turn = math.degrees(math.atan2(along[1], along[0]))
    words = show_length(length, unit, True)
    at = a + along * (length + 4.0) if not turn else a + along * (length + 4.0) + (1.0, 0.0)
    return [
        Path(Role.REGISTRATION, np.array([a, b])),
        Path(Role.REGISTRATION, np.array([a - across, a + across])),
        Path(Role.REGISTRATION, np.array([b - across, b + across])),
        Text(Role.REGISTRATION, (float(at[0]), float(at[1])), words, 2.5, turn, "start", "centre"),
    ]
