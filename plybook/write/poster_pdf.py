"""The poster as a PDF: all layers and splices on large sheets."""

from __future__ import annotations

from plybook.drawing.poster import SHEETS_MM, poster_sheets
from plybook.laminate.model import Laminate
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.write.pdf import draw_scene, new_canvas


def poster_pdf(spec: PartSpec, face: Face, laminate: Laminate) -> bytes:
    """The poster of a part on the sheets that its spec says; see `plybook.drawing.poster`."""
    part = spec.part
    size = SHEETS_MM[spec.workshop.poster]
    canvas, buffer = new_canvas(*size, f"{part.number} {part.revision} poster", part.drawn_by,
                                part.name)  # fmt: skip
    for sheet in poster_sheets(spec, face, laminate):
        draw_scene(canvas, sheet, 0.0, 0.0)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()
