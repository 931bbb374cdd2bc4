"""The lists that grow at the bench: deviations, hours, instruments, readings, signatures.

Names of ledgers and columns are those of the record that `plybook.record` reads. What a builder's
log should hold: FAA AC 20-27G, appendix on the builder's log (tasks, dates, photographs, who did
what); words for a disposition are common in quality records of the trade (no single source).
"""

from __future__ import annotations

from collections.abc import Sequence

from plybook.drawing.document import Column, Ledger

DISPOSITIONS = ("use as is", "reworked to drawing", "repaired", "rejected")
ROLES = ("builder", "helper", "inspector", "designer")

DEVIATIONS = Ledger(
    "deviations",
    "Deviations: what was done differently",
    (
        Column("step", "Step or piece", share=0.18),
        Column("what", "What was done", "long", share=0.28),
        Column("why", "Why", "long", share=0.2),
        Column("disposition", "Disposition", "choice", DISPOSITIONS, share=0.13),
        Column("by", "Initials", "initials", share=0.08),
        Column("approved", "Approved by, role", share=0.13),
    ),
    rows=6,
    add="Add a deviation",
)


def hours(tasks: Sequence[str]) -> Ledger:
    """Working time by task and person; `tasks` are offered."""
    return Ledger(
        "hours",
        "Hours",
        (
            Column("task", "Task", "choice", (*tasks, "Other"), share=0.3),
            Column("who", "Who", "initials", share=0.12),
            Column("start", "From", "time", share=0.19),
            Column("end", "To", "time", share=0.19),
            Column("note", "Note", share=0.2),
        ),
        rows=5,
        add="Add hours by hand",
    )


INSTRUMENTS = Ledger(
    "instruments",
    "Instruments",
    (
        Column("what", "Instrument", share=0.4),
        Column("number", "Number", share=0.3),
        Column("until", "Calibrated until", "date", share=0.3),
    ),
    rows=3,
    add="Add an instrument",
)


def readings(tasks: Sequence[str]) -> Ledger:
    """Room, part and vacuum through each cure; `tasks` are offered."""
    return Ledger(
        "readings",
        "Readings through the cure",
        (
            Column("task", "Stage", "choice", tuple(tasks), share=0.3),
            Column("at", "When", "time", share=0.22),
            Column("room", "Room, °C", "number", share=0.12),
            Column("part", "Part, °C", "number", share=0.12),
            Column("vacuum", "Vacuum below ambient, mbar", "number", share=0.24),
        ),
        rows=5,
        add="Add a reading",
    )


SIGNATURES = Ledger(
    "signatures",
    "Signatures",
    (
        Column("role", "Role", "choice", ROLES, share=0.2),
        Column("name", "Name, typed", share=0.35),
        Column("for", "For what", share=0.45),
    ),
    rows=3,
    add="Add a signature",
)
