"""The lines that are drawn on a mould face within its net line, and the points that fix them.

Terms:
    corner: a point of an outline that is marked; straight lines from one to the next leave the
        outline by no more than its `within_mm`. Where the outline turns in an arc between two
        straight sides, the corner is where the sides would meet, told with the radius.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from plybook.laminate.model import Laminate
from plybook.spec.model import Film, PartSpec
from plybook.surface.model import Face

BOW_MM = 1.0  # a line that leaves its string by no more is drawn along a straightedge
NET = "net line"
THE_FACE = "opening of the face"
Role = Literal["net line", "axis", "core outline", "opening", "insert", "bond land"]
_ORDER: tuple[Role, ...] = ("net line", "core outline", "insert", "opening", "bond land")
_ON_NET_MM = 0.05
_CLOSE_MM = 0.3  # panels of one core that lie closer are drawn as one
_BESIDE_MM = 2.0  # of a break, where panels of either side end
_ROUND_MM = 0.25  # how far the points of a circle or an arc may leave it
_STRAIGHT_MM = 0.03  # a side of an outline with rounded corners
_LEAST_TURN, _MOST_TURN = 0.1, 2.6  # radians, of a rounded corner
_MOST_IN_RING, _MOST_IN_ALL = 60, 600


@dataclass(frozen=True)
class Outline:
    """A line to be drawn; an open one begins at the end nearest the root."""

    role: Role
    of: str
    points_mm: np.ndarray  # (n, 2), pattern mm
    closed: bool
    within_mm: float


@dataclass(frozen=True)
class Corner:
    """`radius_mm` 0: not rounded."""

    at_mm: np.ndarray  # (2,)
    radius_mm: float = 0.0


def outlines(spec: PartSpec, face: Face, laminate: Laminate) -> tuple[Outline, ...]:
    """Openings of the face, cores, inserts, openings of cores and bond lands, in the order in
    which they are drawn; without the stretches that run along the net line."""
    rings = sorted(_rings(spec, face, laminate), key=lambda r: _ORDER.index(r[0]))
    most = int(min(_MOST_IN_RING, max(4, _MOST_IN_ALL // max(1, len(rings)))))
    net = shapely.union_all([shapely.LineString(e.points_mm) for e in face.edges])
    shapely.prepare(net)
    return tuple(
        _drawn(role, of, line, closed, most)
        for role, of, ring in rings
        for line, closed in _off_the_net(ring, None if role == NET else net)
    )


def net_outline(face: Face) -> Outline:
    """The net line itself, as an outline."""
    ring = _ring(shapely.LinearRing(np.asarray(face.outline_mm, float)), _turned(face))
    return _drawn("net line", NET, ring, True, _MOST_IN_RING)


def _rings(
    spec: PartSpec, face: Face, laminate: Laminate
) -> Iterator[tuple[Role, str, np.ndarray]]:
    pulled = {x.id for x in spec.layers if isinstance(x, Film) and x.removed_after}
    let_in = {name for piece in laminate.pieces for name in piece.hole_names if name}
    inside, turned = shapely.Polygon(face.outline_mm), _turned(face)
    pieces = {piece.id: piece for piece in laminate.pieces}
    for hole in face.holes_mm:
        yield "net line", THE_FACE, _ring(shapely.LinearRing(hole), turned)
    for layer in laminate.layers:
        role: Role
        if layer.kind == "core":
            role = "core outline"
        elif layer.kind == "insert" and layer.id not in let_in:
            role = "insert"
        elif layer.id in pulled:
            role = "bond land"
        else:
            continue
        own = [pieces[name] for name in layer.pieces if len(pieces[name].laid_outline_mm) > 2]
        laid = [shapely.Polygon(p.laid_outline_mm, p.laid_holes_mm).buffer(0) for p in own]
        names = [(shapely.Polygon(hole), name) for p in own
                 for hole, name in zip(p.laid_holes_mm, p.hole_names, strict=False)]  # fmt: skip
        whole = _joined(laid, face).intersection(inside)
        for polygon in _polygons(whole):
            yield role, layer.id, _ring(polygon.exterior, turned)
            for hole in polygon.interiors:
                near = [n for shape, n in names if n and shape.intersects(shapely.Polygon(hole))]
                of = f"{near[0]} in {layer.id}" if near else f"in {layer.id}"
                yield "opening", of, _ring(hole, turned)


def _joined(shapes: list[shapely.Polygon], face: Face) -> shapely.Geometry:
    """Panels of one layer as one, over the seams between them; at a break of the face, where those
    of either side lie apart on the pattern by what it gapes, over that gap too."""

    def closed(by_mm: float) -> shapely.Geometry:
        grown = shapely.union_all([one.buffer(by_mm, join_style="mitre") for one in shapes])
        return grown.buffer(-by_mm, join_style="mitre")

    found = closed(_CLOSE_MM)
    for kink in face.kinks:
        line = next((s for s in face.station_lines if abs(s.span_mm - kink.span_mm) < 1e-6), None)
        if not kink.accepted and line is not None:
            beside = shapely.LineString(line.points_mm).buffer(2 * kink.gap_mm + _BESIDE_MM)
            found = found.union(closed(_CLOSE_MM + kink.gap_mm / 2).intersection(beside))
    return found


def layer_of(outline: Outline) -> str:
    """The layer that an outline is of, `THE_FACE` for an opening of the face, "" for the net line;
    of an opening that of its core, "H in C" or "in C"."""
    if outline.role == "opening":
        return f" {outline.of}".rpartition(" in ")[2]
    return "" if outline.of == NET else outline.of


def _polygons(shape) -> Iterator[shapely.Polygon]:
    """From the root on; in the same order on either hand."""
    parts = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon"]
    places = [(round(p.bounds[0], 2), round(abs(p.centroid.y), 2)) for p in parts]
    for k in sorted(range(len(parts)), key=places.__getitem__):
        if parts[k].area > 1.0:
            yield parts[k]


def _ring(ring, turned: bool) -> np.ndarray:
    """(n, 2) from the corner nearest the root, counter-clockwise, or clockwise if `turned`, so
    that marks of either hand have the same numbers."""
    points = np.asarray(ring.coords)[:-1, :2]
    if shapely.LinearRing(points).is_ccw == turned:
        points = points[::-1]
    start = np.lexsort([-np.round(np.abs(points[:, 1]), 2), np.round(points[:, 0], 2)])[0]
    return np.roll(points, -int(start), axis=0)


def _turned(face: Face) -> bool:
    """Whether the pattern of a face is the mirror image of the one its sections are drawn for."""
    if not face.station_lines:
        return bool(getattr(face, "mirrored", False))
    across = face.station_lines[0].points_mm
    return bool(across[-1][1] > across[0][1])


def _off_the_net(ring: np.ndarray, net) -> Iterator[tuple[np.ndarray, bool]]:
    """The stretches of a ring that do not run along the net line; whether it is a whole ring."""
    count = len(ring)
    after = np.roll(ring, -1, axis=0)
    on = np.zeros(count, dtype=bool)
    if net is not None:
        spots = shapely.points(np.stack([ring, (ring + after) / 2, after], axis=1))
        on = shapely.dwithin(net, spots, _ON_NET_MM).all(axis=1)
    if not on.any():
        yield ring, True
        return
    first = int(np.argmax(on))
    run: list[int] = []
    for k in [*range(first, first + count), first]:
        if not on[k % count]:
            run.append(k % count)
        elif run:
            yield np.vstack([ring[run], after[run[-1]]]), False
            run = []


def _drawn(role: Role, of: str, line: np.ndarray, closed: bool, most: int) -> Outline:
    """An outline with the tolerance at which it takes at most `most` marks."""
    within = BOW_MM
    while len(_thinned(line, closed, within)) > most:
        within *= 2
    if not closed and line[0].sum() > line[-1].sum():
        line = line[::-1]
    return Outline(role, of, line, closed, within)


def corners_of(outline: Outline) -> list[Corner]:
    """The corners of an outline in its order; of one that turns in arcs between straight sides,
    those where its sides meet."""
    line, within = outline.points_mm, outline.within_mm
    rounded = _rounded(line) if outline.closed else None
    return rounded or [Corner(at) for at in _thinned(line, outline.closed, within)]


def _thinned(line: np.ndarray, closed: bool, within_mm: float) -> np.ndarray:
    """The points of an outline from which straight lines leave it by no more than a distance."""
    if not closed:
        return shapely.get_coordinates(shapely.simplify(shapely.LineString(line), within_mm))
    points = shapely.get_coordinates(shapely.simplify(shapely.LinearRing(line), within_mm))[:-1]
    if len(points) > 3:  # where the ring begins may be no corner
        without = shapely.LinearRing(points[1:])
        shapely.prepare(without)
        if shapely.dwithin(without, shapely.points(line), within_mm).all():
            return points[1:]
    return points


def _rounded(line: np.ndarray) -> list[Corner] | None:
    """The corners of a ring of straight sides with nothing but arcs between them, else None."""
    points = shapely.get_coordinates(shapely.simplify(shapely.LinearRing(line), _STRAIGHT_MM))[:-1]
    after = np.roll(points, -1, axis=0)
    sizes = np.hypot(*(after - points).T)
    sides = np.flatnonzero(sizes > max(4 * np.median(sizes), sizes.max() / 10))
    if len(points) == len(sides) or not 3 <= len(sides) <= 12:
        return None
    found = []
    for side, following in zip(sides, np.roll(sides, -1), strict=True):
        arc = points[(side + 1 + np.arange((following - side) % len(points))) % len(points)]
        ways = [(after[k] - points[k]) / sizes[k] for k in (side, following)]
        corner = _round_corner(arc, *ways)
        if corner is None:
            return None
        found.append(corner)
    return found


def _round_corner(arc: np.ndarray, one: np.ndarray, two: np.ndarray) -> Corner | None:
    """Where a side that ends at the start of an arc meets the one that its end leads to.

    Args:
        arc: (n, 2) points from side to side; one where the corner is sharp.
        one, two: (2,) unit ways of the sides.
    """
    if len(arc) == 1:
        return Corner(arc[0])
    sine = one[0] * two[1] - one[1] * two[0]
    turn = abs(np.arctan2(sine, float(one @ two)))
    if not _LEAST_TURN < turn < _MOST_TURN:
        return None
    over = arc[-1] - arc[0]
    at = arc[0] + (over[0] * two[1] - over[1] * two[0]) / sine * one
    gap = float(shapely.LineString(arc).distance(shapely.Point(at)))
    radius = gap / (1 / np.cos(turn / 2) - 1)
    inwards = (two - one) / np.hypot(*(two - one))
    middle = at + inwards * radius / np.cos(turn / 2)
    if np.abs(np.hypot(*(arc - middle).T) - radius).max() > _ROUND_MM:
        return None
    return Corner(at, float(radius))


def circle_of(outline: Outline) -> tuple[np.ndarray, float] | None:
    """Middle (2,) and diameter of an outline that is a circle, mm."""
    line = outline.points_mm
    if not outline.closed or len(line) < 12:
        return None
    middle = (line.min(axis=0) + line.max(axis=0)) / 2
    far = np.hypot(*(line - middle).T)
    return (middle, float(far.max() * 2)) if np.ptp(far) <= _ROUND_MM else None
