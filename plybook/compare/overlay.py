"""One piece before and after in one drawing: the old cut thin and dotted, the new one in full."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from plybook.drawing.scene import Path, Primitive, Role, Scene, Text

_MARGIN = 0.06  # of the larger side


def overlay(old: Mapping[str, Any], new: Mapping[str, Any]) -> Scene:
    """A piece as two plans have it, in the pattern frame.

    Args:
        old, new: entries of `pieces` in `plan.json`.
    """
    items: list[Primitive] = []
    rings = []
    for piece, cut, inner in ((old, Role.GHOST, Role.GHOST), (new, Role.CUT, Role.CUT_INNER)):
        tag = "old" if piece is old else "new"
        for points, role in [
            (piece["outline_mm"], cut),
            *((hole, inner) for hole in piece["holes_mm"]),
        ]:
            ring = np.array(points, dtype=float)
            rings.append(ring)
            items.append(Path(role, ring, closed=True, tag=tag))
    every = np.vstack(rings)
    low, high = every.min(axis=0), every.max(axis=0)
    side = float(max(high - low))
    gap, height = _MARGIN * side, max(2.5, side / 60.0)
    lines = (f"{new['id']}: old cut dotted and thin, new cut in full", _words(old, new))
    for row, line in enumerate(lines):
        at = (float(low[0]), float(low[1]) - gap - row * 1.8 * height)
        items.append(Text(Role.TEXT, at, line, height))
    window = (
        float(low[0]) - gap,
        float(low[1]) - gap - 4.0 * height,
        float(high[0]) + gap,
        float(high[1]) + gap,
    )
    return Scene(tuple(items), window, f"{new['id']}: before and after")


def _words(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    area = new["area_mm2"] / old["area_mm2"] - 1.0 if old["area_mm2"] else 0.0
    return (
        f"{old['material']} {old['angle_deg']:+g} deg -> {new['material']} "
        f"{new['angle_deg']:+g} deg, area {100.0 * area:+.1f} %"
    )
