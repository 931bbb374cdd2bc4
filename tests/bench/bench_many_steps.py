"""How a booklet of many steps opens and ticks: `python -m tests.bench.bench_many_steps`.

The hand-made skin of the tests with its laying steps again and again, each with its own id, opened
in a real browser at a processor slowed to a quarter. Told: bytes, nodes, time until the page can be
used, and the time from a tap on a check to the page after it (median of many, and the longest).
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
from dataclasses import replace
from pathlib import Path

from plybook.drawing.book import booklet
from plybook.write.book_html import book_html
from tests.browser.chrome import Window, start
from tests.drawing import doubles

SLOWER = 4

TICK = """
const box = document.querySelector(".here .tick input");
box.click();
void document.body.offsetHeight;
"""
CARDS = 30  # that are ticked, spread over the book


def many_steps(count: int) -> bytes:
    """The booklet of a part with at least `count` steps."""
    shop = doubles.shop()
    lay = shop.stages[1]
    own = sum(len(stage.steps) for stage in shop.stages) - len(lay.steps)
    rounds = -(-(count - own) // len(lay.steps))
    steps = tuple(
        replace(step, id=f"{step.id}-{k}", title=f"{step.title}, {k}", batches=(), timers=())
        for k in range(rounds)
        for step in lay.steps
    )
    stages = (shop.stages[0], replace(lay, steps=steps), *shop.stages[2:])
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    shop = replace(shop, stages=stages, batches=shop.batches[3:])
    return book_html(booklet(doubles.spec(), face, laminate, doubles.cut_plan(laminate), shop))


def work_ms(page: Window) -> float:
    """Milliseconds of processor time that the page has taken since it was opened."""
    rows = page.driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return 1000 * next(row["value"] for row in rows if row["name"] == "TaskDuration")


def measured(page: Window, path: Path) -> tuple[int, float, list[float]]:
    """Nodes, milliseconds of processor time until the page can be used, and of each tick.

    Processor time, not that of the clock: what else the machine does is left out.
    """
    page.driver.execute_cdp_cmd("Performance.enable", {"timeDomain": "threadTicks"})
    page.open(path)
    page.js("return document.readyState")
    ready = work_ms(page)
    nodes = page.js("return document.querySelectorAll('*').length")
    names = page.js("return [...document.querySelectorAll('.card.step')].map((c) => c.id)")
    ticks = []
    for name in names[:: max(1, len(names) // CARDS)]:
        page.js("location.hash = arguments[0]", name)
        while not page.js(
            "const h = document.querySelector('.here'); return h.id === arguments[0]", name
        ):
            pass
        if not page.js("return Boolean(document.querySelector('.here .tick input'))"):
            continue
        idle = work_ms(page)
        page.js("void 0")
        cost = work_ms(page) - idle  # of asking itself
        before = work_ms(page)
        page.js(TICK)
        ticks.append(work_ms(page) - before - cost)
    return nodes, ready, ticks


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=500)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "booklet.html"
        path.write_bytes(many_steps(options.steps))
        page = start(Path(folder) / "browser")
        try:
            page.size(1024, 768)
            nodes, ready, ticks = measured(page, path)
        finally:
            page.driver.quit()
        print(f"{options.steps} steps: {path.stat().st_size / 1e6:.2f} MB, {nodes} nodes")
        print(f"  usable after {SLOWER * ready / 1000:.2f} s, processor slowed {SLOWER} times")
        tick, most = SLOWER * statistics.median(ticks), SLOWER * max(ticks)
        print(f"  a tick takes {tick:.0f} ms, at most {most:.0f} ms")


if __name__ == "__main__":
    main()
