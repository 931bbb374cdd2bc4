"""Findings: what the tool has to say about a spec, as values.

A *finding* is one sentence about one thing, with the place it was found, how bad it is and the
edit that mends it. Stages return findings beside their result or raise a `PlybookError` that
carries them; nothing is printed from inside. `plybook.report` renders them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from plybook.units import Sentence, sentence

# what reading data of another shape than expected raises
MISSHAPEN = (
    LookupError, TypeError, ValueError, AttributeError, ArithmeticError, RecursionError,
)  # fmt: skip


class Severity(StrEnum):
    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A stretch of a source file; line and columns count from 1, end column is exclusive."""

    file: str
    line: int
    column: int
    end_column: int = 0


@dataclass(frozen=True, slots=True)
class Finding:
    """One diagnostic.

    Attributes:
        code: stable name in kebab-case, for example "unknown-key".
        severity: error stops the build; a warning is printed and kept in the plan.
        message: one sentence: what was found and what was expected.
        help: the edit to make, or "".
        places: first the place itself, then related ones (the other half of a duplicate).
        layers: ids of the layers or pieces concerned.
        source: published source of a trade rule, or "common practice, no source".
        acknowledged: the builder's reason where the spec accepts the finding.
    """

    code: str
    severity: Severity
    message: str
    help: str = ""
    places: tuple[Place, ...] = ()
    layers: tuple[str, ...] = ()
    source: str = ""
    acknowledged: str = ""

    def __post_init__(self) -> None:
        for name in ("message", "help"):  # lengths in them stay values until they are printed
            object.__setattr__(self, name, sentence(getattr(self, name)))


class PlybookError(Exception):
    """A refusal that carries its findings; `exit_code` is what the command ends with."""

    exit_code = 70

    def __init__(self, findings: Finding | Iterable[Finding]):
        self.findings = (findings,) if isinstance(findings, Finding) else tuple(findings)
        super().__init__("; ".join(f"{f.code}: {f.message}" for f in self.findings))

    def __reduce__(self):
        return type(self), (self.findings,)  # so that it survives the way between processes


class UsageError(PlybookError, ValueError):
    """The command line names what is not there (exit 2)."""

    exit_code = 2


class SpecError(PlybookError, ValueError):
    """The spec is wrong (exit 1)."""

    exit_code = 1


class GeometryError(SpecError):
    """A shape cannot be made as asked (exit 1).

    `at_mm` is the place on the pattern, (2,), where one is to blame; it does not survive the way
    between processes, the words of the finding do.
    """

    at_mm: Any = None


class StockError(PlybookError, ValueError):
    """A sound spec that cannot be cut from this stock (exit 3)."""

    exit_code = 3


class OutputError(PlybookError, OSError):
    """The result could not be written (exit 4)."""

    exit_code = 4


def error(code: str, message: str, help: str = "", *places: Place, **more) -> Finding:
    """A finding that stops the build."""
    return Finding(code, Severity.ERROR, message, help, tuple(places), **more)


def warning(code: str, message: str, help: str = "", *places: Place, **more) -> Finding:
    """A finding that is printed and kept, and does not stop the build."""
    return Finding(code, Severity.WARNING, message, help, tuple(places), **more)


def note(code: str, message: str, help: str = "", *places: Place, **more) -> Finding:
    """A finding for information."""
    return Finding(code, Severity.NOTE, message, help, tuple(places), **more)


def localized(unit: str, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings with their lengths in the user's unit."""
    if unit != "in":
        return tuple(findings)
    return tuple(
        replace(f, message=_in_unit(f.message, unit), help=_in_unit(f.help, unit)) for f in findings
    )


def _in_unit(text: str, unit: str) -> str:
    return text.in_unit(unit) if isinstance(text, Sentence) else text
