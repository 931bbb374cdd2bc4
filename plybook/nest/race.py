"""Several searches of the irregular packer at once, each in a process of its own.

A search that panics, is killed or eats its memory takes nothing with it; Ctrl-C reaches only the
parent, which ends its children and keeps the best layout heard of so far.
"""

from __future__ import annotations

import importlib.util
import json
import queue
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np

from plybook.nest.budget import Budget

_LISTEN_S = 0.1  # a wish to stop is noticed this soon
_KEPT = 4  # layouts of each search that are worth a second look
_LONGEST_WORDS = 200  # of what a search says when it breaks down
CHILD = Path(__file__).with_name("child.py")


@dataclass(frozen=True)
class Task:
    """A strip of `height_mm` by any length; every two items `separation_mm` apart."""

    rings_mm: tuple[np.ndarray, ...]
    demands: tuple[int, ...]
    rotations_deg: tuple[tuple[float, ...] | None, ...]
    height_mm: float
    separation_mm: float


@dataclass(frozen=True)
class Found:
    """A layout as heard from a search: (item, rotation_deg, x_mm, y_mm) rows."""

    length_mm: float
    rows: tuple[tuple[int, float, float, float], ...]


def packer_is_installed() -> bool:
    """Whether the irregular packer can be imported by a child process."""
    return importlib.util.find_spec("spyrrow") is not None


class Race:
    """Searches with different seeds on one task. Use as a context; leaving it ends them all."""

    def __init__(self, task: Task, seconds: float, seeds: tuple[int, ...], workers: int = 1):
        self.best: Found | None = None
        self.crashed = 0
        self.words = ""  # what the search that broke down last said
        self.spent_s = 0.0  # processor time of the search that had most, as far as was heard
        self._task, self._seconds, self._seeds, self._workers = task, seconds, seeds, workers
        self._lines: queue.Queue[tuple[int, dict | None]] = queue.Queue()
        self._by_seed: dict[int, list[Found]] = {}
        self._children: list[subprocess.Popen] = []
        self._running = 0

    @property
    def process_ids(self) -> tuple[int, ...]:
        """Of the searches, in the order of their seeds."""
        return tuple(child.pid for child in self._children)

    @property
    def is_over(self) -> bool:
        """Every search has ended."""
        return self._running == 0

    def __enter__(self) -> Race:
        for seed in self._seeds:
            self._start(seed)
        return self

    def __exit__(self, *_) -> None:
        for child in self._children:
            child.kill()
        for child in self._children:
            child.wait()

    def _start(self, seed: int) -> None:
        t = self._task
        text = json.dumps(
            {
                "height": t.height_mm,
                "separation": t.separation_mm,
                "seconds": self._seconds,
                "seed": seed,
                "workers": self._workers,
                "items": [
                    {
                        "ring": ring.tolist(),
                        "demand": demand,
                        "rotations": None if rotations is None else list(rotations),
                    }
                    for ring, demand, rotations in zip(
                        t.rings_mm, t.demands, t.rotations_deg, strict=True
                    )
                ],
            }
        )
        complaints = tempfile.TemporaryFile()  # noqa: SIM115 - closed by the listening thread
        child = subprocess.Popen(
            [sys.executable, "-P", str(CHILD)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=complaints,
            text=True,
            start_new_session=True,
        )
        self._children.append(child)
        self._running += 1
        threading.Thread(
            target=self._listen, args=(child, complaints, seed, text), daemon=True
        ).start()

    def _listen(self, child: subprocess.Popen, complaints: IO[bytes], seed: int, text: str) -> None:
        assert child.stdin is not None and child.stdout is not None  # pipes, as started
        done = False
        try:
            child.stdin.write(text)
            child.stdin.close()
            for line in child.stdout:
                said = json.loads(line)
                done = done or said.get("done", False)
                self.spent_s = max(self.spent_s, said.get("spent", 0.0))
                if "placed" in said:
                    self._lines.put((seed, said))
        except (OSError, ValueError):
            done = False
        if not done:
            self.words = _last_words(child, complaints)
            self.crashed += 1
        complaints.close()
        self._lines.put((seed, None))

    def run(
        self,
        budget: Budget,
        target_mm: float = 0.0,
        heard: Callable[[Found], None] | None = None,
    ) -> Found | None:
        """Listen until the time is up, every search is over, or a layout reaches the target.

        Args:
            budget: wall time; a stopped one ends the listening, not the searches.
            target_mm: a layout this short ends the race.
            heard: called with each layout better than all before.

        Returns:
            The shortest layout heard, None if there was none.
        """
        while self._running and (left := budget.left_s()) > 0:
            try:
                seed, said = self._lines.get(timeout=min(left, _LISTEN_S))
            except queue.Empty:
                continue
            if said is None:
                self._running -= 1
                continue
            found = Found(said["length"], tuple(tuple(row) for row in said["placed"]))
            self._by_seed.setdefault(seed, []).append(found)
            if self.best is None or found.length_mm < self.best.length_mm:
                self.best = found
                if heard:
                    heard(found)
                if found.length_mm <= target_mm:
                    break
        return self.best

    def leaders(self) -> list[Found]:
        """The last layouts of each search (each better than the one before), shortest first."""
        last = [f for found in self._by_seed.values() for f in found[-_KEPT:]]
        return sorted(last, key=lambda f: f.length_mm)


def _last_words(child: subprocess.Popen, complaints: IO[bytes]) -> str:
    """The last line a search wrote to stderr before it broke down, or else how it ended."""
    status = child.wait()
    complaints.seek(0)
    lines = complaints.read().decode("utf-8", "replace").split("\n")
    said = [line.strip() for line in lines if line.strip()]
    if said:
        words = said[-1].removeprefix("pyo3_runtime.PanicException: ")
        return "".join(c for c in words if c.isprintable())[:_LONGEST_WORDS]
    return f"ended by signal {-status}" if status < 0 else f"ended with status {status}"
