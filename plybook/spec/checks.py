"""What a spec can be held against by itself: used, laid, as thick as declared."""

from __future__ import annotations

from plybook.spec.collect import Collector
from plybook.spec.model import Cloth, Core, CoreStock, Film, Insert, PartSpec, Ply, Rod
from plybook.spec.written.files import PartFile
from plybook.units import mm

THICKNESS_TOLERANCE = 0.10  # of the declared thickness; common practice, no source


def check_meaning(spec: PartSpec, written: PartFile, out: Collector) -> None:
    """Findings about the whole spec."""
    _unused(spec, written, out)
    _stocked(spec, out)
    _thickness(spec, written, out)


def _used(spec: PartSpec) -> set[str]:
    used = {layer.material for layer in spec.layers}
    for cloth in spec.materials.cloths.values():
        if cloth.id in used and cloth.resin:
            used.add(cloth.resin)
    for rule in spec.stages:
        used |= {rule.resin, rule.thickened}
    for thick in spec.materials.thickened.values():
        if thick.id in used:
            used.add(thick.resin)
    return used


def _unused(spec: PartSpec, written: PartFile, out: Collector) -> None:
    """A material written in the part spec itself and never used (shared shelves hold more)."""
    if written.materials is None:
        return
    used = _used(spec)
    for kind in ("cloths", "cores", "rods", "resins", "thickened"):
        for name in getattr(written.materials, kind):
            if name not in used:
                place = written.materials.entry_place(kind, name)
                out.warning(
                    "unused-material",
                    f"`{name}` is defined and never used",
                    "delete it, or check the layers' spelling",
                    place,
                )


def _stocked(spec: PartSpec, out: Collector) -> None:
    """Everything that is cut needs something to be cut from."""
    stocked = {item.material for item in spec.stock}
    told: set[str] = set()
    for layer in spec.layers:
        if isinstance(layer, Film) or layer.material in stocked or layer.material in told:
            continue
        told.add(layer.material)
        word = {Ply: "roll", Core: "sheet", Insert: "sheet", Rod: "bar"}[type(layer)]
        out.error(
            "no-stock",
            f"there is no {word} of `{layer.material}` to cut `{layer.id}` from",
            f"add to stock: {{id: {layer.material}-1, {word}: {layer.material}, "
            "quantity: as needed}",
            layer.place,
            layers=(layer.id,),
        )


def _thickness(spec: PartSpec, written: PartFile, out: Collector) -> None:
    declared = spec.choices.declared_thickness_mm
    if declared is None:
        return
    total = 0.0
    for layer in spec.layers:
        if isinstance(layer, Ply):
            cloth: Cloth = spec.materials.cloths[layer.material]
            total += cloth.thickness_mm
        elif isinstance(layer, Core):
            core: CoreStock = spec.materials.cores[layer.material]
            total += core.thickness_mm
    if abs(total - declared) > THICKNESS_TOLERANCE * declared:
        place = written.choices.place_of("thickness") if written.choices else written.here
        out.warning(
            "thickness-differs",
            f"the layers add up to {mm(total):.2f} where all of them "
            f"lie, declared are {mm(declared):.2f} (tolerance "
            f"{THICKNESS_TOLERANCE:.0%})",
            "check fibre shares and the declared figure",
            place,
        )
