"""Openings of pieces as the cut plan has them marked out: by their corners, which lie inside the
opening, with a radius where the corners are round; a round one by its middle and how far across.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from plybook.verify import corners, plane
from plybook.verify.corners import INCH_MM
from plybook.verify.cut_pages import Block, length_mm
from plybook.verify.report import Report

COVER_MM = 0.01  # outside an opening by less is a rounding
OPENING_MM = 2.5  # corners stand no further from an opening, nor the opening from their sides
_TAPE_MM = {"mm": 1.0, "in": INCH_MM / 16}  # the coarsest step in which a radius is told
_LEAST_TURN, _MOST_TURN = 0.01, 1.0  # of a curve drawn by chords, from one to the next, rad


def check_openings(
    holes_mm: Sequence[np.ndarray], block: Block, unit: str, where: str, report: Report
) -> None:
    """Every opening of one piece.

    Args:
        holes_mm: (n, 2) rings where the piece lies, from the stock's end and edge.
        block: what the cut plan prints of the piece.
        unit: "mm" or "in": of the tape.
        where: names the piece in the report.
        report: takes what is found.
    """
    found: dict[str, list[np.ndarray]] = {}
    for name, x, y in (row for row in block.rows if not row[0][:1].isdigit()):
        at = np.array([length_mm(x, unit), length_mm(y, unit)])
        found.setdefault(name.rstrip("0123456789"), []).append(at)
    report.expect(len(found) == len(holes_mm), "pieces with their openings marked out", where,
                  f"marks out {len(found)} openings of {len(holes_mm)}")  # fmt: skip
    for hole, (name, points) in zip(holes_mm, found.items(), strict=False):
        said = _said(block, name, len(points))
        marks = np.array(points)
        if len(marks) == 1:
            radii = np.hypot(*(hole - marks[0]).T)
            good = float(np.ptp(radii)) <= max(OPENING_MM, 0.004 * float(radii.mean()))
            across = _figure(r": middle of a round opening, {} across", said, unit)
            good = good and abs(across - 2 * float(radii.mean())) <= _TAPE_MM[unit]
        else:
            radius = _figure(r"radius of {}", said, unit)
            good = _well_inside(corners.rounded(marks, radius), hole)
            less, own = radius - _TAPE_MM[unit], _corner_radius(hole)
            if good and own and less > 1.05 * own:  # it is told larger only to stay inside
                good = not _inside(corners.rounded(marks, less), hole)
        report.expect(good, "openings marked out where they are", where,
                      "an opening is marked out elsewhere, or larger or smaller than it is"
                      )  # fmt: skip


def _said(block: Block, name: str, count: int) -> str:
    """What is told of one opening."""
    words = " ".join(" ".join(block.words).split())
    begins = f"{name}:" if count == 1 else f"{name}1 to {name}{count}:"
    found = re.search(rf"(?<!\S){re.escape(begins)}[^;]*", words)
    return found[0] if found else ""


def _figure(words: str, said: str, unit: str) -> float:
    """The length in the place of `{}`, 0 where it is not told."""
    told = re.search(words.format(r"([\d ./]+?) ?(?:mm|in)\b"), said)
    return length_mm(told[1].strip(), unit) if told else 0.0


def _inside(marks: np.ndarray, hole: np.ndarray) -> bool:
    """Whether no mark lies outside an opening."""
    on_rim = plane.distance_to_path(marks, hole)
    return bool((plane.inside(marks, hole) | (on_rim <= COVER_MM)).all())


def _well_inside(marks: np.ndarray, hole: np.ndarray) -> bool:
    """Whether marks lie inside an opening and close to it, all round."""
    off = max(plane.distance_to_path(marks, hole).max(), plane.distance_to_path(hole, marks).max())
    return _inside(marks, hole) and float(off) <= OPENING_MM


def _corner_radius(hole: np.ndarray) -> float:
    """The radius of the round corners of a ring, mm; 0 where it has none. A curve is drawn by
    chords, which turn little from one to the next."""
    before, after = np.roll(hole, 1, axis=0), np.roll(hole, -1, axis=0)
    u, v = hole - before, after - hole
    turn = np.abs(np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], np.sum(u * v, axis=1)))
    chord = np.hypot(*(after - before).T)
    round_ = (turn > _LEAST_TURN) & (turn < _MOST_TURN)
    # of a circle through three points: the chord over twice the sine of the angle at the middle
    radii = chord[round_] / (2 * np.sin(turn[round_]))
    return float(np.median(radii)) if len(radii) else 0.0
