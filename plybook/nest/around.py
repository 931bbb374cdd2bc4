"""Rolls with bad zones and remnants of any outline: pieces laid around what cannot be used.

Two ways, and the better one counts. The sound stretches of a roll between its bad zones are packed
like plain rolls, and the bands the zones lie in take what still fits beside the zones. And pieces
are laid one by one on the whole, in many orders.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from plybook.nest.board import Board
from plybook.nest.budget import Search
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, fill
from plybook.nest.model import Item, Placement, Unit
from plybook.nest.nofit import Shape
from plybook.nest.placing import placed_outline
from plybook.nest.stretch import Laid, fill_stretch, lay_in_turn, moved, start_of

ORDERS = 6  # orders tried in any case, so that few pieces lie the same on every machine
STRETCH_SHARE = 0.5  # of the time
LEAST_STRETCH_MM = 100.0


def fill_around(
    copies: Sequence[Copy],
    unit: Unit,
    start_mm: float,
    search: Search,
) -> Laid:
    """As many copies as there is room for beyond `start_mm`, in as little length as can be found.

    Args:
        copies: what to lay.
        unit: with bad zones, an outline, or both.
        start_mm: nothing is laid before this.
        search: its gap is kept between pieces; zones and edges ask for none.

    Returns:
        Placements on the unit.
    """
    gap_mm, no_fits = search.gap_mm, NoFits(search.gap_mm)
    best = lay_in_turn(copies, unit, gap_mm, start_mm, no_fits=no_fits)

    def better(tried: Laid) -> None:
        nonlocal best
        if _rank(tried) < _rank(best):
            best = tried
            search.tell(best.reach_mm)

    if best.placements:
        search.tell(best.reach_mm)
    if unit.outline_mm is None and search.left_s() > 0.5:
        part = search.part(search.left_s() * STRETCH_SHARE)
        better(_by_stretches(copies, unit, start_mm, part.quietly()))
    rng = random.Random(search.seed)
    tries = 0
    while len(copies) > 1 and (tries < ORDERS or search.left_s()):
        spread = rng.choice((0.0, 0.05, 0.2))
        whim = (lambda s=spread: math.exp(rng.gauss(0.0, s))) if spread else None
        better(lay_in_turn(copies, unit, gap_mm, start_mm, whim, rng, no_fits))
        tries += 1
    return best


def _rank(laid: Laid) -> tuple[float, float]:
    """Least left over, then least reach."""
    return round(sum(c.area_mm2 for c in laid.rest), 3), laid.reach_mm


def sound_stretches(unit: Unit, start_mm: float) -> list[tuple[float, float]]:
    """From where to where a roll may be used over its whole width."""
    at, found = start_mm, []
    for zone in sorted(unit.bad_zones_mm, key=lambda z: float(z[:, 0].min())):
        if zone[:, 0].min() > at:
            found.append((at, float(zone[:, 0].min())))
        at = max(at, float(zone[:, 0].max()))
    if at < unit.length_mm:
        found.append((at, unit.length_mm))
    return found


def _by_stretches(
    copies: Sequence[Copy],
    unit: Unit,
    start_mm: float,
    search: Search,
) -> Laid:
    gap_mm = search.gap_mm
    left: list[Copy] = list(copies)
    made: list[Placement] = []
    methods: set[str] = set()
    items = {c.item.id: c.item for c in copies}
    stretches = sound_stretches(unit, start_mm)
    for n, (near, far) in enumerate(stretches):
        begins = max(near, _reach(made, items) + gap_mm) if made else near
        fitting = [c for c in left if _fits(c, far - begins, unit.width_mm)]
        if fitting and far - begins > LEAST_STRETCH_MM:
            part = search.part(search.left_s() / (len(stretches) - n))
            laid = fill_stretch(fitting, unit.width_mm, far - begins, part)
            made += moved(laid.placements, begins)
            methods.add(laid.method)
            tried = {id(c) for c in fitting}
            left = [c for c in left if id(c) not in tried] + laid.rest
        if left and n + 1 < len(stretches):
            band = replace(unit, length_mm=stretches[n + 1][0])
            more, left = _filled_up(band, made, left, items, gap_mm, start_mm)
            made += more
    if left:
        more, left = _filled_up(unit, made, left, items, gap_mm, start_mm)
        made += more
    return Laid(made, left, _reach(made, items), " and ".join(sorted(methods)) or "irregular")


def _reach(made: Sequence[Placement], items: Mapping[str, Item]) -> float:
    return max((float(placed_outline(items[p.item], p)[:, 0].max()) for p in made), default=0.0)


def _fits(copy: Copy, length_mm: float, width_mm: float) -> bool:
    return any(
        s.high[1] - s.low[1] <= width_mm + 1e-6 and s.high[0] - s.low[0] <= length_mm
        for _, _, s in copy.turns
    )


def _filled_up(
    unit: Unit,
    made: Sequence[Placement],
    left: Sequence[Copy],
    items: Mapping[str, Item],
    gap_mm: float,
    start_mm: float,
) -> tuple[list[Placement], list[Copy]]:
    """More pieces wherever there is room beside those that lie there."""
    board = Board(unit, NoFits(gap_mm))
    if start_mm > 0:
        board.block(start_of(unit, start_mm))
    for p in made:
        board.lay(Shape(placed_outline(items[p.item], p)), np.zeros(2))
    return fill(board, sorted(left, key=lambda c: (-c.area_mm2, c.item.id, c.number)))
