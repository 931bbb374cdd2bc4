"""Pieces dealt out over equal sheets so that each is about as full as the others.

Sheets filled one after the other end with one that holds the awkward rest. Here the number of
sheets is given. Terms:
    open: pieces that lie on no sheet yet, and the sheets that are still to take them.
    lot: pieces for one sheet, drawn from the open ones with the same mix of sizes as the rest.

The irregular packer is asked of one lot after another, as many at once as there are processors,
whether it fits its sheet. A lot that fits is closed, if it is at least as full as the open sheets
would be on average; lots are drawn a little fuller than that, so what is left becomes easier with
every lot that is closed. A lot that does not fit goes back among the open pieces; where those
leave no other choice, closed lots are opened again.
"""

from __future__ import annotations

import math
import os
import random
from collections import Counter
from collections.abc import Sequence

from plybook.nest.budget import Budget
from plybook.nest.laying import Copy
from plybook.nest.model import Placement, Unit
from plybook.nest.squeeze import Question

FULLEST = 0.9  # a lot that would fill its sheet further than this is not worth a try
EASY = 0.8  # lots up to this full are laid with long sides along the sheet's edges
ANSWER_S = 5.0  # processor time for one lot; most that do not fit are given up much sooner
LEAST_S = 0.5
FULLER = 0.03, 0.004, 0.06  # how much fuller than on average a lot may be: first, least, most
MORE, LESS = 1.2, 0.93  # by what that changes after a lot that fits, and after one that does not
ALIKE = 0.004  # lots that differ by less of a sheet count as equally full
STRAY = 0.3  # how far a deal strays from largest first
EVENING = 100  # exchanges tried for each lot, to even areas out
DRAWS, DRY = 20, 50  # lots drawn before one is new; and how often none was before it is given up
WAIT_S = 0.02

Lot = list[Copy]
Shared = list[tuple[Lot, list[Placement]]]


def share_out(
    copies: Sequence[Copy],
    units: Sequence[Unit],
    gap_mm: float,
    budget: Budget,
    rng: random.Random,
) -> Shared | None:
    """Every copy on these units, or None where the time ends before that is found.

    Args:
        copies: what to place.
        units: equal rectangles, at least one.
        gap_mm: clear distance between pieces.
        budget: wall time to search.
        rng: for the dealing.

    Returns:
        The lot of each unit with its placements, in the order of the units.
    """
    sharing = _Sharing(copies, units, gap_mm, rng)
    if sharing.average() > FULLEST:
        return None
    try:
        while sharing.unit_count and sharing.dry < DRY and budget.left_s() > LEAST_S:
            sharing.step(budget)
    finally:
        sharing.close()
    return None if sharing.unit_count else sharing.closed


class _Sharing:
    """Closed lots, open pieces, and the lots that are being asked about."""

    def __init__(self, copies, units: Sequence[Unit], gap_mm: float, rng: random.Random):
        self.closed: Shared = []
        self.dry = 0  # how often in a row there was nothing new to ask
        self._unit, self._count = units[0], len(units)
        self._gap_mm, self._rng = gap_mm, rng
        self._pool: Lot = list(copies)  # open, and not being asked about
        self._asked: list[Question] = []
        self._known: dict[frozenset, list[Placement] | None] = {}
        self._times: Counter[frozenset] = Counter()  # how often each lot was asked about
        self._fuller = FULLER[0]
        self._at_once = min(max(os.cpu_count() or 1, 2), 8)

    @property
    def unit_count(self) -> int:
        """How many units are open."""
        return self._count - len(self.closed)

    def average(self) -> float:
        """How full the open units must become."""
        asked = {id(c): c for q in self._asked for c in q.copies}
        return self._full([*self._pool, *asked.values()]) / self.unit_count

    def _full(self, lot: Sequence[Copy]) -> float:
        return sum(c.area_mm2 for c in lot) / (self._unit.length_mm * self._unit.width_mm)

    def step(self, budget: Budget) -> None:
        """Ask where a processor is free; listen for a moment."""
        while self.unit_count and len(self._asked) < self._at_once:
            if not self._ask(budget):
                break
        for question in list(self._asked):
            question.hear(WAIT_S)
            if question.is_over and question in self._asked:
                self._answered(question)

    def close(self) -> None:
        """End every search."""
        for question in self._asked:
            question.close()
        self._asked = []

    def _ask(self, budget: Budget) -> bool:
        """Begin one more search; False where there is nothing new to ask at the moment."""
        free = self.unit_count - len({_names(q.copies) for q in self._asked})
        lot = self._draw(free) if free else None
        if free and lot is None:
            self._open_again()
            return False
        if lot is not None:
            self.dry = 0
            known = self._known.get(_names(lot))
            if known is None:
                self._pool = _without(self._pool, lot)
                self._begin(lot, budget)
                return True
            if self._close_lot(lot, known):
                return True
        once = [q for q in self._asked if self._times[_names(q.copies)] == 1]
        if once:  # the same from another seed
            self._begin(list(once[0].copies), budget)
        return bool(once)

    def _begin(self, lot: Lot, budget: Budget) -> None:
        seed, loose = self._rng.randrange(1000), self._full(lot) > EASY
        self._times[_names(lot)] += 1
        self._asked.append(Question(lot, self._unit, self._gap_mm, ANSWER_S, budget, seed, loose))

    def _draw(self, free: int) -> Lot | None:
        """A lot of open pieces that was not refused yet, a little fuller than on average."""
        for _ in range(DRAWS if free > 1 else 1):
            share = 1.0 + self._fuller * self._rng.uniform(0.3, 1.0)
            lot = deal(self._pool, [share] + [1.0] * (free - 1), self._rng)[0]
            refused = self._known.get(_names(lot), ()) is None
            if lot and not refused and self._full(lot) <= FULLEST:
                return lot
        return None

    def _open_again(self) -> None:
        """Some closed lots become open, rather the lighter ones, for they leave more room;
        without any, what was refused may be asked again."""
        self.dry += 1
        if not self.closed:
            self._known = {k: placed for k, placed in self._known.items() if placed is not None}
            self._times.clear()
        for _ in range(min(len(self.closed), self._rng.choice((1, 1, 2)))):
            some = self._rng.sample(range(len(self.closed)), min(len(self.closed), 3))
            lightest = min(some, key=lambda k: self._full(self.closed[k][0]))
            self._pool += self.closed.pop(lightest)[0]

    def _answered(self, question: Question) -> None:
        """Take an answer in: close the lot, or put it back among the open pieces."""
        lot, names = list(question.copies), _names(question.copies)
        question.close()
        self._asked.remove(question)
        twins = [q for q in self._asked if _names(q.copies) == names]
        least, most = FULLER[1:]
        if question.placements is None and twins:
            return
        for twin in twins:
            twin.close()
            self._asked.remove(twin)
        self._pool += lot
        self._known[names] = question.placements
        if question.placements is None:
            self._fuller = max(least, self._fuller * LESS)
        elif self._close_lot(lot, question.placements):
            self._fuller = min(most, self._fuller * MORE)

    def _close_lot(self, lot: Lot, placements: list[Placement]) -> bool:
        """Close a lot of open pieces that fits, unless that would leave the rest too full."""
        if self._full(lot) < self.average() - ALIKE:
            return False
        self._pool = _without(self._pool, lot)
        self.closed.append((lot, placements))
        return True


def _name(copy: Copy) -> tuple[str, int]:
    return copy.item.id, copy.number


def _names(copies: Sequence[Copy]) -> frozenset[tuple[str, int]]:
    return frozenset(_name(c) for c in copies)


def _without(copies: Sequence[Copy], some: Sequence[Copy]) -> Lot:
    gone = _names(some)
    return [c for c in copies if _name(c) not in gone]


def deal(copies: Sequence[Copy], shares: Sequence[float], rng: random.Random) -> list[Lot]:
    """Copies in lots whose areas are as these shares: large ones first, more or less, each to the
    lot that has least; then exchanges that bring two lots nearer to one another."""
    order = sorted(copies, key=lambda c: -c.area_mm2 * math.exp(rng.gauss(0.0, STRAY)))
    count = len(shares)
    lots: list[Lot] = [[] for _ in shares]
    areas = [0.0] * count
    for copy in order:
        k = min(range(count), key=lambda k: areas[k] / shares[k])
        lots[k].append(copy)
        areas[k] += copy.area_mm2
    for _ in range(EVENING * count if count > 1 else 0):
        i, j = rng.sample(range(count), 2)
        if not lots[i] or not lots[j]:
            continue
        m, n = rng.randrange(len(lots[i])), rng.randrange(len(lots[j]))
        change = lots[j][n].area_mm2 - lots[i][m].area_mm2
        off = areas[i] / shares[i] - areas[j] / shares[j]
        if abs((areas[i] + change) / shares[i] - (areas[j] - change) / shares[j]) < abs(off):
            lots[i][m], lots[j][n] = lots[j][n], lots[i][m]
            areas[i] += change
            areas[j] -= change
    return lots
