"""A record held against the plan: what is missing, out of tolerance, late or done differently.

Severity: an error is something an inspector would stop at (wrong part or revision, a figure out of
limits); a warning is an entry that is missing or out of order; a note is for information.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from plybook.diagnostics import MISSHAPEN, Finding, Severity, SpecError, error, note, warning
from plybook.drawing.document import (
    KIT_FIELD,
    LEFT_FIELD,
    MASS_FIELD,
    SERIAL,
    SIGN_OFF,
    TRIMMINGS_FIELD,
    expiry_field_id,
    field_id,
    figure,
    jig_field_id,
    lot_field_id,
)
from plybook.drawing.recordkey import plan_key
from plybook.record.figures import (
    jig_card,
    measures,
    mixed_in,
    parse_figure,
    planned_mass_g,
    steps,
)
from plybook.record.names import field_namer
from plybook.record.reading import Deviation, Record, clock_time
from plybook.record.times import Told, timings

NOTES_FIELD = "record.notes"
LOT_PREFIX = lot_field_id("")
_EXPIRY_PREFIX = expiry_field_id("")
# what else is weighed: name, field
WEIGHED = (("Kit, dry", KIT_FIELD), ("Left in the cups", LEFT_FIELD),
           ("Trimmings", TRIMMINGS_FIELD))  # fmt: skip
_OWN_FIELDS = (SERIAL, MASS_FIELD, NOTES_FIELD, "record.builder", "record.inspector",
               *(field for _, field in WEIGHED))  # fmt: skip
JIG, RECORD = "jig", "record"  # pages beside the steps that findings are about
_MOST_FAULTS = 20
MASS_SHARE = 0.10  # common practice, no source: a tenth more or less asks for a word


def compare(record: Record, plan: dict[str, Any], seal: str | None = None) -> tuple[Finding, ...]:
    """Everything there is to say about a record.

    Args:
        record: as read.
        plan: `plan.json` of the same part.
        seal: as written on paper at the bench; None = not known.

    Returns:
        Findings in the order of the book; an empty tuple is a complete, clean record.

    Raises:
        SpecError: the plan has not the shape of a plan.
    """
    try:
        return tuple((*_sealed(record, seal), *_findings(record, plan)))
    except MISSHAPEN as wrong:
        raise SpecError(
            error(
                "plan-shape",
                f"this is not a plan of plybook ({type(wrong).__name__}: {wrong})",
                "give the plan.json of the build the record belongs to",
            )
        ) from wrong


def _sealed(record: Record, seal: str | None) -> Iterator[Finding]:
    """Whether the log is the one whose seal was written on paper."""
    own = record.log.seal()
    if seal is not None and _letters(seal) != _letters(own):
        yield error(
            "record-other-seal",
            f"the seal on paper is {seal}, that of the record {own or 'none'}",
            "ask for the record as it was when the seal was written down",
        )


def _letters(seal: str) -> str:
    return "".join(c for c in seal.upper() if c.isalnum())


def _findings(record: Record, plan: dict[str, Any]) -> Iterator[Finding]:
    part = plan["part"]
    for fault in record.faults[:_MOST_FAULTS]:
        yield error(
            "record-changed",
            f"the record was changed after it was written: {fault}",
            "ask for the record as the booklet exported it; compare its seal with that on paper",
        )
    if len(record.faults) > _MOST_FAULTS:
        rest = len(record.faults) - _MOST_FAULTS
        yield error("record-changed", f"the record was changed in {rest} more places")
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
    yield from _answered(record, plan, (
        *_open_steps(record, plan), *_values(record, plan), *timings(record, plan),
        *_lots(record, plan), *_mass(record, plan), *_conflicts(record, plan),
    ))  # fmt: skip
    yield from _deviations(record)
    yield from _ledgers(record)
    unknown = sorted(set(record.fields) - set(known_fields(plan)))
    unknown = [id for id in unknown if not id.startswith((LOT_PREFIX, _EXPIRY_PREFIX))]
    if unknown:
        yield note(
            "record-unknown-entries",
            f"{len(unknown)} entries belong to no step of this plan, the first is {unknown[0]!r}",
        )


def _answered(record: Record, plan: dict[str, Any], told: tuple[Told, ...]) -> Iterator[Finding]:
    """Findings; those of a step with a deviation that is whole and approved come as notes."""
    titles = {step["title"]: step["id"] for step in steps(plan)}
    answers: dict[str, tuple[int, Deviation]] = {}
    for number, d in enumerate(record.deviations, start=1):
        of = d.of or titles.get(d.step, "")
        if of and d.answers:
            answers.setdefault(of, (number, d))
    for of, finding in told:
        if of not in answers or finding.severity is Severity.NOTE:
            yield finding
            continue
        number, d = answers[of]
        yield replace(
            finding,
            code="record-answered",
            severity=Severity.NOTE,
            message=f"{finding.message}; deviation {number} answers it: {d.disposition}, approved "
            f"by {d.approved}",
            help="",
        )


def _conflicts(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    name = field_namer(plan)
    for id in record.log.fields():
        if id != "article.book" and (said := record.log.disagreeing(id)):
            words = " against ".join(
                f"{_shown(e.value)!r} ({e.by or 'no initials'}, {e.device})" for e in said[:4]
            )
            yield (
                id.rpartition(".")[0],
                warning(
                    "record-conflict",
                    f"two devices disagree on {name(id)!r}: {words}",
                    "decide on the Record page of the booklet and export again",
                ),
            )


def _shown(value: Any) -> str:
    return "ticked" if value is True else "empty" if value is None else str(value)[:80]


def known_fields(plan: dict[str, Any]) -> Iterator[str]:
    """Ids of all fields a booklet of this plan has, lots of materials and their dates aside."""
    for step in steps(plan):
        yield from (field_id(step["id"], check["id"]) for check in step["checks"])
        yield from (field_id(step["id"], name) for name in SIGN_OFF)
        for batch in mixed_in(plan, step):
            yield field_id(step["id"], f"{batch}.mixed")
            yield field_id(step["id"], f"{batch}.lot")
            yield field_id(step["id"], f"{batch}.weighed")
    yield from (jig_field_id(m["id"]) for m in jig_card(plan))
    yield from _OWN_FIELDS


def _open_steps(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    for step in steps(plan):
        checks = [(field_id(step["id"], c["id"]), c["text"]) for c in step["checks"]]
        missing = [text for id, text in checks if not record.done(id)]
        signed = record.done(field_id(step["id"], "initials"))
        layers = tuple(step["pieces"])
        if checks and len(missing) == len(checks) and not signed:
            yield (
                step["id"],
                warning(
                    "record-step-missing",
                    f"step {step['title']!r} has no entry at all",
                    "do the step, or write a deviation that says why not",
                    layers=layers,
                ),
            )
            continue
        if missing:
            yield (
                step["id"],
                warning(
                    "record-check-open",
                    f"step {step['title']!r}: {len(missing)} of {len(checks)} checks are open: "
                    + "; ".join(missing[:3])
                    + (" ..." if len(missing) > 3 else ""),
                    "tick or fill them in, or write a deviation",
                    layers=layers,
                ),
            )
        if not signed:
            yield (
                step["id"],
                warning(
                    "record-not-signed",
                    f"step {step['title']!r} is not signed off",
                    "have it initialled",
                    layers=layers,
                ),
            )


def _values(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    for m in measures(record, plan):
        if m.verdict == "out":
            yield (
                m.of,
                error(
                    "record-value-out",
                    f"{m.where}: {m.blank.label} is {m.written[:40]} {m.blank.unit}".rstrip()
                    + f", limits {m.limits}",
                    "measure again, mend it, or write a deviation at the step and have it approved",
                ),
            )
        elif m.verdict == "no figure":
            yield (
                m.of,
                error(
                    "record-value-no-figure",
                    f"{m.where}: {m.blank.label} says {m.written[:80]!r}, which is no figure",
                    "write it as 12.3",
                ),
            )
        elif m.verdict == "open" and m.of == JIG:
            yield (
                m.of,
                warning(
                    "record-jig-open",
                    f"jig card: {m.blank.label} was not measured",
                    "measure it before the part is released",
                ),
            )


def _deviations(record: Record) -> Iterator[Finding]:
    for number, d in enumerate(record.deviations, start=1):
        where = f" at {d.step}" if d.step else ""
        lacks = [
            words
            for words, said in (
                ("its reason", d.why), ("initials", d.by), ("a disposition", d.disposition),
                ("who approved it", d.approved),
            )
            if not said.strip()
        ]  # fmt: skip
        if not d.what.strip():
            yield warning(
                "record-deviation-empty",
                f"deviation {number}{where} does not say what was done",
                "complete it or take it out",
            )
        elif d.disposition == "rejected":
            yield error(
                "record-rejected",
                f"deviation {number}{where}: {d.what} - rejected"
                + (f" by {d.approved}" if d.approved else ""),
                "mend it and write down its new disposition, or scrap the part",
            )
        elif lacks:
            yield warning(
                "record-deviation-incomplete",
                f"deviation {number}{where} lacks {', '.join(lacks)}: {d.what}",
                "complete it; only then does it answer what stands against its step",
            )
        else:
            yield note(
                "record-deviation",
                f"deviation {number}{where}: {d.what} ({d.why}); {d.disposition}, approved by "
                f"{d.approved}",
            )


def _ledgers(record: Record) -> Iterator[Finding]:
    """Hours that end before they begin, instruments past their calibration."""
    for number, row in enumerate(record.rows("hours"), start=1):
        start, end = (clock_time(row.cells.get(k, "")) for k in ("start", "end"))
        if start and end and end < start:
            yield warning(
                "record-hours",
                f"hours, row {number}: they end ({end:%Y-%m-%d %H:%M}) before they begin "
                f"({start:%Y-%m-%d %H:%M})",
                "correct the row in the booklet",
            )
    saved = record.saved[:10]
    for row in record.rows("instruments"):
        until = row.cells.get("until", "")
        if until and saved and until < saved:
            yield warning(
                "record-instrument-expired",
                f"instrument {row.cells.get('what', '')!r} was calibrated until {until}; the "
                f"record was saved on {saved}",
                "have it calibrated, or say in a deviation why its readings hold",
            )


def _lots(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    whole = {id.removeprefix(LOT_PREFIX) for id in record.fields if id.startswith(LOT_PREFIX)}
    resins = {b["id"]: b.get("resin", "") for b in plan["quantities"].get("batches", [])}
    for step in steps(plan):
        materials = {p["material"] for p in plan["pieces"] if p["id"] in step["pieces"]}
        mixed = {resins[b] for b in mixed_in(plan, step)} - {""}
        if step["lays"] and materials - whole and not record.done(field_id(step["id"], "lot")):
            yield step["id"], _lot_missing(step, materials - whole)
        cups = [b for b in mixed_in(plan, step) if resins[b] and resins[b] not in whole]
        bare = {resins[b] for b in cups if not record.done(field_id(step["id"], f"{b}.lot"))}
        if bare:
            yield step["id"], _lot_missing(step, bare)
        used = _first_day(record, plan, step)
        for material in sorted((materials if step["lays"] else set()) | mixed):
            until = _day(record.words(expiry_field_id(material)))
            if used and until and used > until:
                yield (
                    step["id"],
                    error(
                        "record-lot-expired",
                        f"step {step['title']!r} of {used} uses {material}, to be used by {until}",
                        "have the designer agree and write a deviation at the step",
                        layers=tuple(step["pieces"]),
                    ),
                )


def _lot_missing(step: dict[str, Any], materials: set[str]) -> Finding:
    return warning(
        "record-lot-missing",
        f"step {step['title']!r} names no lot of " + ", ".join(sorted(materials)),
        "write the lot or roll number",
        layers=tuple(step["pieces"]),
    )


def _day(words: str) -> date | None:
    try:
        return date.fromisoformat(words)
    except ValueError:
        return None


def _first_day(record: Record, plan: dict[str, Any], step: dict[str, Any]) -> date | None:
    names = [check["id"] for check in step["checks"]]
    names += [f"{batch}.mixed" for batch in mixed_in(plan, step)]
    entries = (record.fields.get(field_id(step["id"], name)) for name in names)
    return min((datetime.fromisoformat(e.at).date() for e in entries if e), default=None)


def _mass(record: Record, plan: dict[str, Any]) -> Iterator[Told]:
    if not record.serial:
        yield (
            RECORD,
            warning(
                "record-serial-missing",
                "the record does not say which article it is of",
                "write its serial number on the first page of the booklet",
            ),
        )
    mass = parse_figure(record.words(MASS_FIELD))
    planned = planned_mass_g(plan)
    if mass is None:
        yield RECORD, warning("record-mass-missing", "the finished part was not weighed",
                              "weigh it")  # fmt: skip
    elif planned and abs(mass - planned) > MASS_SHARE * planned:
        yield (
            RECORD,
            warning(
                "record-mass",
                f"the part weighs {figure(mass)} g, {100 * (mass / planned - 1):+.0f} % against "
                f"the planned {figure(planned)} g",
                "look for resin that stayed in, or plies left out",
                source="common practice, no source",
            ),
        )
