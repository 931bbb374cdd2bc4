"""What one layer adds to the height of the face it is laid on.

Terms:
    rise: what one layer adds at a point, mm.
    ramp: the slope of a bevelled core edge, inside the region where the wide side is the mould's.
    wall: a square edge, or one that is wide on its bag side; a fillet lies at its foot.
    eased: a thin layer that ends on the face as what lies over it feels it: not as a step, which
        neither cloth nor core follows, but over EASE_MM on either side.

A core rises as min(t, d tan a), d the distance to its bevelled edge, the least over all edges. A
ply adds its thickness within its region and nothing outside. An insert in a core adds only what
it stands proud of that core, for the hole in the core is counted as full.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely

from plybook.laminate.bevel import CORNER_REACH, bevel_run_mm, polygons, rings_of, set_back
from plybook.laminate.panels import label_ring
from plybook.laminate.sides import SidedRegion
from plybook.spec.model import Treatment

_ON_EDGE_MM = 0.005  # a point this near outside counts as inside
_AT_NET_MM = 0.1  # an end so near the net line is at it
_ABOUT = 1.02
EASE_MM = 10.0  # common practice, no source; a stack of 1 mm so makes 0.03 mm of length
CORNER_DEG = 15.0  # a sharper turn of an outline is a corner, not a bend


@dataclass(frozen=True)
class Rise:
    """What one layer adds.

    Attributes:
        layer: its id (not part of the key).
        region: where it lies, pattern mm.
        thickness_mm: how much it adds where it is full; negative for an insert set low.
        ramps: (boundary line, run) of every edge that slopes inside the region.
        walls: boundary lines with a fillet at their foot; None for a thin layer.
        ends: of a thin layer, where it ends on the face and not at its net line.
    """

    layer: str
    region: shapely.Geometry
    thickness_mm: float
    ramps: tuple[tuple[shapely.Geometry, float], ...] = ()
    walls: shapely.Geometry | None = None
    ends: shapely.Geometry | None = None
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
        if self.ends is not None:
            shapely.prepare(self.ends)

    def at(self, points_mm: np.ndarray) -> np.ndarray:
        """Height added at (n, 2) points within the region, mm; 0 outside."""
        found = np.zeros(len(points_mm))
        inside = shapely.intersects_xy(self._area, *points_mm.T)
        if not inside.any():
            return found
        rise = np.full(int(inside.sum()), self.thickness_mm)
        if self.ramps:
            at = shapely.points(points_mm[inside])
            for line, run in self.ramps:
                near = np.flatnonzero(shapely.dwithin(at, line, run))  # takes less than distances
                slope = shapely.distance(at[near], line) / run
                rise[near] = np.minimum(rise[near], self.thickness_mm * slope)
        found[inside] = rise
        return found

    def eased_at(self, points_mm: np.ndarray) -> np.ndarray:
        """As `at`, with the ends of a thin layer eased."""
        found = self.at(points_mm)
        if self.ends is None or self.ends.is_empty:
            return found
        low, high = np.array(self.ends.bounds).reshape(2, 2)
        near = np.flatnonzero(
            ((points_mm >= low - EASE_MM) & (points_mm <= high + EASE_MM)).all(axis=1)
        )
        at = shapely.points(points_mm[near])
        close = shapely.dwithin(at, self.ends, EASE_MM)
        near, at = near[close], at[close]
        away = shapely.distance(at, self.ends) / EASE_MM
        within = np.where(found[near] != 0, away, -away)
        found[near] = self.thickness_mm * (0.5 + within / 2)
        return found

    @cached_property
    def creases(self) -> tuple[shapely.LineString, ...]:
        """Edge of the region, top of every ramp and the hips between; nothing for a thin layer."""
        if not self.ramps and self.walls is None:
            return ()
        lines = [self.region.boundary]
        for polygon in polygons(self.region) if self.ramps else ():
            tops = _top_of(polygon, self.ramps)
            lines += [tops.boundary, *_hips(polygon, tops, max(run for _, run in self.ramps))]
        return tuple(part for line in lines for part in merged_lines(line))


def merged_lines(shape: shapely.Geometry) -> list[shapely.LineString]:
    """The lines of any geometry, joined where they run on."""
    parts = shapely.get_parts(shapely.line_merge(as_lines(shape)))
    return [part for part in parts if part.length > 1e-3]


def as_lines(shape: shapely.Geometry) -> shapely.MultiLineString:
    """The lines of any geometry."""
    parts = []
    for part in shapely.get_parts(shape):
        if part.is_empty:
            continue
        if part.geom_type in ("LineString", "LinearRing"):
            parts.append(shapely.LineString(part.coords))
        elif hasattr(part, "geoms"):
            parts += list(as_lines(part).geoms)
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


def _hips(
    polygon: shapely.Polygon, tops: shapely.Geometry, longest_mm: float
) -> list[shapely.LineString]:
    """Lines from the corners of a core's top to those of its foot: there one ramp meets the next.

    Where the foot is round the line goes to the middle of the bend.
    """
    feet = [(ring, shapely.LinearRing(ring), _turns_deg(ring)) for ring in rings_of(polygon)]
    found = []
    for top in (ring for one in polygons(tops) for ring in rings_of(one)):
        for corner in top[_turns_deg(top) > CORNER_DEG]:
            ring, line, turns = min(feet, key=lambda foot: foot[1].distance(shapely.Point(corner)))
            away = np.hypot(*(ring - corner).T)
            sharp = (turns > CORNER_DEG) & (away < CORNER_REACH * longest_mm)
            if sharp.any():
                end = ring[sharp][np.argmin(away[sharp])]
            else:
                end = _middle_of_bend(line, corner)
            if np.hypot(*(end - corner)) > _ON_EDGE_MM:
                found.append(shapely.LineString([corner, end]))
    return found


def _turns_deg(ring: np.ndarray) -> np.ndarray:
    """(n,) by how much a ring turns at each of its points, positive at outward corners."""
    out = np.roll(ring, -1, axis=0) - ring
    into = np.roll(out, 1, axis=0)
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return np.degrees(np.arctan2(cross, np.sum(into * out, axis=1)))


def _middle_of_bend(foot: shapely.LinearRing, corner: np.ndarray) -> np.ndarray:
    """The middle of the part of a foot that is about as near to a corner of the top as any."""
    near = foot.distance(shapely.Point(corner))
    bend = foot.intersection(shapely.Point(corner).buffer(near * _ABOUT, quad_segs=32))
    parts = [part for part in merged_lines(bend) if part.distance(shapely.Point(corner)) < near + 1]
    if not parts:
        return corner
    longest = max(parts, key=lambda part: part.length)
    return np.asarray(longest.interpolate(0.5, normalized=True).coords[0])


def rim_of(net: shapely.Geometry) -> shapely.Geometry:
    """What lies at the net line of a face."""
    return net.boundary.buffer(_AT_NET_MM)


def sheet_rise(
    layer: str,
    region: shapely.Geometry,
    thickness_mm: float,
    rim: shapely.Geometry | None = None,
) -> Rise:
    """A ply or a film: its thickness inside its region.

    Args:
        rim: as from `rim_of`; where the region ends off it, what lies over the end feels it eased.
    """
    ends = None if rim is None else region.boundary.difference(rim)
    return Rise(layer, region, thickness_mm, ends=ends)


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
