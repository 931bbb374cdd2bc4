"""Cloth pieces on rolls and remnants, warp kept, as little length as the time allows.

Each unit is filled in the order it is given (oldest or shortest first); what does not fit goes on
to the next, the roll to buy comes last and is as long as needed. A plain roll is one stretch for
the irregular packer; on remnants of any outline and rolls with bad zones pieces are laid around
what cannot be used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from plybook.nest.around import fill_around
from plybook.nest.budget import Budget, Search
from plybook.nest.laying import Copy, copies_of
from plybook.nest.model import Item, Placement, Unit
from plybook.nest.stretch import fill_stretch, length_bound, moved

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Rolled:
    """A roll and what was put on it."""

    unit: Unit
    placements: tuple[Placement, ...]
    used_length_mm: float
    method: str


def pack_rolls(
    items: Sequence[Item],
    units: Sequence[Unit],
    gap_mm: float,
    budget: Budget,
    seed: int = 0,
    by_group: bool = False,
    progress: Progress | None = None,
) -> tuple[list[Rolled], list[Copy]]:
    """Put every copy of every item on rolls, in the rolls' order.

    Args:
        items: what to place; rotations say how the warp runs.
        units: rolls and remnants in the order they are to be used; one to buy has no end.
        gap_mm: clear distance between pieces.
        budget: wall time to spend.
        seed: of the searches.
        by_group: pieces of one group come off the roll before the next group begins, with a
            straight cut across between them; groups in the order of the items.
        progress: called with the length so far of the roll in work.

    Returns:
        Rolls used, in order, and the copies that fit nowhere.
    """
    left = copies_of(items)
    rolls: list[Rolled] = []
    for unit in units:
        if not left:
            break
        holds_all = unit.bought or unit is units[-1] or _may_hold(unit, left, gap_mm)
        share = budget.left_s() * (0.9 if holds_all else 0.3)
        search = Search(gap_mm, budget.part(share), seed, progress)
        roll, left = _fill_roll(unit, left, by_group, search)
        if roll is not None:
            rolls.append(roll)
    return rolls, left


def _may_hold(unit: Unit, copies: Sequence[Copy], gap_mm: float) -> bool:
    return length_bound(copies, gap_mm, unit.width_mm) <= unit.length_mm


def _fill_roll(
    unit: Unit,
    copies: Sequence[Copy],
    by_group: bool,
    search: Search,
) -> tuple[Rolled | None, list[Copy]]:
    """As many copies as possible on one unit, and what is left."""
    plain = unit.outline_mm is None and not unit.bad_zones_mm
    placements: list[Placement] = []
    methods: set[str] = set()
    left: list[Copy] = []
    start = 0.0
    todo = len(copies)
    before: Laid | None = None
    for group in _groups(copies) if by_group else [list(copies)]:
        fitting = [c for c in group if _fits_across(c, unit)]
        left += [c for c in group if not _fits_across(c, unit)]
        if not fitting or (left and by_group):  # a later stage does not overtake an earlier one
            left += fitting
            continue
        part = search.part(search.left_s() * len(fitting) / todo)
        todo -= len(group)
        image = _image_of(before, group, search.gap_mm) if before is not None else None
        if image is not None and image.end_mm <= unit.length_mm:
            placements += image.placements
            start, before = image.end_mm + search.gap_mm, None
            continue
        if plain:
            room = unit.length_mm - start
            done = fill_stretch(fitting, unit.width_mm, room, part)
            reach = start + done.reach_mm
            placements += moved(done.placements, start)
        else:
            done = fill_around(fitting, unit, start, part)
            reach = done.reach_mm
            placements += done.placements
        left += done.rest
        if plain and by_group and done.placements and not done.rest:
            own = moved(done.placements, start)
            before = Laid(tuple(own), start, reach)
        else:
            before = None
        if done.placements:
            methods.add(done.method)
            start = reach + search.gap_mm
    if not placements:
        return None, left
    used = min(start - search.gap_mm, unit.length_mm)
    return Rolled(unit, tuple(placements), used, " and ".join(sorted(methods))), left


@dataclass(frozen=True)
class Laid:
    """A whole kit on a plain roll, from and to along it."""

    placements: tuple[Placement, ...]
    start_mm: float
    end_mm: float


def _image_of(before: Laid, group: Sequence[Copy], gap_mm: float) -> Laid | None:
    """The kit of the opposite hand as the image of the one before it, so that both may be cut at
    once from folded cloth; None where it is no image. The line between them is on a whole mm."""
    placed = {(p.item, p.copy): p for p in before.placements}
    at = math.ceil(before.end_mm + gap_mm / 2 - 1e-6)
    found = []
    for copy in group:
        p = placed.pop((copy.item.mirror, copy.number), None)
        if p is None:
            return None
        turn = (180.0 - p.rotation_deg) % 360.0
        item = copy.item
        allowed = item.rotations_deg
        if p.flipped:
            allowed = item.flipped_rotations_deg or item.rotations_deg
        near = [abs((turn - a + 180.0) % 360.0 - 180.0) for a in allowed or (turn,)]
        if min(near) > 1e-6 or (p.flipped and not item.may_flip):
            return None
        found.append(Placement(item.id, copy.number, 2 * at - p.x_mm, p.y_mm, turn, p.flipped))
    return None if placed else Laid(tuple(found), 2 * at - before.end_mm, 2 * at - before.start_mm)


def _groups(copies: Sequence[Copy]) -> list[list[Copy]]:
    found: dict[str, list[Copy]] = {}
    for copy in copies:
        found.setdefault(copy.item.group, []).append(copy)
    return list(found.values())


def _fits_across(copy: Copy, unit: Unit) -> bool:
    return any(
        s.high[1] - s.low[1] <= unit.width_mm + 1e-6 and s.high[0] - s.low[0] <= unit.length_mm
        for _, _, s in copy.turns
    )
