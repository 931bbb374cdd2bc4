"""What the part takes: areas, lengths with waste, sheets, bars, resin by stage, mass, purchases.

A stock unit shared with another part is charged by area of the pieces cut from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from plybook.nest.model import Layout
from plybook.shop.bagging import BagPlan, mould_tape_mm
from plybook.shop.job import Job
from plybook.shop.model import Batch, Quantity
from plybook.shop.resin import area_m2
from plybook.shop.standard import figure
from plybook.shop.words import counted, listed


def quantities(job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan]) -> tuple[Quantity, ...]:
    """Every row of the quantity tables, in the order of the groups."""
    return (
        *_cloth(job),
        *_core(job),
        *_rods(job),
        *_resin(job, batches),
        *_consumables(job, bags),
        *_mass(job),
        *_to_buy(job, batches, bags),
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
            size = f"{cut.count} x {cut.length_mm:.0f} x {cut.width_mm:.0f} mm"
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
                     f"{width:g} mm wide, on the mould face", stage)
        )  # fmt: skip
    return rows


def _mass(job: Job) -> list[Quantity]:
    rows = [
        Quantity("mass", "Laminate, cured and trimmed", round(job.laminate.mass_g, 1), "g",
                 "without consumables; weigh the part against it")
    ]  # fmt: skip
    centre = job.laminate.centre_mm
    if centre is not None and len(centre) == 3:
        for axis, value in zip(("aft", "starboard", "up"), centre, strict=True):
            rows.append(
                Quantity("mass", f"Centre of gravity, {axis}", round(float(value), 1), "mm",
                         "part axes")
            )  # fmt: skip
    return rows


def _to_buy(job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan]) -> list[Quantity]:
    """The purchase list: what the cut plan could not take from the shelf, and what is mixed."""
    rows: list[Quantity] = []
    bought: dict[tuple[str, str], list[Layout]] = {}
    for layout in job.plan.layouts:
        if layout.unit.bought and _own_share(job, layout) > 0:
            bought.setdefault((layout.unit.kind, layout.unit.material), []).append(layout)
    for (kind, material), layouts in bought.items():
        name = job.name(material)
        price = _unit_price(job, material)
        if kind == "roll":
            metres = math.ceil(sum(la.used_length_mm for la in layouts) / 100 - 1e-9) / 10
            rows.append(Quantity("buy", name, metres, "m", "for the whole cut plan",
                                 price=round(metres * price, 2)))  # fmt: skip
        else:
            word = "sheet" if kind == "sheet" else "bar"
            per = price
            if word == "bar":
                per = price * layouts[0].unit.length_mm / 1000
            rows.append(
                Quantity("buy", name, len(layouts), word, "for the whole cut plan",
                         price=round(len(layouts) * per, 2))
            )  # fmt: skip
    totals: dict[str, dict[str, float]] = {}
    for batch in batches:
        kit = totals.setdefault(batch.resin, {})
        for part, grams in batch.parts:
            kit[part] = kit.get(part, 0.0) + grams
        if batch.filler:
            kit[batch.filler] = kit.get(batch.filler, 0.0) + batch.filler_g
    for resin, kit in totals.items():
        card = job.spec.materials.resins[resin]
        names = {name for name, _ in card.parts}
        for part, grams in kit.items():
            own = part in names
            item = f"{card.name}, {part}" if own else part
            amount = math.ceil(grams / 10 - 1e-9) / 100
            price = round(amount * card.price, 2) if own else 0.0
            rows.append(Quantity("buy", item, amount, "kg", "as mixed, with cup losses",
                                 price=price))  # fmt: skip
    cuts: dict[tuple[str, str], float] = {}
    names: dict[str, str] = {}
    for bag in bags:
        for cut in bag.cuts:
            cuts[cut.role, cut.unit] = cuts.get((cut.role, cut.unit), 0.0) + cut.amount
            names[cut.role] = cut.name
    for (role, unit), amount in cuts.items():
        card = job.consumable(role)
        price = card.price if card is not None else 0.0
        if unit == "m2" and card is not None and card.roll_width_mm > 0:
            metres = math.ceil(amount * 1e4 / card.roll_width_mm - 1e-9) / 10
            rows.append(Quantity("buy", names[role], metres, "m",
                                 f"off a roll {card.roll_width_mm:g} mm wide, all stages",
                                 price=round(metres * price, 2)))  # fmt: skip
        else:
            rows.append(Quantity("buy", names[role], round(amount, 2), unit, "all stages",
                                 price=round(amount * price, 2)))  # fmt: skip
    return rows


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
