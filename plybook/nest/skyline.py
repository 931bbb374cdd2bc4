"""Rectangles on a strip: a skyline filled from its lowest step, in an order that is searched.

Terms:
    skyline: the front of what is laid, as steps from one edge of the strip to the other.
    step: a part of the skyline that is level, between two walls.

The lowest step is filled first: best by a rectangle as wide as the step that comes level with a
wall, then by one as wide, then by one that comes level, then by any that fits; among equals the
first in the order is taken. A step that nothing fits is filled up to its lower wall. Orders by
size are tried first; then rectangles change places in the best order, and the change is kept where
the strip gets no longer. (Scored steps and a searched order: after Leung, Zhang & Sim, "A two-stage
intelligent search algorithm for the two-dimensional strip packing problem", EJOR 215, 2011; cited
from memory.)
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from plybook.nest.budget import Budget

ENDLESS = 1 << 62
STUCK_AFTER = 400  # fruitless changes before another order is begun with
SHUFFLE = 0.4  # how far a fresh order strays from largest first


class Side(NamedTuple):
    """A rectangle in one orientation, in whole units; `name` is the caller's."""

    across: int
    along: int
    name: Any


class Spot(NamedTuple):
    """Where the near corner of a rectangle lies."""

    y: int
    x: int
    side: Side


Rect = tuple[Side, ...]  # one rectangle in each of its orientations
Step = tuple[int, int, int]  # y, x, width


def lay_rectangles(
    rects: Sequence[Rect],
    across: int,
    budget: Budget,
    target: int = 0,
    seed: int = 0,
    shorter: Callable[[int], None] | None = None,
) -> tuple[int, list[Spot]]:
    """Lay rectangles on a strip, as short as the time allows.

    Args:
        rects: each in the orientations it may take; one of them fits across.
        across: width of the strip.
        budget: time to search; some orders are tried in any case, the same on every machine.
        target: a length at which the search ends.
        seed: of the search.
        shorter: called with each shorter length.

    Returns:
        The length, and the spot of each rectangle.
    """
    rng = random.Random(seed)
    best: tuple[int, list[Spot]] | None = None
    order: list[Rect] = []
    for size in (_area, _longest, _round_about, _along, _across):
        tried = sorted(rects, key=size, reverse=True)
        laid = fill_skyline(tried, across, ENDLESS if best is None else best[0])
        if laid is not None:
            best, order = laid, tried
    assert best is not None  # with no end to the strip every order can be laid
    fruitless = 0
    while len(rects) > 1 and best[0] > target and budget.left_s():
        if fruitless > STUCK_AFTER:
            fruitless = 0
            order = sorted(rects, key=lambda r: -_area(r) * rng.lognormvariate(0.0, SHUFFLE))
        tried = list(order)
        for _ in range(rng.choice((1, 1, 2, 3))):
            i, j = rng.randrange(len(tried)), rng.randrange(len(tried))
            tried[i], tried[j] = tried[j], tried[i]
        laid = fill_skyline(tried, across, best[0] + 1)
        if laid is None:
            fruitless += 1
            continue
        order, fruitless = tried, 0
        if laid[0] < best[0] and shorter:
            shorter(laid[0])
        best = laid
    return best


def _area(rect: Rect) -> int:
    return rect[0].across * rect[0].along


def _longest(rect: Rect) -> int:
    return max(rect[0].across, rect[0].along)


def _round_about(rect: Rect) -> int:
    return rect[0].across + rect[0].along


def _along(rect: Rect) -> int:
    return rect[0].along


def _across(rect: Rect) -> int:
    return rect[0].across


def fill_skyline(order: Sequence[Rect], across: int, limit: int) -> tuple[int, list[Spot]] | None:
    """Rectangles laid by the rule above; None where they would reach the limit."""
    waiting = list(order)
    skyline: list[Step] = [(0, 0, across)]
    spots: list[Spot] = []
    reach = 0
    while waiting:
        k = min(range(len(skyline)), key=lambda n: skyline[n][1])
        y, x, width = skyline[k]
        left = skyline[k - 1][1] - x if k else ENDLESS
        right = skyline[k + 1][1] - x if k + 1 < len(skyline) else ENDLESS
        found = _best(waiting, width, limit - 1 - x, left, right)
        if found is None:
            level = min(left, right)
            if level >= ENDLESS or x + level >= limit:
                return None
            _exchange(skyline, k, [(y, x + level, width)])
            continue
        number, side = found
        del waiting[number]
        reach = max(reach, x + side.along)
        spare = width - side.across
        to_right = side.along != left and (side.along == right or left < right < ENDLESS)
        spots.append(Spot(y + spare if to_right else y, x, side))
        new = [(y + spare if to_right else y, x + side.along, side.across)]
        if spare:
            rest = (y if to_right else y + side.across, x, spare)
            new = [rest, *new] if to_right else [*new, rest]
        _exchange(skyline, k, new)
    return reach, spots


def _best(waiting: list[Rect], width: int, room: int, left: int, right: int):
    """Number and orientation of the rectangle that suits the step best; None where none fits."""
    best, found = -1, None
    for number, rect in enumerate(waiting):
        for side in rect:
            if side[0] > width or side[1] > room:
                continue
            level = side[1] == left or side[1] == right
            score = 2 * (side[0] == width) + level
            if score > best:
                best, found = score, (number, side)
        if best == 3:
            break
    return found


def _exchange(skyline: list[Step], k: int, new: list[Step]) -> None:
    """Put new steps in place of one, joined to neighbours that are level with them."""
    first, end = k, k + 1
    if k and skyline[k - 1][1] == new[0][1]:
        first = k - 1
        y, x, width = skyline[first]
        new[0] = (y, x, width + new[0][2])
    if end < len(skyline) and skyline[end][1] == new[-1][1]:
        y, x, width = new[-1]
        new[-1] = (y, x, width + skyline[end][2])
        end += 1
    skyline[first:end] = new
