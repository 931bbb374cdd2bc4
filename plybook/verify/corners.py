"""The corner points a piece is marked out with, held against its outline where it lies.

Terms:
    marks: the corner points, (n, 2) mm from the stock's end and edge, with straight cuts between
        them. None takes anything off the outline.
"""

from __future__ import annotations

import numpy as np

from plybook.verify import plane
from plybook.verify.report import Report

INCH_MM = 25.4  # exact: the international yard and pound agreement of 1959
TAPE_MM = {"mm": 0.1, "in": INCH_MM / 64}  # the finest mark a piece is marked out on
COVER_MM = 0.01  # a side that cuts off less is a rounding of plan.json
_ON_MARK_MM = 1e-3
STEP_MM = {"mm": 0.5, "in": INCH_MM / 16}  # corners are rounded outwards to the next of these
ROUND_FAR_MM = 3.2  # from a round outline to its piece: two steps of a coarse tape
ROUND_MM = 1e-3  # of a radius
ARC_POINTS = 257  # of a round corner: chords leave a quarter of 1 m across by less than 0.01 mm
FAR_MM = 25.0  # where sides meet at a sharp point; further off, a corner is wrong


def check_marks(
    marks: np.ndarray, ring: np.ndarray, unit: str, where: str, report: Report,
    corner_mm: float = 0.0,
) -> None:  # fmt: skip
    """The marks of one piece.

    Args:
        marks: as in the module's terms.
        ring: (m, 2) the outline where it lies, counter-clockwise, the same coordinates.
        unit: "mm" or "in": of the tape.
        where: names the piece in the report.
        report: takes what is found.
        corner_mm: the radius that their corners are rounded to.
    """
    report.expect(on_the_tape(marks, unit), "mark-outs on the marks of a tape", where,
                  "has a corner that no tape shows")  # fmt: skip
    report.expect(begins_at_the_end(marks), "mark-outs numbered from the end, counter-clockwise",
                  where, "its corners are not in their order")  # fmt: skip
    report.expect(plane.is_simple(marks), "mark-outs whose sides do not cross", where,
                  "its sides cross")  # fmt: skip
    marks = rounded(marks, corner_mm)
    lost = cut_off_mm(marks, ring)
    report.expect(lost <= COVER_MM, "mark-outs that take nothing off their piece", where,
                  f"its corners cut {lost:.2f} mm off the piece")  # fmt: skip
    off = float(plane.distance_to_path(marks, ring).max())
    most = ROUND_FAR_MM if corner_mm else FAR_MM
    report.expect(off <= most, "mark-outs close to their piece", where,
                  f"a corner stands {off:.1f} mm from the piece")  # fmt: skip


def on_the_tape(marks: np.ndarray, unit: str) -> bool:
    """Every mark is one that a tape shows."""
    step = TAPE_MM[unit]
    return bool(np.abs(marks - np.round(marks / step) * step).max() <= _ON_MARK_MM)


def cut_off_mm(marks: np.ndarray, ring: np.ndarray) -> float:
    """How much of an outline lies outside its marks, 0.0 where all of it is inside."""
    lost = ring[~plane.inside(ring, marks)]
    let_in = marks[plane.inside(marks, ring)]
    return max(
        float(plane.distance_to_path(lost, marks).max(initial=0.0)),
        float(plane.distance_to_path(let_in, ring).max(initial=0.0)),
    )


def over_mm(marks: np.ndarray, ring: np.ndarray) -> float:
    """Largest distance from the corners of either ring to the other."""
    return float(
        max(plane.distance_to_path(marks, ring).max(), plane.distance_to_path(ring, marks).max())
    )


def begins_at_the_end(marks: np.ndarray) -> bool:
    """Point 1 is the one nearest to the end of the stock; the others go counter-clockwise."""
    return tuple(marks[0]) == min(map(tuple, marks)) and plane.area(marks) > 0


def rounded(corners_mm: np.ndarray, radius_mm: float) -> np.ndarray:
    """(n, 2) a counter-clockwise polygon whose corners are arcs that both sides run into."""
    if not radius_mm:
        return corners_mm
    found = []
    for before, at, after in zip(
        np.roll(corners_mm, 1, axis=0), corners_mm, np.roll(corners_mm, -1, axis=0), strict=True
    ):
        back, ahead = (way / max(np.hypot(*way), 1e-9) for way in (before - at, after - at))
        half = np.arccos(np.clip(back @ ahead, -1.0, 1.0)) / 2
        inwards = (back + ahead) / max(np.hypot(*(back + ahead)), 1e-9)
        middle = at + inwards * radius_mm / np.sin(half)
        start = at + back * radius_mm / np.tan(half) - middle
        turns = np.linspace(0.0, np.pi - 2 * half, ARC_POINTS)
        sine, cosine = np.sin(turns), np.cos(turns)
        found.append(middle + np.column_stack([
            start[0] * cosine - start[1] * sine, start[0] * sine + start[1] * cosine]))  # fmt: skip
    return np.vstack(found)
