"""What is left after the cut: the left-over of a unit, and the shelf as it is then."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from plybook.geometry.rings import canonical_ring
from plybook.nest.model import CutPlan, Item, Layout
from plybook.nest.offcuts import empty_rectangles
from plybook.nest.outline import cover_ring
from plybook.nest.placing import placed_outline
from plybook.spec.model import StockItem

LEAST_SIDE_MM = 100.0  # a left-over narrower than this is not kept
LEAST_AREA_MM2 = 0.05e6
MOST_CORNERS = 16  # nobody marks out more along an off-cut; common practice, no source


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
    straight = stock.intersection(shapely.box(reach, 0, max(length, reach), unit.width_mm))
    straight = _largest(straight.difference(shapely.union_all(zones)) if zones else straight)
    if unit.kind == "roll":
        best = straight
    else:
        kept = [_plain(r).buffer(gap_mm, join_style="mitre") for r in rings]
        free = stock.difference(shapely.union_all(kept + zones))
        half = LEAST_SIDE_MM / 2
        wide = free.buffer(-half, join_style="mitre").buffer(half, join_style="mitre")
        best = _largest(wide.simplify(1.0))
        if best is not None and not free.buffer(1.0).covers(best):
            best = _largest(best.intersection(free))
        best = _beside_holes(best, shapely.union_all(kept))
        if straight is not None and best is not None and straight.area >= 0.9 * best.area:
            best = straight
    if best is None or best.area < LEAST_AREA_MM2:
        return None
    if best.buffer(-LEAST_SIDE_MM / 2).is_empty:
        return None
    return canonical_ring(np.asarray(best.exterior.coords)[:-1], 0.1)


def _plain(ring: np.ndarray):
    """The piece with few corners, never smaller: an outline to cut along with a straightedge."""
    import shapely

    piece = shapely.Polygon(cover_ring(ring, LEAST_SIDE_MM / 5))
    hull = piece.convex_hull
    return hull if hull.area < 1.05 * piece.area else piece


def _largest(shape):
    import shapely

    parts = [g for g in shapely.get_parts(shape) if g.geom_type == "Polygon" and g.area > 0]
    if not parts:
        return None
    return max(parts, key=lambda g: (g.area, g.bounds))


def _beside_holes(rest, cut):
    """The largest part on one side of every hole that was cut in it; bad zones may stay inside."""
    import shapely

    while rest is not None and rest.interiors:
        holes = [h for h in map(shapely.Polygon, rest.interiors) if h.intersects(cut)]
        if not holes:
            break
        x0, y0, x1, y1 = rest.bounds
        left, low, right, high = holes[0].bounds
        sides = ((x0, y0, left, y1), (right, y0, x1, y1), (x0, y0, x1, low), (x0, high, x1, y1))
        parts = [_largest(rest.intersection(shapely.box(*side))) for side in sides]
        rest = max((p for p in parts if p is not None), key=lambda p: p.area, default=None)
    return rest


@dataclass(frozen=True)
class AfterCut:
    """What the shelf looks like after a plan is cut.

    Attributes:
        gone: ids of stock that is used up, as often as it was taken.
        left: the rest of rolls and bars that stay on the shelf under their own id, shorter.
        new: remnants of sheets, rests of what was bought and off-cuts beside the pieces, with a
            label of their own.
    """

    gone: tuple[str, ...]
    left: tuple[StockItem, ...]
    new: tuple[StockItem, ...]


def after_cut(
    plan: CutPlan, stock: Sequence[StockItem], received: str = "", least_mm: float = LEAST_SIDE_MM
) -> AfterCut:
    """What becomes of the stock when a plan is cut.

    Args:
        plan: a proved plan.
        stock: the shelf it was made from.
        received: ISO date to put on new remnants, "" none.
        least_mm: rests shorter than this are thrown away.

    Returns:
        Changes to the shelf, in the order of the layouts. What was bought and is whole or endless
        leaves no rest; a rest is labelled with the id of what it came from and "-rest", off-cuts
        beside the pieces, which follow, with "-side".
    """
    items = {i.id: i for i in plan.items}
    by_id = {s.id: s for s in stock}
    gone: list[str] = []
    left: list[StockItem] = []
    new: list[StockItem] = []
    for layout in plan.layouts:
        unit = layout.unit
        source = by_id.get(unit.id) or by_id.get(unit.id.rpartition("-")[0])
        if source is None:
            continue
        rest = _rest(layout, items, source, received, least_mm)
        single = not unit.bought and source.quantity == 1
        if rest is not None and single and unit.kind != "sheet":
            left.append(replace(rest, id=source.id, received=source.received))
            continue
        if not unit.bought:
            gone.append(source.id)
        if rest is not None:
            new.append(rest)
    for layout in plan.layouts:
        source = by_id.get(layout.unit.id) or by_id.get(layout.unit.id.rpartition("-")[0])
        if source is not None:
            new += _offcuts(layout, items, source, received)
    return AfterCut(tuple(gone), tuple(left), tuple(new))


def _offcuts(layout, items, source: StockItem, received: str) -> list[StockItem]:
    """What stays beside the pieces of a roll or a sheet, besides its rest, with its outline."""
    unit = layout.unit
    if unit.kind == "bar":
        return []
    found = _beside(layout, items)
    return [
        StockItem(
            f"{unit.id}-side{k if len(found) > 1 else ''}",
            unit.kind,
            unit.material,
            float(np.ptp(ring[:, 0])),
            float(np.ptp(ring[:, 1])),
            outline_mm=ring - ring.min(axis=0),
            received=received,
        )
        for k, ring in enumerate(found, 1)
    ]


def _beside(layout: Layout, items: dict[str, Item]) -> list[np.ndarray]:
    """Rings of what is free beside the pieces, largest first: each everywhere at least as wide as
    the least side. One of many corners gives the rectangles in it instead."""
    import shapely

    unit, gap = layout.unit, layout.gap_mm
    end = unit.length_mm
    if unit.kind == "roll":  # what lies beyond the straight cut is the rest
        end = min(end, float(math.floor(layout.used_length_mm)))
    area = shapely.box(0.0, 0.0, end, unit.width_mm)
    if unit.outline_mm is not None:
        area = area.intersection(shapely.Polygon(unit.outline_mm))
    rings = [placed_outline(items[p.item], p) for p in layout.placements]
    taken = [_plain(r).buffer(gap, join_style="mitre") for r in rings]
    taken += [shapely.Polygon(zone).buffer(gap, join_style="mitre") for zone in unit.bad_zones_mm]
    if unit.kind == "sheet" and layout.remnant_mm is not None:
        taken.append(shapely.Polygon(layout.remnant_mm))
    cut = shapely.union_all(taken)
    free = area.difference(cut)
    half = LEAST_SIDE_MM / 2
    wide = free.buffer(-half, join_style="mitre").buffer(half, join_style="mitre").simplify(1.0)
    found, boxed = [], None
    for part in shapely.get_parts(wide):
        part = _beside_holes(_largest(part.intersection(free)), cut)
        if part is None or part.area < LEAST_AREA_MM2 or part.buffer(-half + 1.0).is_empty:
            continue
        ring = canonical_ring(_few_corners(part), 0.1)
        if len(ring) <= MOST_CORNERS:
            found.append(ring)
            continue
        if boxed is None:
            boxes = [np.array([(t.bounds[:2]), (t.bounds[2:])]) for t in taken]
            boxed = empty_rectangles(area.bounds, boxes, LEAST_SIDE_MM, LEAST_AREA_MM2)
        inside = (shapely.box(*sides) for sides in boxed)
        found += [np.asarray(r.exterior.coords)[:-1] for r in inside if part.contains(r.buffer(-1))]
    return sorted(found, key=lambda ring: (-shapely.Polygon(ring).area, *ring.min(axis=0)))


def _few_corners(part) -> np.ndarray:
    """A ring without the points of straight sides; it begins at a true corner, the lowest on the
    left, because the first point always stays."""
    import shapely

    ring = np.asarray(part.exterior.coords)[:-1]
    first = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])
    return np.asarray(shapely.Polygon(np.roll(ring, -first, axis=0)).simplify(0.5).exterior.coords)[
        :-1
    ]


def _rest(layout, items, source: StockItem, received: str, least_mm: float) -> StockItem | None:
    unit = layout.unit
    if unit.kind == "sheet":
        if layout.remnant_mm is None:
            return None
        ring = layout.remnant_mm
        low, high = ring.min(axis=0), ring.max(axis=0)
        zones = [z - low for z in unit.bad_zones_mm if _meets(z, ring)]
        length, width = (float(v) for v in high - low)
        return StockItem(
            f"{unit.id}-rest",
            "sheet",
            unit.material,
            length,
            width,
            1,
            ring - low,
            tuple(zones),
            received,
        )
    cut = layout.used_length_mm
    if unit.kind == "bar":
        cut = max(float(placed_outline(items[p.item], p)[:, 0].max()) for p in layout.placements)
    cut = math.ceil(cut + layout.gap_mm)
    length = float(math.floor(unit.length_mm - cut))
    if length < least_mm or (unit.bought and source.length_mm <= 0):
        return None
    moved = (z - (cut, 0.0) for z in source.bad_zones_mm)
    left = tuple(np.maximum(z, (0.0, -np.inf)) for z in moved if z[:, 0].max() > 0)
    outline = None
    if source.outline_mm is not None:
        outline = layout.remnant_mm
        if outline is None:
            return None
        outline = outline - outline.min(axis=0)
    return StockItem(
        f"{unit.id}-rest",
        unit.kind,
        unit.material,
        length,
        source.width_mm,
        1,
        outline,
        left,
        received,
    )


def _meets(zone: np.ndarray, ring: np.ndarray) -> bool:
    import shapely

    return bool(shapely.Polygon(zone).intersection(shapely.Polygon(ring)).area > 0)
