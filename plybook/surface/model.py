"""The mould face: where every point of the part is, in space and flat.

Terms:
    pattern frame: the flat pattern of the face as seen from the bag side, x along the reference
        axis from root to tip, y up, mm. All drawings use it.
    bay: the stretch between two neighbouring stations.
    leaf: a stretch of the face that is flattened as one piece; leaves meet at kinks (splices).
    (span, share): the builder's coordinates, mm from the root and share of the chord (or girth).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np


@dataclass(frozen=True)
class FaceEdge:
    """A named stretch of the net outline, in the order the outline is walked."""

    name: str
    points_mm: np.ndarray  # (n, 2) pattern frame, along the counter-clockwise outline


@dataclass(frozen=True)
class StationLine:
    """A station drawn on the pattern."""

    label: str
    span_mm: float
    points_mm: np.ndarray  # (n, 2) from share from_share to to_share


@dataclass(frozen=True)
class StrainReport:
    """What flattening cost. Percentages are principal (Green) strains of face against pattern."""

    largest_tension_pct: float
    largest_compression_pct: float
    largest_shear_deg: float
    developable: bool
    tolerance_pct: float
    triangles: int
    # field for the picture: nodes (n, 2) pattern mm, triangles (m, 3), strain (m,) signed pct
    nodes_mm: np.ndarray
    faces: np.ndarray
    strain_pct: np.ndarray


@dataclass(frozen=True)
class Kink:
    """A station where the loft breaks; laid through, it would strain the cloth by `gap_mm`."""

    span_mm: float
    turn_deg: float  # angle between the bays' span directions, largest over the section
    gap_mm: float
    accepted: bool


class Face(Protocol):
    """What every later stage may ask of a mould face. All arrays are (n, 2) or (n, 3) float.

    Points outside the net line are answered by straight continuation (trim allowance): each by the
    shortest straight line from an edge that leads to it (`plybook.surface.pastedge`).
    """

    edges: tuple[FaceEdge, ...]  # closed, counter-clockwise when joined
    outline_mm: np.ndarray  # (n, 2) net ring in the pattern frame, ccw, not closed
    holes_mm: tuple[np.ndarray, ...]
    leaves_mm: tuple[np.ndarray, ...]  # one ring per leaf, ccw; a single one where no kink splits
    station_lines: tuple[StationLine, ...]
    axis_mm: np.ndarray  # (2, 2) the reference axis in the pattern frame, root to tip (y = 0)
    strain: StrainReport
    kinks: tuple[Kink, ...]
    flat: bool
    area_mm2: float  # of the face in space

    def to_pattern(self, span_share: np.ndarray) -> np.ndarray:
        """(span mm, share) -> pattern frame, mm."""

    def from_pattern(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame -> (span mm, share)."""

    def to_space(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame -> part axes in mm: x aft, y starboard, z up (flat parts: x, y, 0)."""

    def normals(self, points_mm: np.ndarray) -> np.ndarray:
        """Unit normals towards the bag side at pattern points, part axes."""

    def curvature(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2, 2) curvature in pattern axes, 1/mm; positive where the bag side is concave
        (layers further from the mould are shorter)."""

    def span_line(self, span_mm: float) -> np.ndarray:
        """Line of constant span across the face, from its first to its last share, pattern mm."""

    def share_line(self, share: float) -> np.ndarray:
        """Line of constant share from root to tip, pattern mm."""
