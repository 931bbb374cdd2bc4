"""Cloth pieces on rolls and remnants, warp kept, as little length as the time allows.

Each unit is filled in the order it is given (oldest or shortest first); what does not fit goes on
to the next, the roll to buy comes last and is as long as needed. On a plain roll the irregular
packer works on its whole usable width; on remnants of any outline and rolls with bad zones pieces
are laid one by one into what is sound.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from plybook.nest.board import Board
from plybook.nest.bound import strip_bound
from plybook.nest.budget import Budget
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, copies_of, fill
from plybook.nest.model import Item, Placement, Unit
from plybook.nest.placing import turn_ring
from plybook.nest.strip import pack_strip

Progress = Callable[[float], None]
FEW = 8
FULLEST = 0.93  # of a roll's area that a set of pieces may hope to fill
AS_GOOD_AS_BOUND = 1.0005  # a layout this near its bound ends the search


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
        roll, left = _fill_roll(unit, left, gap_mm, budget.part(share), seed, by_group, progress)
        if roll is not None:
            rolls.append(roll)
    return rolls, left


def _may_hold(unit: Unit, copies: Sequence[Copy], gap_mm: float) -> bool:
    return strip_length_bound(copies, gap_mm, unit.width_mm) <= unit.length_mm


def strip_length_bound(copies: Sequence[Copy], gap_mm: float, width_mm: float) -> float:
    """What no layout of these copies on a roll of this width can go below, mm."""
    lots = list(Counter(c.item.id for c in copies).items())
    items = {c.item.id: c.item for c in copies}
    return strip_bound(
        [items[name].outline_mm for name, _ in lots],
        [count for _, count in lots],
        [items[name].rotations_deg for name, _ in lots],
        gap_mm,
        width_mm,
    )


def _fill_roll(unit, copies, gap_mm, budget, seed, by_group, progress):
    """As many copies as possible on one unit: (Rolled or None, what is left)."""
    plain = unit.outline_mm is None and not unit.bad_zones_mm
    groups = _groups(copies) if by_group else [copies]
    placements: list[Placement] = []
    methods: set[str] = set()
    left: list[Copy] = []
    start = 0.0
    todo = len(copies)
    for group in groups:
        fitting = [c for c in group if _fits_across(c, unit)]
        left += [c for c in group if not _fits_across(c, unit)]
        if not fitting or (left and by_group):  # a later stage does not overtake an earlier one
            left += fitting
            continue
        room = unit.length_mm - start
        part = budget.part(budget.left_s() * len(fitting) / todo)
        todo -= len(group)
        done = None
        if plain:
            done = _strip(fitting, unit.width_mm, gap_mm, room, part, seed, progress)
        if done is None:
            done = _piecewise(fitting, unit, gap_mm, start, progress)
            if plain and part.left_s() > 0.5:
                done = _topped_up(done, fitting, unit, gap_mm, room, part, seed)
        made, rest, length, method = done
        placements += [replace(p, x_mm=p.x_mm + start) if plain else p for p in made]
        left += rest
        if made:
            methods.add(method)
            start = start + length + gap_mm if plain else length + gap_mm
    if not placements:
        return None, left
    used = min(start - gap_mm, unit.length_mm)
    return Rolled(unit, tuple(placements), used, " and ".join(sorted(methods))), left


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


def _strip(copies, width_mm, gap_mm, room_mm, budget, seed, progress, enough_mm=0.0):
    """All copies on a plain strip; None where they take more than the room."""
    bound = strip_length_bound(copies, gap_mm, width_mm)
    if bound > room_mm:
        return None
    enough = max(bound * AS_GOOD_AS_BOUND, enough_mm)
    if len(copies) <= FEW:  # what is easy is laid at once, and the same on every machine
        made, rest, reach, method = _piecewise(copies, _plain(width_mm, room_mm), gap_mm, 0.0, None)
        if not rest and reach <= enough:
            return made, [], reach, method
    entries: dict[tuple[str, bool], list[Copy]] = {}
    for copy in copies:
        entries.setdefault((copy.item.id, _face_down(copy, seed)), []).append(copy)
    lots = list(entries.items())
    result = pack_strip(
        [lot[0].item.outline_mm for _, lot in lots],
        [len(lot) for _, lot in lots],
        [_rotations(lot[0].item, down, width_mm) for (_, down), lot in lots],
        gap_mm,
        width_mm,
        0.0,
        seed,
        flipped=[down for (_, down), _ in lots],
        target_mm=enough,
        progress=progress,
        budget=budget,
    )
    if result.length_mm > room_mm + 1e-6:
        return None
    made = [
        Placement(
            lots[p.index][1][0].item.id,
            lots[p.index][1][p.copy - 1].number,
            p.x_mm,
            p.y_mm,
            p.rotation_deg,
            p.flipped,
        )
        for p in result.placements
    ]
    return made, [], result.length_mm, result.method


def _topped_up(done, copies, unit, gap_mm, room_mm, budget, seed):
    """More copies on a plain roll that cannot hold all: sets of growing area are tried as a whole;
    large pieces first, so that what is left for the next roll is easy to lay."""
    whole = unit.width_mm * room_mm
    by_name = {(c.item.id, c.number): c for c in copies}
    best, tries = done, 4
    fullest = sum(by_name[p.item, p.copy].area_mm2 for p in done[0]) / whole
    hope = 0.5 * (fullest + FULLEST)
    for n in range(tries):
        if hope <= fullest + 0.005 or budget.left_s() < 0.3:
            break
        some = _large_ones(copies, hope * whole)
        part = budget.part(budget.left_s() / (tries - n))
        tried = _strip(some, unit.width_mm, gap_mm, room_mm, part, seed, None, room_mm)
        if tried is None:
            hope = 0.5 * (fullest + hope)
            continue
        rest = {id(c) for c in some}
        best = (tried[0], [c for c in copies if id(c) not in rest], *tried[2:])
        fullest = sum(c.area_mm2 for c in some) / whole
        hope = 0.5 * (fullest + FULLEST)
    return best


def _large_ones(copies: Sequence[Copy], area_mm2: float) -> list[Copy]:
    """Copies, large ones first, while they keep within an area."""
    chosen = []
    for copy in sorted(copies, key=lambda c: (-c.area_mm2, c.item.id, c.number)):
        if copy.area_mm2 <= area_mm2:
            chosen.append(copy)
            area_mm2 -= copy.area_mm2
    return chosen


def _face_down(copy: Copy, seed: int) -> bool:
    """Whether this copy is tried face down: every second copy, and the other half for the next
    seed. Mirrored with its fibre along the warp a piece is as wide as before, so it fits too."""
    return copy.item.may_flip and (copy.number + seed) % 2 == 0


def _rotations(item: Item, down: bool, width_mm: float) -> tuple[float, ...] | None:
    """Allowed rotations in which the item fits across; None = free."""
    allowed = item.rotations_deg
    if down and item.flipped_rotations_deg is not None:
        allowed = item.flipped_rotations_deg
    if allowed is None:
        return None
    return tuple(
        r for r in allowed if np.ptp(turn_ring(item.outline_mm, r, down)[:, 1]) <= width_mm + 1e-6
    )


def _plain(width_mm: float, length_mm: float) -> Unit:
    return Unit("", "roll", "", length_mm, width_mm)


def _piecewise(copies, unit, gap_mm, start_mm, progress):
    """Copies laid one by one, large ones first, as many as fit."""
    board = Board(unit, NoFits(gap_mm))
    if start_mm > 0:
        strip = np.array([(0, 0), (start_mm, 0), (start_mm, unit.width_mm), (0, unit.width_mm)])
        board.block(strip)
    order = sorted(copies, key=lambda c: (-c.area_mm2, c.item.id, c.number))
    made, rest = fill(board, order)
    reach = max((float(x.place_mm[0] + x.shape.high[0]) for x in board.pieces()), default=0.0)
    plain = unit.outline_mm is None and not unit.bad_zones_mm
    if plain and start_mm > 0:
        made = [replace(p, x_mm=p.x_mm - start_mm) for p in made]
        reach -= start_mm
    if progress and made:
        progress(reach)
    return made, rest, reach, "irregular"
