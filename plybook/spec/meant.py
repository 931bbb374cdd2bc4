"""Did you mean: the word of the language nearest to what was written.

Tried in order: the same word in other letters (`Left`, `wet laminate`); what else people say for
it (`inches`, `ud`, `chamfer`); a word misspelt; a word cut short or run on.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

# what people say -> what the language may call it
_SAID = {
    "mm": "millimeter millimeters millimetre millimetres milimeters milimetres metric",
    "cm": "centimeter centimeters centimetre centimetres",
    "m": "meter meters metre metres mtr mtrs",
    "in": "inches inch imperial ins",
    "ft": "foot feet",
    "yd": "yard yards",
    "min": "mins minute minutes",
    "h": "hr hrs hour hours",
    "s": "secs second seconds",
    "g": "gram grams gramme grammes",
    "kg": "kilo kilos kilogram kilograms",
    "oz": "ounce ounces",
    "lb": "lbs pound pounds",
    "g/m2": "g/sqm grams_per_square_metre g/m^2",
    "kg/m3": "kg/m^3 kg/cum",
    "g/cm3": "g/cc g/ml kg/l g/cm^3",
    "lb/ft3": "pcf lb/ft^3 lbs/ft3",
    "oz/yd2": "osy oz/sqyd oz/yd^2 oz",
    "left": "port",
    "right": "starboard",
    "female": "concave",
    "male": "convex plug",
    "upper": "top",
    "lower": "bottom underside",
    "all": "both whole",
    "ruled": "straight linear",
    "smooth": "spline curved",
    "unidirectional": "ud uni tape",
    "biaxial": "biax ncf",
    "mat": "csm fleece",
    "bevel": "chamfer bevelled beveled slope ramp",
    "square": "straight butt 90",
    "cloth": "fabric material weave",
    "sheet": "material foam panel",
    "because": "reason why",
    "angle": "orientation direction",
    "share": "chord fraction",
    "trailing": "te aft rear",
    "leading": "le front nose",
    "wet_laminate": "wet_layup wet_lay_up hand_layup",
    "dry_layup": "infusion dry_lay_up",
    "core_bond": "bond",
    "to suit the sheets": "auto automatic",
}


def meant(word: str, known: Iterable[str], near: float = 0.6) -> str:
    """The known word that was most likely meant, "" when none is near.

    Args:
        word: as written.
        known: the words that may stand there.
        near: least likeness of a misspelt word, 0 to 1 (`difflib`).
    """
    plain = {_plain(one): one for one in reversed(list(known))}
    written = _plain(word)
    if written in plain:
        return plain[written]
    for name, others in _SAID.items():
        if _plain(name) in plain and written in others.split():
            return plain[_plain(name)]
    close = difflib.get_close_matches(written, plain, 1, near)
    if close:
        return plain[close[0]]
    if len(written) < 2:
        return ""
    begun = [
        one
        for one in plain
        if one.startswith(written) or (len(one) > 2 and written.startswith(one))
    ]
    return plain[begun[0]] if len(begun) == 1 else ""


def guess(word: str, known: Iterable[str], near: float = 0.6) -> str:
    """The question that leads a help, or nothing: "did you mean `tip`? "."""
    close = meant(word, known, near)
    return f"did you mean `{close}`? " if close and close != word else ""


def units_meant(text: str, known: Iterable[str]) -> str:
    """The question for a number with a wrong unit: "did you mean `43 in`? "."""
    units = list(known)
    parts = re.findall(r"([-+]?[\d.]+)\s*([^\d\s.+-][^\s.+-]*)", text)
    said = [(number, unit if unit in units else _near_unit(unit, units)) for number, unit in parts]
    if not said or not all(unit for _, unit in said):
        return ""
    right = " ".join(f"{number} {unit}" for number, unit in said)
    if right == text.strip():
        return ""
    number, written = parts[0]
    longer = written[:-1]  # one letter too many: `12 mn` may be `12 m` as well
    other = len(parts) == 1 and len(longer) > 0 and longer in units and longer != said[0][1]
    return f"did you mean `{right}`{f' or `{number} {longer}`' if other else ''}? "


def _near_unit(unit: str, units: Sequence[str]) -> str:
    """The unit that was meant; of those equally near, one of as many letters: `mn` is `mm`."""
    alike = [one for one in units if len(one) == len(unit) and one[:1] == unit[:1].lower()]
    return alike[0] if len(alike) == 1 and len(unit) > 1 else meant(unit, units)


def _plain(word: str) -> str:
    return re.sub(r"[\s-]+", "_", word.strip().lower())
