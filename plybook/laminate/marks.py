"""Marks on a piece: everything drawn on it that is not its cut.

Marks are found where the piece lies on the mould-face pattern and then carried into its cut
frame, so that a station line on a ply over core bends as the station does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.geometry.offsets import offset_mm
from plybook.laminate.model import Mark
from plybook.laminate.outline import Carry, carried_lines
from plybook.laminate.shapes import (
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
from plybook.units import CLOTH, show_length

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

    A station reads "station 2 (1200 mm)": its name, and its distance along the span in the part's
    unit.
    """
    rules = [
        MarkRule(
            "station",
            extended(line.points_mm, past_mm, past_mm),
            f"{line.label} ({show_length(line.span_mm, unit)})",
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
            found.append(Mark(rule.kind, part, rule.label))
    lines = carried_lines([mark.points_mm for mark in found], to_cut)
    return [
        Mark(mark.kind, thin(line, chord_error_mm), mark.label)
        for mark, line in zip(found, lines, strict=True)
    ]


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
        A one-point mark whose label gives the span and the distance from the first edge.
    """
    ends = np.vstack([edge.points_mm[[0, -1]] for edge in face.edges])
    span, share = np.asarray(face.from_pattern(np.vstack([laid_corners, ends]))).T
    count = len(laid_corners)
    size = float(np.ptp(face.outline_mm, axis=0).max())
    pick = int(np.argmin(np.round(span[:count] / size, 4) + 0.02 * np.round(share[:count], 4)))
    runs = np.abs(np.diff(span[count:].reshape(-1, 2), axis=1))[:, 0]
    words = _place_words(face, laid_corners[pick], float(span[pick]), runs, unit)
    return Mark("datum", cut_corners[pick][None], words)


def _place_words(
    face: Face, point: np.ndarray, span_mm: float, runs_mm: np.ndarray, unit: Unit
) -> str:
    """Span and distance from the nearest edge that runs along the span; `runs_mm` is how far
    each edge of the face changes station."""
    at = shapely.points(point)
    gaps = shapely.distance(at, [shapely.linestrings(edge.points_mm) for edge in face.edges])
    along = np.flatnonzero(runs_mm > 0.2 * runs_mm.max())
    if not len(along):
        along = np.arange(len(runs_mm))
    nearest = int(along[np.argmin(np.round(gaps[along], 3))])
    name = face.edges[nearest].name
    off = offset_mm(face.edges[nearest].points_mm, point)  # the part lies on the left of its edges
    side = "inside" if off > 0 else "outside"
    away = show_length(abs(off), unit, grain=CLOTH)
    where = f"{away} {side} {name}" if abs(off) > 0.05 else f"on {name}"
    return f"span {show_length(span_mm, unit, grain=CLOTH)}, {where}"


def tick(root: np.ndarray, inwards: np.ndarray, label: str, length_mm: float = TICK_MM) -> Mark:
    """A matching tick from the edge into the piece."""
    return Mark("tick", np.stack([root, root + inwards * length_mm]), label)
