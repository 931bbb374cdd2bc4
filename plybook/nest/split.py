"""Large sets on a strip: packed in lots side by side, then pushed together.

A search over a thousand pieces spends its time far from a good layout; lots of a few hundred with
the same mix of sizes get there, and the joint between two lots costs less than that gains.
"""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from plybook.nest.board import Board
from plybook.nest.budget import Budget
from plybook.nest.compact import NoFits
from plybook.nest.laying import copies_of, fill
from plybook.nest.model import Unit
from plybook.nest.race import Found
from plybook.nest.strip import (
    ONE_BY_ONE,
    Progress,
    StripPlacement,
    StripProblem,
    StripResult,
    search_strip,
)

SMALLEST_LOT, LARGEST_LOT = 150, 400
MORE_PER_SECOND = 2.0  # pieces a lot may have more for each second there is
PUSHING_SHARE = 0.05
LAID_LOT = 60  # pieces; the time to lay one by one grows with the square of their number


def lots_of(pieces: int, seconds: float) -> int:
    """Into how many lots a set is best split."""
    size = min(LARGEST_LOT, SMALLEST_LOT + MORE_PER_SECOND * seconds)
    return max(1, round(pieces / size))


def search_in_lots(
    problem: StripProblem,
    count: int,
    budget: Budget,
    seed: int = 0,
    workers: int | None = None,
    progress: Progress | None = None,
) -> StripResult | None:
    """The lots packed each by itself, laid one behind the other and pushed together.

    Arguments as of `pack_strip`; `count` is the number of lots.

    Returns:
        A layout of everything; None where the packer broke down.
    """
    lots = _deal(problem, count)
    side_by_side = min(count, workers or os.cpu_count() or 1)
    seconds = budget.left_s() * (1 - PUSHING_SHARE) * side_by_side / count

    def one(n: int) -> StripResult | None:
        counts = lots[n]
        part = problem.some(list(counts), list(counts.values()))
        result = search_strip(part, budget.part(seconds), seed * 100 + n, 1)
        problem.trouble = part.trouble or problem.trouble
        return result

    with ThreadPoolExecutor(side_by_side) as pool:
        found = list(pool.map(one, range(count)))
    if any(f is None for f in found):
        return None
    return _joined(problem, lots, found, budget, progress)


def lay_in_lots(problem: StripProblem, budget: Budget) -> StripResult | None:
    """A layout without the irregular packer: pieces laid one by one, then pushed together.

    Returns:
        A layout of everything, the same on every machine; None where a piece found no place.
    """
    count = max(1, round(sum(problem.demands) / LAID_LOT))
    lots = _deal(problem, count)
    found = [_laid(problem.some(list(c), list(c.values()))) for c in lots]
    if any(f is None for f in found):
        return None
    joined = _joined(problem, lots, found, budget, None)
    return joined and joined._replace(method=ONE_BY_ONE)


def _laid(problem: StripProblem) -> StripResult | None:
    """Large pieces first, each as far to the left as it goes."""
    items = problem.as_items()
    endless = sum(float(np.hypot(*np.ptp(i.outline_mm, axis=0))) * i.demand for i in items)
    board = Board(Unit("", "roll", "", endless, problem.width_mm), NoFits(problem.gap_mm))
    copies = sorted(copies_of(items), key=lambda c: (-c.area_mm2, int(c.item.id), c.number))
    made, left = fill(board, copies)
    if left:
        return None
    placements = (StripPlacement(int(p.item), p.copy, p.x_mm, p.y_mm, p.rotation_deg) for p in made)
    reach = max(float(x.place_mm[0] + x.shape.high[0]) for x in board.laid)
    return StripResult(tuple(placements), reach, ONE_BY_ONE)


def _joined(problem, lots, found, budget: Budget, progress) -> StripResult | None:
    """Lots laid one behind the other and pushed together."""
    rows, start = [], 0.0
    for counts, result in zip(lots, found, strict=True):
        names = list(counts)
        rows += [
            (names[p.index], p.rotation_deg, p.x_mm + start, p.y_mm) for p in result.placements
        ]
        start += result.length_mm + problem.gap_mm
    if progress:
        progress(start - problem.gap_mm)
    edge = problem.asked_mm
    moved = tuple((k, r, x + edge, y + edge) for k, r, x, y in rows)
    return problem.tidy(Found(start, moved), max(0.1, budget.left_s()))


def _deal(problem: StripProblem, count: int) -> list[Counter[int]]:
    """Copies dealt out like cards, large ones first, so that every lot has the same mix."""
    areas = problem.areas_mm2
    order = np.argsort([-a for a in areas], kind="stable")
    cards = [int(k) for k in order for _ in range(problem.demands[k])]
    return [Counter(cards[n::count]) for n in range(count)]
