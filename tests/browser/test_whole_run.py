"""The whole booklet, followed from its first page to the export of the record."""

import json

import pytest
from selenium.webdriver import ActionChains, Keys

from plybook.plan import plan_dict, to_json
from plybook.record import compare, read_record
from tests.browser.chrome import until
from tests.browser.shops import work_parts
from tests.browser.test_at_the_bench import cards, mix_all

SCREENS = [(360, 740), (390, 844), (820, 1180), (1024, 768), (1180, 820)]

# What the element in focus asks of a hand on the keyboard, and words to type.
ASKED = """
    const e = document.activeElement, d = e.dataset, words = e.textContent;
    const here = e.closest(".card.here");
    if (!here) return null;
    if (e.matches(".finish")) return ["sign", ""];
    if (e.matches("[data-do=export]")) return ["export", ""];
    if (e.matches(".next")) return ["next", ""];
    if (e.matches(".start") && words === "Start") return ["press", ""];
    if (e.closest(".cup .deeds") && words !== "In the tray") return ["press", ""];
    if (e.matches("input[type=checkbox]")) return e.checked ? ["", ""] : ["tick", ""];
    if (e.matches(".cup:not(.timed) summary")) return [e.parentElement.open ? "" : "press", ""];
    if (e.matches(".now"))
        return [e.closest(".blank").querySelector("input").value ? "" : "press", ""];
    if (e.value || e.placeholder || e.closest("details")) return ["", ""];
    if (e.type === "date") return ["type", "31122027"];
    const before = [...here.querySelectorAll("[data-kind=measure]")].map((m) => m.value).join("");
    if (d.kind === "measure") return ["type", d.expected || d.low || before];
    if (d.kind === "initials") return ["type", "RL"];
    return d.kind === "lot" || d.kind === "text" ? ["type", "none"] : ["", ""];
"""


def press_key(page, *keys):
    ActionChains(page.driver).send_keys(*keys).perform()


def here(page):
    return page.js("return document.querySelector('.here').id")


def follow(page):
    """Work through the card in hand with keys alone; the word for what leaves it."""
    for _ in range(150):
        press_key(page, Keys.TAB)
        what, words = page.js(ASKED) or ("", "")
        while what == "press":  # a button gives way to the next one, which has the focus
            press_key(page, Keys.ENTER)
            what, words = page.js(ASKED) or ("", "")
        if what == "tick":
            press_key(page, Keys.SPACE)
        elif what == "type":
            press_key(page, *words)
        elif what:
            return what
    raise AssertionError(f"{here(page)} cannot be left with the keyboard")


def test_the_whole_book_is_worked_through_with_the_keyboard_alone(window, work):
    """From the cover to the exported record: nothing is left open that a key could not fill in,
    nothing is asked of a network, nothing is complained of."""
    page = window()
    page.before("""
        window.trueNow = window.trueNow || Date.now;
        window.ahead = 0;
        Date.now = () => window.trueNow() + window.ahead;
    """)
    page.open(work)
    page.requests()
    until(lambda: here(page) == "p-cover")
    while (left := follow(page)) != "export":
        card = here(page)
        page.js("window.ahead += 1500000")  # twenty-five minutes of work
        press_key(page, Keys.ENTER)
        if left == "next" and here(page) == card:  # it has told what is open
            press_key(page, Keys.ENTER)
        until(lambda card=card: here(page) != card)
    press_key(page, Keys.ENTER)
    path = until(lambda: [f for f in page.downloads.glob("*.json") if f.stat().st_size])[0]
    record = read_record(path.read_bytes())
    found = compare(record, json.loads(to_json(plan_dict(*work_parts()))))
    assert [f.message for f in found] == []
    assert [u for u in page.requests() if not u.startswith(("blob:", "data:"))] == []
    assert page.complaints() == []


FILL = """
    const words = { time: "14:02 on 2026-12-31", initials: "R.L.", lot: "LOT-471108",
                    measure: "1042.5", date: "2027-12-31", text: "none" };
    for (const e of document.querySelectorAll("[data-field]")) {
        if (e.type === "checkbox") { if (!e.checked) e.click(); continue; }
        if (e.value) continue;
        e.value = words[e.dataset.kind] || "none";
        for (const kind of ["input", "change"]) e.dispatchEvent(new Event(kind, { bubbles: true }));
    }
    document.querySelectorAll("details.of-cup, details.fold").forEach((d) => { d.open = true; });
    return 0;
"""
# Words that lie over other words, over a field or a button that does not hold them, and fields too
# short for what stands in them. The ink of a line begins a quarter of its letters' size below the
# top of its box and ends a twentieth above the foot (Source Sans: ascent 0.98, capitals 0.66).
FAULTS = """
    const shown = (e) => e.checkVisibility({ visibilityProperty: true })
        && !e.closest("svg, .unseen, noscript");
    const clipped = (e) =>
        e && (getComputedStyle(e).clipPath !== "none" || clipped(e.parentElement));
    const seen = (e, at) => {  // what of it is not cut off by a box that scrolls
        for (let p = e; p && p.matches("main *, .bar *"); p = p.parentElement) {
            if (getComputedStyle(p).overflowY === "visible") continue;
            const r = p.getBoundingClientRect();
            at.top = Math.max(at.top, r.top);
            at.bottom = Math.min(at.bottom, r.bottom);
        }
        return at;
    };
    const roots = document.querySelectorAll(".card.here, .bar, #foot");
    const inks = [], boxes = [], out = [];
    for (const root of roots) {
        const walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
        for (let node = walk.nextNode(); node; node = walk.nextNode()) {
            const e = node.parentElement;
            if (!node.data.trim() || !shown(e) || clipped(e)) continue;
            const size = parseFloat(getComputedStyle(e).fontSize);
            const range = document.createRange();
            range.selectNodeContents(node);
            for (const r of range.getClientRects())
                inks.push(seen(e, { e, words: node.data.trim().slice(0, 30), left: r.left,
                    right: r.right, top: r.top + size / 4, bottom: r.bottom - size / 20 }));
        }
        const solid = "input:not(.file), textarea, select, button, .button, img";
        for (const e of root.querySelectorAll(solid)) {
            if (!shown(e)) continue;
            if (e.scrollWidth > e.clientWidth + 1 && e.matches("input"))
                out.push("cut: " + e.dataset.field + " " + e.value);
            const r = e.getBoundingClientRect();
            if (r.width > 1)
                boxes.push(seen(e, { e, words: e.tagName + (e.dataset.field || e.textContent),
                    left: r.left, right: r.right, top: r.top, bottom: r.bottom }));
        }
    }
    const over = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
        && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
    const bar = (e) => Boolean(e.closest(".bar"));  // the page scrolls under it
    inks.forEach((a, k) => {
        for (const b of inks.slice(k + 1))
            if (a.e !== b.e && bar(a.e) === bar(b.e) && over(a, b))
                out.push("over one another: " + a.words + " | " + b.words);
        for (const b of boxes)
            if (!b.e.contains(a.e) && bar(a.e) === bar(b.e) && over(a, b))
                out.push("over a box: " + a.words + " | " + b.words);
    });
    return out;
"""


@pytest.mark.parametrize(("wide", "high"), SCREENS)
def test_nothing_lies_over_anything_and_no_entry_is_cut_off(window, work, wide, high):
    """Every card as it is filled in, with seven cups running."""
    page = window()
    page.size(wide, high)
    page.open(work)
    page.js(FILL)
    page.js("""
        for (const b of document.querySelectorAll(".cup .deeds button"))
            if (b.textContent === "Mixed") b.click();
    """)
    found = {(name, fault) for name in cards(page) for fault in page.js(FAULTS)}
    assert sorted(found) == []


def test_a_field_too_short_and_words_over_words_are_found(window, work):
    """The search above finds what it is for."""
    page = window().open(work, "p-leak")
    until(lambda: here(page) == "p-leak")
    assert page.js(FAULTS) == []
    page.js("""
        const box = document.querySelector(".here [data-kind=time]");
        box.style.cssText = "width: 3rem; flex: none";
        box.value = "14:02 on 2026-12-31";
        document.querySelector(".here ol.steps").style.marginTop = "-30px";
    """)
    found = page.js(FAULTS)
    assert any(f.startswith("cut: leak.off") for f in found)
    assert any(f.startswith("over") for f in found)


@pytest.mark.parametrize(("wide", "high"), SCREENS)
def test_warnings_leave_the_head_readable_while_timers_run(window, wet, wide, high):
    """Nothing is kept and nothing can sound: both are told, beside seven cups."""
    page = window()
    page.before("""
        Storage.prototype.setItem = function () {
            throw new DOMException("full", "QuotaExceededError");
        };
        delete window.AudioContext; delete window.webkitAudioContext;
    """)
    page.size(wide, high)
    page.open(wet, "p-lay-p1")
    mix_all(page)
    until(lambda: page.find("#quiet").is_displayed() and page.all("#warnings #state"))
    assert page.js(FAULTS) == []
    tall = page.js("return document.getElementById('head').getBoundingClientRect().height")
    assert tall <= 120  # two rows of buttons
    bar = page.js("return document.getElementById('bar').getBoundingClientRect().height")
    assert bar <= 0.4 * high
    page.find("#timer-line").click()
    assert page.js(FAULTS) == []
