"""The whole laminate: every layer laid on what is below it, from the mould face up.

Each layer finds the face as the layers before it have left it. The map of that raised face is
made once and shared by all layers that see (nearly) the same heights.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.crew import beside
from plybook.diagnostics import Finding, GeometryError, PlybookError, Severity
from plybook.laminate.brokencore import BrokenFace, LeafView
from plybook.laminate.core import CoreCut, core_pieces
from plybook.laminate.dropoff import drop_findings, drop_marks, ladders_of
from plybook.laminate.ground import Ground, sheet_of, sheets_of
from plybook.laminate.heights import HeightField, Rise, block_rise, core_rise, rim_of, sheet_rise
from plybook.laminate.insert_checks import insert_findings
from plybook.laminate.inserts import insert_pieces, insert_thickness_mm
from plybook.laminate.joints import kink_findings
from plybook.laminate.marks import (
    MarkRule,
    datum_mark,
    face_lines,
    marks_on,
    net_line_marks,
    outline_rules,
)
from plybook.laminate.model import BreakJoint, LaidLayer, Laminate, Mark, Piece, PieceKind
from plybook.laminate.otherhand import left_image, mirrored
from plybook.laminate.panel_checks import bends
from plybook.laminate.plies import PastSplice, cut_sheet
from plybook.laminate.raising import LeafMaps, Raisings, Strains, without_walls
from plybook.laminate.refusals import (
    bends_bridged,
    not_at_its_middle,
    placed,
    refused,
    tangled_layer,
    tangled_pieces,
    too_steep,
)
from plybook.laminate.regions import Regions, empty_region, past_part
from plybook.laminate.rods import rod_pieces, rod_region
from plybook.laminate.sides import name_sides
from plybook.laminate.summary import sum_up
from plybook.spec.model import Core, Film, Insert, Layer, PartSpec, Ply, Rod
from plybook.surface.model import Face

Progress = Callable[[str], None]
Joints = Callable[[], list[BreakJoint]]  # of one layer, made when asked for
LayerCut = tuple[list[Piece], list[LaidLayer], list[tuple[Layer, Joints]], list[Finding]]
_SOON, _LATE = 1, 8  # niceness of what is waited for when the cloth is laid, and at the end
_REFUSALS = PlybookError, shapely.errors.GEOSException
_KINDS: dict[type, PieceKind] = {
    Ply: "ply", Core: "core", Insert: "insert", Rod: "rod", Film: "film"
}  # fmt: skip


def lay_up(
    spec: PartSpec,
    face: Face,
    progress: Progress | None = None,
    other_hand: Laminate | None = None,
) -> Laminate:
    """Cut every layer of a part; a right-hand part is the mirror image of its left hand.

    Args:
        spec: the resolved part spec.
        face: its mould face.
        progress: called with one line of text now and then.
        other_hand: the laminate of its mirror image, where that is laid up already.

    Returns:
        Pieces, layers, zones, sections, mass and every finding; a finding that is an error leaves
        its layer without pieces and the rest complete.
    """
    if other_hand is not None:
        return mirrored(other_hand, spec, face)
    told = progress or (lambda words: None)
    if spec.part.hand != "right":
        return LayUp(spec, face, told).run()
    return mirrored(LayUp(*left_image(spec), told).run(), spec, face)


class LayUp:
    """One lay-up on its way: the face as it stands, the splices so far, what was found."""

    def __init__(
        self, spec: PartSpec, face: Face, progress: Progress, ground: Ground | None = None
    ):
        self.spec, self.face, self.progress = spec, face, progress
        if ground is None:
            regions = Regions(face, spec.edges, spec.layers, self._rod_region)
            ground = Ground(spec, face, regions)
        self.ground, self.regions = ground, ground.regions
        self.field = HeightField((), self.regions.plan.net)
        views = self.ground.views
        self.fields = tuple(HeightField((), view.plan.net, True) for view in views)  # of each leaf
        self._bare = self.field, self.fields
        self.splices: list[PastSplice] = []
        self.pieces: list[Piece] = []
        self.layers: list[LaidLayer] = []
        self.joints: list[tuple[Layer, Joints]] = []
        self.findings: list[Finding] = []
        self.sheets_laid = 0
        self._stiff: Callable[[], dict[str, LayerCut]] | None = None
        self._under: dict[str, LeafMaps | None] = {}  # core id -> map of the face it lies on

    def run(self) -> Laminate:
        """Cloth is laid here and what is stiff by a helper, each with maps of its own: neither is
        cut by the other, and so the result is the same however many processors there are."""
        stiff = self._stiff or self.begin()
        cut = self._cut_each(_is_cloth)
        self._join(self._of_regions, {**cut, **stiff()})
        return self._finished()

    def begin(self) -> Callable[[], dict[str, LayerCut]]:
        """Set helpers to what a run will ask for; answers with what is stiff."""
        self._begin()
        self._stiff = beside(partial(self._cut_alone, _is_stiff), _SOON)
        self._raise_ahead(_is_cloth)
        return self._stiff

    def only(self, wanted: Collection[str]) -> tuple[Finding, ...]:
        """What is found of some layers; the others raise the face and are not cut."""
        self._begin()
        self._join(self._of_regions, self._cut_alone(lambda layer: layer.id in wanted))
        return tuple(self.findings)

    def _begin(self) -> None:
        """Everything that is known before the first layer is laid."""
        regions = {layer.id: self._region(layer) for layer in self.spec.layers}
        self._find_rises(regions)
        self._of_regions = list(self.findings)
        self.marks = tuple(self._common_marks(view, regions) for view in self.ground.views)
        self._region_of = {name: shape for name, shape in regions.items() if shape is not None}

    def _raise_ahead(self, wanted: Callable[[Layer], bool]) -> None:
        """Open the maps of the face for some of the layers; helpers begin with those for cloth."""
        kinks = tuple(one.span_mm for one in self.ground.breaks)
        self.raisings = Raisings(self.face, kinks, self.regions.plan.reach_mm)
        self.raisings.ahead([self.fields for _, layer in self._from_the_mould_up()
                             if wanted(layer) and _is_cloth(layer)])  # fmt: skip

    def _cut_alone(self, wanted: Callable[[Layer], bool]) -> dict[str, LayerCut]:
        """Some of the layers, with maps of their own."""
        self._raise_ahead(wanted)
        return self._cut_each(wanted)

    def _cut_each(self, wanted: Callable[[Layer], bool]) -> dict[str, LayerCut]:
        """Some of the layers, each laid on everything below it; all of them raise the face."""
        cut: dict[str, LayerCut] = {}
        for number, layer in self._from_the_mould_up():
            if wanted(layer):
                self.progress(f"{self.spec.part.number}: layer {layer.id}, {number} of "
                              f"{len(self.spec.layers)}")  # fmt: skip
                cut[layer.id] = self._cut_or_refused(layer, self._region_of[layer.id])
        return cut

    def _from_the_mould_up(self) -> Iterator[tuple[int, Layer]]:
        """The layers that lie somewhere, numbered, each with the face as it stands."""
        self.field, self.fields = self._bare
        for number, layer in enumerate(self.spec.layers, 1):
            if layer.id in self.rises:
                yield number, layer
                self._raise_by(layer)

    def _cut_or_refused(self, layer: Layer, region: BaseGeometry) -> LayerCut:
        """One layer laid; nothing but findings where that cannot be done."""
        try:
            return self._cut_apart(layer, region)
        except _REFUSALS as wrong:
            return [], [], [], self._why(layer, wrong)

    def _why(self, layer: Layer, wrong: Exception) -> list[Finding]:
        """What a refusal of the geometry means for a layer."""
        if isinstance(wrong, PlybookError):
            return list(refused(wrong, layer, self.field))
        region = self.regions.of_layer(layer.id)  # what the library says names no layer
        return [placed(tangled_layer(layer, region, self.face), layer)]

    def _cut_apart(self, layer: Layer, region: BaseGeometry) -> LayerCut:
        """One layer laid, what it gives kept from that of the others."""
        before = self.pieces, self.layers, self.joints, self.findings
        self.pieces, self.layers, self.joints, self.findings = made = [], [], [], []
        try:
            self._lay(layer, region)
        finally:
            self.pieces, self.layers, self.joints, self.findings = before
        return made

    def _join(self, of_regions: Sequence[Finding], cut: Mapping[str, LayerCut]) -> None:
        """What was found of regions and what was cut so far, in the order in which it is laid."""
        order = [cut[layer.id] for layer in self.spec.layers if layer.id in cut]
        self.pieces, self.layers, self.joints, found = [], [], [], []
        for pieces, layers, joints, findings in order:
            self.pieces += pieces
            self.layers += layers
            self.joints += joints
            found += findings
        self.findings = [*of_regions, *found]

    def _region(self, layer: Layer) -> BaseGeometry | None:
        try:
            region = self.regions.of_layer(layer.id)
        except PlybookError as refusal:
            new = [placed(f, layer) for f in refusal.findings]
            self.findings.extend(f for f in new if f not in self.findings)
            return None
        if region.is_empty:
            self.findings.append(empty_region(layer, self.face))
        elif isinstance(layer, Core | Insert):
            by_mm, edge = self.regions.past_net(layer.region)
            if edge:
                self.findings.append(past_part(layer, by_mm, edge))
        return region

    def _rod_region(self, rod: Rod, face: Face) -> BaseGeometry:
        return rod_region(rod, face, self.spec.materials.rods[rod.material])

    def _common_marks(self, view: Regions, regions) -> dict[str, tuple[MarkRule, ...]]:
        """Lines every sheet on a leaf shows; the outlines of cores by layer id, for plies they
        touch."""
        past = max((0.0, *view.plan.trims_mm)) + 1.0
        lines = face_lines(view.face, self.spec.part.units, past)
        marks = {"": (*lines, *net_line_marks(view.plan))}
        for layer in self.spec.layers:
            if isinstance(layer, Core) and regions[layer.id] is not None:
                region = view.of_layer(layer.id)
                marks[layer.id] = outline_rules("core_outline", f"core {layer.id}", region)
        return marks

    def _find_rises(self, regions) -> None:
        """What each layer adds to the height of the face, and of the face as each leaf sees it."""
        self.rises: dict[str, Rise] = {}
        self._leaf_rises: dict[str, tuple[Rise, ...]] = {}
        views, rim = self.ground.views, rim_of(self.regions.plan.net)
        leaves = [(view, rim_of(view.plan.net)) for view in views] if len(views) > 1 else []
        for layer in self.spec.layers:
            region = regions[layer.id]
            if region is None or region.is_empty:
                continue
            self.rises[layer.id] = rise = self._rise(layer, region, self.face, rim)
            self._leaf_rises[layer.id] = (rise,)
            if leaves:
                self._leaf_rises[layer.id] = tuple(
                    self._rise(layer, view.of_layer(layer.id), view.face, own)
                    for view, own in leaves
                )

    # ------------------------------------------------------------ one layer

    def _rise(self, layer: Layer, region: BaseGeometry, face: Face, rim: BaseGeometry) -> Rise:
        """What a layer adds to the height of a face whose net line lies in `rim`."""
        thickness = self._thickness_mm(layer)
        match layer:
            case Core():
                sides = name_sides(region, face)
                return core_rise(layer.id, sides, thickness, layer.cuts)
            case Insert():
                host = self._host(layer)
                return block_rise(layer.id, region, thickness - (host.thickness_mm if host else 0))
            case Rod():
                return block_rise(layer.id, region, thickness)
            case _:
                return sheet_rise(layer.id, region, thickness, rim)

    def _thickness_mm(self, layer: Layer) -> float:
        materials = self.spec.materials
        match layer:
            case Core():
                return layer.thickness_mm
            case Insert():
                return insert_thickness_mm(layer, self._host(layer))
            case Rod():
                return materials.rods[layer.material].height_mm
            case Ply():
                return materials.cloths[layer.material].thickness_mm
        return materials.consumables[layer.material].thickness_mm

    def _host(self, layer: Insert) -> Core | None:
        """The core an insert is let into."""
        cores = [c for c in self.spec.layers if isinstance(c, Core) and c.id == layer.core]
        return cores[0] if cores else None

    def _lay(self, layer: Layer, region: BaseGeometry) -> None:
        before = len(self.findings)
        match layer:
            case Ply() | Film():
                pieces = self._sheet(layer)
            case Core():
                pieces = self._core(layer, region)
            case Insert():
                pieces = self._insert(layer, region)
            case Rod():
                pieces = self._rods(layer)
            case _:
                raise TypeError(f"not a layer: {layer!r}")
        if not pieces and not any(f.severity is Severity.ERROR for f in self.findings[before:]):
            self.findings.append(empty_region(layer, self.face))  # a crumb, too small to be cut
        self.findings.extend(placed(f, layer) for f in tangled_pieces(pieces, self.face))
        self.pieces.extend(pieces)
        self.layers.append(
            LaidLayer(
                id=layer.id,
                kind=_KINDS[type(layer)],
                material=layer.material,
                angle_deg=getattr(layer, "angle_deg", 0.0),
                stage=layer.stage,
                thickness_mm=self._thickness_mm(layer),
                region=region,
                pieces=tuple(piece.id for piece in pieces),
                group=getattr(layer, "group", ""),
                note=layer.note,
            )
        )

    def _raise_by(self, layer: Layer) -> None:
        """The face as it stands with the layer on it."""
        self.field = self.field.with_layer(self.rises[layer.id])
        self.fields = tuple(
            field.with_layer(rise)
            for field, rise in zip(self.fields, self._leaf_rises[layer.id], strict=True)
        )

    def _sheet(self, layer: Ply | Film) -> tuple[Piece, ...]:
        maps = self._raised(layer)
        cut = cut_sheet(
            sheet_of(layer, self.spec.materials),
            self.ground,
            maps,
            self.splices,
            self.sheets_laid,
            [self._marks_for(layer, leaf) for leaf in range(len(self.ground.views))],
            Strains(self.face, maps),
        )
        self.splices.extend(cut.splices)
        if cut.joints:
            joints = beside(lambda: [make() for make in cut.joints], _LATE)
            self.joints.append((layer, joints))
        self.findings.extend(cut.findings)
        self.sheets_laid += isinstance(layer, Ply)
        return cut.pieces

    def _marks_for(self, layer: Ply | Film, leaf: int) -> list[MarkRule]:
        return [
            *(rule for rules in self.marks[leaf].values() for rule in rules),
            *drop_marks(layer, self.spec.layers, self.ground.views[leaf]),
        ]

    def _core(self, layer: Core, region: BaseGeometry) -> tuple[Piece, ...]:
        self._under[layer.id] = raised = self._raised(layer)
        cut = self._core_cut(layer, region, raised)
        self.findings.extend(cut.findings)
        self.joints.append((layer, partial(list, cut.joints)))
        return self._marked(cut.pieces, raised, cut.leaves)

    def _core_cut(self, layer: Core, region: BaseGeometry, raised: LeafMaps | None) -> CoreCut:
        return core_pieces(
            layer,
            region,
            self.face,
            raised,
            stock=self.spec.materials.cores[layer.material],
            let_in=self._let_in(layer, self.regions),
            sheets_mm=sheets_of(layer, self.spec),
            endless_mm=sheets_of(layer, self.spec, endless=True),
            chord_error_mm=self.ground.chord_error_mm,
            broken=self._broken(layer),
        )

    def _let_in(self, layer: Core, regions: Regions) -> dict[str, BaseGeometry]:
        return {cut.insert: regions.of_layer(cut.insert) for cut in layer.cut_outs}

    def _broken(self, layer: Core) -> BrokenFace | None:
        """A core as each leaf sees it, and where its panels end; None on one leaf."""
        if not self.ground.breaks:
            return None
        views = tuple(
            LeafView(view.face, view.of_layer(layer.id), self._let_in(layer, view))
            for view in self.ground.views
        )
        return BrokenFace(views, self.ground.meetings(self.fields), self.fields)

    def _insert(self, layer: Insert, region: BaseGeometry) -> tuple[Piece, ...]:
        host = self._host(layer)
        raised = self._under[host.id] if host and host.id in self._under else self._raised(layer)
        cut = insert_pieces(
            layer,
            region,
            self.face,
            raised,
            stock=self.spec.materials.cores[layer.material],
            core=host,
            core_region=self.regions.of_layer(host.id) if host else None,
            chord_error_mm=self.ground.chord_error_mm,
            views=[(view.face, view.of_layer(layer.id)) for view in self.ground.views],
        )
        self.findings.extend(cut.findings)
        return self._marked(cut.pieces, raised, cut.leaves)

    def _rods(self, layer: Rod) -> tuple[Piece, ...]:
        stock = self.spec.materials.rods[layer.material]
        cut = rod_pieces(layer, self.face, self.field, stock=stock, unit=self.spec.part.units)
        self.findings.extend(cut.findings)
        return cut.pieces

    def _marked(
        self, pieces: tuple[Piece, ...], maps: LeafMaps | None, leaves: tuple[int, ...]
    ) -> tuple[Piece, ...]:
        """Core panels and blocks with the station lines and the axis that cross them,
        and the corner they are laid by; `leaves` says on which leaf each lies."""
        return tuple(
            replace(piece, marks=(*piece.marks, *self._lines_on(piece, maps, leaf)))
            for piece, leaf in zip(pieces, leaves, strict=True)
        )

    def _lines_on(self, piece: Piece, maps: LeafMaps | None, leaf: int) -> list[Mark]:
        corners = np.stack([edge.points_mm[0] for edge in piece.edges])
        own = maps.leaf(leaf) if maps else None
        laid = corners if own is None else own.from_cut(corners)
        return [
            *marks_on(
                Polygon(piece.laid_outline_mm),
                self.marks[leaf][""],
                None if own is None else own.to_cut,
                self.ground.chord_error_mm,
            ),
            datum_mark(laid, corners, self.ground.views[leaf].face, self.spec.part.units),
        ]

    # ------------------------------------------------------------ the face as it stands

    def _raised(self, layer: Layer) -> LeafMaps | None:
        """The maps of the face as the layers so far have left it; None where nothing changed.

        Only cloth goes down the sides of blocks and rods; what is stiff lies beside or on them.
        A core bends about its middle, so it is developed half its thickness up.
        """
        fields = self.fields
        if not isinstance(layer, Ply | Film):
            fields = without_walls(fields)
        if isinstance(layer, Core) and bends(
            self.regions.of_layer(layer.id), self.face, layer.thickness_mm
        ):
            try:
                regions = [view.of_layer(layer.id) for view in self.ground.views]
                return self.raisings.under_panel(fields, regions, layer.thickness_mm / 2)
            except GeometryError as refusal:
                self.findings.append(not_at_its_middle(layer, refusal))
        maps = self.raisings.under(fields)
        if maps is None:
            return None
        if maps.left_out:
            self.findings.append(too_steep(layer, maps))
        self.findings.extend(bends_bridged(layer, self.ground.views, maps))
        return maps

    # ------------------------------------------------------------ the whole

    def _finished(self) -> Laminate:
        self._look_at_joints_and_ends()
        self.progress(f"{self.spec.part.number}: zones, sections, mass and rules")
        joints: list[BreakJoint] = []
        for layer, of_layer in self.joints:
            try:
                joints += of_layer()
            except _REFUSALS as wrong:
                self.findings.extend(self._why(layer, wrong))
        return sum_up(self.spec, self.face, self.layers, self.pieces, joints, self.field,
                      self.findings)  # fmt: skip

    def _look_at_joints_and_ends(self) -> None:
        ladders = ladders_of(self.spec.layers, self.regions)
        self.findings.extend(drop_findings(ladders, self.spec.layers))
        self.findings.extend(self._joints_at_breaks())
        self.findings.extend(insert_findings(self.spec, self.face, self.layers))

    def _joints_at_breaks(self) -> list[Finding]:
        rolls = self.spec.materials
        plies = {x.id: sheet_of(x, rolls) for x in self.spec.layers if isinstance(x, Ply)}
        open_kinks = [kink for kink in self.face.kinks if not kink.accepted]
        return kink_findings(self.pieces, open_kinks, plies)


def _is_cloth(layer: Layer) -> bool:
    return isinstance(layer, Ply | Film)


def _is_stiff(layer: Layer) -> bool:
    return not _is_cloth(layer)
