"""Finding room for words, so that no text lies over text, over a cut or off the drawing.

Terms:
    block: lines of text set as one, one above the other, centred on a point.
    room: where blocks may lie without leaving the piece.
    taken: boxes already used; nothing may touch them.
    soft line: a line a block would rather not lie on, but may, with a white background.

Candidates are tried as oriented boxes, many at once; the cheapest free one wins. Positions are
rounded to 0.1 mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.letters import ASCENT, DESCENT, LEADING, text_width_mm, type_size_mm
from plybook.drawing.scene import Anchor, Circle, Path, Primitive, Role, Text

Degrees = TypeVar("Degrees", float, np.ndarray)
AT_ONCE = 64  # candidates that are looked at together, the cheapest first
CROSSING_COST = 100.0  # mm that words would rather go than have their leader run over others
SOFT_COST = 400.0  # mm of distance a block would rather go than lie on one soft line


@dataclass(frozen=True)
class Line:
    """One line of a block."""

    text: str
    height_mm: float
    bold: bool = False
    role: Role = Role.TEXT


@dataclass(frozen=True)
class Block:
    """Lines of text set as one; `pad_mm` is the clear space kept around them."""

    lines: tuple[Line, ...]
    pad_mm: float = 0.8
    left: bool = False  # lines start at the left edge instead of being centred

    @property
    def width_mm(self) -> float:
        return max(text_width_mm(x.text, x.height_mm, x.bold) for x in self.lines)

    @property
    def height_mm(self) -> float:
        return self._rises()[1]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height with the clear space."""
        return self.width_mm + 2 * self.pad_mm, self.height_mm + 2 * self.pad_mm

    def _rises(self) -> tuple[list[float], float]:
        """Base line of each line above the block's lower edge, and the block's height."""
        depth = 0.0
        from_top = []
        for k, line in enumerate(self.lines):
            if k == 0:
                depth += ASCENT * type_size_mm(line.height_mm)
            else:
                depth += max(LEADING * line.height_mm, self.lines[k - 1].height_mm * 0.6
                             + ASCENT * type_size_mm(line.height_mm))  # fmt: skip
            from_top.append(depth)
        height = depth + DESCENT * type_size_mm(self.lines[-1].height_mm)
        return [height - d for d in from_top], height

    def texts(self, centre_mm: tuple[float, float], turn_deg: float, halo: bool) -> list[Text]:
        """The block's lines as text primitives about a centre."""
        turn = math.radians(turn_deg)
        c, s = math.cos(turn), math.sin(turn)
        rises, height = self._rises()
        along = -self.width_mm / 2 if self.left else 0.0
        anchor: Anchor = "start" if self.left else "middle"
        made = []
        for line, rise in zip(self.lines, rises, strict=True):
            up = rise - height / 2
            at = (centre_mm[0] + along * c - up * s, centre_mm[1] + along * s + up * c)
            made.append(
                Text(line.role, at, line.text, line.height_mm, turn_deg, anchor,
                     bold=line.bold, halo=halo)
            )  # fmt: skip
        return made


@dataclass(frozen=True)
class Box:
    """Room that is taken for something other than words."""

    size_mm: tuple[float, float]

    def texts(self, *_: object) -> list[Text]:
        """None."""
        return []


@dataclass(frozen=True)
class Spot:
    """Where a box went."""

    centre_mm: tuple[float, float]
    turn_deg: float
    inside: bool
    on_soft_line: bool
    cost: float = 0.0


def readable_deg(turn_deg: Degrees) -> Degrees:
    """The same directions turned so that text reads from below or from the right: [-80, 100)."""
    return (turn_deg + 80.0) % 180.0 - 80.0


def boxes(
    centres_mm: np.ndarray, turns_deg: np.ndarray, size_mm: tuple[float, float]
) -> np.ndarray:
    """Oriented boxes as an array of shapely polygons, one per centre."""
    turns = np.radians(np.broadcast_to(turns_deg, len(centres_mm)))
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    w, h = size_mm[0] / 2, size_mm[1] / 2
    x, y = np.array([-w, w, w, -w]), np.array([-h, -h, h, h])
    corners = np.stack([x * c - y * s, x * s + y * c], axis=-1) + centres_mm[:, None, :]
    return shapely.polygons(corners)


class Placer:
    """Keeps the book of what is taken while a drawing is lettered.

    Args:
        room: area in which inside blocks must lie wholly.
        cut: the piece with its holes filled; outside blocks stay clear of it.
        soft: lines that are better not written over.
        taken: what is used before the first word is placed.
        page: outside blocks must lie wholly in it.
    """

    def __init__(
        self,
        room: BaseGeometry,
        cut: BaseGeometry,
        soft: Iterable[BaseGeometry] = (),
        taken: Iterable[BaseGeometry] = (),
        page: BaseGeometry | None = None,
    ):
        self.room, self.cut, self.page = room, cut, page
        self.keep_off = cut.buffer(0.6, quad_segs=2)
        shapely.prepare(self.room)
        shapely.prepare(self.keep_off)
        self.soft = list(soft)
        shapely.prepare(self.soft)
        self.taken: list[BaseGeometry] = list(taken)
        self._tree: shapely.STRtree | None = None

    def take(self, shape: BaseGeometry) -> None:
        """Mark a shape as used."""
        self.taken.append(shape)
        self._tree = None

    def _free(self, shapes: np.ndarray) -> np.ndarray:
        """Which shapes touch nothing that is taken."""
        if self._tree is None:
            self._tree = shapely.STRtree(self.taken)
        free = np.ones(len(shapes), bool)
        if self.taken:
            which, _ = self._tree.query(shapes, predicate="intersects")
            free[which] = False
        return free

    def find(
        self,
        size_mm: tuple[float, float],
        centres_mm: np.ndarray,
        turns_deg: np.ndarray | float,
        cost: np.ndarray | float = 0.0,
        inside: bool = True,
        soft_cost: float = SOFT_COST,
        leads_to: BaseGeometry | None = None,
    ) -> Spot | None:
        """The cheapest free candidate, or None. Nothing is taken yet.

        Args:
            size_mm: box width and height with its clear space.
            centres_mm: (n, 2) candidate centres.
            turns_deg: (n,) or one turn.
            cost: (n,) or one number, in mm of preference.
            inside: wholly in the room; else wholly outside the cut.
            soft_cost: added for each soft line under the box.
            leads_to: what a leader will run to, which had better cross nothing that is taken.
        """
        centres = np.round(np.asarray(centres_mm, dtype=float).reshape(-1, 2), 1)
        turns = np.broadcast_to(np.asarray(turns_deg, dtype=float), len(centres))
        costs = np.broadcast_to(np.asarray(cost, dtype=float), len(centres))
        may = self._may_hold(centres, turns, size_mm) if inside else np.ones(len(centres), bool)
        order = np.flatnonzero(may)
        order = order[np.argsort(costs[order], kind="stable")]
        best: tuple[float, int, float] | None = None  # total, which candidate, lines it crosses
        for start in range(0, len(order), AT_ONCE):
            some = order[start : start + AT_ONCE]
            if best is not None and best[0] < round(float(costs[some[0]]), 3):
                break  # those left cost more, whatever they cross
            shapes = boxes(centres[some], turns[some], size_mm)
            if inside:
                free = shapely.contains_properly(self.room, shapes)
            else:
                free = ~shapely.intersects(self.keep_off, shapes)
                if self.page is not None:
                    free &= shapely.covers(self.page, shapes)
            free[free] = self._free(shapes[free])
            some, shapes = some[free], shapes[free]
            crossed = np.zeros(len(some))
            for line in self.soft:
                crossed += shapely.intersects(line, shapes)
            total = costs[some] + soft_cost * crossed
            if leads_to is not None:
                total += CROSSING_COST * ~self._free(shapely.shortest_line(shapes, leads_to))
            total = np.round(total, 3)
            found = zip(total.tolist(), some.tolist(), crossed.tolist(), strict=True)
            best = min([*found, *([best] if best else [])], default=None)
        if best is None:
            return None
        cost, k, lines = best
        return Spot((float(centres[k, 0]), float(centres[k, 1])), float(turns[k]), inside,
                    lines > 0, cost)  # fmt: skip

    def _may_hold(
        self, centres: np.ndarray, turns: np.ndarray, size_mm: tuple[float, float]
    ) -> np.ndarray:
        """Which boxes could lie in the room: centre inside, and none of its borders passed."""
        x0, y0, x1, y1 = self.room.bounds
        c, s = np.abs(np.cos(np.radians(turns))), np.abs(np.sin(np.radians(turns)))
        w, h = size_mm[0] / 2, size_mm[1] / 2
        wide, high = w * c + h * s - 1e-6, w * s + h * c - 1e-6
        x, y = centres.T
        may = (x - wide >= x0) & (x + wide <= x1) & (y - high >= y0) & (y + high <= y1)
        may[may] = shapely.contains_xy(self.room, centres[may])
        return may

    def put(self, block: Block | Box, spot: Spot) -> list[Text]:
        """Take the spot for a block and give its texts back."""
        self.take(boxes(np.array([spot.centre_mm]), np.array([spot.turn_deg]), block.size_mm)[0])
        return block.texts(spot.centre_mm, spot.turn_deg, spot.on_soft_line)


def leader(place: Placer, start: np.ndarray, end: np.ndarray) -> list[Primitive]:
    """A thin line from words to what they speak of, with a dot at its end; its way is taken."""
    place.take(shapely.LineString([start, end]))
    dot = (float(end[0]), float(end[1]))
    return [Path(Role.DIMENSION, np.array([start, end])), Circle(Role.DIMENSION, dot, 0.5, "ink")]


def midline(shape: BaseGeometry, turn_deg: float, count: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """Middle points of a shape's cross slices along a direction, and the local direction there.

    Long narrow pieces are lettered along this line, also when they are bowed.

    Returns:
        (n, 2) points and (n,) directions in degrees.
    """
    turned = shapely.affinity.rotate(shape, -turn_deg, origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    at = np.linspace(x0, x1, count + 2)[1:-1]
    slices = shapely.linestrings([[(x, y0 - 1), (x, y1 + 1)] for x in at])
    middles = []
    for part in shapely.intersection(turned, slices):
        longest = max(shapely.get_parts(part), key=lambda g: g.length, default=None)
        if longest is None or longest.length <= 0:
            continue
        low_high = np.array(longest.coords)
        middles.append((low_high[0] + low_high[-1]) / 2)
    if len(middles) < 2:
        return np.zeros((0, 2)), np.zeros(0)
    points = np.array(middles)
    ahead = np.gradient(points, axis=0)
    local = np.degrees(np.arctan2(ahead[:, 1], ahead[:, 0])) + turn_deg
    turn = math.radians(turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    return points @ np.array([[c, s], [-s, c]]), local


def main_direction_deg(shape: BaseGeometry) -> tuple[float, float, float]:
    """Direction of a shape's longer side (readable), its length and its width, mm."""
    ring = np.array(shapely.minimum_rotated_rectangle(shape).exterior.coords)
    sides = np.diff(ring, axis=0)[:2]
    lengths = np.hypot(*sides.T)
    longest = int(np.argmax(lengths))
    dx, dy = sides[longest]
    turn = readable_deg(round(math.degrees(math.atan2(dy, dx)), 2))
    return turn, float(lengths[longest]), float(lengths[1 - longest])


def grid(shape: BaseGeometry, along: int = 48, across: int = 24) -> np.ndarray:
    """Points of a regular grid that lie in a shape, in its upright box."""
    x0, y0, x1, y1 = shape.bounds
    nx = along if x1 - x0 >= y1 - y0 else across
    ny = across if x1 - x0 >= y1 - y0 else along
    xs = x0 + (np.arange(nx) + 0.5) * (x1 - x0) / nx
    ys = y0 + (np.arange(ny) + 0.5) * (y1 - y0) / ny
    points = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    return points[shapely.contains_xy(shape, points)]
