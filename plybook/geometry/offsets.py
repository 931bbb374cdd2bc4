"""Distances from a line to a point beside it, as a tape laid square to the line measures them.

A line here is an open polyline on the flat pattern. It is carried on straight beyond both of its
ends, as a builder carries it on with a straightedge, so that a point past an end still has its true
distance: a trim corner 20 mm out of two edges is 20 mm from each, not 28 mm from their common end.
"""

from __future__ import annotations

import numpy as np

_END_MM = 5.0  # the end of a line has the direction of its last 5 mm


def offset_mm(line_mm: np.ndarray, point_mm: np.ndarray) -> float:
    """Signed distance of a point from a line that is carried on straight past both ends.

    Args:
        line_mm: (n, 2) open polyline, n >= 2, mm.
        point_mm: (2,) point, mm.

    Returns:
        Shortest distance in mm: positive on the left of the line in its own direction, negative on
        its right, 0.0 on it.

    Raises:
        ValueError: the line has no length.
    """
    near, way = nearest(line_mm, point_mm)
    gap = np.asarray(point_mm, dtype=float) - near
    side = way[0] * gap[1] - way[1] * gap[0]
    return float(np.copysign(np.hypot(*gap), side)) if gap.any() else 0.0


def nearest(line_mm: np.ndarray, point_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The point of a line, carried on past its ends, that is nearest to a point.

    Returns:
        (2,) point in mm and the (2,) unit direction of the line there.
    """
    line = np.asarray(line_mm, dtype=float)
    line = line[np.append(True, np.any(np.diff(line, axis=0) != 0.0, axis=1))]
    if len(line) < 2:
        raise ValueError("a line needs two different points")
    point = np.asarray(point_mm, dtype=float)
    start, end = line[:-1], line[1:]
    ways = end - start
    lengths = np.hypot(*ways.T)
    units = ways / lengths[:, None]
    along = np.einsum("ij,ij->i", point - start, units)
    spots = start + np.clip(along, 0.0, lengths)[:, None] * units
    head, tail = -_end_way(line[::-1]), _end_way(line)
    for origin, way, beyond in ((line[0], head, -1.0), (line[-1], tail, 1.0)):
        reach = beyond * max(0.0, beyond * float((point - origin) @ way))
        spots = np.vstack([spots, origin + reach * way])
        units = np.vstack([units, way])
    pick = int(np.argmin(np.round(np.hypot(*(spots - point).T), 9)))
    return spots[pick], units[pick]


def _end_way(line: np.ndarray) -> np.ndarray:
    """Unit direction in which a line ends: that of its last few millimetres."""
    gaps = np.hypot(*(line - line[-1]).T)
    far = np.flatnonzero(gaps >= _END_MM)
    back = line[far[-1]] if len(far) else line[0]
    way = line[-1] - back
    length = np.hypot(*way)
    return way / length if length else (line[-1] - line[-2]) / np.hypot(*(line[-1] - line[-2]))
