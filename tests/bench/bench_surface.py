"""Figures of the surface room: times and errors, printed as a table.

Run: python -m tests.bench.bench_surface
"""

from __future__ import annotations

import time

import numpy as np

from plybook.surface.develop import best_rigid
from plybook.surface.drape import drape_net, drape_ply
from plybook.surface.raised import Raiser
from plybook.surface.section import section_curve
from plybook.surface.strain import grid_triangles, principal
from tests.surface.faces import CHANNEL, circle, face, grid, half_circle, station
from tests.surface.test_drape import BIAS, place, sphere
from tests.surface.test_patterns import wing_cone
from tests.surface.test_raised import level, strip_core, strip_lines
from tests.surface.triangles import flatten_mesh

SKIN = (
    station(0, 1500),
    station(1300, 1250, sweep=180, twist=-0.6),
    station(4000, 800, sweep=520, rise=140, twist=-2.0),
)


def timed(make):
    begin = time.perf_counter()
    made = make()
    return made, time.perf_counter() - begin


def row(what: str, figure: str) -> None:
    print(f"{what:58s} {figure}")


def developables() -> None:
    for sweep in (0.0, 500.0, 1865.0):
        want, at = wing_cone(1500.0, 900.0, 4000.0, sweep)
        made, seconds = timed(lambda s=sweep: face(station(0, 1500), station(4000, 900, sweep=s)))
        got = made.to_pattern(at)
        turn, shift = best_rigid(want, got)
        off = np.hypot(*(want @ turn.T + shift - got).T).max()
        row(f"tapered wing over 4 m, sweep {sweep:.0f} mm", f"{off:.4f} mm   {seconds:.2f} s")
    made, seconds = timed(
        lambda: face(station(0, 1, half_circle(600.0)), station(4000, 0.5, half_circle(600.0)))
    )
    slant = np.hypot(4000, 300)
    angle = np.linspace(0, np.pi * 600 / (2 * slant), 25)
    want = np.concatenate(
        [r * np.stack([np.cos(angle), np.sin(angle)], axis=1) for r in (2 * slant, slant)]
    )
    got = made.to_pattern(grid([0, 4000], np.linspace(0, 1, 25)))
    turn, shift = best_rigid(want, got)
    off = np.hypot(*(want @ turn.T + shift - got).T).max()
    row("half frustum R 600 -> 300 over 4 m", f"{off:.4f} mm   {seconds:.2f} s")
    section = circle(4800.0)
    made, seconds = timed(lambda: face(station(0, 1, section), station(3200, 0.5, section)))
    angle = np.radians(216) * np.linspace(0, 1, 73)
    want = np.concatenate(
        [r * np.stack([np.cos(angle), np.sin(angle)], axis=1) for r in (8000.0, 4000.0)]
    )
    got = made.to_pattern(grid([0, 3200], np.linspace(0, 1, 73)))
    turn, shift = best_rigid(want, got)
    off = np.hypot(*(want @ turn.T + shift - got).T).max()
    row("whole cone R 4800 -> 2400, sector 216 deg, over 4 m", f"{off:.4f} mm   {seconds:.2f} s")
    made, seconds = timed(
        lambda: face(station(0, 1, half_circle(600.0)), station(4000, 1, half_circle(600.0)))
    )
    off = np.abs(np.ptp(made.outline_mm, axis=0) - [4000, 600 * np.pi]).max()
    row("half cylinder R 600 over 4 m", f"{off:.4f} mm   {seconds:.2f} s")
    made, seconds = timed(lambda: face(station(0, 1, CHANNEL), station(4000, 1, CHANNEL)))
    flat = section_curve(CHANNEL, "all").length()
    off = np.abs(np.ptp(made.outline_mm, axis=0) - [4000, flat]).max()
    row("channel with 20 mm radii over 4 m", f"{off:.4f} mm   {seconds:.2f} s")


def skins() -> None:
    for loft in ("ruled", "smooth"):
        made, seconds = timed(lambda kind=loft: face(*SKIN, loft=kind))
        strain = made.strain
        row(
            f"4 m skin, 3 stations, {loft}, {len(made.leaves_mm)} leaves",
            f"{strain.largest_tension_pct:+.3f} {strain.largest_compression_pct:+.3f} %   "
            f"{seconds:.2f} s",
        )
        for kink in made.kinks:
            row(
                f"  kink at {kink.span_mm:.0f} mm", f"{kink.turn_deg:.2f} deg, {kink.gap_mm:.2f} mm"
            )
    rng = np.random.default_rng(0)
    at = np.column_stack([rng.uniform(0, 4000, 100_000), rng.uniform(0, 1, 100_000)])
    flat, forward = timed(lambda: made.to_pattern(at))
    back, inverse = timed(lambda: made.from_pattern(flat[:20_000]))
    off = np.hypot(*(made.to_pattern(back) - flat[:20_000]).T).max()
    row("100 000 points to the pattern", f"{forward:.2f} s")
    row("20 000 points back", f"{inverse:.2f} s   {off:.1e} mm")


def triangles() -> None:
    for count in (22, 70, 158):
        x = np.linspace(-500, 500, count + 1)
        x, y = (a.ravel() for a in np.meshgrid(x, x, indexing="ij"))
        points = np.column_stack([x, y, np.sqrt(2000.0**2 - x * x - y * y)])
        cells = grid_triangles(count, count)
        made, seconds = timed(lambda p=points, c=cells: flatten_mesh(p, c))
        most, least = principal(made.strain)
        row(
            f"cap of R 2 m over 1 m square, {len(cells)} triangles",
            f"{100 * most.max():+.2f} {100 * least.min():+.2f} %   {seconds:.2f} s",
        )


def raised() -> None:
    made = face(station(0, 1200), station(3000, 1200))
    low, high = sorted(made.to_pattern(np.array([[0, 0.12], [0, 0.75]]))[:, 1])
    raiser = Raiser(made, strip_lines(low, high, (-200, 3200)))
    core = strip_core(low, high)
    first, seconds = timed(lambda: raiser.raise_to(core))
    row(
        f"ply over 10 mm core, {len(first.triangles)} six-node triangles",
        f"{first.growth.across_mm:+.3f} mm   {seconds:.2f} s",
    )
    _, seconds = timed(
        lambda: [raiser.raise_to(lambda p, k=k: core(p) + 0.2 * k) for k in range(1, 60)]
    )
    row("59 layers more over the same core", f"{seconds:.2f} s")
    channel = Raiser(face(station(0, 1, CHANNEL), station(3000, 1, CHANNEL)))
    layers = np.arange(1, 61)
    grown = [channel.raise_to(level(0.2 * k)).growth.across_mm for k in layers]
    exponent = np.polyfit(np.log(layers), np.log(-np.array(grown)), 1)[0]
    off = np.abs(np.array(grown) + 0.2 * layers * np.pi).max()
    row("channel, 60 layers: growth ~ layers ^", f"{exponent:.5f}   {off:.4f} mm")
    times = []
    for count in (15, 30, 60):
        again = Raiser(made, strip_lines(low, high, (-200, 3200)))
        again.raise_to(core)
        times.append(
            timed(
                lambda r=again, n=count: [
                    r.raise_to(lambda p, k=k: core(p) + 0.2 * k) for k in range(1, n + 1)
                ]
            )[1]
        )
    exponent = np.polyfit(np.log([15, 30, 60]), np.log(times), 1)[0]
    row("time of a skin of n layers ~ n ^", f"{exponent:.2f}")


def drapes() -> None:
    for count in (50, 200, 400):
        net, seconds = timed(
            lambda n=count: drape_net(
                sphere, np.zeros(2), np.array([1.0, 0.0]), 1 / n, (n + 2, 0, n + 2, 0)
            )
        )
        k = np.arange(count)
        middle = place(net.nodes)[k, k] + place(net.nodes)[k + 1, k + 1]
        polar = np.degrees(np.arctan2(np.hypot(*middle[:, :2].T), middle[:, 2]))
        off = np.abs(np.interp(list(BIAS), polar, net.shear_deg[k, k]) - list(BIAS.values())).max()
        row(f"net of {count} x {count} cells on a sphere", f"{off:.4f} deg   {seconds:.2f} s")
    made = face(*SKIN, loft="smooth")
    drape, seconds = timed(lambda: drape_ply(made, made.outline_mm, 45.0, 35.0))
    row(
        "woven ply at 45 on the smooth 4 m skin",
        f"{drape.net.largest_shear_deg:.2f} deg   {seconds:.2f} s",
    )


if __name__ == "__main__":
    developables()
    skins()
    triangles()
    raised()
    drapes()
