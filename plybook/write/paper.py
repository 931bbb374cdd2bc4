"""Sheets of paper and the tile that fits them.

Sizes in mm: A4 after ISO 216; Letter (ANSI A, 8.5 by 11 in) after ASME Y14.1.

Terms:
    tile: the part of a large drawing printed on one sheet, 190 by 250 mm. It suits both papers and
        keeps every mark 10 mm or more inside the sheet, where every printer reaches.
    pitch: the distance from tile to tile, 180 by 240 mm; neighbours share a strip of 10 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:  # the room takes long to open and is not needed here
    from plybook.laminate.model import Piece

Paper = Literal["a4", "letter"]
PAPERS_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
TILE_MM = (190.0, 250.0)
OVERLAP_MM = 10.0
PITCH_MM = (TILE_MM[0] - OVERLAP_MM, TILE_MM[1] - OVERLAP_MM)
EDGE_MM = 10.0  # nothing is printed closer to the edge of the sheet
LARGEST_PAGE_MM = 5080.0  # 14400 points, the limit of common readers (ISO 32000-1, annex C)

Window = tuple[float, float, float, float]


@dataclass(frozen=True)
class Grid:
    """How a window is cut into tiles; rows are numbered from the top."""

    x_mm: float  # lower left corner of the whole grid
    y_mm: float
    columns: int
    rows: int

    def window(self, row: int, column: int) -> Window:
        """What the tile shows, scene mm. Row 0 is the top one."""
        x = self.x_mm + column * PITCH_MM[0]
        y = self.y_mm + (self.rows - 1 - row) * PITCH_MM[1]
        return x, y, x + TILE_MM[0], y + TILE_MM[1]

    def own(self, row: int, column: int) -> Window:
        """The part of a tile that no neighbour to its right or above shows as well."""
        x0, y0, x1, y1 = self.window(row, column)
        return (x0, y0, x1 - (OVERLAP_MM if column < self.columns - 1 else 0.0),
                y1 - (OVERLAP_MM if row > 0 else 0.0))  # fmt: skip

    def name(self, row: int, column: int) -> str:
        """2-3: second row from the top, third column (letters and digits are for pieces)."""
        return f"{row + 1}-{column + 1}"


def grid_for(window_mm: Window) -> Grid:
    """The fewest tiles that hold a window, centred on it, on whole millimetres."""
    x0, y0, x1, y1 = window_mm
    columns = max(1, math.ceil((x1 - x0 - OVERLAP_MM) / PITCH_MM[0] - 1e-9))
    rows = max(1, math.ceil((y1 - y0 - OVERLAP_MM) / PITCH_MM[1] - 1e-9))
    wide, high = columns * PITCH_MM[0] + OVERLAP_MM, rows * PITCH_MM[1] + OVERLAP_MM
    return Grid(
        math.floor((x0 + x1 - wide) / 2), math.floor((y0 + y1 - high) / 2), columns, rows
    )  # fmt: skip


def most_sheets(piece: Piece) -> int:
    """The tiles that a piece takes where it is printed 1:1, both its faces together."""
    bag = piece.bag_side_outline_mm
    points = np.vstack([piece.outline_mm, piece.outline_mm if bag is None else bag])
    grid = grid_for((*points.min(axis=0).tolist(), *points.max(axis=0).tolist()))
    return grid.rows * grid.columns


def letters(index: int) -> str:
    """A to Z, then AA, AB ..."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name
