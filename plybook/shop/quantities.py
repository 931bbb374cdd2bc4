"""What the part takes: areas, lengths with waste, sheets, bars, resin by stage, mass, purchases.

A stock unit shared with another part is charged by area of the pieces cut from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from plybook.nest.model import Layout
from plybook.shop.bagging import BagPlan, mould_tape_mm
from plybook.shop.job import Job
from plybook.shop.model import BagCut, BagRoll, Batch, Quantity
from plybook.shop.resin import area_m2
from plybook.shop.standard import figure
from plybook.shop.words import counted, listed

WHOLE, KIT = "The part, cured and trimmed", "Kit as cut, dry"


def quantities(
    job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan], rolls: Sequence[BagRoll]
) -> tuple[Quantity, ...]:
    """Every row of the quantity tables, in the order of the groups.

    Args:
        job: the part.
        batches: its cups.
        bags: of its stages.
        rolls: what those bags take off rolls, laid out.
    """
    return (
        *_cloth(job),
        *_core(job),
        *_rods(job),
        *_resin(job, batches),
        *_consumables(job, bags),
        *_mass(job),
        *_to_buy(job, batches, bags, rolls),
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


def _to_buy(
    job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan], rolls: Sequence[BagRoll]
) -> list[Quantity]:
    """The purchase list: what the cut plan could not take from the shelf, and what is used up.

    One row per thing; what several uses want is added up.
    """
    rows: dict[tuple[str, str], Quantity] = {}
    for row in (
        *_stock_to_buy(job),
        *_resin_to_buy(job, batches),
        *_bags_to_buy(job, bags, rolls),
        *_shop_to_buy(job, batches),
    ):
        before = rows.get((row.item, row.unit))
        if before is not None:
            row = replace(
                row,
                amount=round(before.amount + row.amount, 3),
                detail=f"{before.detail}; {row.detail}",
                price=round(before.price + row.price, 2),
            )
        rows[row.item, row.unit] = row
    return list(rows.values())


def _buy(item: str, amount: float, unit: str, detail: str, price: float = 0.0) -> Quantity:
    return Quantity("buy", item, amount, unit, detail, price=round(amount * price, 2))


def _stock_to_buy(job: Job) -> list[Quantity]:
    rows = []
    bought: dict[tuple[str, str], list[Layout]] = {}
    for layout in job.plan.layouts:
        if layout.unit.bought and _own_share(job, layout) > 0:
            bought.setdefault((layout.unit.kind, layout.unit.material), []).append(layout)
    for (kind, material), layouts in bought.items():
        name, price = job.name(material), _unit_price(job, material)
        if kind == "roll":
            metres = _metres_up(sum(la.used_length_mm for la in layouts))
            rows.append(_buy(name, metres, "m", "for the whole cut plan", price))
        elif kind == "sheet":
            rows.append(_buy(name, len(layouts), "sheet", "for the whole cut plan", price))
        else:
            metres = sum(la.unit.length_mm for la in layouts) / 1000
            detail = f"for the whole cut plan, {counted(len(layouts), 'length')}"
            rows.append(_buy(name, round(metres, 3), "m", detail, price))
    return rows


def _resin_to_buy(job: Job, batches: Sequence[Batch]) -> list[Quantity]:
    rows = []
    totals: dict[tuple[str, str], float] = {}
    for batch in batches:
        for part, grams in (*batch.parts, *([("", batch.filler_g)] if batch.filler else [])):
            key = (batch.resin, part) if part else ("", batch.filler)
            totals[key] = totals.get(key, 0.0) + grams
    for (resin, part), grams in totals.items():
        card = job.spec.materials.resins.get(resin)
        kilos = math.ceil(round(grams / 10, 6)) / 100
        item = f"{card.name}, {part}" if card is not None else part
        price = card.price if card is not None else 0.0
        rows.append(_buy(item, kilos, "kg", "as mixed, with cup losses", price))
    return rows


def _bags_to_buy(
    job: Job, bags: Sequence[BagPlan], rolls: Sequence[BagRoll]
) -> list[Quantity]:
    rows = []
    wanted: dict[tuple[str, str, str], list[BagCut]] = {}
    for bag in bags:
        for cut in bag.cuts:
            wanted.setdefault((cut.role, cut.name, cut.unit), []).append(cut)
    for (role, name, unit), cuts in wanted.items():
        card = job.consumable(role)
        price = card.price if card is not None else 0.0
        amount = math.fsum(cut.amount for cut in cuts)
        laid = [roll for roll in rolls if roll.role == role]
        if unit == "m2" and not laid:
            rows.append(_buy(name, round(amount, 2), unit, "for the bags", price))
        elif unit == "m2":
            metres = _metres_up(math.fsum(roll.used_mm for roll in laid))
            count = counted(sum(len(roll.cuts) for roll in laid), "cut")
            detail = f"under the bags, {count} laid out on "
            detail += f"a roll {job.length(laid[0].width_mm)} wide"
            rows.append(_buy(name, metres, "m", detail, price))
        else:
            rows.append(_by_roll(job, role, name, amount * 1000, "for the bags"))
    return rows


def _shop_to_buy(job: Job, batches: Sequence[Batch]) -> list[Quantity]:
    """Tape for the mould, cups, and the tins of which one is enough."""
    rows = []
    if any(rule.kind == "mould_preparation" for rule in job.stages):
        card = job.consumable("mould_tape")
        name = card.name if card else "Packing tape"
        rows.append(_by_roll(job, "mould_tape", name, mould_tape_mm(job), "on the mould face"))
        for role in ("wax", "release_coat"):
            if card := job.consumable(role):
                rows.append(_buy(card.name, 1, "piece", "see what is left", card.price))
    if any(rule.kind == "dry_layup" for rule in job.stages) and (
        card := job.consumable("spray_tack")
    ):
        rows.append(_buy(card.name, 1, "piece", "see what is left", card.price))
    if batches and (card := job.consumable("mixing_cup")):
        rows.append(_buy(card.name, len(batches), "piece", "one for each batch", card.price))
    return rows


def _by_roll(job: Job, role: str, name: str, length_mm: float, detail: str) -> Quantity:
    """Tape is sold by the roll and hose by the metre; the price is for that."""
    card = job.consumable(role)
    price = card.price if card is not None else 0.0
    if card is not None and card.roll_length_mm > 0 and role in ("sealant_tape", "mould_tape"):
        rolls = math.ceil(round(length_mm / card.roll_length_mm, 6))
        return _buy(name, rolls, "roll", f"{length_mm / 1000:.1f} m {detail}", price)
    return _buy(name, _metres_up(length_mm), "m", detail, price)


def _metres_up(length_mm: float) -> float:
    """Metres, rounded up to a tenth."""
    return math.ceil(round(length_mm / 100, 6)) / 10


def _own_share(job: Job, layout: Layout) -> float:
    """This part's share of the area placed on a unit."""
    areas = {item.id: _ring_area(item.outline_mm) for item in job.plan.items}
    own = total = 0.0
    for placement in layout.placements:
        area = areas.get(placement.item, 0.0)
        total += area
        if placement.item.rpartition("/")[0] in ("", job.spec.part.number):
            own += area
    return own / total if total > 0 else 0.0


def _layouts(job: Job, material: str) -> list[Layout]:
    return [la for la in job.plan.layouts if la.unit.material == material]


def _others(job: Job, layouts: Sequence[Layout]) -> list[str]:
    parts = {p.item.rpartition("/")[0] for la in layouts for p in la.placements}
    return sorted(parts - {"", job.spec.part.number})


def _own_length_mm(job: Job, material: str) -> tuple[float, list[str]]:
    layouts = [la for la in _layouts(job, material) if _own_share(job, la) > 0]
    length = math.fsum(la.used_length_mm * _own_share(job, la) for la in layouts)
    return length, _others(job, layouts)


def _own_units(job: Job, material: str) -> tuple[float, list[str]]:
    layouts = [la for la in _layouts(job, material) if _own_share(job, la) > 0]
    return math.fsum(_own_share(job, la) for la in layouts), _others(job, layouts)


def _roll_width_mm(job: Job, material: str) -> float:
    widths = {la.unit.width_mm for la in _layouts(job, material)}
    return widths.pop() if len(widths) == 1 else 0.0


def _rod_length_mm(piece, width_mm: float) -> float:
    return piece.area_mm2 / width_mm if width_mm > 0 else 0.0


def _ring_area(ring) -> float:
    from plybook.geometry.rings import signed_area_mm2

    return abs(signed_area_mm2(ring))


def _count(pieces) -> str:
    return counted(sum(p.quantity for p in pieces), "piece")


def _unit_price(job: Job, material: str) -> float:
    cards = job.spec.materials
    for shelf in (cards.cloths, cards.cores, cards.rods, cards.consumables):
        if material in shelf:
            return shelf[material].price
    return 0.0
