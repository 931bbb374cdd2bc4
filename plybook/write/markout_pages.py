"""Mark-out tables on paper: corner points in columns, in the order of cutting.

Terms:
    block: one piece: its heading lines and its rows of figures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.drawing.scene import Anchor, Path, Primitive, Role, Text

ROW_MM = 4.8
GAP_MM = 6.0  # between columns
GOES_ON = " (goes on)"

Row = tuple[str, ...]
HeadLine = tuple[str, float, bool]  # words, letter height, bold


@dataclass(frozen=True)
class TableBlock:
    head: tuple[HeadLine, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Columns:
    """How a sheet is divided: how many columns it has, and where in a column the cells of a row
    stand: mm from its left, and whether they end there or start there."""

    count: int
    cells: tuple[tuple[float, Anchor], ...]


POINTS = Columns(4, ((9.0, "end"), (33.0, "end"), (56.0, "end")))  # three figures


def column_mm(area_mm: tuple[float, float, float, float], columns: Columns = POINTS) -> float:
    """Width of one column of figures, without the gap."""
    return (area_mm[2] - area_mm[0] + GAP_MM) / columns.count - GAP_MM


def set_blocks(
    blocks: Sequence[TableBlock],
    area_mm: tuple[float, float, float, float],
    names: Row,
    new_page: Callable[[], list[Primitive]],
    columns: Columns = POINTS,
) -> list[list[Primitive]]:
    """Set blocks in columns on as many pages as they take.

    Args:
        blocks: in order; one that does not fit runs on into the next column.
        area_mm: where the columns stand on each page.
        names: what the cells of a row are, above each column.
        new_page: gives the first primitives of a new page.
        columns: how the area is divided.

    Returns:
        The primitives of each page.
    """
    x0, low, _, high = area_mm
    wide = column_mm(area_mm, columns)
    pages: list[list[Primitive]] = []
    column, y = columns.count, 0.0
    for block in (part for whole in blocks for part in _parts(whole, high - low)):
        rows, begun = list(block.rows), False
        while rows or not begun:
            lines = (_goes_on(block),) if begun else block.head
            need = _head_mm(lines) + (2.6 if rows else 0.6) * ROW_MM
            if column >= columns.count or y - need < low:
                column, y = column + 1, high
                if column >= columns.count:
                    column = 0
                    pages.append([*new_page()])
                at = (x0 + column * (wide + GAP_MM), high + 3.0)
                pages[-1] += _cells(at, names, columns, bold=True)
            x = x0 + column * (wide + GAP_MM)
            for words, height, bold in lines:
                y -= 1.7 * height
                pages[-1].append(Text(Role.TEXT, (x, y), words, height, bold=bold))
            y -= 1.4
            begun = True
            while rows and y - ROW_MM >= low:
                y -= ROW_MM
                pages[-1] += _cells((x, y), rows.pop(0), columns)
                rule = np.array([(x, y - 1.3), (x + wide, y - 1.3)])
                pages[-1].append(Path(Role.DIMENSION, rule))
        y -= 0.8 * ROW_MM
    return pages


def _parts(block: TableBlock, high_mm: float) -> Iterator[TableBlock]:
    """The block; one whose heading is taller than a column in parts, a column of words each."""
    room = high_mm - 2.6 * ROW_MM
    head = list(block.head)
    while _head_mm(head) > room:
        fit = max(2, sum(_head_mm(head[:k]) <= room for k in range(1, len(head))))
        yield TableBlock(tuple(head[:fit]), ())
        head = [_goes_on(block), *head[fit:]]
    yield TableBlock(tuple(head), block.rows)


def _goes_on(block: TableBlock) -> HeadLine:
    title = block.head[0][0].removesuffix(GOES_ON)
    return f"{title}{GOES_ON}", 2.5, True


def _head_mm(lines: Sequence[HeadLine]) -> float:
    return sum(1.7 * height for _, height, _ in lines)


def _cells(
    at_mm: tuple[float, float], words: Row, columns: Columns, bold: bool = False
) -> list[Primitive]:
    x, y = at_mm
    return [
        Text(Role.TEXT, (x + off, y), cell, 2.5, anchor=anchor, bold=bold)
        for (off, anchor), cell in zip(columns.cells, words, strict=True)
        if cell
    ]
