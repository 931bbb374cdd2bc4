"""How much a build is going to make, held against the limits before the long work begins.

Twice: from the specs alone, with a bound that is surely too low, so that what is far too large is
refused at once; and from the pieces, by the templates they are cut by.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.limits import Limits
from plybook.spec.model import (
    Common,
    Core,
    Film,
    Layer,
    OutlineMould,
    PartSpec,
    Ply,
    Region,
    ShareBand,
    SpanBand,
    StationMould,
    Whole,
)
from plybook.write.paper import TILE_MM, most_sheets

if TYPE_CHECKING:
    from plybook.nest.needs import CutJob

SURELY = 0.8  # of the area by straight lines between stations; a smooth loft may swing inwards
_SAID = {
    "pieces": "pieces",
    "template-sheets": "sheets of templates to print",
}


def refuse_plainly_too_much(specs: Sequence[PartSpec], changed: Mapping[str, float]) -> None:
    """Refuse what would take too many sheets of paper by the size of its layers alone, where they
    are printed in tiles, or too many pieces by their number.

    Args:
        specs: of all parts of a build.
        changed: limits that the command line has raised.

    Raises:
        SpecError: naming the limit that is passed.
    """
    least = math.floor(sum(map(least_tiled_mm2, specs)) / math.prod(TILE_MM))
    layers = sum(len(spec.layers) for spec in specs)  # each is one piece or more
    _refuse({"template-sheets": least, "pieces": layers}, changed, "at least ")


def least_tiled_mm2(spec: PartSpec) -> float:
    """The area of the layers that are surely printed in tiles, because the spec asks for it."""
    ways = spec.templates
    own = {name for name, _ in ways.ways}

    def tiled(layer: Layer) -> bool:
        pieces = any(name.startswith(f"{layer.id}.") for name in own)
        return not pieces and ways.way_of(layer.id, layer.id, layer.material) == "tiles"

    return least_area_mm2(replace(spec, layers=tuple(filter(tiled, spec.layers))))


def least_area_mm2(spec: PartSpec) -> float:
    """What all layers of a part cover together, surely not less; layers whose region cannot be
    told without the face count nothing."""
    return sum(
        _least_mm2(layer.region, spec)
        for layer in spec.layers
        if isinstance(layer, Core | Film) or (isinstance(layer, Ply) and layer.drop is None)
    )


def _least_mm2(region: Region, spec: PartSpec) -> float:
    mould = spec.mould
    if isinstance(mould, OutlineMould):
        if not isinstance(region, Whole):
            return 0.0
        holes = sum(abs(signed_area_mm2(hole)) for hole in mould.holes_mm)
        return abs(signed_area_mm2(mould.ring_mm)) - holes
    span, share = _bands(region, mould)
    at = np.array([s.at_mm for s in mould.stations])
    chord = np.array([s.chord_mm for s in mould.stations])
    inner = np.unique(np.clip([*span, *at], *span)) if span[0] < span[1] else np.zeros(1)
    return SURELY * float(np.trapezoid(np.interp(inner, at, chord), inner)) * max(
        0.0, share[1] - share[0]
    )  # fmt: skip


def _bands(region: Region, mould: StationMould) -> tuple[tuple[float, float], tuple[float, float]]:
    """The span and the chord shares between which a region lies; nothing where it is not of
    that kind."""
    first, last = mould.stations[0].at_mm, mould.stations[-1].at_mm
    match region:
        case Whole():
            return (first, last), (mould.from_share, mould.to_share)
        case SpanBand(a, b):
            return (max(a, first), min(b, last)), (mould.from_share, mould.to_share)
        case ShareBand(a, b):
            return (first, last), (max(a, mould.from_share), min(b, mould.to_share))
        case Common(items):
            spans, shares = zip(*(_bands(one, mould) for one in items), strict=True)
            return _common(spans), _common(shares)
    return (first, first), (0.0, 0.0)


def _common(bands: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return max(low for low, _ in bands), min(high for _, high in bands)


def refuse_too_much(
    jobs: Sequence[CutJob], changed: Mapping[str, float], twins: Sequence[CutJob] = ()
) -> None:
    """Refuse more pieces or more paper than a build is meant for.

    Args:
        jobs: the parts of a build with their pieces.
        changed: limits that the command line has raised.
        twins: jobs whose opposite hand is made too and is not among the jobs.

    Raises:
        SpecError: naming the limit that is passed.
    """
    first, served = [], set()
    turned = sum(len(job.pieces) for job in twins)  # pieces of a second hand
    for job in jobs:
        if job.spec.part.number in served:
            turned += len(job.pieces)
        else:
            first.append(job)
            served.add(job.spec.part.other_hand)
    limit = Limits(dict(changed))["template-sheets"]
    counted = {
        "pieces": sum(len(job.pieces) for job in first) + turned,
        "template-sheets": _sheets(first, turned, limit),
    }
    _refuse(counted, changed)


def _sheets(jobs: Sequence[CutJob], turned: int, limit: float) -> int:
    """Sheets of templates to print: those of the first hand, and cards of the second, which is cut
    by the same templates turned over. As many as they may be at most where that is within the
    limit: figures take long to look for."""
    most = turned + sum(most_sheets(piece) for job in jobs for piece in job.pieces)
    if most <= limit:
        return most
    from plybook.write.ways import CARDS_ON_A_SHEET, printed_sheets

    own = sum(printed_sheets(piece, job.spec) for job in jobs for piece in job.pieces)
    return math.ceil(own + turned / CARDS_ON_A_SHEET)


def _refuse(counted: Mapping[str, int], changed: Mapping[str, float], about: str = "") -> None:
    limits = Limits(dict(changed))
    found = [
        error(
            "too-many",
            f"the build has {about}{count} {_SAID[name]}; at most {limits[name]:.0f} are made",
            limits.why(name),
        )
        for name, count in counted.items()
        if count > limits[name]
    ]
    if found:
        raise SpecError(found)
