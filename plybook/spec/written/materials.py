"""Materials and stock, as written. Figures come from the maker's data sheet."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, PlainValidator, WithJsonSchema

from plybook.spec.quantities import (
    Angle,
    Areal,
    ArealFromZero,
    Celsius,
    CoreDensity,
    Density,
    Duration,
    FibreShare,
    LengthFromZero,
    LengthOverZero,
    Mass,
    Number,
    NumberFromZero,
    NumberOverZero,
    Percent,
    RollLength,
    Viscosity,
    WorkingTime,
    Wrong,
    number_of,
)
from plybook.spec.words import Date, Flag, Id, Line, one_of
from plybook.spec.written.base import Written
from plybook.spec.written.layers import SpliceWord
from plybook.spec.written.mould import XY

WEAVES = ("unidirectional", "plain", "twill", "satin", "biaxial", "triaxial", "mat")
ROLES = (
    "peel_ply",
    "release_film",
    "breather",
    "bag_film",
    "flow_mesh",
    "sealant_tape",
    "hose",
    "wax",
    "release_coat",
    "mould_tape",
    "spray_tack",
    "adhesive_film",
    "mixing_cup",
    "other",
)


class ElasticFigures(Written):
    """In-plane constants of a cured ply, GPa; for information, never for sizing."""

    e1: NumberOverZero = Field(description="Stiffness along the fibre, GPa.")
    e2: NumberOverZero = Field(description="Stiffness across it, GPa.")
    g12: NumberOverZero = Field(description="In-plane shear stiffness, GPa.")
    nu12: Number = Field(description="Major Poisson ratio.")


class ClothMaterial(Written):
    """A cloth on the roll."""

    name: Line = Field(description="What the label on the roll says.")
    weave: one_of(*WEAVES) = Field(description="How it is made.")
    fibres: list[Angle] | None = Field(
        None, description="Of a stitched cloth: directions of its fibres from the warp."
    )
    fibre: one_of("carbon", "glass", "aramid", "other") = Field(
        "other", description="Gives the fibre density where none is written."
    )
    fibre_density: Density | None = Field(None, description="Density of the fibre alone.")
    weight: Areal = Field(description="Weight by area, dry.")
    fibre_share: FibreShare | None = Field(
        None, description="Fibre by volume in your process; 0.40 when not said."
    )
    thickness: LengthOverZero | None = Field(
        None, description="Cured; worked out from weight and fibre share when not said."
    )
    roll: LengthOverZero = Field(description="Width of the roll.")
    usable: LengthOverZero | None = Field(None, description="Width without the selvedges.")
    faces_alike: Flag | None = Field(None, description="May be laid either face up.")
    axes_alike: Flag | None = Field(None, description="A quarter turn changes nothing.")
    splice: SpliceWord | None = Field(None, description="How strips of it are joined.")
    strain_limit: Percent | None = Field(None, description="Most it may be stretched.")
    locking: Angle | None = Field(None, description="Shear at which the weave locks.")
    least_bend: LengthFromZero = Field(0.0, description="Smallest radius it follows.")
    resin: Id | None = Field(None, description="The resin it is laid with.")
    elastic: ElasticFigures | None = Field(None, description="Stiffness, for information.")
    price: NumberFromZero = Field(0.0, description="For one metre of roll.")
    data_sheet: Line = Field("", description="Where the figures come from.")


class CoreMaterial(Written):
    """Core or insert stock in sheets."""

    name: Line = Field(description="What it is.")
    thickness: LengthOverZero = Field(description="Thickness of the sheet.")
    density: CoreDensity = Field(description="Density.")
    sheet: list[LengthOverZero] = Field(description="Length (along the grain) and width.")
    grain: Flag = Field(False, description="Panels keep to the grain.")
    resin_uptake: ArealFromZero = Field(0.0, description="Resin a face soaks up.")
    least_bend: LengthFromZero = Field(0.0, description="Smallest radius it follows cold.")
    use: one_of("core", "insert") = Field("core", description="Soft core or hard insert.")
    price: NumberFromZero = Field(0.0, description="For one sheet.")
    data_sheet: Line = Field("", description="Where the figures come from.")


class RodMaterial(Written):
    """Pultruded rod or strip."""

    name: Line = Field(description="What it is.")
    width: LengthOverZero = Field(description="Width of the section.")
    height: LengthOverZero = Field(description="Height of the section.")
    density: Density = Field(1.6, description="Density.")
    supply: list[RollLength] = Field(description="Lengths it is sold in, coil or bar.")
    least_bend: LengthFromZero = Field(0.0, description="Smallest radius it may be coiled to.")
    price: NumberFromZero = Field(0.0, description="For one metre.")
    data_sheet: Line = Field("", description="Where the figures come from.")


class ConsumableMaterial(Written):
    """Peel ply, film, breather, tape and the like."""

    name: Line = Field(description="What it is.")
    role: one_of(*ROLES) = Field(description="What it is for.")
    roll: LengthOverZero | None = Field(None, description="Width of the roll.")
    roll_length: RollLength | None = Field(None, description="Length of a roll.")
    weight: ArealFromZero = Field(0.0, description="Weight by area.")
    thickness: LengthFromZero = Field(0.0, description="Thickness.")
    resin_uptake: ArealFromZero = Field(0.0, description="Resin it takes away.")
    price: NumberFromZero = Field(0.0, description="For one metre or piece.")
    data_sheet: Line = Field("", description="Where the figures come from.")


def _mix(raw: Any, info) -> float:
    value = number_of(raw, "parts by weight")
    if value <= 0 or value > 1000:
        raise Wrong(
            "out-of-range",
            f"{{key}} is {raw}, expected more than 0 and at most 1000 parts by weight",
        )
    return value


MixPart = Annotated[float, PlainValidator(_mix), WithJsonSchema({"type": "number"})]


class PotLife(Written):
    """How long a cup stays workable."""

    time: WorkingTime = Field(description="How long.")
    mass: Mass = Field(100.0, description="Of this much in one cup.")
    at: Celsius = Field(25.0, description="At this room temperature.")


class WorkRoom(Written):
    """In what room and air a resin may be worked, by its data sheet."""

    at_least: Celsius | None = Field(None, description="Coldest room it is worked in.")
    at_most: Celsius | None = Field(None, description="Warmest room it is worked in.")
    humidity: Percent | None = Field(None, description="Most relative humidity.")


class ResinMaterial(Written):
    """A resin system, by its data sheet."""

    name: Line = Field(description="What it is.")
    mix: dict[str, MixPart] = Field(description="Parts by weight, resin first.")
    density: Density = Field(description="Density, mixed.")
    viscosity: Viscosity | None = Field(None, description="Mixed, as warm as it is drawn in.")
    pot_life: PotLife = Field(description="How long a cup stays workable.")
    largest_batch: Mass = Field(description="Never mix more than this in one cup.")
    cure: Duration = Field(description="Until the next stage may be laid.")
    work: WorkRoom | None = Field(None, description="Limits of room and air while it is worked.")
    price: NumberFromZero = Field(0.0, description="For one kilogram.")
    data_sheet: Line = Field("", description="Where the figures come from.")


class ThickenedMaterial(Written):
    """Resin thickened with a filler, for bonding core and filling edges."""

    name: Line = Field(description="What it is.")
    resin: Id = Field(description="The resin it is made of.")
    filler: Line = Field(description="What is stirred in.")
    filler_to_resin: NumberOverZero = Field(description="Filler to resin by volume, loose.")
    filler_density: Density = Field(description="Of the loose filler.")
    coat: Areal = Field(description="Resin on a core face.")


class MaterialShelf(Written):
    """All materials by kind and id."""

    cloths: dict[str, ClothMaterial] = Field({}, description="Cloth by id.")
    cores: dict[str, CoreMaterial] = Field({}, description="Core and insert sheets by id.")
    rods: dict[str, RodMaterial] = Field({}, description="Rods by id.")
    consumables: dict[str, ConsumableMaterial] = Field({}, description="Consumables by id.")
    resins: dict[str, ResinMaterial] = Field({}, description="Resin systems by id.")
    thickened: dict[str, ThickenedMaterial] = Field({}, description="Thickened resin by id.")


def _quantity(raw: Any, info) -> int:
    if str(raw).strip() == "as needed":
        return 0
    value = number_of(raw, "a whole number or `as needed`")
    if value != int(value) or not 1 <= value <= 10_000:
        raise Wrong(
            "out-of-range", f"{{key}} is {raw}, expected a whole number from 1, or `as needed`"
        )
    return int(value)


Quantity = Annotated[
    int,
    PlainValidator(_quantity),
    WithJsonSchema({"anyOf": [{"type": "integer", "minimum": 1}, {"const": "as needed"}]}),
]


class StockEntry(Written):
    """One thing on the shelf: exactly one of roll, sheet, bar, pack."""

    id: Id = Field(description="What the label on it says.")
    roll: Id | None = Field(None, description="A roll of this cloth or consumable.")
    sheet: Id | None = Field(None, description="A sheet of this core or insert material.")
    bar: Id | None = Field(None, description="A coil or bar of this rod.")
    pack: Id | None = Field(None, description="A tin, roll or box of this consumable or resin.")
    part: Line = Field("", description="Of a resin: resin, hardener ...")
    mass: Mass | None = Field(None, description="Of resin or filler in a pack.")
    length: RollLength | None = Field(None, description="Length of it.")
    width: LengthOverZero | None = Field(None, description="Width, where not as its material's.")
    quantity: Quantity = Field(1, description="How many alike, or `as needed` to buy.")
    outline: list[XY] | None = Field(None, description="Of a remnant of any outline.")
    bad_zones: list[list[XY]] = Field([], description="Spoiled places, each by its corners.")
    received: Date | None = Field(None, description="Oldest is used first.")
    lot: Line = Field("", description="Its lot or batch number.")
    use_by: Date | None = Field(None, description="The last day it may be used.")
