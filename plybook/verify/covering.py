"""Whether something drawn later hides what was drawn before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.verify import plane
from plybook.verify.looks import INK, WHITE

_HALO_MM = 0.6  # white around words, so that they are read over lines
_TALL = 0.75 + 0.21  # of the type size: from the tails to the tallest accents
_EDGE_MM = 0.3  # what reaches less far into an area is its own edge
_MARK_MM = 6.5  # dots, heads of arrows and balloons lie on the lines they belong to
# what lies above, and lines that end below it
OVER = {"FILL": ("CORE_EDGE", "HATCH"), "BEVEL": ("BEVEL_HATCH", "BEVEL")}
BACKGROUND = ("GHOST", "FACE", "FILL", "STOCK")  # what is meant to have more drawn over it


@dataclass(frozen=True)
class Drawn:
    """One thing in the order of drawing; `size_mm` and `length_mm` are those of words."""

    kind: str  # of line, "" none
    points: np.ndarray  # (n, 2) mm
    fill: str  # colour of its area, "" none
    seen: bool  # it has a line, or is words
    size_mm: float = 0.0
    length_mm: float = 0.0
    clip_mm: tuple[float, float, float, float] | None = None  # what lies outside is not shown

    def shown(self, points: np.ndarray) -> np.ndarray:
        """(n,) which points its clip does not hide."""
        if self.clip_mm is None:
            return np.ones(len(points), dtype=bool)
        low, high = self.clip_mm[:2], self.clip_mm[2:]
        return np.asarray(((points >= low) & (points <= high)).all(axis=1))


def covered(drawn: Sequence[Drawn]) -> Iterator[str]:
    """Areas that lie on lines or words drawn before them.

    A white box just behind the words that follow it, no larger than they need, is their halo.
    """
    boxes = np.array([np.concatenate([d.points.min(axis=0), d.points.max(axis=0)]) for d in drawn])
    size = np.array([d.size_mm for d in drawn])
    kind = np.array([d.kind for d in drawn])
    seen = np.array([d.seen and d.kind not in BACKGROUND for d in drawn])
    for k, area in enumerate(drawn):
        if not area.fill:
            continue
        if area.fill == WHITE and k + 1 < len(drawn) and _is_halo(area, drawn[k + 1]):
            continue
        low, high = boxes[k, :2], boxes[k, 2:]
        near = seen[:k] & (boxes[:k, :2] <= high).all(axis=1) & (boxes[:k, 2:] >= low).all(axis=1)
        if (high - low).max() <= _MARK_MM:
            near &= size[:k] > 0
        if area.kind in OVER and area.fill not in (INK, WHITE):
            near &= ~np.isin(kind[:k], OVER[area.kind])
        for other in map(int, np.flatnonzero(near)):
            spots = drawn[other].points
            inside = plane.inside(spots, area.points)
            inside &= area.shown(spots) & drawn[other].shown(spots)
            points = spots[inside]
            if size[other] and inside.mean() < 0.5:
                continue  # a name that runs on into its neighbour can still be read
            if len(points) and plane.distance_to_path(points, area.points).max() > _EDGE_MM:
                yield "an area that hides what is drawn below it"
                return


def _is_halo(area: Drawn, words: Drawn) -> bool:
    if not words.size_mm or len(area.points) != 4:
        return False
    sides = np.hypot(*(area.points - np.roll(area.points, 1, axis=0)).T)
    most = words.length_mm + 2 * _HALO_MM, _TALL * words.size_mm + 2 * _HALO_MM
    return bool(
        max(sides) <= max(most) + 0.1
        and min(sides) <= min(most) + 0.1
        and plane.inside(words.points[1:2], area.points).all()
    )
