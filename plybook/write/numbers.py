"""How numbers are written into drawing files: rounded once, short, never nan."""

from __future__ import annotations

import math


class NotDrawable(ValueError):
    """A coordinate or a cut that must not be written."""


def number(value: float, decimals: int = 3) -> str:
    """A finite number with at most `decimals` places, no trailing zeros, never "-0".

    Raises:
        NotDrawable: nan or infinity.
    """
    if not math.isfinite(value):
        raise NotDrawable(f"a coordinate is {value}")
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
