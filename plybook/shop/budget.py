"""Where the mass of a part comes from, and where the rest of what goes in stays.

kit = cloth, films, cores, inserts and rods as cut, dry
kit + resin and filler mixed = part + trimmings + peel ply + cups + lines and mesh

A ply weighs as its card says (`laminate/mass.py`), so nothing of it bleeds; what a bag takes out of
a bond is not known beforehand and is part of the tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import shapely

from plybook.shop.job import Job
from plybook.shop.mixing import Need
from plybook.shop.model import Batch, Budget, Quantity
from plybook.shop.resin import Thickening, infusion_mass
from plybook.spec.model import Film, StageRule

_ROWS = {  # what a row of the part holds, in the order of the table
    "ply": ("Cloth, dry", "within the net line, overlaps twice"),
    "core": ("Core, dry", "with its bevels and openings"),
    "insert": ("Inserts, dry", ""),
    "rod": ("Rods", ""),
    "film": ("Films that stay", ""),
    "ply resin": ("Resin in the cloth", "by the fibre share of each card"),
    "core resin": ("Resin in the open cells of the core", "both faces"),
    "insert resin": ("Resin on the inserts", "both faces"),
    "film resin": ("Resin in films that stay", ""),
    "bond": (
        "Resin of coats, seams and rods",
        "all of it stays; what the bag squeezes out is less",
    ),
    "filler": ("Filler of thickened resin", ""),
}
TRIMMINGS, CUPS_LEFT = "Trimmings, with their resin", "Left in the cups"
_LEAST_G = 0.05
_HEAVY_G = 1000.0  # a part as heavy is told in whole grams


Needs = Mapping[tuple[str, str], Need]  # of a stage, by use and layer


def mass_budget(job: Job, needs: Mapping[str, Needs]) -> Budget:
    """The masses of a part and of what does not stay in it, without the cups.

    What a row holds is within the net line; the mass of bonds follows the area that stays.

    Args:
        needs: of each stage, by its id, as from `stage_needs`.
    """
    kept = _kept(job)
    kinds = {layer.id: layer.kind for layer in job.laminate.layers}
    sums = dict.fromkeys(_ROWS, 0.0)
    for weighs in job.laminate.masses:
        kind = kinds[weighs.layer]
        sums[kind] += weighs.dry_g
        if weighs.resin_g:
            sums[f"{kind} resin"] += weighs.resin_g
    put_on = off = 0.0
    for rule in job.stages:
        for need, share, filler in _put_on(job, rule, needs[rule.id], kept):
            sums["bond"] += share * need.bond_g
            sums["filler"] += share * filler
            off += (1 - share) * (need.bond_g + filler)
            put_on += need.mass_g + filler
    decimals = 0 if math.fsum(sums.values()) >= _HEAVY_G else 1
    stays = [(*_ROWS[name], grams) for name, grams in sums.items()]
    # as cut: the mass within the net line by the share of area that lies there
    kit = math.fsum(weighs.dry_g / kept[weighs.layer] for weighs in job.laminate.masses)
    cut = math.fsum(weighs.total_g / kept[weighs.layer] for weighs in job.laminate.masses)
    goes = [(TRIMMINGS, "beyond the net line", off + max(0.0, cut - job.laminate.mass_g)),
            *_bled(job, needs)]  # fmt: skip
    return Budget(round(kit, decimals), _rows("mass", stays, decimals),
                  _rows("gone", goes, decimals), put_on, decimals)  # fmt: skip


def with_cups(budget: Budget, batches: Iterable[Batch]) -> Budget:
    """The budget with what stays in the cups: what is mixed and not put on."""
    mixed = math.fsum(cup.mass_g + cup.filler_g for cup in batches)
    left = _rows("gone", [(CUPS_LEFT, "all stages", mixed - budget.put_on_g)], budget.decimals)
    return replace(budget, goes=(*budget.goes, *left))


def _rows(
    group: str, rows: Iterable[tuple[str, str, float]], decimals: int
) -> tuple[Quantity, ...]:
    return tuple(
        Quantity(group, item, round(grams, decimals), "g", detail)
        for item, detail, grams in rows
        if grams >= _LEAST_G
    )


def _kept(job: Job) -> dict[str, float]:
    """The share of each layer's pieces that lies within the net line."""
    net = shapely.Polygon(job.face.outline_mm, job.face.holes_mm)
    found = {}
    for layer in job.laminate.layers:
        laid = [
            shapely.Polygon(p.laid_outline_mm, p.laid_holes_mm).buffer(0)
            for p in job.pieces_of(layer)
        ]
        whole = math.fsum(p.area for p in laid)
        kept = math.fsum(p.intersection(net).area for p in laid)
        found[layer.id] = kept / whole if kept > 0 else 1.0
    return found


def _put_on(
    job: Job, rule: StageRule, needs: Needs, kept: Mapping[str, float]
) -> Iterator[tuple[Need, float, float]]:
    """Each need of a stage with the share of it within the net line, and its filler, g."""
    thick, card = Thickening.of(job.thickened(rule)), job.resin(rule)
    for need in needs.values():
        filler = 0.0
        if need.thick and card is not None:
            _, filler = thick.filler_for(need.mass_g, card.density_g_cm3)
        yield need, kept.get(need.layer, 1.0), filler


def _bled(job: Job, needs: Mapping[str, Needs]) -> Iterator[tuple[str, str, float]]:
    """Resin that is taken away with what lies under the bag."""
    peeled = {la.id for la in job.spec.layers if isinstance(la, Film) and la.removed_after}
    films = math.fsum(
        need.mass_g
        for of_stage in needs.values()
        for need in of_stage.values()
        if need.use == "peel_ply" or need.layer in peeled
    )
    mesh = lines = 0.0
    for rule in job.stages:
        card = job.resin(rule)
        if ("infuse", "") in needs[rule.id] and card is not None:
            mass = infusion_mass(job, rule, card)
            films += mass.peel_ply_g
            mesh += mass.mesh_g
            lines += mass.lines_g + mass.trap_g + mass.margin_g
    yield "Resin in the peel ply", "taken off with it", films
    yield "Resin in the flow mesh", "taken off with it", mesh
    yield "Resin in lines and trap, and the margin", "", lines
