"""What the bags take off their rolls: each rectangle in its place, so that what is cut is bought.

The rectangles are laid by the packer that lays cloth, either way round, and proved by the checker
that proves cloth. Neighbours share a cut. Rolls begin at their end; what the shelf holds is not
looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.nest.boxes import pack_boxes
from plybook.nest.check import check_plan
from plybook.nest.model import Item, Layout, Placement, Unit
from plybook.shop.job import Job
from plybook.shop.model import BagCut, BagPlan, BagRoll, RolledCut

_WAYS_DEG = (0.0, 90.0)
MOST_CUTS = 400  # of one thing


@dataclass(frozen=True)
class _Wanted:
    """One line of a bag's cuts: an id that no other has, and its stage."""

    id: str
    stage: str
    cut: BagCut


def bag_rolls(job: Job, bags: Sequence[BagPlan]) -> tuple[BagRoll, ...]:
    """Each film, felt, mesh and peel ply whose roll has a width, with all its cuts laid out.

    Args:
        job: gives the rolls: their width, and where it is said their length.
        bags: of the stages in their order.

    Returns:
        Rolls in the order in which they are met; more than one of a kind where one is not long
        enough.
    """
    wanted: dict[str, list[_Wanted]] = {}
    for bag in bags:
        met: dict[str, int] = {}
        for cut in bag.cuts:
            if cut.unit == "m2":
                met[cut.role] = met.get(cut.role, 0) + 1
                again = f".{met[cut.role]}" if met[cut.role] > 1 else ""
                name = f"{bag.stage}.{cut.role}{again}"
                wanted.setdefault(cut.role, []).append(_Wanted(name, bag.stage, cut))
    rolls: list[BagRoll] = []
    for role, lines in wanted.items():
        card = job.consumable(role)
        if card is not None and are_laid(job, [line.cut for line in lines]):
            rolls += _rolls(role, lines, card.roll_width_mm, card.roll_length_mm)
    return tuple(rolls)


def are_laid(job: Job, cuts: Sequence[BagCut]) -> bool:
    """Whether cuts of one thing are laid out: not where its roll has no width, or is a tape beside
    them, or where there are more than anyone lays out by a list."""
    card = job.consumable(cuts[0].role) if cuts else None
    return (
        card is not None
        and all(0 < min(c.length_mm, c.width_mm) <= card.roll_width_mm for c in cuts)
        and sum(c.count for c in cuts) <= MOST_CUTS
    )


def _rolls(
    role: str, lines: Sequence[_Wanted], width_mm: float, length_mm: float
) -> list[BagRoll]:
    """One roll; where it is not long enough, as many stages on each as it holds."""
    whole = _laid(role, lines, width_mm)
    stages = list(dict.fromkeys(line.stage for line in lines))
    if not 0 < length_mm < whole.used_mm or len(stages) == 1:
        return [whole]
    found: list[BagRoll] = []
    some: list[_Wanted] = []
    for stage in stages:
        own = [line for line in lines if line.stage == stage]
        if some and _laid(role, [*some, *own], width_mm).used_mm > length_mm:
            found.append(_laid(role, some, width_mm))
            some = []
        some += own
    return [*found, _laid(role, some, width_mm)]


def _laid(role: str, lines: Sequence[_Wanted], width_mm: float) -> BagRoll:
    """All copies of some lines on one roll, as short as the packer finds.

    Raises:
        AssertionError: the checker does not agree.
    """
    rings = [_ring(line.cut) for line in lines]
    counts = [line.cut.count for line in lines]
    packed = pack_boxes(rings, counts, [_WAYS_DEG] * len(lines), 0.0, width_mm)
    assert packed is not None, f"{role}: a cut is wider than its roll"
    items = [
        Item(line.id, ring, count, _WAYS_DEG)
        for line, ring, count in zip(lines, rings, counts, strict=True)
    ]
    placed = [
        Placement(lines[p.index].id, p.copy, p.x_mm, p.y_mm, p.rotation_deg)
        for p in packed.placements
    ]
    unit = Unit(role, "roll", role, packed.length_mm, width_mm)
    layout = Layout(unit, tuple(placed), packed.length_mm, 0.0, 0.0)
    problems = check_plan([layout], items)
    assert not problems, f"{role}: {problems[0]}"
    by_id = {line.id: line for line in lines}
    cuts = sorted((_rolled(by_id[p.item], p) for p in placed), key=lambda c: (c.x_mm, c.y_mm))
    return BagRoll(role, lines[0].cut.name, width_mm, packed.length_mm, tuple(cuts))


def _ring(cut: BagCut) -> np.ndarray:
    long, wide = cut.length_mm, cut.width_mm
    return np.array([(0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)])


def _rolled(line: _Wanted, place: Placement) -> RolledCut:
    """Where a rectangle lies once it is turned."""
    cut = line.cut
    along, across, x = cut.length_mm, cut.width_mm, place.x_mm
    if place.rotation_deg % 180.0:
        along, across, x = across, along, x - cut.width_mm
    return RolledCut(
        line.id, line.stage, place.copy, cut.count, round(x, 3), round(place.y_mm, 3),
        along, across, cut.where,
    )  # fmt: skip
