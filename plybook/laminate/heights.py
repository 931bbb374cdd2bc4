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

from plybook.laminate.rises import (
    Rise,
    as_lines,
    block_rise,
    core_rise,
    merged_lines,
    rim_of,
    sheet_rise,
)

__all__ = ["HeightField", "Rise", "block_rise", "core_rise", "rim_of", "sheet_rise"]

FILLET_DEG = 45.0  # common practice, no source
_NUDGE_MM = 0.02
_GRID_MM = 1e-4
_LEAST_CREASE_MM = 1.0
_RUN_ON_MM = 500.0  # further than any trim allowance
_ROUND = 3  # sides of a quarter circle at the foot of a fillet
_WALL_STEP_MM = 10.0  # of places along a wall where its height is asked for
_RUN_STEP_MM = 0.25  # widths of fillets that differ by no more are one


@dataclass(frozen=True)
class HeightField:
    """The height above the mould face at any pattern point; a value, grown layer by layer.

    Call it with (n, 2) points for (n,) heights in mm. `net` is the face up to its net line; None
    leaves points beyond it as they are. `eased`: as cloth and core over it feel it, with no step
    where a thin layer ends.
    """

    rises: tuple[Rise, ...] = ()
    net: shapely.Polygon | None = None
    eased: bool = False

    def __call__(self, points_mm: np.ndarray) -> np.ndarray:
        return self.after_each(points_mm)[-1]

    def after_each(self, points_mm: np.ndarray) -> list[np.ndarray]:
        """Heights (n,) before the first layer and after each one, in order of `rises`."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        if self.rises and self.net is not None:
            points = _pulled_in(points, self.net)
        return _heights(self.rises, points, self.eased)

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
        """Kinks of the height as (n, 2) lines, pattern mm; those that reach the net line go on
        square to it, as the height does."""
        lines = [line for rise in self.rises for line in rise.creases]
        lines += _fillet_feet(self.rises, self.net)
        whole = shapely.union_all(lines, grid_size=_GRID_MM)
        if self.net is not None:
            whole = whole.intersection(self.net.buffer(-_NUDGE_MM))
        kept = [np.asarray(p.coords) for p in merged_lines(whole) if p.length > _LEAST_CREASE_MM]
        return tuple(kept) if self.net is None else tuple(_run_on(line, self.net) for line in kept)

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


def _heights(rises: Sequence[Rise], points: np.ndarray, eased: bool = False) -> list[np.ndarray]:
    """Heights before the first rise and after each."""
    heights = [np.zeros(len(points))]
    for number, rise in enumerate(rises):
        height = heights[-1] + (rise.eased_at(points) if eased else rise.at(points))
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
    from_top = _heights(rises[:-1], top)[-1] + rise.at(top) - away * slope
    height[near] = np.maximum(height[near], from_top)


def _fillet_feet(rises: Sequence[Rise], net: shapely.Polygon | None) -> list[shapely.Geometry]:
    """Where each fillet meets what lies beside it; feet under a later fillet are none."""
    feet: list[shapely.Geometry] = []
    for number, rise in enumerate(rises):
        if rise.walls is None or rise.thickness_mm <= 0:
            continue
        zones = [
            line.buffer(run, quad_segs=_ROUND)
            for run, line in _fillet_runs(rises[: number + 1], net).items()
        ]
        zone = shapely.union_all(zones)
        feet = [f.difference(zone) for f in feet]
        feet.append(zone.boundary.difference(rise.region.buffer(_NUDGE_MM)))
    return feet


def _fillet_runs(
    rises: Sequence[Rise], net: shapely.Polygon | None
) -> dict[float, shapely.Geometry]:
    """The walls of the last rise by the width of the fillet at their foot.

    The fillet comes down from the top of the wall to the cloth and the ramps beside it, both taken
    at that place; blocks beside it have fillets of their own.
    """
    rise = rises[-1]
    sides = shapely.get_parts(shapely.segmentize(as_lines(rise.walls), _WALL_STEP_MM))
    ends = np.concatenate([np.stack([c[:-1], c[1:]], axis=1)
                           for c in map(shapely.get_coordinates, sides)])  # fmt: skip
    step = ends[:, 1] - ends[:, 0]
    long = np.linalg.norm(step, axis=1)
    ends, step, long = ends[long > 0], step[long > 0], long[long > 0]
    across = np.column_stack([-step[:, 1], step[:, 0]]) / long[:, None] * _NUDGE_MM
    middle = ends.mean(axis=1)
    inward = np.where(shapely.contains_xy(rise.region, *(middle + across).T), 1.0, -1.0)
    top, beside = (middle + sign * inward[:, None] * across for sign in (1, -1))
    beside = beside if net is None else _pulled_in(beside, net)
    ground = _heights([r for r in rises[:-1] if r.walls is None], beside)[-1]
    high = _heights(rises[:-1], top)[-1] + rise.at(top) - ground
    run = high / math.tan(math.radians(FILLET_DEG))
    steps = np.ceil(run / _RUN_STEP_MM - 1e-6)  # pieces of wall with nearly the same fillet
    found = {}
    for one in np.unique(steps[steps > 0]):
        same = steps == one
        lines = shapely.line_merge(shapely.MultiLineString(list(ends[same])))
        found[float(run[same].max())] = lines
    return found


def _run_on(line: np.ndarray, net: shapely.Polygon) -> np.ndarray:
    """The line with each end that reaches the net line carried on square to it, outside the net."""
    ends = shapely.points(line[[0, -1]])
    foot = shapely.get_coordinates(shapely.shortest_line(ends, net.boundary)).reshape(-1, 2, 2)
    step = foot[:, 1] - foot[:, 0]
    gap = np.linalg.norm(step, axis=1)
    parts = [line]
    for k in np.flatnonzero((gap > 1e-9) & (gap < 2 * _NUDGE_MM)):
        far = foot[k, 1] + step[k] / gap[k] * [[_NUDGE_MM], [_RUN_ON_MM]]
        free = shapely.get_parts(shapely.LineString(far).difference(net))[0]
        out = np.vstack([foot[k, 1], shapely.get_coordinates(free)[-1]])
        parts = [out[::-1], *parts] if k == 0 else [*parts, out]
    return np.vstack(parts)


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
