"""A seeded dice that draws figures the way a builder writes them.

Every length is drawn in mm, rounded to what a person would write in the unit of the part (whole
millimetres, fives and tens; eighths and sixteenths of an inch), and kept in mm, so that sums and
comparisons are exact. `written` gives the bare number for the file.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from fractions import Fraction
from typing import TypeVar

INCH = 25.4
Drawn = TypeVar("Drawn")


class Dice(random.Random):
    """A dice for one part.

    Args:
        seed: says all that is drawn.
    """

    def __init__(self, seed: str) -> None:
        super().__init__(seed)
        self.inches = self.random() < 0.2

    @property
    def units(self) -> str:
        return "in" if self.inches else "mm"

    def chance(self, share: float) -> bool:
        return self.random() < share

    def weighted(self, weights: dict[Drawn, float]) -> Drawn:
        """One of the keys, as often as its weight says."""
        return self.choices(list(weights), list(weights.values()))[0]

    def between(self, low_mm: float, high_mm: float) -> float:
        """A length between two, as it would be written; mm."""
        return self.rounded(self.uniform(low_mm, high_mm))

    def rounded(self, mm: float) -> float:
        """The nearest length that a person would write; mm."""
        if self.inches:
            step = INCH * (1 / 16 if mm < 40 else 1 / 8 if mm < 150 else 1 / 4 if mm < 600 else 1)
        else:
            step = 1 if mm < 40 else 5 if mm < 400 else 10
        return round(mm / step) * step

    def fine(self, mm: float) -> float:
        """The same to the millimetre or the sixteenth of an inch, as a drawing gives it; mm."""
        step = INCH / 16 if self.inches else 1
        return round(mm / step) * step

    def written(self, mm: float) -> float | int | str:
        """The bare number in the unit of the part; a fraction of an inch now and then."""
        value = self.number(mm)
        sixteenths = value * 16
        if self.inches and value > 0 and value % 1 and sixteenths % 1 == 0 and self.chance(0.4):
            whole, rest = divmod(Fraction(int(sixteenths), 16), 1)
            return f"{whole} {rest}" if whole else f"{rest}"
        return value

    def number(self, mm: float) -> float | int:
        """The same as a plain number, for what is reckoned with again."""
        value = round(mm / INCH, 5) if self.inches else round(mm, 4)
        return int(value) if float(value).is_integer() else value

    def one(self, these: Sequence[Drawn]) -> Drawn:
        return self.choice(these)


def angle(value: float) -> str | float | int:
    """An angle as it is written: `45 deg`, `-1.5`."""
    return int(value) if float(value).is_integer() else round(value, 2)
