"""The rows of `tables/*.csv`: one function per table, units in the heads, stable order."""

from __future__ import annotations

from collections.abc import Sequence

from plybook.laminate.model import Laminate
from plybook.laminate.stiffness import TERMS, terms
from plybook.nest.markout import mark_out
from plybook.nest.model import CutPlan
from plybook.shop.model import Quantity, Shop
from plybook.shop.setout import SetOut
from plybook.units import STIFF, show_length, show_number

Cell = str | int
Table = tuple[tuple[str, ...], Sequence[tuple[Cell, ...]]]


def pieces_table(laminate: Laminate) -> Table:
    """One row per piece."""
    head = (
        "piece", "layer", "kind", "material", "angle_deg", "quantity", "stage", "length_mm",
        "width_mm", "area_m2", "thickness_mm", "growth_along_mm", "growth_across_mm",
        "growth_area_pct", "splice_part", "splice_of",
    )  # fmt: skip
    rows = []
    for p in laminate.pieces:
        size = p.outline_mm.max(axis=0) - p.outline_mm.min(axis=0)
        rows.append(
            (
                p.id, p.layer, p.kind, p.material, show_number(p.angle_deg, 3), p.quantity, p.stage,
                show_number(size[0], 1), show_number(size[1], 1),
                show_number(p.area_mm2 / 1e6, 6), show_number(p.thickness_mm, 4),
                show_number(p.growth.along_mm, 3), show_number(p.growth.across_mm, 3),
                show_number(p.growth.area_pct, 4),
                p.splice.part if p.splice else "", p.splice.of if p.splice else "",
            )
        )  # fmt: skip
    return head, rows


def stiffness_table(laminate: Laminate) -> Table:
    """One row per zone whose cloths all have elastic constants: its A, B and D.

    A is in N/mm, B in N, D in N mm, about the middle of the stack, in the axes of the pattern.
    """
    units = {"A": "N_mm", "B": "N", "D": "Nmm"}
    names = (f"{matrix}{place}_{units[matrix]}" for matrix, place in TERMS)
    head = ("zone", "stack", "thickness_mm", *names)
    rows = [
        (
            zone.label, zone.code, show_number(zone.thickness_mm, 4),
            *(show_number(value, 2) for value in terms(zone.abd)),
        )
        for zone in laminate.zones
        if zone.abd is not None
    ]  # fmt: skip
    return head, rows


def stock_table(plan: CutPlan) -> Table:
    """One row per roll, sheet or bar that is cut."""
    head = (
        "stock", "kind", "material", "width_mm", "length_mm", "used_length_mm", "least_length_mm",
        "utilisation_pct", "pieces", "to_buy",
    )  # fmt: skip
    rows = [
        (
            entry.unit.id, entry.unit.kind, entry.unit.material,
            show_number(entry.unit.width_mm, 1), show_number(entry.unit.length_mm, 1),
            show_number(entry.used_length_mm, 1), show_number(entry.bound_mm, 1),
            show_number(100 * entry.utilisation, 2), len(entry.placements),
            "yes" if entry.unit.bought else "no",
        )
        for entry in plan.layouts
    ]  # fmt: skip
    return head, rows


def placements_table(plan: CutPlan, unit: str, number: str = "") -> Table:
    """One row per placed piece, of one part where a number is given; a placed point is mirrored,
    turned, then moved.

    `x_mm` and `y_mm` say where the piece's own zero lies, from the stock's end and the lower edge
    of its usable width: for one that is turned, that may be beside the stock. `from_mm` to `to_mm`
    is what its mark-out takes along the stock, from the line of `bay`; from the end without one.
    """
    head = (
        "stock", "part", "piece", "copy", "x_mm", "y_mm", "rotation_deg", "face_down", "bay",
        "from_mm", "to_mm",
    )  # fmt: skip
    rows = []
    rings = {item.id: item.outline_mm for item in plan.items}
    for entry in plan.layouts:
        told = {(m.item, m.copy): m for m in mark_out(entry, rings, unit)}
        for p in entry.placements:
            mark = told[p.item, p.copy]
            part, _, piece = p.item.rpartition("/")
            if number and part != number:
                continue
            rows.append(
                (
                    entry.unit.id, part, piece, p.copy, show_number(p.x_mm, 4),
                    show_number(p.y_mm, 4), show_number(p.rotation_deg, 6),
                    "yes" if p.flipped else "no", mark.bay or "",
                    show_number(float(mark.told_mm[:, 0].min()), 4),
                    show_number(float(mark.told_mm[:, 0].max()), 4),
                )
            )  # fmt: skip
    return head, rows


def kits_table(plan: CutPlan) -> Table:
    """One row per way of sorting pieces into kits and material on rolls; no row where nothing is
    said of kits, no length where the stock is short."""
    head = ("way", "kits", "cut_so", "material", "length_mm")
    rows = [
        (way.way, way.kits, "yes" if way.chosen else "no", material,
         "" if mm is None else show_number(mm, 1))
        for way in plan.kits
        for material, mm in way.lengths_mm
    ]  # fmt: skip
    return head, rows


def bag_cuts_table(shop: Shop) -> Table:
    """One row per rectangle for a bag, roll by roll, from the roll's end on."""
    head = (
        "material", "roll", "roll_width_mm", "number", "cut", "stage", "copy", "of",
        "along_from_mm", "along_to_mm", "across_from_mm", "across_to_mm", "where",
    )  # fmt: skip
    met: dict[str, int] = {}
    rows = []
    for roll in shop.bag_rolls:
        met[roll.role] = met.get(roll.role, 0) + 1
        rows += [
            (
                roll.name, met[roll.role], show_number(roll.width_mm, 1), number, cut.id, cut.stage,
                cut.copy, cut.of, show_number(cut.x_mm, 1), show_number(cut.x_mm + cut.along_mm, 1),
                show_number(cut.y_mm, 1), show_number(cut.y_mm + cut.across_mm, 1), cut.where,
            )
            for number, cut in enumerate(roll.cuts, start=1)
        ]  # fmt: skip
    return head, rows


def quantities_table(shop: Shop, currency: str) -> Table:
    """Everything needed, by group; prices in a currency, "" where it is not said."""
    head = ("group", "item", "amount", "unit", "detail", "stage", "price", "currency")
    rows = [
        (
            q.group, q.item, show_number(q.amount, 3), q.unit, q.detail, q.stage,
            *_price(q, currency),
        )
        for q in shop.quantities
    ]  # fmt: skip
    return head, rows


def _price(row: Quantity, currency: str) -> tuple[str, str]:
    """The cells of a price and its currency, empty where there is none."""
    return (show_number(row.price, 2), currency) if row.price else ("", "")


def purchases_table(rows: Sequence[Quantity], currency: str) -> Table:
    """One row per thing to buy for several parts."""
    head = ("item", "amount", "unit", "parts", "price", "currency")
    return head, [
        (
            row.item, show_number(row.amount, 3), row.unit, row.detail, *_price(row, currency),
        )
        for row in rows
    ]  # fmt: skip


def resin_table(shop: Shop) -> Table:
    """One row per component of each batch; the parts of a batch sum to its mass."""
    head = (
        "batch", "stage", "resin", "purpose", "batch_g", "component", "component_g", "filler",
        "filler_g", "pot_life_min",
    )  # fmt: skip
    rows = [
        (
            b.id, b.stage, b.resin, b.purpose, show_number(b.mass_g, 1), name,
            show_number(mass, 1), b.filler, show_number(b.filler_g, 1) if b.filler else "",
            show_number(b.pot_life_s / 60, 1),
        )
        for b in shop.batches
        for name, mass in b.parts
    ]  # fmt: skip
    return head, rows


def checks_table(shop: Shop) -> Table:
    """Every check of every step, with what is expected."""
    head = ("stage", "step", "check", "kind", "text", "expected", "tolerance", "unit")
    rows = [
        (
            stage.id, step.id, check.id, check.kind, check.text,
            "" if check.expected is None else show_number(check.expected, 3),
            "" if check.tolerance is None else show_number(check.tolerance, 3), check.unit,
        )
        for stage in shop.stages
        for step in stage.steps
        for check in step.checks
    ]  # fmt: skip
    return head, rows


def setout_table(setout: SetOut, unit: str) -> Table:
    """Every figure of the set-out of the mould: ties of marks, diagonals, offsets of bows.

    `tape` is the figure as a tape in the part's unit shows it.
    """
    head = (
        "figure", "mark", "to", "role", "of", "from", "side", "at_mm", "value_mm", "tape",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []

    def add(figure: str, mark: int, to: Cell, role: str, of: str, line: str, side: str, at: str,
            value_mm: float) -> None:  # fmt: skip
        told = show_length(value_mm, unit, grain=STIFF)
        value = show_number(value_mm, 3)
        rows.append((figure, mark, to, role, of, line, side, at, value, told))

    for mark in setout.marks:
        for tie in mark.ties:
            add(tie.way, mark.number, "", mark.role, mark.of, tie.line, tie.side, "", tie.mm)
    for d in setout.diagonals:
        add("diagonal", d.start, d.end, "", d.of, "", "", "", d.mm)
    for bow in setout.bows:
        for at, off in zip(bow.at_mm, bow.offsets_mm, strict=True):
            side = bow.sides[0] if off > 0 else bow.sides[1]
            add("bow", bow.start, bow.end, "", bow.line, "string", side, show_number(at, 3),
                abs(off))  # fmt: skip
    return head, rows
