"""Made-up piece sets of the kinds a shop cuts, the same on every machine for one seed."""

from __future__ import annotations

import numpy as np


def _tidy(ring) -> np.ndarray:
    ring = np.round(np.asarray(ring, dtype=float), 3)
    return ring - ring.min(axis=0)


def plies(count: int, seed: int = 1) -> list[tuple[np.ndarray, tuple[float, ...]]]:
    """Cloth pieces in warp frame: long tapered strips cut on the bias, parallelograms, doublers.

    Returns:
        (ring in mm, allowed rotations) of each piece; the warp runs along x. Every piece fits a
        1270 mm roll.
    """
    rng = np.random.default_rng(seed)
    found = []
    for _k in range(count):
        kind = rng.choice(3, p=(0.4, 0.3, 0.3))
        if kind == 0:  # long tapered strip at +-45
            root, tip = rng.uniform(120, 330), rng.uniform(60, 120)
            length = rng.uniform(600, 1350)
            ring = np.array([(0, 0), (length, (root - tip) / 2), (length, (root + tip) / 2),
                             (0, root)])  # fmt: skip
            turn = np.radians(rng.choice((45.0, -45.0)))
            c, s = np.cos(turn), np.sin(turn)
            ring = ring @ np.array([[c, s], [-s, c]])
        elif kind == 1:  # parallelogram: a splice of a bias ply
            wide, high = rng.uniform(200, 700), rng.uniform(250, 1000)
            lean = rng.choice((-1.0, 1.0)) * high * rng.uniform(0.6, 1.0)
            ring = np.array([(0, 0), (wide, 0), (wide + lean, high), (lean, high)])
        else:  # doubler with a rounded end
            long, wide = rng.uniform(150, 600), rng.uniform(80, 300)
            arc = np.linspace(-np.pi / 2, np.pi / 2, 7)
            end = np.column_stack([long + wide / 3 * np.cos(arc), wide / 2 * (1 + np.sin(arc))])
            ring = np.vstack([[(0, 0)], end, [(0, wide)]])
        found.append((_tidy(ring), (0.0, 180.0)))
    return found


def panels(count: int, seed: int = 1) -> list[np.ndarray]:
    """Core panels in mm: trapezoids, tapered strips and wedges that fit a 4 x 8 ft sheet."""
    rng = np.random.default_rng(seed)
    found = []
    for _k in range(count):
        kind = rng.choice(3, p=(0.5, 0.3, 0.2))
        if kind == 0:
            long, wide = rng.uniform(400, 1500), rng.uniform(300, 900)
            a, b = rng.uniform(0, 0.25, 2) * long
            ring = [(0, 0), (long, 0), (long - a, wide), (b, wide)]
        elif kind == 1:
            long, root = rng.uniform(900, 2200), rng.uniform(150, 450)
            tip = root * rng.uniform(0.3, 0.8)
            sweep = rng.uniform(0, root - tip)
            ring = [(0, 0), (long, sweep), (long, sweep + tip), (0, root)]
        else:
            long, wide = rng.uniform(400, 1400), rng.uniform(200, 700)
            ring = [(0, 0), (long, 0), (rng.uniform(0, 0.3) * long, wide)]
        found.append(_tidy(ring))
    return found
