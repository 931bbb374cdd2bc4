"""Working hours by task and person: written down at the bench, else by the times of the entries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from plybook.drawing.document import field_id
from plybook.record.figures import mixed_in
from plybook.record.reading import Record, clock_time

_BREAK = timedelta(minutes=60)  # a longer gap is no work; common practice, no source


@dataclass(frozen=True)
class Spell:
    """One stretch of work; `written`: by hand or by the clock, else from the first to the last of
    entries no more than an hour apart."""

    task: str
    who: str
    start: datetime
    end: datetime
    written: bool
    note: str = ""

    @property
    def hours(self) -> float:
        return max((self.end - self.start).total_seconds(), 0.0) / 3600.0


def spells(record: Record, plan: dict[str, Any]) -> tuple[Spell, ...]:
    """All work on the article, in order of time. What is written of a task and a person goes before
    what their entries show."""
    written = list(_written(record))
    told = {(spell.task, spell.who.casefold()) for spell in written}
    shown = [s for s in _shown(record, plan) if (s.task, s.who.casefold()) not in told]
    return tuple(sorted(written + shown, key=lambda s: (s.start, s.task, s.who)))


def _written(record: Record) -> Iterator[Spell]:
    for row in record.rows("hours"):
        start, end = (clock_time(row.cells.get(key, "")) for key in ("start", "end"))
        if start and end:
            start, end = start.replace(tzinfo=None), end.replace(tzinfo=None)
            who = row.cells.get("who", "") or row.by
            yield Spell(row.cells.get("task", ""), who, start, end, True, row.cells.get("note", ""))


def _shown(record: Record, plan: dict[str, Any]) -> Iterator[Spell]:
    times: dict[tuple[str, str], list[datetime]] = {}
    task_of = {
        id: stage["title"]
        for stage in plan["stages"]
        for step in stage["steps"]
        for id in _fields_of(plan, step)
    }
    for entry in record.log.entries.values():
        if entry.field in task_of and not entry.how:
            bench_time = entry.time.replace(tzinfo=None)  # as the clock on the wall showed it
            times.setdefault((task_of[entry.field], entry.by), []).append(bench_time)
    for (task, who), moments in times.items():
        moments.sort()
        start = last = moments[0]
        for moment in moments[1:]:
            if moment - last > _BREAK:
                yield Spell(task, who, start, last, False)
                start = moment
            last = moment
        yield Spell(task, who, start, last, False)


def _fields_of(plan: dict[str, Any], step: dict[str, Any]) -> Iterator[str]:
    names = [check["id"] for check in step["checks"]] + ["initials", "time", "lot"]
    names += [f"{batch}.{what}" for batch in mixed_in(plan, step) for what in ("mixed", "lot")]
    yield from (field_id(step["id"], name) for name in names)
    yield from (f"timer.{field_id(step['id'], timer['id'])}" for timer in step["timers"])
