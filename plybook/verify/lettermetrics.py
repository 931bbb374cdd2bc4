"""How wide words are in the typeface of the drawings, read from the installed font file."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

CAP = 0.656  # height of the letter H as share of the type size, measured in the font file
_FILES = {False: "SourceSansPro-Regular.ttf", True: "SourceSansPro-Bold.ttf"}
_UNKNOWN = "?"  # stands for a character the face does not have


@cache
def _face(bold: bool) -> tuple[dict[str, int], int]:
    """Advance of each character, and units of the type size."""
    from fontTools.ttLib import TTFont

    path = str(files("font_source_sans_pro") / "files" / _FILES[bold])
    with TTFont(path, lazy=True) as font:
        advances = font["hmtx"].metrics
        known = {chr(code): advances[name][0] for code, name in font.getBestCmap().items()}
        return known, font["head"].unitsPerEm


@cache
def width(text: str, bold: bool) -> float:
    """Length of one line of words as share of the type size."""
    known, whole = _face(bold)
    return sum(known.get(char, known[_UNKNOWN]) for char in text) / whole
