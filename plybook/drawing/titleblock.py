"""The title block: who owns the drawing, what it shows, at which revision, which sheet.

The fields are those of ISO 7200 (legal owner, identification number, date of issue, sheet, title,
approved by, drawn by, document type, revision), set in a block 180 mm wide; scale and hand stand
beside them. Blank cells are for handwriting.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.drawing.letters import clean_text, fitted, text_width_mm
from plybook.drawing.scene import Path, Primitive, Role, Text
from plybook.drawing.style import LETTER_HEIGHTS_MM
from plybook.spec.model import PartInfo

WIDTH_MM = 180.0
ROW_MM = 10.0
HEIGHT_MM = 3 * ROW_MM
_SMALL = LETTER_HEIGHTS_MM[0]
_VALUES = LETTER_HEIGHTS_MM[2::-1]  # the largest that fits its cell


@dataclass(frozen=True)
class TitleFacts:
    """What the block says; the rest comes from the part."""

    document: str  # "Template", "Cut plan"
    title: str  # what this sheet shows, for example the piece
    sheet: str  # "1 / 12"
    scale: str = "1:1"
    number: str = ""  # set name where several parts share a sheet; "" = the part's number
    revision: str = ""  # "" = the part's
    hand: str = ""  # in words; "" = the part's


def hand_words(hand: str) -> str:
    """The hand in words."""
    return {"left": "LEFT HAND", "right": "RIGHT HAND"}.get(hand, "no hand")


def title_block(
    part: PartInfo, facts: TitleFacts, at_mm: tuple[float, float], width_mm: float = WIDTH_MM
) -> list[Primitive]:
    """The block with its lower left corner at a point.

    Args:
        part: number, name, revision, date, hand and people.
        facts: what this sheet is.
        at_mm: lower left corner.
        width_mm: the columns share it out in fixed proportion.
    """
    x0, y0 = at_mm
    unit = width_mm / WIDTH_MM
    rows: tuple[tuple[tuple[str, str, float, bool], ...], ...] = (
        (
            ("Part number", facts.number or part.number, 52, True),
            ("Revision", facts.revision or part.revision, 18, True),
            ("Part name", part.name, 70, True),
            ("Hand", facts.hand or hand_words(part.hand), 40, True),
        ),
        (
            ("Document", facts.document, 52, False),
            ("Sheet", facts.sheet, 18, False),
            ("Shows", facts.title, 70, True),
            ("Scale", facts.scale, 18, False),
            ("Date of issue", part.date, 22, False),
        ),
        (
            ("Owner", part.owner, 70, False),
            ("Drawn by", part.drawn_by, 35, False),
            ("Laminate by", part.designer, 35, False),
            ("Approved by", part.approved_by, 40, False),
        ),
    )
    items: list[Primitive] = []
    for k, row in enumerate(rows):
        top = y0 + HEIGHT_MM - k * ROW_MM
        x = x0
        for label, given, share, bold in row:
            value = clean_text(given)
            wide = share * unit
            items.append(_rule((x, top - ROW_MM), (x, top)))
            items.append(Text(Role.TEXT, (x + 1.2, top - 1.0), label, _SMALL, rise="top"))
            height = next(
                (h for h in _VALUES if text_width_mm(value, h, bold) <= wide - 2.4), _SMALL
            )
            items.append(
                Text(Role.TEXT, (x + 1.2, top - ROW_MM + 2.0),
                     fitted(value, wide - 2.4, height, bold), height, bold=bold)
            )  # fmt: skip
            x += wide
        items.append(_rule((x0, top), (x0 + width_mm, top)))
    items.append(
        Path(
            Role.FRAME,
            np.array([(x0, y0), (x0 + width_mm, y0), (x0 + width_mm, y0 + HEIGHT_MM),
                      (x0, y0 + HEIGHT_MM)]),
            closed=True,
        )
    )  # fmt: skip
    return items


def _rule(a: tuple[float, float], b: tuple[float, float]) -> Path:
    return Path(Role.DIMENSION, np.array([a, b]))
