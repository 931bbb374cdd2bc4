"""Mark-out of a layout as the booklet shows it on screen: one row for each piece, and the files to
go on from. On paper both stand in the cut plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from plybook.drawing.baywords import bays_told, longer_than_table, working
from plybook.drawing.document import Block, Links, OnScreen, Paragraph, Table
from plybook.drawing.roundwords import round_said
from plybook.nest.markout import MarkedPiece, mark_out, stock_grain, tape
from plybook.nest.model import Item, Layout
from plybook.units import show_length

LIGHT = "Light on the cutting table, in place of paper"


@dataclass(frozen=True)
class Addresses:
    """Files beside the booklet, by the id of the piece or stock they show; none known: no links.

    Those of the stock lie in the folder `shared` beside the part's own, where it is named.
    """

    pieces: Mapping[str, str] = field(default_factory=dict)
    stock: Mapping[str, str] = field(default_factory=dict)
    whole: tuple[tuple[str, str], ...] = ()  # (words, address)
    light: str = ""  # the page of the cutting table
    shared: str = ""  # folder of the cut plan of several parts


def mark_out_on_screen(
    layout: Layout, items: Mapping[str, Item], part: str, unit: str, files: Addresses
) -> OnScreen:
    """The mark-out of a part's pieces on one roll, sheet or bar, in the order of cutting.

    Args:
        layout: proved layout.
        items: by id "<part number>/<piece id>".
        part: number of the part the book is for.
        unit: "mm" or "in": the tape in the builder's hand.
        files: what is linked to.
    """
    rings = {p.item: items[p.item].outline_mm for p in layout.placements}
    copies = {item.id: item.demand for item in items.values()}
    bar = layout.unit.kind == "bar"
    rows, pieces, more = [], [], []
    marked = mark_out(layout, rings, unit)
    for number, mark in enumerate(marked, start=1):
        own, _, piece = mark.item.rpartition("/")
        if own != part:
            continue
        pieces.append(piece)
        words = (round_said(mark, unit), longer_than_table(mark, layout, unit))
        more += [f"{piece}: {said}" for said in words if said]
        name = f"{piece}, {mark.copy} of {copies[mark.item]}" if copies[mark.item] > 1 else piece
        where = (str(mark.bay),) if layout.bays else ()
        rows.append((str(number), name, *where, _span(mark, unit) if bar else _points(mark, unit)))
    grain = stock_grain(layout.unit.kind)
    step = show_length(grain.step_mm(unit), unit, grain=grain)
    start = "line of its bay" if layout.bays else "end"
    reading = (
        f"Figures in {unit}, from the end of the {layout.unit.kind}."
        if bar
        else f"Each point: along from the {start} / across from the edge of the "
        f"{layout.unit.kind}, in {unit}, to the next {step} outwards. Point 1 is the one nearest "
        f"to the {start.split()[0]}; the others follow counter-clockwise. Curves are marked as "
        "chords: trim with the template."
    )
    blocks: list[Block] = [Paragraph(reading)]
    if layout.bays:
        told = bays_told(layout, marked, items, unit)
        lines = tuple((str(one.bay.number), one.said, one.along) for one in told)
        blocks = [
            Paragraph(working(layout, unit)),
            Table(("Bay", "Before its pieces are cut", f"To its next line, {unit}"), lines, "rlr",
                  f"Bays of {layout.unit.id}"),
            *blocks,
        ]  # fmt: skip
    blocks += map(Paragraph, more)
    figures = "From and to" if bar else "Points, along / across"
    heads = ("No.", "Piece", "Bay", figures) if layout.bays else ("No.", "Piece", figures)
    blocks.append(Table(heads, tuple(rows), "rlrl" if layout.bays else "rll",
                        f"Mark-out of {layout.unit.id}, in the order of cutting"))  # fmt: skip
    drawn = layout.unit.id in files.stock
    links = [(f"{layout.unit.id} at full size", files.stock[layout.unit.id])] if drawn else []
    links += template_links(pieces, files)
    if links:
        blocks.append(Links("Drawings at full size", tuple(links)))
    return OnScreen(tuple(blocks))


def template_links(pieces: list[str], files: Addresses) -> list[tuple[str, str]]:
    """The templates of pieces, each once, and the page that shows them without paper."""
    known = (p for p in dict.fromkeys(pieces) if p in files.pieces)
    links = [(f"Template {piece}", files.pieces[piece]) for piece in known]
    return [*links, (LIGHT, files.light)] if links and files.light else links


def _points(mark: MarkedPiece, unit: str) -> str:
    return " · ".join(
        f"{k}: {tape(float(x), unit)} / {tape(float(y), unit)}"
        for k, (x, y) in enumerate(mark.told_mm, start=1)
    )


def _span(mark: MarkedPiece, unit: str) -> str:
    along = mark.told_mm[:, 0]
    return f"{tape(float(along.min()), unit)} to {tape(float(along.max()), unit)}"
