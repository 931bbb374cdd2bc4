"""Inserts against one another, against seams that no one drew, breaks of the face and rods."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, error, warning
from plybook.laminate.model import LaidLayer
from plybook.spec.model import Core, Insert, PartSpec, Rod
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.units import mm

_SHARED_MM2 = 1.0  # less is rounding
_LEAST_WEB_MM = 10.0  # of core between two inserts; common practice, no source
_PAST_BREAK_MM = 1.0


def insert_findings(spec: PartSpec, face: Face, layers: Sequence[LaidLayer]) -> list[Finding]:
    """What is to be said of inserts once it is known where every layer lies.

    Args:
        spec: the resolved spec.
        face: its mould face.
        layers: as laid, first laid first.
    """
    regions = {layer.id: layer.region for layer in layers}
    inserts = [x for x in spec.layers if isinstance(x, Insert) and x.id in regions]
    found = []
    for one, other in combinations(inserts, 2):
        if one.core == other.core:
            found += _beside(one, other, regions, face)
    for insert in inserts:
        found += _over_breaks(insert, regions[insert.id], face)
    rods = [x for x in spec.layers if isinstance(x, Rod) and x.id in regions]
    for rod in rods:
        through = [x for x in inserts if _on_one_level(rod, x, spec, layers)]
        for insert in through:
            found += _through(rod, insert, regions, face)
    return found


def _where(shape: BaseGeometry, face: Face) -> str:
    return place_words(np.asarray(shape.representative_point().coords[0]), face)


def _beside(
    one: Insert, other: Insert, regions: Mapping[str, BaseGeometry], face: Face
) -> list[Finding]:
    a, b = regions[one.id], regions[other.id]
    told = {"layers": (one.id, other.id)}
    shared = a.intersection(b)
    if shared.area > _SHARED_MM2:
        return [
            error(
                "inserts-overlap",
                f"inserts {one.id} and {other.id} overlap by {shared.area / 100:.1f} cm2 at "
                f"{_where(shared, face)}: two blocks cannot lie in one place",
                "move one, or make one insert of both",
                other.place,
                **told,
            )
        ]
    apart = a.distance(b)
    if 0.0 < apart < _LEAST_WEB_MM:
        between = shapely.shortest_line(a, b)
        return [
            warning(
                "inserts-close",
                f"inserts {one.id} and {other.id} stand {mm(apart):.1f} apart at "
                f"{_where(between, face)}; so thin a web of core breaks out when the openings are "
                "cut",
                f"move them until {mm(_LEAST_WEB_MM):g} of core stay between, or make one insert "
                "of both",
                other.place,
                **told,
            )
        ]
    return []


def _over_breaks(insert: Insert, region: BaseGeometry, face: Face) -> list[Finding]:
    spans = np.asarray(face.from_pattern(shapely.get_coordinates(region)))[:, 0]
    return [
        warning(
            "insert-crosses-break",
            f"insert {insert.id} lies over the break of {kink.turn_deg:.1f} deg at span "
            f"{mm(kink.span_mm):.0f}; a flat block stands off the face there, and the seam of the "
            "core at the break runs into it",
            "move it to one side, or make two inserts that meet at the break",
            insert.place,
            layers=(insert.id,),
        )
        for kink in face.kinks
        if not kink.accepted
        and spans.min() + _PAST_BREAK_MM < kink.span_mm < spans.max() - _PAST_BREAK_MM
    ]


def _on_one_level(rod: Rod, insert: Insert, spec: PartSpec, layers: Sequence[LaidLayer]) -> bool:
    """Whether no cloth lies between a rod and the core of an insert where they meet."""
    order = [layer.id for layer in layers]
    core = next((x.id for x in spec.layers if isinstance(x, Core) and x.id == insert.core), "")
    if core not in order:
        return False
    low, high = sorted((order.index(rod.id), order.index(core)))
    at = {layer.id: layer for layer in layers}
    shared = at[rod.id].region.intersection(at[insert.id].region)
    covers = [x.region for x in layers[low + 1 : high] if x.kind == "ply"]
    return not any(cover.intersects(shared) for cover in covers)


def _through(
    rod: Rod, insert: Insert, regions: Mapping[str, BaseGeometry], face: Face
) -> list[Finding]:
    shared = regions[rod.id].intersection(regions[insert.id])
    if shared.area <= _SHARED_MM2:
        return []
    return [
        warning(
            "rod-through-insert",
            f"rods {rod.id} run over insert {insert.id} at {_where(shared, face)} with no cloth "
            "between: one of them needs a groove or a gap there, which no template shows",
            "end the rods before the insert, move the insert, or lay cloth between them",
            rod.place,
            layers=(rod.id, insert.id),
        )
    ]
