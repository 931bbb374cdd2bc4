"""Lines on the pattern: net edges, station lines and lines of constant share.

Lines are sampled finely and thinned to a chord error far below a knife's cut; end points stay.
"""

from __future__ import annotations

import numpy as np

from plybook.surface.leaf import Leaf
from plybook.surface.model import FaceEdge

CHORD_ERROR_MM = 0.002
_SAMPLES = 600


def span_line(leaf: Leaf, span_mm: float) -> np.ndarray:
    """Across the face at one span, from its first to its last share: (n, 2) pattern mm."""
    w = np.union1d(np.linspace(*leaf.w_range, _SAMPLES), leaf.loft.w_breaks)
    return thinned(leaf.flat(np.full(len(w), float(span_mm)), w))


def share_line(leaf: Leaf, share: float) -> np.ndarray:
    """Along one leaf at one share, from its inner to its outer end: (n, 2) pattern mm."""
    u = _spans(leaf)
    return thinned(leaf.flat(u, leaf.loft.w(u, np.full(len(u), float(share)))))


def side_line(leaf: Leaf, last: bool) -> np.ndarray:
    """The first or last side of one leaf, from its inner to its outer end: (n, 2) pattern mm."""
    u = _spans(leaf)
    return thinned(leaf.flat(u, np.full(len(u), leaf.w_range[int(last)])))


def _spans(leaf: Leaf) -> np.ndarray:
    u = np.linspace(leaf.from_mm, leaf.to_mm, _SAMPLES)
    return np.union1d(u, leaf.loft.spans[(leaf.loft.spans > u[0]) & (leaf.loft.spans < u[-1])])


def joined(lines: list[np.ndarray], reach_mm: float) -> np.ndarray:
    """One line out of the lines of neighbouring leaves, which meet only within a gap.

    Both ends at a joint give way to their middle; points within `reach_mm` of the joint go, so
    that overlapping leaves do not leave a spur.
    """
    line = lines[0]
    for following in lines[1:]:
        middle = (line[-1] + following[0]) / 2
        head = line[:-1][_far(line[:-1], middle, reach_mm)]
        tail = following[1:][_far(following[1:], middle, reach_mm)]
        line = np.concatenate([head, middle[None], tail])
    return line


def _far(points: np.ndarray, centre: np.ndarray, reach_mm: float) -> np.ndarray:
    far = np.hypot(*(points - centre).T) > reach_mm
    far[[0, -1]] = True
    return far


def net_edges(leaves: tuple[Leaf, ...], names: tuple, gap_mm: float) -> tuple[FaceEdge, ...]:
    """The four named edges, counter-clockwise in the pattern frame, each along the walk.

    Args:
        leaves: from root to tip.
        names: names of the edges at the first share, the last share, the root and the tip.
        gap_mm: largest gap between leaves.
    """
    first, last = (joined([side_line(leaf, k) for leaf in leaves], gap_mm) for k in (False, True))
    root, tip = span_line(leaves[0], leaves[0].from_mm), span_line(leaves[-1], leaves[-1].to_mm)
    low, high, root_edge, tip_edge = (
        FaceEdge(name, line) for name, line in zip(names, (first, last, root, tip), strict=True)
    )

    def back(edge: FaceEdge) -> FaceEdge:
        return FaceEdge(edge.name, edge.points_mm[::-1])

    if leaves[0].loft.bag_sign > 0:  # w grows upwards on the pattern
        return low, tip_edge, back(high), back(root_edge)
    return high, back(tip_edge), back(low), root_edge


def ring_of(edges: tuple[FaceEdge, ...]) -> np.ndarray:
    """The closed ring of edges that follow each other: (n, 2), first point not repeated."""
    return np.concatenate([edge.points_mm[:-1] for edge in edges])


def thinned(line: np.ndarray, chord_error_mm: float = CHORD_ERROR_MM) -> np.ndarray:
    """The line with points left out as long as it stays within the chord error."""
    import shapely

    return shapely.get_coordinates(shapely.simplify(shapely.LineString(line), chord_error_mm))
