"""The typeface for PDF: registered once, embedded as a subset in every file."""

from __future__ import annotations

from functools import cache

from plybook.drawing.letters import font_path

REGULAR, BOLD = "Plybook", "Plybook-Bold"
MM = 72.0 / 25.4  # points per millimetre (PDF default user unit, 1/72 in)


@cache
def register() -> None:
    """Make the regular and bold face known to the PDF library. Calling it again does nothing."""
    from plybook.write.pdf_library import TTFont, pdfmetrics

    for name, bold in ((REGULAR, False), (BOLD, True)):
        pdfmetrics.registerFont(TTFont(name, font_path(bold)))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR,
                                  boldItalic=BOLD)  # fmt: skip


def face(bold: bool) -> str:
    """Name of the registered face."""
    return BOLD if bold else REGULAR
