"""Fields as people know them, for findings and the as-built book."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from plybook.drawing.document import (
    KIT_FIELD,
    LEFT_FIELD,
    MASS_FIELD,
    SERIAL,
    SIGN_OFF,
    TRIMMINGS_FIELD,
    expiry_field_id,
    field_id,
    jig_field_id,
    lot_field_id,
)
from plybook.drawing.ledgers import DEVIATIONS, INSTRUMENTS, SIGNATURES, hours, readings
from plybook.record.figures import jig_card, mixed_in, steps

_OWN = {
    SERIAL: "serial number", MASS_FIELD: "mass of the part", "record.notes": "notes",
    "record.builder": "built by", "record.inspector": "inspected by",
    KIT_FIELD: "mass of the kit", LEFT_FIELD: "mass left in the cups",
    TRIMMINGS_FIELD: "mass of the trimmings",
}  # fmt: skip
_OF_CUP = {"mixed": "time of mixing", "lot": "lots", "weighed": "first part weighed"}
_STARTS = {lot_field_id(""): "lot of ", expiry_field_id(""): "use-by date of "}
_ROWS = {ledger.id: ledger.title.partition(":")[0].lower()
         for ledger in (DEVIATIONS, hours(()), INSTRUMENTS, readings(()), SIGNATURES)}  # fmt: skip


def field_namer(plan: dict[str, Any]) -> Callable[[str], str]:
    """A function that names a field by its id; an id that the plan does not know stays as it is."""
    names = dict(_named(plan)) | _OWN

    def name(id: str) -> str:
        if id in names:
            return names[id]
        for start, words in _STARTS.items():
            if id.startswith(start):
                return words + id.removeprefix(start)
        row = _ROWS.get(id.partition(".")[0])
        return f"a row of {row}" if row else id

    return name


def _named(plan: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for step in steps(plan):
        title = step["title"]
        yield from (
            (field_id(step["id"], c["id"]), f"{title}: {c['text']}") for c in step["checks"]
        )
        words = {"lot": "lot or roll number"}
        yield from ((field_id(step["id"], n), f"{title}: {words.get(n, n)}") for n in SIGN_OFF)
        for batch in mixed_in(plan, step):
            for what, told in _OF_CUP.items():
                yield field_id(step["id"], f"{batch}.{what}"), f"{batch}: {told}"
    yield from ((jig_field_id(m["id"]), m["title"]) for m in jig_card(plan))
