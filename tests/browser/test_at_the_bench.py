"""The booklet at the bench: timers that leave room to work, the way found, drawings read at arm's
length, a page for everyone."""

import re
import time

import pytest

from tests.browser.chrome import until
from tests.browser.shops import CUPS
from tests.browser.test_booklet import fill, luminance, set_clock, tap_row

SCREENS = [(360, 740), (768, 1024), (1024, 768), (1280, 800)]


def cards(page):
    """Turn to every card, one after another."""
    for name in page.js("return [...document.querySelectorAll('.card')].map((c) => c.id)"):
        page.turn(name)
        yield name


def press(page, place, words):
    """Press the button of these words in a place."""
    until(lambda: [b for b in page.all(f"{place} button") if b.text == words])[0].click()


def mix_all(page):
    for cup in CUPS:
        page.turn("p-lay-p1" if cup <= "Cup 4" else "p-lay-p2")
        page.js("document.querySelector(`[data-cup='${arguments[0]}'] .deeds button`).click()", cup)


def test_one_tap_mixes_a_cup_and_the_first_one_starts_the_vacuum_by(window, wet):
    page = window().open(wet, "p-lay-p1")
    press(page, "[data-cup='Cup 1']", "Mixed")
    mixed = page.find("[data-field='lay-p1.Cup 1.mixed']").get_attribute("value")
    assert re.match(r"\d\d:\d\d on \d{4}-", mixed)
    assert until(lambda: page.text("#timer-line strong")) in ("10:00", "09:59")
    assert "Cup 1: in the tray, until" in page.text("#timer-line span")
    page.find("#timer-line").click()
    assert until(lambda: "Vacuum on, from the first cup, until" in page.text("#timer-list"))
    press(page, "#head", "Undo")  # one deed: all three are taken back
    assert page.find("[data-field='lay-p1.Cup 1.mixed']").get_attribute("value") == ""
    assert until(lambda: not page.find("#running").is_displayed())
    assert page.complaints() == []


def test_a_cup_is_mixed_emptied_and_finished_from_any_page(window, wet):
    page = window().open(wet, "p-lay-p1")
    press(page, "[data-cup='Cup 1']", "Mixed")
    page.turn("p-lay-r2")
    page.find("#timer-line").click()
    press(page, "[data-run='lay-p1.lay-p1.Cup 1']", "In the tray")
    assert until(lambda: "Cup 1: all of it on" in page.text("#timer-list"))
    press(page, "[data-run='lay-p1.lay-p1.Cup 1']", "All on")
    press(page, "[data-run='lay-p1.lay-p1.Cup 2']", "Mixed")
    assert until(lambda: "Cup 2: in the tray" in page.text("#timer-line span"))
    page.find("[data-run='lay-p1.lay-p1.Cup 2'] a").click()
    assert until(lambda: page.find("#p-lay-p1").is_displayed())
    assert not page.find("#timer-list").is_displayed()  # it would lie over the page
    assert "all on " in page.text("[data-cup='Cup 1'] .says")
    assert page.find("[data-field='lay-p1.Cup 2.mixed']").get_attribute("value")


def test_an_answered_alarm_leaves_its_cup_open(window, wet):
    page = window().open(wet, "p-lay-p1")
    press(page, "[data-cup='Cup 1']", "Mixed")
    press(page, "#timer-deeds", "In the tray")
    set_clock(page, 2500)
    assert until(lambda: page.text("#timer-line strong") == "LIMIT REACHED")
    assert page.driver.title.startswith("TIME IS UP")
    press(page, "#timer-deeds", "OK")
    assert until(lambda: not page.all(".run-line.up"))
    press(page, "[data-cup='Cup 1']", "All on")
    assert "over its limit" in page.text("[data-cup='Cup 1'] .says")


def test_seven_timers_take_no_more_than_a_fifth_of_any_screen(window, wet):
    page = window().open(wet, "p-lay-p1")
    mix_all(page)
    for wide, high in SCREENS:
        page.size(wide, high)
        tall = page.js("return document.getElementById('running').getBoundingClientRect().height")
        assert 40 <= tall <= high / 5, (wide, high)
    set_clock(page, 9000)
    until(lambda: page.all(".run-line.up"))
    for wide, high in SCREENS:
        page.size(wide, high)
        tall = page.js("return document.getElementById('running').getBoundingClientRect().height")
        assert 40 <= tall <= high / 5, (wide, high, "alarm")


def test_the_head_does_not_grow_over_the_page_at_the_first_entry(window, make_book):
    page = window()
    for wide, high in [*SCREENS, (700, 900), (780, 437)]:
        page.size(wide, high)
        page.open(make_book(), "p-lay-p1")
        page.js("localStorage.clear(); location.reload()")
        high_of = "return document.getElementById('head').getBoundingClientRect().height"
        until(lambda: page.find("#p-lay-p1").is_displayed())
        assert not page.find("#undo").is_displayed()
        before = page.js(high_of)
        tap_row(page, 'input[data-field="lay-p1.angle"]')
        assert until(lambda: page.find("#undo").is_displayed())
        assert page.js(high_of) == before <= 120, (wide, high)


def test_running_timers_change_the_page_only_where_the_time_stands(window, wet):
    """Eight timers over some seconds: the line's figures, nothing of the cards."""
    page = window().open(wet, "p-lay-r3")
    mix_all(page)
    page.js("""
        window.touched = [];
        new MutationObserver((all) => { for (const m of all) {
            const e = m.target.nodeType === 1 ? m.target : m.target.parentElement;
            window.touched.push(e.closest("#timer-line") ? "line" : e.outerHTML.slice(0, 80));
        } }).observe(document.body, { subtree: true, childList: true, attributes: true,
                                      characterData: true });
    """)
    time.sleep(2.5)
    touched = page.js("return window.touched")
    assert touched and set(touched) == {"line"}


def test_an_entry_changes_the_page_only_where_it_counts(window, wet):
    page = window().open(wet, "p-lay-r3")
    tap_row(page, 'input[data-field="lay-r3.lines"]')  # the first entry also names the book
    page.js("""
        window.cards = new Set();
        new MutationObserver((all) => { for (const m of all) {
            const e = m.target.nodeType === 1 ? m.target : m.target.parentElement;
            if (e.closest(".card")) window.cards.add(e.closest(".card").id);
            if (e.closest(".contents li a")) window.cards.add(e.closest("a").hash);
        } }).observe(document.body, { subtree: true, childList: true, characterData: true });
    """)
    tap_row(page, 'input[data-field="lay-r3.angle"]')
    until(lambda: "p-lay-r3" in page.js("return [...window.cards]"))
    # the record's own page shows its seal
    assert set(page.js("return [...window.cards]")) <= {"p-lay-r3", "#p-lay-r3", "p-record"}


def test_next_tells_what_is_open_and_out_before_it_passes(window, make_book):
    page = window().open(make_book(), "p-lay-p1")
    assert page.text(".here .next .left") == "4 still open here"
    fill(page, 'input[data-field="lay-p1.room"]', "31")
    page.find(".here .next").click()
    said = until(lambda: page.text(".here .passing"))
    assert "OUT: Room temperature" in said and "Still open: Fibre at +45°" in said
    page.find(".here .next").click()
    assert until(lambda: page.find("#p-lay-p2").is_displayed())


def test_the_page_opens_at_the_step_to_go_on_with(window, make_book):
    page = window().open(make_book(), "p-lay-p1")
    for name in ("angle", "lines"):
        tap_row(page, f'input[data-field="lay-p1.{name}"]')
    page.open(make_book())
    assert until(lambda: page.find("#p-lay-p1").is_displayed())


def test_the_list_of_pages_says_where_one_is_and_what_is_left(window, wet):
    page = window().open(wet, "p-lay-r1")
    page.list_pages()
    link = until(lambda: page.find(".contents a[href='#p-lay-r1']"))
    assert link.get_attribute("aria-current") == "page"
    top = page.js("return arguments[0].getBoundingClientRect().top", link)
    assert 0 < top < 1000  # in sight without scrolling
    (chip,) = [c for c in page.all(".chips a") if c.get_attribute("aria-current")]
    assert "2. Outer skin" in chip.text and "5 of 5 steps left, planned 1 h 40 min" in chip.text
    titles = [a.text for a in page.all(".contents ol a span:first-child")]
    assert len(set(titles)) == len(titles)
    page.find(".chips a[data-stage='3. Core']").click()
    assert until(lambda: page.find(".here .kicker").text.startswith("Stage 3 of"))


def test_a_laying_step_shows_picture_figures_and_the_first_instruction_at_once(window, wet):
    page = window()
    page.size(1024, 768)
    page.open(wet, "p-lay-p1")
    for css in (".here .seen svg", ".here .seen table", ".here ol.steps li"):
        low = page.js("return arguments[0].getBoundingClientRect().bottom", page.find(css))
        assert low <= 768, css


@pytest.mark.parametrize(("wide", "high"), SCREENS)
def test_letters_of_drawings_are_fourteen_pixels_or_more(window, wet, wide, high):
    page = window()
    page.size(wide, high)
    page.open(wet)
    for name in cards(page):
        least = page.js("""
            const sizes = [...document.querySelectorAll(".here figure svg")].flatMap((svg) => {
                const px = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
                return [...svg.querySelectorAll("text")].map(
                    (t) => px * parseFloat(getComputedStyle(t).fontSize));
            });
            return Math.min(99, ...sizes);
        """)
        assert least >= 13.99, name


def test_a_drawing_fills_the_screen_and_is_enlarged_by_keys_and_fingers(window, wet):
    from selenium.webdriver import ActionChains, Keys

    page = window().open(wet, "p-lay-p1")

    def press_key(key):
        ActionChains(page.driver).send_keys(key).perform()

    def seen():
        return [float(v) for v in page.find(".viewer svg").get_dom_attribute("viewBox").split()]

    page.find(".here .open").send_keys(Keys.ENTER)
    until(lambda: page.all(".viewer svg"))
    whole = seen()
    press_key("+")
    assert seen()[2] == pytest.approx(whole[2] / 1.6, rel=1e-3)
    at = seen()[0]
    press_key(Keys.ARROW_RIGHT)
    assert seen()[0] > at
    press_key("0")
    assert seen() == whole
    page.js("""
        const stage = document.querySelector(".viewer .stage");
        stage.setPointerCapture = () => {};
        const to = (kind, id, x) => stage.dispatchEvent(new PointerEvent(kind,
            { pointerId: id, clientX: x, clientY: 300, bubbles: true }));
        to("pointerdown", 1, 300); to("pointerdown", 2, 400); to("pointermove", 2, 500);
    """)
    assert seen()[2] == pytest.approx(whole[2] / 2, rel=0.01)
    press_key(Keys.ESCAPE)
    assert until(lambda: not page.find(".viewer").is_displayed())
    assert page.find("#p-lay-p1").is_displayed()
    assert page.complaints() == []


def theme(page, name):
    features = [{"name": "prefers-color-scheme", "value": name}]
    page.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})


def ground(page):
    return luminance(page.js("return getComputedStyle(document.body).backgroundColor"))


def test_the_page_is_dark_where_the_device_is_and_where_the_switch_says(window, make_book):
    page = window()
    theme(page, "dark")
    page.open(make_book())
    assert ground(page) < 0.02
    page.list_pages()
    page.find("#look").click()
    page.find("#look").click()
    assert page.text("#look") == "Light or dark: light" and ground(page) > 0.9
    page.driver.refresh()
    assert ground(page) > 0.9


@pytest.mark.parametrize("name", ["light", "dark"])
def test_words_stand_out_seven_to_one_by_day_and_by_night(window, wet, name):
    """Every card, with a running alarm; contrast as WCAG 2.1 defines it."""
    page = window()
    theme(page, name)
    page.open(wet, "p-lay-p1")
    press(page, "[data-cup='Cup 1']", "Mixed")
    fill(page, 'input[data-field="lay-p1.room"]', "31")
    set_clock(page, 2500)
    until(lambda: page.all(".run-line.up"))
    low = set()
    for _ in cards(page):
        pairs = page.js("""
            const out = new Map();
            for (const e of document.querySelectorAll(".here *, .bar *, footer *")) {
                if (!e.offsetParent || e.closest("svg")) continue;
                if (![...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())) continue;
                let back = e, colour = "rgba(0, 0, 0, 0)";
                while (back && colour === "rgba(0, 0, 0, 0)") {
                    colour = getComputedStyle(back).backgroundColor; back = back.parentElement;
                }
                out.set(getComputedStyle(e).color + colour,
                        [getComputedStyle(e).color, colour, e.textContent.slice(0, 30)]);
            }
            return [...out.values()];
        """)
        for ink, behind, words in pairs:
            light, dark = sorted((luminance(ink), luminance(behind)), reverse=True)
            if (light + 0.05) / (dark + 0.05) < 7.0:
                low.add((ink, behind, words))
    assert low == set()


def test_layouts_are_marked_out_and_lead_to_the_templates(window, wet):
    page = window().open(wet)
    tables = [t for t in page.all(".layout table caption")]
    assert tables and all("Mark-out of" in t.get_attribute("textContent") for t in tables)
    links = {a.get_attribute("href").rpartition("/")[2] for a in page.all(".files a")}
    assert {"P1-1.svg", "C1-1.svg"} <= links
    assert all(a.get_attribute("rel") == "noopener" for a in page.all(".files a"))


def test_the_line_counts_what_runs(window, wet):
    page = window().open(wet, "p-lay-p1")
    press(page, "[data-cup='Cup 1']", "Mixed")
    assert until(lambda: page.text("#timer-line span").endswith("(1 cup, 1 time)"))  # vacuum by
    press(page, "[data-cup='Cup 2']", "Mixed")
    assert until(lambda: page.text("#timer-line span").endswith("(2 cups, 1 time)"))
    page.turn("p-mould-wax")
    page.find("#p-mould-wax .start").click()
    assert until(lambda: page.text("#timer-line span").endswith("(2 cups, 2 times)"))


def test_a_stage_says_what_is_left_and_how_long_it_has_taken(window, wet):
    def chip(page, stage):
        if not page.js("return document.getElementById('contents').open"):
            page.list_pages()
        words = until(lambda: page.text(f".chips a[data-stage='{stage}']"))
        page.list_pages()
        return words

    page = window().open(wet, "p-mould-wax")
    assert "1 of 1 steps left, planned 40 min" in chip(page, "1. Prepare the mould")
    for name in ("coats", "haze"):
        tap_row(page, f'input[data-field="mould-wax.{name}"]')
    set_clock(page, 1800)
    fill(page, 'input[data-field="mould-wax.initials"]', "RL")
    page.js("document.activeElement.blur()")
    assert "✓ done, planned 40 min, gone 30 min" in chip(page, "1. Prepare the mould")
    page.turn("p-lay-p1")
    tap_row(page, 'input[data-field="lay-p1.angle"]')
    page.turn("p-record")
    assert "5 of 5 steps left" in chip(page, "2. Outer skin")
    page.list_pages()
    assert until(lambda: page.text("#go-on")).startswith("Continue at: Lay P1")
    page.find("#go-on").click()
    assert until(lambda: page.find("#p-lay-p1").is_displayed())


@pytest.mark.parametrize(("wide", "high"), [(1024, 768), (1180, 820)])
def test_on_its_side_a_tablet_shows_picture_and_words_beside_each_other(window, wet, wide, high):
    page = window()
    page.size(wide, high)
    page.open(wet, "p-lay-p1")
    left, right = page.js("""
        return [".here .seen svg", ".here ol.steps li"].map((css) => {
            const range = document.createRange();  // words beside a float: not the list's own box
            range.selectNodeContents(document.querySelector(css));
            const at = range.getBoundingClientRect();
            return [at.left, at.right, at.top];
        });
    """)
    assert left[1] <= right[0] and right[2] < high / 2


def test_every_page_has_its_title_one_first_heading_and_a_way_past_the_head(window, wet):
    from selenium.webdriver import ActionChains, Keys

    page = window().open(wet)
    assert len(page.all("h1")) == 1
    titles = set()
    for _ in cards(page):
        titles.add(page.driver.title)
    assert len(titles) == len(page.all(".card"))
    page.js("document.activeElement.blur()")
    page.driver.refresh()
    ActionChains(page.driver).send_keys(Keys.TAB).perform()
    focused = page.driver.switch_to.active_element
    assert focused.text == "To the page in hand" and focused.is_displayed()


@pytest.mark.parametrize("name", ["light", "dark"])
def test_the_ring_of_what_has_the_focus_stands_out_three_to_one(window, wet, name):
    """WCAG 2.2, 2.4.13: against what lies on either side of it, here bands of the ground."""
    page = window()
    theme(page, name)
    page.open(wet, "p-lay-p1")
    page.js("""
        const next = document.querySelector(".here .next");
        next.focus({ focusVisible: true });
    """)
    style = "return getComputedStyle(document.activeElement)"
    ring = luminance(page.js(f"{style}.outlineColor"))
    light, dark = sorted((ring, ground(page)), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 3.0
    band = page.js(f"{style}.boxShadow")
    assert luminance(band.partition(")")[0]) == ground(page)
