"""`plybook watch`: what is rebuilt when, what the page is told, and who may ask."""

import contextlib
import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from plybook.diagnostics import OutputError, warning
from plybook.starters import starter_text
from plybook.watch import Watch, serve
from plybook.watch.loop import Outcome, finding_of
from plybook.watch.server import MOST_CLIENTS
from plybook.watch.sources import Asking, fingerprint

WAIT_S = 60.0
PATIENCE_S = 0.05


class Fake(Watch):
    """Builds nothing; says what it was told to."""

    def __init__(self, *words, **more):
        super().__init__(*words, **more)
        self.builds = 0
        self.outcome = Outcome(0, ())
        self.hold = threading.Event()
        self.hold.set()
        self.ended = 0

    def _build(self, outdated):
        self.builds += 1
        while not self.hold.is_set():
            if outdated():
                self.ended += 1
                return None
            time.sleep(PATIENCE_S)
        return self.outcome


@pytest.fixture
def spec(tmp_path):
    file = tmp_path / "part.yaml"
    text = starter_text("panel")
    cut = text.index("stock:\n")
    (tmp_path / "shop.yaml").write_text("plybook: 1\nunits: mm\n" + text[cut:])
    file.write_text(text[:cut].replace("plybook: 1 ", "include: [shop.yaml]\nplybook: 1 "))
    return file


@pytest.fixture
def going(spec, tmp_path):
    """A watch that goes round in a thread."""
    stop = threading.Event()
    watch = Fake([spec], tmp_path / "out")
    thread = threading.Thread(target=watch.run, args=(stop,), daemon=True)
    thread.start()
    yield watch
    stop.set()
    watch.hold.set()
    thread.join(WAIT_S)


def until(condition, seconds=WAIT_S):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(PATIENCE_S)


def finished(watch, round):
    return lambda: watch.state.round >= round and not watch.state.busy


def save_by_rename(path: Path, text: str) -> None:
    aside = path.with_suffix(".tmp")
    aside.write_text(text)
    os.replace(aside, path)


def test_it_builds_once_and_again_after_a_save_by_rename(going, spec):
    until(finished(going, 1))
    save_by_rename(spec, spec.read_text().replace("revision: A", "revision: B"))
    until(finished(going, 2))
    assert going.builds == 2 and going.state.good == 2
    assert going.state.parts == ("PANEL-1",)


def test_an_included_file_is_watched_too_and_others_are_not(going, spec):
    until(finished(going, 1))
    (spec.parent / "notes.txt").write_text("nothing to do with it")
    (spec.parent / "part.layouts.json").write_text("{}")
    shop = spec.parent / "shop.yaml"
    shop.write_text(shop.read_text().replace("people: 1", "people: 2"))
    until(finished(going, 2))
    assert going.builds == 2


def test_a_file_saved_with_the_same_content_is_no_change(going, spec):
    until(finished(going, 1))
    save_by_rename(spec, spec.read_text())
    os.utime(spec)
    with pytest.raises(AssertionError):
        until(lambda: going.builds > 1, 1.5)


def test_a_wrong_spec_is_told_at_once_and_the_last_good_output_stays(going, spec):
    until(finished(going, 1))
    right = spec.read_text()
    save_by_rename(spec, right.replace("corners: 25", "cornres: 25"))
    until(lambda: going.state.failed and not going.state.busy)
    state = going.state
    assert state.good == 1 and state.parts == ("PANEL-1",) and going.builds == 1
    assert "unknown-key" in state.text and "cornres: 25" in state.text  # with its source line
    save_by_rename(spec, right)
    until(lambda: not going.state.failed and not going.state.busy)
    assert going.builds == 2


def test_a_repaired_spec_is_seen_to_be_building_before_it_is_built(spec, tmp_path):
    """A build takes a while; nobody must think the save was missed."""
    told, stop = [], threading.Event()
    watch = Fake([spec], tmp_path / "out", say=told.append)
    thread = threading.Thread(target=watch.run, args=(stop,), daemon=True)
    thread.start()
    try:
        until(finished(watch, 1))
        right = spec.read_text()
        save_by_rename(spec, right.replace("corners: 25", "cornres: 25"))
        until(lambda: watch.state.failed and not watch.state.busy)
        watch.hold.clear()
        save_by_rename(spec, right)
        until(lambda: watch.builds == 2)
        assert (watch.state.summary, watch.state.text) == ("building", "")
        assert told[:2] == ["building", "built"] and "unknown-key" in told[2]
        assert told[3:] == ["building"]
        watch.hold.set()
        until(lambda: not watch.state.busy)
        assert told[3:] == ["building", "built"] and watch.state.good == 3
    finally:
        stop.set()
        watch.hold.set()
        thread.join(WAIT_S)


def test_a_missing_include_is_waited_for(going, spec):
    until(finished(going, 1))
    shop = spec.parent / "shop.yaml"
    text = shop.read_text()
    shop.unlink()
    until(lambda: going.state.failed and not going.state.busy)
    assert "no-such-file" in going.state.text
    shop.write_text(text)
    until(lambda: not going.state.failed and not going.state.busy)


def test_a_newer_save_ends_the_build_that_runs(going, spec):
    until(finished(going, 1))
    going.hold.clear()
    save_by_rename(spec, spec.read_text().replace("revision: A", "revision: B"))
    until(lambda: going.builds == 2)
    save_by_rename(spec, spec.read_text().replace("revision: B", "revision: C"))
    until(lambda: going.ended == 1)
    going.hold.set()
    until(finished(going, 3))
    assert going.state.good == 3


def test_what_a_build_that_breaks_down_says_reaches_the_page(going, spec):
    until(finished(going, 1))
    going.outcome = Outcome(70, (), "plybook failed: something")
    save_by_rename(spec, spec.read_text().replace("revision: A", "revision: B"))
    until(lambda: going.state.failed and not going.state.busy)
    assert "something" in going.state.text and going.state.good == 1


def test_a_finding_comes_back_from_its_json_as_it_was():
    from plybook.diagnostics import Place
    from plybook.report import as_dict

    one = warning("code", "said", "edit", Place("f.yaml", 3, 5, 9), layers=("A",), source="book")
    assert finding_of(json.loads(json.dumps(as_dict(one)))) == one


def test_a_fingerprint_tells_content_and_absence(tmp_path):
    file = tmp_path / "a"
    file.write_text("x")
    first = fingerprint([file, tmp_path / "b"], Asking())
    assert first[tmp_path / "b"] == "" and len(first[file]) == 64
    file.write_text("y")
    assert fingerprint([file], Asking())[file] != first[file]


# ---------------------------------------------------------------- the page


@pytest.fixture
def page(going, tmp_path):
    until(finished(going, 1))
    home = tmp_path / "out" / "PANEL-1"
    home.mkdir(parents=True)
    (home / "booklet.html").write_text("<p>book</p>")
    (home / "mine.txt").write_text("a stranger's")
    rows = [{"name": "booklet.html"}, {"name": "link.txt"}, {"name": "../secret.txt"}, 5]
    (home / "manifest.json").write_text(json.dumps({"files": rows}))
    (tmp_path / "out" / "secret.txt").write_text("secret")
    (home / "link.txt").symlink_to(tmp_path / "out" / "secret.txt")
    server = serve(going)
    yield server
    server.shutdown()
    server.server_close()


def ask(server, path, host=None, method="GET"):
    port = server.server_address[1]
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=WAIT_S)
    with contextlib.closing(line):
        line.putrequest(method, path, skip_host=True)
        line.putheader("Host", host or f"127.0.0.1:{port}")
        line.endheaders()
        answer = line.getresponse()
        return answer.status, answer.read(), answer.headers


def test_the_page_and_the_state_are_served(page):
    status, body, headers = ask(page, "/")
    assert status == 200 and b"plybook" in body
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    state = json.loads(ask(page, "/state")[1])
    assert state["good"] == 1 and state["parts"] == ["PANEL-1"]
    assert ask(page, "/out/PANEL-1/booklet.html")[1] == b"<p>book</p>"


def test_the_cut_plan_of_parts_cut_together_is_served(page, going, tmp_path):
    going._put(parts=("PANEL-1", "PANEL-2"))
    home = tmp_path / "out" / "PANEL-1+PANEL-2"
    home.mkdir()
    (home / "cutplan.pdf").write_text("of both")
    (home / "manifest.json").write_text(json.dumps({"files": [{"name": "cutplan.pdf"}]}))
    assert json.loads(ask(page, "/state")[1])["shared"] == "PANEL-1+PANEL-2"
    assert ask(page, "/out/PANEL-1%2BPANEL-2/cutplan.pdf")[1] == b"of both"


@pytest.mark.parametrize(
    "path",
    [
        "/out//PANEL-1/booklet.html",
        "/out/PANEL-1+PANEL-2/cutplan.pdf",
        "/out/PANEL-1/../secret.txt",
        "/out/PANEL-1/%2e%2e/secret.txt",
        "/out/PANEL-1/..%2fsecret.txt",
        "/out/PANEL-1/link.txt",
        "/out/PANEL-1/mine.txt",
        "/out/secret.txt",
        "/out/OTHER/booklet.html",
        "/out/PANEL-1/",
        "/out/PANEL-1",
        "/page/../server.py",
        "/page/server.py",
        "/etc/passwd",
        "//etc/passwd",
    ],
)
def test_nothing_else_is_served(page, path):
    assert ask(page, path)[0] == 404


@pytest.mark.parametrize("path", ["/", "/state", "/out/PANEL-1/booklet.html", "/nothing"])
def test_every_answer_tells_other_pages_to_keep_out(page, path):
    headers = ask(page, path)[2]
    assert "frame-ancestors 'self'" in headers["Content-Security-Policy"]
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_clients_that_say_nothing_hold_up_nobody_for_long(page, monkeypatch):
    monkeypatch.setattr(page.RequestHandlerClass, "timeout", 0.5)
    address = page.server_address
    with contextlib.ExitStack() as held:
        for _ in range(MOST_CLIENTS + 8):
            held.enter_context(socket.create_connection(address, WAIT_S))

        def answered():
            try:
                return ask(page, "/state")[0] == 200
            except (OSError, http.client.HTTPException):
                return False

        until(answered)


def test_a_download_that_is_broken_off_says_nothing(page, tmp_path, capfd):
    (tmp_path / "out" / "PANEL-1" / "booklet.html").write_bytes(b"x" * 20_000_000)
    for _ in range(3):
        with socket.create_connection(page.server_address, WAIT_S) as line:
            host = f"127.0.0.1:{page.server_address[1]}"
            line.sendall(f"GET /out/PANEL-1/booklet.html HTTP/1.0\r\nHost: {host}\r\n\r\n".encode())
            line.recv(1)
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    assert ask(page, "/state")[0] == 200
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize("host", ["evil.test", "evil.test:80", "127.0.0.1", "127.0.0.1:1"])
def test_a_request_that_names_another_host_is_refused(page, host):
    assert ask(page, "/state", host)[0] == 403


def test_only_this_machine_can_ask(page):
    assert page.server_address[0] == "127.0.0.1"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
def test_only_reading_is_answered(page, method):
    assert ask(page, "/state", method=method)[0] == 501


def test_a_port_that_is_taken_is_refused_with_a_finding(going):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(OutputError) as refusal:
            serve(going, taken.getsockname()[1])
    assert refusal.value.findings[0].code == "port-taken"
    with pytest.raises(OutputError):
        serve(going, 999_999)


# ---------------------------------------------------------------- the whole, as it is run


@pytest.mark.slow
def test_the_command_builds_keeps_the_last_good_output_and_ends_with_ctrl_c(tmp_path):
    spec = tmp_path / "part.yaml"
    spec.write_text(starter_text("panel"))
    run = subprocess.Popen(
        [sys.executable, "-m", "plybook", "watch", str(spec), "--out", str(tmp_path / "out")],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        address = run.stdout.readline().strip()
        port = int(address.rsplit(":", 1)[1].strip("/"))

        def state():
            line = http.client.HTTPConnection("127.0.0.1", port, timeout=WAIT_S)
            with contextlib.closing(line):
                line.request("GET", "/state")
                return json.loads(line.getresponse().read())

        until(lambda: state()["good"] == 1, 300)
        booklet = tmp_path / "out" / "PANEL-1" / "booklet.html"
        first = booklet.read_bytes()
        save_by_rename(spec, spec.read_text().replace("angle", "x").replace("as: A", "sa: A"))
        until(lambda: state()["failed"] and not state()["busy"])
        assert booklet.read_bytes() == first
        save_by_rename(spec, starter_text("panel").replace("name: Flat panel", "name: Lid"))
        until(lambda: state()["good"] >= 3 and not state()["busy"], 300)
        assert b"Lid" in booklet.read_bytes()
        run.send_signal(signal.SIGINT)
        assert run.wait(WAIT_S) == 0
    finally:
        if run.poll() is None:
            run.kill()
            run.wait()
