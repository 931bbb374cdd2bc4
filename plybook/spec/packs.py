"""Packs on the shelf: tins of resin, rolls of tape, boxes of cups, each in what it is sold by."""

from __future__ import annotations

from plybook.spec.collect import Collector
from plybook.spec.model import Consumable, Materials, Pack, Resin, ThickenedResin
from plybook.spec.written.materials import StockEntry

_BY_ROLL = ("sealant_tape", "mould_tape")  # wanted by the roll


def resolve_packs(
    entries: list[StockEntry], materials: Materials, out: Collector
) -> tuple[Pack, ...]:
    """The packs among what is on the shelf.

    Args:
        entries: of `stock` that say `pack`.
        materials: whose consumables, resins and thickened resins may be meant.
        out: takes what is wrong.
    """
    return tuple(pack for entry in entries if (pack := _pack(entry, materials, out)) is not None)


def _pack(entry: StockEntry, materials: Materials, out: Collector) -> Pack | None:
    known: dict[str, Consumable | Resin | ThickenedResin] = {
        **materials.consumables, **materials.resins, **materials.thickened}  # fmt: skip
    name = entry.pack or ""
    if name not in known:
        out.unknown("consumable", name, known, entry.place_of("pack"))
        return None
    card, unit, each = known[name], "piece", 1.0
    item = card.name or card.id
    if not isinstance(card, Consumable):
        unit, each = "kg", (entry.mass or 0.0) / 1000
    elif entry.length and card.role in _BY_ROLL and card.roll_length_mm > 0:
        unit, each = "roll", entry.length / card.roll_length_mm
    elif entry.length:
        unit, each = "m", entry.length / 1000
    if isinstance(card, Resin):
        parts = [part for part, _ in card.parts]
        if entry.part not in parts:
            out.error(
                "unknown-word",
                f"stock `{entry.id}`: part `{entry.part}` is none of `{name}`",
                f"add `part:` with one of {', '.join(parts)}",
                entry.here,
            )
            return None
        item = f"{item}, {entry.part}"
    elif isinstance(card, ThickenedResin):
        item = card.filler
    if each <= 0:
        out.error(
            "missing",
            f"stock `{entry.id}` does not say how much of `{name}` it holds",
            "add `mass:`, as in `mass: 3 kg`",
            entry.here,
        )
        return None
    if entry.quantity == 0:
        out.error(
            "wrong-kind",
            f"stock `{entry.id}`: a pack is on the shelf or is not; what is short is bought",
            "write how many there are",
            entry.place_of("quantity"),
        )
        return None
    return Pack(
        entry.id, name, item, unit, each * entry.quantity, entry.lot, entry.use_by or "", entry.here
    )
