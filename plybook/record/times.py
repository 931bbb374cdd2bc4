"""Times of a record held against the plan's waits and limits, and against each other."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from plybook.diagnostics import Finding, error, warning
from plybook.drawing.document import field_id, show_duration
from plybook.record.figures import mixed_in, steps
from plybook.record.reading import Entry, Record, clock_time

Told = tuple[str, Finding]  # id of the step it is about, "" for the whole record
_CLOCK_SLACK = timedelta(minutes=1)  # two devices' clocks; common practice, no source
_MIX_SLACK = timedelta(minutes=5)  # a time written down against the timer; common practice


def timings(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    """Waits cut short, limits passed, cups without a time, layers out of order, clocks set back."""
    for step in steps(plan):
        yield from _runs(record, step)
        yield from _written_times(record, step)
        for batch in mixed_in(plan, step):
            yield from _mixing(record, step, batch)
    yield from _waits_by_ticks(record, plan)
    yield from _order(record, plan)
    yield from _clock(record)


def _runs(record: Record, step: dict[str, Any]) -> Iterator[Told]:
    for timer in step["timers"]:
        run = record.timers.get(field_id(step["id"], timer["id"]))
        if run is None:
            continue
        title = f"step {step['title']!r}"
        said, label = show_duration(timer["seconds"]), timer.get("label", "a timer")
        over = round(run.stopped_s - run.start_s - timer["seconds"])
        if timer["kind"] == "wait" and run.stopped_s and over < 0:
            yield (
                step["id"],
                warning(
                    "record-wait-short",
                    f"{title}: {label}, {said}, was stopped {show_duration(-over)} early",
                    "say why in a deviation at the step",
                ),
            )
        if timer["kind"] == "limit" and run.stopped_s and over > 0:
            yield (
                step["id"],
                warning(
                    "record-limit-over",
                    f"{title}: {label} was stopped {show_duration(over)} after its {said}",
                    "say in a deviation whether resin went on after its time",
                ),
            )
        if timer["kind"] == "limit" and not run.stopped_s and _past(record, run.end_s):
            yield (
                step["id"],
                warning(
                    "record-limit-unclosed",
                    f"{title}: {label} ran past its {said}; when the cup was empty is not "
                    "written down",
                    "say in a deviation whether resin went on after its time",
                ),
            )


def _past(record: Record, moment_s: float) -> bool:
    return bool(record.saved) and datetime.fromisoformat(record.saved).timestamp() > moment_s


def _written_times(record: Record, step: dict[str, Any]) -> Iterator[Told]:
    """Blanks for a time that hold something else."""
    asked = [(c["id"], c["text"]) for c in step["checks"] if c["kind"] == "time"]
    for name, label in [("time", "Time"), *asked]:
        words = record.words(field_id(step["id"], name))
        if words and clock_time(words) is None:
            yield step["id"], _no_time(f"step {step['title']!r}: {label}", words)


def _no_time(where: str, words: str) -> Finding:
    return error(
        "record-time-no-time",
        f"{where} says {words[:80]!r}, which is no time",
        "write it as 14:02",
    )


def _mixing(record: Record, step: dict[str, Any], batch: str) -> Iterator[Told]:
    """When a cup was mixed: by its timer, or written down; the two must agree."""
    id = field_id(step["id"], f"{batch}.mixed")
    words, entry = record.words(id), record.fields.get(id)
    started = [
        run.start_s
        for timer in step["timers"]
        if timer["id"].rpartition(".")[2] == batch or timer["id"] == batch
        for run in [record.timers.get(field_id(step["id"], timer["id"]))]
        if run
    ]
    time = clock_time(words)
    if words and time is None:
        yield step["id"], _no_time(f"batch {batch}: mixed at", words)
    elif not words and not started:
        yield (
            step["id"],
            warning(
                "record-batch-time-missing",
                f"batch {batch} has no time of mixing",
                "start its timer when it is mixed, or write the time down",
            ),
        )
    elif time and entry and started:
        zone = datetime.fromisoformat(entry.at).tzinfo
        run = datetime.fromtimestamp(min(started), zone)
        apart = abs(_minute_of_day(run) - _minute_of_day(time))
        if timedelta(minutes=min(apart, 1440 - apart)) > _MIX_SLACK:
            yield (
                step["id"],
                warning(
                    "record-batch-times-differ",
                    f"batch {batch}: mixed at {time:%H:%M} by what is written, at {run:%H:%M} by "
                    "its timer",
                    "say in a deviation which is right",
                ),
            )


def _minute_of_day(time: datetime) -> int:
    return 60 * time.hour + time.minute


def _waits_by_ticks(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    """Waits whose timer was not run, judged by the times of the entries around them.

    A wait lies between its own check and the next (as many checks as waits: a coat and its wait),
    or between the last entry of the step before and the first of the step after. Where that is
    shorter than the wait, the record does not show that it was kept.
    """
    for stage in plan["stages"]:
        row = [step for step in stage["steps"] if not step.get("overlaps")]
        for place, step in enumerate(row):
            waits = [t for t in step["timers"] if t["kind"] == "wait"]
            ticks = [record.fields.get(field_id(step["id"], c["id"])) for c in step["checks"]]
            paired = len(waits) > 1 and len(waits) == len(ticks)
            before = max(_entries(record, row[place - 1 : place]), key=_time, default=None)
            after = min(_entries(record, row[place + 1 : place + 2]), key=_time, default=None)
            for k, wait in enumerate(waits):
                if field_id(step["id"], wait["id"]) in record.timers:
                    continue
                first = ticks[k] if paired else before
                last = ticks[k + 1] if paired and k + 1 < len(ticks) else after
                if not first or not last:
                    continue
                gap = _time(last) - _time(first)
                if timedelta(0) <= gap < timedelta(seconds=wait["seconds"]):
                    passed = show_duration(round(gap.total_seconds()))
                    yield (
                        step["id"],
                        warning(
                            "record-wait-short",
                            f"step {step['title']!r}: {wait.get('label', 'a wait')}, "
                            f"{show_duration(wait['seconds'])}: its timer was not run, and the "
                            f"entries before and after it are {passed} apart",
                            "run the timer; say in a deviation how long it was",
                        ),
                    )


def _entries(record: Record, some: list[dict[str, Any]]) -> list[Entry]:
    """What was entered in the checks of steps."""
    ids = (field_id(step["id"], check["id"]) for step in some for check in step["checks"])
    return [record.fields[id] for id in ids if id in record.fields]


def _time(entry: Entry) -> datetime:
    return datetime.fromisoformat(entry.at)


def _order(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    last: tuple[datetime, str] | None = None
    for step in steps(plan):
        if not step["lays"]:
            continue
        entries = _entries(record, [step])
        if not entries:
            continue
        first = min(map(_time, entries))
        if last and first < last[0]:
            yield (
                step["id"],
                warning(
                    "record-order",
                    f"step {step['title']!r} was ticked before {last[1]!r}, which lies below it",
                    "say in a deviation which was laid first",
                ),
            )
        last = max(last, (first, step["title"])) if last else (first, step["title"])


def _clock(record: Record) -> Iterator[Told]:
    """Entries that bear an earlier time than one they followed on."""
    entries = record.log.entries
    worst: tuple[timedelta, str] | None = None
    count = 0
    for entry in entries.values():
        known = [entries[name].time for name in entry.prev if name in entries]
        back = max(known, default=entry.time) - entry.time
        if back > _CLOCK_SLACK:
            count += 1
            worst = max(worst, (back, entry.at)) if worst else (back, entry.at)
    if worst:
        yield (
            "",
            warning(
                "record-clock-back",
                f"{count} entries bear a time before one that was entered earlier; the most, by "
                f"{show_duration(round(worst[0].total_seconds()))}, is that of {worst[1]}",
                "a clock was wrong: say in a deviation which times hold",
            ),
        )
