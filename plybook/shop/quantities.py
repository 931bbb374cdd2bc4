"""What the part takes: areas, lengths with waste, sheets, bars, resin by stage, mass, purchases.

A stock unit shared with another part is charged by area of the pieces cut from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from plybook.nest.model import Layout
from plybook.shop.bagging import BagPlan, mould_tape_mm
from plybook.shop.job import Job
from plybook.shop.model import Batch, OnShelf, Quantity, Want
from plybook.shop.purchases import own_share, to_buy
from plybook.shop.resin import area_m2
from plybook.shop.standard import figure
from plybook.shop.words import counted, listed

WHOLE, KIT = "The part, cured and trimmed", "Kit as cut, dry"


def quantities(
    job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan], wants: Sequence[Want],
    shelf: Sequence[OnShelf] = (),
) -> tuple[Quantity, ...]:
    """Every row of the quantity tables, in the order of the groups.

    Args:
        job: the part.
        batches: its cups.
        bags: of its stages.
        wants: what is wanted.
        shelf: what of it need not be bought.
    """
    return (
        *_cloth(job),
        *_core(job),
        *_rods(job),
        *_resin(job, batches),
        *_consumables(job, bags),
        *_mass(job),
        *to_buy(wants, shelf),
    )


def _cloth(job: Job) -> list[Quantity]:
    rows = []
    for material, cloth in job.spec.materials.cloths.items():
        pieces = [p for p in job.laminate.pieces if p.kind == "ply" and p.material == material]
        if not pieces:
            continue
        area = area_m2(pieces)
        rows.append(
            Quantity("cloth", cloth.name, round(area, 3), "m2", f"area of {_count(pieces)} as cut")
        )
        length, shared = _own_length_mm(job, material)
        if length > 0:
            width = _roll_width_mm(job, material) or cloth.usable_width_mm
            waste = 100 * (1 - area * 1e6 / (length * width)) if width > 0 else 0.0
            detail = f"off the roll, {waste:.0f} % waste"
            if shared:
                detail += f"; shared with {listed(shared)}, charged by area"
            price = round(length / 1000 * cloth.price, 2)
            rows.append(
                Quantity("cloth", cloth.name, round(length / 1000, 3), "m", detail, price=price)
            )
    return rows


def _core(job: Job) -> list[Quantity]:
    rows = []
    for material, stock in job.spec.materials.cores.items():
        pieces = [p for p in job.laminate.pieces if p.material == material]
        if not pieces:
            continue
        rows.append(
            Quantity("core", stock.name, round(area_m2(pieces), 3), "m2",
                     f"area of {_count(pieces)} as cut")
        )  # fmt: skip
        sheets, shared = _own_units(job, material)
        if sheets > 0:
            detail = "sheets begun" if not shared else f"share of sheets; with {listed(shared)}"
            rows.append(
                Quantity("core", stock.name, round(sheets, 2), "sheet", detail,
                         price=round(sheets * stock.price, 2))
            )  # fmt: skip
    return rows


def _rods(job: Job) -> list[Quantity]:
    rows = []
    for material, stock in job.spec.materials.rods.items():
        pieces = [p for p in job.laminate.pieces if p.material == material]
        if not pieces:
            continue
        length = sum(_rod_length_mm(p, stock.width_mm) * p.quantity for p in pieces)
        rows.append(
            Quantity("rod", stock.name, round(length / 1000, 3), "m",
                     f"{_count(pieces)} as cut", price=round(length / 1000 * stock.price, 2))
        )  # fmt: skip
    return rows


def _resin(job: Job, batches: Sequence[Batch]) -> list[Quantity]:
    rows = []
    resins = job.spec.materials.resins
    titles = {rule.id: job.title(rule) for rule in job.stages}
    for stage in dict.fromkeys(batch.stage for batch in batches):
        for thick in (False, True):
            cups = [b for b in batches if b.stage == stage and bool(b.filler) is thick]
            if not cups:
                continue
            resin = resins[cups[0].resin]
            mass = math.fsum(b.mass_g for b in cups)
            detail = f"{titles[stage]}: {counted(len(cups), 'cup')}, cup losses included"
            if thick:
                detail += f"; with {math.fsum(b.filler_g for b in cups):.0f} g {cups[0].filler}"
            rows.append(
                Quantity("resin", f"{resin.name}, thickened" if thick else resin.name,
                         round(mass, 1), "g", detail, stage,
                         price=round(mass / 1000 * resin.price, 2))
            )  # fmt: skip
    return rows


def _consumables(job: Job, bags: Sequence[BagPlan]) -> list[Quantity]:
    rows = []
    for bag in bags:
        for cut in bag.cuts:
            size = f"{cut.count} x {job.length(cut.length_mm)} x {job.length(cut.width_mm)}"
            detail = cut.where if cut.unit == "m" else f"{size}, {cut.where}"
            rows.append(
                Quantity("consumable", cut.name, round(cut.amount, 3), cut.unit, detail, bag.stage)
            )
    if any(rule.kind == "mould_preparation" for rule in job.stages):
        stage = next(rule.id for rule in job.stages if rule.kind == "mould_preparation")
        tape = mould_tape_mm(job) / 1000
        card = job.consumable("mould_tape")
        width = (card.roll_width_mm if card else 0.0) or figure("mould_tape_width")
        rows.append(
            Quantity("consumable", card.name if card else "Packing tape", round(tape, 1), "m",
                     f"{job.length(width)} wide, on the mould face", stage)
        )  # fmt: skip
    return rows


def _mass(job: Job) -> list[Quantity]:
    budget = job.budget
    rows = [*budget.stays, Quantity("mass", WHOLE, budget.part_g, "g", "weigh the part against it")]
    rows.append(Quantity("gone", KIT, budget.kit_g, "g", "all pieces but what is peeled off"))
    rows += budget.goes
    drawn = ("x", "y", "off the mould face")
    axes = drawn if job.face.flat else ("aft", "starboard", "up")
    for axis, value in zip(axes, job.laminate.centre_mm, strict=True):
        item = f"Centre of gravity of the laminate, {axis}"
        rows.append(Quantity("centre", item, round(float(value), 1), "mm", "part axes"))
    return rows


def _layouts(job: Job, material: str) -> list[Layout]:
    return [la for la in job.plan.layouts if la.unit.material == material]


def _others(job: Job, layouts: Sequence[Layout]) -> list[str]:
    parts = {p.item.rpartition("/")[0] for la in layouts for p in la.placements}
    return sorted(parts - {"", job.spec.part.number})


def _own_length_mm(job: Job, material: str) -> tuple[float, list[str]]:
    layouts = [la for la in _layouts(job, material) if own_share(job, la) > 0]
    length = math.fsum(la.used_length_mm * own_share(job, la) for la in layouts)
    return length, _others(job, layouts)


def _own_units(job: Job, material: str) -> tuple[float, list[str]]:
    layouts = [la for la in _layouts(job, material) if own_share(job, la) > 0]
    return math.fsum(own_share(job, la) for la in layouts), _others(job, layouts)


def _roll_width_mm(job: Job, material: str) -> float:
    widths = {la.unit.width_mm for la in _layouts(job, material)}
    return widths.pop() if len(widths) == 1 else 0.0


def _rod_length_mm(piece, width_mm: float) -> float:
    return piece.area_mm2 / width_mm if width_mm > 0 else 0.0


def _count(pieces) -> str:
    return counted(sum(p.quantity for p in pieces), "piece")
