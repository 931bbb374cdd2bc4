"""How much resin each step wants.

cloth          as in its mass (`laminate/mass.py`), per square metre
core face      the core's own take-up; a neat coat on the laminate under it
thickened      the coat on the core face, seams and walls; filler by loose volume
peel ply       its own uptake
cup            what stays in it
infusion       part + flow mesh + lines + trap, and a margin
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from plybook.laminate.mass import resin_in_cloth_g_m2
from plybook.laminate.model import LaidLayer, Piece
from plybook.shop.bagging import laid_so_far, margins
from plybook.shop.infusion import line_lengths_mm
from plybook.shop.job import Job
from plybook.shop.mixing import Need
from plybook.shop.outlines import polyline_length_mm, ring_length_mm
from plybook.shop.standard import figure
from plybook.shop.words import listed
from plybook.spec.model import Consumable, Resin, StageRule, ThickenedResin


@dataclass(frozen=True)
class Thickening:
    """Filler for thickened resin: material, loose volume per resin volume, loose density."""

    filler: str
    ratio: float
    filler_g_cm3: float
    coat_g_m2: float

    @staticmethod
    def of(card: ThickenedResin | None) -> Thickening:
        """From the material card, or the usual silica where there is none."""
        if card is None:
            return Thickening(
                "fumed silica",
                figure("filler_ratio"),
                figure("filler_density"),
                figure("thick_coat"),
            )
        return Thickening(
            card.filler or "fumed silica", card.volume_ratio, card.filler_g_cm3, card.coat_g_m2
        )

    def filler_for(self, resin_g: float, resin_g_cm3: float) -> tuple[float, float]:
        """Loose filler for some resin: (millilitres, grams)."""
        volume_ml = self.ratio * resin_g / resin_g_cm3
        return volume_ml, volume_ml * self.filler_g_cm3


def area_m2(pieces: Sequence[Piece]) -> float:
    """Area of pieces as cut, all copies."""
    return math.fsum(piece.area_mm2 * piece.quantity for piece in pieces) / 1e6


def seam_length_mm(pieces: Sequence[Piece]) -> float:
    """Length of the seams between core panels; each seam is an edge of two panels."""
    twice = math.fsum(
        polyline_length_mm(edge.points_mm) for piece in pieces for edge in piece.edges if edge.mate
    )
    return twice / 2


def stage_needs(job: Job, rule: StageRule) -> dict[tuple[str, str], Need]:
    """What each step of a laying stage wants, by (use, layer id)."""
    resin = job.resin(rule)
    layers = job.layers_of(rule.id)
    if resin is None or not layers:
        return {}
    rate_m2_s = job.spec.workshop.wetting_m2_h * max(1, job.spec.workshop.people) / 3600
    thick = Thickening.of(job.thickened(rule))
    needs: dict[tuple[str, str], Need] = {}

    def want(
        use: str, layer: str, what: str, mass_g: float, area: float, is_thick=False, bond_g=0.0
    ) -> None:
        if mass_g > 0:
            seconds = area / rate_m2_s if rate_m2_s > 0 else 0.0
            held = mass_g if is_thick else bond_g
            needs[use, layer] = Need(use, layer, what, mass_g, area, seconds, is_thick, held)

    if rule.kind == "dry_layup":
        mass = infusion_mass(job, rule, resin)
        want("infuse", "", "infusion", mass.total_g, 0.0, bond_g=mass.bonds_g)
        return needs

    for layer in job.open_cores(rule.id):
        area = area_m2(job.pieces_of(layer))
        before = needs.get(("prime", ""))
        grams = _uptake(job, layer) * area
        if before is not None:
            grams, area = grams + before.mass_g, area + before.area_m2
        want("prime", "", "core, bag side", grams, area)

    wetted: list[tuple[str, float, float]] = []
    for layer in layers:
        pieces = job.pieces_of(layer)
        area = area_m2(pieces)
        if layer.kind == "ply":
            cloth = job.spec.materials.cloths.get(layer.material)
            if cloth is not None:
                grams = resin_in_cloth_g_m2(cloth, resin.density_g_cm3) * area
                want("lay", layer.id, layer.id, grams, area)
        elif layer.kind == "film":
            film = job.spec.materials.consumables.get(layer.material)
            uptake = film.resin_uptake_g_m2 if film is not None else 0.0
            want("lay", layer.id, layer.id, uptake * area, area)
        elif layer.kind == "rod":
            bedded = rule.kind == "core_bond"  # in thickened resin on a cured face
            grams = figure("rod_wetting") * rod_surface_m2(job, pieces)
            if bedded:
                wetted.append((layer.id, grams + figure("face_wetting") * area, area))
                grams = thick.coat_g_m2 * area
            want("lay", layer.id, layer.id, grams, area, bedded, grams)
        elif layer.kind == "core":
            grams = seam_resin_g(layer, pieces, resin)
            what, wet = f"the seams of {layer.id}", 0.0
            if rule.kind == "core_bond":
                face = figure("face_wetting") * area
                neat = _uptake(job, layer) * area + face
                want("neat", layer.id, f"neat coat for {layer.id}", neat, area, bond_g=face)
                coat = thick.coat_g_m2 * area
                want("bond", layer.id, f"thickened coat for {layer.id}", coat, area, True)
            else:  # wet in wet: both sides where cloth of the same stage goes over it
                faces = 2 if job.is_covered(layer) else 1
                neat = faces * _uptake(job, layer) * area
                want("neat", layer.id, f"neat coat for {layer.id}", neat, area)
                grams += thick.coat_g_m2 * area
                what, wet = f"thickened coat for {layer.id}", area
            want("lay", layer.id, what, grams, wet, True)
        elif layer.kind == "insert":
            walls = (
                math.fsum(
                    ring_length_mm(p.outline_mm) * p.thickness_mm * p.quantity for p in pieces
                )
                / 1e6
            )
            want("lay", layer.id, layer.id, thick.coat_g_m2 * (area + walls), area, True)

    if wetted:
        grams = math.fsum(mass for _, mass, _ in wetted)
        area = math.fsum(face for _, _, face in wetted)
        what = f"wetting {listed(name for name, _, _ in wetted)}"
        want("wet", "", what, grams, area, bond_g=grams)
    if job.lays_peel_ply(rule.id):
        cloth_layers = tuple(la for la in layers if la.kind in ("ply", "rod"))
        area = job.region(cloth_layers).area / 1e6
        want("peel_ply", "", "peel ply", peel_ply_of(job).resin_uptake_g_m2 * area, area)
    return needs


@dataclass(frozen=True)
class Infusion:
    """Where the resin of an infusion goes, grams."""

    cloth_g: float
    core_g: float
    bonds_g: float  # seams of the core, faces of rods
    peel_ply_g: float
    mesh_g: float
    lines_g: float
    trap_g: float
    margin_g: float

    @property
    def total_g(self) -> float:
        return math.fsum(
            (self.cloth_g, self.core_g, self.bonds_g, self.peel_ply_g, self.mesh_g, self.lines_g,
             self.trap_g, self.margin_g)
        )  # fmt: skip

    def split(self) -> str:
        """The shares in words, the ones that are zero left out."""
        rows = (
            ("cloth", self.cloth_g), ("core and rods", self.core_g + self.bonds_g),
            ("peel ply", self.peel_ply_g),
            ("flow mesh", self.mesh_g), ("lines", self.lines_g), ("trap", self.trap_g),
            ("margin", self.margin_g),
        )  # fmt: skip
        return ", ".join(f"{name} {grams:.0f} g" for name, grams in rows if grams >= 0.5)


def infusion_mass(job: Job, rule: StageRule, resin: Resin) -> Infusion:
    """Resin for one infusion: part, mesh, lines, trap and the fill margin."""
    cloth = core = bonds = film = 0.0
    layers = job.layers_of(rule.id)
    for layer in layers:
        pieces = job.pieces_of(layer)
        area = area_m2(pieces)
        if layer.kind == "ply":
            card = job.spec.materials.cloths.get(layer.material)
            if card is not None:
                cloth += resin_in_cloth_g_m2(card, resin.density_g_cm3) * area
        elif layer.kind == "core":
            core += 2 * _uptake(job, layer) * area
            bonds += seam_resin_g(layer, pieces, resin)
        elif layer.kind == "rod":
            bonds += figure("rod_wetting") * rod_surface_m2(job, pieces)
        elif layer.kind == "film":
            consumable = job.spec.materials.consumables.get(layer.material)
            film += (consumable.resin_uptake_g_m2 if consumable is not None else 0.0) * area
    region = job.region(layers)
    area = region.area / 1e6
    if job.lays_peel_ply(rule.id):
        film += peel_ply_of(job).resin_uptake_g_m2 * area
    mesh_card = job.consumable("flow_mesh")
    uptake = mesh_card.resin_uptake_g_m2 if mesh_card is not None else 0.0
    mesh = (uptake or figure("mesh_uptake")) * area
    bore_cm2 = math.pi / 4 * (figure("hose_bore") / 10) ** 2
    filled = line_lengths_mm(laid_so_far(job, rule), margins(job).tape, rule.inlet)
    lines = bore_cm2 * filled / 10 * resin.density_g_cm3
    trap = figure("trap_left")
    part = math.fsum((cloth, core, bonds, film, mesh, lines, trap))
    margin = part * figure("infusion_margin") / 100
    return Infusion(cloth, core, bonds, film, mesh, lines, trap, margin)


def seam_resin_g(layer: LaidLayer, pieces: Sequence[Piece], resin: Resin) -> float:
    """Resin that fills the seams of a core: gap x depth x length."""
    length = seam_length_mm(pieces)
    return length * figure("seam_gap") * layer.thickness_mm / 1000 * resin.density_g_cm3


def rod_surface_m2(job: Job, pieces: Sequence[Piece]) -> float:
    """Surface of rods: girth of the section times length, all copies."""
    total = 0.0
    for piece in pieces:
        stock = job.spec.materials.rods.get(piece.material)
        width = stock.width_mm if stock is not None else 0.0
        height = stock.height_mm if stock is not None else piece.thickness_mm
        length = piece.area_mm2 / width if width > 0 else 0.0
        total += 2 * (width + height) * length * piece.quantity
    return total / 1e6


def peel_ply_of(job: Job) -> Consumable:
    """The peel ply of the spec, or a plain one."""
    card = job.consumable("peel_ply")
    return card or Consumable("peel-ply", "peel ply", "peel_ply", resin_uptake_g_m2=0.0)


def _uptake(job: Job, layer: LaidLayer) -> float:
    stock = job.spec.materials.cores.get(layer.material)
    return stock.resin_uptake_g_m2 if stock is not None else 0.0
