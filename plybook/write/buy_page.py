"""What is to be bought for all parts of a set: sheets of their cut plan, each thing once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from plybook.drawing.letters import fitted, wrapped
from plybook.drawing.scene import Primitive
from plybook.drawing.titleblock import HEIGHT_MM, TitleFacts
from plybook.shop.model import Quantity
from plybook.units import MM_PER_FOOT, SQUARE_FOOT_M2, show_number, show_price
from plybook.write.cut_sheets import Area, Sheet, heading_and_reading
from plybook.write.markout_pages import Columns, Row, TableBlock, set_blocks

TO_BUY, TO_BUY_SAID = "To buy", "for all parts together"
TITLE, TOGETHER = "What is wanted", "Together"
COUNTED = ("piece", "roll", "sheet")
CELLS = Columns(1, ((0.0, "start"), (124.0, "end"), (150.0, "end"), (158.0, "start")))
NAME_MM, TABLE_MM = 96.0, 32.0  # room for a name; from the upper edge to the table
READING = (
    "Each thing stands here once, rounded up once; the list in a booklet is for that part alone. "
    "What the cut plan takes off the shelf is not among it; of other things what the stock file "
    "holds is taken first, and named. "
    "{prices}; what has none is not in the sum."
)
ENTERED = "Prices as they were entered, in their own money"


def buy_sheets(
    rows: Sequence[Quantity], unit: str, currency: str, number: str, area_mm: Area
) -> Iterator[Sheet]:
    """The sheets; none where nothing is to be bought.

    Args:
        rows: one for each thing; `detail` names the parts it is for.
        unit: "mm" or "in", of lengths and areas.
        currency: of the prices, "" where it is not said.
        number: of the set.
        area_mm: what of a sheet is printed.
    """
    if not rows:
        return
    x0, y0, x1, y1 = area_mm

    def page() -> list[Primitive]:
        prices = f"Prices in {currency}" if currency else ENTERED
        rows = wrapped(READING.format(prices=prices), x1 - x0, 2.5)
        return heading_and_reading(TO_BUY, TO_BUY_SAID, number, area_mm, rows)

    told: list[Row] = []
    for row in rows:
        first, *more = wrapped(row.detail, x1 - x0 - CELLS.cells[-1][0], 2.5) or [""]
        price = show_price(row.price, currency)
        item = fitted(row.item, NAME_MM, 2.5)
        told.append((item, _amount(row.amount, row.unit, unit), price, first))
        told += [("", "", "", line) for line in more]
    total = math.fsum(row.price for row in rows)
    told.append((TOGETHER, "", show_price(total, currency) or "0.00", ""))
    area = (x0, y0 + HEIGHT_MM + 5.0, x1, y1 - TABLE_MM)
    heads: Row = ("", "amount", "price", "for")
    block = TableBlock(((TITLE, 3.5, True),), tuple(told))
    for items in set_blocks([block], area, heads, page, CELLS):
        yield Sheet(items, TitleFacts("Cut plan", f"{TO_BUY}, {TO_BUY_SAID}", "", ""))


def _amount(amount: float, measure: str, unit: str) -> str:
    """An amount with its measure; in feet where the set is in inches, to the next tenth."""
    if unit == "in" and measure in ("m", "m2"):
        foot = MM_PER_FOOT / 1000 if measure == "m" else SQUARE_FOOT_M2
        measure = "ft" if measure == "m" else "sq ft"
        amount = math.ceil(round(amount / foot * 10, 4)) / 10
    if measure in COUNTED and amount != 1.0:
        measure += "s"
    measure = "m\u00b2" if measure == "m2" else measure
    return f"{show_number(amount, 3)} {measure}"
