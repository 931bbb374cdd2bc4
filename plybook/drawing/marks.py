"""Marks on a piece: stations, axis, net line, folds, darts, drop lines, ticks and the datum.

Each kind has its own line and its own words; a mark's label is set beside it where there is room.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.labels import Block, Line, Placer, readable_deg
from plybook.drawing.letters import clean_text
from plybook.drawing.scene import Circle, Path, Primitive, Role
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.laminate.model import Mark, Piece

ROLES = {
    "station": Role.STATION,
    "axis": Role.AXIS,
    "net_line": Role.NET,
    "core_outline": Role.CORE_EDGE,
    "splice_line": Role.SPLICE,
    "tick": Role.TICK,
    "bevel_line": Role.BEVEL,
    "fold": Role.FOLD,
    "zone": Role.ZONE,
    "dart": Role.DART,
    "datum": Role.DATUM,
    "drop_line": Role.DROP,
}
WORDS = {  # said where a mark brings no label of its own
    "axis": "0° AXIS",
    "net_line": "NET LINE",
    "fold": "FOLD",
    "dart": "DART",
    "drop_line": "DROP-OFF",
    "core_outline": "CORE EDGE",
    "splice_line": "SPLICE",
}
_CLOSED = ("zone", "core_outline")


def draw_marks(piece: Piece, cut: BaseGeometry, place: Placer) -> list[Primitive]:
    """All marks of a piece with their words.

    Args:
        piece: whose marks.
        cut: its outline as a polygon.
        place: the book of taken room; marks and words are entered in it.
    """
    items: list[Primitive] = []
    for mark in piece.marks:
        points = np.asarray(mark.points_mm, dtype=float).reshape(-1, 2)
        if mark.kind == "datum":
            items += _datum_symbol(points[0])
            place.take(shapely.Point(points[0]).buffer(4.0))
        elif len(points) > 1:
            role = ROLES.get(mark.kind, Role.ZONE)
            closed = mark.kind in _CLOSED and len(points) > 2 and np.allclose(points[0], points[-1])
            items.append(Path(role, points[:-1] if closed else points, closed, tag=mark.label))
            if mark.kind in ("tick", "dart"):
                place.take(shapely.LineString(points).buffer(0.5))
    for mark in piece.marks:
        items += _words(mark, place)
    return items


def _datum_symbol(at: np.ndarray) -> list[Primitive]:
    """A circle with two black quarters, as a centre of reference is drawn."""
    x, y = (float(v) for v in at)
    items: list[Primitive] = [Circle(Role.DATUM, (x, y), 3.0)]
    for start in (0, 180):
        arc = np.radians(np.linspace(start, start + 90, 13))
        rim = np.column_stack([x + 3 * np.cos(arc), y + 3 * np.sin(arc)])
        items.append(Path(Role.DATUM, np.vstack([[(x, y)], rim]), True, "ink"))
    return items


def _words(mark: Mark, place: Placer) -> list[Primitive]:
    said = _said(mark)
    points = np.asarray(mark.points_mm, dtype=float).reshape(-1, 2)
    if not said:
        return []
    if mark.kind in ("datum", "tick"):
        return _around(mark, said, points, place)
    if len(points) < 2:
        return []
    return _along(mark, said, shapely.LineString(points), place)


def _said(mark: Mark) -> str:
    """A mark's own label, with the word for its kind where the label leaves it open."""
    label = clean_text(mark.label)
    if mark.kind == "datum":
        return label if "datum" in label.lower() else f"DATUM {label}".strip()
    if mark.kind == "axis" and label in ("", "0\u00b0"):
        return WORDS["axis"]
    return label or WORDS.get(mark.kind, "")


def _around(mark: Mark, said: str, points: np.ndarray, place: Placer) -> list[Primitive]:
    """Words close to a point: at the inner end of a tick, beside the datum."""
    tip = points[-1]
    heights = (LABEL_MM, NOTE_MM, 1.8) if mark.kind == "datum" else (5.0, LABEL_MM, NOTE_MM, 1.8)
    turns = np.linspace(0, 2 * math.pi, 48, endpoint=False)
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    for inside, height in [(i, h) for i in (True, False) for h in heights]:
        block = Block((Line(said, height, True, ROLES[mark.kind]),), pad_mm=0.4)
        half = np.array(block.size_mm) / 2
        tries, cost = [], []
        for out in (1.0, 2.5, 4.5, 7.0, 10.0, 14.0):
            reach = half + out + (3.0 if mark.kind == "datum" else 0.2)
            tries.append(tip + ways / np.max(np.abs(ways) / reach, axis=1)[:, None])
            cost.append(np.full(len(ways), out))
        spot = place.find(block.size_mm, np.vstack(tries), 0.0, np.concatenate(cost),
                          inside, soft_cost=8.0)  # fmt: skip
        if spot is not None:
            return list(place.put(block, spot))
    return []


def _along(mark: Mark, said: str, line: shapely.LineString, place: Placer) -> list[Primitive]:
    """Words along a line near its ends; twice where the line is long."""
    role = ROLES.get(mark.kind, Role.ZONE)
    shares = (0.04, 0.96) if line.length > 700.0 else (0.04,)
    if mark.kind in ("net_line", "zone", "core_outline"):
        shares = (0.35,)
    items: list[Primitive] = []
    for share in shares:
        for height in (LABEL_MM, NOTE_MM, 1.8):
            block = Block((Line(said, height, False, role),), pad_mm=0.4)
            w, h = block.size_mm
            if w > line.length:
                continue
            at = np.linspace(w / 2 + 0.5, max(w / 2 + 0.5, line.length - w / 2 - 0.5), 41)
            a = shapely.get_coordinates(line.interpolate(np.maximum(at - w / 2, 0)))
            b = shapely.get_coordinates(line.interpolate(np.minimum(at + w / 2, line.length)))
            step = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-9)[:, None]
            up = np.column_stack([-step[:, 1], step[:, 0]])
            turns = [readable_deg(t) for t in np.degrees(np.arctan2(step[:, 1], step[:, 0]))]
            on = shapely.get_coordinates(line.interpolate(at))
            centres = np.vstack([on + up * (h / 2 + 0.4), on - up * (h / 2 + 0.4)])
            cost = np.abs(at - share * line.length)
            spot = place.find(block.size_mm, centres, np.tile(turns, 2), np.tile(cost, 2),
                              soft_cost=40.0)  # fmt: skip
            if spot is not None:
                items += place.put(block, spot)
                break
        else:
            items += _beyond(said, role, line, share, place)
    return items


def _beyond(
    said: str, role: Role, line: shapely.LineString, share: float, place: Placer
) -> list[Primitive]:
    """Words outside the cut at the end of a line that is too short to carry them."""
    ends = np.array(line.coords)[:: -1 if share > 0.5 else 1]
    out = ends[0] - ends[1]
    out = out / max(np.hypot(*out), 1e-9)
    for height in (NOTE_MM, 1.8):
        block = Block((Line(said, height, False, role),), pad_mm=0.4)
        w, h = block.size_mm
        centres = [ends[0] + out * (reach + (h / 2 if abs(out[1]) > 0.7 else w / 2)) +
                   np.array([side, 0.0]) for reach in (2.0, 6.0, 10.0, 15.0)
                   for side in (0.0, -w / 2, w / 2)]  # fmt: skip
        cost = np.repeat([2.0, 6.0, 10.0, 15.0], 3)
        spot = place.find(block.size_mm, np.array(centres), 0.0, cost, inside=False)
        if spot is not None:
            return list(place.put(block, spot))
    return []
