"""A real browser, headless, with a profile of its own, for tests and benchmarks."""

from __future__ import annotations

import json
import shutil
import time
import warnings
from dataclasses import dataclass, field
from pathlib import Path

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage",  # a container's /dev/shm is small: a renderer without room hangs
    "--force-device-scale-factor=1", "--lang=en-GB",
)  # fmt: skip

# Events of the page that a browser sends when it finds time for them come late in every test, so
# that one which does not wait for them fails each time and not once in a while.
LATE = """
(() => {
  const own = EventTarget.prototype.addEventListener;
  EventTarget.prototype.addEventListener = function (type, told, options) {
    const late = type === "toggle" || type === "hashchange";
    const then = late ? function (e) { setTimeout(() => told.call(this, e), 100); } : told;
    return own.call(this, type, then, options);
  };
})();
"""


def until(condition, seconds=10.0):
    """What a condition gives as soon as it gives anything."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if value := condition():
            return value
        time.sleep(0.05)
    raise AssertionError("it did not happen in time")


def program(*names: str) -> str:
    """Path of the first of these programs that is installed.

    Raises:
        FileNotFoundError: none is.
    """
    for name in names:
        if path := shutil.which(name):
            return path
    raise FileNotFoundError(
        f"none of {', '.join(names)} is installed; the booklet cannot be tried in a browser "
        "(on Debian: apt-get install chromium chromium-driver)"
    )


@dataclass
class Window:
    """One browser with its own profile and its own downloads folder."""

    driver: object
    downloads: Path
    scripts: list[str] = field(default_factory=list)  # names of those that run before the page

    def open(self, path: Path, card: str = "") -> Window:
        """Load a page from the disk.

        A browser whose renderer did not answer is asked once more, and a warning tells of it: a
        page that hangs does so each time.
        """
        from selenium.common.exceptions import TimeoutException

        for address in ("about:blank", path.as_uri() + (f"#{card}" if card else "")):
            try:
                self.driver.get(address)
            except TimeoutException as e:
                warnings.warn(f"{address} had to be loaded again: {e.msg}", stacklevel=2)
                self.driver.get(address)
        return self

    def find(self, css: str):
        return self.driver.find_element("css selector", css)

    def all(self, css: str):
        return self.driver.find_elements("css selector", css)

    def js(self, code: str, *arguments):
        return self.driver.execute_script(code, *arguments)

    def text(self, css: str) -> str:
        return self.find(css).text

    def turn(self, card: str) -> Window:
        """Go to a card by its address, as a link does, and wait until it is shown."""
        self.js("location.hash = arguments[0]", card)
        until(lambda: self.js("return document.querySelector('.card.here').id") == card)
        return self

    def list_pages(self) -> None:
        """Open or close the list of all pages, and wait until it is drawn."""
        self.js("""
            window.listDrawn = false;
            document.getElementById("contents").addEventListener(
                "toggle", () => { window.listDrawn = true; }, { once: true });
        """)
        self.find("#contents summary").click()
        until(lambda: self.js("return window.listDrawn"))

    def size(self, width: int, height: int) -> None:
        self.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )

    def before(self, code: str) -> None:
        """Run a script before the page's own, as another browser would differ from the start."""
        command = "Page.addScriptToEvaluateOnNewDocument"
        self.scripts.append(self.driver.execute_cdp_cmd(command, {"source": code})["identifier"])

    def wiped(self, blank: Path) -> Window:
        """As new: one tab, nothing stored, nothing emulated, nothing downloaded.

        Args:
            blank: an empty page at an address that shares its storage with the pages tried.
        """
        tabs = self.driver.window_handles
        for tab in tabs[1:]:
            self.driver.switch_to.window(tab)
            self.driver.close()
        self.driver.switch_to.window(tabs[0])
        for name in self.scripts:
            command = "Page.removeScriptToEvaluateOnNewDocument"
            self.driver.execute_cdp_cmd(command, {"identifier": name})
        self.scripts.clear()
        self.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        self.driver.get(blank.as_uri())
        left = self.driver.execute_async_script("""
            const done = arguments[0];
            localStorage.clear();
            indexedDB.databases().then((all) => Promise.all(all.map((base) => new Promise((ok) => {
                const ask = indexedDB.deleteDatabase(base.name);
                ask.onsuccess = ask.onerror = ask.onblocked = ok;
            })))).then(() => done(localStorage.length));
        """)
        if left:
            raise AssertionError("the browser still keeps what an earlier test stored")
        self.requests(), self.complaints()
        for path in self.downloads.iterdir():
            path.unlink()
        return self

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


def start(home: Path, storage: bool = True, scripting: bool = True) -> Window:
    """Open a browser whose profile and downloads lie in a folder that does not exist yet."""
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    binary, driver_path = program("chromium", "chromium-browser"), program("chromedriver")
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
    driver.execute_cdp_cmd(
        "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(downloads)}
    )
    driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": LATE})
    return Window(driver, downloads)
