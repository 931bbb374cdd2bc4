"""What a bad input costs: exit code, findings, seconds and memory of the whole command, and whether
it left a file or a traceback. One row for each; judged are the words, not the clock.

Run: python -m tests.bench.bench_refusals [--only WORDS]
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.bench.bench_growth import long_wing, section
from tests.conftest import ROOT, SPECS
from tests.fuzz.mutate import written
from tests.whole.test_hostile import BAD, HATCH, edit, with_layers

SECONDS, MEMORY_MB = 2.0, 500.0  # what a refusal may cost
WHOLE = (SPECS / "hatch.yaml").read_text()  # with its stages
TILES = {"templates": {"way": "tiles"}}
SHOP, STOCK, MATERIALS = "shared/shop.yaml", "shared/stock.yaml", "shared/materials.yaml"


def shared(name: str, old: str, new: str) -> dict[str, str]:
    return {name: edit(old, new, (SPECS / name).read_text())}


def layers(*lines: str) -> str:
    return with_layers("".join(f"  - {line}\n" for line in lines))


TURNED = layers("{ply: P, cloth: carbon-twill-200, angle: 0}", "{core: C, sheet: foam-6}") + (
    "stages:\n  - {stage: lay-up, kind: wet_laminate, lays: [C, P], thickened: core-paste}\n"
)
PLY = "{ply: P, cloth: carbon-twill-200, angle: 0%s}"
NO_CLOTH = edit(
    "  - {id: TW-BUY, roll: carbon-twill-200, length: 50 m, quantity: as needed}\n",
    "",
    edit(
        "roll: carbon-twill-200, length: 42 m",
        "roll: carbon-twill-200, length: 358 mm",
        (SPECS / STOCK).read_text(),
    ),
)
RAGGED = "".join(f"    - [{k * 1e-5:.5f}, {k % 2 * 1e-3}]\n" for k in range(200_000))
# name, files (the spec is hatch.yaml), exit code, words the refusal must have ("": accepted)
MORE: list[tuple[str, str | bytes | dict[str, Any], int, str]] = [
    ("byte order mark", "\ufeff" + HATCH, 0, ""),
    ("CRLF", HATCH.replace("\n", "\r\n"), 0, ""),
    ("CR", HATCH.replace("\n", "\r"), 0, ""),
    ("1e1 for 10", edit("corners: 1", "corners: 1e0"), 0, ""),
    ("minus nought", edit("region: {inset: 1}", "region: {inset: -0.0}"), 0, ""),
    ("clock time bare", edit("corners: 1", "corners: 12:30"), 1, "error["),
    ("date for a length", edit("corners: 1", "corners: 2026-01-02"), 1, "length"),
    ("a: b: c", edit("revision: A", "revision: A: B"), 1, "error["),
    ("bad indent", edit("  revision: A", "   revision: A"), 1, "error["),
    ("right key, wrong level", edit("layers:\n", "cloth: carbon-twill-200\nlayers:\n"), 1,
     "belongs"),
    ("block text in an id", edit("as: A\n", "as: |\n      A\n      B\n"), 1, "error["),
    ("text on top", "just words\n", 1, "mapping"),
    ("include bomb", {"hatch.yaml": edit("shared/shop.yaml", "shared/shop.yaml, x.yaml"),
                      "x.yaml": "plybook: 1\ninclude: [x.yaml]\n"}, 1, "itself"),
    ("feet and inches", edit("corners: 1", "corners: 1 in"), 0, ""),
    ("metres", edit("{inset: 1}", "{inset: 0.02 m}"), 0, ""),
    ("radians", edit('plies: "[45/0]"\n    as: A', "ply: A\n    angle: 0.785 rad"), 1, "angle"),
    ("quantity nought", shared(STOCK, "sheet: birch-10, quantity: 1", "sheet: birch-10, quantity: 0"
                               ), 1, "error["),
    ("quantity 2.5", shared(STOCK, "sheet: birch-10, quantity: 1",
                            "sheet: birch-10, quantity: 2.5"), 1, "error["),
    ("areal weight in kg", shared(MATERIALS, "weight: 200 g/m2", "weight: 0.2"), 0, "warning"),
    ("roll width in cm", shared(MATERIALS, "roll: 1270", "roll: 127"), 1, "error["),
    ("negative width", shared(MATERIALS, "roll: 1270", "roll: -1270"), 1, "error["),
    ("same id in two files",
     {"hatch.yaml": edit("shared/shop.yaml", "shared/shop.yaml, shared/more.yaml"),
      "shared/more.yaml": "plybook: 1\nunits: mm\nstock:\n  - {id: F6, sheet: foam-6, "
                          "quantity: 1}\n"}, 1, "error["),
    ("a stage lays a later layer first", TURNED, 1, "error["),
    ("a layer nobody lays", edit("[A, C, B]", "[A, C]", WHOLE), 1, "error["),
    ("inset round nothing", edit("{inset: 1}", "{around: {layer: Q, by: 5}}"), 1, "error["),
    ("a circle of regions", layers(PLY % ", region: {around: {layer: P, by: 5}}"), 1, "error["),
    ("circle of nought", edit("corners: 1", "corners: 1\n  holes: [{circle: [6, 4], diameter: 0}]"),
     1, "error["),
    ("200 000 points", edit("    - [0, 0]\n", RAGGED), 1, "error["),
    ("1e-9", edit("- [12, 8]", "- [1e-9, 8]"), 1, "error["),
    ("holes that overlap", edit(
        "corners: 1", "corners: 1\n  holes: [{circle: [5, 4], diameter: 2}, "
        "{circle: [6, 4], diameter: 2}]"), 1, "error["),
    ("no sheet for a core", shared(STOCK, "{id: F6, sheet: foam-6, quantity: as needed}",
                                   "{id: F6, sheet: foam-6, quantity: 1, length: 120, width: 90}"),
     3, "error["),
    ("not enough cloth", {STOCK: NO_CLOTH}, 3, "error["),
    ("link out of the folder", {"hatch.yaml": HATCH, SHOP: Path("/etc/hostname")}, 1, "leads out"),
    ("file address", edit("shared/shop.yaml", "'file:///etc/passwd'"), 1, "address"),
    ("a folder for a file", edit("shared/shop.yaml", "shared"), 1, "folder"),
    ("a pipe for a file", {"hatch.yaml": edit("shared/shop.yaml", "pipe.yaml"), "pipe.yaml": None},
     1, "pipe"),
    ("/dev/zero behind a link", {"hatch.yaml": HATCH, SHOP: Path("/dev/zero")}, 1, "error["),
    ("3 MB of spec", HATCH + "#" * 3_000_000, 1, "larger"),
    ("long text", edit("name: Inspection hatch", "name: " + "x" * 50_000), 1, "error["),
    ("lone surrogate", HATCH.replace("Inspection", '"\\ud800"'), 1, "error["),
    ("500 layers of 15 m in tiles", {"hatch.yaml": written(long_wing(500) | TILES),
                                     "sections/long.dat": section()}, 1,
     "--limit template-sheets"),
]  # fmt: skip


def files_of(made: str | bytes | dict[str, Any]) -> dict[str, Any]:
    return made if isinstance(made, dict) else {"hatch.yaml": made}


def put(folder: Path, files: dict[str, Any]) -> None:
    """The shipped specs, and over them the files of one case."""
    shutil.copytree(SPECS, folder / "specs", ignore=shutil.ignore_patterns("*.layouts.json"))
    (folder / "specs" / "hatch.yaml").write_text(HATCH)
    for name, content in files.items():
        path = folder / "specs" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        if content is None:
            os.mkfifo(path)
        elif isinstance(content, Path):
            path.symlink_to(content)
        else:
            path.write_bytes(content if isinstance(content, bytes) else content.encode(
                "utf-8", "surrogatepass"))  # fmt: skip


def measured(folder: Path, refused: bool) -> tuple[int, str, str, float, float, float]:
    """Exit code, what was said on both streams, seconds by the clock and of a processor, and MB
    of one command."""
    command = ["build", "--effort", "quick", "--out", "out"] if refused else ["check"]
    began = time.perf_counter()
    with open(folder / "said.out", "wb") as out, open(folder / "said.err", "wb") as err:
        child = subprocess.Popen(
            [sys.executable, "-m", "plybook", *command, "--format", "line", "specs/hatch.yaml"],
            cwd=folder, stdout=out, stderr=err, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    spent = time.perf_counter() - began
    said = [(folder / name).read_text(errors="replace") for name in ("said.out", "said.err")]
    busy = used.ru_utime + used.ru_stime
    return child.returncode, said[0], said[1], spent, busy, used.ru_maxrss / 1024


def judged(code: int, words: str, ended: int, out: str, err: str, left: list[str]) -> list[str]:
    """What is not as it should be."""
    errors = [line for line in err.splitlines() if ": error[" in line or line[:6] == "error["]
    wrong = []
    if ended != code:
        wrong.append(f"exit {ended}, not {code}")
    if code and len(errors) != 1:
        wrong.append(f"{len(errors)} errors")
    if words and words not in err + out:
        wrong.append(f"without {words!r}")
    if "Traceback" in err + out:
        wrong.append("a traceback")
    if left:
        wrong.append(f"left {left[0]}")
    return wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--only", default="", help="rows whose name has these words")
    arguments = parser.parse_args()
    rows = [(name, files_of(made), code, words) for name, made, code, words in (*BAD, *MORE)]
    slow = large = bad = shown = 0
    print(f"{'input':34s} exit   s   CPU s   MB  finding")
    for name, files, code, words in rows:
        if arguments.only not in name:
            continue
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            put(folder, files)
            ended, out, err, seconds, busy, memory = measured(folder, bool(code))
            left = [p.name for p in folder.iterdir() if p.name not in
                    ("specs", "said.out", "said.err")]  # fmt: skip
            left += [p.name for p in (folder / "specs").glob("*.layouts.json")]
        wrong = judged(code, words, ended, out, err, left)
        shown += 1
        bad += bool(wrong)
        slow += bool(code and seconds > SECONDS)
        large += bool(code and memory > MEMORY_MB)
        first = next((x for x in err.splitlines() if "error[" in x or "warning[" in x), "accepted")
        print(f"{name:34s} {ended:3d} {seconds:5.2f} {busy:5.2f} {memory:6.0f}  {first[:90]}"
              + (f"   WRONG: {'; '.join(wrong)}" if wrong else ""), flush=True)  # fmt: skip
    print(f"{shown} inputs; {bad} not as they should be; {slow} refused in more than "
          f"{SECONDS:g} s, {large} with more than {MEMORY_MB:g} MB")  # fmt: skip


if __name__ == "__main__":
    main()
