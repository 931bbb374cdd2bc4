"""Fuzzing by one command: `python -m tests.fuzz.run --count 20000 --seed 1 [--build]`.

The property: a spec gives findings (with the exit code of a refusal) or a build that `verify`
calls sound. A traceback, a hang, a refusal without a finding, or a build that does not verify is
a failure and is kept as files in `--keep`. Depths: `load` (default) reads the spec, `--lay` goes on
to the pieces, `--build` makes and verifies every file, `--small` does that with parts of a hand's
breadth, whole and spoiled, a second each.
"""

from __future__ import annotations

import argparse
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
from plybook.diagnostics import PlybookError, Severity, SpecError
from plybook.laminate import lay_up
from plybook.outside import Outside, Shelf
from plybook.spec import load
from plybook.surface import build_face
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
LONGEST_S = {"load": 10, "lay": 120, "build": 400, "small": 120}
SEARCH_S = 0.1  # for the cut plan of a small part
TOLD_EVERY = 500
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
    slowest_s: float = 0.0
    slowest: int = 0
    failures: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)  # what was not proved

    def __str__(self) -> str:
        return (
            f"{self.cases} cases: {self.refused} refused with findings "
            f"({self.unproved} as not proved), {self.passed} accepted, "
            f"{self.sound} built and verified, {len(self.failures)} failures; "
            f"slowest {self.slowest_s:.1f} s (seed {self.slowest})"
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
    """A small part, as made up or spoiled in a place or two; now and then its materials are."""
    tree = generate.small_spec(dice)
    files = dict(FILES)
    if dice.random() < 0.4:
        tree = mutate.mutated(tree, dice, dice.choice([1, 1, 1, 2]))
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
                wrong = [
                    f for f in lay_up(spec, build_face(spec)).findings
                    if f.severity is Severity.ERROR
                ]  # fmt: skip
                if wrong:
                    raise SpecError(wrong)
    except PlybookError as refusal:
        _judge(refusal, tally)
    else:
        tally.passed += 1


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
    if depth == "small":
        with _quickly():
            return _run(count, seed, depth, made_up, keep, seconds)
    return _run(count, seed, depth, made_up, keep, seconds)


@contextmanager
def _quickly() -> Iterator[None]:
    """A short search for the cut plan, and one subset of the page's typeface for all cases."""
    import plybook.nest.plan as planning
    import plybook.write.book_html as page

    search, subset = planning.SECONDS, page._font_subset
    one_for_all = cache(lambda bold: subset(page._characters(""), bold))
    planning.SECONDS = {**search, "quick": SEARCH_S}
    page._font_subset = lambda characters, bold: one_for_all(bold)
    try:
        yield
    finally:
        planning.SECONDS, page._font_subset = search, subset


def _run(
    count: int, seed: int, depth: str, made_up: float, keep: Path | None, seconds: float
) -> Tally:
    tally, told = Tally(), 0
    until = time.monotonic() + seconds
    for number in range(seed, seed + count):
        if time.monotonic() > until:
            break
        dice = random.Random(number)
        part, files = small_case(dice) if depth == "small" else case(dice, made_up)
        began = time.monotonic()
        former = signal.signal(signal.SIGALRM, _hang)
        signal.alarm(LONGEST_S[depth])
        try:
            attempt(part, files, depth, tally)
        except (Exception, Hang) as wrong:
            frames = traceback.extract_tb(wrong.__traceback__)
            at = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
            tally.failures.append(f"seed {number}: {type(wrong).__name__} at {at}: {wrong}")
            if keep is not None:
                _keep(keep / str(number), files)
        finally:
            signal.alarm(0)
            signal.signal(signal.SIGALRM, former)
        tally.cases += 1
        if time.monotonic() - began > tally.slowest_s:
            tally.slowest_s, tally.slowest = time.monotonic() - began, number
        if tally.cases % TOLD_EVERY == 0:
            new = tally.failures[told:]
            told = len(tally.failures)
            print(tally, *new, sep="\n  ", file=sys.stderr, flush=True)
    return tally


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
    depth = parser.add_mutually_exclusive_group()
    depth.add_argument("--lay", action="store_const", const="lay", dest="depth")
    depth.add_argument("--build", action="store_const", const="build", dest="depth")
    depth.add_argument("--small", action="store_const", const="small", dest="depth")
    arguments = parser.parse_args()
    tally = run(
        arguments.count, arguments.seed, arguments.depth or "load", arguments.made_up,
        arguments.keep, arguments.seconds,
    )  # fmt: skip
    print(tally)
    for line in (*tally.failures, *(f"not proved: {said}" for said in tally.told)):
        print(" ", line)
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
