"""How much a build is going to make, held against the limits before the long work begins."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.spec.limits import Limits

if TYPE_CHECKING:
    from plybook.laminate.model import Piece

TILE_MM = (190.0, 250.0)  # what of a template stands on one sheet


def refuse_too_much(pieces: Sequence[Piece], changed: Mapping[str, float]) -> None:
    """Refuse more pieces or more paper than a build is meant for.

    Args:
        pieces: of all parts of a build.
        changed: limits that the command line has raised.

    Raises:
        SpecError: naming the limit that is passed.
    """
    limits = Limits(dict(changed))
    counted = {"pieces": len(pieces), "template-sheets": sum(template_sheets(p) for p in pieces)}
    said = {"pieces": "pieces", "template-sheets": "sheets of tiled templates"}
    found = [
        error(
            "too-many",
            f"the build has {count} {said[name]}; at most {limits[name]:.0f} are made",
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
