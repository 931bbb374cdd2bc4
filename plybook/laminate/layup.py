"""The whole laminate: every layer laid on what is below it, from the mould face up.

Each layer finds the face as the layers before it have left it. The map of that raised face is
made once and shared by all layers that see (nearly) the same heights.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, PlybookError, Severity
from plybook.laminate.core import core_pieces
from plybook.laminate.dropoff import drop_findings, drop_marks, ladders_of
from plybook.laminate.heights import HeightField, block_rise, core_rise, sheet_rise
from plybook.laminate.inserts import insert_pieces
from plybook.laminate.marks import MarkRule, face_lines, net_line_marks, outline_rules
from plybook.laminate.model import LaidLayer, Laminate, Piece
from plybook.laminate.plies import Ground, PastSplice, Sheet, cut_sheet
from plybook.laminate.regions import Regions, empty_region
from plybook.laminate.rods import rod_pieces, rod_region
from plybook.laminate.sides import name_sides
from plybook.spec.model import Core, Film, Insert, Layer, PartSpec, Ply, Rod, SpliceRule
from plybook.surface.model import Face

Progress = Callable[[str], None]
NO_SPLICE = SpliceRule("butt", 0.0, 0.0, 50.0)
SAME_HEIGHT_MM = 0.05  # layers whose heights differ by no more share one map


def lay_up(spec: PartSpec, face: Face, progress: Progress | None = None) -> Laminate:
    """Cut every layer of a part.

    Args:
        spec: the resolved part spec.
        face: its mould face.
        progress: called with one line of text now and then.

    Returns:
        Pieces, layers, zones, sections, mass and every finding; a finding that is an error leaves
        its layer without pieces and the rest complete.
    """
    return _LayUp(spec, face, progress or (lambda words: None)).run()


class _LayUp:
    """One lay-up on its way: the face as it stands, the splices so far, what was found."""

    def __init__(self, spec: PartSpec, face: Face, progress: Progress):
        self.spec, self.face, self.progress = spec, face, progress
        self.regions = Regions(face, spec.edges, spec.layers, self._rod_region)
        kinks = tuple(k.span_mm for k in face.kinks if not k.accepted)
        self.ground = Ground(spec, face, self.regions, kinks)
        self.field = HeightField((), self.regions.plan.net)
        self.splices: list[PastSplice] = []
        self.pieces: list[Piece] = []
        self.layers: list[LaidLayer] = []
        self.findings: list[Finding] = []
        self.sheets_laid = 0
        self._maps: list[tuple[HeightField, object]] = []
        self._under: dict[str, object] = {}  # core id -> map of the face it lies on

    def run(self) -> Laminate:
        regions = {layer.id: self._region(layer) for layer in self.spec.layers}
        self.marks = self._common_marks(regions)
        for number, layer in enumerate(self.spec.layers, 1):
            region = regions[layer.id]
            if region is None or region.is_empty:
                continue
            self.progress(f"{self.spec.part.number}: layer {layer.id}, {number} of "
                          f"{len(self.spec.layers)}")  # fmt: skip
            try:
                self._lay(layer, region)
            except PlybookError as refusal:
                self.findings.extend(_placed(f, layer) for f in refusal.findings)
        return self._finished()

    def _region(self, layer: Layer) -> BaseGeometry | None:
        try:
            region = self.regions.of_layer(layer.id)
        except PlybookError as refusal:
            new = [_placed(f, layer) for f in refusal.findings]
            self.findings.extend(f for f in new if f not in self.findings)
            return None
        if region.is_empty:
            self.findings.append(empty_region(layer))
        return region

    def _rod_region(self, rod: Rod) -> BaseGeometry:
        return rod_region(rod, self.face, self.spec.materials.rods[rod.material])

    def _common_marks(self, regions) -> dict[str, tuple[MarkRule, ...]]:
        """Lines every sheet shows; the outlines of cores by layer id, for plies they touch."""
        past = max((0.0, *self.regions.plan.trims_mm)) + 1.0
        lines = face_lines(self.face, self.spec.part.units, past)
        marks = {"": (*lines, *net_line_marks(self.regions.plan))}
        for layer in self.spec.layers:
            if isinstance(layer, Core) and regions[layer.id] is not None:
                marks[layer.id] = outline_rules(
                    "core_outline", f"core {layer.id}", regions[layer.id]
                )
        return marks

    # ------------------------------------------------------------ one layer

    def _lay(self, layer: Layer, region: BaseGeometry) -> None:
        match layer:
            case Ply() | Film():
                thickness, pieces = self._sheet(layer, region)
            case Core():
                thickness, pieces = self._core(layer, region)
            case Insert():
                thickness, pieces = self._insert(layer, region)
            case Rod():
                thickness, pieces = self._rods(layer, region)
            case _:
                raise TypeError(f"not a layer: {layer!r}")
        self.pieces.extend(pieces)
        self.layers.append(
            LaidLayer(
                id=layer.id,
                kind=pieces[0].kind if pieces else type(layer).__name__.lower(),
                material=layer.material,
                angle_deg=getattr(layer, "angle_deg", 0.0),
                stage=layer.stage,
                thickness_mm=thickness,
                region=region,
                pieces=tuple(piece.id for piece in pieces),
                group=getattr(layer, "group", ""),
                note=layer.note,
            )
        )

    def _sheet(self, layer: Ply | Film, region: BaseGeometry):
        sheet = self.sheet_of(layer)
        rules = [
            *self.marks[""],
            *self._core_marks(layer),
            *drop_marks(layer, self.spec.layers, self.regions),
        ]
        cut = cut_sheet(
            sheet, self.ground, self._raised(), self.splices, self.sheets_laid, rules,
            self.face.strain,
        )  # fmt: skip
        self.splices.extend(cut.splices)
        self.findings.extend(cut.findings)
        self.sheets_laid += isinstance(layer, Ply)
        self.field = self.field.with_layer(sheet_rise(layer.id, region, sheet.thickness_mm))
        return sheet.thickness_mm, cut.pieces

    def sheet_of(self, layer: Ply | Film) -> Sheet:
        """What the layer's roll says about it."""
        materials = self.spec.materials
        if isinstance(layer, Ply):
            cloth = materials.cloths[layer.material]
            return Sheet(
                layer, "ply", layer.angle_deg, cloth.thickness_mm, cloth.usable_width_mm,
                layer.splice or cloth.splice, layer.may_turn_over and cloth.faces_alike,
            )  # fmt: skip
        film = materials.consumables[layer.material]
        return Sheet(layer, "film", 0.0, film.thickness_mm, film.roll_width_mm, NO_SPLICE, True)

    def _core_marks(self, layer: Layer) -> list[MarkRule]:
        return [rule for name, rules in self.marks.items() if name for rule in rules]

    def _core(self, layer: Core, region: BaseGeometry):
        stock = self.spec.materials.cores[layer.material]
        sheets = tuple(
            (item.length_mm, item.width_mm) for item in self.spec.stock
            if item.kind == "sheet" and item.material == layer.material
            and item.outline_mm is None
        )  # fmt: skip
        let_in = {cut.insert: self.regions.of_layer(cut.insert) for cut in layer.cut_outs}
        self._under[layer.id] = raised = self._raised()
        cut = core_pieces(
            layer, region, self.face, raised, stock=stock, let_in=let_in,
            sheets_mm=sheets, chord_error_mm=self.ground.chord_error_mm,
        )  # fmt: skip
        self.findings.extend(cut.findings)
        sides = name_sides(region, self.face)
        rise = core_rise(layer.id, sides, layer.thickness_mm, dict(layer.edges))
        self.field = self.field.with_layer(rise)
        return layer.thickness_mm, cut.pieces

    def _insert(self, layer: Insert, region: BaseGeometry):
        stock = self.spec.materials.cores[layer.material]
        core = next((c for c in self.spec.layers if isinstance(c, Core) and c.id == layer.core),
                    None)  # fmt: skip
        thickness = layer.thickness_mm or (core.thickness_mm if core else stock.thickness_mm)
        cut = insert_pieces(
            layer, region, self.face, self._under.get(layer.core, self._raised()), stock=stock,
            host=core, host_region=self.regions.of_layer(core.id) if core else None,
            chord_error_mm=self.ground.chord_error_mm,
        )  # fmt: skip
        self.findings.extend(cut.findings)
        proud = thickness - (core.thickness_mm if core else 0.0)
        self.field = self.field.with_layer(block_rise(layer.id, region, proud))
        return thickness, cut.pieces

    def _rods(self, layer: Rod, region: BaseGeometry):
        stock = self.spec.materials.rods[layer.material]
        cut = rod_pieces(layer, self.face, self._raised(), stock=stock)
        self.findings.extend(cut.findings)
        self.field = self.field.with_layer(block_rise(layer.id, region, stock.height_mm))
        return stock.height_mm, cut.pieces

    # ------------------------------------------------------------ the face as it stands

    def _raised(self):
        """The map of the face as the layers so far have left it; None where nothing changed."""
        if self.field.flat:
            return None
        if self.face.flat and not self.field.break_lines():
            return None  # thin sheets on a flat face change nothing a knife could follow
        for field, raised in reversed(self._maps):
            if not self.field.significant_change(field, SAME_HEIGHT_MM):
                return raised
        from plybook.surface.raised import raise_face

        raised = raise_face(self.face, self.field)
        self._maps.append((self.field, raised))
        return raised

    # ------------------------------------------------------------ the whole

    def _finished(self) -> Laminate:
        ladders = ladders_of(self.spec.layers, self.regions)
        self.findings.extend(drop_findings(ladders, self.spec.layers))
        laminate = Laminate(
            tuple(self.pieces), tuple(self.layers), (), (), 0.0, np.zeros(3), tuple(self.findings)
        )
        return replace(laminate, findings=tuple(_once(laminate.findings)))


def _placed(finding: Finding, layer: Layer) -> Finding:
    """The finding with the layer's place and name where it has none."""
    return replace(
        finding,
        places=finding.places or (layer.place,),
        layers=finding.layers or (layer.id,),
    )


def _once(findings: Iterable[Finding]) -> list[Finding]:
    order = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    return sorted(dict.fromkeys(findings), key=lambda f: order[f.severity])
