"""One piece as drawn: its lines, then its words where there is room for them.

Words go where they fit, largest first; what does not fit on the piece stands outside with a
leader, and the card repeats every edge.

Terms:
    room: the part of the piece words may lie on: inside the bevels, clear of the cut.
    home: a point deep inside the room, where the id would like to be.
"""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass, field

import numpy as np
import shapely

from plybook.drawing import piecewords as words
from plybook.drawing.cutlines import bevel_strip, over_marks, under_marks
from plybook.drawing.edgewords import EdgeWords, length_mm
from plybook.drawing.fibre import LENGTHS_MM, arrow_size_mm, fibre_arrow
from plybook.drawing.labels import (
    Block,
    Box,
    Line,
    Placer,
    Spot,
    grid,
    leader,
    main_direction_deg,
    midline,
    readable_deg,
)
from plybook.drawing.letters import clean_text
from plybook.drawing.marks import draw_marks
from plybook.drawing.rosette import rosette_items
from plybook.drawing.scene import Primitive, Role
from plybook.drawing.style import ID_HEIGHTS_MM
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec

CLEAR_MM = 1.4  # between a cut and any words inside
REPEAT_MM = 1400.0  # long pieces carry their id and edge names again at about this distance
ASKEW_MM = 3.0  # how much further a word would go for each degree it then lies more level
LINE_CHARACTERS = 46  # a longer note is broken
ROSETTE_BOX_MM = (36.0, 33.0)


@dataclass
class PieceSheet:
    """One template in the making; `page` is where words beside the piece may stand, None:
    anywhere."""

    piece: Piece
    laminate: Laminate
    spec: PartSpec
    page: shapely.Polygon | None = None
    items: list[Primitive] = field(default_factory=list)

    def __post_init__(self) -> None:
        piece = self.piece
        self.ring = cut_outline_mm(piece)
        self.cut = shapely.Polygon(self.ring)
        net = shapely.Polygon(self.ring, piece.holes_mm)
        self.strip = bevel_strip(piece, net)
        room = net.difference(self.strip) if not self.strip.is_empty else net
        room = room.buffer(-CLEAR_MM, quad_segs=2)
        soft = [
            shapely.linestrings(m.points_mm)
            for m in piece.marks
            if m.kind not in ("tick", "datum") and len(m.points_mm) > 1
        ]
        self.room = room
        self.place = Placer(room, self.cut, soft, page=self.page)
        self.turn, self.length, self.width = main_direction_deg(self.cut)
        self.slender = self.length > 4 * self.width
        self.middle = self._middles()

    def _middles(self) -> tuple[np.ndarray, np.ndarray]:
        """Candidate points inside the room with the direction words would take there."""
        if self.room.is_empty:
            return np.zeros((0, 2)), np.zeros(0)
        points, turns = midline(self.room, self.turn, 240 if self.slender else 60)
        flat = grid(self.room)
        level, slanted = np.zeros(len(flat)), np.full(len(flat), self.turn)
        if self.slender:
            where, which = [points, flat, flat], [turns, slanted, level]
        elif self.length > 1.5 * self.width:
            where, which = [flat, flat, points], [level, slanted, turns]
        else:
            where, which = [flat], [level]
        return np.vstack(where), readable_deg(np.concatenate(which))

    def drawn(self) -> list[Primitive]:
        """Lines first, then the words, the most important first."""
        self.items += under_marks(self.piece, self.cut, self.strip)
        self.items += draw_marks(self.piece, self.cut, self.place)
        self.items += over_marks(self.piece, self.ring)
        self._letter()
        return self.items

    def _letter(self) -> None:
        edges = EdgeWords(self.piece, self.place, self.width, REPEAT_MM)
        self._place_id()
        self._place_arrow()
        long_edges = sorted(self.piece.edges, key=lambda e: -length_mm(e.points_mm))
        for edge in long_edges:
            self.items += edges.put(edge, repeats=False)
        self._place_lines()
        for edge in long_edges:
            self.items += edges.put(edge, repeats=True)
        self._repeat_id()
        self._place_rosette()

    def _home(self) -> np.ndarray:
        """A point deep inside the room, in its middle where that is not near a border."""
        if self.room.is_empty:
            return np.asarray(self.cut.representative_point().coords[0])
        ball = shapely.maximum_inscribed_circle(self.room, 2.0)
        middle = self.room.centroid
        if self.room.contains(middle):  # of a long piece, the middle rather than one end
            border = self.room.boundary.distance(middle)
            if border > 0.6 * ball.length:
                return np.asarray(middle.coords[0])
        return np.asarray(ball.coords[0])

    def _cost(self, points: np.ndarray, towards: np.ndarray) -> np.ndarray:
        return np.hypot(*(points - towards).T)

    def _place_id(self) -> None:
        """The id as large as the piece allows; a long one is read along the piece."""
        home = self._home()
        text = clean_text(self.piece.id)
        self.id_spot: Spot | None = None
        points, turns = self.middle
        most = max(14.0, 0.25 * self.width)  # leaves room for the words that belong to it
        for height in (h for h in ID_HEIGHTS_MM if 2.5 <= h <= most):
            block = Block((Line(text, height, True, Role.ID),), pad_mm=max(0.6, height * 0.12))
            cost = self._cost(points, home)
            if not self.slender:
                cost = cost + ASKEW_MM * abs(turns)
            spot = self.place.find(block.size_mm, home[None], 0.0)
            if spot is None or spot.on_soft_line or self.slender:
                spot = self.place.find(block.size_mm, points, turns, cost)
            if spot is not None:
                self.id_height = height
                self.id_spot = spot
                self.items += self.place.put(block, spot)
                return
        self.id_height = 10.0
        self._outside(Block((Line(text, 10.0, True, Role.ID),)), home)

    def _outside(self, block: Block, towards: np.ndarray) -> None:
        """Set a block beside the piece with a leader to a point of it."""
        x0, y0, x1, y1 = self.cut.bounds
        w, h = block.size_mm
        share = np.linspace(0.0, 1.0, 31)[:, None]
        rims, away = [], []
        for out in (4.0, 9.0, 16.0, 26.0, 40.0, 60.0, 90.0, 140.0):
            a, b = (
                np.array([x0 - w / 2 - out, y0 - h / 2 - out]),
                np.array([x1 + w / 2 + out, y1 + h / 2 + out]),
            )
            corners = [a, (b[0], a[1]), b, (a[0], b[1]), a]
            for p, q in zip(corners[:-1], corners[1:], strict=True):
                rims.append(np.asarray(p) + share * (np.asarray(q) - np.asarray(p)))
                away.append(np.full(len(share), out))
        points = np.vstack(rims)
        cost = np.concatenate(away) + 0.05 * self._cost(points, towards)
        spot = self.place.find(block.size_mm, points, 0.0, cost, inside=False,
                               leads_to=self.cut.exterior)  # fmt: skip
        if spot is None:
            return  # the card says it too
        self.items += self.place.put(block, spot)
        box = shapely.box(
            spot.centre_mm[0] - w / 2, spot.centre_mm[1] - h / 2,
            spot.centre_mm[0] + w / 2, spot.centre_mm[1] + h / 2,
        )  # fmt: skip
        start, end = np.array(shapely.shortest_line(box, self.cut.exterior).coords)
        self.items += leader(self.place, start, end)

    def _place_arrow(self) -> None:
        """Fibre arrows at the true angle, the longest that fits, again on long pieces."""
        said = words.fibre_words(self.piece, self.spec)
        if said is None:
            return
        angle = self.piece.angle_deg
        points = self.middle[0]
        home = np.asarray(self.id_spot.centre_mm if self.id_spot else self._home())
        cost = self._cost(points, home)
        for length in LENGTHS_MM:
            if length > 0.6 * self.length + 24:
                continue
            size = arrow_size_mm(length, said)
            spot = self.place.find(size, points, angle, cost)
            if spot is not None:
                self._put_arrow(spot, length, said, size)
                first = np.asarray(spot.centre_mm)
                count = int(self.length // REPEAT_MM)
                for k in range(count):
                    near = self._along((k + 0.5) / count)
                    reach = self._cost(points, near)
                    close = (reach < REPEAT_MM / 3) & (self._cost(points, first) > REPEAT_MM / 2)
                    spot = self.place.find(size, points[close], angle, reach[close])
                    if spot is not None:
                        self._put_arrow(spot, length, said, size)
                return
        x0, _, x1, y1 = self.cut.bounds
        size = arrow_size_mm(24.0, said)
        across = np.linspace(x0 - size[0], x1 + size[0], 61)
        tries = np.array([(x, y1 + up) for up in (14.0, 20.0, 30.0, 45.0) for x in across])
        spot = self.place.find(size, tries, angle, tries[:, 1] + 0.01 * abs(tries[:, 0] - x0),
                               inside=False)  # fmt: skip
        if spot is not None:
            self._put_arrow(spot, 24.0, said, size)

    def _put_arrow(self, spot: Spot, length: float, said: str, size: tuple[float, float]) -> None:
        self.items += fibre_arrow(spot.centre_mm, self.piece.angle_deg, length, said)
        self.place.put(Box(size), Spot(spot.centre_mm, self.piece.angle_deg, True, False))

    def _along(self, share: float) -> np.ndarray:
        """A point at a share of the piece's length along its middle."""
        points = midline(self.cut, self.turn, 41)[0]
        return points[min(int(share * len(points)), len(points) - 1)] if len(points) else (
            self._home()
        )  # fmt: skip

    def _place_lines(self) -> None:
        """Face up, layer, material and the rest under the id, as large as there is room."""
        cards = words.card_lines(self.piece, self.laminate, self.spec)
        whole = [(clean_text(text), bold) for text, bold in cards]
        said = [(row, b) for text, b in whole for row in textwrap.wrap(text, LINE_CHARACTERS)]
        half = (len(whole) + 1) // 2
        one = [(words.DOT.join(text for text, _ in whole), True)]
        two = [
            (words.DOT.join(text for text, _ in whole[:half]), True),
            (words.DOT.join(text for text, _ in whole[half:]), False),
        ]
        home = np.asarray(self.id_spot.centre_mm) if self.id_spot else self._home()
        below = home - np.array([0.0, self.id_height])
        points, turns = self.middle
        askew = abs(turns - self.id_spot.turn_deg) if self.id_spot else abs(turns)
        cost = self._cost(points, below) + 2.0 * askew
        for height in (7.0, 5.0, 3.5, 2.5, 1.8):
            if height > max(2.5, 0.6 * self.id_height):
                continue
            for set_as in (said, two, one):
                block = Block(tuple(Line(t, height, b) for t, b in set_as if t))
                spot = self._under_id(block) or self.place.find(block.size_mm, points, turns, cost)
                if spot is not None:
                    self.items += self.place.put(block, spot)
                    return
        self._outside(Block(tuple(Line(t, 2.5, b) for t, b in said), left=True), self._home())

    def _under_id(self, block: Block) -> Spot | None:
        """Centred right under the id, where no line runs through."""
        if self.id_spot is None:
            return None
        turn = math.radians(self.id_spot.turn_deg)
        down = np.array([math.sin(turn), -math.cos(turn)])
        gaps = np.array([0.3, 0.5, 0.8, 1.2]) * self.id_height
        steps = 0.62 * self.id_height + gaps + block.size_mm[1] / 2
        centres = np.asarray(self.id_spot.centre_mm) + steps[:, None] * down
        spot = self.place.find(block.size_mm, centres, self.id_spot.turn_deg, gaps)
        return None if spot is None or spot.on_soft_line else spot

    def _repeat_id(self) -> None:
        """The id again on long pieces, so that every stretch names itself."""
        count = int(self.length // REPEAT_MM)
        if count < 1 or self.id_spot is None:
            return
        points, turns = self.middle
        text = clean_text(self.piece.id)
        for k in range(count + 1):
            near = self._along((k + 0.5) / (count + 1))
            reach = self._cost(points, near)
            if math.dist(near, self.id_spot.centre_mm) < 0.45 * REPEAT_MM:
                continue
            close = reach < REPEAT_MM / 4
            cost = reach if self.slender else reach + ASKEW_MM * abs(turns)
            for height in (28.0, 20.0, 14.0, 10.0, 7.0, 5.0, 3.5):
                if height > self.id_height:
                    continue
                block = Block((Line(text, height, True, Role.ID),), pad_mm=height * 0.12)
                spot = self.place.find(block.size_mm, points[close], turns[close], cost[close])
                if spot is not None:
                    self.items += self.place.put(block, spot)
                    break

    def _place_rosette(self) -> None:
        """The rosette on every drawing of a ply: on the piece where it fits, else beside it."""
        if self.piece.kind not in ("ply", "core"):
            return
        angle = self.piece.angle_deg if words.fibre_words(self.piece, self.spec) else None
        points = self.middle[0]
        home = self._home()
        spot = self.place.find(ROSETTE_BOX_MM, points, 0.0, self._cost(points, home))
        if spot is None:
            x0, y0, x1, y1 = self.cut.bounds
            w, h = ROSETTE_BOX_MM
            ups = np.linspace(y0 - h, y1 + h, 41)
            tries = np.array([(x1 + w / 2 + out, y) for out in (6.0, 20.0, 50.0, 90.0, 140.0)
                              for y in ups])  # fmt: skip
            cost = tries[:, 0] + 0.1 * abs(tries[:, 1] - (y0 + y1) / 2)
            spot = self.place.find(ROSETTE_BOX_MM, tries, 0.0, cost, inside=False)
        if spot is None:
            return
        self.place.put(Box(ROSETTE_BOX_MM), spot)
        x, y = spot.centre_mm
        self.items += rosette_items((x - 3.5, y), 10.0, angle)
