"""The pen and the slab: how anything of the paper book is put on a page.

Terms:
    slab: one piece of a page that is never torn apart; it knows its height and how to draw itself.
    pen: draws words, rules and boxes in page millimetres, y down from the top of the page.

Letter heights are capital heights of the ISO 3098 series: 3.5 mm for what is read at arm's length,
2.5 mm for tables and notes, 7 mm for titles, 10 mm for the ids of the pieces in hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from plybook.drawing.letters import LEADING, clean_text, text_width_mm, type_size_mm, wrapped
from plybook.drawing.scene import Scene
from plybook.drawing.style import tint_of
from plybook.write.fonts import MM, face
from plybook.write.pdf import draw_scene
from plybook.write.pdf_library import ImageReader

WIDTH_MM = 180.0
BODY, NOTE, TITLE, HEAD, PLATE = 3.5, 2.5, 7.0, 5.0, 10.0
BOX_MM = 6.5  # ballot box


class Pen:
    """Words and lines on one canvas; x from the left, y from the top, mm."""

    def __init__(self, canvas: Any, left_mm: float, page_height_mm: float):
        self.canvas = canvas
        self.left = left_mm
        self.height = page_height_mm

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return (self.left + x) * MM, (self.height - y) * MM

    def words(
        self,
        text: str,
        x: float,
        y: float,
        cap: float,
        bold: bool = False,
        align: str = "l",
        grey: bool = False,
    ) -> None:
        """A line of clean text with its base line at y."""
        if not text:
            return
        shift = {"l": 0.0, "r": 1.0, "c": 0.5}[align] * text_width_mm(text, cap, bold)
        self.canvas.setFillGray(0.38 if grey else 0.08)
        self.canvas.setFont(face(bold), type_size_mm(cap) * MM)
        self.canvas.drawString(*self._at(x - shift, y), text)

    def photo(self, data: bytes, x: float, y: float, width: float, height: float) -> None:
        """A JPEG with its upper left corner at (x, y); a frame with words where it is damaged."""
        left, bottom = self._at(x, y + height)
        try:
            image = ImageReader(BytesIO(data))
            self.canvas.drawImage(image, left, bottom, width * MM, height * MM)
        except (OSError, ValueError, SyntaxError):
            self.box(x, y, width, height)
            self.words("this photo cannot be read", x + 3.0, y + 6.0, NOTE)

    def rule(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.18) -> None:
        """A straight line."""
        self.canvas.setDash([])
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineWidth(width * MM)
        self.canvas.line(*self._at(x0, y0), *self._at(x1, y1))

    def box(
        self,
        x: float,
        y: float,
        wide: float,
        tall: float,
        width: float = 0.35,
        fill: str = "",
        stroke: bool = True,
    ) -> None:
        """A rectangle with its top left corner at (x, y)."""
        self.canvas.setDash([])
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineWidth(width * MM)
        if fill:
            red, green, blue = bytes.fromhex(tint_of(fill)[1:])
            self.canvas.setFillColorRGB(red / 255, green / 255, blue / 255)
        self.canvas.rect(*self._at(x, y + tall), wide * MM, tall * MM, int(stroke), int(bool(fill)))

    def triangle(self, x: float, y: float, size: float) -> None:
        """The caution sign: a triangle with an exclamation mark, its top at (x + size/2, y)."""
        path = self.canvas.beginPath()
        path.moveTo(*self._at(x + size / 2, y))
        path.lineTo(*self._at(x + size, y + 0.88 * size))
        path.lineTo(*self._at(x, y + 0.88 * size))
        path.close()
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineJoin(1)
        self.canvas.setLineWidth(0.7 * MM)
        self.canvas.drawPath(path, 1, 0)
        self.words("!", x + size / 2, y + 0.77 * size, 0.42 * size, True, "c")

    def scene(self, scene: Scene, x: float, y: float, scale: float) -> None:
        """A scene with its top left corner at (x, y); its letters shrink with it."""
        _, y0, _, y1 = scene.window_mm
        self.canvas.saveState()
        self.canvas.translate(*self._at(x, y + (y1 - y0) * scale))
        self.canvas.scale(scale, scale)
        draw_scene(self.canvas, scene, 0.0, 0.0, 1.0)
        self.canvas.restoreState()


@dataclass(frozen=True)
class Slab:
    """`with_next`: never the last on a page. `again`: drawn first where a page breaks here."""

    height: float
    draw: Callable[[Pen, float], None]
    with_next: bool = False
    again: Slab | None = None
    chapter: bool = False  # a heading: a good place for a page to break
    before: float = 0.0  # white space above, dropped at the top of a page


def lines_slab(
    text: str,
    cap: float,
    bold: bool = False,
    before: float = 0.0,
    with_next: bool = False,
    chapter: bool = False,
) -> Slab:
    """Wrapped words as one slab."""
    lines = wrapped(clean_text(text), WIDTH_MM, cap, bold) or [""]
    pitch = LEADING * cap

    def draw(pen: Pen, y: float) -> None:
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + cap + k * pitch, cap, bold)

    return Slab(len(lines) * pitch, draw, with_next, before=before, chapter=chapter)
