"""What lies on the shelf of things that are wanted: it is taken first, what is short is bought.

Terms:
    counted: a roll counts with its whole length where it is as wide as its material's and as long
        as the longest cut that is wanted of it; a pack counts until the last day it may be used,
        by the date of the revision, which is the only date there is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from plybook.diagnostics import Finding, warning
from plybook.shop.job import Job
from plybook.shop.model import BagRoll, OnShelf, Want
from plybook.spec.model import Pack, StockItem

_NEAR_MM = 0.5  # a width is measured with a tape


def on_shelf(job: Job, wants: Sequence[Want], rolls: Sequence[BagRoll]) -> tuple[OnShelf, ...]:
    """What of the shelf counts towards what a part wants; what must be used first stands first."""
    things = {(want.item, want.unit) for want in wants}
    found = [one for one in (*_packs(job), *_rolls(job, rolls)) if (one.item, one.unit) in things]
    return tuple(sorted(found, key=last_day))


def last_day(thing: OnShelf) -> str:
    """The day until which a thing may be used, to sort by; what has none comes last."""
    return thing.use_by or "9999"


def too_old(job: Job) -> Iterator[Finding]:
    """A warning for each thing on the shelf whose last day was before the date of the part."""
    things: list[Pack | StockItem] = [*job.spec.packs, *job.spec.stock]
    for thing in things:
        if not _good(thing.use_by, job):
            yield warning(
                "stock-too-old",
                f"{thing.id} was to be used by {thing.use_by}; the part is of {job.spec.part.date}",
                "have it tested and write its new date, or take it off the shelf",
                thing.place,
            )


def _good(use_by: str, job: Job) -> bool:
    return not (use_by and job.spec.part.date and use_by < job.spec.part.date)


def _packs(job: Job) -> Iterator[OnShelf]:
    for pack in job.spec.packs:
        if _good(pack.use_by, job):
            amount = round(pack.amount, 6)
            yield OnShelf(pack.id, pack.item, pack.unit, amount, pack.lot, pack.use_by)


def _rolls(job: Job, rolls: Sequence[BagRoll]) -> Iterator[OnShelf]:
    """Rolls of what goes under bags, as far as the cut plan leaves them."""
    longest: dict[str, float] = {}
    for roll in rolls:
        reach = max((cut.along_mm for cut in roll.cuts), default=0.0)
        longest[roll.name] = max(longest.get(roll.name, 0.0), reach)
    used = {layout.unit.id: layout.used_length_mm for layout in job.plan.layouts}
    for item in job.spec.stock:
        card = job.spec.materials.consumables.get(item.material)
        if item.kind != "roll" or card is None or not item.quantity or not _good(item.use_by, job):
            continue
        name = card.name or card.id
        wide = item.width_mm >= card.roll_width_mm - _NEAR_MM and item.outline_mm is None
        left = item.length_mm - used.get(item.id, 0.0)
        if wide and left >= longest.get(name, 0.0) > 0:
            metres = round(left / 1000 + (item.quantity - 1) * item.length_mm / 1000, 6)
            yield OnShelf(item.id, name, "m", metres, item.lot, item.use_by)


def taken_words(shelf: Sequence[OnShelf], exact: float) -> str:
    """How much of what is wanted comes off the shelf, and from what; "" where nothing does."""
    named, left = [], exact
    for one in shelf:
        if left <= 0:
            break
        left -= one.amount
        more = [f"lot {one.lot}"] * bool(one.lot) + [f"use by {one.use_by}"] * bool(one.use_by)
        named.append(f"{one.id} ({', '.join(more)})" if more else one.id)
    taken = round(exact - max(0.0, left), 3)
    if not named:
        return ""
    many = "s" if shelf[0].unit in ("piece", "roll") and taken != 1.0 else ""
    return f"{taken:g} {shelf[0].unit}{many} off the shelf: {', '.join(named)}"
