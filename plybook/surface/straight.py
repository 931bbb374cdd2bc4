"""The straightened plane: a stretch of the face with its rows and columns laid square.

Coordinates are the span and the girth at the middle of the face. Rows near the nose of a section
lie close to each other here without making skewed triangles; for a flat face the plane is the
pattern itself. A left hand pattern is taken in mirror image, so that both hands get the same
mesh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from plybook.surface.leaf import Leaf
from plybook.surface.model import Face

if TYPE_CHECKING:
    from plybook.surface.face import LoftedFace

_GRID_STEP_MM = 150.0
_ACROSS_NODES = 32
_PAST_KINK_MM = 80.0
_NOSE_W = 0.15


@dataclass(frozen=True)
class Straight:
    """Coordinates (span, girth at the middle of the face); for a flat face the pattern itself."""

    of: Callable[[np.ndarray], np.ndarray]  # pattern -> plane
    flat: Callable[[np.ndarray], np.ndarray]  # plane -> pattern
    curvature: Callable[[np.ndarray], np.ndarray]  # at points of the plane
    strain: Callable[[np.ndarray], np.ndarray]
    rows: np.ndarray  # girths of the background rows
    columns: np.ndarray  # spans that must be columns: stations and ends

    def grid(self, ring: np.ndarray, step_mm: float) -> np.ndarray:
        """Background nodes over a ring of the pattern."""
        across = self.of(ring)
        low, high = across.min(axis=0), across.max(axis=0)
        rows = self.rows
        if not len(rows):
            count = int(np.clip(np.ceil((high[1] - low[1]) / _GRID_STEP_MM), 8, 40))
            rows = np.linspace(low[1], high[1], count + 1)
        else:
            rows = rows[(rows > low[1]) & (rows < high[1])]
            rows = np.concatenate([[low[1]], rows, [high[1]]])
        count = int(np.clip(np.ceil((high[0] - low[0]) / _GRID_STEP_MM), 8, 60))
        columns = np.linspace(low[0], high[0], count + 1)
        fixed = self.columns[(self.columns > low[0]) & (self.columns < high[0])]
        if len(fixed):
            pitch = columns[1] - columns[0]
            off = np.abs(columns[:, None] - fixed).min(axis=1) > pitch / 3
            columns = np.sort(np.concatenate([columns[off], fixed]))
        return np.stack(np.meshgrid(columns, rows, indexing="ij"), axis=-1).reshape(-1, 2)


def mirror_of(face: Face) -> np.ndarray:
    """(2,) factors that turn the pattern of either hand into that of one and the same hand."""
    if face.flat:
        return np.array([1.0, -1.0 if getattr(face, "mirrored", False) else 1.0])
    return np.array([1.0, lofted(face).leaves[0].loft.bag_sign])


def lofted(face: Face) -> LoftedFace:
    """A face that is not flat, with its leaves."""
    return cast("LoftedFace", face)


def straightened(face: Face, ring_mm: np.ndarray) -> Straight:
    """The straightened plane of a face for a region; a left hand pattern is taken in mirror image.

    Where the region lies on one leaf, that leaf's own continuation holds past its kinks.

    Args:
        face: the mould face.
        ring_mm: (n, 2) of the region, as `mirror_of` leaves it.
    """
    if face.flat:
        none = np.zeros(0)
        return Straight(_same, _same, _zero, _zero, none, none)
    return _through(lofted(face), ring_mm)


def _through(face: LoftedFace, ring_mm: np.ndarray) -> Straight:
    loft = face.leaves[0].loft
    mirror = np.array([1.0, loft.bag_sign])
    leaf = _only_leaf(face, ring_mm * mirror)
    low, high = face.leaves[0].w_range
    breaks = loft.w_breaks
    pieces = [
        np.linspace(a, b, max(4, int(np.ceil(_ACROSS_NODES * (b - a) / (high - low)))) + 1)[:-1]
        for a, b in zip(breaks, breaks[1:], strict=False)
    ]
    row_w = np.concatenate([*pieces, [high]])
    if loft.shares is None:  # more rows where an aerofoil bends most
        nose = row_w[:-1] < _NOSE_W
        row_w = np.sort(np.concatenate([row_w, ((row_w[1:] + row_w[:-1]) / 2)[nose]]))
    fine = np.union1d(np.linspace(low, high, 801), row_w)
    middle = (loft.spans[0] + loft.spans[-1]) / 2
    speed = np.linalg.norm(loft.at(np.full(len(fine), middle), fine, 0, 1), axis=1)
    girth = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(fine))])

    def girth_of(w: np.ndarray) -> np.ndarray:
        inside = np.interp(w, fine, girth)
        return inside + np.minimum(w - low, 0) * speed[0] + np.maximum(w - high, 0) * speed[-1]

    def w_of(s: np.ndarray) -> np.ndarray:
        inside = np.interp(s, girth, fine)
        return inside + np.minimum(s, 0) / speed[0] + np.maximum(s - girth[-1], 0) / speed[-1]

    def of(points: np.ndarray) -> np.ndarray:
        u, w = leaf.params(points * mirror) if leaf else face.params(points * mirror)[:2]
        return np.stack([u, girth_of(w)], axis=1)

    def flat(plane: np.ndarray) -> np.ndarray:
        at = plane[:, 0], w_of(plane[:, 1])
        return (leaf.flat(*at) if leaf else face.flat_at(*at)) * mirror

    def curvature(plane: np.ndarray) -> np.ndarray:
        at = plane[:, 0], w_of(plane[:, 1])
        bend = leaf.curvature(*at) if leaf else face.curvature_at(*at)
        return bend * (mirror[:, None] * mirror)

    def strain(plane: np.ndarray) -> np.ndarray:
        at = plane[:, 0], w_of(plane[:, 1])
        tensor = leaf.strain(*at) if leaf else face.strain_in(*at)
        return tensor * (mirror[:, None] * mirror)

    rows = girth_of(row_w)
    over = np.arange(1, 9) * 30.0
    rows = np.concatenate([rows[0] - over[::-1], rows, rows[-1] + over])
    return Straight(of, flat, curvature, strain, rows, loft.spans)


def _only_leaf(face: LoftedFace, ring_mm: np.ndarray) -> Leaf | None:
    """The leaf that holds a ring, up to a splice's overlap past its kinks; None over several."""
    for leaf in face.leaves:
        u, _ = leaf.params(ring_mm)
        starts = leaf is face.leaves[0] or u.min() > leaf.from_mm - _PAST_KINK_MM
        ends = leaf is face.leaves[-1] or u.max() < leaf.to_mm + _PAST_KINK_MM
        if starts and ends:
            return leaf
    return None


def _same(points: np.ndarray) -> np.ndarray:
    return np.asarray(points, dtype=float)


def _zero(points: np.ndarray) -> np.ndarray:
    return np.zeros((len(points), 2, 2))
