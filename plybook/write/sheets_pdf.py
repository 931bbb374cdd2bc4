"""The cut plan on paper: every roll, sheet and bar drawn to scale, then its mark-out table.

Sheets lie on their long side. A roll longer than one sheet runs over several; each shows its
running coordinates, so that a tape laid once along the roll serves them all. The mark-out tables
give every corner point from the stock's end and edge, in the order of cutting. Bars share sheets.
"""

from __future__ import annotations

import itertools
import math
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from plybook.drawing.layout import layout_scene, short_name, shown_length_mm
from plybook.drawing.letters import fitted, text_width_mm, wrapped
from plybook.drawing.piecewords import DOT, face_up_words
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Primitive, Role, Scene, Text
from plybook.drawing.titleblock import (
    HEIGHT_MM,
    WIDTH_MM,
    TitleFacts,
    hand_words,
    title_block,
)
from plybook.laminate.model import Piece
from plybook.nest.markout import (
    TOLD_MM,
    MarkedOpening,
    MarkedPiece,
    StageCut,
    mark_openings,
    mark_out,
    stage_cuts,
    tape,
)
from plybook.nest.model import CutPlan, Layout
from plybook.spec.model import PartSpec
from plybook.units import show_length, show_number
from plybook.write.markout_pages import Row, TableBlock, column_mm, set_blocks
from plybook.write.paper import EDGE_MM, PAPERS_MM
from plybook.write.pdf import draw_scene, new_canvas

SCALES = (2, 5, 10, 12.5, 20, 50, 100)  # ISO 5455 reductions, and one that suits 4 ft widths
MOST_STRIPS = 12  # of one roll; a longer one is drawn smaller
HEAD_MM = 11.0
FIGURES_MM = (30.0, 29.0)  # room for figures and words around the stock
BARS_A_PAGE = 4
BEFORE_LIFTING = (
    "Before lifting a piece write on it: its id, its bag side, an arrow along 0\u00b0.",
    "Holes and slots first, the outline last.",
)

Sheet = tuple[list[Primitive], TitleFacts]
Seen = tuple[str, str, float, tuple[float, float] | None]  # stock, unit, scale, window


_TRIED = 4  # ways to divide a roll, each with more room for the names beside it


@dataclass
class Shared:
    """What the files of one cut plan have in common, made once: each layout's picture and the
    figures of its mark-out."""

    pictures: dict[Seen, Scene] = field(default_factory=dict)
    marked: dict[tuple[str, str], tuple[MarkedPiece, ...]] = field(default_factory=dict)


def cutplan_pdf(
    plan: CutPlan,
    pieces: Mapping[str, Piece],
    specs: Sequence[PartSpec],
    number: str = "",
    title: str = "",
    shared: Shared | None = None,
) -> bytes:
    """Every layout of a plan.

    Args:
        plan: the layouts that are to be printed, and the items they place.
        pieces: by item id ("<part number>/<piece id>").
        specs: the parts cut; the first gives paper, unit and title block.
        number: name of the set where several parts are cut together.
        title: what the sheets show, the first part's name otherwise.
        shared: of all files that show the same plan, to draw each layout once.
    """
    return _Plan(plan, pieces, specs, number, title, shared or Shared()).bytes()


class _Plan:
    """The file in the making."""

    def __init__(self, plan: CutPlan, pieces: Mapping[str, Piece], specs: Sequence[PartSpec],
                 number: str, title: str, shared: Shared):  # fmt: skip
        self.plan, self.pieces, self.specs, self.shared = plan, pieces, specs, shared
        self.items = {item.id: item for item in plan.items}
        self.rings = {item.id: item.outline_mm for item in plan.items}
        self.demand = {item.id: item.demand for item in plan.items}
        part = specs[0].part
        self.part = replace(part, name=title) if title else part
        self.number = number or part.number
        self.unit = part.units
        of_set = [s.part for s in specs] if number else [part]
        self.revision = ", ".join(dict.fromkeys(p.revision for p in of_set))
        hands = dict.fromkeys(hand_words(p.hand) for p in of_set)
        self.hand = " + ".join(hands).replace(" HAND +", " +")
        self.high, self.wide = PAPERS_MM[specs[0].workshop.paper]  # on its long side
        self.area = (EDGE_MM, EDGE_MM, self.wide - EDGE_MM, self.high - EDGE_MM)
        self.room = (self.area[2] - self.area[0],
                     self.area[3] - self.area[1] - HEIGHT_MM - HEAD_MM)  # fmt: skip

    def bytes(self) -> bytes:
        sheets = list(self._sheets())
        if not sheets:
            nothing = _text((EDGE_MM, self.high / 2), "Nothing is cut from stock.", 7.0)
            sheets = [([nothing], TitleFacts("Cut plan", "no stock", ""))]
        canvas, buffer = new_canvas(self.wide, self.high, f"{self.number} cut plan",
                                    self.part.drawn_by, self.part.name)  # fmt: skip
        corner = (self.area[2] - WIDTH_MM, self.area[1])
        for k, (items, facts) in enumerate(sheets, start=1):
            facts = replace(facts, sheet=f"{k} / {len(sheets)}", number=self.number,
                            revision=self.revision, hand=self.hand)  # fmt: skip
            every = (*items, *title_block(self.part, facts, corner))
            draw_scene(canvas, Scene(every, (0, 0, self.wide, self.high)), 0.0, 0.0)
            canvas.showPage()
        canvas.save()
        return buffer.getvalue()

    def _sheets(self) -> Iterator[Sheet]:
        bars = [layout for layout in self.plan.layouts if layout.unit.kind == "bar"]
        for layout in self.plan.layouts:
            if layout.unit.kind != "bar":
                yield from self._drawings(layout)
                yield from self._tables([layout])
        for first in range(0, len(bars), BARS_A_PAGE):
            yield self._bars(bars[first : first + BARS_A_PAGE])
        if bars:
            yield from self._tables(bars)

    # ------------------------------------------------------------ drawings

    def _drawings(self, layout: Layout) -> Iterator[Sheet]:
        """One roll or sheet to scale, a long roll in strips."""
        scale, windows = self._fitting(layout)
        high = (layout.unit.width_mm + layout.unit.edge_mm) / scale + FIGURES_MM[1]
        a_page = max(1, int(self.room[1] // high))
        pages = [windows[k : k + a_page] for k in range(0, len(windows), a_page)]
        for k, page in enumerate(pages, start=1):
            items = self._heading(layout.unit.id, self._stock_words(layout))
            top = self.area[3] - HEAD_MM
            for window in page:
                scene = self._picture(layout, 1 / scale, window if len(windows) > 1 else None)
                top = self._set(items, scene, top, centred=len(windows) == 1)
            items += self._facts(layout)
            shown = f"{layout.unit.id}, drawing"
            if len(pages) > 1:
                shown += f" {k} of {len(pages)}"
            yield items, TitleFacts("Cut plan", shown, "", f"1:{show_number(scale, 1)}")

    def _picture(
        self, layout: Layout, scale: float, window: tuple[float, float] | None = None
    ) -> Scene:
        key = (layout.unit.id, self.unit, scale, window)
        if key not in self.shared.pictures:
            self.shared.pictures[key] = layout_scene(
                layout, self.plan.items, self.pieces, self.unit, scale, window, self._marked(layout)
            )
        return self.shared.pictures[key]

    def _fitting(self, layout: Layout) -> tuple[float, list[tuple[float, float]]]:
        """The strips whose pictures fit the paper with the names that stand beside them."""
        beside = 0.0
        for _ in range(_TRIED):
            scale, windows = self._strips(layout, beside)
            shown = [window if len(windows) > 1 else None for window in windows]
            boxes = [self._picture(layout, 1 / scale, window).window_mm for window in shown]
            over = max(x1 - x0 for x0, _, x1, _ in boxes) - self.room[0]
            if over <= 0:
                break
            beside += over
        return scale, windows

    def _strips(self, layout: Layout, beside_mm: float) -> tuple[float, list[tuple[float, float]]]:
        """The reduction, and from where to where each strip runs along the stock; `beside_mm` of
        the paper's width is kept for long names."""
        stock = layout.unit
        end = shown_length_mm(layout, self.rings)
        wide = self.room[0] - FIGURES_MM[0] - beside_mm
        high = self.room[1] - FIGURES_MM[1]
        across = stock.width_mm + stock.edge_mm
        fitting = [s for s in SCALES if across / s <= high] or [SCALES[-1]]
        if stock.kind == "roll":
            for scale in (s for s in fitting if s >= 10):
                count = math.ceil(end / (wide * scale) - 1e-9)
                step = 100.0 * math.ceil(end / max(count, 1) / 100.0)
                if count <= MOST_STRIPS or scale == SCALES[-1]:
                    return scale, [
                        (k * step, min((k + 1) * step, end)) for k in range(max(count, 1))
                    ]
        scale = next((s for s in fitting if end / s <= wide), SCALES[-1])
        return scale, [(0.0, end)]

    def _set(self, items: list[Primitive], scene: Scene, top: float, centred: bool) -> float:
        """Put a scene under `top`; gives the new top."""
        x0, y0, x1, y1 = scene.window_mm
        spare = max(0.0, (self.room[0] - (x1 - x0)) / 2) if centred else 0.0
        items += scene.moved(self.area[0] + spare - x0, top - y1).items
        return top - (y1 - y0)

    def _bars(self, bars: Sequence[Layout]) -> Sheet:
        """A few bars on one sheet, all at one scale."""
        shown = {layout.unit.id: shown_length_mm(layout, self.rings) for layout in bars}
        longest = max(shown.values())
        scale = next((s for s in SCALES if longest / s <= self.room[0] - FIGURES_MM[0]),
                     SCALES[-1])  # fmt: skip
        name = bars[0].unit.id if len(bars) == 1 else f"{bars[0].unit.id} to {bars[-1].unit.id}"
        items = self._heading(name, self._stock_words(bars[0]))
        top = self.area[3] - HEAD_MM
        for layout in bars:
            scene = self._picture(layout, 1 / scale)
            top = self._set(items, scene, top, centred=False)
        count = sum(len(layout.placements) for layout in bars)
        items += self._notes([
            f"{count} lengths from {len(bars)} bar{'s' if len(bars) > 1 else ''}",
            *(self._bar_words(x) for x in bars),
        ], ["Before the next cut write the id on the piece just cut off."])  # fmt: skip
        return items, TitleFacts("Cut plan", f"{name}, drawing", "", f"1:{show_number(scale, 1)}")

    def _bar_words(self, layout: Layout) -> str:
        """What is cut from a bar and what is left of it."""
        stock = layout.unit
        ends = [float(m.points_mm[:, 0].max()) for m in self._marked(layout)]
        left = max(0.0, stock.length_mm - max(ends, default=0.0))
        return f"{stock.id}: {len(ends)} off, {show_length(left, self.unit)} left"

    # ------------------------------------------------------------ words

    def _heading(self, name: str, said: str) -> list[Primitive]:
        x, y = self.area[0], self.area[3] - 7.0
        after = x + text_width_mm(name, 7.0, True) + 5.0
        room = self.area[2] - after - text_width_mm(self.number, 5.0, True) - 6.0
        return [
            _text((x, y), name, 7.0, True),
            _text((after, y), fitted(said, room, 3.5), 3.5),
            Text(Role.TEXT, (self.area[2], y), self.number, 5.0, anchor="end", bold=True),
        ]

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
        figures = [
            f"{count} piece{'s' if count != 1 else ''}{DOT}{show_length(used, self.unit)} \u00d7 "
            f"{show_length(stock.width_mm, self.unit)}",
            f"{show_number(100 * layout.utilisation, 1)} % used, {show_number(waste, 3)} m\u00b2 "
            "left over or waste",
        ]
        if stock.kind == "roll" and layout.bound_mm > 0:
            figures.append(f"No plan can be shorter than {show_length(layout.bound_mm, self.unit)}")
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
        key = (layout.unit.id, self.unit)
        if key not in self.shared.marked:
            self.shared.marked[key] = mark_out(layout, self.rings, self.unit)
        return self.shared.marked[key]

    def _tables(self, layouts: Sequence[Layout]) -> Iterator[Sheet]:
        """Mark-out of one roll or sheet, or of all bars."""
        first = layouts[0].unit
        bar = first.kind == "bar"
        area = (self.area[0], self.area[1] + HEIGHT_MM + 5.0, self.area[2], self.area[3] - 29.0)
        blocks: list[TableBlock] = []
        for layout in layouts:
            blocks += self._bar_block(layout) if bar else self._blocks(layout, column_mm(area))
        names = ("", "from", "to") if bar else ("point", "along", "across")
        name = "Bars" if bar else first.id
        said = self._reading(first.kind)

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
            yield items, TitleFacts("Cut plan", shown, "", "")

    def _reading(self, kind: str) -> str:
        """How the tables are read."""
        unit = "inches" if self.unit == "in" else self.unit
        if kind == "bar":
            return f"From and to: along the bar from its end, in {unit}."
        step = "1/16 in" if self.unit == "in" else "0.5 mm"
        return (
            f"Along: from the end of the {kind}. Across: from its edge. In {unit}, to the "
            f"next {step} outwards, so that no piece gets smaller. Point 1 is the one nearest to "
            "the end; the others follow counter-clockwise."
        )

    def _blocks(self, layout: Layout, room: float) -> list[TableBlock]:
        places = {(p.item, p.copy): p for p in layout.placements}
        blocks = []
        cuts = list(stage_cuts(layout, self.items))
        for order, mark in enumerate(self._marked(layout), start=1):
            if cuts and mark.ring_mm[:, 0].min() >= cuts[0].along_mm:
                blocks.append(self._across(cuts.pop(0), layout, room))
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
                over = show_number(math.ceil(mark.over_mm * 10) / 10, 1)
                why = "Curves as chords" if mark.curved else "Corners stand out"
                said = f"{why}, at most {over} mm over; trim with the template."
                head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
            rows = self._points("", mark.points_mm)
            if piece is not None and piece.holes_mm:
                place, edge = places[mark.item, mark.copy], layout.unit.edge_mm
                openings = mark_openings(place, piece.holes_mm, edge, self.unit)
                said = self._openings_said(openings)
                head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
                for name, opening in zip(_letters(), openings, strict=False):
                    rows += self._points(name, opening.points_mm, bool(opening.round_mm))
            blocks.append(TableBlock(tuple(head), tuple(rows)))
        return blocks

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
                across = show_length(round(opening.round_mm, 1), self.unit)
                said.append(f"{name}: middle of a round opening, {across} across")
            else:
                said.append(f"{name}1 to {name}{len(opening.points_mm)}: corners of an opening")
        return "; ".join(said) + ". Cut openings before the outline."

    def _across(self, cut: StageCut, layout: Layout, room: float) -> TableBlock:
        """The cut across a roll between two stages."""
        said = f"Before it lie the pieces of {cut.before}, after it those of {cut.after}."
        head = [("Cut across the roll", 3.5, True)]
        head += [(row, 1.8, False) for row in wrapped(said, room, 1.8)]
        along = tape(cut.along_mm, self.unit)
        far = layout.unit.width_mm + 2 * layout.unit.edge_mm
        rows = (("from", along, "0"), ("to", along, tape(far, self.unit)))
        return TableBlock(tuple(head), rows)

    def _bar_block(self, layout: Layout) -> list[TableBlock]:
        """All cuts of one bar; each length with its own end-to-end figures."""
        head = ((layout.unit.id, 3.5, True),)
        rows, names = [], []
        for k, mark in enumerate(self._marked(layout), start=1):
            along = mark.points_mm[:, 0]
            rows.append((f"{k}", tape(float(along.min()), self.unit),
                         tape(float(along.max()), self.unit)))  # fmt: skip
            names.append(f"{k}: {self._name(mark.item)}")
        lines = wrapped(DOT.join(names), 60.0, 2.5)
        return [TableBlock((*head, *((line, 2.5, False) for line in lines)), tuple(rows))]


def _letters() -> Iterator[str]:
    """a, b ... z, aa, ab ..."""
    for count in itertools.count(1):
        for letters in itertools.product(string.ascii_lowercase, repeat=count):
            yield "".join(letters)


def _text(at: tuple[float, float], words: str, height: float, bold: bool = False) -> Text:
    return Text(Role.TEXT, at, words, height, bold=bold)
