"""Pages before the first step: what to have at hand, cut list, layouts, clock, resin, kits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from plybook.drawing.document import (
    Blank,
    Block,
    CautionBox,
    Heading,
    Items,
    Links,
    OnScreen,
    Page,
    Paragraph,
    Picture,
    SignOff,
    Table,
    expiry_field_id,
    lot_field_id,
    show_duration,
)
from plybook.drawing.layoutview import small_layout
from plybook.drawing.markoutlist import Addresses, mark_out_on_screen
from plybook.drawing.rosette import show_angle
from plybook.drawing.stepcards import batch_parts
from plybook.laminate.model import Laminate, Piece
from plybook.nest.model import CutPlan
from plybook.shop.clock import clock_text, sessions
from plybook.shop.model import Batch, Shop, Stage
from plybook.shop.standard import standard
from plybook.spec.model import PartSpec
from plybook.units import (
    CLOTH,
    Grain,
    area_unit,
    grain_of,
    show_amount,
    show_area,
    show_figure,
    show_length,
    show_number,
    show_roll,
)

BEFORE = "Before you start"
_DRAWN = {
    "roll": ", without the stretches that hold no piece of this part",
    "bar": ", drawn wider than it is",
    "sheet": "",
}
_KIND = {"ply": "ply", "core": "core", "insert": "insert", "rod": "rod", "film": "film"}


def before_page(spec: PartSpec, shop: Shop) -> Page:
    """What to have at hand, and every caution of the book once, in short."""
    blocks: list[Block] = [
        Paragraph(
            "Read the book through once before the first cup is mixed. The figures for resin, pot "
            "life and cure are those entered from the data sheets; where the two differ, the "
            "data sheet is right and the book is wrong.",
            strong=True,
        )
    ]
    at_hand = unique(
        x
        for stage in shop.stages
        for x in (*stage.at_hand, *(item for step in stage.steps for item in step.at_hand))
    )
    at_hand = _counted(at_hand, [x for s in shop.stages for step in s.steps for x in step.at_hand])
    if at_hand:
        blocks += [Heading("Have at hand", 3), Items(tuple(at_hand), small=True)]
    shorter = {caution.text: caution.again for caution in standard().cautions.values()}
    said = unique(
        shorter.get(caution.text) or caution.text
        for stage in shop.stages
        for step in stage.steps
        for caution in step.cautions
        if not caution.again
    )
    if said:
        blocks.append(Heading("Cautions of this book, in short; in full at the step they meet", 3))
        blocks += [CautionBox(text, "", small=True) for text in said]
    blocks.append(
        Paragraph(
            "Safety data sheets, local codes and the advice of a licensed inspector go before "
            "anything printed here. The laminate is the designer's: this book checks that it "
            "is laid as drawn, never whether it is strong enough."
        )
    )
    return Page("before", "What to have at hand", kicker(spec), tuple(blocks), chapter=BEFORE)


def lots_page(spec: PartSpec, laminate: Laminate, shop: Shop) -> Page:
    """Lot and last day of what this part uses: its pieces' materials and the resins of its cups."""
    stock = spec.materials
    used = {p.material for p in laminate.pieces} | {b.resin for b in shop.batches}
    groups = (stock.cloths, stock.cores, stock.rods, stock.consumables, stock.resins)
    blocks: list[Block] = [
        Paragraph(
            "Written once here, a lot holds for the whole part. Where a step or a cup uses "
            "another, write that one there."
        )
    ]
    blocks += [
        SignOff(
            (
                Blank(lot_field_id(m.id), m.name, "lot"),
                Blank(expiry_field_id(m.id), "use by", "date"),
            )
        )
        for group in groups
        for m in group.values()
        if m.id in used
    ]
    return Page("lots", "Lots of the materials", kicker(spec), tuple(blocks), chapter=BEFORE)


def _counted(things: Sequence[str], told: Sequence[str]) -> list[str]:
    """Things once each; of those told with a number, as cups (7), the sum over the steps."""
    sums: dict[str, int] = {}
    for thing in told:
        name, count = _count(thing)
        sums[name] = sums.get(name, 0) + count
    names = (_count(thing) for thing in things)
    return unique(f"{name} ({sums[name]})" if count and sums.get(name) else name
                  for name, count in names)  # fmt: skip


def _count(thing: str) -> tuple[str, int]:
    """'cups and sticks (7)' in its name and number; 0 where no number is told."""
    name, bracket, rest = thing.rpartition(" (")
    number = rest.removesuffix(")")
    return (name, int(number)) if bracket and number.isdecimal() else (thing, 0)


def cut_list_page(
    spec: PartSpec, laminate: Laminate, plan: CutPlan, shop: Shop, files: Addresses
) -> Page:
    """Every piece with its material, angle, size, area, stage and the stock it is cut from."""
    source = {p.item: layout.unit.id for layout in plan.layouts for p in layout.placements}
    unit = spec.part.units
    names = spec.materials.names()
    stages = {stage.id: str(k) for k, stage in enumerate(shop.stages, start=1)}
    rows = tuple(
        (
            p.id,
            p.layer,
            names.get(p.material, p.material),
            show_angle(p.angle_deg) if p.kind in ("ply", "rod") else _KIND[p.kind],
            str(p.quantity),
            piece_size(p, unit),
            show_area(p.area_mm2 * p.quantity / 1e6, unit),
            stages.get(p.stage, p.stage),
            source.get(f"{spec.part.number}/{p.id}", "not placed"),
        )
        for p in laminate.pieces
    )
    table = Table(
        (
            "Piece",
            "Layer",
            "Material",
            "Angle",
            "Qty",
            f"Size, {unit}",
            f"Area, {area_unit(unit)}",
            "Stage",
            "Cut from",
        ),
        rows,
        "lllrrlrrl",
    )
    count = sum(p.quantity for p in laminate.pieces)
    words = Paragraph(
        f"{count} pieces. Size is the box around the piece, along and across 0°. Cut every piece "
        "before resin is opened, mark it with its id, and roll it up in the order of laying."
    )
    blocks: list[Block] = [words, table]
    if files.shared:
        blocks.insert(1, Paragraph(
            "Other parts are cut from the same stock. The cut plan of them all stands once, in the "
            f"folder {files.shared} beside that of this part; cutplan.pdf in this folder tells "
            "where its pieces lie in it."
        ))  # fmt: skip
    if files.whole:
        blocks.append(OnScreen((Links("Files", files.whole),)))
    return Page("cut-list", "Cut list", kicker(spec), tuple(blocks), chapter=BEFORE)


def piece_size(piece: Piece, unit: str) -> str:
    """Box around a piece, along and across 0 degrees, in the user's unit."""
    along, across = (float(v) for v in np.ptp(piece.outline_mm, axis=0))
    return _cut_size(along, across, unit, grain_of(piece.kind))


def _cut_size(along_mm: float, across_mm: float, unit: str, grain: Grain = CLOTH) -> str:
    """Length by width without the unit's name; a length alone where there is no width."""
    sizes = [v for v in (along_mm, across_mm) if v]
    return " × ".join(show_figure(v, unit, grain) for v in sizes)


def layout_pages(spec: PartSpec, plan: CutPlan, files: Addresses) -> Iterator[Page]:
    """One page per roll, sheet or bar this part is cut from."""
    items = {item.id: item for item in plan.items}
    number = spec.part.number
    names = spec.materials.names()
    unit = spec.part.units
    for layout in plan.layouts:
        if not any(p.item.rpartition("/")[0] == number for p in layout.placements):
            continue
        stock = layout.unit
        size = (
            f"{show_length(stock.length_mm, unit, grain=CLOTH)} × "
            f"{show_length(stock.width_mm, unit, grain=CLOTH)}"
            if stock.kind != "roll"
            else f"{show_roll(layout.used_length_mm, unit)} of a roll "
            f"{show_length(stock.width_mm, unit)} wide"
        )
        facts = [size, f"{layout.utilisation * 100:.0f} % used"]
        if stock.bought:
            facts.append("to be bought")
        if any(p.flipped for p in layout.placements):
            facts.append("some pieces lie face down: see the cut plan")
        others = sorted({p.item.rpartition("/")[0] for p in layout.placements} - {number})
        if others:
            facts.append(f"hatched grey: pieces of {', '.join(others)}")
        scene = small_layout(layout, items, number, unit)
        along = f"figures are {unit} from the end"
        if layout.bays:
            along = "a bay begins at the line of its number"
        yield Page(
            f"layout-{stock.id}",
            f"{stock.kind.capitalize()} {stock.id}",
            f"Layout · {names.get(stock.material, stock.material)}",
            (
                Paragraph("; ".join(facts) + "."),
                Picture(
                    scene,
                    scene.window_mm[3] - scene.window_mm[1],
                    f"{stock.id}, reduced{_DRAWN[stock.kind]}; {along}. Cut from the "
                    "full-size drawing or the mark-out table of the cut plan, not from this "
                    "picture.",
                    f"Pieces on {stock.id}",
                ),
                mark_out_on_screen(layout, items, number, unit, files),
            ),
            "layout",
            BEFORE,
        )


def clock_page(spec: PartSpec, shop: Shop) -> Page | None:
    """The day plan with fixed waits and unattended cures."""
    if not shop.clock:
        return None
    stages = {stage.id: stage.title for stage in shop.stages}
    rows = tuple(
        (
            clock_text(line.start_min, spec.workshop),
            clock_text(line.end_min, spec.workshop),
            stages.get(line.stage, line.stage),
            line.what,
            "you" if line.attended else "waits",
        )
        for line in sessions(shop.clock)
    )
    end = max(line.end_min for line in shop.clock)
    work = sum(line.end_min - line.start_min for line in shop.clock if line.attended)
    return Page(
        "clock",
        "Clock",
        kicker(spec),
        (
            Paragraph(
                f"Earliest finish: {clock_text(end, spec.workshop)}. At the bench: "
                f"{show_duration(int(work * 60))}. An estimate from your own rates; resin "
                "does not wait for it. Waits and cures run by themselves; what may be done "
                "meanwhile says so.",
                strong=True,
            ),
            Table(
                ("From", "To", "Stage", "What", "Who"),
                rows,
                "lllll",
                widths=(12.0, 12.0, 21.0, 48.0, 7.0),
            ),
        ),
        chapter=BEFORE,
    )


def resin_page(spec: PartSpec, shop: Shop) -> Page | None:
    """Every cup: what goes in, when, what for and how long it lasts."""
    if not shop.batches:
        return None
    names = spec.materials.names()
    stages = {stage.id: stage.title for stage in shop.stages}
    blocks: list[Block] = [
        Paragraph(
            "Weigh each cup on its own; the parts add up to the total. Never mix two cups "
            "at once, never stretch a cup that warms up. Mix: when the day plan comes to it. On "
            "by: counted from the moment the stage's first cup is mixed."
        )
    ]
    for resin in unique(b.resin for b in shop.batches):
        cups = [b for b in shop.batches if b.resin == resin]
        blocks.append(
            Heading(f"{names.get(resin, resin)}: {len(cups)} cup{'s' if len(cups) != 1 else ''}", 3)
        )
        for stage in unique(b.stage for b in cups):
            blocks.append(_cup_table(spec, stages.get(stage, stage), cups, stage))
    return Page("resin", "Resin, cup by cup", kicker(spec), tuple(blocks), chapter=BEFORE)


def _cup_table(spec: PartSpec, title: str, cups: Sequence[Batch], stage: str) -> Table:
    """The cups of one stage."""
    rows = tuple(
        (
            b.id,
            b.purpose,
            batch_parts(b),
            show_number(b.mass_g, b.decimals),
            clock_text(b.clock_min, spec.workshop),
            f"+{show_duration(b.on_by_s)}" if b.on_by_s else "",
            _work_words(b),
        )
        for b in cups
        if b.stage == stage
    )
    return Table(
        ("Cup", "For", "Parts", "Total, g", "Mix", "On by", "Work"),
        rows,
        "lllrlrr",
        title,
        (9.0, 24.0, 31.5, 9.5, 14.5, 14.5, 9.5),
    )


def _work_words(batch: Batch) -> str:
    words = show_duration(batch.work_s) if batch.work_s else ""
    return words if batch.in_time else f"{words}: TOO LONG"


def kit_page(shop: Shop, stage: Stage, number: int, unit: str) -> Page | None:
    """What is laid out before a stage begins."""
    kit = next((k for k in shop.kits if k.stage == stage.id), None)
    bag = next((b for b in shop.bags if b.stage == stage.id), None)
    blocks: list[Block] = []
    if kit and kit.pieces:
        blocks += [
            Heading("Pieces, in the order of laying", 3),
            Table(
                ("Piece", "What it is", "Qty"),
                tuple(
                    (", ".join(id for id, _, _ in same), what, str(sum(n for _, _, n in same)))
                    for what, same in _alike(kit.pieces)
                ),
                "llr",
            ),
        ]
    told = any(step.name == "cut_bag" for step in stage.steps)  # with every size, on its own card
    tools = kit.tools if kit else stage.at_hand
    for title, things in (
        ("Tools", tools),
        ("Consumables", kit.consumables if kit and not told else ()),
        ("Resin", kit.resin if kit else ()),
    ):
        if things:
            blocks += [Heading(title, 3), Items(tuple(things), small=True)]
    if bag and bag.cuts and not told:
        rows = tuple(
            (
                c.name,
                str(c.count),
                _cut_size(c.length_mm, c.width_mm, unit),
                show_amount(c.amount, c.unit, unit),
                c.where,
            )
            for c in bag.cuts
        )
        blocks += [
            Heading("Cut for the bag", 3),
            Table(
                ("What", "Count", f"Size, {unit}", "Together", "Where"),
                rows,
                "lrrrl",
            ),
        ]
    if not blocks:
        return None
    return Page(
        f"kit-{stage.id}",
        "Lay out before you start",
        f"Stage {number} of {len(shop.stages)} · {stage.title}",
        tuple(blocks),
        chapter=f"{number}. {stage.title}",
    )


def _alike(
    pieces: tuple[tuple[str, str, int], ...],
) -> Iterator[tuple[str, list[tuple[str, str, int]]]]:
    """Neighbours that are the same thing, such as the pieces of one ply, on one line."""
    for what, run in groupby(pieces, key=lambda piece: piece[1]):
        yield what, list(run)


def kicker(spec: PartSpec) -> str:
    """The small line above a title that belongs to the whole part."""
    return f"{spec.part.number} · revision {spec.part.revision}"


def unique(things) -> list:
    """Each thing once, in order of appearance."""
    return list(dict.fromkeys(things))
