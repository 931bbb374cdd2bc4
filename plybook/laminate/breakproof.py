"""What proves a joint at a break: its line on the part and in the frame of either piece.

A row of points beside the line, on either leaf, ties the shape of the line to the part: a line of
the right length but the wrong bow would have its two rows too far apart at one place or other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.laminate.ground import Meeting, creases_on
from plybook.laminate.heights import HeightField
from plybook.laminate.model import BreakJoint, JointSide
from plybook.laminate.outline import Carry
from plybook.laminate.stretch import RaisedLayer, Strain
from plybook.surface.model import Face
from plybook.surface.straight import lofted

STEP_MM = 40.0  # between places where the joint is straight
CHORD_MM = 0.01  # most that its places leave the line by where it bends
DENSE_MM = 1.0
BESIDE_MM = (60.0, 40.0, 25.0, 15.0, 8.0)  # from a joint to the row beside it; the first that does
END_MM = 1.0  # the ends of a joint are left to the sides that end there


def break_joint(
    meeting: Meeting,
    face: Face,
    pieces: tuple[str, str],
    ways: tuple[Carry | None, Carry | None],
    strains: tuple[Strain | None, Strain | None],
    fields: tuple[HeightField, ...],
    overlap_mm: float,
    reach_mm: tuple[float, float],
    name: str = "",
    level_mm: float = 0.0,
    areas: Sequence[BaseGeometry] = (),
) -> BreakJoint:
    """The joint of two pieces at a break.

    Args:
        meeting: where the layer meets.
        face: the mould face.
        pieces: the ids, the piece towards the root first.
        ways: from the pattern to the cut frame of each.
        strains: of these ways, where raising the layer strains it.
        fields: heights of what the layer lies on by leaf; empty on the bare face.
        overlap_mm: 0 for a butt.
        reach_mm: from where to where along the break both pieces reach.
        name: of the sides that meet, that of the meeting if not said.
        level_mm: how far above what it lies on a piece is laid flat; a sheet bends in its middle.
        areas: where the ways hold, on the pattern of either leaf; all over it if not said.
    """
    beside_mm = _beside_mm(meeting, face, reach_mm, areas)
    even, creases = _dense(meeting, face, fields, reach_mm, beside_mm)
    dense = np.union1d(even, creases)
    along = _places(meeting, face, fields, dense, creases, beside_mm)
    sides = []
    for side, (piece, carry, strain) in enumerate(zip(pieces, ways, strains, strict=True)):
        number = meeting.number + side
        rows, lines, meets = [], [], None
        for by_mm in (0.0, beside_mm):
            points = _beside(meeting, face, side, along, by_mm)
            height = np.interp(along, dense, _heights(meeting, face, fields, side, dense, by_mm))
            lines.append(points)
            rows.append(np.asarray(carry(points)) if carry else points)
            rows.append(_lifted(face, number, points, height + level_mm))
            if level_mm and not by_mm:
                meets = _lifted(face, number, points, height)
        made = JointSide(piece, rows[0], rows[1], rows[2], rows[3], meets)
        if carry and strain:
            leaf, field = lofted(face).leaves[number], fields[number]
            raised = RaisedLayer(leaf, field, level_mm, carry, strain)
            made = replace(made, stretch=raised.joint_stretch(made, lines[0], lines[1]))
        sides.append(made)
    return BreakJoint(name or meeting.name, overlap_mm, (sides[0], sides[1]))


def _beside_mm(
    meeting: Meeting,
    face: Face,
    reach_mm: tuple[float, float],
    areas: Sequence[BaseGeometry],
) -> float:
    """How far from a joint the row beside it lies on both leaves."""
    along = np.linspace(*reach_mm, max(5, int((reach_mm[1] - reach_mm[0]) / STEP_MM)))[1:-1]
    for by_mm in BESIDE_MM:
        rows = [_beside(meeting, face, side, along, by_mm) for side in range(len(areas))]
        if all(shapely.contains_xy(a, *row.T).all() for a, row in zip(areas, rows, strict=True)):
            return by_mm
    return BESIDE_MM[-1]


def _beside(
    meeting: Meeting, face: Face, side: int, along_mm: np.ndarray, by_mm: float
) -> np.ndarray:
    """(n, 2) points of a leaf's pattern about `by_mm` back from a joint, along the straight lines
    of the face, which are as long on the part as in the flat; half the leaf at most."""
    points = meeting.place(side, along_mm)
    if not by_mm:
        return points
    leaf = lofted(face).leaves[meeting.number + side]
    u, w = leaf.params(points)
    step = by_mm / np.linalg.norm(leaf.jacobian(u, w)[:, :, 0], axis=1)
    step = np.minimum(step, (leaf.to_mm - leaf.from_mm) / 2)
    return leaf.flat(u + (step if side else -step), w)


def _lifted(face: Face, number: int, points: np.ndarray, height_mm: np.ndarray) -> np.ndarray:
    """(n, 3) points of a leaf's pattern on the part, at a height above the face."""
    leaf = lofted(face).leaves[number]
    u, w = leaf.params(points)
    return leaf.space(u, w) + leaf.normal(u, w) * height_mm[:, None]


def _heights(
    meeting: Meeting,
    face: Face,
    fields: tuple[HeightField, ...],
    side: int,
    along_mm: np.ndarray,
    by_mm: float,
) -> np.ndarray:
    """(n,) heights along a joint, or beside it; the line itself has those it was made with."""
    if not fields or not by_mm:
        return np.interp(along_mm, meeting.along_mm, meeting.height_mm)
    return fields[meeting.number + side](_beside(meeting, face, side, along_mm, by_mm))


def _dense(
    meeting: Meeting,
    face: Face,
    fields: tuple[HeightField, ...],
    reach_mm: tuple[float, float],
    beside_mm: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Places every millimetre, and those where a bevel begins or ends on the line or beside it."""
    start, end = reach_mm[0] + END_MM, reach_mm[1] - END_MM
    dense = np.linspace(start, end, max(5, int((end - start) / DENSE_MM)))
    creases = [dense[:0]]
    for side, by_mm in ((0, 0.0), (0, beside_mm), (1, 0.0), (1, beside_mm)) if fields else ():
        points = _beside(meeting, face, side, dense, by_mm)
        creases.append(creases_on(points, dense, fields[meeting.number + side]))
    return dense, np.concatenate(creases)


def _places(
    meeting: Meeting,
    face: Face,
    fields: tuple[HeightField, ...],
    dense: np.ndarray,
    creases: np.ndarray,
    beside_mm: float,
) -> np.ndarray:
    """(n,) places along a joint: all creases, and the more where it, or a line beside it, bends."""
    step = np.diff(dense)
    count = np.zeros(len(dense))
    for side in (0, 1):
        for by_mm in (0.0, beside_mm):
            points = _beside(meeting, face, side, dense, by_mm)
            height = _heights(meeting, face, fields, side, dense, by_mm)
            way = np.diff(_lifted(face, meeting.number + side, points, height), axis=0)
            way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
            turn = np.linalg.norm(np.diff(way, axis=0), axis=1)
            bend = turn / np.maximum((step[1:] + step[:-1]) / 2, DENSE_MM)
            count[1:-1] = np.maximum(count[1:-1], np.sqrt(bend / (8 * CHORD_MM)))
    weight = (count[1:] + count[:-1]) / 2 + 1 / STEP_MM
    count = np.concatenate([[0.0], np.cumsum(weight * step)])
    wanted = np.linspace(0.0, count[-1], max(3, int(count[-1]) + 2))
    return np.union1d(np.interp(wanted, count, dense), creases)
