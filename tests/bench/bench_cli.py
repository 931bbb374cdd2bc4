"""How fast the command line answers: `python -m tests.bench.bench_cli [--runs 10]`.

Each command runs in a process of its own, as a person or a shell starts it; the median counts.
Goals: a quick check of the wing skin under 1 s, help and completion under 0.3 s.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import time
from pathlib import Path

SKIN = str(Path(__file__).parents[2] / "specs" / "wing-skin.yaml")
COMMANDS = {
    "--help": (["--help"], 0.3),
    "check --help": (["check", "--help"], 0.3),
    "completion bash": (["completion", "bash"], 0.3),
    "explain tab": (["explain", "tab"], 0.3),
    "check --quick (wing skin)": (["check", "--quick", SKIN], 1.0),
    "check (wing skin)": (["check", SKIN], None),
}


def once(words: list[str]) -> float:
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "plybook", *words], capture_output=True)
    assert done.returncode == 0, done.stderr.decode()
    return time.perf_counter() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10)
    runs = parser.parse_args().runs
    for name, (words, goal) in COMMANDS.items():
        times = [once(words) for _ in range(runs)]
        median = statistics.median(times)
        verdict = "" if goal is None else "  ok" if median < goal else f"  over {goal} s"
        print(f"{name:28} median {median:6.2f} s  least {min(times):6.2f} s{verdict}", flush=True)


if __name__ == "__main__":
    main()
