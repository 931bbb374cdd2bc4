"""Where a piece lies on the mould, in distances a tape can take.

Terms:
    corner: one of the outermost points of a piece in a diagonal direction, lettered A, B, C ...
    distance: shortest distance on the flat pattern, which is the distance along the mould face;
        a line that ends before the point is carried on straight.

A corner is told by its nearest station line and the nearest edge running the other way; a part
without stations is told by two edges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.geometry.offsets import nearest, offset_mm
from plybook.laminate.model import Piece
from plybook.surface.model import Face, StationLine
from plybook.units import Grain, grain_of, show_length

ON_EDGE_MM = 0.5  # nearer than this is "on" the line
CROSSING_DEG = 30.0  # two lines locate a point when they differ by more than this
AT_CORNER_MM = 40.0  # a trim allowance away from a corner of the face counts as at it
_DIAGONALS = ((-1, -1), (1, -1), (1, 1), (-1, 1))
KEPT = 0.67  # an edge is kept to up to half as far again as the nearest
_MOST_PIECES = 3


@dataclass(frozen=True)
class Corner:
    letter: str
    piece: str
    at_mm: tuple[float, float]
    outward: tuple[float, float]
    first: str  # "120 mm tipward of STA 950"
    second: str  # "35 mm inside the leading edge"


def locate(face: Face, pieces: Sequence[Piece], unit: str) -> tuple[Corner, ...]:
    """Lettered corners of the pieces that do not simply run from edge to edge.

    Up to three pieces get four corners each; more pieces get two, on a diagonal. A corner that two
    pieces share is told once. Not told at all are one that lies at a corner of the face itself, and
    one that lies on a neighbour laid before: the overlap line says where it comes.
    """
    from shapely import Point, Polygon

    whole = Polygon(face.outline_mm)
    ends = _extremes(np.asarray(face.outline_mm, float))
    partial = [p for p in pieces if Polygon(p.laid_outline_mm).area < 0.97 * whole.area]
    diagonals = _DIAGONALS if len(partial) <= _MOST_PIECES else _DIAGONALS[::2]
    found: list[tuple[np.ndarray, tuple[int, int], list[str]]] = []
    for place, piece in enumerate(partial):
        under = [
            Polygon(p.laid_outline_mm).buffer(ON_EDGE_MM)
            for p in partial[:place]
            if p.layer == piece.layer and piece.splice and piece.splice.kind == "overlap"
        ]
        for diagonal in diagonals:
            at = _extreme(np.asarray(piece.laid_outline_mm, float), diagonal)
            if min(np.hypot(*(at - end)) for end in ends) < AT_CORNER_MM:
                continue
            twin = next((row for row in found if np.hypot(*(row[0] - at)) < ON_EDGE_MM), None)
            if twin:
                twin[2].append(piece.id)
            elif not any(area.contains(Point(at)) for area in under):
                found.append((at, diagonal, [piece.id]))
    out: list[Corner] = []
    for k, (at, (dx, dy), ids) in enumerate(found):
        # corners of a piece about as far from two edges are all told from the same one
        told = next((c.second for c in out if c.piece.split(", ")[0] == ids[0]), "")
        first, second = _words(face, at, unit, grain_of(pieces[0].kind), told)
        spot = (float(at[0]), float(at[1]))
        outward = (dx * math.sqrt(0.5), dy * math.sqrt(0.5))
        out.append(Corner(letter(k), ", ".join(ids), spot, outward, first, second))
    return tuple(out)


def _extreme(ring: np.ndarray, diagonal: tuple[int, int]) -> np.ndarray:
    """The point of a ring that lies furthest out in a diagonal direction of its box."""
    size = np.maximum(np.ptp(ring, axis=0), 1e-9)
    return ring[np.argmax((ring / size) @ diagonal)]


def _extremes(ring: np.ndarray) -> list[np.ndarray]:
    return [_extreme(ring, diagonal) for diagonal in _DIAGONALS]


def letter(index: int) -> str:
    """The name of a point: A to Z without I and O, which read as figures, then A2, B2 ..."""
    letters = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    round_, place = divmod(index, len(letters))
    return letters[place] + (str(round_ + 1) if round_ else "")


def _words(
    face: Face, at: np.ndarray, unit: str, grain: Grain, told: str = ""
) -> tuple[str, str]:
    """Where a point lies; `told`: the words for a point beside it, whose edge is kept to."""
    from shapely import LineString, Point

    point = Point(at)
    edges = sorted(
        ((e.points_mm, f"the {edge_name(e.name)}") for e in face.edges),
        key=lambda row: (
            LineString(row[0]).distance(point) * (KEPT if told.endswith(row[1]) else 1.0)
        ),
    )
    if face.station_lines:
        station = min(face.station_lines, key=lambda s: LineString(s.points_mm).distance(point))
        first, base = _from_station(face, station, at, unit, grain), station.points_mm
    else:
        base, name = edges[0]
        first = _from_edge(base, at, name, unit, grain)
    for line, name in edges if face.station_lines else edges[1:]:
        if _crossing_deg(base, line, at) > CROSSING_DEG:
            return first, _from_edge(line, at, name, unit, grain)
    return first, ""


def _from_station(
    face: Face, station: StationLine, at: np.ndarray, unit: str, grain: Grain
) -> str:
    """Distance from a station line; the tip lies on the side to which the axis runs."""
    off = offset_mm(station.points_mm, at)
    if abs(off) < ON_EDGE_MM:
        return f"on {station.label}"
    root, tip = (offset_mm(station.points_mm, end) for end in face.axis_mm[[0, -1]])
    way = "tipward" if off * (tip - root) > 0 else "rootward"
    return f"{show_length(abs(off), unit, True, grain)} {way} of {station.label}"


def _from_edge(line: np.ndarray, at: np.ndarray, name: str, unit: str, grain: Grain) -> str:
    """Distance from an edge; the outline runs counter-clockwise, so the part is on the left."""
    off = offset_mm(line, at)
    if abs(off) < ON_EDGE_MM:
        return f"on {name}"
    shown = show_length(abs(off), unit, True, grain)
    return f"{shown} {'inside' if off > 0 else 'beyond'} {name}"


def edge_name(name: str) -> str:
    """An edge's name as a sentence says it: "leading edge", "hinge edge", "root"."""
    if "edge" in name.lower() or name.lower() in ("root", "tip"):
        return name
    return f"{name} edge"


def _crossing_deg(one: np.ndarray, other: np.ndarray, at: np.ndarray) -> float:
    """Angle between two lines where they come nearest to a point, 0 to 90."""
    turns = [math.degrees(math.atan2(*nearest(line, at)[1][::-1])) for line in (one, other)]
    turn = abs(turns[0] - turns[1]) % 180.0
    return min(turn, 180.0 - turn)
