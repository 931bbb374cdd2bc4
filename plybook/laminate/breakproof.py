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
from plybook.surface.leaf import Leaf
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
    leaves = lofted(face).leaves[meeting.number : meeting.number + 2]
    beside_mm = _beside_mm(meeting, leaves, reach_mm, areas)
    start, end = reach_mm[0] + END_MM, reach_mm[1] - END_MM
    dense = np.linspace(start, end, max(5, int((end - start) / DENSE_MM)))
    even = _Rows(meeting, leaves, fields, dense, beside_mm)
    creases = np.concatenate([dense[:0], *even.creases()])
    if len(creases):
        dense = np.union1d(dense, creases)
        even = _Rows(meeting, leaves, fields, dense, beside_mm)
    heights = [[even.height(side, is_beside) for is_beside in (False, True)] for side in (0, 1)]
    along = _places(even, heights, creases)
    at = _Rows(meeting, leaves, fields, along, beside_mm)
    sides = []
    for side, (piece, carry, strain) in enumerate(zip(pieces, ways, strains, strict=True)):
        rows, lines, meets = [], [], None
        for is_beside in (False, True):
            points = at.points(side, is_beside)
            height = np.interp(along, dense, heights[side][is_beside])
            lines.append(points)
            rows.append(np.asarray(carry(points)) if carry else points)
            rows.append(at.lifted(side, is_beside, height + level_mm))
            if level_mm and not is_beside:
                meets = at.lifted(side, is_beside, height)
        made = JointSide(piece, rows[0], rows[1], rows[2], rows[3], meets)
        if carry and strain:
            field = fields[meeting.number + side]
            raised = RaisedLayer(leaves[side], field, level_mm, carry, strain)
            made = replace(made, stretch=raised.joint_stretch(made, lines[0], lines[1]))
        sides.append(made)
    return BreakJoint(name or meeting.name, overlap_mm, (sides[0], sides[1]))


class _Rows:
    """The places of a joint and those beside them, on either leaf.

    Args:
        meeting: where the layer meets.
        leaves: the one towards the root and the next.
        fields: heights of what the layer lies on by leaf of the face; empty on the bare face.
        along_mm: (n,) the places, along the break.
        beside_mm: how far back from the joint the rows beside it lie, along the straight lines of
            the face, which are as long on the part as in the flat; half the leaf at most.
    """

    def __init__(
        self,
        meeting: Meeting,
        leaves: Sequence[Leaf],
        fields: tuple[HeightField, ...],
        along_mm: np.ndarray,
        beside_mm: float,
    ):
        self.meeting, self.leaves, self.fields = meeting, leaves, fields
        self.along_mm = along_mm
        self._points, self._params = [], []
        for side, leaf in enumerate(leaves):
            points = meeting.place(side, along_mm)
            u, w = leaf.params(points)
            step = beside_mm / np.linalg.norm(leaf.jacobian(u, w)[:, :, 0], axis=1)
            step = np.minimum(step, (leaf.to_mm - leaf.from_mm) / 2)
            back = u + (step if side else -step)
            self._params.append(((u, w), (back, w)))
            self._points.append((points, leaf.flat(back, w)))

    def points(self, side: int, is_beside: bool) -> np.ndarray:
        """(n, 2) on the pattern of a leaf."""
        return self._points[side][is_beside]

    def height(self, side: int, is_beside: bool) -> np.ndarray:
        """(n,) of the layer above the face; the joint itself has those it was made with."""
        if not self.fields or not is_beside:
            meeting = self.meeting
            return np.interp(self.along_mm, meeting.along_mm, meeting.height_mm)
        return self.fields[self.meeting.number + side](self.points(side, is_beside))

    def lifted(self, side: int, is_beside: bool, height_mm: np.ndarray) -> np.ndarray:
        """(n, 3) on the part, so high above the face."""
        u, w = self._params[side][is_beside]
        leaf = self.leaves[side]
        return leaf.space(u, w) + leaf.normal(u, w) * height_mm[:, None]

    def creases(self) -> list[np.ndarray]:
        """Where, along the break, a bevel begins or ends on the joint or beside it."""
        return [
            creases_on(points, self.along_mm, self.fields[self.meeting.number + side])
            for side in range(2 if self.fields else 0)
            for points in self._points[side]
        ]


def _beside_mm(
    meeting: Meeting,
    leaves: Sequence[Leaf],
    reach_mm: tuple[float, float],
    areas: Sequence[BaseGeometry],
) -> float:
    """How far from a joint the row beside it lies on both leaves."""
    along = np.linspace(*reach_mm, max(5, int((reach_mm[1] - reach_mm[0]) / STEP_MM)))[1:-1]
    for by_mm in BESIDE_MM if areas else ():
        rows = _Rows(meeting, leaves, (), along, by_mm)
        if all(
            shapely.contains_xy(area, *rows.points(side, True).T).all()
            for side, area in enumerate(areas)
        ):
            return by_mm
    return BESIDE_MM[-1 if areas else 0]


def _places(
    rows: _Rows, heights: Sequence[Sequence[np.ndarray]], creases: np.ndarray
) -> np.ndarray:
    """(n,) places along a joint: all creases, and the more where it, or a line beside it, bends;
    `heights` of the rows by side, on the joint and beside it."""
    step = np.diff(rows.along_mm)
    count = np.zeros(len(rows.along_mm))
    for side in (0, 1):
        for is_beside in (False, True):
            way = np.diff(rows.lifted(side, is_beside, heights[side][is_beside]), axis=0)
            way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
            turn = np.linalg.norm(np.diff(way, axis=0), axis=1)
            bend = turn / np.maximum((step[1:] + step[:-1]) / 2, DENSE_MM)
            count[1:-1] = np.maximum(count[1:-1], np.sqrt(bend / (8 * CHORD_MM)))
    weight = (count[1:] + count[:-1]) / 2 + 1 / STEP_MM
    count = np.concatenate([[0.0], np.cumsum(weight * step)])
    wanted = np.linspace(0.0, count[-1], max(3, int(count[-1]) + 2))
    return np.union1d(np.interp(wanted, count, rows.along_mm), creases)
