"""How figures and signs are set: one hand for paper, drawings and screen.

Words are composed with the keys of a keyboard ("-45", "120 x 80", "g/m2"); here they become what is
printed (U+2212, ×, m²). What is typed between letters, as in ids and dates, is left as it is. Signs
and the spaces between a figure and its unit follow ISO 80000-1:2022, 7.1 and 7.2.
"""

from __future__ import annotations

import re
from functools import lru_cache

MINUS, TIMES, NO_BREAK = "\u2212", "\u00d7", "\u00a0"
_SIGN = re.compile(r"(?<![^\s(\[/,;:=\u00b1\u00d7\u2026])-(?=\d)")
_BY = re.compile(r"(?<=[\dmn]) x (?=\d)")  # after a figure, mm, m or in
_BY_TIGHT = re.compile(r"(?<![\w-])(\d+)x(?=\d+(?![\w-]))")  # and not within an id
_DEGREES = re.compile(r"(?<=\d) ?deg(?=[CF]?(?![\w-]))")
_POWER = re.compile(r"(?<![A-Za-z_-])([mc]?m)([23])(?![\w-])")
_POWERS = {"2": "\u00b2", "3": "\u00b3"}
_UNIT = (
    r"(?:mm|cm|km|m|in|ft|sq ft|yd|oz|lb|g|kg|mg|t|ml|l|s|min|h|d|N|kN|Pa|kPa|MPa|GPa|bar|mbar|inHg"
    r"|[mc]?m[\u00b2\u00b3]|g/m\u00b2|\u00b0[CF]|%|\u00d7)(?![\w/])"
)
_BOUND = rf"(?<=\d) (?={_UNIT}|\d+/\d)|(?<=\u00b1) (?=\d)"
_TIE = re.compile(_BOUND)
_BREAK = re.compile(rf"(?!{_BOUND})\s+")


@lru_cache(maxsize=16384)
def typeset(text: str) -> str:
    """Words as they are printed; setting them again changes nothing.

    >>> typeset("-45 deg, 120 mm x 80 mm of 200 g/m2; TN-310, 2026-05-04")
    '\u221245\u00b0, 120 mm \u00d7 80 mm of 200 g/m\u00b2; TN-310, 2026-05-04'
    """
    if text.isalpha():
        return text
    text = text.replace("+/-", "\u00b1").replace("...", "\u2026")
    text = _SIGN.sub(MINUS, text)
    text = _BY_TIGHT.sub(rf"\g<1>{TIMES}", _BY.sub(f" {TIMES} ", text))
    text = _DEGREES.sub(_degree, text)
    return _POWER.sub(lambda found: found[1] + _POWERS[found[2]], text)


def _degree(found: re.Match[str]) -> str:
    """Of an angle the sign stands at its figure, of a temperature a space before it."""
    thermal = found.string[found.end() : found.end() + 1] in ("C", "F")
    return " \u00b0" if thermal else "\u00b0"


def bound(text: str) -> str:
    """Words set, with spaces that do not break between a figure and its unit: for a screen."""
    return _TIE.sub(NO_BREAK, typeset(text))


def broken(text: str) -> list[str]:
    """The stretches of a text between which a line may end."""
    return _BREAK.split(text.strip()) if text.strip() else []
