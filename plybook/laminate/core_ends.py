"""What no flat piece can do: go from a core's end to the face beside it without gathering.

Over a core cloth is longer across than beside it, by what the bevels of the core's sides add. At
the end of the core that length would have to vanish within the run of the end's own bevel. A flat
piece splits it: at the end it is half of it too wide beside the core and as much too narrow on it,
which fades over about the width of the core.

Terms:
    gain: what one bevel adds to the girth, t / sin a - t / tan a = t tan(a / 2).
    end: a side of a core that a ply runs over together with both sides next to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from plybook.diagnostics import Finding, note
from plybook.laminate.heights import FILLET_DEG
from plybook.laminate.model import LaidLayer
from plybook.laminate.sides import name_sides
from plybook.spec.model import Core, PartSpec, Treatment
from plybook.surface.model import Face
from plybook.units import mm

WORTH_MM = 1.0  # half of the gain below this is worked in without a thought
_BESIDE_MM = 15.0
_TOUCH_MM = 0.05


def gain_mm(thickness_mm: float, treatment: Treatment) -> float:
    """What a core's side adds to the girth of cloth that goes over it."""
    sloped = treatment.kind in ("bevel", "scarf") and treatment.wide_side == "mould"
    angle = treatment.angle_deg if sloped else FILLET_DEG
    return thickness_mm * math.tan(math.radians(angle) / 2)


def core_end_findings(spec: PartSpec, face: Face, layers: Sequence[LaidLayer]) -> Iterator[Finding]:
    """One note for each core whose ends ask more of cloth than a flat piece can give.

    Args:
        spec: the resolved spec.
        face: its mould face.
        layers: as laid, first laid first.
    """
    cores = {core.id: core for core in spec.layers if isinstance(core, Core)}
    for number, layer in enumerate(layers):
        if layer.id not in cores:
            continue
        core = cores[layer.id]
        over = [one for one in layers[number + 1 :] if one.kind in ("ply", "film")]
        ends = _ends(core, layer, face, over)
        most = max(ends.values(), default=0.0)
        if most / 2 < WORTH_MM:
            continue
        names = ", ".join(sorted(name for name, gain in ends.items() if gain / 2 >= WORTH_MM))
        yield note(
            "core-end-gathers",
            f"cloth over core {core.id} is up to {mm(most):.1f} longer across the core than beside "
            f"its ends ({names}); a flat piece splits that about evenly: at the end it is "
            f"{mm(most / 2):.1f} too wide beside the core and as much too narrow on it, fading "
            "over about the width of the core",
            "work it in from the middle of the end outwards; a flatter bevel at the sides of the "
            "core asks for less",
            core.place,
            layers=(core.id,),
        )


def _ends(core: Core, layer: LaidLayer, face: Face, over: Sequence[LaidLayer]) -> dict[str, float]:
    """Sides that a ply runs over with both their neighbours, and the gain of these together."""
    treatments = core.cuts
    rest = treatments[""]
    lines = name_sides(layer.region, face).lines
    found = {}
    for name, line in lines.items():
        beside = [other for other in lines if other != name
                  and shapely.distance(lines[other], line) < _TOUCH_MM]  # fmt: skip
        spots = [_just_outside(lines[one], layer.region) for one in (name, *beside)]
        if len(beside) < 2 or None in spots:
            continue
        if any(all(shapely.covers(ply.region, spot) for spot in spots) for ply in over):
            found[name] = sum(gain_mm(core.thickness_mm, treatments.get(n, rest)) for n in beside)
    return found


def _just_outside(line: shapely.Geometry, region: shapely.Geometry) -> shapely.Point | None:
    """A point a little outside the middle of a side's longest stretch."""
    longest = max(shapely.get_parts(line), key=lambda part: part.length)
    if longest.length < _TOUCH_MM:
        return None
    middle = [
        shapely.get_coordinates(shapely.line_interpolate_point(longest, at, normalized=True))[0]
        for at in (0.49, 0.5, 0.51)
    ]
    way = middle[2] - middle[0]
    across = np.array([way[1], -way[0]]) / np.hypot(*way) * _BESIDE_MM
    spots = [shapely.Point(middle[1] + side * across) for side in (1.0, -1.0)]
    outside = [spot for spot in spots if not region.intersects(spot)]
    return outside[0] if len(outside) == 1 else None
