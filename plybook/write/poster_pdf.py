"""The poster: all layers and splices on large sheets, as one PDF to print and a drawing of each
sheet to look at on screen."""

from __future__ import annotations

from plybook.drawing.poster import SHEETS_MM, poster_sheets
from plybook.laminate.model import Laminate
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.write.pdf import draw_scene, new_canvas
from plybook.write.svg import svg_bytes


def poster_files(spec: PartSpec, face: Face, laminate: Laminate) -> dict[str, bytes]:
    """The files of a part's poster by name: `poster.pdf`, and `poster-1.svg` and so on, one for
    each sheet; see `plybook.drawing.poster`."""
    part = spec.part
    size = SHEETS_MM[spec.workshop.poster]
    canvas, buffer = new_canvas(*size, f"{part.number} {part.revision} poster", part.drawn_by,
                                part.name)  # fmt: skip
    files = {}
    for number, sheet in enumerate(poster_sheets(spec, face, laminate), start=1):
        draw_scene(canvas, sheet, 0.0, 0.0)
        canvas.showPage()
        files[f"poster-{number}.svg"] = svg_bytes(sheet, reference=False)
    canvas.save()
    return {"poster.pdf": buffer.getvalue(), **files}
