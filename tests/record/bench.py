"""A booklet's export made in the test: entries chained and named as the page does it.

The names are computed here by themselves (hashlib, json), not by the code under test.
"""

import hashlib
import json
from datetime import datetime, timedelta

from plybook.drawing.document import Blank, CheckBox, TimerBox
from tests.drawing import doubles

AT = "2026-05-04T10:21:00+02:00"
KEYS = ("at", "by", "device", "field", "how", "over", "prev", "value")


def later(at, **delta):
    return (datetime.fromisoformat(at) + timedelta(**delta)).isoformat()


def named(entry):
    text = json.dumps(
        {k: entry[k] for k in KEYS}, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    return entry | {"name": hashlib.sha256(text.encode()).hexdigest()}


class Device:
    """One device that enters things one after the other; `know` is what it was given."""

    def __init__(self, name="device a", by="RL", know=()):
        self.name, self.by, self.entries = name, by, {e["name"]: e for e in know}

    def heads(self, field):
        own = [e for e in self.entries.values() if e["field"] == field]
        replaced = {n for e in own for n in e["over"]}
        return sorted(e["name"] for e in own if e["name"] not in replaced)

    def tips(self):
        followed = {n for e in self.entries.values() for n in e["prev"]}
        return sorted(set(self.entries) - followed)

    def put(self, field, value, at=AT, how=""):
        entry = named({
            "at": at, "by": self.by, "device": self.name, "field": field, "how": how,
            "over": self.heads(field), "prev": self.tips(), "value": value,
        })  # fmt: skip
        self.entries[entry["name"]] = entry
        return entry

    def export(self, frame, saved=AT):
        tips = "".join(self.tips())
        code = hashlib.sha256(tips.encode()).hexdigest()[:12].upper() if tips else ""
        return {
            "plybook_record": 2, **frame, "saved": saved,
            "seal": "-".join(code[k : k + 4] for k in (0, 4, 8)) if code else "",
            "entries": list(self.entries.values()), "photos": {}, "aside": [],
        }  # fmt: skip


def frame_of(document, serial="003"):
    return {
        "part": document.part, "name": document.name, "revision": document.revision,
        "hand": document.hand, "plan": document.record_key, "serial": serial,
    }  # fmt: skip


def filled(document) -> dict:
    """What a builder wrote who did everything as told, keeping every wait."""
    fields, at = {}, AT
    for block in doubles.fields_of(document):
        if isinstance(block, TimerBox) and block.kind == "wait":
            at = later(at, seconds=block.seconds)
        if isinstance(block, CheckBox):
            fields[block.id] = {"value": True, "at": at}
        elif isinstance(block, Blank):
            value = {"initials": "RL", "time": "10:21", "date": "2027-01-31"}.get(block.kind, "3")
            if block.kind == "measure":
                value = f"{block.expected:g}"
            fields[block.id] = {"value": value, "at": at}
    fields["article.serial"] = {"value": "003", "at": AT}
    return {**frame_of(document), "saved": at, "fields": fields, "timers": {}, "rows": {}}


def exported(sheet) -> dict:
    """The export of what is written on a sheet as `filled` gives it."""
    device = Device()
    frame = {k: sheet[k] for k in ("part", "name", "revision", "hand", "plan", "serial")}
    begun = min((f["at"] for f in sheet["fields"].values()), default=AT)
    device.put("article.book", {k: v for k, v in frame.items() if k != "serial"}, begun)
    for id, field in sorted(sheet["fields"].items(), key=lambda item: item[1]["at"]):
        device.put(id, field["value"], field["at"])
    for id, run in sheet["timers"].items():
        device.put(f"timer.{id}", run, sheet["saved"])
    for id, row in sheet["rows"].items():
        device.put(id, row, sheet["saved"])
    return device.export(frame, sheet["saved"])
