"""The title block of a drawing: three rows of cells, each with its label and its value.

The fields are those of ISO 7200, in a block 180 mm wide.
"""

from __future__ import annotations

import numpy as np

WIDTH_MM, ROW_MM = 180.0, 10.0
CELLS_MM = ((52, 18, 70, 40), (52, 18, 70, 18, 22), (70, 35, 35, 40))  # of each row, from the top
_LABEL_MM = 1.0 + 1.8  # below the upper edge of a cell: its base line
_VALUE_MM = 2.0  # above the lower edge
_INDENT_MM = 1.2


def _corners(at_mm: tuple[float, float]) -> list[tuple[float, float]]:
    """The upper left corner of each cell."""
    found = []
    for k, row in enumerate(CELLS_MM):
        top = at_mm[1] + (len(CELLS_MM) - k) * ROW_MM
        found += [(at_mm[0] + sum(row[:n]), top) for n in range(len(row))]
    return found


def block_lines(at_mm: tuple[float, float]) -> list[np.ndarray]:
    """Its lines, (n, 2) each: the left edge of each cell, the top of each row, the frame.

    Args:
        at_mm: lower left corner.
    """
    x0, y0 = at_mm
    x1, y1 = x0 + WIDTH_MM, y0 + len(CELLS_MM) * ROW_MM
    lines = [np.array([(x, top - ROW_MM), (x, top)]) for x, top in _corners(at_mm)]
    lines += [np.array([(x0, y1 - k * ROW_MM), (x1, y1 - k * ROW_MM)])
              for k in range(len(CELLS_MM))]  # fmt: skip
    return [*lines, np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])]


def block_words(at_mm: tuple[float, float]) -> list[tuple[float, float]]:
    """Where its labels and values begin."""
    return [(x + _INDENT_MM, y) for x, top in _corners(at_mm)
            for y in (top - _LABEL_MM, top - ROW_MM + _VALUE_MM)]  # fmt: skip
