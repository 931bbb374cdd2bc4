"""The one typeface: how wide words are, and which characters it can show.

Terms:
    height: capital height, the letter height of ISO 3098; the type size is larger by 1 / CAP.
    advance: how far the pen moves for a character, in thousandths of the type size.

The face is Source Sans Pro (SIL Open Font License 1.1), installed as the package
`font-source-sans-pro`. All writers take their files and widths from here, so a text box worked
out while drawing is the box that is printed. No kerning is used.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np

from plybook.drawing.scene import Text
from plybook.drawing.typesetting import broken, typeset

FAMILY = "Source Sans Pro"
CAP = 0.656  # height of the H as a share of the type size
ASCENT = 0.75  # tallest accents of the Latin capitals used as share of the type size, rounded up
DESCENT = 0.21  # tails of g, j, p, q, y as share of the type size, rounded up
LEADING = 1.75  # distance of base lines as a multiple of the capital height
UNKNOWN = "?"  # shown for a character the face does not have
WRITTEN_OUT = {0x2213: "-+"}  # minus-plus of laminate codes: the face lacks it

_FILES = {False: "SourceSansPro-Regular.ttf", True: "SourceSansPro-Bold.ttf"}
# Characters that turn the reading direction or are not characters at all.
_BANNED = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0xFEFF, 0xFFFE, 0xFFFF}


def font_path(bold: bool = False) -> str:
    """Where the installed font file lies."""
    return str(files("font_source_sans_pro") / "files" / _FILES[bold])


@cache
def _advances(bold: bool) -> dict[int, int]:
    from fontTools.ttLib import TTFont

    with TTFont(font_path(bold), lazy=True) as font:
        metrics = font["hmtx"].metrics
        return {code: metrics[name][0] for code, name in font.getBestCmap().items()}


def missing_glyphs(text: str) -> str:
    """The characters of a text the face cannot show, each once, in order of appearance."""
    known = _advances(False)
    text = text.translate(WRITTEN_OUT)
    return "".join(dict.fromkeys(c for c in text if ord(c) not in known and not c.isspace()))


@lru_cache(maxsize=8192)
def clean_text(text: str) -> str:
    """One line of text that is safe to draw, its signs and figures set
    (`plybook.drawing.typesetting`)."""
    return typeset(safe_text(text))


def safe_text(text: str) -> str:
    """One line of text, as it is typed but for what no reader can show.

    Composed (NFC); line breaks and tabs become spaces; control characters, lone surrogates and
    marks that reverse the reading direction are dropped; what the face lacks is written out or
    becomes a question mark.
    """
    known = _advances(False)
    shown = []
    for char in unicodedata.normalize("NFC", text).translate(WRITTEN_OUT):
        category = unicodedata.category(char)
        if char in "\t\n\r\v\f" or category in ("Zs", "Zl", "Zp"):
            shown.append(" ")
        elif category in ("Cc", "Cs", "Cn") or ord(char) in _BANNED:
            continue
        else:
            shown.append(char if ord(char) in known else UNKNOWN)
    return "".join(shown)


def type_size_mm(height_mm: float) -> float:
    """Type size (what PDF and SVG call the font size) for a capital height."""
    return height_mm / CAP


def text_width_mm(text: str, height_mm: float, bold: bool = False) -> float:
    """Width of one line of text at a capital height, mm."""
    return _advance(text, bold) * type_size_mm(height_mm)


@lru_cache(maxsize=8192)
def _advance(text: str, bold: bool) -> float:
    return sum(map(_widths(bold).__getitem__, text.translate(WRITTEN_OUT))) / 1000.0


class _Widths(dict):
    """Advances by character; one the face lacks is as wide as what is shown for it."""

    def __missing__(self, char: str) -> int:
        return self[UNKNOWN]


@cache
def _widths(bold: bool) -> _Widths:
    return _Widths({chr(code): wide for code, wide in _advances(bold).items()})


def fitted(text: str, width_mm: float, height_mm: float, bold: bool = False) -> str:
    """The text, shortened with an ellipsis where it is wider than the room."""
    if text_width_mm(text, height_mm, bold) <= width_mm:
        return text
    while text and text_width_mm(text + "\u2026", height_mm, bold) > width_mm:
        text = text[:-1].rstrip()
    return text + "\u2026" if text else ""


def wrapped(text: str, width_mm: float, height_mm: float, bold: bool = False) -> list[str]:
    """The text broken at spaces into lines no wider than the room, never between a figure and its
    unit; a single word too wide is broken inside."""
    return list(_wrapped(text, width_mm, height_mm, bold))


@lru_cache(maxsize=8192)  # a book's pages are set several times over until they sit well
def _wrapped(text: str, width_mm: float, height_mm: float, bold: bool) -> tuple[str, ...]:
    lines: list[str] = []
    line = ""
    for word in _words(text, width_mm, height_mm, bold):
        trial = f"{line} {word}" if line else word
        if text_width_mm(trial, height_mm, bold) <= width_mm:
            line = trial
            continue
        if line:
            lines.append(line)
        while text_width_mm(word, height_mm, bold) > width_mm and len(word) > 1:
            cut = len(word) - 1
            while cut > 1 and text_width_mm(word[:cut], height_mm, bold) > width_mm:
                cut -= 1
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return (*lines, line) if line else tuple(lines)


def _words(text: str, width_mm: float, height_mm: float, bold: bool) -> Iterator[str]:
    """What a line ends between; a figure and its unit that are too wide together come apart."""
    for tied in broken(text):
        if text_width_mm(tied, height_mm, bold) <= width_mm:
            yield tied
        else:
            yield from tied.split()


def baseline_start_mm(item: Text, scale: float = 1.0) -> tuple[float, float]:
    """Where the pen starts, relative to the text's anchor, page mm, before the turn."""
    width = text_width_mm(item.text, item.height_mm, item.bold) * scale
    along = {"start": 0.0, "middle": -width / 2, "end": -width}[item.anchor]
    rise = {"baseline": 0.0, "centre": -item.height_mm / 2, "top": -item.height_mm}[item.rise]
    return along, rise * scale


def text_box_mm(item: Text, pad_mm: float = 0.0) -> np.ndarray:
    """The corners (4, 2) of the box around a text as drawn 1:1, turned with it, mm."""
    size = type_size_mm(item.height_mm)
    along, rise = baseline_start_mm(item)
    width = text_width_mm(item.text, item.height_mm, item.bold)
    x0, x1 = along - pad_mm, along + width + pad_mm
    y0, y1 = rise - DESCENT * size - pad_mm, rise + ASCENT * size + pad_mm
    turn = math.radians(item.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    return corners @ np.array([[c, s], [-s, c]]) + np.asarray(item.at_mm)
