"""How far past the net line a pattern holds.

Past its edges a face goes on straight along its tangents. Where an edge is hollow in plan these
straight lines cross further out: there one point of the pattern would be two of the face, and what
is developed there is no pattern any more. Cloth that is trimmed off may be rough, but not that.
"""

from __future__ import annotations

import numpy as np
import shapely

from plybook.diagnostics import Finding, Place, warning
from plybook.laminate.trim import NetFace
from plybook.surface.model import Face
from plybook.units import mm

HOLDS_MM = 0.1  # a point of the pattern must come back from the face within this
USUAL_MM = 40.0  # so near to its edges no face with a pattern of its own crosses itself
_STEP_MM = 15.0
_PARTS = tuple(np.linspace(0.0, 0.95, 20))  # of the way out


def trim_findings(plan: NetFace, place: Place) -> list[Finding]:
    """Where the trim allowance runs out further than the face can be carried on.

    Args:
        plan: the net line and the allowances.
        place: of the mould in the spec.
    """
    if plan.face.flat or max((0.0, *plan.trims_mm)) <= USUAL_MM:
        return []
    edge = shapely.boundary(plan.trimmed(plan.net))
    ring = shapely.get_coordinates(shapely.segmentize(edge, _STEP_MM))
    lost = ring[~_comes_back(plan.face, ring)]
    if not len(lost):
        return []
    near = shapely.get_coordinates(shapely.shortest_line(plan.net, shapely.points(lost)))[::2]
    out = np.hypot(*(lost - near).T)
    holds = max(
        part for part in _PARTS
        if _comes_back(plan.face, near + part * (lost - near)).all()
    )  # fmt: skip
    gaps = np.stack([shapely.distance(shapely.points(lost), line) for line in plan.lines])
    names = [plan.face.edges[k].name for k in np.unique(np.argmin(gaps, axis=0))]
    return [
        warning(
            "trim-past-pattern",
            f"the trim allowance at {', '.join(names)} reaches {mm(out.max()):.0f} past the net "
            f"line; from about {mm(max(holds * out.max(), 1.0)):.0f} on the face cannot be carried "
            "on there without crossing itself, and the pattern of what lies over core is rough",
            "give a smaller trim there; it is cut off after cure",
            place,
        )
    ]


def _comes_back(face: Face, points_mm: np.ndarray) -> np.ndarray:
    """(n,) whether points of the pattern are found again by way of the face."""
    back = np.asarray(face.to_pattern(face.from_pattern(points_mm)))
    return np.hypot(*(back - points_mm).T) <= HOLDS_MM
