"""The record in a real browser: nothing is lost, changed without trace or taken unasked."""

import hashlib
import json
import random
from importlib.resources import files

import pytest

from plybook.record import read_record
from plybook.record.log import Log, LogEntry, merged
from tests.browser.test_booklet import (
    LAY,
    ROOM,
    TICK,
    export,
    fill,
    give,
    notices,
    press,
    tap_row,
    until,
)
from tests.record.bench import Device

BOOK = files("plybook.write") / "assets" / "book"
# FIPS 180-4, examples of the Secure Hash Standard (NIST CSRC example values)
FIPS = {
    "abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    "": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq":
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    "a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}  # fmt: skip


def pure(page, code, *arguments):
    """Run code beside the page's own log and hash sources, without the page."""
    source = "\n".join((BOOK / f"{name}.js").read_text() for name in ("sha256", "log"))
    page.driver.get("about:blank")
    return page.js(f"{source}\n{code}", *arguments)


def test_the_hash_is_that_of_the_standard(window):
    page = window()
    texts = [*FIPS, "é€😀" * 33, *("x" * n for n in range(50, 70))]
    said = pure(page, "return arguments[0].map(sha256)", texts)
    assert said == [hashlib.sha256(t.encode()).hexdigest() for t in texts]
    assert said[: len(FIPS)] == list(FIPS.values())


def random_devices(seed):
    """Logs of three devices that edit alone and now and then learn what another knows."""
    dice = random.Random(seed)
    devices = [Device(f"device {k}", by=f"P{k}") for k in range(3)]
    values = [True, None, "19", "é “x”\n", {"what": "w", "n": 7}, {"what": "", "n": 7}]
    for _ in range(dice.randint(5, 40)):
        one, other = dice.sample(devices, 2)
        if dice.random() < 0.2:
            one.entries.update(other.entries)
        else:
            at = f"2026-05-04T{dice.randint(8, 11):02d}:{dice.randint(0, 3):02d}:00+02:00"
            one.put(f"f{dice.randint(0, 5)}", dice.choice(values), at)
    return [list(device.entries.values()) for device in devices]


MERGE = """
    const taken = (lists) => {
        const log = newLog();
        for (const list of lists) for (const raw of list) {
            const entry = soundEntry(raw);
            if (!entry || nameOf(entry) !== raw.name) throw new Error("refused " + raw.name);
            addEntry(log, raw.name, entry);
        }
        const fields = Array.from(log.fields.keys()).sort();
        return [sealOf(log), fields.map((f) => [f, headsOf(log, f), disagreeing(log, f)]),
                listed(log).map((e) => e.name)];
    };
    return arguments[0].map(([a, b, c]) => [
        [a, b, c], [c, b, a], [b, a, c], [a, b, c, a, b]].map(taken));
"""


def test_merging_gives_the_same_in_every_order_and_in_python(window):
    """Union of entries: commutative, associative, idempotent, over 60 random histories."""
    cases = [random_devices(seed) for seed in range(60)]
    for case, results in zip(cases, pure(window(), MERGE, cases), strict=True):
        first = results[0]
        assert all(result == first for result in results)
        a, b, c = (Log(map(entry_of, device)) for device in case)
        for log in (merged(a, merged(b, c)), merged(merged(c, a), b), merged(a, b, c, a)):
            fields = [
                [f, [e.name for e in log.heads(f)], [e.name for e in log.disagreeing(f)]]
                for f in sorted(log.fields())
            ]
            assert [log.seal(), fields] == first[:2]
    assert any(d for case in cases for d in [disputed(case)])  # there was something to decide


def entry_of(raw):
    content = {k: v for k, v in raw.items() if k not in ("over", "prev")}
    return LogEntry(over=tuple(raw["over"]), prev=tuple(raw["prev"]), **content)


def disputed(case):
    log = merged(*(Log(map(entry_of, device)) for device in case))
    return [f for f in log.fields() if log.disagreeing(f)]


def serial(page, words):
    page.turn("p-cover")
    fill(page, 'input[data-field="article.serial"]', words)
    page.js("document.activeElement.blur()")


def test_two_devices_merge_entry_by_entry_and_show_where_they_disagree(window, make_book):
    one, two = window().open(make_book(), LAY), window().open(make_book(), LAY)
    for page, degrees in ((one, "19"), (two, "21")):
        serial(page, "003")
        page.turn(LAY)
        fill(page, ROOM, degrees)
    tap_row(one, TICK)
    first, second = export(one), export(two)
    for page, path in ((one, second), (two, first)):
        give(page, path)
        assert "1 fields say different things" in notices(page)[0]
        press(page, "Decide now")
        sides = [e.text for e in page.all("#conflicts .sides .value")]
        assert sorted(sides) == ["19", "21"]
    assert one.text("#seal").split(" (")[0] == two.text("#seal").split(" (")[0]
    assert two.find(TICK).is_selected()
    two.all("#conflicts .sides button")[0].click()
    assert until(lambda: not two.all("#conflicts .conflict"))


def test_an_import_can_be_taken_back_and_leaves_a_trace(window, make_book):
    one, two = window().open(make_book(), LAY), window().open(make_book(), LAY)
    tap_row(one, TICK)
    give(two, export(one))
    press(two, "Take the import back")
    assert not two.find(TICK).is_selected()
    record = read_record(export(two).read_bytes())
    assert [e.how for e in record.log.history("lay-p1.angle")] == ["undone", ""]


def test_the_wrong_hand_and_another_article_are_told_before_anything_is_taken(window, make_book):
    other = window().open(make_book(hand="right"), LAY)
    tap_row(other, TICK)
    wrong = export(other)
    third = window().open(make_book(), LAY)
    serial(third, "004")
    article = export(third)
    page = window().open(make_book(), LAY)
    serial(page, "003")
    give(page, wrong)
    assert "WRONG HAND" in notices(page)[0] and "Nothing was taken over" in notices(page)[0]
    press(page, "OK")
    give(page, article)
    assert "ANOTHER ARTICLE: the record is of No. 004, this one is No. 003" in notices(page)[0]
    press(page, "Open it as a record of its own")
    assert until(lambda: page.text("#serial") == "No. 004")
    press(page, "OK")
    page.turn("p-cover")
    until(lambda: page.all("#articles button"))[0].click()
    assert until(lambda: page.text("#serial") == "No. 003")


def test_each_article_has_a_record_of_its_own(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    serial(page, "001")
    page.find("[data-do=new-record]").click()
    assert until(lambda: page.text("#serial") == "no serial number yet")
    press(page, "OK")
    assert not page.find(TICK).is_selected()
    serial(page, "002")
    page.driver.refresh()
    assert page.text("#serial") == "No. 002" and not page.find(TICK).is_selected()
    until(lambda: page.all("#articles button"))[0].click()
    assert until(lambda: page.text("#serial") == "No. 001")
    assert page.find(TICK).is_selected()


def test_undo_takes_back_the_last_deed_and_the_history_keeps_it(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    tap_row(page, TICK)  # ticked again later, the first time would be gone
    assert not page.find(TICK).is_selected()
    page.find("#undo").click()
    assert page.find(TICK).is_selected()
    page.find("#undo").click()
    assert until(lambda: not page.find(TICK).is_selected())
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-do=page-history]").click()
    rows = [e.text for e in page.all(".sheet .history li")]
    assert len(rows) == 4 and "taken back" in rows[0]


def test_a_changed_record_is_refused_its_changed_entries_and_told(window, make_book, tmp_path):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    fill(page, ROOM, "25")
    raw = json.loads(export(page).read_text())
    assert not read_record(json.dumps(raw).encode()).faults
    index = next(k for k, e in enumerate(raw["entries"]) if e["field"] == "lay-p1.room")
    forged = [json.loads(json.dumps(raw)) for _ in range(4)]
    forged[0]["entries"][index]["value"] = "20"  # made to lie within limits
    forged[1]["entries"][index]["at"] = "2026-01-01T10:00:00+01:00"
    del forged[2]["entries"][0]
    forged[3]["serial"] = "007"
    for case in forged:
        assert read_record(json.dumps(case).encode()).faults
    path = tmp_path / "forged.json"
    path.write_text(json.dumps(forged[0]))
    fresh = window().open(make_book(), LAY)
    give(fresh, path)
    assert "CHANGED OR DAMAGED: 1 of its entries" in notices(fresh)[0]
    press(fresh, "Leave things as they are")
    assert not fresh.find(TICK).is_selected()


def test_a_newer_record_in_the_browser_is_left_alone_and_told(window, make_book):
    page = window().open(make_book(), LAY)
    name = 'plybook/3/["KT-100","left"]/x/y'
    page.js("""
        const part = JSON.parse(document.getElementById("book").textContent).part;
        localStorage.setItem("plybook/3/" + JSON.stringify([part, "left"]) + "/x/y", "later");
    """)
    page.driver.refresh()
    assert "another version of the booklet" in notices(page)[0]
    press(page, "OK")
    tap_row(page, TICK)
    kept = page.js("return Object.entries(localStorage).find(([n]) => n.startsWith('plybook/3/'))")
    assert kept and kept[1] == "later", name


def test_a_damaged_entry_is_kept_aside_and_goes_out(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    page.js("""
        const name = Object.keys(localStorage).find((n) => /[0-9a-f]{64}$/.test(n) &&
            localStorage.getItem(n).includes("lay-p1.angle"));
        localStorage.setItem(name, "{damaged");
    """)
    page.driver.refresh()
    assert "1 stored entries cannot be read" in notices(page)[0]
    press(page, "OK")
    assert not page.find(TICK).is_selected()
    assert json.loads(export(page).read_text())["aside"] == ["{damaged"]


def test_a_full_storage_is_told_and_leaving_is_warned_of(window, make_book):
    page = window()
    page.before("""
        Storage.prototype.setItem = function () {
            throw new DOMException("full", "QuotaExceededError");
        };
    """)  # fmt: skip
    page.open(make_book(), LAY)
    tap_row(page, TICK)
    assert "NOT BEING KEPT: the browser's storage is full" in page.text("#state")
    leaving = """
        const e = new Event("beforeunload", { cancelable: true });
        window.dispatchEvent(e);
        return e.defaultPrevented;
    """
    assert page.js(leaving) is True
    record = read_record(export(page).read_bytes())
    assert record.done("lay-p1.angle")
    assert until(lambda: page.js(leaving) is False)  # it has gone out


def test_a_note_is_kept_whole_and_typing_survives_a_reload(window, make_book):
    words = "line of a long note, " * 1000
    page = window().open(make_book(), "p-record")
    page.js("""
        const area = document.querySelector('textarea[data-field="record.notes"]');
        area.focus();
        area.value = arguments[0];
        area.dispatchEvent(new Event("input", { bubbles: true }));
    """, words)  # fmt: skip
    page.driver.refresh()
    assert page.find('textarea[data-field="record.notes"]').get_attribute("value") == words
    assert read_record(export(page).read_bytes()).words("record.notes") == words.strip()


def test_a_tick_in_one_tab_leaves_the_text_in_another_alone(window, make_book):
    page = window().open(make_book(), LAY)
    first = page.driver.current_window_handle
    page.driver.switch_to.new_window("tab")
    page.open(make_book(), LAY)
    second = page.driver.current_window_handle
    box = page.find(ROOM)
    page.js("arguments[0].scrollIntoView({block: 'center'})", box)
    box.send_keys("1")
    page.driver.switch_to.window(first)
    tap_row(page, TICK)
    page.driver.switch_to.window(second)
    assert until(lambda: page.find(TICK).is_selected())
    assert page.js("return document.activeElement.dataset.field") == "lay-p1.room"
    assert page.find(ROOM).get_attribute("value") == "1"


def test_a_clock_set_back_neither_revives_a_limit_nor_goes_unsaid(window, make_book):
    page = window().open(make_book(), LAY)
    page.find('[data-timer="lay-p1.pot"] .start').click()
    page.before("""
        window.trueNow = window.trueNow || Date.now;
        Date.now = () => window.trueNow() + (window.ahead === undefined ? 3600000 : window.ahead);
    """)  # fmt: skip
    page.driver.refresh()
    assert until(lambda: page.all(".up") or "LIMIT" in page.text(".bar"))
    tap_row(page, TICK)
    page.js("window.ahead = -3600000")  # set back two hours while the page is open
    page.js("document.querySelector('.card.here h2').click()")
    assert until(lambda: page.all(".up") or "LIMIT" in page.text(".bar"))
    page.before("window.ahead = -3600000;")
    page.driver.refresh()
    assert any("CLOCK OF THIS DEVICE IS BEHIND" in n for n in notices(page))


@pytest.mark.parametrize("count", [5000])
def test_five_thousand_entries_open_and_take_one_more(window, make_book, count):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    device = Device(know=json.loads(export(page).read_text())["entries"])
    for entry in list(device.entries.values()):
        start = entry["name"]
    lines, prev = [], [start]
    from tests.record.bench import named

    for k in range(count):
        entry = named({"at": "2026-05-04T10:21:00+02:00", "by": "RL", "device": "d", "how": "",
                       "field": f"hours.{k}", "over": [], "prev": prev,
                       "value": {"task": "Cutting", "who": "RL"}})  # fmt: skip
        prev = [entry["name"]]
        lines.append([entry["name"], json.dumps({k: v for k, v in entry.items() if k != "name"})])
    page.js("""
        const own = Object.keys(localStorage).find((n) => /[0-9a-f]{64}$/.test(n));
        const start = own.slice(0, -64);
        for (const [name, text] of arguments[0]) localStorage.setItem(start + name, text);
    """, lines)  # fmt: skip
    page.turn(LAY)
    page.driver.refresh()
    assert page.find(TICK).is_selected()
    tap_row(page, 'input[data-field="lay-p1.lines"]')
    page.driver.refresh()
    assert page.find('input[data-field="lay-p1.lines"]').is_selected()
    assert page.js("return Object.keys(localStorage).length") > count


@pytest.mark.parametrize(
    ("frame", "words"),
    [({"plybook_record": 1, "fields": {"lay-p1.angle": {"value": True}}}, "an earlier form"),
     ({"plybook_record": 3, "entries": []}, "a newer form"),
     ({"plybook_record": 2, "part": "KT-210", "hand": "left", "entries": []}, "is empty")],
)  # fmt: skip
def test_a_record_of_another_form_or_without_entries_changes_nothing(
    window, make_book, tmp_path, frame, words
):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    before = page.js("return JSON.stringify(localStorage)")
    path = tmp_path / "other.json"
    path.write_text(json.dumps(frame))
    give(page, path)
    said = notices(page)[0]
    assert words in said and ("Nothing was taken over" in said or "cannot read" in said)
    press(page, "OK")
    assert page.find(TICK).is_selected()
    assert page.js("return JSON.stringify(localStorage)") == before


def test_what_a_truly_full_storage_refused_is_kept_once_there_is_room(window, make_book):
    """Chromium keeps some 5 million letters for one address."""
    page = window().open(make_book(), LAY)
    page.js("""
        for (let size = 1 << 22; size; size >>= 1)
            try {
                for (;;) localStorage.setItem("other/" + Math.random(), "x".repeat(size));
            } catch (e) { /* the next smaller one */ }
    """)
    tap_row(page, TICK)
    assert "NOT BEING KEPT: the browser's storage is full" in page.text("#state")
    page.js("Object.keys(localStorage).filter((n) => n.startsWith('other/'))"
            ".forEach((n) => localStorage.removeItem(n))")  # fmt: skip
    tap_row(page, 'input[data-field="lay-p1.lines"]')
    assert until(lambda: page.text("#state") == "Ticks are kept in this browser on this device.")
    page.driver.refresh()
    for name in ("angle", "lines"):
        assert page.find(f'input[data-field="lay-p1.{name}"]').is_selected(), name


def test_each_of_two_people_is_named_where_they_disagree(window, make_book):
    one, two = window().open(make_book(), LAY), window().open(make_book(), LAY)
    for page, who, degrees in ((one, "RL", "19"), (two, "MK", "21")):
        page.turn("p-lay-p2")
        fill(page, 'input[data-field="lay-p2.initials"]', who)
        page.js("document.activeElement.blur(); location.hash = arguments[0]", LAY)
        until(lambda page=page: page.find(ROOM).is_displayed())
        fill(page, ROOM, degrees)
    give(two, export(one))
    press(two, "Decide now")
    sides = {side.text for side in two.all("#conflicts .sides > div")}
    assert any("19" in s and "RL" in s for s in sides)
    assert any("21" in s and "MK" in s for s in sides)


def test_a_time_entered_again_and_a_timer_begun_again_leave_the_first_in_the_history(
    window, make_book
):
    page = window().open(make_book(), LAY)
    pot = '[data-timer="lay-p1.pot"]'
    page.find(f"{pot} .start").click()
    first = until(lambda: page.text(f"{pot} .says"))
    page.before("""
        window.trueNow = window.trueNow || Date.now;
        Date.now = () => window.trueNow() + 3000000;
    """)
    page.driver.refresh()
    page.find(f"{pot} .stop").click()
    page.find(f"{pot} .start").click()
    assert until(lambda: page.text(f"{pot} .says")) != first
    page.find("#undo").click()
    page.find("#undo").click()
    assert until(lambda: page.text(f"{pot} .says")[:13]) == first[:13]  # started at
    log = read_record(export(page).read_bytes()).log
    assert len(log.history("timer.lay-p1.pot")) == 5


def test_a_deviation_taken_out_comes_back_with_undo(window, make_book):
    page = window().open(make_book(), LAY)
    page.find(f"#{LAY} .more summary").click()
    page.find(f"#{LAY} [data-add=deviations]").click()
    fill(page, f'#{LAY} [data-cell="what"]', "patched")
    page.find(f"#{LAY} .entry .drop").click()
    assert until(lambda: not page.all(f"#{LAY} .entry"))
    page.find("#undo").click()
    box = until(lambda: page.find(f'#{LAY} [data-cell="what"]'))
    assert box.get_attribute("value") == "patched"


def test_the_history_is_read_from_its_top_in_words(window, make_book):
    page = window().open(make_book(), LAY)
    page.find('[data-timer="lay-p1.pot"] .start').click()
    for name in ("angle", "lines") * 4:
        tap_row(page, f'input[data-field="lay-p1.{name}"]')
    page.size(390, 500)
    page.js("document.querySelector('.here [data-do=page-history]').click()")
    assert page.js("return document.activeElement.tagName") == "H2"
    assert page.js("return document.querySelector('.sheet').scrollTop") == 0
    last = page.all(".sheet .history li")[-1].text
    assert "started " in last and "until " in last and "kind" not in last
