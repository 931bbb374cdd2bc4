"""What is lettered on the sheets of a piece, 1:1 or in tiles, against plan.json.

Terms:
    card: the facts beside a piece, labels in one column and values in the next.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np

from plybook.verify.names import Names
from plybook.verify.pdf_pages import Page, Words
from plybook.verify.pieces import ring
from plybook.verify.printed import ANGLE, after, angle, lengths_in_both, same, squeeze, told_deg
from plybook.verify.report import Report

_VALUES_MM = 19.0  # from the labels of a card to its values
_NEAR_MM = 0.6
_BLOCK_MM = 5.2  # from the base line of a label of the title block down to its value's, about
_KEY_PLAN = "Where it lies, seen from the bag side"
_EDGES = ("edge", "seam", "splice", "side", "line", "cut")
_HANDS = {"left": "LEFT HAND", "right": "RIGHT HAND", "none": "no hand"}
_TITLES = ("Part number", "Revision", "Part name", "Hand", "Document", "Shows", "Date of issue")
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
        words = list(words)
        wrong = [said.text for said in words if not self._own(piece, said)]
        if not rosette_in_order(words):
            wrong.append("a rosette whose angles are exchanged")
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
            return text in (face_words(piece), f"{piece['quantity']} OFF")
        return not self.names.another(piece["material"], text)

    def _place(self, piece: dict) -> str:
        return self.places.get(piece["layer"], piece["layer"])

    def check_card(self, piece: dict, page: Page, where: str,
                   stretch: tuple[float, float] = (1.0, 1.0)) -> None:  # fmt: skip
        """The card of a piece tells all its facts, and the title block its name.

        Args:
            piece: whose card it should be.
            page: that bears it.
            where: names the page in the report.
            stretch: how much larger than 1:1 the page is printed, across and up.
        """
        facts = card_facts(page, stretch[0])
        wanted = {
            "": piece["id"],
            "Layer": self._place(piece),
            "Quantity": f"{piece['quantity']} OFF",
            "Face": face_words(piece),
            "Stage": piece["stage"],
        }
        wrong = [f"{label} {facts.get(label, '')!r}".strip() for label, value in wanted.items()
                 if not same(facts.get(label, ""), value, cut=False)]  # fmt: skip
        material = facts.get("Material", "")
        if not self.names.fits(piece["material"], material):
            wrong.append(f"Material {material!r}")
        size = np.ptp(ring(piece.get("cut_outline_mm", piece["outline_mm"])), axis=0)
        along, across = (lengths_in_both(float(v), self.plan["part"]["units"], piece["kind"])
                         for v in size)  # fmt: skip
        told = {f"{a}×{b}" for a in along for b in across}
        if squeeze(facts.get("Size", "")) not in told:
            wrong.append(f"Size {facts.get('Size', '')!r}")
        titles = below_labels(page, _BLOCK_MM * stretch[1])
        part = self.plan["part"]
        owned = {
            "Part number": part["number"],
            "Revision": part["revision"],
            "Part name": part["name"],
            "Hand": _HANDS[part["hand"]],
            "Document": "Template",
            "Shows": f"Piece {piece['id']}",
            "Date of issue": part["date"],
        }
        wrong += [f"{label} {titles.get(label, '')!r}" for label, value in owned.items()
                  if not same(titles.get(label, ""), value)]  # fmt: skip
        said = "".join(squeeze(w.text) for w in page.words if w.mark == "TEXT")
        begun, ended = after(_KEY_PLAN, said), said.rfind("Partnumber")
        edges = "".join(map(edge_words, piece["edges"], [piece] * len(piece["edges"])))
        if begun < 0 or not same(said[begun:ended], edges, cut=False):
            wrong.append("other edges")
        self.report.expect(not wrong, "cards that tell the facts of their piece",
                           f"{self.name}, {where}",
                           f"has {wrong[:2]} on the card of {piece['id']}")  # fmt: skip


def face_words(piece: dict) -> str:
    """Which face lies up when the sheet is read."""
    return _FACES[bool(piece["may_turn_over"])]


def edge_words(edge: dict, piece: dict) -> str:
    """An edge of a piece: its name, how it is cut and what it meets."""
    name = edge["name"].strip()
    if not any(word in name.lower() for word in _EDGES):
        name = f"{name} edge"
    narrow = "BAG" if edge["wide_side"] == "mould" else "MOULD"
    slope = f"{fixed_to_tenth(edge['angle_deg'])}° - {narrow} SIDE NARROWER"
    if edge["treatment"] == "trim":
        cut = "TRIM AFTER CURE"
    elif edge["treatment"] == "square" or edge["angle_deg"] >= 90.0:
        cut = "SQUARE - NO BEVEL" if piece["kind"] in ("core", "insert") else ""
    else:
        cut = f"{'BEVEL' if edge['treatment'] == 'bevel' else 'SCARF'} {slope}"
    mate = f"butts against {edge['mate']}" if edge["mate"] else ""
    splice = piece.get("splice")
    if edge["mate"] and splice and splice["kind"] == "overlap":
        mate = f"overlaps {edge['mate']} by {fixed_to_tenth(splice['overlap_mm'])} mm"
    return " \u00b7 ".join(part for part in (name.upper(), cut, mate) if part)


def fixed_to_tenth(value: float) -> str:
    """A figure to a tenth, without zeros at the end."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


def below_labels(page: Page, drop_mm: float) -> dict[str, str]:
    """The title block of a page as label -> value, which stands right below it."""
    words = [w for w in page.words if w.mark == "TEXT"]
    by_place = {(round(w.at_mm[0], 1), round(w.at_mm[1], 1)): w.text for w in words}
    found: dict[str, str] = {}
    for word in words:
        if word.text in _TITLES:
            x, y = round(word.at_mm[0], 1), word.at_mm[1] - drop_mm
            near = (by_place.get((round(x + a, 1), round(y + b, 1)))
                    for a in (0.0, -0.1, 0.1) for b in (0.0, -0.1, 0.1))  # fmt: skip
            found[word.text] = next((text for text in near if text), "")
    return found


def rosette_in_order(words: Iterable[Words]) -> bool:
    """Whether the angles around a rosette stand the higher the more they turn up."""
    shown = [(w.at_mm[1], told_deg(w.text)) for w in words
             if w.mark == "TEXT" and ANGLE.fullmatch(w.text)]  # fmt: skip
    risen = [math.sin(math.radians(turn)) for _, turn in sorted(shown)]
    return risen == sorted(risen)


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
