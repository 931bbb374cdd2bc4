"""The layout of one roll, sheet or bar: what is cut where, with running coordinates.

Terms:
    running coordinates: distances from the stock's end (x) and from its edge (y).
    window: the stretch of the stock that is drawn; a long roll is drawn in several.

The same drawing serves a cutter at 1:1 and a page at 1:10: coordinates are multiplied by the
scale, letters and line widths are those of the page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.callouts import callout
from plybook.drawing.frame import arrow, hatch, lines, polygons
from plybook.drawing.labels import (
    Block,
    Line,
    Placer,
    grid,
    main_direction_deg,
    midline,
    readable_deg,
)
from plybook.drawing.letters import clean_text, text_box_mm
from plybook.drawing.rolllines import has_room, roll_lines, ticks_along, words_at
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Circle, Path, Primitive, Rise, Role, Scene, Text
from plybook.laminate.model import Piece
from plybook.nest.markout import MarkedPiece, mark_out
from plybook.nest.model import Item, Layout, Placement
from plybook.nest.placing import placed
from plybook.units import CLOTH, MM_PER_INCH, show_figure, show_number

BAR_HIGH_MM = 9.0  # a bar is drawn this high on a page, its length to scale
TICKS_MM = {"mm": 100.0, "in": 6 * MM_PER_INCH}
FIGURES = (1, 2, 5, 10, 20, 50)  # every so many ticks carry a figure
ON_EDGE_MM = 1e-3  # a line no further outside the stock lies on its edge
LEAST_FIGURE_MM = 16.0  # page distance between figures
LEFT_OVER_MM = ((5.0, 3.5), (3.5, 2.5), (2.5, 1.8))  # letters of the two lines, largest first
LEFT_OVER_BIG_MM = ((40.0, 28.0), (20.0, 14.0), (10.0, 7.0))
FILLS = {"ply": "ply", "core": "core", "insert": "insert", "rod": "rod", "film": "film"}


def short_name(item: str, several_parts: bool) -> str:
    """The piece's id; with its part number in front where several parts share the stock."""
    part, _, piece = item.rpartition("/")
    return f"{part} {piece}" if several_parts and part else piece


def shown_length_mm(layout: Layout, rings_mm: Mapping[str, np.ndarray]) -> float:
    """How much of the stock's length a drawing shows: of a roll what is used, of a coil a little
    more than its last cut, of a sheet or a left-over with its own outline all."""
    stock = layout.unit
    if stock.kind == "roll" and stock.outline_mm is None:
        return min(stock.length_mm, layout.used_length_mm) or stock.length_mm
    if stock.kind == "bar" and layout.placements:
        last = max(float(placed(rings_mm[p.item], p)[:, 0].max()) for p in layout.placements)
        if stock.length_mm > 1.5 * last:
            return float(np.ceil(1.03 * last / 100.0) * 100.0)
    return stock.length_mm


def layout_scene(
    layout: Layout,
    items: Sequence[Item],
    pieces: Mapping[str, Piece] | None = None,
    unit: str = "mm",
    scale: float = 1.0,
    window_mm: tuple[float, float] | None = None,
    marked: Sequence[MarkedPiece] | None = None,
) -> Scene:
    """One unit of stock with everything that is cut from it.

    Args:
        layout: placements on the unit.
        items: the shapes placed.
        pieces: by item id, for holes, bevels and angles; without them only outlines are drawn.
        unit: "mm" or "in", for the figures along the edges.
        scale: page mm per stock mm.
        window_mm: from and to along the stock; None draws it all.
        marked: the mark-out of the layout where it is known; made here otherwise.

    Returns:
        A scene in page mm. At scale 1 its coordinates are those of the layout: x from the
        stock's end, y from the lower edge of its usable width.
    """
    if marked is None:
        marked = mark_out(layout, {item.id: item.outline_mm for item in items}, unit)
    sheet = _Sheet(layout, {item.id: item for item in items}, pieces or {}, unit, scale, window_mm)
    sheet.draw_stock()
    sheet.draw_pieces()
    sheet.draw_lines()
    sheet.letter(marked)
    return sheet.scene()


@dataclass
class _Sheet:
    layout: Layout
    outlines: Mapping[str, Item]
    pieces: Mapping[str, Piece]
    unit: str
    scale: float
    window: tuple[float, float] | None
    items: list[Primitive] = field(default_factory=list)
    words: list[Primitive] = field(default_factory=list)
    taken: list[BaseGeometry] = field(default_factory=list)

    def __post_init__(self) -> None:
        stock = self.layout.unit
        self.rise = self.scale
        if stock.kind == "bar" and self.scale != 1.0:
            self.rise = BAR_HIGH_MM / max(stock.width_mm, 1e-6)
        rings = {item.id: item.outline_mm for item in self.outlines.values()}
        self.end = shown_length_mm(self.layout, rings)
        low, high = self.window or (0.0, self.end)
        self.span = (low, min(high, max(self.end, low + 1.0)))
        y0, y1 = -stock.edge_mm, stock.width_mm
        self.box = shapely.box(low * self.scale, y0 * self.rise, high * self.scale, y1 * self.rise)
        self.several = len({p.item.rpartition("/")[0] for p in self.layout.placements}) > 1
        self.big = self.scale == 1.0

    def put(self, points_mm: np.ndarray) -> np.ndarray:
        return np.asarray(points_mm, dtype=float) * (self.scale, self.rise)

    # ------------------------------------------------------------ stock

    def draw_stock(self) -> None:
        """The edges, bad zones, what is left over, and figures along both edges."""
        stock = self.layout.unit
        low, high = self.span
        if stock.outline_mm is not None:
            self._add(Path(Role.STOCK, self.put(stock.outline_mm), True, "white"))
        else:
            ring = np.array([(low, 0), (high, 0), (high, stock.width_mm), (low, stock.width_mm)])
            self._add(Path(Role.FILL, self.put(ring), True, "white"))
            for y in (0.0, stock.width_mm):
                self._add(Path(Role.STOCK, self.put(np.array([(low, y), (high, y)]))))
            if low == 0.0:
                self._add(Path(Role.STOCK, self.put(np.array([(0, 0), (0, stock.width_mm)]))))
            if abs(high - self.end) < 1e-6:
                end = self.put(np.array([(high, 0), (high, stock.width_mm)]))
                runs_on = self.end < stock.length_mm - 1e-6
                self._add(Path(Role.SPLICE if runs_on else Role.STOCK, end))
        if stock.edge_mm > 0:
            y = -stock.edge_mm
            self._add(Path(Role.GHOST, self.put(np.array([(low, y), (high, y)]))))
        if self.layout.remnant_mm is not None:
            rest = shapely.Polygon(self.put(self.layout.remnant_mm)).intersection(self.box)
            for part in polygons(rest):
                self._add(Path(Role.GHOST, np.array(part.exterior.coords)[:-1], True, "remnant"))
                self._left_over(part)
        for zone in stock.bad_zones_mm:
            bad = shapely.Polygon(self.put(zone)).intersection(self.box)
            for part in polygons(bad):
                self._add(Path(Role.BAD_ZONE, np.array(part.exterior.coords)[:-1], True, "bad"))
            self.items += hatch(bad, 135.0, 6.0 if self.big else 2.0, Role.BAD_ZONE)
        self._figures()
        self._directions()

    def _add(self, item: Primitive) -> None:
        self.items.append(item)

    def _word(self, text: Text) -> None:
        """A word outside the pieces; nothing else may use its room."""
        self.words.append(text)
        self.taken.append(shapely.Polygon(text_box_mm(text, 0.4)))

    def _left_over(self, part: BaseGeometry) -> None:
        """Words on what is left: keep it and write its size on it."""
        x0, y0, x1, y1 = part.bounds
        if part.area > 0.98 * (x1 - x0) * (y1 - y0):
            sides = ((x1 - x0) / self.scale, (y1 - y0) / self.rise)
            size = " \u00d7 ".join(self._figure(v) for v in sides) + f" {self.unit}"
        else:
            size = f"{show_number(part.area / (self.scale * self.rise) / 1e6, 2)} m\u00b2"
        said = ("LEFT OVER", size)
        placer = Placer(part, part, taken=self.taken)
        for height, below in LEFT_OVER_BIG_MM if self.big else LEFT_OVER_MM:
            block = Block((Line(said[0], height, True), Line(said[1], below)))
            points = grid(part, 24, 12)
            centre = np.array(part.representative_point().coords[0])
            spot = placer.find(block.size_mm, points, 0.0, np.hypot(*(points - centre).T))
            if spot is not None:
                self._keep(placer, block, spot)
                return

    def _figures(self) -> None:
        """Ticks and running figures along both edges and across the end."""
        stock, tick = self.layout.unit, TICKS_MM[self.unit]
        letters, reach = (10.0, 12.0) if self.big else (2.5, 1.6)
        every = next((n for n in FIGURES if n * tick * self.scale >= LEAST_FIGURE_MM), FIGURES[-1])
        low, high = self.span
        base, top = -stock.edge_mm * self.rise, stock.width_mm * self.rise
        for k, at in ticks_along(self.layout, low, high, tick):
            x = at * self.scale
            long = 1.6 if k % every == 0 else 1.0
            self._add(Path(Role.DIMENSION, np.array([(x, base), (x, base - reach * long)])))
            self._add(Path(Role.DIMENSION, np.array([(x, top), (x, top + reach * long)])))
            if k % every == 0 and has_room(self.layout, at, every * tick):
                said = self._figure(k * tick)
                ends: tuple[tuple[float, Rise], ...] = (
                    (base - reach * 2.2, "top"), (top + reach * 2.2, "baseline")
                )  # fmt: skip
                for y, rise in ends:
                    self._word(Text(Role.DIMENSION, (x, y), said, letters, 0, "middle", rise))
        if low > 0.0 or stock.kind == "bar":
            return
        across = next((n for n in FIGURES if n * tick * self.rise >= LEAST_FIGURE_MM * 0.6), 50)
        count = math.floor((stock.width_mm + stock.edge_mm) / tick + 1e-9)
        for k in range(count + 1):
            y = (k * tick - stock.edge_mm) * self.rise
            long = 1.6 if k % across == 0 else 1.0
            self._add(Path(Role.DIMENSION, np.array([(0, y), (-reach * long, y)])))
            if k % across == 0:
                self._word(Text(Role.DIMENSION, (-reach * 2.2, y), self._figure(k * tick), letters,
                                0, "end", "centre"))  # fmt: skip

    def _figure(self, value_mm: float) -> str:
        return show_figure(value_mm, self.unit, CLOTH)

    def _directions(self) -> None:
        """Where the roll runs, which end and edge the tape is held to."""
        stock = self.layout.unit
        letters, gap = (14.0, 46.0) if self.big else (2.5, 8.0)
        x = self.span[0] * self.scale
        y = stock.width_mm * self.rise + gap
        said = {
            "roll": "WARP \u2192 THE ROLL RUNS THIS WAY",
            "sheet": "LENGTH OF THE SHEET \u2192",
            "bar": f"BAR {clean_text(stock.id)} \u2192",
        }[stock.kind]
        self._word(Text(Role.TEXT, (x, y), said, letters, bold=True))
        y = -stock.edge_mm * self.rise - gap
        foot = "Measure along from this end and up from this edge"
        if stock.kind == "bar":
            foot = "Measure along from this end; the width is not to scale"
        if self.layout.bays:
            foot = "Measure along from the line on the left and up from this edge"
        elif self.span[0] > 0.0:
            rest = "; the width is not to scale" if stock.kind == "bar" else ", up from this edge"
            foot = f"Continued: along from the end of the {stock.kind}{rest}"
        if stock.edge_mm > 0:
            said = self._figure(stock.edge_mm)
            foot += f"; the edge strip of {said} {self.unit} is not used"
        self._word(Text(Role.TEXT, (x, y), foot, letters * 0.72 if not self.big else 10.0,
                        rise="top"))  # fmt: skip

    def draw_lines(self) -> None:
        """The lines of the bays and the cuts across, with what is said of them."""
        stock = self.layout.unit
        low, high = self.span
        for line in roll_lines(self.layout, self.outlines, self.unit):
            at = min(line.along_mm, self.end)  # the last one is the end that is drawn already
            if low <= at < high:
                ends = self.put(np.array([(at, -stock.edge_mm), (at, stock.width_mm)]))
                self._add(Path(Role.SPLICE if line.cut else Role.STATION, ends))
            if low <= at < high or at == high == self.end:
                self._beside_line(at, line.said)

    def _beside_line(self, along_mm: float, rows: Sequence[str]) -> None:
        """Words below the lower edge, at a line across the roll."""
        letters, gap = (14.0, 76.0) if self.big else (2.5, 12.5)
        at = (along_mm * self.scale, -self.layout.unit.edge_mm * self.rise - gap)
        ends = (self.span[0] * self.scale, self.span[1] * self.scale)
        for text in words_at(at, rows, letters, ends, self.taken):
            self._word(text)

    # ------------------------------------------------------------ pieces

    def draw_pieces(self) -> None:
        """Every piece that reaches into the window, holes before outline."""
        for place in self.layout.placements:
            piece = self.pieces.get(place.item)
            ring = self.put(placed(self.outlines[place.item].outline_mm, place))
            if self.window and not shapely.Polygon(ring).intersects(self.box):
                continue
            fill = FILLS[piece.kind] if piece is not None else "ply"
            self._ring(Role.FILL, ring, fill=fill)
            if piece is not None:
                self._details(piece, place)
            self._ring(Role.CUT, ring, tag=place.item)

    def _ring(self, role: Role, ring: np.ndarray, fill: str = "", tag: str = "") -> None:
        """A closed line, or what of it lies in the window."""
        if self.window is None:
            self._add(Path(role, ring, True, fill, tag))
        elif fill:
            for part in polygons(shapely.Polygon(ring).intersection(self.box)):
                self._add(Path(role, np.array(part.exterior.coords)[:-1], True, fill, tag))
        else:
            x0, y0, x1, y1 = self.box.bounds
            seen = shapely.box(x0, y0 - ON_EDGE_MM, x1, y1 + ON_EDGE_MM)
            for run in lines(shapely.LinearRing(ring).intersection(seen)):
                self._add(Path(role, run, tag=tag))

    def _details(self, piece: Piece, place: Placement) -> None:
        inner = [placed(h, place) for h in piece.holes_mm]
        for hole in inner:
            self._ring(Role.FILL, self.put(hole), fill="white")
            self._ring(Role.CUT_INNER, self.put(hole), tag=place.item)
        for ring in (piece.bag_side_outline_mm, *piece.bag_side_holes_mm):
            if ring is not None:
                self._ring(Role.BEVEL, self.put(placed(ring, place)), tag=place.item)

    # ------------------------------------------------------------ words

    def letter(self, mark_out_of: Sequence[MarkedPiece]) -> None:
        """Names, fibre arrows and corner numbers; the large pieces first."""
        edge = np.array([0.0, self.layout.unit.edge_mm])
        marked = {(m.item, m.copy): m for m in mark_out_of}
        lettered: list[tuple[Placer, MarkedPiece, Placement]] = []
        seen = []
        for place in self.layout.placements:
            mark = marked[place.item, place.copy]
            shape = shapely.Polygon(self.put(mark.ring_mm - edge))
            piece = self.pieces.get(place.item)
            if piece is not None and piece.holes_mm:
                shape = shape.difference(shapely.union_all(
                    [shapely.Polygon(self.put(placed(h, place))) for h in piece.holes_mm]
                ))  # fmt: skip
            part = shape.intersection(self.box) if self.window else shape
            if part.area > 0:
                seen.append((-part.area, place.item, place.copy, part, mark, place))
        self.occupied = shapely.union_all([row[3] for row in seen])
        self.within = shapely.union_all([self._filled(row[5]) for row in seen])
        for _, _, _, part, mark, place in sorted(seen, key=lambda row: row[:3]):
            clear = 3.0 if self.big else 0.35
            room = part.buffer(-clear, quad_segs=2)
            placer = Placer(room, part, taken=self._taken_in(room))
            self._name(placer, part, place)
            lettered.append((placer, mark, place))
        for placer, mark, _ in lettered:
            if self.layout.unit.kind != "bar":
                self._numbers(placer, self.put(mark.points_mm - edge))

    def _filled(self, place: Placement) -> BaseGeometry:
        """All that lies within the outline of a piece, openings too."""
        return shapely.Polygon(self.put(placed(self.outlines[place.item].outline_mm, place)))

    def _taken_in(self, room: BaseGeometry) -> list[BaseGeometry]:
        """What is taken within the box of a room; words inside it can meet nothing else."""
        near = shapely.intersects(room.envelope, self.taken)
        return [shape for shape, meets in zip(self.taken, near, strict=True) if meets]

    def _name(self, placer: Placer, part: BaseGeometry, place: Placement) -> None:
        piece = self.pieces.get(place.item)
        name = clean_text(short_name(place.item, self.several))
        demand = self.outlines[place.item].demand
        more = [f"{place.copy} of {demand}"] if demand > 1 else []
        if piece is not None and piece.kind == "ply":
            more.append(show_angle(piece.angle_deg))
        if place.flipped:
            more.append("FACE DOWN")
        turn, length, width = main_direction_deg(part)
        along = midline(placer.room, turn, 60) if not placer.room.is_empty else (
            np.zeros((0, 2)), np.zeros(0)
        )  # fmt: skip
        flat = grid(placer.room, 28, 14) if not placer.room.is_empty else np.zeros((0, 2))
        slender = length > 4 * width
        points = np.vstack([along[0], flat] if slender else [flat, along[0]])
        level = np.concatenate([along[1], np.zeros(len(flat))] if slender
                               else [np.zeros(len(flat)), along[1]])  # fmt: skip
        turns = readable_deg(level)
        centre = np.array(part.representative_point().coords[0])
        cost = np.hypot(*(points - centre).T) + 0.1 * abs(turns) * (length < 2 * width)
        heights: tuple[float, ...] = (56.0, 40.0, 28.0, 20.0, 14.0, 10.0, 7.0, 5.0, 3.5)
        if not self.big:
            heights = (7.0, 5.0, 3.5, 2.5, 1.8)
        second = " \u00b7 ".join(more)
        for height in heights:
            small = max(1.8, height * 0.5)
            blocks = [Block((Line(name, height, True, Role.ID), Line(second, small)), 0.5)]
            blocks.append(Block((Line(f"{name} \u00b7 {second}", height, True, Role.ID),), 0.5))
            alone = Block((Line(name, height, True, Role.ID),), 0.1)
            if not second:
                blocks = [alone]
            elif height == heights[-1]:
                blocks.append(alone)  # copies are alike; the name is what counts
            for block in blocks:
                spot = placer.find(block.size_mm, points, turns, cost)
                if spot is not None:
                    self._keep(placer, block, spot)
                    if piece is not None and piece.kind == "ply":
                        self._fibre(placer, piece, place, points, np.array(spot.centre_mm))
                    return
        self._callout(part, place, Block((Line(name, heights[-2], True, Role.ID),), 0.5), centre)

    def _keep(self, placer: Placer, block: Block, spot) -> None:
        self.words += placer.put(block, spot)
        self.taken.append(placer.taken[-1])

    def _fibre(
        self, placer: Placer, piece: Piece, place: Placement, points: np.ndarray, name: np.ndarray
    ) -> None:
        """The fibre direction as it lies on the stock."""
        turn = (-piece.angle_deg if place.flipped else piece.angle_deg) + place.rotation_deg
        for length in (300.0, 150.0, 80.0, 40.0) if self.big else (18.0, 11.0, 7.0):
            high = 8.0 if self.big else 2.2
            spot = placer.find((length + 1, high), points, turn, np.hypot(*(points - name).T))
            if spot is None:
                continue
            half = (
                length / 2 * np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
            )
            at = np.array(spot.centre_mm)
            self.words += arrow(at - half, at + half, Role.FIBRE, high * 0.75, both=True)
            box = np.array([[-half - 1, half + 1]]).reshape(2, 2) + at
            shape = shapely.LineString(box).buffer(high / 2)
            placer.take(shape)
            self.taken.append(shape)
            return

    def _callout(
        self, part: BaseGeometry, place: Placement, block: Block, centre: np.ndarray
    ) -> None:
        """A name in the nearest scrap or an opening of the piece, else beside the stock, with a
        leader: for a piece too small to carry it. It never stands in the opening of another; the
        leader crosses no words, and no piece if that can be helped."""
        unit = 8.0 if self.big else 1.0
        within = self.within.difference(self._filled(place).buffer(0.01 * unit))
        kept = shapely.union(self.occupied, within).buffer(0.6 * unit, quad_segs=1)
        others = self.occupied.difference(part.buffer(0.3))
        found = callout(block, centre, self.box, kept, others, self.taken, unit)
        if found is None:
            return
        (x, y), box, leader = found
        self.words += block.texts((float(x), float(y)), 0.0, False)
        self.taken += [box, leader]
        start, end = np.array(leader.coords)
        self.words.append(Path(Role.DIMENSION, np.array([start, end])))
        dot = (float(end[0]), float(end[1]))
        self.words.append(Circle(Role.DIMENSION, dot, 0.4 * unit, "ink"))

    def _numbers(self, placer: Placer, corners: np.ndarray) -> None:
        """Corner numbers inside the piece, each close to its corner."""
        height = 7.0 if self.big else 1.8
        before, after = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
        placer.taken = self._taken_in(placer.room)
        placer.take(shapely.Point(1e9, 1e9))
        turn = np.cross(np.pad(corners - before, ((0, 0), (0, 1))),
                        np.pad(after - corners, ((0, 0), (0, 1))))[:, 2]  # fmt: skip
        size = np.hypot(*(corners - before).T) * np.hypot(*(after - corners).T)
        sharp = np.abs(turn) / np.maximum(size, 1e-9)
        sharp[0] = np.inf  # point 1 is where the numbering starts
        for k in np.argsort(-np.round(sharp, 6), kind="stable"):
            corner = corners[k]
            if not self.box.covers(shapely.Point(corner)) and self.window:
                continue
            block = Block((Line(f"{k + 1}", height, False, Role.DIMENSION),), 0.3)
            u = (before[k] - corner) / max(np.hypot(*(before[k] - corner)), 1e-9)
            v = (after[k] - corner) / max(np.hypot(*(after[k] - corner)), 1e-9)
            inward = u + v
            if np.hypot(*inward) < 0.15:
                inward = np.array([v[1], -v[0]]) * -1.0
            inward = inward / np.hypot(*inward)
            side = np.array([-inward[1], inward[0]])
            reach = np.arange(1.0, 7.5, 0.5) * height
            tries = np.vstack([corner + np.outer(reach, inward) + side * a * height
                               for a in (0.0, 0.6, -0.6, 1.2, -1.2)])  # fmt: skip
            cost = np.hypot(*(tries - corner).T)
            spot = placer.find(block.size_mm, tries, 0.0, cost)
            if spot is not None:
                self._keep(placer, block, spot)

    def scene(self) -> Scene:
        """Everything, with the words on top."""
        every = [*self.items, *self.words]
        low, high = np.array(self.box.bounds[:2]), np.array(self.box.bounds[2:])
        for item in every:
            cloud = text_box_mm(item) if isinstance(item, Text) else None
            if isinstance(item, Path) and (not self.window or item.role is Role.DIMENSION):
                cloud = item.points_mm
            if cloud is not None:
                low, high = np.minimum(low, cloud.min(axis=0)), np.maximum(high, cloud.max(axis=0))
        (x0, y0), (x1, y1) = np.floor(low - 2.0) + 0.0, np.ceil(high + 2.0) + 0.0
        window = (float(x0), float(y0), float(x1), float(y1))
        stock = self.layout.unit
        facts = (("stock", stock.id), ("material", stock.material), ("kind", stock.kind))
        return Scene(tuple(every), window, stock.id, facts)
