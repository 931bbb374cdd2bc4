"""A laminate looked over: every finding of a lay-up, without developing the layers where that is
certain to say the same.

Most rules ask where layers lie, not how they are cut. Those that ask for pieces get pieces cut as
if every layer lay on the bare mould face; what lies below makes a cut larger by no more than a
bound. Where a finding could depend on that (cloth has to climb a wall, the stack is thick for the
bend of the face, a layer is within the bound of its roll's width, a finding tells a size of a
piece) the part is laid up for good, so that a look says what a build says.

Terms:
    bare: the mould face without the layers below.
    bound: a ramp makes a cut t tan(a / 2) larger at each end, a stack of height h over a face
        that turns by an angle makes it h times that angle larger or smaller.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, PlybookError
from plybook.laminate.ground import sheet_of, sheets_of
from plybook.laminate.heights import HeightField
from plybook.laminate.layup import LayerCut, LayUp, Progress
from plybook.laminate.leaves import open_kinks_mm
from plybook.laminate.marks import MarkRule
from plybook.laminate.model import Laminate, Piece, Zone
from plybook.laminate.otherhand import left_image, mirrored
from plybook.laminate.panel_checks import tightest_bend
from plybook.laminate.plies import NARROW_MM
from plybook.laminate.raising import LeafMaps
from plybook.laminate.rises import Rise
from plybook.laminate.rule_case import Case
from plybook.laminate.rulebook import trade_rules
from plybook.laminate.rules import checks
from plybook.laminate.seam_search import NARROWEST_MM, fits_a_sheet
from plybook.laminate.shapes import mean_width_mm, polygons_of, ring_of
from plybook.laminate.summary import all_findings
from plybook.laminate.zones import find_zones
from plybook.spec.model import Core, Film, Layer, PartSpec, Ply
from plybook.surface.model import Face

_BEND = 0.5  # most height over radius of the face that a lay-up surely follows
_SPOTS = 20, 64  # of the face, along the span and the section, where bend is looked at
ROUNDING_MM = 0.01  # more than rings are rounded by
_SPARE = 1.25  # for what the spots miss of the face's turning
_OF_PIECES = {"butt-not-staggered", "butt-across-fibre", "overlap-close", "piece-wider-than-roll"}
_OF_REGIONS = {
    "core-end-gathers",
    "core-past-part",
    "drop-gap-on-face",
    "drop-order",
    "drop-runs-off",
    "drop-step",
    "insert-crosses-break",
    "insert-outside-core",
    "inserts-close",
    "inserts-overlap",
    "polygon-crosses-itself",
    "region-empty",
    "regions-in-a-circle",
    "rod-through-insert",
    "seam-runs-on",
    "unknown-edge",
    "unknown-layer",
}


@dataclass(frozen=True)
class Slack:
    """How far a lay-up may differ from a look in the pieces of one layer.

    Attributes:
        size_mm: in their length and their width.
        widest_mm: a lay-up splices or seams the layer so that no piece is wider.
    """

    size_mm: float
    widest_mm: float = math.inf


@dataclass(frozen=True)
class Look:
    """What a look at a laminate tells.

    Attributes:
        laminate: without marks, sections and mass where it was not laid up.
        slack: by layer; {} where the part had to be laid up.
    """

    laminate: Laminate
    slack: Mapping[str, Slack]

    @property
    def zones(self) -> tuple[Zone, ...]:
        return self.laminate.zones

    @property
    def findings(self) -> tuple[Finding, ...]:
        return self.laminate.findings

    @property
    def laid_up(self) -> bool:
        return not self.slack

    def bounds(self) -> tuple[Laminate, ...]:
        """The laminate with its pieces as small and as large as a lay-up could make them; the
        laminate itself where it was laid up or nothing lies below that makes a difference."""
        if not any(slack.size_mm for slack in self.slack.values()):
            return (self.laminate,)
        return tuple(
            replace(
                self.laminate,
                pieces=tuple(
                    _resized(piece, sign, self.slack[piece.layer]) for piece in self.laminate.pieces
                ),
            )
            for sign in (-1.0, 1.0)
        )


def _sure() -> set[str]:
    """Codes of findings that do not depend on how pieces are cut."""
    return (_OF_REGIONS | set(trade_rules())) - _OF_PIECES


def _resized(piece: Piece, sign: float, slack: Slack) -> Piece:
    """A piece made larger or smaller along its stock and across it; it keeps a tenth at least."""
    if not slack.size_mm:
        return piece
    turn = math.radians(piece.angle_deg)
    to_stock = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    size = np.maximum(np.ptp(piece.outline_mm @ to_stock, axis=0), 1e-6)
    new = np.maximum(size + sign * slack.size_mm, size / 10)
    new[1] = min(new[1], max(slack.widest_mm - ROUNDING_MM, size[1]))
    scale = to_stock @ np.diag(new / size) @ to_stock.T
    bag = piece.bag_side_outline_mm
    return replace(
        piece,
        outline_mm=piece.outline_mm @ scale,
        bag_side_outline_mm=None if bag is None else bag @ scale,
        area_mm2=piece.area_mm2 * float(np.prod(new / size)),
    )


def look_over(spec: PartSpec, face: Face, progress: Progress | None = None) -> Look:
    """Zones and findings of a part, the same that `lay_up` gives.

    Args:
        spec: the resolved part spec.
        face: its mould face.
        progress: called with one line of text now and then.
    """
    told = progress or (lambda words: None)
    if spec.part.hand == "right":  # as it is laid up
        seen = look_over(*left_image(spec), told)
        return replace(seen, laminate=mirrored(seen.laminate, spec, face))
    bare = _Bare(spec, face, told)
    whole = LayUp(spec, face, told, bare.ground.anew())
    if not face.flat and any(isinstance(layer, Core) for layer in spec.layers):
        with suppress(PlybookError, shapely.errors.GEOSException):  # raised again if need be
            whole.begin()  # a look seldom does
    try:
        look = bare.look()
    except (PlybookError, shapely.errors.GEOSException):
        look = None
    if look is not None:
        return look
    return Look(whole.run(), {})


class _Bare(LayUp):
    """A lay-up in which every layer lies on the bare face and pieces carry no marks."""

    def look(self) -> Look | None:
        """Zones and findings, or None where only a lay-up can tell. The cloth is cut first, for
        cutting cores takes longer."""
        regions = {layer.id: self._region(layer) for layer in self.spec.layers}
        self.marks, self.ground.marked = (), False
        self._find_rises(regions)
        of_regions = list(self.findings)
        if (self._climbs or self._bends_hard or self._a_core_bends_tight(regions)
                or self._joined_at_a_break(regions)):  # fmt: skip
            return None
        slack: dict[str, Slack] = {}
        cut: dict[str, LayerCut] = {}
        bare = self.fields
        for layer in self.spec.layers:
            region = regions[layer.id]
            if region is None or region.is_empty:
                continue
            self.ground.growth_mm = self._growth_mm(self.field.rises)
            slack[layer.id] = Slack(self.ground.growth_mm, self._widest_mm(layer))
            if not isinstance(layer, Core):
                cut[layer.id] = self._cut_apart(layer, region)
            self._raise_by(layer)
        self._join(of_regions, cut)
        if not self._cloth_is_certain():
            return None
        self.fields = bare
        for layer in self.spec.layers:
            if layer.id in slack and layer.id not in cut:
                cut[layer.id] = self._cut_apart(layer, regions[layer.id])
        self._join(of_regions, cut)
        self._look_at_joints_and_ends()
        zones = find_zones(self.layers, self.face, self.spec)
        found = all_findings(self.spec, self.face, self.layers, self.pieces, zones, self.findings)
        if not self._certain(found):
            return None
        seen = Laminate(tuple(self.pieces), tuple(self.layers), zones, (), 0.0, np.zeros(3), found,
                        found_laying=tuple(self.findings))  # fmt: skip
        return Look(seen, slack)

    def _cloth_is_certain(self) -> bool:
        """Whether no rule that measures cut cloth finds anything yet."""
        case = Case(self.spec, self.face, tuple(self.layers), tuple(self.pieces), ())
        measured = ((name, check) for name, check in checks().items() if name in _OF_PIECES)
        return (
            not self.ground.unsure
            and not self._joints_at_breaks()
            and all(finding.code in _sure() for finding in self.findings)
            and not any(any(check(case, trade_rules()[name])) for name, check in measured)
        )

    def _widest_mm(self, layer: Layer) -> float:
        if isinstance(layer, Ply | Film):
            return sheet_of(layer, self.spec.materials).usable_mm or math.inf
        return 0.0 if isinstance(layer, Core) and layer.seams_to_suit_sheets else math.inf

    def _certain(self, found: tuple[Finding, ...]) -> bool:
        """Whether cutting the layers over each other would change no finding."""
        return (
            not self.ground.unsure
            and all(finding.code in _sure() for finding in found)
            and all(self._far_from_limits(piece) for piece in self.pieces)
        )

    def _far_from_limits(self, piece: Piece) -> bool:
        grown = self._growth_mm(self.field.rises)
        outline = shapely.Polygon(piece.outline_mm)
        if piece.kind != "core":
            return piece.kind == "rod" or mean_width_mm(outline) > NARROW_MM + grown / 4
        core = next(x for x in self.spec.layers if x.id == piece.layer)
        assert isinstance(core, Core)
        bag = (
            outline
            if piece.bag_side_outline_mm is None
            else shapely.Polygon(piece.bag_side_outline_mm)
        )
        if min(mean_width_mm(outline), mean_width_mm(bag)) < NARROWEST_MM + grown / 4:
            return False
        if core.seams_to_suit_sheets:  # its seams are placed so that the panels fit
            return True
        stock = self.spec.materials.cores[core.material]
        sheets = sheets_of(core, self.spec) or (stock.sheet_mm,)
        return fits_a_sheet(outline.buffer(grown / 2), sheets, stock.grain)

    def _growth_mm(self, below: Sequence[Rise]) -> float:
        """How far a cut over these rises may differ in size from one on the bare face."""
        ramps = [(x.thickness_mm, run) for x in below for run in sorted({r for _, r in x.ramps})]
        at_ramps = sum(2 * abs(t) * math.tan(math.atan2(abs(t), run) / 2) for t, run in ramps)
        height = sum(abs(rise.thickness_mm) for rise in below)
        return at_ramps + height * self._turning_rad

    @property
    def _climbs(self) -> bool:
        """Whether cloth has to climb a block, a rod or a square edge."""
        wall = False
        for layer in self.spec.layers:
            rise = self.rises.get(layer.id)
            if wall and isinstance(layer, Ply | Film):
                return True
            wall |= rise is not None and rise.walls is not None and abs(rise.thickness_mm) > 1e-9
        return False

    def _a_core_bends_tight(self, regions: Mapping[str, BaseGeometry | None]) -> bool:
        """Whether a core bends more than its sheet follows cold: which of its panels that is told
        of, and with which radius, depends on how it is cut."""
        for core in (layer for layer in self.spec.layers if isinstance(layer, Core)):
            region, least = regions[core.id], self.spec.materials.cores[core.material].least_bend_mm
            if region is None or least <= 0:
                continue
            rings = (ring_of(part) for part in polygons_of(region))
            if any(tightest_bend(ring, self.face)[0] < least for ring in rings):
                return True
        return False

    def _joined_at_a_break(self, regions: Mapping[str, BaseGeometry | None]) -> bool:
        """Whether several plies are joined on one line where the face breaks: what is told of that
        goes by their cuts."""
        plies = [regions[layer.id] for layer in self.spec.layers if isinstance(layer, Ply)]
        for span_mm in open_kinks_mm(self.face):
            line = shapely.linestrings(self.face.span_line(span_mm))
            if sum(r is not None and r.intersection(line).length > 0 for r in plies) > 1:
                return True
        return False

    @property
    def _bends_hard(self) -> bool:
        """Whether the stack is thick for the radius of the face somewhere."""
        if self.face.flat:
            return False
        rises = tuple(rise for rise in self.rises.values() if abs(rise.thickness_mm) > 1e-9)
        height = HeightField(rises, self.regions.plan.net)(self._spots.reshape(-1, 2))
        bend = np.linalg.norm(self._bend, axis=(2, 3))
        return bool((height * bend.ravel()).max() > _BEND)

    @cached_property
    def _turning_rad(self) -> float:
        """The most the face turns along a section or along the span, with some to spare."""
        if self.face.flat:
            return 0.0
        turns = []
        for axis in (0, 1):
            step = np.diff(self._spots, axis=axis)
            ends = (np.delete(self._bend, end, axis) for end in (0, -1))
            turn = [np.abs(np.einsum("abi,abij,abj->ab", step, bend, step)) for bend in ends]
            size = np.linalg.norm(step, axis=2)
            turns.append(float((sum(turn) / 2 / size).sum(axis=axis).max()))
        return _SPARE * max(turns)

    @cached_property
    def _spots(self) -> np.ndarray:
        """(a, b, 2) points of the face on a grid of span and share, closest at share 0."""
        low, high = (end(self.regions.outline_span_share, axis=0) for end in (np.min, np.max))
        along, across = (np.linspace(0, 1, count) ** k for k, count in enumerate(_SPOTS, 1))
        grid = np.meshgrid(along, across, indexing="ij")
        places = low + (high - low) * np.stack([part.ravel() for part in grid], axis=1)
        return np.asarray(self.face.to_pattern(places)).reshape(*_SPOTS, 2)

    @cached_property
    def _bend(self) -> np.ndarray:
        """(a, b, 2, 2) curvature of the face there, 1/mm."""
        bend = np.asarray(self.face.curvature(self._spots.reshape(-1, 2)))
        return bend.reshape(*_SPOTS, 2, 2)

    # ------------------------------------------------------------ on the bare face

    def _raised(self, layer: Layer) -> LeafMaps | None:
        return None

    def _marks_for(self, layer: Ply | Film, leaf: int) -> list[MarkRule]:
        return []

    def _marked(
        self, pieces: tuple[Piece, ...], maps: LeafMaps | None, leaves: tuple[int, ...]
    ) -> tuple[Piece, ...]:
        return pieces
