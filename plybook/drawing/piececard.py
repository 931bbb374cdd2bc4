"""The card beside a template: every fact of the piece, its edges, where it lies, title block.

It stands below the piece, outside the cut, so that a plotted or printed sheet names itself even
where the piece is too small to carry a word.
"""

from __future__ import annotations

import numpy as np

from plybook.drawing import piecewords as words
from plybook.drawing.frame import fit_frame
from plybook.drawing.letters import LEADING, clean_text, text_width_mm, wrapped
from plybook.drawing.scene import Circle, Path, Primitive, Role, Text
from plybook.drawing.style import NOTE_MM, largest_letters_mm
from plybook.drawing.titleblock import HEIGHT_MM, WIDTH_MM, TitleFacts, title_block
from plybook.laminate.model import Laminate, Piece
from plybook.spec.model import PartSpec
from plybook.surface.model import Face

GAP_MM = 12.0  # between the piece's drawing and its card
KEY_MM = (64.0, 26.0)  # key plan
LABEL_COLUMN_MM = 19.0
FACTS_MM = 108.0


def card(
    piece: Piece,
    laminate: Laminate,
    face: Face,
    spec: PartSpec,
    window_mm: tuple[float, float, float, float],
) -> tuple[Primitive, ...]:
    """The card and title block, left under a window."""
    x0, top = window_mm[0] + 4.0, window_mm[1] - GAP_MM
    left = _facts(piece, laminate, spec, x0 + 3.0, top - 3.0)
    right = _edges(piece, face, x0 + FACTS_MM + 5.0, top - 3.0)
    low = min(_lowest(left), _lowest(right)) - 3.0
    ids = [p.id for p in laminate.pieces]
    count = f"{ids.index(piece.id) + 1} / {len(ids)}" if piece.id in ids else "1 / 1"
    facts = TitleFacts("Template", f"Piece {piece.id}", count)
    block = title_block(spec.part, facts, (x0, low - HEIGHT_MM))
    frame = np.array([(x0, low), (x0 + WIDTH_MM, low), (x0 + WIDTH_MM, top), (x0, top)])
    return (*left, *right, Path(Role.FRAME, frame, True), *block)


def _lowest(items: list[Primitive]) -> float:
    return min(
        float(np.min(i.points_mm[:, 1])) if isinstance(i, Path) else i.at_mm[1]
        for i in items
        if not isinstance(i, Circle)
    )


def _facts(
    piece: Piece, laminate: Laminate, spec: PartSpec, x: float, top: float
) -> list[Primitive]:
    """The id, then one row per fact."""
    said = clean_text(piece.id)
    height = largest_letters_mm(FACTS_MM - 6.0, 14.0, text_width_mm(said, 1.0, True)) or NOTE_MM
    items: list[Primitive] = [Text(Role.ID, (x, top - height), said, height, bold=True)]
    y = top - height - 3.5
    for label, value in words.facts(piece, laminate, spec):
        y -= LEADING * NOTE_MM * 0.35
        items.append(Text(Role.TEXT, (x, y - NOTE_MM), label, 1.8))
        for row in wrapped(clean_text(value), FACTS_MM - LABEL_COLUMN_MM - 6.0, NOTE_MM):
            y -= LEADING * NOTE_MM
            bold = label in ("Face", "Quantity")
            items.append(Text(Role.TEXT, (x + LABEL_COLUMN_MM, y + 0.75 * NOTE_MM), row, NOTE_MM,
                              bold=bold))  # fmt: skip
    return items


def _edges(piece: Piece, face: Face, x: float, top: float) -> list[Primitive]:
    """The key plan, then one entry per edge."""
    items: list[Primitive] = []
    outline = np.asarray(face.outline_mm)
    both = np.vstack([outline, piece.laid_outline_mm])
    low, high = both.min(axis=0), both.max(axis=0)
    frame = fit_frame((*low, *high), (x, top - KEY_MM[1], x + KEY_MM[0], top))
    items.append(Path(Role.GHOST, frame.put(outline), True, "face"))
    items.append(Path(Role.DIMENSION, frame.put(piece.laid_outline_mm), True, "highlight"))
    items += [Path(Role.DIMENSION, frame.put(h), True, "white") for h in piece.laid_holes_mm]
    y = top - KEY_MM[1] - 1.5
    items.append(Text(Role.TEXT, (x, y - 1.8), "Where it lies, seen from the bag side", 1.8))
    y -= 5.5
    for edge in piece.edges:
        said = words.edge_variants(edge, piece)[0][0]
        for row in wrapped(clean_text(said), KEY_MM[0], 1.8):
            items.append(Text(Role.TEXT, (x, y - 1.8), row, 1.8))
            y -= LEADING * 1.8
        y -= 0.7
    return items
