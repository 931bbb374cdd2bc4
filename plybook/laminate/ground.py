"""What all layers of a part share: its face, its regions, its leaves.

Terms:
    ground: all of that, with shapes that several layers have in common kept.
    sheet: a layer of cloth or film with what its roll says.
    part: a piece of a region that touches no other; a part may lie on several leaves.
    tab: what an inner leaf's ply runs on past a kink, to be overlapped by the next leaf's.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.laminate.outline import Stretch, divided, named_ring, run_past
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import extended, polygons_of, ring_of
from plybook.spec.model import Layer, PartSpec, SpanBand, SpliceRule
from plybook.surface.darts import DartPlan, propose_darts
from plybook.surface.model import Face


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


@dataclass
class Ground:
    """What all layers of a part share; remembers shapes that several layers have in common."""

    spec: PartSpec
    face: Face
    regions: Regions
    kinks_mm: tuple[float, ...] = ()  # spans where leaves meet
    growth_mm: float = 0.0  # how much larger or smaller a cut may turn out than it is taken for
    marked: bool = True  # False: pieces are only looked at, and nothing is drawn on them
    unsure: list[str] = field(default_factory=list)  # layers of which that may change the splices
    _parts: dict = field(default_factory=dict)
    _plans: dict = field(default_factory=dict)

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

    def dart_plan(self, polygon: Polygon, limit_pct: float) -> DartPlan | None:
        """Darts that would bring a ply's strain down, proved by laying it flat with them."""
        key = (polygon.wkb, limit_pct)
        if key not in self._plans:
            self._plans[key] = propose_darts(self.face, ring_of(polygon), limit_pct)
        return self._plans[key]

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
