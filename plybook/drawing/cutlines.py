"""The lines of a template that a saw, knife or plane follows: cuts, bevels and seams.

Terms:
    strip: where the cut is slanted, between the outlines of the two faces; it is hatched.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.frame import hatch, lines
from plybook.drawing.scene import Path, Role
from plybook.laminate.model import Piece

SEAM_INSET_MM = 1.4  # a square seam is a double line this far apart
HATCH_PITCH_MM = 4.0


def under_marks(piece: Piece, cut: BaseGeometry, strip: BaseGeometry) -> Iterator[Path]:
    """The hatched strip and the second line of square seams: what marks are drawn over."""
    if not strip.is_empty:
        for ring in _rings(strip):
            yield Path(Role.FILL, ring, True, "bevel")
        yield from hatch(strip, 45.0, HATCH_PITCH_MM, Role.BEVEL_HATCH)
    for edge in piece.edges:
        if not edge.mate or edge.treatment != "square" or piece.kind != "core":
            continue  # only a square seam of a core could be taken for a bevel
        inner = shapely.LineString(edge.points_mm).offset_curve(SEAM_INSET_MM, join_style="mitre")
        for run in lines(inner.intersection(cut)):
            yield Path(Role.SEAM, run, tag=edge.mate)


def over_marks(piece: Piece, cut_ring_mm: np.ndarray) -> Iterator[Path]:
    """Bevel lines, holes and the outline, in this order."""
    narrow = piece.outline_mm if cut_ring_mm is not piece.outline_mm else None
    for ring in (narrow, piece.bag_side_outline_mm, *piece.bag_side_holes_mm):
        if ring is not None:
            yield Path(Role.BEVEL, ring, True, tag=piece.id)
    for hole in piece.holes_mm:
        yield Path(Role.CUT_INNER, hole, True, tag=piece.id)
    yield Path(Role.CUT, cut_ring_mm, True, tag=piece.id)


def bevel_strip(piece: Piece, net: BaseGeometry) -> BaseGeometry:
    """Where the cut is slanted: between the outlines of the two faces."""
    if piece.bag_side_outline_mm is None:
        return shapely.Polygon()
    holes = piece.bag_side_holes_mm or piece.holes_mm
    other = shapely.Polygon(piece.bag_side_outline_mm, holes)
    mould = shapely.Polygon(piece.outline_mm, piece.holes_mm)
    strip = mould.symmetric_difference(other).intersection(net)
    thick = [p for p in shapely.get_parts(strip) if p.area > 1e-3 * max(p.length, 1.0)]
    return shapely.MultiPolygon([p for p in thick if p.geom_type == "Polygon"])


def _rings(shape: BaseGeometry) -> list[np.ndarray]:
    """Simple polygons without holes that cover a shape, for filling."""
    found = []
    for part in shapely.get_parts(shape):
        if part.interiors:
            x0, y0, x1, y1 = part.bounds
            x, y = part.interiors[0].centroid.coords[0]
            for half in (shapely.box(x0 - 1, y0 - 1, x, y1 + 1),
                         shapely.box(x, y0 - 1, x1 + 1, y1 + 1)):  # fmt: skip
                piece = part.intersection(half)
                found += _rings(shapely.MultiPolygon(
                    [g for g in shapely.get_parts(piece) if g.geom_type == "Polygon"]
                ))  # fmt: skip
        else:
            found.append(np.array(part.exterior.coords)[:-1])
    return found
