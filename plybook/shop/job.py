"""One part at the bench: its spec, face, pieces and layouts, and which stage lays what.

Terms:
    laying stage: a stage that puts layers down (the others prepare, cure, free or measure).
    cured below: a laying stage that comes before another one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from plybook.diagnostics import Finding, error
from plybook.laminate.model import LaidLayer, Laminate, Piece
from plybook.nest.model import CutPlan, Unit
from plybook.shop.model import Budget
from plybook.shop.standard import LAYING_KINDS, STAGE_KINDS, standard
from plybook.spec.model import Consumable, Layer, PartSpec, Resin, StageRule, ThickenedResin
from plybook.surface.model import Face
from plybook.units import CLOTH, MM_PER_INCH, show_length, show_run

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True)
class Job:
    """Everything the bench side asks of the stages before it."""

    spec: PartSpec
    face: Face
    laminate: Laminate
    plan: CutPlan
    stages: tuple[StageRule, ...]
    stage_of_layer: dict[str, str]
    budget: Budget = Budget(0.0, (), ())
    has_setout: bool = True  # the book has a sheet to set the mould out by

    @cached_property
    def pieces(self) -> dict[str, Piece]:
        return {piece.id: piece for piece in self.laminate.pieces}

    @cached_property
    def spec_layers(self) -> dict[str, Layer]:
        return {layer.id: layer for layer in self.spec.layers}

    @cached_property
    def units_of_piece(self) -> dict[str, tuple[Unit, ...]]:
        """The stock units each piece of this part is cut from."""
        found: dict[str, dict[str, Unit]] = {}
        for layout in self.plan.layouts:
            for placement in layout.placements:
                part, _, piece = placement.item.rpartition("/")
                if part in ("", self.spec.part.number):
                    found.setdefault(piece, {})[layout.unit.id] = layout.unit
        return {piece: tuple(units.values()) for piece, units in found.items()}

    def title(self, rule: StageRule) -> str:
        """What a stage is called: as the spec says, else as its kind is."""
        kind = standard().stages.get(rule.kind)
        return rule.title or (kind.title if kind is not None else rule.id)

    def layers_of(self, stage: str) -> tuple[LaidLayer, ...]:
        """Layers a stage lays, from the mould face up."""
        return tuple(la for la in self.laminate.layers if self.stage_of_layer.get(la.id) == stage)

    def pieces_of(self, layer: LaidLayer) -> tuple[Piece, ...]:
        return tuple(self.pieces[name] for name in layer.pieces)

    def laying_before(self, stage: str) -> tuple[StageRule, ...]:
        """Stages with layers that come before this one, in order."""
        before = []
        for rule in self.stages:
            if rule.id == stage:
                break
            if self.layers_of(rule.id):
                before.append(rule)
        return tuple(before)

    def is_last_laying(self, stage: str) -> bool:
        laying = [rule.id for rule in self.stages if self.layers_of(rule.id)]
        return bool(laying) and laying[-1] == stage

    def next_kind(self, stage: str) -> str:
        """Kind of the stage after this one, "" at the end."""
        ids = [rule.id for rule in self.stages]
        place = ids.index(stage) + 1
        return self.stages[place].kind if place < len(ids) else ""

    def open_cores(self, stage: str) -> tuple[LaidLayer, ...]:
        """Cores laid in an earlier stage whose bag face this stage is the first to cover."""
        own = self.layers_of(stage)
        if not any(layer.kind == "ply" for layer in own):
            return ()
        below = self.laminate.layers[: self.laminate.layers.index(own[0])]
        cores: list[LaidLayer] = []
        for layer in reversed(below):
            if layer.kind == "ply":
                break
            if layer.kind == "core":
                cores.append(layer)
        return tuple(reversed(cores))

    def covers_core(self, stage: str) -> bool:
        """Whether cloth laid up to the end of this stage lies over a core."""
        over = False
        for layer in reversed(self.laminate.layers):
            laid = self.stage_of_layer.get(layer.id, "")
            if laid == stage or laid in {rule.id for rule in self.laying_before(stage)}:
                if layer.kind == "core":
                    return over
                over = over or layer.kind == "ply"
        return False

    def is_covered(self, layer: LaidLayer) -> bool:
        """Whether a ply of the same stage lies above a layer."""
        above = self.laminate.layers[self.laminate.layers.index(layer) + 1 :]
        stage = self.stage_of_layer.get(layer.id)
        return any(la.kind == "ply" and self.stage_of_layer.get(la.id) == stage for la in above)

    def own_peel_ply(self, stage: str) -> bool:
        """Whether the spec itself lays peel ply as the last layer of this stage."""
        layers = self.layers_of(stage)
        return bool(layers) and self.is_peel_ply(layers[-1])

    def films_to_strip(self, stage: str) -> tuple[Piece, ...]:
        """Pieces of the spec's own peel ply that come off before something is laid on a stage;
        the ones that stay on longer are left where they are."""
        return tuple(
            piece
            for layer in self.layers_of(stage)
            if self.is_peel_ply(layer)
            and getattr(self.spec_layers.get(layer.id), "removed_after", "") in ("", stage)
            for piece in self.pieces_of(layer)
        )

    def is_peel_ply(self, layer: LaidLayer) -> bool:
        material = self.spec.materials.consumables.get(layer.material)
        return layer.kind == "film" and material is not None and material.role == "peel_ply"

    def lays_peel_ply(self, stage: str) -> bool:
        """Whether the standard process covers this stage with peel ply: every cured face of cloth
        or rods gets it, because a later bond may land anywhere on it, unless the spec drops it."""
        if any(rule.id == stage and "peel_ply" in rule.drop_steps for rule in self.stages):
            return False
        layers = [la for la in self.layers_of(stage) if la.kind in ("ply", "rod")]
        return bool(layers) and not self.own_peel_ply(stage)

    def has_peel_ply(self, stage: str) -> bool:
        return self.lays_peel_ply(stage) or self.own_peel_ply(stage)

    def top(self, stage: str) -> str:
        """What lies on top when a stage is bagged, in words."""
        if self.lays_peel_ply(stage):
            return "the peel ply"
        return "the laminate and its peel ply" if self.own_peel_ply(stage) else "the core"

    def resin(self, rule: StageRule) -> Resin | None:
        """The resin of a stage: its own, else that of its cloth, else the only one there is."""
        resins = self.spec.materials.resins
        if rule.resin in resins:
            return resins[rule.resin]
        if rule.thickened in self.spec.materials.thickened:
            base = self.spec.materials.thickened[rule.thickened].resin
            if base in resins:
                return resins[base]
        for layer in self.layers_of(rule.id):
            cloth = self.spec.materials.cloths.get(layer.material)
            if cloth is not None and cloth.resin in resins:
                return resins[cloth.resin]
        return next(iter(resins.values()), None)

    def thickened(self, rule: StageRule) -> ThickenedResin | None:
        """The thickened resin of a stage: its own, else the first made from its resin."""
        known = self.spec.materials.thickened
        if rule.thickened in known:
            return known[rule.thickened]
        resin = self.resin(rule)
        return next((t for t in known.values() if resin is not None and t.resin == resin.id), None)

    def name(self, material: str) -> str:
        """The name of a material as its card has it."""
        return self.spec.materials.name_of(material)

    def consumable(self, role: str) -> Consumable | None:
        """The first consumable of the spec with a role."""
        cards = self.spec.materials.consumables.values()
        return next((card for card in cards if card.role == role), None)

    def region(self, layers: tuple[LaidLayer, ...]) -> BaseGeometry:
        """Where the pieces of some layers lie, trim allowance included, pattern mm."""
        ids = tuple(layer.id for layer in layers)
        if ids not in self._regions:
            self._regions[ids] = self._region(layers)
        return self._regions[ids]

    @cached_property
    def _regions(self) -> dict[tuple[str, ...], BaseGeometry]:
        return {}

    def _region(self, layers: tuple[LaidLayer, ...]) -> BaseGeometry:
        import shapely

        rings = [
            shapely.Polygon(piece.laid_outline_mm, piece.laid_holes_mm)
            for layer in layers
            for piece in self.pieces_of(layer)
            if len(piece.laid_outline_mm) >= 3
        ]
        regions = [layer.region for layer in layers if layer.region is not None]
        return shapely.union_all([g if g.is_valid else g.buffer(0) for g in (*rings, *regions)])

    def length(self, value_mm: float) -> str:
        """A length in the part's own unit."""
        return show_length(value_mm, self.spec.part.units)

    def placed(self, value_mm: float) -> str:
        """A length that was worked out, as a hand can place it."""
        return show_length(value_mm, self.spec.part.units, grain=CLOTH)

    def about(self, value_mm: float) -> str:
        """A margin that need not be met closely: whole millimetres, or eighths of an inch."""
        if self.spec.part.units == "in":
            value_mm = round(value_mm / MM_PER_INCH * 8) / 8 * MM_PER_INCH
        return self.length(round(value_mm) if self.spec.part.units == "mm" else value_mm)

    def run(self, value_mm: float) -> str:
        """A long length: metres, or feet where the part is in inches."""
        return show_run(value_mm, self.spec.part.units)


def make_job(
    spec: PartSpec, face: Face, laminate: Laminate, plan: CutPlan
) -> tuple[Job, list[Finding]]:
    """Sort layers into stages; where the spec has no stages, into the usual ones.

    Returns:
        The job and what is wrong: a layer without a stage, a stage of an unknown kind, or one
        that cannot lay.
    """
    rules, claims = spec.stages, {layer.id: layer.stage for layer in laminate.layers}
    if not rules:
        rules, claims = _usual_stages(spec, laminate)
    findings: list[Finding] = []
    by_id = {rule.id: rule for rule in rules}
    named = {layer: rule.id for rule in rules for layer in rule.layers}
    stage_of_layer: dict[str, str] = {}
    for rule in rules:
        if rule.kind not in STAGE_KINDS:
            findings.append(
                error(
                    "unknown-stage-kind",
                    f"stage {rule.id!r} is of the kind {rule.kind!r}, which does not exist",
                    f"use one of: {', '.join(STAGE_KINDS)}",
                    rule.place,
                )
            )
    for layer in laminate.layers:
        stage = claims.get(layer.id, "")
        stage = stage if stage in by_id else named.get(layer.id, "")
        source = next((la for la in spec.layers if la.id == layer.id), None)
        places = (source.place,) if source is not None else ()
        if not stage:
            findings.append(
                error(
                    "layer-without-stage",
                    f"no stage lays {layer.id}",
                    "name it under `layers` of the stage that lays it",
                    *places,
                    layers=(layer.id,),
                )
            )
            continue
        if by_id[stage].kind in STAGE_KINDS and by_id[stage].kind not in LAYING_KINDS:
            findings.append(
                error(
                    "stage-lays-nothing",
                    f"{layer.id} is laid in stage {stage!r}, but a {by_id[stage].kind} stage"
                    " lays nothing",
                    f"lay it in a stage of the kind {', '.join(LAYING_KINDS)}",
                    by_id[stage].place,
                    *places,
                    layers=(layer.id,),
                )
            )
        stage_of_layer[layer.id] = stage
    findings.extend(_order(laminate, rules, stage_of_layer))
    return Job(spec, face, laminate, plan, rules, stage_of_layer), findings


def _order(laminate: Laminate, rules, stage_of_layer) -> list[Finding]:
    """A stage may not lay something above a layer of a later stage."""
    position = {rule.id: n for n, rule in enumerate(rules)}
    place = {rule.id: rule.place for rule in rules}
    highest, holder, findings = -1, "", []
    for layer in laminate.layers:
        stage = stage_of_layer.get(layer.id)
        if stage is None:
            continue
        if position[stage] < highest:
            findings.append(
                error(
                    "stage-order",
                    f"{layer.id} lies above {holder} but its stage {stage!r} comes before"
                    f" {stage_of_layer[holder]!r}",
                    "put the stages in the order in which the layers lie, from the mould up",
                    place[stage],
                    layers=(layer.id, holder),
                )
            )
        elif position[stage] > highest:
            highest, holder = position[stage], layer.id
    return findings


def _usual_stages(spec: PartSpec, laminate: Laminate):
    """Wet laminate, core bond, wet laminate, with everything before and after them."""
    kinds = [layer.kind for layer in laminate.layers]
    core = [n for n, kind in enumerate(kinds) if kind in ("core", "insert")]
    first = core[0] if core else len(kinds)
    # after the first core, everything up to the first ply belongs to the core bond
    last = next((n for n in range(first, len(kinds)) if kinds[n] == "ply"), len(kinds))
    claims: dict[str, str] = {}
    rules = [StageRule("mould", "mould_preparation", "", ())]
    for name, kind, title, run in (
        ("skin", "wet_laminate", "Mould-side laminate" if core else "", range(0, first)),
        ("core", "core_bond", "", range(first, last)),
        ("cover", "wet_laminate", "Bag-side laminate", range(last, len(kinds))),
    ):
        ids = tuple(laminate.layers[n].id for n in run)
        if ids:
            rules.append(StageRule(name, kind, title, ids))
            claims.update(dict.fromkeys(ids, name))
    rules += [StageRule(kind, kind, "", ()) for kind in ("cure", "demould", "trim")]
    if spec.jig_checks:
        rules.append(StageRule("jig", "assembly_jig", "", ()))
    return tuple(rules), claims
