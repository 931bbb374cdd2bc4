"""Lengths as people write them, and as they are printed.

Inside the tool every length is millimetres. `parse_length` reads the listed forms and nothing
else; `show_length` prints the user's unit first and the other second.

What is worked out is told no closer than a hand can place it, by the grain of what is placed; the
files keep the exact figure. Each figure is rounded by itself, from the point it is measured from,
never as the sum of rounded ones. 1 in = 25.4 mm exactly
(international inch, 1959); ounce and yard from the same agreement.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import NamedTuple

MM_PER_INCH = 25.4
MM_PER_FOOT = 304.8
SQUARE_FOOT_M2 = 0.3048**2
MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": MM_PER_FOOT,
    "foot": MM_PER_FOOT,
    "'": MM_PER_FOOT,
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


class Grain(NamedTuple):
    """How closely something is placed by hand: in millimetres, and in which part of an inch.

    Source: common practice, no source.
    """

    mm: float
    inch: int

    @property
    def decimals(self) -> int:
        """Of millimetres."""
        return 0 if self.mm >= 1.0 else 1

    def step_mm(self, unit: str) -> float:
        """The finest step of the tape in a unit."""
        return MM_PER_INCH / self.inch if unit == "in" else self.mm

    def rounded_mm(self, value_mm: float, unit: str = "mm") -> float:
        """The nearest length that the tape shows."""
        return round(value_mm / self.step_mm(unit)) * self.step_mm(unit)


GIVEN = Grain(0.1, 32)  # what the builder wrote into the spec himself
CLOTH = Grain(1.0, 16)  # what drapes: plies and films
STIFF = Grain(0.5, 32)  # what is sawn: core, inserts, rods


def grain_of(kind: str) -> Grain:
    """By the kind of a layer or piece."""
    return CLOTH if kind in ("ply", "film") else STIFF


def told_grams(mass_g: float) -> float:
    """A mass as it is weighed: to 10 g from 1 kg on, to 5 g from 100 g on, else to a gram."""
    step = 10 if mass_g >= 1000 else 5 if mass_g >= 100 else 1
    return float(round(mass_g / step) * step)


def show_mass(mass_g: float) -> str:
    """A mass of a part: kilograms from 1 kg on, grams below."""
    told = told_grams(mass_g)
    return f"{told / 1000:.2f} kg" if told >= 1000 else f"{told:.0f} g"


def show_inches(value_mm: float, denominator: int = 32) -> str:
    """Inches as a tape shows them: whole and the nearest part, for example '12 3/16'."""
    ticks = round(abs(value_mm) / MM_PER_INCH * denominator)
    whole, rest = divmod(ticks, denominator)
    sign = "-" if value_mm < 0 and ticks else ""
    if not rest:
        return f"{sign}{whole}"
    part = Fraction(rest, denominator)
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def show_figure(value_mm: float, unit: str = "mm", grain: Grain = GIVEN) -> str:
    """A length without its unit."""
    if unit == "in":
        return show_inches(value_mm, grain.inch)
    return show_number(grain.rounded_mm(value_mm), grain.decimals)


def show_growth(value_mm: float, unit: str = "mm", grain: Grain = GIVEN) -> str:
    """How much longer or shorter, with its sign and without its unit; "0" has none."""
    words = show_figure(value_mm, unit, grain)
    return words if words == "0" or value_mm < 0 else f"+{words}"


def show_price(price: float, currency: str) -> str:
    """A price in its currency; "" where it is not stated."""
    return f"{price:.2f} {currency}".rstrip() if price else ""


def show_length(
    value_mm: float, unit: str = "mm", both: bool = False, grain: Grain = GIVEN
) -> str:
    """A length in the user's unit, with the other in brackets when `both`."""
    mm, inch = (f"{show_figure(value_mm, name, grain)} {name}" for name in ("mm", "in"))
    first, second = (inch, mm) if unit == "in" else (mm, inch)
    return f"{first} ({second})" if both else first


def show_thickness(value_mm: float, unit: str = "mm") -> str:
    """A thickness as a caliper shows it, without its unit: hundredths of a millimetre, or
    thousandths of an inch."""
    return f"{value_mm / MM_PER_INCH:.3f}" if unit == "in" else f"{value_mm:.2f}"


def area_unit(unit: str) -> str:
    """What areas are told in beside lengths in mm or in."""
    return "sq ft" if unit == "in" else "m²"


def show_area(area_m2: float, unit: str = "mm") -> str:
    """An area without its unit."""
    return f"{area_m2 / SQUARE_FOOT_M2:.2f}" if unit == "in" else f"{area_m2:.3f}"


def show_amount(amount: float, measure: str, unit: str = "mm") -> str:
    """A quantity with its measure ("m2", "m", "g", "kg", "piece"): of inch parts areas and runs in
    feet."""
    if unit == "in" and measure == "m2":
        amount, measure = amount / SQUARE_FOOT_M2, "sq ft"
    elif unit == "in" and measure == "m":
        amount, measure = amount * 1000 / MM_PER_FOOT, "ft"
    decimals = 3 if abs(amount) < 1 else 1 if abs(amount) < 10000 else 0
    if measure == "g":
        decimals = 0 if abs(amount) >= 10 else 1
    return f"{show_number(amount, decimals)} {area_unit('mm') if measure == 'm2' else measure}"


def show_run(value_mm: float, unit: str = "mm") -> str:
    """A long length of tape, film or hose: metres, or feet where the part is in inches."""
    if unit == "in":
        return f"{value_mm / MM_PER_INCH / 12:.1f} ft"
    return f"{value_mm / 1000:.1f} m"


def show_roll(value_mm: float, unit: str = "mm") -> str:
    """How much of a roll is used: to the centimetre above, or to the inch above."""
    if unit == "in":
        feet, inches = divmod(math.ceil(value_mm / MM_PER_INCH - 1e-6), 12)
        return f"{feet} ft {inches} in" if feet else f"{inches} in"
    return f"{math.ceil(value_mm / 10 - 1e-6) / 100:.2f} m"


# ---------------------------------------------------------------- lengths inside a sentence

_MARK = "\x1f"  # no text of a spec can hold it
_SLIP_MM = 1e9  # from here on a slip of the pen, and said with its power of ten
_MARKED = re.compile(rf"{_MARK}([^{_MARK}|]*)\|([^{_MARK}|]*)\|([^{_MARK}]*){_MARK}")


class _Length:
    """A length that a format string leaves in its sentence as a value."""

    def __init__(self, value_mm: float, unit: str):
        self.value_mm, self.unit = float(value_mm), unit

    def __format__(self, spec: str) -> str:
        return f"{_MARK}{self.value_mm!r}|{spec or '.1f'}|{self.unit}{_MARK}"


def mm(value_mm: float) -> _Length:
    """A length for a sentence: `f"is {mm(x):.1f} wide"` reads "is 30.0 mm wide", or in inches.

    The format is the one for millimetres.
    """
    return _Length(value_mm, " mm")


def bare_mm(value_mm: float) -> _Length:
    """As `mm`, without the unit: for "100 x 80 mm", and for what is written into a spec."""
    return _Length(value_mm, "")


class Sentence(str):
    """A sentence that reads in mm and knows its lengths: `in_unit` says it in another unit."""

    marked: str

    def __new__(cls, marked: str) -> Sentence:
        made = super().__new__(cls, _MARKED.sub(_as_mm, marked))
        made.marked = marked
        return made

    def __reduce__(self) -> tuple:
        return Sentence, (self.marked,)

    def in_unit(self, unit: str) -> str:
        return _MARKED.sub(_as_inches, self.marked) if unit == "in" else str(self)

    def __add__(self, more: str) -> Sentence:
        return Sentence(self.marked + (more.marked if isinstance(more, Sentence) else more))


def sentence(text: str) -> str:
    """A text as a `Sentence` where a format string has left lengths in it."""
    return Sentence(text) if _MARK in text else text


def marked(text: str) -> str:
    """A sentence to be put into another one, its lengths still values."""
    return text.marked if isinstance(text, Sentence) else text


def _as_mm(found: re.Match[str]) -> str:
    value = float(found[1])
    return format(value, found[2] if abs(value) < _SLIP_MM else "g") + found[3]


def _as_inches(found: re.Match[str]) -> str:
    """Whole millimetres become parts of an inch that a tape shows, and so do finer lengths that are
    such a part; the rest have two more decimals than in mm, so that no figure gets coarser."""
    value = float(found[1])
    shown = format(value, found[2])
    unit = " in" if found[3] else ""
    if "e" in shown or not abs(value) < _SLIP_MM:
        return f"{value / MM_PER_INCH:g}{unit}"
    decimals = len(shown.partition(".")[2])
    off_tape = abs(value - GIVEN.rounded_mm(value, "in"))
    large = abs(value) >= MM_PER_INCH / 4 and found[2].endswith("f")
    if large and (decimals == 0 or off_tape < 0.5 * 10.0**-decimals):
        return show_figure(value, "in") + unit
    return show_number(value / MM_PER_INCH, decimals + 2) + unit
