"""The face a layer lies on, leaf by leaf.

Terms:
    leaf: a stretch of the face between two kinks, flattened as one piece with its own map.
    band: the leaf's stretch of the span; the outermost reach past root and tip.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from plybook.laminate.stretch import Strain
from plybook.surface.model import Face


class MapBothWays(Protocol):
    """A map of the plane and its inverse; points are (n, 2) in mm."""

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern -> cut frame."""

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame -> pattern."""

    def strain_at(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2, 2) Green strain of the raised face against the cut, in axes of the cut frame."""


@dataclass(frozen=True)
class Leaf:
    """One leaf: its number from the root, its band, and its map (None: the bare pattern)."""

    number: int
    low_mm: float
    high_mm: float
    raised: MapBothWays | None

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern (n, 2) -> cut frame; right a little past the leaf's kinks too."""
        points = np.asarray(points_mm, dtype=float)
        return points if self.raised is None else np.asarray(self.raised.to_cut(points))

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame (n, 2) -> pattern."""
        points = np.asarray(points_mm, dtype=float)
        return points if self.raised is None else np.asarray(self.raised.from_cut(points))

    @property
    def strain_at(self) -> Strain | None:
        """What raising strains at points of the pattern, in axes of the cut frame; None where
        nothing is raised."""
        return None if self.raised is None else self.raised.strain_at


def open_kinks_mm(face: Face) -> tuple[float, ...]:
    """Spans where cloth is not laid over a break of the face."""
    return tuple(kink.span_mm for kink in face.kinks if not kink.accepted)


def leaves_of(raised: object | None, kinks_mm: Sequence[float] = ()) -> tuple[Leaf, ...]:
    """The leaves of a map of the face, from root to tip.

    Args:
        raised: None for the bare pattern, one map (`to_cut`, `from_cut`), or maps by leaf
            (`kinks_mm` and `maps`).
        kinks_mm: where the bare pattern is divided.
    """
    maps = getattr(raised, "maps", (raised,) * (1 + len(kinks_mm)))
    kinks = tuple(getattr(raised, "kinks_mm", kinks_mm))[: len(maps) - 1]
    ends = (-math.inf, *kinks, math.inf)
    return tuple(
        Leaf(i, ends[i], ends[i + 1], None if getattr(one, "unraised", False) else one)
        for i, one in enumerate(maps)
    )
