"""Lengths as people write them, and as they are printed.

Inside the tool every length is millimetres. `parse_length` reads the listed forms and nothing
else; `show_length` prints the user's unit first and the other second. 1 in = 25.4 mm exactly
(international inch, 1959); ounce and yard from the same agreement.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

MM_PER_INCH = 25.4
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 304.8,
    "foot": 304.8,
    "'": 304.8,
    "yd": 914.4,
}
GRAMS_PER_OUNCE = 28.349523125
G_M2_PER_OZ_YD2 = GRAMS_PER_OUNCE / 0.9144**2

_LONGEST = 100  # characters; a length has far fewer
_NUMBER = r"[-+]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][-+]?\d+)?"
_PART = r"\d+/0*[1-9]\d*"
_FRACTION = rf"{_NUMBER}(?:\s+{_PART})?|{_PART}"
_LENGTH = re.compile(rf"^\s*({_FRACTION})\s*(mm|cm|m|inch|in|\"|ft|foot|'|yd)\s*$", re.ASCII)
_FEET_INCHES = re.compile(rf"^\s*(\d+)\s*(?:'|ft)\s*({_FRACTION})\s*(?:\"|in|inch)\s*$", re.ASCII)


def parse_length(text: str) -> float | None:
    """Read a length with its unit: "12 mm", "1.2 m", '12 1/2 in', "1' 6\\"".

    Args:
        text: what the user wrote; a unit is required (a bare number is None).

    Returns:
        Millimetres, or None where the text is none of the listed forms.
    """
    if len(text) > _LONGEST:
        return None
    if match := _FEET_INCHES.match(text):
        return (int(match[1]) * 12 + _number(match[2])) * MM_PER_INCH
    if match := _LENGTH.match(text):
        value = _number(match[1]) * MM_PER_UNIT[match[2]]
        return value if math.isfinite(value) else None
    return None


def _number(text: str) -> float:
    whole, _, fraction = text.strip().rpartition(" ") if "/" in text else (text, "", "")
    if fraction:
        sign = -1 if whole.strip().startswith("-") else 1
        return float(whole or 0) + sign * float(Fraction(fraction))
    return float(whole)


def show_number(value: float, decimals: int) -> str:
    """A number as printed: rounded once, no trailing zeros, never "-0"."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def show_inches(value_mm: float, denominator: int = 16) -> str:
    """Inches as a tape shows them: whole and the nearest sixteenth, for example '12 3/16'."""
    ticks = round(abs(value_mm) / MM_PER_INCH * denominator)
    whole, rest = divmod(ticks, denominator)
    sign = "-" if value_mm < 0 and ticks else ""
    if not rest:
        return f"{sign}{whole}"
    part = Fraction(rest, denominator)
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def show_length(value_mm: float, unit: str = "mm", both: bool = False) -> str:
    """A length in the user's unit, with the other in brackets when `both`."""
    mm, inch = f"{show_number(value_mm, 1)} mm", f"{show_inches(value_mm)} in"
    first, second = (inch, mm) if unit == "in" else (mm, inch)
    return f"{first} ({second})" if both else first


_FIGURE = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_SAID_MM = re.compile(
    rf"`[^`]*`|(?<![\w.])({_FIGURE})((?:(?: x | to | and |, y ){_FIGURE})*) mm\b(?![2²])"
)


def show_run(value_mm: float, unit: str = "mm") -> str:
    """A long length: metres, or feet where the part is in inches."""
    if unit == "in":
        return f"{value_mm / MM_PER_INCH / 12:.1f} ft"
    return f"{value_mm / 1000:.1f} m"


def in_inches(sentence: str) -> str:
    """A sentence with its lengths in mm turned into inches; what stands in backquotes stays.

    Two more decimals are shown than in mm, so that no figure gets coarser by more than it was.
    """

    def inches(figure: re.Match[str]) -> str:
        if "e" in figure[0]:  # a slip of the pen, in many digits
            return f"{float(figure[0]) / MM_PER_INCH:g}"
        decimals = len(figure[0].partition(".")[2]) + 2
        return show_number(float(figure[0]) / MM_PER_INCH, decimals)

    def turned(said: re.Match[str]) -> str:
        if said[1] is None:
            return said[0]
        return re.sub(rf"(?<![\w.]){_FIGURE}", inches, said[1] + said[2]) + " in"

    return _SAID_MM.sub(turned, sentence)
