"""The loop: look for changes, read the specs, build in a process of its own, tell the page.

The build runs outside this process, so that a newer save ends it at once: `plybook build` writes
all or nothing, and the last good output stays.
"""

from __future__ import annotations

import json
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import IO

from plybook.diagnostics import Finding, Place, PlybookError, Severity
from plybook.libraries import own_program
from plybook.watch.sources import Asking, fingerprint

POLL_S = 0.3
Say = Callable[[str], None]


@dataclass(frozen=True)
class State:
    """What the page shows.

    Attributes:
        round: number of the round, counted up by each save.
        good: number of the last round that wrote files; 0 none yet.
        busy: whether a round is running.
        parts: folders of the last good build.
        text: findings as text, with their source lines.
        summary: "2 errors, 1 warning", or "built".
        failed: whether the last finished round wrote nothing.
    """

    round: int = 0
    good: int = 0
    busy: bool = True
    parts: tuple[str, ...] = ()
    text: str = ""
    summary: str = "reading"
    failed: bool = False

    @property
    def shared(self) -> str:
        """The folder of the cut plan that the parts share; "" for one part."""
        return "+".join(self.parts) if len(self.parts) > 1 else ""


@dataclass(frozen=True)
class Outcome:
    """How a build ended."""

    code: int
    findings: tuple[Finding, ...]
    trouble: str = ""  # what it said when it broke down


class Watch:
    """Rebuilds the specs whenever a file behind them changes.

    Args:
        specs: the part specs.
        out: folder to build into.
        limits: limits raised at the command line.
        effort: of the cut plan.
        say: told in one line what happens, for the terminal.
    """

    def __init__(
        self,
        specs: Sequence[Path],
        out: Path,
        limits: Mapping[str, float] | None = None,
        effort: str = "quick",
        say: Say | None = None,
    ):
        self.specs, self.out, self.effort = list(specs), out, effort
        self._limits = dict(limits or {})
        self._say = say or (lambda _: None)
        self._lock = threading.Lock()
        self._state = State()
        self._watched: set[Path] = set(specs)

    @property
    def state(self) -> State:
        with self._lock:
            return self._state

    def state_json(self) -> bytes:
        """The state as the page reads it."""
        state = self.state
        return json.dumps({**asdict(state), "shared": state.shared}).encode()

    def run(self, stop: threading.Event) -> None:
        """Go round until `stop` is set."""
        seen: dict[Path, str] | None = None
        while not stop.is_set():
            now = self._settled(stop)
            if now == seen:
                stop.wait(POLL_S)
                continue
            seen = self._round(now, stop)

    # ---------------------------------------------------------------- one round

    def _round(self, at: dict[Path, str], stop: threading.Event) -> dict[Path, str]:
        """Read and build once; returns the contents it was made from."""
        self._put(round=self.state.round + 1, busy=True, summary="reading")
        outside = Asking(self._limits)
        outcome: Outcome | None = None
        numbers: tuple[str, ...] = ()
        try:
            numbers = _read(self.specs, outside)
        except PlybookError as refusal:
            outcome = Outcome(refusal.exit_code, refusal.findings)
        self._watched = {*self.specs, *outside.asked}
        begun = {**self._now(), **{path: at[path] for path in at if path in self._watched}}
        if outcome is None:
            self._put(summary="building", text="")  # what the reader refused is repaired
            self._say("building")
            outcome = self._build(lambda: stop.is_set() or self._now() != begun)
        if outcome is not None:
            self._end(outcome, numbers, outside)
        return begun

    def _build(self, outdated: Callable[[], bool]) -> Outcome | None:
        """Run `plybook build`; None when it was ended because its input is outdated."""
        words = ["build", f"--out={self.out}", "--effort", self.effort, "--format", "json"]
        words += ["--quiet", *(f"--limit={name}={n:g}" for name, n in self._limits.items())]
        words += ["--", *map(str, self.specs)]
        with tempfile.TemporaryFile() as told, tempfile.TemporaryFile() as trouble:
            child = subprocess.Popen(
                own_program(words), stdin=subprocess.DEVNULL, stdout=told, stderr=trouble
            )
            try:
                while child.poll() is None:
                    if outdated():
                        return None
                    time.sleep(POLL_S)
            finally:
                if child.poll() is None:
                    child.terminate()
                    child.wait()
            return _outcome(child.returncode, _content(told), _content(trouble))

    def _end(self, outcome: Outcome, numbers: Sequence[str], outside: Asking) -> None:
        from plybook import report

        built = outcome.code == 0
        text = report.as_text(outcome.findings, lines_of=outside.lines, everything=True)
        text = text or outcome.trouble
        words = report.count_words(report.by_severity(outcome.findings))
        summary = ("built" + (f", {words}" if words else "")) if built else words or "failed"
        changes: dict[str, object] = {"busy": False, "text": text, "summary": summary}
        changes["failed"] = not built
        if built:
            changes.update(good=self.state.round, parts=tuple(numbers))
        self._put(**changes)
        self._say(summary if built else f"{summary}; the last good output stays\n{text}")

    # ---------------------------------------------------------------- what is watched

    def _now(self) -> dict[Path, str]:
        return fingerprint(self._watched, Asking())

    def _settled(self, stop: threading.Event) -> dict[Path, str]:
        """The contents once they are the same twice, so that half a save is not read."""
        before = self._now()
        while not stop.wait(POLL_S / 3):
            after = self._now()
            if after == before:
                break
            before = after
        return before

    def _put(self, **changes: object) -> None:
        with self._lock:
            self._state = replace(self._state, **changes)  # type: ignore[arg-type]


def _read(specs: Sequence[Path], outside: Asking) -> tuple[str, ...]:
    """Part numbers of the specs; raises what the reader refuses."""
    from plybook.build import read

    return tuple(one.spec.part.number for one in read(specs, outside))


def _content(stream: IO[bytes]) -> str:
    stream.seek(0)
    return stream.read().decode("utf-8", "replace")


def _outcome(code: int, told: str, trouble: str) -> Outcome:
    try:
        return Outcome(code, tuple(finding_of(row) for row in json.loads(told)), trouble)
    except (ValueError, KeyError, TypeError):
        return Outcome(code, (), trouble or told)


def finding_of(row: Mapping) -> Finding:
    """A finding from its JSON form."""
    return Finding(
        row["code"],
        Severity(row["severity"]),
        row["message"],
        row["help"],
        tuple(Place(p["file"], p["line"], p["column"], p["end_column"]) for p in row["places"]),
        tuple(row["layers"]),
        row["source"],
        row["acknowledged"],
    )
