"""How high a layer lies above the mould face: everything below it, ramps included.

Terms:
    rise: what one layer adds at a point, mm.
    ramp: the slope of a bevelled core edge, inside the region where the wide side is the mould's.
    break line: where the height has a kink; a mesh of the raised face should follow it.

A core rises as min(t, d tan a), d the distance to its bevelled edge, the least over all edges. A
square edge, and a core wide on its bag side, end in a steep fall outside the region, so that the
cloth over it counts the wall. A ply adds its thickness within its region and nothing outside. An
insert in a core adds only what it stands proud of that core, for the hole in the core is counted
as full. Beyond the net line the height runs on as it is at the net line.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from plybook.laminate.bevel import bevel_run_mm, polygons, rings_of, set_back
from plybook.laminate.panels import label_ring
from plybook.laminate.sides import SidedRegion
from plybook.spec.model import Treatment

WALL_DEG = 80.0  # slope that stands for a square edge, so that a mesh can follow it
_ON_EDGE_MM = 0.005  # a point this near outside counts as inside
_NUDGE_MM = 0.02


@dataclass(frozen=True)
class Rise:
    """What one layer adds.

    Attributes:
        layer: its id (not part of the key).
        region: where it lies, pattern mm.
        thickness_mm: how much it adds where it is full; negative for an insert set low.
        ramps: (boundary line, run) of every edge that slopes inside the region.
        walls: boundary lines that fall off steeply outside the region; None for a thin layer.
    """

    layer: str
    region: shapely.Geometry
    thickness_mm: float
    ramps: tuple[tuple[shapely.Geometry, float], ...] = ()
    walls: shapely.Geometry | None = None
    key: str = field(init=False)
    _area: shapely.Geometry = field(init=False, repr=False, compare=False)

    def __post_init__(self):
        digest = hashlib.sha256(f"{self.thickness_mm:.6f}".encode())
        shapes = [self.region, *(line for line, _ in self.ramps), self.walls]
        for shape in shapes:
            digest.update(b"|" if shape is None else shapely.to_wkb(shape, output_dimension=2))
        for _, run in self.ramps:
            digest.update(f"{run:.6f}".encode())
        object.__setattr__(self, "key", digest.hexdigest())
        area = self.region.buffer(_ON_EDGE_MM, join_style="mitre")
        shapely.prepare(area)
        object.__setattr__(self, "_area", area)

    def at(self, points_mm: np.ndarray) -> np.ndarray:
        """Height added at (n, 2) points, mm."""
        x, y = points_mm.T
        low = shapely.bounds(self.region)
        margin = abs(self.thickness_mm)
        near = (
            (x >= low[0] - margin)
            & (y >= low[1] - margin)
            & (x <= low[2] + margin)
            & (y <= low[3] + margin)
        )
        found = np.zeros(len(points_mm))
        if not near.any():
            return found
        at = shapely.points(points_mm[near])
        inside = shapely.intersects_xy(self._area, *points_mm[near].T)
        rise = np.where(inside, self.thickness_mm, 0.0)
        for line, run in self.ramps:
            slope = np.minimum(1.0, shapely.distance(at[inside], line) / run)
            rise[inside] = np.minimum(rise[inside], self.thickness_mm * slope)
        if self.walls is not None and not inside.all():
            run = abs(self.thickness_mm) / math.tan(math.radians(WALL_DEG))
            away = shapely.distance(at[~inside], self.walls)
            rise[~inside] = self.thickness_mm * np.clip(1 - away / run, 0, 1)
        found[near] = rise
        return found

    def break_lines(self) -> list[shapely.LineString]:
        """Foot and top of every ramp and wall; nothing for a thin layer."""
        if not self.ramps and self.walls is None:
            return []
        lines = [self.region.boundary]
        if self.ramps:
            lines += [_top_of(p, self.ramps).boundary for p in polygons(self.region)]
        if self.walls is not None:
            run = abs(self.thickness_mm) / math.tan(math.radians(WALL_DEG))
            foot = self.walls.buffer(run, cap_style="flat").boundary.difference(self.region)
            lines.append(foot)
        return [
            part
            for line in lines
            for part in shapely.get_parts(shapely.line_merge(_as_lines(line)))
            if part.length > 1e-3
        ]


def _as_lines(shape: shapely.Geometry) -> shapely.Geometry:
    parts = []
    for part in shapely.get_parts(shape):
        if part.geom_type in ("LineString", "LinearRing"):
            parts.append(shapely.LineString(part.coords))
        elif hasattr(part, "geoms"):
            parts += list(_as_lines(part).geoms)
    return shapely.MultiLineString(parts)


def _top_of(
    polygon: shapely.Polygon, ramps: Sequence[tuple[shapely.Geometry, float]]
) -> shapely.Geometry:
    lines = {str(i): line for i, (line, _) in enumerate(ramps)}
    runs = {str(i): run for i, (_, run) in enumerate(ramps)}
    insets = []
    for ring in rings_of(polygon):
        names = label_ring(ring, lines, {})
        middle = shapely.points((ring + np.roll(ring, -1, axis=0)) / 2)
        insets.append(
            [
                runs[n] if lines[n].distance(m) < 1e-3 else 0.0
                for n, m in zip(names, middle, strict=True)
            ]
        )
    return set_back(polygon, insets)


def sheet_rise(layer: str, region: shapely.Geometry, thickness_mm: float) -> Rise:
    """A ply or a film: its thickness inside its region."""
    return Rise(layer, region, thickness_mm)


def core_rise(
    layer: str, sides: SidedRegion, thickness_mm: float, edges: Mapping[str, Treatment]
) -> Rise:
    """A core with its bevelled edges.

    Args:
        sides: the region with named sides (`sides.name_sides`).
        edges: treatment by edge name, "" for the rest.
    """
    ramps, walls = [], []
    for name, line in sides.lines.items():
        treatment = edges.get(name, edges.get("", Treatment("square")))
        run = bevel_run_mm(thickness_mm, treatment.angle_deg)
        sloped = treatment.kind in ("bevel", "scarf") and treatment.wide_side == "mould"
        if sloped and run > 0:
            ramps.append((line, run))
        else:
            walls.append(line)
    return Rise(
        layer,
        sides.shape,
        thickness_mm,
        tuple(ramps),
        shapely.union_all(walls) if walls else None,
    )


def block_rise(layer: str, region: shapely.Geometry, thickness_mm: float) -> Rise:
    """A block or a rod with square edges that cloth has to climb."""
    return Rise(layer, region, thickness_mm, (), region.boundary)


@dataclass(frozen=True)
class HeightField:
    """The height above the mould face at any pattern point; a value, grown layer by layer.

    Call it with (n, 2) points for (n,) heights in mm. `net` is the face up to its net line; None
    leaves points beyond it as they are.
    """

    rises: tuple[Rise, ...] = ()
    net: shapely.Polygon | None = None

    def __call__(self, points_mm: np.ndarray) -> np.ndarray:
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        total = np.zeros(len(points))
        if self.rises and self.net is not None:
            points = _pulled_in(points, self.net)
        for rise in self.rises:
            total += rise.at(points)
        return total

    def with_layer(self, rise: Rise) -> HeightField:
        """The field after one more layer; a layer that adds nothing gives the same field."""
        if abs(rise.thickness_mm) < 1e-9 or rise.region.is_empty:
            return self
        return replace(self, rises=(*self.rises, rise))

    @property
    def key(self) -> str:
        """The same for fields of the same shape, whatever the layers are called."""
        return hashlib.sha256("".join(r.key for r in self.rises).encode()).hexdigest()

    @property
    def flat(self) -> bool:
        """True where nothing lies below."""
        return not self.rises

    def break_lines(self) -> tuple[np.ndarray, ...]:
        """Kinks of the height inside the net line as (n, 2) lines, pattern mm."""
        inside = None if self.net is None else self.net.buffer(-_NUDGE_MM)
        found = []
        for line in (line for rise in self.rises for line in rise.break_lines()):
            kept = line if inside is None else line.intersection(inside)
            found += [p for p in _as_lines(shapely.line_merge(_as_lines(kept))).geoms]
        return tuple(np.asarray(line.coords) for line in found if line.length > _NUDGE_MM)

    def largest_difference_mm(self, other: HeightField) -> float:
        """A bound on how far two fields can differ anywhere: the layers only one of them has."""
        mine, theirs = [r.key for r in self.rises], [r.key for r in other.rises]
        extra = _without(self.rises, theirs), _without(other.rises, mine)
        return float(sum(abs(r.thickness_mm) for rises in extra for r in rises))

    def significant_change(self, other: HeightField, limit_mm: float = 0.5) -> bool:
        """Whether a map made for `other` is too far off for this field.

        A pattern on a face of curvature k grows by about height times turning angle; half a
        millimetre of height over a section that turns by 20 degrees is 0.17 mm.
        """
        return self.largest_difference_mm(other) > limit_mm


def _pulled_in(points: np.ndarray, net: shapely.Polygon) -> np.ndarray:
    """Points beyond the net line moved to just inside it, the others as they are."""
    shapely.prepare(net)
    out = ~shapely.intersects_xy(net, *points.T)
    if not out.any():
        return points
    away = shapely.shortest_line(shapely.points(points[out]), net.boundary)
    nearest = shapely.get_coordinates(away).reshape(-1, 2, 2)[:, 1]
    step = nearest - points[out]
    far = np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-12)
    pulled = points.copy()
    pulled[out] = nearest + step / far * _NUDGE_MM
    return pulled


def _without(rises: Sequence[Rise], keys: list[str]) -> list[Rise]:
    left = list(keys)
    extra = []
    for rise in rises:
        if rise.key in left:
            left.remove(rise.key)
        else:
            extra.append(rise)
    return extra
