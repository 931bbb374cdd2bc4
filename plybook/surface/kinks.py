"""Kinks: stations where two bays of a ruled loft meet and do not go on smoothly.

Seen from either bay the station's section curve has its own geodesic curvature; unrolled, the
two curves are the edges of the two bays' patterns. Laid against each other (best rigid fit) they
part by the gap. Cloth laid through without a splice has to strain by as much.
"""

from __future__ import annotations

import numpy as np

from plybook.surface.develop import best_rigid, geodesic_curvature, unrolled
from plybook.surface.loft import Loft
from plybook.surface.model import Kink

SMOOTH_GAP_MM = 0.2  # below this a station is no kink: less than a knife's cut


def find_kinks(loft: Loft, accepted_mm: tuple[float, ...]) -> tuple[Kink, ...]:
    """The kinks at the inner stations of a loft, from root to tip.

    Args:
        loft: the face; a smooth loft has none.
        accepted_mm: spans of the stations whose kink is laid without a splice.
    """
    if not loft.ruled:
        return ()
    low, high = loft.w_breaks[0], loft.w_breaks[-1]
    w = np.linspace(low, high, 1201)
    kinks = []
    for bay, span in enumerate(loft.spans[1:-1]):
        at = np.full(len(w), span)
        before, after = loft.at(at, w, 1, 0, bay), loft.at(at, w, 1, 0, bay + 1)
        cross = np.linalg.norm(np.cross(before, after), axis=1)
        turn = np.degrees(np.arctan2(cross, np.sum(before * after, axis=1)).max())
        speed = np.linalg.norm(loft.at(at, w, 0, 1), axis=1)
        inner = unrolled(speed, geodesic_curvature(loft, span, w, bay), w)
        outer = unrolled(speed, geodesic_curvature(loft, span, w, bay + 1), w)
        rotation, shift = best_rigid(outer, inner, speed)
        gap = float(np.hypot(*(outer @ rotation.T + shift - inner).T).max())
        if gap > SMOOTH_GAP_MM:
            fine = any(abs(span - mm) < 1e-6 for mm in accepted_mm)
            kinks.append(Kink(float(span), float(turn), gap, fine))
    return tuple(kinks)
