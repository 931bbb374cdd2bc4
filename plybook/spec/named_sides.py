"""Names for the sides of an outline that was read from a file: from corner to corner."""

from __future__ import annotations

import math

import numpy as np

from plybook.spec.collect import Collector
from plybook.spec.written.mould import DrawnMould, ListedMould
from plybook.units import mm

CORNER_DEG = 20.0  # a turn sharper than this begins a new side
NEAR_MM = 1.0  # a corner is named by coordinates this near


def named_sides(ring: np.ndarray, w: DrawnMould | ListedMould, out: Collector) -> list[str]:
    """Name of the side leaving each vertex of a ring.

    Args:
        ring: (n, 2) counter-clockwise, mm.
        w: gives the user's own names, each from one corner to another.
        out: takes what is wrong with those.

    Returns:
        n names: `side 1` and so on from corner to corner, `outline` where there is no corner, the
        user's own where given.
    """
    n = len(ring)
    u = ring - np.roll(ring, 1, axis=0)
    v = np.roll(ring, -1, axis=0) - ring
    turn = np.degrees(np.abs(np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(1))))
    corners = [i for i in range(n) if turn[i] > CORNER_DEG]
    if not corners:
        names = ["outline"] * n
    else:
        names, side = [""] * n, len(corners)
        for k in range(n):
            i = (corners[0] + k) % n
            side = side % len(corners) + 1 if i in corners else side
            names[i] = f"side {side}"
    for name, points in w.edges.items():
        place = w.place_of("edges", name)
        if len(points) != 2:
            out.error(
                "outline-too-short",
                f"edge `{name}` has {len(points)} point(s), expected two",
                "write [from corner, to corner]",
                place,
            )
            continue
        first, last = (int(np.argmin(np.hypot(*(ring - p).T))) for p in np.array(points))
        far = max(math.dist(ring[first], points[0]), math.dist(ring[last], points[1]))
        if far > NEAR_MM or first == last:
            out.error(
                "unknown-corner",
                f"edge `{name}` does not run between two points of the "
                f"outline (nearest is {mm(far):.3g} away)",
                "give the coordinates of two of its points, counter-clockwise",
                place,
            )
            continue
        i = first
        while i != last:
            names[i] = name
            i = (i + 1) % n
    return names
