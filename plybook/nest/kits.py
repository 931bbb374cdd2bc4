"""Kits: the pieces of a part, of a stage or of a hand come off a roll together, and what it costs.

Terms:
    kit: pieces that are cut off the roll, rolled up and laid away together.
    way: how pieces are sorted into kits; the tightest way has none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from plybook.nest.model import Item, KitWay, Layout
from plybook.spec.model import Kits

if TYPE_CHECKING:
    from plybook.nest.needs import CutJob, Need

TIGHTEST: Kits = "tightest"
KITS: tuple[Kits, ...] = ("by part", "by stage", "by hand")  # ways by which kits come off
WAYS = (TIGHTEST, *KITS)
HANDS = {"left": "the left hand", "right": "the right hand"}
NO_HAND = "no hand"

LayOut = Callable[[Sequence["Need"]], Sequence[list[Layout] | None]]


def in_kits(items: Iterable[Item], jobs: Sequence[CutJob], way: str) -> tuple[Item, ...]:
    """Items with their kit as their group, kit by kit in the order in which they come off.

    Args:
        items: of one material, in any order.
        jobs: the parts they belong to.
        way: one of `WAYS`; without kits the group is the stage, and stages stand in their order.
    """
    rank: dict[str, tuple[tuple[int, int], str]] = {}
    hands = list(dict.fromkeys(job.spec.part.hand for job in jobs))
    for n, job in enumerate(jobs):
        part = job.spec.part
        stages = {stage.id: k for k, stage in enumerate(job.spec.stages)}
        for piece in job.pieces:
            stage = stages.get(piece.stage, len(stages))
            place, kit = (0, stage), piece.stage
            if way == "by part":
                place, kit = (n, stage), part.number
            elif way == "by stage":
                place, kit = (n, stage), f"{part.number} {piece.stage}"
            elif way == "by hand":
                place, kit = (hands.index(part.hand), stage), HANDS.get(part.hand, NO_HAND)
            rank[f"{part.number}/{piece.id}"] = place, kit
    ordered = sorted(items, key=lambda item: rank[item.id][0])
    return tuple(replace(item, group=rank[item.id][1]) for item in ordered)


def ways_compared(
    jobs: Sequence[CutJob],
    needs: Sequence[Need],
    plans: Sequence[Sequence[Layout]],
    chosen: Kits,
    lay_out: LayOut,
) -> tuple[KitWay, ...]:
    """What each way takes off the rolls.

    Args:
        jobs: the parts.
        needs: of all materials, sorted into kits in the chosen way.
        plans: the layouts of each.
        chosen: the way they are cut.
        lay_out: gives layouts of needs, None where stock is short.

    Returns:
        One row for each of `WAYS`. Ways that sort the pieces of a roll alike take the same.
    """
    rolls = [k for k, need in enumerate(needs) if need.kind == "roll"]
    sorted_so = {
        way: {k: replace(needs[k], items=in_kits(needs[k].items, jobs, way),
                         rules=replace(needs[k].rules, kits=way)) for k in rolls}
        for way in WAYS
    }  # fmt: skip
    known: dict[_Kits, float | None] = {
        _kits(chosen, k, sorted_so[chosen][k].items): _length_mm(plans[k]) for k in rolls
    }
    found = []
    for way in WAYS:
        keys = {k: _kits(way, k, need.items) for k, need in sorted_so[way].items()}
        fresh = [k for k in rolls if keys[k] not in known]
        done = lay_out([sorted_so[way][k] for k in fresh]) if fresh else []
        for k, layouts in zip(fresh, done, strict=True):
            known[keys[k]] = None if layouts is None else _length_mm(layouts)
        kits = {item.group for need in sorted_so[way].values() for item in need.items}
        count = 0 if way == TIGHTEST else len(kits)
        lengths = tuple((needs[k].material, known[keys[k]]) for k in rolls)
        found.append(KitWay(way, count, lengths, way == chosen))
    return tuple(found)


_Kits = tuple[int, frozenset[frozenset[str]]]


def _kits(way: str, need: int, items: Sequence[Item]) -> _Kits:
    """Which pieces of a material lie in one kit; the same for ways that sort them alike."""
    found: dict[str, set[str]] = {}
    for item in items:
        found.setdefault("" if way == TIGHTEST else item.group, set()).add(item.id)
    return need, frozenset(map(frozenset, found.values()))


def _length_mm(layouts: Sequence[Layout]) -> float:
    return sum(layout.used_length_mm for layout in layouts)

