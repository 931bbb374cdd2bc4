"""Triangles of good shape over a stretch of the plane that follow given lines.

Delaunay refinement after Ruppert (A Delaunay refinement algorithm for quality 2-dimensional mesh
generation, Journal of Algorithms 18, 1995) with the off-centres of Üngör (2004), both from memory:
a line that the triangulation does not contain is halved; a triangle that is too large or too slim
gets a point near its circumcentre, unless that point comes too near to a line, which is halved
then. Many points are added in each round. Where lines themselves lie closer than `least`, slim
triangles between them are left alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

Inside = Callable[[np.ndarray], np.ndarray]  # points (n, 2) -> (n,) True where triangles are wanted
_GRID = 1e-5  # input points are put on this grid, so that both hands get the same triangles
ONE_MM = 0.05  # points of lines that are closer are one
_SLIM = 1.8  # largest circumradius over shortest side: no angle under 16 degrees
_ROUNDS = 40
_AT_ONCE = 600  # points added in a round
_APART = 0.7  # of the shortest side of a triangle: other new points keep this far away
_CLEAR = 0.6  # of a line's spacing: background points keep this far from it
_SHORTEST = 0.02  # a line is not halved to less
_SHEAR = np.array([[1.0, 0.0], [0.013, 1.0]])  # leaves no four points on a circle


def triangulated(
    background: np.ndarray,
    lines: Sequence[np.ndarray],
    inside: Inside,
    largest: float,
    least: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles over a region.

    Args:
        background: (n, 2) points to begin with; those near a line are left out.
        lines: (k, 2) each; every piece between two neighbouring points becomes one side of a
            triangle or several. The outline of the region is one of them.
        inside: where triangles are wanted.
        largest: circumradius that no triangle has to exceed.
        least: triangles with a shorter side are left as they are.

    Returns:
        points (p, 2) and counter-clockwise triangles (m, 3).
    """
    from scipy.spatial import Delaunay

    points, pieces = _merged(lines)
    background = np.round(background / _GRID) * _GRID
    points = np.concatenate([points, _clear_of(background, points, pieces)])
    hull = Delaunay(points @ _SHEAR, qhull_options="Qc Q12", incremental=True)
    for turn in range(_ROUNDS):
        hull.add_points(points[hull.npoints :] @ _SHEAR)
        mesh = hull.simplices
        missing = ~_has_sides(mesh, pieces, len(points))
        missing &= _lengths(points, pieces) > 2 * _SHORTEST
        if missing.any():
            points, pieces = _halved(points, pieces, missing)
            continue
        mesh = _counter_clockwise(points, mesh)
        mesh = mesh[inside(points[mesh].mean(axis=1))]
        if turn == _ROUNDS - 1:
            break
        new, crowded = _wanted(points, mesh, pieces, inside, largest, least)
        if crowded.any():
            points, pieces = _halved(points, pieces, crowded)
        if len(new):
            points = np.concatenate([points, np.round(new / _GRID) * _GRID])
        if not (len(new) or crowded.any()):
            break
    used, mesh = np.unique(mesh, return_inverse=True)
    return points[used], mesh.reshape(-1, 3)


def _merged(lines: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The different points of all lines, and their pieces as pairs of indices.

    Lines are divided where they cross; points and lines that all but coincide are one.
    """
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    whole = shapely.MultiLineString()
    for line in lines:
        line = shapely.snap(shapely.LineString(line), whole, ONE_MM)
        whole = shapely.union(shapely.snap(whole, line, ONE_MM), line, grid_size=_GRID)
    parts = shapely.get_parts(whole)
    runs = [shapely.get_coordinates(part) for part in parts]
    if not runs:
        return np.zeros((0, 2)), np.zeros((0, 2), dtype=int)
    ends = np.concatenate([np.stack([run[:-1], run[1:]], axis=1) for run in runs]).reshape(-1, 2)
    points, index = np.unique(np.round(ends / _GRID) * _GRID + 0.0, axis=0, return_inverse=True)
    near = cKDTree(points).query_pairs(ONE_MM, output_type="ndarray")
    links = coo_matrix((np.ones(len(near)), near.T), shape=(len(points),) * 2)
    group = connected_components(links, directed=False)[1]
    _, first, renumbered = np.unique(group, return_index=True, return_inverse=True)
    pairs = np.sort(renumbered[index].reshape(-1, 2), axis=1)
    return points[first], np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0)


def _clear_of(background: np.ndarray, points: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    """The background points that keep clear of the lines."""
    from scipy.spatial import cKDTree

    if not len(points) or not len(background):
        return background
    spacing = np.zeros(len(points))
    np.maximum.at(spacing, pieces.ravel(), np.repeat(_lengths(points, pieces), 2))
    away, nearest = cKDTree(points).query(background)
    return background[away > _CLEAR * spacing[nearest]]


def _lengths(points: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    return np.hypot(*(points[pairs[:, 1]] - points[pairs[:, 0]]).T)


def _has_sides(triangles: np.ndarray, pairs: np.ndarray, count: int) -> np.ndarray:
    """(k,) which pairs of points are a side of a triangle."""
    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    asked = np.zeros(count, dtype=bool)
    asked[pairs] = True
    sides = sides[asked[sides].all(axis=1)]
    sides, pairs = np.sort(sides, axis=1), np.sort(pairs, axis=1)
    return np.isin(pairs[:, 0] * count + pairs[:, 1], sides[:, 0] * count + sides[:, 1])


def _halved(points: np.ndarray, pieces: np.ndarray, which: np.ndarray):
    """Points and pieces after some pieces are cut in two."""
    cut = pieces[which]
    middles = np.round(points[cut].mean(axis=1) / _GRID) * _GRID
    at = len(points) + np.arange(len(cut))
    halves = [np.stack([cut[:, 0], at], axis=1), np.stack([cut[:, 1], at], axis=1)]
    return np.concatenate([points, middles]), np.concatenate([pieces[~which], *halves])


def _counter_clockwise(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return np.where((_cross(b - a, c - a) < 0)[:, None], triangles[:, ::-1], triangles)


def _wanted(points, triangles, pieces, inside: Inside, largest: float, least: float):
    """New points for triangles that are too large or too slim, and pieces to be halved first."""
    centres, radius, shortest, middles = _circles(points, triangles)
    large = radius > largest
    slim = (radius > _SLIM * shortest) & (shortest > least)
    bad = np.flatnonzero(large | slim)
    order = np.lexsort((centres[bad, 1], centres[bad, 0], -np.round(radius[bad], 6)))
    bad = bad[order][:_AT_ONCE]
    # not as far as the circumcentre where a nearer point makes a triangle that is good enough
    out = centres[bad] - middles[bad]
    far = np.hypot(*out.T)
    enough = np.where(large[bad], np.inf, shortest[bad] * (_SLIM + np.sqrt(_SLIM**2 - 0.25)))
    out = out * np.minimum(1.0, enough / np.maximum(far, 1e-12))[:, None]
    new = middles[bad] + out
    ends = points[pieces]
    centre, half = ends.mean(axis=1), _lengths(points, pieces) / 2
    away = [new[:, None, k] - centre[None, :, k] for k in (0, 1)]
    near = away[0] ** 2 + away[1] ** 2 < (half * (1 - 1e-9)) ** 2
    crowded = near.any(axis=0) & (half > np.maximum(least, _SHORTEST))
    free = ~near.any(axis=1)
    free[free] = inside(new[free])
    new, reach = new[free], _APART * shortest[bad][free]
    return new[_apart(new, np.where(large[bad][free], _APART * radius[bad][free], reach))], crowded


def _circles(points: np.ndarray, triangles: np.ndarray):
    """Circumcentres, circumradii, shortest sides and their middles."""
    corners = points[triangles]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    p, q = b - a, c - a
    double = 2 * np.maximum(_cross(p, q), 1e-12)
    p2, q2 = np.sum(p * p, axis=1), np.sum(q * q, axis=1)
    to = np.stack([q[:, 1] * p2 - p[:, 1] * q2, p[:, 0] * q2 - q[:, 0] * p2], axis=1)
    to = to / double[:, None]
    sides = np.stack([b - a, c - b, a - c], axis=1)
    length = np.hypot(sides[..., 0], sides[..., 1])
    k = np.argmin(length, axis=1)
    rows = np.arange(len(triangles))
    middles = (corners[rows, k] + corners[rows, (k + 1) % 3]) / 2
    return a + to, np.hypot(*to.T), length[rows, k], middles


def _apart(points: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """Indices of points that keep their reach from those before them."""
    kept: list[int] = []
    open_ = np.ones(len(points), bool)
    for k in range(len(points)):
        if open_[k]:
            kept.append(k)
            open_ &= np.hypot(*(points - points[k]).T) > np.maximum(reach, reach[k])
    return np.array(kept, dtype=int)


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
