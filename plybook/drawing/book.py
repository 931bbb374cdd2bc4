"""The ply book of one part: one document, written as PDF for paper and as HTML for the bench.

Order: cover, what to have at hand, lots, cut list, layouts, clock, resin; then for each stage what
to lay out and one page per step; then jig card and record; last what is looked up: quantities,
stack, zones and findings.
"""

from __future__ import annotations

from collections.abc import Iterator

from plybook.diagnostics import Finding
from plybook.drawing.bookend import (
    AFTER,
    estimates_page,
    findings_page,
    jig_page,
    ply_table_page,
    quantities_page,
    zones_page,
)
from plybook.drawing.bookstart import (
    BEFORE,
    before_page,
    clock_page,
    cut_list_page,
    kicker,
    kit_page,
    layout_pages,
    lots_page,
    resin_page,
)
from plybook.drawing.document import (
    KIT_FIELD,
    LEFT_FIELD,
    MASS_FIELD,
    SERIAL,
    TRIMMINGS_FIELD,
    Blank,
    Block,
    Document,
    Facts,
    Heading,
    Notes,
    Page,
    Paragraph,
    Picture,
    PictureRow,
    Table,
)
from plybook.drawing.ledgers import DEVIATIONS, INSTRUMENTS, SIGNATURES, hours, readings
from plybook.drawing.markoutlist import Addresses
from plybook.drawing.partview import part_picture
from plybook.drawing.recordkey import record_key
from plybook.drawing.rosette import rosette
from plybook.drawing.setoutview import setout_page
from plybook.drawing.stepcards import Cutting, step_pages
from plybook.laminate.model import Laminate
from plybook.nest.model import CutPlan
from plybook.shop.budget import CUPS_LEFT, TRIMMINGS
from plybook.shop.model import Budget, Shop
from plybook.shop.setout import SetOut, set_out
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.units import CLOTH, show_length, show_mass, told_grams

HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": "no hand"}
NO_FILES = Addresses()
NEVER_SIZES = (
    "This book says how to cut and lay what the designer drew. It never sizes structure: whether "
    "the laminate is strong and stiff enough is for the designer and the licensed inspector."
)


def booklet(
    spec: PartSpec,
    face: Face,
    laminate: Laminate,
    plan: CutPlan,
    shop: Shop,
    findings: tuple[Finding, ...] = (),
    files: Addresses = NO_FILES,
    setout: SetOut | None = None,
) -> Document:
    """The whole book.

    Args:
        spec: the part as resolved.
        face: its mould face.
        laminate: its pieces and stack.
        plan: the layouts, which may hold pieces of other parts too.
        shop: stages, steps, batches and quantities.
        findings: everything that was found of the part.
        files: of the same folder, to link to.
        setout: of the mould as far as it is proved; all of it if not said.

    Returns:
        A document whose field ids are unique; its record key changes with the pieces and steps.
    """
    part = spec.part
    cutting = Cutting(plan, part.number, part.units, files)
    setout = setout or set_out(spec, face, laminate)
    pages = (
        cover_page(spec, face, laminate, shop),
        before_page(spec, shop),
        lots_page(spec, laminate, shop),
        cut_list_page(spec, laminate, plan, shop, files),
        *layout_pages(spec, plan, files),
        clock_page(spec, shop),
        resin_page(spec, shop),
        *_stage_pages(spec, face, laminate, shop, cutting, setout, findings),
        jig_page(spec, face, shop),
        record_page(spec, laminate, shop),
        quantities_page(spec, shop, laminate),
        ply_table_page(spec, face, laminate),
        zones_page(spec, face, laminate),
        estimates_page(spec, shop),
        findings_page(spec, findings),
    )
    return Document(
        title="Ply book",
        part=part.number,
        name=part.name,
        revision=part.revision,
        hand=part.hand,
        date=part.date,
        paper=spec.workshop.paper,
        pages=tuple(page for page in pages if page is not None),
        facts=cover_facts(spec, laminate, shop),
        record_key=record_key(
            part.number,
            part.revision,
            ((p.id, p.outline_mm) for p in laminate.pieces),
            (step.id for stage in shop.stages for step in stage.steps),
        ),
    )


def _stage_pages(
    spec: PartSpec,
    face: Face,
    laminate: Laminate,
    shop: Shop,
    cutting: Cutting,
    setout: SetOut,
    findings: tuple[Finding, ...],
) -> Iterator[Page | None]:
    """Before each stage's steps, the page of what to lay out; the set-out of the mould before the
    step that marks its lines, or else before all, if it shows anything."""
    steps = {page.id: page for page in step_pages(spec, face, laminate, shop, cutting, findings)}
    marking = next((x.id for stage in shop.stages for x in stage.steps if x.name == "mark"), "")
    for number, stage in enumerate(shop.stages, start=1):
        if number == 1 and not marking:
            yield setout_page(face, setout, spec.part.units, kicker(spec), BEFORE)
        yield kit_page(shop, stage, number, spec.part.units)
        for step in stage.steps:
            page = steps[step.id]
            if step.id == marking:
                above = f"Stage {number} of {len(shop.stages)} · {stage.title}"
                yield setout_page(face, setout, spec.part.units, above, page.chapter)
            yield page


def cover_facts(spec: PartSpec, laminate: Laminate, shop: Shop) -> tuple[tuple[str, str], ...]:
    """Key figures of the part."""
    part = spec.part
    pieces = sum(p.quantity for p in laminate.pieces)
    steps = sum(len(stage.steps) for stage in shop.stages)
    rows = [
        ("Part", part.number),
        ("Revision", part.revision),
        ("Hand", HANDS[part.hand]),
        ("Date", part.date),
        ("Pieces", str(pieces)),
        ("Layers", str(len(laminate.layers))),
        ("Stages", f"{len(shop.stages)} with {steps} steps"),
        ("Mass, trimmed", show_mass(shop.budget.part_g)),
        ("Laminate by", part.designer or "not stated"),
    ]
    if part.other_hand:
        rows.append(("Other hand", part.other_hand))
    return tuple(rows)


def cover_page(spec: PartSpec, face: Face, laminate: Laminate, shop: Shop) -> Page:
    """Number, name, picture, rosette, key facts and what the book does not do."""
    part = spec.part
    picture = part_picture(face)
    (x0, y0), (x1, y1) = face.outline_mm.min(axis=0), face.outline_mm.max(axis=0)
    size = (
        f"Flat pattern {show_length(float(x1 - x0), part.units, True, CLOTH)} along, "
        f"{show_length(float(y1 - y0), part.units, True, CLOTH)} across."
    )
    blocks: list[Block] = [
        Picture(
            picture,
            picture.window_mm[3] - picture.window_mm[1],
            "The mould face from the bag side. " + size,
            f"{part.name}, mould face",
        ),
        PictureRow(
            (
                Picture(
                    rosette(),
                    29.0,
                    "",
                    "Rosette: 0° from root to tip, angles count counter-clockwise",
                ),
            )
        ),
        Facts(cover_facts(spec, laminate, shop)),
        Blank(SERIAL, "Serial number of this article"),
        Paragraph(
            "Angles count counter-clockwise from 0°, seen looking at the mould face; every "
            "picture is seen from the bag side. Lengths are given in "
            f"{'inches' if part.units == 'in' else 'millimetres'} first."
        ),
        Paragraph(NEVER_SIZES, strong=True),
        *(Paragraph(note) for note in part.notes),
    ]
    kicker = f"Ply book · {part.number} · revision {part.revision} · {HANDS[part.hand]}"
    return Page("cover", part.name, kicker, tuple(blocks), "cover", "This book", alone=True)


def _weighed(budget: Budget) -> Iterator[tuple[str, str, float]]:
    """What is weighed over the whole job: field, label, grams as planned."""
    gone = {row.item: row.amount for row in budget.goes}
    yield MASS_FIELD, "Mass of the part, trimmed", budget.part_g
    yield KIT_FIELD, "Kit as cut, dry", budget.kit_g
    yield LEFT_FIELD, "Left in the cups, all stages", gone.get(CUPS_LEFT, 0.0)
    yield TRIMMINGS_FIELD, "Trimmings", gone.get(TRIMMINGS, 0.0)


def record_page(spec: PartSpec, laminate: Laminate, shop: Shop) -> Page:
    """What is written down over the whole job: hours, readings, deviations, signatures."""
    tasks = ["Cutting", *dict.fromkeys(stage.title for stage in shop.stages)]
    blocks: list[Block] = [
        Table(
            ("Part", "Revision", "Hand", "Date of the book"),
            ((spec.part.number, spec.part.revision, HANDS[spec.part.hand], spec.part.date),),
        ),
        hours(tasks),
        readings(tuple(dict.fromkeys(stage.title for stage in shop.stages if stage.cure_s))),
        INSTRUMENTS,
        Heading("The part", 3),
        *(
            Blank(field, label, "measure", "g", told_grams(grams), optional=field != MASS_FIELD)
            for field, label, grams in _weighed(shop.budget)
        ),
        DEVIATIONS,
        Notes("record.notes", "Notes"),
        Blank("record.builder", "Built by", "initials"),
        Blank("record.inspector", "Inspected by", "initials"),
        SIGNATURES,
    ]
    return Page(
        "record",
        "Record",
        f"{spec.part.number} · revision {spec.part.revision}",
        tuple(blocks),
        "record",
        AFTER,
        alone=True,
    )
