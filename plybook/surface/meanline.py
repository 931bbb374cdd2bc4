"""Mean lines of the NACA sections of four and five digits, as height and slope over the chord.

Four digits: Report 460 (Jacobs, Ward, Pinkerton 1933). Five digits: Report 537 (Jacobs, Pinkerton
1935); the constants as they are tabulated in TM X-3284 (Ladson, Brooks 1975) and TM-4741 (Ladson,
Brooks, Hill, Sproles 1996), both from memory and held to the published ordinates by the tests.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

_PLAIN = {  # place of the highest camber in twentieths of the chord: m, k1 for a lift of 0.3
    1: (0.0580, 361.400),
    2: (0.1260, 51.640),
    3: (0.2025, 15.957),
    4: (0.2900, 6.643),
    5: (0.3910, 3.230),
}
_REFLEXED = {  # the same: m, k1, k2 / k1
    2: (0.1300, 51.990, 0.000764),
    3: (0.2170, 15.793, 0.006770),
    4: (0.3180, 6.520, 0.030300),
    5: (0.4410, 3.191, 0.135500),
}


@dataclass(frozen=True)
class MeanLine:
    """The mean line of a section of unit chord.

    Attributes:
        at: share of the chord (n,) -> height (n,) and slope (n,).
        joint: share at which its two curves meet; None on a symmetric section.
    """

    at: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
    joint: float | None


def mean_line(code: str) -> MeanLine:
    """The mean line of a section whose code has no fault."""
    if len(code) == 4:
        return _four_digits(int(code[0]) / 100, int(code[1]) / 10)
    lift = int(code[0]) / 2  # in lifts of 0.3
    if code[2] == "1":
        m, k1, ratio = _REFLEXED[int(code[1])]
        return _five_digits(m, k1 * lift, ratio)
    m, k1 = _PLAIN[int(code[1])]
    return _five_digits(m, k1 * lift, 0.0)


def _four_digits(camber: float, crest: float) -> MeanLine:
    """Two parabolas that meet at the crest."""
    if not camber:
        return MeanLine(lambda x: (np.zeros_like(x), np.zeros_like(x)), None)

    def at(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        front = x < crest
        scale = np.where(front, camber / crest**2, camber / (1 - crest) ** 2)
        line = np.where(front, 2 * crest * x - x * x, (1 - 2 * crest) + 2 * crest * x - x * x)
        return scale * line, scale * 2 * (crest - x)

    return MeanLine(at, crest)


def _five_digits(m: float, k1: float, ratio: float) -> MeanLine:
    """A cubic that meets at m another, flatter by its ratio: of 0 a straight line; more where the
    tail is reflexed."""
    fall = m**3 + ratio * (1 - m) ** 3

    def at(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        bend = np.where(x < m, 1.0, ratio)
        line = bend * (x - m) ** 3 - fall * x + m**3
        return k1 / 6 * line, k1 / 6 * (3 * bend * (x - m) ** 2 - fall)

    return MeanLine(at, m)
