"""Sections of drawn parts: four digits, and coordinate files as they are found on the net."""

from __future__ import annotations

import math

from tests.corpus.dice import Dice

SYMMETRIC = ((15, 12), (12, 12), (12, 9), (10, 10), (9, 9), (12, 10), (9, 7), (18, 15))
CAMBERED = (
    (2, 4, 12, 12),
    (2, 4, 15, 12),
    (4, 4, 15, 12),
    (2, 4, 14, 10),
    (4, 4, 12, 9),
    (1, 4, 12, 10),
    (2, 3, 18, 13),
    (4, 4, 18, 15),
    (6, 4, 12, 9),
    (3, 4, 15, 15),
    (1, 4, 8, 6),
)
# NACA report 537: m and k1 of the mean lines 210 to 250
FIVE_DIGITS = {"230": (0.2025, 15.957), "220": (0.1260, 51.640), "240": (0.2900, 6.643)}


def pair(dice: Dice, files: dict[str, bytes], symmetric: bool) -> tuple[object, object]:
    """Sections of root and tip as they are written; coordinate files are put among `files`."""
    sharp = " sharp" if dice.chance(0.2) else ""
    if not symmetric and dice.chance(0.25):
        mean = dice.one(sorted(FIVE_DIGITS))
        root, tip = dice.one(((15, 12), (12, 12), (18, 12)))
        return tuple(_file(dice, files, mean, thick) for thick in (root, tip))  # type: ignore
    if symmetric:
        root, tip = dice.one(SYMMETRIC)
        return f"naca 00{root:02d}{sharp}", f"naca 00{tip:02d}{sharp}"
    camber, at, root, tip = dice.one(CAMBERED)
    return f"naca {camber}{at}{root:02d}{sharp}", f"naca {camber}{at}{tip:02d}{sharp}"


def _file(dice: Dice, files: dict[str, bytes], mean: str, thick: int) -> dict:
    """A five-digit section as a file of coordinates, in either ordering."""
    count = dice.one((25, 41, 61, 81))
    closed = dice.chance(0.5)
    upper, lower = five_digits(mean, thick / 100, count, closed)
    lines = [f"Section {mean}{thick:02d}"]
    if dice.chance(0.5):
        lines += [f" {x:.6f} {y:.6f}" for x, y in [*reversed(upper), *lower[1:]]]
    else:
        lines += [f"{count}. {count}.", "", *(f" {x:.6f} {y:.6f}" for x, y in upper), ""]
        lines += [f" {x:.6f} {y:.6f}" for x, y in lower]
    name = f"sections/s{mean}{thick:02d}.dat"
    files.setdefault(name, ("\n".join(lines) + "\n").encode())
    return {"file": name}


def five_digits(
    mean: str, thick: float, count: int, closed: bool
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Upper and lower points from the nose to the trailing edge, for a chord of 1.

    Source of the formulas: NACA report 537 (mean lines) and 460 (thickness).
    """
    m, k1 = FIVE_DIGITS[mean]
    last = 0.1036 if closed else 0.1015
    upper, lower = [], []
    for n in range(count):
        x = (1 - math.cos(math.pi * n / (count - 1))) / 2
        half = (
            5
            * thick
            * (0.2969 * math.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - last * x**4)
        )
        if x < m:
            rise = k1 / 6 * (x**3 - 3 * m * x**2 + m**2 * (3 - m) * x)
            slope = k1 / 6 * (3 * x**2 - 6 * m * x + m**2 * (3 - m))
        else:
            rise, slope = k1 * m**3 / 6 * (1 - x), -k1 * m**3 / 6
        turn = math.atan(slope)
        upper.append((x - half * math.sin(turn), rise + half * math.cos(turn)))
        lower.append((x + half * math.sin(turn), rise - half * math.cos(turn)))
    return upper, lower
