"""What has to be cut: pieces of all parts as items, gathered by material, with the stock for it.

Everything a packer must not meet is refused here, before any packing: shapes that are none,
pieces no unit can take in any allowed rotation, materials without stock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import Finding, GeometryError, SpecError, StockError, error, note, warning
from plybook.geometry.rings import canonical_ring
from plybook.nest.kits import TIGHTEST, in_kits
from plybook.nest.model import Item, Unit, UnitKind
from plybook.nest.placing import along_bar, fibre_rotations
from plybook.nest.race import packer_is_installed
from plybook.nest.refusals import refusal
from plybook.spec.model import (
    Cloth,
    Consumable,
    CoreStock,
    NestRules,
    PartSpec,
    RodStock,
    StockItem,
)
from plybook.stock import Shelf, on_shelf

if TYPE_CHECKING:  # the room beside it takes long to import and is not needed here
    from plybook.laminate.model import Piece

Material = Cloth | CoreStock | RodStock | Consumable
MOST_BOUGHT = 500
# the edit for a piece that fits no sheet; what else is cut has its own
_EDITS = {
    "core": "add a seam, or let the tool place them: `seams: to suit the sheets`; or put larger "
    "stock on the shelf",
    "insert": "put larger stock on the shelf, or make two inserts that meet",
}
# why cloth is not cut folded; common practice, no source
ONE_FACED = "its faces differ, and a piece that comes out face down is soon laid the wrong way up"
UNBALANCED = "its warp and weft differ, and a fold breaks or shifts them"
DUST_MM = 1e-3  # two faces of a panel closer than this are one cut


@dataclass(frozen=True)
class CutJob:
    """One part's pieces, to be cut from the shelf together with those of other parts."""

    spec: PartSpec
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Need:
    """Everything to be cut from one material.

    Attributes:
        kind: of its units.
        units: in the order of use; ones to buy last, as many as could be needed.
        gap_mm: clear distance between pieces.
        endless: units to buy have no fixed length.
    """

    material: str
    kind: UnitKind
    items: tuple[Item, ...]
    units: tuple[Unit, ...]
    gap_mm: float
    endless: bool
    rules: NestRules


def gather(jobs: Sequence[CutJob]) -> tuple[tuple[Need, ...], tuple[Finding, ...]]:
    """Items and units of every material, in the order of the jobs and their pieces.

    Raises:
        GeometryError: a piece has no sound outline.
        SpecError: a material has no stock at all.
        StockError: a piece fits no unit in any allowed rotation.
    """
    found: dict[str, list[tuple[CutJob, Piece]]] = {}
    for job in jobs:
        for piece in job.pieces:
            found.setdefault(piece.material, []).append((job, piece))
    stock = _all_stock(jobs)
    needs: list[Need] = []
    findings: list[Finding] = []
    wrong: list[Finding] = []
    bare: list[Finding] = []
    shapeless: list[Finding] = []
    for material_id, pieces in found.items():
        spec = pieces[0][0].spec
        material = _material(spec, material_id)
        if isinstance(material, Consumable) and not _can_lay_out(material, stock, material_id):
            continue
        shelf = on_shelf(stock, material_id, spec.nest.order)
        if shelf.is_empty:
            bare.append(_no_stock(material_id, material))
            continue
        items, bad = _items(pieces, material)
        shapeless += bad
        if bad:
            continue
        on_rolls = isinstance(material, (Cloth, Consumable))
        items = in_kits(items, jobs, jobs[0].spec.nest.kits if on_rolls else TIGHTEST)
        rules = replace(spec.nest, kits=jobs[0].spec.nest.kits)
        need = _need(material_id, material, items, shelf, rules)
        too_wide = _refused(pieces, need)
        if isinstance(material, Consumable) and too_wide:
            findings.append(_in_lengths(material_id, too_wide))
            continue
        wrong += too_wide
        needs.append(need)
    findings += _differing(jobs)
    if not packer_is_installed() and any(need.kind != "bar" for need in needs):
        findings.append(_without_packer())
    for problem, kind in ((shapeless, GeometryError), (bare, SpecError), (wrong, StockError)):
        if problem:
            raise kind([*shapeless, *bare, *wrong, *findings])
    return tuple(needs), tuple(findings)


def _all_stock(jobs: Sequence[CutJob]) -> list[StockItem]:
    found: dict[tuple[str, str], StockItem] = {}
    for job in jobs:
        for item in job.spec.stock:
            found.setdefault((item.material, item.id), item)
    return list(found.values())


def _material(spec: PartSpec, material: str) -> Material:
    m = spec.materials
    for kind in (m.cloths, m.cores, m.rods, m.consumables):
        if material in kind:
            return kind[material]
    raise SpecError(
        error("unknown-material", f"{material!r} is no cloth, core, rod or consumable of the spec")
    )


def not_folded(jobs: Sequence[CutJob], material: str) -> str:
    """Why a cloth or film is not cut folded, for both hands at once; "" where it may be."""
    spec = next(job.spec for job in jobs if any(p.material == material for p in job.pieces))
    known = _material(spec, material)
    if isinstance(known, Cloth) and not known.faces_alike:
        return ONE_FACED
    if isinstance(known, Cloth) and not known.axes_alike:
        return UNBALANCED
    return ""


def _can_lay_out(material: Consumable, stock: Sequence[StockItem], material_id: str) -> bool:
    return any(s.material == material_id for s in stock)


def _no_stock(material_id: str, material: Material) -> Finding:
    kind = {Cloth: "roll", CoreStock: "sheet", RodStock: "bar"}.get(type(material), "roll")
    return error(
        "no-stock",
        f"there is no stock of {material_id!r}",
        f"add a {kind} of it under `stock`, or one that is bought as needed",
        material.place,
    )


def _refused(pieces: Sequence[tuple[CutJob, Piece]], need: Need) -> list[Finding]:
    """The pieces that fit no unit of their material, each at the place of its layer."""
    items = {item.id: item for item in need.items}
    found = []
    for job, piece in pieces:
        item = items[_item_id(job.spec.part.number, piece)]
        why = refusal(item, piece.id, need.material, need.kind, need.units, job.spec.part.units)
        if why is not None:
            why = replace(why, help=_EDITS.get(piece.kind, why.help))
            places = tuple(layer.place for layer in job.spec.layers if layer.id == piece.layer)
            found.append(replace(why, places=places, layers=(piece.layer,)))
    return found


def _in_lengths(material_id: str, too_wide: Sequence[Finding]) -> Finding:
    layers = tuple(dict.fromkeys(name for f in too_wide for name in f.layers))
    return note(
        "film-in-lengths",
        f"{material_id} is narrower than {', '.join(layers)}: it is laid in lengths side by side "
        "and counted by area, not laid out",
        "",
        *dict.fromkeys(place for f in too_wide for place in f.places),
        layers=layers,
    )


def _without_packer() -> Finding:
    return warning(
        "no-irregular-packer",
        "the packer for outlines (spyrrow) is not installed: cloth is laid piece by piece or by "
        "bounding boxes, which takes 10 to 20 % more cloth, and more sheets may be needed",
        "pip install spyrrow",
    )


def _differing(jobs: Sequence[CutJob]) -> list[Finding]:
    first = jobs[0].spec.nest if jobs else None
    return [
        warning(
            "rules-differ",
            f"{job.spec.part.number} has other cutting rules than {jobs[0].spec.part.number}; "
            f"those of {jobs[0].spec.part.number} are used for what is cut together",
            "give parts that are cut together the same rules",
        )
        for job in jobs[1:]
        if job.spec.nest != first
    ]


# ---------------------------------------------------------------- items


def _items(pieces, material: Material) -> tuple[tuple[Item, ...], list[Finding]]:
    items, bad = [], []
    for job, piece in pieces:
        number = job.spec.part.number
        try:
            outline = _cut_from_stock(piece)
        except ValueError as problem:
            bad.append(
                error("unsound-piece", f"{number}/{piece.id}: {problem}", layers=(piece.layer,))
            )
            continue
        items.append(_item(number, piece, outline, material))
    return tuple(items), bad


def _cut_from_stock(piece: Piece) -> np.ndarray:
    """The outline the stock must hold: both faces of a bevelled panel together."""
    import shapely

    ring = canonical_ring(piece.outline_mm)
    shape = shapely.Polygon(ring)
    if not shape.is_valid or shape.area <= 0:
        raise ValueError(f"its outline is not sound ({shapely.is_valid_reason(shape)})")
    other = piece.bag_side_outline_mm
    if other is None:
        return ring
    both = shape.union(shapely.Polygon(canonical_ring(other)))
    if both.geom_type != "Polygon":
        raise ValueError("its two faces do not lie over each other")
    if both.area - shape.area < DUST_MM * shape.length:
        return ring
    both = both.simplify(DUST_MM)
    return canonical_ring(np.asarray(both.exterior.coords)[:-1])


def item_of(spec: PartSpec, piece: Piece) -> Item:
    """One piece of a part as the item that is placed.

    Raises:
        SpecError: its material is none of the spec's.
        ValueError: it has no sound outline.
    """
    material = _material(spec, piece.material)
    return _item(spec.part.number, piece, _cut_from_stock(piece), material)


def _item_id(number: str, piece: Piece) -> str:
    return f"{number}/{piece.id}"


def _item(number: str, piece: Piece, outline: np.ndarray, material: Material) -> Item:
    rotations: tuple[float, ...] | None
    flipped = None
    flips = piece.may_turn_over
    if isinstance(material, Cloth):
        every = 90.0 if material.axes_alike else 180.0
        rotations = fibre_rotations(piece.angle_deg, every)
        flipped = fibre_rotations(-piece.angle_deg, every)
        flips = flips and material.faces_alike
    elif isinstance(material, RodStock):
        rotations, flips = along_bar(outline), False
    elif isinstance(material, CoreStock) and material.grain:
        rotations = fibre_rotations(piece.angle_deg)
        flipped = fibre_rotations(-piece.angle_deg)
    elif isinstance(material, Consumable):
        rotations = fibre_rotations(piece.angle_deg, 90.0)
        flipped = fibre_rotations(-piece.angle_deg, 90.0)
    else:
        rotations = None
    return Item(
        id=_item_id(number, piece),
        outline_mm=outline,
        demand=piece.quantity,
        rotations_deg=rotations,
        may_flip=flips,
        group=piece.stage,
        part=number,
        flipped_rotations_deg=flipped if flips else None,
    )


# ---------------------------------------------------------------- units


def _need(material_id, material: Material, items, shelf: Shelf, rules: NestRules) -> Need:
    kind: UnitKind
    if isinstance(material, (Cloth, Consumable)):
        kind, gap = "roll", rules.knife_gap_mm
    elif isinstance(material, RodStock):
        kind, gap = "bar", rules.saw_kerf_mm
    else:
        kind, gap = "sheet", max(rules.sheet_gap_mm, rules.saw_kerf_mm)
    units = [_unit(s, material, s.id, False) for s in shelf.at_hand]
    endless = False
    for size in shelf.to_buy if kind != "sheet" else shelf.to_buy[::-1]:
        length = size.length_mm
        if kind == "roll" and length <= 0:
            endless = True
            length = 10.0 * sum(_span(i) * i.demand for i in items) + 1e4
            units.append(_unit(size, material, size.id, True, length))
            break
        count = _enough(items, size) if kind != "bar" else 1
        units += [_unit(size, material, f"{size.id}-{k + 1}", True) for k in range(count)]
    return Need(material_id, kind, tuple(items), tuple(units), gap, endless, rules)


def _span(item: Item) -> float:
    return float(np.hypot(*np.ptp(item.outline_mm, axis=0)))


def _enough(items: Sequence[Item], size: StockItem) -> int:
    """More units of one size than any sensible layout needs."""
    return min(sum(i.demand for i in items), MOST_BOUGHT)


def _unit(
    s: StockItem, material: Material, name: str, bought: bool, length_mm: float | None = None
) -> Unit:
    width, edge = s.width_mm, 0.0
    if isinstance(material, Cloth):
        roll = width or material.roll_width_mm
        selvedge = max(0.0, material.roll_width_mm - material.usable_width_mm)
        if s.outline_mm is None:
            width, edge = max(0.0, roll - selvedge), selvedge / 2
    elif isinstance(material, Consumable):
        width = width or material.roll_width_mm
    elif isinstance(material, RodStock):
        width = width or material.width_mm
    length = s.length_mm if length_mm is None else length_mm
    if isinstance(material, CoreStock) and not length:
        length, width = material.sheet_mm
    outline = None if s.outline_mm is None else canonical_ring(s.outline_mm)
    if outline is not None:
        length, width = (float(v) for v in outline.max(axis=0))
    zones = tuple(np.asarray(z, dtype=float) - (0.0, edge) for z in s.bad_zones_mm)
    return Unit(name, s.kind, s.material, length, width, outline, zones, bought, edge)
