"""Stock: what is on the shelf, sizes filled in from the materials."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from plybook.diagnostics import Place
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.collect import Collector
from plybook.spec.model import Cloth, Consumable, CoreStock, Materials, Pack, RodStock, StockItem
from plybook.spec.outlines import crossing
from plybook.spec.packs import resolve_packs
from plybook.spec.written.materials import StockEntry
from plybook.units import mm

LEAST_ROLL_MM = 200.0  # a shorter rest of a roll is thrown away; common practice, no source


def resolve_stock(
    entries: list[StockEntry], materials: Materials, out: Collector
) -> tuple[tuple[StockItem, ...], tuple[Pack, ...]]:
    """Everything on the shelf, sizes filled in from the materials; packs by themselves."""
    seen: dict[str, Place] = {}
    items: list[StockItem] = []
    packs: list[StockEntry] = []
    for entry in entries:
        place = entry.place_of("id")
        if entry.id in seen:
            out.error(
                "duplicate-id",
                f"stock `{entry.id}` is listed twice",
                "give one of them another id",
                place,
                seen[entry.id],
            )
            continue
        seen[entry.id] = place
        if entry.pack and not (entry.roll or entry.sheet or entry.bar):
            packs.append(entry)
        elif item := _stock_item(entry, materials, out):
            items.append(item)
    count = len(items) + len(packs)
    if count > out.limits["stock-items"]:
        out.error("too-many", f"{count} stock entries", out.limits.why("stock-items"))
    return tuple(items), resolve_packs(packs, materials, out)


def _stock_item(entry: StockEntry, materials: Materials, out: Collector) -> StockItem | None:
    kinds: tuple[Literal["roll", "sheet", "bar"], ...] = ("roll", "sheet", "bar")
    given = [kind for kind in kinds if getattr(entry, kind)]
    if len(given) != 1 or entry.pack:
        out.error(
            "unknown-stock",
            f"stock `{entry.id}` names {len(given) + bool(entry.pack)} of roll, sheet, bar and "
            "pack, expected one",
            "for example `roll: <cloth id>`",
            entry.here,
        )
        return None
    kind = given[0]
    name = getattr(entry, kind)
    shelves: dict[str, Mapping[str, Cloth | Consumable | CoreStock | RodStock]] = {
        "roll": {**materials.cloths, **materials.consumables},
        "sheet": materials.cores,
        "bar": materials.rods,
    }
    known = shelves[kind]
    what = {"roll": "cloth or consumable", "sheet": "core material", "bar": "rod"}[kind]
    if name not in known:
        out.unknown(what, name, known, entry.place_of(kind))
        return None
    material = known[name]
    length, width = _sizes(kind, material, entry)
    for label, value in (("length", length), ("width", width)):
        if not value:
            out.error(
                "missing",
                f"stock `{entry.id}` has no {label} and `{name}` gives none",
                f"add `{label}:`",
                entry.here,
            )
            return None
    if kind == "roll" and entry.length and entry.length < LEAST_ROLL_MM:
        out.warning(
            "implausible-stock",
            f"the roll `{entry.id}` holds {mm(entry.length):g} of `{name}`",
            "is the unit right? for metres write the unit: `length: 20 m`",
            entry.place_of("length"),
        )
    outline, corner = None, 0.0  # a remnant is moved to its own corner, bad zones with it
    if entry.outline is not None:
        outline = _zone(entry.outline, entry.place_of("outline"), out)
        if outline is None:
            return None
        low, high = outline.min(axis=0), outline.max(axis=0)
        outline, corner = outline - low, low
        length, width = (float(v) for v in high - low)
    zones = []
    for n, zone in enumerate(entry.bad_zones):
        ring = _zone(zone, entry.place_of("bad_zones", n), out)
        if ring is not None:
            zones.append(ring - corner)
    return StockItem(
        entry.id,
        kind,
        name,
        length,
        width,
        entry.quantity,
        outline,
        tuple(zones),
        entry.received or "",
        entry.here,
        entry.lot,
        entry.use_by or "",
    )


def _sizes(kind: str, material, entry: StockEntry) -> tuple[float, float]:
    if kind == "roll":
        own_length = getattr(material, "roll_length_mm", 0.0)
        return entry.length or own_length or 50_000.0, entry.width or material.roll_width_mm
    if kind == "sheet":
        return entry.length or material.sheet_mm[0], entry.width or material.sheet_mm[1]
    return entry.length or max(material.supply_mm, default=0.0), entry.width or material.width_mm


def _zone(points, place: Place, out: Collector) -> np.ndarray | None:
    if len(points) > out.limits["stock-points"]:
        out.error(
            "too-many",
            f"an outline of {len(points)} points",
            f"measure its corners; {out.limits.why('stock-points')}",
            place,
        )
        return None
    ring = np.array(points, dtype=float)
    if len(ring) < 3:
        out.error(
            "outline-too-short",
            f"an outline of {len(ring)} points, expected 3 or more",
            "list its corners",
            place,
        )
        return None
    if found := crossing(ring):
        out.error("outline-crosses-itself", found.message, found.help, place)
        return None
    return ring if signed_area_mm2(ring) > 0 else ring[::-1].copy()
