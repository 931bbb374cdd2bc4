"""What flattening cost: principal strains of the face against its pattern."""

from __future__ import annotations

import numpy as np

from plybook.surface.leaf import Leaf
from plybook.surface.model import StrainReport

DEVELOPABLE_PCT = 0.01  # 0.1 mm in a metre; cloth is not laid more exactly than that
_ALONG, _ACROSS = 32, 48


def principal(strain: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Larger and smaller principal value of symmetric (n, 2, 2) tensors."""
    mean = (strain[:, 0, 0] + strain[:, 1, 1]) / 2
    radius = np.hypot((strain[:, 0, 0] - strain[:, 1, 1]) / 2, strain[:, 0, 1])
    return mean + radius, mean - radius


def strain_report(leaves: tuple[Leaf, ...]) -> StrainReport:
    """Sample the strain on a triangulated grid over all leaves.

    Tension is positive: there the cloth, cut to the pattern, has to stretch onto the face.
    """
    nodes, faces, values = [], [], []
    highest: list[np.ndarray] = []
    lowest: list[np.ndarray] = []
    count = 0
    for leaf in leaves:
        u = np.linspace(leaf.from_mm, leaf.to_mm, _ALONG + 1)
        w = np.linspace(*leaf.w_range, _ACROSS + 1)
        grid_u, grid_w = (a.ravel() for a in np.meshgrid(u, w, indexing="ij"))
        triangles = grid_triangles(_ALONG, _ACROSS, leaf.loft.bag_sign > 0)
        centre_u, centre_w = grid_u[triangles].mean(axis=1), grid_w[triangles].mean(axis=1)
        most, least = principal(leaf.strain(centre_u, centre_w))
        edge = principal(leaf.strain(grid_u, grid_w))
        nodes.append(leaf.flat(grid_u, grid_w))
        faces.append(triangles + count)
        values.append(np.where(np.abs(most) >= np.abs(least), most, least))
        highest += [most, edge[0]]
        lowest += [least, edge[1]]
        count += len(grid_u)
    high, low = np.concatenate(highest), np.concatenate(lowest)
    tension, compression = max(high.max(), 0.0) * 100, min(low.min(), 0.0) * 100
    return StrainReport(
        largest_tension_pct=float(tension),
        largest_compression_pct=float(compression),
        largest_shear_deg=float(np.degrees((high - low).max())),
        developable=bool(max(tension, -compression) <= DEVELOPABLE_PCT),
        tolerance_pct=DEVELOPABLE_PCT,
        triangles=sum(len(f) for f in faces),
        nodes_mm=np.concatenate(nodes),
        faces=np.concatenate(faces),
        strain_pct=np.concatenate(values) * 100,
    )


def grid_triangles(along: int, across: int, upright: bool = True) -> np.ndarray:
    """Triangles of a grid with (along + 1) x (across + 1) nodes, row by row: (m, 3).

    Counter-clockwise when the rows run along x and their nodes up (`upright`), else reversed.
    """
    i, j = (a.ravel() for a in np.meshgrid(np.arange(along), np.arange(across), indexing="ij"))
    a = i * (across + 1) + j
    b, c, d = a + across + 1, a + across + 2, a + 1
    even = (i + j) % 2 == 0
    one = np.where(even[:, None], np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    two = np.where(even[:, None], np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    triangles = np.concatenate([one, two])
    return triangles if upright else triangles[:, ::-1]
