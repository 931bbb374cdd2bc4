"""Lines across a roll and the figures along its edges: where its bays begin, where it is cut
across.

In a roll that has bays, figures along its edges begin anew at each line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.letters import clean_text, text_box_mm
from plybook.drawing.scene import Anchor, Role, Text
from plybook.nest.bays import cut_words, stage_cuts
from plybook.nest.markout import tape
from plybook.nest.model import Item, Layout

_BEFORE_MM = 1.0  # a tick no nearer before a line is left out: the line itself stands there
_ROWS = 6  # below the roll, on which words may stand
_ROOM = 0.6  # of the distance between figures, which one needs before the next line


@dataclass(frozen=True)
class RollLine:
    """A line across a roll, mm from its end; `cut` along or only drawn; with what is said of it."""

    along_mm: float
    cut: bool
    said: tuple[str, ...]


def roll_lines(layout: Layout, items: Mapping[str, Item], unit: str) -> tuple[RollLine, ...]:
    """Lines that end the bays, and where the roll is cut across between stages.

    Args:
        layout: one unit of stock.
        items: what is placed, by id.
        unit: "mm" or "in": of the tape.
    """
    said: dict[float, list[str]] = {}
    cut_at = set()
    for bay in layout.bays:
        along = round(bay.to_mm, 3)
        how = "CUT ACROSS" if bay.cut else "DRAW ACROSS"
        figure = f"{tape(bay.to_mm - bay.at_mm, unit)} {unit}"
        said[along] = [f"LINE {bay.number + 1}: {how} {figure} from line {bay.number}"]
        cut_at |= {along} if bay.cut else set()
    for cut in stage_cuts(layout, items, unit):
        along = round(cut.along_mm, 3)
        where = f"at {cut_words(cut, unit)}"
        if (home := layout.bay_of(along)) is not None:
            where = f"{tape(along - home.at_mm, unit)} {unit} from line {home.number}"
        rows = said.setdefault(along, [f"CUT ACROSS {where}"])
        rows.append(f"before it {clean_text(cut.before)}, after it {clean_text(cut.after)}")
        cut_at.add(along)
    return tuple(RollLine(at, at in cut_at, tuple(rows)) for at, rows in sorted(said.items()))


def ticks_along(
    layout: Layout, low_mm: float, high_mm: float, tick_mm: float
) -> Iterator[tuple[int, float]]:
    """Ticks between two places along the stock: which one from its end, or from the line of its
    bay, and where it stands."""
    runs = [(bay.at_mm, bay.to_mm) for bay in layout.bays] or [(0.0, high_mm)]
    for start, stop in runs:
        end = stop - _BEFORE_MM if stop < high_mm else high_mm
        first = math.ceil(max(low_mm - start, 0.0) / tick_mm - 1e-9)
        for k in range(first, math.floor((end - start) / tick_mm + 1e-9) + 1):
            yield k, start + k * tick_mm


def has_room(layout: Layout, at_mm: float, every_mm: float) -> bool:
    """Whether a figure has room before the next line, where the figures begin anew."""
    ahead = [bay.at_mm - at_mm for bay in layout.bays if bay.at_mm > at_mm + _BEFORE_MM]
    return min(ahead, default=every_mm) >= _ROOM * every_mm


def words_at(
    at_mm: tuple[float, float],
    rows: Sequence[str],
    letters_mm: float,
    ends_mm: tuple[float, float],
    taken: Sequence[BaseGeometry],
) -> list[Text]:
    """Words that begin or end below a line, on the first rows where they are clear of all others.

    Args:
        at_mm: foot of the line and the top of the first row, on the page.
        rows: of words.
        letters_mm: their height.
        ends_mm: from and to of what is drawn of the roll; words stay within where they can.
        taken: what they must not lie over.
    """
    sides: tuple[Anchor, Anchor] = ("start", "end")
    tries = []
    for down in range(_ROWS):
        for side in sides:
            words = [
                Text(Role.TEXT, (at_mm[0], at_mm[1] - 1.5 * letters_mm * (k + down)), said,
                     letters_mm, 0, side, "top", True)
                for k, said in enumerate(rows)
            ]  # fmt: skip
            box = shapely.union_all([shapely.Polygon(text_box_mm(text, 0.4)) for text in words])
            low, _, high, _ = box.bounds
            over = any(box.intersects(shape) for shape in taken)
            out = low < ends_mm[0] - _BEFORE_MM or high > ends_mm[1] + _BEFORE_MM
            tries.append(((over, out, down), words))
    return min(tries, key=lambda row: row[0])[1]
