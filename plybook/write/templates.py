"""Templates on paper: every piece 1:1 in tiles for an ordinary printer, and whole for a plotter.

`templates_pdf` begins with the printer test and the list of pieces. A piece larger than one tile
has a page map and one sheet per tile; smaller pieces share sheets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from plybook.drawing.piececard import card
from plybook.drawing.piecewords import part_words
from plybook.drawing.scene import Primitive, Scene
from plybook.drawing.template import PieceDrawing, draw_pieces
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.write import tile_pages
from plybook.write.fonts import MM
from plybook.write.paper import EDGE_MM, LARGEST_PAGE_MM, PAPERS_MM, TILE_MM, Window
from plybook.write.pdf import draw_scene, new_canvas
from plybook.write.tiles import SmallMap, Tiling, around_tile, header, tile

ACTUAL_SIZE = "Print at actual size (100 %). The frame is 190 \u00d7 250 mm."
GAP_MM = 6.0  # between small pieces on one sheet


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


@dataclass(frozen=True)
class TiledTemplates:
    """The file and the place of every piece in it."""

    pdf: bytes
    sheets: tuple[Sheet, ...]


def templates_pdf(
    spec: PartSpec,
    laminate: Laminate,
    face: Face,
    progress: Callable[[str], None] | None = None,
    drawings: Sequence[PieceDrawing] | None = None,
) -> TiledTemplates:
    """Every piece 1:1 in tiles of 190 by 250 mm, for A4 or Letter as the workshop says.

    Args:
        spec: paper, printer correction, names.
        laminate: the pieces.
        face: for the key plans.
        progress: told the piece that is being drawn.
        drawings: from `draw_pieces`, where they have been made already.
    """
    drawings = drawings or draw_pieces(laminate, face, spec, progress)
    tilings = [(drawing.piece, tile(drawing.bare)) for drawing in drawings]
    return _Book(spec, laminate, face, tilings).made()


class _Book:
    """The tiled file in the making: first the pages are counted, then drawn."""

    def __init__(self, spec: PartSpec, laminate: Laminate, face: Face,
                 tilings: Sequence[tuple[Piece, Tiling]]):  # fmt: skip
        self.spec, self.laminate, self.face = spec, laminate, face
        self.paper = PAPERS_MM[spec.workshop.paper]
        self.corner = ((self.paper[0] - TILE_MM[0]) / 2, EDGE_MM)
        self.stretch = (100.0 / spec.workshop.printer_x_pct, 100.0 / spec.workshop.printer_y_pct)
        self.large = [(p, t) for p, t in tilings if t.grid.rows * t.grid.columns > 1]
        self.shared = _shared_sheets([(p, t) for p, t in tilings
                                      if t.grid.rows * t.grid.columns == 1])  # fmt: skip

    def made(self) -> TiledTemplates:
        title = f"{self.spec.part.number} {self.spec.part.revision} templates 1:1"
        self.canvas, buffer = new_canvas(*self.paper, title, self.spec.part.drawn_by,
                                         self.spec.part.name)  # fmt: skip
        lists = self._lists(0)
        first = 2 + len(lists)
        lists = self._lists(first)
        self.total = first - 1 + len(self.shared) + sum(1 + len(t.printed) for _, t in self.large)
        self.page = 0
        self.sheets: list[Sheet] = []
        self._sheet(tile_pages.test_page(self.spec, self.corner), "Printer test")
        for scene in lists:
            self._sheet(scene, "List of pieces")
        for sheet in self.shared:
            self._shared_sheet(sheet)
        for piece, tiling in self.large:
            self._map(piece, tiling)
            for k, at in enumerate(tiling.printed):
                self._tile(piece, tiling, at, k)
        self.canvas.save()
        return TiledTemplates(buffer.getvalue(), tuple(self.sheets))

    def _lists(self, first: int) -> list[Scene]:
        """The list of pieces; `first` is the page number of the first sheet after it."""
        where: dict[str, tuple[str, str]] = {}
        page = first
        for sheet in self.shared:
            for piece, *_ in sheet:
                where[piece.id] = ("shares a sheet", f"{page}")
            page += 1
        for piece, tiling in self.large:
            count = len(tiling.printed)
            size = f"{tiling.grid.rows} \u00d7 {tiling.grid.columns}, {count} printed"
            where[piece.id] = (size, f"{page} map, {page + 1}\u2013{page + count}")
            page += 1 + count
        head = ("Piece", "Material", "Quantity", "Tiles, rows \u00d7 columns", "Pages")
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

    def _map(self, piece: Piece, tiling: Tiling) -> None:
        beside = card(piece, self.laminate, self.face, self.spec, (0.0, 0.0, 1.0, 1.0))
        scene = tile_pages.map_page(tiling, cut_outline_mm(piece), beside, self.spec, self.corner)
        items = header(self.corner, piece.id, "MAP", self._facts("page map"))
        self._draw(Scene((*scene.items, *items), (0, 0, 1, 1)))
        self.canvas.showPage()
        self.canvas.beginForm(self._form(piece))  # drawn once, shown on every tile
        self._draw(SmallMap(tiling, self.corner).lines())
        self.canvas.endForm()

    def _form(self, piece: Piece) -> str:
        return f"map{[p.id for p, _ in self.large].index(piece.id)}"

    def _tile(self, piece: Piece, tiling: Tiling, at: tuple[int, int], k: int) -> None:
        window = tiling.grid.window(*at)
        x, y = self.corner[0] * MM, self.corner[1] * MM
        draw_scene(self.canvas, tiling.scene, x, y, clip=window, stretch=self.stretch,
                   bounds=tiling.bounds)  # fmt: skip
        row, count = at[0] + 1, len(tiling.printed)
        more = f"row {row}, column {at[1] + 1} \u00b7 sheet {k + 1} of {count}"
        items: list[Primitive] = [
            *around_tile(tiling, at, self.corner).items,
            *header(self.corner, piece.id, tiling.grid.name(*at), self._facts(more)),
            SmallMap(tiling, self.corner).cell(at),
        ]
        self._draw(Scene(tuple(items), (0, 0, 1, 1)))
        self.canvas.doForm(self._form(piece))
        self._placed(piece, window, self.corner)
        self.canvas.showPage()

    def _shared_sheet(self, sheet: list[tuple[Piece, Tiling, float, float]]) -> None:
        for _, tiling, x, y in sheet:
            x_mm, y_mm = self.corner[0] + x * self.stretch[0], self.corner[1] + y * self.stretch[1]
            draw_scene(self.canvas, tiling.scene, x_mm * MM, y_mm * MM, stretch=self.stretch,
                       bounds=tiling.bounds)  # fmt: skip
        ids = ", ".join(piece.id for piece, *_ in sheet)
        frame = around_tile(Tiling(sheet[0][1].scene, sheet[0][1].grid, (), (), np.zeros((0, 4))),
                            (0, 0), self.corner)  # fmt: skip
        items = header(
            self.corner, ids, "", self._facts(f"{len(sheet)} piece{'s' if len(sheet) > 1 else ''}")
        )
        self._draw(Scene((*frame.items, *items), (0, 0, 1, 1)))
        for piece, tiling, x, y in sheet:
            corner = (
                self.corner[0] + x * self.stretch[0],
                self.corner[1] + y * self.stretch[1],
            )
            self._placed(piece, tiling.scene.window_mm, corner)
        self.canvas.showPage()

    def _placed(self, piece: Piece, window: Window, corner: tuple[float, float]) -> None:
        """Note where a piece stands on the page that is being drawn."""
        self.sheets.append(Sheet(piece.id, self.page, window, corner, self.stretch))


def _shared_sheets(
    small: Sequence[tuple[Piece, Tiling]],
) -> list[list[tuple[Piece, Tiling, float, float]]]:
    """Small pieces in rows on shared sheets, in the order they come; (x, y) is where the lower
    left corner of a piece's drawing lies in the tile."""
    sheets: list[list[tuple[Piece, Tiling, float, float]]] = []
    left, top, high = 0.0, TILE_MM[1], 0.0
    for piece, tiling in small:
        x0, y0, x1, y1 = tiling.scene.window_mm
        wide, tall = x1 - x0, y1 - y0
        if sheets and left + wide > TILE_MM[0]:
            left, top, high = 0.0, top - high - GAP_MM, 0.0
        if not sheets or top - tall < 0.0:
            sheets.append([])
            left, top, high = 0.0, TILE_MM[1], 0.0
        sheets[-1].append((piece, tiling, left, top - tall))
        left, high = left + wide + GAP_MM, max(high, tall)
    return sheets


def fullsize_pdf(
    spec: PartSpec,
    laminate: Laminate,
    face: Face,
    drawings: Sequence[PieceDrawing] | None = None,
) -> bytes:
    """Every piece whole on a page of its own size, for a plotter or a print shop.

    A piece longer than readers can show (5080 mm) runs over several pages that overlap.
    """
    part = spec.part
    canvas, buffer = new_canvas(*TILE_MM, f"{part.number} {part.revision} templates full size",
                                part.drawn_by, part.name)  # fmt: skip
    for drawing in drawings or draw_pieces(laminate, face, spec):
        _fullsize_pages(canvas, drawing.full)
    canvas.save()
    return buffer.getvalue()


def _fullsize_pages(canvas: Any, scene: Scene) -> None:
    x0, y0, x1, y1 = scene.window_mm
    columns, rows = _stretches(x0, x1), _stretches(y0, y1)
    for low_y, high_y in rows:
        for low_x, high_x in columns:
            whole = len(columns) * len(rows) == 1
            canvas.setPageSize(((high_x - low_x) * MM, (high_y - low_y) * MM))
            clip = None if whole else (low_x, low_y, high_x, high_y)
            draw_scene(canvas, scene, 0.0, 0.0, clip=clip)
            canvas.showPage()


def _stretches(low: float, high: float, overlap_mm: float = 100.0) -> list[tuple[float, float]]:
    """A length in equal stretches that readers can show, each running into the next."""
    most = LARGEST_PAGE_MM - 80.0
    if high - low <= most:
        return [(low, high)]
    count = int(np.ceil((high - low - overlap_mm) / (most - overlap_mm)))
    step = (high - low - overlap_mm) / count
    return [(low + k * step, low + (k + 1) * step + overlap_mm) for k in range(count)]
