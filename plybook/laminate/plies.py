"""From a layer of cloth to its pieces.

The way of a ply: its region with the trim allowance -> parts that do not touch -> leaves between
kinks -> the outline developed over what lies below -> strips along the warp that fit the roll ->
pieces with named edges and marks. Curves are thinned once, at the very end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, error, note, warning
from plybook.laminate.breakproof import break_joint
from plybook.laminate.finish import finished
from plybook.laminate.ground import Ground, Sheet, with_tabs
from plybook.laminate.ids import piece_id
from plybook.laminate.joints import Blank, join_leaves, join_strips
from plybook.laminate.marks import MarkRule
from plybook.laminate.model import BreakJoint, Piece
from plybook.laminate.outline import (
    STEP_MM,
    Carry,
    Stretch,
    carried_lines,
    carried_stretches,
    divided,
    ring_from,
)
from plybook.laminate.raising import LeafMaps, Strains
from plybook.laminate.shapes import holes_of, mean_width_mm, ring_of
from plybook.laminate.splice import (
    PLIES_BETWEEN,
    barred_by_regions,
    barred_by_splices,
    place_splices,
    strips,
    warp_frame,
)
from plybook.laminate.way import STAY, Way, darted, draped
from plybook.spec.model import Ply
from plybook.surface.darts import Below, DartPlan, over
from plybook.surface.raised import UNRAISED
from plybook.units import mm

NARROW_MM = 5.0  # a part no wider than this on average is worth a word
TAPE_MM = 250.0  # woven goods no wider are sold as tape; common practice, no source


@dataclass(frozen=True)
class PastSplice:
    """A splice already placed, to stagger the next layers against."""

    order: int  # place of its ply in the stack
    angle_deg: float
    line_mm: np.ndarray  # (n, 2) mould-face pattern


@dataclass(frozen=True)
class CutSheet:
    """What cutting one layer gives."""

    pieces: tuple[Piece, ...]
    splices: tuple[PastSplice, ...]
    findings: tuple[Finding, ...]
    joints: tuple[Callable[[], BreakJoint], ...]  # at the breaks of the face; made when asked for


def cut_sheet(
    sheet: Sheet,
    ground: Ground,
    maps: LeafMaps | None,
    earlier: Sequence[PastSplice] = (),
    order: int = 0,
    rules: Sequence[Sequence[MarkRule]] = (),
    strains: Strains | None = None,
) -> CutSheet:
    """All pieces of one layer of cloth or film.

    Args:
        sheet: the layer.
        ground: face, spec and regions.
        maps: from the mould face to the cut frame, None where they are the same.
        earlier: splices of the layers below.
        order: place of this layer among the plies.
        rules: by leaf, lines to mark wherever they cross a piece.
        strains: what the face itself and what lies below strain the cloth by.
    """
    pieces, splices, findings, joints = [], [], [], []
    meetings = ground.meetings(maps.fields if maps else ())
    parts = ground.parts(sheet.layer.region, meetings)
    for index, leaves in enumerate(parts):
        cutter = _Cutter(sheet, ground, maps, earlier, order, strains, meetings)
        blanks = cutter.blanks(leaves)
        for strip, blank in enumerate(blanks):
            blank.id = piece_id(sheet.layer.id, index, len(parts), strip, len(blanks))
        cutter.join(blanks)
        for number, blank in enumerate(blanks):
            pieces.append(
                finished(
                    blank,
                    number,
                    len(blanks),
                    sheet,
                    ground,
                    rules[blank.leaf] if rules else (),
                    strains,
                )
            )
        splices.extend(cutter.placed)
        findings.extend(cutter.findings)
        joints.extend(cutter.joints)
    findings.extend(_narrow(pieces, sheet))
    findings.extend(_strips_of_tape(splices, sheet, ground))
    return CutSheet(tuple(pieces), tuple(splices), tuple(findings), tuple(joints))


class _Cutter:
    """Splits the leaves of one part into strips and joins them."""

    def __init__(self, sheet, ground, maps, earlier, order, strains, meetings):
        self.sheet, self.ground, self.maps, self.meetings = sheet, ground, maps, meetings
        self.earlier, self.order, self.strains = earlier, order, strains
        self.frame = warp_frame(sheet.angle_deg, ground.spec.part.hand)
        self.placed: list[PastSplice] = []
        self.findings: list[Finding] = []
        self.joints: list[Callable[[], BreakJoint]] = []
        self._lines: list[tuple[int, int, float]] = []  # leaf, splice number, position

    def _way(self, leaf: int, polygon: Polygon) -> Way:
        """From the mould face to the cut frame for one leaf of the part."""
        raised = self.maps.leaf(leaf) if self.maps else None
        way = STAY
        if raised is not None and not raised.unraised:
            way = Way(raised.to_cut, raised.from_cut, raised.strain_at)
        layer = self.sheet.layer
        if not isinstance(layer, Ply) or self.ground.face.flat:
            return way
        cloth = self.ground.spec.materials.cloths[layer.material]
        if layer.drape == "lay":
            return self._within_limit(layer, leaf, polygon, way, cloth.strain_limit_pct)
        ring, below = ring_of(polygon), raised or UNRAISED
        way = draped(self.ground.views[leaf].face, ring, self.sheet.angle_deg, cloth, below)
        if way.locked_share > 0:
            self.findings.append(_locks(self.sheet, way, cloth.locking_deg))
        return way

    def _within_limit(
        self, layer: Ply, leaf: int, polygon: Polygon, way: Way, limit_pct: float
    ) -> Way:
        """The way as it is, or with darts where the face strains the cloth past its limit."""
        strain = self.strains.of_face(polygon) if self.strains else 0.0
        if not limit_pct or strain <= limit_pct:
            return way
        plan = self.ground.dart_plan(polygon, limit_pct, leaf)
        if plan is not None and layer.darts and self.maps is not None:
            field = self.maps.fields[leaf]
            face = self.ground.views[leaf].face
            plan = over(plan, face, ring_of(polygon), Below(field, field.break_lines))
        self.findings.append(_strained(layer, strain, limit_pct, plan))
        return darted(plan) if plan is not None and layer.darts else way

    def blanks(self, leaves) -> list[Blank]:
        """The strips of every leaf, in order from the root, across the warp within a leaf."""
        found = []
        overlap = self.sheet.overlap_mm
        for leaf, bare, bare_stretches in leaves:
            polygon, stretches = with_tabs(bare, bare_stretches, leaf, overlap)
            way = self._way(leaf, polygon)
            cut, cut_stretches = polygon, stretches
            if way.carry is not None:
                cut_stretches = carried_stretches(bare_stretches, way.carry)
                holes = [_carried_ring(h, way.carry) for h in holes_of(bare)]
                cut = Polygon(ring_from(cut_stretches), holes)
                if way.outline_mm is not None:
                    cut = Polygon(way.outline_mm, holes)
                    darts = [
                        Stretch(f"dart {k}", "dart", k, wedge)
                        for k, wedge in enumerate(way.darts_mm, 1)
                    ]
                    cut_stretches = divided(cut, [*cut_stretches, *darts])
                cut, cut_stretches = with_tabs(cut, cut_stretches, leaf, overlap)
            lines = self._place(cut, way.carry, leaf)
            first = len(self._lines) + 1
            self._lines += [(leaf, first + k, line) for k, line in enumerate(lines)]
            self.placed += [self._past(line, cut, way) for line in lines]
            whole = Blank(leaf, 0, (-1, -1), cut_stretches, cut, polygon, stretches, way)
            found += self._strips(whole, lines, first)
        return found

    def _place(self, cut: Polygon, carry: Carry | None, leaf: int) -> tuple[float, ...]:
        sheet, frame = self.sheet, self.frame
        at = frame.positions(shapely.get_coordinates(cut.exterior))
        low, high = float(at.min()), float(at.max())
        grown = self.ground.growth_mm
        if sheet.usable_mm > 0 and abs(high - low - sheet.usable_mm) < grown:
            self.ground.unsure.append(sheet.layer.id)
        low, high = low - grown / 2, high + grown / 2
        if sheet.usable_mm <= 0 or high - low <= sheet.usable_mm:
            return ()
        clear = self._clear(cut, carry, leaf)
        kept = sorted(clear, key=lambda interval: interval[0] - interval[1])  # widest first
        while True:
            lines = self._staggered(low, high, kept, carry)
            if lines is not None or not kept:
                break
            kept = kept[1:]  # one that no set of splices can keep clear of
        if lines is None:
            self.findings.append(_no_splice(sheet, high - low, bool(self._near())))
            return place_splices(low, high, sheet.usable_mm, sheet.rule) or ()
        if len(kept) < len(clear):
            self.findings.append(_crosses_clear(sheet))
        return lines

    def _clear(self, cut: Polygon, carry: Carry | None, leaf: int) -> list[tuple[float, float]]:
        """Positions barred by the regions to be kept clear of splices."""
        found = []
        for region in self.sheet.rule.keep_clear:
            shape = _carried_shape(self.ground.views[leaf].net(region), carry)
            found += barred_by_regions(shape, cut, self.frame, self.sheet.overlap_mm)
        return found

    def _near(self) -> list[PastSplice]:
        """Splices of the plies below that run the same way and lie near in the stack."""
        return [
            past
            for past in self.earlier
            if same_direction(past.angle_deg, self.sheet.angle_deg)
            and self.order - past.order <= PLIES_BETWEEN
        ]

    def _staggered(self, low, high, barred, carry: Carry | None) -> tuple[float, ...] | None:
        """Splices staggered against as many of the near plies as can be, at least the last."""
        sheet, near = self.sheet, self._near()
        for within in range(PLIES_BETWEEN, 0, -1):
            lines = [p.line_mm for p in near if self.order - p.order <= within]
            if carry is not None:
                lines = [np.asarray(carry(line)) for line in lines]
            apart = barred_by_splices(lines, self.frame, sheet.rule.stagger_mm)
            placed = place_splices(low, high, sheet.usable_mm, sheet.rule, [*barred, *apart])
            if placed is not None:
                return placed
        return None

    def _past(self, line: float, cut: Polygon, way: Way) -> PastSplice:
        at = self.frame.distances(shapely.get_coordinates(cut.exterior))
        points = self.frame.points(np.linspace(at.min(), at.max(), 15), np.full(15, line))
        if way.back is not None:
            points = np.asarray(way.back(points))
        return PastSplice(self.order, self.sheet.angle_deg, points)

    def _strips(self, whole: Blank, lines, first: int) -> list[Blank]:
        if not lines:
            return [whole]
        overlap = self.sheet.overlap_mm
        references = list(whole.stretches)
        references += [  # a splice through an opening leaves its rim on the outlines of both parts
            Stretch("opening", "free", -1, np.vstack([hole, hole[:1]]))
            for hole in holes_of(whole.cut)
        ]
        span = self.frame.distances(shapely.get_coordinates(whole.cut.exterior))
        ends = np.array([span.min() - 10, span.max() + 10])
        for k, line in enumerate(lines):
            for at in sorted({line - overlap / 2, line + overlap / 2}):
                points = self.frame.points(ends, np.array([at, at]))
                references.append(Stretch(f"splice {first + k}", "splice", k, points))
        found, back = [], whole.way.back
        for row, shape in enumerate(strips(whole.cut, lines, self.frame, overlap)):
            splices = (first + row - 1 if row else -1, first + row if row < len(lines) else -1)
            for piece in self.ground.ordered(shape):
                named = divided(piece, references)
                laid = carried_stretches(named, back)
                area = Polygon(ring_from(laid), [_carried_ring(h, back) for h in holes_of(piece)])
                found.append(Blank(whole.leaf, row, splices, named, piece, area, laid, whole.way))
        return found

    def join(self, blanks: Sequence[Blank]) -> None:
        """Mates, ticks and overlap lines of every splice and kink."""
        overlap = self.sheet.overlap_mm
        for leaf, number, line in self._lines:
            same = [b for b in blanks if b.leaf == leaf]
            join_strips(same, number, line, overlap, self.frame)
        for meeting in self.meetings:
            inner = [b for b in blanks if b.leaf == meeting.number]
            outer = [b for b in blanks if b.leaf == meeting.number + 1]
            number = len(self._lines) + meeting.number + 1
            pairs = join_leaves(inner, outer, meeting, overlap, number)
            self.joints += [
                partial(
                    break_joint,
                    meeting,
                    self.ground.face,
                    (first.id, second.id),
                    (first.way.carry, second.way.carry),
                    (first.way.strain_at, second.way.strain_at),
                    self.maps.fields if self.maps else (),
                    overlap,
                    (start, end),
                )
                for first, second, start, end in pairs
            ]


def _carried_ring(ring: np.ndarray, carry: Carry | None) -> np.ndarray:
    if carry is None:
        return ring
    return carried_lines([np.vstack([ring, ring[:1]])], carry)[0][:-1]


def _carried_shape(shape: BaseGeometry, carry: Carry | None) -> BaseGeometry:
    if carry is None or shape.is_empty:
        return shape
    return shapely.transform(shapely.segmentize(shape, STEP_MM), carry)


def same_direction(first_deg: float, second_deg: float) -> bool:
    """Whether two warps run the same way (0 and 180 are one direction)."""
    return abs((first_deg - second_deg + 90.0) % 180.0 - 90.0) < 1.0


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
            f"{', '.join(slim)} of layer {sheet.layer.id}: under {mm(NARROW_MM):g} wide on average",
            "check the distances of its region; such a strip cannot be handled",
            sheet.layer.place,
            layers=(sheet.layer.id,),
        )
    ]


def _strips_of_tape(
    splices: Sequence[PastSplice], sheet: Sheet, ground: Ground
) -> Iterator[Finding]:
    """Woven cloth so narrow that it is tape, laid side by side to cover a face."""
    cloth = ground.spec.materials.cloths.get(sheet.layer.material)
    if cloth is None or not splices or cloth.weave == "unidirectional":
        return
    if cloth.roll_width_mm < TAPE_MM:
        yield warning(
            "implausible-roll",
            f"layer {sheet.layer.id} is pieced together of strips, because the roll of "
            f"`{cloth.id}` is {mm(cloth.roll_width_mm):g} wide",
            f"is `roll` right? woven cloth is sold in widths like `{mm(1000):g}` or `50 in`; what "
            f"is narrower than {mm(TAPE_MM):g} is tape for edges and corners",
            sheet.layer.place,
            cloth.place,
            layers=(sheet.layer.id,),
        )


def _crosses_clear(sheet: Sheet) -> Finding:
    return warning(
        "splice-crosses-clear-region",
        f"splices of layer {sheet.layer.id} cross a region to be kept clear of them; at "
        f"its angle, every set of splices on a roll of {mm(sheet.usable_mm):g} does",
        "accept it with a reason, use a wider roll, or lay this ply along the region",
        sheet.layer.place,
        layers=(sheet.layer.id,),
    )


def _strained(layer: Ply, strain: float, limit_pct: float, plan: DartPlan | None) -> Finding:
    found = f"the face strains layer {layer.id} by {strain:.2f} %, its cloth takes {limit_pct:g} %"
    if plan is None:
        remedy = "split the ply where it curves most, or drape it as a net if it is woven"
        return warning("strain-over-limit", found, remedy, layer.place, layers=(layer.id,))
    depth = max(dart.length_mm for dart in plan.darts)
    darts = f"{len(plan.darts)} darts up to {mm(depth):.0f} deep"
    if layer.darts:
        message = f"{found}; {darts} are cut and leave {plan.after_pct:.2f} %"
        say = note if plan.within_limit else warning
        return say("darts-cut", message, "", layer.place, layers=(layer.id,))
    return warning(
        "strain-over-limit",
        found,
        f"{darts} would leave {plan.after_pct:.2f} %: write `darts: yes` to have them cut",
        layer.place,
        layers=(layer.id,),
    )


def _locks(sheet: Sheet, way: Way, locking_deg: float) -> Finding:
    return warning(
        "cloth-locks",
        f"{100 * way.locked_share:.0f} % of layer {sheet.layer.id} is sheared past the "
        f"{locking_deg:g}° its cloth takes (largest {way.shear_deg:.1f}°): it will wrinkle there",
        "split the ply, start it in another place, or take a cloth that drapes further",
        sheet.layer.place,
        layers=(sheet.layer.id,),
    )


def _no_splice(sheet: Sheet, extent_mm: float, staggered: bool) -> Finding:
    rule = sheet.rule
    ways = []
    if sheet.usable_mm < rule.narrowest_mm:
        ways.append("check the width of the roll and its unit")
    if staggered:
        ways.append(f"allow a stagger under {mm(rule.stagger_mm):g}")
    if rule.narrowest_mm:
        ways.append(f"allow strips narrower than {mm(rule.narrowest_mm):g}")
    ways.append("use a wider roll or another angle")
    return error(
        "splice-impossible",
        f"layer {sheet.layer.id} is {mm(extent_mm):.0f} across its warp, "
        f"the roll gives {mm(sheet.usable_mm):g}, and no set of splices obeys its rules",
        "; or ".join(ways),
        sheet.layer.place,
        layers=(sheet.layer.id,),
    )
