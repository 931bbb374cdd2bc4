"""One template for many: pieces that come out true from the template of another have none of their
own.

Such are pieces with the same outline, marks and edges within the tolerance, whichever way their
cloth runs; shorter pieces of a drop-off run, which end on a straight line across the template; and
all pieces of the opposite hand, for which the templates of the first are turned over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.endline import EndLine, end_line
from plybook.drawing.servedcard import SERVED_MM, Served
from plybook.drawing.tapeplan import mirrored_plan
from plybook.drawing.template import PieceDrawing
from plybook.laminate.model import Mark, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.write.ways import Chosen, choose, on_one_sheet

ALIKE_MM = 0.05  # two hands that differ by less are cut by one template
_LEAST_SHARE = 0.15  # of a template that a shorter piece takes up
_NEAR_END_MM = 8.0  # marks so near an end line may stop short of it


@dataclass(frozen=True)
class OtherHand:
    """The opposite hand that is built beside a part; `before`: its templates come first and serve
    both."""

    number: str
    pieces: tuple[Piece, ...]
    before: bool

    def mirrors(self, piece: Piece) -> Piece | None:
        """The piece of the other hand that is the mirror image of one, within what no one cuts."""
        twin = next((p for p in self.pieces if p.id == piece.id), None)
        if twin is None or not self.before or len(twin.holes_mm) != len(piece.holes_mm):
            return None
        own, theirs = (
            [cut_outline_mm(p), *sorted(p.holes_mm, key=lambda ring: float(ring[:, 0].min()))]
            for p in (piece, twin)
        )
        rings = ((shapely.LinearRing(a), shapely.LinearRing(b * (1.0, -1.0)))
                 for a, b in zip(own, theirs, strict=True))  # fmt: skip
        alike = all(shapely.hausdorff_distance(a, b) <= ALIKE_MM for a, b in rings)
        return twin if alike and twin.quantity == piece.quantity else None


def choose_all(
    drawings: Sequence[PieceDrawing], spec: PartSpec, other: OtherHand | None = None
) -> list[Chosen]:
    """By which template each piece is cut, in the order of the drawings.

    Args:
        drawings: of every piece.
        spec: ways and tolerances asked for.
        other: the opposite hand, where both are built together.
    """
    twins = [other.mirrors(d.piece) if other is not None else None for d in drawings]
    pairs = list(zip(drawings, twins, strict=True))
    own = [choose(drawing, spec) for drawing, twin in pairs if twin is None]
    theirs = [choose(_of_twin(drawing, twin), spec) for drawing, twin in pairs if twin]
    shared, mirrored = iter(with_shared(own, spec)), iter(with_shared(theirs, spec))
    return [
        next(shared) if twin is None or other is None
        else _turned(drawing, next(mirrored), other.number)
        for drawing, twin in pairs
    ]  # fmt: skip


def _of_twin(drawing: PieceDrawing, twin: Piece) -> PieceDrawing:
    """As much of the drawing of the other hand's piece as its way depends on: how large it is."""
    x0, y0, x1, y1 = on_one_sheet(drawing).window_mm
    bare = replace(drawing.bare, items=(), window_mm=(x0, -y1, x1, -y0))
    return replace(drawing, piece=twin, bare=bare)


def _turned(drawing: PieceDrawing, same: Chosen, number: str) -> Chosen:
    """A piece by what its twin of the other hand is cut by, turned over."""
    if same.way == "bar":
        return Chosen(drawing, "bar")
    plan = mirrored_plan(same.plan) if same.plan is not None else None
    served = same.served or Served("", same.piece.id)
    return Chosen(drawing, "served", plan, replace(served, part=number))


def with_shared(chosen: Sequence[Chosen], spec: PartSpec) -> list[Chosen]:
    """Pieces with the way each is cut by, where the template of one may serve others.

    Args:
        chosen: every piece with the way it would be cut by alone.
        spec: for tolerances and ways asked for.
    """
    made, templates = list(chosen), []
    for k in sorted(range(len(made)), key=lambda k: (-_length_cm(made[k].piece), k)):
        one = made[k]
        if one.way == "bar":
            continue
        by = next(_serving(templates, one, spec), None)
        if by is None:
            templates.append(one)
        else:
            made[k] = replace(one, way="served", plan=by[0].plan, served=by[1])
    return made


def _length_cm(piece: Piece) -> int:
    """The longest of a run comes first, of equal ones the one that is laid first."""
    return round(float(np.ptp(cut_outline_mm(piece), axis=0).max()) / 10.0)


def _serving(
    templates: Sequence[Chosen], one: Chosen, spec: PartSpec
) -> Iterator[tuple[Chosen, Served]]:
    """The templates that serve a piece too, where it is asked to take as little paper as it can."""
    piece = one.piece
    x0, y0, x1, y1 = one.printed.window_mm
    small = one.way == "whole" and (x1 - x0) * (y1 - y0) < 1.5 * math.prod(SERVED_MM)
    if small or spec.templates.way_of(piece.id, piece.layer, piece.material) != "least":
        return
    for template in templates:
        a, plan = template.piece, template.plan
        room = spec.templates.tolerance_of(piece.kind) - (plan.error_mm if plan else 0.0)
        if room <= 0.0 or not _cut_alike(a, piece):
            continue
        if _same_cut(a, piece, room):
            if _same_marks(a, piece, room):
                own_arrow = plan is None and not _same_angle(a, piece)
                yield template, Served("", a.id, own_arrow=own_arrow)
        elif (end := _end(template, piece, room)) is not None:
            yield template, Served("", a.id, end)


def _cut_alike(a: Piece, b: Piece) -> bool:
    """Whether the words on the edges and faces of one hold for the other."""
    edges = [
        sorted((e.name, e.treatment, e.angle_deg, e.wide_side, e.mate) for e in piece.edges)
        for piece in (a, b)
    ]
    flat = a.bag_side_outline_mm is None and b.bag_side_outline_mm is None
    return a.kind == b.kind and edges[0] == edges[1] and flat


def _same_angle(a: Piece, b: Piece) -> bool:
    return abs((a.angle_deg - b.angle_deg + 90.0) % 180.0 - 90.0) < 0.05


def _same_cut(a: Piece, b: Piece, room_mm: float) -> bool:
    """Whether outlines and holes lie on one another."""
    if len(a.holes_mm) != len(b.holes_mm):
        return False
    own, theirs = ([cut_outline_mm(p), *p.holes_mm] for p in (a, b))
    if np.abs(own[0].min(axis=0) - theirs[0].min(axis=0)).max() > room_mm:
        return False
    return all(
        shapely.hausdorff_distance(shapely.LinearRing(p), shapely.LinearRing(q), 0.1) <= room_mm
        for p, q in zip(own, theirs, strict=True)
    )


def _same_marks(a: Piece, b: Piece, room_mm: float) -> bool:
    """Whether the marks of one hold for the other, names and places."""
    names = [sorted((m.kind, m.label) for m in piece.marks) for piece in (a, b)]
    return (
        names[0] == names[1] and _on(a.marks, b.marks, room_mm) and _on(b.marks, a.marks, room_mm)
    )


def _on(some: Sequence[Mark], others: Sequence[Mark], room_mm: float) -> bool:
    """Whether each mark lies on one of the same name."""
    return all(
        any(
            (m.kind, m.label) == (o.kind, o.label)
            and shapely.distance(shapely.points(m.points_mm), _line(o)).max() <= room_mm
            for o in others
        )
        for m in some
    )


def _line(mark: Mark) -> BaseGeometry:
    points = np.asarray(mark.points_mm, float)
    return shapely.LineString(points) if len(points) > 1 else shapely.Point(points[0])


def _end(template: Chosen, b: Piece, room_mm: float) -> EndLine | None:
    """The line at which a shorter piece ends on a template. Where the next layer of the run ends
    on it may differ: its card tells that."""
    a, plan = template.piece, template.plan
    if plan is None or a.holes_mm or a.material != b.material or not _same_angle(a, b):
        return None
    if b.holes_mm or not _LEAST_SHARE * a.area_mm2 < b.area_mm2 < a.area_mm2:
        return None
    ring = cut_outline_mm(b)
    found = end_line(plan, cut_outline_mm(a), ring, room_mm)
    if found is None:
        return None
    inside = shapely.Polygon(ring).buffer(-_NEAR_END_MM)
    theirs, own = ([m for m in piece.marks if m.kind != "drop_line"] for piece in (a, b))
    held = [part for mark in theirs for part in _within(mark, inside)]
    return found if _on(own, theirs, room_mm) and _on(held, own, room_mm) else None


def _within(mark: Mark, inside: BaseGeometry) -> Iterator[Mark]:
    """The stretches of a mark in a region."""
    for part in shapely.get_parts(_line(mark).intersection(inside)):
        if not part.is_empty:
            yield replace(mark, points_mm=shapely.get_coordinates(part))
