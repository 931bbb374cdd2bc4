"""Sheets of a cut plan on paper: the head, the title block, and what stands on which sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from plybook.drawing.letters import fitted, text_width_mm
from plybook.drawing.scene import Primitive, Role, Scene, Text
from plybook.drawing.titleblock import WIDTH_MM, TitleFacts, hand_words, title_block
from plybook.nest.model import Layout
from plybook.spec.model import PartInfo
from plybook.write.bag_sheets import UNDER_BAGS, UNDER_BAGS_SAID, BagPage
from plybook.write.paper import EDGE_MM
from plybook.write.pdf import draw_scene, new_canvas

Window = tuple[float, float] | None  # from and to along the stock, mm; None: all of it
Strip = tuple[Layout, Window]
Area = tuple[float, float, float, float]  # what of a sheet is printed: x0, y0, x1, y1, mm
READING_MM, LINE_MM = 14.0, 4.2  # from the upper edge to the first row read; from row to row
# capitals of a number and of what stands beside a sheet's name, the first that fit
_HEADING_MM = ((5.0, 3.5), (5.0, 2.5), (3.5, 2.5), (2.5, 2.5))


@dataclass(frozen=True)
class Sheet:
    """What is printed on one sheet, and which stock it draws or marks out."""

    items: Sequence[Primitive]
    facts: TitleFacts
    drawn: tuple[Strip, ...] = ()
    told: tuple[Layout, ...] = ()


@dataclass(frozen=True)
class CutSheets:
    """A cut plan on paper, and what stands on which of its sheets, counted from 1.

    Attributes:
        pdf: the file.
        count: of its sheets.
        drawn: id of the stock -> (sheet, from, to) of each stretch that is drawn, mm along it.
        told: id of the stock -> sheets of its mark-out table.
    """

    pdf: bytes
    count: int
    drawn: Mapping[str, Sequence[tuple[int, float, float]]]
    told: Mapping[str, Sequence[int]]


def print_sheets(
    sheets: Sequence[Sheet],
    part: PartInfo,
    number: str,
    revision: str,
    hand: str,
    paper_mm: tuple[float, float],
) -> CutSheets:
    """The sheets with their title blocks.

    Args:
        sheets: in order.
        part: whom the title block names.
        number, revision, hand: of the part or the set, in words.
        paper_mm: width and height of a sheet.
    """
    wide, high = paper_mm
    drawn: dict[str, list[tuple[int, float, float]]] = {}
    told: dict[str, list[int]] = {}
    canvas, buffer = new_canvas(wide, high, f"{number} cut plan", part.drawn_by, part.name)
    corner = (wide - EDGE_MM - WIDTH_MM, EDGE_MM)
    for k, sheet in enumerate(sheets, start=1):
        facts = replace(sheet.facts, sheet=f"{k} / {len(sheets)}", number=number,
                        revision=revision, hand=hand)  # fmt: skip
        every = (*sheet.items, *title_block(part, facts, corner))
        draw_scene(canvas, Scene(every, (0, 0, wide, high)), 0.0, 0.0)
        canvas.showPage()
        for layout, window in sheet.drawn:
            drawn.setdefault(layout.unit.id, []).append((k, *(window or (0.0, math.inf))))
        for layout in sheet.told:
            told.setdefault(layout.unit.id, []).append(k)
    canvas.save()
    return CutSheets(buffer.getvalue(), len(sheets), drawn, told)


def bag_sheets(bags: Sequence[BagPage], number: str, area_mm: Area) -> Iterator[Sheet]:
    """The last sheets: what lies under the bags."""
    for k, page in enumerate(bags, start=1):
        shown = UNDER_BAGS + (f", {k} of {len(bags)}" if len(bags) > 1 else "")
        items = [*heading(UNDER_BAGS, UNDER_BAGS_SAID, number, area_mm), *page.items]
        yield Sheet(items, TitleFacts("Cut plan", shown, "", page.scale))


def heading(name: str, said: str, number: str, area_mm: Area) -> list[Primitive]:
    """The top line of a sheet: a name, what it is, and whose cut plan it is; where all that is
    long, in smaller letters rather than cut short."""
    x, y = area_mm[0], area_mm[3] - 7.0
    after = x + text_width_mm(name, 7.0, True) + 5.0
    for own_mm, said_mm in _HEADING_MM:
        room = area_mm[2] - after - text_width_mm(number, own_mm, True) - 6.0
        if text_width_mm(said, said_mm) <= room:
            break
    return [
        Text(Role.TEXT, (x, y), name, 7.0, bold=True),
        Text(Role.TEXT, (after, y), fitted(said, room, said_mm), said_mm),
        Text(Role.TEXT, (area_mm[2], y), number, own_mm, anchor="end", bold=True),
    ]


def heading_and_reading(
    name: str, said: str, number: str, area_mm: Area, rows: Sequence[str]
) -> list[Primitive]:
    """The top of a sheet with a list: its heading, and below it how the list is read, in rows."""
    items = heading(name, said, number, area_mm)
    for k, row in enumerate(rows):
        at = (area_mm[0], area_mm[3] - READING_MM - LINE_MM * k)
        items.append(Text(Role.TEXT, at, row, 2.5))
    return items


def hands_of(parts: Sequence[PartInfo]) -> str:
    """The hands of all parts in words, each once."""
    hands = dict.fromkeys(hand_words(part.hand) for part in parts)
    return " + ".join(hands).replace(" HAND +", " +")
