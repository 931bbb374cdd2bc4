"""What each limit costs when it is reached on purpose, and what passing it costs: seconds of a
processor and megabytes of the whole command with its helpers. Judged are exit code and cost.

Run: python -m tests.bench.bench_limits [--only WORDS] [--build] [--seconds 300]

Costs are counted, not timed by the clock: processor seconds of all processes, and the largest sum
of what they hold (proportional set size, Linux only), looked at five times a second.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import yaml

ROOT = Path(__file__).parents[2]
SPECS = ROOT / "specs"
SHARED = ["shared/materials.yaml", "shared/stock.yaml", "shared/shop.yaml"]
REACHED_S, REACHED_MB = 20.0, 1000.0
REFUSED_S, REFUSED_MB = 2.0, 300.0
PLY = {"ply": "P1", "cloth": "carbon-twill-200", "angle": 45}
CORE = {"core": "C", "sheet": "foam-10", "region": {"inset": 20}}
REFUSED = ("too-many", "pattern-folds", "too-many-values")
WIDE, HIGH = 2000.0, 1000.0
Files = dict[str, str]


def plate(*layers: dict, **more) -> dict:
    mould = {"outline": [[0, 0], [WIDE, 0], [WIDE, HIGH], [0, HIGH]], **more.pop("mould", {})}
    return {
        "plybook": 1, "include": SHARED,
        "part": {"number": "LIM-1", "name": "Limit", "units": "mm", "date": "2026-05-04"},
        "mould": mould, "layers": list(layers) or [PLY], **more,
    }  # fmt: skip


def skin(stations: list[dict], *layers: dict, **more) -> dict:
    tree = plate(*layers, axis={"share": 0.25}, **more)
    tree["mould"] = {"side": "upper", "loft": "ruled", "stations": stations}
    tree["part"]["hand"] = "left"
    return tree


def places(count: int) -> list[list[float]]:
    """Places spread evenly over the plate."""
    columns = math.ceil(math.sqrt(count * WIDE / HIGH))
    rows = math.ceil(count / columns)
    return [[round(60 + (WIDE - 120) * (k % columns + 0.5) / columns, 2),
             round(60 + (HIGH - 120) * (k // columns + 0.5) / rows, 2)]
            for k in range(count)]  # fmt: skip


def holes(count: int) -> dict:
    return {"holes": [{"circle": at, "diameter": 10} for at in places(count)]}


def inserts(count: int) -> list[dict]:
    return [{"insert": f"H{k}", "block": "birch-10", "in": "C",
             "region": {"patch": {"at": at, "size": [20, 15]}}}
            for k, at in enumerate(places(count))]  # fmt: skip


def seams(count: int) -> list[dict]:
    at = [round(30 + (WIDE - 60) * k / count, 2) for k in range(count)]
    return [{"from": [x, 0], "to": [x, HIGH]} for x in at]


def chain(count: int) -> list[dict]:
    first = {**PLY, "ply": "A0", "region": {"patch": {"at": [1000, 500], "size": [200, 150]}}}
    return [first, *({**PLY, "ply": f"A{k}", "region": {"around": {"layer": f"A{k - 1}", "by": 1}}}
                     for k in range(1, count))]  # fmt: skip


def stations(count: int, section: object = "naca 2412", long: float = 4000) -> list[dict]:
    shares = [k / (count - 1) for k in range(count)]
    return [{"at": round(long * s, 2), "chord": round(1100 - 300 * s, 2), "section": section}
            for s in shares]  # fmt: skip


def round_ring(count: int) -> list[tuple[float, float]]:
    turns = [2 * math.pi * k / count for k in range(count)]
    return [(round(1000 + 900 * math.cos(t), 4), round(1000 + 900 * math.sin(t), 4)) for t in turns]


def zigzag(count: int) -> list[tuple[float, float]]:
    half = count // 2
    low = [(round(WIDE * k / (half - 1), 4), -5.0 * (k % 2)) for k in range(half)]
    return low + [(x, 800.0 - y) for x, y in low[::-1]]


def table(points: list[tuple[float, float]]) -> Files:
    return {"drawings/o.csv": "x (mm), y (mm)\n" + "".join(f"{x},{y}\n" for x, y in points)}


def loose(points: list[tuple[float, float]]) -> Files:
    """A drawing of lines that are not joined."""
    lines = ["0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1009", "9", "$INSUNITS", "70",
             "4", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]  # fmt: skip
    for (x, y), (u, v) in zip(points, points[1:] + points[:1], strict=True):
        lines += ["0", "LINE", "8", "OUT", "10", f"{x}", "20", f"{y}", "11", f"{u}", "21", f"{v}"]
    return {"drawings/o.dxf": "\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""])}


def coordinates(count: int) -> Files:
    """A section of many points, closed at the trailing edge."""
    xs = [(1 - math.cos(math.pi * k / (count // 2 - 1))) / 2 for k in range(count // 2)]
    ys = [0.6 * (0.2969 * x**0.5 - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
          for x in xs]  # fmt: skip
    upper, lower = list(zip(xs, ys, strict=True)), [(x, -y) for x, y in zip(xs, ys, strict=True)]
    rows = [*upper[::-1], *lower[1:]]
    return {"sections/o.dat": "many points\n" + "".join(f"{x:.7f} {y:.7f}\n" for x, y in rows)}


DRAWN = {"dxf": "drawings/o.dxf", "layer": "OUT"}
OWN = {"file": "sections/o.dat"}
Row = tuple[str, Callable[[], tuple[dict, Files]], bool]


def listed(points: list[tuple[float, float]], *layers: dict) -> tuple[dict, Files]:
    return plate(*layers) | {"mould": {"csv": "drawings/o.csv"}}, table(points)


def drawn(points: list[tuple[float, float]]) -> tuple[dict, Files]:
    return plate() | {"mould": DRAWN}, loose(points)


def plies(count: int) -> list[dict]:
    return [{**PLY, "ply": f"P{k}"} for k in range(count)]


def wave(count: int) -> list[tuple[float, float]]:
    """An outline of so many hollows on each long side."""
    xs = [WIDE * k / (count * 40) for k in range(count * 40 + 1)]
    low = [(round(x, 4), round(5 * math.sin(2 * math.pi * count * x / WIDE), 4)) for x in xs]
    return low + [(x, 800 - y) for x, y in low[::-1]]


def remnant(count: int) -> dict:
    """A left-over with a jagged edge of so many corners."""
    jagged = [[round(WIDE * k / count, 2), 1200 + 5 * (k % 2)] for k in range(count - 2, 0, -1)]
    return {"id": "R", "roll": "carbon-twill-200", "outline": [[0, 0], [WIDE, 0], *jagged]}


def to_and_fro(count: int) -> list[dict]:
    """Stations of which each is a break."""
    return [{**one, "sweep": 2 * (k % 2)} for k, one in enumerate(stations(count))]


def crossing(loft: str) -> tuple[dict, Files]:
    """A loft that is upside down in the middle."""
    tree = skin([{**one, "twist": f"{180 * (k == 1)} deg"} for k, one in enumerate(stations(3))])
    tree["mould"]["loft"] = loft
    return tree, {}


def with_seams(count: int) -> tuple[dict, Files]:
    square = {"edges": {"all": "square"}, "seams": seams(count)}
    return plate(PLY, {**CORE, **square}), {}


# name, spec and files, whether it is refused for its size
ROWS: tuple[Row, ...] = (
    ("outline-points: 15000 loose lines", lambda: drawn(round_ring(15_000)), False),
    ("outline-points: 25000 loose lines", lambda: drawn(round_ring(25_000)), True),
    ("outline-points: 20000", lambda: listed(round_ring(20_000)), False),
    ("outline-points: 900000", lambda: listed(round_ring(900_000)), True),
    ("laid-points: 20000 in 5 layers", lambda: listed(round_ring(20_000), *plies(5)), False),
    ("laid-points: 2000 in 50 layers", lambda: listed(round_ring(2_000), *plies(50)), False),
    ("laid-points: 20000 in 40 layers", lambda: listed(round_ring(20_000), *plies(40)), True),
    ("laid-points: 200 stations, 12 layers", lambda: (skin(stations(200), *plies(12)), {}), False),
    ("laid-points: 60 stations, 40 layers",
     lambda: (skin(stations(60, long=8000), *plies(40)), {}), False),
    ("laid-points: 200 stations, 40 layers", lambda: (skin(stations(200), *plies(40)), {}), True),
    ("edges: 200", lambda: listed(zigzag(200)), False),
    ("edges: 4000", lambda: listed(zigzag(4_000)), True),
    ("edges: 100 waves", lambda: listed(wave(50)), False),
    ("holes: 400", lambda: (plate(mould=holes(400)), {}), False),
    ("holes: 400 in core", lambda: (plate(PLY, CORE, mould=holes(400)), {}), False),
    ("holes: 9000", lambda: (plate(mould=holes(9_000)), {}), True),
    ("layers: 248 inserts", lambda: (plate(PLY, CORE, *inserts(248)), {}), False),
    ("layers: 250 plies", lambda: (plate(*plies(250)), {}), False),
    ("layers: 1000 plies", lambda: (plate(*plies(1_000)), {}), True),
    ("region-chain: 16", lambda: (plate(*chain(16)), {}), False),
    ("region-chain: 300", lambda: (plate(*chain(300)), {}), True),
    ("seams: 100", lambda: with_seams(100), False),
    ("seams: 500", lambda: with_seams(500), True),
    ("section-points: 5000", lambda: (skin(stations(2, OWN)), coordinates(4_998)), False),
    ("section-points: 5000, 200 stations",
     lambda: (skin(stations(200, OWN)), coordinates(4_998)), False),
    ("section-points: 9000", lambda: (skin(stations(2, OWN)), coordinates(9_000)), True),
    ("stations: 200", lambda: (skin(stations(200)), {}), False),
    ("stations: 201", lambda: (skin(stations(201)), {}), True),
    ("leaves: 12", lambda: (skin(to_and_fro(13)), {}), False),
    ("leaves: 199", lambda: (skin(to_and_fro(200)), {}), True),
    ("a ruled loft that crosses", lambda: crossing("ruled"), True),
    ("a smooth loft that crosses", lambda: crossing("smooth"), True),
    ("stock-points: 400", lambda: (plate(stock=[remnant(400)]), {}), False),
    ("stock-points: 15000", lambda: (plate(stock=[remnant(15_000)]), {}), True),
    ("screws at 0.001 mm", lambda: (
        skin(stations(2), jig=[{"check": "screws", "pitch": 0.001, "tolerance": 5}]), {}), False),
)  # fmt: skip


def held_mb(process: int) -> float:
    """What a process and all it started hold now."""
    found, total = [process], 0
    for one in found:
        try:
            found += map(int, Path(f"/proc/{one}/task/{one}/children").read_text().split())
            said = Path(f"/proc/{one}/smaps_rollup").read_text()
            total += int(said.partition("Pss:")[2].split()[0])
        except (OSError, IndexError):
            continue
    return total / 1024


def measured(
    spec: dict, files: Files, build: bool, seconds: float
) -> tuple[str, float, float, str]:
    """Exit code, processor seconds, megabytes and what was said."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "specs"
        shutil.copytree(SPECS, folder, ignore=shutil.ignore_patterns("*.layouts.json"))
        for name, content in files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(content)
        (folder / "part.yaml").write_text(
            yaml.safe_dump(json.loads(json.dumps(spec)), sort_keys=False)
        )
        words = ["build", "--effort", "quick"] if build else ["check"]
        with open(Path(place) / "said", "wb") as said:
            child = subprocess.Popen(
                [sys.executable, "-P", "-m", "plybook", *words, "--format", "line",
                 "specs/part.yaml"],
                cwd=place, stdout=said, stderr=said, env={**os.environ, "PYTHONPATH": str(ROOT)},
                start_new_session=True,
            )  # fmt: skip
        peak, began = 0.0, time.monotonic()
        killer = threading.Timer(seconds, lambda: os.killpg(child.pid, signal.SIGKILL))
        killer.start()
        while True:
            peak = max(peak, held_mb(child.pid))
            ended, status, used = os.wait4(child.pid, os.WNOHANG)
            if ended:
                break
            time.sleep(0.2)
        killer.cancel()
        child.returncode = os.waitstatus_to_exitcode(status)
        ended_in_time = time.monotonic() - began < seconds
        lines = (Path(place) / "said").read_text(errors="replace").splitlines()
        first = next((line for line in lines if "error[" in line), "")
        code = str(child.returncode) if ended_in_time else "ended"
        return code, used.ru_utime + used.ru_stime, peak, first


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--only", default="", help="rows whose name has these words")
    parser.add_argument("--build", action="store_true", help="build, where it is not refused")
    parser.add_argument("--seconds", type=float, default=300.0, help="by the clock for a row")
    arguments = parser.parse_args()
    print("| row | exit | processor s | MB | |\n|---|---|---|---|---|")
    for name, made, refused in ROWS:
        if arguments.only not in name:
            continue
        code, used, held, said = measured(*made(), arguments.build and not refused,
                                          arguments.seconds)  # fmt: skip
        most_s, most_mb = (REFUSED_S, REFUSED_MB) if refused else (REACHED_S, REACHED_MB)
        told = any(f"error[{one}]" in said for one in REFUSED)
        wrong = [word for word, bad in (
            ("exit", code not in ("0", "1", "3") or refused != told),
            ("slow", used > most_s), ("large", held > most_mb),
        ) if bad]  # fmt: skip
        print(f"| {name} | {code} | {used:.1f} | {held:.0f} | {' '.join(wrong)} {said[:80]} |",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
