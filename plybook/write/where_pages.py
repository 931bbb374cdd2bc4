"""Where the pieces of one part lie in the cut plan that several parts share.

The cut plan stands once, in the folder of the set. What stands in a part's own folder in its place
is this list: the pieces of the part by roll, sheet and bar, each with its number in the mark-out
table of the cut plan, its place along the stock by the part's own tape, and the sheets on which it
is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from plybook.drawing.letters import fitted, wrapped
from plybook.drawing.scene import Primitive
from plybook.drawing.titleblock import HEIGHT_MM, TitleFacts
from plybook.nest.markout import MarkedPiece, mark_out, tape
from plybook.nest.model import CutPlan, Layout
from plybook.spec.model import PartSpec
from plybook.write.bag_sheets import BagPage
from plybook.write.cut_sheets import (
    LINE_MM,
    READING_MM,
    CutSheets,
    Sheet,
    bag_sheets,
    hands_of,
    heading_and_reading,
    print_sheets,
)
from plybook.write.markout_pages import Columns, Row, TableBlock, column_mm, set_blocks
from plybook.write.paper import EDGE_MM, PAPERS_MM

CELLS = Columns(
    3, ((7.0, "end"), (9.0, "start"), (39.0, "end"), (55.0, "end"), (71.0, "end"), (84.0, "end"))
)
NAMES = ("No.", "piece", "bay", "from", "to", "sheet")
NO_BAY = "\u2013"
NAME_MM = 23.0  # room for the name of a piece
_UNITS = {"mm": "mm", "in": "inches"}
SHOWN_MM = 10.0  # a sheet with less of a piece is not named
TITLE = "Where it is cut"


@dataclass(frozen=True)
class SetPlan:
    """The shared cut plan as its parts refer to it.

    Attributes:
        folder: its name, beside those of the parts.
        numbers: of all parts of the set.
        units: of its figures, "mm" or "in".
        sheets: what stands on which sheet of it.
    """

    folder: str
    numbers: tuple[str, ...]
    units: str
    sheets: CutSheets


def where_pdf(
    spec: PartSpec, layouts: CutPlan, shared: SetPlan, bags: Sequence[BagPage] = ()
) -> bytes:
    """The list of one part.

    Args:
        spec: the part.
        layouts: those that cut something for it.
        shared: where they are drawn.
        bags: what lies under the bags of the part, on the last sheets.
    """
    return _Where(spec, layouts, shared).bytes(bags)


class _Where:
    def __init__(self, spec: PartSpec, layouts: CutPlan, shared: SetPlan):
        self.spec, self.shared, self.layouts = spec, shared, layouts.layouts
        self.part, self.unit = spec.part, spec.part.units
        self.rings = {item.id: item.outline_mm for item in layouts.items}
        self.demand = {item.id: item.demand for item in layouts.items}
        self.names = spec.materials.names()
        high, wide = PAPERS_MM[spec.workshop.paper]
        self.paper = (wide, high)
        self.area = (EDGE_MM, EDGE_MM, wide - EDGE_MM, high - EDGE_MM)

    def bytes(self, bags: Sequence[BagPage]) -> bytes:
        x0, y0, x1, y1 = self.area
        said = [row for words in self._said() for row in wrapped(words, x1 - x0, 2.5)]
        top = y1 - READING_MM - (len(said) + 1) * LINE_MM
        area = (x0, y0 + HEIGHT_MM + 5.0, x1, top)
        others = [number for number in self.shared.numbers if number != self.part.number]

        def page() -> list[Primitive]:
            together = f"together with {', '.join(others)}"
            return heading_and_reading(TITLE, together, self.part.number, self.area, said)

        blocks = [self._block(layout, column_mm(area, CELLS)) for layout in self.layouts]
        pages = set_blocks(blocks, area, NAMES, page, CELLS) or [page()]
        shown = f"pieces in {self.shared.folder}"
        sheets = [Sheet(items, TitleFacts("Cut plan", shown, "", "")) for items in pages]
        sheets += bag_sheets(bags, self.part.number, self.area)
        printed = print_sheets(sheets, self.part, self.part.number, self.part.revision,
                               hands_of([self.part]), self.paper)  # fmt: skip
        return printed.pdf

    def _said(self) -> Iterator[str]:
        """What stands above the list."""
        count, unit = self.shared.sheets.count, _UNITS[self.shared.units]
        yield (
            f"The cut plan of these parts stands once: in the folder {self.shared.folder} beside "
            f"this one, {count} sheet{'s' if count != 1 else ''} in cutplan.pdf with figures in "
            f"{unit}, full-size drawings in cutplan."
        )
        if not self.layouts:
            yield f"Nothing is cut from stock for {self.part.number}."
            return
        yield (
            "Cut each roll, sheet and bar once, for all parts together. Below, the pieces of "
            f"{self.part.number}: their number in the mark-out table there, the bay of a roll "
            "longer than the table, from and to along the stock from the line of the bay, else "
            f"from its end, in {_UNITS[self.unit]}, and the sheets that draw them."
        )

    def _block(self, layout: Layout, room: float) -> TableBlock:
        """The pieces of the part on one roll, sheet or bar, in the order of cutting."""
        stock = layout.unit
        state = "to buy" if stock.bought else "on the shelf"
        drawn = [sheet for sheet, _, _ in self.shared.sheets.drawn[stock.id]]
        told = self.shared.sheets.told[stock.id]
        words = (
            f"{stock.kind} of {self.names.get(stock.material, stock.material)}, {state}; "
            f"drawn on {_sheets(drawn)}, marked out on {_sheets(told)}"
        )
        head = [(fitted(stock.id, room, 3.5, True), 3.5, True)]
        head += [(row, 1.8, False) for row in wrapped(words, room, 1.8)]
        return TableBlock(tuple(head), tuple(self._rows(layout)))

    def _rows(self, layout: Layout) -> Iterator[Row]:
        own = {(m.item, m.copy): m for m in mark_out(layout, self.rings, self.unit)}
        order = own.values()
        if self.shared.units != self.unit:
            order = {(m.item, m.copy): m
                     for m in mark_out(layout, self.rings, self.shared.units)}.values()  # fmt: skip
        for number, there in enumerate(order, start=1):
            part, _, piece = there.item.rpartition("/")
            if part != self.part.number:
                continue
            mark = own[there.item, there.copy]
            ends = mark.told_mm[:, 0].min(), mark.told_mm[:, 0].max()
            copies = self.demand[there.item]
            name = f"{piece}, {there.copy} of {copies}" if copies > 1 else piece
            shown = self._shown(layout, there)
            low, high = (tape(float(end), self.unit) for end in ends)
            yield (str(number), fitted(name, NAME_MM, 2.5), str(mark.bay or NO_BAY), low, high,
                   _span(shown))  # fmt: skip

    def _shown(self, layout: Layout, mark: MarkedPiece) -> list[int]:
        """The sheets that draw a piece."""
        low, high = float(mark.ring_mm[:, 0].min()), float(mark.ring_mm[:, 0].max())
        least = min(SHOWN_MM, high - low) - 1e-6
        return [
            sheet
            for sheet, start, end in self.shared.sheets.drawn[layout.unit.id]
            if min(high, end) - max(low, start) >= least
        ]


def _sheets(numbers: Sequence[int]) -> str:
    """'sheet 3', 'sheets 3 to 5'."""
    return f"sheet{'s' if len(set(numbers)) > 1 else ''} {_span(numbers)}"


def _span(numbers: Sequence[int]) -> str:
    """The first and the last of numbers that follow one another: 3, or 3-5."""
    first, last = min(numbers), max(numbers)
    return str(first) if first == last else f"{first}\u2013{last}"


def reference(shared: SetPlan, manifest_sha256: str) -> Mapping[str, object]:
    """What the plan of a part says of the cut plan that it shares."""
    return {
        "folder": shared.folder,
        "parts": list(shared.numbers),
        "units": shared.units,
        "sheets": shared.sheets.count,
        "manifest_sha256": manifest_sha256,
    }
