"""The log of entries that a record consists of, and whether it is as it was written.

The same rules as in the booklet's own script (write/assets/book/log.js). An entry is named by the
SHA-256 of its canonical JSON (RFC 8785), names the entries it followed and those it replaced; a log
is a set of entries, two are merged by their union.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Value = bool | str | None | Mapping[str, Any]
KEYS = ("at", "by", "device", "field", "how", "over", "prev", "value")
NAME = re.compile(r"[0-9a-f]{64}")
_TIME = re.compile(
    r"2[01]\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d"
    r"[+-]([01]\d|2[0-3]):[0-5]\d",
    re.ASCII,
)


@dataclass(frozen=True)
class LogEntry:
    """One thing entered. `value` None: emptied; a mapping: a row of a ledger, a timer, a photo."""

    name: str
    at: str
    by: str
    device: str
    field: str
    how: str
    over: tuple[str, ...]
    prev: tuple[str, ...]
    value: Value

    @property
    def time(self) -> datetime:
        return datetime.fromisoformat(self.at)


def canonical(value: Any) -> str:
    """JSON as RFC 8785 writes it, for text, true, null, whole numbers, lists and mappings."""
    return json.dumps(_ordered(value), ensure_ascii=False, separators=(",", ":"))


def _ordered(value: Any) -> Any:
    if isinstance(value, Mapping):
        names = sorted(value, key=lambda name: name.encode("utf-16-be", "surrogatepass"))
        return {name: _ordered(value[name]) for name in names}
    if isinstance(value, list | tuple):
        return [_ordered(item) for item in value]
    return value


def name_of(content: Mapping[str, Any]) -> str:
    """The name of an entry: 64 hexadecimal digits of its content."""
    text = canonical({key: content[key] for key in KEYS})
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def is_time(text: Any) -> bool:
    """Whether text is a local time with its zone, as entries carry it."""
    if not isinstance(text, str) or not _TIME.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


class Log:
    """A set of entries and what follows from it."""

    def __init__(self, entries: Iterable[LogEntry] = ()):
        self.entries = {entry.name: entry for entry in entries}
        self._fields: dict[str, list[LogEntry]] = {}
        for entry in self.entries.values():
            self._fields.setdefault(entry.field, []).append(entry)
        depths = _depths(self.entries)
        for own in self._fields.values():
            own.sort(key=lambda e: (e.time.timestamp(), depths[e.name], e.name), reverse=True)
        self._replaced = {(e.field, name) for e in self.entries.values() for name in e.over}
        self._followed = {name for e in self.entries.values() for name in e.prev}

    def fields(self) -> list[str]:
        """All fields that were ever entered."""
        return list(self._fields)

    def history(self, field: str) -> list[LogEntry]:
        """All entries of a field, the newest first."""
        return self._fields.get(field, [])

    def heads(self, field: str) -> list[LogEntry]:
        """Entries of a field that no other replaces; the one that counts first."""
        return [e for e in self.history(field) if (field, e.name) not in self._replaced]

    def shown(self, field: str) -> LogEntry | None:
        """The entry that counts; None where a field is empty."""
        heads = self.heads(field)
        return heads[0] if heads and heads[0].value is not None else None

    def disagreeing(self, field: str) -> list[LogEntry]:
        """Entries made without knowing of each other that say different things."""
        heads = self.heads(field)
        return heads if len({canonical(e.value) for e in heads}) > 1 else []

    def missing(self) -> list[str]:
        """Names that entries follow or replace and that are not there."""
        named = self._followed | {name for _, name in self._replaced}
        return sorted(named - set(self.entries))

    def seal(self) -> str:
        """A short code of the whole log, as the booklet shows it; "" for an empty log."""
        if not self.entries:
            return ""
        tips = sorted(set(self.entries) - self._followed)
        code = hashlib.sha256("".join(tips).encode()).hexdigest()[:12].upper()
        return "-".join(code[k : k + 4] for k in (0, 4, 8))


def merged(*logs: Log) -> Log:
    """The union of logs, whatever their order."""
    return Log(entry for log in logs for entry in log.entries.values())


def _depths(entries: Mapping[str, LogEntry]) -> dict[str, int]:
    """How many entries, one after another, each entry was made with knowledge of: of two of the
    same second it tells which is the later, as the booklet does."""
    depths: dict[str, int] = {}
    open_ = list(entries)
    while open_:
        name = open_[-1]
        entry = entries[name]
        before = [n for n in (*entry.prev, *entry.over) if n in entries]
        if name not in depths:  # first those it follows, then the entry itself
            depths[name] = 0
            open_ += [n for n in before if n not in depths]
        else:
            depths[name] = max((depths[n] + 1 for n in before), default=0)
            open_.pop()
    return depths
