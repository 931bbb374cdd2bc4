"""The net line and what runs on beyond it.

A ply that reaches an edge of the face runs on over it by that edge's trim allowance and is cut
back to the net line after cure. Only the stretch that reaches the edge runs on; the sides of that
stretch continue in their own direction, and where two edges meet their allowances meet in a
mitre.

Terms:
    net: the face up to its net line (less its holes).
    runs: a segment of a ring "runs" along an edge when both its ends and its middle lie on it
        and it does not go back; a side that leaves the edge at a sharp corner does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import GeometryError, error
from plybook.laminate.shapes import (
    NearLine,
    clean,
    cover,
    extended,
    polygons_of,
    ring_of,
    segment_normals,
    without_short,
)
from plybook.spec.model import EdgeRule
from plybook.surface.model import Face
from plybook.units import mm

ON_EDGE_MM = 0.02  # a point this near an edge lies on it
BACK = 0.5  # what goes this share of its length against an edge leaves it, however near it lies
STRAIGHT_ON_DEG = 150.0  # past this inside angle two edges count as one line, not as a corner
LEAST_MEETING_DEG = 30.0  # a side that meets the edge flatter than this is not run on along itself
DIRECTION_MM = 0.5  # length of a side from which its direction is taken
SEAT_MM = 0.05  # allowances start this far inside the net line, so that no slit stays between
SLIT_MM = 0.01  # what a slit adds to the length of an outline at least
FAR_SIDE_MM = 0.01  # what lies within this of a band's width from its line is its far side
LONGEST_MITRE = 4.0  # of the larger allowance


@dataclass(frozen=True)
class NetFace:
    """The face in plan: its net polygon, its named edges and their trim allowances."""

    face: Face
    rules: tuple[EdgeRule, ...]

    @cached_property
    def net(self) -> Polygon:
        """The face up to its net line, pattern frame."""
        return Polygon(self.face.outline_mm, self.face.holes_mm)

    @cached_property
    def trims_mm(self) -> tuple[float, ...]:
        """Trim allowance of each face edge, in the order of `face.edges`."""
        known = {rule.edge: rule.trim_mm for rule in self.rules}
        return tuple(known.get(edge.name, 0.0) for edge in self.face.edges)

    @cached_property
    def reach_mm(self) -> float:
        """How far shapes are carried past the face so that clipping them leaves no sliver."""
        return 60.0 + LONGEST_MITRE * max((0.0, *self.trims_mm))

    @cached_property
    def far_mm(self) -> float:
        """No point of the face is further than this from any edge."""
        return float(np.hypot(*np.ptp(self.face.outline_mm, axis=0))) + 1.0

    @cached_property
    def lines(self) -> tuple[shapely.LineString, ...]:
        """The face edges as lines."""
        return tuple(shapely.linestrings(edge.points_mm) for edge in self.face.edges)

    @cached_property
    def line_tree(self) -> shapely.STRtree:
        """The face edges, to find those near or across something."""
        return shapely.STRtree(self.lines)

    @cached_property
    def _run_on(self) -> tuple[tuple[NearLine, ...], shapely.STRtree]:
        """The face edges, carried on straight past their outer corners, and a tree of them."""
        reach = 2 * self.reach_mm
        lines = [
            extended(edge.points_mm, *self.corner_runs(index, reach))
            for index, edge in enumerate(self.face.edges)
        ]
        tree = shapely.STRtree([shapely.linestrings(line) for line in lines])
        return tuple(NearLine(line) for line in lines), tree

    def corner_runs(self, index: int, by_mm: float) -> tuple[float, float]:
        """How far an edge may be carried on at its start and its end: `by_mm` at a corner that
        points outwards, nothing at a hollow corner or where the next edge goes straight on."""
        edges = self.face.edges
        count = len(edges)
        if count == 1:
            return 0.0, 0.0
        before, here, after = (edges[(index + k) % count].points_mm for k in (-1, 0, 1))
        at_start = _inside_angle_deg(before[-2:], here[:2])
        at_end = _inside_angle_deg(here[-2:], after[:2])
        return (
            by_mm if at_start < STRAIGHT_ON_DEG else 0.0,
            by_mm if at_end < STRAIGHT_ON_DEG else 0.0,
        )

    def near_edge(self, name: str, by_mm: float) -> BaseGeometry:
        """Everything within `by_mm` of a named edge, and all that lies just outside it.

        At outer corners the band runs straight on to the next edge; a builder marks it with a
        rule, not with a compass.
        """
        if by_mm >= self.far_mm:
            low, high = np.reshape(self.net.bounds, (2, 2))
            return shapely.box(*(low - self.reach_mm), *(high + self.reach_mm))
        bands = []
        for index, edge in enumerate(self.face.edges):
            if edge.name != name:
                continue
            closed = len(self.face.edges) == 1
            run = 2 * (max(by_mm, 0.0) + self.reach_mm)
            line = extended(edge.points_mm, *self.corner_runs(index, run))
            if closed and np.allclose(line[0], line[-1]):
                line = line[:-1]
            bands.append(cover(line, max(by_mm, 0.0), self.reach_mm, closed=closed))
        return shapely.union_all(bands)

    def within_edges(self, by_mm: Mapping[str, float]) -> BaseGeometry:
        """Everything within its own distance of each named edge, and all just outside of them.

        Where two of the edges meet in a hollow corner the lines at their distances run on until
        they meet; edges of different distance that go nearly straight on end in a step there.
        """
        bands = [self.near_edge(name, by) for name, by in by_mm.items()]
        edges = self.face.edges
        for first, second in zip(edges, (*edges[1:], edges[0]), strict=True):
            out, next_out = by_mm.get(first.name, 0.0), by_mm.get(second.name, 0.0)
            if min(out, next_out) > 0:
                bands.append(_hollow_corner(first.points_mm, second.points_mm, out, next_out))
        return shapely.union_all([band for band in bands if band is not None])

    def running_along(self, ring_mm: np.ndarray, out_mm: Sequence[float]) -> np.ndarray:
        """Which face edge each segment of a ring runs along, or -1.

        Args:
            ring_mm: (n, 2) ring; segment i goes from point i to the next.
            out_mm: per face edge, how far outside of the edge its line lies here (0: on the net
                line, its trim: on the trimmed outline).

        Returns:
            (n,) index into `face.edges`.
        """
        after, out = np.roll(ring_mm, -1, axis=0), np.asarray(out_mm, dtype=float)
        middle = (ring_mm + after) / 2
        best = np.full(len(ring_mm), ON_EDGE_MM)
        found = np.full(len(ring_mm), -1)
        lines, tree = self._run_on
        far = out.max() + ON_EDGE_MM
        near, edges = tree.query(shapely.box(*(middle - far).T, *(middle + far).T))
        order = np.lexsort([near, edges])
        near, edges = near[order], edges[order]
        for index in np.unique(edges):
            first, last = np.searchsorted(edges, [index, index + 1])
            at, line = near[first:last], lines[index]
            three = np.concatenate([ring_mm[at], after[at], middle[at]])
            gap = np.abs(line.distance_mm(three) - out[index]).reshape(3, -1).max(axis=0)
            nearer = gap < best[at]
            at, gap = at[nearer], gap[nearer]
            if out[index] > ON_EDGE_MM:  # as far inside the edge is another line
                outside = _is_outside(line, middle[at])
                at, gap = at[outside], gap[outside]
            on = ~_goes_back(line, ring_mm[at], after[at])
            best[at[on]], found[at[on]] = gap[on], index
        return found

    def trimmed(self, region: BaseGeometry) -> BaseGeometry:
        """A net-clipped region with the trim allowance added where it reaches an edge."""
        if not any(self.trims_mm):
            return region
        added = []
        for polygon in polygons_of(region):
            added.append(polygon)
            added.extend(self._allowance(polygon))
        return _without_slits(clean(shapely.union_all(added))) if added else region

    def _allowance(self, polygon: Polygon) -> list[BaseGeometry]:
        ring = ring_of(polygon)
        along = without_short(ring, self.running_along(ring, [0.0] * len(self.lines)))
        if (along < 0).all():
            return []
        allowance = np.array([*self.trims_mm, 0.0])[along]
        if len(set(along)) == 1:  # one edge all the way round
            return [cover(ring, SEAT_MM, float(allowance[0]), closed=True)] if allowance[0] else []
        turn = int(np.flatnonzero(along != np.roll(along, 1))[0])
        ring, along, allowance = (np.roll(a, -turn, axis=0) for a in (ring, along, allowance))
        starts = np.flatnonzero(np.r_[True, along[1:] != along[:-1]])
        runs = list(zip(starts, np.r_[starts[1:], len(ring)], strict=True))
        closed = np.vstack([ring, ring[:1]])
        shapes = []
        for k, (start, end) in enumerate(runs):
            line, out = closed[start : end + 1], float(allowance[start])
            before, after = runs[k - 1], runs[(k + 1) % len(runs)]
            if along[start] >= 0 and out > 0:
                sides = (
                    arriving(closed[before[0] : before[1] + 1]) if along[before[0]] < 0 else None,
                    arriving(closed[after[0] : after[1] + 1][::-1])
                    if along[after[0]] < 0
                    else None,
                )
                shapes.append(run_on(line, out, sides)[0])
            if along[start] >= 0 and along[after[0]] >= 0:
                shapes.append(_mitre(line[-2:], closed[after[0] : after[0] + 2], out,
                                     float(allowance[after[0]])))  # fmt: skip
        return [shape for shape in shapes if shape is not None]


def _is_outside(line: NearLine, points_mm: np.ndarray) -> np.ndarray:
    """(n,) whether (n, 2) points lie to the right of an edge of the face, outside of it."""
    at = line.along_mm(points_mm)
    low, high = (line.at(at + by) for by in (-SEAT_MM, SEAT_MM))
    along = high - low
    away = points_mm - (low + high) / 2
    return along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0] < 0


def _goes_back(line: NearLine, start_mm: np.ndarray, end_mm: np.ndarray) -> np.ndarray:
    """(n,) whether segments near a line go against it, within 60 degrees."""
    gone = line.along_mm(end_mm) - line.along_mm(start_mm)
    if line.is_closed:  # past the seam, where the line's end is its beginning
        gone = (gone + line.length_mm / 2) % line.length_mm - line.length_mm / 2
    return gone < -BACK * np.hypot(*(end_mm - start_mm).T)


def _without_slits(shape: BaseGeometry) -> BaseGeometry:
    """The shape without slits between allowances of one edge that begin and end at a point a
    hair off it; a cutter would cut into the cloth there."""
    mitred = {"join_style": "mitre", "mitre_limit": 100.0}
    closed = shape.buffer(SEAT_MM, **mitred).buffer(-SEAT_MM, **mitred)
    return clean(closed) if shape.length - closed.length > SLIT_MM else shape


def _without_stubs(line_mm: np.ndarray) -> np.ndarray:
    """The line without points so near its ends that the end segments have no direction."""
    inner = line_mm[1:-1]
    gap = np.minimum(*(np.hypot(*(inner - end).T) for end in line_mm[[0, -1]]))
    return np.vstack([line_mm[:1], inner[gap >= ON_EDGE_MM], line_mm[-1:]])


def arriving(line_mm: np.ndarray) -> np.ndarray:
    """The last (2, 2) segment of a line, taken long enough to have a direction."""
    away = np.hypot(*(line_mm[:-1] - line_mm[-1]).T)
    far = np.flatnonzero(away >= DIRECTION_MM)
    return np.stack([line_mm[far[-1] if len(far) else 0], line_mm[-1]])


def _inside_angle_deg(coming: np.ndarray, going: np.ndarray) -> float:
    a, b = coming[1] - coming[0], going[1] - going[0]
    turn = math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b)))
    return 180.0 - turn


def run_on(
    line_mm: np.ndarray, out_mm: float, sides: tuple[np.ndarray | None, np.ndarray | None]
) -> tuple[BaseGeometry, np.ndarray]:
    """The band outside a stretch of an edge, its ends cut in line with the sides given.

    Args:
        sides: for the start and the end of the stretch the segment (2, 2) that arrives there from
            inside the face, None where another edge carries on.

    Returns:
        The band, and (n, 2) the line it is built on, carried on past the sides.
    """
    line_mm = _without_stubs(line_mm)
    normals = segment_normals(line_mm)
    runs, cuts = [0.0, 0.0], []
    for end, side in enumerate(sides):
        if side is None:
            continue
        normal = normals[-1 if end else 0]
        heading = (side[1] - side[0]) / np.hypot(*(side[1] - side[0]))
        if heading @ normal < math.sin(math.radians(LEAST_MEETING_DEG)):
            continue  # too flat: the end stays square to the edge
        reach = 2 * out_mm / float(heading @ normal) + 1.0
        runs[end] = reach
        cuts.append(_beyond(side[1], heading, reach, outwards=1.0 if end else -1.0))
    line = extended(line_mm, *runs)
    band = cover(line, SEAT_MM, out_mm)
    if cuts:
        band = band.difference(shapely.union_all(cuts))
    return band, line


def far_side(band: BaseGeometry, line_mm: np.ndarray, out_mm: float) -> np.ndarray:
    """(n, 2) the part of a band's outline that lies `out_mm` from the line it is built on, in the
    direction of the line.

    Raises:
        GeometryError: the line turns so tightly that nothing lies as far from it.
    """
    ring = ring_of(max(polygons_of(band), key=lambda part: part.area))
    line = NearLine(line_mm)
    spots = (ring, (ring + np.roll(ring, -1, axis=0)) / 2)
    off = [np.abs(line.distance_mm(p) - out_mm) < FAR_SIDE_MM for p in spots]
    far = off[0] & np.roll(off[0], -1) & off[1]  # segments
    gaps = np.flatnonzero(far & ~np.roll(far, 1))
    if not len(gaps):
        raise GeometryError(
            error(
                "outline-tangled",
                f"cloth that runs on {mm(out_mm):.1f} past a line would have no edge: the line "
                "turns more tightly",
                "shorten the overlap, or round the line",
            )
        )
    ring, far = (np.roll(a, -gaps[0], axis=0) for a in (ring, far))
    return ring[: int(np.flatnonzero(far)[-1]) + 2]


def _beyond(at: np.ndarray, heading: np.ndarray, reach: float, outwards: float) -> Polygon:
    """The half plane past a side, as a square large enough for the allowance. `outwards` is +1
    at the end of a stretch (the ring goes on to the left of the outward heading)."""
    across = outwards * np.array([-heading[1], heading[0]])
    low, high = at - heading * 4 * reach, at + heading * 4 * reach
    return Polygon([low, high, high + across * 4 * reach, low + across * 4 * reach])


def _hollow_corner(
    coming: np.ndarray, going: np.ndarray, by_mm: float, next_by_mm: float
) -> BaseGeometry | None:
    """What the bands inside of two edges leave open between them at a hollow corner."""
    first, second = -segment_normals(coming[-2:])[0], -segment_normals(going[:2])[0]
    sine = first[0] * second[1] - first[1] * second[0]
    if sine >= 0:
        return None
    corner = going[0]
    seat = corner - SEAT_MM * (first + second)
    points = [seat, corner + first * by_mm, corner + second * next_by_mm]
    if sine < -1e-9:
        tip = np.linalg.solve(np.stack([first, second]), np.array([by_mm, next_by_mm]))
        if np.hypot(*tip) <= LONGEST_MITRE * max(by_mm, next_by_mm):
            points.insert(2, corner + tip)
    return shapely.MultiPoint(points).convex_hull


def _mitre(
    coming: np.ndarray, going: np.ndarray, out_mm: float, next_out_mm: float
) -> BaseGeometry | None:
    """The corner piece between the bands of two edges that meet pointing outwards."""
    first, second = segment_normals(coming)[0], segment_normals(going)[0]
    sine = first[0] * second[1] - first[1] * second[0]
    if sine <= 1e-9 or max(out_mm, next_out_mm) <= 0:
        return None
    corner = going[0]
    # the point at `out_mm` from the first line and `next_out_mm` from the second
    tip = np.linalg.solve(np.stack([first, second]), np.array([out_mm, next_out_mm]))
    limit = LONGEST_MITRE * max(out_mm, next_out_mm)
    if np.hypot(*tip) > limit:
        tip = tip / np.hypot(*tip) * limit
    seat = corner - SEAT_MM * (first + second)
    return shapely.MultiPoint(
        [seat, corner + first * out_mm, corner + tip, corner + second * next_out_mm]
    ).convex_hull
