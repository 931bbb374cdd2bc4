"""The one drawing style: what each role looks like, on paper, on screen and in a cutter's file.

Terms:
    role: what a primitive is for (`plybook.drawing.scene.Role`); looks follow from it alone.
    dash: pattern of pen-down and pen-up lengths, page mm; empty = unbroken.
    ink: line colour. Black carries the meaning; a colour only repeats what line type, symbol or
        word already say, so a black-and-white print loses nothing.
    tint: light area colour behind lines, named by what it stands for.

Line widths come from the ISO 128 series 0.18, 0.35 and 0.7 mm (each twice the one before);
letter heights from the ISO 3098 series (each sqrt 2 times the one before). Widths, dashes and
letter heights are page millimetres: they stay the same at every scale.
"""

from __future__ import annotations

import colorsys
from dataclasses import dataclass
from functools import cache

from plybook.drawing.scene import Role

THIN_MM, MEDIUM_MM, WIDE_MM = 0.18, 0.35, 0.7  # ISO 128 series
LETTER_HEIGHTS_MM = (1.8, 2.5, 3.5, 5.0, 7.0, 10.0, 14.0, 20.0)  # ISO 3098 series
NOTE_MM, LABEL_MM, TITLE_MM, HEAD_MM = 2.5, 3.5, 5.0, 7.0
# Big letters continue the series by sqrt 2 for ids that must be read from two metres.
ID_HEIGHTS_MM = (56.0, 40.0, 28.0, *reversed(LETTER_HEIGHTS_MM))

INK = "#141414"
GREY = "#8c8c8c"
BLUE = "#1f4e79"
RED = "#a3211b"
GREEN = "#2c5d3a"
BROWN = "#7a4a12"

NIGHT = "#0f1113"  # the ground of a dark page

LONG_DASH = (6.0, 2.0)
SHORT_DASH = (2.5, 1.5)
CHAIN = (12.0, 2.0, 1.0, 2.0)
CHAIN_TWO_DOTS = (12.0, 2.0, 1.0, 2.0, 1.0, 2.0)
DOTS = (0.7, 1.4)


@dataclass(frozen=True)
class Stroke:
    """How the lines of one role are drawn; `width_mm` 0 draws no line.

    `aci` is the colour number and `linetype` the line type of the role's DXF layer.
    """

    width_mm: float
    dash_mm: tuple[float, ...] = ()
    ink: str = INK
    aci: int = 7
    linetype: str = "CONTINUOUS"


STROKES: dict[Role, Stroke] = {
    Role.CUT: Stroke(WIDE_MM, aci=7),
    Role.CUT_INNER: Stroke(WIDE_MM, aci=6),
    Role.NET: Stroke(MEDIUM_MM, LONG_DASH, GREEN, 3, "DASHED"),
    Role.BEVEL: Stroke(MEDIUM_MM, SHORT_DASH, INK, 30, "HIDDEN"),
    Role.BEVEL_HATCH: Stroke(THIN_MM, ink=BROWN, aci=31),
    Role.SEAM: Stroke(MEDIUM_MM, ink=INK, aci=5),
    Role.SPLICE: Stroke(MEDIUM_MM, CHAIN_TWO_DOTS, INK, 4, "PHANTOM"),
    Role.FIBRE: Stroke(MEDIUM_MM, ink=BLUE, aci=170),
    Role.STATION: Stroke(THIN_MM, SHORT_DASH, INK, 8, "HIDDEN"),
    Role.AXIS: Stroke(THIN_MM, CHAIN, BLUE, 150, "CENTER"),
    Role.TICK: Stroke(MEDIUM_MM, aci=2),
    Role.DATUM: Stroke(MEDIUM_MM, aci=1),
    Role.FOLD: Stroke(MEDIUM_MM, CHAIN, INK, 140, "CENTER"),
    Role.DART: Stroke(WIDE_MM, LONG_DASH, INK, 20, "DASHED"),
    Role.DROP: Stroke(THIN_MM, DOTS, INK, 8, "DOT"),
    Role.ZONE: Stroke(THIN_MM, DOTS, GREY, 9, "DOT"),
    Role.CORE_EDGE: Stroke(THIN_MM, LONG_DASH, BROWN, 32, "DASHED"),
    Role.GHOST: Stroke(THIN_MM, ink=GREY, aci=9),
    Role.HIGHLIGHT: Stroke(WIDE_MM, aci=7),
    Role.FACE: Stroke(MEDIUM_MM, aci=8),
    Role.FILL: Stroke(0.0),
    Role.HATCH: Stroke(THIN_MM, ink=GREY, aci=9),
    Role.STOCK: Stroke(WIDE_MM, aci=8),
    Role.BAD_ZONE: Stroke(MEDIUM_MM, SHORT_DASH, RED, 10, "HIDDEN"),
    Role.DIMENSION: Stroke(THIN_MM, aci=8),
    Role.FRAME: Stroke(MEDIUM_MM, aci=8),
    Role.REGISTRATION: Stroke(THIN_MM, aci=8),
    Role.TEXT: Stroke(THIN_MM, aci=7),
    Role.ID: Stroke(MEDIUM_MM, aci=7),
    Role.CAUTION: Stroke(MEDIUM_MM, ink=RED, aci=1),
}

# The same tint always stands for the same thing; each is light enough to print under black text.
TINTS: dict[str, str] = {
    "white": "#ffffff",
    "ink": INK,
    "face": "#f6f6f4",
    "ghost": "#ececea",
    "ply": "#dbe6f0",
    "ply_2": "#c9d9e8",
    "core": "#f4e8cb",
    "insert": "#e3d3c3",
    "rod": "#cfd6cc",
    "film": "#ece3ef",
    "highlight": "#bcd3ea",
    "bevel": "#faf3e2",
    "bad": "#f7dfdb",
    "scrap": "#f0f0ee",
    "remnant": "#e4efe2",
    "caution": "#fbe9e4",
    "band": "#f3f5f7",
}


def stroke_of(role: Role) -> Stroke:
    """The stroke of a role."""
    return STROKES[role]


def tint_of(fill: str) -> str:
    """The colour "#rrggbb" of a named tint; a value that is already "#rrggbb" is kept.

    Raises:
        KeyError: a name that is not in the table.
    """
    return fill if fill.startswith("#") else TINTS[fill]


def contrast(one: str, other: str) -> float:
    """Contrast of two colours "#rrggbb", 1 to 21 (WCAG 2.1, relative luminance)."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@cache
def at_night(colour: str) -> str:
    """A colour for a dark ground: its hue kept, as far from the ground as it is from white.

    Args:
        colour: "#rrggbb" as used on white.

    Returns:
        "#rrggbb": what is told apart by day is told apart by night.
    """
    hue, _, full = colorsys.rgb_to_hls(*(int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)))
    wanted = contrast(colour, "#ffffff")
    for step in range(256):
        parts = colorsys.hls_to_rgb(hue, step / 255, full)
        turned = "#" + "".join(f"{round(255 * part):02x}" for part in parts)
        if _luminance(turned) >= _luminance(NIGHT) and contrast(turned, NIGHT) >= wanted:
            return turned
    return "#ffffff"


def dxf_layer(role: Role) -> str:
    """The DXF layer of a role: its name in upper case, only A-Z, 0-9 and underscore."""
    return role.value.upper()


def text_layer(role: Role) -> str:
    """The layer of a role's words: never one with lines on it."""
    return dxf_layer(role) if role in (Role.TEXT, Role.ID) else f"{dxf_layer(role)}_TEXT"


def largest_letters_mm(width_mm: float, height_mm: float, width_at_1mm: float) -> float:
    """The largest letter height of the series that fits a box; 0 when none does.

    Args:
        width_mm, height_mm: the free box.
        width_at_1mm: width of the words at a capital height of 1 mm.
    """
    for letter_mm in ID_HEIGHTS_MM:
        if letter_mm <= height_mm and letter_mm * width_at_1mm <= width_mm:
            return letter_mm
    return 0.0
