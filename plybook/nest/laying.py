"""Laying copies on a board one by one, each where it reaches least far to the right.

This is the fast constructive packer: milliseconds for a sheet, any outline of stock, bad zones.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.geometry.fitting import most_room, room_mm
from plybook.nest.board import Board
from plybook.nest.model import Item, Placement
from plybook.nest.nofit import Shape
from plybook.nest.outline import cover_for
from plybook.nest.placing import orientations, turn_ring

COVER_REACH_MM = 1.5
MOST_PARTS = 40  # of a cover: no-fit polygons of two pieces grow with the square
MOST_FREE_TURNS = 12


@dataclass(frozen=True)
class Copy:
    """One copy of an item, with the shapes it may take."""

    item: Item
    number: int
    turns: tuple[tuple[float, bool, Shape], ...]
    area_mm2: float


def copies_of(items: Sequence[Item], sizes_mm: Sequence[tuple[float, float]] = ()) -> list[Copy]:
    """Every copy of every item; copies share their shapes.

    Args:
        items: what is to be laid.
        sizes_mm: length and width of the units; a piece that may turn freely is also turned as it
            fits those that no helpful rotation lays it on.
    """
    found = []
    for item in items:
        helpful: tuple[float, ...] = ()
        if item.rotations_deg is None:
            helpful = helpful_rotations(item.outline_mm)
            helpful += fitting_rotations(item.outline_mm, sizes_mm, helpful)
        found_turns = orientations(item, helpful)
        boxed = [-r if down else r for r, down in found_turns]  # a mirror turns the other way
        ring = _plain_cover(item.outline_mm, boxed)
        turns = []
        for rotation, flipped in found_turns:
            shape = Shape(turn_ring(ring, rotation, flipped))
            if not any(_same(shape, other) for _, _, other in turns):
                turns.append((rotation % 360.0, flipped, shape))
        area = Shape(item.outline_mm).area_mm2
        found += [Copy(item, n, tuple(turns), area) for n in range(1, item.demand + 1)]
    return found


def _plain_cover(ring_mm: np.ndarray, rotations_deg: Sequence[float]) -> np.ndarray:
    """A cover of no more convex parts than can be laid in reasonable time: of an outline with
    hundreds of hollows one that fills them, of others one that is hardly larger than the piece."""
    reach, largest = COVER_REACH_MM, float(np.ptp(ring_mm, axis=0).max())
    ring = cover_for(ring_mm, reach, rotations_deg)
    while len(Shape(ring).parts) > MOST_PARTS and reach < largest:
        reach *= 2
        ring = cover_for(ring_mm, reach, rotations_deg)
    return ring


def helpful_rotations(ring_mm: np.ndarray) -> tuple[float, ...]:
    """Rotations for a piece that may turn freely: each long side along each edge of the sheet."""
    side = np.roll(ring_mm, -1, axis=0) - ring_mm
    length = np.hypot(side[:, 0], side[:, 1])
    found = [0.0, 90.0, 180.0, 270.0]
    for k in np.argsort(-length, kind="stable"):
        if length[k] < 0.35 * length.max() or len(found) >= MOST_FREE_TURNS:
            break
        angle = -np.degrees(np.arctan2(side[k, 1], side[k, 0]))
        for quarter in (0.0, 90.0, 180.0, 270.0):
            turn = round(float(angle + quarter) % 360.0, 6) % 360.0
            if all(abs((turn - f + 180) % 360 - 180) > 0.2 for f in found):
                found.append(turn)
    return tuple(found)


def fitting_rotations(
    ring_mm: np.ndarray, sizes_mm: Sequence[tuple[float, float]], known_deg: Sequence[float]
) -> tuple[float, ...]:
    """Rotations that lay a piece on units of these sizes where none of the known ones does: with a
    side along an edge of the unit if so it fits, slantwise if only so."""
    found: list[float] = []
    for size in sorted(set(sizes_mm)):
        turns = np.array([*known_deg, *found])
        if len(turns) and room_mm(ring_mm, size, turns).max() >= 0:
            continue
        for slantwise in (False, True):
            turn, room = most_room(ring_mm, size, slantwise)
            if room >= -1e-6:
                found += [turn % 360.0, (turn + 180.0) % 360.0]
                break
    return tuple(found)


def _same(a: Shape, b: Shape) -> bool:
    """Whether two orientations give the same outline up to a move (a symmetric piece)."""
    if a.ring_mm.shape != b.ring_mm.shape:
        return False
    p, q = a.ring_mm - a.low, b.ring_mm - b.low
    p = p[np.lexsort(np.round(p, 3).T)]
    q = q[np.lexsort(np.round(q, 3).T)]
    return bool(np.abs(p - q).max() < 1e-3)


def fill(
    board: Board, copies: Sequence[Copy], whim: Callable[[], float] | None = None
) -> tuple[list[Placement], list[Copy]]:
    """Lay copies on one board in the order given, each as far to the left as it goes.

    Args:
        board: what it is laid on; it is changed.
        copies: in order.
        whim: draws a factor near 1 by which the reach of an orientation is misjudged, so that
            another than the nearest is chosen now and then.

    Returns:
        Placements made, and the copies that found no place.
    """
    placed, left, hopeless = [], [], set()
    for copy in copies:
        spot = None if copy.item.id in hopeless else best_spot(board, copy, whim)
        if spot is None:
            hopeless.add(copy.item.id)
            left.append(copy)
            continue
        (rotation, flipped, shape), at = spot
        board.lay(shape, at)
        placed.append(
            Placement(copy.item.id, copy.number, float(at[0]), float(at[1]), rotation, flipped)
        )
    return placed, left


def best_spot(board: Board, copy: Copy, whim: Callable[[], float] | None = None):
    """The orientation and place with the least reach to the right: ((rotation, flipped, shape),
    place), or None."""
    best = None
    for turn in copy.turns:
        at = board.spot(turn[2])
        if at is None:
            continue
        reach = (at[0] + turn[2].high[0]) * (whim() if whim else 1.0)
        score = (round(reach, 3), round(at[1] + turn[2].high[1], 3))
        if best is None or score < best[0]:
            best = (score, turn, at)
    return best and best[1:]
