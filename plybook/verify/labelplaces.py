"""Where words and lines stand on a label: each in its own place, and nothing else beside them.

Terms:
    room: the part of a label that is printed on, within what a printer reaches.
    foot: the lowest line of words; the others follow one another from the upper edge down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.verify.lettermetrics import end_mm
from plybook.verify.looks import INK
from plybook.verify.pdf_pages import Area, Line, Words
from plybook.verify.tolerances import PAPER_MM

_SAME_ROW_MM = 1.0  # the id and the angle stand half a millimetre apart
_HEAD_MM = 3.2  # from the upper edge of the room to the capitals of the head
_BARB_DEG = (150.0, 210.0)  # heads of the arrow, half as long as the shaft's half
_BARB = 0.5


@dataclass(frozen=True)
class Grid:
    """Where the labels of a sheet lie, mm from its upper left corner, and how they are laid out."""

    columns: int
    rows: int
    left: float
    top: float
    across: float
    down: float
    wide: float  # a label
    tall: float
    room: tuple[float, float, float]  # from the label's left and upper edge; its height
    head: float  # capitals of the head
    pitch: dict[int, tuple[float, float]]  # by lines: from the head to the first, line to line
    foot: float  # from the lower edge of the room
    radius: float  # of the arrow

    def cell(self, at_mm: tuple[float, float], height_mm: float) -> int:
        """The number of the label that holds a place on the page; -1 off the sheet's labels."""
        column = math.floor((at_mm[0] - self.left) / self.across)
        row = math.floor((height_mm - at_mm[1] - self.top) / self.down)
        inside = 0 <= column < self.columns and 0 <= row < self.rows
        return row * self.columns + column if inside else -1

    def corner(self, cell: int, height_mm: float) -> np.ndarray:
        """(2,) the upper left corner of a label on its page, mm."""
        row, column = divmod(cell % (self.columns * self.rows), self.columns)
        return np.array([self.left + column * self.across, height_mm - self.top - row * self.down])


# the sheets of 24 and of 30 labels that offices sell, at the pitch their makers print on the box
A4 = Grid(3, 8, 0.0, 0.5, 70.0, 37.0, 70.0, 37.0, (5.5, 1.8, 32.2), 7.0,
          {4: (4.4, 3.6), 5: (3.9, 3.1), 6: (3.4, 2.6)}, 2.2, 4.2)  # fmt: skip
LETTER = Grid(3, 10, 4.7625, 12.7, 69.85, 25.4, 66.675, 25.4, (3.5, 0.0, 25.4), 5.0,
              {3: (4.0, 3.3), 4: (3.4, 2.9), 5: (3.0, 2.4)}, 1.8, 3.2)  # fmt: skip


# larger ones, with room for a QR code: 14 and 10 on a sheet
_LARGE = {4: (4.8, 4.4), 5: (4.8, 4.2), 6: (4.6, 3.5)}
LARGE_A4 = Grid(2, 7, 4.65, 15.15, 101.6, 38.1, 99.1, 38.1, (3.5, 0.0, 38.1), 7.0, _LARGE, 2.2,
                4.2)  # fmt: skip
LARGE_LETTER = Grid(2, 5, 3.96875, 12.7, 106.3625, 50.8, 101.6, 50.8, (3.5, 0.0, 50.8), 7.0,
                    _LARGE, 2.2, 4.2)  # fmt: skip
QR_MM, QR_TOP_MM = 18.0, 13.6  # its side; from the upper edge of the room


def code_box(grid: Grid, corner: np.ndarray) -> np.ndarray:
    """(2, 2) where the QR code of a label stands, page mm."""
    side, above, _ = grid.room
    right, top = corner[0] + grid.wide - side, corner[1] - above - QR_TOP_MM
    return np.array([(right - QR_MM, top - QR_MM), (right, top)])


def modules_of(areas: Sequence[Area], box: np.ndarray) -> np.ndarray:
    """(n, n) the modules that areas paint dark in the box of a code, from its upper left corner.

    Raises:
        ValueError: an area covers no whole modules, or one twice.
    """
    boxes = [np.stack([a.points.min(axis=0), a.points.max(axis=0)]) for a in areas]
    first = [b for b in boxes if abs(b[0, 0] - box[0, 0]) + abs(b[1, 1] - box[1, 1]) <= PAPER_MM]
    if len(first) != 1:
        raise ValueError("has no finder in its corner")
    count = round(7 * QR_MM / float(np.ptp(first[0][:, 0])))  # a finder is 7 modules wide
    module = QR_MM / count
    dark = np.zeros((count, count), bool)
    for area, b in zip(areas, boxes, strict=True):
        cells = (b - (box[0, 0], box[1, 1])) * (1, -1) / module
        whole = np.round(cells).astype(int)
        (left, low), (right, high) = whole
        own = dark[high:low, left:right]
        square = len(area.points) == 4 and area.fill == INK
        if not square or np.abs(cells - whole).max() * module > PAPER_MM or own.any() or (
            whole.min() < 0 or whole.max() > count or not own.size
        ):
            raise ValueError("has a module out of its place")
        dark[high:low, left:right] = True
    return dark


def rows_of(words: Sequence[Words]) -> tuple[list[Words], list[Words], list[Words]]:
    """Head, what stands between, and foot of a label, each from its upper edge down, from the
    left."""
    words = sorted(words, key=lambda w: (-w.at_mm[1], w.at_mm[0]))
    top, foot = words[0].at_mm[1], words[-1].at_mm[1]
    head = [w for w in words if top - w.at_mm[1] < _SAME_ROW_MM]
    last = [w for w in words if w.at_mm[1] - foot < _SAME_ROW_MM and w not in head]
    between = [w for w in words if w not in head and w not in last]
    return (sorted(head, key=lambda w: w.at_mm[0]), between,
            sorted(last, key=lambda w: w.at_mm[0]))  # fmt: skip


def displaced(words: Sequence[Words], grid: Grid, corner: np.ndarray) -> list[str]:
    """The words of a label that stand elsewhere than in their place.

    Args:
        words: of one label.
        grid: of its sheet.
        corner: (2,) of the label, page mm.
    """
    side, above, tall = grid.room
    x, right, y = corner[0] + side, corner[0] + grid.wide - side, corner[1] - above
    head, between, last = rows_of(words)
    base = y - _HEAD_MM - grid.head
    first, pitch = grid.pitch[min(max(len(between), min(grid.pitch)), max(grid.pitch))]
    left = [(head[0], base)]
    left += [(w, base - first - k * pitch) for k, w in enumerate(between)]
    left += [(w, y - tall + grid.foot) for w in last[:1]]
    wrong = [w.text for w, level in left if _off(w.at_mm, (x, level))]
    ends = [(w, right - 2 * grid.radius - 1.5, base + 0.5) for w in head[1:]]
    ends += [(w, right, y - tall + grid.foot) for w in last[1:]]
    wrong += [
        w.text
        for w, end, level in ends
        if _off((end_mm(w), w.at_mm[1]), (end, level))
    ]
    return wrong  # fmt: skip


def _off(at: tuple[float, float], place: tuple[float, float]) -> bool:
    return max(abs(a - b) for a, b in zip(at, place, strict=True)) > PAPER_MM


def strokes(angle_deg: float, grid: Grid, corner: np.ndarray) -> list[np.ndarray]:
    """The arrow along a fibre, (2, 2) each, page mm: its shaft and two barbs at either end."""
    side, above, _ = grid.room
    middle = corner + (grid.wide - side - grid.radius, -above - _HEAD_MM - grid.radius)
    found = []
    for sign in (1.0, -1.0):
        tip = middle + sign * grid.radius * _way(angle_deg)
        barbs = [tip + sign * _BARB * grid.radius * _way(angle_deg + b) for b in _BARB_DEG]
        found += [np.array([tip, end]) for end in barbs]
    return [*found, middle + grid.radius * np.outer((-1.0, 1.0), _way(angle_deg))]


def _way(angle_deg: float) -> np.ndarray:
    turn = math.radians(angle_deg)
    return np.array([math.cos(turn), math.sin(turn)])


def frames(count: int, grid: Grid, height_mm: float) -> list[np.ndarray]:
    """The cutting lines round the first labels of a sheet, (4, 2) each, page mm."""
    box = np.array([(0.0, 0.0), (grid.wide, 0.0), (grid.wide, -grid.tall), (0.0, -grid.tall)])
    return [grid.corner(k, height_mm) + box for k in range(count)]


def same_lines(drawn: Sequence[Line], wanted: Sequence[np.ndarray]) -> bool:
    """Whether lines are just those that there should be, whichever way each is drawn."""
    left = list(wanted)
    for line in drawn:
        k = next((k for k, one in enumerate(left) if _alike(line.points, one)), -1)
        if k < 0 or line.closed != (len(line.points) == 4):
            return False
        left.pop(k)
    return not left


def _alike(one: np.ndarray, two: np.ndarray) -> bool:
    """Whether two lines have the same points."""
    if one.shape != two.shape:
        return False
    gaps = np.hypot(*(one[:, None] - two[None]).transpose(2, 0, 1))
    return bool(max(gaps.min(axis=0).max(), gaps.min(axis=1).max()) <= PAPER_MM)
