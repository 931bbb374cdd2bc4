"""Mark-out: the few corner points from which a piece is drawn on its stock with tape and
straightedge.

Terms:
    running coordinates: distances along the stock from its end and across it from its edge.
    corner point: where two straight cuts meet. A gentle curve is marked as a few straight chords
        laid outside it, to be trimmed with the template.
    bay: see `plybook.nest.model`; figures along a roll that has bays are those from the bay's line.
    grid: what a tape is read to, by what is cut: cloth to a millimetre or a sixteenth of an inch,
        foam and rods to half a millimetre or a thirty-second of an inch.

Marked outlines are rounded to the grid outwards: no piece becomes smaller than its template. Where
a marked outline would run into a neighbour, because the gap between them is small, it is marked
more closely: with more points, on a finer grid.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from plybook.nest.chords import around, outer_chords, rounded_outwards, slim_box
from plybook.nest.model import Bay, Layout, Placement
from plybook.nest.placing import placed
from plybook.nest.roundings import rounded_piece, rounded_shape
from plybook.units import CLOTH, MM_PER_INCH, STIFF, Grain, show_inches, show_number

CURVE_MM = 1.5  # chords leave a curve by no more than about this before they are rounded
_CLOSER = {  # (how far chords leave a curve, grid): tried in turn beside a near neighbour
    "mm": ((0.5, 1.0), (0.5, 0.5), (0.2, 0.1)),
    "in": ((0.5, MM_PER_INCH / 16), (0.5, MM_PER_INCH / 32), (0.2, MM_PER_INCH / 64)),
}
_FINEST_TICK = 64  # of an inch
_NEEDLE = 8.0  # mitre limit: sharper points are cut off short
_BLUNT = 2.0  # the same beside a near neighbour
TOLD_MM = 2.5  # a mark-out that stands over by more says so
FAR_MM = 12.0  # corners further from their piece are cut off short
_HAIR_MM = 1e-6  # a box has two sides


@dataclass(frozen=True)
class MarkedPiece:
    """One placed piece and its corner points, in cutting order.

    Attributes:
        item, copy: as in the placement.
        points_mm: (n, 2) on the grid, from the stock's end and edge.
        ring_mm: (m, 2) the true outline as placed, same coordinates.
        curved: some of its cuts are chords of a curve.
        over_mm: how far the marked outline lies outside the true one at most.
        bay: in which it is marked out, 0 where the stock has none.
        line_mm: where that bay begins; `told_mm` are the points from there.
        corner_mm: the radius of its corners where they are round, the points being where its sides
            meet; of a circle they are the corners of the square around it. 0 for others.
    """

    item: str
    copy: int
    points_mm: np.ndarray
    ring_mm: np.ndarray
    curved: bool
    over_mm: float
    bay: int = 0
    line_mm: float = 0.0
    corner_mm: float = 0.0

    @property
    def shape(self) -> shapely.Polygon:
        """The outline that is marked, from the stock's end and edge."""
        return rounded_shape(self.points_mm, self.corner_mm) or shapely.Polygon(self.points_mm)

    @property
    def told_mm(self) -> np.ndarray:
        """(n, 2) points as they are told: from the line of the bay and the stock's edge."""
        return self.points_mm - (self.line_mm, 0.0)


def mark_out(
    layout: Layout, outlines_mm: Mapping[str, np.ndarray], unit: str
) -> tuple[MarkedPiece, ...]:
    """Corner points of every piece of a layout, in cutting order (along the stock, then across).

    Args:
        layout: placements on one unit of stock.
        outlines_mm: the true outline of each item in its own frame.
        unit: "mm" or "in": the tape in the builder's hand.
    """
    offset = np.array([0.0, layout.unit.edge_mm])
    marked = []
    rings = [placed(outlines_mm[place.item], place) + offset for place in layout.placements]
    true = shapely.polygons([shapely.linearrings(ring) for ring in rings])
    wrong = ~shapely.is_valid(true)  # told later, by its layer
    true[wrong] = shapely.make_valid(true[wrong])
    tree = shapely.STRtree(true)
    usual = stock_grain(layout.unit.kind).step_mm(unit)
    for k, (place, ring) in enumerate(zip(layout.placements, rings, strict=True)):
        bay = layout.bay_of(float(ring[:, 0].min()))
        room = _room_mm(layout, bay, float(ring[:, 0].max()), usual)
        piece = _marked(place, ring, CURVE_MM, usual, room, bay, unit)
        for curve, grid in ((curve, min(grid, usual)) for curve, grid in _CLOSER[unit]):
            if not _runs_into(piece, k, true, tree):
                break
            piece = _marked(place, ring, curve, grid, room, bay, unit)
        if _runs_into(piece, k, true, tree):
            piece = _marked(place, ring, *_CLOSER[unit][-1], room, bay, unit, blunt=True)
        marked.append(piece)
    return tuple(
        sorted(marked, key=lambda m: (*np.round(m.ring_mm.min(axis=0), 1), m.item, m.copy))
    )


def _room_mm(
    layout: Layout, bay: Bay | None, high_mm: float, grid: float
) -> tuple[float, float]:
    """How far corners may lie from the line of a bay, and from the edge: on the stock, on the
    table where the piece lies on it, and short of a cut across."""
    stock = layout.unit
    wide = stock.width_mm + 2 * stock.edge_mm
    if bay is None:
        return stock.length_mm, wide
    room = stock.length_mm - bay.at_mm
    table = math.floor(layout.table_mm / grid + 1e-9) * grid
    if high_mm - bay.at_mm <= table:
        room = min(room, table)
    if bay.cut and high_mm <= bay.to_mm + _HAIR_MM:
        room = min(room, bay.to_mm - bay.at_mm)
    return room, wide


def stock_grain(kind: str) -> Grain:
    """How closely pieces are marked out on a roll, a sheet or a bar."""
    return CLOTH if kind == "roll" else STIFF


def _runs_into(piece: MarkedPiece, number: int, true: np.ndarray, tree: shapely.STRtree) -> bool:
    """Whether a marked outline takes anything away from another piece."""
    outline = piece.shape
    others = [k for k in tree.query(outline, predicate="intersects") if k != number]
    return any(shapely.area(outline.intersection(true[k])) > 1e-6 for k in others)


def tape(value_mm: float, unit: str) -> str:
    """A running coordinate as read off a tape."""
    return show_inches(value_mm, _FINEST_TICK) if unit == "in" else show_number(value_mm, 1)


def _marked(
    place: Placement,
    ring: np.ndarray,
    curve_mm: float,
    grid: float,
    room_mm: tuple[float, float],
    bay: Bay | None,
    unit: str,
    blunt: bool = False,
) -> MarkedPiece:
    line = np.array([bay.at_mm if bay else 0.0, 0.0])
    number = bay.number if bay else 0
    whole, ring = ring, ring - line
    found = None if blunt else rounded_piece(ring, grid, STIFF.step_mm(unit), room_mm)
    if found is not None:
        points, corner = _from_end_on(found[0]), found[1]
        piece = MarkedPiece(
            place.item, place.copy, points + line, whole, False, 0.0, number, float(line[0]), corner
        )
        over = shapely.hausdorff_distance(piece.shape.exterior, shapely.Polygon(whole).exterior)
        return replace(piece, over_mm=float(over))
    true = shapely.Polygon(ring)
    on_stock = shapely.Polygon(np.clip(ring, 0.0, room_mm))  # it may stand over by a rounding
    best: tuple[float, np.ndarray, bool] | None = None
    for few, curved in _outlines(true, ring, curve_mm, grid, room_mm, blunt):
        points = _each_once(_kept_on_stock(few, grid, room_mm), grid)
        if not _holds(points, on_stock, grid):
            continue
        far = float(shapely.distance(shapely.points(points), true).max())
        if best is None or far < best[0]:
            best = far, points, curved
        if far <= FAR_MM:
            break
    assert best is not None, "a box holds every piece"
    _, points, curved = best
    over = shapely.hausdorff_distance(shapely.Polygon(points).exterior, true.exterior)
    points = _from_end_on(points)
    return MarkedPiece(
        place.item, place.copy, points + line, whole, curved, float(over), number, float(line[0])
    )


def _from_end_on(points: np.ndarray) -> np.ndarray:
    """A ring that begins with the point nearest to the end."""
    return np.roll(points, -np.lexsort((points[:, 1], points[:, 0]))[0], axis=0)


def _each_once(points: np.ndarray, grid: float) -> np.ndarray:
    """A ring without points that stand where the one before them does."""
    return points[np.abs(points - np.roll(points, 1, axis=0)).max(axis=1) > grid / 2]


def _holds(points: np.ndarray, true: shapely.Polygon, grid: float) -> bool:
    """Whether a ring on the grid does not cross itself and holds an outline."""
    if len(points) < 3 or not shapely.Polygon(np.round(points / grid)).is_valid:
        return False
    return bool(shapely.Polygon(points).buffer(1e-6).covers(true))


def _outlines(
    true: shapely.Polygon,
    ring: np.ndarray,
    curve_mm: float,
    grid: float,
    room_mm: tuple[float, float],
    blunt: bool,
) -> Iterator[tuple[np.ndarray, bool]]:
    """Rings on the grid that may hold an outline, the closest first, and whether their sides stand
    for curves: where a corner is too sharp for the grid, every side is moved out by one grid
    diagonal first; needle points are cut off short; at worst a dent is bridged."""
    if not blunt:
        few, curved = outer_chords(ring, curve_mm)
        yield rounded_outwards(few, grid, room_mm), curved
    joins = (("mitre", _NEEDLE), ("mitre", _BLUNT), ("bevel", 1.0))
    for join, limit in joins[blunt:]:
        wider = true.buffer(grid * math.sqrt(2.0), join_style=join, mitre_limit=limit)
        if wider.geom_type == "Polygon":
            few, curved = outer_chords(around(wider), curve_mm)
            yield np.round(few / grid) * grid, curved
    few, _ = outer_chords(around(true.convex_hull), curve_mm)
    yield rounded_outwards(few, grid, room_mm), True
    yield rounded_outwards(slim_box(ring), grid, room_mm), True
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    yield rounded_outwards(box, grid, room_mm), True


def _kept_on_stock(points: np.ndarray, grid: float, room_mm: tuple[float, float]) -> np.ndarray:
    """Where corners stand out past the stock, its edge is the cut: the sides end at the edge, at
    points rounded along it away from the piece."""
    far = np.ceil(np.array(room_mm) / grid - 1e-9) * grid
    if (points >= -1e-9).all() and (points <= far + 1e-9).all():
        return points
    drawn = shapely.Polygon(points)
    if not drawn.is_valid:
        return np.clip(points, 0.0, far)
    cut = drawn.intersection(shapely.box(0.0, 0.0, *far))
    if cut.geom_type != "Polygon" or cut.is_empty:
        return np.clip(points, 0.0, far)
    kept: list[tuple[float, float]] = []
    ring = around(cut)
    for point, before, after in zip(ring, np.roll(ring, 1, 0), np.roll(ring, -1, 0), strict=True):
        edges = [(axis, edge) for axis in (0, 1) for edge in (0.0, far[axis])
                 if abs(point[axis] - edge) < 1e-6]  # fmt: skip
        if len(edges) != 1:
            kept.append(tuple(np.round(point / grid) * grid))
            continue
        (axis, edge) = edges[0]
        onward = (edge > 0.0) == (axis == 0)  # the edge is followed towards higher figures
        ticks = point[1 - axis] / grid
        for beside, up in ((before, not onward), (after, onward)):
            if abs(beside[axis] - edge) >= 1e-6:  # a side ends here
                tick = math.ceil(ticks - 1e-6) if up else math.floor(ticks + 1e-6)
                at = edge, min(max(tick * grid, 0.0), float(far[1 - axis]))
                kept.append((at[0], at[1]) if axis == 0 else (at[1], at[0]))
    return np.array(kept)
