"""The key that ties a filled-in record to the plan it was made from.

It changes when a piece's outline, a step or the revision changes, and only then: a new date, a
corrected note or another roll of cloth leaves it alone.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable

import numpy as np

from plybook.geometry.rings import canonical_ring

_DECIMALS = 2  # a hundredth of a millimetre is no change at the bench


def record_key(
    number: str,
    revision: str,
    rings: Iterable[tuple[str, np.ndarray]],
    steps: Iterable[str],
) -> str:
    """Sixteen hexadecimal digits.

    Args:
        number, revision: of the part.
        rings: (piece id, cut outline (n, 2) mm).
        steps: step ids in order; they follow from the steps' own content.
    """
    content = [
        number,
        revision,
        sorted((id, _plain(ring)) for id, ring in rings),
        list(steps),
    ]
    text = json.dumps(content, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def plan_key(plan: dict) -> str:
    """The key of a plan read from `plan.json`.

    Raises:
        KeyError, TypeError, ValueError: the plan has not the shape of a plan.
    """
    return record_key(
        plan["part"]["number"],
        plan["part"]["revision"],
        ((p["id"], np.asarray(p["outline_mm"], float)) for p in plan["pieces"]),
        (step["id"] for stage in plan["stages"] for step in stage["steps"]),
    )


def _plain(ring_mm: np.ndarray) -> list[list[float]]:
    return (np.round(canonical_ring(ring_mm), _DECIMALS) + 0.0).tolist()
