"""A circle, or round corners, told in words beside the points of a mark-out."""

from __future__ import annotations

from plybook.nest.markout import MarkedPiece, tape
from plybook.nest.roundings import is_circle
from plybook.units import STIFF, show_length


def round_said(mark: MarkedPiece, unit: str) -> str:
    """What the points of a round piece stand for, or how their corners are rounded; "" for any
    other. `unit`: "mm" or "in", of the tape."""
    if not mark.corner_mm:
        return ""
    if is_circle(mark.points_mm, mark.corner_mm):
        across = show_length(2 * mark.corner_mm, unit, grain=STIFF)
        at = " / ".join(tape(float(v), unit) for v in mark.told_mm.mean(axis=0))
        return (
            f"A circle {across} across, its middle at {at}; the points are corners of the square "
            "around it."
        )
    radius = show_length(mark.corner_mm, unit, grain=STIFF)
    return f"The points are where its sides meet: round these corners to a radius of {radius}."
