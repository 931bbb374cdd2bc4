"""Pages after the last step: jig card, quantities, the stack, zones and pattern, findings."""

from __future__ import annotations

import math
from dataclasses import replace

from plybook.diagnostics import Finding
from plybook.drawing.bookstart import kicker, unique
from plybook.drawing.document import (
    Blank,
    Block,
    Heading,
    Page,
    Paragraph,
    Picture,
    Table,
    figure,
    jig_field_id,
)
from plybook.drawing.foldview import folded_section
from plybook.drawing.jigview import jig_picture
from plybook.drawing.partview import strain_picture
from plybook.drawing.rosette import show_angle
from plybook.drawing.stacks import stack_pictures, stack_words
from plybook.drawing.zoneview import zone_picture
from plybook.laminate.model import Laminate
from plybook.laminate.stiffness import terms
from plybook.shop.model import Quantity, Shop
from plybook.spec.model import OutlineMould, PartSpec
from plybook.surface.model import Face
from plybook.units import (
    CLOTH,
    area_unit,
    grain_of,
    show_amount,
    show_area,
    show_growth,
    show_length,
    show_mass,
    show_number,
    show_price,
    show_thickness,
)

AFTER = "After the cure"
BUY_TOTAL = "What is to be bought, together:"
_STACKS = "The layers as they lie on one another; a zone has those that are filled in its column."
MOST_STIFF = 12  # zones whose stiffness is shown on paper


def jig_page(spec: PartSpec, face: Face, shop: Shop) -> Page | None:
    """Expected figures in the jig, a blank for each found value; None where steps ask for them."""
    asked = any(step.shows == "jig" for stage in shop.stages for step in stage.steps)
    if not shop.jig or asked:
        return None
    blocks: list[Block] = [
        Paragraph(
            "Measured in the jig before the part is released. Write the "
            "value found, not the value hoped for."
        )
    ]
    scene = jig_picture(spec, face, shop.jig)
    if scene is not None:
        blocks.append(Picture(scene, scene.window_mm[3], "", "Where each figure is taken"))
    for number, m in enumerate(shop.jig, start=1):
        title = f"{number}. {m.title}"
        blocks.append(
            Blank(jig_field_id(m.id), title, "measure", m.unit, m.expected, m.tolerance, note=m.how)
        )
    return Page("jig", "Jig card", kicker(spec), tuple(blocks), "record", AFTER)


def quantities_page(spec: PartSpec, shop: Shop, laminate: Laminate) -> Page:
    """Everything used, by group."""
    titles = {
        "cloth": "Cloth",
        "core": "Core and inserts",
        "rod": "Rods",
        "resin": "Resin",
        "consumable": "Consumables",
        "mass": "Mass of the part",
        "gone": "Weighed on the way",
        "buy": "To buy",
    }
    unit = spec.part.units
    centre = (
        f"{axis} {show_length(float(v), unit, grain=CLOTH)}"
        for axis, v in zip("xyz", laminate.centre_mm, strict=True)
    )
    flat = isinstance(spec.mould, OutlineMould)
    axes = "x and y as drawn, z off the mould face" if flat else "x aft, y starboard, z up"
    blocks: list[Block] = [
        Paragraph(
            f"The part, cured and trimmed, without what is peeled off: "
            f"{show_mass(shop.budget.part_g)}; centre of gravity of the laminate "
            f"{', '.join(centre)} in part axes ({axes})."
        )
    ]
    groups = unique(q.group for q in shop.quantities if q.group != "centre")
    for group in groups:
        rows = tuple(
            (
                q.item,
                show_amount(q.amount, q.unit, unit),
                q.detail,
                show_price(q.price, spec.workshop.currency),
            )
            for q in _by_item([q for q in shop.quantities if q.group == group], shop)
        )
        priced = any(row[3] for row in rows)
        head = ("What", "Amount", "Detail", "Price")
        keep = 4 if priced else 3
        blocks += [
            Heading(titles.get(group, group), 3),
            Table(
                head[:keep],
                tuple(r[:keep] for r in rows),
                "lrlr"[:keep],
            ),
        ]
    total = math.fsum(q.price for q in shop.quantities if q.group == "buy")
    if total:
        told = show_price(total, spec.workshop.currency)
        blocks.append(Paragraph(f"{BUY_TOTAL} {told}; what has no price is not in the sum."))
    return Page("quantities", "Quantities", kicker(spec), tuple(blocks), chapter=AFTER)


def _by_item(rows: list[Quantity], shop: Shop) -> list[Quantity]:
    """Consumables added up over the stages; each cut stands with its size in its own stage."""
    if not rows or rows[0].group != "consumable":
        return rows
    numbers = {stage.id: str(n) for n, stage in enumerate(shop.stages, start=1)}
    by_item: dict[tuple[str, str], list[Quantity]] = {}
    for row in rows:
        by_item.setdefault((row.item, row.unit), []).append(row)
    added = []
    for same in by_item.values():
        stages = unique(numbers[row.stage] for row in same if row.stage in numbers)
        where = f"stage{'s' if len(stages) > 1 else ''} {', '.join(stages)}"
        amount = sum(row.amount for row in same)
        added.append(replace(same[0], amount=amount, detail=where if stages else same[0].detail))
    return added


def ply_table_page(spec: PartSpec, face: Face, laminate: Laminate) -> Page:
    """The stack from the mould face up, and how far each cut departs from the bare pattern."""
    names, unit = spec.materials.names(), spec.part.units
    by_id = {p.id: p for p in laminate.pieces}
    rows = []
    for place, layer in enumerate(laminate.layers, start=1):
        growth = [by_id[p].growth for p in layer.pieces if p in by_id]
        along = max((g.along_mm for g in growth), key=abs, default=0.0)
        across = max((g.across_mm for g in growth), key=abs, default=0.0)
        rows.append(
            (
                str(place),
                layer.id,
                show_angle(layer.angle_deg) if layer.kind in ("ply", "rod") else layer.kind,
                names.get(layer.material, layer.material),
                show_thickness(layer.thickness_mm, unit),
                ", ".join(layer.pieces),
                show_growth(along, unit, grain_of(layer.kind)),
                show_growth(across, unit, grain_of(layer.kind)),
            )
        )
    table = Table(
        ("No.", "Layer", "Angle", "Material", f"t, {unit}", "Pieces",
         f"Along, {unit}", f"Across, {unit}"),
        tuple(rows),
        "rlllrlrr",
    )
    words = Paragraph(
        "From the mould face up. Along and across: how much longer the piece is cut "
        "than the same area of the bare mould face, because of what lies "
        "below it."
    )
    folded = (folded_section(cut, laminate.layers, face) for cut in laminate.sections)
    pictures = [
        Picture(scene, scene.window_mm[3] - scene.window_mm[1], f"{scene.title} on paper.",
                scene.title, to_scale=True)
        for scene in (section.picture() for section in folded if section is not None)
    ]
    return Page("stack", "The stack", kicker(spec), (words, table, *pictures), chapter=AFTER)


def zones_page(spec: PartSpec, face: Face, laminate: Laminate) -> Page:
    """Zones with their stacks, and the strain of the pattern."""
    blocks: list[Block] = []
    unit = spec.part.units
    layers = {layer.id: layer for layer in laminate.layers}
    if laminate.zones:
        rows = tuple(
            (
                z.label,
                stack_words(z, layers),
                show_thickness(z.thickness_mm, unit),
                show_area(z.area_m2, unit),
                f"{z.mass_g:.0f}",
                "yes" if z.symmetric else "no",
                "yes" if z.balanced else "no",
            )
            for z in laminate.zones
        )
        blocks += [
            Paragraph(
                "Each zone has one stack. For information: symmetry and balance are the "
                "designer's business."
            ),
            Table(
                (
                    "Zone",
                    "Stack, from the mould face up",
                    f"t, {unit}",
                    f"Area, {area_unit(unit)}",
                    "Mass, g",
                    "Symmetric",
                    "Balanced",
                ),
                rows,
                "llrrrll",
            ),
        ]
        blocks += [
            Picture(scene, scene.window_mm[3], _STACKS, "The layers of each zone")
            for scene in stack_pictures(laminate.zones, laminate.layers, spec.materials.names())
        ]
        shown = zone_picture(face, laminate.zones)
        blocks.append(
            Picture(
                shown,
                shown.window_mm[3] - shown.window_mm[1],
                "Where each zone lies, from the bag side.",
                "The zones of the part",
            )
        )
    blocks += _stiffness(laminate)
    strain = face.strain
    blocks.append(Heading("Flat pattern", 3))
    if face.flat:
        blocks.append(Paragraph("The face is flat: the pattern is the face."))
    else:
        verdict = "counts as developable" if strain.developable else "is NOT developable"
        blocks.append(
            Paragraph(
                f"The face {verdict} (limit {figure(strain.tolerance_pct)} %). Largest strain of "
                f"the face against the pattern: {strain.largest_tension_pct:.3f} % tension, "
                f"{abs(strain.largest_compression_pct):.3f} % compression, shear "
                f"{strain.largest_shear_deg:.2f}°."
            )
        )
        scene = strain_picture(face, strain)
        if scene is not None:
            blocks.append(
                Picture(
                    scene,
                    scene.window_mm[3],
                    "Closer hatching: more strain.",
                    "Strain of the pattern",
                )
            )
    return Page("zones", "Zones and pattern", kicker(spec), tuple(blocks), chapter=AFTER)


def _stiffness(laminate: Laminate) -> list[Block]:
    """A, B and D of the zones whose cloths have elastic constants."""
    known = [(zone.label, zone.abd) for zone in laminate.zones if zone.abd is not None]
    if not known:
        return []
    rows = []
    for label, stiffness in known[:MOST_STIFF]:
        values = [show_number(value, 0) for value in terms(stiffness)]
        for k, name in enumerate(("A, N/mm", "B, N", "D, N mm")):
            rows.append((label if k == 0 else "", name, *values[6 * k : 6 * k + 6]))
    words = (
        "Classical lamination theory from the elastic constants on the cards of the cloths, about "
        "the middle of the stack, 1 along the axis of the pattern, 2 across it; core counts as a "
        "spacer. For information: the tool sizes nothing. Strength, buckling, core shear and "
        "joints are the designer's."
    )
    left = [zone.label for zone in laminate.zones if zone.abd is None]
    if left:
        words += f" Without constants or with rods, so not given: {', '.join(left)}."
    if len(known) > MOST_STIFF:
        words += f" The first {MOST_STIFF} of {len(known)}; all are in tables/stiffness.csv."
    head = ("Zone", "Matrix", "11", "12", "16", "22", "26", "66")
    return [
        Heading("Stiffness of the zones", 3),
        Paragraph(words),
        Table(head, tuple(rows), "llrrrrrr"),
    ]


def estimates_page(spec: PartSpec, shop: Shop) -> Page | None:
    """The tool's own figures, each with where it comes from."""
    if not shop.estimates:
        return None
    by_source: dict[str, list[str]] = {}
    for line in shop.estimates:
        what, _, source = line.partition(" - ")
        by_source.setdefault(source, []).append(what)
    table = Table(
        ("Where they come from", "Figures"),
        tuple((source, "; ".join(figures)) for source, figures in by_source.items()),
        widths=(0.3, 0.7),
    )
    words = Paragraph(
        "What the clock, the resin and the bag were reckoned with. Where your data sheet or your "
        "own experience says otherwise, enter it in the spec: the builder's own numbers win."
    )
    return Page("estimates", "Figures and sources", kicker(spec), (words, table), chapter=AFTER)


def findings_page(spec: PartSpec, findings: tuple[Finding, ...]) -> Page:
    """What the tool had to say, and what the builder accepted with which reason."""
    open_ = [f for f in findings if not f.acknowledged]
    accepted = [f for f in findings if f.acknowledged]
    blocks: list[Block] = []
    if not findings:
        blocks.append(Paragraph("Nothing was found that needs a decision."))
    for title, rows in (("Open", open_), ("Accepted by the builder", accepted)):
        if not rows:
            continue
        blocks.append(Heading(title, 3))
        for f in rows:
            layers = f" ({', '.join(f.layers)})" if f.layers else ""
            blocks.append(
                Paragraph(
                    f"{f.severity.value.upper()} {f.code}{layers}: {f.message}.".replace("..", "."),
                    strong=not f.acknowledged,
                )
            )
            tail = []
            if f.acknowledged:
                tail.append(f"Accepted because: {f.acknowledged}.")
            elif f.help:
                tail.append(f"To mend it: {f.help}.")
            if f.source:
                tail.append(f"Source: {f.source}.")
            if tail:
                blocks.append(Paragraph(" ".join(tail).replace("..", "."), small=True))
    return Page("findings", "Findings", kicker(spec), tuple(blocks), chapter=AFTER)
