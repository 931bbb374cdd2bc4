"""Where a point of an item comes to lie: the one definition of a placement, and the rotations
a fibre direction leaves.

A placed point is the item's point, mirrored in y if flipped, then turned counter-clockwise about
the item's origin, then moved by (x, y).
"""

from __future__ import annotations

import math

import numpy as np

from plybook.geometry.fitting import flat_rotations
from plybook.nest.model import Item, Placement

ANGLE_DECIMALS = 9


def turn_ring(ring_mm: np.ndarray, rotation_deg: float, flipped: bool = False) -> np.ndarray:
    """The ring mirrored in y if flipped, then turned; (n, 2), counter-clockwise if it was."""
    ring = np.asarray(ring_mm, dtype=float)
    if flipped:
        ring = (ring * (1.0, -1.0))[::-1]
    c: float
    s: float
    quarter, rest = divmod(rotation_deg, 90.0)
    if rest == 0.0:  # exact for quarter turns
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[int(quarter) % 4]
    else:
        c, s = math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg))
    return ring @ np.array([[c, s], [-s, c]], dtype=float)


def placed(ring_mm: np.ndarray, placement: Placement) -> np.ndarray:
    """A ring of an item where a placement puts it, (n, 2) mm, counter-clockwise if it was."""
    turned = turn_ring(ring_mm, placement.rotation_deg, placement.flipped)
    return turned + (placement.x_mm, placement.y_mm)


def placed_outline(item: Item, placement: Placement) -> np.ndarray:
    """The item's outline where it lies on the stock: (n, 2), mm, counter-clockwise."""
    return placed(item.outline_mm, placement)


def fibre_rotations(angle_deg: float, every_deg: float = 180.0) -> tuple[float, ...]:
    """Rotations that lay a piece's fibre along the warp.

    Args:
        angle_deg: fibre angle in the pattern frame (negate it for a piece lying face down).
        every_deg: 180, or 90 where warp and weft are alike.

    Returns:
        The rotations r in [0, 360) with angle_deg + r a multiple of every_deg, rising.
    """
    first = round(-angle_deg % every_deg, ANGLE_DECIMALS) % every_deg
    return tuple(first + every_deg * k for k in range(round(360.0 / every_deg)))


def orientations(item: Item, free: tuple[float, ...] = ()) -> tuple[tuple[float, bool], ...]:
    """Every (rotation_deg, flipped) the item may take; `free` stands in for free rotation."""
    up = free if item.rotations_deg is None else item.rotations_deg
    found = [(float(r), False) for r in up]
    if item.may_flip:
        down = item.flipped_rotations_deg
        found += [(float(r), True) for r in (up if down is None else down)]
    return tuple(found)


def along_bar(outline: np.ndarray) -> tuple[float, ...]:
    """Rotations that lay the longest extent of a rod along its bar."""
    best = min(
        flat_rotations(outline),
        key=lambda r: (round(float(np.ptp(turn_ring(outline, r)[:, 1])), 6), r),
    )
    first = best % 180.0
    return (first, first + 180.0)
