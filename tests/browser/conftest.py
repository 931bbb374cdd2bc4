"""A real browser for the booklet: headless, a fresh profile for every window, nothing installed.

A missing browser fails these tests: a booklet that was never opened in one is not tested.
"""

from pathlib import Path

import pytest

from plybook.drawing.book import booklet
from plybook.write.book_html import book_html
from tests.browser import chrome
from tests.browser.shops import wet_book, work_parts
from tests.drawing import doubles


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


def started(*arguments) -> chrome.Window:
    try:
        return chrome.start(*arguments)
    except FileNotFoundError as e:
        pytest.fail(str(e), pytrace=False)


@pytest.fixture(scope="module")
def idle(tmp_path_factory):
    """Browsers that a test of the module has done with, wiped; closed after its last test."""
    browsers = []
    yield browsers
    for page in browsers:
        page.driver.quit()


@pytest.fixture
def window(idle, tmp_path, tmp_path_factory):
    """Gives browsers that keep nothing of an earlier test: `window()`."""
    used, closed = [], []

    def start(storage: bool = True, scripting: bool = True) -> chrome.Window:
        if not (storage and scripting):
            closed.append(started(tmp_path / f"browser-{len(closed)}", storage, scripting))
            return closed[-1]
        used.append(idle.pop() if idle else started(tmp_path_factory.mktemp("browser") / "home"))
        return used[-1]

    yield start
    for page in closed:
        page.driver.quit()
    blank = tmp_path / "blank.html"
    blank.write_text("<!doctype html><title>nothing</title>")
    idle.extend(page.wiped(blank) for page in used)


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


@pytest.fixture(scope="session")
def wet(tmp_path_factory):
    """The booklet of a shop with seven cups in one stage."""
    return written(tmp_path_factory, wet_book())


@pytest.fixture(scope="session")
def work(tmp_path_factory):
    """The booklet of a shop with every kind of entry."""
    return written(tmp_path_factory, booklet(*work_parts()))


def written(tmp_path_factory, book) -> Path:
    path = tmp_path_factory.mktemp("book") / "booklet.html"
    path.write_bytes(book_html(book))
    return path
