"""How high a layer lies above the mould face: everything below it, ramps and fillets included.

Terms:
    break line: where the height has a kink; a mesh of the raised face should follow it.
    fillet: cloth does not follow a wall, it comes down from its top at FILLET_DEG on the filled
        foot; over several blocks of one outline it comes down from the topmost.

Beyond the net line the height runs on as it is at the net line.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from plybook.laminate.rises import Rise, block_rise, core_rise, merged_lines, sheet_rise

__all__ = ["HeightField", "Rise", "block_rise", "core_rise", "sheet_rise"]

FILLET_DEG = 45.0  # common practice, no source
_NUDGE_MM = 0.02
_CREASE_MM = 0.05  # creases closer than this are one
_LEAST_CREASE_MM = 1.0


@dataclass(frozen=True)
class HeightField:
    """The height above the mould face at any pattern point; a value, grown layer by layer.

    Call it with (n, 2) points for (n,) heights in mm. `net` is the face up to its net line; None
    leaves points beyond it as they are.
    """

    rises: tuple[Rise, ...] = ()
    net: shapely.Polygon | None = None

    def __call__(self, points_mm: np.ndarray) -> np.ndarray:
        return self.after_each(points_mm)[-1]

    def after_each(self, points_mm: np.ndarray) -> list[np.ndarray]:
        """Heights (n,) before the first layer and after each one, in order of `rises`."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        if self.rises and self.net is not None:
            points = _pulled_in(points, self.net)
        return _heights(self.rises, points)

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

    @cached_property
    def break_lines(self) -> tuple[np.ndarray, ...]:
        """Kinks of the height inside the net line as (n, 2) lines, pattern mm."""
        lines = [line for rise in self.rises for line in rise.creases]
        lines += _fillet_feet(self.rises)
        inside = None if self.net is None else self.net.buffer(-_NUDGE_MM)
        whole = shapely.union_all(lines, grid_size=_CREASE_MM)
        kept = whole if inside is None else whole.intersection(inside)
        return tuple(
            np.asarray(p.coords) for p in merged_lines(kept) if p.length > _LEAST_CREASE_MM
        )

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


def _heights(rises: Sequence[Rise], points: np.ndarray) -> list[np.ndarray]:
    """Heights before the first rise and after each."""
    heights = [np.zeros(len(points))]
    for number, rise in enumerate(rises):
        height = heights[-1] + rise.at(points)
        if rise.walls is not None and rise.thickness_mm > 0:
            _fill_foot(rises[: number + 1], points, height)
        heights.append(height)
    return heights


def _fill_foot(rises: Sequence[Rise], points: np.ndarray, height: np.ndarray) -> None:
    """Lift the heights beside the last rise's walls onto its fillet."""
    rise = rises[-1]
    slope = math.tan(math.radians(FILLET_DEG))
    reach = sum(abs(r.thickness_mm) for r in rises) / slope
    low, high = np.array(rise.region.bounds).reshape(2, 2)
    near = np.flatnonzero(((points >= low - reach) & (points <= high + reach)).all(axis=1))
    if not len(near):
        return
    near = near[rise.at(points[near]) == 0]
    way = shapely.get_coordinates(
        shapely.shortest_line(shapely.points(points[near]), rise.walls)
    ).reshape(-1, 2, 2)
    step = way[:, 1] - way[:, 0]
    away = np.linalg.norm(step, axis=1)
    close = (away < reach) & (away > 1e-9)
    near, away = near[close], away[close]
    if not len(near):
        return
    top = way[close, 1] + step[close] / away[:, None] * _NUDGE_MM
    from_top = _heights(rises[:-1], top)[-1] + rise.thickness_mm - away * slope
    height[near] = np.maximum(height[near], from_top)


def _fillet_feet(rises: Sequence[Rise]) -> list[shapely.Geometry]:
    """Where each fillet meets what lies beside it; feet under a later fillet are none."""
    slope = math.tan(math.radians(FILLET_DEG))
    feet: list[shapely.Geometry] = []
    for number, rise in enumerate(rises):
        if rise.walls is None or rise.thickness_mm <= 0:
            continue
        inner = rise.region.buffer(-_NUDGE_MM)
        around = shapely.get_coordinates(inner.segmentize(50.0).boundary)
        beside = shapely.get_coordinates(rise.region.buffer(1.0).segmentize(50.0).boundary)
        if not len(around):
            continue
        top = _heights(rises[: number + 1], around)[-1].max()
        ground = _heights([r for r in rises[:number] if r.walls is None], beside)[-1]
        run = max(top - float(ground.min()), rise.thickness_mm) / slope
        zone = rise.walls.buffer(run, join_style="mitre")
        feet = [f.difference(zone) for f in feet]
        feet.append(zone.boundary.difference(rise.region.buffer(_NUDGE_MM)))
    return feet


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
