"""From what the stages found to what is told: accepted, localised, joined, in order.

Every command that reports on specs sends its findings through `finish`; no stage does any of this.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from plybook.diagnostics import Finding, PlybookError, Severity, localized, warning
from plybook.spec.model import PartSpec

_RANK = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
_NAMED = 6  # layers named of those that a joined finding concerns
# found while layouts are looked for or after the build: not known to every command
_LATER = (
    "layouts-searched", "layouts-forgotten", "packer-failed", "search-stopped", "not-enough-stock",
    "record-",
)  # fmt: skip
# found of one machine's search, not of what is made: no file of a part holds them
_OF_SEARCH = ("layouts-searched", "layouts-forgotten", "search-stopped", "no-irregular-packer")


@dataclass(frozen=True)
class Found:
    """What was found of one part, in the order of the stages."""

    spec: PartSpec
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Told:
    """The findings of a run, and those of each part for its files, in the order given; the same
    spec with the same layouts gives the same ones of each part, searched for or remembered.

    Attributes:
        refusal: what the run ends with because of them, None where it goes on.
    """

    findings: tuple[Finding, ...]
    of_parts: tuple[tuple[Finding, ...], ...]
    refusal: type[PlybookError] | None = None

    def raise_refusal(self) -> None:
        """Raises: PlybookError with every finding, where the run is refused."""
        if self.refusal is not None:
            raise self.refusal(self.findings)


def finish(
    parts: Sequence[Found],
    of_set: Iterable[Finding] = (),
    refusal: type[PlybookError] | None = None,
    complete: bool = True,
) -> Told:
    """Findings as they are told.

    Reasons of `accept` are put on findings of every stage; lengths are given in the part's unit;
    an opposite hand does not repeat what its twin says; findings that differ only by place or
    layer become one; errors come first, accepted ones last.

    Args:
        parts: the findings of each part.
        of_set: findings that concern all parts together.
        refusal: what the run ends with.
        complete: whether every stage was run, so that an `accept` that fits nothing is unused.
    """
    shared = list(of_set)
    own: list[list[Finding]] = []
    for part in parts:
        mine, shared = _accepted(part, shared, complete and refusal is None)
        own.append(list(localized(part.spec.part.units, mine)))
    if parts:
        shared = list(localized(parts[0].spec.part.units, shared))
    once = [f for part in _without_echoes([p.spec for p in parts], own) for f in part]
    lasting = [f for f in shared if f.code not in _OF_SEARCH]
    return Told(
        _in_order([*once, *shared]),
        tuple(_in_order([*mine, *lasting]) for mine in own),
        refusal,
    )


# ---------------------------------------------------------------- accept


def _accepted(
    part: Found, shared: Sequence[Finding], complete: bool
) -> tuple[list[Finding], list[Finding]]:
    """A part's findings and those of the set, with the reasons the part's spec gives; a reason
    that fits no finding is a finding of its own, so that it does not outlive its cause."""
    accepted = part.spec.acknowledged
    used: set[int] = set()

    def with_reason(finding: Finding) -> Finding:
        if finding.severity is Severity.ERROR:
            return finding
        for number, one in enumerate(accepted):
            if one.code == finding.code and (
                not one.layers or (finding.layers and set(finding.layers) <= set(one.layers))
            ):
                used.add(number)
                return replace(finding, acknowledged=finding.acknowledged or one.reason)
        return finding

    mine = [with_reason(f) for f in part.findings]
    shared = [with_reason(f) for f in shared]
    unknown = {f.places for f in mine if f.code == "unknown-finding"}
    for number, one in enumerate(accepted if complete else ()):
        if number in used or one.code.startswith(_LATER) or (one.place,) in unknown:
            continue
        where = f" for {', '.join(one.layers)}" if one.layers else ""
        mine.append(
            warning(
                "acknowledgement-unused",
                f"{one.code} is accepted{where}, but there is no such finding",
                "take the acknowledgement out, or name the layers of the finding",
                one.place,
                layers=one.layers,
            )
        )
    return mine, shared


# ---------------------------------------------------------------- both hands


def _without_echoes(
    specs: Sequence[PartSpec], own: Sequence[Sequence[Finding]]
) -> Iterator[list[Finding]]:
    """The findings of each part, less what an opposite hand only says again of its twin."""
    told: dict[str, set[tuple]] = {}  # number of the twin -> what is told of it already
    for spec, findings in zip(specs, own, strict=True):
        already = told.get(spec.part.number, set())
        yield [f for f in findings if (f.code, f.places, f.layers) not in already]
        told[spec.part.other_hand] = {(f.code, f.places, f.layers) for f in findings}


# ---------------------------------------------------------------- joined and in order


def _in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Joined; errors first, then warnings and notes, accepted ones last of their kind."""
    return tuple(sorted(_joined(findings), key=lambda f: (_RANK[f.severity], bool(f.acknowledged))))


def _joined(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Findings that differ only by place or layer as one, at the place of the first."""
    groups: dict[tuple, list[Finding]] = {}
    for f in dict.fromkeys(findings):
        said = (_nameless(f.message, f.layers), _nameless(f.help, f.layers))
        groups.setdefault((f.code, f.severity, *said, f.source, f.acknowledged), []).append(f)
    for first, *more in groups.values():
        yield _one_of(first, more) if more else first


def _nameless(sentence: str, layers: Sequence[str]) -> str:
    """A sentence without the names of the layers it is about, to hold it against another."""
    if not layers:
        return sentence
    names = "|".join(re.escape(name) for name in sorted(layers, key=len, reverse=True))
    return re.sub(rf"(?<![\w-])(?:{names})(?![\w-])", "\0", sentence)


def _one_of(first: Finding, more: Sequence[Finding]) -> Finding:
    places = tuple(dict.fromkeys(place for f in (first, *more) for place in f.places))
    also = [", ".join(f.layers) for f in more if f.layers and f.layers != first.layers]
    also = [names for names in dict.fromkeys(also)]
    said = ""
    if also:
        rest = f" and {len(also) - _NAMED} more" if len(also) > _NAMED else ""
        said = f" (also {'; '.join(also[:_NAMED])}{rest})"
    elif len(places) > len(first.places):
        said = f" (in {len(places)} places)"
    return replace(
        first,
        message=first.message + said,
        places=places,
        layers=tuple(dict.fromkeys(name for f in (first, *more) for name in f.layers)),
    )
