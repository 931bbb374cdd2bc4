"""Fuzzing of each reader: `python -m tests.fuzz.readers --reader dxf --count 10000 --seed 1`.

Readers: values of YAML, DXF and CSV outlines, section files, exported records, plans, manifests and
layout memories. A case begins with a whole file of its kind and changes its structure: values of
other types, tags and rows taken out, doubled or swapped, numbers huge, tiny or not finite, long
runs of digits, blanks and brackets, bytes cut short. What is read is read, or refused with
findings; anything else is a failure, and so is a case that takes more than `LONGEST_S` of a
processor or grows the process by more than `LARGEST_MB`. The slowest and the largest are told.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from plybook.builtfolder import read_as_plan
from plybook.compare import changes_between
from plybook.compare.changes import pieces_done
from plybook.diagnostics import PlybookError
from plybook.nest import LayoutMemory
from plybook.record import compare, read_record
from plybook.spec import load
from plybook.spec.collect import Collector
from plybook.spec.limits import Limits
from plybook.spec.model import NOWHERE
from plybook.spec.section_files import read_section
from plybook.verify import plan_faults
from plybook.verify.manifest import read_files
from plybook.verify.report import Report
from plybook.write.folder import commit, sha256
from tests.conftest import SPECS
from tests.fuzz import mutate
from tests.record.bench import AT, Device
from tests.spec.goods import HATCH, SHARED, SKIN, shelf

LONGEST_S, LARGEST_MB = 5.0, 300.0
TOLD_EVERY = 1000
NUMBERS = [
    "0", "-0", "1", "-1", "0.5", ".5", "5.", "1e3", "1e-9", "1e308", "1e309", "-1e999", "nan",
    "inf", "٤٥", "４５", "4_0", "0x10", "1,5", "1/2", "1 1/2", "3/0", "²", "+-1", "1e", "e1", "",
    "999999999999999999999", "0" * 50 + "1", "1" * 400, "9" * 5000, "1." + "3" * 3000,
]  # fmt: skip
UNITS = ["", "mm", " mm", "in", "'", '"', "' 6\"", "deg", "°", "%", "h", "h 30 min", "g/m2",
         "oz/yd2", " parsec", " C", "kg/m3", "1/2 in"]  # fmt: skip
RUNS = [" ", "9", "-", "[", "{", "(", "1 ", "1:", "\t", "a", "0,", "1/"]


@dataclass
class Tally:
    """How the cases of a reader ended."""

    reader: str
    cases: int = 0
    refused: int = 0
    used_s: float = 0.0
    slowest: tuple[float, int] = (0.0, 0)  # seconds, seed
    largest: tuple[float, int] = (0.0, 0)  # MB, seed
    failures: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.reader:9s} {self.cases:6d} cases, {self.refused:6d} refused, "
            f"{len(self.failures)} failures; {self.used_s:6.1f} s, slowest {self.slowest[0]:.2f} s "
            f"(seed {self.slowest[1]}), largest {self.largest[0]:.0f} MB (seed {self.largest[1]})"
        )


# ---------------------------------------------------------------- what is changed


def odd(dice: random.Random) -> str:
    """A value as nobody would write it, or nearly right."""
    if dice.random() < 0.15:
        return dice.choice(RUNS) * dice.choice([1, 40, 3000, 19_000])
    if dice.random() < 0.2:
        return dice.choice(mutate.ODD_TEXT)
    between = dice.choice(["", " ", "  ", "\u00a0", " " * dice.choice([1, 200, 9000])])
    return dice.choice(NUMBERS) + between + dice.choice(UNITS)


def rows_changed(rows: list[str], dice: random.Random) -> list[str]:
    """Lines of a file with some taken out, doubled, swapped or changed."""
    rows = list(rows)
    for _ in range(dice.choice([1, 1, 2, 5])):
        at = dice.randrange(len(rows)) if rows else 0
        what = dice.choice(["out", "double", "swap", "odd", "odd", "part", "many", "mix"])
        if not rows:
            rows.append(odd(dice))
        elif what == "out":
            del rows[at : at + dice.choice([1, 1, 7])]
        elif what == "double":
            rows.insert(at, rows[at])
        elif what == "swap":
            other = dice.randrange(len(rows))
            rows[at], rows[other] = rows[other], rows[at]
        elif what == "odd":
            rows[at] = odd(dice)
        elif what == "part":
            cut = dice.randrange(len(rows[at]) + 1)
            rows[at] = rows[at][:cut] + odd(dice)[:50] + rows[at][cut:]
        elif what == "many":
            rows[at:at] = [rows[at]] * dice.choice([10, 300, 3000])
        else:
            rows[at] = rows[at].replace(dice.choice([",", " ", ".", "0"]), odd(dice)[:20])
    return rows


def bytes_changed(data: bytes, dice: random.Random) -> bytes:
    """Now and then the bytes themselves: cut short, another encoding, strange bytes between."""
    what = dice.random()
    if what < 0.04:
        return data[: dice.randrange(len(data) + 1)]
    if what < 0.06:
        return data.decode("utf-8", "replace").encode("utf-16")
    if what < 0.1:
        at = dice.randrange(len(data) + 1)
        return data[:at] + dice.choice([b"\0", b"\xff\xfe", b"\x80", b"\r", b"\x1a"]) + data[at:]
    return data


def json_changed(tree: Any, dice: random.Random) -> bytes:
    """A JSON file whose tree is changed, or its text where JSON can say what a tree cannot."""
    text = json.dumps(mutate.mutated(tree, dice, dice.choice([1, 1, 2, 4])), ensure_ascii=False)
    what = dice.random()
    if what < 0.1:
        digits = dice.choice(["9" * 5000, "1e999", "-1e400", "NaN", "9" * 400 + ".5", "1e-400"])
        text = text.replace(dice.choice(["1", "0", "2"]), digits, 1)
    elif what < 0.15:
        text = dice.choice(["[", '{"a":', "[[{}],"]) * dice.choice([50, 2000, 60_000]) + text
    return bytes_changed(text.encode("utf-8", "surrogatepass"), dice)


# ---------------------------------------------------------------- the readers


def scalars(dice: random.Random) -> None:
    """One value of a spec or of what it includes, anything else as it was."""
    spec, shared = dice.choice([SKIN, HATCH]), SHARED
    text = spec if dice.random() < 0.6 else shared
    lines = text.splitlines()
    at = dice.choice([n for n, line in enumerate(lines) if ":" in line])
    head, _, rest = lines[at].partition(": ")
    value = odd(dice)
    if dice.random() < 0.5:
        quote = dice.choice("'\"")
        value = quote + value.replace(quote, "") + quote
    lines[at] = head + ": " + value + (rest[rest.index("}") :] if "}" in rest else "")
    changed = "\n".join(lines) + "\n"
    data = bytes_changed(changed.encode("utf-8", "surrogatepass"), dice)
    held = shelf(data if text is spec else spec)
    if text is shared:
        held.files["shared.yaml"] = data
    load(Path("part.yaml"), held)


def _drawn(mould: str) -> str:
    return HATCH[: HATCH.index("mould:")] + mould + HATCH[HATCH.index("edges: {all") :]


def _tags(*pairs: tuple[int, object]) -> list[str]:
    return [line for code, value in pairs for line in (f"{code:3d}", str(value))]


def _plate(dice: random.Random) -> list[str]:
    """A DXF file as its lines: an outline by one of the ways there are, and a hole."""
    corners = [(0, 0), (300, 0), (300, 200), (0, 200)]
    on = (8, "PLATE")
    body: list[str] = []
    way = dice.choice(["LWPOLYLINE", "LINE", "POLYLINE", "ARC"])
    if way == "LWPOLYLINE":
        body += _tags((0, way), on, (90, 4), (70, 1))
        for x, y in corners:
            body += _tags((10, x), (20, y), (42, dice.choice([0, 0, 0.3, -1, 1e6])))
    elif way == "POLYLINE":
        body += _tags((0, way), on, (66, 1), (70, 1))
        for x, y in corners:
            body += _tags((0, "VERTEX"), on, (10, x), (20, y), (30, 0), (42, 0))
        body += _tags((0, "SEQEND"), on)
    elif way == "LINE":
        for (x, y), (u, v) in zip(corners, corners[1:] + corners[:1], strict=True):
            body += _tags((0, way), on, (10, x), (20, y), (11, u), (21, v))
    else:
        for first in (0, 180):
            body += _tags((0, way), on, (10, 150), (20, 100), (40, 90), (50, first),
                          (51, first + 180))  # fmt: skip
    if dice.random() < 0.7:
        body += _tags((0, "CIRCLE"), on, (10, 150), (20, 100), (40, 20))
    version = dice.choice(["AC1009", "AC1015", "AC1024"])
    head = _tags((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, version), (9, "$INSUNITS"),
                 (70, 4), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES"))  # fmt: skip
    return [*head, *body, *_tags((0, "ENDSEC"), (0, "EOF"))]


def dxf(dice: random.Random) -> None:
    """An outline drawn in DXF."""
    text = "\n".join(rows_changed(_plate(dice), dice)) + "\n"
    if dice.random() < 0.8 and not text.rstrip().endswith("EOF"):
        text += "  0\nEOF\n"
    data = bytes_changed(text.encode("utf-8", "surrogatepass"), dice)
    load(Path("part.yaml"), shelf(_drawn("mould: {dxf: plate.dxf, layer: PLATE}\n"),
                                  plate_dxf=data))  # fmt: skip


def csv(dice: random.Random) -> None:
    """An outline listed in a table."""
    apart = dice.choice([", ", ";", "\t", " "])
    points = [("0", "0"), ("300", "0"), ("300", "200"), ("150", "260.5"), ("0", "200")]
    rows = [apart.join(row) for row in (("x (mm)", "y (mm)"), *points)]
    text = dice.choice(["\n", "\r\n"]).join(rows_changed(rows[dice.choice([0, 0, 1]) :], dice))
    data = bytes_changed(text.encode("utf-8", "surrogatepass"), dice)
    load(Path("part.yaml"), shelf(_drawn("mould: {csv: plate.csv, csv_units: mm}\n"),
                                  plate_csv=data))  # fmt: skip


def dat(dice: random.Random) -> None:
    """The coordinates of a section, in either order."""
    upper = [(x, 0.6 * (x * (1 - x)) ** 0.5 / 4) for x in (0, 0.05, 0.2, 0.5, 0.8, 1)]
    lower = [(x, -y) for x, y in upper]
    if dice.random() < 0.5:
        rows = [f"{x:.5f} {y:.5f}" for x, y in (*upper[::-1], *lower[1:])]
    else:
        rows = ["6. 6.", *(f"{x:.5f} {y:.5f}" for x, y in (*upper, *lower))]
    text = "\n".join(rows_changed(["a section", *rows], dice)) + "\n"
    data = bytes_changed(text.encode("utf-8", "surrogatepass"), dice)
    out = Collector(Limits())
    made = read_section(data, "own.dat", NOWHERE, out)
    assert abs(made.points).max() < 1e6, "a section without measure"


@cache
def a_plan() -> dict[str, Any]:
    """The plan of a small plate, as a build writes it."""
    from tests.kills.run import QUICK, run, spec

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "specs" / "shared").mkdir(parents=True)
        for name in ("materials", "shop", "stock"):
            text = (SPECS / "shared" / f"{name}.yaml").read_bytes()
            to = "own" if name == "stock" else name
            (folder / "specs" / "shared" / f"{to}.yaml").write_bytes(text)
        (folder / "specs" / "part.yaml").write_text(spec("FZ-1", 120.0))
        assert run(folder, ("build", "specs/part.yaml", *QUICK)) == 0
        return json.loads((folder / "out" / "FZ-1" / "plan.json").read_text())


def a_record() -> dict[str, Any]:
    frame = {k: a_plan()["part"][k] for k in ("name", "revision", "hand")}
    frame |= {"part": "FZ-1", "plan": a_plan()["record_key"], "serial": "1"}
    device = Device()
    device.put("article.book", {k: v for k, v in frame.items() if k != "serial"}, AT)
    device.put("article.serial", "1", AT)
    device.put("record.notes", "words", AT)
    device.put("timer.lay-up.1", {"start": 1.7e12, "end": 1.7e12 + 6e5, "stopped": 0, "seen": 0})
    device.put("deviations.1", {"step": "x", "what": "y", "why": "z", "by": "RL"}, AT)
    return device.export(frame)


def record(dice: random.Random) -> None:
    """A record as the booklet exports it, held against its plan."""
    found = read_record(json_changed(a_record(), dice), "record.json")
    compare(found, a_plan())


def plan(dice: random.Random) -> None:
    """A plan read back: compared both ways, held against a record, and to the verifier."""
    try:
        odd_plan = json.loads(json_changed(a_plan(), dice))
    except (ValueError, RecursionError):
        return
    with read_as_plan(Path("plan.json")):
        changes_between(odd_plan, deepcopy(a_plan()))
        changes_between(deepcopy(a_plan()), odd_plan, pieces_done(odd_plan, ["x.1"]))
    compare(read_record(json.dumps(a_record()).encode()), odd_plan)


def proof(dice: random.Random) -> None:
    """A plan of the right shape whose values are wrong, held to what `verify` asks of it alone."""
    odd_plan = mutate.mutated(a_plan(), dice, dice.choice([1, 2]))
    if isinstance(odd_plan.get("part"), dict) and isinstance(odd_plan["part"].get("number"), str):
        plan_faults([odd_plan])


def manifest(dice: random.Random) -> None:
    """The manifest of a folder from someone else: read by `verify`, and by the next build."""
    files = {"a.txt": b"1", "sub/b.txt": b"2", "mine.txt": b"mine"}
    tree = {"folder": "A", "version": "0", "parts": [{"number": "A", "spec": []}],
            "files": [{"name": n, "bytes": 1, "sha256": sha256(files[n])}
                      for n in ("a.txt", "sub/b.txt")]}  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        out = Path(place) / "out"
        for name, content in files.items():
            (out / "A" / name).parent.mkdir(parents=True, exist_ok=True)
            (out / "A" / name).write_bytes(content)
        (out / "A" / "manifest.json").write_bytes(json_changed(tree, dice))
        read_files(out / "A", Report("A"))
        try:
            commit(out, {"A": {"new.txt": b"new"}})
        finally:
            kept = {p.read_bytes() for p in out.rglob("*") if p.is_file()}
            assert b"mine" in kept, "a stranger's file is lost"
            assert [p.name for p in Path(place).iterdir()] == ["out"], "something leads out"


def layouts(dice: random.Random) -> None:
    """A layout memory: what is understood is written as it was read."""
    tree = {"version": 1, "layouts": {
        "0123456789abcdef0123456789abcdef": {"seconds": 1.5, "units": [
            ["R1", 812.5, "rows", [["A/P1", 1, 3.25, 4.5, 0.0, False],
                                   ["A/P2", 1, 103.25, 4.5, 90.0, True]]]]}}}  # fmt: skip
    memory = LayoutMemory.from_bytes(json_changed(tree, dice))
    if len(memory):
        again = LayoutMemory.from_bytes(memory.to_bytes())
        assert again.to_bytes() == memory.to_bytes(), "a memory that does not keep"


READERS: dict[str, Callable[[random.Random], None]] = {
    made.__name__: made for made in (scalars, dxf, csv, dat, record, plan, proof, manifest, layouts)
}


# ---------------------------------------------------------------- running them


def one(reader: str, number: int, tally: Tally) -> None:
    """One case by its seed."""
    before_mb, began = _reset_peak_mb(), time.process_time()
    tally.cases += 1
    try:
        READERS[reader](random.Random(number))
    except PlybookError as refusal:
        tally.refused += 1
        if not refusal.findings:
            tally.failures.append(f"{reader}, seed {number}: a refusal without a finding")
    except Exception as wrong:
        frames = traceback.extract_tb(wrong.__traceback__)
        at = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}"
        said = f"{type(wrong).__name__} at {at}: {wrong}"[:300]
        tally.failures.append(f"{reader}, seed {number}: {said}")
    used, grown = time.process_time() - began, _peak_mb("VmHWM") - before_mb
    tally.used_s += used
    tally.slowest = max(tally.slowest, (used, number))
    tally.largest = max(tally.largest, (grown, number))
    if used > LONGEST_S:
        tally.failures.append(f"{reader}, seed {number}: takes {used:.1f} s")
    if grown > LARGEST_MB:
        tally.failures.append(f"{reader}, seed {number}: takes {grown:.0f} MB")


def _reset_peak_mb() -> float:
    """Let the system count the peak anew, and say what the process takes now (Linux only)."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return 0.0
    return _peak_mb("VmRSS")


def _peak_mb(name: str) -> float:
    try:
        said = Path("/proc/self/status").read_text()
    except OSError:
        return 0.0
    return int(said.partition(f"{name}:")[2].split()[0]) / 1024


def run(reader: str, count: int, seed: int, seconds: float = float("inf")) -> Tally:
    """Cases of one reader, each from its own seed, so that one can be run again by itself."""
    tally, until = Tally(reader), time.monotonic() + seconds
    for number in range(seed, seed + count):
        if time.monotonic() > until:
            break
        one(reader, number, tally)
        if tally.cases % TOLD_EVERY == 0:
            print(tally, file=sys.stderr, flush=True)
    return tally


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--reader", choices=[*READERS, "all"], default="all")
    parser.add_argument("--count", type=int, default=1000, help="cases of each reader")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="end a reader then")
    arguments = parser.parse_args()
    failed = False
    for reader in READERS if arguments.reader == "all" else [arguments.reader]:
        tally = run(reader, arguments.count, arguments.seed, arguments.seconds)
        print(tally, flush=True)
        for failure in tally.failures[:20]:
            print(" ", failure, flush=True)
        failed = failed or bool(tally.failures)
    return failed


if __name__ == "__main__":
    sys.exit(main())
