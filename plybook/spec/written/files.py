"""The two kinds of file, as written: a part spec, and a file meant to be included."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, PlainValidator, WithJsonSchema

from plybook.spec.quantities import Wrong
from plybook.spec.reader import VERSION, Items, Scalar
from plybook.spec.words import Line, one_of
from plybook.spec.written.base import Written
from plybook.spec.written.layers import Layer
from plybook.spec.written.materials import MaterialShelf, StockEntry
from plybook.spec.written.mould import Axis, Edge, Mould, Part
from plybook.spec.written.process import (
    Accepted,
    Choices,
    CuttingRules,
    JigCheckEntry,
    SamplesMade,
    Stage,
    TemplateChoices,
    WorkshopFigures,
)
from plybook.spec.written.regions import Region


def _as_list(raw):
    if isinstance(raw, Scalar) and not raw.empty:
        made = Items(raw.place)
        made.append(raw)
        return made
    return raw


def _version(raw, info) -> str:
    if raw != VERSION:
        raise Wrong("wrong-version", f"{{key}} is {raw}; this tool reads {VERSION}")
    return VERSION


Version = Annotated[str, PlainValidator(_version), WithJsonSchema({"const": int(VERSION)})]
Include = Annotated[list[Line], BeforeValidator(_as_list)]


class SpliceRules(Written):
    """Rules for every splice of this part."""

    keep_clear: list[Region] = Field([], description="No splice in these regions.")


class SharedFile(Written):
    """A file that is included by part specs."""

    plybook: Version = Field(description="Version of the language.")
    units: one_of("mm", "in") | None = Field(None, description="Unit of every bare length here.")
    include: Include = Field([], description="Files whose materials and stock are used here.")
    materials: MaterialShelf | None = Field(None, description="What parts are made of.")
    stock: list[StockEntry] = Field([], description="What is on the shelf.")
    workshop: WorkshopFigures | None = Field(None, description="Your own figures.")
    templates: TemplateChoices | None = Field(None, description="How pieces are printed.")
    cutting: CuttingRules | None = Field(None, description="How pieces are put on stock.")
    choices: Choices | None = Field(None, description="Declared choices.")


class PartFile(Written):
    """A part spec."""

    plybook: Version = Field(description="Version of the language.")
    include: Include = Field([], description="Files whose materials and stock are used here.")
    part: Part = Field(description="What the part is.")
    mould: Mould = Field(description="The face the part is laid on.")
    axis: Axis | None = Field(None, description="Where 0 degrees runs.")
    edges: dict[str, Edge] = Field(
        {}, description="What lies beyond each edge; `all` for the rest."
    )
    materials: MaterialShelf | None = Field(None, description="Materials of this part alone.")
    stock: list[StockEntry] = Field([], description="Stock for this part alone.")
    splices: SpliceRules | None = Field(None, description="Rules for every splice.")
    layers: list[Layer] = Field(description="From the mould face up, first laid first.")
    stages: list[Stage] | None = Field(None, description="The work in order.")
    samples: SamplesMade | None = Field(None, description="Coupons and samples for testing.")
    jig: list[JigCheckEntry] = Field([], description="Measurements on the assembly jig.")
    workshop: WorkshopFigures | None = Field(None, description="Your own figures.")
    templates: TemplateChoices | None = Field(None, description="How pieces are printed.")
    cutting: CuttingRules | None = Field(None, description="How pieces are put on stock.")
    choices: Choices | None = Field(None, description="Declared choices.")
    accept: list[Accepted] = Field([], description="Findings you accept, with the reason.")
