"""Trade rules on cores and peel plies."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from plybook.diagnostics import Severity
from plybook.laminate.bevel import bevel_run_mm
from plybook.laminate.rule_case import Breach, Case, names
from plybook.laminate.rulebook import Rule
from plybook.laminate.seams import seam_points
from plybook.laminate.sides import name_sides
from plybook.spec.model import HOLES, Core, Film, Rod
from plybook.units import mm

_LEAST_LENGTH_MM = 20.0
_LEAST_OVERLAP_MM2 = 100.0
_HOLLOW = ("bubble", "balloon", "sphere")  # in what such fillers are called
_INFUSED = ("dry_layup",)  # kinds of stages whose layers are infused


def _cores(case: Case) -> list[tuple[Core, shapely.Geometry]]:
    written = [(case.written.get(x.id), x.region) for x in case.layers]
    return [(core, region) for core, region in written if isinstance(core, Core)]


def core_bevel_steep(case: Case, rule: Rule) -> Iterator[Breach]:
    """Every bevel against the published limit; a warning only past the declared choice."""
    chosen = case.spec.choices.core_bevel_deg
    for core, _ in _cores(case):
        angles = [t.angle_deg for _, t in core.edges if t.kind == "bevel"]
        declared = case.spec.choices.core_bevel_declared
        limit = max(rule.value, chosen if declared else 0.0)
        if not angles or max(angles) <= limit + 1e-9:
            continue
        steepest, t = max(angles), core.thickness_mm
        choice = f"the declared choice is {chosen:g} deg" if declared else "no choice is declared"
        yield Breach(
            f"core {core.id} is bevelled at {steepest:g} deg (a ramp of "
            f"{mm(bevel_run_mm(t, steepest)):.1f}); the published limit is {rule.value:g} deg "
            f"({mm(bevel_run_mm(t, rule.value)):.1f}), practice is 45 deg "
            f"({mm(bevel_run_mm(t, 45.0)):.1f}); {choice}",
            (core.id,),
            Severity.WARNING if steepest > chosen + 1e-9 else None,
        )


def core_square_edge(case: Case, rule: Rule) -> Iterator[Breach]:
    """Square edges that do not lie on the net line."""
    for core, region in _cores(case):
        beside = [other.buffer(rule.value) for other in _beside(case, core, region)]
        open_sides = []
        for name, line in name_sides(region, case.face).lines.items():
            if _slopes(core, name):
                continue
            inside = line.difference(case.net.boundary.buffer(rule.value))
            inside = inside.difference(shapely.union_all(beside))
            if inside.length > _LEAST_LENGTH_MM:
                open_sides.append((name, inside))
        if open_sides:
            where = _at_sides([name for name, _ in open_sides])
            yield Breach(
                f"core {core.id} ends square inside the part {where}, "
                f"{mm(core.thickness_mm):g} high, at {case.where(open_sides[0][1])}",
                (core.id,),
            )


def _at_sides(sides: list[str]) -> str:
    edges = [side for side in sides if side != HOLES]
    said = [f"on its {names(edges)} side"] if edges else []
    said += ["round an opening (`holes: bevel 45` would slope it)"] if HOLES in sides else []
    return " and ".join(said)


def _slopes(core: Core, side: str) -> bool:
    return core.cuts.get(side, core.cuts[""]).kind in ("bevel", "scarf")


def _beside(case: Case, core: Core, region: shapely.Geometry) -> list[shapely.Geometry]:
    """Regions of the other cores that lie beside a core, not over or under it."""
    others = [other for one, other in _cores(case) if one.id != core.id]
    return [x for x in others if x.intersection(region).area < _LEAST_OVERLAP_MM2]


def core_groove(case: Case, rule: Rule) -> Iterator[Breach]:
    """Bevelled sides of two cores that meet."""
    cores = _cores(case)
    for n, (core, region) in enumerate(cores):
        for other, beside in cores[n + 1 :]:
            if region.intersection(beside).area >= _LEAST_OVERLAP_MM2:
                continue
            meeting = _meeting(core, region, beside, case, rule.value)
            meeting += _meeting(other, beside, region, case, rule.value)
            bevelled = [(x, side) for x, side, _ in meeting if _slopes(x, side)]
            if not bevelled:
                continue
            width = sum(
                bevel_run_mm(x.thickness_mm, x.cuts.get(side, x.cuts[""]).angle_deg)
                for x, side in bevelled
            )
            depth = min(core.thickness_mm, other.thickness_mm)
            step = abs(core.thickness_mm - other.thickness_mm)
            fair = f", and fair the step of {mm(step):g} that stays" if step > 0.05 else ""
            edit = " and ".join(f"`{side}: square` to the edges of {x.id}" for x, side in bevelled)
            yield Breach(
                f"cores {core.id} and {other.id} meet at {case.where(meeting[0][2])} and are "
                f"bevelled there: between them lies a groove {mm(width):.1f} wide and "
                f"{mm(depth):g} deep; add {edit}{fair}",
                (core.id, other.id),
            )


def _meeting(
    core: Core, region: shapely.Geometry, beside: shapely.Geometry, case: Case, within_mm: float
) -> list[tuple[Core, str, shapely.Geometry]]:
    """Sides of a core that run along another one."""
    near = beside.buffer(within_mm)
    lines = name_sides(region, case.face).lines.items()
    along = [(core, name, line.intersection(near)) for name, line in lines]
    return [one for one in along if one[2].length > _LEAST_LENGTH_MM]


def core_gap_wide(case: Case, rule: Rule) -> Iterator[Breach]:
    """Clearance round inserts."""
    for core, _ in _cores(case):
        for cut_out in core.cut_outs:
            if cut_out.clearance_mm >= rule.value - 1e-9:
                yield Breach(
                    f"insert {cut_out.insert} stands {mm(cut_out.clearance_mm):g} clear of core "
                    f"{core.id} all round; gaps stay under {mm(rule.value):g}",
                    (core.id, cut_out.insert),
                )


def seam_bevelled(case: Case, rule: Rule) -> Iterator[Breach]:
    """Seams cut as a bevel."""
    for core, _ in _cores(case):
        bad = [seam.id for seam in core.seams if seam.treatment.kind == "bevel"]
        if core.seams_to_suit_sheets and core.seam_default.kind == "bevel":
            bad.append("chosen by the tool")
        if bad:
            yield Breach(
                f"core {core.id}: {'seams' if len(bad) > 1 else 'seam'} {names(bad)} "
                f"{'are' if len(bad) > 1 else 'is'} bevelled and would leave a groove",
                (core.id,),
            )


def seam_at_hardpoint(case: Case, rule: Rule) -> Iterator[Breach]:
    """Seams given by hand against the inserts of their core."""
    for core, region in _cores(case):
        for seam in core.seams:
            line = shapely.LineString(seam_points(seam.line, case.face)).intersection(region)
            for cut_out in core.cut_outs:
                if cut_out.insert not in case.order or line.is_empty:
                    continue
                block = case.layers[case.order[cut_out.insert]].region
                apart = line.distance(block)
                if apart < rule.value - 1e-6:
                    place = "runs through" if apart == 0 else f"runs {mm(apart):.0f} from"
                    yield Breach(
                        f"seam {seam.id} of core {core.id} {place} hardpoint {cut_out.insert} at "
                        f"{case.where(block)}",
                        (core.id, cut_out.insert),
                    )


def core_not_perforated(case: Case, rule: Rule) -> Iterator[Breach]:
    """Plain cores laid in a stage that is infused."""
    infused = {stage.id for stage in case.spec.stages if stage.kind in _INFUSED}
    for core, _ in _cores(case):
        if core.stage in infused and not core.perforate:
            yield Breach(
                f"core {core.id} is infused in stage {core.stage} and is not perforated",
                (core.id,),
            )


def rod_light_filler(case: Case, rule: Rule) -> Iterator[Breach]:
    """Rods laid with a thickened resin whose filler, by its name, is hollow spheres."""
    for stage in case.spec.stages:
        paste = case.spec.materials.thickened.get(stage.thickened)
        rods = [id for id in stage.layers if isinstance(case.written.get(id), Rod)]
        if paste and rods and any(word in paste.filler.casefold() for word in _HOLLOW):
            yield Breach(
                f"{names(rods)} would be bonded in stage {stage.id} with {paste.name}, whose "
                f"filler is {paste.filler}",
                tuple(rods),
            )


def peel_ply_buried(case: Case, rule: Rule) -> Iterator[Breach]:
    """Layers on a peel ply that is still there when they are laid."""
    number = {stage.id: i for i, stage in enumerate(case.spec.stages)}
    for land in case.bond_lands:
        film = case.written[land.id]
        assert isinstance(film, Film)
        gone = number.get(film.removed_after)
        if gone is None:
            continue
        on_top = []
        for layer in case.layers[case.order[land.id] + 1 :]:
            if number.get(layer.stage, gone + 1) > gone or layer in case.bond_lands:
                continue
            shared = layer.region.intersection(land.region)
            if shared.area > _LEAST_OVERLAP_MM2:
                on_top.append((layer.id, shared))
        if on_top:
            ids = tuple(i for i, _ in on_top)
            yield Breach(
                f"{names(ids)} would lie on peel ply {land.id} at {case.where(on_top[0][1])}, "
                f"which is pulled after stage {film.removed_after}",
                (land.id, *ids),
            )


def peel_ply_none(case: Case, rule: Rule) -> Iterator[Breach]:
    """A part that is assembled later without a bond land anywhere."""
    later = [stage for stage in case.spec.stages if stage.kind == "assembly_jig"]
    if later and case.plies and not case.bond_lands:
        yield Breach(
            f"stage {later[0].id} bonds this part and no peel ply keeps a face for it",
            (case.plies[-1].id,),
        )


CHECKS = {
    "core-bevel-steep": core_bevel_steep,
    "core-square-edge": core_square_edge,
    "core-groove": core_groove,
    "core-gap-wide": core_gap_wide,
    "seam-bevelled": seam_bevelled,
    "seam-at-hardpoint": seam_at_hardpoint,
    "core-not-perforated": core_not_perforated,
    "rod-light-filler": rod_light_filler,
    "peel-ply-buried": peel_ply_buried,
    "peel-ply-none": peel_ply_none,
}
