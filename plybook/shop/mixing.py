"""Cups: parts by mass that sum exactly, and needs gathered into cups that can be used in time.

Terms:
    need: resin one step wants, with the time it takes to put on.
    cup: one batch; what is mixed at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from plybook.shop.standard import figure
from plybook.spec.model import Resin

LARGE_G, ROUND_G = 100.0, 5  # a cup of so much or more is told to so many grams


@dataclass(frozen=True)
class Need:
    """Resin for one step: `use` names the step's need, `layer` the layer ("" for none)."""

    use: str
    layer: str
    what: str  # said on the cup: "P1", "neat coat" ...
    mass_g: float  # resin and hardener, without filler
    area_m2: float
    seconds: float  # to put it on, at the builder's rate
    thick: bool = False
    bond_g: float = 0.0  # of it, what stays in the part beside what the layers take up


@dataclass(frozen=True)
class Cup:
    """A cup and the shares of the needs it serves: (need, share 0..1, which of how many)."""

    mass_g: float
    shares: tuple[tuple[Need, float, int, int], ...]
    seconds: float

    @property
    def thick(self) -> bool:
        return self.shares[0][0].thick


def share_out(total: int, ratios: Sequence[float]) -> tuple[int, ...]:
    """Split a whole number by ratios so that the parts are whole and sum exactly to it.

    Largest-remainder (Hamilton) rounding; on a tie the earlier part gets the unit.

    Args:
        total: >= 0, in units of the scale (1 g or 0.1 g).
        ratios: >= 0, not all zero.

    Returns:
        One whole number per ratio; each within one unit of its exact share.
    """
    whole = math.fsum(ratios)
    if total < 0 or whole <= 0 or min(ratios) < 0:
        raise ValueError("a total and ratios that are not negative, and not all zero")
    exact = [total * ratio / whole for ratio in ratios]
    parts = [math.floor(value) for value in exact]
    order = sorted(range(len(parts)), key=lambda n: (parts[n] - exact[n], n))
    missing = total - sum(parts)
    for n in range(missing):
        parts[order[n % len(parts)]] += 1
    if missing < 0:  # binary dust pushed a floor above its share
        for n in range(-missing):
            parts[order[-1 - n % len(parts)]] -= 1
    return tuple(parts)


def mix(resin: Resin, mass_g: float) -> tuple[float, tuple[tuple[str, float], ...], int]:
    """Mass of a cup as weighed, its parts, and the decimals of the scale.

    The whole is rounded up, from 100 g on to 5 g. Of the parts, whole grams where rounding by half
    a gram stays within the mixing accuracy of the smallest part (0.5 %), else tenths.

    Returns:
        (mass, ((component, grams), ...), decimals); the parts sum exactly to the mass.
    """
    ratios = [part for _, part in resin.parts]
    smallest = min(ratios) / math.fsum(ratios) * mass_g
    decimals = 0 if figure("mix_accuracy") / 100 * smallest >= 0.5 else 1
    scale = 10**decimals
    step = ROUND_G * scale if mass_g >= LARGE_G else 1
    total = math.ceil(round(mass_g * scale / step, 6)) * step
    parts = share_out(total, ratios)
    grams = tuple((name, part / scale) for (name, _), part in zip(resin.parts, parts, strict=True))
    return total / scale, grams, decimals


def largest_cup_g(resin: Resin) -> float:
    """The largest cup as weighed: the resin's largest safe batch rounded down."""
    step = ROUND_G if resin.largest_batch_g >= LARGE_G else 1
    return float(math.floor(resin.largest_batch_g / step) * step)


def least_cup_g(resin: Resin) -> float:
    """Smallest cup whose smallest part can be weighed to 0.5 % on a scale of 0.1 g."""
    ratios = [part for _, part in resin.parts]
    return 0.05 / (figure("mix_accuracy") / 100) / (min(ratios) / math.fsum(ratios))


def pot_life_s(resin: Resin, room_c: float) -> float:
    """Pot life at a room temperature, an estimate from the card.

    Halves for every 10 degC (resin makers' notes: factor 1.5 to 2.5); above 32 degC never more
    than half the stated life (TM 1-1500-204-23-11).
    """
    life = resin.pot_life_s * 2 ** ((resin.pot_life_at_c - room_c) / figure("pot_life_halves"))
    hot = figure("hot_room")
    if room_c > hot >= resin.pot_life_at_c:
        life = min(life, resin.pot_life_s / 2)
    return life


def fill_cups(needs: Sequence[Need], most_g: float, usable_s: float) -> tuple[Cup, ...]:
    """Gather needs, in the order they come, into cups.

    Consecutive small needs share a cup; a need too large for one cup (in mass or in time) is
    split into equal cups of its own. Neat and thickened resin never share.

    Args:
        most_g: most resin in a cup, what stays in the cup already taken off.
        usable_s: longest time a cup may take to put on, mixing already taken off.
    """
    cups: list[Cup] = []
    held: list[Need] = []

    def close() -> None:
        if held:
            mass = math.fsum(need.mass_g for need in held)
            seconds = math.fsum(need.seconds for need in held)
            cups.append(Cup(mass, tuple((need, 1.0, 1, 1) for need in held), seconds))
            held.clear()

    for need in needs:
        if need.mass_g <= 0:
            continue
        count = max(_times(need.mass_g, most_g), _times(need.seconds, usable_s))
        if count > 1:
            close()
            for n in range(count):
                shares = ((need, 1 / count, n + 1, count),)
                cups.append(Cup(need.mass_g / count, shares, need.seconds / count))
            continue
        mass = math.fsum([*(other.mass_g for other in held), need.mass_g])
        seconds = math.fsum([*(other.seconds for other in held), need.seconds])
        if held and (held[0].thick != need.thick or mass > most_g or seconds > usable_s):
            close()
        held.append(need)
    close()
    return tuple(cups)


def _times(amount: float, most: float) -> int:
    return max(1, math.ceil(amount / most - 1e-9)) if most > 0 else 1
