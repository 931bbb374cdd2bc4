"""How time and memory grow with the work: processor seconds of each stage for 10 to 1000 pieces,
the exponent fitted to them, and one large part (500 layers on 15 m, 20 stations of 400 points).

Run: python -m tests.bench.bench_growth [--pieces 10 30 100 300 1000] [--large] [--layers 500]
More pieces than the limit are made too: the limits on layers and pieces do not hold here.
"""

from __future__ import annotations

import argparse
import math
import resource
import tempfile
import time
from pathlib import Path

import numpy as np
import yaml

import plybook.output as output
from plybook.diagnostics import PlybookError
from plybook.laminate import lay_up
from plybook.nest import CutJob, plan_cuts
from plybook.outside import Outside
from plybook.shop import plan_work
from plybook.spec import load
from plybook.spec.limits import DEFAULTS
from plybook.surface import build_face
from plybook.verify import verify_folder
from plybook.write.folder import commit

SPECS = Path(__file__).parents[2] / "specs"
SHARED = ["shared/materials.yaml", "shared/stock.yaml", "shared/shop.yaml"]
MAKERS = (
    "booklet", "book_html", "book_pdf", "draw_pieces", "templates_pdf", "fullsize_pdf",
    "labels_pdf", "dxf_bytes", "svg_bytes", "cut_sheets", "layout_scene",
)  # fmt: skip


def panel(pieces: int) -> dict:
    """A flat panel with one patch to a ply, no two alike: 40 pads side by side for each thousand
    pieces, each patch of a pad a little smaller than the one under it, so that there are as many
    stacks as patches."""
    dice = np.random.default_rng(pieces)
    columns = 8 * math.ceil(pieces / 1000)
    pads = np.round(dice.uniform([200, 160], [290, 230], (5 * columns, 2)), 1)
    layers = []
    for n in range(pieces):
        pad, level = n % len(pads), n // len(pads)
        wide, high = np.round(pads[pad] - level * dice.uniform(4.0, 5.0), 1)
        x, y = 150 + 300 * (pad % columns), 120 + 240 * (pad // columns)
        patch = {"at": [x, y], "size": [float(wide), float(high)], "corner": 10}
        layers.append(
            {"ply": f"P{n}", "cloth": "carbon-twill-200", "angle": [0, 45, 90, -45][n % 4],
             "region": {"patch": patch}}
        )  # fmt: skip
    wide_mm = 300 * columns
    return {
        "plybook": 1,
        "include": SHARED,
        "part": {"number": f"GROW-{pieces}", "name": "Panel", "units": "mm", "date": "2026-05-04"},
        "mould": {"outline": [[0, 0], [wide_mm, 0], [wide_mm, 1200], [0, 1200]]},
        "layers": layers,
    }


def long_wing(layers: int, length_mm: float = 15_000.0, stations: int = 20) -> dict:
    """A long skin, a section file of 400 points to each station."""
    at = [round(length_mm * k / (stations - 1), 1) for k in range(stations)]
    rows = [
        {"at": a, "chord": round(1100 - 500 * a / length_mm, 1), "sweep": round(0.03 * a, 1),
         "rise": round(0.02 * a, 1), "section": {"file": "sections/long.dat"}}
        for a in at
    ]  # fmt: skip
    plies = []
    for n in range(layers):
        start = (n * 733) % int(length_mm - 4000)
        plies.append(
            {"ply": f"P{n}", "cloth": "carbon-twill-200", "angle": [0, 45, 90, -45][n % 4],
             "region": {"span": [start, start + 3500], "share": [0.1, 0.8]}}
        )  # fmt: skip
    return {
        "plybook": 1,
        "include": SHARED,
        "part": {"number": "LONG-1", "name": "Long skin", "units": "mm", "date": "2026-05-04",
                 "hand": "left"},
        "mould": {"form": "female", "side": "upper", "loft": "ruled", "stations": rows},
        "axis": {"share": 0.25},
        "layers": plies,
    }  # fmt: skip


def section(points: int = 400) -> str:
    """NACA 0012 (Abbott and von Doenhoff, 1959) from the trailing edge over the upper side."""
    half = points // 2
    x = 0.5 * (1 + np.cos(np.linspace(0, math.pi, half)))
    y = 0.6 * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    ring = np.concatenate([np.column_stack([x, y]), np.column_stack([x, -y])[::-1][1:]])
    return "long\n" + "\n".join(f"{a:.7f} {b:.7f}" for a, b in ring) + "\n"


def _used_s() -> float:
    """Processor time of this process and its helpers so far: a busy machine does not count."""
    helpers = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + helpers.ru_utime + helpers.ru_stime


def stages(tree: dict, folder: Path, tell=print) -> tuple[dict[str, float], int]:
    """Processor seconds of each stage of one part, and its number of pieces."""
    spent: dict[str, float] = {}

    def timed(name, work):
        began = _used_s()
        made = work()
        spent[name] = spent.get(name, 0.0) + _used_s() - began
        return made

    for name in SHARED:
        path = folder / "specs" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes((SPECS / name).read_bytes())
    (folder / "specs" / "sections").mkdir(exist_ok=True)
    (folder / "specs" / "sections" / "long.dat").write_text(section())
    path = folder / "specs" / "part.yaml"
    path.write_text(yaml.safe_dump(tree, sort_keys=False))

    raised = {"layers": max(len(tree["layers"]), DEFAULTS["layers"].value)}
    spec = timed("read", lambda: load(path, Outside(), raised)).specs[0]
    face = timed("face", lambda: build_face(spec))
    laminate = timed("plies", lambda: lay_up(spec, face))
    plan = timed(
        "cut plan (quick)",
        lambda: plan_cuts([CutJob(spec, laminate.pieces)], effort="quick"),
    )
    shop = timed("steps", lambda: plan_work(spec, face, laminate, plan))
    from plybook.build import Part, Planned
    from plybook.shop.setout import set_out

    part = Part(spec, face, laminate, set_out(spec, face, laminate))
    kept = {name: getattr(output, name) for name in (*MAKERS, "each")}
    try:
        for name in MAKERS:
            setattr(output, name, _clocked(name, kept[name], spent))
        output.each = lambda work, given: [work(one) for one in given]  # clocked here, not afar
        folders = output.folders_of([Planned(part, plan, shop, (part,))])
    finally:
        for name, make in kept.items():
            setattr(output, name, make)
    timed("write", lambda: commit(folder / "out", folders))
    report = timed("verify", lambda: verify_folder(folder / "out" / part.number))
    if not report.sound:
        faults = report.folders[0].faults
        tell(f"  NOT SOUND, {len(faults)} faults: " + "; ".join(faults[:9]))
    return spent, len(laminate.pieces)


def _clocked(name, make, spent):
    def clocked(*given, **named):
        began = _used_s()
        made = make(*given, **named)
        spent[name] = spent.get(name, 0.0) + _used_s() - began
        return made

    return clocked


def exponent(counts: list[int], seconds: list[float]) -> float:
    """Slope of log time over log count; stages under 20 ms at the largest count are noise."""
    if seconds[-1] < 0.02:
        return float("nan")
    keep = [(math.log(n), math.log(s)) for n, s in zip(counts, seconds, strict=True) if s > 1e-3]
    if len(keep) < 2:
        return float("nan")
    return float(np.polyfit(*np.array(keep).T, 1)[0])


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--pieces", type=int, nargs="*", default=[10, 30, 100, 300, 1000])
    parser.add_argument("--large", action="store_true", help="the long wing too")
    parser.add_argument("--layers", type=int, default=500, help="layers of the long wing")
    arguments = parser.parse_args()
    table, counts = {}, []
    for count in arguments.pieces:
        with tempfile.TemporaryDirectory() as folder:
            spent, pieces = stages(panel(count), Path(folder))
        counts.append(pieces)
        for name, seconds in spent.items():
            table.setdefault(name, []).append(seconds)
        print(f"{pieces} pieces: {sum(spent.values()):.1f} s, peak {peak_mb():.0f} MB", flush=True)
    if len(counts) > 1:
        table["all"] = [sum(column) for column in zip(*table.values(), strict=True)]
        print(f"{'stage':22s}" + "".join(f"{n:>10d}" for n in counts) + "   exponent")
        for name, seconds in table.items():
            figures = "".join(f"{s:10.3f}" for s in seconds)
            print(f"{name:22s}{figures}   {exponent(counts, seconds):8.2f}")
    if arguments.large:
        with tempfile.TemporaryDirectory() as folder:
            try:
                spent, pieces = stages(long_wing(arguments.layers), Path(folder))
            except PlybookError as refusal:
                print("long wing refused:", "; ".join(f.message for f in refusal.findings[:3]))
                return
        print(f"long wing, {arguments.layers} layers, {pieces} pieces: "
              f"{sum(spent.values()):.0f} s, peak {peak_mb():.0f} MB")  # fmt: skip
        for name, seconds in spent.items():
            print(f"  {name:22s}{seconds:8.1f} s")


if __name__ == "__main__":
    main()
