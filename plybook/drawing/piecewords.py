"""What is written on a piece: the words, without their places.

One rule holds everywhere: capitals for what must be done or must not be mixed up, the rest in
plain letters; the same thing is always called by the same words.
"""

from __future__ import annotations

from plybook.drawing.rosette import show_angle
from plybook.drawing.titleblock import hand_words
from plybook.laminate.model import Laminate, Piece, PieceEdge
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.units import CLOTH, grain_of, show_growth, show_length, show_number

DOT = " \u00b7 "
_BARE_EDGES = ("edge", "seam", "splice", "side", "line", "cut")


def face_up_words(piece: Piece) -> str:
    """Which face lies up when the template is read."""
    return "EITHER FACE UP" if piece.may_turn_over else "THIS FACE UP = BAG SIDE"


def edge_name(edge: PieceEdge) -> str:
    """The edge by name: LEADING EDGE, SEAM S1."""
    name = edge.name.strip()
    if not any(word in name.lower() for word in _BARE_EDGES):
        name = f"{name} edge"
    return name.upper()


def treatment_words(edge: PieceEdge, kind: str) -> str:
    """How the edge is cut. A plain cut edge of cloth needs no words."""
    narrow = "BAG" if edge.wide_side == "mould" else "MOULD"
    angle = f"{show_number(edge.angle_deg, 1)}\u00b0"
    if edge.treatment == "trim":
        return "TRIM AFTER CURE"
    if edge.treatment == "square" or edge.angle_deg >= 90.0:
        return "SQUARE - NO BEVEL" if kind in ("core", "insert") else ""
    word = "BEVEL" if edge.treatment == "bevel" else "SCARF"
    return f"{word} {angle} - {narrow} SIDE NARROWER"


def mate_words(edge: PieceEdge, piece: Piece) -> str:
    """What the edge meets."""
    if not edge.mate:
        return ""
    if piece.splice is not None and piece.splice.kind == "overlap":
        overlap = show_number(piece.splice.overlap_mm, 1)
        return f"overlaps {edge.mate} by {overlap} mm"
    return f"butts against {edge.mate}"


def edge_variants(edge: PieceEdge, piece: Piece) -> list[tuple[str, ...]]:
    """The edge's words as one line, as two lines and in short, best first."""
    name, cut, mate = edge_name(edge), treatment_words(edge, piece.kind), mate_words(edge, piece)
    parts = [p for p in (name, cut, mate) if p]
    variants: list[tuple[str, ...]] = [(DOT.join(parts),)]
    if len(parts) > 1:
        variants.append((DOT.join(parts[:-1]), parts[-1]))
    if len(parts) > 2:
        variants.append((parts[0], DOT.join(parts[1:])))
        variants.append(tuple(parts))
    return variants


def fibre_words(piece: Piece, spec: PartSpec) -> str | None:
    """What the arrow says, or None where the material has no direction.

    A mat, an ungrained core and an insert have none; a rod's fibres run along it.
    """
    if piece.kind == "ply":
        cloth = spec.materials.cloths.get(piece.material)
        if cloth is not None and cloth.weave == "mat":
            return None
        return show_angle(piece.angle_deg)
    if piece.kind == "core":
        core = spec.materials.cores.get(piece.material)
        return f"GRAIN {show_angle(piece.angle_deg)}" if core is not None and core.grain else None
    return None


def layer_words(piece: Piece, laminate: Laminate) -> str:
    """The layer and where it comes in the stack, counted from the mould face."""
    names = [layer.id for layer in laminate.layers]
    if piece.layer in names:
        return f"Layer {piece.layer} ({names.index(piece.layer) + 1} of {len(names)} from mould)"
    return f"Layer {piece.layer}"


def growth_words(piece: Piece, unit: str) -> str:
    """How much the layers below changed the cut outline, or "" where a tape would not show it."""
    growth = ((piece.growth.along_mm, "along"), (piece.growth.across_mm, "across"))
    told = [(show_growth(value, unit, CLOTH), way) for value, way in growth]
    said = [f"{words} {unit} {way}" for words, way in told if words != "0"]
    if piece.kind not in ("ply", "film") or not said:
        return ""
    return f"Fitted to the layers below: {', '.join(said)}"


def splice_words(piece: Piece) -> str:
    """Which part of a layer laid in several pieces."""
    if piece.splice is None or piece.splice.of < 2 or any("part " in n for n in piece.notes):
        return ""  # the piece's own note says it
    return f"Piece {piece.splice.part} of {piece.splice.of} of this layer"


def size_words(piece: Piece, unit: str) -> str:
    """Overall size along and across the pattern axis, both units."""
    ring = cut_outline_mm(piece)
    length, width = ring.max(axis=0) - ring.min(axis=0)
    grain = grain_of(piece.kind)
    return " \u00d7 ".join(show_length(v, unit, True, grain) for v in (length, width))


def part_words(spec: PartSpec) -> str:
    """Part, revision and hand on one line."""
    part = spec.part
    words = [f"{part.number} rev {part.revision}" if part.revision else part.number]
    if part.hand != "none":
        words.append(hand_words(part.hand))
    return DOT.join(words)


def card_lines(piece: Piece, laminate: Laminate, spec: PartSpec) -> list[tuple[str, bool]]:
    """The lines set inside a piece under its id, with what is bold."""
    parts = [f"{piece.quantity} OFF", splice_words(piece)]
    lines = [
        (face_up_words(piece), True),
        (layer_words(piece, laminate), False),
        (spec.materials.name_of(piece.material), False),
        (DOT.join(p for p in parts if p), False),
        (part_words(spec), False),
        (growth_words(piece, spec.part.units), False),
    ]
    lines += [(note, False) for note in piece.notes]
    return [(words, bold) for words, bold in lines if words]


def facts(piece: Piece, laminate: Laminate, spec: PartSpec) -> list[tuple[str, str]]:
    """Everything about a piece for the card beside it: label and value."""
    thick = show_length(piece.thickness_mm, spec.part.units)
    rows = [
        ("Layer", layer_words(piece, laminate).removeprefix("Layer ")),
        ("Material", spec.materials.name_of(piece.material)),
        ("Quantity", f"{piece.quantity} OFF"),
        ("Face", face_up_words(piece)),
        ("Size", size_words(piece, spec.part.units)),
        ("Thickness", thick if piece.kind in ("core", "insert", "rod") else ""),
        ("Stage", piece.stage),
        ("Splice", splice_words(piece)),
        ("Cut", growth_words(piece, spec.part.units)),
    ]
    rows += [("Note", note) for note in piece.notes]
    return [(label, value) for label, value in rows if value]
