"""Resin against the areas it wets: what is mixed for a stage is at least what its layers take up.

By stage: every ply its own resin per area, every core its take-up on the mould side where it is
bonded and on the bag side in the stage that lays cloth over it. Cups lose some; what is lost is no
resin in the part. More may be mixed (peel ply, seams, fillets), less may not.
"""

from __future__ import annotations

import re

from plybook.verify.report import Report
from plybook.verify.tolerances import ROUNDING_G

BAG_SIDE = "core, bag side"  # how a cup says that it coats the cores bonded before


def check_resin(plan: dict, report: Report) -> None:
    """The cups of each stage against its plies and cores, all together and by what they are for."""
    materials = plan["materials"]
    pieces = {p["id"]: p for p in plan["pieces"]}
    loss = plan["workshop"]["cup_loss_g"]
    bare = 0.0  # grams that cores with an open bag side still take
    for stage in plan["stages"]:
        least: dict[str, float] = {}
        order: list[str] = []  # layers as they are laid, one for each piece
        for step in stage["steps"]:
            laid = [pieces[n] for n in step["pieces"] if step["lays"] and n in pieces]
            for piece in laid:
                card = materials.get(piece["material"], {})
                area_m2 = piece["area_mm2"] * piece["quantity"] / 1e6
                name = piece["layer"]
                order.append(name)
                if piece["kind"] == "core":
                    taken = card.get("resin_uptake_g_m2", 0.0) * area_m2
                    least[name] = least.get(name, 0.0) + taken
                    bare += taken
                elif piece["kind"] == "ply":
                    least[name] = least.get(name, 0.0) + card.get("resin_g_m2", 0.0) * area_m2
                    least[BAG_SIDE] = least.get(BAG_SIDE, 0.0) + bare
                    bare = 0.0
        cups = [
            (_names(batch["purpose"], order), batch["mass_g"] - loss)
            for batch in plan["quantities"].get("batches", [])
            if batch["stage"] == stage["id"]
        ]
        where = f"stage {stage['id']}"
        _compare(where, sum(least.values()), sum(mass for _, mass in cups), report)
        for names, mixed in _joined(cups):
            _compare(f"{where}, {', '.join(sorted(names))}",
                     sum(least.get(name, 0.0) for name in names), mixed, report)  # fmt: skip


def _compare(where: str, least: float, mixed: float, report: Report) -> None:
    if least:
        report.expect(mixed >= least - ROUNDING_G, "cups of at least what their layers take up",
                      where, f"its cups hold {mixed:.1f} g without their losses, its layers "
                      f"take {least:.1f} g")  # fmt: skip


def _names(purpose: str, order: list[str]) -> set[str]:
    """The layers a cup is for: "A1, A2 and neat coat for C, cup 1 of 2" is for A1, A2 and C; "A1 to
    A9, 9 in order" for all of `order`, what the stage lays, from A1 to A9. A range that ends in no
    layer ("to peel ply") is open there: cups that then share layers are held together.
    """
    if span := re.fullmatch(r"(.*) to (.*), \d+ in order", purpose):
        first, last = (_layer(words) for words in span.groups())
        begin = order.index(first) if first in order else 0
        end = len(order) - order[::-1].index(last) if last in order else len(order)
        return set(order[begin:end])
    words = re.sub(r", cup \d+ of \d+$", "", purpose)
    names = {_layer(part) for part in re.split(r", | and ", words.replace(BAG_SIDE, ""))} - {""}
    return names | {BAG_SIDE} if BAG_SIDE in words else names


def _layer(words: str) -> str:
    return words.removeprefix("neat coat for ")


def _joined(cups: list[tuple[set[str], float]]) -> list[tuple[set[str], float]]:
    """Cups that have a layer in common, together: their layers and their mass."""
    groups: list[tuple[set[str], float]] = []
    for names, mass in cups:
        shared = [g for g in groups if g[0] & names]
        groups = [g for g in groups if not g[0] & names]
        together = names.union(*(g[0] for g in shared))
        groups.append((together, mass + sum(g[1] for g in shared)))
    return groups
