"""Collects findings while a spec is worked out, so that many are told at once."""

from __future__ import annotations

from collections.abc import Iterable

from plybook.diagnostics import Finding, Place, Severity, SpecError, error, warning
from plybook.spec.limits import Limits
from plybook.spec.meant import guess


class Collector:
    """Findings so far. `limits` ride along because every check needs them."""

    def __init__(self, limits: Limits):
        self.limits = limits
        self.findings: list[Finding] = []

    def error(self, code: str, message: str, help: str, *places: Place, **more) -> None:
        self.findings.append(error(code, message, help, *places, **more))

    def warning(self, code: str, message: str, help: str, *places: Place, **more) -> None:
        self.findings.append(warning(code, message, help, *places, **more))

    def take(self, problem: SpecError) -> None:
        """Keep the findings of a refusal and go on."""
        self.findings.extend(problem.findings)

    def unknown(self, what: str, name: str, defined: Iterable[str], place: Place) -> None:
        """A reference to something that is not defined."""
        known = list(defined)
        shown = ", ".join(known[:12]) + (f" and {len(known) - 12} more" if len(known) > 12 else "")
        self.error(
            f"unknown-{what.replace(' ', '-')}",
            f"there is no {what} `{name}`",
            guess(name, known, 0.5) + (f"defined: {shown}" if known else f"no {what} is defined"),
            place,
        )

    @property
    def failed(self) -> bool:
        return any(f.severity == Severity.ERROR for f in self.findings)

    def stop_if_failed(self) -> None:
        """Raises: SpecError with everything found, when one of the findings is an error."""
        if self.failed:
            raise SpecError(ordered(self.findings))


def ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """By file, line and column; those without a place last; the same one only once."""
    unique = list(dict.fromkeys(findings))
    return tuple(sorted(unique, key=lambda f: (not f.places, f.places[:1])))
