"""What a thing of plan.json looks like in print, and where it stands among printed words.

Printed words are compared squeezed: without white space and the breaks of lines, with signs as they
are typed on a keyboard or as they are set ("-45 deg" and "−45°") taken for the same. A character
that the typeface of the paper files lacks is printed as a question mark; words too long for their
room end in an ellipsis.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from functools import lru_cache

MM_PER_INCH = 25.4  # exact: the international yard and pound agreement of 1959
SQUARE_FOOT_M2 = 0.3048**2  # exact, from the same agreement
ANGLE = re.compile(r"[-+\u2212]?\d+(?:\.\d+)?°")
CUT_OFF = "\u2026"
_ROUNDING = 1e-6  # plan.json keeps six decimals of a figure; printed it may fall either way
_ROUNDING_MM = 2e-4  # of a size, between coordinates that keep four decimals
_DURATION = re.compile(r"(?:(\d+)h)?(?:(\d+)min)?(?:(\d+)s)?")
_SET = {"\u2212": "-", "\u00b2": "2", "\u00b3": "3"}
_TYPED = (
    (re.compile(r"\+/-"), "±"),
    (re.compile(r"\.\.\."), "\u2026"),
    (re.compile(r"(?<=\d)\s?deg(?=[CF]?(?![\w-]))"), "°"),
    (re.compile(r"(?<=[\dmn]) x (?=\d)"), "×"),
    (re.compile(r"(?<![\w-])(\d+)x(?=\d+(?![\w-]))"), r"\1×"),
)
_SPACE = re.compile(r"[\s\u00ad\u00a0\u202f]+")
_SIGNS = str.maketrans(_SET)
_UNSEEN = ("Cc", "Cf", "Cn", "Cs")  # kinds of characters that may be left out in print


def squeeze(text: str) -> str:
    """Words without the white space and hyphens that setting adds, composed (Unicode NFC); signs
    alike however they are set; the minus-plus of laminate codes as two signs."""
    for typed, char in _TYPED:
        text = typed.sub(char, text)
    squeezed = _SPACE.sub("", text).translate(_SIGNS)
    if squeezed.isascii():
        return squeezed
    return unicodedata.normalize("NFC", squeezed).replace("\u2213", "-+")


def after(text: str, words: str, start: int = 0) -> int:
    """Where a text ends among squeezed words, the first from `start` on; -1 where it is not."""
    wanted = squeeze(text)
    found = words.find(wanted, start)
    if found >= 0 or wanted.isascii():
        return found + len(wanted) if found >= 0 else -1
    match = pattern(wanted).search(words, start)
    return match.end() if match else -1


@lru_cache(maxsize=1024)
def pattern(squeezed: str) -> re.Pattern[str]:
    """A text in which each character beyond ASCII may be printed as a question mark."""
    return re.compile("".join(map(_shown, squeezed)))


def _shown(char: str) -> str:
    if char.isascii():
        return re.escape(char)
    left_out = "?" if unicodedata.category(char) in _UNSEEN else ""
    return rf"[{re.escape(char)}?]{left_out}"


def same(said: str, text: str, cut: bool = True) -> bool:
    """Whether printed words are a text.

    Args:
        said: what is printed.
        text: what plan.json holds.
        cut: whether the end may be left out for an ellipsis.
    """
    said, wanted = squeeze(said), squeeze(text)
    if said == wanted:
        return True
    if not wanted.isascii() and pattern(wanted).fullmatch(said):
        return True
    if not cut or not said.endswith(CUT_OFF) or len(said) < 2:
        return False
    begun = said[:-1]
    return wanted.startswith(begun) or bool(pattern(wanted[: len(begun)]).fullmatch(begun))


def angle(angle_deg: float) -> str:
    """An axis within (-90, 90] as it is printed: '+45°', '−45°', '0°', '90°'."""
    folded = folded_deg(angle_deg)
    sign = "+" if folded > 0 and folded != 90.0 else ""
    return f"{sign}{folded:g}°".replace("-", "\u2212")


def told_deg(said: str) -> float:
    """The degrees of a printed angle."""
    return float(said.rstrip("°").replace("\u2212", "-"))


def folded_deg(angle_deg: float) -> float:
    """An axis within (-90, 90], to the tenth that is printed."""
    folded = round((angle_deg + 90.0) % 180.0 - 90.0, 1)
    return 90.0 if folded == -90.0 else folded + 0.0


def fixed(value: float, decimals: int) -> str:
    """A figure as a regular expression, printed with just so many decimals."""
    told = {f"{value + off:.{decimals}f}" for off in (-_ROUNDING, 0.0, _ROUNDING)}
    return f"(?:{'|'.join(sorted(map(re.escape, told)))})"


def figures(value: float) -> set[str]:
    """A figure as the bench reads it: three decimals below one, one below ten thousand, no
    zeros at the end."""
    decimals = 3 if abs(value) < 1 else 1 if abs(value) < 10000 else 0
    told = {f"{value + off:.{decimals}f}" for off in (-_ROUNDING, 0.0, _ROUNDING)}
    short = {t.rstrip("0").rstrip(".") if "." in t else t for t in told}
    return {"0" if t in ("", "-0") else t for t in short}


def limit_figures(value: float) -> set[str]:
    """A limit as it is printed and judged: at most three decimals, no zeros at the end."""
    told = {f"{value + off:.3f}" for off in (-_ROUNDING, 0.0, _ROUNDING)}
    short = {t.rstrip("0").rstrip(".") for t in told}
    return {"0" if t in ("", "-0") else t for t in short}


def lasts(words: str, at: int, seconds: float) -> bool:
    """Whether a duration such as 1h59min stands at a place of squeezed words: seconds below a
    minute, else whole minutes."""
    match = _DURATION.match(words, at)
    if match is None or not match.group():
        return False
    hours, minutes, rest = (int(part or 0) for part in match.groups())
    off = abs(3600 * hours + 60 * minutes + rest - seconds)
    return off < 1.0 if seconds < 60 else off <= 30.0


def lengths(value_mm: float, units: str, kind: str = "ply") -> set[str]:
    """A length without its unit as a tape shows it, squeezed: of cloth and film to a millimetre or
    a sixteenth of an inch, of what is stiff to half a millimetre or a thirty-second.

    Args:
        value_mm: the length.
        units: "in" or "mm".
        kind: of the piece.
    """
    near = (value_mm - _ROUNDING_MM, value_mm, value_mm + _ROUNDING_MM)
    soft = kind in ("ply", "film")
    if units == "in":
        return {_parts(v, 16 if soft else 32) for v in near}
    if soft:
        return {f"{v:.0f}" if round(v) else "0" for v in near}
    return {f"{round(2 * v) / 2 + 0.0:g}" for v in near}


def lengths_in_both(value_mm: float, units: str, kind: str) -> set[str]:
    """A length in the unit of the part and then in brackets in the other, squeezed."""
    mm = {f"{t}mm" for t in lengths(value_mm, "mm", kind)}
    inches = {f"{t}in" for t in lengths(value_mm, "in", kind)}
    first, second = (inches, mm) if units == "in" else (mm, inches)
    return {f"{a}({b})" for a in first for b in second}


def thickness(value_mm: float, units: str) -> str:
    """A thickness as a regular expression: hundredths of a millimetre, thousandths of an inch."""
    return fixed(value_mm / MM_PER_INCH, 3) if units == "in" else fixed(value_mm, 2)


def area(area_m2: float, units: str) -> str:
    """An area as a regular expression: square metres, of inch parts square feet."""
    return fixed(area_m2 / SQUARE_FOOT_M2, 2) if units == "in" else fixed(area_m2, 3)


def weighed_g(grams: float) -> set[str]:
    """A mass as it may be printed, weighed as closely as it is."""
    return {f"{as_weighed_g(grams + off):.0f}" for off in (-_ROUNDING, 0.0, _ROUNDING)}


def as_weighed_g(grams: float) -> float:
    """A mass to 10 g from 1 kg on, to 5 g from 100 g on, else to a gram."""
    step = 10 if grams >= 1000 else 5 if grams >= 100 else 1
    return float(round(grams / step) * step)


def _parts(value_mm: float, of: int) -> str:
    ticks = round(abs(value_mm) / MM_PER_INCH * of)
    whole, rest = divmod(ticks, of)
    sign = "-" if value_mm < 0 and ticks else ""
    part = str(Fraction(rest, of)) if rest else ""
    return f"{sign}{whole if whole or not rest else ''}{part}"
