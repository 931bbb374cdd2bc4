"""Marks on a piece: everything drawn on it that is not its cut.

Marks are found where the piece lies on the mould-face pattern and then carried into its cut
frame, so that a station line on a ply over core bends as the station does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from plybook.laminate.model import Mark
from plybook.laminate.outline import Carry
from plybook.laminate.shapes import (
    dense,
    extended,
    holes_of,
    inside_lines,
    polygons_of,
    ring_of,
    thin,
)
from plybook.laminate.trim import NetFace
from plybook.spec.model import Unit
from plybook.surface.model import Face
from plybook.units import show_length

STEP_MM = 12.0
SHORTEST_MM = 8.0  # a line shorter than this on a piece says nothing
TICK_MM = 15.0


@dataclass(frozen=True)
class MarkRule:
    """A line of the mould-face pattern that is drawn wherever it crosses a piece."""

    kind: str
    points_mm: np.ndarray
    label: str


def face_lines(face: Face, unit: Unit, past_mm: float) -> tuple[MarkRule, ...]:
    """Station lines and the reference axis, carried `past_mm` over the net line.

    A station reads "STN 1200": its distance from the root along the span, in the part's unit.
    """
    rules = [
        MarkRule(
            "station",
            extended(line.points_mm, past_mm, past_mm),
            f"STN {show_length(line.span_mm, unit)}",
        )
        for line in face.station_lines
    ]
    rules.append(MarkRule("axis", extended(face.axis_mm, past_mm, past_mm), "0°"))
    return tuple(rules)


def outline_rules(kind: str, label: str, region: BaseGeometry) -> tuple[MarkRule, ...]:
    """The outline of a region (a core panel, a zone) as lines to be drawn on other pieces."""
    return tuple(
        MarkRule(kind, np.vstack([ring, ring[:1]]), label)
        for polygon in polygons_of(region)
        for ring in (ring_of(polygon), *holes_of(polygon))
    )


def marks_on(
    laid: BaseGeometry,
    rules: Iterable[MarkRule],
    to_cut: Carry | None,
    chord_error_mm: float,
) -> list[Mark]:
    """The lines that cross a piece, clipped to it, in its cut frame.

    Args:
        laid: where the piece lies, pattern mm.
        rules: lines of the pattern.
        to_cut: map into the cut frame, None where the two are the same.
    """
    inner = laid.buffer(-0.05)  # a line along the very edge of a piece is the edge, not a mark
    found = []
    for rule in rules:
        line = shapely.linestrings(rule.points_mm)
        if not line.intersects(inner):
            continue
        for part in inside_lines(rule.points_mm, laid):
            if not shapely.linestrings(part).intersects(inner):
                continue
            if np.hypot(*np.diff(part, axis=0).T).sum() < SHORTEST_MM:
                continue
            found.append(_carried(Mark(rule.kind, part, rule.label), to_cut, chord_error_mm))
    return found


def _carried(mark: Mark, to_cut: Carry | None, chord_error_mm: float) -> Mark:
    points = mark.points_mm
    if to_cut is not None:
        points = np.asarray(to_cut(dense(points, STEP_MM)))
    return Mark(mark.kind, thin(points, chord_error_mm), mark.label)


def net_line_marks(plan: NetFace) -> tuple[MarkRule, ...]:
    """The stretches of the net line that lie inside a piece: where it is cut back after cure."""
    return tuple(
        MarkRule("net_line", edge.points_mm, f"net line, {edge.name}")
        for edge, trim in zip(plan.face.edges, plan.trims_mm, strict=True)
        if trim > 0
    )


def datum_mark(laid_corners: np.ndarray, cut_corners: np.ndarray, face: Face, unit: Unit) -> Mark:
    """The corner a piece is laid by: the one nearest the root and the first edge of the section.

    Args:
        laid_corners, cut_corners: (n, 2) the same corners on the mould face and on the cut piece.

    Returns:
        A one-point mark whose label gives the station and the distance from the first edge.
    """
    span, share = np.asarray(face.from_pattern(laid_corners)).T
    size = float(np.ptp(face.outline_mm, axis=0).max())
    pick = int(np.argmin(np.round(span / size, 4) + 0.02 * np.round(share, 4)))
    return Mark("datum", cut_corners[pick][None], _place_words(face, laid_corners[pick], unit))


def _place_words(face: Face, point: np.ndarray, unit: Unit) -> str:
    span = float(np.asarray(face.from_pattern(point[None]))[0, 0])
    at = shapely.points(point)
    inside = Polygon(face.outline_mm)
    gaps = [shapely.distance(at, shapely.linestrings(edge.points_mm)) for edge in face.edges]
    # the edges that run along the span: those that change station most
    runs = [
        abs(np.ptp(np.asarray(face.from_pattern(edge.points_mm[[0, -1]]))[:, 0]))
        for edge in face.edges
    ]
    along = [i for i, run in enumerate(runs) if run > 0.2 * max(runs)] or list(range(len(runs)))
    nearest = min(along, key=lambda i: round(gaps[i], 3))
    side = "inside" if inside.contains(at) else "outside"
    distance = show_length(gaps[nearest], unit)
    where = f"{distance} {side} {face.edges[nearest].name}" if gaps[nearest] > 0.05 else (
        f"on {face.edges[nearest].name}"
    )  # fmt: skip
    return f"STN {show_length(span, unit)}, {where}"


def tick(root: np.ndarray, inwards: np.ndarray, label: str, length_mm: float = TICK_MM) -> Mark:
    """A matching tick from the edge into the piece."""
    return Mark("tick", np.stack([root, root + inwards * length_mm]), label)
