"""What all layers of a part share: its face, its regions, its leaves.

Terms:
    ground: all of that, with shapes that several layers have in common kept.
    sheet: a layer of cloth or film with what its roll says.
    part: a piece of a region that touches no other; a part may lie on several leaves.
    tab: what an inner leaf's ply runs on past a kink, to be overlapped by the next leaf's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import GeometryError
from plybook.laminate.heights import HeightField
from plybook.laminate.outline import Stretch, divided, named_ring
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import NearLine, at_rows, polygons_of, ring_of, running
from plybook.laminate.trim import arriving, far_side, run_on
from plybook.laminate.viewjoin import views_on
from plybook.spec.model import Core, Film, Layer, Materials, PartSpec, Ply, SpliceRule
from plybook.surface.breaks import Break, breaks_of, views_of
from plybook.surface.darts import DartPlan, propose_darts
from plybook.surface.model import Face

NO_SPLICE = SpliceRule("butt", 0.0, 0.0, 50.0)
LEAST_JOINT_MM = 10.0  # pieces that meet over less than this are not neighbours
LEAST_SHORT_MM = 0.02  # a layer that would end less than this off a break ends on it
_FAR_MM = 1e5  # beyond every face


@dataclass(frozen=True)
class Sheet:
    """A layer of cloth or film with what its roll says."""

    layer: Layer
    kind: Literal["ply", "film"]
    angle_deg: float
    thickness_mm: float
    usable_mm: float  # 0: no limit
    rule: SpliceRule
    may_turn_over: bool = False

    @property
    def overlap_mm(self) -> float:
        """Length of the overlap, 0 for a butt."""
        return self.rule.overlap_mm if self.rule.kind == "overlap" else 0.0


def sheet_of(layer: Ply | Film, materials: Materials) -> Sheet:
    """A layer with what its roll says about it."""
    if isinstance(layer, Ply):
        cloth = materials.cloths[layer.material]
        return Sheet(
            layer, "ply", layer.angle_deg, cloth.thickness_mm, cloth.usable_width_mm,
            layer.splice or cloth.splice, layer.may_turn_over and cloth.faces_alike,
        )  # fmt: skip
    film = materials.consumables[layer.material]
    return Sheet(layer, "film", 0.0, film.thickness_mm, film.roll_width_mm, NO_SPLICE, True)


def sheets_of(
    layer: Core, spec: PartSpec, endless: bool = False
) -> tuple[tuple[float, float], ...]:
    """Sizes of the whole sheets on the shelf that a core can be cut from; only those that can
    be had in any number where `endless`."""
    return tuple(
        (item.length_mm, item.width_mm)
        for item in spec.stock
        if (item.kind, item.material) == ("sheet", layer.material)
        and item.outline_mm is None
        and not (endless and item.quantity)
    )


@dataclass(frozen=True)
class Meeting:
    """Where the pieces of one layer end at a break; rows are the same places in all arrays.

    On a layer that lies above the face the two sides meet in the plane that halves the angle, so
    each ends short of the break, or runs past it, by its height times the tangent of half of it.

    Attributes:
        number: of the leaf towards the root.
        lines_mm: (n, 2) twice, on the leaf towards the root and on the next, pattern frame.
        along_mm: (n,) distance along the first line.
        height_mm: (n,) of the layer above the face; the edge of a thin layer is no step in it.
        closing: (n,) tangent of half the angle that the face turns by, positive where the bag
            side is hollow.
        net_mm: from where to where along it the part reaches; the lines run past it.
    """

    number: int
    span_mm: float
    lines_mm: tuple[np.ndarray, np.ndarray]
    along_mm: np.ndarray
    height_mm: np.ndarray
    closing: np.ndarray
    net_mm: tuple[float, float]

    @property
    def name(self) -> str:
        """Of the sides that meet there."""
        return f"kink {self.number + 1}"

    def along(self, side: int, points_mm: np.ndarray) -> np.ndarray:
        """(n,) how far along the break points of one side's pattern lie."""
        at = NearLine(self.lines_mm[side]).along_mm(points_mm)
        return np.interp(at, running(self.lines_mm[side]), self.along_mm)

    def place(self, side: int, along_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places of the break on one side's pattern."""
        columns = self.lines_mm[side].T
        return np.column_stack([np.interp(along_mm, self.along_mm, c) for c in columns])

    def beside(self, side: int, along_mm: np.ndarray, by_mm: float) -> np.ndarray:
        """(n, 2) points of one side's pattern `by_mm` back from the break, square to it."""
        ahead, back = (self.place(side, along_mm + step) for step in (0.5, -0.5))
        step = ahead - back
        step /= np.hypot(*step.T)[:, None]
        square = np.column_stack([step[:, 1], -step[:, 0]])
        square[square[:, 0] < 0] *= -1.0  # towards the tip
        return self.place(side, along_mm) + square * (by_mm if side else -by_mm)


def creases_on(line: np.ndarray, at: np.ndarray, field: HeightField) -> np.ndarray:
    """Where a line crosses the creases of a height; `at` says what its points are counted by."""
    creases = MultiLineString([shapely.linestrings(c) for c in field.break_lines])
    met = shapely.linestrings(line).intersection(creases)
    spots = shapely.line_locate_point(shapely.linestrings(line),
                                      shapely.points(shapely.get_coordinates(met)))  # fmt: skip
    return np.interp(spots, running(line), at)


@dataclass
class Ground:
    """What all layers of a part share; remembers shapes that several layers have in common."""

    spec: PartSpec
    face: Face
    regions: Regions
    growth_mm: float = 0.0  # how much larger or smaller a cut may turn out than it is taken for
    marked: bool = True  # False: pieces are only looked at, and nothing is drawn on them
    unsure: list[str] = field(default_factory=list)  # layers of which that may change the splices
    _parts: dict = field(default_factory=dict)
    dart_plans: dict = field(default_factory=dict)

    def anew(self) -> Ground:
        """The same face and regions; of layers only the plans of their darts are remembered."""
        fresh = Ground(self.spec, self.face, self.regions, dart_plans=self.dart_plans)
        fresh.breaks, fresh.views = self.breaks, self.views
        return fresh

    @property
    def chord_error_mm(self) -> float:
        """Most a cut line may leave its true curve by."""
        return self.spec.choices.chord_error_mm

    @cached_property
    def views(self) -> tuple[Regions, ...]:
        """The regions as seen from each leaf of the face."""
        return views_on(self.regions, views_of(self.face), self.breaks)

    @cached_property
    def breaks(self) -> tuple[Break, ...]:
        """The breaks between leaves, carried past the face."""
        return breaks_of(self.face, self.regions.plan.reach_mm)

    def meetings(self, fields: Sequence[HeightField] = ()) -> tuple[Meeting, ...]:
        """Where pieces that lie on the heights given, by leaf, end at the breaks."""
        found = []
        for one in self.breaks:
            height = np.zeros(len(one.closing))
            lines = (one.inner_mm, one.outer_mm)
            closing = one.closing
            at = rows = np.arange(len(closing), dtype=float)
            if fields:
                pair = fields[one.number], fields[one.number + 1]
                more = [
                    creases_on(line, at, field) for line, field in zip(lines, pair, strict=True)
                ]
                rows = np.union1d(at, np.concatenate(more))
                lines = at_rows(lines[0], rows), at_rows(lines[1], rows)
                closing = np.interp(rows, at, closing)
                height = np.mean([f(line) for f, line in zip(pair, lines, strict=True)], axis=0)
            short = height * closing
            if np.abs(short).max() > LEAST_SHORT_MM:
                lines = (_moved_on(lines[0], -short), _moved_on(lines[1], short))
            along = running(lines[0])
            first, last = np.interp((at[1], at[-2]), rows, along)  # beyond, the lines run past it
            net = (float(first), float(last))
            found.append(Meeting(one.number, one.span_mm, lines, along, height, closing, net))
        return tuple(found)

    def parts(self, region, meetings: Sequence[Meeting] = ()):
        """The region's untouching parts; of each its leaf polygons with named rings.

        Args:
            meetings: where the layer ends at the breaks; those of the bare face if not said.

        Returns:
            list (parts) of lists of (leaf, Polygon, stretches), in order from the root.
        """
        if not self.breaks:
            if region not in self._parts:
                self._parts[region] = [
                    [(0, part, named_ring(ring_of(part), self.regions.plan))]
                    for part in self.ordered(self.regions.trimmed(region))
                ]
            return self._parts[region]
        meetings = meetings or self.meetings()
        key = (region, *(m.lines_mm[0].tobytes() for m in meetings))
        if key not in self._parts:
            self._parts[key] = self._over_leaves(region, meetings)
        return self._parts[key]

    def on_leaf(self, shape: BaseGeometry, leaf: int, meetings: Sequence[Meeting]) -> BaseGeometry:
        """What of a shape, as seen from a leaf, lies between the breaks at its two ends."""
        for meeting in meetings:
            if meeting.number == leaf - 1:
                shape = shape.difference(_side_of(meeting.lines_mm[1], -1.0))
            elif meeting.number == leaf:
                shape = shape.difference(_side_of(meeting.lines_mm[0], 1.0))
        return shape

    def dart_plan(self, polygon: Polygon, limit_pct: float, leaf: int = 0) -> DartPlan | None:
        """Darts that would bring a ply's strain down, proved by laying it flat with them.

        Raises:
            GeometryError: the ply folds on itself, whoever asks.
        """
        key = (polygon.wkb, limit_pct)
        if key not in self.dart_plans:
            face = self.views[leaf].face
            try:
                self.dart_plans[key] = propose_darts(face, ring_of(polygon), limit_pct)
            except GeometryError as folds:
                self.dart_plans[key] = folds
        plan = self.dart_plans[key]
        if isinstance(plan, GeometryError):
            raise plan
        return plan

    def ordered(self, shape: BaseGeometry) -> list[Polygon]:
        """Its polygons from root to tip, then upwards (downwards on a right-hand part)."""
        return sorted(polygons_of(shape), key=self._place)

    def _place(self, polygon: Polygon, *more: Polygon) -> tuple[float, float, float]:
        """What polygons are put in order by; of several together the first is nearest the root."""
        up = -1.0 if self.spec.part.hand == "right" else 1.0
        whole = shapely.GeometryCollection([polygon, *more]) if more else polygon
        return round(polygon.bounds[0], 1), round(up * whole.centroid.y, 1), whole.area

    def _over_leaves(self, region, meetings: Sequence[Meeting]):
        """As `parts`, leaf by leaf; what meets across a break is one part."""
        pieces, ends = [], []  # (leaf, polygon, stretches); of each, where it lies along its breaks
        for leaf, view in enumerate(self.views):
            lines = {m.number: m.lines_mm[leaf - m.number] for m in meetings
                     if m.number in (leaf - 1, leaf)}  # fmt: skip
            own = self.on_leaf(view.net(region), leaf, self.meetings())
            for polygon in self.ordered(self.on_leaf(view.trimmed(region), leaf, meetings)):
                if not polygons_of(polygon.intersection(own)):
                    continue  # nothing but allowance, or what a thick layer runs past the break
                stretches = named_ring(ring_of(polygon), view.plan, lines)
                ends.append(_along_breaks(leaf, stretches, meetings))
                pieces.append((leaf, polygon, stretches))
        parts = [[pieces[i] for i in group] for group in _touching(ends)]
        return sorted(parts, key=lambda part: self._place(*(polygon for _, polygon, _ in part)))


def _moved_on(line: np.ndarray, by_mm: np.ndarray) -> np.ndarray:
    """The line with each point moved square to it, towards the tip where positive."""
    along = np.gradient(line, axis=0)
    along /= np.hypot(*along.T)[:, None]
    square = np.column_stack([along[:, 1], -along[:, 0]])
    square[square[:, 0] < 0] *= -1.0
    return line + square * by_mm[:, None]


def _side_of(line: np.ndarray, sign: float) -> BaseGeometry:
    """Everything on the side of a break towards the tip (1) or the root (-1), above and below the
    ends of its line too."""
    up = np.array([0.0, np.copysign(_FAR_MM, line[-1, 1] - line[0, 1])])
    line = np.vstack([line[0] - up, line, line[-1] + up])
    side = Polygon(np.vstack([line, line[::-1] + np.array([sign * _FAR_MM, 0.0])]))
    return side if side.is_valid else side.buffer(0)


def _along_breaks(leaf: int, stretches: Sequence[Stretch], meetings: Sequence[Meeting]):
    """(number of the break, from, to) of every side of a piece that lies on a break."""
    by_number = {meeting.number: meeting for meeting in meetings}
    found = []
    for stretch in stretches:
        if stretch.kind == "kink":
            at = by_number[stretch.index].along(leaf - stretch.index, stretch.points_mm)
            found.append((stretch.index, float(at.min()), float(at.max())))
    return found


def _touching(ends: Sequence[list[tuple[int, float, float]]]) -> list[list[int]]:
    """Pieces grouped by what meets across a break; `ends` says where each lies along them."""
    group = list(range(len(ends)))
    for i, mine in enumerate(ends):
        for j, theirs in enumerate(ends[:i]):
            meets = any(
                a[0] == b[0] and min(a[2], b[2]) - max(a[1], b[1]) >= LEAST_JOINT_MM
                for a in mine
                for b in theirs
            )
            if meets and group[i] != group[j]:
                group = [group[j] if g == group[i] else g for g in group]
    return [[i for i, g in enumerate(group) if g == one] for one in dict.fromkeys(group)]


def with_tabs(
    polygon: Polygon, stretches: list[Stretch], leaf: int, overlap_mm: float
) -> tuple[Polygon, list[Stretch]]:
    """A leaf's polygon run on past its outer break by the overlap, square to it everywhere."""
    tabs, others = [], list(stretches)
    if not overlap_mm:
        return polygon, stretches
    for k, stretch in enumerate(stretches):
        if (stretch.kind, stretch.index) != ("kink", leaf):
            continue
        before, after = k - 1, (k + 1) % len(stretches)
        sides = (arriving(stretches[before].points_mm), arriving(stretches[after].points_mm[::-1]))
        tab, line_mm = run_on(stretch.points_mm, overlap_mm, sides)
        end_mm = far_side(tab, line_mm, overlap_mm)
        tabs.append(tab)
        others[k] = replace(stretch, points_mm=end_mm)
        # one after the other: a piece of two sides has the same one before and after
        coming = np.vstack([others[before].points_mm, end_mm[:1]])
        others[before] = replace(others[before], points_mm=coming)
        going = np.vstack([end_mm[-1:], others[after].points_mm])
        others[after] = replace(others[after], points_mm=going)
    if not tabs:
        return polygon, stretches
    whole = shapely.union_all([polygon, *tabs], grid_size=1e-6)
    polygon = max(polygons_of(whole), key=lambda part: part.area)
    return polygon, divided(polygon, others)
