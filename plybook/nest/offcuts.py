"""Rectangles that stay beside the pieces of a layout: off-cuts worth keeping."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

MOST_PIECES = 120  # beside more pieces than this no off-cuts are looked for
MOST_OFFCUTS = 6


def empty_rectangles(
    area_mm: tuple[float, float, float, float],
    boxes_mm: Sequence[np.ndarray],
    least_side_mm: float,
    least_area_mm2: float,
) -> list[tuple[float, float, float, float]]:
    """The largest rectangle clear of boxes, then the largest beside it too, and so on.

    Args:
        area_mm: x0, y0, x1, y1 of the whole.
        boxes_mm: (2, 2) low and high corner of what is taken, gaps included.
        least_side_mm: no side is shorter.
        least_area_mm2: none is smaller.

    Returns:
        Rectangles as x0, y0, x1, y1, largest first, whole millimetres, clear of one another.
    """
    if len(boxes_mm) > MOST_PIECES:
        return []
    found: list[tuple[float, float, float, float]] = []
    boxes = [np.asarray(box, dtype=float) for box in boxes_mm]
    while len(found) < MOST_OFFCUTS:
        best = _largest(area_mm, boxes, least_side_mm)
        if best is None or _area(best) < least_area_mm2:
            break
        found.append(best)
        boxes.append(np.array([best[:2], best[2:]]))
    return found


def _area(rectangle: tuple[float, float, float, float]) -> float:
    x0, y0, x1, y1 = rectangle
    return (x1 - x0) * (y1 - y0)


def _largest(
    area_mm: tuple[float, float, float, float], boxes: Sequence[np.ndarray], least_mm: float
) -> tuple[float, float, float, float] | None:
    """The largest empty rectangle, its ends at ends of boxes or of the whole."""
    left, low, right, high = area_mm
    starts = sorted({left, *(float(b[1, 0]) for b in boxes if left < b[1, 0] < right)})
    stops = sorted({right, *(float(b[0, 0]) for b in boxes if left < b[0, 0] < right)})
    best = None
    for x0 in starts:
        for x1 in stops:
            if x1 - x0 < least_mm or (best and (x1 - x0) * (high - low) <= _area(best)):
                continue
            inside = [b for b in boxes if b[0, 0] < x1 - 1e-6 and b[1, 0] > x0 + 1e-6]
            y0 = low
            for bottom, top in [*sorted((b[0, 1], b[1, 1]) for b in inside), (high, high)]:
                whole = (
                    float(np.ceil(x0 - 1e-6)),
                    float(np.ceil(y0 - 1e-6)),
                    float(np.floor(x1 + 1e-6)),
                    float(np.floor(min(bottom, high) + 1e-6)),
                )
                wide = min(whole[2] - whole[0], whole[3] - whole[1])
                if wide >= least_mm and (best is None or _area(whole) > _area(best)):
                    best = whole
                y0 = max(y0, float(top))
    return best
