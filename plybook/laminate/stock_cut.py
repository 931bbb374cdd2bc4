"""What the saw follows: a piece with slanted edges is first cut square to both its faces.

Terms:
    cut outline: the ring that holds the mould side and the bag side; equal to the mould side
        unless an edge is narrower there.
"""

from __future__ import annotations

import numpy as np
import shapely

from plybook.geometry.rings import canonical_ring
from plybook.laminate.model import Piece

TOUCH_MM2 = 0.5  # less than this outside is rounding


def cut_outline_mm(piece: Piece) -> np.ndarray:
    """The ring a piece is cut to from its stock, before any edge is slanted.

    Args:
        piece: with its outlines in the cut frame.

    Returns:
        (n, 2) canonical ring: `piece.outline_mm` itself where the bag side lies within it.

    Raises:
        ValueError: the two faces do not lie over each other.
    """
    if piece.bag_side_outline_mm is None:
        return piece.outline_mm
    mould, bag = shapely.Polygon(piece.outline_mm), shapely.Polygon(piece.bag_side_outline_mm)
    if bag.difference(mould).area <= TOUCH_MM2:
        return piece.outline_mm
    both = mould.union(bag)
    if both.geom_type != "Polygon":
        raise ValueError(f"the two faces of {piece.id} do not lie over each other")
    return canonical_ring(np.asarray(both.exterior.coords)[:-1])
