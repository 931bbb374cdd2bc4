"""A triangle mesh over a stretch of the pattern, its edges lying on given break lines.

The mesh is made in a straightened plane (span, girth from the middle of the face), in which rows
near the nose may lie close without skewed triangles. Break lines are where a height field has a
crease (foot and top of a bevel, outline of an insert): points are set along them, and wherever
the triangulation does not follow a line yet, more are added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.model import Face
from plybook.surface.straight import straightened

_BREAK_STEP_MM = 25.0
_EDGE_STEP_MM = 60.0
_MERGE_MM = 0.2
_CLEAR = 0.35  # background nodes keep this share of the break step from a break line
_REPAIRS = 6
_MOST_POINTS = 12_000  # along break lines and rims; twice as many have taken minutes
_BEND = 0.08  # rows this much closer than the columns are those of a bend
_TRIES = 12
_SETTLED_MM = 1e-9
QUARTERS = 4  # every triangle is cut in so many
_SHEAR = np.array([[1.0, 0.0], [0.013, 1.0]])


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
        curvatures: (m, 3, 2, 2) of the face at three inner points of each triangle; `POINTS` has
            the weights of the corners there (Gauss points of degree 2).
    """

    nodes_mm: np.ndarray
    corners: int
    triangles: np.ndarray
    curvatures: np.ndarray
    strains: np.ndarray
    margin: np.ndarray

    POINTS = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6.0

    @cached_property
    def locator(self) -> Locator:
        """Finds points of the pattern in the quarters of the triangles."""
        return Locator(self.nodes_mm, self.parts)

    @cached_property
    def true(self) -> np.ndarray:
        """(m, 3, 2, 2) G^-1/2 of the face's metric G = 1 + 2 E, by its series to E^2: turns
        slopes and curvatures per mm of pattern into those per mm of face."""
        strain = self.strains
        return np.eye(2) - strain + 1.5 * np.matmul(strain, strain)

    @cached_property
    def bends(self) -> np.ndarray:
        """(m, 3, 2, 2) curvature of the face per mm of face, in pattern axes, 1/mm."""
        return np.matmul(self.true, np.matmul(self.curvatures, self.true))

    @cached_property
    def parts(self) -> np.ndarray:
        """(QUARTERS m, 3) each triangle cut in four at the middles of its sides."""
        a, b, c, d, e, f = self.triangles.T
        quarters = [(a, f, e), (f, b, d), (e, d, c), (d, e, f)]
        return np.stack([np.stack(q, axis=1) for q in quarters], axis=1).reshape(-1, 3)


class Locator:
    """Finds points in a layout of triangles."""

    def __init__(self, nodes_mm: np.ndarray, triangles: np.ndarray):
        self.source, self.triangles = nodes_mm, triangles

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
    hold_rows: bool = False,
) -> PatternMesh:
    """Mesh the pattern inside a ring and a margin round it.

    Args:
        face: the mould face.
        within: (n, 2) ring on the pattern.
        break_lines: (k, 2) polylines on the pattern, closed ones with their first point repeated.
        margin_mm: how far the mesh reaches past the ring.
        step_mm: largest distance of points along a break line.
        hold_rows: let no triangle reach across the rows of a bend because of a break line.

    Raises:
        GeometryError: the face slants or narrows so much that the mesh has no end.
    """
    import shapely

    plane = straightened(face, within)
    wanted = shapely.make_valid(shapely.Polygon(within))
    area = shapely.buffer(wanted, margin_mm, quad_segs=4)
    lines = _clipped(break_lines, area, step_mm)
    grid = plane.grid(shapely.get_coordinates(area), step_mm)
    grid = grid[shapely.contains_xy(area, plane.flat(grid))]
    creases = [_along(plane.of(line), plane.rows, step_mm) for line in lines]
    rings = [plane.of(ring) for ring in _rings(area)]  # or long triangles would span bays
    creases += [_along(ring, plane.rows, _EDGE_STEP_MM) for ring in rings]
    if lines and hold_rows:  # what a break line crosses cannot be held as well
        creases += _clear_of(_bend_rows(grid), creases, step_mm * _CLEAR)
    count = sum(map(len, creases))
    if count > _MOST_POINTS:
        raise GeometryError(
            error(
                "face-degenerate",
                f"the face slants or narrows too much to lay anything over what lies below: "
                f"{count} points would be needed along its edges",
                "correct the sweep or the chord of its stations, or end it before the point",
            )
        )
    points, triangles = _triangulate(grid, creases, step_mm * _CLEAR)
    flat = plane.flat(points)
    rim = np.concatenate(rings)
    triangles = _sound(triangles, points, flat, rim)
    used, triangles = np.unique(triangles, return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    points, flat = points[used], flat[used]
    corners = points[triangles]
    inner = [np.einsum("k,mkc->mc", weights, corners) for weights in PatternMesh.POINTS]
    bends = np.stack([plane.curvature(at) for at in inner], axis=1)
    strains = np.stack([plane.strain(at) for at in inner], axis=1)
    outside = ~shapely.contains_xy(wanted, flat[triangles].mean(axis=1))
    nodes, count, six = _with_middles(flat, triangles)
    return PatternMesh(nodes, count, six, bends, strains, outside)


def _sound(triangles, points: np.ndarray, flat: np.ndarray, rim: np.ndarray) -> np.ndarray:
    """Triangles turned counter-clockwise, without those past the rim and slivers along it."""
    import shapely

    a, b, c = (points[triangles[:, k]] for k in range(3))
    turned = _cross(b - a, c - a) < 0
    triangles = np.where(turned[:, None], triangles[:, ::-1], triangles)
    region = shapely.make_valid(shapely.Polygon(rim))
    inside = shapely.contains_xy(region, (a + b + c) / 3)
    a, b, c = (flat[triangles[:, k]] for k in range(3))
    longest = np.max([np.sum((p - q) ** 2, axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    quality = _cross(b - a, c - a) / longest
    edge = shapely.buffer(shapely.boundary(region), 1e-3)
    at_rim = shapely.intersects_xy(edge, points)[triangles].sum(axis=1) >= 2
    return triangles[inside & (quality > np.where(at_rim, 0.002, 1e-7))]


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


def _along(line: np.ndarray, rows: np.ndarray, step_mm: float) -> np.ndarray:
    """Points along a line of the straightened plane: its vertices, the rows, even steps."""
    pieces = []
    for a, b in zip(line, line[1:], strict=False):
        length = float(np.hypot(*(b - a)))
        count = max(1, int(np.ceil(length / step_mm)))
        part = np.arange(count) / count
        low, high = sorted((a[1], b[1]))
        between = rows[(rows > low + _MERGE_MM) & (rows < high - _MERGE_MM)]
        if len(between):
            fixed = np.concatenate([[0.0, 1.0], (between - a[1]) / (b[1] - a[1])])
            clear = np.abs(part[:, None] - fixed).min(axis=1) > 0.3 / count
            part = np.sort(np.concatenate([part[clear], fixed[[0]], fixed[2:]]))
        pieces.append(a + part[:, None] * (b - a))
    return np.concatenate([*pieces, line[-1:]])


def _bend_rows(grid: np.ndarray) -> list[np.ndarray]:
    """Rows of the background that lie close, as in a bend: no triangle may reach across them."""
    columns, rows = np.unique(grid[:, 0]), np.unique(grid[:, 1])
    if len(columns) < 2 or len(rows) < 3:
        return []
    pitch = np.diff(columns).max()
    gaps = np.diff(rows)
    close = np.r_[False, gaps < _BEND * pitch] | np.r_[gaps < _BEND * pitch, False]
    found = []
    for row in rows[close]:
        at = grid[grid[:, 1] == row]
        at = at[np.argsort(at[:, 0])]
        ends = np.flatnonzero(np.diff(at[:, 0]) > 1.5 * pitch) + 1
        found += [part for part in np.split(at, ends) if len(part) > 1]
    return found


def _clear_of(
    rows: Sequence[np.ndarray], lines: Sequence[np.ndarray], by_mm: float
) -> list[np.ndarray]:
    """The parts of rows that stay a distance clear of some lines."""
    import shapely

    near = shapely.union_all([shapely.LineString(line).buffer(by_mm, 2) for line in lines])
    parts = shapely.get_parts(shapely.difference([shapely.LineString(r) for r in rows], near))
    return [shapely.get_coordinates(part) for part in parts if part.length > by_mm]


def _triangulate(grid: np.ndarray, creases: list[np.ndarray], clear_mm: float):
    """Delaunay triangulation that contains all crease segments."""
    from scipy.spatial import Delaunay, cKDTree

    runs = [np.stack([c[:-1], c[1:]], axis=1) for c in creases if len(c) > 1]
    segments = np.concatenate([np.zeros((0, 2, 2)), *runs])
    for attempt in range(_REPAIRS):
        on_lines, ends = _merged(segments)
        points = grid
        if len(on_lines):
            far = cKDTree(on_lines).query(grid)[0] > clear_mm
            points = np.concatenate([on_lines, grid[far]])
        # a slight shear leaves no four points on a circle: the same mesh on either hand
        mesh = Delaunay(np.round(points, 6) @ _SHEAR, qhull_options="Qbb Qc Qz Q12")
        missing = ~_has_edges(mesh.simplices, ends, len(points))
        if attempt == _REPAIRS - 1 or not missing.any():
            return points, mesh.simplices
        middle = segments[missing].mean(axis=1)
        halves = [
            np.stack([segments[missing, 0], middle], axis=1),
            np.stack([middle, segments[missing, 1]], axis=1),
        ]
        segments = np.concatenate([segments[~missing], *halves])


def _merged(segments: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Different end points of the segments, and the segments as pairs of indices."""
    if not len(segments):
        return np.zeros((0, 2)), np.zeros((0, 2), dtype=int)
    ends = segments.reshape(-1, 2)
    _, first, index = np.unique(
        np.round(ends / 1e-4).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    return ends[first], index.reshape(-1, 2)


def _has_edges(triangles: np.ndarray, pairs: np.ndarray, count: int) -> np.ndarray:
    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    sides = np.sort(sides, axis=1)
    have = np.unique(sides[:, 0] * count + sides[:, 1])
    pairs = np.sort(pairs, axis=1)
    return np.isin(pairs[:, 0] * count + pairs[:, 1], have) | (pairs[:, 0] == pairs[:, 1])
