"""What an authority asks for: hours by task and person, readings, photos, changes, in book and CSV.

What a builder's log should hold: FAA AC 20-27G, appendix on the builder's log.
"""

import base64
import csv
import hashlib
import io

import pytest

from plybook.drawing.document import Photo, Table
from plybook.record import as_built, builders_log, compare, log_rows, read_record
from plybook.write.book_pdf import book_pdf
from plybook.write.tables import csv_bytes
from tests.record.bench import Device, filled, frame_of
from tests.record.test_record import AT, DEVIATION, planned, read, to_json_bytes
from tests.write.pages import opened, words

PIXEL = base64.b64decode(  # the smallest JPEG file (ITU-T T.81), one grey pixel, written by hand
    "/9j/4AAQSkZJRgABAQEASABIAAD/2wBDAP//////////////////////////////////////////////////////////"
    "////////////////////////////wgALCAABAAEBAREA/8QAFBABAAAAAAAAAAAAAAAAAAAAAP/aAAgBAQABPxA="
)


@pytest.fixture(scope="module")
def kept():
    """A record of an article on which two people worked, and its plan."""
    document, plan = planned()
    device = Device(by="RL")
    frame = frame_of(document)
    device.put("article.book", {k: v for k, v in frame.items() if k != "serial"}, AT)
    device.put("article.serial", "003", AT)
    device.put("lay-p1.angle", True, "2026-05-04T10:00:00+02:00")
    device.put("lay-p1.room", "19", "2026-05-04T10:30:00+02:00")
    device.put("lay-p1.room", "21", "2026-05-04T10:31:00+02:00")
    device.put("lay-p1.lines", True, "2026-05-04T12:30:00+02:00")  # after two hours of nothing
    device.put("lay-p1.initials", "RL", "2026-05-04T12:45:00+02:00")
    device.by = "MK"
    device.put("hours.a", {"task": "Core", "who": "MK", "start": "2026-05-05T09:00",
                           "end": "2026-05-05T11:15", "note": "fitting"})  # fmt: skip
    device.put("readings.a", {"task": "Outer skin", "at": "2026-05-04T23:30", "room": "21,5",
                              "part": "24", "vacuum": "890"})  # fmt: skip
    device.put("signatures.a", {"role": "inspector", "name": "M. Brandt", "for": "before closing"})
    device.put("deviations.a", DEVIATION | {"of": "core-fit"})
    name = hashlib.sha256(PIXEL).hexdigest()
    device.put(
        "photos.a",
        {
            "of": "lay-p1",
            "caption": "seam",
            "taken": "2026-05-04T10:40:00+02:00",
            "sha256": name,
            "width": 1,
            "height": 1,
            "bytes": len(PIXEL),
        },
    )
    raw = device.export(frame) | {"photos": {name: base64.b64encode(PIXEL).decode()}}
    return read_record(to_json_bytes(raw)), plan


def test_hours_are_those_of_the_entries_unless_they_are_written_down(kept):
    """10:00 to 10:31 and 12:30 to 12:45 by the entries: a gap of more than an hour is no work."""
    head, rows = log_rows(*kept)
    work = {tuple(r[k] for k in (0, 1, 2, 4, 5)): r[3] for r in rows if r[6] == "work"}
    assert work == {
        ("2026-05-04", "10:00", "10:31", "Outer skin", "RL"): pytest.approx(31 / 60, abs=0.005),
        ("2026-05-04", "12:30", "12:45", "Outer skin", "RL"): 0.25,
        ("2026-05-05", "09:00", "11:15", "Core", "MK"): 2.25,
    }
    assert head[3] == "hours"


def test_the_table_holds_every_kind_of_entry_in_order_of_time(kept):
    rows = list(csv.reader(io.StringIO(csv_bytes(*log_rows(*kept)).decode("utf-8-sig"))))
    kinds = [row[6] for row in rows[1:]]
    assert set(kinds) == {"work", "step done", "deviation", "reading", "signature", "photo"}
    assert [row[:2] for row in rows[1:]] == sorted(row[:2] for row in rows[1:])
    (reading,) = (row for row in rows if row[6] == "reading")
    assert reading[:2] == ["2026-05-04", "23:30"]  # when it was read, not when it was written
    assert "Vacuum below ambient, mbar 890" in reading[7]
    (deviation,) = (row for row in rows if row[6] == "deviation")
    assert deviation[4] == "Core" and "use as is" in deviation[7]


def test_the_log_on_paper_has_a_page_for_each_task(kept):
    log = builders_log(*kept)
    assert {page.title for page in log.pages} == {"Outer skin", "Core", "Without a task"}
    printed = " ".join(" ".join(words(page).split()) for page in opened(book_pdf(log)))
    for told in ("M. Brandt", "seam", "fitting", "2.2 h", "No. 003"):
        assert told in printed, told


def test_the_as_built_book_holds_photos_readings_and_what_was_changed(kept):
    record, plan = kept
    book = as_built(record, plan, compare(record, plan))
    blocks = [block for page in book.pages for block in page.blocks]
    (photo,) = (block for block in blocks if isinstance(block, Photo))
    assert photo.data == PIXEL and "seam" in photo.caption
    cells = [cell for block in blocks if isinstance(block, Table) for row in block.rows
             for cell in row]  # fmt: skip
    assert "890" in cells and "2026-05-04 23:30" in cells
    changed = "Lay P1 at +45°: Room temperature"  # by its words, not by its id
    assert cells.count(changed) >= 2 and "19" in cells


def test_two_who_disagree_are_told_by_the_words_of_the_field():
    document, plan = planned()
    one, two = Device("device a", "RL"), Device("device b", "MK")
    frame = frame_of(document)
    one.put("article.book", {k: v for k, v in frame.items() if k != "serial"})
    two.entries.update(one.entries)
    one.put("lay-p1.room", "19")
    two.put("lay-p1.room", "21")
    one.entries.update(two.entries)
    found = compare(read_record(to_json_bytes(one.export(frame))), plan)
    (told,) = (f.message for f in found if f.code == "record-conflict")
    assert "'Lay P1 at +45°: Room temperature'" in told
    assert "'19' (RL, device a)" in told and "'21' (MK, device b)" in told


def test_a_cup_of_a_lot_past_its_date_is_told_before_anything_is_ticked():
    document, plan = planned()
    sheet = filled(document)
    sheet["fields"] = {
        id: f for id, f in sheet["fields"].items() if not id.startswith("lay-p1.") or "mixed" in id
    }
    sheet["fields"]["record.expiry.epoxy"] = {"value": "2026-05-03", "at": AT}
    told = [f.message for f in compare(read(sheet), plan) if f.code == "record-lot-expired"]
    assert any("Lay P1" in words for words in told)
