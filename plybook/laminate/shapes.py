"""Flat shapes: the room's one door to the polygon library, with offsets that are exact.

Terms:
    cover: everything within given distances to the left and right of a line, built segment by
        segment, so that no vertex of a gentle curve is smoothed away before it is offset (library
        buffers simplify concave runs by up to 1 % of the distance).
    stretch: a part of a ring between two of its corners.
    spur: a stretch of a shape no wider than rounding makes it, as where two offsets only just meet.
    thin: to drop the vertices a curve does not need, within a stated chord error.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import GeometryError, error
from plybook.units import bare_mm, mm

ROUND_POINTS = 2000  # of a shape; more are there after half a dozen rounds of growing
ARC_ERROR_MM = 0.002  # chord error of round corners, before thinning
NOISE_MM = 0.01  # a part of a region no wider than this on average is rounding, not a shape
SPUR_MM = 0.5  # what a spur adds to the length of an outline at least
HAIR_MM = 1e-6  # what parts of a cover reach over one another
_GRID_DIGITS = 7  # a cover is made on a grid of 0.1 nm
SNAP_MM = 1e-6  # shapes are kept on this grid, so that shared sides stay shared
SHORT_MM = 0.05  # a run of segments no longer than this belongs to its neighbour
_TREE_PAYS = 20_000  # points times segments from which a tree finds the nearest sooner
LEAST_LINE_MM = 1e-4  # a shorter line has no direction
EMPTY = Polygon()


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of any geometry, without lines, points and slivers of rounding."""
    parts = [p for p in shapely.get_parts(shape, return_index=False)] if shape is not None else []
    found = []
    for part in parts:
        if part.geom_type == "Polygon":
            if mean_width_mm(part) > NOISE_MM:
                found.append(_without_slits(part))
        elif part.geom_type != "LineString" and hasattr(part, "geoms"):
            found.extend(polygons_of(part))
    return found


def _without_slits(polygon: Polygon) -> Polygon:
    holes = [hole for hole in polygon.interiors if mean_width_mm(Polygon(hole)) > NOISE_MM]
    return polygon if len(holes) == len(polygon.interiors) else Polygon(polygon.exterior, holes)


def clean(shape: BaseGeometry) -> BaseGeometry:
    """A Polygon or MultiPolygon (or an empty Polygon) of the shape's real parts, on the grid."""
    parts = polygons_of(shapely.set_precision(shape, SNAP_MM))
    parts = [part for one in parts for part in _without_spurs(one)]
    if not parts:
        return EMPTY
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def _without_spurs(polygon: Polygon) -> list[Polygon]:
    """The polygon less whatever of it is no wider than NOISE_MM; a knife cannot follow it there,
    and an outline would turn back on itself."""
    sharp = {"join_style": "mitre", "mitre_limit": 100.0}
    opened = polygon.buffer(-NOISE_MM / 2, **sharp).buffer(NOISE_MM / 2, **sharp)
    if polygon.length - opened.length < SPUR_MM:
        return [polygon]
    return polygons_of(shapely.set_precision(opened, SNAP_MM))


def mean_width_mm(polygon: Polygon) -> float:
    """Twice the area over the perimeter: the width of a strip of the same area and outline."""
    return 2 * polygon.area / polygon.length if polygon.length else 0.0


def ring_of(polygon: Polygon) -> np.ndarray:
    """(n, 2) outer ring, counter-clockwise, not closed."""
    ring = shapely.get_coordinates(polygon.exterior)[:-1]
    return ring if polygon.exterior.is_ccw else ring[::-1]


def holes_of(polygon: Polygon) -> list[np.ndarray]:
    """(n, 2) inner rings, counter-clockwise, not closed."""
    found = []
    for hole in polygon.interiors:
        ring = shapely.get_coordinates(hole)[:-1]
        found.append(ring if hole.is_ccw else ring[::-1])
    return found


def segment_normals(line_mm: np.ndarray) -> np.ndarray:
    """(n - 1, 2) unit normals to the right of an open line's segments."""
    step = np.diff(line_mm, axis=0)
    step = step / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-300)[:, None]
    return np.column_stack([step[:, 1], -step[:, 0]])


def without_repeats(line_mm: np.ndarray, closer_mm: float = 1e-9) -> np.ndarray:
    """The line without points that repeat the one before."""
    line = np.asarray(line_mm, dtype=float)
    keep = np.ones(len(line), bool)
    keep[1:] = np.hypot(*np.diff(line, axis=0).T) > closer_mm
    return line[keep]


def directed(line_mm: np.ndarray) -> np.ndarray:
    """The (n, 2) line as it is.

    Raises:
        GeometryError: all its points lie in one place, so that it has no direction.
    """
    if np.ptp(line_mm, axis=0).max() < LEAST_LINE_MM:
        x, y = line_mm[0]
        raise GeometryError(
            error(
                "repeated-point",
                f"both ends of a line lie at x {bare_mm(x):.1f}, y {mm(y):.1f}, and a line needs a "
                "direction",
                "move one of them",
            )
        )
    return line_mm


def extended(line_mm: np.ndarray, start_mm: float, end_mm: float) -> np.ndarray:
    """The line run on straight by a distance at either end."""
    line = without_repeats(line_mm)
    first = line[0] - line[1]
    last = line[-1] - line[-2]
    parts = [line]
    if start_mm > 0:
        parts.insert(0, (line[0] + first / np.hypot(*first) * start_mm)[None])
    if end_mm > 0:
        parts.append((line[-1] + last / np.hypot(*last) * end_mm)[None])
    return np.vstack(parts)


def cover(
    line_mm: np.ndarray, left_mm: float, right_mm: float, closed: bool = False
) -> BaseGeometry:
    """Everything within `left_mm` to the left and `right_mm` to the right of a line.

    Ends are cut square; outer corners are round. Exact to ARC_ERROR_MM.

    Args:
        line_mm: (n, 2) points; a closed line does not repeat its first point.
        left_mm, right_mm: >= 0; one of them may be 0.
        closed: joins the last point to the first.
    """
    line = without_repeats(line_mm)
    if closed:
        line = np.vstack([line, line[:1]])
    normal = segment_normals(line)
    band = _band(line, normal, left_mm, right_mm, closed)
    if band is not None:
        return band
    # each runs on into its neighbours: side by side, rounding would leave slits between them
    parts = _covers(line, normal, left_mm, right_mm, (closed, closed))
    if closed:
        parts += _joint(line[0], normal[-1], normal[0], left_mm, right_mm)
    return shapely.union_all(parts, grid_size=SNAP_MM / 10)


def _covers(
    line: np.ndarray,
    normal: np.ndarray,
    left_mm: float,
    right_mm: float,
    runs_on: tuple[bool, bool],
) -> list[BaseGeometry]:
    """The cover of an open line in parts: halved until each part can be walked round.

    Args:
        runs_on: whether it runs on by a hair at its start and its end.
    """
    part, ahead = line.copy(), np.column_stack([-normal[:, 1], normal[:, 0]]) * HAIR_MM
    part[0] -= runs_on[0] * ahead[0]
    part[-1] += runs_on[1] * ahead[-1]
    band = _band(part, normal, left_mm, right_mm)
    if band is not None:
        return [band]
    if len(normal) == 1:
        (a, b), n = part, normal[0]
        corners = [a + n * right_mm, b + n * right_mm, b - n * left_mm, a - n * left_mm]
        return [Polygon(corners)]
    half = len(normal) // 2
    return [
        *_covers(line[: half + 1], normal[:half], left_mm, right_mm, (runs_on[0], True)),
        *_joint(line[half], normal[half - 1], normal[half], left_mm, right_mm),
        *_covers(line[half:], normal[half:], left_mm, right_mm, (True, runs_on[1])),
    ]


def _joint(
    at: np.ndarray, before: np.ndarray, after: np.ndarray, left_mm: float, right_mm: float
) -> list[BaseGeometry]:
    """What lies between the covers of two segments on the outside of the bend between them."""
    turn = _turn(before, after)
    side, radius = (1.0, right_mm) if turn > 0 else (-1.0, left_mm)
    if not (turn and radius > 0):
        return []
    return [_sector(at, side * np.stack([before, after]), turn, radius)]


def _band(
    line: np.ndarray, normal: np.ndarray, left_mm: float, right_mm: float, closed: bool = False
) -> Polygon | None:
    """The cover of a line by walking round it; None where it meets itself, or where a segment is
    too short for the bend at its ends."""
    if closed:  # begun behind its longest segment, which both bends at its ends have room on
        size = np.hypot(*np.diff(line, axis=0).T)
        ring = np.roll(line[:-1], -1 - int(np.argmax(size)), axis=0)
        line = np.vstack([ring[-1:], ring, ring[:1]])
        normal = segment_normals(line)
    right, left = (_beside(line, normal, by) for by in (right_mm, -left_mm))
    if right is None or left is None:
        return None
    rims = [np.round(side, _GRID_DIGITS) for side in (right, left)]
    if closed:
        inner, outer = sorted((Polygon(rim[1:-1]) for rim in rims), key=lambda p: p.area)
        if not (inner.is_valid and outer.is_valid):
            return None
        band = Polygon(outer.exterior, [inner.exterior])
    else:
        band = Polygon(np.vstack([rims[0], rims[1][::-1]]))
    return band if band.is_valid and band.area > 0 else None


def _beside(line: np.ndarray, normal: np.ndarray, by_mm: float) -> np.ndarray | None:
    """The line at a distance to the right (negative: left): round on the outside of a bend,
    sharp on its inside; None where a segment vanishes inside a bend."""
    if by_mm == 0:
        return line
    before, after = normal[:-1], normal[1:]
    cosine = np.sum(before * after, axis=1)
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], cosine)
    outside = np.sign(by_mm) * turn > 1e-9
    into = np.where(cosine > 0, np.abs(np.sin(turn)), np.inf)  # the next segment's stretch
    bent = np.where(outside, 0.0, abs(by_mm) * into)
    taken = np.r_[0.0, bent] + np.r_[bent, 0.0]
    if (taken >= np.hypot(*np.diff(line, axis=0).T)).any():
        return None
    steps = np.where(outside, np.maximum(1, np.ceil(np.abs(turn) / _arc_step(by_mm))), 0)
    count = steps.astype(int) + 1
    joint = np.repeat(np.arange(len(turn)), count)
    number = np.arange(len(joint)) - np.repeat(np.cumsum(count) - count, count)
    start = np.arctan2(before[:, 1], before[:, 0])
    angle = start[joint] + turn[joint] * number / np.maximum(steps[joint], 1)
    away = np.column_stack([np.cos(angle), np.sin(angle)])
    inside = ~outside[joint]
    at = joint[inside]
    away[inside] = (before[at] + after[at]) / (1 + cosine[at])[:, None]
    return np.vstack(
        [
            line[:1] + by_mm * normal[:1],
            line[1:-1][joint] + by_mm * away,
            line[-1:] + by_mm * normal[-1:],
        ]
    )


def _arc_step(radius_mm: float) -> float:
    """Angle between the points of an arc, radians."""
    return 2 * math.acos(max(-1.0, 1 - min(ARC_ERROR_MM / abs(radius_mm), 1.0)))


def _turn(first: np.ndarray, second: np.ndarray) -> float:
    cross = first[0] * second[1] - first[1] * second[0]
    return math.atan2(cross, float(first @ second))


def _sector(centre: np.ndarray, ends: np.ndarray, turn: float, radius_mm: float) -> Polygon:
    """A sector between two unit vectors (2, 2); its ends are the corners of what it lies between,
    to the last digit, or a hair of nothing would stay there."""
    count = max(1, math.ceil(abs(turn) / _arc_step(radius_mm)))
    angle = math.atan2(ends[0, 1], ends[0, 0]) + turn * np.arange(count + 1) / count
    rim = centre + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
    rim[[0, -1]] = centre + radius_mm * ends
    return Polygon(np.vstack([centre[None], rim]))


def grown(shape: BaseGeometry, by_mm: float) -> BaseGeometry:
    """Everything within `by_mm` of the shape; negative: the shape drawn in by that distance.

    A shape that has been grown often is rounder than any knife: each time its corners get more
    points, and are thinned once there are too many.
    """
    if by_mm == 0:
        return shape
    if shapely.get_num_coordinates(shape) > ROUND_POINTS:
        shape = shapely.simplify(shape, ARC_ERROR_MM / 2)
    bands = []
    for polygon in polygons_of(shape):
        left, right = (NOISE_MM, by_mm) if by_mm > 0 else (-by_mm, NOISE_MM)
        bands.append(cover(ring_of(polygon), left, right, closed=True))
        bands.extend(cover(h, right, left, closed=True) for h in holes_of(polygon))
    if by_mm > 0:
        return clean(shapely.union_all([shape, *bands]))
    return clean(shape.difference(shapely.union_all(bands)))


def rounded_rectangle(length_mm: float, width_mm: float, corner_mm: float) -> np.ndarray:
    """Ring of a rectangle about the origin with round corners."""
    a, b = length_mm / 2, width_mm / 2
    r = min(corner_mm, a, b)
    if r <= 0:
        return np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
    count = max(2, math.ceil((math.pi / 2) / (2 * math.acos(1 - min(ARC_ERROR_MM / r, 1.0)))))
    parts = []
    for quarter, (x, y) in enumerate(
        [(a - r, b - r), (r - a, b - r), (r - a, r - b), (a - r, r - b)]
    ):
        angle = (quarter + np.arange(count + 1) / count) * math.pi / 2
        parts.append(np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)]))
    return without_repeats(np.vstack(parts), 1e-7)


def ellipse(length_mm: float, width_mm: float) -> np.ndarray:
    """Ring of an ellipse about the origin, chord error at most ARC_ERROR_MM."""
    a, b = length_mm / 2, width_mm / 2
    step = 2 * math.acos(1 - min(ARC_ERROR_MM / max(a, b), 1.0))
    count = 4 * max(3, math.ceil(math.pi / 2 / step))
    angle = np.arange(count) * (2 * math.pi / count)
    return np.column_stack([a * np.cos(angle), b * np.sin(angle)])


def turned(points_mm: np.ndarray, turn_deg: float) -> np.ndarray:
    """Points turned counter-clockwise about the origin."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return points_mm @ np.array([[c, s], [-s, c]])


def without_short(ring: np.ndarray, keys: np.ndarray) -> np.ndarray:
    """Keys of a ring's segments, runs shorter than SHORT_MM given to the run before them."""
    starts = np.flatnonzero(keys != np.roll(keys, 1))
    if len(starts) < 3:
        return keys
    keys = keys.copy()
    length = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    count = len(ring)
    for k, start in enumerate(starts):
        stop = starts[(k + 1) % len(starts)]
        members = np.arange(start, stop if stop > start else stop + count) % count
        if length[members].sum() <= SHORT_MM:
            keys[members] = keys[start - 1]
    return keys


def thin(line_mm: np.ndarray, chord_error_mm: float) -> np.ndarray:
    """An open line with no more vertices than its chord error asks for; both ends stay.

    Douglas and Peucker's rule (1973): no dropped point lies further than `chord_error_mm` from
    the line that is left. Of points that are equally far the one nearer the root end stays, so
    that both hands of a part keep the same vertices.
    """
    line = without_repeats(line_mm)
    if len(line) < 3 or chord_error_mm <= 0:
        return line
    ends = [(round(x, 3), abs(round(y, 3))) for x, y in line[[0, -1]].tolist()]
    turned_round = ends[0] > ends[1]
    points = line[::-1] if turned_round else line
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    open_ = [(0, len(points) - 1)]
    while open_:
        first, last = open_.pop()
        if last - first < 2:
            continue
        away = _distances(points[first + 1 : last], points[first], points[last])
        furthest = float(away.max())
        if furthest <= chord_error_mm:
            continue
        middle = first + 1 + int(np.argmax(away >= furthest - SNAP_MM))
        keep[middle] = True
        open_ += [(first, middle), (middle, last)]
    kept = points[keep]
    return kept[::-1] if turned_round else kept


def _distances(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(n,) distances of points from a segment."""
    along = end - start
    length = float(along @ along)
    share = np.clip((points - start) @ along / length, 0, 1) if length else np.zeros(len(points))
    gap = points - start - share[:, None] * along
    return np.hypot(gap[:, 0], gap[:, 1])


class NearLine:
    """Finds what of a line is nearest to points: where many points meet a line of many segments,
    by a tree of the segments.

    Args:
        line_mm: (n, 2) points, n >= 2.
    """

    def __init__(self, line_mm: np.ndarray):
        self.line_mm = np.asarray(line_mm, dtype=float)
        self._line = shapely.linestrings(self.line_mm)

    def distance_mm(self, points_mm: np.ndarray) -> np.ndarray:
        """(n,) distances of points (n, 2)."""
        points = shapely.points(points_mm)
        if not self._pays(len(points)):
            return shapely.distance(points, self._line)
        return self._tree.query_nearest(points, all_matches=False, return_distance=True)[1]

    def along_mm(self, points_mm: np.ndarray) -> np.ndarray:
        """(n,) how far along the line the places nearest to points (n, 2) lie."""
        points = shapely.points(points_mm)
        if not self._pays(len(points)):
            return shapely.line_locate_point(self._line, points)
        which, segment = self._tree.query_nearest(points)
        first = np.full(len(points), len(self.line_mm))
        np.minimum.at(first, which, segment)
        start, step = self.line_mm[first], np.diff(self.line_mm, axis=0)
        length = np.diff(self._begins_mm)[first]
        way = step[first] / np.maximum(length, 1e-300)[:, None]
        past = np.sum((np.asarray(points_mm) - start) * way, axis=1)
        return self._begins_mm[first] + np.clip(past, 0.0, length)

    def at(self, along_mm: np.ndarray) -> np.ndarray:
        """(n, 2) places so far along the line; past an end, that end."""
        x, y = (np.interp(along_mm, self._begins_mm, values) for values in self.line_mm.T)
        return np.stack([x, y], axis=-1)

    @property
    def length_mm(self) -> float:
        return float(self._begins_mm[-1])

    @property
    def is_closed(self) -> bool:
        return bool((self.line_mm[0] == self.line_mm[-1]).all())

    @cached_property
    def _begins_mm(self) -> np.ndarray:
        """(n,) how far along the line its points lie."""
        return running(self.line_mm)

    def _pays(self, count: int) -> bool:
        return count * len(self.line_mm) > _TREE_PAYS

    @cached_property
    def _tree(self) -> shapely.STRtree:
        pairs = np.stack([self.line_mm[:-1], self.line_mm[1:]], axis=1)
        return shapely.STRtree(shapely.linestrings(pairs))


def running(line: np.ndarray) -> np.ndarray:
    """(n,) distance along a line at each of its points; plane or space."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])


def at_rows(line: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """(n, 2) points of a line at whole and broken row numbers."""
    return np.column_stack([np.interp(rows, np.arange(len(line)), c) for c in line.T])


def dense(line_mm: np.ndarray, step_mm: float) -> np.ndarray:
    """The line with points put between, no two further apart than `step_mm`."""
    line = np.asarray(line_mm, dtype=float)
    length = np.hypot(*np.diff(line, axis=0).T)
    count = np.maximum(1, np.ceil(length / step_mm - 1e-9).astype(int))
    share = np.concatenate([np.arange(n) / n for n in count])
    start = np.repeat(np.arange(len(count)), count)
    points = line[start] + share[:, None] * np.diff(line, axis=0)[start]
    return np.vstack([points, line[-1:]])


def inside_lines(line_mm: np.ndarray, shape: BaseGeometry) -> list[np.ndarray]:
    """The parts of a line inside a shape, in the line's own direction."""
    cut = shapely.linestrings(line_mm).intersection(shape)
    merged = shapely.line_merge(cut) if cut.geom_type == "MultiLineString" else cut
    pieces = [shapely.get_coordinates(g) for g in shapely.get_parts(merged) if g.length > NOISE_MM]
    whole = shapely.linestrings(line_mm)
    ordered = []
    for piece in pieces:
        ends = shapely.line_locate_point(whole, shapely.points(piece[[0, -1]]))
        ordered.append((min(ends), piece if ends[0] <= ends[1] else piece[::-1]))
    return [piece for _, piece in sorted(ordered, key=lambda item: item[0])]


def union_of(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """Union of many shapes, cleaned."""
    return clean(shapely.union_all(list(shapes)))
