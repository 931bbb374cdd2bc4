"""The typeface of every file, read from the installed font file: how wide words are, and whether
the letters that a file brings with it are those that its codes stand for."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from plybook.verify.pdf_pages import Words

CAP = 0.656  # height of the letter H as share of the type size, measured in the font file
MIDDLE = (0.75 - 0.21) / 2  # of a line from accents to tails, above its base line
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


def end_mm(words: Words, bold: bool = True) -> float:
    """Where level words end."""
    return words.at_mm[0] + words.size_mm * width(words.text, bold)


@cache
def _shapes(bold: bool) -> dict[str, Any]:
    """The outline of each character of the installed face, as points."""
    from fontTools.ttLib import TTFont

    path = str(files("font_source_sans_pro") / "files" / _FILES[bold])
    font = TTFont(path)
    return {chr(code): _outline(font, name) for code, name in font.getBestCmap().items()}


def _outline(font: Any, name: str) -> tuple:
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    glyphs = font.getGlyphSet()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    return tuple(pen.value)


def strange_glyphs(
    name: str, characters: dict[int, str], program: bytes, widths: list[float]
) -> Iterator[str]:
    """Letters of an embedded typeface that look otherwise than what they are read as.

    Args:
        name: of the typeface.
        characters: what each code is read as.
        program: the font program, TrueType.
        widths: of each code, thousandths of the type size; [] where they do not matter.

    Raises:
        ValueError: the program cannot be read.
    """
    from fontTools.ttLib import TTFont, TTLibError

    bold = name.endswith("Bold")
    if not name.endswith(("Bold", "Regular")):
        yield f"a typeface {name}"
        return
    try:
        font = TTFont(io.BytesIO(program))
        by_code = font.getBestCmap() or font["cmap"].tables[0].cmap
        advances, whole = _face(bold)
        shapes = _shapes(bold)
        for code, char in characters.items():
            if char == "\0" or code not in by_code:
                continue
            if char.isspace() and not _outline(font, by_code[code]):
                continue
            if shapes.get(char) != _outline(font, by_code[code]):
                yield f"a typeface in which {char!r} has another shape"
                return
            wide = 1000.0 * advances.get(char, -1) / whole
            if widths and abs(widths[code] - wide) > 1.0:
                yield f"a typeface in which {char!r} has another width"
                return
    except (TTLibError, KeyError, IndexError, AssertionError) as wrong:
        raise ValueError(f"a typeface cannot be read: {wrong}") from None


def strange_letters(bold: bool, program: bytes) -> Iterator[str]:
    """As `strange_glyphs`, of a typeface for the web, whose codes are the characters."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        codes = TTFont(io.BytesIO(program)).getBestCmap()
    except (TTLibError, KeyError, AssertionError) as wrong:
        raise ValueError(f"a typeface cannot be read: {wrong}") from None
    name = "Bold" if bold else "Regular"
    yield from strange_glyphs(name, {code: chr(code) for code in codes}, program, [])
