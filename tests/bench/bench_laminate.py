"""Figures of the laminate room: processor time by stage and its growth with the layers.

Run: python -m tests.bench.bench_laminate [--profile]

Times are processor seconds of this process, so that a busy machine does not change them; the
clock on the wall is beside them. `--profile` prints where the 60-layer skin spends its time.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import time
from contextlib import contextmanager
from pathlib import Path

from plybook.laminate import lay_up  # before numpy: it sets the number of threads
from plybook.laminate.layup import LayUp
from plybook.outside import Outside
from plybook.spec import load
from plybook.spec.model import (
    AtShare,
    Core,
    Inset,
    Layer,
    NacaSection,
    PartSpec,
    Ply,
    SpanBand,
    Station,
    StationMould,
    Treatment,
    Whole,
)
from plybook.surface import build_face
from tests.laminate.doubles import spec

import numpy as np  # isort: skip

SPECS = Path(__file__).parents[2] / "specs"
GOAL_S = 10.0  # for the geometry of a 60-layer skin on two cores
COUNTS = (5, 10, 20, 40, 60)
STAGES = {  # method of the lay-up -> what it is called in the table
    "_common_marks": "marks",
    "_region": "regions",
    "_rise": "heights",
    "_sheet": "cloth",
    "_core": "core",
    "_insert": "inserts",
    "_rods": "rods",
    "_raised": "of these, laying flat",
    "_finished": "zones, mass, rules",
}


@contextmanager
def stages():
    """Adds up the processor time spent in each stage of a lay-up (a stage within another counts
    in both)."""
    spent = dict.fromkeys(STAGES.values(), 0.0)
    kept = {name: getattr(LayUp, name) for name in STAGES}

    def timed(name, method):
        def call(*args, **more):
            begin = time.process_time()
            try:
                return method(*args, **more)
            finally:
                spent[STAGES[name]] += time.process_time() - begin

        return call

    for name, method in kept.items():
        setattr(LayUp, name, timed(name, method))
    try:
        yield spent
    finally:
        for name, method in kept.items():
            setattr(LayUp, name, method)


def skin(layers: int) -> PartSpec:
    """A made sandwich skin of 4 m: half the plies below a bevelled core, half above; every
    second run of three is a doubler that ends step by step towards the tip."""
    core = Core(
        "C", "foam", "s", Inset((("leading", 90.0), ("trailing", 70.0), ("root", 45.0),
                                 ("tip", 50.0))),
        thickness_mm=10.0, edges=(("", Treatment("bevel", 45.0)),),
    )  # fmt: skip
    plies: list[Layer] = []
    for number in range(layers - 1):
        end = 3400.0 - 40.0 * number
        region = SpanBand(0.0, end) if number % 6 >= 3 else Whole()
        angle = (0.0, 45.0, -45.0, 90.0)[number % 4]
        plies.append(Ply(f"P{number + 1}", "twill", "s", region, angle_deg=angle))
    half = len(plies) // 2
    stations = (
        Station(0.0, 1200.0, 0.0, 0.0, 0.0, 0.25, NacaSection("2412")),
        Station(4000.0, 760.0, 200.0, 190.0, -2.0, 0.25, NacaSection("2412")),
    )
    edges = ("leading", "trailing", "root", "tip")
    mould = StationMould(stations, "upper", 0.0, 1.0, "female", "ruled", edges, ())
    return spec(
        [*plies[:half], core, *plies[half:]],
        {"leading": 20.0, "trailing": 15.0, "root": 25.0, "tip": 25.0},
        mould=mould,
        axis=AtShare(0.25),
    )


def shipped(name: str) -> PartSpec:
    return load(SPECS / f"{name}.yaml", Outside()).specs[0]


def measured(what: str, given: PartSpec, table: bool = True):
    """Builds the face and lays up; prints the table. Returns processor seconds of both."""
    wall, begin = time.perf_counter(), time.process_time()
    face = build_face(given)
    surface = time.process_time() - begin
    with stages() as spent:
        begin = time.process_time()
        made = lay_up(given, face)
        laminate = time.process_time() - begin
    wall = time.perf_counter() - wall
    vertices = [len(p.outline_mm) for p in made.pieces]
    print(
        f"{what}: {len(given.layers)} layers, {len(made.pieces)} pieces, {len(made.zones)} zones, "
        f"vertices of an outline {int(np.median(vertices))} (most {max(vertices)})"
    )
    print(f"    face {surface:.2f} s, lay-up {laminate:.2f} s, on the wall {wall:.2f} s")
    if table:
        for stage, seconds in spent.items():
            print(f"    {stage:24s} {seconds:6.2f} s")
    return surface + laminate


def growth() -> None:
    """The exponent of the processor time with the number of layers."""
    seconds = [measured(f"skin of {n}", skin(n), table=n == COUNTS[-1]) for n in COUNTS]
    over_all = np.polyfit(np.log(COUNTS), np.log(seconds), 1)[0]
    upper = np.polyfit(np.log(COUNTS[-3:]), np.log(seconds[-3:]), 1)[0]
    each = np.polyfit(COUNTS, seconds, 1)
    print(f"time ~ layers ^ {over_all:.2f} (from {COUNTS[-3]} layers up: ^ {upper:.2f}); "
          f"{1000 * each[0]:.0f} ms a layer on top of {each[1]:.1f} s")  # fmt: skip
    verdict = "met" if seconds[-1] < GOAL_S else "NOT met"
    print(f"geometry of a skin of {COUNTS[-1]}: {seconds[-1]:.1f} s, goal {GOAL_S:g} s {verdict}")


def profile() -> None:
    given = skin(COUNTS[-1])
    face = build_face(given)
    run = cProfile.Profile(time.process_time)
    run.enable()
    lay_up(given, face)
    run.disable()
    stats = pstats.Stats(run).strip_dirs()
    stats.sort_stats("cumulative").print_stats(45)
    stats.sort_stats("tottime").print_stats(25)


if __name__ == "__main__":
    if "--profile" in sys.argv[1:]:
        profile()
    else:
        for name in ("wing-skin", "spar", "hatch"):
            measured(name, shipped(name))
        growth()
