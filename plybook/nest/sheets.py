"""Panels on sheets and remnants: fewest units first, then the largest left-over in one piece.

A first plan lays pieces one by one, large ones first, in several orders (bounding boxes are one
of the starts, so the plan never takes more units than they would); with more time each remnant
is filled in many random orders and the fullest kept. Equal sheets are then dealt out anew as one
sheet fewer (`shares`). Then the emptiest unit is worked on until time is up or the bound is met:

- *take apart*: it and a few other units are emptied and filled anew in a random order; kept where
  units become fuller and the emptiest emptier;
- *squeeze*: a piece of the emptiest unit is tried on a full one, alone or in exchange for a
  smaller one, and the irregular packer searches for a second whether they fit together.

Fullness counts squared, so that moving a piece from an empty unit to a full one is a gain.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from plybook.nest.board import Board
from plybook.nest.bound import sheet_bound
from plybook.nest.budget import Budget
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, copies_of, fill
from plybook.nest.model import Item, Placement, Unit
from plybook.nest.race import packer_is_installed
from plybook.nest.shares import FULLEST, share_out

Progress = Callable[[int], None]
LAST_SHARE = 0.12  # of the time goes to leaving a large rest on the last unit
AT_BOUND_SHARE = 0.3  # of the time is spent on the left-over once no unit can be saved
FILLING_SHARE, SHARING_SHARE = 0.3, 0.92  # of the time: filling in random orders; dealing out
ODD_SHARE = 0.3  # of the time for filling, for each remnant where equal sheets are dealt out
EASILY_FULL = 0.78  # sheets this full are soon dealt out; then one fewer is tried
STUCK_AFTER = 8  # fruitless takings-apart before a squeeze; more with few pieces, they are quick
FEW, FEW_TRIES = 8, 20  # so few pieces are taken apart so often whatever the time
SQUEEZE_S = 3.5


@dataclass(frozen=True)
class Filled:
    """A unit and what was put on it."""

    unit: Unit
    copies: tuple[Copy, ...]
    placements: tuple[Placement, ...]

    @property
    def area_mm2(self) -> float:
        return sum(c.area_mm2 for c in self.copies)

    @property
    def is_plain(self) -> bool:
        return _is_plain(self.unit)

    @property
    def fullness(self) -> float:
        return self.area_mm2 / (self.unit.length_mm * self.unit.width_mm)


def _is_plain(unit: Unit) -> bool:
    return unit.outline_mm is None and not unit.bad_zones_mm


def pack_sheets(
    items: Sequence[Item],
    units: Sequence[Unit],
    gap_mm: float,
    budget: Budget,
    seed: int = 0,
    progress: Progress | None = None,
) -> tuple[list[Filled], list[Copy]]:
    """Put every copy of every item on units, in the units' order.

    Args:
        items: what to place.
        units: sheets and remnants in the order they are to be used, ones to buy last.
        gap_mm: clear distance between pieces.
        budget: wall time to improve in; a first plan is made even without any.
        seed: of the search.
        progress: called with the number of units of each better plan.

    Returns:
        Units used, in order, and the copies that fit nowhere.
    """
    sizes = {(u.length_mm, u.width_mm) for u in units}
    search = _Search(copies_of(items, sorted(sizes)), units, gap_mm, random.Random(seed), progress)
    left = search.start(budget)
    if not left:
        search.improve(budget, _least_units(items, units, gap_mm))
    return search.result(), left


def _least_units(items: Sequence[Item], units: Sequence[Unit], gap_mm: float) -> int:
    size = max(((u.length_mm, u.width_mm) for u in units), key=lambda s: s[0] * s[1])
    return sheet_bound([i.outline_mm for i in items], [i.demand for i in items], gap_mm, size)


FirstPlan = tuple[list[Filled], list[Copy]]  # and what is left over


@dataclass(frozen=True)
class _Trial:
    """Pieces of the emptiest unit to add to a full one, and pieces it would give back."""

    full: Filled
    add: list[Copy]
    back: list[Copy]


class _Search:
    """The best plan so far, and the moves that better it."""

    def __init__(self, copies, units, gap_mm, rng, progress):
        self._copies: list[Copy] = copies
        self._units: list[Unit] = list(units)
        self._gap_mm, self._rng, self._tell = gap_mm, rng, progress
        self._no_fits = NoFits(gap_mm)
        self._bins: list[Filled] = []
        self._cap = 0.90  # how full a squeeze may hope to make a unit; learns from its trials
        self._tried: set[tuple] = set()

    def result(self) -> list[Filled]:
        """Units used, in the order of the shelf; of bought ones of a size the first are used, the
        fullest first."""
        place = {u.id: n for n, u in enumerate(self._units)}
        bins = [b for b in self._bins if not b.unit.bought]
        sizes: dict[tuple[float, float], list[Unit]] = {}
        for unit in self._units:
            if unit.bought:
                sizes.setdefault((unit.length_mm, unit.width_mm), []).append(unit)
        bought = [b for b in self._bins if b.unit.bought]
        for filled in sorted(bought, key=lambda b: (-round(b.fullness, 9), place[b.unit.id])):
            free = sizes[filled.unit.length_mm, filled.unit.width_mm]
            bins.append(replace(filled, unit=free.pop(0)))
        return sorted(bins, key=lambda b: place[b.unit.id])

    # ------------------------------------------------------------ the first plan

    def start(self, budget: Budget) -> list[Copy]:
        """The best of several plans made at once; the copies it leaves over."""
        from plybook.nest.boxes import boxes_on_sheets

        orders = (
            lambda c: (-c.area_mm2, c.item.id, c.number),
            lambda c: (-_longest(c), -c.area_mm2, c.item.id, c.number),
        )
        best = self._first_fit(sorted(self._copies, key=orders[0]), self._units)
        dealt = packer_is_installed()
        odd = any(not _is_plain(u) for u in self._units)
        if budget.left_s() > 5.0 and not dealt:
            other = self._first_fit(sorted(self._copies, key=orders[1]), self._units)
            best = _better(best, other)
        boxed = boxes_on_sheets(self._copies, self._units, self._gap_mm)
        if boxed is not None:
            best = _better(best, ([Filled(*b) for b in boxed[0]], boxed[1]))
        if budget.left_s() > 2.0 and len(best[0]) > 2 and (odd or not dealt):
            part = budget.part(FILLING_SHARE * budget.left_s())
            best = _better(best, self._fullest_first(part, len(best[0])))
        self._bins, left = best
        self._say()
        return left

    def _fullest_first(self, budget: Budget, likely: int) -> FirstPlan:
        """Each unit filled in many random orders, the fullest kept before the next is begun; but
        equal sheets only once, where they are dealt out anew by the packer afterwards."""
        bins, left = [], list(self._copies)
        dealt = packer_is_installed()
        slow = [n for n, u in enumerate(self._units) if not (dealt and _is_plain(u)) and n < likely]
        for n, unit in enumerate(self._units):
            if not left:
                break
            more = len([k for k in slow if k >= n])
            seconds = budget.left_s() / more if n in slow else 0.0
            part = budget.part(min(seconds, ODD_SHARE * budget.left_s()) if dealt else seconds)
            best = None
            while best is None or part.left_s():
                order, whim = self._shuffled(left, 0.3), self._whim(0.1)
                made, rest = self._fill(unit, order, whim)
                if best is None or made.area_mm2 > best[0].area_mm2:
                    best = (made, rest)
                if not rest:
                    break
            left = best[1]
            if best[0].copies:
                bins.append(best[0])
        return bins, left

    def _shuffled(self, copies: Sequence[Copy], noise: float) -> list[Copy]:
        """Large ones first, more or less."""
        return sorted(copies, key=lambda c: -c.area_mm2 * math.exp(self._rng.gauss(0.0, noise)))

    def _whim(self, spread: float) -> Callable[[], float]:
        return lambda: math.exp(self._rng.gauss(0.0, spread))

    def _first_fit(self, copies, units) -> tuple[list[Filled], list[Copy]]:
        bins, left = [], list(copies)
        for unit in units:
            if not left:
                break
            made, left = self._fill(unit, left)
            if made.copies:
                bins.append(made)
        return bins, left

    def _fill(self, unit: Unit, copies: Sequence[Copy], whim=None) -> tuple[Filled, list[Copy]]:
        placements, left = fill(Board(unit, self._no_fits), copies, whim)
        gone = {id(c) for c in left}
        laid = tuple(c for c in copies if id(c) not in gone)
        return Filled(unit, laid, tuple(placements)), left

    # ------------------------------------------------------------ the moves

    def improve(self, budget: Budget, least: int) -> None:
        """Empty units while there is time; with the least number of units only the left-over
        can still grow, which is worth a part of the time."""
        if len(self._copies) <= FEW:  # a count, not a time: the same on every machine
            for _ in range(FEW_TRIES):
                if len(self._bins) > max(1, least):
                    self._take_apart()
        whole = budget.left_s()
        if whole < 0.5 or len(self._bins) == 0:
            return
        if len(self._bins) > max(1, least) and packer_is_installed():
            self._deal_out(budget.part(SHARING_SHARE * whole))
        fruitless = 0
        stuck = max(STUCK_AFTER, 300 // len(self._copies))
        while len(self._bins) > 1 and (left := budget.left_s()) > whole * LAST_SHARE:
            if len(self._bins) <= least and left < whole * (1 - AT_BOUND_SHARE):
                break
            before = len(self._bins)
            if self._take_apart():
                fruitless = 0
            else:
                fruitless += 1
            if fruitless >= stuck and packer_is_installed():
                seconds = min(SQUEEZE_S, budget.left_s() - whole * LAST_SHARE)
                if seconds > 0.3:
                    self._squeeze(seconds)
            if len(self._bins) < before:
                self._say()
        self._leave_rest(budget)

    def _emptiest(self) -> Filled:
        """The unit worth emptying: bought ones before those at hand, the last in the order."""
        place = {u.id: n for n, u in enumerate(self._units)}
        return min(self._bins, key=lambda b: (not b.unit.bought, b.fullness, -place[b.unit.id]))

    def _take_apart(self) -> bool:
        worst = self._emptiest()
        others = [b for b in self._bins if b is not worst]
        count = min(len(others), self._rng.choice((1, 1, 2, 2, 3)))
        chosen = self._rng.sample(others, count)
        pool = [c for b in (*chosen, worst) for c in b.copies]
        pool = self._shuffled(pool, self._rng.choice((0.05, 0.2, 0.5)))
        whim = self._whim(self._rng.choice((0.0, 0.1, 0.4)))
        made, left = [], pool
        for old in chosen:
            new, left = self._fill(old.unit, left, whim)
            made.append(new)
        if left:
            new, left = self._fill(worst.unit, left)
            made.append(new)
        if left:
            return False
        return self._accept([*chosen, worst], [b for b in made if b.copies])

    def _accept(self, old: list[Filled], new: list[Filled]) -> bool:
        before, after = _worth(old), _worth(new)
        if after < before:
            return False
        gone = {id(b) for b in old}
        self._bins = [b for b in self._bins if id(b) not in gone] + new
        return after > before

    def _deal_out(self, budget: Budget) -> None:
        """The pieces of equal plain units on fewer of them, as few as their area may allow."""
        place = {u.id: n for n, u in enumerate(self._units)}
        sizes: dict[tuple[float, float], list[Filled]] = {}
        for b in sorted(self._bins, key=lambda b: place[b.unit.id]):
            if b.is_plain:
                sizes.setdefault((b.unit.length_mm, b.unit.width_mm), []).append(b)
        for (length, width), bins in sizes.items():
            copies = [c for b in bins for c in b.copies]
            area = sum(c.area_mm2 for c in copies) / (length * width)
            fewest = max(1, math.ceil(area / FULLEST))
            count = max(fewest, min(len(bins) - 1, math.ceil(area / EASILY_FULL)))
            while fewest <= count < len(bins):
                units = [b.unit for b in bins[:count]]
                shared = share_out(copies, units, self._gap_mm, budget, self._rng)
                if shared is None:
                    break
                new = zip(units, shared, strict=True)
                fresh = [Filled(u, tuple(c), tuple(p)) for u, (c, p) in new]
                self._accept(bins, fresh)
                self._say()
                bins, count = fresh, count - 1

    def _squeeze(self, seconds: float) -> bool:
        """Try pieces of the emptiest unit on full ones, two trials at a time."""
        from plybook.nest.squeeze import squeeze_together

        worst = self._emptiest()
        trials = self._trials(worst)
        if not trials:
            return False
        sets = [[c for c in t.full.copies if c not in t.back] + t.add for t in trials]
        units = [t.full.unit for t in trials]
        found = squeeze_together(sets, units, self._gap_mm, seconds, self._rng.randrange(1000))
        better = False
        for trial, copies, placements in zip(trials, sets, found, strict=True):
            self._tried.add(_names(copies))
            fits = placements is not None
            self._cap = min(0.97, self._cap + 0.006) if fits else max(0.75, self._cap - 0.003)
            if placements is None or any(c not in worst.copies for c in trial.add):
                continue
            rest = [c for c in worst.copies if c not in trial.add] + trial.back
            new_worst, left = self._fill(worst.unit, sorted(rest, key=lambda c: -c.area_mm2))
            if left:
                continue
            new = [Filled(trial.full.unit, tuple(copies), tuple(placements))]
            new += [new_worst] if new_worst.copies else []
            if self._accept([trial.full, worst], new):
                better, worst = True, new_worst
        return better

    def _trials(self, worst: Filled) -> list[_Trial]:
        """Exchanges that would make a full unit fuller, at most to the cap; two of the best of a
        random lot, on different units and with different pieces."""
        lot: list[tuple[float, _Trial]] = []
        full_ones = [b for b in self._bins if b is not worst and b.is_plain]
        for _ in range(300 if full_ones else 0):
            full = self._rng.choice(full_ones)
            add = self._some(worst.copies, (1, 1, 1, 2, 2, 3))
            back = self._some(full.copies, (0, 0, 1, 1, 2))
            gain = sum(c.area_mm2 for c in add) - sum(c.area_mm2 for c in back)
            whole = full.unit.length_mm * full.unit.width_mm
            if not 0.004 * whole < gain <= self._cap * whole - full.area_mm2:
                continue
            if _names([c for c in full.copies if c not in back] + add) not in self._tried:
                lot.append((gain * (0.3 + self._rng.random()), _Trial(full, add, back)))
        if not lot:
            self._tried.clear()  # a search that failed once may do better with another seed
        lot.sort(key=lambda t: -t[0])
        chosen: list[_Trial] = []
        for _, trial in lot:
            taken = [c for t in chosen for c in t.add]
            if all(trial.full is not t.full for t in chosen) and not any(
                c in taken for c in trial.add
            ):
                chosen.append(trial)
            if len(chosen) == 2:
                break
        return chosen

    def _some(self, copies: Sequence[Copy], counts: Sequence[int]) -> list[Copy]:
        return self._rng.sample(list(copies), min(len(copies), self._rng.choice(counts)))

    def _leave_rest(self, budget: Budget) -> None:
        """Push the pieces of the emptiest unit to its left end: the rest is in one piece."""
        from plybook.nest.squeeze import squeeze_left

        worst = self._emptiest()
        if not worst.is_plain or not packer_is_installed() or budget.left_s() < 0.3:
            return
        placements = squeeze_left(worst, self._gap_mm, budget.part(min(budget.left_s(), 10.0)))
        if placements is not None:
            self._bins = [b for b in self._bins if b is not worst]
            self._bins.append(Filled(worst.unit, worst.copies, tuple(placements)))

    def _say(self) -> None:
        if self._tell:
            self._tell(len(self._bins))


def _names(copies: Sequence[Copy]) -> tuple:
    return tuple(sorted((c.item.id, c.number) for c in copies))


def _longest(copy: Copy) -> float:
    shape = copy.turns[0][2]
    return float(max(shape.high - shape.low))


def _worth(bins: Sequence[Filled]) -> tuple[int, int, float]:
    """How good a way of using some units is: fewest bought, fewest, fullness squared."""
    return (
        -sum(1 for b in bins if b.unit.bought),
        -len(bins),
        round(sum(b.fullness**2 for b in bins), 9),
    )


def _better(best: FirstPlan, other: FirstPlan) -> FirstPlan:
    """The one that leaves fewer over and uses fewer units."""
    ranks = [(-len(left), *_worth(bins)) for bins, left in (best, other)]
    return best if ranks[0] >= ranks[1] else other
