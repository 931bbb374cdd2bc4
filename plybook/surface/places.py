"""Where on the part something is, in the words a builder measures by."""

from __future__ import annotations

import numpy as np

from plybook.surface.model import Face
from plybook.units import bare_mm, mm


def place_words(point_mm: np.ndarray, face: Face) -> str:
    """A point (2,) of the pattern: span and share of the section, or x and y as they are written.

    A right hand is worked out as its left image, whose y is turned round against the spec.
    """
    if face.flat:
        turned = -1.0 if getattr(face, "of_image", False) else 1.0
        x, y = round(float(point_mm[0])), round(turned * float(point_mm[1]))
        return f"x {bare_mm(x):.0f}, y {mm(y):.0f}"
    span, share = np.asarray(face.from_pattern(np.asarray(point_mm, dtype=float)[None]))[0]
    return on_section(span, share)


def on_section(span_mm: float, share: float) -> str:
    """A place given by its span and its share of the section."""
    return f"span {mm(round(float(span_mm))):.0f}, {100 * float(share):.0f} % of the section"
