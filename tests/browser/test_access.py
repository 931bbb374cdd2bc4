"""A page for everyone: every card and everything that opens, by the rules of axe-core."""

from importlib.resources import files

import pytest

from tests.browser.chrome import until
from tests.browser.test_at_the_bench import cards, press, theme
from tests.browser.test_less_typing import png, put

LAY = "p-lay-p1"
# Every rule that this axe-core has, also those it leaves off by itself: all levels, the best
# practices, and what it calls experimental.
RUN = """
    const [place, done] = arguments;
    const rules = Object.fromEntries(axe.getRules().map((r) => [r.ruleId, { enabled: true }]));
    axe.run(place || document, { rules, resultTypes: ["violations"] }).then(
        (r) => done(r.violations.flatMap((v) => v.nodes.map((n) =>
            v.id + ": " + n.target + " " + n.html.slice(0, 120)))),
        (e) => done(["axe-core itself: " + e]));
"""
LOOKS = [("light", 390, 844), ("dark", 820, 1180), ("light", 1180, 820), ("dark", 1180, 820)]


def half_filled(page, work, tmp_path, look, wide, high):
    """The booklet half filled in: a cup open, a value out, a deviation, a photo, a chip offered."""
    theme(page, look)
    page.size(wide, high)
    page.open(work, LAY)
    press(page, "[data-cup='Cup 1']", "Mixed")
    put(page, "lay-p1.initials", "RL")
    put(page, "lay-p1.room", "31")
    page.find(f"#{LAY} .more summary").click()
    press(page, f"#{LAY}", "Write down a deviation")
    png(tmp_path / "seam.png", 64, 48)
    page.find(f"#{LAY} [data-do=photo]").send_keys(str(tmp_path / "seam.png"))
    until(lambda: page.all(f"#{LAY} .photos img[src]"))
    page.js("document.querySelectorAll('.card details').forEach((d) => { d.open = true; })")
    page.js((files("axe_core_python") / "axe.min.js").read_text(encoding="utf-8"))
    return page


def violations(page, place=None):
    return page.driver.execute_async_script(RUN, place)


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_no_card_breaks_a_rule_of_access(window, work, tmp_path, look):
    page = half_filled(window(), work, tmp_path, *look)
    found = {f"{card}: {v}" for card in cards(page) for v in violations(page, ".card.here")}
    assert sorted(found) == []


@pytest.mark.parametrize("look", [LOOKS[0], LOOKS[-1]], ids=str)
def test_nothing_that_opens_breaks_a_rule_of_access(window, work, tmp_path, look):
    """The whole page with a notice, what Next tells, its lists, the history, a drawing."""
    page = half_filled(window(), work, tmp_path, *look)
    page.turn(LAY)
    states = {
        "as it is": "",
        "passing": "document.querySelector('.here .next').click()",
        "timers": "document.getElementById('timer-line').click()",
        "contents": "document.querySelector('#contents summary').click()",
        "history": "document.querySelector('.here [data-do=page-history]').click()",
        "drawing": "document.querySelector('dialog .close').click();"
                   "document.querySelector('.here .open').click()",
    }  # fmt: skip
    (tmp_path / "no.json").write_text("{")
    page.find("[data-do=import]").send_keys(str(tmp_path / "no.json"))
    until(lambda: page.all(".notice"))
    found = set()
    for name, code in states.items():
        page.js(code)
        found |= {f"{name}: {v}" for v in violations(page)}
    assert page.find(".viewer").is_displayed()
    assert sorted(found) == []
