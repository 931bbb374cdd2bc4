"""Resin against the areas it wets: what is mixed for a stage is at least what its layers take up.

By stage: every ply its own resin per area, every core its take-up on the mould side where it is
bonded and on the bag side in the stage that lays cloth over it. Cups lose some; what is lost is no
resin in the part. More may be mixed (peel ply, seams, fillets), less may not.
"""

from __future__ import annotations

from plybook.verify.report import Report

ROUNDING_G = 0.5  # of grams and of areas, over a stage


def check_resin(plan: dict, report: Report) -> None:
    """The cups of each stage against its plies and cores."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    materials = plan["materials"]
    loss = plan["workshop"]["cup_loss_g"]
    mixed: dict[str, float] = {}
    for batch in plan["quantities"].get("batches", []):
        mixed[batch["stage"]] = mixed.get(batch["stage"], 0.0) + batch["mass_g"] - loss
    bare = 0.0  # grams that cores with an open bag side still take
    for stage in plan["stages"]:
        least = 0.0
        for step in stage["steps"]:
            for name in step["pieces"] if step["lays"] else ():
                piece = pieces.get(name)
                if piece is None:
                    continue
                card = materials.get(piece["material"], {})
                area_m2 = piece["area_mm2"] * piece["quantity"] / 1e6
                if piece["kind"] == "core":
                    least += card.get("resin_uptake_g_m2", 0.0) * area_m2
                    bare += card.get("resin_uptake_g_m2", 0.0) * area_m2
                elif piece["kind"] == "ply":
                    least += card.get("resin_g_m2", 0.0) * area_m2 + bare
                    bare = 0.0
        if least:
            report.expect(mixed.get(stage["id"], 0.0) >= least - ROUNDING_G,
                          "stages mixed at least what their layers take up",
                          f"stage {stage['id']}",
                          f"its cups hold {mixed.get(stage['id'], 0.0):.1f} g without their "
                          f"losses, its layers take {least:.1f} g")  # fmt: skip
