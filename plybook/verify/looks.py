"""What each kind of line looks like in every file: the table that drawings are held against.

A line that is white, hair-thin, dashed otherwise or on a layer of another colour is not the line a
builder was told of, whatever its coordinates say.
"""

from __future__ import annotations

from dataclasses import dataclass

INK, GREY, BLUE, RED = "#141414", "#8c8c8c", "#1f4e79", "#a3211b"
GREEN, BROWN, WHITE = "#2c5d3a", "#7a4a12", "#ffffff"
THIN, MEDIUM, WIDE = 0.18, 0.35, 0.7  # mm, ISO 128 series
_LONG, _SHORT, _DOTS = (6.0, 2.0), (2.5, 1.5), (0.7, 1.4)
_CHAIN, _TWO_DOTS = (12.0, 2.0, 1.0, 2.0), (12.0, 2.0, 1.0, 2.0, 1.0, 2.0)


@dataclass(frozen=True)
class Look:
    """Width 0 draws no line; `colour` and `linetype` are those of the DXF layer."""

    width_mm: float
    dash_mm: tuple[float, ...] = ()
    ink: str = INK
    colour: int = 7
    linetype: str = "CONTINUOUS"


LOOKS: dict[str, Look] = {
    "CUT": Look(WIDE),
    "CUT_INNER": Look(WIDE, colour=6),
    "NET": Look(MEDIUM, _LONG, GREEN, 3, "DASHED"),
    "BEVEL": Look(MEDIUM, _SHORT, INK, 30, "HIDDEN"),
    "BEVEL_HATCH": Look(THIN, ink=BROWN, colour=31),
    "SEAM": Look(MEDIUM, colour=5),
    "SPLICE": Look(MEDIUM, _TWO_DOTS, INK, 4, "PHANTOM"),
    "FIBRE": Look(MEDIUM, ink=BLUE, colour=170),
    "STATION": Look(THIN, _SHORT, INK, 8, "HIDDEN"),
    "AXIS": Look(THIN, _CHAIN, BLUE, 150, "CENTER"),
    "TICK": Look(MEDIUM, colour=2),
    "DATUM": Look(MEDIUM, colour=1),
    "FOLD": Look(MEDIUM, _CHAIN, INK, 140, "CENTER"),
    "DART": Look(WIDE, _LONG, INK, 20, "DASHED"),
    "DROP": Look(THIN, _DOTS, INK, 8, "DOT"),
    "ZONE": Look(THIN, _DOTS, GREY, 9, "DOT"),
    "CORE_EDGE": Look(THIN, _LONG, BROWN, 32, "DASHED"),
    "GHOST": Look(THIN, ink=GREY, colour=9),
    "HIGHLIGHT": Look(WIDE),
    "FACE": Look(MEDIUM, colour=8),
    "FILL": Look(0.0),
    "HATCH": Look(THIN, ink=GREY, colour=9),
    "STOCK": Look(WIDE, colour=8),
    "BAD_ZONE": Look(MEDIUM, _SHORT, RED, 10, "HIDDEN"),
    "DIMENSION": Look(THIN, colour=8),
    "FRAME": Look(MEDIUM, colour=8),
    "REGISTRATION": Look(THIN, colour=8),
    "TEXT": Look(THIN),
    "ID": Look(MEDIUM),
    "CAUTION": Look(MEDIUM, ink=RED, colour=1),
}
WORDS_ON_OWN_LAYER = ("TEXT", "ID")  # these kinds have no lines beside their words
# colours of filled areas, each light enough to be read through; INK fills small marks
TINTS = frozenset(
    (WHITE, INK, "#f6f6f4", "#ececea", "#dbe6f0", "#c9d9e8", "#f4e8cb", "#e3d3c3", "#cfd6cc",
     "#ece3ef", "#bcd3ea", "#faf3e2", "#f7dfdb", "#f0f0ee", "#e4efe2", "#fbe9e4", "#f3f5f7")
)  # fmt: skip


def kind_of(layer: str) -> str:
    """The kind of line a layer belongs to; its words lie on a layer of their own."""
    return layer.removesuffix("_TEXT")
