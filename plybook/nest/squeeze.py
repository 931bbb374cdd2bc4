"""Asking the irregular packer whether pieces fit together on one rectangular unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

from plybook.nest.budget import Budget
from plybook.nest.laying import Copy
from plybook.nest.model import Placement, Unit
from plybook.nest.placing import placed_outline
from plybook.nest.race import Race
from plybook.nest.strip import StripProblem

_LISTEN_S = 0.05
_LOADED = 2.5  # a search may take so much longer than its processor time, where others work too
_NEARLY = 1.004  # a layout this much too long may still be pushed together


class OnUnit(Protocol):
    @property
    def unit(self) -> Unit: ...
    @property
    def copies(self) -> tuple[Copy, ...]: ...
    @property
    def placements(self) -> tuple[Placement, ...]: ...


class Question:
    """Whether some copies fit together on a rectangular unit: a search in a process of its own.

    Attributes:
        copies: what was asked about.
        placements: how they lie, once it is known that they fit.
        is_over: answered, one way or the other.
    """

    def __init__(
        self,
        copies: Sequence[Copy],
        unit: Unit,
        gap_mm: float,
        seconds: float,
        budget: Budget,
        seed: int,
        any_turn: bool = False,
    ):
        """Begin the search.

        Args:
            copies: what is to lie together.
            unit: a rectangle.
            gap_mm: clear distance between pieces.
            seconds: processor time.
            budget: wall time, in which the processor may have other work too.
            seed: of the search.
            any_turn: let pieces that may turn freely lie at any angle, which finds more but takes
                longer; else long sides lie along edges of the unit.
        """
        self.copies, self.placements, self.is_over = tuple(copies), None, False
        self._unit, self._problem = unit, _problem(copies, unit, gap_mm, any_turn)
        self._target_mm = unit.length_mm * _NEARLY + 2 * self._problem.asked_mm
        self._seconds = seconds
        self._budget = budget.part(min(seconds * _LOADED, budget.left_s()))
        self._race = Race(self._problem.task, self._budget.left_s(), (seed,))
        self._race.__enter__()

    placements: list[Placement] | None

    def hear(self, wait_s: float = _LISTEN_S) -> None:
        """Listen for a moment. A search that is too far from the end of the unit for the processor
        time it has had is given up."""
        best = self._race.run(Budget(wait_s), self._target_mm)
        spent_s = self._race.spent_s
        if best is not None and best.length_mm <= self._target_mm:
            self._tidy(best)
        self.is_over |= best is not None and best.length_mm > self._target_mm * _hope(spent_s)
        self.is_over |= spent_s > self._seconds or not self._budget.left_s()
        self.is_over |= self.placements is not None or self._race.is_over

    def _tidy(self, best) -> None:
        result = self._problem.tidy(best)
        if result is not None and result.length_mm <= self._unit.length_mm + 1e-6:
            self.placements = _named(result.placements, self.copies)

    def close(self) -> None:
        """End the search."""
        self._race.__exit__()


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
    questions: list[Question] = []
    budget = Budget(seconds)
    try:
        for k, (copies, unit) in enumerate(zip(sets, units, strict=True)):
            questions.append(Question(copies, unit, gap_mm, seconds, budget, seed + k))
        while waiting := [q for q in questions if not q.is_over]:
            for question in waiting:
                question.hear()
    finally:
        for question in questions:
            question.close()
    return [q.placements for q in questions]


def _hope(spent_s: float) -> float:
    """A search further from its target than this factor is given up; what is near may go on."""
    return 1.0 + 0.13 * math.exp(-spent_s / 0.9) if spent_s > 0.5 else 2.0


def squeeze_left(bin: OnUnit, gap_mm: float, budget: Budget) -> list[Placement] | None:
    """The pieces of one rectangular unit packed as far to its left end as the time allows; None
    where that is no better than how they lie."""
    from plybook.nest.strip import search_strip

    problem = _problem(bin.copies, bin.unit, gap_mm)
    result = search_strip(problem, budget)
    items = {c.item.id: c.item for c in bin.copies}
    reach = max(float(placed_outline(items[p.item], p)[:, 0].max()) for p in bin.placements)
    if result is None or result.length_mm >= reach - 1.0:
        return None
    return _named(result.placements, bin.copies)


def _problem(
    copies: Sequence[Copy], unit: Unit, gap_mm: float, any_turn: bool = False
) -> StripProblem:
    return StripProblem(
        [c.turns[0][2].ring_mm for c in copies],
        [1] * len(copies),
        [None if any_turn and _is_free(c) else _turns(c, unit.width_mm) for c in copies],
        gap_mm,
        unit.width_mm,
    )


def _is_free(copy: Copy) -> bool:
    return copy.item.rotations_deg is None


def _turns(copy: Copy, width_mm: float) -> tuple[float, ...]:
    """Turns from the first orientation to every other that is not mirrored against it."""
    first, flipped, _ = copy.turns[0]
    return tuple(
        (rotation - first) % 360.0
        for rotation, down, shape in copy.turns
        if down == flipped and shape.high[1] - shape.low[1] <= width_mm + 1e-6
    )


def _named(placements, copies: Sequence[Copy]) -> list[Placement]:
    """Strip placements as placements of the copies they stand for."""
    found = []
    for p in placements:
        copy = copies[p.index]
        first, flipped, _ = copy.turns[0]
        turn = round((first + p.rotation_deg) % 360.0, 9) % 360.0
        near = min(
            (r for r, f, _ in copy.turns if f == flipped),
            key=lambda r: abs((r - turn + 180.0) % 360.0 - 180.0),
        )
        if _is_free(copy) and abs((near - turn + 180.0) % 360.0 - 180.0) > 1e-6:
            near = turn
        found.append(Placement(copy.item.id, copy.number, p.x_mm, p.y_mm, near, flipped))
    return found
