"""A part built whole on its booklet: `python -m tests.bench.bench_booklet BOOKLET.html`.

A script follows every page as a builder would: it ticks each check, enters each figure, lot and
set of initials, mixes, pours out and empties each cup, runs each wait, and turns the page. What a
hand does counts: a tap for everything pressed or entered, a key for every letter typed. What the
page offers is taken. Only what can be seen is pressed, and nothing is pressed twice.
The device's clock is moved on as the work goes: by each wait, and by the minutes planned for each
step. A cup is poured into its tray where it lasts longer than it may stand, and is empty at the end
of the last step that uses it.

Of each step the length is told in screens: the card with head and foot over the height of the
window; and what of the window the line of timers takes while seven cups run. At the end the page is
printed as it is filled in, beside the paper book.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
from base64 import b64decode
from pathlib import Path

from tests.browser.chrome import Window, start

SCREENS = {
    "phone": (360, 740), "tablet, portrait": (768, 1024), "tablet, landscape": (1024, 768),
}  # fmt: skip
INITIALS, LOT, TEXT, DATE = "RL", "LOT-4711", "none", "31122027"

# What is to be done next on the card in hand: [what, words, element] or null.
NEXT = """
const seen = (e) => e && e.offsetParent && !e.disabled;
const here = document.querySelector(".card.here");
const field = (e) => e.querySelector("[data-field]");
const chip = (e) => [...e.querySelectorAll(".chip")].find(seen);
for (const e of here.querySelectorAll(".tick, .blank, .timer, .cup, textarea")) {
    if (!seen(e)) continue;
    if (e.closest("details:not([open])")) continue;
    if (e.matches(".cup")) {
        const deeds = [...e.querySelectorAll(".deeds button")].filter(seen);
        if (deeds.some((b) => b.textContent === "Mixed"))
            return ["cup", e.dataset.cup, e];
        continue;
    }
    if (e.matches(".timer")) {
        const b = e.querySelector(".start");
        const times = here.querySelectorAll(".checks [data-kind=time]").length;
        // its first reading, or time, starts it
        if (times === 2 || here.querySelector("[data-difference]")) continue;
        if (seen(b) && b.textContent === "Start") return ["start", e.dataset.seconds, b];
        continue;
    }
    if (e.matches("textarea") || e.closest(".rescale")) continue;
    const input = field(e);
    if (!seen(input)) continue;
    if (e.matches(".tick")) {
        if (!input.checked) return ["tap", "tick", e.querySelector(".words")];
        continue;
    }
    if (input.value || input.placeholder || input.dataset.tried) continue;
    const signs = input.closest(".signoff") && input.dataset.kind === "initials";
    if (signs && seen(here.querySelector(".turn .finish"))) continue;
    const offered = chip(e);
    if (offered) return ["tap", "offer", offered];
    const now = e.querySelector(".now");
    if (seen(now)) return ["tap", "Now", now];
    input.dataset.tried = "1";
    return ["type", input.dataset.kind, input];
}
return null;
"""


def words_for(page: Window, kind: str, box) -> str:
    if kind == "initials":
        return INITIALS
    if kind == "date":
        return DATE
    if kind == "lot":
        return LOT
    if kind == "measure":
        return page.js(
            """
            const d = arguments[0].dataset;
            const all = [...document.querySelectorAll(".here [data-kind=measure]")];
            const before = all[all.indexOf(arguments[0]) - 1];
            return d.expected || d.low || d.high || (before && before.value) || "45";
            """,
            box,
        )
    lot = page.js(
        "return /\\b(lots?|roll)\\b/i.test(arguments[0].closest('label').textContent)", box
    )
    return LOT if lot else TEXT


def cup_uses(page: Window, folder: Path) -> dict[str, list[tuple[str, float]]]:
    """Of each cup the steps that use it, in order, with its share of their minutes."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    minutes = page.js(
        "return Object.fromEntries([...document.querySelectorAll('.card')]"
        ".map((c) => [c.dataset.step, +c.dataset.minutes]))"
    )
    uses: dict[str, list[tuple[str, float]]] = {}
    for stage in plan["stages"]:
        for step in stage["steps"]:
            for cup in step.get("batches", ()):
                share = minutes[step["id"]] / len(step["batches"])
                uses.setdefault(cup, []).append((step["id"], share))
    return uses


def enter(page: Window, box, words: str) -> None:
    """Type words into a field as keys do, and leave it."""
    page.js(
        """
        const [box, words] = arguments;
        box.focus();
        box.value = box.type === "date" ? "2027-12-31" : words;
        box.dispatchEvent(new Event("input", { bubbles: true }));
        box.dispatchEvent(new Event("change", { bubbles: true }));
        box.blur();
        """,
        box,
        words,
    )


class Run:
    """Counts of one whole run."""

    def __init__(self) -> None:
        self.taps: dict[str, int] = {}
        self.keys: dict[str, int] = {}
        self.screens: dict[str, float] = {}
        self.laying: set[str] = set()
        self.unsigned: list[str] = []

    def tap(self, what: str) -> None:
        self.taps[what] = self.taps.get(what, 0) + 1

    def type(self, what: str, words: str) -> None:
        self.tap("into a field")
        self.keys[what] = self.keys.get(what, 0) + len(words)


CLOCK = """
window.trueNow = window.trueNow || Date.now;
window.ahead = 0;
Date.now = () => window.trueNow() + window.ahead;
"""


def pass_time(page: Window, seconds: float) -> None:
    """Time goes by: the clock moves on, and the page sees it."""
    page.js("window.ahead += 1000 * arguments[0]; return undefined", seconds)


def mix(page: Window, run: Run, cup, uses: dict[str, list[tuple[str, float]]]) -> None:
    """Mix a cup; pour it out where it lasts longer than it may stand; empty it where this is the
    last step that uses it."""
    name, step = page.js(
        "return [arguments[0].dataset.cup, arguments[0].closest('.card').dataset.step]", cup
    )
    press = (
        "[...arguments[0].querySelectorAll('.deeds button')]"
        ".find((b) => b.textContent === arguments[1]).click()"
    )
    page.js(press, cup, "Mixed")
    run.tap("Mixed")
    here = uses[name]
    minutes = sum(m for _, m in here)
    if minutes * 60 >= float(page.js("return arguments[0].dataset.tray", cup) or 0):
        page.js(press, cup, "In the tray")
        run.tap("In the tray")
    pass_time(page, 60 * here[0][1])
    if here[-1][0] == step:
        page.js(press, cup, "All on")
        run.tap("All on")


def empty(page: Window, run: Run, step: str, uses: dict[str, list[tuple[str, float]]]) -> None:
    """Empty cups of earlier steps whose last step this is, by the line of timers."""
    for cup, steps in uses.items():
        if len(steps) < 2 or steps[-1][0] != step:
            continue
        find = (
            "return [...document.querySelectorAll('#timer-deeds button, #timer-list button')]"
            ".find((b) => b.offsetParent && b.getAttribute('aria-label') === 'All on: ' + arguments[0])"  # noqa: E501
        )
        button = page.js(find, cup)
        if button is None:
            page.js("document.getElementById('timer-line').click()")
            run.tap("open the timers")
            button = page.js(find, cup)
        page.js("arguments[0].click()", button)
        run.tap("All on")


def build(page: Window, run: Run, uses: dict[str, list[tuple[str, float]]]) -> None:
    """Follow every page to the record, and export it.

    Args:
        uses: of each cup the steps that use it, with the minutes it takes there.
    """
    page.before(CLOCK)
    page.driver.refresh()
    page.find("h1").click()  # a real touch: sound is allowed from now on
    while True:
        name = page.js("return document.querySelector('.here').id")
        step, minutes = page.js(
            "const d = document.querySelector('.here').dataset; return [d.step, +d.minutes]"
        )
        if page.js("return document.querySelector('.here').matches('.step')"):
            run.screens[name] = length(page)
            if page.js("return Boolean(document.querySelector('.here .row svg'))"):
                run.laying.add(name)
        while todo := page.js(NEXT):
            what, words, element = todo
            if what == "cup":
                mix(page, run, element, uses)
            elif what == "start":
                page.js("arguments[0].click()", element)
                run.tap("Start")
                pass_time(page, float(words))
            elif what == "tap":
                page.js("arguments[0].click()", element)
                run.tap(words)
            else:
                text = words_for(page, words, element)
                enter(page, element, text)
                pass_time(page, 60)
                run.type(words, text)
        if not any(step == s for steps in uses.values() for s, _ in steps):
            pass_time(page, 60 * minutes)
        empty(page, run, step, uses)
        answer_alarms(page, run)
        sign = page.js(
            "return [...document.querySelectorAll('.here .finish')].find((e) => e.offsetParent)"
        )
        if sign is not None:
            page.js("arguments[0].click()", sign)
            run.tap("sign and next")
            if not left(page, name):
                raise AssertionError(f"{name} cannot be left")
            continue
        if page.js("return Boolean(document.querySelector('.here [data-do=export]'))"):
            page.js("document.querySelector('.here [data-do=export]').click()")
            run.tap("export")
            return
        on = page.js(
            "return [...document.querySelectorAll('.here .turn .next')].find((e) => e.offsetParent)"
        )
        signed = "return Boolean(document.querySelector('.here .signoff .initials input').value)"
        if minutes and not page.js(signed):
            run.unsigned.append(step)
        for _ in range(2):  # a page with something open tells it first
            page.js("arguments[0].click()", on)
            run.tap("next")
            if left(page, name):
                break
        else:
            raise AssertionError(f"{name} cannot be left")


def left(page: Window, card: str) -> bool:
    """Whether another card is shown."""
    return wait(lambda: page.js("return document.querySelector('.here').id") != card)


def wait(condition, seconds: float = 0.5) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


def answer_alarms(page: Window, run: Run) -> None:
    while page.js("return Boolean(document.querySelector('.run-line.up'))"):
        page.js("document.querySelector('#timer-deeds button').click()")
        run.tap("OK")


def length(page: Window) -> float:
    """Screens that the card in hand takes."""
    return page.js("return document.documentElement.scrollHeight / window.innerHeight")


def timers_share(page: Window, cups: int = 7) -> float:
    """Share of the window that the line of timers takes while cups run."""
    names = page.js(
        "return [...document.querySelectorAll('.cup.timed')]"
        ".map((c) => [c.closest('.card').id, c.dataset.cup])"
    )
    for card, cup in names[:cups]:
        page.js("location.hash = arguments[0]", card)
        wait(lambda card=card: page.js("return document.querySelector('.here').id") == card)
        page.js("document.querySelector(`[data-cup='${arguments[0]}'] .deeds button`).click()", cup)
    return page.js(
        "return document.getElementById('running').getBoundingClientRect().height / innerHeight"
    )


def printed_sheets(page: Window) -> int:
    """Sheets of A4 that the page prints as it is filled in."""
    paper = {"preferCSSPageSize": False, "paperWidth": 8.27, "paperHeight": 11.69}
    return pdf_pages(b64decode(page.driver.execute_cdp_cmd("Page.printToPDF", paper)["data"]))


def pdf_pages(data: bytes) -> int:
    import pypdfium2

    return len(pypdfium2.PdfDocument(data))


def told(counts: dict[str, int]) -> str:
    rows = sorted(counts.items(), key=lambda item: -item[1])
    return ", ".join(f"{words} {count}" for words, count in rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("booklet", type=Path)
    parser.add_argument("--screen", choices=SCREENS, action="append")
    parser.add_argument("--steps", action="store_true", help="the screens of each step")
    options = parser.parse_args()
    for name in options.screen or SCREENS:
        with tempfile.TemporaryDirectory() as folder:
            page = start(Path(folder) / "run")
            timed = start(Path(folder) / "timers")
            try:
                page.size(*SCREENS[name])
                timed.size(*SCREENS[name])
                run = Run()
                page.open(options.booklet.resolve())
                build(page, run, cup_uses(page, options.booklet.parent))
                share = timers_share(timed.open(options.booklet.resolve()))
                sheets = printed_sheets(page)
            finally:
                page.driver.quit()
                timed.driver.quit()
        screens = list(run.screens.values())
        laying = [s for step, s in run.screens.items() if step in run.laying]
        print(f"{name}: {sum(run.taps.values())} taps, {sum(run.keys.values())} keys")
        print(f"  taps: {told(run.taps)}\n  keys: {told(run.keys)}")
        print(
            f"  screens per step: mean {statistics.mean(screens):.2f}, most {max(screens):.2f}; "
            f"of those that lay: mean {statistics.mean(laying):.2f}, most {max(laying):.2f}"
        )
        print(f"  line of timers, seven cups running: {100 * share:.0f} % of the window")
        paper = pdf_pages(options.booklet.with_suffix(".pdf").read_bytes())
        print(f"  filled in and printed on A4: {sheets} sheets; the paper book has {paper}")
        if run.unsigned:
            print(f"  steps not signed: {', '.join(run.unsigned)}")
        if options.steps:
            for step, value in sorted(run.screens.items(), key=lambda item: -item[1]):
                print(f"    {value:5.2f}  {step}")


if __name__ == "__main__":
    main()
