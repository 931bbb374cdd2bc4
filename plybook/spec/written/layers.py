"""Layers, as written: from the mould face up, first laid first."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal, cast

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
from plybook.spec.quantities import (
    Count,
    FibreAngle,
    Length,
    LengthFromZero,
    LengthOverZero,
    Share,
    Wrong,
    angle_of,
    length_of,
)
from plybook.spec.reader import Fields, Items, Scalar
from plybook.spec.reading import reading
from plybook.spec.words import Flag, Id, Line, one_of
from plybook.spec.written.base import Written
from plybook.spec.written.mould import Point
from plybook.spec.written.regions import Region
from plybook.units import mm

# ---------------------------------------------------------------- splices and cut edges


@dataclass(frozen=True)
class Join:
    kind: Literal["butt", "overlap"]
    overlap_mm: float


def _join(raw: Any, info: ValidationInfo) -> Join:
    text = str(raw).strip() if isinstance(raw, Scalar) else ""
    if text == "butt":
        return Join("butt", 0.0)
    if match := re.fullmatch(r"overlap\s+(\S.*)", text):
        overlap = length_of(Scalar(match[1], raw.place), reading(info).units)
        if not 0 < overlap <= 500:
            raise Wrong(
                "out-of-range",
                f"{{key}}: an overlap of {mm(overlap):g}, "
                f"expected more than 0 and at most {mm(500):g}",
            )
        return Join("overlap", overlap)
    found = f"`{text[:40]}`" if isinstance(raw, Scalar) else "a mapping or a list"
    length = raw.get("overlap") if isinstance(raw, Fields) else None
    meant = f"`join: overlap {length}`" if isinstance(length, Scalar) else ""
    raise Wrong(
        "unknown-splice",
        f"{{key}}: expected a way to join cloth, found {found}",
        f"write {meant or '`join: butt` or `join: overlap 25`'}",
    )


JoinWord = Annotated[
    Join,
    PlainValidator(_join),
    WithJsonSchema({"type": "string", "pattern": "^(butt|overlap .+)$"}),
]


class Splice(Written):
    """How cloth wider than its roll is joined."""

    join: JoinWord = Field(description="`butt` or `overlap 25`: a declared choice.")
    stagger: LengthFromZero | None = Field(
        None, description="Least distance between splices of neighbouring layers."
    )
    narrowest: LengthFromZero | None = Field(None, description="No strip narrower than this.")
    keep_clear: list[Region] = Field([], description="No splice in these regions.")


def _splice(raw: Any) -> Any:
    """`splice: butt` is short for `splice: {join: butt}`."""
    if isinstance(raw, Scalar) and not raw.empty:
        made = Fields(raw.place)
        made["join"] = raw
        made.key_places["join"] = raw.place
        return made
    return raw


SpliceWord = Annotated[Splice, BeforeValidator(_splice)]


@dataclass(frozen=True)
class Cut:
    kind: Literal["square", "bevel", "scarf", "trim"]
    angle_deg: float | None
    wide_side: Literal["mould", "bag"]


def _cut(raw: Any, info: ValidationInfo) -> Cut:
    text = str(raw).strip() if isinstance(raw, Scalar) else ""
    match = re.fullmatch(
        r"(square|bevel|scarf|trim)(?:\s+(?!bag|mould)(.+?))?"
        r"(?:,?\s+(bag|mould) side)?",
        text,
    )
    if not match or (match[1] in ("square", "trim") and (match[2] or match[3])):
        raise Wrong(
            "unknown-cut",
            f"{{key}}: expected how the edge is cut, found `{text[:40]}`",
            f"{guess(text.partition(' ')[0], ('square', 'bevel', 'scarf', 'trim'))}"
            "write `square`, `bevel 45`, `scarf 20`, or `bevel 45, bag side` where the "
            "bag side keeps its full outline",
        )
    angle = None
    if match[2]:
        if ratio := re.fullmatch(r"1\s*:\s*(\d+(?:\.\d+)?)", match[2]):
            import math

            angle = math.degrees(math.atan2(1.0, float(ratio[1])))
        else:
            angle = angle_of(Scalar(match[2], raw.place), "an angle from the sheet")
        if not 1 <= angle < 90:
            raise Wrong(
                "out-of-range",
                f"{{key}}: {match[1]} {angle:g} deg, expected 1 to less "
                "than 90, measured from the sheet",
                "write `square` for a right angle",
            )
    return Cut(cast(Any, match[1]), angle, "bag" if match[3] == "bag" else "mould")


CutWord = Annotated[
    Cut,
    PlainValidator(_cut),
    WithJsonSchema({"type": "string", "pattern": "^(square|bevel|scarf|trim)"}),
]


# ---------------------------------------------------------------- layers


class Ends(Written):
    """Where the plies of a run end: in equal steps, the longest nearest the edge."""

    towards: Id = Field(description="The edge the run steps towards.")
    before: LengthFromZero | None = Field(
        None, description="The longest ply ends this far before that edge."
    )
    at: Length | None = Field(
        None, description="Or: the longest ply ends at this distance along the span."
    )
    step: LengthOverZero = Field(description="Each next ply ends this much sooner.")
    longest: one_of("first", "last") = Field(
        "first", description="first: the longest ply is laid first."
    )


def _one_or_many(raw: Any) -> Any:
    if isinstance(raw, Fields):
        made = Items(raw.place)
        made.append(raw)
        return made
    return raw


class PlyLayer(Written):
    """One ply of cloth."""

    ply: Id = Field(description="Id of the ply.")
    cloth: Id = Field(description="Which cloth.")
    angle: FibreAngle = Field(description="Of the warp, counter-clockwise from the axis.")
    region: Region | None = Field(None, description="Where it lies; whole when not said.")
    splice: SpliceWord | None = Field(None, description="Instead of the cloth's own rule.")
    turn_over: Flag = Field(False, description="May be cut face down, where both faces are alike.")
    drape: one_of("lay", "net") = Field(
        "lay", description="net: the pattern of a woven cloth pressed into double curvature."
    )
    darts: Flag = Field(False, description="Accept the darts that are proposed.")
    note: Line = Field("", description="Printed with the step.")


class GroupLayer(Written):
    """Several plies of one cloth by their laminate code."""

    plies: Line = Field(description='Laminate code, first laid first: "[0/±45/90]s".')
    as_: Id = Field(alias="as", description="Name of the group; its plies are name1, name2 ...")
    cloth: Id = Field(description="Which cloth.")
    region: Region | None = Field(None, description="Where they lie; whole when not said.")
    splice: SpliceWord | None = Field(None, description="Instead of the cloth's own rule.")
    turn_over: Flag = Field(False, description="May be cut face down, where both faces are alike.")
    drape: one_of("lay", "net") = Field("lay", description="As for a ply.")
    darts: Flag = Field(False, description="Accept the darts that are proposed.")
    note: Line = Field("", description="Printed with the steps.")


class RunLayer(Written):
    """A drop-off run: plies of one angle that end one after the other."""

    run: Id = Field(description="Name of the run; its plies are name1, name2 ...")
    cloth: Id = Field(description="Which cloth.")
    angle: FibreAngle = Field(description="Of the warp, counter-clockwise from the axis.")
    plies: Count = Field(description="How many.")
    ends: Annotated[list[Ends], BeforeValidator(_one_or_many)] = Field(
        description="Where they end; one mapping, or a list to step towards several edges."
    )
    region: Region | None = Field(None, description="Where the longest could lie.")
    splice: SpliceWord | None = Field(None, description="Instead of the cloth's own rule.")
    turn_over: Flag = Field(False, description="May be cut face down, where both faces are alike.")
    drape: one_of("lay", "net") = Field("lay", description="As for a ply.")
    darts: Flag = Field(False, description="Accept the darts that are proposed.")
    note: Line = Field("", description="Printed with the steps.")


class Seam(Written):
    """A joint between core panels."""

    at: Length | None = Field(None, description="Across the part, this far along the span.")
    share: Share | None = Field(None, description="Along the part at this share.")
    from_: Point | None = Field(None, alias="from", description="Or from this point ...")
    to: Point | None = Field(None, description="... to this one.")
    cut: CutWord | None = Field(None, description="`square` unless said.")
    id: Id | None = Field(None, description="Name; S1, S2 ... when not said.")


class SeamsToSuit(Written):
    """Seams placed by the tool so that every panel fits a sheet."""

    cut: CutWord | None = Field(None, description="How these seams are cut.")


def _seams(raw: Any) -> Any:
    if isinstance(raw, Scalar) and raw == "to suit the sheets":
        return Fields(raw.place)
    if isinstance(raw, Scalar) and not raw.empty:
        raise Wrong(
            "unknown-seams",
            f"{{key}}: expected seams, found `{raw[:40]}`",
            guess(raw, ("to suit the sheets",))
            + "write `to suit the sheets` or a list like [{at: 1300}]",
        )
    return raw


Seams = Annotated[
    Annotated[list[Seam], Tag("<list>")] | Annotated[SeamsToSuit, Tag("<suit>")],
    Discriminator(lambda raw: "<list>" if isinstance(raw, (Items, list)) else "<suit>"),
    BeforeValidator(_seams),
]


class CoreLayer(Written):
    """Core of sheet stock."""

    core: Id = Field(description="Id of the core.")
    sheet: Id = Field(description="Which core material.")
    region: Region | None = Field(None, description="Its mould-side outline.")
    edges: dict[str, CutWord] = Field(
        {},
        description="How each edge is cut; `all` for the rest, `holes` for openings. Edges are "
        "bevelled and openings square when not said.",
    )
    seams: Seams | None = Field(
        None, description="`to suit the sheets`, or a list. One panel when not said."
    )
    seam_cut: CutWord | None = Field(None, description="How seams are cut unless they say.")
    perforate: Flag = Field(True, description="Perforated so that air and resin pass.")
    note: Line = Field("", description="Printed with the step.")


class InsertLayer(Written):
    """A hard block let into a core."""

    insert: Id = Field(description="Id of the insert.")
    block: Id = Field(description="Which material.")
    in_: Id = Field(alias="in", description="The core it is let into.")
    region: Region = Field(description="Its outline.")
    clearance: LengthFromZero = Field(0.5, description="Gap to the core all round, mm.")
    thickness: LengthOverZero | None = Field(None, description="As the core when not said.")
    note: Line = Field("", description="Printed with the step.")


class RodLayer(Written):
    """Pultruded rods side by side along a line."""

    rod: Id = Field(description="Id of the row of rods.")
    bar: Id = Field(description="Which rod.")
    line: list[Point] = Field(description="From one point to another.")
    rows: Count = Field(1, description="How many side by side.")
    pitch: LengthFromZero = Field(0.0, description="Middle to middle; touching when not said.")
    lengths: list[LengthOverZero] = Field([], description="One for each row; all the line if not.")
    stack: list[LengthOverZero] = Field(
        [], description="Several layers one upon another, each of this length: name1, name2 ..."
    )
    note: Line = Field("", description="Printed with the step.")


class FilmLayer(Written):
    """Peel ply, adhesive film and the like."""

    film: Id = Field(description="Id of the layer.")
    of: Id = Field(description="Which consumable.")
    region: Region | None = Field(None, description="Where it lies; whole when not said.")
    removed_after: Id | None = Field(None, description="Stage after which it is peeled off.")
    note: Line = Field("", description="Printed with the step.")


KINDS: dict[str, type[Written]] = {
    "run": RunLayer,
    "ply": PlyLayer,
    "core": CoreLayer,
    "insert": InsertLayer,
    "rod": RodLayer,
    "film": FilmLayer,
    "plies": GroupLayer,
}


def _layer_kind(raw: Any) -> str | None:
    for key, model in KINDS.items():
        if isinstance(raw, model) or (isinstance(raw, Fields) and key in raw):
            return f"<{key}>"
    return None


def _layer(raw: Any) -> Any:
    if isinstance(raw, Fields) and _layer_kind(raw) is None:
        close = next(filter(None, (guess(key, KINDS) for key in raw)), "")
        raise Wrong(
            "unknown-layer",
            "this layer does not say what it is",
            f"{close}start it with one of: {', '.join(KINDS)}",
        )
    if isinstance(raw, Scalar) and not raw.empty or isinstance(raw, Items):
        raise Wrong(
            "wrong-kind",
            "{key}: expected a layer",
            "write it like {ply: P1, cloth: ..., angle: 45}",
        )
    return raw


Layer = Annotated[
    Annotated[PlyLayer, Tag("<ply>")]
    | Annotated[GroupLayer, Tag("<plies>")]
    | Annotated[RunLayer, Tag("<run>")]
    | Annotated[CoreLayer, Tag("<core>")]
    | Annotated[InsertLayer, Tag("<insert>")]
    | Annotated[RodLayer, Tag("<rod>")]
    | Annotated[FilmLayer, Tag("<film>")],
    Discriminator(_layer_kind),
    BeforeValidator(_layer),
]
