"""A page on this machine only: the state of the watch, and the last good output.

Bound to 127.0.0.1. Requests that name another host are refused, so that no page from elsewhere
can read the files through the browser; only files that a build has written and lists are served.
A client that says nothing is dropped after some seconds, and no more than a few dozen are heard at
a time, so that none can hold up the page or the rebuilds.
"""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import unquote, urlsplit

from plybook.builtfolder import MANIFEST, read_json
from plybook.diagnostics import OutputError, PlybookError, error
from plybook.outside import Outside
from plybook.watch.loop import Watch

ADDRESS = "127.0.0.1"
LARGEST_BYTES = 500_000_000
ASSETS = Path(__file__).with_name("assets")
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
    ".csv": "text/csv; charset=utf-8",
    ".dxf": "application/dxf",
}
TIMEOUT_S = 15.0
MOST_CLIENTS = 32
_FRAMED = "frame-ancestors 'self'; base-uri 'none'; form-action 'none'"
_POLICY = f"default-src 'self'; img-src 'self' data:; {_FRAMED}"


def serve(watch: Watch, port: int = 0) -> ThreadingHTTPServer:
    """Serve the page from a thread of its own.

    Args:
        watch: whose state and output are shown.
        port: 0 takes a free one; `server_address` of the result tells which.

    Raises:
        OutputError: the port is taken.
    """

    class Handler(_Handler):
        watching = watch

    try:
        server = _Server((ADDRESS, port), Handler)
    except (OSError, OverflowError) as trouble:
        reason = getattr(trouble, "strerror", None) or str(trouble)
        raise OutputError(
            error(
                "port-taken",
                f"no page can be served on port {port}: {reason}",
                "choose another with --port, or leave it out",
            )
        ) from trouble
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


class _Server(ThreadingHTTPServer):
    """A server that hears so many clients at a time and keeps quiet about those that go."""

    daemon_threads = True

    def __init__(self, *given):
        self._free = threading.BoundedSemaphore(MOST_CLIENTS)
        super().__init__(*given)

    def process_request(self, request, client_address) -> None:
        if not self._free.acquire(blocking=False):
            self.shutdown_request(request)  # the browser asks again
            return
        try:
            super().process_request(request, client_address)
        except BaseException:
            self._free.release()
            raise

    def process_request_thread(self, request, client_address) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._free.release()

    def handle_error(self, request, client_address) -> None:
        """Nothing: a download that is broken off is no fault, and the terminal is the builds'."""


class _Handler(BaseHTTPRequestHandler):
    watching: Watch
    timeout = TIMEOUT_S
    server_version = "plybook"
    sys_version = ""

    def do_GET(self) -> None:
        port = self.connection.getsockname()[1]
        if self.headers.get("Host") not in (f"{ADDRESS}:{port}", f"localhost:{port}"):
            self._answer(403, b"this page is for this machine only\n", "text/plain")
            return
        path = unquote(urlsplit(self.path).path)
        if path == "/state":
            self._answer(200, self.watching.state_json(), "application/json")
            return
        file = self._file(path)
        if file is None:
            self._answer(404, b"there is no such page\n", "text/plain")
            return
        try:
            content = Outside().read(file, LARGEST_BYTES)
        except PlybookError:
            self._answer(404, b"there is no such file\n", "text/plain")
            return
        own = file.parent == ASSETS
        self._answer(200, content, _TYPES.get(file.suffix, "application/octet-stream"), own)

    def _file(self, path: str) -> Path | None:
        """The file behind an address: the page itself, or one of a built part."""
        if path == "/":
            return ASSETS / "page.html"
        words = path.split("/")
        if len(words) == 3 and words[1] == "page" and words[2] in ("page.css", "page.js"):
            return ASSETS / words[2]
        state = self.watching.state
        known = {*state.parts, state.shared} - {""}
        if len(words) < 4 or words[1] != "out" or words[2] not in known:
            return None
        if any(word in ("", ".", "..") or "\\" in word or "\0" in word for word in words[3:]):
            return None
        home = (self.watching.out / words[2]).resolve()
        file = home.joinpath(*words[3:])
        if home not in file.resolve().parents or "/".join(words[3:]) not in _listed(home):
            return None
        return file

    def _answer(self, code: int, content: bytes, kind: str, own: bool = False) -> None:
        self.send_response(code)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Content-Security-Policy", _POLICY if own else _FRAMED)
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("Referrer-Policy", "no-referrer")
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the terminal belongs to the builds."""


def _listed(home: Path) -> set[str]:
    """Files that the build in a folder has written, by its manifest."""
    try:
        files = read_json(home / MANIFEST, Outside()).get("files")
    except PlybookError:
        return set()
    rows = files if isinstance(files, list) else []
    return {MANIFEST, *(str(row.get("name")) for row in rows if isinstance(row, dict))}
