"""A flat mould face: its outline is its pattern.

On a flat face the builder's span is x and the share is the part of the height from the lowest to
the highest point of the outline.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.model import AtShare, Axis, OnPattern, OutlineMould
from plybook.surface.model import FaceEdge, Kink, StationLine, StrainReport


@dataclass(frozen=True)
class FlatFace:
    """Answers as `plybook.surface.model.Face`; every map is the identity or a scale of y."""

    edges: tuple[FaceEdge, ...]
    outline_mm: np.ndarray
    holes_mm: tuple[np.ndarray, ...]
    axis_mm: np.ndarray
    area_mm2: float
    strain: StrainReport
    leaves_mm: tuple[np.ndarray, ...]
    station_lines: tuple[StationLine, ...] = ()
    kinks: tuple[Kink, ...] = ()
    flat: bool = True
    mirrored: bool = False  # the right hand: worked out as the mirror image of the left
    of_image: bool = False  # that left: its y is the spec's, turned round

    @property
    def _heights(self) -> tuple[float, float]:
        y = self.outline_mm[:, 1]
        return float(y.min()), float(y.max())

    def to_pattern(self, span_share: np.ndarray) -> np.ndarray:
        low, high = self._heights
        points = np.array(span_share, dtype=float)
        points[:, 1] = low + points[:, 1] * (high - low)
        return points

    def from_pattern(self, points_mm: np.ndarray) -> np.ndarray:
        low, high = self._heights
        points = np.array(points_mm, dtype=float)
        points[:, 1] = (points[:, 1] - low) / (high - low)
        return points

    def to_space(self, points_mm: np.ndarray) -> np.ndarray:
        points = np.asarray(points_mm, dtype=float)
        return np.column_stack([points, np.zeros(len(points))])

    def normals(self, points_mm: np.ndarray) -> np.ndarray:
        return np.tile([0.0, 0.0, 1.0], (len(points_mm), 1))

    def curvature(self, points_mm: np.ndarray) -> np.ndarray:
        return np.zeros((len(points_mm), 2, 2))

    def span_line(self, span_mm: float) -> np.ndarray:
        low, high = self._heights
        return np.array([[span_mm, low], [span_mm, high]])

    def share_line(self, share: float) -> np.ndarray:
        x = self.outline_mm[:, 0]
        return self.to_pattern(np.array([[x.min(), share], [x.max(), share]]))


def flat_face(mould: OutlineMould, axis: Axis, mirrored: bool = False) -> FlatFace:
    """The face of a flat outline; `mirrored` for the right hand.

    Raises:
        GeometryError: 0 degrees is asked along another line than the drawing's x.
    """
    ring = np.asarray(mould.ring_mm, dtype=float)
    holes = tuple(np.asarray(hole, dtype=float) for hole in mould.holes_mm)
    area = signed_area_mm2(ring)
    if area <= 0:
        raise GeometryError(
            error("outline-ring", "the outline has no area or runs clockwise", "", mould.place)
        )
    left, right = ring[:, 0].min(), ring[:, 0].max()
    if isinstance(axis, AtShare):
        low, high = ring[:, 1].min(), ring[:, 1].max()
        y = low + axis.share * (high - low)
        line = np.array([[left, y], [right, y]])
    else:
        line = np.array([_point(axis.start, ring), _point(axis.end, ring)])
        if abs(line[1, 1] - line[0, 1]) > 1e-6 or line[1, 0] <= line[0, 0]:
            raise GeometryError(
                error(
                    "axis-points",
                    "a flat outline is drawn with 0 degrees along its own x, to the right",
                    "turn the outline so that the reference axis lies along x",
                    mould.place,
                )
            )
    count = len(ring)
    edges = tuple(
        FaceEdge(
            name, ring[np.arange(first, last + 1 if last > first else last + count + 1) % count]
        )
        for name, first, last in mould.edges
    )
    empty = StrainReport(
        0.0, 0.0, 0.0, True, 0.0, 0, np.zeros((0, 2)), np.zeros((0, 3), dtype=int), np.zeros(0)
    )
    net = area - sum(abs(signed_area_mm2(hole)) for hole in holes)
    return FlatFace(edges, ring, holes, line, float(net), empty, (ring,), mirrored=mirrored)


def _point(point, ring: np.ndarray) -> tuple[float, float]:
    if isinstance(point, OnPattern):
        return point.x_mm, point.y_mm
    low, high = ring[:, 1].min(), ring[:, 1].max()
    return point.span_mm, low + point.share * (high - low)
