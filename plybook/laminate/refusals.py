"""What is said of a layer that cannot be laid as asked: its place, the cause and the edit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, GeometryError, PlybookError, error, warning
from plybook.laminate.heights import HeightField
from plybook.laminate.model import Piece
from plybook.laminate.raising import LeafMaps
from plybook.laminate.regions import Regions
from plybook.spec.model import Core, Layer
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.units import marked, mm

_BLAMED_MM = 60.0  # an edge of a layer below that lies nearer to a fold is taken for its cause
_THICK_MM = 1.0  # thinner layers have no edge to speak of
AT_PLACE_MM = 2.0  # of a layer: what lies there is said of it


def placed(finding: Finding, layer: Layer) -> Finding:
    """The finding with the layer's place and name where it has none."""
    return replace(
        finding,
        places=finding.places or (layer.place,),
        layers=finding.layers or (layer.id,),
    )


def refused(refusal: PlybookError, layer: Layer, field: HeightField) -> Iterator[Finding]:
    """The findings of a layer that was refused over a height field, with what is to blame."""
    at = getattr(refusal, "at_mm", None)
    edge = "" if at is None else _edge_at(at, field)
    for finding in refusal.findings:
        yield placed(replace(finding, message=marked(finding.message) + edge), layer)


def _edge_at(at_mm: np.ndarray, field: HeightField) -> str:
    """Words for the edge of a thick layer beside a point, "" where there is none."""
    spot = shapely.Point(at_mm)
    near = {
        rise.layer: spot.distance(rise.region.boundary)
        for rise in field.rises
        if abs(rise.thickness_mm) >= _THICK_MM
    }
    layer = min(near, key=lambda name: near[name], default="")
    return f", by the edge of {layer}" if layer and near[layer] < _BLAMED_MM else ""


def tangled(what: str, at_mm: np.ndarray, face: Face) -> Finding:
    """The finding for a shape that cannot be cut because its outline meets itself."""
    return error(
        "outline-tangled",
        f"{what} would have an outline that crosses itself where it is laid flat, at "
        f"{place_words(at_mm, face)}",
        "draw its region in a little, or end it at a station or away from the core's edge",
    )


def tangled_layer(layer: Layer, region: BaseGeometry, face: Face) -> Finding:
    """The same of a layer in which no piece could be told."""
    spot = region.representative_point()
    return tangled(f"layer {layer.id}", np.array([spot.x, spot.y]), face)


def tangled_pieces(pieces: tuple[Piece, ...], face: Face) -> Iterator[Finding]:
    """The same of each piece whose cut outline is not sound."""
    for piece in pieces:
        shape = shapely.Polygon(piece.outline_mm, piece.holes_mm)
        if not shape.is_valid:
            yield tangled(f"piece {piece.id}", _laid_at(piece, shape), face)


def _laid_at(piece: Piece, shape: shapely.Polygon) -> np.ndarray:
    """Where the place at which a cut outline is unsound lies on the part: the point of the laid
    outline that is as far along it."""
    reason = shapely.is_valid_reason(shape)
    words = reason[reason.find("[") + 1 : reason.find("]")].split()
    ring, laid = (shapely.LinearRing(r) for r in (piece.outline_mm, piece.laid_outline_mm))
    along = 0.0
    if len(words) == 2:
        along = ring.project(shapely.Point(*map(float, words)), normalized=True)
    return np.asarray(laid.interpolate(along, normalized=True).coords[0])


def not_at_its_middle(core: Core, refusal: GeometryError) -> Finding:
    """A core that bends about its mould side, because it is too thick for the bend."""
    return warning(
        "core-bends-too-tight",
        f"core {core.id} is too thick for the bend of the face under it; its panels are developed "
        f"on its mould side ({marked(refusal.findings[0].message)})",
        "end the core before the tight bend, or build it up of thinner sheets",
        core.place,
        layers=(core.id,),
    )


def bends_bridged(layer: Layer, views: Sequence[Regions], maps: LeafMaps) -> Iterator[Finding]:
    """Hollows so tight that a layer does not follow them over what fills them, leaf by leaf."""
    for view, one in zip(views, maps.maps, strict=False):
        bridged = one.bridged
        if bridged is None:
            continue
        if view.of_layer(layer.id).distance(shapely.Point(bridged.at_mm)) > AT_PLACE_MM:
            continue
        yield warning(
            "bend-bridged",
            f"{layer.id} bridges the bend of radius {mm(bridged.radius_mm):.1f} at "
            f"{place_words(bridged.at_mm, view.face)}: what lies below it has filled it",
            "fill the bend with thickened resin before the cloth goes over it, or end layers "
            "before it",
            layer.place,
            layers=(layer.id,),
        )


def too_steep(layer: Layer, maps: LeafMaps) -> Finding:
    """Steps that a layer's pattern does not follow."""
    return warning(
        "steps-not-followed",
        f"the pattern of {layer.id} does not follow the steps at {', '.join(maps.left_out)}, "
        f"{mm(maps.left_out_mm):.1f} high together: cloth that goes down both sides of them is up "
        f"to {mm(2 * maps.left_out_mm):.0f} short",
        "fillet the steps, and cut it with that much more at one edge",
        layer.place,
        layers=(layer.id, *maps.left_out),
    )
