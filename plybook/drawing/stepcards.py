"""Step pages: one card per step, in the order of work.

What stands on a card, top down: what is handled, where it goes, the stack so far, cautions, what
to do, resin and timers, checks, and the blanks that close the step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import shapely

from plybook.diagnostics import Finding, Severity
from plybook.drawing.bagview import bag_plan_picture, bag_section_picture
from plybook.drawing.coreview import panel_picture
from plybook.drawing.document import (
    SIGN_OFF,
    Blank,
    Block,
    CautionBox,
    CheckBox,
    Cup,
    Cups,
    Heading,
    Items,
    Links,
    OnScreen,
    Page,
    Paragraph,
    Picture,
    PictureRow,
    Plate,
    SignOff,
    Table,
    TimerBox,
    field_id,
    show_duration,
)
from plybook.drawing.foldview import FoldedSection, folded_section
from plybook.drawing.inmould import InMould
from plybook.drawing.jigview import jig_picture
from plybook.drawing.layoutview import small_layout
from plybook.drawing.locate import Corner, locate
from plybook.drawing.markoutlist import Addresses, template_links
from plybook.drawing.piecewords import size_words
from plybook.drawing.plumbview import plumbing_picture
from plybook.drawing.rosette import rosette, show_angle
from plybook.drawing.sectionview import best_section, section_picture
from plybook.drawing.stepview import detail_picture, step_picture
from plybook.laminate.model import Laminate, Piece
from plybook.nest.model import CutPlan
from plybook.shop.model import VACUUM, Batch, Check, Shop, Stage, Step
from plybook.spec.model import PartSpec, StationMould
from plybook.surface.model import Face
from plybook.units import show_number

MIND = "Mind:"  # before a warning at its step
_SIGN_LABEL = {"initials": "Initials", "time": "Time", "lot": "Lot or roll number"}
_FOLDED_MM, _FOLDED_HIGH_MM = 120.0, 50.0  # least width and most height of a folded section
_FOLDED_SCALE = 5.0  # a smaller one shows no ply any more: the straight section does
_FOLD_DEG, _SKIN_DEG = 60.0, 120.0  # least turn of a folded section; of a skin, round its nose
_END_MM = 96.0  # width of its enlarged end
_MOST_IDS = 60


@dataclass(frozen=True)
class Cutting:
    """Where pieces are cut from, for the steps that cut them."""

    plan: CutPlan
    part: str
    unit: str
    files: Addresses


@dataclass
class _Bench:
    """What the cards are made from; its mould fills while the steps go by."""

    spec: PartSpec
    face: Face
    laminate: Laminate
    shop: Shop
    cutting: Cutting
    findings: Sequence[Finding] = ()

    def __post_init__(self) -> None:
        self.pieces = {p.id: p for p in self.laminate.pieces}
        self.batches = {b.id: b for b in self.shop.batches}
        self.names = self.spec.materials.names()
        drops = ((layer.id, getattr(layer, "drop", None)) for layer in self.spec.layers)
        self.runs = {id: drop.run for id, drop in drops if drop}
        self.mould = InMould(self.laminate.layers)
        self.untold = [f for f in self.findings if f.severity is Severity.WARNING]


def step_pages(
    spec: PartSpec,
    face: Face,
    laminate: Laminate,
    shop: Shop,
    cutting: Cutting,
    findings: Sequence[Finding] = (),
) -> Iterator[Page]:
    """The pages of all stages; warnings stand at the first step that lays what they are about."""
    bench = _Bench(spec, face, laminate, shop, cutting, findings)
    count = len(shop.stages)
    for number, stage in enumerate(shop.stages, start=1):
        for place, step in enumerate(stage.steps, start=1):
            kicker = (
                f"Stage {number} of {count} · {stage.title} · step {place} of {len(stage.steps)}"
            )
            blocks = tuple(_blocks(bench, stage, step))
            chapter = f"{number}. {stage.title}"
            yield Page(
                step.id, step.title, kicker, blocks, "step", chapter, step.lays, step.minutes
            )
            layers = {bench.pieces[p].layer for p in step.pieces if p in bench.pieces}
            if step.lays:
                bench.mould.lay({*layers, step.layer})
            elif step.name in ("open_face", "take_off"):  # its films come off
                bench.mould.take_off(layers)


def _blocks(bench: _Bench, stage: Stage, step: Step) -> Iterator[Block]:
    pieces = [bench.pieces[p] for p in step.pieces if p in bench.pieces]
    if pieces and step.shows != "none" and not _sawn(step):
        yield _plate(bench, pieces)
    yield from _pictures(bench, stage, step, pieces)
    if step.shows == "none" and pieces and not step.lays and step.overlaps:
        yield from _cut_from(bench.cutting, step.pieces)
    for caution in step.cautions:
        source = "" if caution.again else caution.source
        yield CautionBox(caution.text, source, small=caution.again)
    if step.at_hand:
        yield Paragraph("At hand: " + ", ".join(step.at_hand) + ".", small=True)
    batches = [bench.batches[b] for b in step.batches if b in bench.batches]
    timers = {
        timer.id: TimerBox(
            field_id(step.id, timer.id), timer.label, timer.seconds, timer.kind,
            with_first_cup=timer.id == f"{step.id}.{VACUUM}",
        )
        for timer in step.timers
    }  # fmt: skip
    limits = {b.id: timers.pop(f"{step.id}.{b.id}", None) for b in batches}
    if step.text:
        many = len(step.text) > 1
        yield Items(step.text, numbered=True) if many else Paragraph(step.text[0])
    yield from _warned(bench, step)
    yield from batch_blocks(step, batches, limits)
    yield from timers.values()
    if step.checks:
        yield Heading("Check", 3)
        for place, check in enumerate(step.checks):
            block = check_block(step, check)
            if check.difference and isinstance(block, Blank):
                two = (field_id(step.id, c.id) for c in step.checks[place - 2 : place])
                block = replace(block, difference=tuple(two))
            if check.kind == "lot" and isinstance(block, Blank):
                block = replace(block, offers=_materials(bench, stage, pieces))
            yield block
    yield SignOff(
        tuple(
            Blank(
                field_id(step.id, name),
                _SIGN_LABEL[name],
                name,
                offers=_materials(bench, stage, pieces) if name == "lot" else (),
            )
            for name in SIGN_OFF
            if name != "lot" or step.lays
        )
    )


def _warned(bench: _Bench, step: Step) -> Iterator[Paragraph]:
    """Warnings about the layers that a step is the first to lay, and why they are accepted."""
    layers = {step.layer, *(bench.pieces[p].layer for p in step.pieces if p in bench.pieces)}
    for finding in tuple(bench.untold) if step.lays else ():
        if layers & set(finding.layers):
            bench.untold.remove(finding)
            why = f" Accepted because: {finding.acknowledged}." if finding.acknowledged else ""
            yield Paragraph(f"{MIND} {finding.message}.{why}".replace("..", "."), small=True)


def _materials(bench: _Bench, stage: Stage, pieces: Sequence[Piece]) -> tuple[str, ...]:
    """Materials of the pieces in hand; of a step without any, the resins of its stage."""
    used = [p.material for p in pieces]
    used = used or [b.resin for b in bench.shop.batches if b.stage == stage.id]
    return tuple(dict.fromkeys(used))


def check_block(step: Step, check: Check) -> Block:
    """A check as the field that answers it."""
    id = field_id(step.id, check.id)
    if check.kind == "tick":
        return CheckBox(id, check.text)
    return Blank(
        id,
        check.text,
        check.kind,
        check.unit,
        check.expected,
        check.tolerance,
        check.at_least,
        check.at_most,
        check.how,
    )


def _plate(bench: _Bench, pieces: Sequence[Piece]) -> Plate:
    ids = [p.id for p in pieces]
    if len(ids) > _MOST_IDS:
        ids = [ids[0], "…", ids[-1]]
    layers = list(dict.fromkeys(p.layer for p in pieces))
    materials = list(dict.fromkeys(bench.names.get(p.material, p.material) for p in pieces))
    count = sum(p.quantity for p in pieces)
    parts = [
        f"layer {', '.join(layers[:4])}{' …' if len(layers) > 4 else ''}",
        ", ".join(materials[:3]),
        f"{count} piece{'s' if count != 1 else ''}",
    ]
    angles = {show_angle(p.angle_deg) for p in pieces if p.kind in ("ply", "rod")}
    return Plate(tuple(ids), " · ".join(parts), angles.pop() if len(angles) == 1 else "")


def _pictures(bench: _Bench, stage: Stage, step: Step, pieces: Sequence[Piece]) -> Iterator[Block]:
    if step.shows == "bag":
        for bag in bench.shop.bags:
            if bag.stage == stage.id:
                yield _picture(
                    bag_plan_picture(bench.face, bag, bench.spec.part.units),
                    alt="The bag, seen from above",
                )
                if step.name == "flow" and (plumbed := plumbing_picture(bag)):
                    yield _picture(plumbed, alt="How it is plumbed, a scheme")
                if step is next(s for s in stage.steps if s.shows == "bag"):
                    section = bag_section_picture(bag)
                    yield _picture(section, alt="The bag in section: the order of the layers")
        return
    if step.shows == "jig":
        if step is next(s for s in stage.steps if s.shows == "jig"):
            sketch = jig_picture(bench.spec, bench.face, bench.shop.jig)
            if sketch is not None:
                yield _picture(sketch, "", "Where each figure is taken")
        return
    if step.shows == "mould":
        scene = step_picture(bench.face, (), ())
        yield _picture(scene, "The mould face: stations, the reference axis (0°) and the edges.")
        return
    if step.shows not in ("layer", "core", "section") or not pieces:
        return
    unit = bench.spec.part.units
    if _sawn(step):
        (piece,) = pieces
        yield _picture(
            panel_picture(piece, unit),
            f"{piece.id} on its sheet, bag side up, {size_words(piece, unit)}. Hatched rim: "
            "slope, wider than to scale.",
            f"{piece.id} with each edge and how it is cut",
        )
        return
    own = list(dict.fromkeys(p.layer for p in pieces))
    below = list(bench.mould.drawn(bench.mould.but(own if step.lays else ())))
    corners = locate(bench.face, pieces, unit)
    cut = best_section(bench.laminate, own[0], bench.runs.get(own[0], ""))
    scene = step_picture(bench.face, pieces, below, cut.line_mm if cut else None, corners)
    words = ", ".join(p.id for p in pieces[:_MOST_IDS])
    yield _picture(
        scene,
        "Seen from the bag side. Hatched: this step. Grey: already in the mould.",
        f"Where {words} lies on the part",
    )
    detail = detail_picture(bench.face, pieces, below, corners, 56.0, 40.0)
    turn = pieces[0].angle_deg if pieces[0].kind in ("ply", "rod") else None
    row = [] if turn is None else [_picture(rosette(turn), alt="Rosette")]
    if detail is not None:
        row.append(_picture(detail, alt="Detail of the step's pieces"))
    if cut is not None:
        so_far = bench.mould.together_with(own)
        room = 180.0 - sum(p.scene.window_mm[2] + 4.0 for p in row)
        strips = {
            layer: [shapely.Polygon(p.laid_outline_mm) for p in pieces if p.layer == layer]
            for layer in own if any(p.kind == "rod" and p.layer == layer for p in pieces)
        }  # fmt: skip
        mould = bench.spec.mould
        is_skin = isinstance(mould, StationMould) and mould.side != "all"
        turn_deg = _SKIN_DEG if is_skin else _FOLD_DEG
        folded = folded_section(cut, so_far, bench.face, own, strips, turn_deg)
        if folded is None or folded.scale(180.0, _FOLDED_HIGH_MM) > _FOLDED_SCALE:
            section = section_picture(cut, so_far, own, room, 46.0)
            row.append(_picture(section, alt=f"The stack so far in section, {cut.name}"))
        else:
            if room < _FOLDED_MM:
                yield PictureRow(tuple(row))
                row, room = [], 180.0
            row += _folded(folded, room, bool(strips))
    yield PictureRow(tuple(row))
    if corners:
        yield corner_table(corners)


def _folded(section: FoldedSection, room_mm: float, is_rod: bool) -> Iterator[Picture]:
    """The stack so far as it truly lies; rods that lie side by side enlarged beside it."""
    end = section.enlarged(_END_MM, _FOLDED_HIGH_MM) if is_rod else None
    if end is not None:
        room_mm -= end.window_mm[2] + 4.0
    whole = section.picture(room_mm, _FOLDED_HIGH_MM)
    for scene in (whole, *([end] if end is not None else [])):
        yield replace(_picture(scene, f"{scene.title} on paper.", scene.title), to_scale=True)


def _cut_from(cutting: Cutting, pieces: Sequence[str]) -> Iterator[Block]:
    """The layouts a step cuts its pieces from, and their templates; on screen, beside the words."""
    wanted = {f"{cutting.part}/{piece}" for piece in pieces}
    items = {item.id: item for item in cutting.plan.items}
    folds = 0
    for layout in cutting.plan.layouts:
        if any(p.item in wanted for p in layout.placements):
            scene = small_layout(layout, items, cutting.part, cutting.unit)
            name = f"{layout.unit.kind.capitalize()} {layout.unit.id}"
            picture = _picture(scene, f"{name}; its mark-out is on its own page.", name)
            yield OnScreen((picture,), f"{name}: where its pieces lie" if folds else "")
            folds += 1
    links = template_links(list(pieces), cutting.files)
    if links:
        yield OnScreen((Links("", tuple(links)),), "Templates of these pieces")


def _sawn(step: Step) -> bool:
    """Whether a step saws one core panel at the bench; where it lies comes later."""
    return step.shows == "core" and step.overlaps and not step.lays and len(step.pieces) == 1


def _picture(scene, caption: str = "", alt: str = "") -> Picture:
    return Picture(scene, scene.window_mm[3] - scene.window_mm[1], caption, alt or caption)


def corner_table(corners: Sequence[Corner]) -> Table:
    """Where the lettered corners lie; those in line with one of two edges in two columns."""
    across = list(dict.fromkeys(c.second for c in corners))
    lines = [[c for c in corners if c.second == second] for second in across]
    if len(corners) >= 4 and len(lines) == 2 and len(lines[0]) == len(lines[1]) and all(across):
        return Table(
            ("Corner", across[0], "Corner", across[1]),
            tuple(
                (f"{a.letter} of {a.piece}", a.first, f"{b.letter} of {b.piece}", b.first)
                for a, b in zip(*lines, strict=True)
            ),
        )
    return Table(
        ("Corner", "Along", "Across"),
        tuple((f"{c.letter} of {c.piece}", c.first, c.second) for c in corners),
    )


def batch_blocks(
    step: Step, batches: Sequence[Batch], limits: Mapping[str, TimerBox | None]
) -> Iterator[Block]:
    """The cups of a step: parts by mass, how long each lasts, blanks for time mixed and lots.

    A cup that was mixed for an earlier step is only named.

    Args:
        step: whose cups they are.
        batches: of the step, in the order of mixing.
        limits: the timer of each cup, by its id.
    """
    fresh = [b for b in batches if b.step == step.id]
    rest = [b for b in batches if b.step != step.id]
    if rest:
        ids = " and ".join(b.id for b in rest)
        yield Paragraph(f"Resin: what is left of {ids}, as long as its time has not run out.")
    if not fresh:
        return
    yield Cups(
        tuple(
            Cup(
                b.id,
                cup_parts(b),
                _use(b),
                Blank(field_id(step.id, f"{b.id}.mixed"), f"{b.id} mixed at", "time"),
                Blank(field_id(step.id, f"{b.id}.lot"), f"{b.id} lots", "lot", offers=(b.resin,)),
                limits[b.id],
                b.tray_s,
                b.parts,
                b.decimals,
                Blank(field_id(step.id, f"{b.id}.weighed"), f"{b.parts[0][0]} weighed, g"),
            )
            for b in fresh
        )
    )


def _use(batch: Batch) -> str:
    """What a cup is for, and how long it may stand in the cup."""
    words = [batch.purpose]
    if batch.tray_s:
        words.append(f"In the tray within {show_duration(batch.tray_s)}")
    if not batch.in_time:
        words.append("DOES NOT LAST: mix it in smaller cups")
    return ". ".join(words)


def cup_parts(batch: Batch) -> str:
    """'resin 323 g + hardener 97 g = 420 g', and the filler that is stirred in then."""
    mixed = " + ".join(f"{name} {_grams(mass, batch)} g" for name, mass in batch.parts)
    whole = f"{mixed} = {show_number(batch.mass_g, batch.decimals)} g"
    return f"{whole}, then {_filler(batch)}" if batch.filler else whole


def batch_parts(batch: Batch) -> str:
    """'resin 323 g + hardener 97 g', with the filler where there is one."""
    parts = [f"{name} {_grams(mass, batch)} g" for name, mass in batch.parts]
    return " + ".join([*parts, _filler(batch)] if batch.filler else parts)


def _filler(batch: Batch) -> str:
    loose = f" (about {batch.filler_ml:.0f} ml loose)" if batch.filler_ml else ""
    return f"{batch.filler} {batch.filler_g:.0f} g{loose}"


def _grams(mass_g: float, batch: Batch) -> str:
    return f"{mass_g:.{batch.decimals}f}"
