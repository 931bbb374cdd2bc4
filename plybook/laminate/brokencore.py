"""A core on a face of several leaves: what each leaf sees of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.laminate.ground import Meeting
from plybook.laminate.heights import HeightField
from plybook.spec.model import Seam, SpanLine
from plybook.surface.model import Face

SAME_PLACE_MM = 1.0


def lies_at(seam: Seam, span_mm: float) -> bool:
    """Whether a seam runs along a station, as a break does."""
    return isinstance(seam.line, SpanLine) and abs(seam.line.at_mm - span_mm) < SAME_PLACE_MM


@dataclass(frozen=True)
class LeafView:
    """A core as seen from one leaf: the face, where the core lies and what is let into it."""

    face: Face
    region: shapely.Geometry
    let_in: Mapping[str, shapely.Geometry]


@dataclass(frozen=True)
class BrokenFace:
    """A core on a face of several leaves: what each leaf sees, and where panels meet."""

    views: tuple[LeafView, ...]
    meetings: tuple[Meeting, ...]
    fields: tuple[HeightField, ...]  # heights of what the core lies on, by leaf

    def end(self, leaf: int, kink_mm: float) -> np.ndarray | None:
        """Where a leaf's panels end at a break, pattern mm; None where it does not reach it."""
        for meeting in self.meetings:
            if abs(meeting.span_mm - kink_mm) < SAME_PLACE_MM and leaf - meeting.number in (0, 1):
                return meeting.lines_mm[leaf - meeting.number]
        return None
