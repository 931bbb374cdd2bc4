"""What is to be bought: what the cut plan could not take from the shelf, and what is used up.

Terms:
    want: so much of a thing for one use, as exactly as it is known. Wants of one thing are added up
        and rounded up once, for a part or for all parts that are built together.
    key: names what several parts want together, such as a roll of the cut plan: it counts once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from plybook.nest.model import Layout
from plybook.shop.bagging import BagPlan, mould_tape_mm
from plybook.shop.job import Job
from plybook.shop.model import BagCut, BagRoll, Batch, OnShelf, Quantity, Want
from plybook.shop.onshelf import last_day, taken_words
from plybook.shop.words import counted

_TENTH_M, _TEN_G, _HUNDREDTH, _WHOLE, _AS_IT_IS = 0.1, 0.01, 0.01, 1.0, 0.001


def wants_of(
    job: Job, batches: Sequence[Batch], bags: Sequence[BagPlan], rolls: Sequence[BagRoll]
) -> tuple[Want, ...]:
    """Everything one part wants, in the order of the list.

    Args:
        job: the part.
        batches: its cups.
        bags: of its stages.
        rolls: what those bags take off rolls, laid out.
    """
    wants = [*_stock(job), *_resin(job, batches), *_bags(job, bags, rolls), *_shop(job, batches)]
    return tuple(replace(want, exact=round(want.exact, 6)) for want in wants)


def to_buy(wants: Sequence[Want], shelf: Sequence[OnShelf] = ()) -> list[Quantity]:
    """The purchase list of a part: one row for each thing, less what lies on the shelf."""
    return [
        _row(own, "; ".join(dict.fromkeys(want.detail for want in own)), shelf)
        for own in _by_thing(wants)
    ]  # fmt: skip


def to_buy_together(
    wants: Mapping[str, Sequence[Want]], shelf: Sequence[OnShelf] = ()
) -> list[Quantity]:
    """The purchase list of several parts: one row for each thing, with the parts it is for.

    Args:
        wants: by part number, in the order of the parts.
        shelf: what lies on the shelf of any part; a thing of one id is one thing.
    """
    shelf = list({(one.id, one.item): one for one in shelf}.values())
    shelf.sort(key=last_day)
    parts: dict[tuple[str, str], dict[str, None]] = {}
    for number, own in wants.items():
        for want in own:
            parts.setdefault((want.item, want.unit), {})[number] = None
    whole = [want for own in wants.values() for want in own]
    return [
        _row(own, ", ".join(parts[own[0].item, own[0].unit]), shelf) for own in _by_thing(whole)
    ]  # fmt: skip


def _by_thing(wants: Sequence[Want]) -> list[list[Want]]:
    """Wants of one thing together; what has a key once."""
    found: dict[tuple[str, str], dict[object, Want]] = {}
    for k, want in enumerate(wants):
        found.setdefault((want.item, want.unit), {}).setdefault(want.key or k, want)
    return [list(own.values()) for own in found.values()]


def _row(wants: Sequence[Want], detail: str, shelf: Sequence[OnShelf]) -> Quantity:
    step = max(want.step for want in wants)
    exact = math.fsum(want.exact for want in wants)
    own = [one for one in shelf if (one.item, one.unit) == (wants[0].item, wants[0].unit)]
    short = max(0.0, exact - math.fsum(one.amount for one in own))
    amount = round(math.ceil(round(short / step, 6)) * step, 3)
    detail = "; ".join(filter(None, (detail, taken_words(own, exact))))
    price = next((want.price for want in wants if want.price), 0.0)
    first = wants[0]
    return Quantity("buy", first.item, amount, first.unit, detail, price=round(amount * price, 2))


def _stock(job: Job) -> list[Want]:
    """Rolls, sheets and bars of the cut plan that are bought and cut something for this part."""
    bought = [la for la in job.plan.layouts if la.unit.bought and own_share(job, la) > 0]
    wants = []
    for layout in bought:
        unit = layout.unit
        measure, amount, step = "m", layout.used_length_mm / 1000, _TENTH_M
        detail = "for the whole cut plan"
        if unit.kind == "sheet":
            measure, amount, step = "sheet", 1.0, _WHOLE
        elif unit.kind == "bar":
            amount, step = unit.length_mm / 1000, _AS_IT_IS
            alike = sum(la.unit.material == unit.material for la in bought)
            detail += f", {counted(alike, 'length')}"
        price = _unit_price(job, unit.material)
        wants.append(Want(job.name(unit.material), measure, amount, step, detail, price, unit.id))
    return wants


def _resin(job: Job, batches: Sequence[Batch]) -> list[Want]:
    totals: dict[tuple[str, str], float] = {}
    for batch in batches:
        for part, grams in (*batch.parts, *([("", batch.filler_g)] if batch.filler else [])):
            key = (batch.resin, part) if part else ("", batch.filler)
            totals[key] = totals.get(key, 0.0) + grams
    wants = []
    for (resin, part), grams in totals.items():
        card = job.spec.materials.resins.get(resin)
        item = f"{card.name}, {part}" if card is not None else part
        price = card.price if card is not None else 0.0
        wants.append(
            Want(item, "kg", grams / 1000, _TEN_G, "as mixed, with cup losses", price)
        )  # fmt: skip
    return wants


def _bags(job: Job, bags: Sequence[BagPlan], rolls: Sequence[BagRoll]) -> list[Want]:
    wants = []
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
            wants.append(Want(name, unit, amount, _HUNDREDTH, "for the bags", price))
        elif unit == "m2":
            metres = math.fsum(roll.used_mm for roll in laid) / 1000
            count = counted(sum(len(roll.cuts) for roll in laid), "cut")
            detail = f"under the bags, {count} laid out on "
            detail += f"a roll {job.length(laid[0].width_mm)} wide"
            wants.append(Want(name, "m", metres, _TENTH_M, detail, price))
        else:
            wants.append(_by_roll(job, role, name, amount * 1000, "for the bags"))
    return wants


def _shop(job: Job, batches: Sequence[Batch]) -> list[Want]:
    """Tape for the mould, cups, and the tins of which one is enough."""
    wants = []
    tins = []
    if any(rule.kind == "mould_preparation" for rule in job.stages):
        card = job.consumable("mould_tape")
        name = card.name if card else "Packing tape"
        wants.append(_by_roll(job, "mould_tape", name, mould_tape_mm(job), "on the mould face"))
        tins += ["wax", "release_coat"]
    if any(rule.kind == "dry_layup" for rule in job.stages):
        tins.append("spray_tack")
    for role in tins:
        if card := job.consumable(role):
            detail = "see what is left"
            wants.append(Want(card.name, "piece", 1.0, _WHOLE, detail, card.price, detail))
    if batches and (card := job.consumable("mixing_cup")):
        count = float(len(batches))
        wants.append(Want(card.name, "piece", count, _WHOLE, "one for each batch", card.price))
    return wants


def _by_roll(job: Job, role: str, name: str, length_mm: float, detail: str) -> Want:
    """Tape is sold by the roll and hose by the metre; the price is for that."""
    card = job.consumable(role)
    price = card.price if card is not None else 0.0
    if card is not None and card.roll_length_mm > 0 and role in ("sealant_tape", "mould_tape"):
        told = f"{length_mm / 1000:.1f} m {detail}"
        return Want(name, "roll", length_mm / card.roll_length_mm, _WHOLE, told, price)
    return Want(name, "m", length_mm / 1000, _TENTH_M, detail, price)


def own_share(job: Job, layout: Layout) -> float:
    """This part's share of the area placed on a unit."""
    areas = {item.id: _ring_area(item.outline_mm) for item in job.plan.items}
    own = total = 0.0
    for placement in layout.placements:
        area = areas.get(placement.item, 0.0)
        total += area
        if placement.item.rpartition("/")[0] in ("", job.spec.part.number):
            own += area
    return own / total if total > 0 else 0.0


def _ring_area(ring) -> float:
    from plybook.geometry.rings import signed_area_mm2

    return abs(signed_area_mm2(ring))


def _unit_price(job: Job, material: str) -> float:
    cards = job.spec.materials
    for shelf in (cards.cloths, cards.cores, cards.rods, cards.consumables):
        if material in shelf:
            return shelf[material].price
    return 0.0
