"""Cutting bars and coils to length: the one-dimensional cutting stock problem with a kerf.

Terms:
    pattern: how many of each length are cut from one bar of one stock length.
    bound: what no cutting plan can go below; where the plan meets it, it is proven best.

A kerf k between cuts is the same problem with every length and every bar k longer. Patterns are
made by column generation (Gilmore & Gomory, Operations Research 9, 1961): the linear program over
patterns, priced by a knapsack; then integers over the patterns found. Bars at hand are used before
any is bought; bought bars are as short in total as possible.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

MOST_COLUMNS = 2000


@dataclass(frozen=True)
class BarStock:
    """Bars of one length; `count` None = as many as wanted, at `cost` each."""

    length_mm: float
    count: int | None
    cost: float


@dataclass(frozen=True)
class BarPlan:
    """Bars cut: (stock index, how many of each wanted length), and the proven bound on cost."""

    bars: tuple[tuple[int, tuple[int, ...]], ...]
    cost: float
    bound: float

    @property
    def proven(self) -> bool:
        return self.cost <= self.bound * (1 + 1e-9) + 1e-9


def cut_bars(
    lengths_mm: Sequence[float],
    demands: Sequence[int],
    stock: Sequence[BarStock],
    kerf_mm: float,
    seconds: float = 10.0,
) -> BarPlan | None:
    """Cut every length as often as wanted at the least cost of bars.

    Args:
        lengths_mm: different lengths wanted.
        demands: how many of each.
        stock: bars to cut from.
        kerf_mm: lost between two cuts.
        seconds: most time for the integer program.

    Returns:
        The plan; None where the stock does not suffice.
    """
    wanted = np.array([length + kerf_mm for length in lengths_mm], dtype=float)
    demand = np.array(demands, dtype=int)
    rooms = [s.length_mm + kerf_mm + 1e-6 for s in stock]
    columns = [(k, c) for k, room in enumerate(rooms) for c in _starters(wanted, demand, room)]
    if not columns:
        return None
    seen = set(columns)
    bound = 0.0
    while len(columns) < MOST_COLUMNS:
        solved = _relaxed(columns, demand, stock)
        if solved is None:
            return None
        value, worth, limits = solved
        fresh, slack = [], 0.0
        for k, room in enumerate(rooms):
            gain, pattern = _knapsack(worth, wanted, demand, room)
            price = stock[k].cost + limits[k]
            if gain > price + 1e-9 and (k, pattern) not in seen:
                fresh.append((k, pattern))
            slack = max(slack, gain / price if price > 1e-12 else 0.0)
        if not fresh:
            bound = value
            break
        seen.update(fresh)
        columns += fresh
    return _whole(columns, demand, stock, bound, seconds)


def _starters(wanted, demand, room) -> list[tuple[int, ...]]:
    """One pattern for each length alone, and first-fit ones, so that a first program has a plan."""
    found = []
    for k, length in enumerate(wanted):
        if length <= room:
            pattern = [0] * len(wanted)
            pattern[k] = int(min(demand[k], room // length))
            found.append(tuple(pattern))
    left, order = demand.copy(), np.argsort(-wanted, kind="stable")
    while left.any():
        pattern, space = [0] * len(wanted), room
        for k in order:
            pattern[k] = int(min(left[k], space // wanted[k]))
            space -= pattern[k] * wanted[k]
        if not any(pattern) or tuple(pattern) in found:
            break
        found.append(tuple(pattern))
        left = np.maximum(left - pattern, 0)
    return found


def _program(columns, demand, stock):
    from scipy.sparse import coo_array

    made = np.array([p for _, p in columns], dtype=float).T
    used = coo_array(
        (np.ones(len(columns)), ([k for k, _ in columns], range(len(columns)))),
        shape=(len(stock), len(columns)),
    ).toarray()
    cost = np.array([stock[k].cost for k, _ in columns])
    most = np.array([math.inf if s.count is None else s.count for s in stock])
    return made, used, cost, most


def _relaxed(columns, demand, stock):
    """Value of the linear program, the worth of each length and the price of each stock limit.

    A length nobody can cut yet is bought at a price no plan would pay.
    """
    from scipy.optimize import linprog

    made, used, cost, most = _program(columns, demand, stock)
    dear = 1e3 * (1.0 + cost.max())
    n = len(demand)
    limited = np.flatnonzero(np.isfinite(most))
    above = np.vstack(
        [np.hstack([-made, -np.eye(n)]), np.hstack([used[limited], np.zeros((len(limited), n))])]
    )
    result = linprog(
        np.concatenate([cost, np.full(n, dear)]),
        A_ub=above,
        b_ub=np.concatenate([-demand.astype(float), most[limited]]),
        method="highs",
    )
    if not result.success:
        return None
    marginals = -result.ineqlin.marginals
    limits = np.zeros(len(stock))
    limits[limited] = marginals[n:]
    return float(result.fun), marginals[:n], limits


def _knapsack(worth, wanted, demand, room) -> tuple[float, tuple[int, ...]]:
    """The worthiest pattern for one bar; branch and bound in order of worth per length."""
    order = [int(k) for k in np.argsort(-worth / wanted, kind="stable") if worth[k] > 1e-12]
    most = 0.0
    best: tuple[int, ...] = (0,) * len(wanted)
    pattern = [0] * len(wanted)

    def deeper(at: int, space: float, value: float) -> None:
        nonlocal most, best
        if value > most + 1e-12:
            most, best = value, tuple(pattern)
        if at == len(order):
            return
        k = order[at]
        if value + space * worth[k] / wanted[k] <= most + 1e-12:
            return
        for count in range(int(min(demand[k], space // wanted[k])), -1, -1):
            pattern[k] = count
            deeper(at + 1, space - count * wanted[k], value + count * worth[k])
        pattern[k] = 0

    deeper(0, room, 0.0)
    return most, best


def _whole(columns, demand, stock, bound, seconds) -> BarPlan | None:
    from scipy.optimize import Bounds, LinearConstraint, milp

    made, used, cost, most = _program(columns, demand, stock)
    result = milp(
        cost,
        constraints=[LinearConstraint(made, lb=demand), LinearConstraint(used, ub=most)],
        integrality=np.ones(len(columns)),
        bounds=Bounds(0, np.inf),
        options={"time_limit": seconds},
    )
    if result.x is None:
        return None
    left = demand.copy()
    bars = []
    for (k, pattern), count in zip(columns, np.round(result.x).astype(int), strict=True):
        for _ in range(count):
            cut = np.minimum(pattern, left)  # a bar may give more than is left to cut
            left = left - cut
            if cut.any():
                bars.append((k, tuple(int(c) for c in cut)))
    spent = float(sum(stock[k].cost for k, _ in bars))
    costs = {s.cost for s in stock}
    if len(costs) == 1 and (each := costs.pop()) > 0:
        bound = math.ceil(bound / each - 1e-9) * each
    bars.sort(key=lambda bar: (bar[0], tuple(-c for c in bar[1])))
    return BarPlan(tuple(bars), spent, min(bound, spent))
