"""Fuzzing by one command: `python -m tests.fuzz.run --count 20000 --seed 1 --small --workers 2`.

The property: a spec gives findings (with the exit code of a refusal) or a build that `verify`
calls sound. A traceback, a hang, a refusal without a finding, or a build that does not verify is
a failure and is kept as files in `--keep`. Depths: `load` (default) reads the spec, `--lay` goes on
to the pieces, `--build` makes and verifies every file, `--small` does that with parts of a hand's
breadth, one in seven whole and the others spoiled, half a second each. A line is printed every
hundred cases.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import queue
import random
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from plybook.build import build
from plybook.diagnostics import Finding, PlybookError, Severity, SpecError
from plybook.laminate import lay_up
from plybook.outside import Outside, Shelf
from plybook.spec import load
from plybook.spec.model import PartSpec
from plybook.surface import build_face
from plybook.tryout import with_tried_edits
from plybook.verify import verify_folder
from tests.fuzz import generate, mutate

SPECS = Path(__file__).parents[2] / "specs"
LAYOUTS = ".layouts.json"
FILES = {
    p.relative_to(SPECS).as_posix(): p.read_bytes()
    for p in sorted(SPECS.rglob("*"))
    if p.suffix in (".yaml", ".dat")
}
PARTS = [name for name in FILES if "/" not in name]
SHARED = [name for name in FILES if name.startswith("shared/")]
LONGEST_S = {"load": 10, "lay": 120, "build": 400, "small": 120}  # of a processor's time
ASLEEP = 10  # a case that takes this many times as long by the wall clock waits for something
SEARCH_S = 0.1  # for the cut plan of a small part
ORDERS = 2  # in which its pieces are laid in turn
TOLD_EVERY = 100
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None


class Hang(BaseException):
    """A case took longer than any may."""


@dataclass
class Tally:
    """How the cases ended."""

    cases: int = 0
    refused: int = 0
    unproved: int = 0  # of the refused: pieces or layouts that the verifier would call wrong
    passed: int = 0
    sound: int = 0
    used_s: float = 0.0  # of processors
    slowest_s: float = 0.0
    slowest: int = 0
    failures: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)  # what was not proved

    def add(self, other: Tally) -> None:
        """Count the cases of another tally too."""
        self.cases += other.cases
        self.refused += other.refused
        self.unproved += other.unproved
        self.passed += other.passed
        self.sound += other.sound
        self.used_s += other.used_s
        if other.slowest_s > self.slowest_s:
            self.slowest_s, self.slowest = other.slowest_s, other.slowest
        self.failures += other.failures
        self.told += other.told

    def __str__(self) -> str:
        return (
            f"{self.cases} cases: {self.refused} refused with findings "
            f"({self.unproved} as not proved), {self.passed} accepted, "
            f"{self.sound} built and verified, {len(self.failures)} failures; "
            f"{self.used_s:.0f} s of processors, slowest {self.slowest_s:.1f} s "
            f"(seed {self.slowest})"
        )


def case(dice: random.Random, made_up: float) -> tuple[str, dict[str, bytes]]:
    """A part spec by name, and all files it may read."""
    if dice.random() < made_up:
        tree = generate.spec(dice)
        if dice.random() < 0.3:
            tree = mutate.mutated(tree, dice)
        return "part.yaml", {**FILES, "part.yaml": mutate.written(tree)}
    part = dice.choice(PARTS)
    target = part if dice.random() < 0.8 else dice.choice(SHARED)
    tree = mutate.mutated(mutate.read(FILES[target]), dice, dice.choice([1, 1, 1, 2, 4]))
    return part, {**FILES, target: mutate.written(tree)}


def small_case(dice: random.Random) -> tuple[str, dict[str, bytes]]:
    """A small part, spoiled in a few places or as made up; now and then its materials are."""
    tree = generate.small_spec(dice)
    files = dict(FILES)
    if dice.random() < 0.85:
        tree = mutate.mutated(tree, dice, dice.choice([1, 2, 3, 4]))
    elif dice.random() < 0.15:
        target = dice.choice(SHARED)
        files[target] = mutate.written(mutate.mutated(mutate.read(FILES[target]), dice))
    return "part.yaml", {**files, "part.yaml": mutate.written(tree)}


def attempt(part: str, files: dict[str, bytes], depth: str, tally: Tally) -> None:
    """Run one case.

    Raises:
        Exception: whatever a case must never end with.
    """
    if depth in ("build", "small"):
        with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
            return _build(part, files, Path(folder), tally)
    try:
        loaded = load(Path(part), Shelf(files))
        if depth == "lay":
            for spec in loaded.specs:
                wrong = [f for f in _laid(spec) if f.severity is Severity.ERROR]
                if wrong:
                    raise SpecError(with_tried_edits(spec, wrong))
    except PlybookError as refusal:
        _judge(refusal, tally)
    else:
        tally.passed += 1


def _laid(spec: PartSpec) -> tuple[Finding, ...]:
    """What a lay-up finds, or what its face is refused for."""
    try:
        return lay_up(spec, build_face(spec)).findings
    except PlybookError as refusal:
        return refusal.findings


def _build(part: str, files: dict[str, bytes], folder: Path, tally: Tally) -> None:
    for name, content in files.items():
        path = folder / "specs" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    out = folder / "out"
    try:
        build([folder / "specs" / part], out, Outside(), lambda text: None, effort="quick")
    except PlybookError as refusal:
        _judge(refusal, tally)
        assert not out.exists() or not list(out.iterdir()), "a refused build left files"
        return
    tally.passed += 1
    reports = verify_folder(out)
    faults = [fault for report in reports.folders for fault in report.faults]
    assert reports.sound, "a build does not verify: " + "; ".join(faults[:5])
    tally.sound += 1


def _judge(refusal: PlybookError, tally: Tally) -> None:
    assert refusal.exit_code in (1, 3, 4), f"exit code {refusal.exit_code}"
    assert refusal.findings, "a refusal without a finding"
    errors = [f for f in refusal.findings if f.severity is Severity.ERROR]
    assert errors, "a refusal without an error among its findings"
    assert all(f.message and f.code for f in errors), "a finding without words"
    tally.refused += 1
    unproved = [f for f in errors if f.code == "not-proved"]
    tally.unproved += bool(unproved)
    if unproved:
        tally.told.append(unproved[0].message)


def run(
    count: int,
    seed: int,
    depth: str = "load",
    made_up: float = 0.2,
    keep: Path | None = None,
    seconds: float = float("inf"),
) -> Tally:
    """Run `count` cases, each from its own seed so that one can be run again by itself."""
    tally, until = Tally(), time.monotonic() + seconds
    with manner(depth):
        for number in range(seed, seed + count):
            if time.monotonic() > until:
                break
            new = one(number, depth, made_up, keep)
            tally.add(new)
            _tell(tally, new)
    return tally


def run_beside(
    workers: int,
    count: int,
    seed: int,
    depth: str,
    made_up: float,
    keep: Path | None,
    seconds: float,
) -> Tally:
    """The same by several processes; a process that dies is a failure of the case it was at."""
    tally, until = Tally(), time.monotonic() + seconds
    following = multiprocessing.Value("q", seed)
    ended: multiprocessing.Queue = multiprocessing.Queue()
    helpers = [
        multiprocessing.Process(
            target=_help, args=(following, seed + count, until, depth, made_up, keep, ended),
            daemon=True,  # so that a build does its work itself instead of forking
        )
        for _ in range(workers)
    ]  # fmt: skip
    at: dict[int, int] = {}
    for helper in helpers:
        helper.start()
    while True:
        alive = any(helper.is_alive() for helper in helpers)
        try:
            helper_id, number, told = ended.get(timeout=1.0)
        except queue.Empty:
            if alive:
                continue
            break
        if told is None:
            at[helper_id] = number
        else:
            del at[helper_id]
            tally.add(told)
            _tell(tally, told)
    for number in at.values():
        tally.add(Tally(cases=1, failures=[f"seed {number}: the process died"]))
    return tally


def _help(following, end, until, depth, made_up, keep, ended) -> None:
    with manner(depth):
        while time.monotonic() < until:
            with following.get_lock():
                number = following.value
                following.value += 1
            if number >= end:
                break
            ended.put((os.getpid(), number, None))
            ended.put((os.getpid(), number, one(number, depth, made_up, keep)))


@contextmanager
def manner(depth: str) -> Iterator[None]:
    """For small parts a short search for the cut plan, and one subset of the page's typeface for
    all cases."""
    import plybook.nest.plan as planning
    import plybook.nest.stretch as laying
    import plybook.write.webfont as page

    if depth != "small":
        yield
        return
    search, orders, subset = planning.SECONDS, laying.ORDERS, page._font_subset
    one_for_all = cache(lambda bold: subset(page._characters(""), bold))
    planning.SECONDS, laying.ORDERS = {**search, "quick": SEARCH_S}, ORDERS
    page._font_subset = lambda characters, bold: one_for_all(bold)
    try:
        yield
    finally:
        planning.SECONDS, laying.ORDERS, page._font_subset = search, orders, subset


def one(number: int, depth: str, made_up: float, keep: Path | None) -> Tally:
    """One case by its seed."""
    tally = Tally(cases=1)
    dice = random.Random(number)
    part, files = small_case(dice) if depth == "small" else case(dice, made_up)
    began = time.process_time()
    try:
        with _watched(LONGEST_S[depth]):
            attempt(part, files, depth, tally)
    except (Exception, Hang) as wrong:
        frames = traceback.extract_tb(wrong.__traceback__)
        at = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
        tally.failures.append(f"seed {number}: {type(wrong).__name__} at {at}: {wrong}")
        if keep is not None:
            _keep(keep / str(number), files)
    tally.told = [f"seed {number}: {said}" for said in tally.told]
    if tally.unproved and keep is not None:
        _keep(keep / f"{number}-not-proved", files)
    tally.used_s = tally.slowest_s = time.process_time() - began
    tally.slowest = number
    return tally


@contextmanager
def _watched(longest_s: float) -> Iterator[None]:
    """End what takes too much of a processor's time, or waits without end."""
    clocks = [(signal.SIGPROF, signal.ITIMER_PROF, longest_s),
              (signal.SIGALRM, signal.ITIMER_REAL, longest_s * ASLEEP)]  # fmt: skip
    former = [signal.signal(number, _hang) for number, _, _ in clocks]
    for _, clock, seconds in clocks:
        signal.setitimer(clock, seconds)
    try:
        yield
    finally:
        for (number, clock, _), handler in zip(clocks, former, strict=True):
            signal.setitimer(clock, 0.0)
            signal.signal(number, handler)


def _tell(tally: Tally, new: Tally) -> None:
    """Each failure and what was not proved as it comes, and a line every hundred cases."""
    for line in (*new.failures, *(f"not proved: {said}" for said in new.told)):
        print(" ", line, file=sys.stderr, flush=True)
    if tally.cases % TOLD_EVERY == 0:
        print(tally, file=sys.stderr, flush=True)


def _hang(_number, _frame) -> None:
    raise Hang("the case hangs")


def _keep(folder: Path, files: dict[str, bytes]) -> None:
    for name, content in files.items():
        if FILES.get(name) != content:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after this long")
    parser.add_argument("--made-up", type=float, default=0.2, help="share of generated specs")
    parser.add_argument("--keep", type=Path, help="folder for the files of failed cases")
    parser.add_argument("--workers", type=int, default=1, help="processes at work")
    depth = parser.add_mutually_exclusive_group()
    depth.add_argument("--lay", action="store_const", const="lay", dest="depth")
    depth.add_argument("--build", action="store_const", const="build", dest="depth")
    depth.add_argument("--small", action="store_const", const="small", dest="depth")
    arguments = parser.parse_args()
    given = (
        arguments.count, arguments.seed, arguments.depth or "load", arguments.made_up,
        arguments.keep, arguments.seconds,
    )  # fmt: skip
    tally = run_beside(arguments.workers, *given)
    print(tally)
    for line in (*tally.failures, *(f"not proved: {said}" for said in tally.told)):
        print(" ", line)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
