"""What lies under the bags, on the last sheets of the cut plan: each roll of film, felt, mesh or
peel ply drawn to scale with its cuts, and below it where each of them begins and ends.

Terms:
    thin: too narrow in the picture for its number; the list says where it lies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from plybook.drawing.letters import fitted, text_width_mm, wrapped
from plybook.drawing.scene import Path, Primitive, Role, Text
from plybook.drawing.titleblock import HEIGHT_MM
from plybook.shop.model import BagRoll, RolledCut, Shop
from plybook.spec.model import PartSpec
from plybook.units import CLOTH, show_figure, show_length, show_number, show_roll
from plybook.write.paper import EDGE_MM, PAPERS_MM

UNDER_BAGS = "Under the bags"
UNDER_BAGS_SAID = "cut list of film, felt, mesh and peel ply"
READING = (
    "Along: from the end of the roll. Across: from its edge. In {unit}. Neighbours share a cut; "
    "cut straight across first. Write the stage and what it is on each piece."
)
SCALES = (10, 20, 50, 100, 200, 500, 1000)  # ISO 5455 reductions
HIGH_MM = 24.0  # of a roll's picture, at most
TOP_MM, NAME_MM, ROW_MM, GAP_MM = 22.0, 5.5, 4.2, 3.0
LEAST_MM = 2.8  # a number has room in a rectangle of this height
COLUMNS_MM = (0.0, 8.0, 44.0, 88.0, 132.0)  # number, size, along, across, what for
LETTERS_MM = 2.5


@dataclass
class BagPage:
    """What one sheet shows, without its heading and title block; the scale of its pictures."""

    scale: str
    items: list[Primitive] = field(default_factory=list)


def bag_pages(spec: PartSpec, shop: Shop) -> tuple[BagPage, ...]:
    """The sheets for all rolls of a part; none where no roll has a width. Pictures are drawn half
    as large where that saves a sheet and no number.

    Args:
        spec: gives unit and paper.
        shop: the rolls, and the titles of the stages.
    """
    if not shop.bag_rolls:
        return ()
    found = _Sheets(spec, shop, _largest_scale(spec, shop.bag_rolls))
    smaller = _Sheets(spec, shop, 2 * found.scale)
    if len(smaller.pages) < len(found.pages) and smaller.thin == found.thin:
        return tuple(smaller.pages)
    return tuple(found.pages)


class _Sheets:
    """The sheets in the making; `y` is where the next thing goes below, `thin` counts cuts."""

    def __init__(self, spec: PartSpec, shop: Shop, scale: float):
        self.unit = spec.part.units
        high, self.wide = PAPERS_MM[spec.workshop.paper]  # on its long side
        self.x0, self.x1 = EDGE_MM, self.wide - EDGE_MM
        self.top, self.low = high - EDGE_MM - TOP_MM, EDGE_MM + HEIGHT_MM + 4.0
        self.stages = {
            stage.id: f"Stage {n}, {stage.title}" for n, stage in enumerate(shop.stages, start=1)
        }
        self.scale = scale
        self.pages: list[BagPage] = []
        self.thin = 0
        self.y = 0.0
        for roll in shop.bag_rolls:
            self._roll(roll)

    def _begin(self) -> None:
        page = BagPage(f"1:{show_number(self.scale, 0)}")
        self.pages.append(page)
        said = READING.format(unit="inches" if self.unit == "in" else self.unit)
        y = self.top + 7.0
        for row in wrapped(said, self.x1 - self.x0, LETTERS_MM):
            page.items.append(_text(self.x0, y, row))
            y -= ROW_MM
        self.y = self.top

    def _roll(self, roll: BagRoll) -> None:
        high = roll.width_mm / self.scale
        need = NAME_MM + high + 3.2 + min(len(roll.cuts), 2) * ROW_MM
        if not self.pages or self.y - need < self.low:
            self._begin()
        self.y -= NAME_MM
        self._name(roll, "")
        self._picture(roll, high)
        for number, cut in enumerate(roll.cuts, start=1):
            if self.y - ROW_MM < self.low:
                self._begin()
                self.y -= NAME_MM
                self._name(roll, " (goes on)")
                self.y -= 1.0
            self.y -= ROW_MM
            self._row(number, cut)
        self.y -= GAP_MM

    def _name(self, roll: BagRoll, more: str) -> None:
        facts = " \u00b7 ".join((
            f"roll {show_length(roll.width_mm, self.unit, grain=CLOTH)} wide",
            f"{show_roll(roll.used_mm, self.unit)} cut off it",
            f"{len(roll.cuts)} piece{'s' if len(roll.cuts) != 1 else ''}",
        ))  # fmt: skip
        room = self.x1 - self.x0 - text_width_mm(facts, LETTERS_MM) - 4.0
        room -= text_width_mm(more, 3.5, True)
        name = fitted(roll.name, room, 3.5, True) + more
        items = self.pages[-1].items
        items.append(Text(Role.TEXT, (self.x0, self.y), name, 3.5, bold=True))
        items.append(_text(self.x0 + text_width_mm(name, 3.5, True) + 4.0, self.y, facts))

    def _picture(self, roll: BagRoll, high: float) -> None:
        """The length that is cut off, with a number in each cut that has room for it."""
        self.y -= 2.2 + high
        corner = np.array([self.x0, self.y])
        items = self.pages[-1].items
        for cut in roll.cuts:
            low = corner + np.array([cut.x_mm, cut.y_mm]) / self.scale
            size = np.array([cut.along_mm, cut.across_mm]) / self.scale
            items.append(Path(Role.CUT, _box(low, size), True, "film"))
        items.append(Path(Role.STOCK, _box(corner, np.array([roll.used_mm / self.scale, high])),
                          True))  # fmt: skip
        for number, cut in enumerate(roll.cuts, start=1):
            size = np.array([cut.along_mm, cut.across_mm]) / self.scale
            if size.min() < LEAST_MM or text_width_mm(f"{number}", LETTERS_MM) + 1 > size[0]:
                self.thin += 1
                continue
            middle = corner + np.array([cut.x_mm, cut.y_mm]) / self.scale + size / 2
            items.append(Text(Role.TEXT, (float(middle[0]), float(middle[1])), f"{number}",
                              LETTERS_MM, anchor="middle", rise="centre"))  # fmt: skip
        self.y -= 1.0

    def _row(self, number: int, cut: RolledCut) -> None:
        what = f"{self.stages.get(cut.stage, cut.stage)}: {cut.where}"
        if cut.of > 1:
            what = f"{cut.copy} of {cut.of} \u00b7 {what}"
        words = (
            f"{number}",
            f"{self._figure(cut.along_mm)} \u00d7 {self._figure(cut.across_mm)}",
            f"along {self._span(cut.x_mm, cut.along_mm)}",
            f"across {self._span(cut.y_mm, cut.across_mm)}",
            what,
        )
        ends = (*COLUMNS_MM[1:], self.x1 - self.x0)
        for said, start, end in zip(words, COLUMNS_MM, ends, strict=True):
            row = fitted(said, end - start - 1.0, LETTERS_MM)
            self.pages[-1].items.append(_text(self.x0 + start, self.y, row))

    def _figure(self, value_mm: float) -> str:
        return show_figure(value_mm, self.unit, CLOTH)

    def _span(self, start_mm: float, size_mm: float) -> str:
        return f"{self._figure(start_mm)} to {self._figure(start_mm + size_mm)}"


def _largest_scale(spec: PartSpec, rolls: Sequence[BagRoll]) -> float:
    """One reduction for all pictures: the largest at which every roll has room."""
    wide_mm = PAPERS_MM[spec.workshop.paper][1] - 2 * EDGE_MM
    for scale in SCALES:
        if all(r.used_mm / scale <= wide_mm and r.width_mm / scale <= HIGH_MM for r in rolls):
            return float(scale)
    longest = max(max(r.used_mm / wide_mm, r.width_mm / HIGH_MM) for r in rolls)
    return 1000.0 * math.ceil(longest / 1000.0)


def _box(low: np.ndarray, size: np.ndarray) -> np.ndarray:
    return low + size * np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])


def _text(x: float, y: float, words: str) -> Text:
    return Text(Role.TEXT, (x, y), words, LETTERS_MM)
