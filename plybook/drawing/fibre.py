"""The fibre arrow: a double arrow at the true angle with the angle written above its shaft.

The angle counts as on the rosette (`plybook.drawing.rosette`).
"""

from __future__ import annotations

import math

import numpy as np

from plybook.drawing.frame import arrow
from plybook.drawing.labels import readable_deg
from plybook.drawing.letters import text_width_mm
from plybook.drawing.scene import Primitive, Role, Text

LENGTHS_MM = (300.0, 200.0, 140.0, 100.0, 70.0, 50.0, 36.0, 24.0)


def letters_for(length_mm: float) -> float:
    """Letter height that suits an arrow's length."""
    for least, letters in ((200.0, 10.0), (100.0, 7.0), (50.0, 5.0), (30.0, 3.5)):
        if length_mm >= least:
            return letters
    return 2.5


def arrow_size_mm(length_mm: float, words: str) -> tuple[float, float]:
    """Box of `fibre_arrow`, along and across the fibre."""
    letters = letters_for(length_mm)
    wide = max(length_mm, text_width_mm(words, letters, True) + 2.0)
    return wide + 1.0, 2 * (_rise_mm(letters) + 1.2 * letters)


def fibre_arrow(
    centre_mm: tuple[float, float], drawn_deg: float, length_mm: float, words: str
) -> list[Primitive]:
    """A double arrow along the fibre with words above the shaft.

    Args:
        centre_mm: middle of the shaft.
        drawn_deg: direction on the drawing.
        length_mm: of the shaft.
        words: the angle as said, after a word such as GRAIN where one is given.
    """
    centre = np.asarray(centre_mm, dtype=float)
    along = _unit(drawn_deg) * length_mm / 2
    head = min(6.0, max(2.4, length_mm / 10))
    items: list[Primitive] = list(
        arrow(centre - along, centre + along, Role.FIBRE, head, both=True)
    )
    turn = readable_deg(drawn_deg)
    letters = letters_for(length_mm)
    at = centre + _unit(turn + 90.0) * _rise_mm(letters)
    items.append(
        Text(Role.FIBRE, (float(at[0]), float(at[1])), words, letters, turn,
             "middle", bold=True, halo=True)
    )  # fmt: skip
    return items


def _rise_mm(letters_mm: float) -> float:
    """Base line of the words above the shaft: their white background stays clear of it."""
    return 0.32 * letters_mm + 1.0


def _unit(angle_deg: float) -> np.ndarray:
    angle = math.radians(angle_deg)
    return np.array([math.cos(angle), math.sin(angle)])
