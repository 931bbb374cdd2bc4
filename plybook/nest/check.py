"""The independent checker: is this layout what it says, and may it be cut?

It shares no code with the packers and places every outline with its own arithmetic; geometry is
shapely's. A layout is *proved* when no problem is found:

- every piece inside the stock: usable width, length, and the outline of a remnant;
- every two pieces apart by the gap;
- every rotation allowed for its item, and face down only where the item may be;
- every copy of every item there once;
- bad zones free.

Tolerance: lengths are held to 0.001 mm (far below what a knife does, far above the noise of
double precision on a 100 m roll). Where the gap is 0, two pieces count as overlapping when they
still do after each is shrunk by half the tolerance.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
import shapely

from plybook.nest.model import Item, Layout, Placement

TOLERANCE_MM = 1e-3
ANGLE_TOLERANCE_DEG = 1e-6
MOST_NAMED = 20  # problems of one kind that are spelled out


def check_layout(
    layout: Layout, items: Sequence[Item], tolerance_mm: float = TOLERANCE_MM
) -> tuple[str, ...]:
    """Problems of one layout, worst first; () = proved. Demands are `check_plan`'s business."""
    by_id = {item.id: item for item in items}
    problems = [f"{p.item} is not an item" for p in layout.placements if p.item not in by_id]
    problems += _twice(layout.placements)
    known = [p for p in layout.placements if p.item in by_id]
    for p in known:
        problems += _turned_wrongly(by_id[p.item], p)
    known = [p for p in known if _is_finite(p) and np.isfinite(by_id[p.item].outline_mm).all()]
    if not known:
        return tuple(problems)
    names = [f"{p.item} copy {p.copy}" for p in known]
    shapes = np.array([_lay(by_id[p.item].outline_mm, p) for p in known], dtype=object)
    sound = shapely.is_valid(shapes) & (shapely.area(shapes) > 0)
    problems += [f"{names[i]} is not a sound outline" for i in np.flatnonzero(~sound)]
    if sound.all():
        problems += _outside(layout, shapes, names, tolerance_mm)
        problems += _in_bad_zones(layout, shapes, names, tolerance_mm)
        problems += _too_near(shapes, names, layout.gap_mm, tolerance_mm)
    return tuple(problems)


def check_plan(
    layouts: Sequence[Layout], items: Sequence[Item], tolerance_mm: float = TOLERANCE_MM
) -> tuple[str, ...]:
    """Problems of a whole plan: every layout, and every item cut exactly as often as wanted."""
    problems = [
        f"{layout.unit.id}: {problem}"
        for layout in layouts
        for problem in check_layout(layout, items, tolerance_mm)
    ]
    problems += [
        f"{unit} is used {count} times"
        for unit, count in Counter(layout.unit.id for layout in layouts).items()
        if count > 1
    ]
    placed = Counter((p.item, p.copy) for layout in layouts for p in layout.placements)
    wanted = {(item.id, copy) for item in items for copy in range(1, item.demand + 1)}
    problems += [f"{i} copy {c} is not placed" for i, c in sorted(wanted - placed.keys())]
    problems += [f"{i} copy {c} is not wanted" for i, c in sorted(placed.keys() - wanted)]
    problems += [f"{i} copy {c} is placed {n} times" for (i, c), n in placed.items() if n > 1]
    return tuple(problems)


def _lay(outline_mm: np.ndarray, p: Placement) -> shapely.Polygon:
    """The outline as placed, by complex arithmetic: conjugate, times e^(i r), plus (x + iy)."""
    points = outline_mm[:, 0] + 1j * outline_mm[:, 1]
    if p.flipped:
        points = points.conjugate()
    placed = points * complex(
        math.cos(math.radians(p.rotation_deg)), math.sin(math.radians(p.rotation_deg))
    ) + complex(p.x_mm, p.y_mm)
    return shapely.Polygon(np.column_stack([placed.real, placed.imag]))


def _twice(placements: Sequence[Placement]) -> list[str]:
    counts = Counter((p.item, p.copy) for p in placements)
    return [f"{i} copy {c} is placed {n} times" for (i, c), n in sorted(counts.items()) if n > 1]


def _is_finite(p: Placement) -> bool:
    return all(map(math.isfinite, (p.x_mm, p.y_mm, p.rotation_deg)))


def _turned_wrongly(item: Item, p: Placement) -> list[str]:
    name = f"{p.item} copy {p.copy}"
    if not _is_finite(p):
        return [f"{name} has no finite place"]
    if not np.isfinite(item.outline_mm).all():
        return [f"{name} is not a sound outline"]
    if p.flipped and not item.may_flip:
        return [f"{name} lies face down and may not"]
    allowed = item.rotations_deg
    if p.flipped and item.flipped_rotations_deg is not None:
        allowed = item.flipped_rotations_deg
    if allowed is None:
        return []
    off = [abs((p.rotation_deg - a + 180.0) % 360.0 - 180.0) for a in allowed]
    if min(off, default=360.0) > ANGLE_TOLERANCE_DEG:
        return [f"{name} is turned {p.rotation_deg:g} deg, allowed {_list(allowed)}"]
    return []


def _list(angles: Sequence[float]) -> str:
    return ", ".join(f"{a:g}" for a in angles)


def _outside(layout: Layout, shapes: np.ndarray, names: list[str], tol: float) -> list[str]:
    unit = layout.unit
    if unit.outline_mm is None:
        low, high = (-tol, -tol), (unit.length_mm + tol, unit.width_mm + tol)
        bounds = shapely.bounds(shapes)
        inside = ((bounds[:, :2] >= low) & (bounds[:, 2:] <= high)).all(axis=1)
    else:
        stock = shapely.Polygon(unit.outline_mm).buffer(tol, join_style="mitre")
        shapely.prepare(stock)
        inside = shapely.covers(stock, shapes)
    found = [f"{names[i]} is not inside {unit.id}" for i in np.flatnonzero(~inside)[:MOST_NAMED]]
    reach = float(shapely.bounds(shapes)[:, 2].max())
    if unit.kind == "roll" and reach > layout.used_length_mm + tol:
        found.append(f"pieces reach {reach:.3f} mm, beyond {layout.used_length_mm:.3f} mm used")
    return found


def _in_bad_zones(layout: Layout, shapes: np.ndarray, names: list[str], tol: float) -> list[str]:
    zones = [shapely.Polygon(z).buffer(-tol) for z in layout.unit.bad_zones_mm]
    return [
        f"{names[i]} lies over a bad zone of {layout.unit.id}"
        for zone in zones
        for i in np.flatnonzero(shapely.intersects(zone, shapes))[:MOST_NAMED]
    ]


def _too_near(shapes: np.ndarray, names: list[str], gap: float, tol: float) -> list[str]:
    if gap > tol:
        pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=gap - tol)
    else:
        shrunk = shapely.buffer(shapes, -tol / 2, join_style="mitre")
        pairs = shapely.STRtree(shrunk).query(shrunk, predicate="intersects")
    found = []
    for i, j in sorted((i, j) for i, j in pairs.T if i < j)[:MOST_NAMED]:
        apart = shapely.distance(shapes[i], shapes[j])
        deep = shapely.area(shapely.intersection(shapes[i], shapes[j]))
        what = f"overlap by {deep:.6g} mm2" if apart == 0 else f"are {apart:.4f} mm apart"
        found.append(f"{names[i]} and {names[j]} {what}, {gap:g} mm wanted")
    return found
