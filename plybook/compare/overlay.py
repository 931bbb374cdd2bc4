"""One piece before and after in one drawing, reduced to fit a page.

The new cut is drawn in full, the old one dashed; what only the new piece covers and what only the
old one did are tinted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.units import show_number

SIDE_MM = 250.0  # of the larger side on paper
LETTERS_MM = 3.5
_GAP_MM = 8.0


def overlay(old: Mapping[str, Any], new: Mapping[str, Any]) -> Scene:
    """A piece as two plans have it.

    Args:
        old, new: entries of `pieces` in `plan.json`.

    Returns:
        A scene for the page, not at 1:1; it says its scale.
    """
    rings = {
        name: [np.array(r, dtype=float) for r in (piece["outline_mm"], *piece["holes_mm"])]
        for name, piece in (("old", old), ("new", new))
    }
    every = np.vstack([*rings["old"], *rings["new"]])
    low = every.min(axis=0)
    span = float((every.max(axis=0) - low).max())
    scale = SIDE_MM / span if span > 0 else 1.0
    drawn = {name: [(ring - low) * scale for ring in found] for name, found in rings.items()}
    items: list[Primitive] = [*_tints(drawn["old"], drawn["new"])]
    items += [Path(Role.BAD_ZONE, ring, closed=True, tag="old") for ring in drawn["old"]]
    for role, ring in zip(
        [Role.CUT] + [Role.CUT_INNER] * len(drawn["new"]), drawn["new"], strict=False
    ):
        items.append(Path(role, ring, closed=True, tag="new"))
    lines = [
        f"{new['id']}: new cut in full, old cut dashed; scale 1:{show_number(1 / scale, 1)}",
        _words(old, new),
    ]
    for row, line in enumerate(lines):
        y = -_GAP_MM - row * 1.8 * LETTERS_MM
        items.append(Text(Role.TEXT, (0.0, y), line, LETTERS_MM, rise="top"))
    width, height = (every.max(axis=0) - low) * scale
    foot = -_GAP_MM - len(lines) * 1.8 * LETTERS_MM - _GAP_MM
    right = max(float(width), SIDE_MM * 0.8) + _GAP_MM
    return Scene(
        tuple(items), (-_GAP_MM, foot, right, float(height) + _GAP_MM), f"{new['id']}: old and new"
    )


def _tints(old: list[np.ndarray], new: list[np.ndarray]) -> list[Path]:
    import shapely

    before, after = (shapely.Polygon(rings[0], rings[1:]) for rings in (old, new))
    tinted = []
    for shape, tint in ((before.difference(after), "bad"), (after.difference(before), "remnant")):
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and part.area > 0:
                ring = np.asarray(part.exterior.coords)[:-1]
                tinted.append(Path(Role.FILL, ring, closed=True, fill=tint))
    return tinted


def _words(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    area = new["area_mm2"] / old["area_mm2"] - 1.0 if old["area_mm2"] else 0.0
    was, now = (f"{p['material']} at {show_number(p['angle_deg'], 1)} deg" for p in (old, new))
    first = was if was == now else f"{was} before, {now} now"
    return f"{first}; area {100.0 * area:+.1f} %"
