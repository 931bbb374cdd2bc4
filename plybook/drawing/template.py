"""The template of one piece, 1:1, in the pattern frame: everything a builder must read on it.

Terms:
    room: the part of the piece words may lie on: inside the bevels, clear of the cut.
    card: the facts beside the piece, outside the cut, above the title block.

The outline is drawn in the coordinates of `Piece.outline_mm`, so a file made from the scene can
be laid over the plan's data. Words go where they fit, largest first; what does not fit on the
piece stands outside with a leader, and the card repeats every edge.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing import piecewords as words
from plybook.drawing.fibre import LENGTHS_MM, arrow_size_mm, fibre_arrow
from plybook.drawing.frame import hatch, lines
from plybook.drawing.labels import (
    Block,
    Line,
    Placer,
    Spot,
    boxes,
    grid,
    main_direction_deg,
    midline,
    readable_deg,
)
from plybook.drawing.letters import clean_text, text_box_mm
from plybook.drawing.marks import draw_marks
from plybook.drawing.piececard import card
from plybook.drawing.rosette import rosette_items
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import ID_HEIGHTS_MM
from plybook.laminate.model import Laminate, Piece, PieceEdge
from plybook.spec.model import PartSpec
from plybook.surface.model import Face

CLEAR_MM = 1.4  # between a cut and any words inside
SEAM_INSET_MM = 1.4  # a square seam is a double line this far apart
REPEAT_MM = 1400.0  # long pieces carry their id and edge names again at about this distance
ASKEW_MM = 3.0  # how much further a word would go for each degree it then lies more level
HATCH_PITCH_MM = 4.0
LINE_CHARACTERS = 46  # a longer note is broken
ROSETTE_BOX_MM = (36.0, 33.0)
MARGIN_MM = 4.0


@dataclass(frozen=True)
class PieceDrawing:
    """One piece drawn once for all files: `bare` goes into tiles, `full` carries the card."""

    piece: Piece
    bare: Scene
    full: Scene


def draw_pieces(
    laminate: Laminate, face: Face, spec: PartSpec, progress: Callable[[str], None] | None = None
) -> tuple[PieceDrawing, ...]:
    """Every piece of a laminate, in its order.

    Args:
        laminate, face, spec: as for `template_scene`.
        progress: told the piece that is being drawn.
    """
    drawn = []
    for piece in laminate.pieces:
        if progress:
            progress(f"{spec.part.number}: template {piece.id}")
        bare = piece_scene(piece, laminate, spec)
        drawn.append(PieceDrawing(piece, bare, _with_card(bare, piece, laminate, face, spec)))
    return tuple(drawn)


def template_scene(piece: Piece, laminate: Laminate, face: Face, spec: PartSpec) -> Scene:
    """One piece 1:1 with its marks, words, card and title block.

    Args:
        piece: the piece, drawn in its own cut frame.
        laminate: for the layer's place in the stack and the sheet count.
        face: for the key plan on the card.
        spec: for names, units and the title block.

    Returns:
        A scene whose window holds everything, on whole millimetres.
    """
    return _with_card(piece_scene(piece, laminate, spec), piece, laminate, face, spec)


def _with_card(bare: Scene, piece: Piece, laminate: Laminate, face: Face, spec: PartSpec) -> Scene:
    beside = card(piece, laminate, face, spec, bare.window_mm)
    return _scene(piece, spec, bare.items + beside)


def piece_scene(piece: Piece, laminate: Laminate, spec: PartSpec) -> Scene:
    """One piece 1:1 with its marks and words, without the card: what is printed in tiles."""
    sheet = _Sheet(piece, laminate, spec)
    sheet.draw_lines()
    sheet.letter()
    return _scene(piece, spec, tuple(sheet.items))


def _scene(piece: Piece, spec: PartSpec, items: tuple[Primitive, ...]) -> Scene:
    low, high = extent_mm(items)
    window = (*np.floor(low - MARGIN_MM), *np.ceil(high + MARGIN_MM))
    facts = (
        ("part", spec.part.number),
        ("revision", spec.part.revision),
        ("piece", piece.id),
        ("quantity", str(piece.quantity)),
        ("material", piece.material),
    )
    title = f"{spec.part.number} {spec.part.revision} {piece.id}"
    return Scene(items, tuple(float(v) + 0.0 for v in window), title, facts)


def extent_mm(items: tuple[Primitive, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Lower left and upper right corner of all primitives, text boxes included."""
    clouds = []
    for item in items:
        if isinstance(item, Path):
            clouds.append(np.asarray(item.points_mm, dtype=float))
        elif isinstance(item, Circle):
            clouds.append(np.asarray(item.centre_mm) + np.array([[-1, -1], [1, 1]])
                          * item.radius_mm)  # fmt: skip
        else:
            clouds.append(text_box_mm(item))
    points = np.vstack(clouds)
    return points.min(axis=0), points.max(axis=0)


@dataclass
class _Sheet:
    """One template in the making."""

    piece: Piece
    laminate: Laminate
    spec: PartSpec
    items: list[Primitive] = field(default_factory=list)

    def __post_init__(self) -> None:
        piece = self.piece
        self.cut = shapely.Polygon(piece.outline_mm)
        net = shapely.Polygon(piece.outline_mm, piece.holes_mm)
        self.strip = _bevel_strip(piece, net)
        room = net.difference(self.strip) if not self.strip.is_empty else net
        room = room.buffer(-CLEAR_MM, quad_segs=2)
        soft = [
            shapely.linestrings(m.points_mm)
            for m in piece.marks
            if m.kind not in ("tick", "datum") and len(m.points_mm) > 1
        ]
        self.room = room
        self.place = Placer(room, self.cut, soft)
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
            where, which = (points, flat, flat), (turns, slanted, level)
        elif self.length > 1.5 * self.width:
            where, which = (flat, flat, points), (level, slanted, turns)
        else:
            where, which = (flat,), (level,)
        return np.vstack(where), np.array([readable_deg(t) for t in np.concatenate(which)])

    # ------------------------------------------------------------ lines

    def draw_lines(self) -> None:
        """Cuts, bevels, seams and marks; what words must keep off is taken."""
        piece, add = self.piece, self.items.append
        if not self.strip.is_empty:
            for ring in _rings(self.strip):
                add(Path(Role.FILL, ring, True, "bevel"))
            self.items += hatch(self.strip, 45.0, HATCH_PITCH_MM, Role.BEVEL_HATCH)
        for edge in piece.edges:
            self._draw_seam(edge)
        self.items += draw_marks(piece, self.cut, self.place)
        for ring in (piece.bag_side_outline_mm, *piece.bag_side_holes_mm):
            if ring is not None:
                add(Path(Role.BEVEL, ring, True, tag=piece.id))
        for hole in piece.holes_mm:
            add(Path(Role.CUT_INNER, hole, True, tag=piece.id))
        add(Path(Role.CUT, piece.outline_mm, True, tag=piece.id))

    def _draw_seam(self, edge: PieceEdge) -> None:
        """A square seam is drawn as a double line, so that it cannot be taken for a bevel."""
        if not edge.mate or edge.treatment != "square" or self.piece.kind != "core":
            return
        inner = shapely.LineString(edge.points_mm).offset_curve(SEAM_INSET_MM, join_style="mitre")
        for run in lines(inner.intersection(self.cut)):
            self.items.append(Path(Role.SEAM, run, tag=edge.mate))

    # ------------------------------------------------------------ words

    def letter(self) -> None:
        """Place all words, the most important first."""
        self._place_id()
        self._place_arrow()
        long_edges = sorted(self.piece.edges, key=lambda e: -_length(e.points_mm))
        for edge in long_edges:
            self._place_edge(edge, repeats=False)
        self._place_lines()
        for edge in long_edges:
            self._place_edge(edge, repeats=True)
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
        spot = self.place.find(block.size_mm, points, 0.0, cost, inside=False)
        if spot is None:
            return  # the card says it too
        self.items += self.place.put(block, spot)
        box = shapely.box(
            spot.centre_mm[0] - w / 2, spot.centre_mm[1] - h / 2,
            spot.centre_mm[0] + w / 2, spot.centre_mm[1] + h / 2,
        )  # fmt: skip
        start, end = np.array(shapely.shortest_line(box, self.cut.exterior).coords)
        self._leader(start, end)

    def _leader(self, start: np.ndarray, end: np.ndarray) -> None:
        self.items.append(Path(Role.DIMENSION, np.array([start, end])))
        self.items.append(Circle(Role.DIMENSION, (float(end[0]), float(end[1])), 0.5, "ink"))
        self.place.take(shapely.LineString([start, end]))

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
        self.place.put(_Box(size), Spot(spot.centre_mm, self.piece.angle_deg, True, False))

    def _along(self, share: float) -> np.ndarray:
        """A point at a share of the piece's length along its middle."""
        points = midline(self.cut, self.turn, 41)[0]
        return points[min(int(share * len(points)), len(points) - 1)] if len(points) else (
            self._home()
        )  # fmt: skip

    def _place_lines(self) -> None:
        """Face up, layer, material and the rest under the id, as large as there is room."""
        said = words.card_lines(self.piece, self.laminate, self.spec)
        said = [(row, bold) for text, bold in said
                for row in textwrap.wrap(clean_text(text), LINE_CHARACTERS)]  # fmt: skip
        one = [(words.DOT.join(text for text, _ in said), True)]
        half = (len(said) + 1) // 2
        two = [
            (words.DOT.join(text for text, _ in said[:half]), True),
            (words.DOT.join(text for text, _ in said[half:]), False),
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

    def _place_edge(self, edge: PieceEdge, repeats: bool) -> None:
        """Name and treatment along an edge, inside where they fit, else outside."""
        length = _length(edge.points_mm)
        windows = max(1, round(length / REPEAT_MM))
        if length < 4.0 or (repeats and windows == 1):
            return
        shares = [(k + 0.5) / windows for k in range(windows)]
        first = shares.pop(windows // 2)
        for share in shares if repeats else [first]:
            self._place_edge_at(edge, share * length, length / windows, not repeats)

    def _place_edge_at(self, edge: PieceEdge, at_mm: float, span_mm: float, must: bool) -> None:
        """The best place for an edge's words near a point of it, nearer to it than to any other
        edge; inside the piece where they fit, else outside."""
        line = shapely.LineString(edge.points_mm)
        rest = [shapely.linestrings(e.points_mm) for e in self.piece.edges if e is not edge]
        others = shapely.union_all(rest) if rest else None
        largest = 7.0 if self.width > 400.0 else 5.0 if self.width > 160.0 else 3.5
        for inside in (True, False) if must else (True,):
            best: tuple[float, Block, Spot] | None = None
            for height in (h for h in (7.0, 5.0, 3.5, 2.5, 1.8) if h <= largest):
                if inside and height > 0.5 * self.width:
                    continue
                for said in words.edge_variants(edge, self.piece):
                    block = Block(tuple(Line(clean_text(t), height) for t in said), pad_mm=0.6)
                    over = max(0.0, block.width_mm - span_mm)
                    if inside and over:
                        continue
                    centres, turns, cost = _beside(line, at_mm, span_mm, block.size_mm, inside)
                    mine = np.ones(len(centres), bool)
                    if others is not None:
                        near = shapely.points(centres)
                        mine = shapely.distance(near, line) <= shapely.distance(near, others) + 0.2
                    cost = cost + 4.0 * (largest - height) + 0.5 * over + 2.0 * (len(said) - 1)
                    spot = self.place.find(block.size_mm, centres[mine], turns[mine], cost[mine],
                                           inside, soft_cost=60.0)  # fmt: skip
                    if spot is not None and (best is None or spot.cost < best[0]):
                        best = (spot.cost, block, spot)
            if best is not None:
                self.items += self.place.put(best[1], best[2])
                if not inside:
                    self._point_to(line, best[2], best[1])
                return

    def _point_to(self, line: shapely.LineString, spot: Spot, block: Block) -> None:
        """A leader where outside words do not lie right beside their edge."""
        box = boxes(np.array([spot.centre_mm]), np.array([spot.turn_deg]), block.size_mm)[0]
        if box.distance(line) > 3.0:
            start, end = np.array(shapely.shortest_line(box, line).coords)
            self._leader(start, end)

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
        self.place.put(_Box(ROSETTE_BOX_MM), spot)
        x, y = spot.centre_mm
        self.items += rosette_items((x - 3.5, y), 10.0, angle)


@dataclass(frozen=True)
class _Box:
    """A box that is taken for something other than words."""

    size_mm: tuple[float, float]

    def texts(self, *_: object) -> list[Text]:
        return []


def _bevel_strip(piece: Piece, net: BaseGeometry) -> BaseGeometry:
    """Where the cut is slanted: between the outlines of the two faces."""
    if piece.bag_side_outline_mm is None:
        return shapely.Polygon()
    holes = piece.bag_side_holes_mm or piece.holes_mm
    other = shapely.Polygon(piece.bag_side_outline_mm, holes)
    strip = net.symmetric_difference(other)
    thick = [p for p in shapely.get_parts(strip) if p.area > 1e-3 * max(p.length, 1.0)]
    return shapely.MultiPolygon([p for p in thick if p.geom_type == "Polygon"])


def _rings(shape: BaseGeometry) -> list[np.ndarray]:
    """Simple polygons without holes that cover a shape, for filling."""
    found = []
    for part in shapely.get_parts(shape):
        if part.interiors:
            x0, y0, x1, y1 = part.bounds
            x, y = part.interiors[0].centroid.coords[0]
            for half in (shapely.box(x0 - 1, y0 - 1, x, y1 + 1),
                         shapely.box(x, y0 - 1, x1 + 1, y1 + 1)):  # fmt: skip
                piece = part.intersection(half)
                found += _rings(shapely.MultiPolygon(
                    [g for g in shapely.get_parts(piece) if g.geom_type == "Polygon"]
                ))  # fmt: skip
        else:
            found.append(np.array(part.exterior.coords)[:-1])
    return found


def _length(points_mm: np.ndarray) -> float:
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
    offs = (0.4, 1.5, 3.0, 5.0, 8.0, 11.0, 15.0, 20.0, 26.0, 34.0, 44.0, 60.0)
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
    turns = np.degrees(np.arctan2(step[:, 1], step[:, 0]))
    points, turn, cost = [], [], []
    for off in offs:
        points.append(on + left * side * (off + h / 2))
        turn.append([readable_deg(t) for t in turns])
        cost.append(np.abs(mids - at_mm) * 0.15 + off)
    return np.vstack(points), np.concatenate(turn), np.concatenate(cost)
