"""Another way of laying a face flat, to hold the product's patterns against: plane triangles.

The product develops a face as a spline and layers on it as six-node triangles; here are triangles
of three nodes, their true edge lengths taken from space.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.surface.flatten import Membrane, face_strain


@dataclass(frozen=True)
class FlatMesh:
    """A triangle mesh laid flat; strain (m, 2, 2) is Green, of the face against the pattern."""

    nodes_mm: np.ndarray
    strain: np.ndarray
    rounds: int


def triangle_membrane(legs: np.ndarray, triangles: np.ndarray, count: int) -> Membrane:
    """A membrane of triangles, each given by its two legs in a plane of its own.

    Args:
        legs: (m, 2, 2) vectors from the first to the second and third node, as rows, mm.
        triangles: (m, 3) node indices, counter-clockwise.
        count: number of nodes.
    """
    double = legs[:, 0, 0] * legs[:, 1, 1] - legs[:, 0, 1] * legs[:, 1, 0]
    inverse = np.linalg.inv(legs.transpose(0, 2, 1))  # rows: gradients of nodes 2 and 3
    gradients = np.concatenate([-inverse.sum(axis=1, keepdims=True), inverse], axis=1)
    return Membrane(
        gradients[:, None, :, 0], gradients[:, None, :, 1], double[:, None] / 2, triangles, count
    )


def flatten_mesh(
    points_mm: np.ndarray, triangles: np.ndarray, start: np.ndarray | None = None
) -> FlatMesh:
    """Flatten a triangle mesh in space, whole.

    Args:
        points_mm: (n, 3) nodes, no two at the same place.
        triangles: (m, 3), all turning the same way; they are counter-clockwise in the pattern.
        start: (n, 2) first layout, default the conformal map.
    """
    points = np.asarray(points_mm, dtype=float)
    edges = points[triangles[:, 1:]] - points[triangles[:, :1]]
    first = np.linalg.norm(edges[:, 0], axis=1)
    along = edges[:, 0] / np.maximum(first, 1e-300)[:, None]
    part = np.sum(edges[:, 1] * along, axis=1)
    height = np.linalg.norm(edges[:, 1] - part[:, None] * along, axis=1)
    legs = np.stack([np.stack([first, 0 * first], 1), np.stack([part, height], 1)], axis=1)
    membrane = triangle_membrane(legs, triangles, len(points))
    nodes, rounds = membrane.relax(conformal(membrane, points) if start is None else start)
    return FlatMesh(nodes, face_strain(membrane, nodes)[:, 0], rounds)


def conformal(membrane: Membrane, points: np.ndarray) -> np.ndarray:
    """The least-squares conformal map, scaled to the face's area: (n, 2).

    Levy, Petitjean, Ray, Maillot: Least squares conformal maps, SIGGRAPH 2002 (from memory).
    Two nodes far from each other are pinned.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import splu

    first = int(np.argmax(np.linalg.norm(points - points.mean(axis=0), axis=1)))
    second = int(np.argmax(np.linalg.norm(points - points[first], axis=1)))
    n = membrane.count
    root = np.sqrt(membrane.area)
    d1, d2 = (root[..., None] * d for d in (membrane.d1, membrane.d2))
    d1, d2 = d1[:, 0], d2[:, 0]
    m = len(d1)
    row = np.repeat(np.arange(m), 3)
    node = membrane.nodes.ravel()
    # Cauchy-Riemann: dx/d1 = dy/d2 and dx/d2 = -dy/d1
    rows = np.concatenate([row, row, row + m, row + m])
    columns = np.concatenate([node, node + n, node, node + n])
    values = np.concatenate([d1.ravel(), -d2.ravel(), d2.ravel(), d1.ravel()])
    matrix = coo_matrix((values, (rows, columns)), shape=(2 * m, 2 * n)).tocsc()
    pinned = np.array([first, second, first + n, second + n])
    given = np.array([0.0, np.linalg.norm(points[second] - points[first]), 0.0, 0.0])
    free = np.setdiff1d(np.arange(2 * n), pinned)
    a, b = matrix[:, free], -(matrix[:, pinned] @ given)
    solution = np.zeros(2 * n)
    solution[pinned] = given
    normal = (a.T @ a).tocsc()
    solution[free] = splu(
        normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    ).solve(a.T @ b)
    flat = solution.reshape(2, n).T
    j1, j2 = membrane.images(flat)
    size = float(
        np.sum((j1[..., 0] * j2[..., 1] - j1[..., 1] * j2[..., 0]) * membrane.area)
        / membrane.area.sum()
    )
    return flat / np.sqrt(abs(size))
