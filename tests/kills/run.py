"""Kill runs while they work: `python -m tests.kills.run --count 100 --seed 1`.

A shop with two parts, built, and their specs changed since. Each trial copies it, begins a command
in a process of its own, and kills that with SIGKILL: at a random moment of the time it takes, or as
soon as a file that is only there while something is written appears (`.plybook-new-*`, the journal,
a file that has changed). Then the state is held to:

- each folder holds just what its manifest lists, of one build; a stranger's file is still there;
- the command run again ends well, or says that its work was done;
- after it every folder is of the specs as they are, the stock file has been counted down once, and
  nothing is left over.

Processes are forks of this one, so that a trial costs the work and not the start.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from plybook.cli import main as plybook
from tests.conftest import SPECS
from tests.record.bench import AT, Device
from tests.whole.test_marking import SHARED

LONGEST_S = 300.0
PARTS = ("KL-1", "KL-2")
MINE = "mine.txt"
STOCK = """\
plybook: 1
units: mm
stock:
  - {id: TW, roll: carbon-twill-200, length: 20 m}   # bought in spring
  - {id: F10, sheet: foam-10, quantity: 6}
"""


@dataclass(frozen=True)
class Job:
    """A command that writes.

    Attributes:
        words: of the command line.
        folders: folders of the output that it writes, or changes.
        done: exit codes of the run after the one that was killed.
    """

    name: str
    words: tuple[str, ...]
    folders: tuple[str, ...]
    done: tuple[int, ...] = (0,)


QUICK = ("--effort", "quick", "--out", "out", "--quiet")
JOBS = (
    Job("build", ("build", "specs/KL-1.yaml", *QUICK), ("KL-1",)),
    Job("set", ("build", "specs/KL-1.yaml", "specs/KL-2.yaml", *QUICK, "--set-name", "KL-SET"),
        (*PARTS, "KL-SET")),
    Job("keep", ("keep", "specs/KL-2.yaml", "--out", "out"), (), (0, 1)),
    Job("recut", ("recut", "specs/KL-2.yaml", "P1", "--out", "out"), ("KL-2-recut",)),
    Job("record", ("record", "record.json", "--plan", "out/KL-2"), ("KL-2-as-built",), (0, 1)),
)  # fmt: skip


@dataclass
class Tally:
    trials: int = 0
    killed: int = 0
    writing: int = 0  # of the killed: something half done was there
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (f"{self.trials} trials: {self.killed} killed, {self.writing} of them in the midst "
                f"of writing, {len(self.failures)} failures")  # fmt: skip


def spec(number: str, wide_mm: float) -> str:
    tree = {
        "plybook": 1,
        "include": ["shared/materials.yaml", "shared/own.yaml", "shared/shop.yaml"],
        "part": {"number": number, "name": "Plate", "units": "mm", "date": "2026-05-04"},
        "mould": {"outline": [[0, 0], [wide_mm, 0], [wide_mm, 90], [0, 90]]},
        "layers": [{"ply": "P1", "cloth": "carbon-twill-200", "angle": 0}],
    }
    return yaml.safe_dump(tree, sort_keys=False)


def shop(folder: Path) -> None:
    """Both parts built; then KL-1 is drawn wider. A stranger's file lies in each folder."""
    for name in SHARED:
        (folder / "specs" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(SPECS / name, folder / "specs" / name)
    (folder / "specs" / "shared" / "own.yaml").write_text(STOCK)
    for number in PARTS:
        (folder / "specs" / f"{number}.yaml").write_text(spec(number, 120.0))
        assert run(folder, ("build", f"specs/{number}.yaml", *QUICK)) == 0
        (folder / "out" / number / MINE).write_text("keep me")
    (folder / "specs" / "KL-1.yaml").write_text(spec("KL-1", 150.0))
    plan = json.loads((folder / "out" / "KL-2" / "plan.json").read_text())
    frame = {k: plan["part"][k] for k in ("name", "revision", "hand")}
    frame |= {"part": plan["part"]["number"], "plan": plan["record_key"], "serial": "1"}
    device = Device()
    device.put("article.book", {k: v for k, v in frame.items() if k != "serial"}, AT)
    (folder / "record.json").write_text(json.dumps(device.export(frame)))


def begin(folder: Path, words: tuple[str, ...]) -> int:
    """Start a command in a fork; its process id, which is that of its group."""
    child = os.fork()
    if child:
        return child
    code = 70
    try:
        os.setsid()
        os.chdir(folder)
        null = os.open(os.devnull, os.O_WRONLY)
        for stream in (1, 2):
            os.dup2(null, stream)
        code = plybook(list(words))
    finally:
        os._exit(code)


def run(folder: Path, words: tuple[str, ...]) -> int:
    """A command from beginning to end; its exit code."""
    return os.waitstatus_to_exitcode(os.waitpid(begin(folder, words), 0)[1])


def killed(folder: Path, words: tuple[str, ...], now: Callable[[float], bool]) -> bool:
    """Begin a command and kill it and its helpers when `now` (of the seconds since) says so;
    whether it was still running."""
    child, began = begin(folder, words), time.monotonic()
    while True:
        if os.waitpid(child, os.WNOHANG)[0]:
            return False
        past = time.monotonic() - began
        if now(past) or past > LONGEST_S:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return True


def unfinished(folder: Path) -> list[str]:
    """What is there only while something is written."""
    found = []
    for place in (folder / "out", folder / "specs", folder / "specs" / "shared"):
        with os.scandir(place) as entries:
            found += [e.name for e in entries
                      if e.name.startswith((".plybook-new-", ".plybook-old-"))
                      or e.name == ".plybook-commit.json"]  # fmt: skip
    return found


def torn(out: Path) -> list[str]:
    """Folders that do not hold just what their manifest lists."""
    from plybook.outside import sha256

    wrong = []
    for manifest in out.glob("[!.]*/manifest.json"):
        listed = {e["name"]: e["sha256"] for e in json.loads(manifest.read_text())["files"]}
        here = {
            p.relative_to(manifest.parent).as_posix(): sha256(p.read_bytes())
            for p in manifest.parent.rglob("*")
            if p.is_file() and p.name not in (MINE, "manifest.json")
        }
        if here != listed:
            wrong.append(f"{manifest.parent.name} is torn")
    wrong += [f"{n} has lost a stranger's file" for n in PARTS if not (out / n / MINE).is_file()]
    return wrong


def built_from(out: Path, name: str) -> object:
    """What a folder says it was built from, as far as it says it."""
    path = out / name / "manifest.json"
    return json.loads(path.read_text()).get("parts") if path.is_file() else "not there"


class Trials:
    """Trials on copies of one shop.

    Args:
        place: an empty folder to work in.
    """

    def __init__(self, place: Path):
        self.place, self.start = place, place / "start"
        self.start.mkdir()
        shop(self.start)
        self.ends: dict[str, tuple[Path, float]] = {}
        for job in JOBS:
            began = time.monotonic()
            end = self.copy(f"end-{job.name}")
            assert run(end, job.words) in job.done, f"{job.name} fails by itself"
            self.ends[job.name] = end, time.monotonic() - began

    def copy(self, name: str) -> Path:
        return Path(shutil.copytree(self.start, self.place / name, symlinks=True))

    def one(self, number: int, tally: Tally) -> None:
        """One trial by its seed."""
        dice = random.Random(number)
        job = JOBS[number % len(JOBS)]
        end, takes_s = self.ends[job.name]
        folder = self.copy(f"trial-{number}")
        if dice.random() < 0.25:
            at = dice.uniform(0.0, takes_s)

            def now(past: float) -> bool:
                return past > at
        else:
            later, seen = dice.choice([0.0, 0.0, dice.uniform(0.0, 0.02)]), []

            def now(past: float) -> bool:
                if not seen and unfinished(folder):
                    seen.append(past)
                return bool(seen) and past >= seen[0] + later

        tally.trials += 1
        if killed(folder, job.words, now):
            tally.killed += 1
            tally.writing += bool(unfinished(folder))
        wrong = torn(folder / "out")
        ended = run(folder, job.words)
        if ended not in job.done:
            wrong.append(f"the next run ends with {ended}")
        wrong += [*torn(folder / "out"), *(f"{name} is left over" for name in unfinished(folder))]
        for name in (*job.folders, *PARTS):
            if built_from(folder / "out", name) != built_from(end / "out", name):
                wrong.append(f"{name} is not of the specs as they are")
        stock = "specs/shared/own.yaml"
        if (folder / stock).read_bytes() != (end / stock).read_bytes():
            wrong.append("the stock was not counted down once")
        tally.failures += [f"{job.name}, seed {number}: {words}" for words in wrong]
        if not wrong:
            shutil.rmtree(folder)


def trials(place: Path, count: int, seed: int) -> Tally:
    """Run trials, each from its own seed, so that one can be run again by itself."""
    shelf, tally = Trials(place), Tally()
    for number in range(seed, seed + count):
        shelf.one(number, tally)
        if tally.trials % 10 == 0:
            print(tally, file=sys.stderr, flush=True)
    return tally


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    place = Path(tempfile.mkdtemp(prefix="kills-"))
    tally = trials(place, arguments.count, arguments.seed)
    print(tally)
    for failure in tally.failures:
        print(" ", failure)
    if tally.failures:
        print(f"what they left is kept in {place}")
    else:
        shutil.rmtree(place)
    return bool(tally.failures)


if __name__ == "__main__":
    sys.exit(main())
