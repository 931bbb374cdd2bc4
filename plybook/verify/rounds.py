"""Circles and round corners that are told in words beside the points of a mark-out."""

from __future__ import annotations

import re

import numpy as np

from plybook.verify.bays import tape_figure
from plybook.verify.corners import ROUND_MM
from plybook.verify.cut_pages import FIGURE, length_mm

CIRCLE, CORNERS = "A circle ", "The points are where its sides meet: round these corners to a "
LEADS = (CIRCLE, CORNERS)
_CIRCLE = re.compile(
    rf"A circle ({FIGURE}) (mm|in) across, its middle at ({FIGURE}) / ({FIGURE}); the points are "
    r"corners of the square around it\."
)
_CORNERS = re.compile(rf"{CORNERS}radius of ({FIGURE}) (mm|in)\.")


def round_told(marks_mm: np.ndarray, said: str, unit: str) -> float:
    """The radius that words tell, 0 where they tell none.

    Args:
        marks_mm: (n, 2) the points beside them.
        said: all that is told of the piece.
        unit: "mm" or "in": of the tape.

    Raises:
        ValueError: the words tell it otherwise than such words do, or a circle elsewhere than its
            points.
    """
    said = " ".join(said.split())
    if found := _CORNERS.search(said):
        if found[2] != unit:
            raise ValueError("a radius in another unit")
        return length_mm(found[1], unit)
    found = _CIRCLE.search(said)
    if found is None:
        if any(lead in said for lead in LEADS):
            raise ValueError("a round piece without its size")
        return 0.0
    across, at = length_mm(found[1], unit), [length_mm(found[k], unit) for k in (3, 4)]
    square = np.abs(np.ptp(marks_mm, axis=0) - across).max() <= ROUND_MM and len(marks_mm) == 4
    middle = np.abs(marks_mm.mean(axis=0) - at).max()
    if found[2] != unit or not square or middle > _MIDDLE_MM[unit]:
        raise ValueError("a circle that is not within its points")
    return across / 2


_MIDDLE_MM = {"mm": 0.051, "in": 25.4 / 128 + ROUND_MM}  # half of the last mark of a figure


def round_said(marks_mm: np.ndarray, corner_mm: float, unit: str) -> str:
    """What is told of corners that are rounded to a radius; "" for others.

    Args:
        marks_mm: (n, 2) the points as they are told.
        corner_mm: the radius.
        unit: "mm" or "in": of the tape.
    """
    if not corner_mm:
        return ""
    wide = np.ptp(marks_mm, axis=0)
    if len(marks_mm) == 4 and np.abs(wide - 2 * corner_mm).max() <= ROUND_MM:
        at = " / ".join(tape_figure(float(v), unit) for v in marks_mm.mean(axis=0))
        across = tape_figure(2 * corner_mm, unit)
        return (
            f"{CIRCLE}{across} {unit} across, its middle at {at}; the points are corners of the "
            "square around it."
        )
    return f"{CORNERS}radius of {tape_figure(corner_mm, unit)} {unit}."
