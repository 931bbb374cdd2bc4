"""How a stretch of cloth gets from the mould face to the table it is cut on, and back.

Terms:
    lay: the cloth is smoothed down and keeps its lengths as well as it can (a developed pattern).
    dart: a wedge cut out of the edge so that the cloth closes on a double curve.
    drape: the cloth shears as a pin-jointed net and keeps its lengths along the yarns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from plybook.laminate.outline import Carry
from plybook.spec.model import Cloth
from plybook.surface.darts import DartPlan
from plybook.surface.model import Face


@dataclass(frozen=True)
class Way:
    """The maps both ways, None where nothing moves, and what a draped net says of itself.

    `generators_mm` are the first warp and the first weft yarn to be laid, (2, 2) each, in the
    cut frame.
    """

    carry: Carry | None = None
    back: Carry | None = None
    shear_deg: float = 0.0
    locked_share: float = 0.0
    generators_mm: tuple[np.ndarray, ...] = ()
    outline_mm: np.ndarray | None = None  # (n, 2) cut ring where darts are taken out of it
    darts_mm: tuple[np.ndarray, ...] = ()  # (k, 2) each: in along one side, out along the other


STAY = Way()


def draped(face: Face, ring_mm: np.ndarray, angle_deg: float, cloth: Cloth, lay: Way) -> Way:
    """The way of a woven cloth that is draped over its region.

    The net is draped on the mould face; what the layers below add (`lay`) is small against it
    and is added to the draped pattern as it stands.

    Args:
        face: the mould face.
        ring_mm: (n, 2) the region with its trim allowance, mould-face pattern.
        angle_deg: of the warp.
        cloth: for its locking angle.
        lay: the way the ply would go if it were only laid.

    Raises:
        GeometryError: the net cannot be started there.
    """
    from plybook.surface.drape import drape_ply

    drape = drape_ply(face, ring_mm, angle_deg, cloth.locking_deg)

    def carry(points_mm: np.ndarray) -> np.ndarray:
        points = np.asarray(points_mm, dtype=float)
        cut = drape.to_cut(points)
        return cut if lay.carry is None else cut + (lay.carry(points) - points)

    def back(points_mm: np.ndarray) -> np.ndarray:
        points = drape.from_cut(np.asarray(points_mm, dtype=float))
        if lay.carry is None:
            return points
        for _ in range(4):  # the layers below move a point by little: this settles at once
            points = drape.from_cut(points_mm - (lay.carry(points) - points))
        return points

    turn = np.radians(angle_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    reach = float(np.hypot(*(ring_mm - drape.start_mm).T).max())
    yarns = tuple(
        carry(drape.start_mm[None])[0] + np.outer([-reach, reach], way)
        for way in (along, np.array([-along[1], along[0]]))
    )
    return Way(carry, back, drape.net.largest_shear_deg, drape.locked_share, yarns)


def darted(plan: DartPlan, lay: Way) -> Way:
    """The way of a ply that is cut with darts; what lies below it is added as for a drape."""

    def further(cut_mm: np.ndarray) -> np.ndarray:
        if lay.carry is None:
            return cut_mm
        points = plan.from_cut(cut_mm)
        return cut_mm + (lay.carry(points) - points)

    def carry(points_mm: np.ndarray) -> np.ndarray:
        points = np.asarray(points_mm, dtype=float)
        cut = plan.to_cut(points)
        return cut if lay.carry is None else cut + (lay.carry(points) - points)

    def back(points_mm: np.ndarray) -> np.ndarray:
        points = plan.from_cut(np.asarray(points_mm, dtype=float))
        if lay.carry is None:
            return points
        for _ in range(4):
            points = plan.from_cut(points_mm - (lay.carry(points) - points))
        return points

    wedges = tuple(further(dart.wedge_mm) for dart in plan.darts)
    return Way(carry, back, outline_mm=further(plan.outline_mm), darts_mm=wedges)
