"""The part and its mould face, as written."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import (
    BeforeValidator,
    Discriminator,
    Field,
    PlainValidator,
    Tag,
    ValidationInfo,
    WithJsonSchema,
)

from plybook.spec.meant import guess
from plybook.spec.naca import code_fault
from plybook.spec.quantities import (
    Angle,
    EdgeWidth,
    Length,
    LengthFromZero,
    LengthOverZero,
    Share,
    Wrong,
    length_of,
    number_of,
)
from plybook.spec.reader import Fields, Items, Scalar
from plybook.spec.reading import reading
from plybook.spec.words import Date, Id, Line, Paragraph, one_of
from plybook.spec.written.base import Written
from plybook.units import mm


class Part(Written):
    """What the part is called and who answers for it."""

    number: Id = Field(description="Part number; names the output folder and every template.")
    name: Line = Field(description="What the part is, in a few words.")
    revision: Line = Field("A", description="Revision of this spec; printed on every template.")
    date: Date = Field(description="Date of the revision; the only date that is printed.")
    hand: one_of("left", "right", "none") = Field(
        "none", description="Which side of the aeroplane; none where left and right are alike."
    )
    other_hand: Id | None = Field(
        None, description="Part number of the opposite hand, when it is wanted too."
    )
    units: one_of("mm", "in") = Field(description="Unit of every bare length in this file.")
    designer: Line = Field("", description="Who designed the laminate.")
    drawn_by: Line = Field("", description="Who wrote this spec.")
    approved_by: Line = Field("", description="Who approved it.")
    owner: Line = Field("", description="Legal owner, for the title block.")
    notes: list[Paragraph] = Field([], description="Printed on the cover of the book.")


# ---------------------------------------------------------------- points


class FacePoint(Written):
    """A point of the face by its place along the span and its share of the section."""

    span: Length = Field(description="Distance from the root.")
    share: Share = Field(description="Share of the chord, 0 leading edge to 1 trailing edge.")


def _found(raw: Any) -> str:
    if isinstance(raw, Items):
        return f"a list of {len(raw)}"
    return f"`{str(raw)[:40]}`" if isinstance(raw, Scalar) else "a mapping"


def _xy(raw: Any, info: ValidationInfo) -> tuple[float, float]:
    if not isinstance(raw, Items) or len(raw) != 2:
        raise Wrong(
            "not-a-point",
            f"{{key}}: expected a point, found {_found(raw)}",
            "write it as [x, y], or on a lofted face as {span: 600, share: 0.3}; a round hole is "
            "{circle: [x, y], diameter: 80}",
        )
    values = tuple(length_of(item, reading(info).units, "a length") for item in raw)
    for value in values:
        if abs(value) > reading(info).limits["part-mm"]:
            raise Wrong(
                "out-of-range",
                f"{{key}}: a coordinate of {mm(value):g} is out of range",
                reading(info).limits.why("part-mm"),
            )
        if value and abs(value) < reading(info).limits["least-mm"]:
            raise Wrong(
                "out-of-range",
                f"{{key}}: a coordinate of {mm(value):g} is out of range",
                reading(info).limits.why("least-mm"),
            )
    return values[0], values[1]


_PAIR = {"type": "array", "minItems": 2, "maxItems": 2}
XY = Annotated[tuple[float, float], PlainValidator(_xy), WithJsonSchema(_PAIR)]
Point = Annotated[
    Annotated[FacePoint, Tag("<span>")] | Annotated[XY, Tag("<xy>")],
    Discriminator(lambda raw: "<span>" if isinstance(raw, (Fields, FacePoint)) else "<xy>"),
]


# ---------------------------------------------------------------- sections


class SectionFile(Written):
    """A coordinate file, in either common ordering."""

    file: Line = Field(description="Path from the spec's folder.")


class Channel(Written):
    """An open section given by its corners, in mm or inch, not scaled by a chord."""

    channel: list[XY] = Field(description="Corner points in the section plane, [aft, up].")
    radius: LengthFromZero | None = Field(None, description="Radius of every inner corner.")
    radii: list[LengthFromZero] | None = Field(None, description="One radius for each corner.")


def _naca(raw: Any, info: ValidationInfo) -> str:
    text = str(raw).strip().lower()
    match = re.fullmatch(r"naca[\s-]*([0-9]{1,20})(\s+sharp)?", text)
    if not match:
        series = "\n" not in text and re.match(r"naca[\s-]*[0-9]", text)
        raise Wrong(
            "unknown-section",
            f"{{key}}: only NACA sections of four and five digits are known, found `{text[:40]}`"
            if series
            else f"{{key}}: expected a section, found `{text[:40]}`",
            "put the coordinates in a file: {file: name.dat}"
            if series
            else f"{guess(text.partition(' ')[0], ('naca',))}"
            "write `naca 2412`, `naca 23012`, {file: name.dat} or {channel: [[0, 0], ...]}",
        )
    if fault := code_fault(match[1]):
        raise Wrong(
            "unknown-section",
            f"{{key}}: NACA {match[1]} {fault}",
            "write for example `naca 2412` or `naca 23012`, or put the coordinates in a file: "
            "{file: name.dat}",
        )
    return match[1] + (" sharp" if match[2] else "")


Naca = Annotated[
    str,
    PlainValidator(_naca),
    WithJsonSchema({"type": "string", "pattern": r"^naca \d{4,5}( sharp)?$"}),
]


def _section_kind(raw: Any) -> str:
    if isinstance(raw, Fields):
        return "<channel>" if "channel" in raw or "file" not in raw else "<file>"
    if isinstance(raw, SectionFile):
        return "<file>"
    return "<channel>" if isinstance(raw, Channel) else "<naca>"


Section = Annotated[
    Annotated[Naca, Tag("<naca>")]
    | Annotated[SectionFile, Tag("<file>")]
    | Annotated[Channel, Tag("<channel>")],
    Discriminator(_section_kind),
]


class Station(Written):
    """One section of the mould."""

    at: Length = Field(description="Distance along the span from the root.")
    chord: LengthOverZero | None = Field(None, description="Chord; not for a channel.")
    section: Section = Field(description="`naca 2412`, `naca 23012`, {file: ...}, {channel: ...}.")
    sweep: Length = Field(0.0, description="How far the leading edge lies aft of the root's.")
    rise: Length = Field(0.0, description="How far it lies above the root.")
    twist: Angle = Field(0.0, description="Nose up is positive.")
    twist_about: Share = Field(0.25, description="Share of the chord the twist turns about.")


class EdgeNames(Written):
    """Names of the four edges of a lofted face."""

    first: Id | None = Field(None, description="The edge at share 0.")
    last: Id | None = Field(None, description="The edge at share 1.")
    root: Id = Field("root", description="The edge at the first station.")
    tip: Id = Field("tip", description="The edge at the last station.")


def _cover(raw: Any, info: ValidationInfo) -> tuple[float, float]:
    if not isinstance(raw, Items) or len(raw) != 2:
        raise Wrong("not-a-range", "{key}: expected two shares", "write it like [0, 1]")
    low, high = (number_of(item, "a share from 0 to 1") for item in raw)
    if not 0 <= low < high <= 1:
        percent = f"for {low:g} to {high:g} % write [{low / 100:g}, {high / 100:g}]"
        raise Wrong(
            "out-of-range",
            f"{{key}} runs from {low:g} to {high:g}, expected two shares "
            "from 0 to 1, the smaller first",
            percent if 0 <= low < high <= 100 else "",
        )
    return low, high


ShareRange = Annotated[tuple[float, float], PlainValidator(_cover), WithJsonSchema(_PAIR)]


class LoftedMould(Written):
    """A face lofted through stations."""

    form: one_of("female", "male") = Field(
        "female", description="female: laid inside the mould; male: laid over it."
    )
    side: one_of("upper", "lower", "all") | None = Field(
        None, description="Which side of the section this is; a channel is taken whole."
    )
    cover: ShareRange = Field((0.0, 1.0), description="The share of the section that is covered.")
    loft: one_of("ruled", "smooth") = Field(
        description="ruled: straight lines between stations; smooth: a spline through them. They "
        "differ by centimetres, so it must be said."
    )
    stations: list[Station] = Field(description="From root to tip.")
    edge_names: EdgeNames = Field(
        EdgeNames.model_construct(), description="Own names for the edges."
    )
    accept_kinks: list[Length] = Field(
        [], description="Stations where cloth is laid over a kink instead of being spliced there."
    )


# ---------------------------------------------------------------- flat outlines


class ArcTo(Written):
    """An arc to a point: through another point, or with a radius and the way it turns."""

    arc_to: XY = Field(description="Where the arc ends.")
    through: XY | None = Field(None, description="A point the arc passes through.")
    radius: LengthOverZero | None = Field(None, description="Radius, with `turn`.")
    turn: one_of("left", "right") | None = Field(None, description="Which way it turns.")
    edge: Id | None = Field(None, description="Name of this side.")


class LineTo(Written):
    """A straight side to a point."""

    to: XY = Field(description="Where the side ends.")
    corner: LengthFromZero | None = Field(None, description="Radius of the corner at that point.")
    edge: Id | None = Field(None, description="Name of the side that ends here.")


def _step_kind(raw: Any) -> str:
    if isinstance(raw, Fields):
        return "<arc>" if "arc_to" in raw else "<to>"
    if isinstance(raw, ArcTo):
        return "<arc>"
    return "<to>" if isinstance(raw, LineTo) else "<xy>"


OutlineStep = Annotated[
    Annotated[XY, Tag("<xy>")] | Annotated[LineTo, Tag("<to>")] | Annotated[ArcTo, Tag("<arc>")],
    Discriminator(_step_kind),
]


class Circle(Written):
    """A round hole."""

    circle: XY = Field(description="Centre.")
    diameter: LengthOverZero = Field(description="Diameter.")


def _hole(raw: Any) -> Any:
    """Refuse figures in a row, which would be taken for points."""
    if isinstance(raw, Items) and raw and all(isinstance(one, Scalar) for one in raw):
        figures = [str(one) for one in raw]
        found = f"a list of {len(raw)} figures" if len(raw) > 1 else "a list of one figure"
        raise Wrong(
            "wrong-hole",
            f"{{key}}: expected a hole, found {found}",
            "for a round one write {{circle: [{}, {}], diameter: {}}}".format(*figures)
            if len(raw) == 3
            else "a hole is {circle: [x, y], diameter: 80} or a list of points [x, y]",
        )
    return raw


Hole = Annotated[
    Annotated[Circle, Tag("<circle>")] | Annotated[list[OutlineStep], Tag("<outline>")],
    Discriminator(lambda raw: "<circle>" if isinstance(raw, (Fields, Circle)) else "<outline>"),
    BeforeValidator(_hole),
]


class FlatMould(Written):
    """A flat face by its outline, walked either way round."""

    outline: list[OutlineStep] = Field(description="Corner points, sides and arcs, in order.")
    corners: LengthFromZero = Field(0.0, description="Radius of every corner not given its own.")
    holes: list[Hole] = Field([], description="Openings.")


class DrawnMould(Written):
    """A flat face read from a layer of a DXF file."""

    dxf: Line = Field(description="Path of the DXF file from the spec's folder.")
    layer: Line = Field(description="Layer with the outline and, inside it, the holes.")
    dxf_units: one_of("mm", "cm", "m", "in", "ft") | None = Field(
        None, description="Unit of the drawing, where the file does not say."
    )
    edges: dict[str, list[XY]] = Field(
        {}, description="Names for sides: from which corner to which, counter-clockwise."
    )


class ListedMould(Written):
    """A flat face by a table of points in a CSV file."""

    csv: Line = Field(description="Path of the CSV file from the spec's folder.")
    csv_units: one_of("mm", "cm", "m", "in", "ft") | None = Field(
        None, description="Unit of its coordinates, where its first row does not say."
    )
    holes: list[Hole] = Field([], description="Openings.")
    edges: dict[str, list[XY]] = Field(
        {}, description="Names for sides: from which point to which, counter-clockwise."
    )


_KINDS = {"outline": "<flat>", "dxf": "<drawn>", "csv": "<listed>"}  # by the key that tells them


def _mould_kind(raw: Any) -> str:
    if isinstance(raw, Fields):
        return next((kind for key, kind in _KINDS.items() if key in raw), "<lofted>")
    kinds = ((FlatMould, "<flat>"), (DrawnMould, "<drawn>"), (ListedMould, "<listed>"))
    return next((kind for model, kind in kinds if isinstance(raw, model)), "<lofted>")


Mould = Annotated[
    Annotated[LoftedMould, Tag("<lofted>")]
    | Annotated[FlatMould, Tag("<flat>")]
    | Annotated[DrawnMould, Tag("<drawn>")]
    | Annotated[ListedMould, Tag("<listed>")],
    Discriminator(_mould_kind),
]


class Axis(Written):
    """Where 0 degrees runs."""

    share: Share | None = Field(None, description="Along this constant share of the chord.")
    from_: Point | None = Field(None, alias="from", description="Or from this point ...")
    to: Point | None = Field(None, description="... to this one.")


class Edge(Written):
    """What lies beyond the net line at one edge."""

    trim: EdgeWidth | None = Field(
        None, description="How far the cloth runs on, cut off after cure."
    )
    flange: EdgeWidth = Field(0.0, description="Width of the mould's flange there.")
