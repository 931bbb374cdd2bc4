"""What is lettered on the sheets of a piece, 1:1 or in tiles, against plan.json.

Terms:
    card: the facts beside a piece, labels in one column and values in the next.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from plybook.verify.names import Names
from plybook.verify.pdf_pages import Page, Words
from plybook.verify.pieces import ring
from plybook.verify.printed import angle, lengths_in_both, same, squeeze
from plybook.verify.report import Report

_VALUES_MM = 19.0  # from the labels of a card to its values
_NEAR_MM = 0.6
_COUNT = re.compile(r"\d+ OFF")
_FACES = ("THIS FACE UP = BAG SIDE", "EITHER FACE UP")
_LAYER = re.compile(r"Layer (\S+) \((\d+) of (\d+) from mould\)")


class Lettering:
    """Holds the words of sheets against the pieces of a plan.

    Args:
        plan: what is held true.
        name: the file.
        report: takes what is found.
    """

    def __init__(self, plan: dict, name: str, report: Report) -> None:
        self.plan, self.name, self.report = plan, name, report
        self.names = Names(plan)
        self.of_part = {str(value) for value in plan["part"].values()}
        layers = [layer["id"] for layer in plan.get("layers", [])]
        self.places = {id: f"{id} ({k} of {len(layers)} from mould)"
                       for k, id in enumerate(layers, start=1)}  # fmt: skip

    def check_drawn(self, piece: dict, words: Iterable[Words], where: str) -> None:
        """The words drawn on a piece: its id, fibre, layer, material and face, no other's."""
        wrong = [said.text for said in words if not self._own(piece, said)]
        self.report.expect(not wrong, "sheets lettered with the id, fibre and layer of their piece",
                           f"{self.name}, {where}",
                           f"says {wrong[:1]} on {piece['id']}")  # fmt: skip

    def _own(self, piece: dict, said: Words) -> bool:
        """Whether words may stand on a piece."""
        text = said.text
        if said.mark == "ID":
            return same(text, piece["id"], cut=False)
        if said.mark == "FIBRE":
            return text.removeprefix("GRAIN ") == angle(piece["angle_deg"])
        if said.mark != "TEXT":
            return True
        if "from mould" in text and (layer := _LAYER.search(text)):
            return same(layer[0], f"Layer {self._place(piece)}")
        if text in self.of_part:
            return True
        if text in _FACES or _COUNT.fullmatch(text):
            return text in (_face(piece), f"{piece['quantity']} OFF")
        return not self.names.another(piece["material"], text)

    def _place(self, piece: dict) -> str:
        return self.places.get(piece["layer"], piece["layer"])

    def check_card(self, piece: dict, page: Page, where: str, stretch: float = 1.0) -> None:
        """The card of a piece tells all its facts, and the title block its name.

        Args:
            piece: whose card it should be.
            page: that bears it.
            where: names the page in the report.
            stretch: how much wider than 1:1 the page is printed.
        """
        facts = card_facts(page, stretch)
        wanted = {
            "": piece["id"],
            "Layer": self._place(piece),
            "Quantity": f"{piece['quantity']} OFF",
            "Face": _face(piece),
            "Stage": piece["stage"],
        }
        wrong = [f"{label} {facts.get(label, '')!r}".strip() for label, value in wanted.items()
                 if not same(facts.get(label, ""), value, cut=False)]  # fmt: skip
        material = facts.get("Material", "")
        if not self.names.fits(piece["material"], material):
            wrong.append(f"Material {material!r}")
        size = np.ptp(ring(piece.get("cut_outline_mm", piece["outline_mm"])), axis=0)
        along, across = (lengths_in_both(float(v), self.plan["part"]["units"]) for v in size)
        told = {f"{a}×{b}" for a in along for b in across}
        if squeeze(facts.get("Size", "")) not in told:
            wrong.append(f"Size {facts.get('Size', '')!r}")
        shown = any(same(w.text, f"Piece {piece['id']}") for w in page.words if w.mark == "TEXT")
        if not shown:
            wrong.append("another name in the title block")
        self.report.expect(not wrong, "cards that tell the facts of their piece",
                           f"{self.name}, {where}",
                           f"has {wrong[:2]} on the card of {piece['id']}")  # fmt: skip


def _face(piece: dict) -> str:
    """Which face lies up when the sheet is read."""
    return _FACES[bool(piece["may_turn_over"])]


def card_facts(page: Page, stretch: float = 1.0) -> dict[str, str]:
    """The card of a page as label -> value; the id in large letters under ""; {} without one."""
    anchor = next((w for w in page.words if w.mark == "TEXT" and w.text == "Layer"), None)
    if anchor is None:
        return {}
    x = anchor.at_mm[0]
    values_x = x + _VALUES_MM * stretch
    labels = [w for w in page.words if w.mark == "TEXT" and abs(w.at_mm[0] - x) < 0.05
              and w.at_mm[1] <= anchor.at_mm[1] + _NEAR_MM]  # fmt: skip
    values = [w for w in page.words if w.mark == "TEXT" and abs(w.at_mm[0] - values_x) < 0.05]
    facts: dict[str, str] = {}
    for label in labels:
        below = max((w.at_mm[1] for w in labels if w.at_mm[1] < label.at_mm[1] - _NEAR_MM),
                    default=label.at_mm[1] - 12.0)  # fmt: skip
        own = [w for w in values if below + _NEAR_MM < w.at_mm[1] <= label.at_mm[1] + _NEAR_MM]
        own.sort(key=lambda w: -w.at_mm[1])
        facts.setdefault(label.text, " ".join(w.text for w in own))
    large = [w for w in page.words if w.mark == "ID" and abs(w.at_mm[0] - x) < 0.05
             and w.at_mm[1] > anchor.at_mm[1]]  # fmt: skip
    facts[""] = min(large, key=lambda w: w.at_mm[1]).text if large else ""
    return facts
