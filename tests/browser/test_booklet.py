"""The HTML booklet in a real browser: what is ticked stays ticked, times run on, nothing leaks."""

import base64
import re
import time
from dataclasses import replace

import pytest

from plybook.drawing.book import booklet
from plybook.record import read_record
from plybook.write.book_pdf import book_pdf
from tests.browser.chrome import until
from tests.drawing import doubles

LAY = "p-lay-p1"
TICK = 'input[data-field="lay-p1.angle"]'
ROOM = 'input[data-field="lay-p1.room"]'
WAX = '[data-timer="mould-wax.wait"]'


def tap_row(page, css):
    """Tap the words beside a checkbox, not the box itself."""
    page.js("arguments[0].scrollIntoView({block: 'center'})", page.find(css))
    page.find(f"label:has({css}) .words").click()


def fill(page, css, words):
    box = page.find(css)
    page.js("arguments[0].scrollIntoView({block: 'center'})", box)
    box.clear()
    box.send_keys(words)


def export(page):
    """Press export and give the downloaded file; an empty one holds its place until it is whole."""
    page.turn("p-record")
    page.find("[data-do=export]").click()
    return until(lambda: next((f for f in page.downloads.glob("*.json") if f.stat().st_size), None))


def give(page, path):
    page.turn("p-record")
    page.find("[data-do=import]").send_keys(str(path))


def press(page, label):
    """Press a button of the notice on the page."""
    until(lambda: [b for b in page.all(".notice button") if b.text == label])[0].click()


def notices(page):
    return until(lambda: [n.text for n in page.all(".notice")])


def test_a_tick_and_its_time_survive_a_reload(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    fill(page, ROOM, "21.5")
    page.driver.refresh()
    assert page.find(TICK).is_selected()
    assert re.match(r"ticked \d\d:\d\d on \d{4}-\d\d-\d\d", page.text(f"label:has({TICK}) .when"))
    assert page.find(ROOM).get_attribute("value") == "21.5"
    tap_row(page, TICK)
    page.driver.refresh()
    assert not page.find(TICK).is_selected()
    assert page.complaints() == []


def test_one_card_shows_at_a_time_and_the_buttons_turn_it(window, make_book):
    page = window().open(make_book())

    def shown():
        return [c.get_attribute("id") for c in page.all(".card") if c.is_displayed()]

    assert shown() == ["p-cover"]
    page.find(".card.here .next").click()
    assert until(lambda: shown() == ["p-before"])
    page.find(".card.here .back").click()
    assert until(lambda: shown() == ["p-cover"])
    page.list_pages()
    page.find('.contents a[href="#p-jig"]').click()
    assert until(lambda: shown() == ["p-jig"])
    page.driver.back()
    assert until(lambda: shown() == ["p-cover"])


@pytest.mark.parametrize(
    ("value", "words"),
    [("20", "IN"), ("23,0", "IN"), ("23.5", "OUT: too high by 0.5 °C"), ("16", "OUT: too low by"),
     ("warm", "NOT A NUMBER")],
)  # fmt: skip
def test_a_measured_value_is_judged_in_words(window, make_book, value, words):
    page = window().open(make_book(), LAY)
    fill(page, ROOM, value)
    assert page.text(f".blank:has({ROOM}) .verdict").startswith(words)


def set_clock(page, seconds):
    """Open the page anew on a device whose clock is that much ahead."""
    page.before(
        f"""
        window.trueNow = window.trueNow || Date.now;
        Date.now = () => window.trueNow() + {1000 * seconds};
    """,
    )
    page.driver.refresh()


def test_a_limit_warns_before_it_is_reached(window, make_book):
    page = window().open(make_book(), LAY)
    page.find('[data-timer="lay-p1.pot"] .start').click()  # 40 minutes
    assert until(lambda: page.text("#timer-line strong").startswith("39:"))
    set_clock(page, 2160)
    assert until(lambda: re.fullmatch(r"ONLY 0[34]:\d\d", page.text("#timer-line strong")))
    set_clock(page, 2460)
    assert until(lambda: "LIMIT REACHED" in page.text(".run-line.up"))


def test_a_timer_runs_on_over_a_reload_and_ends_in_words(window, make_book):
    page = window().open(make_book(), "p-mould-wax")
    page.find(f"{WAX} .start").click()
    before = until(lambda: page.text("#timer-line strong"))
    assert re.fullmatch(r"59:5\d|1:00:00", before)
    page.driver.refresh()
    assert until(lambda: re.fullmatch(r"59:[45]\d", page.text("#timer-line strong")))
    assert page.text(f"{WAX} .says").startswith("started ")
    set_clock(page, 3600)  # an hour later, as after the device slept
    assert until(lambda: "WAIT IS OVER" in page.text(".run-line"))
    assert page.find(".run-line.up").get_attribute("role") == "alert"
    assert page.driver.title.startswith("TIME IS UP")
    page.find("#timer-deeds button").click()
    assert until(lambda: not page.find("#running").is_displayed())
    assert "ran to its end" in page.text(f"{WAX} .says")


def test_without_sound_and_wake_lock_a_timer_still_ends_in_words(window, make_book):
    """A browser that has neither says so, keeps its timers and complains of nothing."""
    page = window()
    page.before("""
        delete window.AudioContext; delete window.webkitAudioContext;
        delete Navigator.prototype.wakeLock;
    """)  # fmt: skip
    page.open(make_book(), "p-mould-wax")
    assert "cannot hold it" in page.text("#awake")
    page.find(f"{WAX} .start").click()
    assert until(lambda: page.find("#quiet").is_displayed())  # it says that it will not sound
    set_clock(page, 3600)
    assert until(lambda: "WAIT IS OVER" in page.text(".run-line"))
    assert page.complaints() == []


def test_sound_and_wake_lock_are_asked_for_and_asked_for_again_on_return(window, make_book):
    """The lock is lost when the page is hidden; coming back asks for it anew. Three tones sound
    when a time is up."""
    page = window()
    page.before("""
        window.asked = 0; window.tones = 0;
        const lock = () => Object.assign(new EventTarget(), { released: false });
        Object.defineProperty(Navigator.prototype, "wakeLock", { configurable: true, get: () => ({
            request: async () => { window.asked += 1; return (window.lock = lock()); } }) });
        window.AudioContext = class {
            state = "running"; currentTime = 0; destination = {};
            createGain() { return { gain: {}, connect() {} }; }
            createOscillator() {
                const start = () => { window.tones += 1; };
                return { frequency: {}, connect: (g) => g, stop() {}, start };
            }
            resume() {}
        };
    """)  # fmt: skip
    page.open(make_book(), "p-mould-wax")
    assert until(lambda: page.text("#awake") == "The screen stays on.")
    assert page.js("return window.asked") == 1
    page.js("window.lock.released = true; window.lock.dispatchEvent(new Event('release'))")
    assert page.text("#awake") == "The screen may go dark."
    page.js("document.dispatchEvent(new Event('visibilitychange'))")
    assert until(lambda: page.js("return window.asked") == 2)
    assert until(lambda: page.text("#awake") == "The screen stays on.")
    page.find(f"{WAX} .start").click()
    assert not page.find("#quiet").is_displayed()
    set_clock(page, 3600)
    page.find(f"{WAX}").click()  # sound may start only after a touch
    assert until(lambda: page.js("return window.tones") >= 3)


def test_a_book_open_in_two_tabs_does_not_forget_what_the_other_ticked(window, make_book):
    page = window().open(make_book(), LAY)
    first = page.driver.current_window_handle
    page.driver.switch_to.new_window("tab")
    page.open(make_book(), LAY)
    tap_row(page, TICK)
    page.driver.switch_to.window(first)
    assert until(lambda: page.find(TICK).is_selected())
    tap_row(page, 'input[data-field="lay-p1.lines"]')
    page.driver.refresh()
    assert page.find(TICK).is_selected()


def test_two_timers_run_side_by_side(window, make_book):
    page = window().open(make_book(), "p-mould-wax")
    page.find(f"{WAX} .start").click()
    page.turn("p-lay-p1")
    page.find('[data-timer="lay-p1.pot"] .start').click()
    page.find("#timer-line").click()
    assert until(lambda: len(page.all(".run")) == 2)


def test_the_record_goes_out_and_comes_in_again_in_another_browser(window, make_book):
    first = window().open(make_book(), LAY)
    tap_row(first, TICK)
    fill(first, ROOM, "19")
    fill(first, 'input[data-field="lay-p1.initials"]', "RL")
    first.find(f"#{LAY} .more summary").click()
    first.find(f"#{LAY} [data-add=deviations]").click()
    fill(first, f'#{LAY} [data-cell="what"]', doubles.NASTY[0])
    path = export(first)
    record = read_record(path.read_bytes())
    assert record.done("lay-p1.angle") and record.words("lay-p1.room") == "19"
    assert record.deviations[0].what == doubles.NASTY[0]
    assert record.deviations[0].step == "Lay P1 at +45°"
    second = window().open(make_book(), LAY)
    assert not second.find(TICK).is_selected()
    give(second, path)
    assert "Taken over" in notices(second)[0]
    assert second.find(TICK).is_selected()
    assert second.find(ROOM).get_attribute("value") == "19"
    box = second.find('#deviations [data-cell="what"]')
    assert box.get_attribute("value") == doubles.NASTY[0]
    second.driver.refresh()
    assert second.find(TICK).is_selected()


def test_a_record_of_another_revision_is_told_and_taken_only_when_asked(window, make_book):
    old = window().open(make_book(revision="A"), LAY)
    tap_row(old, TICK)
    path = export(old)
    page = window().open(make_book(), LAY)
    give(page, path)
    assert "REVISION MISMATCH" in notices(page)[0]
    assert not page.find(TICK).is_selected()
    press(page, "Leave things as they are")
    assert not page.find(TICK).is_selected()
    give(page, path)
    press(page, "Take it over")
    assert page.find(TICK).is_selected()


def test_a_record_of_another_part_or_no_record_is_refused(window, make_book, tmp_path):
    other = window().open(make_book(number="KT-999"), LAY)
    tap_row(other, TICK)
    path = export(other)
    page = window().open(make_book(), LAY)
    give(page, path)
    assert "KT-999" in notices(page)[0] and "Nothing was taken over" in notices(page)[0]
    press(page, "OK")
    for k, data in enumerate((b"{", b'{"plybook_record": []}', b"\x00\xff", b"[]")):
        bad = tmp_path / f"bad{k}.json"
        bad.write_bytes(data)
        give(page, bad)
        assert "not a record" in notices(page)[0]
        press(page, "OK")
    assert not page.find(TICK).is_selected()


def test_a_changed_step_is_open_again_and_an_unchanged_one_keeps_its_tick(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    page.turn("p-lay-r1")
    tap_row(page, 'input[data-field="lay-r1.angle"]')
    shop = doubles.shop()
    stages = list(shop.stages)
    changed = replace(stages[1].steps[0], id="lay-p1-b", title="Lay P1 at +45°, dry")
    stages[1] = replace(stages[1], steps=(changed, *stages[1].steps[1:]))
    anew = make_book(shop=replace(shop, stages=tuple(stages)))
    page.open(anew, "p-lay-p1-b")
    assert "plan has been made anew" in notices(page)[0] and "open again" in notices(page)[0]
    assert not page.find('input[data-field="lay-p1-b.angle"]').is_selected()
    assert page.find('input[data-field="lay-r1.angle"]').is_selected()


def test_entries_of_an_earlier_revision_are_offered_and_not_taken_silently(window, make_book):
    page = window().open(make_book(revision="A"), LAY)
    tap_row(page, TICK)
    page.open(make_book(), LAY)
    assert "REVISION MISMATCH" in notices(page)[0]
    assert not page.find(TICK).is_selected()
    press(page, "Go on with them in this revision")
    assert page.find(TICK).is_selected()


def test_without_storage_the_page_works_and_says_that_ticks_are_lost(window, make_book):
    page = window(storage=False).open(make_book(), LAY)
    tap_row(page, TICK)
    assert page.find(TICK).is_selected()
    assert "NOT BEING KEPT" in page.text("#state")
    record = read_record(export(page).read_bytes())
    assert record.done("lay-p1.angle")


def test_with_storage_the_page_says_that_ticks_are_kept(window, make_book):
    page = window().open(make_book(), LAY)
    assert page.text("#state") == "Ticks are kept in this browser on this device."


def test_without_scripting_every_page_can_be_read_and_the_page_says_so(window, make_book):
    page = window(scripting=False)
    page.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    page.open(make_book())
    assert "Scripting is off" in page.text("noscript")
    cards = page.all(".card")
    assert len(cards) > 20 and all(c.is_displayed() for c in cards)
    assert not any(b.is_displayed() for b in page.all("button"))


def printed(page):
    data = page.driver.execute_cdp_cmd(
        "Page.printToPDF", {"preferCSSPageSize": False, "paperWidth": 8.27, "paperHeight": 11.69}
    )["data"]
    import pypdfium2

    pdf = pypdfium2.PdfDocument(base64.b64decode(data))
    return [pdf[k].get_textpage().get_text_range() for k in range(len(pdf))]


def paper_pages():
    """Sheets of the paper book of the same skin."""
    import pypdfium2

    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    parts = (doubles.spec(), face, laminate, doubles.cut_plan(laminate), doubles.shop())
    return len(pypdfium2.PdfDocument(book_pdf(booklet(*parts))))


def test_it_prints_every_page_filled_in(window, make_book):
    page = window().open(make_book(), LAY)
    tap_row(page, TICK)
    fill(page, 'input[data-field="lay-p1.lot"]', "ROLL 4711")
    fill(page, ROOM, "26.5")
    page.turn("p-record")
    fill(page, 'textarea[data-field="record.notes"]', "\n".join(f"line {k}" for k in range(30)))
    words_of_lot = "ROLL 4711, " + "from the second crate, " * 12 + "end of the lot"
    page.turn(LAY)
    fill(page, 'input[data-field="lay-p1.lot"]', words_of_lot)
    page.turn("p-lots")
    fill(page, 'input[data-field="record.lot.carbon-twill-200"]', "HELD-1")
    page.turn("p-cover")
    fill(page, 'input[data-field="article.serial"]', "#7")
    page.js("document.activeElement.blur()")
    texts = printed(page)
    for number, text in enumerate(texts, start=1):  # each sheet says what it is of
        told = " ".join(text.split())
        assert f"{number} of {len(texts)}" in told and "revision B, No. #7" in told, number
    # a lot that holds for the part stands on its own page and at all its steps, opened or not
    steps = "[data-offers='carbon-twill-200']:not([data-field='lay-p1.lot'])"
    assert {e.get_attribute("data-field") for e in page.all(steps)} == {"lay-p2.lot", "lay-q1.lot"}
    assert " ".join(texts).count("HELD-1") == 1 + 2
    assert "end of the lot" in " ".join(" ".join(texts).split())  # no text is cut off
    assert len(texts) <= 1.1 * paper_pages()
    words = "\n".join(texts)
    assert "ROLL 4711" in words
    assert "ticked " in words
    assert "OUT: too high by 3.5 °C" in words
    assert "line 0" in words and "line 29" in words  # a long note is not cut off
    for title in ("What to have at hand", "Cut list", "Let in hardpoint H1", "Jig card"):
        assert title in words
    assert "Export the" not in words and "All pages and steps" not in words


@pytest.mark.parametrize("width", [360, 1024])
def test_no_card_scrolls_sideways(window, make_book, width):
    page = window()
    page.size(width, 740)
    page.open(make_book())
    for card in page.all(".card"):
        name = card.get_attribute("id")
        page.turn(name)
        wide = page.js("return document.documentElement.scrollWidth")
        assert wide <= width, f"{name} is {wide} px wide"


@pytest.mark.parametrize("width", [360, 1024])
def test_what_is_tapped_is_large_and_what_is_read_is_large(window, make_book, width):
    page = window()
    page.size(width, 740)
    page.open(make_book(), LAY)
    small = page.js("""
        const out = [];
        for (const e of document.querySelectorAll(
                ".here .tick, .here button, .here .button, .here .blank input, .bar button")) {
            if (!e.offsetParent) continue;
            const least = e.closest(".bar-row") ? 48 : 64;
            const tall = e.getBoundingClientRect().height;
            if (tall < least) out.push(e.className + " " + e.textContent);
        }
        for (const e of document.querySelectorAll(
                ".here li, .here .tick .words, .here .caution p, .here .timer .words")) {
            if (parseFloat(getComputedStyle(e).fontSize) < 24) out.push(e.textContent);
        }
        return out;
    """)
    assert small == []


def test_words_stand_out_seven_to_one(window, make_book):
    """Contrast as WCAG 2.1 defines it: (L1 + 0.05) / (L2 + 0.05) of relative luminances."""
    page = window().open(make_book(), LAY)
    pairs = page.js("""
        const out = [];
        for (const e of document.querySelectorAll(".here *, .bar *, footer *")) {
            if (!e.textContent.trim() || e.closest("svg")) continue;
            let back = e, colour = "rgba(0, 0, 0, 0)";
            while (back && colour === "rgba(0, 0, 0, 0)") {
                colour = getComputedStyle(back).backgroundColor; back = back.parentElement;
            }
            if (colour === "rgba(0, 0, 0, 0)") colour = "rgb(255, 255, 255)";
            out.push([getComputedStyle(e).color, colour, e.textContent.slice(0, 40)]);
        }
        return out;
    """)
    assert len(pairs) > 50
    for ink, ground, words in pairs:
        light, dark = sorted((luminance(ink), luminance(ground)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 7.0, (ink, ground, words)


def luminance(colour):
    parts = [int(n) / 255 for n in re.findall(r"\d+", colour)[:3]]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_it_can_be_followed_with_the_keyboard_alone(window, make_book):
    from selenium.webdriver import ActionChains, Keys

    page = window().open(make_book())

    def press_key(*keys):
        for key in keys:
            ActionChains(page.driver).send_keys(key).perform()

    def here():
        return page.find(".card.here").get_attribute("id")

    press_key(Keys.ARROW_RIGHT)
    assert until(lambda: here() == "p-before")
    press_key(Keys.ARROW_LEFT)
    assert until(lambda: here() == "p-cover")
    page.turn("p-lay-p1")
    assert until(lambda: page.driver.switch_to.active_element.tag_name == "h2")
    for _ in range(60):
        press_key(Keys.TAB)
        focused = page.driver.switch_to.active_element
        if focused.get_attribute("data-field") == "lay-p1.angle":
            break
    else:
        raise AssertionError("the tick is not reached with the tab key")
    press_key(Keys.SPACE)
    assert page.find(TICK).is_selected()
    ring = page.js("return getComputedStyle(document.activeElement).outlineStyle")
    assert ring == "solid"  # what has the focus shows it
    for _ in range(60):
        press_key(Keys.TAB)
        if "next" in page.driver.switch_to.active_element.get_attribute("class").split():
            break
    press_key(Keys.ENTER)  # first it says what is still open
    assert "Still open" in until(lambda: page.text(".here .passing"))
    press_key(Keys.ENTER)
    assert until(lambda: here() == "p-lay-p2")


def test_nothing_is_asked_of_a_network(window, make_book):
    page = window()
    path = make_book()
    page.requests()
    page.open(path, LAY)
    tap_row(page, TICK)
    page.find('[data-timer="lay-p1.pot"] .start').click()
    for name in ("p-record", "p-cover"):
        page.turn(name)
    export(page)
    page.js("location.reload()")
    time.sleep(0.5)
    asked = [u for u in page.requests() if not u.startswith(("data:", "blob:", "about:"))]
    assert set(asked) == {path.as_uri()}
    assert page.complaints() == []


def test_the_content_policy_refuses_what_was_not_inlined(window, make_book):
    page = window().open(make_book())
    page.js("""
        const s = document.createElement("script");
        s.textContent = "window.intruded = true";
        document.body.append(s);
        new Image().src = "http://127.0.0.1:9/x.png";
        fetch("http://127.0.0.1:9/").catch(() => {});
    """)
    assert page.js("return window.intruded") is None
    said = until(lambda: [c for c in page.complaints() if "Content Security Policy" in c])
    assert said


def test_hostile_words_are_shown_as_words(window, make_book):
    shop = doubles.shop()
    first = shop.stages[0].steps[0]
    step = replace(
        first, title=doubles.NASTY[2], text=doubles.NASTY,
        checks=tuple(replace(c, text=words) for c, words in zip(first.checks, doubles.NASTY,
                                                                strict=False)),
    )  # fmt: skip
    stages = (replace(shop.stages[0], steps=(step,), title=doubles.NASTY[1]), *shop.stages[1:])
    path = make_book(
        shop=replace(shop, stages=stages), number='KT"</script>', name=doubles.NASTY[0],
        notes=doubles.NASTY, revision="<b>&\u2028",
    )  # fmt: skip
    page = window().open(path, "p-mould-wax")
    assert page.js("return [...document.scripts].length") == 2
    words = [item.text for item in page.all(".here li")]
    assert [" ".join(w.split()) for w in words] == [" ".join(n.split()) for n in doubles.NASTY]
    assert page.all(".here b") == [] and page.all(".here a[href^=javascript]") == []
    tap_row(page, 'input[data-field="mould-wax.coats"]')
    page.driver.refresh()
    assert page.find('input[data-field="mould-wax.coats"]').is_selected()
    assert page.complaints() == []
