"""A triangle mesh over a stretch of the pattern, its edges lying on given break lines.

The mesh is made in a straightened plane (span, girth from the middle of the face), in which rows
near the nose may lie close without skewed triangles. Break lines are where a height field has a
crease (foot and top of a bevel, outline of an insert): points are set along them, and wherever
the triangulation does not follow a line yet, more are added.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.delaunay import ONE_MM, triangulated
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.surface.straight import Straight, mirror_of, straightened

_BREAK_STEP_MM = 25.0
_EDGE_STEP_MM = 60.0
_LARGEST = 0.75  # circumradius of a triangle, of the pitch of the background
_LEAST_MM = 2.5  # triangles with a shorter side are left as they are
_ROUGH_MM = 0.2  # how closely the outline is followed where a margin lies round it
_QUARTER = 3  # sides of a quarter circle at the corners of the margin
_FLAT = 1e-7  # least height of a triangle, in parts of its longest side
_THIN = 2e-3  # the same on the pattern, under which a longest side is turned
_SLIVER = 0.02  # the same between points of the rim
_SPOTS = np.array([[2, 2, 2], [3, 3, 0], [0, 3, 3], [3, 0, 3]]) / 6.0  # middles of it, its sides
_SHEET = 1e-3  # how closely a point of the margin must come back, of the pitch
_MOST_POINTS = 12_000  # along break lines and rims; twice as many have taken minutes
_TRIES = 12
_SETTLED_MM = 1e-9
QUARTERS = 4  # every triangle is cut in so many


@dataclass(frozen=True)
class PatternMesh:
    """Triangles with nodes at their corners and at the middle of their sides.

    It lies on the pattern as `mirror_of` leaves it.

    Attributes:
        nodes_mm: (n, 2) on the pattern, the corners first.
        corners: how many nodes are corners.
        strains: (m, 3, 2, 2) Green strain of the face against its pattern at the same points.
        margin: (m,) True for triangles outside the ring that was asked for.
        triangles: (m, 6) corners counter-clockwise, then the middles opposite to each corner.
        on_lines: how many points its lines were made of.
        curve: asked for once, (m, 3, 2, 2) curvature of the face at three inner points of each
            triangle; `POINTS` has the weights of the corners there (Gauss points of degree 2).
    """

    nodes_mm: np.ndarray
    corners: int
    triangles: np.ndarray
    curve: Callable[[], np.ndarray]
    strains: np.ndarray
    margin: np.ndarray
    on_lines: int = 0

    POINTS = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6.0

    @cached_property
    def locator(self) -> Locator:
        """Finds points of the pattern in the quarters of the triangles."""
        return Locator(self.nodes_mm, self.parts)

    @cached_property
    def true(self) -> np.ndarray:
        """(m, 3, 2, 2) G^-1/2 of the face's metric G = 1 + 2 E: turns slopes and curvatures per mm
        of pattern into those per mm of face. The root of a symmetric G is (G + s) / t with
        s = (det G)^1/2 and t = (tr G + 2 s)^1/2 (Cayley and Hamilton)."""
        metric = np.eye(2) + 2 * self.strains
        size = np.sqrt(np.linalg.det(metric))[..., None, None]
        scale = np.sqrt(np.trace(metric, axis1=-2, axis2=-1)[..., None, None] + 2 * size)
        return np.linalg.inv((metric + size * np.eye(2)) / scale)

    @cached_property
    def bends(self) -> np.ndarray:
        """(m, 3, 2, 2) curvature of the face per mm of face, in pattern axes, 1/mm."""
        return np.matmul(self.true, np.matmul(self.curve(), self.true))

    @cached_property
    def parts(self) -> np.ndarray:
        """(QUARTERS m, 3) each triangle cut in four at the middles of its sides."""
        a, b, c, d, e, f = self.triangles.T
        quarters = [(a, f, e), (f, b, d), (e, d, c), (d, e, f)]
        return np.stack([np.stack(q, axis=1) for q in quarters], axis=1).reshape(-1, 3)

    def without(self, cells: np.ndarray) -> tuple[PatternMesh, np.ndarray]:
        """The mesh without some triangles of its margin, nor those that hung on by them alone; and
        which of its nodes are left."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        stays = np.setdiff1d(np.arange(len(self.triangles)), cells)
        one, side = np.repeat(np.arange(len(stays)), 3), self.triangles[stays, 3:].ravel()
        shares = coo_matrix((np.ones(len(side)), (one, side))).tocsr()
        _, part = connected_components(shares @ shares.T, directed=False)
        stays = stays[np.isin(part, part[~self.margin[stays]])]
        used, triangles = np.unique(self.triangles[stays], return_inverse=True)
        mesh = PatternMesh(
            self.nodes_mm[used],
            int((used < self.corners).sum()),
            triangles.reshape(-1, 6),
            lambda: self.curve()[stays],
            self.strains[stays],
            self.margin[stays],
            self.on_lines,
        )
        return mesh, used


class Locator:
    """Finds points in a layout of triangles."""

    def __init__(self, nodes_mm: np.ndarray, triangles: np.ndarray):
        self.source, self.triangles = nodes_mm, triangles

    def __reduce__(self) -> tuple:
        return Locator, (self.source, self.triangles)  # a tree is made sooner than sent

    @cached_property
    def _tree(self):
        import shapely

        corners = self.source[self.triangles[:, [0, 1, 2, 0]]]
        return shapely.STRtree(shapely.polygons(corners))

    def locate(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Triangle and weights of its nodes for each point, or for the nearest mesh point."""
        import shapely

        spots = shapely.points(points)
        which = np.full(len(points), -1)
        point, triangle = self._tree.query(spots, predicate="intersects")
        which[point[::-1]] = triangle[::-1]  # the first hit stands
        lost = np.flatnonzero(which < 0)
        at = points
        if len(lost):
            nearest = self._tree.query_nearest(spots[lost], all_matches=False)
            which[lost[nearest[0]]] = nearest[1]
            found = lost[nearest[0]]
            bridge = shapely.shortest_line(self._tree.geometries[nearest[1]], spots[found])
            at = points.copy()
            at[found] = shapely.get_coordinates(shapely.get_point(bridge, 0))
        a, b, c = (self.source[self.triangles[which, k]] for k in range(3))
        double = _cross(b - a, c - a)
        second, third = _cross(at - a, c - a) / double, _cross(b - a, at - a) / double
        return which, np.stack([1 - second - third, second, third], axis=1)


class PiecewiseAffine:
    """The map that carries each triangle of one layout onto the same triangle of another.

    Points outside all triangles move as the nearest point of the mesh.
    """

    def __init__(self, locator: Locator, target_mm: np.ndarray):
        self.locator, self.target = locator, target_mm

    def __call__(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) -> (n, 2)."""
        points = np.asarray(points_mm, dtype=float)
        which, weights = self.locator.locate(points)
        corners = self.locator.source[self.locator.triangles[which]]
        past = points - np.einsum("nk,nkc->nc", weights, corners)  # 0 inside the mesh
        return self.carry(which, weights) + past

    def carry(self, which: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Points already located in the source -> (n, 2)."""
        corners = self.target[self.locator.triangles[which]]
        return np.einsum("nk,nkc->nc", weights, corners)


class Inverse:
    """The way back of a piecewise affine map: Newton's method, exact within the right triangle.

    What does not settle is looked up in the target's own triangles (a tree of its own is dear).
    """

    def __init__(self, forth: PiecewiseAffine):
        self.forth = forth

    def __call__(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) -> (n, 2)."""
        points = np.asarray(points_mm, dtype=float)
        found, left = points.copy(), np.arange(len(points))
        for _ in range(_TRIES):
            if not len(left):
                return found
            which, weights = self.forth.locator.locate(found[left])
            corners = self.forth.locator.source[self.forth.locator.triangles[which]]
            images = self.forth.target[self.forth.locator.triangles[which]]
            past = found[left] - np.einsum("nk,nkc->nc", weights, corners)
            miss = points[left] - np.einsum("nk,nkc->nc", weights, images) - past
            inside = np.abs(past).max(axis=1) < _SETTLED_MM
            found[left] += np.where(inside[:, None], _drawn_back(miss, corners, images), miss)
            left = left[np.abs(miss).max(axis=1) > _SETTLED_MM]
        if len(left):
            found[left] = self._looked_up(points[left])
        return found

    @cached_property
    def _looked_up(self) -> PiecewiseAffine:
        forth = self.forth
        return PiecewiseAffine(Locator(forth.target, forth.locator.triangles), forth.locator.source)


def _drawn_back(steps: np.ndarray, corners: np.ndarray, images: np.ndarray) -> np.ndarray:
    """Steps (n, 2) in the images of triangles -> the same steps in the triangles."""
    legs, to = corners[:, 1:] - corners[:, :1], images[:, 1:] - images[:, :1]
    double = _cross(to[:, 0], to[:, 1])
    sound = np.abs(double) > 1e-9
    double = np.where(sound, double, 1.0)
    first, second = _cross(steps, to[:, 1]) / double, _cross(to[:, 0], steps) / double
    back = first[:, None] * legs[:, 0] + second[:, None] * legs[:, 1]
    return np.where(sound[:, None], back, steps)


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def pattern_mesh(
    face: Face,
    within: np.ndarray,
    break_lines: Sequence[np.ndarray],
    margin_mm: float,
    step_mm: float = _BREAK_STEP_MM,
) -> PatternMesh:
    """Mesh the pattern inside a ring and a margin round it.

    Args:
        face: the mould face.
        within: (n, 2) ring on the pattern.
        break_lines: (k, 2) polylines on the pattern, closed ones with their first point repeated.
        margin_mm: how far the mesh reaches past the ring; its outline is only followed roughly
            then, without a margin every point of the ring is a corner.
        step_mm: largest distance of points along a break line.

    Raises:
        GeometryError: the face slants or narrows so much that the mesh has no end.
    """
    import shapely

    wanted = shapely.make_valid(shapely.Polygon(within))
    area = wanted
    if margin_mm:
        wanted = shapely.make_valid(shapely.simplify(wanted, _ROUGH_MM))
        area = shapely.buffer(wanted, margin_mm, quad_segs=_QUARTER)
    plane = straightened(face, shapely.get_coordinates(area))
    rings = [plane.of(ring) for ring in _rings(area)]
    lines = [plane.of(line) for line in _clipped(break_lines, area, step_mm)]
    if margin_mm:
        lines += [plane.of(ring) for ring in _rings(wanted)]
    lines = [_within_pitch(line, plane.pitch_mm) for line in (*lines, *rings)]
    rim = shapely.make_valid(shapely.MultiPolygon([shapely.Polygon(ring) for ring in rings]))
    shapely.prepare(rim)
    lines += plane.held(rim)
    _refuse_too_many(lines, plane, face)
    background = plane.grid(shapely.bounds(rim))
    points, triangles = triangulated(
        background[shapely.contains_xy(rim, background)],
        lines,
        lambda spots: shapely.contains_xy(rim, spots),
        largest=_LARGEST * plane.pitch_mm,
        least=min(_LEAST_MM, plane.pitch_mm / 10),
    )
    flat = plane.flat(points)
    triangles = _flipped(_sound(triangles, points, flat, rim), points, flat, lines)
    if margin_mm:
        triangles = _on_one_sheet(triangles, points, flat, plane, wanted)
    used, triangles = np.unique(triangles, return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    points, flat = points[used], flat[used]
    corners = points[triangles]
    inner = [np.einsum("k,mkc->mc", weights, corners) for weights in PatternMesh.POINTS]
    strains = np.stack([plane.strain(at) for at in inner], axis=1)
    outside = ~shapely.contains_xy(wanted, flat[triangles].mean(axis=1))
    nodes, count, six = _with_middles(flat, triangles)

    def curve() -> np.ndarray:
        return np.stack([plane.curvature(at) for at in inner], axis=1)

    return PatternMesh(nodes, count, six, curve, strains, outside, sum(map(len, lines)))


def _refuse_too_many(lines: Sequence[np.ndarray], plane: Straight, face: Face) -> None:
    count, longest = sum(map(len, lines)), max(lines, key=len)
    if count > _MOST_POINTS:
        at = plane.flat(longest[[len(longest) // 2]])[0] * mirror_of(face)
        refusal = GeometryError(
            error(
                "face-degenerate",
                f"the face slants or narrows too much at {place_words(at, face)} to lay anything "
                f"over what lies below: {count} points would be needed along its edges",
                "correct the sweep or the chord of its stations, or end it before the point",
            )
        )
        refusal.at_mm = at
        raise refusal


def _sound(triangles: np.ndarray, points: np.ndarray, flat: np.ndarray, rim) -> np.ndarray:
    """The triangles without slivers along the rim, and without those that are turned over on the
    pattern, as they are where lines that carry the face on past its edges cross."""
    import shapely

    edge = shapely.buffer(shapely.boundary(rim), 2 * ONE_MM)  # lines that meet it have moved it
    shapely.prepare(edge)
    at_rim = shapely.intersects_xy(edge, points)[triangles].all(axis=1)
    least = np.where(at_rim, _SLIVER, 0.0)
    return triangles[(_height(points[triangles]) > least) & (_height(flat[triangles]) > _FLAT)]


def _flipped(
    triangles: np.ndarray, points: np.ndarray, flat: np.ndarray, lines: Sequence[np.ndarray]
) -> np.ndarray:
    """The triangles with the longest side of each that is all but a line on the pattern turned
    into the other diagonal of the two that share it, where no line runs along that side.

    What is square in the plane lies in a bow along a hollow edge of the pattern, and three corners
    may lie on one line there: a hair of movement would turn such a triangle over.
    """
    import shapely

    thin = np.flatnonzero(_height(flat[triangles]) < _THIN)
    if not len(thin):
        return triangles
    held = shapely.MultiLineString([line for line in lines if len(line) > 1])
    triangles = triangles.copy()
    for one in thin.tolist():
        tip, a, b = _by_longest_side(triangles[one], flat)
        beside = np.flatnonzero(((triangles == a) | (triangles == b)).sum(axis=1) == 2)
        beside = beside[beside != one]
        side = shapely.points([points[a], (points[a] + points[b]) / 2, points[b]])
        if len(beside) != 1 or shapely.dwithin(held, side, 1e-3).all():
            continue
        pair = np.array([one, beside[0]])
        far = next(k for k in triangles[pair[1]] if k not in (a, b))
        new = np.array([[tip, a, far], [tip, far, b]])
        better = _height(flat[new]).min() > _height(flat[triangles[pair]]).min()
        if better and _height(points[new]).min() > _FLAT:
            triangles[pair] = new
    return triangles


def _by_longest_side(triangle: np.ndarray, flat: np.ndarray) -> np.ndarray:
    """The corners (3,) of a triangle from the one opposite its longest side on, the same way
    round."""
    ends = flat[np.roll(triangle, -1)] - flat[np.roll(triangle, -2)]
    return np.roll(triangle, -int(np.argmax(np.sum(ends**2, axis=1))))


def _on_one_sheet(triangles, points: np.ndarray, flat: np.ndarray, plane: Straight, wanted):
    """The triangles without those of the margin that lie where lines that carry the face on past
    its edges have crossed, or reach across such a place: the way to the pattern and back does not
    end where it began, or begins within the triangle and does not end within it."""
    import shapely

    outside = np.flatnonzero(~shapely.contains_xy(wanted, flat[triangles].mean(axis=1)))
    corners = points[triangles[outside]]
    spots = np.einsum("sk,mkc->smc", _SPOTS, corners).reshape(-1, 2)
    there = plane.flat(spots)
    comes_back = np.hypot(*(plane.of(there) - spots).T) < _SHEET * plane.pitch_mm
    comes_back = comes_back.reshape(len(_SPOTS), -1).all(axis=0)
    middle = there[: len(outside)]
    a, b, c = (flat[triangles[outside, k]] for k in range(3))
    within = (_cross(b - a, middle - a) > 0) & (_cross(c - b, middle - b) > 0)
    within &= _cross(a - c, middle - c) > 0
    return np.delete(triangles, outside[~(comes_back & within)], axis=0)


def _height(corners: np.ndarray) -> np.ndarray:
    """(m,) signed heights of triangles (m, 3, 2) over their longest side, in parts of it."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    longest = np.max([np.sum((p - q) ** 2, axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    return _cross(b - a, c - a) / longest


def _with_middles(corners: np.ndarray, triangles: np.ndarray):
    """Nodes with the middles of all sides, number of corners, and the six-node triangles."""
    sides = np.sort(triangles[:, [[1, 2], [2, 0], [0, 1]]], axis=2).reshape(-1, 2)
    pairs, index = np.unique(sides, axis=0, return_inverse=True)
    middles = corners[pairs].mean(axis=1)
    six = np.concatenate([triangles, len(corners) + index.reshape(-1, 3)], axis=1)
    return np.concatenate([corners, middles]), len(corners), six


def _rings(area) -> list[np.ndarray]:
    import shapely

    area = shapely.segmentize(area, _EDGE_STEP_MM)
    return [
        shapely.get_coordinates(ring)
        for part in shapely.get_parts(area)
        if part.geom_type == "Polygon"
        for ring in (part.exterior, *part.interiors)
    ]


def _clipped(lines: Sequence[np.ndarray], area, step_mm: float) -> list[np.ndarray]:
    import shapely

    parts = shapely.get_parts(
        shapely.intersection([shapely.LineString(line) for line in lines], area)
    )
    # straight on the pattern is not straight in the plane: points close enough to follow
    parts = shapely.segmentize(parts, step_mm)
    return [shapely.get_coordinates(p) for p in parts if p.geom_type == "LineString" and p.length]


def _within_pitch(line: np.ndarray, pitch: float) -> np.ndarray:
    """The line with points put between where its own are further apart than the background's."""
    count = np.maximum(1, np.ceil(np.hypot(*np.diff(line, axis=0).T) / pitch - 1e-6).astype(int))
    parts = [
        a + np.arange(n)[:, None] / n * (b - a)
        for a, b, n in zip(line, line[1:], count, strict=False)
    ]
    return np.concatenate([*parts, line[-1:]])
