"""Edits that are tried before a refusal proposes them.

Only what numbers have refused comes here (a layer that folds, a bevel that meets another), never a
spec that is written wrongly. The layers that were refused are laid again by themselves with one
edit after another, few times; what succeeds is laid up whole, and only what that finds sound is
told as an edit that works.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, zip_longest

import numpy as np
import shapely

from plybook.diagnostics import Finding, PlybookError, Severity
from plybook.edits import TRIED, Edit, Ladder, ladders
from plybook.laminate.layup import LayUp, lay_up
from plybook.laminate.otherhand import left_image
from plybook.review import bench_review, proof_review
from plybook.spec.model import PartSpec
from plybook.surface import build_face
from plybook.surface.model import Face
from plybook.units import marked

TRIES = 6  # edits for one kind of refusal
_KINDS = 2  # of refusals of one part for which edits are tried
_WHOLE = 3  # lay-ups of the whole part for one kind of refusal
_PROOFS = 4  # the same where only that, or the face made anew, can tell
_WORK = 2_500_000  # triangles times steps after which no further edit is tried
_Wrong = set[tuple[str, tuple[str, ...]]]  # codes and layers of errors


def with_tried_edits(spec: PartSpec, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Findings whose refusals by numbers say which edit was tried and works, or that none does.

    Args:
        spec: the part.
        findings: all that were found of it.
    """
    wrong = [f for f in findings if f.severity is Severity.ERROR]
    codes = list(dict.fromkeys(f.code for f in wrong if f.code in TRIED))[:_KINDS]
    told = {code: _tried(spec, wrong, code) for code in codes}
    return tuple(_helped(f, told) for f in findings)


def _helped(finding: Finding, told: dict[str, str]) -> Finding:
    words = told.get(finding.code, "")
    if not words or finding.severity is not Severity.ERROR:
        return finding
    return replace(finding, help=f"{words}; or {marked(finding.help)}" if finding.help else words)


def _tried(spec: PartSpec, wrong: Sequence[Finding], code: str) -> str:
    """What became of the edits for the refusals of one code, in words; "" where there are none."""
    about = [f for f in wrong if f.code == code]
    names = {name for f in about for name in f.layers}
    layers = [layer for layer in spec.layers if layer.id in names]
    rungs = ladders(spec, code, layers)
    trial = _Trial(names if code != "not-proved" else set(), _errors(wrong) - _errors(about))
    tried: list[Edit] = []
    for edit in _round(rungs):
        if len(tried) == TRIES or trial.spent:
            break
        tried.append(edit)
        with np.errstate(all="ignore"):  # a trial that comes to nothing says nothing
            works = trial.lays(edit.spec) and trial.lays_whole(edit.spec)
        if works:
            return f"tried: {edit.words} lays up"
    if not tried:
        return ""
    return f"tried, and none lays up: {'; '.join(edit.words for edit in tried)}"


def _round(rungs: Sequence[Ladder]) -> Iterator[Edit]:
    """The least edit of each ladder, then the next of each."""
    return (edit for edit in chain.from_iterable(zip_longest(*rungs)) if edit is not None)


def _errors(findings: Sequence[Finding]) -> _Wrong:
    return {(f.code, f.layers) for f in findings if f.severity is Severity.ERROR}


class _Trial:
    """What is asked of a changed spec, and how much was spent on asking.

    Args:
        wanted: layers that were refused.
        may_stay: errors that are none of the edit's business.
    """

    def __init__(self, wanted: set[str], may_stay: _Wrong):
        self.wanted, self.may_stay = wanted, may_stay
        self.whole = self.work = 0
        self._made: tuple[PartSpec, Face] | None = None

    def _face(self, spec: PartSpec) -> Face:
        """The mould face; the last one where an edit leaves the mould as it was."""
        if self._made is None or not _on_one_face(spec, self._made[0]):
            self._made = spec, build_face(spec)
        return self._made[1]

    @property
    def spent(self) -> bool:
        """Whether no more is to be tried."""
        return self.whole == (_WHOLE if self.wanted else _PROOFS) or self.work > _WORK

    def lays(self, spec: PartSpec) -> bool:
        """Whether the face is made and nothing new is wrong with the layers."""
        try:
            if spec.part.hand == "right":
                lay = LayUp(*left_image(spec), _quiet)
            else:
                lay = LayUp(spec, self._face(spec), _quiet)
            found = lay.only(self.wanted)
        except (PlybookError, shapely.errors.GEOSException):
            return False
        self.work += lay.raisings.work
        return _errors(found) <= self.may_stay

    def lays_whole(self, spec: PartSpec) -> bool:
        """Whether the whole part is laid up, and proved where nothing else is wrong with it."""
        self.whole += 1
        try:
            face = self._face(spec)
            laminate = lay_up(spec, face)
            if not _errors(laminate.findings) <= self.may_stay:
                return False
            _, shop = bench_review(spec, face, laminate)
            return proof_review(spec, face, laminate, shop)[0].refusal is None
        except (PlybookError, shapely.errors.GEOSException):
            return False


def _on_one_face(one: PartSpec, other: PartSpec) -> bool:
    """Whether neither spec's mould was changed into the other's."""
    rest = [(spec.axis, spec.part.hand, spec.raised) for spec in (one, other)]
    return one.mould is other.mould and rest[0] == rest[1]


def _quiet(words: str) -> None:
    """Nobody is told how far a trial is."""
