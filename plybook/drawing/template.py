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
import shapely

from plybook.drawing.cornerview import SIZES_MM
from plybook.drawing.letters import text_box_mm
from plybook.drawing.piececard import card
from plybook.drawing.piecesheet import PieceSheet
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.laminate.model import Laminate, Piece
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.spec.model import PartSpec
from plybook.surface.model import Face

MARGIN_MM = 4.0
SHEET_MM = SIZES_MM[-1]
CUT_ROOM_MM = 1.0  # around the cut of a piece that just fits a sheet, and around words on its rim

Window = tuple[float, float, float, float]


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
    """One piece 1:1 with its marks and words, without the card: what is printed in tiles.

    Where only words beside a piece keep it off one sheet of paper, they move closer, or are left
    out but for the id.
    """
    scene = _scene(piece, spec, tuple(PieceSheet(piece, laminate, spec).drawn()))
    page = sheet_around(piece)
    if page is None or fits_a_sheet(scene):
        return scene
    room = shapely.box(*page).buffer(-CUT_ROOM_MM, join_style="mitre")
    closer = _scene(piece, spec, tuple(PieceSheet(piece, laminate, spec, room).drawn()))
    named = any(isinstance(item, Text) and item.role is Role.ID for item in closer.items)
    return closer if named else scene


def fits_a_sheet(scene: Scene) -> bool:
    """Whether a drawing is printed on one sheet."""
    (x0, y0, x1, y1), (wide, high) = scene.window_mm, SHEET_MM
    return x1 - x0 <= wide and y1 - y0 <= high


def sheet_around(piece: Piece) -> Window | None:
    """The part of the drawing of a piece that a sheet shows with the piece in its middle, whole mm;
    None where no sheet holds the piece."""
    ring, size = cut_outline_mm(piece), np.array(SHEET_MM)
    low, high = np.floor(ring.min(axis=0) - CUT_ROOM_MM), np.ceil(ring.max(axis=0) + CUT_ROOM_MM)
    if (high - low > size).any():
        return None
    x, y = low - np.floor((size - (high - low)) / 2)
    return float(x), float(y), float(x + size[0]), float(y + size[1])


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
