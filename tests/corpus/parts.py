"""What parts of every kind have in common: their head, the order of work, laminates, seams."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.corpus.dice import Dice
from tests.corpus.shop import Cloth, Sheet, Shop

BUILDERS = ("I. Maren", "M. Osk", "T. Vell", "R. Adane")
WET_IN_WET, STEP_BY_STEP, INFUSED, USUAL = "wet in wet", "step by step", "infused", "usual"
MIRROR = {
    "[±45]": "[∓45]",
    "[0/90]": "[90/0]",
    "[45/0]": "[0/45]",
    "[45]": "[45]",
    "[0]": "[0]",
    "[±45/0]": "[0/∓45]",
    "[90/±45]": "[∓45/90]",
    "[0/±45/90]": "[90/∓45/0]",
    "[±45]2": "[∓45]2",
}


@dataclass
class Job:
    """A part as it is drawn: dice, shop and the files it needs."""

    dice: Dice
    number: str
    way: str
    shop: Shop
    files: dict[str, bytes]


def head(job: Job, name: str, handed: bool = True) -> dict:
    """The `part` of a spec."""
    dice = job.dice
    made = {"number": job.number, "name": name, "date": "2026-06-01", "units": dice.units}
    if handed and dice.chance(0.5):
        made["hand"] = dice.weighted({"left": 4, "right": 1})
        if dice.chance(0.5):
            made["other_hand"] = f"{job.number}-R" if made["hand"] == "left" else f"{job.number}-L"
    if dice.chance(0.4):
        made["designer"] = dice.one(BUILDERS)
    return made


def skin_code(dice: Dice) -> str:
    """The laminate of one skin of a sandwich."""
    return dice.weighted(
        {"[±45]": 5, "[0/90]": 2, "[45]": 2, "[45/0]": 2, "[±45/0]": 1, "[0]": 0.5, "[90/±45]": 0.5}
    )


def group(job: Job, code: str, name: str, cloth: Cloth, **more: object) -> dict:
    """Plies by their code."""
    made = {"plies": code, "as": name, "cloth": cloth.id, **more}
    if job.dice.chance(0.1):
        made["note"] = "Work it down from the middle outwards."
    return made


def bevel(dice: Dice) -> float:
    """Angle of a core's edge from the sheet in degrees."""
    return dice.weighted({45: 6, 30: 3, 20: 1, 60: 1})


def run_of_bevel_mm(core: Sheet, degrees: float) -> float:
    """How far inwards a bevel reaches."""
    return core.thickness_mm / math.tan(math.radians(degrees))


def stages(job: Job, layers: list[dict]) -> list[dict] | None:
    """The order of work; None where the builder leaves it to the tool."""
    if job.way == USUAL:
        return None
    names = [_name(layer) for layer in layers]
    first = [{"stage": "mould", "kind": "mould_preparation"}]
    last = [{"stage": "demould", "kind": "demould"}, {"stage": "trim", "kind": "trim"}]
    cure = [{"stage": "cure", "kind": "cure"}] if job.dice.chance(0.2) else []
    if job.way == INFUSED:
        laid = [
            {
                "stage": "infuse",
                "kind": "dry_layup",
                "title": "Lay up and infuse",
                "lays": names,
                "resin": "epoxy",
            }
        ]
        return [*first, *laid, *cure, *last]
    if job.way == WET_IN_WET:
        laid = [
            {
                "stage": "lay-up",
                "kind": "wet_laminate",
                "title": "Lay up",
                "lays": names,
                "thickened": "paste",
            }
        ]
        return [*first, *laid, *cure, *last]
    laid: list[dict] = []
    for name, layer in zip(names, layers, strict=True):
        bonded = any(kind in layer for kind in ("core", "insert", "rod"))
        kind = "core_bond" if bonded else "wet_laminate"
        if "film" in layer and laid:
            kind = laid[-1]["kind"]
        if not laid or laid[-1]["kind"] != kind:
            made = {"stage": f"S{len(laid) + 1}", "kind": kind}
            laid.append({**made, **({"thickened": "paste"} if bonded else {}), "lays": []})
        laid[-1]["lays"].append(name)
    return [*first, *laid, *cure, *last]


def _name(layer: dict) -> str:
    return next(
        layer[k] for k in ("ply", "as", "run", "core", "insert", "rod", "film") if k in layer
    )


def finished(job: Job, part: dict) -> dict:
    """A spec in the order its keys are best read, with the order of work."""
    order = stages(job, part["layers"])
    made = {"plybook": 1, "include": ["shop.yaml"], **part}
    if order is not None:
        made["stages"] = order
    if job.dice.chance(0.3):
        made["choices"] = {"core_bevel": "45 deg"}
    return made


def patch(job: Job, at: object, size_mm: tuple[float, float]) -> dict:
    """A rectangle with the round corners of a router."""
    dice = job.dice
    made = {"at": at, "size": [dice.written(side) for side in size_mm]}
    if dice.chance(0.6):
        made["corner"] = dice.written(dice.fine(min(min(size_mm) / 5, 12)))
    return {"patch": made}


def hardpoint(job: Job, name: str, core: str, sheet: Sheet, region: dict) -> dict:
    """A block let into a core."""
    block = job.shop.block(sheet.thickness_mm)
    made = {"insert": name, "block": block.id, "in": core, "region": region}
    if job.dice.chance(0.5):
        made["clearance"] = job.dice.one(("0.5 mm", "0.8 mm", "1 mm"))
    return made


def doublers(job: Job, over: str, stem: str, cloth: Cloth) -> list[dict]:
    """One to three plies over a hardpoint, the largest first."""
    dice = job.dice
    count = dice.weighted({1: 3, 2: 3, 3: 1})
    least, step = dice.one((20, 25, 30)), dice.one((10, 15, 20))
    return [
        {
            "ply": f"{stem}{n + 1}",
            "cloth": cloth.id,
            "angle": dice.one((0, 45, 90)),
            "region": {
                "around": {
                    "layer": over,
                    "by": dice.written(dice.fine(least + step * (count - 1 - n))),
                }
            },
        }
        for n in range(count)
    ]
