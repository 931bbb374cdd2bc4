"""Regions of the face, as written.

Every key of a region narrows it: `{span: [0, 900], share: [0.2, 0.6]}` is what both have in
common. `together` adds up, `less` takes away.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, PlainValidator, ValidationInfo, WithJsonSchema

from plybook.spec.model import FAR_MM
from plybook.spec.quantities import Angle, Length, LengthFromZero, LengthOverZero, Wrong, length_of
from plybook.spec.reader import Fields, Items, Scalar
from plybook.spec.reading import reading
from plybook.spec.words import Id, one_of
from plybook.spec.written.base import Written
from plybook.spec.written.mould import Point, ShareRange
from plybook.units import bare_mm, mm


def _span(raw: Any, info: ValidationInfo) -> tuple[float, float]:
    if not isinstance(raw, Items) or len(raw) != 2:
        raise Wrong("not-a-range", "{key}: expected two lengths", "write it like [0, 900]")
    low = -FAR_MM if raw[0] == "root" else length_of(raw[0], reading(info).units)
    high = FAR_MM if raw[1] == "tip" else length_of(raw[1], reading(info).units)
    if low >= high:
        raise Wrong(
            "out-of-range",
            f"{{key}} runs from {bare_mm(low):g} to {mm(high):g}, expected the smaller first",
        )
    return low, high


SpanRange = Annotated[
    tuple[float, float],
    PlainValidator(_span),
    WithJsonSchema({"type": "array", "minItems": 2, "maxItems": 2}),
]


def _distance(raw: Any, info: ValidationInfo) -> tuple[float, float]:
    """80 is 0 to 80; [20, 80] is itself."""
    if isinstance(raw, Items):
        return _span(raw, info)
    value = length_of(raw, reading(info).units)
    if value <= 0:
        raise Wrong("out-of-range", f"{{key}} is {raw}, expected more than 0")
    return 0.0, value


Distance = Annotated[
    tuple[float, float],
    PlainValidator(_distance),
    WithJsonSchema({"anyOf": [{"type": "number"}, {"type": "string"}, {"type": "array"}]}),
]


class PatchShape(Written):
    """A rectangle or ellipse at a point."""

    at: Point = Field(description="Its middle.")
    size: list[LengthOverZero] = Field(description="Length along 0 degrees, then width.")
    turn: Angle = Field(0.0, description="Turned counter-clockwise by this.")
    corner: LengthFromZero = Field(0.0, description="Corner radius.")
    shape: one_of("rectangle", "ellipse") = Field("rectangle", description="Its form.")


class StripShape(Written):
    """A strip along a line of points."""

    line: list[Point] = Field(description="Points the middle of the strip runs through.")
    width: LengthOverZero = Field(description="Full width, half to each side.")


class AroundShape(Written):
    """Everything within a distance of another layer."""

    layer: Id = Field(description="The other layer.")
    by: Length = Field(description="How far beyond it; negative draws in.")


def _inset(raw: Any) -> Any:
    """`inset: 25` means every edge."""
    if isinstance(raw, Scalar):
        made = Fields(raw.place)
        made["all"] = raw
        made.key_places["all"] = raw.place
        return made
    return raw


def _whole(raw: Any) -> Any:
    if isinstance(raw, Scalar) and not raw.empty:
        if raw != "whole":
            raise Wrong(
                "unknown-region",
                f"{{key}}: `{raw[:40]}` is no region",
                "write `whole`, or a mapping like {span: [0, 900]}",
            )
        return Fields(raw.place)
    return raw


class RegionKeys(Written):
    """Part of the face. Every key narrows it further."""

    span: SpanRange | None = Field(None, description="Between two distances along the span.")
    share: ShareRange | None = Field(None, description="Between two shares of the section.")
    near: dict[str, Distance] | None = Field(
        None, description="Within a distance of an edge, or between two distances."
    )
    inset: Annotated[dict[str, Length], BeforeValidator(_inset)] | None = Field(
        None, description="Drawn in from edges, each by its own distance; `all` for the rest."
    )
    around: AroundShape | None = Field(None, description="Another layer plus a margin.")
    strip: StripShape | None = Field(None, description="A strip along a line.")
    patch: PatchShape | None = Field(None, description="A rectangle or ellipse at a point.")
    polygon: list[Point] | None = Field(None, description="Corner points.")
    together: list[Region] | None = Field(None, description="All of these added up.")
    less: list[Region] | None = Field(None, description="Without these.")


Region = Annotated[RegionKeys, BeforeValidator(_whole)]
RegionKeys.model_rebuild()
