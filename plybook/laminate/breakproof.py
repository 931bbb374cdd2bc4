"""What proves a joint at a break: its line on the part and in the frame of either piece.

A row of points beside the line, on either leaf, ties the shape of the line to the part: a line of
the right length but the wrong bow would have its two rows too far apart at one place or other.
"""

from __future__ import annotations

import numpy as np

from plybook.laminate.ground import Meeting
from plybook.laminate.heights import HeightField
from plybook.laminate.model import BreakJoint, JointSide
from plybook.laminate.outline import Carry
from plybook.surface.model import Face
from plybook.surface.straight import lofted

STEP_MM = 40.0  # between places where the joint is straight
CHORD_MM = 0.01  # most that its places leave the line by where it bends
DENSE_MM = 1.0
BESIDE_MM = 60.0
END_MM = 1.0  # the ends of a joint are left to the sides that end there


def break_joint(
    meeting: Meeting,
    face: Face,
    pieces: tuple[str, str],
    ways: tuple[Carry | None, Carry | None],
    fields: tuple[HeightField, ...],
    overlap_mm: float,
    reach_mm: tuple[float, float],
    name: str = "",
    level_mm: float = 0.0,
) -> BreakJoint:
    """The joint of two pieces at a break.

    Args:
        meeting: where the layer meets.
        face: the mould face.
        pieces: the ids, the piece towards the root first.
        ways: from the pattern to the cut frame of each.
        fields: heights of what the layer lies on by leaf; empty on the bare face.
        overlap_mm: 0 for a butt.
        reach_mm: from where to where along the break both pieces reach.
        name: of the sides that meet, that of the meeting if not said.
        level_mm: how far above what it lies on a piece is laid flat; a sheet bends in its middle.
    """
    along = _places(meeting, face, reach_mm)
    sides = []
    for side, (piece, carry) in enumerate(zip(pieces, ways, strict=True)):
        number = meeting.number + side
        rows, meets = [], None
        for by_mm in (0.0, BESIDE_MM):
            points = meeting.beside(side, along, by_mm)
            height = meeting.height_at(along) if not by_mm else 0 * along
            if fields and by_mm:
                height = fields[number](points)
            rows.append(np.asarray(carry(points)) if carry else points)
            rows.append(_lifted(face, number, points, height + level_mm))
            if level_mm and not by_mm:
                meets = _lifted(face, number, points, height)
        sides.append(JointSide(piece, rows[0], rows[1], rows[2], rows[3], meets))
    return BreakJoint(name or meeting.name, overlap_mm, (sides[0], sides[1]))


def _lifted(face: Face, number: int, points: np.ndarray, height_mm: np.ndarray) -> np.ndarray:
    """(n, 3) points of a leaf's pattern on the part, at a height above the face."""
    leaf = lofted(face).leaves[number]
    u, w = leaf.params(points)
    return leaf.space(u, w) + leaf.normal(u, w) * height_mm[:, None]


def _places(meeting: Meeting, face: Face, reach_mm: tuple[float, float]) -> np.ndarray:
    """(n,) places along a joint, the closer the more it bends on the part."""
    start, end = reach_mm[0] + END_MM, reach_mm[1] - END_MM
    dense = np.linspace(start, end, max(5, int((end - start) / DENSE_MM)))
    height = meeting.height_at(dense)
    line = _lifted(face, meeting.number, meeting.place(0, dense), height)
    step = dense[1] - dense[0]
    bend = np.linalg.norm(np.gradient(np.gradient(line, step, axis=0), step, axis=0), axis=1)
    count = np.cumsum(np.sqrt(bend / (8 * CHORD_MM)) + 1 / STEP_MM) * step
    wanted = np.linspace(count[0], count[-1], max(3, int(count[-1] - count[0]) + 2))
    return np.interp(wanted, count, dense)
