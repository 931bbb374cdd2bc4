"""What a build says of parts before it looks for a layout; `check` and `build` both ask here.

Of each part by itself: the steps at the bench, the letters of the book and the verifier's proof
of its plan. Of all parts together: the stock and the amount of work.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import TYPE_CHECKING

from plybook.diagnostics import Finding, Place, PlybookError, Severity, SpecError, error, warning
from plybook.units import marked

if TYPE_CHECKING:
    from plybook.laminate.model import Laminate
    from plybook.nest.needs import CutJob
    from plybook.shop.model import Shop
    from plybook.shop.setout import SetOut
    from plybook.spec.model import PartSpec
    from plybook.surface.model import Face

_NAMED_LETTERS = 8


@dataclass(frozen=True)
class Review:
    """Findings, and what a build would end with because of them (None: it would go on)."""

    findings: tuple[Finding, ...]
    refusal: type[PlybookError] | None = None

    def __add__(self, other: Review) -> Review:
        return Review(self.findings + other.findings, self.refusal or other.refusal)

    def raise_refusal(self) -> None:
        """Raises: PlybookError with every finding, where a build would be refused."""
        if self.refusal is not None:
            raise self.refusal(self.findings)


def reviewed(findings: Iterable[Finding]) -> Review:
    """A review of findings that were not raised."""
    found = tuple(findings)
    wrong = any(f.severity is Severity.ERROR for f in found)
    return Review(found, SpecError if wrong else None)


def bench_review(spec: PartSpec, face: Face, laminate: Laminate) -> tuple[Review, Shop | None]:
    """The laminate's own findings and those of the work at the bench.

    Returns:
        The review and the work itself; None where something is wrong.
    """
    from plybook.nest.model import NO_LAYOUTS
    from plybook.shop import plan_work

    laid = reviewed(laminate.findings)
    if laid.refusal is not None:
        return laid, None
    try:
        shop = plan_work(spec, face, laminate, NO_LAYOUTS)
    except PlybookError as wrong:
        return laid + Review(wrong.findings, type(wrong)), None
    found = laid + reviewed([*shop.findings, *_lost_letters(spec)])
    return found, None if found.refusal is not None else shop


def proof_review(
    spec: PartSpec, face: Face, laminate: Laminate, shop: Shop | None
) -> tuple[Review, SetOut]:
    """What the verifier would say of the plan, but for the layouts it does not have yet; and the
    set-out of the mould as far as it holds, nothing of it where there is no work."""
    from plybook.nest.model import NO_LAYOUTS
    from plybook.plan import plan_dict
    from plybook.setoutproof import proved_set_out
    from plybook.shop.setout import LeftOut, set_out

    if shop is None:
        return Review(()), set_out(spec, face, laminate, [LeftOut("", "there is no work")])
    told: tuple[Finding, ...] = ()
    setout = set_out(spec, face, laminate)
    plan = plan_dict(spec, face, laminate, NO_LAYOUTS, shop, setout=setout)
    found = list(not_proved([plan], laid_out=False))
    if found:
        setout, told = proved_set_out(spec, face, laminate, plan)
    if told:
        plan = plan_dict(spec, face, laminate, NO_LAYOUTS, shop, told, setout)
        found = list(not_proved([plan], laid_out=False))
    wrong = [_on_part(finding, spec, face, laminate) for finding in found]
    return reviewed([*told, *wrong]), setout


def _on_part(finding: Finding, spec: PartSpec, face: Face, laminate: Laminate) -> Finding:
    """The finding with the layer and the place on the part of the piece it names."""
    from plybook.surface.places import place_words

    said = finding.message.partition(": ")[2]  # after the number of the part
    for piece in laminate.pieces:
        if re.search(rf"(?<![\w.-]){re.escape(piece.id)}(?![\w.-]*\w)", said):
            where = place_words(piece.laid_outline_mm.mean(axis=0), face)
            return replace(
                finding,
                message=f"{marked(finding.message)} (the piece lies about {where})",
                places=tuple(x.place for x in spec.layers if x.id == piece.layer),
                layers=(piece.layer,),
            )
    return finding


def not_proved(plans: Sequence[dict], laid_out: bool = True) -> Iterator[Finding]:
    """An error for every plan that the verifier would call wrong.

    Args:
        plans: of all parts that are built together, as `plan_dict` makes them.
        laid_out: whether they hold their layouts.
    """
    from plybook.verify import plan_faults

    faults = plan_faults([json.loads(json.dumps(plan)) for plan in plans], laid_out)
    for number, own in faults.items():
        more = f", and {len(own) - 1} more" if len(own) > 1 else ""
        yield error(
            "not-proved",
            f"{number}: {own[0]}{more}",
            "change the layer it names, or report it with the spec; nothing was written",
        )


def cutting_review(
    jobs: Sequence[CutJob], limits: Mapping[str, float], twins: Sequence[CutJob] = ()
) -> Review:
    """What all parts of a build want of the stock, and how much there is to make.

    Args:
        jobs: the parts with their pieces.
        limits: that the command line has raised.
        twins: jobs whose opposite hand is made too and is not among the jobs.
    """
    from plybook.amount import refuse_too_much
    from plybook.marking import refuse_shared_files
    from plybook.nest.needs import gather

    whole = Review(())
    for ask in (
        lambda: gather(jobs)[1],
        lambda: refuse_too_much(jobs, limits, twins),
        *(lambda job=job: refuse_shared_files(piece.id for piece in job.pieces) for job in jobs),
    ):
        try:
            whole += Review(tuple(ask() or ()))
        except PlybookError as wrong:
            whole += Review(wrong.findings, type(wrong))
    return whole


# ---------------------------------------------------------------- before all else


def admit(specs: Sequence[PartSpec], limits: Mapping[str, float]) -> None:
    """Refuse specs that no work is begun on.

    Args:
        specs: of all parts, opposite hands included.
        limits: that the command line has raised.

    Raises:
        SpecError: two of one part number, ids that would be misread, or plainly too much.
    """
    from plybook.amount import refuse_plainly_too_much
    from plybook.marking import refuse_currencies, refuse_misread_ids, refuse_twins

    refuse_twins(specs)
    refuse_currencies(specs)
    refuse_misread_ids(specs)
    refuse_plainly_too_much(specs, limits)


# ---------------------------------------------------------------- letters of the book


def _lost_letters(spec: PartSpec) -> Iterator[Finding]:
    """A warning that names the characters of the spec that would be printed as a question mark."""
    lost: dict[str, str] = {}
    for words in _words(spec):
        if words.isascii():
            continue
        from plybook.drawing.letters import missing_glyphs  # opens the typeface

        for char in missing_glyphs(words):
            lost.setdefault(char, words)
    if lost:
        names = ", ".join(f"{char!r} (U+{ord(char):04X})" for char in list(lost)[:_NAMED_LETTERS])
        more = f" and {len(lost) - _NAMED_LETTERS} more" if len(lost) > _NAMED_LETTERS else ""
        first = next(iter(lost.values()))
        yield warning(
            "missing-glyphs",
            f"the book's typeface has no {names}{more}; first met in {first[:60]!r}",
            "write these words with other characters: they are printed as ?",
        )


def _words(thing: object) -> Iterator[str]:
    """Every text of a spec, names of files left out."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for part in thing:
            yield from _words(part)
    elif isinstance(thing, Mapping):
        yield from _words(tuple(thing.values()))
    elif is_dataclass(thing) and not isinstance(thing, Place):
        for field in fields(thing):
            if field.name not in ("files", "file"):
                yield from _words(getattr(thing, field.name))
