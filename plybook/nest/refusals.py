"""Why a piece cannot be cut from the stock there is, said before any packing is tried."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.diagnostics import Finding, error
from plybook.geometry.fitting import flat_rotations, most_room
from plybook.nest.model import Item, Unit, UnitKind
from plybook.nest.placing import along_bar, orientations, turn_ring
from plybook.units import show_length


def refusal(
    item: Item, name: str, material: str, kind: UnitKind, units: Sequence[Unit], unit: str
) -> Finding | None:
    """Why an item fits no unit of its material at all, or None.

    Args:
        item: what is to be cut.
        name: what it is called, in the message.
        material: id of its material.
        kind: of the units.
        units: everything it might be cut from.
        unit: "mm" or "in", for the figures in the message.
    """
    if kind == "bar":
        return _too_long_for_bars(item, name, material, units, unit)
    sizes = {(u.length_mm, u.width_mm) for u in units}
    free = flat_rotations(item.outline_mm)
    turned = [turn_ring(item.outline_mm, r, f) for r, f in orientations(item, free)]
    if any(_fits(t, size) for t in turned for size in sizes):
        return None
    if item.rotations_deg is None and any(
        most_room(item.outline_mm, size, slantwise=True)[1] >= -1e-6 for size in sizes
    ):
        return None
    length, width = max(sizes, key=lambda s: (s[1], s[0]))
    across = min(float(np.ptp(t[:, 1])) for t in turned)
    if across <= width + 1e-6:
        along = min(float(np.ptp(t[:, 0])) for t in turned if np.ptp(t[:, 1]) <= width + 1e-6)
        return error(
            "piece-too-long",
            f"{name} is {show_length(along, unit)} long; the longest {kind} of "
            f"{material} is {show_length(max(s[0] for s in sizes), unit)}",
            "splice it, or put longer stock on the shelf",
        )
    smallest = smallest_rotation(item, width)
    if smallest is None:
        help_text = f"no rotation makes it fit: splice it, or use a wider {kind}"
    else:
        help_text = (
            f"turned {smallest:.1f} deg further it would fit, which the material does not allow: "
            f"splice it, or use a wider {kind}"
        )
    return error(
        "piece-too-wide",
        f"{name} is {show_length(across, unit)} across; {material} is usable to "
        f"{show_length(width, unit)}",
        help_text,
    )


def _fits(ring: np.ndarray, size: tuple[float, float]) -> bool:
    return bool((np.ptp(ring, axis=0) <= np.add(size, 1e-6)).all())


def smallest_rotation(item: Item, width_mm: float) -> float | None:
    """The least turn away from an allowed rotation at which the item fits across, in degrees;
    None where it never does. Searched in steps of 0.1 degree."""
    import shapely

    hull = np.asarray(shapely.Polygon(item.outline_mm).convex_hull.exterior.coords)[:-1]
    turns = np.arange(0.0, 180.0, 0.1)
    normal = np.radians(90.0 - turns)  # the direction that ends up across the strip
    reach = hull @ np.array([np.cos(normal), np.sin(normal)])
    fits = turns[np.ptp(reach, axis=0) <= width_mm]
    if not len(fits):
        return None
    allowed = np.array([r for r, f in orientations(item, (0.0,)) if not f])
    away = np.abs((fits[:, None] - allowed[None, :] + 90.0) % 180.0 - 90.0)
    return float(away.min())


def _too_long_for_bars(
    item: Item, name: str, material: str, units: Sequence[Unit], unit: str
) -> Finding | None:
    turned = turn_ring(item.outline_mm, along_bar(item.outline_mm)[0])
    longest = max(u.length_mm for u in units)
    length = float(np.ptp(turned[:, 0]))
    if length <= longest + 1e-6:
        return None
    return error(
        "piece-too-long",
        f"{name} is {show_length(length, unit)} long; the longest bar of {material} is "
        f"{show_length(longest, unit)}",
        "use longer stock, or a scarf where the designer allows one",
    )
