"""A real browser for the booklet: headless, a fresh profile for every window, nothing installed.

A missing browser fails these tests: a booklet that was never opened in one is not tested.
"""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from plybook.drawing.book import booklet
from plybook.write.book_html import book_html
from tests.drawing import doubles

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--force-device-scale-factor=1", "--lang=en-GB",
)  # fmt: skip


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


def _program(*names: str) -> str:
    for name in names:
        if path := shutil.which(name):
            return path
    pytest.fail(
        f"none of {', '.join(names)} is installed; the booklet cannot be tried in a browser "
        "(on Debian: apt-get install chromium chromium-driver)",
        pytrace=False,
    )


@dataclass
class Window:
    """One browser with its own profile and its own downloads folder."""

    driver: object
    downloads: Path

    def open(self, path: Path, card: str = "") -> "Window":
        self.driver.get("about:blank")
        self.driver.get(path.as_uri() + (f"#{card}" if card else ""))
        return self

    def find(self, css: str):
        return self.driver.find_element("css selector", css)

    def all(self, css: str):
        return self.driver.find_elements("css selector", css)

    def js(self, code: str, *arguments):
        return self.driver.execute_script(code, *arguments)

    def text(self, css: str) -> str:
        return self.find(css).text

    def size(self, width: int, height: int) -> None:
        self.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )

    def requests(self) -> list[str]:
        """Addresses of everything asked for since the last call."""
        out = []
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                out.append(message["params"]["request"]["url"])
        return out

    def complaints(self) -> list[str]:
        """What the page wrote to the console, refusals of the content policy included."""
        return [entry["message"] for entry in self.driver.get_log("browser")]


@pytest.fixture
def window(tmp_path):
    """Opens browsers: `window()`; closes them all after the test."""
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    binary, driver_path = _program("chromium", "chromium-browser"), _program("chromedriver")
    opened = []

    def start(storage: bool = True, scripting: bool = True) -> Window:
        home = tmp_path / f"browser-{len(opened)}"
        downloads = home / "downloads"
        downloads.mkdir(parents=True)
        options = Options()
        options.binary_location = binary
        for flag in (*FLAGS, f"--user-data-dir={home / 'profile'}"):
            options.add_argument(flag)
        content = {}
        if not storage:
            content["profile.default_content_setting_values.cookies"] = 2
        if not scripting:
            content["profile.managed_default_content_settings.javascript"] = 2
        options.add_experimental_option(
            "prefs", {"download.default_directory": str(downloads), **content}
        )
        options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
        driver = webdriver.Chrome(options=options, service=Service(driver_path))
        driver.set_page_load_timeout(60)
        opened.append(driver)
        driver.execute_cdp_cmd(
            "Browser.setDownloadBehavior",
            {"behavior": "allow", "downloadPath": str(downloads)},
        )
        return Window(driver, downloads)

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
