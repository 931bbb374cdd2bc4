"""A record held against the plan: what is missing, out of tolerance, late or done differently.

Severity: an error is something an inspector would stop at (wrong part or revision, a figure out of
limits); a warning is an entry that is missing or out of order; a note is for information.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from plybook.diagnostics import Finding, SpecError, error, note, warning
from plybook.drawing.document import SIGN_OFF, field_id, figure, jig_field_id, show_duration
from plybook.drawing.recordkey import plan_key
from plybook.record.figures import jig_card, measures, mixed_in, parse_figure, steps
from plybook.record.reading import Record

MASS_FIELD = "record.mass_g"
NOTES_FIELD = "record.notes"
LOT_PREFIX = "record.lot."
_OWN_FIELDS = (MASS_FIELD, NOTES_FIELD, "record.builder", "record.inspector")
MASS_SHARE = 0.10  # common practice, no source: a tenth more or less asks for a word


def compare(record: Record, plan: dict[str, Any]) -> tuple[Finding, ...]:
    """Everything there is to say about a record.

    Args:
        record: as read.
        plan: `plan.json` of the same part.

    Returns:
        Findings in the order of the book; an empty tuple is a complete, clean record.

    Raises:
        SpecError: the plan has not the shape of a plan.
    """
    try:
        return tuple(_findings(record, plan))
    except (KeyError, TypeError, ValueError, AttributeError) as wrong:
        raise SpecError(
            error(
                "plan-shape",
                f"this is not a plan of plybook ({type(wrong).__name__}: {wrong})",
                "give the plan.json of the build the record belongs to",
            )
        ) from wrong


def _findings(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    part = plan["part"]
    if record.part != part["number"]:
        yield error(
            "record-other-part",
            f"the record is of part {record.part!r}, the plan of {part['number']!r}",
            "give the record and the plan of the same part",
        )
        return
    if record.hand != part["hand"]:
        yield error(
            "record-other-hand",
            f"the record is of the {record.hand} hand, the plan of the {part['hand']} hand",
            "give the record of this hand",
        )
    if record.revision != part["revision"]:
        yield error(
            "record-revision-mismatch",
            f"the record is of revision {record.revision}, the plan is revision {part['revision']}",
            "build the plan of the record's revision, or agree the differences with the designer",
        )
    elif record.plan != plan_key(plan):
        yield warning(
            "record-plan-changed",
            "pieces or steps have changed since the record was made",
            "compare with the plan that was followed at the bench",
        )
    yield from _open_steps(record, plan)
    yield from _values(record, plan)
    yield from _times(record, plan)
    yield from _deviations(record)
    yield from _lots_and_mass(record, plan)
    unknown = sorted(set(record.fields) - set(known_fields(plan)))
    unknown = [id for id in unknown if not id.startswith(LOT_PREFIX)]
    if unknown:
        yield note(
            "record-unknown-entries",
            f"{len(unknown)} entries belong to no step of this plan, the first is {unknown[0]!r}",
        )


def known_fields(plan: dict[str, Any]) -> Iterator[str]:
    """Ids of all fields a booklet of this plan has, lots of materials aside."""
    for step in steps(plan):
        yield from (field_id(step["id"], check["id"]) for check in step["checks"])
        yield from (field_id(step["id"], name) for name in SIGN_OFF)
        for batch in mixed_in(plan, step):
            yield field_id(step["id"], f"{batch}.mixed")
            yield field_id(step["id"], f"{batch}.lot")
    yield from (jig_field_id(m["id"]) for m in jig_card(plan))
    yield from _OWN_FIELDS


def _open_steps(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    for step in steps(plan):
        checks = [(field_id(step["id"], c["id"]), c["text"]) for c in step["checks"]]
        missing = [text for id, text in checks if not record.done(id)]
        signed = record.done(field_id(step["id"], "initials"))
        layers = tuple(step["pieces"])
        if checks and len(missing) == len(checks) and not signed:
            yield warning(
                "record-step-missing",
                f"step {step['title']!r} has no entry at all",
                "do the step, or write a deviation that says why not",
                layers=layers,
            )
            continue
        if missing:
            yield warning(
                "record-check-open",
                f"step {step['title']!r}: {len(missing)} of {len(checks)} checks are open: "
                + "; ".join(missing[:3])
                + (" ..." if len(missing) > 3 else ""),
                "tick or fill them in, or write a deviation",
                layers=layers,
            )
        if not signed:
            yield warning(
                "record-not-signed",
                f"step {step['title']!r} is not signed off",
                "have it initialled",
                layers=layers,
            )


def _values(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    for m in measures(record, plan):
        if m.verdict == "out":
            yield error(
                "record-value-out",
                f"{m.where}: {m.blank.label} is {m.written} {m.blank.unit}".rstrip()
                + f", limits {m.limits}",
                "measure again, mend it, or have the designer agree and write a deviation",
            )
        elif m.verdict == "no figure":
            yield error(
                "record-value-no-figure",
                f"{m.where}: {m.blank.label} says {m.written!r}, which is no figure",
                "write it as 12.3",
            )
        elif m.verdict == "open" and m.where == "jig card":
            yield warning(
                "record-jig-open",
                f"jig card: {m.blank.label} was not measured",
                "measure it before the part is released",
            )


def _times(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    last: tuple[datetime, str] | None = None
    for step in steps(plan):
        for timer in step["timers"]:
            run = record.timers.get(field_id(step["id"], timer["id"]))
            if run is None or not run.stopped_s:
                continue
            over = round(run.stopped_s - run.end_s)
            if timer["kind"] == "wait" and over < 0:
                yield warning(
                    "record-wait-short",
                    f"step {step['title']!r}: {timer.get('label', 'a wait')}, "
                    f"{show_duration(timer['seconds'])}, was stopped {show_duration(-over)} early",
                )
            if timer["kind"] == "limit" and over > 0:
                yield warning(
                    "record-limit-over",
                    f"step {step['title']!r}: {timer.get('label', 'a limit')} was stopped "
                    f"{show_duration(over)} after its {show_duration(timer['seconds'])}",
                    "say in a deviation whether resin went on after its time",
                )
        if not step["lays"]:
            continue
        first = _first_time(record, step)
        if first and last and first < last[0]:
            yield warning(
                "record-order",
                f"step {step['title']!r} was ticked before {last[1]!r}, which lies below it",
                "say in a deviation which was laid first",
            )
        if first:
            last = max(last, (first, step["title"])) if last else (first, step["title"])


def _first_time(record: Record, step: dict[str, Any]) -> datetime | None:
    """When the first check of a step was answered; None without a time that names its zone."""
    times = []
    for check in step["checks"]:
        entry = record.fields.get(field_id(step["id"], check["id"]))
        if entry and entry.at:
            time = datetime.fromisoformat(entry.at)
            if time.tzinfo is not None:
                times.append(time)
    return min(times, default=None)


def _deviations(record: Record) -> Iterator[Finding]:
    for number, d in enumerate(record.deviations, start=1):
        where = f" at {d.step}" if d.step else ""
        if not d.what.strip():
            yield warning(
                "record-deviation-empty",
                f"deviation {number}{where} does not say what was done",
                "complete it or take it out",
            )
        elif not (d.why.strip() and d.by.strip()):
            yield warning(
                "record-deviation-incomplete",
                f"deviation {number}{where} lacks its reason or initials: {d.what}",
                "say why, who agreed, and initial it",
            )
        else:
            yield note("record-deviation", f"deviation {number}{where}: {d.what} ({d.why})")


def _lots_and_mass(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    lots = {id.removeprefix(LOT_PREFIX) for id in record.fields if id.startswith(LOT_PREFIX)}
    for step in steps(plan):
        materials = {p["material"] for p in plan["pieces"] if p["id"] in step["pieces"]}
        if step["lays"] and materials - lots and not record.done(field_id(step["id"], "lot")):
            yield warning(
                "record-lot-missing",
                f"step {step['title']!r} names no lot of " + ", ".join(sorted(materials - lots)),
                "write the lot or roll number",
                layers=tuple(step["pieces"]),
            )
        for batch in mixed_in(plan, step):
            if not record.done(field_id(step["id"], f"{batch}.mixed")):
                yield warning(
                    "record-batch-time-missing",
                    f"batch {batch} has no time of mixing",
                    "write it down",
                )
    mass = parse_figure(record.words(MASS_FIELD))
    planned = plan["quantities"].get("laminate_mass_g", 0.0)
    if mass is None:
        yield warning("record-mass-missing", "the finished part was not weighed", "weigh it")
    elif planned and abs(mass - planned) > MASS_SHARE * planned:
        yield warning(
            "record-mass",
            f"the part weighs {figure(mass)} g, {100 * (mass / planned - 1):+.0f} % against the "
            f"planned {figure(planned)} g",
            "look for resin that stayed in, or plies left out",
            source="common practice, no source",
        )
