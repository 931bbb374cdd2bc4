"""What raising a layer makes of the lengths beside a joint at a break.

A layer that is raised over the corner of a core is strained there, and the straight way between
two places of the part may lead over a crease. Both are reckoned from the strain of the map, so
that what is left between the lengths in the cut and on the part is an error.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.laminate.heights import HeightField
from plybook.laminate.model import JointSide, JointStretch
from plybook.laminate.outline import Carry
from plybook.laminate.shapes import running
from plybook.surface.leaf import Leaf

SAMPLES = 5  # of the strain on a way from place to place
WAY_STEPS = 30  # of a way to the row beside
SLANT_MM = 40.0  # how much further along the slantwise ways lead

Params = tuple[np.ndarray, np.ndarray]  # span and section parameter of places, (n,) each
Strain = Callable[[np.ndarray], np.ndarray]  # pattern (n, 2) -> (n, 2, 2), as RaisedMap.strain_at


@dataclass(frozen=True)
class RaisedLayer:
    """A layer on one leaf of the face as it is laid flat.

    Attributes:
        leaf: of the face.
        field, level_mm: height of what the layer lies on, and how far above that it is laid flat.
        carry, strain: from the pattern to the cut frame, and what that strains.
    """

    leaf: Leaf
    field: HeightField
    level_mm: float
    carry: Carry
    strain: Strain

    def joint_stretch(
        self, side: JointSide, line_mm: np.ndarray, beside_mm: np.ndarray
    ) -> JointStretch:
        """By how much lengths beside a joint are more in the cut than on the part, percent.

        Args:
            side: of the joint.
            line_mm, beside_mm: (n, 2) the joint and the row beside it on the pattern.
        """
        ends = [self.leaf.params(line) for line in (line_mm, beside_mm)]
        tops = [side.on_part_mm, side.beside_on_part_mm]
        each = np.arange(len(line_mm))
        return JointStretch(
            self._along(line_mm, side.line_mm),
            self._straight(ends, tops, each, each),
            self._along(beside_mm, side.beside_mm),
            self._slantwise(ends, tops),
            self._slantwise(ends[::-1], tops[::-1]),
        )

    def _slantwise(self, ends: Sequence[Params], tops: Sequence[np.ndarray]) -> np.ndarray:
        """(n,) percent, from each place of a row to the first of the other `SLANT_MM` further."""
        along = running(tops[1])
        ahead = np.searchsorted(along, along + SLANT_MM)
        here = np.flatnonzero(ahead < len(along))
        found = np.zeros(len(along))
        if len(here):
            found[here] = self._straight(ends, tops, here, ahead[here])
        return found

    def _along(self, line_mm: np.ndarray, cut_mm: np.ndarray) -> np.ndarray:
        """(n - 1,) percent, from place to place of a line that is straight between them."""
        share = (np.arange(SAMPLES) + 0.5) / SAMPLES
        spots = line_mm[:-1, None] + np.diff(line_mm, axis=0)[:, None] * share[:, None]
        ways = np.repeat(np.diff(cut_mm, axis=0), SAMPLES, axis=0)
        factors = self._cut_of_part(spots.reshape(-1, 2), ways)
        return np.asarray(factors.reshape(-1, SAMPLES).mean(axis=1) - 1) * 100

    def _straight(
        self,
        ends: Sequence[Params],
        tops: Sequence[np.ndarray],
        here: np.ndarray,
        there: np.ndarray,
    ) -> np.ndarray:
        """(n,) percent, straight from places of one row to places of the other.

        The way leads over creases and is straight on neither; in the cut its steps are as long as
        on the part, but for the strain.

        Args:
            ends, tops: of either row, the parameters of its places and where they are on the part.
            here, there: (n,) the places of the first row and of the second.
        """
        share = np.linspace(0.0, 1.0, WAY_STEPS + 1)
        u, w = (
            (start[here][:, None] + (end[there] - start[here])[:, None] * share).ravel()
            for start, end in zip(*ends, strict=True)
        )
        spots = self.leaf.flat(u, w)
        height = self.field(spots) + self.level_mm
        lifted = self.leaf.space(u, w) + self.leaf.normal(u, w) * height[:, None]
        path = lifted.reshape(len(here), -1, 3)
        path[:, 0], path[:, -1] = tops[0][here], tops[1][there]
        steps = np.diff(np.asarray(self.carry(spots)).reshape(len(here), -1, 2), axis=1)
        rows = spots.reshape(len(here), -1, 2)
        middle = (rows[:, 1:] + rows[:, :-1]) / 2
        factors = self._cut_of_part(middle.reshape(-1, 2), steps.reshape(-1, 2))
        long = np.linalg.norm(np.diff(path, axis=1), axis=2) * factors.reshape(len(here), -1)
        headings = steps / np.maximum(np.linalg.norm(steps, axis=2), 1e-12)[..., None]
        apart = np.linalg.norm((headings * long[..., None]).sum(axis=1), axis=1)
        return np.asarray(apart / np.linalg.norm(path[:, -1] - path[:, 0], axis=1) - 1) * 100

    def _cut_of_part(self, spots_mm: np.ndarray, ways: np.ndarray) -> np.ndarray:
        """(n,) length in the cut of what is 1 on the part, in directions of the cut."""
        along = ways / np.maximum(np.linalg.norm(ways, axis=1), 1e-12)[:, None]
        doubled = 2 * np.einsum("ni,nij,nj->n", along, self.strain(spots_mm), along)
        return np.asarray(1 / np.sqrt(1 + doubled))
