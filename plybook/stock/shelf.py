"""What there is of one material, and in which order it is used up.

Terms:
    at hand: on the shelf, counted one by one with an id each.
    to buy: a size that can be had in any number (quantity 0 in the stock file).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from plybook.spec.model import StockItem


@dataclass(frozen=True)
class Shelf:
    """Stock of one material: each thing at hand once, in the order of use; then sizes to buy."""

    at_hand: tuple[StockItem, ...]
    to_buy: tuple[StockItem, ...]

    @property
    def is_empty(self) -> bool:
        return not self.at_hand and not self.to_buy


def on_shelf(
    stock: Sequence[StockItem], material: str, order: Literal["oldest", "shortest"] = "oldest"
) -> Shelf:
    """The shelf of one material.

    Args:
        stock: everything in the stock file.
        material: id of the cloth, core, rod or film.
        order: "oldest" uses what was received first (undated last), "shortest" the shortest;
            ties go to remnants, then the shorter, then the id.

    Returns:
        Things at hand with quantity 1 each ("R1" of quantity 3 becomes "R1-1" to "R1-3"), and the
        sizes to buy, smallest first.
    """
    mine = [s for s in stock if s.material == material]
    single = [one for s in mine if s.quantity > 0 for one in _one_by_one(s)]

    def oldest(s: StockItem):
        return (not s.received, s.received, s.outline_mm is None, s.length_mm, s.id)

    def shortest(s: StockItem):
        return (s.length_mm, s.width_mm, s.received, s.id)

    to_buy = sorted(
        (s for s in mine if s.quantity == 0), key=lambda s: (s.length_mm * s.width_mm, s.id)
    )
    return Shelf(
        tuple(sorted(single, key=oldest if order == "oldest" else shortest)), tuple(to_buy)
    )


def _one_by_one(item: StockItem) -> list[StockItem]:
    if item.quantity == 1:
        return [item]
    return [replace(item, id=f"{item.id}-{k + 1}", quantity=1) for k in range(item.quantity)]
