"""The opposite hand of a part.

Seen from the bag side, the opposite hand is the mirror image: a fibre angle becomes its negative
(0 and 90 stay), and whatever was given by its own coordinates in the pattern frame has its y
turned round. Stations need no change, the hand itself says on which side they stand.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.spec.model import (
    Around,
    Axis,
    BetweenPoints,
    Common,
    Core,
    EdgeBand,
    EdgeRule,
    Hand,
    Inset,
    Layer,
    Less,
    OnPattern,
    OutlineMould,
    PartSpec,
    Patch,
    Ply,
    PointLine,
    PointRef,
    Polygon,
    Region,
    Rod,
    ShareBand,
    SpanBand,
    SpliceRule,
    Strip,
    Union,
    Whole,
)

_OTHER: dict[Hand, Hand] = {"left": "right", "right": "left"}


def other_hand(spec: PartSpec) -> PartSpec:
    """The opposite hand: number `spec.part.other_hand`, hand and angles turned round.

    Applied twice it gives the first spec back.

    Raises:
        SpecError: the part has no hand or no number for the other one.
    """
    if spec.part.hand not in _OTHER or not spec.part.other_hand:
        raise SpecError(
            error(
                "no-hand",
                "the part has no other hand",
                "add `hand` and `other_hand`",
                spec.part.place,
            )
        )
    named = replace(spec.part, number=spec.part.other_hand, other_hand=spec.part.number)
    return mirror_image(replace(spec, part=named))


def mirror_image(spec: PartSpec) -> PartSpec:
    """A left- or right-hand spec as that of the opposite hand, its numbers as they are."""
    part = replace(spec.part, hand=_OTHER[spec.part.hand])
    mould = _outline(spec.mould) if isinstance(spec.mould, OutlineMould) else spec.mould
    edges: tuple[EdgeRule, ...] = spec.edges
    return replace(
        spec,
        part=part,
        mould=mould,
        axis=_axis(spec.axis),
        edges=edges,
        layers=tuple(_layer(layer) for layer in spec.layers),
    )


def opposite_deg(angle_deg: float) -> float:
    """A fibre angle on the opposite hand: its negative; 90 and -90 are one direction and stay."""
    return angle_deg if abs(angle_deg) == 90 else -angle_deg + 0.0


def _point(point: PointRef) -> PointRef:
    return OnPattern(point.x_mm, -point.y_mm + 0.0) if isinstance(point, OnPattern) else point


def _points(points):
    return tuple(_point(p) for p in points)


def _axis(axis: Axis) -> Axis:
    if isinstance(axis, BetweenPoints):
        return BetweenPoints(_point(axis.start), _point(axis.end))
    return axis


def _outline(mould: OutlineMould) -> OutlineMould:
    """Mirrored in y; walked the other way so that it stays counter-clockwise."""
    n = len(mould.ring_mm)
    ring = (mould.ring_mm * [1, -1])[::-1] + 0.0
    holes = tuple((hole * [1, -1])[::-1] + 0.0 for hole in mould.holes_mm)
    edges = tuple(
        (name, (n - 1 - last) % n, (n - 1 - first) % n)
        for name, first, last in reversed(mould.edges)
    )
    return replace(mould, ring_mm=np.ascontiguousarray(ring), holes_mm=holes, edges=edges)


def _region(region: Region) -> Region:
    match region:
        case Strip():
            return replace(region, line=_points(region.line))
        case Patch():
            return replace(region, at=_point(region.at), turn_deg=-region.turn_deg + 0.0)
        case Polygon():
            return replace(region, points=_points(region.points))
        case Union() | Common():
            return replace(region, items=tuple(_region(one) for one in region.items))
        case Less():
            return Less(_region(region.base), tuple(_region(one) for one in region.less))
        case Whole() | SpanBand() | ShareBand() | EdgeBand() | Inset() | Around():
            return region  # by edges and layers, which have their names on either hand
    raise TypeError(f"{type(region).__name__} has no opposite hand")


def _splice(rule: SpliceRule | None) -> SpliceRule | None:
    if rule is None:
        return None
    return replace(rule, keep_clear=tuple(_region(one) for one in rule.keep_clear))


def _layer(layer: Layer) -> Layer:
    layer = replace(layer, region=_region(layer.region))
    match layer:
        case Ply():
            return replace(
                layer, angle_deg=opposite_deg(layer.angle_deg), splice=_splice(layer.splice)
            )
        case Core():
            seams = tuple(
                replace(s, line=PointLine(_point(s.line.start), _point(s.line.end)))
                if isinstance(s.line, PointLine)
                else s
                for s in layer.seams
            )
            return replace(layer, seams=seams)
        case Rod():
            first: Literal["left", "right"] = "right" if layer.first == "left" else "left"
            return replace(layer, line=_points(layer.line), first=first)
    return layer
