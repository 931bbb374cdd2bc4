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
from plybook.laminate.stretch import Strain
from plybook.spec.model import Cloth
from plybook.surface.darts import DartPlan
from plybook.surface.model import Face
from plybook.surface.raised import RaisedMap


@dataclass(frozen=True)
class Way:
    """The maps both ways, None where nothing moves, and what a draped net says of itself.

    `generators_mm` are the first warp and the first weft yarn to be laid, (2, 2) each, in the
    cut frame.
    """

    carry: Carry | None = None
    back: Carry | None = None
    strain_at: Strain | None = None  # of `carry`, where layers below raise the cloth
    shear_deg: float = 0.0
    locked_share: float = 0.0
    generators_mm: tuple[np.ndarray, ...] = ()
    outline_mm: np.ndarray | None = None  # (n, 2) cut ring where darts are taken out of it
    darts_mm: tuple[np.ndarray, ...] = ()  # (k, 2) each: in along one side, out along the other


STAY = Way()


def draped(
    face: Face, ring_mm: np.ndarray, angle_deg: float, cloth: Cloth, raised: RaisedMap
) -> Way:
    """The way of a woven cloth that is draped over its region, on whatever lies below it.

    Args:
        face: the mould face.
        ring_mm: (n, 2) the region with its trim allowance, mould-face pattern.
        angle_deg: of the warp.
        cloth: for its locking angle.
        raised: the map of the face as the layers below have left it.

    Raises:
        GeometryError: the net cannot be started there.
    """
    from plybook.surface.drape import drape_ply

    drape = drape_ply(face, ring_mm, angle_deg, cloth.locking_deg, raised=raised)
    turn = np.radians(angle_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    reach = float(np.hypot(*(drape.raised.to_cut(ring_mm) - drape.start_mm).T).max())
    yarns = tuple(
        drape.start_mm + np.outer([-reach, reach], way)
        for way in (along, np.array([-along[1], along[0]]))
    )
    return Way(
        drape.to_cut,
        drape.from_cut,
        shear_deg=drape.largest_shear_deg,
        locked_share=drape.locked_share,
        generators_mm=yarns,
    )


def darted(plan: DartPlan) -> Way:
    """The way of a ply that is cut with darts."""
    wedges = tuple(dart.wedge_mm for dart in plan.darts)
    return Way(plan.to_cut, plan.from_cut, outline_mm=plan.outline_mm, darts_mm=wedges)
