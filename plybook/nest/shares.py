"""Pieces dealt out over equal sheets so that each is about as full as the others.

Sheets filled one after the other end with one that holds the awkward rest. Here the number of
sheets is given: pieces are dealt out by area, the irregular packer is asked of each sheet whether
its lot fits, and lots that do not fit are mixed with one another, or with one that does, and dealt
anew, one of them a little lighter than the others, until every sheet is answered for. A deal is
kept where the sheets that are answered for hold no less than before.
"""

from __future__ import annotations

import math
import os
import random
from collections.abc import Container, Sequence

from plybook.nest.budget import Budget
from plybook.nest.laying import Copy
from plybook.nest.model import Placement, Unit
from plybook.nest.squeeze import squeeze_together

FULLEST = 0.9  # a lot that would fill its sheet further than this is not worth a try
ANSWER_S = 4.0  # longest search for one lot; most that do not fit are given up much sooner
LEAST_S = 0.5
LIGHTER = 0.1  # how much lighter one of the lots dealt anew may become
STRAY = 0.3  # how far a deal strays from largest first
EVENING = 100  # exchanges tried for each lot, to even areas out

Lot = list[Copy]
Shared = list[tuple[Lot, list[Placement]]]


def share_out(
    copies: Sequence[Copy],
    units: Sequence[Unit],
    gap_mm: float,
    budget: Budget,
    rng: random.Random,
) -> Shared | None:
    """Every copy on these units, or None where the time ends before that is found.

    Args:
        copies: what to place.
        units: equal rectangles, at least one.
        gap_mm: clear distance between pieces.
        budget: wall time to search.
        rng: for the dealing.

    Returns:
        The lot of each unit with its placements, in the order of the units.
    """
    whole = units[0].length_mm * units[0].width_mm * len(units)
    if sum(c.area_mm2 for c in copies) > FULLEST * whole:
        return None
    lots = dict(enumerate(deal(copies, [1.0] * len(units), rng)))
    found = _answers(lots, units, gap_mm, budget, rng)
    while len(found) < len(units) and budget.left_s() > LEAST_S:
        mixed = _to_mix([k for k in lots if k not in found], len(units), rng)
        shares = [1.0 - LIGHTER * rng.random(), *[1.0] * (len(mixed) - 1)]
        dealt = deal([c for k in mixed for c in lots[k]], shares, rng)
        trial = dict(zip(mixed, dealt, strict=True))
        fresh = _answers(trial, units, gap_mm, budget, rng)
        if _held(trial, fresh) >= _held({k: lots[k] for k in mixed}, found):
            lots |= trial
            found = {k: placed for k, placed in found.items() if k not in trial} | fresh
    if len(found) < len(units):
        return None
    return [(lots[k], found[k]) for k in range(len(units))]


def _held(lots: dict[int, Lot], found: Container[int]) -> float:
    """Area of the lots that are answered for."""
    return sum(c.area_mm2 for k, lot in lots.items() if k in found for c in lot)


def deal(copies: Sequence[Copy], shares: Sequence[float], rng: random.Random) -> list[Lot]:
    """Copies in lots whose areas are as these shares: large ones first, more or less, each to the
    lot that has least; then exchanges that bring two lots nearer to one another."""
    order = sorted(copies, key=lambda c: -c.area_mm2 * math.exp(rng.gauss(0.0, STRAY)))
    count = len(shares)
    lots: list[Lot] = [[] for _ in shares]
    areas = [0.0] * count
    for copy in order:
        k = min(range(count), key=lambda k: areas[k] / shares[k])
        lots[k].append(copy)
        areas[k] += copy.area_mm2
    for _ in range(EVENING * count if count > 1 else 0):
        i, j = rng.sample(range(count), 2)
        if not lots[i] or not lots[j]:
            continue
        m, n = rng.randrange(len(lots[i])), rng.randrange(len(lots[j]))
        change = lots[j][n].area_mm2 - lots[i][m].area_mm2
        off = areas[i] / shares[i] - areas[j] / shares[j]
        if abs((areas[i] + change) / shares[i] - (areas[j] - change) / shares[j]) < abs(off):
            lots[i][m], lots[j][n] = lots[j][n], lots[i][m]
            areas[i] += change
            areas[j] -= change
    return lots


def _to_mix(open_lots: list[int], count: int, rng: random.Random) -> list[int]:
    """Which lots to mix: one that does not fit, which becomes the lighter one, with one or two
    others, of which some do not fit either."""
    chosen = rng.choice(open_lots)
    others = [k for k in range(count) if k != chosen]
    if len(open_lots) > 1 and rng.random() < 0.5:
        others = [k for k in open_lots if k != chosen]
    return [chosen, *rng.sample(others, min(len(others), rng.choice((1, 1, 2))))]


def _answers(
    lots: dict[int, Lot],
    units: Sequence[Unit],
    gap_mm: float,
    budget: Budget,
    rng: random.Random,
) -> dict[int, list[Placement]]:
    """Placements of those lots that were found to fit, as many searches at once as processors."""
    at_once = min(max(os.cpu_count() or 1, 2), 8)
    asked, answers = list(lots), {}
    for start in range(0, len(asked), at_once):
        some = asked[start : start + at_once]
        seconds = min(ANSWER_S, budget.left_s())
        if seconds < LEAST_S:
            break
        found = squeeze_together(
            [lots[k] for k in some], [units[k] for k in some], gap_mm, seconds, rng.randrange(1000)
        )
        answers.update({k: p for k, p in zip(some, found, strict=True) if p is not None})
    return answers
