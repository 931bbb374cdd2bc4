"""From a layer of cloth to its pieces.

The way of a ply: its region with the trim allowance -> parts that do not touch -> leaves between
kinks -> the outline developed over what lies below -> strips along the warp that fit the roll ->
pieces with named edges and marks. Curves are thinned once, at the very end.

Terms:
    sheet: a layer of cloth or film with what the roll says about it.
    ground: what all layers of a part share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, error, warning
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.ids import piece_id
from plybook.laminate.joints import Blank, join_leaves, join_strips
from plybook.laminate.marks import MarkRule, datum_mark, marks_on
from plybook.laminate.model import Growth, Mark, Piece, SpliceInfo
from plybook.laminate.outline import (
    STEP_MM,
    Stretch,
    divided,
    named_ring,
    on_grid,
    outline_and_edges,
    ring_from,
    run_past,
    thinned,
    thinned_ring,
)
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import dense, extended, holes_of, mean_width_mm, polygons_of, ring_of
from plybook.laminate.splice import (
    PLIES_BETWEEN,
    barred_by_regions,
    barred_by_splices,
    place_splices,
    strips,
    warp_frame,
)
from plybook.spec.model import Layer, PartSpec, SpanBand, SpliceRule
from plybook.surface.model import Face, StrainReport

NARROW_MM = 5.0  # a part no wider than this on average is worth a word


class Development(Protocol):
    """A face raised by what lies below a layer, and its own flat pattern."""

    strain: StrainReport

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) mould-face pattern -> cut frame."""

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) cut frame -> mould-face pattern."""


@dataclass(frozen=True)
class Sheet:
    """A layer of cloth or film with what its roll says."""

    layer: Layer
    kind: str  # "ply" or "film"
    angle_deg: float
    thickness_mm: float
    usable_mm: float  # 0: no limit
    rule: SpliceRule
    may_turn_over: bool = False

    @property
    def overlap_mm(self) -> float:
        """Length of the overlap, 0 for a butt."""
        return self.rule.overlap_mm if self.rule.kind == "overlap" else 0.0


@dataclass(frozen=True)
class PastSplice:
    """A splice already placed, to stagger the next layers against."""

    order: int  # place of its ply in the stack
    angle_deg: float
    line_mm: np.ndarray  # (n, 2) mould-face pattern


@dataclass
class Ground:
    """What all layers of a part share; remembers shapes that several layers have in common."""

    spec: PartSpec
    face: Face
    regions: Regions
    kinks_mm: tuple[float, ...] = ()  # spans where leaves meet
    _parts: dict = field(default_factory=dict)

    @property
    def chord_error_mm(self) -> float:
        """Most a cut line may leave its true curve by."""
        return self.spec.choices.chord_error_mm

    def leaf_bands(self) -> list[SpanBand | None]:
        """One band of the span per leaf, None where the face is one leaf."""
        if not self.kinks_mm:
            return [None]
        ends = [-1e9, *self.kinks_mm, 1e9]
        return [SpanBand(a, b) for a, b in zip(ends, ends[1:], strict=False)]

    def kink_lines(self) -> list[np.ndarray]:
        """The kinks on the pattern, carried past the face."""
        reach = self.regions.plan.reach_mm
        return [extended(self.face.span_line(at), reach, reach) for at in self.kinks_mm]

    def parts(self, region, overlap_mm: float):
        """The region's untouching parts; of each its leaf polygons with named rings.

        Returns:
            list (parts) of lists of (leaf, Polygon, stretches), in order from the root.
        """
        key = (region, overlap_mm if self.kinks_mm else 0.0)
        if key not in self._parts:
            whole = self.ordered(self.regions.trimmed(region))
            self._parts[key] = [self._leaves_of(part, overlap_mm) for part in whole]
        return self._parts[key]

    def ordered(self, shape: BaseGeometry) -> list[Polygon]:
        """Its polygons from root to tip, then upwards (downwards on a right-hand part)."""
        up = -1.0 if self.spec.part.hand == "right" else 1.0
        return sorted(
            polygons_of(shape),
            key=lambda p: (round(p.bounds[0], 1), round(up * p.centroid.y, 1), p.area),
        )

    def _leaves_of(self, part: Polygon, overlap_mm: float):
        plan, lines = self.regions.plan, self.kink_lines()
        found = []
        for leaf, band in enumerate(self.leaf_bands()):
            inside = part if band is None else part.intersection(self.regions.sheet(band))
            for polygon in self.ordered(inside):
                stretches = named_ring(ring_of(polygon), plan, lines)
                if overlap_mm and leaf < len(lines):
                    polygon, stretches = self._with_tab(polygon, stretches, leaf, overlap_mm)
                found.append((leaf, polygon, stretches))
        return found

    def _with_tab(self, polygon, stretches, leaf, overlap_mm):
        tabs = []
        for k, stretch in enumerate(stretches):
            if stretch.kind == "kink" and stretch.index == leaf:
                sides = (stretches[k - 1], stretches[(k + 1) % len(stretches)])
                tabs.append((k, run_past(stretch, sides, overlap_mm)))
        if not tabs:
            return polygon, stretches
        polygon = shapely.union_all([polygon, *(tab for _, tab in tabs)], grid_size=1e-6)
        ends = [
            Stretch(stretches[k].name, "kink", leaf, _outer_side(tab, stretches[k].points_mm))
            for k, tab in tabs
        ]
        others = [s for k, s in enumerate(stretches) if k not in {k for k, _ in tabs}]
        return polygon, divided(polygon, [*others, *ends])


def _outer_side(tab: Polygon, base: np.ndarray) -> np.ndarray:
    ring = shapely.get_coordinates(tab.exterior)[:-1]
    count = len(base)
    start = int(np.argmin(np.hypot(*(ring - base[0]).T)))
    ring = np.roll(ring, -start, axis=0)
    return ring[count:][::-1] if np.allclose(ring[count - 1], base[-1]) else ring[1 : 1 - count]


@dataclass(frozen=True)
class CutSheet:
    """What cutting one layer gives."""

    pieces: tuple[Piece, ...]
    splices: tuple[PastSplice, ...]
    findings: tuple[Finding, ...]


def cut_sheet(
    sheet: Sheet,
    ground: Ground,
    development: Development | None,
    earlier: Sequence[PastSplice] = (),
    order: int = 0,
    rules: Sequence[MarkRule] = (),
    bare_strain: StrainReport | None = None,
) -> CutSheet:
    """All pieces of one layer of cloth or film.

    Args:
        sheet: the layer.
        ground: face, spec and regions.
        development: the face raised by what lies below, None where it is flat.
        earlier: splices of the layers below.
        order: place of this layer among the plies.
        rules: lines to mark wherever they cross a piece.
        bare_strain: strain of the face itself, used where there is no development.
    """
    pieces, splices, findings = [], [], []
    parts = ground.parts(sheet.layer.region, sheet.overlap_mm)
    carry = development.to_cut if development else None
    back = development.from_cut if development else None
    for index, leaves in enumerate(parts):
        cutter = _Cutter(sheet, ground, carry, back, earlier, order)
        blanks = cutter.blanks(leaves)
        for strip, blank in enumerate(blanks):
            blank.id = piece_id(sheet.layer.id, index, len(parts), strip, len(blanks))
        cutter.join(blanks)
        strain = development.strain if development else bare_strain
        for number, blank in enumerate(blanks):
            pieces.append(
                _finished(blank, number, len(blanks), sheet, ground, carry, rules, strain)
            )
        splices.extend(cutter.placed)
        findings.extend(cutter.findings)
    findings.extend(_narrow(pieces, sheet))
    return CutSheet(tuple(pieces), tuple(splices), tuple(findings))


class _Cutter:
    """Splits the leaves of one part into strips and joins them."""

    def __init__(self, sheet, ground, carry, back, earlier, order):
        self.sheet, self.ground = sheet, ground
        self.carry, self.back = carry, back
        self.earlier, self.order = earlier, order
        self.frame = warp_frame(sheet.angle_deg, ground.spec.part.hand)
        self.placed: list[PastSplice] = []
        self.findings: list[Finding] = []
        self._lines: list[tuple[int, int, float]] = []  # leaf, splice number, position

    def blanks(self, leaves) -> list[Blank]:
        """The strips of every leaf, in order from the root, across the warp within a leaf."""
        found = []
        for leaf, polygon, stretches in leaves:
            cut_stretches = [s.carried(self.carry) for s in stretches]
            holes = [self._carried_ring(h) for h in holes_of(polygon)]
            cut = Polygon(ring_from(cut_stretches), holes)
            lines = self._place(cut)
            first = len(self._lines) + 1
            self._lines += [(leaf, first + k, line) for k, line in enumerate(lines)]
            self.placed += [self._past(line, cut) for line in lines]
            found += self._strips(leaf, polygon, stretches, cut, cut_stretches, lines, first)
        return found

    def _carried_ring(self, ring: np.ndarray) -> np.ndarray:
        if self.carry is None:
            return ring
        return np.asarray(self.carry(dense(np.vstack([ring, ring[:1]]), STEP_MM)))[:-1]

    def _place(self, cut: Polygon) -> tuple[float, ...]:
        sheet, frame = self.sheet, self.frame
        at = frame.positions(shapely.get_coordinates(cut.exterior))
        low, high = float(at.min()), float(at.max())
        if sheet.usable_mm <= 0 or high - low <= sheet.usable_mm:
            return ()
        regions = self.ground.regions
        clear = [regions.net(region) for region in sheet.rule.keep_clear]
        barred = []
        for shape in clear:
            barred += barred_by_regions(self._carried_shape(shape), cut, frame, sheet.overlap_mm)
        near = [
            past for past in self.earlier
            if same_direction(past.angle_deg, sheet.angle_deg)
            and self.order - past.order <= PLIES_BETWEEN
        ]  # fmt: skip
        for within in range(PLIES_BETWEEN, 0, -1):
            lines_near = [
                past.line_mm if self.carry is None else np.asarray(self.carry(past.line_mm))
                for past in near if self.order - past.order <= within
            ]  # fmt: skip
            apart = barred_by_splices(lines_near, frame, sheet.rule.stagger_mm)
            lines = place_splices(low, high, sheet.usable_mm, sheet.rule, [*barred, *apart])
            if lines is not None:
                return lines
        self.findings.append(_no_splice(sheet, high - low, bool(barred), bool(near)))
        return place_splices(low, high, sheet.usable_mm, sheet.rule) or ()

    def _carried_shape(self, shape: BaseGeometry) -> BaseGeometry:
        if self.carry is None or shape.is_empty:
            return shape
        return shapely.transform(shapely.segmentize(shape, STEP_MM), lambda p: self.carry(p))

    def _past(self, line: float, cut: Polygon) -> PastSplice:
        at = self.frame.distances(shapely.get_coordinates(cut.exterior))
        points = self.frame.points(np.linspace(at.min(), at.max(), 15), np.full(15, line))
        if self.back is not None:
            points = np.asarray(self.back(points))
        return PastSplice(self.order, self.sheet.angle_deg, points)

    def _strips(self, leaf, polygon, stretches, cut, cut_stretches, lines, first) -> list[Blank]:
        if not lines:
            return [Blank(leaf, 0, (-1, -1), cut_stretches, cut, polygon, stretches)]
        overlap = self.sheet.overlap_mm
        references = list(cut_stretches)
        span = self.frame.distances(shapely.get_coordinates(cut.exterior))
        ends = np.array([span.min() - 10, span.max() + 10])
        for k, line in enumerate(lines):
            for at in {line - overlap / 2, line + overlap / 2}:
                points = self.frame.points(ends, np.array([at, at]))
                references.append(Stretch(f"splice {first + k}", "splice", k, points))
        found = []
        for row, shape in enumerate(strips(cut, lines, self.frame, overlap)):
            below = first + row - 1 if row else -1
            above = first + row if row < len(lines) else -1
            for piece in self.ground.ordered(shape):
                named = divided(piece, references)
                laid = [s.carried(self.back) for s in named]
                holes = [np.asarray(self.back(h)) if self.back else h for h in holes_of(piece)]
                area = Polygon(ring_from(laid), holes)
                found.append(Blank(leaf, row, (below, above), named, piece, area, laid))
        return found

    def join(self, blanks: Sequence[Blank]) -> None:
        """Mates, ticks and overlap lines of every splice and kink."""
        overlap = self.sheet.overlap_mm
        for leaf, number, line in self._lines:
            same = [b for b in blanks if b.leaf == leaf]
            join_strips(same, number, line, overlap, self.frame)
        for index, line in enumerate(self.ground.kink_lines()):
            inner = [b for b in blanks if b.leaf == index]
            outer = [b for b in blanks if b.leaf == index + 1]
            if inner and outer:
                number = len(self._lines) + index + 1
                carries = (self.carry, self.carry)
                join_leaves(inner, outer, f"kink {index + 1}", line, overlap, carries, number)


def same_direction(first_deg: float, second_deg: float) -> bool:
    """Whether two warps run the same way (0 and 180 are one direction)."""
    return abs((first_deg - second_deg + 90.0) % 180.0 - 90.0) < 1.0


def _finished(blank, number, count, sheet, ground, carry, rules, strain) -> Piece:
    error_mm = ground.chord_error_mm
    stretches = thinned(blank.stretches, error_mm)
    outline, edges = outline_and_edges(stretches, blank.mates)
    laid = thinned(blank.laid_stretches, error_mm)
    laid_outline = canonical_ring(ring_from(laid))
    holes = tuple(canonical_ring(thinned_ring(h, error_mm)) for h in holes_of(blank.cut))
    marks = [Mark(m.kind, on_grid(m.points_mm), m.label) for m in blank.marks]
    marks += [
        Mark(m.kind, on_grid(m.points_mm), m.label)
        for m in marks_on(blank.laid, rules, carry, error_mm)
    ]
    corners = [
        np.stack([s.points_mm[0] for s in some]) for some in (blank.laid_stretches, blank.stretches)
    ]
    datum = datum_mark(stretches, *corners, ground.face, ground.spec.part.units)
    marks.append(Mark(datum.kind, on_grid(datum.points_mm), datum.label))
    area = signed_area_mm2(outline) - sum(signed_area_mm2(h) for h in holes)
    splice = None
    if blank.neighbours:
        splice = SpliceInfo(
            number + 1, count, sheet.rule.kind, sheet.overlap_mm, tuple(blank.neighbours)
        )
    tension, squeeze, shear = strain_on(blank.laid, strain)
    return Piece(
        id=blank.id,
        layer=sheet.layer.id,
        kind=sheet.kind,
        material=sheet.layer.material,
        angle_deg=sheet.angle_deg,
        outline_mm=outline,
        holes_mm=holes,
        bag_side_outline_mm=None,
        laid_outline_mm=laid_outline,
        area_mm2=round(area, 2),
        quantity=1,
        stage=sheet.layer.stage,
        thickness_mm=sheet.thickness_mm,
        edges=edges,
        splice=splice,
        marks=tuple(marks),
        growth=growth_of(blank, carry),
        may_turn_over=sheet.may_turn_over,
        strain_pct=(tension, squeeze),
        shear_deg=shear,
        notes=_notes(blank, number, count, sheet),
    )


def _notes(blank: Blank, number: int, count: int, sheet: Sheet) -> tuple[str, ...]:
    words = [sheet.layer.note] if sheet.layer.note else []
    if blank.neighbours:
        kind = "butts against" if not sheet.overlap_mm else f"overlaps {sheet.overlap_mm:g} mm with"
        words.append(f"part {number + 1} of {count}; {kind} {', '.join(blank.neighbours)}")
    return tuple(words)


def growth_of(blank: Blank, carry) -> Growth:
    """How the layers below changed a blank: extents along the axis, longest girth, area."""
    if carry is None:
        return Growth()
    laid, cut = ring_of(blank.laid), ring_of(blank.cut)
    low, high = blank.laid.bounds[0], blank.laid.bounds[2]
    bottom, top = blank.laid.bounds[1] - 1, blank.laid.bounds[3] + 1
    slices = [
        shapely.linestrings([[x, bottom], [x, top]]).intersection(blank.laid)
        for x in np.linspace(low, high, 23)[1:-1]
    ]
    lines = [g for s in slices for g in shapely.get_parts(s) if g.geom_type == "LineString"]
    across = 0.0
    if lines:
        longest = max(lines, key=lambda g: g.length)
        ends = np.asarray(carry(shapely.get_coordinates(longest)))
        across = float(np.hypot(*(ends[-1] - ends[0])) - longest.length)
    area = 100 * (blank.cut.area / blank.laid.area - 1)
    along = float(np.ptp(cut[:, 0]) - np.ptp(laid[:, 0]))
    return Growth(round(along, 4), round(across, 4), round(area, 5))


def strain_on(laid: BaseGeometry, strain: StrainReport | None) -> tuple[float, float, float]:
    """Largest tension, largest compression (both >= 0) in percent, and shear, under a piece."""
    if strain is None or not len(strain.faces):
        return 0.0, 0.0, 0.0
    middle = strain.nodes_mm[strain.faces].mean(axis=1)
    shapely.prepare(laid)
    inside = shapely.contains_xy(laid, middle[:, 0], middle[:, 1])
    if not inside.any():
        return 0.0, 0.0, 0.0
    here = strain.strain_pct[inside]
    shear = strain.largest_shear_deg if inside.all() else 0.0
    return round(max(0.0, float(here.max())), 4), round(max(0.0, -float(here.min())), 4), shear


def _narrow(pieces: Sequence[Piece], sheet: Sheet) -> list[Finding]:
    slim = [
        p.id for p in pieces
        if mean_width_mm(Polygon(p.outline_mm)) < NARROW_MM
    ]  # fmt: skip
    if not slim:
        return []
    return [
        warning(
            "piece-very-narrow",
            f"{', '.join(slim)} of layer {sheet.layer.id} is under {NARROW_MM:g} mm wide on average",
            "check the distances of its region; such a strip cannot be handled",
            sheet.layer.place,
            layers=(sheet.layer.id,),
        )
    ]


def _no_splice(sheet: Sheet, extent_mm: float, barred: bool, staggered: bool) -> Finding:
    rule = sheet.rule
    ways = []
    if barred:
        ways.append("make the regions kept clear smaller")
    if staggered:
        ways.append(f"allow a stagger under {rule.stagger_mm:g} mm")
    if rule.narrowest_mm:
        ways.append(f"allow strips narrower than {rule.narrowest_mm:g} mm")
    ways.append("use a wider roll or another angle")
    return error(
        "splice-impossible",
        f"layer {sheet.layer.id} is {extent_mm:.0f} mm across the warp at {sheet.angle_deg:g}°, the "
        f"roll gives {sheet.usable_mm:g} mm, and no set of splices obeys its rules",
        "; or ".join(ways),
        sheet.layer.place,
        layers=(sheet.layer.id,),
    )
