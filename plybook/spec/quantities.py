"""How one value is read: numbers, lengths, angles, times and masses.

Each kind is a type for the written models. A reader gets the text as it stands in the file and
gives the value in the tool's units (mm, degrees, seconds, grams), or raises `Wrong` with the
sentence and the edit. A bare length is in the unit the file declares; nothing is guessed from
the size of a number.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema

from plybook.spec.meant import units_meant
from plybook.spec.reader import Fields, Items, Scalar
from plybook.spec.reading import reading
from plybook.units import G_M2_PER_OZ_YD2, GRAMS_PER_OUNCE, MM_PER_UNIT, mm, parse_length

LONGEST = 100  # characters of a value; none that is meant comes near
_NUMBER = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
DATE = re.compile(r"\d{4}-\d{1,2}-\d{1,2}", re.ASCII)
CLOCK = re.compile(r"[-+]?\d+(?::\d+)+(?:\.\d*)?", re.ASCII)
YES_WORDS = {"yes": True, "true": True, "no": False, "false": False}


class Wrong(ValueError):
    """A refusal of one value; `{key}` in the message becomes the key it stands under."""

    def __init__(self, code: str, message: str, help: str = ""):
        super().__init__(message)
        self.code, self.message, self.help = code, message, help


def number_of(raw: Any, what: str = "a number") -> float:
    """A plain finite number, or a refusal that says what is wrong with the text."""
    text = value_of(raw, what)
    if raw.quoted and _NUMBER.fullmatch(text):
        raise Wrong(
            "quoted-number", f'{{key}}: "{text}" is text, expected {what}', "remove the quotes"
        )
    value = _plain_number(text)
    if value is None:
        raise Wrong(
            "not-a-number", f"{{key}}: expected {what}, found `{short(text)}`", _number_help(text)
        )
    return value


def _plain_number(text: str) -> float | None:
    """The number a text is, None where it is none.

    Raises:
        Wrong: it looks like a number but would be misread.
    """
    if re.fullmatch(r"[-+]?0\d+(\.\d*)?", text):
        bare = re.sub(r"^([-+]?)0+(?=\d)", r"\1", text)
        raise Wrong("leading-zero", f"{{key}}: `{text}` has a leading zero", f"write {bare}")
    if re.fullmatch(r"[-+]?\d+,\d+", text):
        raise Wrong(
            "decimal-comma",
            f"{{key}}: `{text}` has a decimal comma",
            f"use a decimal point: {text.replace(',', '.')}",
        )
    if re.fullmatch(r"[-+]?\.?(inf|nan|infinity)", text, re.IGNORECASE):
        raise Wrong("not-finite", f"{{key}} must be finite, found `{text}`", "write a number")
    if CLOCK.fullmatch(text):
        raise Wrong(
            "clock-number",
            f"{{key}}: `{text}` could be a time or a number",
            'write "12:30" in quotes for a time of day, 12 min for a wait',
        )
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise Wrong(
            "not-finite", f"{{key}} must be finite, found `{short(text)}`", "write a number"
        )
    return value + 0.0  # -0.0 becomes 0


def _number_help(text: str) -> str:
    if re.fullmatch(r"[-+]?[\d_]+", text):
        return "write the digits without underscores"
    if re.match(r"[-+]?0[xob]", text):
        return "write it in ordinary digits"
    if DATE.fullmatch(text):
        return "a date has no place here"
    if text.lower() in YES_WORDS:
        return "yes and no have no place here"
    if money := re.fullmatch(r"[^\w\s.,+-]\s*(\d+(?:\.\d+)?)|(\d+(?:\.\d+)?)\s*[^\w\s.,%+-]", text):
        return (
            f"write `{money[1] or money[2]}`: all prices are in one money, which has no sign here"
        )
    return ""


def scalar_of(raw: Any, what: str) -> str:
    if isinstance(raw, Fields):
        raise Wrong("wrong-kind", f"{{key}}: expected {what}, found a mapping")
    if isinstance(raw, Items):
        texts = [str(item) for item in raw if isinstance(item, Scalar)]
        quoted = f'put it in quotes: "[{", ".join(texts)}]"' if len(texts) == len(raw) else ""
        raise Wrong("wrong-kind", f"{{key}}: expected {what}, found a list", quoted)
    if raw == "" and not raw.quoted:
        raise Wrong("empty", "{key} is empty", f"write {what}")
    return raw.strip()


def value_of(raw: Any, what: str) -> str:
    """The text of a number or quantity, short enough to be one and in ordinary digits."""
    text = scalar_of(raw, what)
    if len(text) > LONGEST:
        raise Wrong(
            "too-long", f"{{key}}: expected {what}, found {len(text)} characters", f"write {what}"
        )
    if odd := odd_digits(text):
        raise Wrong(
            "odd-digits",
            f"{{key}}: `{short(text)}` is not written in the digits 0 to 9",
            f"write {odd}",
        )
    return text


def odd_digits(text: str) -> str:
    """The text in the digits 0 to 9 where it holds others (１, ١, ²); "" where it does not."""
    if text.isascii():
        return ""
    plain = "".join(
        str(unicodedata.digit(c)) if not c.isascii() and c.isdecimal() else c for c in text
    )
    return plain if plain != text else ""


def short(text: str) -> str:
    line = text.replace("\n", " ")
    return line if len(line) <= 40 else line[:37] + "..."


def _within(value: float, show: str, low: float | None, over: float | None, high: float | None):
    if low is not None and value < low:
        raise Wrong("out-of-range", f"{{key}} is {show}, expected {low:g} or more")
    if over is not None and value <= over:
        raise Wrong("out-of-range", f"{{key}} is {show}, expected more than {over:g}")
    if high is not None and value > high:
        raise Wrong("out-of-range", f"{{key}} is {show}, expected at most {high:g}")
    return value


# ---------------------------------------------------------------- lengths

LENGTH_FORMS = "12, 12 mm, 1.2 m, 3.5 cm, 1/2 in, 12 1/2 in, 1' 6\", 4 ft"


def length_of(raw: Any, units: str | None, what: str = "a length") -> float:
    """A length in mm; a bare number is in `units`, a bare fraction is one of inches."""
    text = value_of(raw, what)
    if raw.quoted and _NUMBER.fullmatch(text):
        raise Wrong(
            "quoted-number", f'{{key}}: "{text}" is text, expected {what}', "remove the quotes"
        )
    if (value := _plain_number(text)) is not None:
        if units is None:
            raise Wrong(
                "no-units",
                f"{{key}}: {text} has no unit and the file declares none",
                "add `units: mm` or `units: in`, or write the unit behind",
            )
        return value * MM_PER_UNIT[units] + 0.0
    value = parse_length(text)
    if value is None and units == "in" and "/" in text:  # a tape's 3/4 or 1 1/2
        value = parse_length(f"{text} in")
    if value is None:
        spaced = re.fullmatch(rf"({_NUMBER.pattern})\s*([a-zA-Z\"']+)", text)
        if spaced and (close := units_meant(text, MM_PER_UNIT)):
            help = f"{close}units are mm, cm, m, in, ft, yd in small letters"
        elif re.match(r"[-+]?\d+,\d", text):
            help = "use a decimal point"
        else:
            help = f"lengths are written like `{LENGTH_FORMS}`"
        raise Wrong("not-a-length", f"{{key}}: expected {what}, found `{short(text)}`", help)
    return value + 0.0


def _length(
    low: float | None = None,
    over: float | None = None,
    limit: str = "part-mm",
    high: float | None = None,
) -> Callable[[Any, ValidationInfo], float]:
    def read(raw: Any, info: ValidationInfo) -> float:
        value = length_of(raw, reading(info).units)
        bare = _NUMBER.fullmatch(raw.strip())
        shown = short(raw.strip()) + (f" {reading(info).units}" if bare else "")
        most = reading(info).limits[limit]
        least = reading(info).limits["least-mm"]
        _within(value, shown, low, over, high)
        if abs(value) > most:
            meant = bare and reading(info).units == "in" and abs(value) / MM_PER_UNIT["in"] <= most
            raise Wrong(
                "out-of-range",
                f"{{key}} is {shown}, expected at most {mm(most):.10g}",
                (
                    f"in this file a bare number is in inches: write `{short(raw.strip())} mm` if "
                    "that is meant; "
                    if meant
                    else ""
                )
                + reading(info).limits.why(limit),
            )
        if value and abs(value) < least:
            raise Wrong(
                "out-of-range",
                f"{{key}} is {shown}, expected 0 or at least {mm(least):g}",
                reading(info).limits.why("least-mm"),
            )
        return value

    return read


_LENGTH_SCHEMA = {
    "anyOf": [{"type": "number"}, {"type": "string", "pattern": r"\d"}],
    "description": f"A length: {LENGTH_FORMS}. A bare number is in the units of the file.",
}


def json_schema(*kinds: str, **more) -> WithJsonSchema:
    one = {"type": kinds[0]} if len(kinds) == 1 else {"anyOf": [{"type": k} for k in kinds]}
    return WithJsonSchema({**one, **more})


Length = Annotated[float, PlainValidator(_length()), WithJsonSchema(_LENGTH_SCHEMA)]
LengthFromZero = Annotated[float, PlainValidator(_length(low=0)), WithJsonSchema(_LENGTH_SCHEMA)]
LengthOverZero = Annotated[float, PlainValidator(_length(over=0)), WithJsonSchema(_LENGTH_SCHEMA)]
# narrower paper is a sheet for an ordinary printer; plotters take rolls of up to 64 in
PaperWidth = Annotated[
    float, PlainValidator(_length(low=250, high=2000)), WithJsonSchema(_LENGTH_SCHEMA)
]
TableLength = Annotated[
    float, PlainValidator(_length(low=500, high=30000)), WithJsonSchema(_LENGTH_SCHEMA)
]
EdgeWidth = Annotated[
    float, PlainValidator(_length(low=0, limit="edge-mm")), WithJsonSchema(_LENGTH_SCHEMA)
]
RollLength = Annotated[
    float, PlainValidator(_length(over=0, limit="roll-mm")), WithJsonSchema(_LENGTH_SCHEMA)
]


# ---------------------------------------------------------------- numbers with one fixed unit


def _number(what: str, low=None, over=None, high=None, whole=False, suffix: str = ""):
    def read(raw: Any, info: ValidationInfo) -> float:
        if suffix and isinstance(raw, Scalar) and len(raw) <= LONGEST:
            match = re.fullmatch(rf"\s*({_NUMBER.pattern})\s*(?:{suffix})\s*", raw)
            raw = Scalar(match[1], raw.place) if match else raw
        value = number_of(raw, what)
        if whole and value != int(value):
            raise Wrong("not-whole", f"{{key}} is {raw}, expected a whole number")
        _within(value, str(raw), low, over, high)
        return int(value) if whole else value

    return read


Number = Annotated[float, PlainValidator(_number("a number")), json_schema("number")]
NumberFromZero = Annotated[
    float, PlainValidator(_number("a number", low=0)), json_schema("number", minimum=0)
]
NumberOverZero = Annotated[
    float,
    PlainValidator(_number("a number", over=0)),
    json_schema("number", exclusiveMinimum=0),
]
Count = Annotated[
    int,
    PlainValidator(_number("a whole number", low=1, high=1000, whole=True)),
    json_schema("integer", minimum=1, maximum=1000),
]
Share = Annotated[
    float,
    PlainValidator(_number("a share from 0 to 1", low=0, high=1)),
    json_schema("number", minimum=0, maximum=1, description="0 at the first edge, 1 at the last."),
]
FibreShare = Annotated[
    float,
    PlainValidator(_number("a share by volume from 0.1 to 0.8", low=0.1, high=0.8)),
    json_schema("number", minimum=0.1, maximum=0.8),
]
Percent = Annotated[
    float,
    PlainValidator(_number("a percentage", low=0, high=200, suffix="%")),
    json_schema("number", "string", description="Percent: 0.5 or 0.5 %."),
]
# a printer that is further out scales to fit the paper: that is switched off, not made up for
PrintedPercent = Annotated[
    float,
    PlainValidator(_number("a percentage", low=90, high=110, suffix="%")),
    json_schema("number", "string", description="Percent of true, 90 to 110: 99.6 or 99.6 %."),
]
Celsius = Annotated[
    float,
    PlainValidator(_number("degrees Celsius", low=-20, high=250, suffix="°?C")),
    json_schema("number", "string", description="Degrees Celsius: 20 or 20 C."),
]


def angle_of(raw: Any, what: str = "an angle in degrees") -> float:
    """Degrees, from 45, 45°, 45 deg or 45 degrees."""
    text = value_of(raw, what)
    unit = next((u for u in ("°", "degrees", "degree", "deg") if text.endswith(u)), "")
    if unit:
        text = text.removesuffix(unit).rstrip()
        raw = Scalar(text, raw.place, False)
    elif re.search(r"\d\s*rad(ians?)?$", text):
        raise Wrong("radians", f"{{key}}: `{text}` is in radians", "write the angle in degrees")
    return number_of(raw, what)


def _angle(low: float = -360, high: float = 360, over: float | None = None):
    def read(raw: Any, info: ValidationInfo) -> float:
        return _within(angle_of(raw), f"{raw.strip()}", low, over, high)

    return read


_ANGLE_SCHEMA = json_schema("number", "string", description="Degrees: 45, 45° or 45 deg.")
Angle = Annotated[float, PlainValidator(_angle()), _ANGLE_SCHEMA]
FibreAngle = Annotated[float, PlainValidator(_angle(-90, 90)), _ANGLE_SCHEMA]
CutAngle = Annotated[float, PlainValidator(_angle(1, 90)), _ANGLE_SCHEMA]


# ---------------------------------------------------------------- units of mass, time and density


def _scaled(what: str, forms: str, scales: dict[str, float], high: float, over=None, low=None,
            bare=None):  # fmt: skip
    """Reader of `number unit`, in the first of `scales` at most `high`; `bare` is the unit of a
    bare number, None refuses it."""

    def read(raw: Any, info: ValidationInfo) -> float:
        text = value_of(raw, what)
        match = re.fullmatch(rf"({_NUMBER.pattern})\s*(\S.*)?", text)
        if match and match[2] is None and raw.quoted:
            raise Wrong(
                "quoted-number", f'{{key}}: "{text}" is text, expected {what}', "remove the quotes"
            )
        if not match:
            _plain_number(text)
            raise Wrong(
                "not-a-quantity",
                f"{{key}}: expected {what}, found `{short(text)}`",
                f"write it like {forms}",
            )
        value = _plain_number(match[1]) or 0.0
        unit = (match[2] or bare or "").strip().replace("²", "2").replace("³", "3")
        if unit not in scales:
            known = "a unit is missing" if not unit else f"unknown unit `{short(unit)}`"
            raise Wrong(
                "unknown-unit",
                f"{{key}}: {known}, expected {what}",
                f"{units_meant(text, scales)}write it like {forms}",
            )
        amount = value * scales[unit] + 0.0
        if amount > high:
            most = f"{high:.0f} {next(iter(scales))}"
            raise Wrong("out-of-range", f"{{key}} is {short(text)}, expected at most {most}")
        return _within(amount, text, low, over, None)

    return read


_AREAL = {
    "g/m2": 1.0,
    "gsm": 1.0,
    "oz/yd2": G_M2_PER_OZ_YD2,
    "oz/ft2": 9 * G_M2_PER_OZ_YD2,
}
_MOST_G_M2 = 100_000.0  # as heavy as a steel plate of 13 mm
_MOST_G = 1e6  # a tonne
_MOST_G_CM3 = 25.0  # nothing is denser than osmium, 22.6 g/cm3 (CRC Handbook; from memory)
_MASS = {"g": 1.0, "kg": 1000.0, "oz": GRAMS_PER_OUNCE, "lb": 16 * GRAMS_PER_OUNCE}
_G_CM3 = {"g/cm3": 1.0, "kg/m3": 0.001, "lb/ft3": 0.01601846337}
_KG_M3 = {"kg/m3": 1.0, "g/cm3": 1000.0, "lb/ft3": 16.01846337}

Areal = Annotated[
    float,
    PlainValidator(
        _scaled(
            "a weight by area", "200 g/m2 or 5.9 oz/yd2", _AREAL, _MOST_G_M2, over=0, bare="g/m2"
        )
    ),
    json_schema(
        "number", "string", description="Weight by area: 200 g/m2, 5.9 oz/yd2; bare: g/m2."
    ),
]
ArealFromZero = Annotated[
    float,
    PlainValidator(
        _scaled(
            "a weight by area", "200 g/m2 or 5.9 oz/yd2", _AREAL, _MOST_G_M2, low=0, bare="g/m2"
        )
    ),
    json_schema(
        "number", "string", description="Weight by area: 200 g/m2, 5.9 oz/yd2; bare: g/m2."
    ),
]
Mass = Annotated[
    float,
    PlainValidator(_scaled("a mass", "300 g, 1.2 kg or 10 oz", _MASS, _MOST_G, over=0, bare="g")),
    json_schema("number", "string", description="Mass: 300 g, 1.2 kg, 10 oz; bare: g."),
]
Density = Annotated[
    float,
    PlainValidator(_scaled("a density", "1.15 g/cm3", _G_CM3, _MOST_G_CM3, over=0, bare="g/cm3")),
    json_schema("number", "string", description="Density: 1.15 g/cm3; bare: g/cm3."),
]
Viscosity = Annotated[
    float,
    PlainValidator(
        _scaled("a viscosity", "300 mPa s", {"mPa s": 1.0, "cP": 1.0, "Pa s": 1000.0}, 1e6, over=0,
                bare="mPa s")
    ),  # fmt: skip
    json_schema("number", "string", description="Viscosity: 300 mPa s, 300 cP; bare: mPa s."),
]
_DARCY_UM2 = 0.9869233  # exact to its digits: 1 cP, 1 cm/s, 1 atm/cm (SI conversion; from memory)
Permeability = Annotated[
    float,
    PlainValidator(
        _scaled("a permeability", "1e-10 m2 or 100 darcy",
                {"um2": 1.0, "m2": 1e12, "darcy": _DARCY_UM2}, 1e6, over=0)
    ),  # fmt: skip
    json_schema("string", description="Permeability: 1e-10 m2, 100 um2, 100 darcy."),
]
CoreDensity = Annotated[
    float,
    PlainValidator(
        _scaled(
            "a density", "80 kg/m3 or 5 lb/ft3", _KG_M3, 1000 * _MOST_G_CM3, over=0, bare="kg/m3"
        )
    ),
    json_schema("number", "string", description="Density: 80 kg/m3, 5 lb/ft3; bare: kg/m3."),
]

_SECONDS = {
    "s": 1,
    "sec": 1,
    "min": 60,
    "h": 3600,
    "hour": 3600,
    "hours": 3600,
    "d": 86400,
    "day": 86400,
    "days": 86400,
}
_DURATION_FORMS = "8 h, 20 min or 1 h 30 min"


def _duration(raw: Any, low: float = 0) -> float:
    text = value_of(raw, "a time with its unit")
    parts = re.findall(r"(\d+(?:\.\d+)?|\.\d+)\s*([a-z]+)", text)
    rest = re.sub(r"(\d+(?:\.\d+)?|\.\d+)\s*([a-z]+)", "", text)
    if not parts or rest.strip() or any(unit not in _SECONDS for _, unit in parts):
        if text.startswith("-"):
            raise Wrong("out-of-range", f"{{key}} is {short(text)}, expected 0 or more")
        if _plain_number(text) is not None:
            raise Wrong(
                "unknown-unit",
                f"{{key}}: {text} has no unit of time",
                f"write it like {_DURATION_FORMS}",
            )
        raise Wrong(
            "not-a-time",
            f"{{key}}: expected a time, found `{short(text)}`",
            f"{units_meant(text, _SECONDS)}write it like {_DURATION_FORMS}",
        )
    sizes = [_SECONDS[unit] for _, unit in parts]
    if sizes != sorted(set(sizes), reverse=True):
        raise Wrong(
            "not-a-time",
            f"{{key}}: `{short(text)}` names a unit twice or out of order",
            f"write it like {_DURATION_FORMS}",
        )
    seconds = sum(float(value) * _SECONDS[unit] for value, unit in parts)
    if seconds < low:
        raise Wrong("out-of-range", f"{{key}} is {text}, expected {low / 60:g} min or more")
    return _within(seconds, text, 0, None, 400 * 86400)


_DURATION_SCHEMA = json_schema("string", description=f"A time: {_DURATION_FORMS}.")
Duration = Annotated[float, PlainValidator(lambda raw: _duration(raw)), _DURATION_SCHEMA]
# a cup is mixed for a minute or two before it can be used (common practice, no source)
WorkingTime = Annotated[float, PlainValidator(lambda raw: _duration(raw, 60)), _DURATION_SCHEMA]
