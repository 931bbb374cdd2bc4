"""What the booklet enters by itself or in one tap, and what it never does by itself."""

import base64
import hashlib
import json
import re
import struct
import zlib

import pytest

from plybook.diagnostics import Severity
from plybook.plan import plan_dict, to_json
from plybook.record import as_built, compare, read_record
from plybook.shop.model import VACUUM
from plybook.write.book_html import book_html
from tests.browser.chrome import until
from tests.browser.shops import work_parts
from tests.browser.test_booklet import export, fill, set_clock, tap_row

LAY = "p-lay-p1"


def field(name):
    return f'[data-field="{name}"]'


def put(page, name, words):
    fill(page, field(name), words)
    page.js("document.activeElement.blur()")


def words_of(page, name):
    return page.find(field(name)).get_attribute("value")


def press(page, place, words):
    until(lambda: [b for b in page.all(f"{place} button") if b.text == words])[0].click()


def test_one_tap_signs_a_step_and_turns_the_page_once_all_else_is_in(window, work):
    page = window().open(work, LAY)
    sign = f"#{LAY} .finish"
    page.turn("p-lay-r1")
    put(page, "lay-r1.initials", "RL")  # initials are written once
    page.turn(LAY)
    assert not page.find(sign).is_displayed()  # checks are open
    for name in ("angle", "lines"):
        tap_row(page, f"input{field(f'lay-p1.{name}')}")
    put(page, "lay-p1.room", "31")
    assert not page.find(sign).is_displayed()  # a value is out
    put(page, "lay-p1.room", "20")
    assert until(lambda: page.text(sign)) == "Sign RL, next"
    page.find(sign).click()
    assert until(lambda: page.find("#p-lay-p2").is_displayed())
    assert words_of(page, "lay-p1.initials") == "RL"
    assert not page.find(".here .finish").is_displayed()
    page.find(".here .next").click()  # turning alone signs nothing
    assert words_of(page, "lay-p2.initials") == ""
    assert page.complaints() == []


def test_a_lot_written_once_holds_and_another_at_a_step_stays_its_own(window, work):
    page = window().open(work, "p-lots")
    materials = [e.get_attribute("data-field") for e in page.all(".here [data-kind=lot]")]
    assert len(materials) >= 4
    for k, name in enumerate(materials):
        put(page, name, f"LOT-{k}")
    held = f"LOT-{materials.index('record.lot.epoxy')}"
    page.turn(LAY)
    cup = "[data-cup='Cup 1'] .held"
    assert until(lambda: page.text(cup)) == held
    page.find("[data-cup='Cup 1'] summary").click()
    put(page, "lay-p1.Cup 1.lot", "OTHER")
    assert until(lambda: page.text(cup)) == "OTHER"
    page.turn("p-lay-p2")
    box = page.find(field("lay-p2.lot"))
    assert until(lambda: box.get_attribute("placeholder")).startswith("LOT-")
    page.turn("p-leak")
    until(lambda: page.all(f".blank:has({field('leak.lots')}) .chip"))[0].click()
    assert words_of(page, "leak.lots").startswith("LOT-")
    record = read_record(export(page).read_bytes())
    assert record.words("lay-p1.Cup 1.lot") == "OTHER" and not record.words("lay-p2.lot")


def test_readings_start_the_leak_check_end_the_vacuum_limit_and_give_the_drop(window, work):
    page = window().open(work, LAY)
    press(page, "[data-cup='Cup 1']", "Mixed")
    press(page, "[data-cup='Cup 1']", "In the tray")
    press(page, "[data-cup='Cup 1']", "All on")
    page.turn("p-leak")
    vacuum, leak = (f"[data-timer='leak.leak.{name}'] .says" for name in (VACUUM, "t1"))
    assert ", by " in page.text(vacuum)
    put(page, "leak.v1", "690")  # too little: the bag is not on yet
    assert "stopped" not in page.text(vacuum)
    put(page, "leak.v1", "710")
    assert "stopped at" in page.text(vacuum)
    assert page.text(leak).startswith("started ")
    set_clock(page, 601)
    assert until(lambda: page.all(".run-line.up"))
    put(page, "leak.v2", "703,5")  # work goes on: the alarm is answered
    assert until(lambda: not page.all(".run-line.up"))
    assert words_of(page, "leak.drop") == "6.5"
    assert page.text(f".blank:has({field('leak.drop')}) .verdict").startswith("IN")


def test_the_first_of_two_times_starts_the_cure_between_them_in_one_deed(window, work):
    page = window().open(work, "p-core-bond")
    says = "[data-timer='core-bond.cure'] .says"
    press(page, f".blank:has({field('core-bond.let')})", "Now")
    assert page.text(says) == ""  # the second time begins nothing
    press(page, "#head", "Undo")
    press(page, f".blank:has({field('core-bond.on')})", "Now")
    assert until(lambda: page.text(says)).startswith("started ")
    press(page, "#head", "Undo")
    assert until(lambda: page.text(says) == "") and words_of(page, "core-bond.on") == ""


def test_a_time_is_a_time_and_an_answer_is_offered(window, work):
    page = window().open(work, "p-leak")
    put(page, "leak.off", "ok")
    verdict = f".blank:has({field('leak.off')}) .verdict"
    assert page.text(verdict) == "NOT A TIME: write it as 14:02"
    record = read_record(export(page).read_bytes())
    page.turn("p-leak")
    for words, good in (("14:02", True), ("9.30", True), ("2026-05-04 14:02", True),
                        ("25:00", False), ("14:02 on 2026-02-30", False)):  # fmt: skip
        put(page, "leak.off", words)
        assert (page.text(verdict) == "") is good, words
    press(page, f".blank:has({field('leak.off')})", "Now")
    assert re.match(r"\d\d:\d\d on ", words_of(page, "leak.off"))
    press(page, f".blank:has({field('leak.seen')})", "none")
    assert words_of(page, "leak.seen") == "none"
    assert record.words("leak.off") == "ok"


@pytest.mark.parametrize(("value", "word"), [("2.26", "OUT"), ("2.27", "IN"), ("2.83", "IN"),
                                             ("2.84", "OUT")])  # fmt: skip
def test_a_value_is_judged_by_the_tolerance_that_is_printed(window, work, value, word):
    page = window().open(work, "p-leak")
    blank = f".blank:has({field('leak.thick')})"
    assert "2.55 ± 0.28 mm" in page.text(f"{blank} .unit")
    put(page, "leak.thick", value)
    assert page.text(f"{blank} .verdict").startswith(word)


def test_a_cup_that_came_out_otherwise_is_scaled(window, work):
    page = window().open(work, LAY)
    page.find("[data-cup='Cup 1'] summary").click()
    put(page, "lay-p1.Cup 1.weighed", "110")
    assert page.text("[data-cup='Cup 1'] .rest") == "then hardener 33 g = 143 g in all"
    put(page, "lay-p1.Cup 1.weighed", "50")
    assert page.text("[data-cup='Cup 1'] .rest").endswith("50 % less than planned")


def test_hours_run_by_person_and_are_corrected_by_hand(window, work):
    page = window().open(work, LAY)
    put(page, "lay-p1.initials", "RL")
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-do=work]").click()
    assert until(lambda: page.text(f"#{LAY} [data-do=work]")).startswith("Stop work (Outer skin")
    set_clock(page, 7200)
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-do=work]").click()
    page.turn("p-record")
    rows = page.all("#hours .entry")
    assert len(rows) == 1
    start = page.find("#hours [data-cell=start]").get_attribute("value")
    end = page.find("#hours [data-cell=end]").get_attribute("value")
    assert start < end
    page.js("""
        const box = document.querySelector("#hours [data-cell=end]");
        box.value = arguments[0];
        box.dispatchEvent(new Event("change", { bubbles: true }));
    """, start[:11] + "23:59")  # fmt: skip
    record = read_record(export(page).read_bytes())
    (row,) = record.rows("hours")
    assert row.cells["who"] == "RL" and row.cells["task"] == "Outer skin"
    assert row.cells["end"].endswith("23:59")


def test_a_deviation_in_its_step_answers_a_stop_once_it_is_approved(window, work):
    plan = json.loads(to_json(plan_dict(*work_parts())))

    def stops(page):
        for old in page.downloads.glob("*.json"):
            old.unlink()
        found = compare(read_record(export(page).read_bytes()), plan)
        return [f.code for f in found if f.severity is Severity.ERROR], [f.code for f in found]

    page = window().open(work, LAY)
    put(page, "lay-p1.room", "31")
    assert stops(page)[0] == ["record-value-out"]
    page.turn(LAY)
    page.find(f"#{LAY} .more summary").click()
    press(page, f"#{LAY}", "Write down a deviation")
    entry = f"#{LAY} .entry"
    assert page.js("return document.activeElement.closest('.entry') !== null")
    for name, words in (("what", "Laid at 31 °C"), ("why", "Heat wave"), ("by", "RL")):
        fill(page, f"{entry} [data-cell={name}]", words)
    page.js("document.activeElement.blur()")
    assert stops(page)[0] == ["record-value-out"]  # not disposed of yet
    page.turn(LAY)
    page.js("""
        const box = document.querySelector(arguments[0]);
        box.value = "use as is";
        box.dispatchEvent(new Event("change", { bubbles: true }));
    """, f"{entry} [data-cell=disposition]")  # fmt: skip
    fill(page, f"{entry} [data-cell=approved]", "AB, designer")
    page.js("document.activeElement.blur()")
    errors, codes = stops(page)
    assert errors == [] and "record-answered" in codes


def test_a_malformed_address_shows_the_page_in_hand(window, work):
    page = window().open(work)
    page.js("location.hash = '#%'")
    page.driver.refresh()
    assert page.find(".card.here").is_displayed() and page.complaints() == []


def png(path, wide, tall):
    """A plain picture made here (PNG, ISO/IEC 15948)."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    rows = b"".join(b"\0" + bytes((y % 256, 90, 120)) * wide for y in range(tall))
    head = struct.pack(">IIBBBBB", wide, tall, 8, 2, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
                     + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))  # fmt: skip


def test_a_photo_is_made_smaller_kept_over_a_reload_and_goes_into_the_record(
    window, work, tmp_path
):
    png(tmp_path / "seam.png", 2600, 1300)
    page = window().open(work, LAY)
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-do=photo]").send_keys(str(tmp_path / "seam.png"))
    caption = until(lambda: [e.text for e in page.all(f"#{LAY} .photos figcaption")])[0]
    assert "1280 × 640 px" in caption and "kB" in caption  # what it takes is told
    page.driver.refresh()
    assert until(lambda: page.find(f"#{LAY} .photos img").get_attribute("src") or "").startswith(
        "data:image/jpeg"
    )
    data = export(page).read_bytes()
    (photo,) = read_record(data).photos
    assert (photo.of, photo.width, photo.height) == ("lay-p1", 1280, 640)
    assert photo.data.startswith(b"\xff\xd8\xff")
    assert page.text("#photo-size").startswith("1 photos, ")
    name = hashlib.sha256(photo.data).hexdigest().encode()
    assert base64.b64encode(photo.data)[:40] in data and name in data


def test_a_photo_that_the_browser_does_not_keep_is_told_and_goes_out(window, work, tmp_path):
    png(tmp_path / "seam.png", 200, 100)
    page = window(storage=False).open(work, LAY)
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-do=photo]").send_keys(str(tmp_path / "seam.png"))
    assert until(lambda: "PHOTO IS NOT BEING KEPT" in page.text("#notices"))
    press(page, ".notice", "OK")
    (photo,) = read_record(export(page).read_bytes()).photos
    assert (photo.width, photo.height) == (200, 100) and photo.data.startswith(b"\xff\xd8\xff")


ROWS = {
    "readings": {"task": "Outer skin", "at": "2026-05-04T18:30", "room": "21,5", "part": "24",
                 "vacuum": "890"},
    "instruments": {"what": "vacuum gauge", "number": "VG-7", "until": "2026-01-31"},
    "signatures": {"role": "inspector", "name": "M. Brandt", "for": "before closing"},
}  # fmt: skip


def test_readings_instruments_and_signatures_go_into_the_as_built_book(window, work):
    page = window().open(work, "p-record")
    for name, cells in ROWS.items():
        page.find(f"#p-record [data-add={name}]").click()
        until(lambda name=name: page.all(f"#{name} .entry"))
        for cell, words in cells.items():
            page.js("""
                const [box, words] = arguments;
                box.value = words;
                box.dispatchEvent(new Event("change", { bubbles: true }));
            """, page.find(f"#{name} [data-cell='{cell}']"), words)  # fmt: skip
    page.turn("p-lots")
    put(page, "record.lot.epoxy", "LOT-9")
    page.js("""
        const box = document.querySelector('[data-field="record.expiry.epoxy"]');
        box.value = "2026-04-30";
        box.dispatchEvent(new Event("input", { bubbles: true }));
        box.dispatchEvent(new Event("change", { bubbles: true }));
    """)
    page.turn(LAY)
    press(page, "[data-cup='Cup 1']", "Mixed")
    plan = json.loads(to_json(plan_dict(*work_parts())))
    record = read_record(export(page).read_bytes())
    for name, cells in ROWS.items():
        (row,) = record.rows(name)
        assert dict(row.cells) == cells
    found = compare(record, plan)
    codes = {f.code for f in found}
    assert {"record-instrument-expired", "record-lot-expired"} <= codes
    words = book_html(as_built(record, plan, found)).decode()
    for told in ("VG-7", "890", "21,5", "2026-05-04 18:30", "M. Brandt", "before closing",
                 "2026-04-30"):  # fmt: skip
        assert told in words, told
