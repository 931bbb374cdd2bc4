"""The as-built book: what was done, when, with which lots, and where it differs from the plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

from plybook.diagnostics import Finding, Severity
from plybook.drawing.document import (
    Block,
    Document,
    Facts,
    Heading,
    Page,
    Paragraph,
    Photo,
    Table,
    expiry_field_id,
    field_id,
    figure,
    show_duration,
)
from plybook.drawing.ledgers import INSTRUMENTS, readings
from plybook.record.compare import LOT_PREFIX, MASS_FIELD, NOTES_FIELD, WEIGHED
from plybook.record.figures import measures, mixed_in, parse_figure, planned_mass_g, steps
from plybook.record.hours import spells
from plybook.record.names import field_namer
from plybook.record.reading import BOOK, Record, clock_time

HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": "no hand"}
_WORD = {"in": "IN", "out": "OUT", "no figure": "NO FIGURE", "open": "open", "noted": "noted"}


def as_built(
    record: Record,
    plan: dict[str, Any],
    findings: Sequence[Finding],
    paper: Literal["a4", "letter"] = "a4",
) -> Document:
    """The builder's log of one part, for the inspector's folder.

    Args:
        record: as read.
        plan: `plan.json` of the part.
        findings: from `compare`.
        paper: what it will be printed on.
    """
    part = plan["part"]
    pages = (
        _cover(record, plan, findings),
        _findings_page(findings),
        _deviations_page(record),
        _values_page(record, plan),
        _answers_page(record, plan),
        _lots_page(record, plan),
        _cure_page(record),
        _steps_page(record, plan),
        _hours_page(record, plan),
        _photos_page(record, plan),
        _history_page(record, plan),
    )
    kicker = f"As built · {part['number']} · revision {part['revision']}"
    return Document(
        title="As-built record",
        part=part["number"],
        name=part["name"],
        revision=part["revision"],
        hand=part["hand"],
        date=record.saved[:10],
        serial=record.serial,
        paper=paper,
        pages=tuple(
            Page(id, title, kicker, blocks, "record") for id, title, blocks in pages if blocks
        ),
        record_key=record.plan,
    )


_Plain = tuple[str, str, tuple[Block, ...]]


def _cover(record: Record, plan: dict[str, Any], findings: Sequence[Finding]) -> _Plain:
    part = plan["part"]
    checks = [field_id(s["id"], c["id"]) for s in steps(plan) for c in s["checks"]]
    errors = sum(f.severity is Severity.ERROR for f in findings)
    warnings = sum(f.severity is Severity.WARNING for f in findings)
    mass = parse_figure(record.words(MASS_FIELD))
    planned = planned_mass_g(plan)
    weighed = f"{figure(mass)} g" if mass is not None else "not weighed"
    if mass is not None and planned:
        weighed += f", {100 * (mass / planned - 1):+.1f} %"
    facts = Facts(
        (
            ("Part", part["number"]),
            ("Revision", part["revision"]),
            ("Hand", HANDS.get(part["hand"], part["hand"])),
            ("Serial number", record.serial or "not stated"),
            ("Record saved", show_time(record.saved) or "time unknown"),
            ("Checks done", f"{sum(record.done(id) for id in checks)} of {len(checks)}"),
            ("Deviations", str(len(record.deviations))),
            ("Stops", str(errors)),
            ("Open points", str(warnings)),
            ("Mass, planned", f"{figure(planned)} g"),
            ("Mass, weighed", weighed),
            *(
                (f"{name}, weighed", f"{figure(grams)} g")
                for name, field in WEIGHED
                if (grams := parse_figure(record.words(field))) is not None
            ),
            ("Built by", record.words("record.builder") or "not signed"),
            ("Inspected by", record.words("record.inspector") or "not signed"),
            *(
                (
                    row.cells.get("role", "").capitalize() or "Signed",
                    f"{row.cells.get('name', '')}, {show_time(row.at)}"
                    + (f", {row.cells['for']}" if row.cells.get("for") else ""),
                )
                for row in record.rows("signatures")
            ),
            ("Entries in the log", str(len(record.log.entries))),
            ("Seal of the log", record.log.seal() or "none"),
        )
    )
    verdict = "The record is complete and every figure is within its limits."
    if errors or warnings:
        verdict = f"NOT COMPLETE. Stops: {errors}. Open points: {warnings}."
    return (
        "cover",
        part["name"],
        (
            facts,
            Paragraph(verdict, strong=True),
            Paragraph(
                "This is the builder's own record, with the times of the device it was kept on. "
                "Whether the part is fit to fly is for the licensed inspector to say."
            ),
            *_notes(record),
        ),
    )


def _notes(record: Record) -> list[Block]:
    words = record.words(NOTES_FIELD)
    lines = [line for line in words.split("\n") if line.strip()]
    return [Heading("Notes", 3), *(Paragraph(line) for line in lines)] if lines else []


def _findings_page(findings: Sequence[Finding]) -> _Plain:
    order = (Severity.ERROR, Severity.WARNING, Severity.NOTE)
    words = {Severity.ERROR: "STOP", Severity.WARNING: "open", Severity.NOTE: "note"}
    rows = tuple(
        (words[f.severity], f.message, f.help)
        for severity in order
        for f in findings
        if f.severity is severity
    )
    blocks: tuple[Block, ...] = (Paragraph("Nothing is open."),)
    if rows:
        blocks = (Table(("Kind", "What", "What to do"), rows),)
    return "findings", "What stands against the record", blocks


def _deviations_page(record: Record) -> _Plain:
    rows = tuple(
        (str(k), show_time(d.at), d.step, d.what, d.why, d.disposition, d.by, d.approved)
        for k, d in enumerate(record.deviations, start=1)
    )
    table = Table(
        (
            "No.",
            "Written",
            "Step or piece",
            "What was done",
            "Why",
            "Disposition",
            "By",
            "Approved",
        ),
        rows,
        "rlllllll",
    )
    blocks: tuple[Block, ...] = (table,) if rows else (Paragraph("None was written down."),)
    return "deviations", "Deviations", blocks


def _values_page(record: Record, plan: dict[str, Any]) -> _Plain:
    rows = tuple(
        (
            m.where,
            m.blank.label,
            m.limits,
            f"{m.written} {m.blank.unit}".strip() if m.written else "",
            _WORD[m.verdict],
            show_time(m.at),
        )
        for m in measures(record, plan)
    )
    table = Table(("Where", "What", "Limits", "Found", "Verdict", "Written"), rows)
    return "values", "Measured values", (table,) if rows else ()


def _answers_page(record: Record, plan: dict[str, Any]) -> _Plain:
    """Answers in words, and signatures by role, as the steps ask for them."""
    rows = []
    for step in steps(plan):
        for check in step["checks"]:
            entry = record.fields.get(field_id(step["id"], check["id"]))
            words = record.words(field_id(step["id"], check["id"]))
            if check["kind"] in ("text", "time", "lot", "initials") and entry and words:
                rows.append((step["title"], check["text"], words, show_time(entry.at), entry.by))
    table = Table(("Step", "Asked", "Answer or signature", "Written", "By"), tuple(rows))
    return "answers", "Answers and signatures", (table,) if rows else ()


def _cure_page(record: Record) -> _Plain:
    """Readings through the cure and the instruments they were taken with."""
    blocks: list[Block] = []
    for ledger in (readings(()), INSTRUMENTS):
        rows = tuple(
            (*(_cell(row.cells.get(c.name, ""), c.kind) for c in ledger.columns), row.by)
            for row in record.rows(ledger.id)
        )
        if rows:
            head = (*(column.label for column in ledger.columns), "By")
            blocks += [Heading(ledger.title, 3), Table(head, rows)]
    return "cure", "Readings and instruments", tuple(blocks)


def _cell(words: str, kind: str) -> str:
    return words.replace("T", " ") if kind == "time" else words


def _hours_page(record: Record, plan: dict[str, Any]) -> _Plain:
    blocks: list[Block] = []
    work = spells(record, plan)
    for task in dict.fromkeys(spell.task for spell in work):
        own = [spell for spell in work if spell.task == task]
        rows = [
            (
                f"{spell.start:%Y-%m-%d}",
                f"{spell.start:%H:%M} to {spell.end:%H:%M}",
                spell.who or "no initials",
                f"{spell.hours:.1f}",
                "written" if spell.written else "by the entries",
                spell.note,
            )
            for spell in own
        ]
        rows.append(("", "", "Sum", f"{sum(s.hours for s in own):.1f}", "", ""))
        head = ("Day", "From, to", "Who", "Hours", "How known", "Note")
        blocks += [Heading(task or "No task", 3), Table(head, tuple(rows), "lllrll")]
    if blocks:
        whole = sum(spell.hours for spell in work)
        words = (
            f"{whole:.1f} h in all. Hours by the entries run from the first to the last tick with "
            "no more than an hour between."
        )
        blocks.insert(0, Paragraph(words))
    return "hours", "Hours by task and person", tuple(blocks)


def _photos_page(record: Record, plan: dict[str, Any]) -> _Plain:
    titles = {step["id"]: step["title"] for step in steps(plan)}
    blocks: list[Block] = []
    for number, photo in enumerate(record.photos, start=1):
        where = titles.get(photo.of, "")
        taken = photo.taken.replace("T", " ")[:16]
        told = (where, photo.caption, f"taken {taken}" if taken else "", photo.by)
        caption = f"{number}. " + ", ".join(words for words in told if words)
        if photo.data and photo.width and photo.height:
            blocks.append(Photo(photo.data, photo.width, photo.height, caption))
        else:
            blocks.append(Paragraph(f"{caption} - the photo itself is not in the record file."))
    return "photos", "Photos", tuple(blocks)


def _history_page(record: Record, plan: dict[str, Any]) -> _Plain:
    """What was entered, then changed or taken back."""
    rows, name = [], field_namer(plan)
    for field in sorted(record.log.fields(), key=name):
        history = record.log.history(field)
        if len(history) > 1 and field != BOOK and not field.startswith("timer."):
            for entry in reversed(history):
                how = {"undone": "taken back", "chosen": "chosen", "again": "used again"}
                rows.append((name(field), _said(entry.value), show_time(entry.at), entry.by,
                             entry.device, how.get(entry.how, "")))  # fmt: skip
    words = Paragraph("Fields that were entered more than once, the first entry first.")
    table = Table(("Field", "Entered", "When", "By", "Device", ""), tuple(rows))
    return "history", "Changes", (words, table) if rows else ()


def _said(value: Any) -> str:
    if value is None or value is True:
        return "ticked" if value else "emptied"
    if isinstance(value, str):
        return value
    return ", ".join(f"{k} {v}" for k, v in value.items() if v not in ("", 0, None)) or "empty row"


def log_rows(record: Record, plan: dict[str, Any]) -> tuple[tuple[str, ...], list[tuple]]:
    """The builder's log as a table: head and rows, by time; one row for each stretch of work,
    finished step, deviation, reading, signature and photo."""
    head = ("date", "from", "to", "hours", "task", "who", "what", "detail")
    rows: list[tuple] = []
    for s in spells(record, plan):
        how = s.note or ("written down" if s.written else "by the entries")
        rows.append((f"{s.start:%Y-%m-%d}", f"{s.start:%H:%M}", f"{s.end:%H:%M}",
                     round(s.hours, 2), s.task, s.who, "work", how))  # fmt: skip

    def moment(at: str, task: str, who: str, what: str, detail: str) -> None:
        time = show_time(at)
        rows.append((time[:10], time[11:], "", None, task, who, what, detail))

    task_of = {step["id"]: stage["title"] for stage in plan["stages"] for step in stage["steps"]}
    for step in steps(plan):
        id = field_id(step["id"], "initials")
        if record.done(id):
            entry = record.fields[id]
            moment(entry.at, task_of[step["id"]], record.words(id), "step done", step["title"])
    for d in record.deviations:
        detail = "; ".join(w for w in (d.step, d.what, d.why, d.disposition, d.approved) if w)
        moment(d.at, task_of.get(d.of, ""), d.by, "deviation", detail)
    columns = [c for c in readings(()).columns if c.name not in ("task", "at")]
    for row in record.rows("readings"):
        detail = ", ".join(
            f"{c.label} {row.cells[c.name]}" for c in columns if row.cells.get(c.name)
        )
        taken = clock_time(row.cells.get("at", ""))
        at = taken.isoformat() if taken else row.at
        moment(at, row.cells.get("task", ""), row.by, "reading", detail)
    for row in record.rows("signatures"):
        detail = ", ".join(row.cells[k] for k in ("role", "for") if row.cells.get(k))
        moment(row.at, "", row.cells.get("name", "") or row.by, "signature", detail)
    for photo in record.photos:
        moment(photo.at, task_of.get(photo.of, ""), photo.by, "photo", photo.caption or photo.taken)
    return head, sorted(rows, key=lambda row: (row[0], row[1], row[4]))


def builders_log(
    record: Record, plan: dict[str, Any], paper: Literal["a4", "letter"] = "a4"
) -> Document:
    """The builder's log on paper: a page for each task with all that was done in it."""
    part = plan["part"]
    _, rows = log_rows(record, plan)
    pages = []
    for number, task in enumerate(dict.fromkeys(row[4] for row in rows), start=1):
        own = [row for row in rows if row[4] == task]
        hours = sum(row[3] or 0.0 for row in own)
        table = Table(
            ("Day", "From", "To", "Hours", "Who", "What", "Detail"),
            tuple(
                (day, start, end, "" if h is None else f"{h:.1f}", who, what, detail)
                for day, start, end, h, _, who, what, detail in own
            ),
            "lllrlll",
        )
        kicker = f"Builder's log · {part['number']} · No. {record.serial or 'not stated'}"
        blocks = (Paragraph(f"{hours:.1f} h.", strong=True), table)
        pages.append(Page(f"task-{number}", task or "Without a task", kicker, blocks, "record"))
    if not pages:
        words = (Paragraph("Nothing was written down."),)
        pages.append(Page("task-0", part["name"], "Builder's log", words, "record"))
    return Document(
        title="Builder's log", part=part["number"], name=part["name"], revision=part["revision"],
        hand=part["hand"], date=record.saved[:10], paper=paper, pages=tuple(pages),
        record_key=record.plan, serial=record.serial,
    )  # fmt: skip


def _lots_page(record: Record, plan: dict[str, Any]) -> _Plain:
    lots = tuple(
        (
            id.removeprefix(LOT_PREFIX),
            record.words(id),
            record.words(expiry_field_id(id.removeprefix(LOT_PREFIX))),
        )
        for id in sorted(record.fields)
        if id.startswith(LOT_PREFIX) and record.words(id)
    )
    laid = tuple(
        (", ".join(s["pieces"]), s["title"], record.words(field_id(s["id"], "lot")))
        for s in steps(plan)
        if s["lays"]
    )
    batches = tuple(
        (
            b,
            s["title"],
            record.words(field_id(s["id"], f"{b}.mixed")) or _started(record, s, b),
            record.words(field_id(s["id"], f"{b}.lot")),
        )
        for s in steps(plan)
        for b in mixed_in(plan, s)
    )
    blocks: list[Block] = []
    if lots:
        blocks += [Heading("Materials", 3), Table(("Material", "Lot or roll", "Use by"), lots)]
    if laid:
        blocks += [Heading("Pieces", 3), Table(("Pieces", "Step", "Lot or roll"), laid)]
    if batches:
        blocks += [Heading("Resin", 3), Table(("Batch", "Step", "Mixed at", "Lots"), batches)]
    return "lots", "Lots and batches", tuple(blocks)


def _steps_page(record: Record, plan: dict[str, Any]) -> _Plain:
    blocks: list[Block] = []
    for number, stage in enumerate(plan["stages"], start=1):
        rows = []
        for step in stage["steps"]:
            ids = [field_id(step["id"], c["id"]) for c in step["checks"]]
            times = sorted(record.fields[i].at for i in ids if i in record.fields)
            rows.append(
                (
                    step["title"],
                    f"{sum(record.done(i) for i in ids)} of {len(ids)}",
                    show_time(times[0]) if times else "",
                    show_time(times[-1]) if times else "",
                    record.words(field_id(step["id"], "initials")) or "not signed",
                    _timers(record, step),
                )
            )
        if rows:
            blocks += [
                Heading(f"Stage {number}: {stage['title']}", 3),
                Table(
                    ("Step", "Checks", "First", "Last", "Initials", "Timers"), tuple(rows), "lrllll"
                ),
            ]
    return "steps", "Steps, times and initials", tuple(blocks)


def _started(record: Record, step: dict[str, Any], batch: str) -> str:
    """When a cup's timer was started; as the zone of its entry has it."""
    for timer in step["timers"]:
        id = field_id(step["id"], timer["id"])
        entry = record.log.shown(f"timer.{id}")
        if timer["id"].rpartition(".")[2] == batch and id in record.timers and entry:
            start = datetime.fromtimestamp(record.timers[id].start_s, entry.time.tzinfo)
            return f"{start:%Y-%m-%d %H:%M}"
    return "no time"


def _timers(record: Record, step: dict[str, Any]) -> str:
    out = []
    for timer in step["timers"]:
        run = record.timers.get(field_id(step["id"], timer["id"]))
        if run is None:
            continue
        ran = (run.stopped_s or run.end_s) - run.start_s
        out.append(f"{show_duration(max(round(ran), 0))} of {show_duration(timer['seconds'])}")
    return "; ".join(out)


def show_time(iso: str) -> str:
    """'2026-05-04 10:21', in the time of the bench; "" where there is none."""
    return datetime.fromisoformat(iso).strftime("%Y-%m-%d %H:%M") if iso else ""
