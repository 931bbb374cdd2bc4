"""From the pattern frame onto paper: one scale, shapely shapes as primitives, hatches and arrows.

Terms:
    paper: page millimetres; every picture of the book is drawn in them, so that a letter's height
        and a line's place are what is printed.
    frame: the scale and shift that put a window of the pattern onto a box of paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text

Box = tuple[float, float, float, float]  # xmin, ymin, xmax, ymax
FINEST_MM = 0.01  # on paper; a twentieth of the thinnest line


@dataclass(frozen=True)
class Frame:
    """paper = (pattern - origin) * scale + at."""

    scale: float
    origin_mm: tuple[float, float]
    at_mm: tuple[float, float]

    def put(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) pattern points on paper."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        return (points - self.origin_mm) * self.scale + self.at_mm

    def shape(self, geometry):
        """A shapely geometry on paper, without the points that no printer can show."""
        from shapely import transform

        return transform(geometry, self.put).simplify(FINEST_MM)


def fit_frame(window_mm: Box, box_mm: Box) -> Frame:
    """The frame that shows a window of the pattern as large as a box of paper allows, centred."""
    x0, y0, x1, y1 = window_mm
    u0, v0, u1, v1 = box_mm
    wide, tall = max(x1 - x0, 1e-9), max(y1 - y0, 1e-9)
    scale = min((u1 - u0) / wide, (v1 - v0) / tall)
    at = (u0 + (u1 - u0 - wide * scale) / 2, v0 + (v1 - v0 - tall * scale) / 2)
    return Frame(scale, (x0, y0), at)


def fit_across(
    ring_mm: np.ndarray, width_mm: float, side_mm: float, foot_mm: float, tallest_mm: float
) -> tuple[Frame, float]:
    """The frame that shows a ring across a picture, and how tall the ring then is.

    Args:
        ring_mm: (n, 2) pattern mm.
        width_mm: of the picture.
        side_mm: left free on either side.
        foot_mm: left free below.
        tallest_mm: the ring becomes no taller than this.
    """
    (x0, y0), (x1, y1) = ring_mm.min(axis=0), ring_mm.max(axis=0)
    tall = min(tallest_mm, (width_mm - 2 * side_mm) * (y1 - y0) / (x1 - x0))
    box = (side_mm, foot_mm, width_mm - side_mm, foot_mm + tall)
    return fit_frame((x0, y0, x1, y1), box), tall


def polygons(geometry) -> Iterator:
    """The polygons of any shapely geometry, largest first, empty ones left out."""
    parts = list(getattr(geometry, "geoms", [geometry]))
    for part in sorted(parts, key=lambda p: -p.area):
        if part.is_empty:
            continue
        if part.geom_type == "Polygon":
            yield part
        elif hasattr(part, "geoms"):
            yield from polygons(part)


def lines(geometry) -> Iterator[np.ndarray]:
    """The line strings of any shapely geometry as (n, 2) arrays."""
    if geometry.is_empty:
        return
    if geometry.geom_type in ("LineString", "LinearRing"):
        yield np.asarray(geometry.coords)[:, :2]
    for part in getattr(geometry, "geoms", ()):
        yield from lines(part)


def area_paths(geometry, role: Role, fill: str = "", tag: str = "") -> Iterator[Path]:
    """Outlines of a paper geometry; holes are drawn white where the outside is filled."""
    for polygon in polygons(geometry):
        yield Path(role, np.asarray(polygon.exterior.coords)[:-1], True, fill, tag)
        for hole in polygon.interiors:
            yield Path(role, np.asarray(hole.coords)[:-1], True, "white" if fill else "", tag)


def tinted(geometry, role: Role, fill: str) -> Iterator[Path]:
    """A paper geometry as a tint and its outlines; what lies below shows through its holes."""
    for polygon in polygons(geometry):
        if not polygon.interiors:
            yield Path(role, np.asarray(polygon.exterior.coords)[:-1], True, fill)
            continue
        yield Path(Role.FILL, _keyholed(polygon), True, fill)
        if role is not Role.FILL:
            yield from area_paths(polygon, role)


def _keyholed(polygon) -> np.ndarray:
    """(n, 2) one ring round a polygon and, over a slit to the left of each, round its holes.

    Holes run against the outline, so that they stay empty by either rule of filling.
    """
    from shapely.geometry.polygon import orient

    polygon = orient(polygon)
    ring = np.asarray(polygon.exterior.coords)[:-1, :2]
    holes = [np.asarray(hole.coords)[:-1, :2] for hole in polygon.interiors]
    for hole in sorted(holes, key=lambda h: float(h[:, 0].min())):
        hole = np.roll(hole, -int(hole[:, 0].argmin()), axis=0)
        after, at = _left_of(ring, hole[0])
        ring = np.vstack([ring[: after + 1], at, hole, hole[:1], at, ring[after + 1 :]])
    return ring


def _left_of(ring: np.ndarray, point: np.ndarray) -> tuple[int, np.ndarray]:
    """The side of a ring that is met first to the left of a point, and where."""
    start, end = ring, np.roll(ring, -1, axis=0)
    crosses = (start[:, 1] > point[1]) != (end[:, 1] > point[1])
    rise = np.where(crosses, end[:, 1] - start[:, 1], 1.0)
    x = start[:, 0] + (point[1] - start[:, 1]) / rise * (end[:, 0] - start[:, 0])
    x = np.where(crosses & (x <= point[0]), x, -np.inf)
    side = int(x.argmax())
    return side, np.array([x[side], point[1]])


def hatch(geometry, turn_deg: float, pitch_mm: float, role: Role = Role.HATCH) -> Iterator[Path]:
    """Parallel lines across a paper geometry."""
    from shapely import MultiLineString

    if geometry.is_empty:
        return
    x0, y0, x1, y1 = geometry.bounds
    along = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    across = np.array([-along[1], along[0]])
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    low, high = (corners @ across).min(), (corners @ across).max()
    near, far = (corners @ along).min() - 1, (corners @ along).max() + 1
    first = math.ceil(low / pitch_mm)  # on a common grid, so that neighbours line up
    offsets = np.arange(first, math.floor(high / pitch_mm) + 1) * pitch_mm
    rulings = MultiLineString(
        [[near * along + o * across, far * along + o * across] for o in offsets]
    )
    for run in lines(rulings.intersection(geometry)):
        yield Path(role, run)


def arrow(
    start: Iterable[float],
    end: Iterable[float],
    role: Role,
    head_mm: float = 2.4,
    both: bool = False,
) -> Iterator[Path]:
    """A line with a filled head at its end, or at both ends."""
    a, b = np.asarray(tuple(start), float), np.asarray(tuple(end), float)
    yield Path(role, np.array([a, b]))
    for tip, tail in ((b, a), (a, b))[: 2 if both else 1]:
        length = math.hypot(*(tip - tail)) or 1.0
        along = (tip - tail) / length
        across = np.array([-along[1], along[0]])
        foot = tip - head_mm * along
        wing = 0.32 * head_mm * across
        yield Path(role, np.array([tip, foot + wing, foot - wing]), True, "ink")


def cropped(scene: Scene, pad_mm: float = 1.0) -> Scene:
    """The same scene with its window drawn in, top and bottom, to what is drawn."""
    low, high = [], []
    for item in scene.items:
        if isinstance(item, Text):
            y = text_box_mm(item)[:, 1]
        elif isinstance(item, Path):
            y = item.points_mm[:, 1]
        else:
            y = np.array([item.centre_mm[1] - item.radius_mm, item.centre_mm[1] + item.radius_mm])
        low.append(float(np.min(y)))
        high.append(float(np.max(y)))
    x0, _, x1, _ = scene.window_mm
    return replace(scene, window_mm=(x0, min(low) - pad_mm, x1, max(high) + pad_mm))


def first_free(
    candidates: Iterable[Text],
    drawn: Iterable[Primitive],
    pad_mm: float = 0.7,
    dots: bool = False,
) -> Text | None:
    """The first of several places for a word where no other word stands, or None.

    Args:
        dots: keep clear of circles too.
    """
    drawn = tuple(drawn)
    taken = [_window(item, pad_mm) for item in drawn if isinstance(item, Text)]
    for item in drawn if dots else ():
        if isinstance(item, Circle):
            (x, y), r = item.centre_mm, item.radius_mm + pad_mm
            taken.append((x - r, y - r, x + r, y + r))
    for candidate in candidates:
        x0, y0, x1, y1 = _window(candidate, pad_mm)
        if not any(x0 < b[2] and b[0] < x1 and y0 < b[3] and b[1] < y1 for b in taken):
            return candidate
    return None


def is_inside(item: Text, paper_mm: Box) -> bool:
    """Whether a word stands within a box of paper."""
    x0, y0, x1, y1 = _window(item, 0.0)
    return x0 >= paper_mm[0] and y0 >= paper_mm[1] and x1 <= paper_mm[2] and y1 <= paper_mm[3]


def kept_inside(item: Text, paper_mm: Box) -> Text:
    """A word, moved where it would run off a box of paper; one that is larger begins in it."""
    x0, y0, x1, y1 = _window(item, 0.0)
    low_x, low_y, high_x, high_y = paper_mm
    aside = max(0.0, low_x - x0) or min(0.0, high_x - x1)
    up = max(0.0, low_y - y0) or min(0.0, high_y - y1)
    return replace(item, at_mm=(item.at_mm[0] + aside, item.at_mm[1] + up))


def _window(item: Text, pad_mm: float) -> Box:
    corners = text_box_mm(item, pad_mm)
    return (*corners.min(axis=0), *corners.max(axis=0))
