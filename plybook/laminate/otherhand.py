"""The laminate of the opposite hand: the mirror image of one that is laid up.

Only one hand is ever laid up. Solvers settle ties by what rounding leaves, which is not the same
in a mirror; an image has every point where the other hand has it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.geometry.rings import canonical_ring
from plybook.laminate.model import (
    BreakJoint,
    JointSide,
    LaidLayer,
    Laminate,
    Mark,
    Piece,
    PieceEdge,
)
from plybook.laminate.outline import start_in
from plybook.laminate.summary import all_findings
from plybook.laminate.zones import zone_of
from plybook.spec.hand import mirror_image, opposite_deg
from plybook.spec.model import PartSpec
from plybook.surface import build_face
from plybook.surface.flat import FlatFace
from plybook.surface.model import Face

_SIDES = {"left side": "right side", "right side": "left side"}  # of a rod, seen along it


def left_image(spec: PartSpec) -> tuple[PartSpec, Face]:
    """A right-hand part as the left hand that is laid up for it, and its mould face."""
    left = mirror_image(spec)
    face = build_face(left)
    return left, replace(face, of_image=True) if isinstance(face, FlatFace) else face


def mirrored(laminate: Laminate, spec: PartSpec, face: Face) -> Laminate:
    """The laminate of one hand as that of the other.

    Args:
        laminate: of the mirror image of `spec`.
        spec: of the hand that is wanted.
        face: its mould face.

    Returns:
        Every shape turned round in y, on the pattern and on the part; every angle negated. What
        the rules say of the whole is asked anew, for they name angles.
    """
    layers = tuple(_layer(layer) for layer in laminate.layers)
    pieces = tuple(_piece(piece) for piece in laminate.pieces)
    by_id = {layer.id: layer for layer in layers}
    zones = tuple(
        zone_of(zone.label, [by_id[name] for name in zone.layers], _shape(zone.region), spec)
        for zone in laminate.zones
    )
    return replace(
        laminate,
        pieces=pieces,
        layers=layers,
        zones=zones,
        sections=tuple(replace(cut, line_mm=_points(cut.line_mm)) for cut in laminate.sections),
        centre_mm=_points(laminate.centre_mm),
        joints=tuple(_joint(joint) for joint in laminate.joints),
        findings=all_findings(spec, face, layers, pieces, zones, laminate.found_laying),
    )


def _points(points_mm: np.ndarray) -> np.ndarray:
    """Points of the pattern (..., 2) or of the part (..., 3), y turned round."""
    turned = np.array(points_mm, dtype=float)
    turned[..., 1] = -turned[..., 1] + 0.0
    return turned


def _line(points_mm: np.ndarray) -> np.ndarray:
    """A stretch of a ring, walked the other way so that the ring stays counter-clockwise."""
    return np.ascontiguousarray(_points(points_mm)[::-1])


def _shape(shape: BaseGeometry) -> BaseGeometry:
    return shapely.reverse(shapely.transform(shape, _points))


def _layer(layer: LaidLayer) -> LaidLayer:
    return replace(layer, angle_deg=opposite_deg(layer.angle_deg), region=_shape(layer.region))


def _piece(piece: Piece) -> Piece:
    outline = canonical_ring(_line(piece.outline_mm))
    edges = [_edge(edge) for edge in reversed(piece.edges)]
    bag = piece.bag_side_outline_mm
    return replace(
        piece,
        angle_deg=opposite_deg(piece.angle_deg),
        outline_mm=outline,
        holes_mm=_rings(piece.holes_mm),
        bag_side_outline_mm=None if bag is None else canonical_ring(_line(bag)),
        bag_side_holes_mm=_rings(piece.bag_side_holes_mm),
        laid_outline_mm=_line(piece.laid_outline_mm),
        laid_holes_mm=tuple(_line(hole) for hole in piece.laid_holes_mm),
        edges=tuple(sorted(edges, key=lambda edge: start_in(outline, edge.points_mm))),
        marks=tuple(Mark(mark.kind, _points(mark.points_mm), mark.label) for mark in piece.marks),
    )


def _rings(rings_mm: tuple[np.ndarray, ...]) -> tuple[np.ndarray, ...]:
    return tuple(canonical_ring(_line(ring)) for ring in rings_mm)


def _edge(edge: PieceEdge) -> PieceEdge:
    return replace(edge, name=_SIDES.get(edge.name, edge.name), points_mm=_line(edge.points_mm))


def _joint(joint: BreakJoint) -> BreakJoint:
    inner, outer = (_side(side) for side in joint.sides)
    return replace(joint, sides=(inner, outer))


def _side(side: JointSide) -> JointSide:
    return replace(
        side,
        line_mm=_points(side.line_mm),
        on_part_mm=_points(side.on_part_mm),
        beside_mm=_points(side.beside_mm),
        beside_on_part_mm=_points(side.beside_on_part_mm),
        meets_mm=None if side.meets_mm is None else _points(side.meets_mm),
    )
