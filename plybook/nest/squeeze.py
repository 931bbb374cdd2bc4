"""Asking the irregular packer whether pieces fit together on one rectangular unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import ExitStack
from typing import Protocol

from plybook.nest.budget import Budget
from plybook.nest.laying import Copy
from plybook.nest.model import Placement, Unit
from plybook.nest.race import Race
from plybook.nest.strip import StripProblem

_LISTEN_S = 0.05
_NEARLY = 1.004  # a layout this much too long may still be pushed together


class OnUnit(Protocol):
    @property
    def unit(self) -> Unit: ...
    @property
    def copies(self) -> tuple[Copy, ...]: ...
    @property
    def placements(self) -> tuple[Placement, ...]: ...


def squeeze_together(
    sets: Sequence[Sequence[Copy]],
    units: Sequence[Unit],
    gap_mm: float,
    seconds: float,
    seed: int = 0,
) -> list[list[Placement] | None]:
    """Search, side by side, for layouts that put each set of copies on its rectangular unit.

    Args:
        sets: copies that are to lie together, one set for each unit.
        units: rectangles.
        gap_mm: clear distance between pieces.
        seconds: wall time for all; a set that fits ends its search early.
        seed: of the searches.

    Returns:
        Placements of each set, None where none was found.
    """
    problems = [_problem(s, u, gap_mm) for s, u in zip(sets, units, strict=True)]
    found: list[list[Placement] | None] = [None] * len(sets)
    with ExitStack() as stack:
        races = [
            stack.enter_context(Race(p.task, seconds, (seed + k,))) for k, p in enumerate(problems)
        ]
        waiting = set(range(len(sets)))
        begun: dict[int, float] = {}  # time left when a search was first heard of
        budget = Budget(seconds)
        while waiting and (left := budget.left_s()):
            for k in sorted(waiting):
                target = units[k].length_mm * _NEARLY + 2 * problems[k].asked_mm
                best = races[k].run(Budget(_LISTEN_S), target)
                if best is not None:
                    begun.setdefault(k, left)
                    if best.length_mm > target * _hope(begun[k] - left):
                        waiting.discard(k)
                if best is not None and best.length_mm <= target:
                    found[k] = _tidy(problems[k], best, sets[k], units[k])
                    if found[k] is not None:
                        waiting.discard(k)
                if races[k].is_over:
                    waiting.discard(k)
    return found


def _hope(spent_s: float) -> float:
    """A search further from its target than this factor is given up; what is near may go on."""
    return 1.0 + 0.12 * math.exp(-spent_s / 0.9) if spent_s > 0.5 else 2.0


def squeeze_left(bin: OnUnit, gap_mm: float, budget: Budget) -> list[Placement] | None:
    """The pieces of one rectangular unit packed as far to its left end as the time allows; None
    where that is no better than how they lie."""
    from plybook.nest.strip import search_strip

    problem = _problem(bin.copies, bin.unit, gap_mm)
    result = search_strip(problem, budget)
    shapes = {(c.item.id, r, f): s for c in bin.copies for r, f, s in c.turns}
    reach = max(
        p.x_mm + float(shapes[p.item, p.rotation_deg, p.flipped].high[0]) for p in bin.placements
    )
    if result is None or result.length_mm >= reach - 1.0:
        return None
    return _named(result.placements, bin.copies)


def _problem(copies: Sequence[Copy], unit: Unit, gap_mm: float) -> StripProblem:
    return StripProblem(
        [c.turns[0][2].ring_mm for c in copies],
        [1] * len(copies),
        [_turns(c, unit.width_mm) for c in copies],
        gap_mm,
        unit.width_mm,
    )


def _turns(copy: Copy, width_mm: float) -> tuple[float, ...]:
    """Turns from the first orientation to every other that is not mirrored against it."""
    first, flipped, _ = copy.turns[0]
    return tuple(
        (rotation - first) % 360.0
        for rotation, down, shape in copy.turns
        if down == flipped and shape.high[1] - shape.low[1] <= width_mm + 1e-6
    )


def _tidy(problem, best, copies, unit) -> list[Placement] | None:
    result = problem.tidy(best)
    if result is None or result.length_mm > unit.length_mm + 1e-6:
        return None
    return _named(result.placements, copies)


def _named(placements, copies: Sequence[Copy]) -> list[Placement]:
    """Strip placements as placements of the copies they stand for."""
    found = []
    for p in placements:
        copy = copies[p.index]
        first, flipped, _ = copy.turns[0]
        turn = round((first + p.rotation_deg) % 360.0, 9) % 360.0
        exact = min(
            (r for r, f, _ in copy.turns if f == flipped),
            key=lambda r: abs((r - turn + 180.0) % 360.0 - 180.0),
        )
        found.append(Placement(copy.item.id, copy.number, p.x_mm, p.y_mm, exact, flipped))
    return found
