"""Packing by bounding boxes: for pieces that are rectangles, and when no other packer is there.

On slanted pieces it takes about twice the cloth of packing by outline. `pack_boxes` is the simple
rule of a public library; `search_boxes` goes on searching for as long as it may.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.geometry.fitting import flat_rotations
from plybook.nest.budget import Budget
from plybook.nest.laying import Copy
from plybook.nest.model import Placement, Unit
from plybook.nest.placing import turn_ring
from plybook.nest.skyline import Side, lay_rectangles
from plybook.nest.strip import Progress, StripPlacement, StripResult

_PER_MM = 1000  # rectangles are packed in whole micrometres


def pack_boxes(
    rings: Sequence[np.ndarray],
    demands: Sequence[int],
    rotations: Sequence[Sequence[float] | None],
    gap_mm: float,
    width_mm: float,
) -> StripResult | None:
    """Pack the bounding boxes of rings on a strip; arguments as of `pack_strip`.

    Every ring must fit the strip in some allowed rotation. Several orders and rules are tried and
    the shortest kept; the same input gives the same layout. None where a box found no place.
    """
    best: tuple[int, list] | None = None
    turns = [_boxes(r, a, width_mm) for r, a in zip(rings, rotations, strict=True)]
    for choice in ("flat", "upright"):
        chosen = [_choose(t, choice) for t in turns]
        for rects in _trials(chosen, demands, gap_mm, width_mm):
            length = max(x + w for x, _, w, _, _ in rects)
            if best is None or length < best[0]:
                best = (length, [(r, chosen[r[4]]) for r in rects])
        if all(len(t) == 1 for t in turns):
            break
    if best is None:  # the library leaves out what it cannot place
        return None
    copies: dict[int, int] = {}
    placements = []
    for (x, y, _, _, index), (rotation, low, _) in best[1]:
        copies[index] = copies.get(index, 0) + 1
        at = np.array([x, y]) / _PER_MM - low
        placements.append(
            StripPlacement(index, copies[index], float(at[0]), float(at[1]), rotation)
        )
    return StripResult(tuple(placements), best[0] / _PER_MM - gap_mm, "rectangles")


def search_boxes(
    rings: Sequence[np.ndarray],
    demands: Sequence[int],
    rotations: Sequence[Sequence[float] | None],
    gap_mm: float,
    width_mm: float,
    budget: Budget,
    target_mm: float = 0.0,
    seed: int = 0,
    progress: Progress | None = None,
) -> StripResult:
    """Pack the bounding boxes of rings, searching until the time is up or the target is met;
    arguments as of `pack_strip`."""
    rects: list[tuple[Side, ...]] = []
    strip = _whole(width_mm + gap_mm)
    for k, (ring, allowed) in enumerate(zip(rings, rotations, strict=True)):
        sides = []
        for rotation, low, size in _boxes(ring, allowed, width_mm):
            along, across = (_whole(v, up=True) for v in size + gap_mm)
            sides.append(Side(min(across, strip), along, (k, rotation, low)))
        rects += [tuple(sides)] * demands[k]
    length, spots = lay_rectangles(
        rects,
        strip,
        budget,
        _whole(target_mm + gap_mm),
        seed,
        progress and (lambda reach: progress(reach / _PER_MM - gap_mm)),
    )
    copies: dict[int, int] = {}
    placements = []
    for y, x, side in spots:
        k, rotation, low = side.name
        copies[k] = copies.get(k, 0) + 1
        at = np.array([x, y]) / _PER_MM - low
        placements.append(StripPlacement(k, copies[k], float(at[0]), float(at[1]), rotation))
    return StripResult(tuple(placements), length / _PER_MM - gap_mm, "rectangles")


def _boxes(ring, allowed, width_mm) -> list[tuple[float, np.ndarray, np.ndarray]]:
    """(rotation, low corner, size) of each different box that fits across the strip."""
    found = {}
    for rotation in flat_rotations(ring) if allowed is None else allowed:
        turned = turn_ring(ring, rotation)
        low, size = turned.min(axis=0), np.ptp(turned, axis=0)
        if size[1] <= width_mm + 1e-6:
            found.setdefault(tuple(np.round(size, 3)), (float(rotation) % 360.0, low, size))
    return list(found.values())


def _choose(turns, choice: str):
    if choice == "upright":
        return min(turns, key=lambda t: (t[2][0], t[0]))
    return min(turns, key=lambda t: (round(t[2][0] * t[2][1], 3), -t[2][0], t[0]))


def _trials(chosen, demands, gap_mm, width_mm):
    """Lists of (x, y, w, h, index) in micrometres, x along the strip."""
    import rectpack

    across = int(np.floor((width_mm + gap_mm) * _PER_MM + 1e-6))
    rects = [
        (*(np.ceil(np.round((size + gap_mm) * _PER_MM, 6)).astype(int).tolist()), k)
        for k, (_, _, size) in enumerate(chosen)
        for _ in range(demands[k])
    ]
    endless = sum(w for w, _, _ in rects) + 1
    rules = (rectpack.SkylineBl, rectpack.SkylineBlWm, rectpack.MaxRectsBl)
    for rule in rules if len(rects) <= 150 else rules[1:2]:
        for order in (rectpack.SORT_LSIDE, rectpack.SORT_AREA, rectpack.SORT_SSIDE):
            packer = rectpack.newPacker(
                rectpack.PackingMode.Offline, pack_algo=rule, sort_algo=order, rotation=False
            )
            packer.add_bin(across, endless)  # its height is our length
            for w, h, k in rects:
                packer.add_rect(h, w, k)
            packer.pack()
            packed = [(y, x, h, w, k) for _, x, y, w, h, k in packer.rect_list()]
            if len(packed) == len(rects):
                yield packed


def boxes_on_sheets(copies: Sequence[Copy], units: Sequence[Unit], gap_mm: float):
    """Bounding boxes of copies on rectangular units, in the units' order.

    Returns:
        [(unit, copies, placements)] and the copies left over; None where a unit is no rectangle.
    """
    import rectpack

    if any(u.outline_mm is not None or u.bad_zones_mm for u in units):
        return None
    best = None
    for choice in ("least box", "as drawn"):
        chosen = [_box_turn(c, choice) for c in copies]
        for rule in (rectpack.MaxRectsBssf, rectpack.SkylineBlWm, rectpack.GuillotineBssfSas):
            packer = rectpack.newPacker(pack_algo=rule, rotation=False)
            for k, unit in enumerate(units):
                packer.add_bin(
                    _whole(unit.length_mm + gap_mm), _whole(unit.width_mm + gap_mm), bid=k
                )
            for k, (_, _, shape) in enumerate(chosen):
                size = shape.high - shape.low + gap_mm
                packer.add_rect(*(_whole(v, up=True) for v in size), rid=k)
            packer.pack()
            packed = packer.rect_list()
            score = (-len(packed), len({b for b, *_ in packed}))
            if best is None or score < best[0]:
                best = (score, packed, chosen)
    assert best is not None  # several rules were tried
    _, packed, chosen = best
    found: dict[int, tuple[list[Copy], list[Placement]]] = {}
    for b, x, y, _, _, k in sorted(packed):
        rotation, flipped, shape = chosen[k]
        at = np.array([x, y]) / _PER_MM - shape.low
        lot = found.setdefault(b, ([], []))
        lot[0].append(copies[k])
        lot[1].append(
            Placement(
                copies[k].item.id, copies[k].number, float(at[0]), float(at[1]), rotation, flipped
            )
        )
    done = {k for *_, k in packed}
    bins = [(units[b], tuple(lot[0]), tuple(lot[1])) for b, lot in sorted(found.items())]
    return bins, [c for k, c in enumerate(copies) if k not in done]


def _whole(value_mm: float, up: bool = False) -> int:
    exact = round(value_mm * _PER_MM, 3)
    return int(np.ceil(exact)) if up else int(np.floor(exact))


def _box_turn(copy: Copy, choice: str):
    if choice == "as drawn":
        return copy.turns[0]
    sizes = [(t[2].high - t[2].low, t) for t in copy.turns]
    return min(sizes, key=lambda s: (round(float(s[0].prod()), 3), -round(float(s[0][0]), 3)))[1]
