"""By which template each piece is cut: the one that takes least paper, unless the spec asks.

`plybook.write.templates` says what the ways are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from plybook.drawing.cornerview import CornerWindow, corner_windows
from plybook.drawing.scene import Scene
from plybook.drawing.servedcard import Served
from plybook.drawing.tapecard import tape_card
from plybook.drawing.tapeplan import TapePlan, tape_plan
from plybook.drawing.template import PieceDrawing, fits_a_sheet, sheet_around
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.units import grain_of
from plybook.write.paper import TILE_MM, grid_for, most_sheets
from plybook.write.pdf import bounds_mm
from plybook.write.tiles import Tiling, tile

Way = Literal["figures", "corners", "whole", "tiles", "served", "bar"]
_CARD_SHEET = 0.5  # a card of figures takes a half of a sheet, more or less
_A_PAGE, _TOLD_LATER_MM = 999, 17.0  # a page as wide as any; two rows of a head and two below it
CARDS_ON_A_SHEET = 10  # of pieces that are cut by the template of another


@dataclass(frozen=True)
class Chosen:
    """One piece with the way it comes onto the cloth."""

    drawing: PieceDrawing
    way: Way
    plan: TapePlan | None = None
    served: Served | None = None  # the template of another piece, which serves this one too

    @property
    def piece(self) -> Piece:
        return self.drawing.piece

    @cached_property
    def printed(self) -> Scene:
        """What sheets of paper show of the piece."""
        return on_one_sheet(self.drawing)

    @cached_property
    def tiling(self) -> Tiling:
        return tile(self.printed)

    @cached_property
    def windows(self) -> tuple[CornerWindow, ...]:
        return corner_windows(self.plan) if self.plan is not None and self.served is None else ()


def choose(drawing: PieceDrawing, spec: PartSpec) -> Chosen:
    """The way that takes least paper, unless the spec asks for another, for a piece by itself."""
    piece, rules = drawing.piece, spec.templates
    asked = rules.way_of(piece.id, piece.layer, piece.material)
    if piece.kind == "rod" and asked == "least":
        return Chosen(drawing, "bar")
    grid = grid_for(on_one_sheet(drawing).window_mm)
    tiles = grid.rows * grid.columns
    if asked == "tiles" or (tiles == 1 and asked != "figures"):
        return Chosen(drawing, "whole" if tiles == 1 else "tiles")
    plan = _figures(piece, spec, tiles)
    if plan is not None:
        found = Chosen(drawing, "corners" if plan.printed else "figures", plan)
        if _card_fits(found, plan, spec):
            return found
    return Chosen(drawing, "whole" if tiles == 1 else "tiles")


def _figures(piece: Piece, spec: PartSpec, tiles: int) -> TapePlan | None:
    """The figures that rebuild a piece; None where there are none, or tiles take no more paper."""
    tolerance = spec.templates.tolerance_of(piece.kind)
    plan = tape_plan(cut_outline_mm(piece), piece.holes_mm, tolerance, spec.part.units,
                     grain_of(piece.kind))  # fmt: skip
    fewer = plan is not None and _sheets_of(corner_windows(plan)) < tiles
    return plan if fewer else None


def printed_sheets(piece: Piece, spec: PartSpec) -> float:
    """How many sheets of paper a template takes, to about one: small ones share a sheet."""
    tiles = most_sheets(piece)
    asked = spec.templates.way_of(piece.id, piece.layer, piece.material)
    if piece.kind == "rod" and asked == "least":
        return 0.0
    if tiles == 1 and asked != "figures":
        size = np.ptp(cut_outline_mm(piece), axis=0)
        return float(np.prod(np.minimum(size, TILE_MM))) / math.prod(TILE_MM)
    plan = None if asked == "tiles" else _figures(piece, spec, tiles)
    return float(tiles) if plan is None else _CARD_SHEET + _sheets_of(corner_windows(plan))


def on_one_sheet(drawing: PieceDrawing) -> Scene:
    """The drawing without the words that do not fit on the sheet the piece fits on; the list of
    pieces and the booklet say them too."""
    bare, page = drawing.bare, sheet_around(drawing.piece)
    if page is None or fits_a_sheet(bare):
        return bare
    boxes = bounds_mm(bare)
    inside = np.all((boxes[:, :2] >= page[:2]) & (boxes[:, 2:] <= page[2:]), axis=1)
    low, high = np.floor(boxes[inside, :2].min(axis=0)), np.ceil(boxes[inside, 2:].max(axis=0))
    kept = tuple(item for item, held in zip(bare.items, inside, strict=True) if held)
    return replace(bare, items=kept, window_mm=(*low.tolist(), *high.tolist()))


def _card_fits(chosen: Chosen, plan: TapePlan, spec: PartSpec) -> bool:
    """Whether the card of figures stands on one sheet, also when it tells the pages of what is
    printed, the layer, and which pieces it serves."""
    empty = Laminate((), (), (), (), 0.0, np.zeros(3), ())
    pages = {k: _A_PAGE for k, run in enumerate(plan.runs) if run.kind == "printed"}
    scene = tape_card(chosen.piece, plan, empty, spec, pages)
    return scene.window_mm[3] + _TOLD_LATER_MM <= TILE_MM[1]


def _sheets_of(windows: Sequence[CornerWindow]) -> float:
    """How many sheets windows take, together with those of other pieces."""
    return sum(math.prod(w.size_mm) for w in windows) / math.prod(TILE_MM)
