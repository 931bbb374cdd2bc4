"""A label for every piece, stuck on as it comes off the roll, and kit lists by stage.

Terms:
    label sheet: a sheet of self-adhesive labels in rows and columns. The two in every stationer's
        (common practice, no source; from memory): A4 with 3 x 8 labels of 70 x 37 mm, Letter with
        3 x 10 labels of 2 5/8 x 1 in; with QR codes 2 x 7 of 99.1 x 38.1 mm and 2 x 5 of 4 x 2 in.
    side: a label goes on the side that is up in the mould, the bag side.
    turn: the place of a piece among all that its stage lays, in the order of the steps.
    stock place: where along its roll, sheet or bar a piece is cut, in the figures of its mark-out.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from plybook.drawing.document import Block, CheckBox, Heading, Items, Page, Paragraph
from plybook.drawing.rosette import show_angle
from plybook.laminate.model import Laminate, Piece
from plybook.nest.markout import mark_out, tape
from plybook.nest.model import CutPlan
from plybook.shop.model import Shop
from plybook.spec.model import PartSpec

HANDS = {"left": "LEFT", "right": "RIGHT", "none": ""}


@dataclass(frozen=True)
class Label:
    """What one label says. `angle_deg` None: no fibre direction."""

    id: str
    angle: str
    angle_deg: float | None
    layer: str
    side: str  # which side is up, on which stage it is laid, and in which turn
    edges: str  # how its edges are cut, or its place in a splice
    part: str
    count: str  # "1 of 2"
    stock: str = ""  # from which roll, sheet or bar, and where along it
    datum: str = ""  # the corner it is laid by
    link: str = ""  # what opens the step that lays it; "": no QR code


@dataclass(frozen=True)
class LabelSheet:
    """A sheet of labels: the first label's top left corner, sizes and pitches, mm."""

    paper: str
    columns: int
    rows: int
    wide_mm: float
    tall_mm: float
    left_mm: float
    top_mm: float
    across_mm: float  # pitch
    down_mm: float

    @property
    def on_sheet(self) -> int:
        return self.columns * self.rows


BY_HAND = "cut by hand from its roll"
LONGEST_LINK = 200  # characters; a code of more is too fine for a label
SHEETS = {
    "a4": LabelSheet("a4", 3, 8, 70.0, 37.0, 0.0, 0.5, 70.0, 37.0),
    "letter": LabelSheet("letter", 3, 10, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4),
}
LARGE = {
    "a4": LabelSheet("a4", 2, 7, 99.1, 38.1, 4.65, 15.15, 101.6, 38.1),
    "letter": LabelSheet("letter", 2, 5, 101.6, 50.8, 3.96875, 12.7, 106.3625, 50.8),
}


def label_sheet(spec: PartSpec) -> LabelSheet:
    """The label sheet for the spec's paper; small labels have no room for a QR code."""
    return (LARGE if spec.workshop.booklets_at else SHEETS)[spec.workshop.paper]


def piece_labels(
    spec: PartSpec, laminate: Laminate, shop: Shop, plan: CutPlan
) -> tuple[Label, ...]:
    """One label for each copy of each piece, in the order of laying."""
    part = spec.part
    turns, places = _turns(laminate, shop), _stock_places(plan, part.number, part.units)
    links = _links(spec, shop)
    names = spec.materials.names()
    count = len(shop.stages)
    stages = {stage.id: f"{n} of {count}" for n, stage in enumerate(shop.stages, start=1)}
    owner = " ".join(w for w in (part.number, f"rev {part.revision}", HANDS[part.hand]) if w)
    out = []
    for piece in laminate.pieces:
        fibre = piece.kind in ("ply", "rod")
        stage = stages.get(piece.stage, piece.stage)
        datum = next((mark.label for mark in piece.marks if mark.kind == "datum"), "")
        for copy in range(1, piece.quantity + 1):
            turn = turns.get((piece.id, copy), "")
            out.append(
                Label(
                    piece.id,
                    show_angle(piece.angle_deg) if fibre else "",
                    piece.angle_deg if fibre else None,
                    f"{piece.layer} · {names.get(piece.material, piece.material)}",
                    f"BAG SIDE UP · stage {stage}{turn}",
                    edge_words(piece),
                    owner,
                    f"QTY {copy} of {piece.quantity}",
                    places.get((piece.id, copy), BY_HAND),
                    f"DATUM {datum}" if datum else "",
                    links.get(piece.id, ""),
                )
            )
    return tuple(out)


def _turns(laminate: Laminate, shop: Shop) -> dict[tuple[str, int], str]:
    """When each copy of a piece is laid, by the laying steps of its stage."""
    quantity = {piece.id: piece.quantity for piece in laminate.pieces}
    found = {}
    for stage in shop.stages:
        laid = dict.fromkeys(p for step in stage.steps if step.lays for p in step.pieces)
        copies = [(p, copy) for p in laid for copy in range(1, quantity.get(p, 0) + 1)]
        for turn, one in enumerate(copies, start=1):
            found[one] = f" · lay {turn} of {len(copies)}"
    return found


def _links(spec: PartSpec, shop: Shop) -> dict[str, str]:
    """What opens the step that lays each piece, where the spec says where booklets are found."""
    base, found = spec.workshop.booklets_at, {}
    for step in (step for stage in shop.stages for step in stage.steps if step.lays and base):
        link = f"{base}{quote(spec.part.number)}/booklet.html#{quote(step.id)}"
        for piece in step.pieces if len(link) <= LONGEST_LINK else ():
            found.setdefault(piece, link)
    return found


def _stock_places(plan: CutPlan, number: str, unit: str) -> dict[tuple[str, int], str]:
    """Where each copy of a part's pieces is cut: the stock, its bay, and from and to along it."""
    rings = {item.id: item.outline_mm for item in plan.items}
    found = {}
    for layout in plan.layouts:
        if not any(p.item.rpartition("/")[0] == number for p in layout.placements):
            continue
        for mark in mark_out(layout, rings, unit):
            part, _, piece = mark.item.rpartition("/")
            if part == number:
                along = mark.told_mm[:, 0]
                ends = " to ".join(tape(float(v), unit) for v in (along.min(), along.max()))
                bay = f", bay {mark.bay}" if mark.bay else ""
                found[piece, mark.copy] = f"from {layout.unit.id}{bay}, along {ends} {unit}"
    return found


def edge_words(piece: Piece) -> str:
    """How the edges are cut, told by name, or where the piece stands in a splice."""
    if piece.kind in ("core", "insert"):
        by: dict[str, list[str]] = {}
        for edge in piece.edges:
            word = "SQUARE" if edge.treatment == "square" else f"{edge.treatment} "
            if edge.treatment in ("bevel", "scarf"):
                word = f"{edge.treatment} {edge.angle_deg:g}°"
            if edge.treatment == "scarf":  # which way it slopes decides which panel goes first
                word += f" facing the {'bag' if edge.wide_side == 'mould' else 'mould'}"
            by.setdefault(word.strip(), []).append(edge.name)
        rows = sorted(by.items(), key=lambda row: row[0] != "SQUARE")  # first what must not be cut
        return "; ".join(f"{word}: {', '.join(names)}" for word, names in rows)
    if piece.splice:
        s = piece.splice
        return f"part {s.part} of {s.of}, {s.kind} to {', '.join(s.neighbours)}"
    return ""


def kit_pages(spec: PartSpec, laminate: Laminate, shop: Shop) -> tuple[Page, ...]:
    """A page per stage that lays pieces: what is gathered before it starts, to tick off."""
    names = spec.materials.names()
    kits = {kit.stage: kit for kit in shop.kits}
    pages = []
    for number, stage in enumerate(shop.stages, start=1):
        pieces = [p for p in laminate.pieces if p.stage == stage.id]
        kit = kits.get(stage.id)
        blocks: list[Block] = [
            CheckBox(f"kit.{p.id}", f"{p.id}   {_what(p, names)}   ×{p.quantity}") for p in pieces
        ]
        for title, things in (
            ("Tools", kit.tools if kit else stage.at_hand),
            ("Consumables", kit.consumables if kit else ()),
            ("Resin", kit.resin if kit else ()),
        ):
            if things:
                blocks += [Heading(title, 3), Items(tuple(things))]
        if not blocks:
            continue
        if pieces:
            blocks.insert(0, Paragraph("In the order of laying: the first on top of the pile."))
        pages.append(
            Page(
                f"kit-{stage.id}",
                f"Kit list: {stage.title}",
                f"{spec.part.number} · revision {spec.part.revision} · stage {number} of "
                f"{len(shop.stages)}",
                tuple(blocks),
            )
        )
    return tuple(pages)


def _what(piece: Piece, names: dict[str, str]) -> str:
    material = names.get(piece.material, piece.material)
    if piece.kind in ("ply", "rod"):
        return f"{show_angle(piece.angle_deg)}   {material}"
    return material
