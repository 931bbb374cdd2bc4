"""Pushing a layout together: every piece slides, none turns, and none passes another.

For each pair of neighbouring parts one separating half-plane of their no-fit polygon is kept;
within these the shortest length is a linear program, solved exactly. Planes are then chosen anew
for where the pieces came to lie, until nothing is gained (compaction and separation after Li &
Milenkovic, EJOR 84, 1995; cited from memory). It also mends the small overlaps a packer in single
precision leaves, which is why the checker's tolerance can be tight.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.nest.budget import Budget
from plybook.nest.nofit import NoFit, Part, Shape, no_fit

SOUND_MM = 1e-6  # planes are kept this much further out, so rounding cannot cross them
LEAST_GAIN_MM = 0.01
WIDER_MM = 1e-5  # a piece as wide as the strip may seem this much wider


class NoFits:
    """No-fit polygons of pairs of parts, worked out once each."""

    def __init__(self, gap_mm: float):
        self.gap_mm = gap_mm
        self._known: dict[tuple[int, int, float], NoFit] = {}
        self._kept: list[Part] = []  # ids stay unique while the parts live

    def of(self, fixed: Part, moved: Part, gap_mm: float | None = None) -> NoFit:
        """The no-fit polygon of two parts, with this table's gap unless another is given."""
        gap = self.gap_mm if gap_mm is None else gap_mm
        key = (id(fixed), id(moved), gap)
        if key not in self._known:
            self._known[key] = no_fit(fixed, moved, gap)
            self._kept += [fixed, moved]
        return self._known[key]


def compact(
    shapes: Sequence[Shape],
    places_mm: np.ndarray,
    width_mm: float,
    gap_mm: float,
    seconds: float = 10.0,
    rounds: int = 30,
    no_fits: NoFits | None = None,
    step_mm: float | None = None,
) -> tuple[np.ndarray, float] | None:
    """The shortest strip the pieces can be slid into without passing each other.

    Args:
        shapes: each piece in its orientation (the same object for copies).
        places_mm: (n, 2) where their origins are; small overlaps are mended.
        width_mm: strip 0..width in y; pieces start at x = 0.
        gap_mm: clear distance to keep.
        seconds: no program is begun after this; one is solved in any case.
        rounds: most programs to solve.
        no_fits: a table shared between calls with the same gap.
        step_mm: how far a piece may move in one program; a twentieth of the width unless given.

    Returns:
        New places and the length; None where no program had a solution.
    """
    tables = no_fits or NoFits(gap_mm)
    step = step_mm or width_mm / 20
    low = np.array([s.low for s in shapes])
    high = np.array([s.high for s in shapes])
    places = np.asarray(places_mm, dtype=float).copy()
    best: tuple[np.ndarray, float] | None = None
    budget = Budget(seconds)
    for _ in range(rounds):
        if best is not None and not budget.left_s():
            break
        solved = _solve(shapes, low, high, places, width_mm, tables, step)
        if solved is None:
            break
        gained = (best[1] if best else np.inf) - solved[1]
        if best is None or gained > 0:
            best = solved
        places = solved[0]
        if gained < LEAST_GAIN_MM:
            break
    return best


def _near(low, high, places, reach) -> list[tuple[int, int]]:
    """Pairs whose boxes come within reach of each other."""
    order = np.argsort(low[:, 0] + places[:, 0], kind="stable")
    left, right = low[order] + places[order], high[order] + places[order]
    pairs = []
    for k in range(len(order)):
        end = np.searchsorted(left[:, 0], right[k, 0] + reach, side="right")
        for m in range(k + 1, end):
            if left[m, 1] <= right[k, 1] + reach and left[k, 1] <= right[m, 1] + reach:
                pairs.append((int(order[k]), int(order[m])))
    return pairs


def _solve(shapes, low, high, places, width_mm, tables, step):
    from scipy.optimize import linprog
    from scipy.sparse import coo_array

    n = len(shapes)
    rows, columns, values, least = [], [], [], []
    for i, j in _near(low, high, places, 2 * step + tables.gap_mm):
        apart = places[j] - places[i]
        for a in shapes[i].parts:
            for b in shapes[j].parts:
                if a.distance_box(b, apart) > 2 * step + tables.gap_mm:
                    continue  # neither moves further than a step
                plane = tables.of(a, b)
                clear = plane.normals @ apart - plane.reach_mm
                k = int(clear.argmax())
                if clear[k] > 4 * step:
                    continue
                nx, ny = plane.normals[k]
                r = len(least)
                rows += [r] * 4
                columns += [i, n + i, j, n + j]
                values += [nx, ny, -nx, -ny]  # -(n . (tj - ti)) <= -reach
                least.append(-plane.reach_mm[k] - SOUND_MM)
    for i in range(n):  # x + high <= length
        r = len(least)
        rows += [r, r]
        columns += [i, 2 * n]
        values += [1.0, -1.0]
        least.append(-high[i, 0])
    span = width_mm - (high[:, 1] - low[:, 1])
    if (span < -WIDER_MM).any():
        return None
    span = np.maximum(span, 0.0)
    x0, y0 = -low[:, 0], -low[:, 1]
    x = np.clip(places[:, 0], x0, None)
    y = np.clip(places[:, 1], y0, y0 + span)
    bounds = [(max(x0[i], x[i] - step), x[i] + step) for i in range(n)]
    bounds += [(max(y0[i], y[i] - step), min(y0[i] + span[i], y[i] + step)) for i in range(n)]
    bounds.append((0.0, None))
    cost = np.full(2 * n + 1, 0.0)
    cost[:n] = 1e-4 / n
    cost[n : 2 * n] = 1e-5 / n  # towards the edge, where a tape is hooked on
    cost[2 * n] = 1.0
    matrix = coo_array((values, (rows, columns)), shape=(len(least), 2 * n + 1)).tocsr()
    result = linprog(cost, A_ub=matrix, b_ub=least, bounds=bounds, method="highs")
    if result.x is None or not result.success:
        return None
    moved = np.column_stack([result.x[:n], result.x[n : 2 * n]])
    return moved, float((moved[:, 0] + high[:, 0]).max())
