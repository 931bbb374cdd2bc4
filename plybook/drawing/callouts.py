"""A name beside what is too small to hold it, with a leader: in the nearest scrap, else beside the
stock.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.labels import Block, grid

_MOST = 400  # places that are tried of a kind, the nearest first


def callout(
    block: Block,
    centre: np.ndarray,
    stock: BaseGeometry,
    kept: BaseGeometry,
    others: BaseGeometry,
    taken: Sequence[BaseGeometry],
    unit: float,
) -> tuple[np.ndarray, BaseGeometry, BaseGeometry] | None:
    """A place for a name and its leader.

    The leader crosses no words, and no piece if that can be helped.

    Args:
        block: the name.
        centre: (2,) of the piece, to which the leader runs.
        stock: the box of what is drawn of it.
        kept: where no name may stand on the stock.
        others: pieces that the leader had better not cross.
        taken: words and leaders so far.
        unit: 1 on a page, more on a drawing at full size.

    Returns:
        (2,) middle of the name, its box and the leader from there; None where all is taken.
    """
    scrap = stock.difference(kept)
    near = scrap.intersection(shapely.Point(centre).buffer(60.0 * unit))
    inner = grid(near, 60, 60) if near.area > 0 else np.zeros((0, 2))
    outer = _beside(block, centre, stock, unit)
    tiers = ((scrap, inner, 2), (scrap, inner, 1), (None, outer, 1), (None, outer, 0))
    for room, points, strict in tiers:
        order = np.argsort(np.round(np.hypot(*(points - centre).T), 2), kind="stable")
        for point in points[order][:_MOST]:
            box = shapely.box(*(point - np.array(block.size_mm) / 2),
                              *(point + np.array(block.size_mm) / 2))  # fmt: skip
            if room is not None and not room.contains(box):
                continue
            leader = shapely.shortest_line(box, shapely.Point(centre))
            if any(box.intersects(s) for s in taken):
                continue
            if strict > 0 and any(leader.intersects(s) for s in taken):
                continue
            if strict > 1 and leader.crosses(others):
                continue
            return point, box, leader
    return None


def _beside(block: Block, centre: np.ndarray, stock: BaseGeometry, unit: float) -> np.ndarray:
    """(n, 2) places above and below the stock, and at its ends."""
    x0, y0, x1, y1 = stock.bounds
    xs = np.clip(centre[0] + np.linspace(-80, 80, 65) * unit, x0, x1)
    level = [(x, y) for g in (9.0, 13.0, 17.0, 21.0, 25.0)
             for y in (y1 + g * unit, y0 - g * unit) for x in xs]  # fmt: skip
    half = block.size_mm[0] / 2
    aside = [(x, y) for g in (11.0, 16.0, 21.0)
             for x in (x0 - g * unit - half, x1 + g * unit * 0.4 + half)
             for y in np.linspace(y0, y1, 81)]  # fmt: skip
    return np.array(level + aside)
