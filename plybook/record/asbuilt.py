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
    Table,
    field_id,
    figure,
    show_duration,
)
from plybook.record.compare import LOT_PREFIX, MASS_FIELD, NOTES_FIELD
from plybook.record.figures import measures, mixed_in, parse_figure, steps
from plybook.record.reading import Record

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
        _lots_page(record, plan),
        _steps_page(record, plan),
    )
    kicker = f"As built · {part['number']} · revision {part['revision']}"
    return Document(
        title="As-built record",
        part=part["number"],
        name=part["name"],
        revision=part["revision"],
        hand=part["hand"],
        date=record.saved[:10],
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
    planned = float(plan["quantities"].get("laminate_mass_g", 0.0))
    weighed = f"{figure(mass)} g" if mass is not None else "not weighed"
    if mass is not None and planned:
        weighed += f", {100 * (mass / planned - 1):+.1f} %"
    facts = Facts(
        (
            ("Part", part["number"]),
            ("Revision", part["revision"]),
            ("Hand", HANDS.get(part["hand"], part["hand"])),
            ("Record saved", show_time(record.saved) or "time unknown"),
            ("Checks done", f"{sum(record.done(id) for id in checks)} of {len(checks)}"),
            ("Deviations", str(len(record.deviations))),
            ("Stops", str(errors)),
            ("Open points", str(warnings)),
            ("Mass, planned", f"{figure(planned)} g"),
            ("Mass, weighed", weighed),
            ("Built by", record.words("record.builder") or "not signed"),
            ("Inspected by", record.words("record.inspector") or "not signed"),
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
        blocks = (Table(("", "What", "What to do"), rows),)
    return "findings", "What stands against the record", blocks


def _deviations_page(record: Record) -> _Plain:
    rows = tuple(
        (str(k), show_time(d.at), d.step, d.what, d.why, d.by)
        for k, d in enumerate(record.deviations, start=1)
    )
    table = Table(
        ("No.", "Written", "Step or piece", "What was done", "Why, and who agreed", "By"),
        rows,
        "rlllll",
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


def _lots_page(record: Record, plan: dict[str, Any]) -> _Plain:
    lots = tuple(
        (id.removeprefix(LOT_PREFIX), record.words(id))
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
            record.words(field_id(s["id"], f"{b}.mixed")) or "no time",
            record.words(field_id(s["id"], f"{b}.lot")),
        )
        for s in steps(plan)
        for b in mixed_in(plan, s)
    )
    blocks: list[Block] = []
    if lots:
        blocks += [Heading("Materials", 3), Table(("Material", "Lot or roll"), lots)]
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
