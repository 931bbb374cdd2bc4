"""A piece was spoiled on the table: cut it again from what is left, moving nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from plybook.diagnostics import StockError, error
from plybook.nest.board import Board
from plybook.nest.check import check_plan
from plybook.nest.compact import NoFits
from plybook.nest.laying import best_spot, copies_of
from plybook.nest.model import CutPlan, Item, Layout, Placement, Unit
from plybook.nest.nofit import Shape
from plybook.nest.placing import placed_outline
from plybook.nest.plan import finish_layout, round_placement


def cut_again(plan: CutPlan, item_id: str, copy: int = 1, spare: Sequence[Unit] = ()) -> CutPlan:
    """The plan with one piece cut again elsewhere.

    The place it was spoiled at becomes a bad zone; every other piece stays where it is. The first
    layout with room takes it (its own first), then the spare units in their order.

    Args:
        plan: as cut.
        item_id: the spoiled piece.
        copy: which copy of it.
        spare: more units of its material, for example the sheets that were not used.

    Returns:
        A proved plan with the same items.

    Raises:
        StockError: no room is left for another, or there is no such piece in the plan.
    """
    items = {i.id: i for i in plan.items}
    lies = ((x, _find(x, item_id, copy)) for x in plan.layouts)
    home, spoiled = next(((x, p) for x, p in lies if p is not None), (None, None))
    if home is None or spoiled is None:
        raise StockError(error("no-such-piece", f"{item_id} copy {copy} is not in the plan"))
    ring = placed_outline(items[item_id], spoiled)
    without = replace(
        home,
        unit=replace(home.unit, bad_zones_mm=(*home.unit.bad_zones_mm, ring)),
        placements=tuple(p for p in home.placements if p is not spoiled),
    )
    layouts = [without if x is home else x for x in plan.layouts]
    same = [x for x in layouts if x.unit.material == home.unit.material]
    used = {x.unit.id for x in layouts}
    same.sort(key=lambda x: x is not without)
    fresh = [
        Layout(u, (), 0.0, 0.0, 0.0, None, "irregular", False, home.gap_mm)
        for u in spare
        if u.material == home.unit.material and u.id not in used
    ]
    for layout in [*same, *fresh]:
        place = _room(layout, items, items[item_id])
        if place is None:
            continue
        added = replace(
            layout, placements=(*layout.placements, round_placement(replace(place, copy=copy)))
        )
        new = [added if x is layout else x for x in layouts]
        new += [added] if layout in fresh else []
        return _proved(plan, new, items, layout.unit.id)
    raise StockError(
        error(
            "not-enough-stock",
            f"no room is left on {home.unit.material} to cut {item_id} again",
            f"put another {home.unit.kind} on the shelf",
            layers=(item_id,),
        )
    )


def _find(layout: Layout, item_id: str, copy: int) -> Placement | None:
    return next((p for p in layout.placements if (p.item, p.copy) == (item_id, copy)), None)


def _room(layout: Layout, items: dict[str, Item], wanted: Item) -> Placement | None:
    board = Board(layout.unit, NoFits(layout.gap_mm))
    for p in layout.placements:
        board.lay(Shape(placed_outline(items[p.item], p)), np.zeros(2))
    size = layout.unit.length_mm, layout.unit.width_mm
    found = best_spot(board, copies_of([replace(wanted, demand=1)], [size])[0])
    if found is None:
        return None
    (rotation, flipped, _), at = found
    return Placement(wanted.id, 1, float(at[0]), float(at[1]), rotation, flipped)


def _proved(plan: CutPlan, layouts: Sequence[Layout], items, changed: str) -> CutPlan:
    done = tuple(finish_layout(x, items) if x.unit.id == changed else x for x in layouts)
    problems = check_plan(done, plan.items)
    if problems:
        raise AssertionError("; ".join(problems))
    return replace(plan, layouts=done)
