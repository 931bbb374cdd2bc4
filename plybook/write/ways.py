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
import shapely

from plybook.drawing.cornerview import CornerWindow, corner_windows
from plybook.drawing.scene import Scene
from plybook.drawing.tapecard import tape_card
from plybook.drawing.tapeplan import TapePlan, mirrored_plan, tape_plan
from plybook.drawing.template import PieceDrawing, fits_a_sheet, sheet_around
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.write.paper import TILE_MM, grid_for, most_sheets
from plybook.write.pdf import bounds_mm
from plybook.write.tiles import Tiling, tile

Way = Literal["figures", "corners", "whole", "tiles", "turned"]
_CARD_SHEET = 0.5  # a card of figures takes a half of a sheet, more or less
CARDS_ON_A_SHEET = 10  # of pieces that are cut by the template of the other hand
ALIKE_MM = 0.05  # two hands that differ by less are cut by one template


@dataclass(frozen=True)
class Chosen:
    """One piece with the way it comes onto the cloth."""

    drawing: PieceDrawing
    way: Way
    plan: TapePlan | None = None
    of: str = ""  # the part whose template is turned over

    @property
    def piece(self) -> Piece:
        return self.drawing.piece

    @cached_property
    def printed(self) -> Scene:
        """What sheets of paper show of the piece."""
        return _on_one_sheet(self.drawing)

    @cached_property
    def tiling(self) -> Tiling:
        return tile(self.printed)

    @cached_property
    def windows(self) -> tuple[CornerWindow, ...]:
        return corner_windows(self.plan) if self.plan is not None and not self.of else ()


@dataclass(frozen=True)
class OtherHand:
    """The opposite hand that is built beside a part; `before`: its templates come first and serve
    both."""

    number: str
    pieces: tuple[Piece, ...]
    before: bool

    def mirrors(self, piece: Piece) -> Piece | None:
        """The piece of the other hand that is the mirror image of one, within what no one cuts."""
        twin = next((p for p in self.pieces if p.id == piece.id), None)
        if twin is None or not self.before or len(twin.holes_mm) != len(piece.holes_mm):
            return None
        own, theirs = (
            [cut_outline_mm(p), *sorted(p.holes_mm, key=lambda ring: float(ring[:, 0].min()))]
            for p in (piece, twin)
        )
        rings = ((shapely.LinearRing(a), shapely.LinearRing(b * (1.0, -1.0)))
                 for a, b in zip(own, theirs, strict=True))  # fmt: skip
        alike = all(shapely.hausdorff_distance(a, b) <= ALIKE_MM for a, b in rings)
        return twin if alike and twin.quantity == piece.quantity else None


def choose(drawing: PieceDrawing, spec: PartSpec, other: OtherHand | None = None) -> Chosen:
    """The way that takes least paper, unless the spec asks for another."""
    piece, rules = drawing.piece, spec.templates
    if other is not None and (twin := other.mirrors(piece)) is not None:
        same = choose(replace(drawing, piece=twin), spec)
        plan = mirrored_plan(same.plan) if same.plan is not None else None
        return Chosen(drawing, "turned", plan, other.number)
    asked = rules.way_of(piece.id, piece.layer, piece.material)
    grid = grid_for(_on_one_sheet(drawing).window_mm)
    tiles = grid.rows * grid.columns
    if asked == "tiles" or (tiles == 1 and asked != "figures" and piece.kind != "rod"):
        return Chosen(drawing, "whole" if tiles == 1 else "tiles")
    plan = _figures(piece, spec, tiles)
    if plan is not None:
        found = Chosen(drawing, "corners" if plan.printed else "figures", plan)
        if _card_fits(found, spec):
            return found
    return Chosen(drawing, "whole" if tiles == 1 else "tiles")


def _figures(piece: Piece, spec: PartSpec, tiles: int) -> TapePlan | None:
    """The figures that rebuild a piece; None where there are none, or tiles take no more paper."""
    tolerance = spec.templates.tolerance_of(piece.kind)
    plan = tape_plan(cut_outline_mm(piece), piece.holes_mm, tolerance, spec.part.units)
    fewer = plan is not None and _sheets_of(corner_windows(plan)) < tiles
    return plan if fewer else None


def printed_sheets(piece: Piece, spec: PartSpec) -> float:
    """How many sheets of paper a template takes, to about one: small ones share a sheet."""
    tiles = most_sheets(piece)
    asked = spec.templates.way_of(piece.id, piece.layer, piece.material)
    if tiles == 1 and asked != "figures" and piece.kind != "rod":
        size = np.ptp(cut_outline_mm(piece), axis=0)
        return float(np.prod(np.minimum(size, TILE_MM))) / math.prod(TILE_MM)
    plan = None if asked == "tiles" else _figures(piece, spec, tiles)
    return float(tiles) if plan is None else _CARD_SHEET + _sheets_of(corner_windows(plan))


def _on_one_sheet(drawing: PieceDrawing) -> Scene:
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


def _card_fits(chosen: Chosen, spec: PartSpec) -> bool:
    """Whether the card of figures stands on one sheet."""
    empty = Laminate((), (), (), (), 0.0, np.zeros(3), ())
    scene = tape_card(chosen.piece, chosen.plan, empty, spec)  # type: ignore[arg-type]
    return scene.window_mm[3] <= TILE_MM[1]


def _sheets_of(windows: Sequence[CornerWindow]) -> float:
    """How many sheets windows take, together with those of other pieces."""
    return sum(math.prod(w.size_mm) for w in windows) / math.prod(TILE_MM)
