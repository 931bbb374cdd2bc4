"""The cut plan on paper: every roll, sheet and bar drawn to scale, then its mark-out table.

Sheets lie on their long side. A roll longer than one sheet runs over several; each shows its
figures. A roll longer than the table is marked out in bays, each from a line squared across the
cloth. The mark-out tables give every corner point, in the order of cutting. Bars of one kind
share sheets; one that is longer than the paper at the smallest scale runs over several strips too.

Terms:
    strip: what of a roll, sheet or bar one picture shows: all of it, or a stretch of its length.
"""

from __future__ import annotations

import itertools
import math
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from plybook.drawing.baywords import BayTold, bays_told, longer_than_table, working
from plybook.drawing.layout import layout_scene, short_name, shown_length_mm
from plybook.drawing.letters import fitted, text_width_mm, wrapped
from plybook.drawing.piecewords import DOT, face_up_words
from plybook.drawing.rosette import show_angle
from plybook.drawing.roundwords import round_said
from plybook.drawing.scene import Primitive, Role, Scene, Text
from plybook.drawing.titleblock import HEIGHT_MM, WIDTH_MM, TitleFacts
from plybook.laminate.model import Piece
from plybook.nest.bays import StageCut, stage_cuts
from plybook.nest.markout import (
    TOLD_MM,
    MarkedPiece,
    mark_out,
    stock_grain,
    tape,
)
from plybook.nest.model import CutPlan, Layout
from plybook.nest.roundings import MarkedOpening, mark_openings
from plybook.shop.model import Quantity
from plybook.spec.model import PartSpec
from plybook.units import CLOTH, MM_PER_INCH, STIFF, show_length, show_number, show_roll
from plybook.write.bag_sheets import BagPage
from plybook.write.buy_page import buy_sheets
from plybook.write.cut_sheets import (
    CutSheets,
    Sheet,
    Strip,
    Window,
    bag_sheets,
    hands_of,
    heading,
    print_sheets,
)
from plybook.write.kit_page import kit_sheets
from plybook.write.markout_pages import Row, TableBlock, column_mm, set_blocks
from plybook.write.paper import EDGE_MM, PAPERS_MM

SCALES = (2, 5, 10, 12.5, 20, 50, 100)  # ISO 5455 reductions, and one that suits 4 ft widths
MOST_STRIPS = 12  # of one roll; a longer one is drawn smaller
HEAD_MM = 11.0
NEAR_MM = 1e-3  # what lies so near to a line lies at it
FIGURES_MM = (30.0, 29.0)  # room for figures and words around the stock
BARS_A_PAGE = 4
NAMES_MM = 60.0  # width of the names above a bar's figures
BEFORE_LIFTING = (
    "Before lifting a piece write on it: its id, its bag side, an arrow along 0\u00b0.",
    "Holes and slots first, the outline last.",
)

Seen = tuple[str, float, Window]  # stock, scale, window


_TRIED = 4  # ways to divide a roll, each with more room for the names beside it


def cut_sheets(
    plan: CutPlan,
    pieces: Mapping[str, Piece],
    specs: Sequence[PartSpec],
    number: str = "",
    title: str = "",
    bags: Sequence[BagPage] = (),
    buy: Sequence[Quantity] = (),
) -> CutSheets:
    """Every layout of a plan.

    Args:
        plan: the layouts that are to be printed, and the items they place.
        pieces: by item id ("<part number>/<piece id>").
        specs: the parts cut; the first gives paper, unit and title block.
        number: name of the set where several parts are cut together.
        title: what the sheets show, the first part's name otherwise.
        bags: what lies under the bags, on the last sheets.
        buy: what is to be bought for several parts.
    """
    return _Plan(plan, pieces, specs, number, title, bags, buy).made()


class _Plan:
    """The file in the making."""

    def __init__(self, plan: CutPlan, pieces: Mapping[str, Piece], specs: Sequence[PartSpec],
                 number: str, title: str, bags: Sequence[BagPage], buy: Sequence[Quantity]):
        self.plan, self.pieces, self.specs, self.bags = plan, pieces, specs, bags
        self.buy = buy
        self.pictures: dict[Seen, Scene] = {}
        self.marked: dict[str, tuple[MarkedPiece, ...]] = {}
        self.items = {item.id: item for item in plan.items}
        self.rings = {item.id: item.outline_mm for item in plan.items}
        self.demand = {item.id: item.demand for item in plan.items}
        part = specs[0].part
        self.part = replace(part, name=title) if title else part
        self.number = number or part.number
        self.unit, self.currency = part.units, specs[0].workshop.currency
        of_set = [s.part for s in specs] if number else [part]
        self.revision = ", ".join(dict.fromkeys(p.revision for p in of_set))
        self.hand = hands_of(of_set)
        self.high, self.wide = PAPERS_MM[specs[0].workshop.paper]  # on its long side
        self.area = (EDGE_MM, EDGE_MM, self.wide - EDGE_MM, self.high - EDGE_MM)
        self.room = np.array([self.area[2] - self.area[0],
                              self.area[3] - self.area[1] - HEIGHT_MM - HEAD_MM])  # fmt: skip

    def made(self) -> CutSheets:
        sheets = list(self._sheets())
        if not sheets:
            nothing = _text((EDGE_MM, self.high / 2), "Nothing is cut from stock.", 7.0)
            sheets = [Sheet([nothing], TitleFacts("Cut plan", "no stock", ""))]
        sheets += kit_sheets(self.plan, self.specs, self.number, self.area)
        sheets += buy_sheets(self.buy, self.unit, self.currency, self.number, self.area)
        sheets += bag_sheets(self.bags, self.number, self.area)
        return print_sheets(sheets, self.part, self.number, self.revision, self.hand,
                            (self.wide, self.high))  # fmt: skip

    def _sheets(self) -> Iterator[Sheet]:
        bars = [layout for layout in self.plan.layouts if layout.unit.kind == "bar"]
        for layout in self.plan.layouts:
            if layout.unit.kind != "bar":
                yield from self._drawings([layout])
                yield from self._tables([layout])
        for _, same in itertools.groupby(bars, self._stock_words):
            alike = list(same)
            for first in range(0, len(alike), BARS_A_PAGE):
                yield from self._drawings(alike[first : first + BARS_A_PAGE])
            yield from self._tables(alike)

    # ------------------------------------------------------------ drawings

    def _drawings(self, layouts: Sequence[Layout]) -> Iterator[Sheet]:
        """One roll, one sheet or a few bars to scale; what is too long in strips."""
        scale, strips, pictures = self._fitting(layouts)
        if 1 < len(layouts) < len(pictures):  # a bar in strips stands alone
            for layout in layouts:
                yield from self._drawings([layout])
            return
        first, last = layouts[0].unit, layouts[-1].unit
        name = first.id if len(layouts) == 1 else f"{first.id} to {last.id}"
        centred = len(pictures) == 1 and first.kind != "bar"
        pages = list(self._paged(pictures))
        for k, page in enumerate(pages, start=1):
            items = self._heading(name, self._stock_words(layouts[0]))
            top = self.area[3] - HEAD_MM
            for scene in page:
                top = self._set(items, scene, top, centred)
            items += self._bar_facts(layouts) if first.kind == "bar" else self._facts(layouts[0])
            shown = f"{name}, drawing"
            if len(pages) > 1:
                shown += f" {k} of {len(pages)}"
            facts = TitleFacts("Cut plan", shown, "", f"1:{show_number(scale, 1)}")
            yield Sheet(items, facts, drawn=tuple(strips[: len(page)]))
            strips = strips[len(page) :]

    def _paged(self, pictures: Sequence[Scene]) -> Iterator[list[Scene]]:
        """Pictures page by page, as many on each as its height holds."""
        page: list[Scene] = []
        for scene in pictures:
            if page and sum(_size_mm(s)[1] for s in [*page, scene]) > self.room[1]:
                yield page
                page = []
            page.append(scene)
        yield page

    def _picture(self, layout: Layout, scale: float, window: Window) -> Scene:
        key = (layout.unit.id, scale, window)
        if key not in self.pictures:
            self.pictures[key] = layout_scene(
                layout, self.plan.items, self.pieces, self.unit, scale, window, self._marked(layout)
            )
        return self.pictures[key]

    def _fitting(self, layouts: Sequence[Layout]) -> tuple[float, list[Strip], list[Scene]]:
        """The reduction at which every picture fits the paper with the names that stand beside
        it, what each shows, and the pictures."""
        around = np.array(FIGURES_MM)
        for _ in range(_TRIED):
            scale, strips = self._strips(layouts, self.room - around)
            pictures = [self._picture(layout, 1 / scale, window) for layout, window in strips]
            over = np.max([_size_mm(scene) for scene in pictures], axis=0) - self.room
            if (over <= 0).all():
                break
            around += np.maximum(over, 0.0)
        return scale, strips, pictures

    def _strips(self, layouts: Sequence[Layout], room_mm: np.ndarray) -> tuple[float, list[Strip]]:
        """The reduction, one for all, and what each picture shows; `room_mm` (2,) is what the
        paper has for the stock itself."""
        stock = layouts[0].unit
        wide, high = room_mm
        ends = [shown_length_mm(layout, self.rings) for layout in layouts]
        fitting = [s for s in SCALES if (stock.width_mm + stock.edge_mm) / s <= high]
        most = 1
        if stock.kind == "roll" and stock.outline_mm is None:
            fitting, most = [s for s in fitting if s >= 10], MOST_STRIPS
        elif stock.kind == "bar" and len(layouts) == 1 and max(ends) / SCALES[-1] > wide:
            most = BARS_A_PAGE
        counts = {s: math.ceil(max(ends) / (wide * s) - 1e-9) for s in fitting or SCALES[-1:]}
        scale = next((s for s, count in counts.items() if count <= most), SCALES[-1])
        if counts[scale] <= 1 or stock.outline_mm is not None:
            return scale, [(layout, None) for layout in layouts]
        step = 100.0 * math.ceil(max(ends) / counts[scale] / 100.0)
        return scale, [
            (layout, (k * step, min((k + 1) * step, end)))
            for layout, end in zip(layouts, ends, strict=True)
            for k in range(math.ceil(end / step - 1e-9))
        ]

    def _set(self, items: list[Primitive], scene: Scene, top: float, centred: bool) -> float:
        """Put a scene under `top`; gives the new top."""
        x0, _, _, y1 = scene.window_mm
        wide, high = _size_mm(scene)
        spare = max(0.0, (self.room[0] - wide) / 2) if centred else 0.0
        items += scene.moved(self.area[0] + spare - x0, top - y1).items
        return top - high

    def _bar_words(self, layout: Layout) -> str:
        """What is cut from a bar and what is left of it."""
        stock = layout.unit
        ends = [float(m.points_mm[:, 0].max()) for m in self._marked(layout)]
        left = max(0.0, stock.length_mm - max(ends, default=0.0))
        return f"{stock.id}: {len(ends)} off, {show_length(left, self.unit, grain=CLOTH)} left"

    # ------------------------------------------------------------ words

    def _bar_facts(self, bars: Sequence[Layout]) -> list[Primitive]:
        """Beside the title block: what is cut from each bar."""
        count = sum(len(layout.placements) for layout in bars)
        return self._notes([
            f"{count} lengths from {len(bars)} bar{'s' if len(bars) > 1 else ''}",
            *(self._bar_words(x) for x in bars),
        ], ["Before the next cut write the id on the piece just cut off."])  # fmt: skip

    def _heading(self, name: str, said: str) -> list[Primitive]:
        return heading(name, said, self.number, self.area)

    def _stock_words(self, layout: Layout) -> str:
        stock = layout.unit
        state = "to buy" if stock.bought else "on the shelf"
        return f"{stock.kind} of {self._material(stock.material)}, {state}"

    def _material(self, name: str) -> str:
        """The name as the first part that has the material gives it."""
        known = (spec.materials.names() for spec in self.specs)
        return next((names[name] for names in known if name in names), name)

    def _name(self, item: str) -> str:
        return short_name(item, len(self.specs) > 1)

    def _facts(self, layout: Layout) -> list[Primitive]:
        """Beside the title block: figures, order of cutting, what to write before lifting."""
        stock = layout.unit
        used = layout.used_length_mm if stock.kind == "roll" else stock.length_mm
        waste = used * stock.width_mm * (1.0 - layout.utilisation) / 1e6
        count = len(layout.placements)
        long = show_roll(used, self.unit) if stock.kind == "roll" else show_length(
            used, self.unit, grain=CLOTH)  # fmt: skip
        figures = [
            f"{count} piece{'s' if count != 1 else ''}{DOT}{long} \u00d7 "
            f"{show_length(stock.width_mm, self.unit, grain=CLOTH)}",
            f"{show_number(100 * layout.utilisation, 1)} % used, {show_number(waste, 3)} m\u00b2 "
            "left over or waste",
        ]
        if stock.kind == "roll" and layout.bound_mm > 0:
            figures.append(f"No plan can be shorter than {show_roll(layout.bound_mm, self.unit)}")
        names = dict.fromkeys(self._name(m.item) for m in self._marked(layout))
        return self._notes(figures, ["Cut in this order: " + ", ".join(names), *BEFORE_LIFTING])

    def _notes(self, figures: list[str], small: list[str]) -> list[Primitive]:
        x, y = self.area[0], self.area[1] + HEIGHT_MM
        room = self.area[2] - WIDTH_MM - x - 5.0
        rows = [(f, 2.5, 4.2) for f in figures]
        rows += [
            (row, 1.8, 2.9) for said in reversed(small[1:]) for row in wrapped(said, room, 1.8)
        ]
        order = [(row, 1.8, 2.9) for row in wrapped(small[0], room, 1.8)]
        spare = int((HEIGHT_MM - sum(r[2] for r in rows)) // 2.9)
        if len(order) > spare:  # the table gives the whole order
            order = [*order[: max(spare - 1, 0)], ("... the mark-out table gives it all", 1.8, 2.9)]
        items: list[Primitive] = []
        for words, height, pitch in [*rows[: len(figures)], *order, *rows[len(figures) :]]:
            y -= pitch
            items.append(_text((x, y), fitted(words, room, height), height))
        return items

    # ------------------------------------------------------------ mark-out tables

    def _marked(self, layout: Layout) -> tuple[MarkedPiece, ...]:
        name = layout.unit.id
        if name not in self.marked:
            self.marked[name] = mark_out(layout, self.rings, self.unit)
        return self.marked[name]

    def _tables(self, layouts: Sequence[Layout]) -> Iterator[Sheet]:
        """Mark-out of one roll or sheet, or of all bars of a kind."""
        first = layouts[0].unit
        bar = first.kind == "bar"
        area = (self.area[0], self.area[1] + HEIGHT_MM + 5.0, self.area[2], self.area[3] - 29.0)
        blocks: list[TableBlock] = []
        for layout in layouts:
            blocks += self._bar_block(layout) if bar else self._blocks(layout, column_mm(area))
        names = ("", "from", "to") if bar else ("point", "along", "across")
        name = "Bars" if bar else first.id
        said = self._reading(layouts[0])

        def page() -> list[Primitive]:
            items = self._heading(name, self._stock_words(layouts[0]))
            y = self.area[3] - HEAD_MM - 3.0
            for row in wrapped(said, self.room[0], 2.5):
                items.append(_text((self.area[0], y), row, 2.5))
                y -= 4.2
            return items

        pages = set_blocks(blocks, area, names, page)
        for n, items in enumerate(pages, start=1):
            shown = f"{name}, mark-out" + (f" {n} of {len(pages)}" if len(pages) > 1 else "")
            facts = TitleFacts("Cut plan", shown, "", "")
            yield Sheet(items, facts, told=tuple(layouts))

    def _reading(self, layout: Layout) -> str:
        """How the tables are read."""
        kind = layout.unit.kind
        unit = "inches" if self.unit == "in" else self.unit
        if kind == "bar":
            return f"From and to: along the bar from its end, in {unit}."
        step = show_length(stock_grain(kind).step_mm(self.unit), self.unit, grain=STIFF)
        origin = "line of the bay" if layout.bays else f"end of the {kind}"
        near = "line" if layout.bays else "end"
        said = (
            f"Along: from the {origin}. Across: from its edge. In {unit}, to the "
            f"next {step} outwards, so that no piece gets smaller. Point 1 is the one nearest to "
            f"the {near}; the others follow counter-clockwise."
        )
        return f"{said} {working(layout, self.unit)}" if layout.bays else said

    def _blocks(self, layout: Layout, room: float) -> list[TableBlock]:
        places = {(p.item, p.copy): p for p in layout.placements}
        blocks = []
        lines = list(self._across_all(layout, room))
        for order, mark in enumerate(self._marked(layout), start=1):
            while lines and lines[0][0] <= mark.ring_mm[:, 0].min() + NEAR_MM:
                blocks.append(lines.pop(0)[1])
            piece = self.pieces.get(mark.item)
            more = [f"{mark.copy} of {self.demand[mark.item]}"] * (self.demand[mark.item] > 1)
            if piece is not None and piece.kind == "ply":
                more.append(show_angle(piece.angle_deg))
            if piece is not None:
                down = places[mark.item, mark.copy].flipped
                more.append("lies FACE DOWN" if down else face_up_words(piece))
            head = [(fitted(f"{order}. {self._name(mark.item)}", room, 3.5, True), 3.5, True)]
            head += [(row, 1.8, False) for row in wrapped(DOT.join(more), room, 1.8)]
            if mark.curved or mark.over_mm > TOLD_MM:
                over = _over(mark.over_mm, self.unit)
                why = "Curves as chords" if mark.curved else "Corners stand out"
                said = f"{why}, at most {over} over; trim with the template."
                head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
            said = round_said(mark, self.unit)
            head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
            said = longer_than_table(mark, layout, self.unit)
            head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
            rows = self._points("", mark.told_mm)
            if piece is not None and piece.holes_mm:
                place, edge = places[mark.item, mark.copy], layout.unit.edge_mm
                grain = stock_grain(layout.unit.kind)
                openings = mark_openings(place, piece.holes_mm, edge, self.unit, grain,
                                         mark.line_mm)  # fmt: skip
                said = self._openings_said(openings)
                head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
                for name, opening in zip(_letters(), openings, strict=False):
                    rows += self._points(name, opening.points_mm, bool(opening.round_mm))
            blocks.append(TableBlock(tuple(head), tuple(rows)))
        return [*blocks, *(block for _, block in lines)]

    def _across_all(self, layout: Layout, room: float) -> Iterator[tuple[float, TableBlock]]:
        """Where each bay begins and each cut across lies, in order, with its block."""
        told = bays_told(layout, self._marked(layout), self.items, self.unit)
        found = [(one.bay.at_mm, self._bay(one, layout, room)) for one in told]
        ends = [one.bay.to_mm for one in told]
        for cut in stage_cuts(layout, self.items, self.unit):
            if all(abs(cut.along_mm - end) > NEAR_MM for end in ends):
                found.append((cut.along_mm, self._across(cut, layout, room)))
        yield from sorted(found, key=lambda row: row[0])

    def _bay(self, told: BayTold, layout: Layout, room: float) -> TableBlock:
        """One bay: from which line, and where the next one lies."""
        head = [(f"BAY {told.bay.number}", 5.0, True)]
        head += [(row, 2.5, False) for row in wrapped(told.said, room, 2.5)]
        return TableBlock(tuple(head), self._from_edge_to_edge(told.along, layout))

    def _points(self, name: str, points_mm: np.ndarray, single: bool = False) -> list[Row]:
        """Rows of a table: numbered points, after the letter of their opening."""
        return [
            (name if single else f"{name}{k}", tape(float(x), self.unit), tape(float(y), self.unit))
            for k, (x, y) in enumerate(points_mm, start=1)
        ]

    def _openings_said(self, openings: Sequence[MarkedOpening]) -> str:
        """What the letters of a block stand for."""
        said = []
        for name, opening in zip(_letters(), openings, strict=False):
            if opening.round_mm:
                across = show_length(opening.round_mm, self.unit, grain=CLOTH)
                said.append(f"{name}: middle of a round opening, {across} across")
                continue
            corners = f"{name}1 to {name}{len(opening.points_mm)}: corners of an opening"
            if opening.corner_mm:
                radius = show_length(opening.corner_mm, self.unit, grain=STIFF)
                corners += f", where its sides meet, rounded to a radius of {radius}"
            said.append(corners)
        return "; ".join(said) + ". Cut openings before the outline."

    def _across(self, cut: StageCut, layout: Layout, room: float) -> TableBlock:
        """The cut across a roll between two stages."""
        said = f"Before it lie the pieces of {cut.before}, after it those of {cut.after}."
        head = [("Cut across the roll", 3.5, True)]
        head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
        bay = layout.bay_of(cut.along_mm)
        along = tape(cut.along_mm - (bay.at_mm if bay else 0.0), self.unit)
        return TableBlock(tuple(head), self._from_edge_to_edge(along, layout))

    def _from_edge_to_edge(self, along: str, layout: Layout) -> tuple[Row, Row]:
        far = layout.unit.width_mm + 2 * layout.unit.edge_mm
        return ("from", along, "0"), ("to", along, tape(far, self.unit))

    def _bar_block(self, layout: Layout) -> list[TableBlock]:
        """All cuts of one bar; each length with its own end-to-end figures."""
        head = ((layout.unit.id, 3.5, True),)
        rows, names = [], []
        for k, mark in enumerate(self._marked(layout), start=1):
            along = mark.points_mm[:, 0]
            rows.append((f"{k}", tape(float(along.min()), self.unit),
                         tape(float(along.max()), self.unit)))  # fmt: skip
            names.append(f"{k}: {self._name(mark.item)}")
        lines: list[str] = []
        for name in names:  # a number stays with its name
            if lines and text_width_mm(joined := f"{lines[-1]}{DOT}{name}", 2.5) <= NAMES_MM:
                lines[-1] = joined
                continue
            lines[-1:] = [f"{line}{DOT.rstrip()}" for line in lines[-1:]]
            lines += wrapped(name, NAMES_MM, 2.5)
        return [TableBlock((*head, *((line, 2.5, False) for line in lines)), tuple(rows))]


def _size_mm(scene: Scene) -> np.ndarray:
    """(2,) width and height of a picture on the page."""
    x0, y0, x1, y1 = scene.window_mm
    return np.array([x1 - x0, y1 - y0])


def _letters() -> Iterator[str]:
    """a, b ... z, aa, ab ..."""
    for count in itertools.count(1):
        for letters in itertools.product(string.ascii_lowercase, repeat=count):
            yield "".join(letters)


def _text(at: tuple[float, float], words: str, height: float, bold: bool = False) -> Text:
    return Text(Role.TEXT, at, words, height, bold=bold)


def _over(over_mm: float, unit: str) -> str:
    """How far a mark-out stands over, rounded up."""
    if unit == "in":
        return f"{math.ceil(over_mm / MM_PER_INCH * 100) / 100:.2f} in"
    return f"{math.ceil(over_mm)} mm"
