"""A day plan: attended work inside the working day, waits and cures round the clock.

Terms:
    block: steps that must follow each other without a night between them, because resin is open.
    float: a step that needs neither the mould nor resin (cutting); it may be done earlier, while
        a coat dries or a stage cures.

Minutes count from the start of the first working day. Day n works from n x 1440 for the hours of
the workshop; a wait or a cure runs through the night.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from plybook.diagnostics import Finding, warning
from plybook.shop.model import Batch, DayPlan, Stage, Step
from plybook.shop.words import minutes_text
from plybook.spec.model import Workshop

DAY_MIN = 1440.0
_LEAST_GAP_MIN = 15.0  # a shorter wait is not worth starting work it cannot finish
_SHORT_WAIT_MIN = 5.0  # a wait this short is stood through
_MEANWHILE = " (while waiting)"


@dataclass
class _Float:
    stage: Stage
    step: Step
    left_min: float


def day_plan(stages: Sequence[Stage], shop: Workshop) -> tuple[tuple[DayPlan, ...], list[Finding]]:
    """Lay all steps on the clock.

    Returns:
        Lines in order of their start, and a warning for every block longer than a working day.
    """
    hours = max(1.0, min(24.0, shop.day_hours)) * 60
    lines: list[DayPlan] = []
    findings: list[Finding] = []
    floats = [
        _Float(stage, step, step.minutes)
        for stage in stages
        for step in stage.steps
        if step.overlaps and step.minutes > 0
    ]
    now = 0.0
    for stage in stages:
        for block in _blocks(stage):
            for item in [f for f in floats if f.stage is stage and f.step in block]:
                # what no wait had room for is done when its turn comes
                now = _attend(lines, item.stage, item.step, item.left_min, now, hours)
                floats.remove(item)
            block = [step for step in block if not step.overlaps]
            if not block:
                continue
            length = sum(step.minutes for step in block)
            if length > hours and len(block) > 1:
                findings.append(_too_long(stage, block, length, hours, shop))
            elif length <= hours:
                now = _fit(now, length, hours)
            for step in block:
                waits = [timer for timer in step.timers if timer.kind == "wait"]
                part = step.minutes / max(1, len(waits))  # a coat, its wait, the next coat
                for timer in waits or (None,):
                    now = _attend(lines, stage, step, part, now, hours)
                    if timer is not None:
                        now = _wait(lines, floats, stage, step, timer, now, hours)
    lines.sort(key=lambda line: (line.start_min, not line.attended))
    return tuple(lines), findings


def on_the_clock(batches: Sequence[Batch], lines: Sequence[DayPlan]) -> list[Batch]:
    """Each cup with the moment it is mixed: its step's start and the cups of the step before it."""
    start: dict[str, float] = {}
    for line in lines:
        if line.attended:
            start.setdefault(line.step, line.start_min)
    placed, spent = [], dict.fromkeys(start, 0.0)
    for batch in batches:
        at = start.get(batch.step, 0.0) + spent.get(batch.step, 0.0)
        placed.append(replace(batch, clock_min=round(at, 1)))
        spent[batch.step] = spent.get(batch.step, 0.0) + batch.work_s / 60
    return placed


def clock_text(minutes: float, shop: Workshop) -> str:
    """A moment as day and time of day."""
    hour, _, minute = shop.day_start.partition(":")
    total = int(hour) * 60 + int(minute or 0) + int(round(minutes))
    return f"day {total // 1440 + 1}, {total % 1440 // 60:02d}:{total % 60:02d}"


def _blocks(stage: Stage) -> list[list[Step]]:
    blocks: list[list[Step]] = []
    for step in stage.steps:
        if blocks and step.together:
            blocks[-1].append(step)
        else:
            blocks.append([step])
    return blocks


def _fit(now: float, length: float, hours: float) -> float:
    """The first moment from `now` at which `length` fits into one working day."""
    day, at = divmod(now, DAY_MIN)
    return now if at + length <= hours + 1e-9 else (day + 1) * DAY_MIN


def _attend(lines, stage: Stage, step: Step, length: float, now: float, hours: float) -> float:
    """Put attended work on the clock, broken at the end of the day where it must be."""
    while length > 1e-9:
        day, at = divmod(now, DAY_MIN)
        if at >= hours - 1e-9:
            now = (day + 1) * DAY_MIN
            continue
        part = min(length, hours - at)
        lines.append(DayPlan(stage.id, step.id, now, now + part, True, step.title))
        now, length = now + part, length - part
    return now


def _wait(lines, floats, stage, step, timer, now: float, hours: float) -> float:
    """Let a wait run, and do floating work in the part of it that lies in working hours."""
    end = now + timer.seconds / 60
    lines.append(DayPlan(stage.id, step.id, now, end, False, timer.label))
    at = now
    while floats and at < end:
        day, clock = divmod(at, DAY_MIN)
        if clock >= hours - 1e-9:
            at = (day + 1) * DAY_MIN
            continue
        room = min(end, day * DAY_MIN + hours) - at
        item = _worth_starting(floats, room)
        if item is None:
            at += room
            continue
        part = min(room, item.left_min)
        lines.append(
            DayPlan(
                item.stage.id, item.step.id, at, at + part, True,
                item.step.title + _MEANWHILE,
            )
        )  # fmt: skip
        item.left_min -= part
        at += part
        if item.left_min <= 1e-9:
            floats.remove(item)
    return end


def _worth_starting(floats: Sequence[_Float], room_min: float) -> _Float | None:
    """What to do in a wait: work of the stage that comes first, what fits whole before what must
    be broken off; in a wait too short to break off in, whatever fits whole."""
    own = [item for item in floats if item.stage is floats[0].stage]
    whole = next((item for item in own if item.left_min <= room_min), None)
    if whole is None and room_min >= _LEAST_GAP_MIN:
        whole = own[0]
    return whole or next((item for item in floats if item.left_min <= room_min), None)


def sessions(lines: Sequence[DayPlan]) -> tuple[DayPlan, ...]:
    """The clock as a day plan is read: what is done in one go is one line.

    Args:
        lines: of the day plan, in order of their start.

    Returns:
        Lines whose `what` names all their steps; `step` is the first of them. A wait of a few
        minutes is part of the work round it.
    """
    rows: list[DayPlan] = []
    open_row = -1  # the attended line that may still grow
    for line in lines:
        short = not line.attended and line.end_min - line.start_min <= _SHORT_WAIT_MIN
        if line.attended or short:
            last = rows[open_row] if open_row >= 0 else None
            if last and last.stage == line.stage and abs(last.end_min - line.start_min) < 1e-6:
                what = last.what if short else _joined(last.what, line.what)
                if what:
                    rows[open_row] = replace(last, end_min=line.end_min, what=what)
                    continue
            if line.attended:
                open_row = len(rows)
                line = replace(line, what=_short(line.what))
        rows.append(line)
    return tuple(rows)


def _short(what: str) -> str:
    """A step's title without its material."""
    name, meanwhile, _ = what.partition(_MEANWHILE)
    return name.partition(":")[0] + meanwhile


def _joined(before: str, after: str) -> str:
    """Two runs of steps as one, "" where one is done while waiting and the other is not."""
    if before.endswith(_MEANWHILE) != after.endswith(_MEANWHILE):
        return ""
    done = before.removesuffix(_MEANWHILE).split("; ")
    new = _short(after).removesuffix(_MEANWHILE)
    words = "; ".join(done if new in done else [*done, new])
    return words + (_MEANWHILE if before.endswith(_MEANWHILE) else "")


def _too_long(stage: Stage, block, length: float, hours: float, shop: Workshop) -> Finding:
    return warning(
        "stage-over-a-day",
        f"{stage.title}: {block[0].title} to {block[-1].title} cannot be interrupted and takes"
        f" about {minutes_text(length * 60)}, but the working day has {shop.day_hours:g} h",
        "work with more hands, split the stage, or plan a long day for it",
    )
