"""Which side of the part each stretch of a region's boundary faces: leading, tip, root ...

Terms:
    side: a named stretch of a region's boundary, (n, 2) open line with the region on its left.

A stretch belongs to the edge of the face that is met first when looking out of the region square
to it. Where it lies on the net line itself, that edge is the answer. Stretches between two
corners are named as a whole by what most of their length sees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.laminate.bevel import polygons, rings_of
from plybook.spec.model import HOLES
from plybook.surface.model import Face

_CORNER_DEG = 20.0
_ON_LINE_MM = 0.05
_MOST = 0.85


@dataclass(frozen=True)
class Side:
    """A named stretch of the boundary, the region on its left."""

    name: str
    points_mm: np.ndarray


@dataclass(frozen=True)
class SidedRegion:
    """A region as polygons whose rings are made of sides: per polygon, per ring, the sides."""

    rings: tuple[tuple[tuple[Side, ...], ...], ...]

    @property
    def shape(self) -> shapely.Geometry:
        """The region as one geometry."""
        found = []
        for rings in self.rings:
            outer, *inner = (np.vstack([s.points_mm[:-1] for s in ring]) for ring in rings)
            found.append(shapely.Polygon(outer, inner))
        return shapely.union_all(found)

    @property
    def lines(self) -> dict[str, shapely.Geometry]:
        """All stretches of each name."""
        gathered: dict[str, list[np.ndarray]] = {}
        for side in (s for rings in self.rings for ring in rings for s in ring):
            gathered.setdefault(side.name, []).append(side.points_mm)
        return {name: shapely.MultiLineString(lines) for name, lines in gathered.items()}

    def carried(
        self, to_cut: Callable[[np.ndarray], np.ndarray] | None, step_mm: float, error_mm: float
    ) -> SidedRegion:
        """The same region through a map of the plane, sampled every `step_mm` and thinned.

        No map (None): only thinned, no vertex further than `error_mm` from the line that is left.
        """

        def move(side: Side) -> Side:
            line = shapely.LineString(side.points_mm)
            if to_cut is not None:
                line = shapely.LineString(to_cut(np.asarray(line.segmentize(step_mm).coords)))
            return Side(side.name, np.asarray(line.simplify(error_mm).coords))

        return SidedRegion(
            tuple(tuple(tuple(move(s) for s in ring) for ring in rings) for rings in self.rings)
        )


def name_sides(region: shapely.Geometry, face: Face) -> SidedRegion:
    """Name every stretch of the boundary of a region after the edges of the face.

    Args:
        region: Polygon or MultiPolygon, pattern mm.
        face: its edges give the names.

    Returns:
        The region with named sides; openings have one side "holes".
    """
    edges = [(e.name, shapely.LineString(e.points_mm)) for e in face.edges]
    found = []
    for polygon in polygons(region):
        outer, *inner = rings_of(polygon)
        names = _name_ring(outer, edges)
        rings = [_sides(outer, names)]
        rings += [(Side(HOLES, np.vstack([ring, ring[:1]])),) for ring in inner]
        found.append(tuple(rings))
    return SidedRegion(tuple(found))


def _name_ring(ring: np.ndarray, edges: Sequence[tuple[str, shapely.LineString]]) -> list[str]:
    after = np.roll(ring, -1, axis=0)
    step = after - ring
    length = np.linalg.norm(step, axis=1)
    along = step / length[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    middle = (ring + after) / 2
    lines = np.array([line for _, line in edges], dtype=object)

    seen = shapely.distance(shapely.points(middle)[:, None], lines[None, :])
    on_line = seen.min(axis=1) <= _ON_LINE_MM
    number = np.argmin(seen, axis=1)
    reach = float(np.ptp(shapely.get_coordinates(lines), axis=0).sum()) + 1.0
    looking = np.flatnonzero(~on_line)
    if len(looking):
        rays = shapely.linestrings(
            np.stack([middle[looking], middle[looking] + outward[looking] * reach], axis=1)
        )
        met = shapely.intersection(rays[:, None], lines[None, :])
        far = shapely.distance(shapely.points(middle[looking])[:, None], met)
        far = np.where(np.isnan(far), np.inf, far)
        sees = np.isfinite(far).any(axis=1)
        number[looking[sees]] = np.argmin(far[sees], axis=1)
        number = _by_stretch(number, on_line, along, length)
    return [edges[n][0] for n in number]


def _by_stretch(
    number: np.ndarray, on_line: np.ndarray, along: np.ndarray, length: np.ndarray
) -> np.ndarray:
    """Name a stretch between corners as one where most of it agrees."""
    before = np.roll(along, 1, axis=0)
    cosine = np.clip(np.sum(before * along, axis=1), -1, 1)
    corners = np.flatnonzero(cosine < math.cos(math.radians(_CORNER_DEG)))
    if not len(corners):
        return number
    number = number.copy()
    count = len(number)
    for k, start in enumerate(corners):
        stop = corners[(k + 1) % len(corners)]
        members = np.arange(start, stop if stop > start else stop + count) % count
        members = members[~on_line[members]]
        if not len(members):
            continue
        weight = np.bincount(number[members], weights=length[members])
        if weight.max() >= _MOST * weight.sum():
            number[members] = int(np.argmax(weight))
    return number


def _sides(ring: np.ndarray, names: list[str]) -> tuple[Side, ...]:
    """Join neighbouring segments of one name into sides, in ring order."""
    count = len(ring)
    starts = [i for i in range(count) if names[i] != names[i - 1]]
    if not starts:
        return (Side(names[0], np.vstack([ring, ring[:1]])),)
    found = []
    for k, start in enumerate(starts):
        stop = starts[(k + 1) % len(starts)]
        stop = stop if stop > start else stop + count
        members = np.arange(start, stop + 1) % count
        found.append(Side(names[start], ring[members]))
    return tuple(found)
