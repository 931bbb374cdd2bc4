"""The set-out of the mould as far as the verifier's own check of it holds.

What does not hold is not promised: the sheet, the table and plan.json show the rest, and a note
says what is left out, where and why. Where its base does not hold, the whole sheet is left out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import Finding, note
from plybook.laminate.model import Laminate
from plybook.plan import finding_row, setout_row
from plybook.shop.setout import LeftOut, SetOut, set_out
from plybook.shop.setout_lines import layer_of
from plybook.shop.words import listed
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.verify import setout_faults


@dataclass(frozen=True)
class _Left:
    """What is left out, and about where the reason lies, in words with lengths as values."""

    what: LeftOut
    where: str


@dataclass(frozen=True)
class _Try:
    """A set-out without some of its lines, the note of that and what is wrong with the rest."""

    setout: SetOut
    told: tuple[Finding, ...]
    faults: tuple[str, ...]


def proved_set_out(
    spec: PartSpec, face: Face, laminate: Laminate, plan: dict
) -> tuple[SetOut, tuple[Finding, ...]]:
    """The set-out without what the verifier would not bear out, and a note of what that is.

    Args:
        spec, face, laminate: the part.
        plan: its data as `plan_dict` makes it; its layouts are not asked for.
    """

    def attempt(left: Sequence[_Left]) -> _Try:
        found = set_out(spec, face, laminate, [one.what for one in left])
        told = _told(left, spec)
        rows = [finding_row(one, "") for one in told]
        data = {**plan, "setout": setout_row(found), "findings": rows}
        return _Try(found, told, tuple(setout_faults(json.loads(json.dumps(data)))))

    now = attempt(())
    left: list[_Left] = []
    while now.faults:
        names = dict.fromkeys(layer_of(outline) for outline in now.setout.outlines)
        least, best = len(now.faults), _left("", now.faults[0], now.setout, face)
        for name in filter(None, names):
            faults = attempt([*left, _Left(LeftOut(name, ""), "")]).faults
            if len(faults) < least:
                why = next((f for f in now.faults if f not in faults), now.faults[0])
                least, best = len(faults), _left(name, why, now.setout, face)
        left = [*left, best] if best.what.of else [best]
        now = attempt(left)
        if now.setout.empty:
            break
    return now.setout, now.told


def _left(name: str, fault: str, setout: SetOut, face: Face) -> _Left:
    """What is left out for a fault of a set-out: the fault in the builder's words, and about where
    on the part it is, at the mark that it names, else amid the layer that it is of."""
    of, _, wrong = fault.partition(": ")
    found = re.fullmatch(r"mark (\d+)", of)
    if found:
        fault = f"a mark {wrong}"
        spots = [np.array([m.at_mm]) for m in setout.marks if m.number == int(found[1])]
    else:
        fault = wrong if of == "plan.json, setout" else f"{of} {wrong}"
        spots = [o.points_mm for o in setout.outlines if name and layer_of(o) == name]
    where = f" (about {place_words(np.vstack(spots).mean(axis=0), face)})" if spots else ""
    return _Left(LeftOut(name, fault), where)


def _told(left: Sequence[_Left], spec: PartSpec) -> tuple[Finding, ...]:
    """The note of what is left out; nothing where nothing is."""
    if not left:
        return ()
    names = [one.what.of for one in left if one.what.of]
    shown = listed(names)
    what = f"does not show {shown}" if names else "of the mould is left out"
    reasons = "; ".join(f"{one.what.why}{one.where}" for one in left)
    return (
        note(
            "set-out-less",
            f"the set-out sheet {what}: its figures could not be proved, for {reasons}",
            f"mark {shown or 'the mould'} out from the templates instead; every figure that is "
            "told is proved",
            *(x.place for x in spec.layers if x.id in names),
            layers=tuple(x.id for x in spec.layers if x.id in names),
        ),
    )
