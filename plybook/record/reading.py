"""The record as the booklet exports it: one small JSON file, read with suspicion.

Terms:
    entry: what stands in one field of the booklet, with the time it was written.
    run: one timer that was started; times are seconds since 1970 UTC, from the bench's own clock.
    deviation: something done differently, told in words by the builder.

The file may have been edited by hand, cut short or made by something else: everything that is not
of the known shape is refused with words, and nothing in it is ever executed or followed.
"""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from plybook.diagnostics import Place, SpecError, error

LIMIT_BYTES = 2_000_000
FORMAT = 1
_MOST_ENTRIES = 20_000
_MOST_LETTERS = 5_000


@dataclass(frozen=True)
class Entry:
    """`value` True: ticked; else the words or figure as typed. `at` ISO time, "" unknown."""

    value: bool | str
    at: str


@dataclass(frozen=True)
class TimerRun:
    """`stopped_s` 0: still running when the record was exported."""

    start_s: float
    end_s: float
    stopped_s: float


@dataclass(frozen=True)
class Deviation:
    at: str
    step: str
    what: str
    why: str
    by: str


@dataclass(frozen=True)
class Record:
    part: str
    name: str
    revision: str
    hand: str
    plan: str  # key of the plan it was made from
    saved: str
    fields: Mapping[str, Entry]
    timers: Mapping[str, TimerRun]
    deviations: tuple[Deviation, ...]

    def words(self, id: str) -> str:
        """What stands in a field, "" where nothing does."""
        entry = self.fields.get(id)
        return entry.value.strip() if entry and isinstance(entry.value, str) else ""

    def done(self, id: str) -> bool:
        """Whether a field is ticked or filled in."""
        entry = self.fields.get(id)
        return entry is not None and (entry.value is True or bool(self.words(id)))


class _Refusal(Exception):
    pass


def read_record(data: bytes, name: str = "record", limit_bytes: int = LIMIT_BYTES) -> Record:
    """Read an exported record.

    Args:
        data: the file's bytes.
        name: what to call it in findings.
        limit_bytes: the largest size accepted.

    Raises:
        SpecError: it is not a record, is damaged, or is larger than the limit.
    """
    place = Place(name, 0, 0)
    if len(data) > limit_bytes:
        raise SpecError(
            error(
                "record-too-large",
                f"the record is {len(data)} bytes, at most {limit_bytes} are read",
                "export it again from the booklet",
                place,
            )
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SpecError(
            error(
                "record-encoding",
                "the record is not UTF-8 text",
                "export it again from the booklet",
                place,
            )
        ) from None
    try:
        raw = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
        return _record(raw)
    except json.JSONDecodeError as wrong:
        at = Place(name, wrong.lineno, wrong.colno)
        raise SpecError(
            error(
                "record-not-json",
                f"the record cannot be read: {wrong.msg}",
                "export it again from the booklet",
                at,
            )
        ) from None
    except RecursionError:
        raise SpecError(
            error(
                "record-shape",
                "the record is nested too deeply",
                "export it again from the booklet",
                place,
            )
        ) from None
    except _Refusal as wrong:
        raise SpecError(
            error("record-shape", str(wrong), "export it again from the booklet", place)
        ) from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise _Refusal("the record names the same thing twice")
    return out


def _no_constant(word: str) -> Any:
    raise _Refusal(f"the record holds {word}, which is no number")


def _record(raw: Any) -> Record:
    if not isinstance(raw, dict) or "plybook_record" not in raw:
        raise _Refusal("this file is not a record of a ply book")
    version = raw["plybook_record"]
    if version is True or version != FORMAT:
        raise _Refusal(f"the record is of form {version!r}; this tool reads {FORMAT}")
    fields = _mapping(raw, "fields")
    timers = _mapping(raw, "timers")
    deviations = raw.get("deviations", [])
    if not isinstance(deviations, list):
        raise _Refusal("deviations are not a list")
    if len(fields) + len(timers) + len(deviations) > _MOST_ENTRIES:
        raise _Refusal(f"the record has more than {_MOST_ENTRIES} entries")
    return Record(
        part=_text(raw, "part"),
        name=_text(raw, "name"),
        revision=_text(raw, "revision"),
        hand=_text(raw, "hand"),
        plan=_text(raw, "plan"),
        saved=_time(raw.get("saved")),
        fields={_plain(id): _entry(id, value) for id, value in fields.items()},
        timers={_plain(id): _run(id, value) for id, value in timers.items()},
        deviations=tuple(_deviation(value) for value in deviations),
    )


def _mapping(raw: dict[str, Any], key: str) -> dict[str, Any]:
    value = raw.get(key, {})
    if not isinstance(value, dict):
        raise _Refusal(f"{key} are not a mapping")
    return value


def _text(raw: dict[str, Any], key: str) -> str:
    value = raw.get(key, "")
    if not isinstance(value, str):
        raise _Refusal(f"{key} is not text")
    return _plain(value)


def _plain(text: str) -> str:
    """Text without control characters and lone surrogates; line breaks stay; length bounded."""
    kept = (c for c in text if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs"))
    return "".join(kept)[:_MOST_LETTERS]


def _time(value: Any) -> str:
    """An ISO time as written, or "" where it is none."""
    if not isinstance(value, str) or len(value) > 40:
        return ""
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return ""
    return value


def _entry(id: str, raw: Any) -> Entry:
    if not isinstance(raw, dict):
        raise _Refusal(f"entry {id!r} has no value")
    value = raw.get("value")
    if value is not True and not isinstance(value, str):
        raise _Refusal(f"entry {id!r} is neither a tick nor text")
    return Entry(value if value is True else _plain(value), _time(raw.get("at")))


def _run(id: str, raw: Any) -> TimerRun:
    if not isinstance(raw, dict):
        raise _Refusal(f"timer {id!r} has no times")
    times = [raw.get(key, 0) for key in ("start", "end", "stopped")]
    if any(isinstance(t, bool) or not isinstance(t, int | float) for t in times):
        raise _Refusal(f"timer {id!r} has a time that is no number")
    start, end, stopped = (float(t) / 1000.0 for t in times)
    if not all(math.isfinite(t) and 0.0 <= t < 1e11 for t in (start, end, stopped)):
        raise _Refusal(f"timer {id!r} has a time out of range")
    return TimerRun(start, end, stopped)


def _deviation(raw: Any) -> Deviation:
    if not isinstance(raw, dict):
        raise _Refusal("a deviation is not a mapping")
    return Deviation(
        _time(raw.get("at")), *(_text(raw, key) for key in ("step", "what", "why", "by"))
    )
