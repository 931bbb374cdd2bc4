"""Every piece whole on a page of its own size, for a plotter or a print shop."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from plybook.drawing.scene import Scene
from plybook.drawing.template import PieceDrawing, draw_pieces
from plybook.laminate.model import Laminate
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.write.fonts import MM
from plybook.write.paper import LARGEST_PAGE_MM, TILE_MM
from plybook.write.pdf import draw_scene, new_canvas


def fullsize_pdf(
    spec: PartSpec,
    laminate: Laminate,
    face: Face,
    drawings: Sequence[PieceDrawing] | None = None,
) -> bytes:
    """Every piece whole on a page of its own size, for a plotter or a print shop.

    A piece longer than readers can show (5080 mm) runs over several pages that overlap.
    """
    part = spec.part
    canvas, buffer = new_canvas(*TILE_MM, f"{part.number} {part.revision} templates full size",
                                part.drawn_by, part.name)  # fmt: skip
    for drawing in drawings or draw_pieces(laminate, face, spec):
        _fullsize_pages(canvas, drawing.full)
    canvas.save()
    return buffer.getvalue()


def _fullsize_pages(canvas: Any, scene: Scene) -> None:
    x0, y0, x1, y1 = scene.window_mm
    columns, rows = _stretches(x0, x1), _stretches(y0, y1)
    for low_y, high_y in rows:
        for low_x, high_x in columns:
            whole = len(columns) * len(rows) == 1
            canvas.setPageSize(((high_x - low_x) * MM, (high_y - low_y) * MM))
            clip = None if whole else (low_x, low_y, high_x, high_y)
            draw_scene(canvas, scene, 0.0, 0.0, clip=clip)
            canvas.showPage()


def _stretches(low: float, high: float, overlap_mm: float = 100.0) -> list[tuple[float, float]]:
    """A length in equal stretches that readers can show, each running into the next."""
    most = LARGEST_PAGE_MM - 80.0
    if high - low <= most:
        return [(low, high)]
    count = int(np.ceil((high - low - overlap_mm) / (most - overlap_mm)))
    step = (high - low - overlap_mm) / count
    return [(low + k * step, low + (k + 1) * step + overlap_mm) for k in range(count)]
