"""A piece drawn in small beside its figures: shape, corners, letters, the arrow along its fibre."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.verify.lettermetrics import CAP, width
from plybook.verify.pdf_pages import Line, Words
from plybook.verify.tolerances import PAPER_MM

FIT_MM = 0.08  # of a small picture, whose points are rounded before they are made small


def fit_of(
    rings: Sequence[np.ndarray], drawn: Sequence[np.ndarray]
) -> tuple[float, np.ndarray] | None:
    """Scale and shift from rings to the same drawn in small; None where they are others."""
    if len(rings) != len(drawn) or any(
        a.shape != b.shape for a, b in zip(rings, drawn, strict=True)
    ):
        return None
    one, two = np.concatenate(rings), np.concatenate(drawn)
    scale = float(np.ptp(two, axis=0).max() / np.ptp(one, axis=0).max())
    shift = two.min(axis=0) - one.min(axis=0) * scale
    return (scale, shift) if np.abs(one * scale + shift - two).max() <= FIT_MM else None


def off_from(points: np.ndarray, others: np.ndarray) -> float:
    """How far the furthest point is from the nearest of others."""
    gaps = np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1))
    return float(gaps.min(axis=1, initial=np.inf).max(initial=0.0))


def apart(words: Words, at: np.ndarray) -> float:
    """From the middle of words to a place."""
    half = words.size_mm * np.array([width(words.text, True), CAP]) / 2
    return float(np.hypot(*(np.array(words.at_mm) + half - at)))


def arrow_whole(lines: Sequence[Line], words: Sequence[Words], angle_deg: float) -> bool:
    """Whether an arrow is one shaft along the fibre, a head at either end, its angle above it."""
    if not lines:
        return not words
    shafts = [x.points for x in lines if len(x.points) == 2]
    if len(shafts) != 1 or len(words) != 1:
        return False
    shaft = shafts[0]
    turn = np.radians(words[0].turn_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    way = (shaft[1] - shaft[0]) / np.hypot(*(shaft[1] - shaft[0]))
    fibre = np.radians(angle_deg)
    straight = abs(way[0] * np.sin(fibre) - way[1] * np.cos(fibre)) < 0.004
    straight &= abs(way[0] * along[1] - way[1] * along[0]) < 0.004
    heads = [x.points for x in lines if len(x.points) != 2]
    ends = [min((0, 1), key=lambda k: np.hypot(*(h.mean(axis=0) - shaft[k]))) for h in heads]
    close = all(np.hypot(*(h - shaft[k]).T).max() < 6.5 for h, k in zip(heads, ends, strict=True))
    size = words[0].size_mm
    middle = np.array(words[0].at_mm) + along * size * width(words[0].text, True) / 2
    above = shaft.mean(axis=0) + (0.32 * size * CAP + 1.0) * np.array([-along[1], along[0]])
    return bool(straight and sorted(ends) == [0, 1] and close
                and np.hypot(*(middle - above)) <= PAPER_MM * 4)  # fmt: skip
