"""What the drawings of the cut plan say of their stock in figures, held against plan.json."""

from __future__ import annotations

import re

from plybook.verify import corners
from plybook.verify.cut_pages import FIGURE, block_top_mm, length_mm
from plybook.verify.pdf_pages import Page
from plybook.verify.report import Report

SAID_MM = {"mm": 0.5, "in": corners.INCH_MM / 32}  # half of the last mark of a length in words
ROUNDING_MM = 0.002  # of figures in plan.json
_USED = re.compile(rf"(\d+) pieces? · (.+) × ({FIGURE}) (mm|in)")
_ROLL = re.compile(r"(\d+\.\d\d) m|(?:(\d+) ft )?(\d+) in")
_SHARE = re.compile(r"([\d.]+) % used, ([\d.]+) m² left over or waste")
_BOUND = re.compile(r"No plan can be shorter than (.+)")


def check_figures(
    layout: dict, count: int, page: Page, unit: str, where: str, report: Report
) -> None:
    """How many pieces, how much is used, how much is left, no less than what.

    Args:
        layout: of plan.json.
        count: pieces that lie on the stock.
        page: a drawing of it.
        unit: "mm" or "in": of the part.
        where: names the stock in the report.
        report: takes what is found.
    """
    roll = layout["kind"] == "roll"
    used = layout["used_length_mm"] if roll else layout["length_mm"]
    notes = [w.text for w in page.words if w.at_mm[1] <= block_top_mm(page)]
    half = SAID_MM[unit] + ROUNDING_MM
    good = any(
        int(m[1]) == count and m[4] == unit
        and (of_roll(m[2], used, unit) if roll else _of_sheet(m[2], used, unit))
        and abs(length_mm(m[3], unit) - layout["width_mm"]) <= half
        for m in map(_USED.fullmatch, notes) if m
    )  # fmt: skip
    report.expect(
        good,
        "drawings with the count and the size of what is used",
        where,
        f"does not say {count} pieces on {used:g} x {layout['width_mm']:g} mm",
    )
    waste = used * layout["width_mm"] * (1.0 - layout["utilisation"]) / 1e6
    good = any(
        abs(float(m[1]) - 100 * layout["utilisation"]) <= 0.051
        and abs(float(m[2]) - waste) <= 0.00051 + 2e-6 * used * layout["width_mm"] / 1e6
        for m in map(_SHARE.fullmatch, notes) if m
    )  # fmt: skip
    report.expect(
        good,
        "drawings with the share that is used and what is left",
        where,
        f"does not say {100 * layout['utilisation']:.1f} % and {waste:.3f} m2",
    )
    if roll:
        told = [m[1] for m in map(_BOUND.fullmatch, notes) if m]
        bound = layout["bound_mm"]
        good = len(told) == 1 and of_roll(told[0], bound, unit) if told or bound > 1e-3 else True
        report.expect(good, "drawings with the least length of their roll", where,
                      f"does not say that {bound:g} mm are the least")  # fmt: skip


def of_roll(said: str, length: float, unit: str) -> bool:
    """Whether words tell a length of a roll, to the centimetre or inch above."""
    told = _ROLL.fullmatch(said)
    if told is None or (unit == "mm") != bool(told[1]):
        return False
    if told[1]:
        over, step = 1000 * float(told[1]) - length, 10.0
    else:
        step = corners.INCH_MM
        over = (12 * int(told[2] or 0) + int(told[3])) * step - length
    return -ROUNDING_MM <= over <= step + ROUNDING_MM


def _of_sheet(said: str, length: float, unit: str) -> bool:
    figure, _, named = said.rpartition(" ")
    return named == unit and abs(length_mm(figure, unit) - length) <= SAID_MM[unit] + ROUNDING_MM
