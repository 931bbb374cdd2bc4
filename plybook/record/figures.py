"""Figures typed at the bench and the limits they are held against.

The same reading and the same verdict as in the booklet's own script.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from plybook.drawing.document import Blank, field_id, jig_field_id, limit_words
from plybook.record.reading import Record

_FIGURE = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")
_COMMA = re.compile(r"([-+]?[0-9]*),([0-9]+)")
_MOST_LETTERS = 30  # of a figure; no gauge shows more
_SLACK = 1e-9  # two decimal figures may differ by binary dust


@dataclass(frozen=True)
class Measured:
    """One measured value: where it belongs, what was asked and what was written.

    `of` is the id of its step, "jig" on the jig card.
    """

    of: str
    where: str
    blank: Blank
    written: str
    at: str

    @property
    def value(self) -> float | None:
        return parse_figure(self.written)

    @property
    def verdict(self) -> str:
        """ "in", "out", "no figure", "open", or "noted" where there is no limit."""
        if not self.written:
            return "open"
        if self.value is None:
            return "no figure"
        low, high = self.blank.limits
        if low is None and high is None:
            return "noted"
        slack = _SLACK * max(1.0, abs(self.value))
        if low is not None and self.value < low - slack:
            return "out"
        return "out" if high is not None and self.value > high + slack else "in"

    @property
    def limits(self) -> str:
        return limit_words(self.blank)


def parse_figure(text: str) -> float | None:
    """A figure as people write it, with point or decimal comma; None where it is none."""
    text = text.strip().replace("\u2212", "-").replace("\u2013", "-")
    if match := _COMMA.fullmatch(text):
        text = f"{match[1]}.{match[2]}"
    return float(text) if len(text) <= _MOST_LETTERS and _FIGURE.fullmatch(text) else None


def measures(record: Record, plan: dict[str, Any]) -> Iterator[Measured]:
    """Everything the plan asks to be measured, in order: step by step, then the jig."""
    for step in steps(plan):
        for check in step["checks"]:
            if check["kind"] == "measure":
                blank = _blank(field_id(step["id"], check["id"]), check["text"], check)
                yield _measured(record, step["id"], step["title"], blank)
    for m in jig_card(plan):
        yield _measured(record, "jig", "jig card", _blank(jig_field_id(m["id"]), m["title"], m))


def jig_card(plan: dict[str, Any]) -> list[dict[str, Any]]:
    """Jig figures asked on a page of their own; none where steps of the plan ask for them."""
    return [] if any(s.get("shows") == "jig" for s in steps(plan)) else plan.get("jig", [])


def planned_mass_g(plan: dict[str, Any]) -> float:
    """What the part should weigh trimmed, g; 0 where the plan does not say."""
    quantities = plan["quantities"]
    return float(quantities.get("part_mass_g") or quantities.get("laminate_mass_g") or 0.0)


def steps(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The plan's steps in order."""
    for stage in plan["stages"]:
        yield from stage["steps"]


def mixed_in(plan: dict[str, Any], step: dict[str, Any]) -> list[str]:
    """Batches that are mixed in a step; one that serves several is mixed in its first."""
    return [b["id"] for b in plan["quantities"].get("batches", []) if b["step"] == step["id"]]


def _blank(id: str, label: str, source: dict[str, Any]) -> Blank:
    return Blank(
        id,
        label,
        "measure",
        source.get("unit", ""),
        source.get("expected"),
        source.get("tolerance"),
        source.get("at_least"),
        source.get("at_most"),
    )


def _measured(record: Record, of: str, where: str, blank: Blank) -> Measured:
    entry = record.fields.get(blank.id)
    return Measured(of, where, blank, record.words(blank.id), entry.at if entry else "")
