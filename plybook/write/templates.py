"""Templates on paper: for every piece the least that lets it be cut within the tolerance.

`templates_pdf` begins with the printer test and the list of pieces. Then come, as far as pieces
need them, the cards of figures, the corner sheets, small pieces whole, and large ones in tiles.

Terms:
    way: how a piece comes onto the cloth. *figures*: by tape and straightedge from its card;
        *corners*: the same, with its curves printed; *whole*: printed on one sheet with others;
        *tiles*: printed on sheets that are taped together; *served*: by the template of another
        piece, turned over if it is of the other hand; *bar*: sawn to a length, by the cut plan.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np

from plybook.drawing.cornerview import CornerWindow, corner_scene
from plybook.drawing.letters import clean_text
from plybook.drawing.piececard import card
from plybook.drawing.piecewords import part_words
from plybook.drawing.scene import Primitive, Scene, Text
from plybook.drawing.servedcard import SERVED_MM, served_card
from plybook.drawing.tapecard import WIDTH_MM, tape_card
from plybook.drawing.template import draw_pieces
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.write import tile_pages
from plybook.write.fonts import MM
from plybook.write.paper import EDGE_MM, PAPERS_MM, TILE_MM, Window, grid_for
from plybook.write.pdf import bounds_mm, draw_scene, new_canvas
from plybook.write.shared import OtherHand, choose_all
from plybook.write.tiles import SmallMap, Tiling, around_tile, header
from plybook.write.ways import CARDS_ON_A_SHEET, Chosen, Way

ACTUAL_SIZE = "print at 100 %"
GAP_MM = 6.0  # between small pieces, and between windows, on one sheet


@dataclass(frozen=True)
class Sheet:
    """Where a piece stands on paper: what its frame shows, and where the frame lies.

    A point p of the piece's cut frame is at corner + (p - window[:2]) * stretch on the page, mm
    from the lower left corner of the paper. Pages count from 1.
    """

    piece: str
    page: int
    window_mm: tuple[float, float, float, float]
    corner_mm: tuple[float, float]
    stretch: tuple[float, float]
    way: Way = "tiles"


@dataclass(frozen=True)
class Card:
    """Where the figures of a piece stand: page, the card's box on it, and what its letters are.

    `knots` are (letter, x, y) in the piece's cut frame; `runs` are (letter, letter, kind).
    """

    piece: str
    page: int
    box_mm: tuple[float, float, float, float]
    knots: tuple[tuple[str, float, float], ...]
    runs: tuple[tuple[str, str, str], ...]
    tolerance_mm: float


@dataclass(frozen=True)
class ServedCard:
    """Where a piece is told that is cut by the template of piece `by` of part `of`: as it is, or
    turned over where that is the other hand.

    `knots` are that template's letters, (letter, x, y) in the piece's own cut frame; `ends` are
    (letter, letter, distance from the first, mm) of a line that it ends on, and `kept` the letters
    that stay on it.
    """

    piece: str
    page: int
    box_mm: tuple[float, float, float, float]
    of: str
    by: str
    tolerance_mm: float
    knots: tuple[tuple[str, float, float], ...]
    ends: tuple[tuple[str, str, float], ...] = ()
    kept: tuple[str, ...] = ()


@dataclass(frozen=True)
class PaperTemplates:
    """The file and the place of every piece in it."""

    pdf: bytes
    sheets: tuple[Sheet, ...]
    cards: tuple[Card, ...] = ()
    served: tuple[ServedCard, ...] = ()


def templates_pdf(
    spec: PartSpec,
    laminate: Laminate,
    face: Face,
    progress: Callable[[str], None] | None = None,
    chosen: Sequence[Chosen] = (),
    other: OtherHand | None = None,
) -> PaperTemplates:
    """Every piece on sheets of 190 by 250 mm, for A4 or Letter as the workshop says.

    Args:
        spec: paper, printer correction, tolerance and ways asked for, names.
        laminate: the pieces.
        face: for the key plans.
        progress: told the piece that is being drawn.
        chosen: every piece with its way, where that is known already.
        other: the opposite hand, where both are built together.
    """
    if not chosen:
        drawn = draw_pieces(laminate, face, spec, progress)
        chosen = choose_all(drawn, spec, other)
    return _Book(spec, laminate, face, chosen, other).made()


Placed = tuple[Chosen, float, float]


class _Book:
    """The file in the making: first the pages are counted, then drawn."""

    def __init__(
        self, spec: PartSpec, laminate: Laminate, face: Face, chosen: Sequence[Chosen],
        other: OtherHand | None = None,
    ) -> None:  # fmt: skip
        self.mirrored = other.number if other is not None and not other.before else ""
        self.spec, self.laminate, self.face = spec, laminate, face
        self.paper = PAPERS_MM[spec.workshop.paper]
        self.corner = ((self.paper[0] - TILE_MM[0]) / 2, EDGE_MM)
        self.stretch = (100.0 / spec.workshop.printer_x_pct, 100.0 / spec.workshop.printer_y_pct)
        self.chosen = chosen
        self.cuts: dict[str, list[Piece]] = {}  # by the piece whose template cuts them too
        for one in chosen:
            if one.served is not None and not one.served.part:
                self.cuts.setdefault(one.served.by, []).append(one.piece)
        self.cards = _stacked(
            [(one, self._card(one, 0).window_mm[3]) for one in chosen
             if one.way in ("figures", "corners")]
        )  # fmt: skip
        served = [one for one in chosen if one.way == "served"]
        at_a_time = CARDS_ON_A_SHEET
        self.served = [served[k : k + at_a_time] for k in range(0, len(served), at_a_time)]
        self.corners = _window_sheets(chosen)
        whole = [one for one in chosen if one.way == "whole"]
        self.shared = _shared_sheets(whole, self.cuts.keys())
        self.large = [one for one in chosen if one.way == "tiles"]

    def made(self) -> PaperTemplates:
        title = f"{self.spec.part.number} {self.spec.part.revision} templates 1:1"
        self.canvas, buffer = new_canvas(*self.paper, title, self.spec.part.drawn_by,
                                         self.spec.part.name)  # fmt: skip
        lists = self._lists(0)
        first = 2 + len(lists)
        lists = self._lists(first)
        self.first_corner = first + len(self.served) + len(self.cards)
        self.total = (
            first - 1 + len(self.served) + len(self.cards) + len(self.corners) + len(self.shared)
            + sum(1 + len(one.tiling.printed) for one in self.large)
        )  # fmt: skip
        self.page = 0
        self.sheets: list[Sheet] = []
        self.noted: list[Card] = []
        self.told: list[ServedCard] = []
        self._sheet(tile_pages.test_page(self.spec, self.corner), "Printer test")
        for scene in lists:
            self._sheet(scene, "List of pieces")
        for some in self.served:
            self._served_sheet(some)
        for stack in self.cards:
            self._cards_sheet(stack)
        for windows in self.corners:
            self._corner_sheet(windows)
        for sheet in self.shared:
            self._shared_sheet(sheet)
        for one in self.large:
            self._map(one.piece, one.tiling)
            for k, at in enumerate(one.tiling.printed):
                self._tile(one.piece, one.tiling, at, k)
        self.canvas.save()
        return PaperTemplates(buffer.getvalue(), tuple(self.sheets), tuple(self.noted),
                              tuple(self.told))  # fmt: skip

    def _lists(self, first: int) -> list[Scene]:
        """The list of pieces; `first` is the page number of the first sheet after it."""
        where: dict[str, tuple[str, str]] = {}
        where |= {one.piece.id: ("sawn to length", "cut plan")
                  for one in self.chosen if one.way == "bar"}  # fmt: skip
        for k, some in enumerate(self.served):
            for one in some:
                assert one.served is not None
                how = f"turned, {one.served.part}" if one.served.part else f"by {one.served.by}"
                where[one.piece.id] = (how, f"{first + k}")
        start = first + len(self.served)
        for k, stack in enumerate(self.cards):
            for one, _ in stack:
                where[one.piece.id] = ("figures", f"{start + k}")
        start += len(self.cards)
        printed: dict[str, list[int]] = {}
        for k, sheet in enumerate(self.corners):
            for one, *_ in sheet:
                printed.setdefault(one.piece.id, []).append(start + k)
        for id, pages in printed.items():
            told = f"{pages[0]}" if pages[0] == pages[-1] else f"{pages[0]}\u2013{pages[-1]}"
            where[id] = ("figures and corners", f"{where[id][1]}, {told}")
        page = start + len(self.corners)
        for small in self.shared:
            for one, *_ in small:
                where[one.piece.id] = ("whole", f"{page}")
            page += 1
        for one in self.large:
            grid, count = one.tiling.grid, len(one.tiling.printed)
            size = f"tiles, {grid.rows} \u00d7 {grid.columns}, {count} printed"
            where[one.piece.id] = (size, f"{page} map, {page + 1}\u2013{page + count}")
            page += 1 + count
        head = ("Piece", "Material", "Quantity", "How", "Pages")
        rows = [
            (p.id, self.spec.materials.name_of(p.material), f"{p.quantity} OFF", *where[p.id])
            for p in self.laminate.pieces
            if p.id in where
        ]
        return tile_pages.list_pages(self.spec, head, rows, (34, 58, 20, 44, 34), self.corner)

    # ------------------------------------------------------------ pages

    def _draw(self, scene: Scene) -> None:
        """Page furniture, in page mm, stretched like the drawing about the tile's corner."""
        x, y = self.corner
        sx, sy = self.stretch
        draw_scene(
            self.canvas,
            Scene(scene.items, (0.0, 0.0, *self.paper)),
            x * MM * (1 - sx),
            y * MM * (1 - sy),
            stretch=self.stretch,
        )

    def _facts(self, more: str) -> tuple[str, str]:
        self.page += 1
        part = self.spec.part
        return (
            f"{part_words(self.spec)} \u00b7 {part.name}",
            f"{more} \u00b7 page {self.page} of {self.total} \u00b7 {ACTUAL_SIZE}",
        )

    def _sheet(self, scene: Scene, name: str) -> None:
        items = header(self.corner, name, "", self._facts(self.spec.part.date))
        self._draw(Scene((*scene.items, *items), (0, 0, 1, 1)))
        self.canvas.showPage()

    def _card(self, one: Chosen, first: int) -> Scene:
        """The card of a piece; its printed runs stand on the corner sheets from page `first`."""
        assert one.plan is not None
        pages = {
            run: first + k
            for k, sheet in enumerate(self.corners if first else [])
            for other, window, _, _ in sheet
            if other is one
            for run in window.runs
        }
        if not first:  # as high as it will be
            pages = {k: 0 for k, run in enumerate(one.plan.runs) if run.kind == "printed"}
        return tape_card(one.piece, one.plan, self.laminate, self.spec, pages,
                         self._serves(one.piece))  # fmt: skip

    def _served_sheet(self, some: Sequence[Chosen]) -> None:
        """Pieces cut by templates of others, ten to a sheet."""
        ids = ", ".join(one.piece.id for one in some)
        items: list[Primitive] = [
            *header(self.corner, ids, "", self._facts("cut by templates of other pieces"))
        ]
        (wide, high), (x0, y0), (sx, sy) = SERVED_MM, self.corner, self.stretch
        for k, one in enumerate(some):
            assert one.served is not None
            row, column = divmod(k, 2)
            x, y = column * (TILE_MM[0] - wide), TILE_MM[1] - (row + 1) * high
            scene = served_card(one.piece, one.plan, one.served, self.laminate, self.spec)
            items += scene.moved(x0 + x, y0 + y).items
            box = (x0 + x * sx, y0 + y * sy, x0 + (x + wide) * sx, y0 + (y + high) * sy)
            self.told.append(self._told(one, box))
        self._draw(Scene(tuple(items), (0, 0, 1, 1)))
        self.canvas.showPage()

    def _told(self, one: Chosen, box_mm: Window) -> ServedCard:
        served, plan = one.served, one.plan
        assert served is not None
        made = ServedCard(
            one.piece.id, self.page, box_mm, served.part or self.spec.part.number, served.by,
            self.spec.templates.tolerance_of(one.piece.kind),
            tuple((k.name, *k.at_mm) for k in plan.knots) if plan is not None else (),
        )  # fmt: skip
        if served.end is None or plan is None:
            return made
        name = [knot.name for knot in plan.knots]
        runs = [(plan.runs[run], at) for run, at in served.end.ends]
        ends = tuple((name[run.start], name[run.end], at) for run, at in runs)
        return replace(made, ends=ends, kept=tuple(name[k] for k in served.end.kept))

    def _serves(self, piece: Piece) -> tuple[str, ...]:
        """What a template says of other pieces that it serves."""
        said, others = [], self.cuts.get(piece.id, [])
        if others:
            count = piece.quantity + sum(other.quantity for other in others)
            ids = ", ".join(other.id for other in others)
            said.append(f"{piece.id} cuts {ids} too, {count} OFF in all: see their cards.")
        if self.mirrored:
            said.append(f"Mirrored, the template of {self.mirrored} too.")
        return tuple(said)

    def _cards_sheet(self, stack: Sequence[tuple[Chosen, float]]) -> None:
        ids = ", ".join(one.piece.id for one, _ in stack)
        items: list[Primitive] = [*header(self.corner, ids, "", self._facts("figures to draw by"))]
        for one, low in stack:
            scene = self._card(one, self.first_corner)
            items += scene.moved(self.corner[0], self.corner[1] + low).items
            self._noted(one, low, scene.window_mm[3])
        self._draw(Scene(tuple(items), (0, 0, 1, 1)))
        self.canvas.showPage()

    def _noted(self, one: Chosen, low: float, high: float) -> None:
        plan = one.plan
        assert plan is not None
        (x, y), (sx, sy) = self.corner, self.stretch
        box = (x, y + low * sy, x + WIDTH_MM * sx, y + (low + high) * sy)
        name = [knot.name for knot in plan.knots]
        self.noted.append(
            Card(
                one.piece.id,
                self.page,
                box,
                tuple((knot.name, *knot.at_mm) for knot in plan.knots),
                tuple((name[run.start], name[run.end], run.kind) for run in plan.runs),
                self.spec.templates.tolerance_of(one.piece.kind),
            )
        )

    def _corner_sheet(self, windows: Sequence[tuple[Chosen, CornerWindow, float, float]]) -> None:
        ids = ", ".join(dict.fromkeys(one.piece.id for one, *_ in windows))
        scenes, unsaid = [], dict[str, None]()
        for one, window, *_ in windows:
            assert one.plan is not None
            serves = self._serves(one.piece)
            scenes.append(corner_scene(one.piece, one.drawing.bare.items, one.plan, window,
                                       self.spec, serves))  # fmt: skip
            shown = {item.text for item in scenes[-1].items if isinstance(item, Text)}
            unsaid |= dict.fromkeys(said for said in serves if clean_text(said) not in shown)
        facts = self._facts(" \u00b7 ".join(("corners 1:1", *unsaid)))
        for (one, window, x, y), scene in zip(windows, scenes, strict=True):
            corner = (self.corner[0] + x * self.stretch[0], self.corner[1] + y * self.stretch[1])
            draw_scene(self.canvas, scene, corner[0] * MM, corner[1] * MM, clip=window.window_mm,
                       stretch=self.stretch, bounds=bounds_mm(scene))  # fmt: skip
            self._placed(one.piece, window.window_mm, corner, "corners")
        self._draw(Scene(tuple(header(self.corner, ids, "", facts)), (0, 0, 1, 1)))
        self.canvas.showPage()

    def _map(self, piece: Piece, tiling: Tiling) -> None:
        beside = card(piece, self.laminate, self.face, self.spec, (0.0, 0.0, 1.0, 1.0))
        scene = tile_pages.map_page(tiling, cut_outline_mm(piece), beside, self.spec, self.corner)
        items = header(self.corner, piece.id, "MAP", self._facts("page map"))
        self._draw(Scene((*scene.items, *items), (0, 0, 1, 1)))
        self.canvas.showPage()

    def _tile(self, piece: Piece, tiling: Tiling, at: tuple[int, int], k: int) -> None:
        window = tiling.grid.window(*at)
        x, y = self.corner[0] * MM, self.corner[1] * MM
        draw_scene(self.canvas, tiling.scene, x, y, clip=window, stretch=self.stretch,
                   bounds=tiling.bounds)  # fmt: skip
        row, count = at[0] + 1, len(tiling.printed)
        more = " \u00b7 ".join((f"row {row}, column {at[1] + 1}", f"sheet {k + 1} of {count}",
                                *self._serves(piece)))  # fmt: skip
        small = SmallMap(tiling, self.corner)
        items: list[Primitive] = [
            *around_tile(tiling, at, self.corner).items,
            *header(self.corner, piece.id, tiling.grid.name(*at), self._facts(more)),
            small.cell(at),
            *small.lines().items,
        ]
        self._draw(Scene(tuple(items), (0, 0, 1, 1)))
        self._placed(piece, window, self.corner)
        self.canvas.showPage()

    def _shared_sheet(self, sheet: Sequence[Placed]) -> None:
        for one, x, y in sheet:
            x_mm, y_mm = self.corner[0] + x * self.stretch[0], self.corner[1] + y * self.stretch[1]
            draw_scene(self.canvas, one.printed, x_mm * MM, y_mm * MM, stretch=self.stretch)
        first = sheet[0][0].printed
        frame = around_tile(Tiling(first, grid_for(first.window_mm), (), (), np.zeros((0, 4))),
                            (0, 0), self.corner)  # fmt: skip
        ids = ", ".join(one.piece.id for one, *_ in sheet)
        also = dict.fromkeys(said for one, *_ in sheet for said in self._serves(one.piece))
        pieces = f"{len(sheet)} piece{'s' if len(sheet) > 1 else ''}"
        items = header(self.corner, ids, "", self._facts(" \u00b7 ".join((pieces, *also))))
        self._draw(Scene((*frame.items, *items), (0, 0, 1, 1)))
        for one, x, y in sheet:
            corner = (self.corner[0] + x * self.stretch[0], self.corner[1] + y * self.stretch[1])
            self._placed(one.piece, one.printed.window_mm, corner, "whole")
        self.canvas.showPage()

    def _placed(
        self, piece: Piece, window: Window, corner: tuple[float, float], way: Way = "tiles"
    ) -> None:
        """Note where a piece stands on the page that is being drawn."""
        self.sheets.append(Sheet(piece.id, self.page, window, corner, self.stretch, way))


def _stacked(cards: Sequence[tuple[Chosen, float]]) -> list[list[tuple[Chosen, float]]]:
    """Cards one below the other on sheets, in the order they come; with each, how far its lower
    edge lies above the foot of the sheet."""
    sheets: list[list[tuple[Chosen, float]]] = []
    left = 0.0
    for one, high in cards:
        if not sheets or high > left:
            sheets.append([])
            left = TILE_MM[1]
        left -= high
        sheets[-1].append((one, left))
        left -= 1.0
    return sheets


def _window_sheets(
    chosen: Sequence[Chosen],
) -> list[list[tuple[Chosen, CornerWindow, float, float]]]:
    """Windows on sheets, the large ones first; (x, y) is a window's lower left corner in the
    frame. A sheet is a grid of four quarters."""
    quarter = (TILE_MM[0] - GAP_MM) / 2, (TILE_MM[1] - GAP_MM) / 2
    all_windows = [(one, window) for one in chosen for window in one.windows]
    all_windows.sort(key=lambda row: -math.prod(row[1].size_mm))
    sheets: list[tuple[set[tuple[int, int]], list[tuple[Chosen, CornerWindow, float, float]]]] = []
    for one, window in all_windows:
        wide, high = (1 if size <= part else 2 for size, part in
                      zip(window.size_mm, quarter, strict=True))  # fmt: skip
        spots = [(c, r) for r in (1, 0) for c in (0, 1) if c + wide <= 2 and r + high <= 2]
        for free, held in [*sheets, (None, None)]:
            if free is None or held is None:
                free, held = {(0, 0), (0, 1), (1, 0), (1, 1)}, []
                sheets.append((free, held))
            fits = (
                (c, r, {(c + i, r + j) for i in range(wide) for j in range(high)}) for c, r in spots
            )
            found = next((row for row in fits if row[2] <= free), None)
            if found is not None:
                c, r, cells = found
                free -= cells
                held.append((one, window, c * (quarter[0] + GAP_MM), r * (quarter[1] + GAP_MM)))
                break
    return [held for _, held in sheets]


def _shared_sheets(small: Sequence[Chosen], serving: Set[str]) -> list[list[Placed]]:
    """Small pieces in rows on shared sheets, in the order they come; (x, y) is where the lower
    left corner of a piece's drawing lies in the tile. A head has room for the words of one piece
    that cuts others too."""
    sheets: list[list[Placed]] = []
    left, top, high = 0.0, TILE_MM[1], 0.0
    for one in small:
        x0, y0, x1, y1 = one.printed.window_mm
        wide, tall = x1 - x0, y1 - y0
        if sheets and left + wide > TILE_MM[0]:
            left, top, high = 0.0, top - high - GAP_MM, 0.0
        before = [placed.piece.id for placed, *_ in sheets[-1]] if sheets else []
        full = one.piece.id in serving and not serving.isdisjoint(before)
        if not sheets or top - tall < 0.0 or full:
            sheets.append([])
            left, top, high = 0.0, TILE_MM[1], 0.0
        sheets[-1].append((one, left, top - tall))
        left, high = left + wide + GAP_MM, max(high, tall)
    return sheets
