"""What is left of a unit after the cut."""

from __future__ import annotations

import numpy as np

from plybook.geometry.rings import canonical_ring
from plybook.nest.model import Item, Layout
from plybook.nest.placing import placed_outline

LEAST_SIDE_MM = 100.0  # a left-over narrower than this is not kept
LEAST_AREA_MM2 = 0.05e6


def left_over(layout: Layout, items: dict[str, Item], gap_mm: float) -> np.ndarray | None:
    """The largest left-over of a unit in one piece, as a ring; None where none is worth keeping.

    A straight cut across the full width is taken where it leaves at least nine tenths of what any
    other outline would; else the outline follows the pieces, drawn in by the gap, without necks
    or tongues narrower than the least side.
    """
    import shapely

    unit = layout.unit
    rings = [placed_outline(items[p.item], p) for p in layout.placements]
    if unit.kind == "bar":
        return None
    length = unit.length_mm
    reach = max((float(r[:, 0].max()) for r in rings), default=0.0) + gap_mm
    stock = (
        shapely.box(0, 0, length, unit.width_mm)
        if unit.outline_mm is None
        else shapely.Polygon(unit.outline_mm)
    )
    zones = [shapely.Polygon(z) for z in unit.bad_zones_mm]
    cut = shapely.union_all([shapely.Polygon(r).buffer(gap_mm, quad_segs=2) for r in rings] + zones)
    straight = stock.intersection(shapely.box(reach, 0, max(length, reach), unit.width_mm))
    straight = _largest(straight.difference(shapely.union_all(zones)) if zones else straight)
    if unit.kind == "roll":
        best = straight
    else:
        half = LEAST_SIDE_MM / 2
        rest = stock.difference(cut).buffer(-half, join_style="mitre")
        best = _largest(rest.buffer(half, join_style="mitre").simplify(1.0))
        if best is not None and not stock.difference(cut).buffer(1.0).covers(best):
            best = _largest(best.intersection(stock.difference(cut)))
        if straight is not None and best is not None and straight.area >= 0.9 * best.area:
            best = straight
    if best is None or best.area < LEAST_AREA_MM2:
        return None
    if best.buffer(-LEAST_SIDE_MM / 2).is_empty:
        return None
    return canonical_ring(np.asarray(best.exterior.coords)[:-1], 0.1)


def _largest(shape):
    import shapely

    parts = [g for g in shapely.get_parts(shape) if g.geom_type == "Polygon" and g.area > 0]
    if not parts:
        return None
    best = max(parts, key=lambda g: (g.area, g.bounds))
    return shapely.Polygon(best.exterior) if not best.interiors else best
