"""Which piece of an earlier plan is which of a later one: by what they are, not by their names.

A ply put in the middle of a group renumbers those after it. Layers are therefore matched in their
order, by material, angle, shape and place; names decide only between layers that are equally good.

Terms:
    alike: every piece of one layer, as cut, serves as a piece of the other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from plybook.compare.cuts import SAME_MM, Difference, Piece, difference

_OVERLAP = 0.5  # of the boxes of two layers of other names that are the same place
_BOX_MM = 4 * SAME_MM

Pairs = list[tuple[str, str]]


@dataclass(frozen=True)
class _Layer:
    id: str
    pieces: tuple[str, ...]


def matched(
    old: Mapping[str, Any], new: Mapping[str, Any]
) -> tuple[Pairs, Callable[[str, str], Difference]]:
    """Pairs of pieces of two plans that are the same piece, and how the two of a pair differ.

    Returns:
        Ids (of the old plan, of the new one), each at most once; what tells the difference of an
        old and a new piece by their ids.
    """
    before = {p["id"]: p for p in old["pieces"]}
    after = {p["id"]: p for p in new["pieces"]}
    materials = new.get("materials", {})

    @cache
    def differ(a: str, b: str) -> Difference:
        return difference(before[a], after[b], materials)

    looks = [{id: _look(piece) for id, piece in some.items()} for some in (before, after)]

    @cache
    def fits(a: str, b: str) -> int:
        """2: the same cut at the same place, 1: elsewhere, 0: another cut."""
        kind, size = looks[0][a]
        other, its_size = looks[1][b]
        if kind != other or (np.abs(size - its_size) > _BOX_MM).any():
            return 0
        found = differ(a, b)
        return 0 if found.recut else 1 if found.moved else 2

    first, second = _layers(old), _layers(new)
    pairs: Pairs = []
    layers = _layer_pairs(first, second, before, after, fits)
    for i, j in layers:
        pairs += _piece_pairs(first[i], second[j], fits)
    return _rescued(pairs, before, after, fits), differ


def _layers(plan: Mapping[str, Any]) -> list[_Layer]:
    """Layers that have pieces, first laid first."""
    found: dict[str, list[str]] = {row["id"]: [] for row in plan.get("layers", ())}
    for piece in plan["pieces"]:
        found.setdefault(piece["layer"], []).append(piece["id"])
    return [_Layer(id, tuple(pieces)) for id, pieces in found.items() if pieces]


def _look(piece: Piece) -> tuple[tuple[str, str], np.ndarray]:
    """What is quickly seen of a piece: kind and material, and the size of its box."""
    outline = np.asarray(piece["outline_mm"], dtype=float)
    return (piece["kind"], piece["material"]), np.ptp(outline, axis=0)


# ---------------------------------------------------------------- layers


def _layer_pairs(first, second, before, after, fits) -> list[tuple[int, int]]:
    """Places of layers that are the same: alike in order, alike elsewhere, then altered."""

    def alike(i: int, j: int) -> int:
        """0: not alike; more where they lie at the same place, and have the same name."""
        a, b = first[i], second[j]
        if len(a.pieces) != len(b.pieces):
            return 0
        found = _fitting(a.pieces, b.pieces, fits)
        if len(found) < len(a.pieces):
            return 0
        placed = all(fits(p, q) == 2 for p, q in found)
        return 10**8 + 10**4 * placed + (a.id == b.id)

    pairs = _in_order(range(len(first)), range(len(second)), alike)
    left, right = _rest(pairs, len(first), len(second))
    out_of_order = sorted(
        ((alike(i, j), -i, -j) for i in left for j in right if alike(i, j)), reverse=True
    )
    for _, i, j in out_of_order:
        if -i in left and -j in right:
            pairs.append((-i, -j))
            left.remove(-i)
            right.remove(-j)

    def near(i: int, j: int) -> int:
        return _likeness(first[i], second[j], before, after)

    pairs += _in_order(left, right, near)
    left, right = _rest(pairs, len(first), len(second))
    names = {second[j].id: j for j in right}
    pairs += [(i, names[first[i].id]) for i in left if first[i].id in names]
    return sorted(pairs)


def _rest(pairs: Sequence[tuple[int, int]], old: int, new: int) -> tuple[list[int], list[int]]:
    return (
        [i for i in range(old) if i not in {a for a, _ in pairs}],
        [j for j in range(new) if j not in {b for _, b in pairs}],
    )


def _in_order(
    first: Sequence[int], second: Sequence[int], worth: Callable[[int, int], int]
) -> list[tuple[int, int]]:
    """The pairs worth most together of which none crosses another (longest common run)."""
    best = [[0] * (len(second) + 1) for _ in range(len(first) + 1)]
    for i in range(len(first) - 1, -1, -1):
        for j in range(len(second) - 1, -1, -1):
            value = worth(first[i], second[j])
            taken = value + best[i + 1][j + 1] if value else 0
            best[i][j] = max(taken, best[i + 1][j], best[i][j + 1])
    pairs = []
    i = j = 0
    while i < len(first) and j < len(second):
        value = worth(first[i], second[j])
        if value and best[i][j] == value + best[i + 1][j + 1]:
            pairs.append((first[i], second[j]))
            i, j = i + 1, j + 1
        elif best[i][j] == best[i + 1][j]:
            i += 1
        else:
            j += 1
    return pairs


def _likeness(a: _Layer, b: _Layer, before, after) -> int:
    """How much two layers that are not alike have in common; 0 where they are strangers."""
    old, new = before[a.pieces[0]], after[b.pieces[0]]
    material = (old["kind"], old["material"]) == (new["kind"], new["material"])
    turn = (new["angle_deg"] - old["angle_deg"] + 90.0) % 180.0 - 90.0
    angle = abs(turn) < 1.0
    overlap = _overlap([before[p] for p in a.pieces], [after[p] for p in b.pieces])
    if a.id != b.id and not (material and angle and overlap >= _OVERLAP):
        return 0
    return 1 + 50 * (a.id == b.id) + 200 * angle + 200 * material + round(200 * overlap)


def _overlap(old: Sequence[Piece], new: Sequence[Piece]) -> float:
    """Share of two layers' boxes that both cover."""
    low_a, high_a = _box(old)
    low_b, high_b = _box(new)
    common = np.clip(np.minimum(high_a, high_b) - np.maximum(low_a, low_b), 0.0, None)
    both = float(common.prod())
    whole = float((high_a - low_a).prod() + (high_b - low_b).prod()) - both
    return both / whole if whole > 0 else 0.0


def _box(pieces: Sequence[Piece]) -> tuple[np.ndarray, np.ndarray]:
    points = np.vstack([np.asarray(p["outline_mm"], dtype=float) for p in pieces])
    return points.min(axis=0), points.max(axis=0)


# ---------------------------------------------------------------- pieces


def _fitting(old: Sequence[str], new: Sequence[str], fits) -> Pairs:
    """Pieces that are the same cut; first those at the same place, then those of the same name."""
    free_old, free_new = list(old), list(new)
    found: Pairs = []
    for least, by_name in ((2, True), (2, False), (1, True), (1, False)):
        for a in list(free_old):
            b = next((b for b in free_new if (a == b or not by_name) and fits(a, b) >= least), None)
            if b is not None:
                found.append((a, b))
                free_old.remove(a)
                free_new.remove(b)
    return found


def _piece_pairs(a: _Layer, b: _Layer, fits) -> Pairs:
    """Pieces of two layers that are the same: by their cut, else by what their names end with."""
    found = _fitting(a.pieces, b.pieces, fits)
    names = {q.removeprefix(b.id): q for q in b.pieces if q not in {q for _, q in found}}
    for p in a.pieces:
        q = names.get(p.removeprefix(a.id))
        if q is not None and p not in {p for p, _ in found}:
            found.append((p, q))
    return found


def _rescued(pairs: Pairs, before, after, fits) -> Pairs:
    """A piece that is gone, or no longer right, may still serve as one that is cut anew."""
    kept = [(a, b) for a, b in pairs if fits(a, b)]
    loose_old = [a for a in before if a not in {a for a, _ in kept}]
    loose_new = [b for b in after if b not in {b for _, b in kept}]
    kept += _fitting(loose_old, loose_new, fits)
    old_taken, new_taken = {a for a, _ in kept}, {b for _, b in kept}
    kept += [(a, b) for a, b in pairs if a not in old_taken and b not in new_taken]
    order = {a: n for n, a in enumerate(before)}
    return sorted(kept, key=lambda pair: order[pair[0]])
