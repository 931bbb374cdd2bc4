"""A real browser for the booklet: headless, a fresh profile for every window, nothing installed.

A missing browser fails these tests: a booklet that was never opened in one is not tested.
"""

from pathlib import Path

import pytest

from plybook.drawing.book import booklet
from plybook.write.book_html import book_html
from tests.browser import chrome
from tests.drawing import doubles


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture
def window(tmp_path):
    """Opens browsers: `window()`; closes them all after the test."""
    opened = []

    def start(storage: bool = True, scripting: bool = True) -> chrome.Window:
        try:
            page = chrome.start(tmp_path / f"browser-{len(opened)}", storage, scripting)
        except FileNotFoundError as e:
            pytest.fail(str(e), pytrace=False)
        opened.append(page.driver)
        return page

    yield start
    for driver in opened:
        driver.quit()


@pytest.fixture(scope="session")
def make_book(tmp_path_factory):
    """Writes a booklet of the hand-made skin to a file: `make_book(shop=..., revision="C")`."""
    folder = tmp_path_factory.mktemp("books")
    made = {}

    def make(shop=None, **part) -> Path:
        key = repr((shop, sorted(part.items())))
        if key not in made:
            face = doubles.TaperedFace()
            laminate = doubles.laminate(face)
            plan = doubles.cut_plan(laminate)
            document = booklet(doubles.spec(**part), face, laminate, plan, shop or doubles.shop())
            # one address for all: a browser keeps its storage by it
            made[key] = folder / f"{len(made)}" / "booklet.html"
            made[key].parent.mkdir()
            made[key].write_bytes(book_html(document))
        return made[key]

    return make
