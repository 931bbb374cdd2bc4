"""Breaks: where two leaves of a face meet, as each of the two sees it.

Unrolled, the section at a break is the edge of two patterns, and the two edges are different
curves. A piece on either leaf ends on the edge of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from plybook.surface.face import LoftedFace
from plybook.surface.model import Face

_SAMPLES = 801


@dataclass(frozen=True)
class Break:
    """A break between two leaves; its rows are the same places of the section in all arrays.

    The lines run past the section at both ends, straight on.

    Attributes:
        number: of the leaf towards the root.
        inner_mm, outer_mm: (n, 2) the edge of that leaf and of the next, pattern frame.
        closing: (n,) tangent of half the angle that the face turns by, positive where the bag
            side is concave.
    """

    number: int
    span_mm: float
    inner_mm: np.ndarray
    outer_mm: np.ndarray
    closing: np.ndarray


def views_of(face: Face) -> tuple[Face, ...]:
    """The face as seen from each of its leaves: the pattern of that leaf, and the other leaves
    attached to it without a gap. One leaf: the face itself."""
    if not isinstance(face, LoftedFace) or len(face.leaves) == 1:
        return (face,)
    return cast("tuple[Face, ...]", face.views)  # its fields are read only


def breaks_of(face: Face, past_mm: float) -> tuple[Break, ...]:
    """The breaks between the leaves of a face, from root to tip.

    Args:
        past_mm: how far their lines run past the section.
    """
    if not isinstance(face, LoftedFace):
        return ()
    found = []
    for number, (inner, outer) in enumerate(zip(face.leaves, face.leaves[1:], strict=False)):
        low, high = inner.w_range
        w = np.union1d(np.linspace(low, high, _SAMPLES), inner.loft.w_breaks)
        at = np.full(len(w), outer.from_mm)
        ends = np.hypot(*inner.pattern.at(at[:2], np.array([low, high]), 0, 1).T)
        w = np.concatenate([[low - past_mm / ends[0]], w, [high + past_mm / ends[1]]])
        at = np.full(len(w), outer.from_mm)
        one, two = inner.normal(at, w), outer.normal(at, w)
        outwards = _outwards(inner, at, w)
        sine, cosine = -np.sum(two * outwards, axis=1), np.sum(one * two, axis=1)
        closing = np.tan(np.arctan2(sine, cosine) / 2)
        lines = inner.flat(at, w), outer.flat(at, w)
        found.append(Break(number, outer.from_mm, *lines, closing))
    return tuple(found)


def _outwards(leaf, u: np.ndarray, w: np.ndarray) -> np.ndarray:
    """(n, 3) unit vectors in the face, square to the section, away from the root."""
    u, w = leaf.inside(u, w)
    u = np.minimum(u, np.nextafter(leaf.to_mm, leaf.from_mm))
    along, across = leaf.loft.at(u, w, 1, 0), leaf.loft.at(u, w, 0, 1)
    across = across / np.linalg.norm(across, axis=1)[:, None]
    square = along - np.sum(along * across, axis=1)[:, None] * across
    return square / np.linalg.norm(square, axis=1)[:, None]
