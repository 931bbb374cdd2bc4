"""How fast the command line answers: `python -m tests.bench.bench_cli [--runs 10] [--builds 3]`.

Each command runs in a process of its own, as a person or a shell starts it; the median counts.
Of `check` two times are told: until the stack as read is shown, and until the last finding. The
build is that of the wing skin, both hands, from layouts that are remembered (a first build, not
counted, searches for them); its time on the clock, its processor time, and the memory of its
largest process.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SPECS = Path(__file__).parents[2] / "specs"
SKIN = str(SPECS / "wing-skin.yaml")
COMMANDS = {
    "--help": (["--help"], 0.3),
    "check --help": (["check", "--help"], 0.3),
    "completion bash": (["completion", "bash"], 0.3),
    "explain tab": (["explain", "tab"], 0.3),
    "check --quick (wing skin)": (["check", "--quick", SKIN], 1.0),
    "check (wing skin)": (["check", SKIN], 1.0),
}
BUILD_S, BUILD_MB = 10.0, 1000.0


def once(words: list[str]) -> tuple[float, float]:
    """Seconds until the first line of the answer, and until the end."""
    begun = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "plybook", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    ) as run:
        assert run.stdout is not None
        run.stdout.readline()
        first = time.perf_counter() - begun
        run.stdout.read()
    assert run.returncode == 0, words
    return first, time.perf_counter() - begun


def said(name: str, times: list[float], goal: float | None) -> None:
    median = statistics.median(times)
    verdict = "" if goal is None else "  ok" if median < goal else f"  over {goal:g} s"
    print(f"{name:36} median {median:6.2f} s  least {min(times):6.2f} s{verdict}", flush=True)


def build(folder: Path) -> tuple[float, float]:
    """Seconds on the clock and of the processors."""
    words = ["build", str(folder / "specs" / "wing-skin.yaml"), "--out", str(folder / "out")]
    before, begun = os.times(), time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "plybook", *words], capture_output=True)
    wall, after = time.perf_counter() - begun, os.times()
    assert done.returncode == 0, done.stderr.decode()
    busy = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    return wall, busy


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10)
    parser.add_argument("--builds", type=int, default=3, help="builds from remembered layouts")
    given = parser.parse_args()
    for name, (words, goal) in COMMANDS.items():
        times = [once(words) for _ in range(given.runs)]
        if words[0] == "check" and len(words) == 2 and words[1] == SKIN:
            said(f"{name}, stack shown", [first for first, _ in times], goal)
            name = f"{name}, last finding"
        said(name, [end for _, end in times], goal)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        shutil.copytree(SPECS, folder / "specs")
        build(folder)
        built = [build(folder) for _ in range(given.builds)]
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    said("build (wing skin, remembered)", [wall for wall, _ in built], BUILD_S)
    said("  of the processors", [busy for _, busy in built], None)
    verdict = "ok" if peak < BUILD_MB else f"over {BUILD_MB:g} MB"
    print(f"{'  largest process':36} {peak:13.0f} MB  {verdict}")


if __name__ == "__main__":
    main()
