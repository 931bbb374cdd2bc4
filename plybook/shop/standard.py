"""The standard process as data: stages, steps, cautions and default figures from `trade/`.

Read once, checked whole: an unknown key, a caution that is not defined or a list that does not
exist is refused here, so that a step never reaches the book half filled.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, get_args

from plybook.shop.model import CheckKind, Shows
from plybook.spec.limits import Limits
from plybook.spec.reader import read_tree
from plybook.spec.written.process import LAYING_KINDS, STAGE_KINDS

_NUMBER = re.compile(r"-?\d+(\.\d+)?")


class TradeError(ValueError):
    """The data files of the tool itself are wrong."""


@dataclass(frozen=True)
class Line:
    """One sentence: said once for each item of `for_each` where `when` holds."""

    say: str
    when: tuple[str, ...] = ()
    for_each: str = ""


@dataclass(frozen=True)
class Ask:
    """One check. Figures are numbers or names of facts."""

    say: str
    kind: CheckKind = "tick"
    expected: str | float | None = None
    tolerance: str | float | None = None
    at_least: str | float | None = None
    at_most: str | float | None = None
    unit: str = ""
    source: str = ""
    how: str = ""
    difference: bool = False  # the first less the second of the two figures asked before it
    when: tuple[str, ...] = ()
    for_each: str = ""


@dataclass(frozen=True)
class Wait:
    """One timer; `seconds` is a number or the name of a fact."""

    say: str
    seconds: str | float
    kind: str = "wait"
    when: tuple[str, ...] = ()
    for_each: str = ""


@dataclass(frozen=True)
class StandardStep:
    """One step of a standard stage before it is filled in."""

    name: str
    title: str
    text: tuple[Line, ...] = ()
    checks: tuple[Ask, ...] = ()
    waits: tuple[Wait, ...] = ()
    cautions: tuple[Line, ...] = ()  # `say` is the name of a caution
    at_hand: tuple[Line, ...] = ()
    for_each: str = ""
    when: tuple[str, ...] = ()
    pieces: str = ""  # name of the fact that lists them
    resin: str = ""  # which need of the resin plan is mixed for this step
    lays: bool = False
    shows: Shows = "none"
    minutes: str | float = 0.0
    overlaps: bool = False
    together: bool = False
    relies_on: tuple[str, ...] = ()  # steps of the stage whose work its words take as done


@dataclass(frozen=True)
class StandardStage:
    kind: str
    title: str
    steps: tuple[StandardStep, ...]
    tools: tuple[Line, ...] = ()


@dataclass(frozen=True)
class StandardCaution:
    name: str
    text: str
    source: str
    again: str  # said instead in later stages, "" = the same


@dataclass(frozen=True)
class Standard:
    """Everything of `trade/` that the bench side uses."""

    stages: dict[str, StandardStage]
    cautions: dict[str, StandardCaution]
    figures: dict[str, Figure]


@dataclass(frozen=True)
class Figure:
    """A default with where it comes from."""

    name: str
    value: float
    unit: str
    source: str
    note: str = ""
    used_for: str = ""  # "" = every part


@lru_cache(maxsize=1)
def standard() -> Standard:
    """The standard process, read once from the package.

    Raises:
        TradeError: a data file is not well formed.
    """
    groups = {name: _steps(name, rows) for name, rows in _load("shared_steps").items()}
    cautions = {
        name: StandardCaution(name, row["text"], row["source"], row.get("again", ""))
        for name, row in _load("cautions").items()
    }
    figures = {
        name: Figure(name, float(row["value"]), row.get("unit", ""), row["source"],
                     row.get("note", ""), row.get("for", ""))
        for name, row in _load("figures").items()
    }  # fmt: skip
    stages = {kind: _stage(kind, _load(kind), groups) for kind in STAGE_KINDS}
    for stage in stages.values():
        for step in stage.steps:
            for line in step.cautions:
                if line.say not in cautions:
                    raise TradeError(f"{stage.kind}/{step.name}: no caution {line.say!r}")
    return Standard(stages, cautions, figures)


def figure(name: str) -> float:
    """The value of a default figure."""
    return standard().figures[name].value


def _load(name: str) -> dict[str, Any]:
    from importlib.resources import files

    content = (files("plybook") / "trade" / f"{name}.yaml").read_bytes()
    return _plain(read_tree(content, f"trade/{name}.yaml", Limits()))


def _plain(node):
    """Text as it stands to words, numbers and true/false; what is quoted stays words."""
    if isinstance(node, dict):
        return {str(key): _plain(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_plain(value) for value in node]
    if node.quoted:
        return str(node)
    if node in ("true", "false"):
        return node == "true"
    return float(node) if _NUMBER.fullmatch(node) else str(node)


def _stage(kind: str, data: dict[str, Any], groups: dict[str, tuple[StandardStep, ...]]):
    steps: list[StandardStep] = []
    for row in data["steps"]:
        if set(row) == {"use"}:
            steps.extend(groups[row["use"]])
        else:
            steps.append(_step(kind, row))
    names = [step.name for step in steps]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise TradeError(f"{kind}: steps of the same name: {', '.join(twice)}")
    for step in steps:
        if unknown := set(step.relies_on) - set(names):
            raise TradeError(f"{kind}/{step.name}: relies on {', '.join(sorted(unknown))}")
    return StandardStage(kind, data["title"], tuple(steps), _lines(data.get("tools", ())))


def _steps(where: str, rows: list[dict[str, Any]]) -> tuple[StandardStep, ...]:
    return tuple(_step(where, row) for row in rows)


_STEP_KEYS = frozenset(StandardStep.__dataclass_fields__)


def _step(where: str, row: dict[str, Any]) -> StandardStep:
    if unknown := set(row) - _STEP_KEYS:
        raise TradeError(f"{where}/{row.get('name')}: unknown keys {sorted(unknown)}")
    row = dict(row)
    row["text"] = _lines(row.get("text", ()))
    row["checks"] = tuple(_make(Ask, entry) for entry in row.get("checks", ()))
    if unknown := {ask.kind for ask in row["checks"]} - set(get_args(CheckKind)):
        raise TradeError(f"{where}/{row.get('name')}: no kind of check {sorted(unknown)}")
    row["waits"] = tuple(_make(Wait, entry) for entry in row.get("waits", ()))
    row["cautions"] = _lines(row.get("cautions", ()))
    row["at_hand"] = _lines(row.get("at_hand", ()))
    row["when"] = _when(row.get("when", ()))
    row["relies_on"] = _when(row.get("relies_on", ()))
    return StandardStep(**row)


def _lines(entries) -> tuple[Line, ...]:
    return tuple(_make(Line, entry) for entry in entries)


def _make(kind, entry):
    if isinstance(entry, str):
        return kind(entry)
    return kind(**{**entry, "when": _when(entry.get("when", ()))})


def _when(value) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


__all__ = [
    "LAYING_KINDS", "STAGE_KINDS", "Ask", "Figure", "Line", "Standard", "StandardCaution",
    "StandardStage", "StandardStep", "TradeError", "Wait", "figure", "standard",
]  # fmt: skip
