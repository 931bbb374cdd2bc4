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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.nest.model import Bay, Layout, Placement
from plybook.nest.placing import placed
from plybook.units import CLOTH, MM_PER_INCH, STIFF, Grain, show_inches, show_number

CURVE_MM = 1.5  # chords leave a curve by no more than about this before they are rounded
_CLOSER = {  # (how far chords leave a curve, grid): tried in turn beside a near neighbour
    "mm": ((0.5, 1.0), (0.5, 0.5), (0.2, 0.1)),
    "in": ((0.5, MM_PER_INCH / 16), (0.5, MM_PER_INCH / 32), (0.2, MM_PER_INCH / 64)),
}
_FINEST_TICK = 64  # of an inch
_FINEST_MM = 0.01  # chords are not tried closer to a curve
_NEEDLE = 8.0  # mitre limit: sharper points are cut off short
_BLUNT = 2.0  # the same beside a near neighbour
TOLD_MM = 2.5  # a mark-out that stands over by more says so
FAR_MM = 12.0  # corners further from their piece are cut off short
_OPENING_MM = 0.5  # chords leave the curves of an opening by no more
_ROUND_POINTS, _ROUND_MM = 12, 0.3  # of a ring that is round, and how far its radii may differ
_HAIR_MM = 1e-6  # a box has two sides
# of an opening with round corners: sides against the longest, how many, how sharply they meet
_SIDE_SHARE, _MOST_SIDES, _LEAST_SINE = 0.2, 6, 0.3
_RADII = 4  # steps of the tape by which a radius is told larger at most, to stay inside
_AWAY_MM = 2.0  # most that it leaves the opening by
_REACH = 14  # grid steps searched for an outward point at a sharp corner


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
    """

    item: str
    copy: int
    points_mm: np.ndarray
    ring_mm: np.ndarray
    curved: bool
    over_mm: float
    bay: int = 0
    line_mm: float = 0.0

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
        piece = _marked(place, ring, CURVE_MM, usual, room, bay)
        for curve, grid in ((curve, min(grid, usual)) for curve, grid in _CLOSER[unit]):
            if not _runs_into(piece, k, true, tree):
                break
            piece = _marked(place, ring, curve, grid, room, bay)
        if _runs_into(piece, k, true, tree):
            piece = _marked(place, ring, *_CLOSER[unit][-1], room, bay, blunt=True)
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
    outline = shapely.Polygon(piece.points_mm)
    others = [k for k in tree.query(outline, predicate="intersects") if k != number]
    return any(shapely.area(outline.intersection(true[k])) > 1e-6 for k in others)


@dataclass(frozen=True)
class MarkedOpening:
    """An opening of a placed piece.

    Attributes:
        points_mm: (n, 2) corner points on the grid, counter-clockwise, so that what they say lies
            inside the opening; of a round one (1, 2) its middle.
        round_mm: how far a round one is across; 0 for others.
        corner_mm: the radius of one with round corners, whose points are where its sides meet.
    """

    points_mm: np.ndarray
    round_mm: float = 0.0
    corner_mm: float = 0.0


def mark_openings(
    place: Placement,
    holes_mm: Sequence[np.ndarray],
    edge_mm: float,
    unit: str,
    grain: Grain,
    line_mm: float = 0.0,
) -> tuple[MarkedOpening, ...]:
    """The openings of a piece where it lies, from the line of its bay and the stock's edge.

    Args:
        place: where the piece lies.
        holes_mm: (n, 2) rings in the piece's own frame.
        edge_mm: what of the stock is not used along its edge.
        unit: "mm" or "in": the tape in the builder's hand.
        grain: how closely corners are marked.
        line_mm: where its bay begins.
    """
    grid, found = grain.step_mm(unit), []
    for hole in holes_mm:
        ring = placed(hole, place) + (-line_mm, edge_mm)
        true = shapely.Polygon(ring)
        ring = _around(true)
        middle = np.array(true.centroid.coords[0])
        radii = np.hypot(*(ring - middle).T)
        if len(ring) >= _ROUND_POINTS and np.ptp(radii) <= max(_ROUND_MM, 2e-3 * radii.mean()):
            across = 2.0 * float(radii.mean())
            found.append(MarkedOpening(np.round(middle / grid)[None] * grid, across))
            continue
        keep = _thinned(ring, _OPENING_MM)
        few = ring[keep] if len(keep) > 2 else ring
        if (cornered := _with_round_corners(true, few, grid)) is not None:
            found.append(cornered)
            continue
        points = rounded_outwards(few[::-1], grid)[::-1]  # outwards of its rim is inwards
        if not shapely.Polygon(points).is_valid:
            points = np.round(few / grid) * grid
        found.append(MarkedOpening(points))
    return tuple(found)


def _with_round_corners(
    opening: shapely.Polygon, few: np.ndarray, grid: float
) -> MarkedOpening | None:
    """An opening of straight sides with corners of one radius by where its sides meet; None where
    that would not leave it by less than a tape shows. `few` is its ring with few points."""
    way = np.roll(few, -1, axis=0) - few
    size = np.hypot(*way.T)
    sides = np.flatnonzero(size > _SIDE_SHARE * size.max())
    if not 3 <= len(sides) <= _MOST_SIDES or len(few) < 2 * len(sides):
        return None
    start, along = few[sides], way[sides] / size[sides, None]
    before = np.roll(along, 1, axis=0)
    sine = before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0]
    if (sine < _LEAST_SINE).any():
        return None
    gap = np.roll(start, 1, axis=0) - start
    reach = (gap[:, 0] * before[:, 1] - gap[:, 1] * before[:, 0]) / -sine
    corners = start + along * reach[:, None]
    half = np.arctan2(sine, np.sum(before * along, axis=1)) / 2
    missing = shapely.Polygon(corners).area - opening.area
    if missing <= 0:
        return None
    radius = math.sqrt(missing / float((np.tan(half) - half).sum()))
    points = rounded_outwards(corners[::-1], grid)[::-1]
    for step in range(_RADII):
        corner_mm = (math.ceil(radius / grid) + step) * grid
        told = rounded_corners(points, corner_mm)
        if told is None:
            return None
        if opening.buffer(_HAIR_MM).covers(told):
            near = shapely.hausdorff_distance(told.exterior, opening.exterior, densify=0.05)
            return MarkedOpening(points, 0.0, corner_mm) if near <= _AWAY_MM else None
    return None


def rounded_corners(points_mm: np.ndarray, radius_mm: float) -> shapely.Polygon | None:
    """A polygon whose corners are rounded; None where a side is too short for it."""
    inner = shapely.Polygon(points_mm).buffer(-radius_mm, join_style="mitre", mitre_limit=100)
    if inner.geom_type != "Polygon" or len(inner.exterior.coords) != len(points_mm) + 1:
        return None
    return inner.buffer(radius_mm, quad_segs=32)


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
    blunt: bool = False,
) -> MarkedPiece:
    line = np.array([bay.at_mm if bay else 0.0, 0.0])
    whole, ring = ring, ring - line
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
    start = np.lexsort((points[:, 1], points[:, 0]))[0]
    points = np.roll(points, -start, axis=0)
    number = bay.number if bay else 0
    return MarkedPiece(
        place.item, place.copy, points + line, whole, curved, float(over), number, float(line[0])
    )


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
            few, curved = outer_chords(_around(wider), curve_mm)
            yield np.round(few / grid) * grid, curved
    few, _ = outer_chords(_around(true.convex_hull), curve_mm)
    yield rounded_outwards(few, grid, room_mm), True
    yield rounded_outwards(_slim_box(ring), grid, room_mm), True
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    box = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    yield rounded_outwards(box, grid, room_mm), True


def _slim_box(ring: np.ndarray) -> np.ndarray:
    """The box around a ring along its longest way, counter-clockwise."""
    first = ring[np.lexsort((ring[:, 1], ring[:, 0]))[0]]
    along = ring[np.hypot(*(ring - first).T).argmax()] - first
    along /= np.hypot(*along)
    turn = np.column_stack([along, (-along[1], along[0])])
    (x0, y0), (x1, y1) = (ring @ turn).min(axis=0) - _HAIR_MM, (ring @ turn).max(axis=0) + _HAIR_MM
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) @ turn.T


def _around(shape: shapely.Polygon) -> np.ndarray:
    """The outer ring of a shape, counter-clockwise."""
    return np.array(shapely.geometry.polygon.orient(shape).exterior.coords)[:-1]


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
    ring = _around(cut)
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


def outer_chords(ring_mm: np.ndarray, error_mm: float) -> tuple[np.ndarray, bool]:
    """A ring of few straight sides that holds another and lies close to it.

    The ring is thinned (Douglas and Peucker), then every side is moved out until the points it
    stands for are inside, and neighbouring sides are met again. Beside a bend sharper than the
    error, sides moved out may cross: then chords keep closer to the ring, at worst on it.

    Args:
        ring_mm: (n, 2) counter-clockwise.
        error_mm: how far a curve may leave its chord.

    Returns:
        (m, 2) ring and whether any side stands for a curve.
    """
    ring = np.asarray(ring_mm, dtype=float)
    keep = _thinned(ring, error_mm)
    if len(keep) < 3:  # so slim that it is a line at this width: the slimmest box around it
        return _slim_box(ring), True
    corners = ring[keep]
    count = len(corners)
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.hypot(*along.T)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    shift = np.zeros(count)
    for k in range(count):
        first, last = keep[k], keep[(k + 1) % count]
        run = np.arange(first, last + (len(ring) if last <= first else 0) + 1) % len(ring)
        shift[k] = max(0.0, float(((ring[run] - corners[k]) @ out[k]).max()))
    curved = bool((shift > 1e-3).any()) or count < len(ring) - _straight(ring)
    moved = np.empty_like(corners)
    for k in range(count):
        a, b = out[k - 1], out[k]
        system = np.array([a, b])
        wanted = np.array([corners[k] @ a + shift[k - 1], corners[k] @ b + shift[k]])
        if abs(np.linalg.det(system)) < 1e-3:  # nearly one line
            moved[k] = corners[k] + (a + b) / 2 * max(shift[k - 1], shift[k])
        else:
            moved[k] = np.linalg.solve(system, wanted)
    if shapely.Polygon(moved).is_valid:
        return moved, curved
    return outer_chords(ring, error_mm / 4) if error_mm > _FINEST_MM else (ring, False)


def _straight(ring: np.ndarray) -> int:
    """How many points of a ring lie on a straight line between their neighbours."""
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    u, v = ring - before, after - ring
    cross = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return int((cross < 1e-4 * np.hypot(*u.T) * np.hypot(*v.T)).sum())


def _thinned(ring: np.ndarray, error_mm: float) -> np.ndarray:
    """Indices of the points of a ring that Douglas and Peucker's rule keeps.

    The ring is opened at its two points furthest apart along its longest way.
    """
    first = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    far = int(np.hypot(*(ring - ring[first]).T).argmax())
    n = len(ring)
    keep = {first, far}
    for a, b in ((first, far), (far, first)):
        span = np.arange(a, b + (n if b <= a else 0) + 1)
        stack = [(0, len(span) - 1)]
        while stack:
            low, high = stack.pop()
            if high - low < 2:
                continue
            p, q = ring[span[low] % n], ring[span[high] % n]
            between = ring[span[low + 1 : high] % n]
            run = q - p
            length = max(float(np.hypot(*run)), 1e-12)
            off = np.abs((between - p) @ np.array([-run[1], run[0]])) / length
            k = int(off.argmax())
            if off[k] > error_mm:
                keep.add(int(span[low + 1 + k] % n))
                stack += [(low, low + 1 + k), (low + 1 + k, high)]
    return np.array(sorted(keep))


def rounded_outwards(
    ring_mm: np.ndarray, grid_mm: float, room_mm: tuple[float, float] | None = None
) -> np.ndarray:
    """A ring on a grid whose sides lie on or outside the sides of the ring given.

    Every corner goes to the nearest grid point that is on the outer side of both its sides; then
    both ends of each side, and so the whole side, are outside. Points within the stock, 0 to
    `room_mm`, go before nearer ones beyond its edge.
    """
    ring = np.asarray(ring_mm, dtype=float)
    along = np.roll(ring, -1, axis=0) - ring
    out = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    steps = np.arange(-_REACH, _REACH + 1)
    near = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    near = near[np.argsort((near**2).sum(axis=1), kind="stable")]
    points = np.empty_like(ring)
    for k, corner in enumerate(ring):
        tries = (np.round(corner / grid_mm) + near) * grid_mm
        gap = tries - corner
        outside = (gap @ out[k - 1] >= -1e-9) & (gap @ out[k] >= -1e-9)
        good = np.flatnonzero(outside)
        if len(good):
            far = np.round((gap[good] ** 2).sum(axis=1), 9)
            if room_mm is not None:
                off = (tries[good] < 0.0) | (tries[good] > np.array(room_mm) + grid_mm)
                far = far + 1e6 * off.any(axis=1)
            best = good[np.argmin(far)]
            points[k] = tries[best]
        else:
            points[k] = tries[0]
    return points
