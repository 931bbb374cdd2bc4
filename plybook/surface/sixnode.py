"""Six-node triangles: a membrane with a metric given at three inner points of each triangle.

The quadratic shape functions are those of any finite element text, in corner weights L: corners
L (2 L - 1), middles 4 L L'. With the three Gauss points of degree 2 the displacement error falls
with the third power of the triangle's size.
"""

from __future__ import annotations

import numpy as np

from plybook.surface.flatten import Membrane
from plybook.surface.mesh import PatternMesh


def corner_slopes(mesh: PatternMesh) -> np.ndarray:
    """(m, 3, 2) gradients of the corner weights of each triangle, 1/mm on the pattern."""
    inverse = np.linalg.inv(_legs(mesh))  # columns: gradients of the second and third weight
    return np.stack([-inverse.sum(axis=2), inverse[:, :, 0], inverse[:, :, 1]], axis=1)


def _legs(mesh: PatternMesh) -> np.ndarray:
    corners = mesh.nodes_mm[mesh.triangles[:, :3]]
    return corners[:, 1:] - corners[:, :1]


def six_node_membrane(mesh: PatternMesh, metric: np.ndarray, weight: np.ndarray) -> Membrane:
    """The membrane whose true lengths over the pattern are given by a metric.

    Args:
        mesh: triangles on the pattern.
        metric: (m, 3, 2, 2) at the mesh's inner points.
        weight: (m,) how much each triangle counts.
    """
    root = np.linalg.cholesky(metric)  # metric = root root^T
    weights = corner_slopes(mesh)
    slopes = np.stack([_slopes(point, weights) for point in PatternMesh.POINTS], axis=1)
    on_face = np.matmul(slopes, np.linalg.inv(root).swapaxes(-1, -2))
    area = np.abs(np.linalg.det(_legs(mesh)))[:, None] / 2 / len(PatternMesh.POINTS)
    area = area * np.sqrt(np.linalg.det(metric)) * weight[:, None]
    return Membrane(on_face[..., 0], on_face[..., 1], area, mesh.triangles, len(mesh.nodes_mm))


def _slopes(point: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """(m, 6, 2) gradients of the quadratic shape functions at corner weights `point` (3,)."""
    at_corners = (4 * point - 1)[None, :, None] * weights
    at_middles = [
        4 * (point[i] * weights[:, j] + point[j] * weights[:, i])
        for i, j in ((1, 2), (2, 0), (0, 1))
    ]
    return np.concatenate([at_corners, np.stack(at_middles, axis=1)], axis=1)
