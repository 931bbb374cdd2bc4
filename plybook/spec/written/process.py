"""Stages, jig checks, workshop figures and declared choices, as written."""

from __future__ import annotations

from pydantic import Field

from plybook.spec.quantities import (
    Celsius,
    Count,
    CutAngle,
    Duration,
    Length,
    LengthFromZero,
    LengthOverZero,
    Mass,
    NumberOverZero,
    PaperWidth,
    Percent,
    Permeability,
    PrintedPercent,
    TableLength,
)
from plybook.spec.words import Address, ClockTime, Currency, Flag, Id, Line, Paragraph, one_of
from plybook.spec.written.base import Written

STAGE_KINDS = (
    "mould_preparation",
    "wet_laminate",
    "core_bond",
    "dry_layup",
    "cure",
    "demould",
    "trim",
    "assembly_jig",
)
LAYING_KINDS = ("wet_laminate", "core_bond", "dry_layup")
JIG_CHECKS = ("straightness", "level", "diagonal", "height", "twist", "screws")


class AddStep(Written):
    """A step of your own, or new words for a standard one."""

    step: Id = Field(description="The standard step it follows (add) or replaces (change).")
    title: Line = Field(description="Its heading.")
    text: list[Paragraph] = Field([], description="What is done, a sentence to a line.")
    checks: list[Line] = Field([], description="What is ticked off.")
    cautions: list[Line] = Field([], description="What can hurt.")
    hold: Line | None = Field(None, description="A hold point: who releases it, by name or role.")


class Stage(Written):
    """One working session that ends with a cure or a wait."""

    stage: Id = Field(description="Id of the stage.")
    kind: one_of(*STAGE_KINDS) = Field(description="Which standard steps it follows.")
    title: Line | None = Field(None, description="Its heading in the book.")
    lays: list[Id] = Field([], description="The layers, groups and runs it lays, in order.")
    resin: Id | None = Field(None, description="Instead of the cloth's own resin.")
    thickened: Id | None = Field(None, description="For bonding core and filling edges.")
    cure: Duration | None = Field(None, description="Instead of the resin's own cure.")
    inlet: one_of("edge", "middle") | None = Field(
        None, description="Of an infusion: a resin line along an edge, or an inlet in the middle."
    )
    permeability: Permeability | None = Field(
        None, description="Of an infusion's dry stack with its mesh, measured on a strip."
    )
    add: list[AddStep] = Field([], description="Steps added after a standard step.")
    change: list[AddStep] = Field([], description="Standard steps in other words.")
    drop: list[Id] = Field([], description="Standard steps left out.")


class WitnessCoupon(Written):
    """A witness panel, laid beside the part from the same cups."""

    layers: list[Id] = Field(description="Plies and groups it has, of one stage.")
    size: list[LengthOverZero] = Field(description="Trimmed: along 0 degrees, and across.")


class SamplesMade(Written):
    """What is made beside the part to be tested."""

    coupon: WitnessCoupon | None = Field(None, description="A witness panel.")
    cups: Flag | None = Field(None, description="A sample of each cup is kept.")


class JigCheckEntry(Written):
    """A measurement on the jig; the expected figure is worked out."""

    check: one_of(*JIG_CHECKS) = Field(description="What is measured.")
    tolerance: LengthOverZero = Field(description="How far off it may be.")
    at: Length | None = Field(None, description="At this station.")
    pitch: LengthOverZero | None = Field(None, description="Pitch of screws.")
    title: Line = Field("", description="In your own words.")
    id: Id | None = Field(None, description="J1, J2 ... when not said.")


class Day(Written):
    """A working day."""

    start: ClockTime = Field("09:00", description='Like "09:00", in quotes.')
    hours: NumberOverZero = Field(9.0, description="How long.")


class Printer(Written):
    """What a 100 mm line measures when your printer has printed it."""

    across: PrintedPercent = Field(100.0, description="Across the paper, percent of true.")
    down: PrintedPercent = Field(100.0, description="Down the paper, percent of true.")


class WorkshopFigures(Written):
    """Your own figures; estimates follow them."""

    room: Celsius = Field(20.0, description="Temperature of the room.")
    wetting: NumberOverZero = Field(2.0, description="Square metres of cloth wetted in an hour.")
    cup_loss: Mass = Field(15.0, description="Resin left in each cup.")
    day: Day = Field(Day.model_construct(), description="A working day.")
    people: Count = Field(1, description="Hands at the mould.")
    table: TableLength = Field(
        3000.0, description="Length of the table that cloth is cut on; rolls are cut bay by bay."
    )
    paper: one_of("a4", "letter") = Field("a4", description="Paper in the printer.")
    poster: one_of("a3", "a2", "tabloid") | None = Field(
        None, description="Sheets of the poster; a3, or tabloid beside letter paper."
    )
    printer: Printer = Field(Printer.model_construct(), description="How true it prints.")
    dxf: one_of("r2010", "r12") = Field(
        "r2010", description="What your cutter reads: r12 for old machines."
    )
    currency: Currency | None = Field(
        None, description="Of all prices, by its three letters: EUR, USD ..."
    )
    booklets_at: Address | None = Field(
        None, description="Where phones find the output folder; labels then carry a QR code."
    )


TemplateWays = one_of("least", "figures", "tiles")


class PlotterPaper(Written):
    """The roll of paper that a plotter prints templates on."""

    width: PaperWidth = Field(914.0, description="Of the roll: 610, 841, 914 ...")
    pieces: one_of("needed", "all") = Field(
        "needed", description="needed: without rods and pieces whose sides are straight."
    )


class TemplateChoices(Written):
    """How pieces come from paper onto cloth and foam."""

    tolerance: LengthOverZero = Field(0.5, description="How far a cut may lie from the outline.")
    cloth: LengthOverZero = Field(1.0, description="The same for cloth and films.")
    way: TemplateWays = Field("least", description="least: as little paper as holds the tolerance.")
    each: dict[str, TemplateWays] = Field(
        {}, description="Another way for a piece, a layer or a material, by its id."
    )
    plotter: PlotterPaper = Field(
        PlotterPaper.model_construct(), description="What templates-roll.pdf is printed on."
    )


class CuttingRules(Written):
    """How pieces are put on stock."""

    knife_gap: LengthFromZero | None = Field(None, description="Between pieces of cloth.")
    saw_kerf: LengthFromZero | None = Field(None, description="Width of the saw cut in rods.")
    sheet_gap: LengthFromZero | None = Field(None, description="Between panels on a sheet.")
    kits: one_of("tightest", "by part", "by stage", "by hand") | None = Field(
        None, description="What comes off a roll together; the cut plan tells what each way takes."
    )
    order: one_of("oldest", "shortest") = Field("oldest", description="Which stock goes first.")


class Choices(Written):
    """Declared choices where published rules differ."""

    core_bevel: CutAngle = Field(45.0, description="Bevel of core edges, from the sheet.")
    chord_error: LengthOverZero | None = Field(None, description="How true curves are cut.")
    strain_limit: Percent = Field(0.5, description="Most the face may be stretched to lie flat.")
    thickness: LengthOverZero | None = Field(
        None, description="Of the whole laminate, to be held against the sum of the layers."
    )


class Accepted(Written):
    """A finding you accept, with the reason; printed in the book."""

    finding: Line = Field(description="Code of the finding.")
    layers: list[Id] = Field([], description="Only where it concerns these.")
    because: Line = Field(description="Why.")
