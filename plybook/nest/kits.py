"""Kits: the pieces of a part, of a stage or of a hand come off a roll together, and what it costs.

Terms:
    kit: pieces that are cut off the roll, rolled up and laid away together.
    way: how pieces are sorted into kits; the tightest way has none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from plybook.nest.model import Fold, Item, KitWay, Layout
from plybook.nest.placing import placed_outline
from plybook.spec.model import Kits

if TYPE_CHECKING:
    from plybook.nest.needs import CutJob, Need

TIGHTEST: Kits = "tightest"
KITS: tuple[Kits, ...] = ("by part", "by stage", "by hand")  # ways by which kits come off
WAYS = (TIGHTEST, *KITS)
HANDS = {"left": "the left hand", "right": "the right hand"}
NO_HAND = "no hand"
IMAGE_MM = 0.01  # corners of images stand over one another

LayOut = Callable[[Sequence["Need"]], Sequence[list[Layout] | None]]


def in_kits(items: Iterable[Item], jobs: Sequence[CutJob], way: str) -> tuple[Item, ...]:
    """Items with their kit as their group, kit by kit in the order in which they come off; those
    of the opposite hand know the item that they are the image of.

    Args:
        items: of one material, in any order.
        jobs: the parts they belong to.
        way: one of `WAYS`; without kits the group is the stage, and stages stand in their order.
    """
    rank: dict[str, tuple[tuple[int, int, int], str]] = {}
    hands = list(dict.fromkeys(job.spec.part.hand for job in jobs))
    numbers = [job.spec.part.number for job in jobs]
    twins = {number: job.spec.part.other_hand for number, job in zip(numbers, jobs, strict=True)}
    for n, job in enumerate(jobs):
        part = job.spec.part
        stages = {stage.id: k for k, stage in enumerate(job.spec.stages)}
        for piece in job.pieces:
            stage = stages.get(piece.stage, len(stages))
            place, kit = (0, stage, 0), piece.stage
            if way == "by part":
                place, kit = (n, stage, 0), part.number
            elif way == "by stage":  # the same stage of either hand side by side
                pair = min(n, numbers.index(twins[part.number])) if _paired(job, twins) else n
                place, kit = (pair, stage, n), f"{part.number} {piece.stage}"
            elif way == "by hand":
                place, kit = (hands.index(part.hand), stage, 0), HANDS.get(part.hand, NO_HAND)
            rank[f"{part.number}/{piece.id}"] = place, kit
    ordered = sorted(items, key=lambda item: rank[item.id][0])
    known = {item.id: item for item in ordered}
    return tuple(
        replace(item, group=rank[item.id][1], mirror=_image(item, known, twins))
        for item in ordered
    )


def _paired(job: CutJob, twins: dict[str, str]) -> bool:
    other = job.spec.part.other_hand
    return twins.get(other) == job.spec.part.number


def _image(item: Item, known: dict[str, Item], twins: dict[str, str]) -> str:
    """The item that an item is the mirror image of, as the opposite hand has it."""
    part, _, piece = item.id.rpartition("/")
    other = known.get(f"{twins.get(part, '')}/{piece}")
    if other is None or twins.get(other.part) != part or other.demand != item.demand:
        return ""
    return other.id if images(item.outline_mm * (1.0, -1.0), other.outline_mm) else ""


def images(ring_mm: np.ndarray, other_mm: np.ndarray) -> bool:
    """Whether two rings have the same corners, in whatever order."""
    if ring_mm.shape != other_mm.shape:
        return False
    away = np.abs(ring_mm[:, None] - other_mm[None]).max(axis=2)
    return bool(max(away.min(axis=0).max(), away.min(axis=1).max()) <= IMAGE_MM)


def folds_of(
    layouts: Sequence[Layout], items: Sequence[Item], not_folded: Callable[[str], str]
) -> tuple[Fold, ...]:
    """Where kits that follow one another on a roll are images of one another.

    Args:
        layouts: cut in kits.
        items: what is placed.
        not_folded: why a material is not folded, "" where it may be.
    """
    by_id = {item.id: item for item in items}
    found = []
    for layout in layouts:
        if layout.unit.kind != "roll":
            continue
        kits: dict[str, list[tuple[str, np.ndarray]]] = {}
        for p in layout.placements:
            item = by_id[p.item]
            ring = placed_outline(item, p)
            kits.setdefault(item.group, []).append((p.item.rpartition("/")[2], ring))
        ordered = sorted(kits.items(), key=lambda kit: min(r[:, 0].min() for _, r in kit[1]))
        for (lower, below), (upper, above) in pairwise(ordered):
            end = max(float(ring[:, 0].max()) for _, ring in below)
            start = min(float(ring[:, 0].min()) for _, ring in above)
            at = round((end + start) / 2, 4)
            if _are_images(below, above, at):
                unit = layout.unit
                why = not_folded(unit.material)
                found.append(Fold(unit.id, unit.material, at, lower, upper, why))
    return tuple(found)


def _are_images(
    below: Sequence[tuple[str, np.ndarray]], above: Sequence[tuple[str, np.ndarray]], at: float
) -> bool:
    left = list(above)
    for name, ring in below:
        turned = ring * (-1.0, 1.0) + (2 * at, 0.0)
        same = (k for k, (other, r) in enumerate(left) if other == name and images(turned, r))
        if (k := next(same, None)) is None:
            return False
        left.pop(k)
    return not left


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

