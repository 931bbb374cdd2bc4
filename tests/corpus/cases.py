"""One drawn part: its files by name."""

from __future__ import annotations

from dataclasses import dataclass

from tests.corpus import others, panels, shells, skins, spars
from tests.corpus.dice import Dice
from tests.corpus.parts import INFUSED, STEP_BY_STEP, USUAL, WET_IN_WET, Job
from tests.corpus.shop import Shop
from tests.fuzz.mutate import written

KINDS = {
    "skin": (skins.draw, 10),
    "panel": (panels.draw, 6),
    "spar": (spars.draw, 4),
    "shell": (shells.draw, 1),
    "fin": (others.fin, 2),
    "leading edge": (others.leading_edge, 1),
    "access": (others.access, 1.5),
    "capped": (others.capped, 1),
    "fairing": (others.fairing, 0.7),
    "dome": (others.dome, 0.5),
    "hatch": (others.hatch, 1.5),
}
PART = "part.yaml"


@dataclass(frozen=True)
class Case:
    """An ordinary part.

    Args:
        name: seed and index, `7:12`.
        kind: of `KINDS`.
        files: what is written, by name; `PART` is the spec.
    """

    name: str
    kind: str
    files: dict[str, bytes]


def case(seed: int, index: int) -> Case:
    """The part of an index; the same for ever, whatever else is drawn."""
    dice = Dice(f"corpus {seed}:{index}")
    kind = dice.weighted({name: weight for name, (_, weight) in KINDS.items()})
    way = dice.weighted({USUAL: 4, STEP_BY_STEP: 3, WET_IN_WET: 2, INFUSED: 3})
    job = Job(dice, f"CP-{seed}-{index}", way, Shop(dice, way == INFUSED), {})
    spec = KINDS[kind][0](job)
    files = {PART: written(spec, None), "shop.yaml": written(job.shop.tree(), None), **job.files}
    return Case(f"{seed}:{index}", kind, files)
