"""The record as the booklet exports it: one JSON file, read with suspicion.

Terms:
    entry: that a field got a value, with time, hand and device (see `plybook.record.log`).
    run: one timer that was started; times are seconds since 1970 UTC, from the bench's own clock.
    row: one line of a ledger: a deviation, working hours, an instrument, a reading.

The file may have been edited by hand, cut short or made by something else. What is not of the known
form is refused with words; entries that are not what their name stands for are left out and named;
nothing in it is ever executed or followed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from plybook.diagnostics import Place, SpecError, error
from plybook.record.log import KEYS, NAME, Log, LogEntry, is_time, name_of

LIMIT_BYTES = 200_000_000  # photos are in the file
FORMAT = 2
BOOK = "article.book"
_MOST_ENTRIES = 100_000
_MOST_LETTERS = 200_000
_HOW = ("", "undone", "chosen", "again")
_TIMER = "timer."
_PHOTO = "photos."
_MS_LIMIT = 1e14  # of times in ms: the year 5138


@dataclass(frozen=True)
class Entry:
    """`value` True: ticked; else the words or figure as typed. `at` ISO time, "" unknown."""

    value: bool | str
    at: str
    by: str = ""


@dataclass(frozen=True)
class TimerRun:
    """`stopped_s` 0: not stopped by hand; `seen_s` when its alarm was answered, 0 = never."""

    start_s: float
    end_s: float
    stopped_s: float
    seen_s: float = 0.0


@dataclass(frozen=True)
class Deviation:
    """`of`: id of the step it answers, "" where it was written down elsewhere."""

    at: str
    step: str
    what: str
    why: str
    by: str
    disposition: str = ""
    approved: str = ""
    of: str = ""

    @property
    def answers(self) -> bool:
        """Whether it says enough to close what stands against its step."""
        told = (self.what, self.why, self.by, self.disposition, self.approved)
        return all(words.strip() for words in told) and self.disposition != "rejected"


@dataclass(frozen=True)
class Photo:
    """`data` JPEG bytes, empty where the file does not hold them or they are not those named."""

    at: str
    by: str
    of: str
    caption: str
    taken: str
    width: int
    height: int
    data: bytes


@dataclass(frozen=True)
class Row:
    """One line of a ledger, cell by column name."""

    at: str
    by: str
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Record:
    """`faults`: what is wrong with the file itself, each in one sentence."""

    part: str
    name: str
    revision: str
    hand: str
    plan: str  # key of the plan it was made from
    serial: str
    saved: str
    log: Log
    seal: str = ""  # as the file states it
    photo_data: Mapping[str, bytes] = field(default_factory=dict)
    faults: tuple[str, ...] = ()

    @cached_property
    def fields(self) -> Mapping[str, Entry]:
        """What stands in the fields that are ticked or typed."""
        found = ((id, self.log.shown(id)) for id in self.log.fields())
        return {
            id: Entry(e.value, e.at, e.by)
            for id, e in found
            if e is not None and (e.value is True or isinstance(e.value, str))
        }

    @cached_property
    def timers(self) -> Mapping[str, TimerRun]:
        """Runs by the id of their timer."""
        runs = ((id.removeprefix(_TIMER), _run(value)) for id, _, value in self._rows(_TIMER))
        return {id: run for id, run in runs if run}

    @cached_property
    def deviations(self) -> tuple[Deviation, ...]:
        names = ("step", "what", "why", "by", "disposition", "approved", "of")
        return tuple(
            Deviation(row.at, **{name: row.cells.get(name, "") for name in names})
            for row in self.rows("deviations")
        )

    @cached_property
    def photos(self) -> tuple[Photo, ...]:
        """Photos in the order they were added."""
        out = []
        for _, entry, value in self._rows(_PHOTO):
            words = {k: v for k, v in value.items() if isinstance(v, str)}
            size = [value.get(k) for k in ("width", "height")]
            width, height = (n if type(n) is int and 0 < n < 100_000 else 0 for n in size)
            data = self.photo_data.get(words.get("sha256", ""), b"")
            of, caption, taken = (_plain(words.get(k, "")) for k in ("of", "caption", "taken"))
            photo = Photo(entry.at, entry.by, of, caption, taken, width, height, data)
            out.append(photo)
        return tuple(out)

    def rows(self, ledger: str) -> tuple[Row, ...]:
        """The lines of a ledger, in the order they were begun."""
        return tuple(
            Row(entry.at, entry.by, {k: _plain(v) for k, v in value.items() if isinstance(v, str)})
            for _, entry, value in self._rows(f"{ledger}.")
        )

    def _rows(self, start: str) -> Iterator[tuple[str, LogEntry, Mapping[str, Any]]]:
        found = []
        for id in self.log.fields():
            entry = self.log.shown(id) if id.startswith(start) else None
            if entry is not None and isinstance(entry.value, Mapping):
                found.append((self.log.history(id)[-1].time, id, entry, entry.value))
        return ((id, entry, value) for _, id, entry, value in sorted(found, key=lambda f: f[:2]))

    def words(self, id: str) -> str:
        """What stands in a field, "" where nothing does."""
        entry = self.fields.get(id)
        return _plain(entry.value).strip() if entry and isinstance(entry.value, str) else ""

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
    again = "export it again from the booklet"
    if len(data) > limit_bytes:
        words = f"the record is {len(data)} bytes, at most {limit_bytes} are read"
        raise SpecError(error("record-too-large", words, again, place))
    try:
        raw = json.loads(
            data.decode("utf-8-sig"),
            object_pairs_hook=_once,
            parse_constant=_no_constant,
            parse_int=_int,
            parse_float=_float,
        )
        return _record(raw)
    except UnicodeDecodeError:
        words = "the record is not UTF-8 text"
        raise SpecError(error("record-encoding", words, again, place)) from None
    except json.JSONDecodeError as wrong:
        at = Place(name, wrong.lineno, wrong.colno)
        words = f"the record cannot be read: {wrong.msg}"
        raise SpecError(error("record-not-json", words, again, at)) from None
    except RecursionError:
        words = "the record is nested too deeply"
        raise SpecError(error("record-shape", words, again, place)) from None
    except _Refusal as wrong:
        raise SpecError(error("record-shape", str(wrong), again, place)) from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise _Refusal("the record names the same thing twice")
    return out


def _no_constant(word: str) -> Any:
    raise _Refusal(f"the record holds {word}, which is no number")


def _int(digits: str) -> int:
    if len(digits) > 17:
        raise _Refusal(f"the record holds a number of {len(digits)} digits")
    return int(digits)


def _float(digits: str) -> float:
    if len(digits) > 40:
        raise _Refusal(f"the record holds a number of {len(digits)} letters")
    return float(digits)


def _record(raw: Any) -> Record:
    if not isinstance(raw, dict) or "plybook_record" not in raw:
        raise _Refusal("this file is not a record of a ply book")
    version = raw["plybook_record"]
    if version is True or version != FORMAT:
        raise _Refusal(f"the record is of form {version!r}; this tool reads {FORMAT}")
    entries = raw.get("entries")
    if not isinstance(entries, list):
        raise _Refusal("its entries are not a list")
    if len(entries) > _MOST_ENTRIES:
        raise _Refusal(f"the record has more than {_MOST_ENTRIES} entries")
    sound = [(k, entry) for k, entry in enumerate(map(_entry, entries), start=1) if entry]
    log = Log(entry for _, entry in sound)
    faults = list(_changed(entries, log))
    book = log.shown(BOOK)
    told: Mapping[str, Any] = book.value if book and isinstance(book.value, Mapping) else {}
    frame = {key: _text(raw, key) for key in ("part", "name", "revision", "hand", "plan")}
    for key, words in frame.items():
        inner = told.get(key)
        if isinstance(inner, str) and _plain(inner) != words:
            faults.append(f"the file says {key} {words!r}, its entries {_plain(inner)!r}")
    if entries and not told:
        faults.append("its first entry, which says what it is a record of, is missing")
    serial_entry = log.shown("article.serial")
    in_log = serial_entry.value if serial_entry else ""
    serial = _text(raw, "serial")
    if serial.strip() != (_plain(in_log).strip() if isinstance(in_log, str) else ""):
        faults.append(f"the file says serial number {serial!r}, its entries {in_log!r}")
    seal = _text(raw, "seal")
    if seal != log.seal() and not faults:
        faults.append(f"its seal is {seal or 'missing'}, that of its entries {log.seal()}")
    photos, spoiled = _photos(raw.get("photos", {}))
    faults += spoiled
    return Record(
        **frame,
        serial=serial.strip(),
        saved=raw["saved"] if is_time(raw.get("saved")) else "",
        log=log,
        seal=seal,
        photo_data=photos,
        faults=tuple(faults),
    )


def _changed(raw: list[Any], log: Log) -> Iterator[str]:
    """What shows that entries are not as they were written."""
    for number, item in enumerate(raw, start=1):
        if _entry(item) is None:
            where = item.get("field") if isinstance(item, dict) else None
            of = f" ({_plain(where)[:80]!r})" if isinstance(where, str) else ""
            yield f"entry {number}{of} is not as it was written"
    if missing := log.missing():
        yield f"{len(missing)} entries that others follow are missing"


def _entry(raw: Any) -> LogEntry | None:
    """An entry whose name is that of its content; None where it is not."""
    if not isinstance(raw, dict) or not {*KEYS, "name"} <= set(raw):
        return None
    value, name = raw["value"], raw["name"]
    good = (
        _short(raw["field"], 300) and raw["field"] and _short(raw["by"], 40)
        and _short(raw["device"], 60) and raw["how"] in _HOW and is_time(raw["at"])
        and _names(raw["over"]) and _names(raw["prev"]) and _value(value)
        and isinstance(name, str)
    )  # fmt: skip
    if not good or name_of(raw) != name:
        return None
    content = {key: raw[key] for key in KEYS if key not in ("over", "prev")}
    return LogEntry(name, over=tuple(raw["over"]), prev=tuple(raw["prev"]), **content)


def _short(value: Any, most: int) -> bool:
    return (
        isinstance(value, str)
        and len(value.encode("utf-16-le", "surrogatepass")) <= 2 * most
        and not any("\ud800" <= c <= "\udfff" for c in value)
    )


def _names(value: Any) -> bool:
    return isinstance(value, list) and len(value) <= 200 and all(
        isinstance(name, str) and NAME.fullmatch(name) for name in value
    )  # fmt: skip


def _value(value: Any) -> bool:
    if isinstance(value, dict):
        return len(value) <= 40 and all(_short(k, 40) and _cell(v) for k, v in value.items())
    return value is True or value is None or _short(value, _MOST_LETTERS)


def _cell(value: Any) -> bool:
    if isinstance(value, int):
        return abs(value) < 2**53
    return value is None or _short(value, _MOST_LETTERS)


def _photos(raw: Any) -> tuple[dict[str, bytes], list[str]]:
    """Photos by the SHA-256 of their data, and what is wrong with them."""
    if not isinstance(raw, dict):
        raise _Refusal("photos are not a mapping")
    out, faults = {}, []
    for name, text in raw.items():
        try:
            data = base64.b64decode(text, validate=True) if isinstance(text, str) else b""
        except (binascii.Error, ValueError):
            data = b""
        if hashlib.sha256(data).hexdigest() != name or not data.startswith(b"\xff\xd8\xff"):
            faults.append(f"photo {_plain(name)[:12]} is not as it was taken")
        else:
            out[name] = data
    return out, faults


def _text(raw: dict[str, Any], key: str) -> str:
    value = raw.get(key, "")
    if not isinstance(value, str):
        raise _Refusal(f"{key} is not text")
    if len(value) > 1000:
        raise _Refusal(f"{key} is {len(value)} letters long")
    return _plain(value)


def _plain(text: str) -> str:
    """Text without control characters and lone surrogates; line breaks stay."""
    kept = (c for c in text if c == "\n" or unicodedata.category(c) not in ("Cc", "Cs"))
    return "".join(kept)


def _run(raw: Mapping[str, Any]) -> TimerRun | None:
    times = [raw.get(key, 0) for key in ("start", "end", "stopped", "seen")]
    if any(type(t) is not int or not 0 <= t < _MS_LIMIT for t in times):
        return None
    return TimerRun(*(t / 1000.0 for t in times))


def clock_time(text: str) -> datetime | None:
    """A time as it is written at the bench: '14:02 on 2026-05-04', '14:02', '2026-05-04 14:02' or
    an ISO time; None where it is none. A time without a date is on 1900-01-01."""
    text = text.strip()
    if match := re.fullmatch(r"(\d{1,2})[:.](\d{2})(?: on (\d{4}-\d{2}-\d{2}))?", text):
        text = f"{match[3] or '1900-01-01'} {int(match[1]):02d}:{match[2]}"
    elif not re.match(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}", text):
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None
