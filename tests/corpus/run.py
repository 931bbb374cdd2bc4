"""The corpus by one command: `python -m tests.corpus.run --seed 3 --count 100 --workers 2`.

Each part is checked, built at quick effort and verified in a process of its own. An ordinary part
that is refused is a failure, and so is one that ends in a traceback, does not verify, takes too
long, or that `check` and `build` judge differently. A table is printed at the end; `--keep DIR`
keeps the files of what failed, `--only 3:17` tries one part again and says all that is found of it.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import json
import multiprocessing
import multiprocessing.connection
import os
import pkgutil
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import plybook
from plybook.cli import main
from plybook.verify import verify_folder
from tests.corpus.cases import PART, Case, case

LONGEST_S = 400.0  # of a processor's time
ASLEEP = 10  # a part that takes this many times as long by the wall clock waits for something
MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
SOUND, REFUSED, FAILED = "sound", "refused", "failed"
REFUSALS = (1, 3, 4)  # exit codes that a command ends with when it refuses
# what a search for layouts brings, and a check cannot know
OF_SEARCH = {
    "layouts-searched",
    "layouts-not-kept",
    "search-stopped",
    "packer-failed",
    "not-enough-stock",
}


class OwnFault(Exception):
    """A command ended with a fault of its own."""


@dataclass(frozen=True)
class Said:
    """A finding as a command prints it."""

    code: str
    severity: str
    message: str
    help: str
    layers: tuple[str, ...]
    places: tuple[tuple[str, int, int], ...]  # file, line, column


@dataclass
class Outcome:
    """How one part ended; seconds by the wall clock, `work_s` of processors."""

    name: str
    kind: str
    ending: str
    code: str = ""  # of the refusal, or of the failure
    message: str = ""
    check_s: float = 0.0
    check_work_s: float = 0.0
    build_s: float = 0.0
    verify_s: float = 0.0
    work_s: float = 0.0
    peak_mb: float = 0.0
    made_mb: float = 0.0
    differs: str = ""  # how check and build judge it
    build_alone: tuple[str, ...] = ()  # codes that only build tells of, or in other words
    check_alone: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()

    @property
    def well(self) -> bool:
        return self.ending == SOUND and not self.differs


# ---------------------------------------------------------------- one part


def attempt(of: Case, folder: Path, say: Callable[[str], None] = lambda text: None) -> Outcome:
    """Check, build and verify one part in a folder of its own.

    Args:
        of: the part.
        folder: where its files are put, and what is built.
        say: is told the findings.
    """
    for name, content in of.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    told = Outcome(of.name, of.kind, SOUND)
    spec, out = folder / PART, folder / "out"
    began = started = time.process_time()
    clock = time.monotonic()
    refused_by_check, checked = command("check", str(spec))
    told.check_s, told.check_work_s = time.monotonic() - clock, time.process_time() - started
    _tell(say, "check", checked)
    clock = time.monotonic()
    refused, built = command("build", str(spec), "--out", str(out), "--effort", "quick")
    told.build_s = time.monotonic() - clock
    _tell(say, "build", built)
    if refused:
        told.ending, told.code, told.message = REFUSED, *_first_error(built)
    _compare(told, checked, refused_by_check, built)
    if told.ending == SOUND:
        started = time.monotonic()
        reports = verify_folder(out)
        told.verify_s = time.monotonic() - started
        told.made_mb = sum(f.stat().st_size for f in out.rglob("*") if f.is_file()) / 2**20
        if not reports.sound:
            faults = [fault for report in reports.folders for fault in report.faults]
            told.ending, told.code = FAILED, "unsound"
            told.message = "; ".join(str(fault) for fault in faults[:3])
    told.work_s = time.process_time() - began
    told.peak_mb = (
        max(
            resource.getrusage(who).ru_maxrss
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        / 1024
    )
    return told


def command(*words: str) -> tuple[bool, Sequence[Said]]:
    """Run a command as the shell would: whether it refuses, and what it finds.

    Raises:
        OwnFault: the command owns up to a fault of its own.
    """
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([*words, "--format", "json", "--quiet", "--debug"])
    if code not in (0, *REFUSALS):
        raise OwnFault(f"{words[0]} ends with {code}: {err.getvalue().strip()[-2000:]}")
    found = json.loads(out.getvalue() or "[]")
    keys = ("code", "severity", "message", "help")
    return code != 0, [
        Said(
            *(f[k] for k in keys),
            tuple(f["layers"]),
            tuple((p["file"], p["line"], p["column"]) for p in f["places"]),
        )
        for f in found
    ]


def _first_error(findings: Sequence[Said]) -> tuple[str, str]:
    return next(((f.code, f.message) for f in findings if f.severity == "error"), ("?", "no error"))


def _compare(
    told: Outcome, checked: Sequence[Said], refused_by_check: bool, built: Sequence[Said]
) -> None:
    """What one of the two says and the other does not."""
    if refused_by_check != (told.ending == REFUSED):
        by, other = ("check", "build") if refused_by_check else ("build", "check")
        code, _ = _first_error(checked if refused_by_check else built)
        told.differs = f"{by} refuses ({code}), {other} does not"
    told.warned = tuple(sorted({f.code for f in built if f.severity == "warning"}))
    told.build_alone, told.check_alone = alone(built, checked), alone(checked, built)
    if not told.differs and (told.build_alone or told.check_alone):
        told.differs = f"build alone: {told.build_alone}, check alone: {told.check_alone}"


def alone(findings: Sequence[Said], others: Sequence[Said]) -> tuple[str, ...]:
    """Codes of findings that are not among others in the same words at the same places; those of
    a search for layouts are left out."""
    more = Counter(findings) - Counter(others)
    return tuple(sorted(f.code for f in more if f.code not in OF_SEARCH))


def _tell(say: Callable[[str], None], who: str, findings: Sequence[Said]) -> None:
    for f in findings:
        if f.severity != "note":
            remedy = f" [{f.help}]" if f.severity == "error" else ""
            say(f"  {who}: {f.severity} {f.code} {'/'.join(f.layers)}: {f.message}{remedy}")


def _in_process(of: Case, answer, longest_s: float) -> None:
    """Run by a child: the outcome is sent through a pipe, whatever happens."""
    os.setpgid(0, 0)  # what it starts can be ended with it
    signal.signal(signal.SIGPROF, signal.SIG_DFL)  # ends it
    signal.setitimer(signal.ITIMER_PROF, longest_s)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        try:
            told = attempt(of, Path(folder))
        except Exception as wrong:
            frames = traceback.extract_tb(wrong.__traceback__)
            at = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
            told = Outcome(of.name, of.kind, FAILED, type(wrong).__name__, f"at {at}: {wrong}")
        answer.send(told)


# ---------------------------------------------------------------- many parts


@dataclass
class _Running:
    of: Case
    process: multiprocessing.process.BaseProcess
    answer: multiprocessing.connection.Connection
    until: float


def run(
    names: Iterable[tuple[int, int]],
    workers: int = 1,
    keep: Path | None = None,
    say: Callable[[str], None] = lambda text: None,
    longest_s: float = LONGEST_S,
) -> list[Outcome]:
    """Try parts, several at a time, each in a process of its own.

    Args:
        names: seed and index of each.
        workers: at a time.
        keep: folder for the files of what failed.
        say: is told a line for each part that ends.
        longest_s: of a processor's time; a part that takes longer has failed.

    Returns:
        The outcomes in the order of the names.
    """
    _open_all_rooms()
    order = list(names)
    waiting, running, done = iter(order), [], []
    context = multiprocessing.get_context("fork")
    try:
        while True:
            while len(running) < workers and (name := next(waiting, None)):
                running.append(_start(context, case(*name), longest_s))
            if not running:
                break
            multiprocessing.connection.wait([one.answer for one in running], timeout=1.0)
            for one in list(running):
                told = _ended(one, longest_s)
                if told is None:
                    continue
                running.remove(one)
                done.append(told)
                say(line(told))
                if keep is not None and not told.well:
                    _keep(keep, one.of, told)
    finally:
        for one in running:
            _end(one)
    return sorted(done, key=lambda told: order.index(tuple(map(int, told.name.split(":")))))


def _open_all_rooms() -> None:
    """Load every module once, so that the forked processes need not."""
    for module in pkgutil.walk_packages(plybook.__path__, "plybook."):
        if not module.name.endswith((".__main__", ".child")):
            importlib.import_module(module.name)


def _start(context, of: Case, longest_s: float) -> _Running:
    reader, writer = context.Pipe(duplex=False)
    # a daemon does its work itself instead of forking
    process = context.Process(target=_in_process, args=(of, writer, longest_s), daemon=True)
    process.start()
    writer.close()
    return _Running(of, process, reader, time.monotonic() + ASLEEP * longest_s)


def _ended(one: _Running, longest_s: float) -> Outcome | None:
    """The outcome; None while it is at work."""
    told = None
    if one.answer.poll():
        try:
            told = one.answer.recv()
        except EOFError:
            one.process.join()
            told = _lost(one, longest_s)
    elif time.monotonic() > one.until:
        told = _lost(one, longest_s)
    if told is not None:
        _end(one)
    return told


def _lost(one: _Running, longest_s: float) -> Outcome:
    """What is told of a part whose process sent nothing."""
    code, words = "timeout", f"not done after {longest_s:g} s of a processor"
    if one.process.exitcode not in (None, -signal.SIGPROF):
        code, words = "died", f"the process ended with {one.process.exitcode}"
    return Outcome(one.of.name, one.of.kind, FAILED, code, words)


def _end(one: _Running) -> None:
    """End a process and what it has started."""
    one.process.join(timeout=0.5)
    if group := one.process.pid:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(group, signal.SIGKILL)
    one.process.kill()
    one.process.join()


def _keep(keep: Path, of: Case, told: Outcome) -> None:
    folder = keep / of.name.replace(":", "-")
    for name, content in of.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    (folder / "outcome.txt").write_text(line(told) + "\n", encoding="utf-8")


# ---------------------------------------------------------------- the table


def line(told: Outcome) -> str:
    """One part in one line."""
    words = f"{told.name:>8}  {told.kind:<12} {told.ending:<8}"
    words += f" check {told.check_s:6.1f} s  build {told.build_s:6.1f} s  {told.peak_mb:5.0f} MB"
    if told.code:
        words += f"  {told.code}: {told.message}"
    if told.differs:
        words += f"  ({told.differs})"
    return words


@dataclass
class Table:
    """What came of all parts."""

    outcomes: Sequence[Outcome]
    well: int = field(init=False)

    def __post_init__(self) -> None:
        self.well = sum(told.well for told in self.outcomes)

    def __str__(self) -> str:
        return "\n".join(self._lines())

    def _lines(self) -> Iterator[str]:
        every = self.outcomes
        yield f"{'':<13}{'parts':>6}{'sound':>7}{'refused':>9}{'failed':>8}{'differ':>8}"
        for kind in [*sorted({told.kind for told in every}), "all"]:
            these = [told for told in every if kind in (told.kind, "all")]
            counts = Counter(told.ending for told in these)
            differ = sum(bool(told.differs) for told in these)
            yield (
                f"{kind:<13}{len(these):>6}{counts[SOUND]:>7}{counts[REFUSED]:>9}"
                f"{counts[FAILED]:>8}{differ:>8}"
            )
        yield ""
        yield f"{'':<28}{'median':>8}{'p90':>8}{'max':>8}"
        for name, key in (
            ("check, s", "check_s"),
            ("check, s of processor", "check_work_s"),
            ("build, s", "build_s"),
            ("verify, s", "verify_s"),
            ("all, s of processor", "work_s"),
            ("memory, MB", "peak_mb"),
            ("files, MB", "made_mb"),
        ):
            figures = [getattr(told, key) for told in every if getattr(told, key)]
            yield f"{name:<28}" + "".join(f"{_at(figures, q):>8.1f}" for q in (0.5, 0.9, 1))
        for title, key in (
            ("warnings of builds", "warned"),
            ("said by build alone", "build_alone"),
            ("said by check alone", "check_alone"),
        ):
            counts = Counter(code for told in every for code in getattr(told, key))
            if counts:
                words = ", ".join(f"{code} {n}" for code, n in counts.most_common())
                yield f"{title}: {words}"
        wrong = [told for told in every if not told.well]
        if wrong:
            yield ""
            yield from (line(told) for told in wrong)


def _at(figures: Sequence[float], share: float) -> float:
    """A quantile, the upper of two."""
    ordered = sorted(figures) or [0.0]
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def main_line() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="index of the first part")
    parser.add_argument("--workers", type=int, default=1, help="parts at a time")
    parser.add_argument("--keep", type=Path, help="folder for the files of what failed")
    parser.add_argument(
        "--longest", type=float, default=LONGEST_S, help="seconds of a processor for a part"
    )
    parser.add_argument("--only", metavar="SEED:INDEX", help="one part, with all its findings")
    parser.add_argument("--write", type=Path, metavar="DIR", help="with --only: build it there")
    given = parser.parse_args()
    if given.only:
        return _again(given.only, given.write)
    told = run(
        [(given.seed, given.first + n) for n in range(given.count)],
        given.workers,
        given.keep,
        lambda text: print(text, file=sys.stderr, flush=True),
        given.longest,
    )
    table = Table(told)
    print(table)
    return 0 if table.well == len(told) else 1


def _again(name: str, folder: Path | None) -> int:
    seed, index = map(int, name.split(":"))
    with contextlib.ExitStack() as stack:
        place = folder or Path(stack.enter_context(tempfile.TemporaryDirectory(dir=MEMORY)))
        told = attempt(case(seed, index), place, print)
    print(line(told))
    return 0 if told.well else 1


if __name__ == "__main__":
    sys.exit(main_line())
