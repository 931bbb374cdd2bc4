"""How one value is read: texts, ids, dates, times of day, yes and no, fixed words."""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema

from plybook.spec.meant import guess
from plybook.spec.quantities import CLOCK, DATE, YES_WORDS, Wrong, json_schema, scalar_of, short
from plybook.spec.reader import forbidden_character
from plybook.spec.reading import reading


def text_of(raw: Any, limit: float, lines: bool = False, what: str = "a text") -> str:
    """Text, one line unless `lines`."""
    text = scalar_of(raw, what)
    if not text:
        raise Wrong("empty", "{key} is empty", f"write {what}")
    if not raw.quoted:
        if DATE.fullmatch(text):
            raise Wrong(
                "date-as-text",
                f"{{key}}: `{text}` reads as a date, expected {what}",
                f'put it in quotes: "{text}"',
            )
        if CLOCK.fullmatch(text):
            raise Wrong(
                "clock-number",
                f"{{key}}: `{text}` could be a time or a number",
                f'put it in quotes: "{text}"',
            )
        if re.fullmatch(r"[-+]?0\d+", text):
            raise Wrong(
                "leading-zero",
                f"{{key}}: `{text}` has a leading zero",
                f'put it in quotes if it is a name: "{text}"',
            )
    if "\n" in text and not lines:
        raise Wrong(
            "several-lines", "{key} has several lines, expected one", "write it on one line"
        )
    if mark := forbidden_character(text, newlines=lines):
        raise Wrong("control-character", f"{{key}} holds a control character ({mark})", "delete it")
    if len(text) > limit:
        raise Wrong(
            "too-long",
            f"{{key}} has {len(text)} characters, expected at most {limit:.0f}",
            "shorten it",
        )
    return text


_ID = re.compile(r"[^\W_][\w.+-]*", re.UNICODE)


def id_of(raw: Any, limit: float) -> str:
    """A short name without spaces: letters, digits, `-`, `.`, `_`, `+`."""
    text = text_of(raw, limit, what="an id")
    if not _ID.fullmatch(text):
        raise Wrong(
            "not-an-id",
            f"{{key}}: `{short(text)}` is no id",
            "an id is letters, digits, - . _ + without spaces, letter or digit first",
        )
    return text


def _text(lines: bool):
    def read(raw: Any, info: ValidationInfo) -> str:
        return text_of(raw, reading(info).limits["text-length"], lines)

    return read


def _id(raw: Any, info: ValidationInfo) -> str:
    return id_of(raw, reading(info).limits["id-length"])


def _date(raw: Any, info: ValidationInfo) -> str:
    text = scalar_of(raw, "a date")
    try:
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            raise ValueError
        datetime.date.fromisoformat(text)
    except ValueError:
        raise Wrong(
            "not-a-date",
            f"{{key}}: expected a date, found `{short(text)}`",
            "write it like 2026-05-04: year, month, day",
        ) from None
    return text


def _flag(raw: Any, info: ValidationInfo) -> bool:
    text = scalar_of(raw, "yes or no")
    if text.lower() not in YES_WORDS:
        raise Wrong("not-yes-no", f"{{key}}: expected yes or no, found `{short(text)}`")
    return YES_WORDS[text.lower()]


def _clock(raw: Any, info: ValidationInfo) -> str:
    text = scalar_of(raw, "a time of day")
    if not raw.quoted:
        raise Wrong(
            "clock-number",
            f"{{key}}: `{text}` could be a time or a number",
            f'put it in quotes: "{text}"',
        )
    if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise Wrong(
            "not-a-time",
            f"{{key}}: expected a time of day, found `{short(text)}`",
            'write it like "09:00"',
        )
    return text


_ADDRESS = re.compile(r"https?://[A-Za-z0-9\[][A-Za-z0-9._~:/%@\[\]-]*")
LONGEST_ADDRESS = 60  # a longer one needs a code that a small label has no room for


def _address(raw: Any, info: ValidationInfo) -> str:
    text = text_of(raw, LONGEST_ADDRESS, what="an address of the web")
    if not _ADDRESS.fullmatch(text):
        raise Wrong(
            "not-an-address",
            f"{{key}}: expected an address of the web, found `{short(text)}`",
            'write it like "http://192.168.0.7:8000/"',
        )
    return text.rstrip("/") + "/"


def _currency(raw: Any, info: ValidationInfo) -> str:
    text = scalar_of(raw, "the code of a currency")
    if not re.fullmatch("[A-Z]{3}", text):
        raise Wrong(
            "not-a-currency",
            f"{{key}}: `{short(text)}` is not the code of a currency",
            "write its three letters, as in `EUR` or `USD`",
        )
    return text


def one_of(*words: str):
    """A type for a value that is one of a few words."""

    def read(raw: Any, info: ValidationInfo) -> str:
        text = scalar_of(raw, "one of " + ", ".join(words))
        if text not in words:
            raise Wrong(
                "unknown-word",
                f"{{key}}: `{short(text)}` is not known here",
                f"{guess(text, words)}expected one of: {', '.join(words)}",
            )
        return text

    return Annotated[str, PlainValidator(read), WithJsonSchema({"enum": list(words)})]


_TEXTLIKE = {"anyOf": [{"type": "string"}, {"type": "number"}]}
Line = Annotated[str, PlainValidator(_text(False)), WithJsonSchema(_TEXTLIKE)]
Paragraph = Annotated[str, PlainValidator(_text(True)), WithJsonSchema(_TEXTLIKE)]
Id = Annotated[str, PlainValidator(_id), WithJsonSchema(_TEXTLIKE)]
Date = Annotated[str, PlainValidator(_date), json_schema("string", description="2026-05-04")]
Flag = Annotated[bool, PlainValidator(_flag), WithJsonSchema({"enum": [True, False, "yes", "no"]})]
Currency = Annotated[  # ISO 4217
    str, PlainValidator(_currency), WithJsonSchema({"type": "string", "pattern": "^[A-Z]{3}$"})
]
Address = Annotated[
    str, PlainValidator(_address), json_schema("string", description="http://192.168.0.7:8000/")
]
ClockTime = Annotated[str, PlainValidator(_clock), json_schema("string", description='"09:00"')]
