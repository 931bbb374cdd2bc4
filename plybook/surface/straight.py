"""The straightened plane: a stretch of the face with its rows and columns laid square.

Coordinates are the span and the number of the row, times the pitch. Rows lie close to each other on
the face where a section bends, and evenly here, so that what is square here follows the bend; for a
flat face the plane is the pattern itself. A left hand pattern is taken in mirror image, so that
both hands get the same mesh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np

from plybook.surface.leaf import Leaf
from plybook.surface.loft import Loft
from plybook.surface.model import Face

if TYPE_CHECKING:
    from plybook.surface.face import LoftedFace

_PITCH_MM = 150.0
_OF_GIRTH = 0.25  # largest pitch: what the end of a core does to a strip dies away over its width
_LEAST_CELLS, _MOST_CELLS = 8, 120
_PAST_EDGE_MM = 30.0  # of a row past the first and the last
_ACROSS_NODES = 32
_PAST_KINK_MM = 80.0
_NOSE_W = 0.15


@dataclass(frozen=True)
class Straight:
    """Coordinates (span, row); for a flat face the pattern itself.

    Rows are numbered so that a square of the plane is as much wider on the face than it is high as
    the face bends less along the span than across it.
    """

    of: Callable[[np.ndarray], np.ndarray]  # pattern -> plane
    flat: Callable[[np.ndarray], np.ndarray]  # plane -> pattern
    curvature: Callable[[np.ndarray], np.ndarray]  # at points of the plane
    strain: Callable[[np.ndarray], np.ndarray]
    pitch_mm: float  # of columns and rows in the plane
    columns: np.ndarray  # spans that must be columns: stations and ends
    rows: np.ndarray  # where the curvature of the face jumps, so that triangles end there

    def grid(self, bounds: np.ndarray) -> np.ndarray:
        """Background nodes over a box of the plane (low x, low y, high x, high y)."""
        columns = self._lines(bounds[0], bounds[2], self.columns)
        rows = self._lines(bounds[1], bounds[3], self.rows)
        return np.stack(np.meshgrid(columns, rows, indexing="ij"), axis=-1).reshape(-1, 2)

    def _lines(self, low: float, high: float, fixed: np.ndarray) -> np.ndarray:
        """Places a pitch apart, those that are fixed among them."""
        fixed = fixed[(fixed > low) & (fixed < high)]
        stops = np.concatenate([[low], fixed, [high]])
        counts = np.maximum(1, np.round(np.diff(stops) / self.pitch_mm)).astype(int)
        ends = zip(stops, stops[1:], counts, strict=False)
        return np.concatenate([*(np.linspace(a, b, n + 1)[:-1] for a, b, n in ends), stops[-1:]])

    def held(self, rim) -> list[np.ndarray]:
        """Lines over a polygon of the plane that triangles must not reach across."""
        import shapely

        low, _, high, _ = shapely.bounds(rim)
        found = []
        for row in self.rows:
            line = shapely.LineString([(low, row), (high, row)]).intersection(rim)
            line = shapely.segmentize(line, self.pitch_mm)
            found += [shapely.get_coordinates(part) for part in shapely.get_parts(line)]
        return [line for line in found if len(line) > 1]


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
        size = np.ptp(ring_mm, axis=0)
        pitch = float(np.clip(size.min() / _LEAST_CELLS, size.max() / _MOST_CELLS, _PITCH_MM))
        return Straight(_same, _same, _zero, _zero, pitch, np.zeros(0), np.zeros(0))
    return _through(lofted(face), ring_mm)


def _through(face: LoftedFace, ring_mm: np.ndarray) -> Straight:
    loft = face.leaves[0].loft
    mirror = np.array([1.0, loft.bag_sign])
    leaf = _only_leaf(face, ring_mm * mirror)
    low, high = face.leaves[0].w_range

    def params(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return leaf.params(points * mirror) if leaf else face.params(points * mirror)[:2]

    spans = params(ring_mm)[0]
    size = float(np.ptp(spans))
    middle = (loft.spans[0] + loft.spans[-1]) / 2
    row_w, breaks = _rows(loft, low, high)
    section = loft.at(np.full(len(row_w), middle), row_w)
    girth = float(np.linalg.norm(np.diff(section, axis=0), axis=1).sum())
    most = min(_PITCH_MM, _OF_GIRTH * girth)
    pitch = size / float(np.clip(np.ceil(size / most), _LEAST_CELLS, _MOST_CELLS))
    numbers = pitch * np.arange(len(row_w))
    ends = loft.at(np.full(2, middle), np.array([low, high]), 0, 1)
    over = np.linalg.norm(ends, axis=1) * pitch / _PAST_EDGE_MM  # rows for each w past the ends

    def row_of(w: np.ndarray) -> np.ndarray:
        inside = np.interp(w, row_w, numbers)
        return inside + np.minimum(w - low, 0) * over[0] + np.maximum(w - high, 0) * over[1]

    def w_of(row: np.ndarray) -> np.ndarray:
        inside = np.interp(row, numbers, row_w)
        past = np.minimum(row, 0) / over[0] + np.maximum(row - numbers[-1], 0) / over[1]
        return inside + past

    def of(points: np.ndarray) -> np.ndarray:
        u, w = params(points)
        return np.stack([u, row_of(w)], axis=1)

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

    jumps = numbers[np.searchsorted(row_w, breaks)]
    return Straight(of, flat, curvature, strain, pitch, loft.spans, jumps)


def _rows(loft: Loft, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Section parameters of the rows, and those where the bend of the face jumps."""
    breaks = loft.w_breaks
    pieces = [
        np.linspace(a, b, max(4, int(np.ceil(_ACROSS_NODES * (b - a) / (high - low)))) + 1)[:-1]
        for a, b in zip(breaks, breaks[1:], strict=False)
    ]
    row_w = np.concatenate([*pieces, [high]])
    if loft.chords is None:
        return row_w, breaks[1:-1]
    nose = row_w[:-1] < _NOSE_W  # more rows where an aerofoil bends most
    row_w = np.sort(np.concatenate([row_w, ((row_w[1:] + row_w[:-1]) / 2)[nose]]))
    return row_w, breaks[:0]


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
