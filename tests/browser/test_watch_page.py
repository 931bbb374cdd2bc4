"""The page of `plybook watch` in a real browser: fresh after a build, errors shown, output kept."""

import threading
import time

import pytest

from plybook.diagnostics import Place, error
from plybook.watch import Watch, serve
from plybook.watch.loop import Outcome
from plybook.write.folder import commit, with_manifest

WAIT_S = 30.0


class Told(Watch):
    """Ends rounds as it is told to."""

    def end(self, *findings, code=0, numbers=("TN-1",)):
        from plybook.watch.sources import Asking

        self._put(round=self.state.round + 1)
        self._end(Outcome(code, findings), numbers, Asking())


def write(out, word):
    """Write a booklet of one word as a build does: the page shows only what a manifest lists."""
    booklet = f"<!doctype html><title>b</title><p id=word>{word}</p>"
    commit(out, {"TN-1": with_manifest({"booklet.html": booklet.encode()}, {"folder": "TN-1"})})


@pytest.fixture
def watch(tmp_path):
    write(tmp_path / "out", "first")
    return Told([tmp_path / "part.yaml"], tmp_path / "out")


@pytest.fixture
def page(watch, window):
    server = serve(watch)
    opened = window()
    opened.driver.get(f"http://127.0.0.1:{server.server_address[1]}/")
    yield opened
    server.shutdown()
    server.server_close()


def until(condition):
    end = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        threading.Event().wait(0.1)


def booklet_word(page) -> str:
    return page.js(
        "const f = document.getElementById('view').contentDocument;"
        "const w = f && f.getElementById('word'); return w ? w.textContent : ''"
    )


def test_the_booklet_appears_and_is_loaded_anew_after_each_build(page, watch, tmp_path):
    assert page.text("#none") == "Nothing is built yet."
    watch.end()
    until(lambda: booklet_word(page) == "first")
    write(tmp_path / "out", "second")
    watch.end()
    until(lambda: booklet_word(page) == "second")
    assert page.complaints() == []


def test_errors_are_shown_literally_and_the_last_good_output_stays(page, watch):
    watch.end()
    until(lambda: booklet_word(page) == "first")
    wrong = error("unknown-key", "<b>bold</b> & co", "write it", Place("part.yaml", 3, 1))
    watch.end(wrong, code=1)
    until(lambda: "failed" in page.find("#light").get_attribute("class"))
    assert "<b>bold</b> & co" in page.text("#text")
    assert "the last good output is shown" in page.text("#light")
    assert booklet_word(page) == "first"


def test_the_page_asks_nobody_else(page, watch):
    watch.end()
    until(lambda: booklet_word(page) == "first")
    asked = [a for a in page.requests() if not a.startswith(("http://127.0.0.1:", "data:"))]
    assert [a for a in asked if a.startswith("http")] == []


def test_the_end_of_the_watch_is_told(watch, window):
    server = serve(watch)
    opened = window()
    opened.driver.get(f"http://127.0.0.1:{server.server_address[1]}/")
    server.shutdown()
    server.server_close()
    until(lambda: opened.text("#light") == "the watch has ended")
