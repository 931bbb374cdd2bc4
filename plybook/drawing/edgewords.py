"""The words along a piece's edges: name, how it is cut, what it meets.

Each stands nearer to its own edge than to any other; inside the piece where it fits, else outside
with a leader. Long edges say it again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from plybook.drawing import piecewords as words
from plybook.drawing.labels import Block, Line, Placer, Spot, boxes, leader, readable_deg
from plybook.drawing.letters import clean_text
from plybook.drawing.scene import Primitive
from plybook.laminate.model import Piece, PieceEdge

LEAST_MM = 4.0  # a shorter edge is named on the card only
HEIGHTS_MM = (7.0, 5.0, 3.5, 2.5, 1.8)


@dataclass(frozen=True)
class EdgeWords:
    """Puts words along the edges of one piece.

    Attributes:
        piece: whose edges.
        place: the book of taken room.
        width_mm: of the piece across its longer side; small pieces get small words.
        repeat_mm: how often a long edge says its words.
    """

    piece: Piece
    place: Placer
    width_mm: float
    repeat_mm: float

    @property
    def largest_mm(self) -> float:
        return 7.0 if self.width_mm > 400.0 else 5.0 if self.width_mm > 160.0 else 3.5

    def put(self, edge: PieceEdge, repeats: bool) -> list[Primitive]:
        """The words once, near the middle of an edge, or (`repeats`) all the other times."""
        length = length_mm(edge.points_mm)
        windows = max(1, round(length / self.repeat_mm))
        if length < LEAST_MM or (repeats and windows == 1):
            return []
        shares = [(k + 0.5) / windows for k in range(windows)]
        first = shares.pop(windows // 2)
        items: list[Primitive] = []
        for share in shares if repeats else [first]:
            items += self._put_at(edge, share * length, length / windows, not repeats)
        return items

    def _put_at(self, edge: PieceEdge, at_mm: float, span_mm: float, must: bool) -> list[Primitive]:
        line = shapely.LineString(edge.points_mm)
        best = self._best(edge, line, at_mm, span_mm, inside=True)
        if best is not None:
            return list(self.place.put(*best))
        best = self._best(edge, line, at_mm, span_mm, inside=False) if must else None
        if best is None:
            return []
        block, spot = best
        items: list[Primitive] = list(self.place.put(block, spot))
        box = boxes(np.array([spot.centre_mm]), np.array([spot.turn_deg]), block.size_mm)[0]
        if box.distance(line) > 3.0:  # not right beside its edge
            items += leader(self.place, *np.array(shapely.shortest_line(box, line).coords))
        return items

    def _best(
        self, edge: PieceEdge, line: shapely.LineString, at_mm: float, span_mm: float, inside: bool
    ) -> tuple[Block, Spot] | None:
        """The cheapest spot over all letter heights and all ways of setting the words."""
        rest = [shapely.linestrings(e.points_mm) for e in self.piece.edges
                if e is not edge and len(e.points_mm) > 1]  # fmt: skip
        others = shapely.union_all(rest) if rest else None
        best: tuple[Block, Spot] | None = None
        for height in (h for h in HEIGHTS_MM if h <= self.largest_mm):
            if inside and height > 0.5 * self.width_mm:
                continue
            if best is not None and best[1].cost <= 4.0 * (self.largest_mm - height):
                break  # no smaller letters can be cheaper
            for said in words.edge_variants(edge, self.piece):
                block = Block(tuple(Line(clean_text(t), height) for t in said), pad_mm=0.6)
                over = max(0.0, block.width_mm - span_mm)
                if inside and over:
                    continue
                centres, turns, cost = _beside(line, at_mm, span_mm, block.size_mm, inside)
                if others is not None:
                    near = shapely.points(centres)
                    mine = shapely.distance(near, line) <= shapely.distance(near, others) + 0.2
                    centres, turns, cost = centres[mine], turns[mine], cost[mine]
                cost = cost + 4.0 * (self.largest_mm - height) + 0.5 * over + 2.0 * (len(said) - 1)
                spot = self.place.find(block.size_mm, centres, turns, cost, inside, soft_cost=60.0,
                                       leads_to=None if inside else line)  # fmt: skip
                if spot is not None and (best is None or spot.cost < best[1].cost):
                    best = (block, spot)
        return best


def length_mm(points_mm: np.ndarray) -> float:
    """Length of an open line."""
    return float(np.hypot(*np.diff(np.asarray(points_mm), axis=0).T).sum())


def _beside(
    line: shapely.LineString,
    at_mm: float,
    span_mm: float,
    size_mm: tuple[float, float],
    inside: bool,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Candidate centres, turns and costs beside an edge (its inside is to the left)."""
    w, h = size_mm
    free = max(0.0, (span_mm - w) / 2)
    steps = np.unique(np.round(np.linspace(-free, free, 25), 3))
    if not inside:
        steps = np.unique(np.concatenate([steps, np.linspace(-w / 2, w / 2, 9)]))
    offs: tuple[float, ...] = (0.4, 1.5, 3.0, 5.0, 8.0, 11.0, 15.0, 20.0, 26.0, 34.0, 44.0, 60.0)
    if not inside:
        offs = (1.4, 2.5, 4.0, 6.0, 9.0, 13.0, 18.0, 25.0, 35.0, 50.0, 70.0)
    mids = np.clip(at_mm + steps, 0.0, line.length)
    a = shapely.get_coordinates(line.interpolate(np.clip(mids - w / 2, 0.0, line.length)))
    b = shapely.get_coordinates(line.interpolate(np.clip(mids + w / 2, 0.0, line.length)))
    on = shapely.get_coordinates(line.interpolate(mids))
    step = b - a
    size = np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    left = np.column_stack([-step[:, 1], step[:, 0]]) / size
    side = 1.0 if inside else -1.0
    turns = readable_deg(np.degrees(np.arctan2(step[:, 1], step[:, 0])))
    points, cost = [], []
    for off in offs:
        points.append(on + left * side * (off + h / 2))
        cost.append(np.abs(mids - at_mm) * 0.15 + off)
    return np.vstack(points), np.tile(turns, len(offs)), np.concatenate(cost)
