"""How much a build is going to make, held against the limits before the long work begins.

Twice: from the specs alone, with a bound that is surely too low, so that what is far too large is
refused at once; and from the pieces, exactly.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.limits import Limits
from plybook.spec.model import (
    Common,
    Core,
    Film,
    OutlineMould,
    PartSpec,
    Ply,
    Region,
    ShareBand,
    SpanBand,
    StationMould,
    Whole,
)

if TYPE_CHECKING:
    from plybook.laminate.model import Piece

TILE_MM = (190.0, 250.0)  # what of a template stands on one sheet
SURELY = 0.8  # of the area by straight lines between stations; a smooth loft may swing inwards
_SAID = {
    "pieces": "pieces",
    "template-sheets": "sheets of tiled templates",
}


def refuse_plainly_too_much(specs: Sequence[PartSpec], changed: Mapping[str, float]) -> None:
    """Refuse what would take too many sheets of paper by the size of its layers alone, or too many
    pieces by their number.

    Args:
        specs: of all parts of a build.
        changed: limits that the command line has raised.

    Raises:
        SpecError: naming the limit that is passed.
    """
    least = math.floor(sum(least_area_mm2(spec) for spec in specs) / (TILE_MM[0] * TILE_MM[1]))
    layers = sum(len(spec.layers) for spec in specs)  # each is one piece or more
    _refuse({"template-sheets": least, "pieces": layers}, changed, "at least ")


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


def refuse_too_much(pieces: Sequence[Piece], changed: Mapping[str, float]) -> None:
    """Refuse more pieces or more paper than a build is meant for.

    Args:
        pieces: of all parts of a build.
        changed: limits that the command line has raised.

    Raises:
        SpecError: naming the limit that is passed.
    """
    counted = {"pieces": len(pieces), "template-sheets": sum(template_sheets(p) for p in pieces)}
    _refuse(counted, changed)


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


def template_sheets(piece: Piece) -> int:
    """Sheets of paper a piece takes at most when it is tiled 1:1."""
    wide, high = np.ptp(np.asarray(piece.outline_mm, dtype=float), axis=0)
    return math.ceil(wide / TILE_MM[0]) * math.ceil(high / TILE_MM[1])
