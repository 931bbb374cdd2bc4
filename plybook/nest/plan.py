"""The cut plan: all pieces of all parts, material by material, each layout proved."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from plybook.diagnostics import Finding, StockError, error, note
from plybook.geometry.rings import signed_area_mm2
from plybook.nest.bars import BarStock, cut_bars
from plybook.nest.bays import in_bays
from plybook.nest.bound import sheet_bound, strip_bound
from plybook.nest.budget import Budget, stops_on_interrupt
from plybook.nest.check import check_plan
from plybook.nest.kits import KITS, folds_of, ways_compared
from plybook.nest.memory import LayoutMemory, Remembered, layout_key
from plybook.nest.model import CutPlan, Effort, Item, Layout, Placement
from plybook.nest.needs import CutJob, Need, gather, not_folded
from plybook.nest.placing import placed_outline, turn_ring
from plybook.nest.race import packer_is_installed
from plybook.nest.remnant import left_over
from plybook.nest.rolls import pack_rolls
from plybook.nest.sheets import pack_sheets
from plybook.nest.stretch import AS_GOOD_AS_BOUND
from plybook.nest.strip import ONE_BY_ONE
from plybook.spec.model import Kits

Progress = Callable[[str], None]
SECONDS = {"quick": 1.0, "normal": 30.0, "long": 8 * 3600.0}
LONG_ROUND_S = 30.0, 600.0  # a long search goes over all materials again and again: first, longest
DECIMALS = 4  # of placements, mm; a tenth of the checker's tolerance


def plan_cuts(
    jobs: Sequence[CutJob],
    effort: Effort = "normal",
    memory: LayoutMemory | None = None,
    progress: Progress | None = None,
    seconds: float | None = None,
    save: Callable[[LayoutMemory], None] | None = None,
) -> CutPlan:
    """Plan every cut of several parts from one shelf.

    Args:
        jobs: the parts with their pieces.
        effort: quick (about a second), normal (under a minute) or long (a night).
        memory: accepted layouts; used again where proved, and added to.
        progress: told what is going on, in words.
        seconds: time for the whole search instead of the effort's own.
        save: told to keep the memory, each time a long search has bettered a material; a run that
            is killed then loses no more than the search of one material in one round.

    Returns:
        Layouts in the order of materials and units, every one proved, with findings.

    Raises:
        GeometryError, SpecError: a piece or the stock is not what it should be.
        StockError: pieces that cannot be cut from this stock.
    """
    tell = progress or (lambda _: None)
    remembered = LayoutMemory() if memory is None else memory
    needs, findings = gather(jobs)
    found = list(findings)
    whole = SECONDS[effort] if seconds is None else seconds
    budget = Budget(whole)
    run = _Run(whole, effort == "long", remembered, tell, save)
    plans: list[_Plan] = []
    refused: list[Finding] = []
    with stops_on_interrupt(budget):
        for round_s in _rounds(run, budget):
            plans = _plan_all(needs, budget.part(round_s), run)
            refused = [plan for plan in plans if isinstance(plan, Finding)]
            if refused or all(map(_is_best, plans)):
                break
    if refused:
        raise StockError(refused)
    layouts = [layout for plan in plans if not isinstance(plan, Finding) for layout in plan]
    if packer_is_installed():
        failed = {x.unit.material: x.method for x in layouts if ONE_BY_ONE in x.method}
        found += [_packer_failed(material, failed[material]) for material in sorted(failed)]
    if budget.stopped:
        found.append(
            note("search-stopped", "the search was stopped early; the best proved plan is kept")
        )
    items = tuple(item for need in needs for item in need.items)
    way: Kits = jobs[0].spec.nest.kits if jobs else ""
    done = [plan for plan in plans if not isinstance(plan, Finding)]
    kits = ways_compared(jobs, needs, done, way, partial(_lay_out, whole, run)) if way else ()
    why = partial(not_folded, jobs)
    folds = folds_of(layouts, items, why) if way in KITS else ()
    return CutPlan(tuple(_in_bays(jobs, layouts, items)), items, tuple(found), kits, folds)


def _in_bays(
    jobs: Sequence[CutJob], layouts: Sequence[Layout], items: Sequence[Item]
) -> Iterator[Layout]:
    """Layouts with their bays: by the table and the tape of the first part, as all that is cut
    together."""
    by_id = {item.id: item for item in items}
    for layout in layouts:
        spec = jobs[0].spec
        yield in_bays(layout, by_id, spec.part.units, spec.workshop.table_mm)


def _lay_out(seconds: float, run: _Run, needs: Sequence[Need]) -> list[list[Layout] | None]:
    """Layouts that are only compared with those chosen, from a search as long as theirs; of a
    search of a whole night, as long as a normal one."""
    usual = min(seconds, SECONDS["normal"])
    other = replace(run, seconds=usual, long=False)
    with stops_on_interrupt(budget := Budget(usual)):
        plans = _plan_all(needs, budget, other)
    return [None if isinstance(plan, Finding) else plan for plan in plans]


_Plan = list[Layout] | Finding


@dataclass(frozen=True)
class _Run:
    """What every search of one call is told: the time of the whole call, whether it goes on in
    rounds that better what is remembered, the memory, and whom to tell and to save with."""

    seconds: float
    long: bool
    memory: LayoutMemory
    tell: Progress
    save: Callable[[LayoutMemory], None] | None


def _rounds(run: _Run, budget: Budget) -> Iterator[float]:
    """Seconds of each round: one for all, or ever longer ones until the time is up."""
    if not run.long:
        yield budget.left_s()
        return
    seconds, longest = LONG_ROUND_S
    while True:
        yield min(seconds, budget.left_s())
        seconds = min(2 * seconds, longest)
        if budget.left_s() < 1.0:
            return


def _plan_all(needs: Sequence[Need], budget: Budget, run: _Run) -> list[_Plan]:
    """A plan for every material, the time shared out by what is at stake."""
    weights = [_weight(need) for need in needs]
    plans = []
    for n, need in enumerate(needs):
        share = budget.left_s() * weights[n] / (sum(weights[n:]) or 1.0)
        if not run.long:
            share = min(share, _worth_s(need))
        plans.append(_plan_need(need, budget.part(share), run))
    return plans


def _is_best(plan: _Plan) -> bool:
    """Whether no search can better a plan: bars, which are cut exactly, and a single roll
    that is no longer than its bound."""
    if isinstance(plan, Finding):
        return False
    if all(x.unit.kind == "bar" for x in plan):
        return True
    return (
        len(plan) == 1
        and plan[0].unit.kind == "roll"
        and (plan[0].used_length_mm <= plan[0].bound_mm * AS_GOOD_AS_BOUND)
    )


def _packer_failed(material: str, method: str) -> Finding:
    return note(
        "packer-failed",
        f"{material} is laid {method}; every piece is there and the layout is proved, but it may "
        "take up to 20 % more",
        "build with --effort normal, or make the widest piece a little narrower",
        layers=(material,),
    )


def _weight(need: Need) -> float:
    """How much of the time a material is worth: by cloth at stake and by pieces to arrange."""
    if need.kind == "bar":
        return 0.2
    pieces = sum(i.demand for i in need.items)
    area_m2 = sum(abs(signed_area_mm2(i.outline_mm)) * i.demand for i in need.items) / 1e6
    return math.sqrt(area_m2) * min(pieces, 60) ** 0.5 if pieces > 1 else 0.05


def _worth_s(need: Need) -> float:
    """Time after which a search over so few pieces has hardly anything left to find."""
    return 1.0 + 0.4 * sum(i.demand for i in need.items) ** 1.3


def _plan_need(need: Need, budget: Budget, run: _Run) -> _Plan:
    """Proved layouts of one material, remembered or fresh; a finding where stock is short."""
    r = need.rules
    kits = r.kits in KITS and r.kits
    rules = [need.kind, need.gap_mm, need.endless, kits, r.order]
    key = layout_key(need.items, need.units, rules)
    old = run.memory.get(key)
    kept = _recall(need, old) if old else None
    before_s = old.seconds if old else 0.0
    if kept and (budget.stopped or (_is_best(kept) if run.long else before_s >= run.seconds)):
        run.tell(f"{need.material}: layout remembered and proved again")
        return kept
    seed = round(before_s) if run.long else 0  # another night begins where this one ends
    searched_s = before_s + budget.left_s() if run.long else max(run.seconds, before_s)
    fresh = _search(need, budget, seed, run.tell)
    if isinstance(fresh, Finding):
        return kept or fresh
    if kept and _cost(kept) <= _cost(fresh):
        fresh = kept
    problems = check_plan(fresh, need.items)
    if problems:
        raise AssertionError(f"{need.material}: " + "; ".join(problems))
    run.memory.put(
        key,
        Remembered(
            tuple((x.unit.id, x.used_length_mm, x.method, x.placements) for x in fresh),
            round(searched_s, 1),
        ),
    )
    if run.long and run.save is not None:
        run.save(run.memory)
    return fresh


def _cost(layouts: Sequence[Layout]) -> tuple[float, ...]:
    """What a plan takes, most important first: units bought, length bought, length in all."""
    bought = [x for x in layouts if x.unit.bought]
    rolls = sum(x.used_length_mm for x in layouts if x.unit.kind == "roll")
    return (
        sum(1 for x in bought if x.unit.kind != "roll"),
        sum(x.used_length_mm for x in bought),
        len(layouts),
        rolls,
        -max((_ring_area(x.remnant_mm) for x in layouts), default=0.0),
    )


def _ring_area(ring: np.ndarray | None) -> float:
    return 0.0 if ring is None else abs(signed_area_mm2(ring))


# ---------------------------------------------------------------- remembered and fresh


def _recall(need: Need, old: Remembered) -> list[Layout] | None:
    units = {u.id: u for u in need.units}
    rows = []
    for name, used, method, placed in old.layouts:
        unit = units.get(name) or units.get(f"{name.rpartition('-')[0]}-1")
        if unit is None or not placed:
            return None
        rows.append((replace(unit, id=name), placed, used, method))
    if not {p.item for _, placed, _, _ in rows for p in placed} <= {i.id for i in need.items}:
        return None
    layouts = [replace(x, remembered=True) for x in _finish(need, rows)]
    return None if check_plan(layouts, need.items) else layouts


def _search(need: Need, budget: Budget, seed: int, tell: Progress) -> list[Layout] | Finding:
    if need.kind == "bar":
        return _search_bars(need, budget)
    if need.kind == "sheet":
        filled, left = pack_sheets(
            need.items,
            need.units,
            need.gap_mm,
            budget,
            seed,
            progress=lambda n: tell(f"{need.material}: {n} sheets so far"),
        )
        rows = [(f.unit, f.placements, f.unit.length_mm, "irregular") for f in filled]
    else:
        bound = _bound_of_rolls(need)
        rolled, left = pack_rolls(
            need.items,
            need.units,
            need.gap_mm,
            budget,
            seed,
            by_group=need.rules.kits in KITS,
            progress=lambda mm: tell(
                f"{need.material}: {mm / 1000:.2f} m so far, at least {bound / 1000:.2f} m"
            ),
        )
        rows = [(r.unit, r.placements, r.used_length_mm, r.method) for r in rolled]
    if left:
        return _short(need, [f"{c.item.id} copy {c.number}" for c in left])
    return _finish(need, rows)


def _short(need: Need, left: Sequence[str]) -> Finding:
    named = ", ".join(left[:20]) + (f" and {len(left) - 20} more" if len(left) > 20 else "")
    return error(
        "not-enough-stock",
        f"{need.material}: no place is left on the {need.kind}s at hand for {named}",
        f"put another {need.kind} on the shelf, or one that is bought as needed",
        layers=tuple(dict.fromkeys(name.rsplit(" copy ", 1)[0] for name in left)),
    )


def _bound_of_rolls(need: Need) -> float:
    return strip_bound(
        [i.outline_mm for i in need.items],
        [i.demand for i in need.items],
        [i.rotations_deg for i in need.items],
        need.gap_mm,
        max(u.width_mm for u in need.units),
    )


def _finish(need: Need, rows) -> list[Layout]:
    """Layouts with their figures, placements rounded once."""
    by_id = {i.id: i for i in need.items}
    rows = [
        (u, tuple(round_placement(p) for p in placed), used, method)
        for u, placed, used, method in rows
    ]
    bounds = _bounds(need, rows, by_id)
    layouts = []
    for (unit, placed, used, method), bound in zip(rows, bounds, strict=True):
        layout = Layout(unit, placed, used, bound, 0.0, None, method, False, need.gap_mm)
        if need.endless and unit.bought:
            whole_mm = math.ceil(_reach(placed, by_id) / 100.0 - 1e-9) * 100.0
            layout = replace(layout, unit=replace(unit, length_mm=whole_mm))
        layouts.append(finish_layout(layout, by_id))
    return layouts


def finish_layout(layout: Layout, by_id: dict[str, Item]) -> Layout:
    """The layout with its placements in order and its figures: used length, utilisation (area of
    pieces over area used) and left-over."""
    unit = layout.unit
    placed = tuple(sorted(layout.placements, key=lambda p: (p.x_mm, p.y_mm, p.item, p.copy)))
    used = _reach(placed, by_id) if unit.kind == "roll" else unit.length_mm
    area = sum(abs(signed_area_mm2(by_id[p.item].outline_mm)) for p in placed)
    whole = _ring_area(unit.outline_mm)
    if unit.kind == "roll" or not whole:
        whole = used * unit.width_mm
    done = replace(
        layout, placements=placed, used_length_mm=used, utilisation=area / whole, remnant_mm=None
    )
    return replace(done, remnant_mm=left_over(done, by_id, layout.gap_mm))


def round_placement(p: Placement) -> Placement:
    """A placement on the grid that is printed and proved."""
    return replace(
        p,
        x_mm=round(p.x_mm, DECIMALS) + 0.0,
        y_mm=round(p.y_mm, DECIMALS) + 0.0,
        rotation_deg=round(p.rotation_deg % 360.0, 9) % 360.0,
    )


def _reach(placed: Sequence[Placement], by_id: dict[str, Item]) -> float:
    reach = max(float(placed_outline(by_id[p.item], p)[:, 0].max()) for p in placed)
    return math.ceil(round(reach, 6) * 10**DECIMALS - 1e-3) / 10**DECIMALS


def _bounds(need: Need, rows, by_id) -> list[float]:
    """For a roll the least length its own pieces can take; for sheets and bars the least number
    of units of the largest size times its length."""
    if need.kind == "roll":
        return [
            strip_bound(
                [by_id[p.item].outline_mm for p in placed],
                [1] * len(placed),
                [by_id[p.item].rotations_deg for p in placed],
                need.gap_mm,
                unit.width_mm,
            )
            for unit, placed, _, _ in rows
        ]
    length, width = max(
        ((u.length_mm, u.width_mm) for u in need.units), key=lambda s: (s[0] * s[1], s)
    )
    if need.kind == "bar":
        total = sum(_bar_length(i) * i.demand for i in need.items)
        pieces = sum(i.demand for i in need.items)
        count = math.ceil((total + pieces * need.gap_mm) / (length + need.gap_mm) - 1e-9)
    else:
        count = sheet_bound(
            [i.outline_mm for i in need.items],
            [i.demand for i in need.items],
            need.gap_mm,
            (length, width),
        )
    return [count * length for _ in rows]


# ---------------------------------------------------------------- bars


def _along_bar(item: Item) -> float:
    """The rotation that lays a rod along its bar."""
    assert item.rotations_deg is not None  # rods are given theirs
    return item.rotations_deg[0]


def _bar_length(item: Item) -> float:
    return float(np.ptp(turn_ring(item.outline_mm, _along_bar(item))[:, 0]))


def _search_bars(need: Need, budget: Budget) -> list[Layout] | Finding:
    """Cut lengths from bars: at hand first (they cost next to nothing), then bought ones."""
    lengths: dict[float, list[tuple[Item, int]]] = {}
    for item in need.items:
        lot = lengths.setdefault(round(_bar_length(item), 4), [])
        lot += [(item, n) for n in range(1, item.demand + 1)]
    wanted = sorted(lengths, reverse=True)
    stock = [
        BarStock(u.length_mm, None if u.bought else 1, u.length_mm * (1.0 if u.bought else 1e-3))
        for u in need.units
    ]
    plan = cut_bars(
        wanted,
        [len(lengths[w]) for w in wanted],
        stock,
        need.gap_mm,
        min(max(2.0, budget.left_s()), 60.0),
    )
    if plan is None:
        names = [f"{i.id} copy {n}" for w in wanted for i, n in lengths[w]]
        return _short(need, names)
    waiting = {w: list(lengths[w]) for w in wanted}
    rows, bought = [], {}
    for index, counts in plan.bars:
        unit = need.units[index]
        if unit.bought:
            bought[index] = bought.get(index, 0) + 1
            unit = replace(unit, id=f"{unit.id.rsplit('-', 1)[0]}-{bought[index]}")
        x, placed = 0.0, []
        for length, count in zip(wanted, counts, strict=True):
            for _ in range(count):
                item, number = waiting[length].pop(0)
                rotation = _along_bar(item)
                low = turn_ring(item.outline_mm, rotation).min(axis=0)
                placed.append(
                    Placement(item.id, number, x - float(low[0]), -float(low[1]), rotation)
                )
                x += length + need.gap_mm
        rows.append((unit, tuple(placed), unit.length_mm, "exact cutting"))
    return _finish(need, rows)
