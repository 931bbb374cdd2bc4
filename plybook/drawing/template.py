"""The template of one piece, 1:1, in the pattern frame: everything a builder must read on it.

The outline is drawn in the coordinates of `Piece.outline_mm`, so a file made from the scene can
be laid over the plan's data. Where an edge is narrower on the mould side, the cut is the outline
of both faces and the mould side is a bevel line like the bag side.

Terms:
    card: the facts beside the piece, outside the cut, above the title block.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from plybook.drawing.letters import text_box_mm
from plybook.drawing.piececard import card
from plybook.drawing.piecesheet import PieceSheet
from plybook.drawing.scene import Circle, Path, Primitive, Scene
from plybook.laminate.model import Laminate, Piece
from plybook.spec.model import PartSpec
from plybook.surface.model import Face

MARGIN_MM = 4.0


@dataclass(frozen=True)
class PieceDrawing:
    """One piece drawn once for all files: `bare` goes into tiles, `full` carries the card."""

    piece: Piece
    bare: Scene
    full: Scene


def draw_pieces(
    laminate: Laminate, face: Face, spec: PartSpec, progress: Callable[[str], None] | None = None
) -> tuple[PieceDrawing, ...]:
    """Every piece of a laminate, in its order.

    Args:
        laminate, face, spec: as for `template_scene`.
        progress: told the piece that is being drawn.
    """
    drawn = []
    for piece in laminate.pieces:
        if progress:
            progress(f"{spec.part.number}: template {piece.id}")
        bare = piece_scene(piece, laminate, spec)
        drawn.append(PieceDrawing(piece, bare, _with_card(bare, piece, laminate, face, spec)))
    return tuple(drawn)


def template_scene(piece: Piece, laminate: Laminate, face: Face, spec: PartSpec) -> Scene:
    """One piece 1:1 with its marks, words, card and title block.

    Args:
        piece: the piece, drawn in its own cut frame.
        laminate: for the layer's place in the stack and the sheet count.
        face: for the key plan on the card.
        spec: for names, units and the title block.

    Returns:
        A scene whose window holds everything, on whole millimetres.
    """
    return _with_card(piece_scene(piece, laminate, spec), piece, laminate, face, spec)


def _with_card(bare: Scene, piece: Piece, laminate: Laminate, face: Face, spec: PartSpec) -> Scene:
    beside = card(piece, laminate, face, spec, bare.window_mm)
    return _scene(piece, spec, bare.items + beside)


def piece_scene(piece: Piece, laminate: Laminate, spec: PartSpec) -> Scene:
    """One piece 1:1 with its marks and words, without the card: what is printed in tiles."""
    sheet = PieceSheet(piece, laminate, spec)
    return _scene(piece, spec, tuple(sheet.drawn()))


def _scene(piece: Piece, spec: PartSpec, items: tuple[Primitive, ...]) -> Scene:
    low, high = extent_mm(items)
    (x0, y0), (x1, y1) = np.floor(low - MARGIN_MM) + 0.0, np.ceil(high + MARGIN_MM) + 0.0
    window = (float(x0), float(y0), float(x1), float(y1))
    facts = (
        ("part", spec.part.number),
        ("revision", spec.part.revision),
        ("piece", piece.id),
        ("quantity", str(piece.quantity)),
        ("material", piece.material),
    )
    title = f"{spec.part.number} {spec.part.revision} {piece.id}"
    return Scene(items, window, title, facts)


def extent_mm(items: tuple[Primitive, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Lower left and upper right corner of all primitives, text boxes included."""
    clouds = []
    for item in items:
        if isinstance(item, Path):
            clouds.append(np.asarray(item.points_mm, dtype=float))
        elif isinstance(item, Circle):
            clouds.append(np.asarray(item.centre_mm) + np.array([[-1, -1], [1, 1]])
                          * item.radius_mm)  # fmt: skip
        else:
            clouds.append(text_box_mm(item))
    points = np.vstack(clouds)
    return points.min(axis=0), points.max(axis=0)
