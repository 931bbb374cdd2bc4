"""What lifting a layer off the face makes of lengths, and hollows that cloth bridges.

A length over a hollow shrinks with the height above it, to nothing at the centre of curvature; no
yarn follows so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.mesh import PatternMesh
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.surface.sixnode import corner_slopes
from plybook.surface.straight import mirror_of
from plybook.units import mm

# most height over radius of a hollow that lengths follow; in a tight one where that folds, of which
FOLLOWED, FOLLOWED_AT_LEAST = 0.9, 0.5
# in a hollow as tight cloth bridges what no yarn follows, by so much of height over radius
_TIGHT_MM, _BRIDGED_MM = 3.0, 1.5


@dataclass(frozen=True)
class Bridged:
    """A tight hollow that what lies below has filled: where, how high, and its radius."""

    at_mm: np.ndarray  # (2,) pattern
    height_mm: float
    radius_mm: float


def raised_metric(
    mesh: PatternMesh, heights: np.ndarray, face: Face, in_tight: float = FOLLOWED
) -> tuple[np.ndarray, Bridged | None]:
    """What lifting makes of lengths on the face, (m, 3, 2, 2), and the tightest hollow it fills;
    heights of nodes are straight within a triangle. Tight hollows are followed up to a height of
    `in_tight` radii.

    Raises:
        GeometryError: a height reaches the centre of curvature, but where that is so near to the
            face that cloth bridges it.
    """
    local = heights[mesh.triangles[:, :3]]
    rise = np.einsum("mk,mkc->mc", local, corner_slopes(mesh))
    at = np.einsum("pk,mk->mp", PatternMesh.POINTS, local)
    turned = at[..., None, None] * mesh.bends
    bridged, bent = None, np.sqrt((turned**2).sum(axis=(2, 3))) > in_tight  # at least the largest
    if bent.any():
        size, ways = np.linalg.eigh(turned[bent])
        most = np.zeros(at.shape)
        most[bent] = size[:, 1]
        tight = at[bent] <= _TIGHT_MM * size[:, 1]
        bridged = _bridged(mesh, at, most, face, 1.0 if in_tight == FOLLOWED else in_tight)
        most_of_it = np.where(tight, in_tight, FOLLOWED)[:, None]
        held = ways * np.minimum(size, most_of_it)[:, None, :]
        over = size[:, 1] > most_of_it[:, 0]
        turned[bent] = np.where(
            over[:, None, None], np.matmul(held, ways.swapaxes(-1, -2)), turned[bent]
        )
    factor = np.eye(2) - turned
    rise = np.matmul(mesh.true, rise[:, None, :, None])
    return np.matmul(factor, factor) + np.matmul(rise, rise.swapaxes(-1, -2)), bridged


def _bridged(
    mesh: PatternMesh, at: np.ndarray, most: np.ndarray, face: Face, followed: float
) -> Bridged | None:
    """Where heights (m, 3) stand highest over what is followed; past the part nothing does.

    Args:
        most: (m, 3) height over radius.
        followed: most height over radius that cloth follows; 1 at the centre of curvature.

    Raises:
        GeometryError: cloth does not bridge that.
    """
    radius = at / np.maximum(most, 1e-12)
    over = np.where((most >= followed) & ~mesh.margin[:, None], at - radius, -np.inf)
    bridges = (most < 1) | (radius <= _TIGHT_MM) & (over <= _BRIDGED_MM)
    over[(most < 1) & (radius > _TIGHT_MM)] = -np.inf
    if (np.isfinite(over) & ~bridges).any():
        spot = int(np.argmax(np.where(bridges, -np.inf, over)))
        raise _too_high(mesh, spot, at.ravel()[spot], face)
    if not np.isfinite(over).any():
        return None
    triangle, number = divmod(int(np.argmax(over)), len(PatternMesh.POINTS))
    corners = mesh.nodes_mm[mesh.triangles[triangle, :3]]
    spot_mm = PatternMesh.POINTS[number] @ corners * mirror_of(face)
    return Bridged(spot_mm, float(at[triangle, number]), float(radius[triangle, number]))


def _too_high(mesh: PatternMesh, spot: int, height_mm: float, face: Face) -> GeometryError:
    """The refusal of a height past the centre of curvature at a point (triangles x 3, flat)."""
    triangle, number = divmod(spot, len(PatternMesh.POINTS))
    corners = mesh.nodes_mm[mesh.triangles[triangle, :3]]
    at = PatternMesh.POINTS[number] @ corners * mirror_of(face)
    radius = 1 / float(np.linalg.eigvalsh(mesh.bends[triangle, number]).max())
    refusal = GeometryError(
        error(
            "raised-too-high",
            f"what lies below is {mm(height_mm):.1f} high at {place_words(at, face)}, where the "
            f"face is hollow with a radius of {mm(radius):.1f}: laid over it, cloth has nowhere "
            "to go",
            "end the thick layers before the tight bend",
        )
    )
    refusal.at_mm = at
    return refusal
