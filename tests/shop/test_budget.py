"""The mass of a part and of what goes in and out, against hand arithmetic."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plybook.laminate.model import LayerMass
from plybook.shop import plan_work
from plybook.shop.budget import mass_budget, with_cups
from plybook.shop.job import make_job
from plybook.shop.resin import stage_needs
from tests.shop import parts


def weighed(part, **masses):
    """The budget of a part whose layers weigh (dry, resin) as given."""
    spec, face, lam, plan = part()
    rows = tuple(LayerMass(layer, *grams) for layer, grams in masses.items())
    lam = replace(lam, masses=rows, mass_g=sum(row.total_g for row in rows))
    job, _ = make_job(spec, face, lam, plan)
    return mass_budget(job, {rule.id: stage_needs(job, rule) for rule in job.stages})


def amounts(rows):
    return {row.item: row.amount for row in rows}


def test_a_core_is_bonded_by_its_coats_seam_and_filler():
    """Face 60 and coat 300 g/m2 under two panels of 1.140 x 0.680 m, a seam of 1 x 10 x 680 mm, an
    insert of 198 x 148 mm with its walls; silica 1:1 by volume at 0.05 g/cm3."""
    stays = amounts(weighed(parts.skin).stays)
    area = 2 * 1.14 * 0.68
    insert = (0.198 * 0.148 + 2 * (0.198 + 0.148) * 0.010) * 300.0
    thick = 300.0 * area + 0.1 * 1.0 * 68.0 * 1.15 + insert
    assert stays["Resin of coats, seams and rods"] == pytest.approx(60 * area + thick, abs=0.06)
    assert stays["Filler of thickened resin"] == pytest.approx(thick / 1.15 * 0.05, abs=0.06)


def test_layers_are_counted_by_kind_and_sum_to_the_part():
    budget = weighed(parts.skin, P1=(400.0, 255.5), P2=(400.0, 255.5), C1=(1200.0, 600.0))
    stays = amounts(budget.stays)
    assert stays["Cloth, dry"] == 800.0 and stays["Resin in the cloth"] == 511.0
    assert stays["Core, dry"] == 1200.0
    assert stays["Resin in the open cells of the core"] == 600.0
    assert budget.part_g == pytest.approx(sum(stays.values()))


def test_what_is_cut_beyond_the_net_line_is_kit_and_trimmings():
    """A ply of 2440 x 840 mm on a face of 2400 x 800 mm: 1.92 of 2.0496 m2 stay."""
    budget = weighed(parts.skin, P1=(384.0, 245.33))
    assert budget.kit_g == pytest.approx(384.0 / (1.92 / 2.0496), abs=0.51)
    trimmed = amounts(budget.goes)["Trimmings, with their resin"]
    assert trimmed == pytest.approx((2.0496 / 1.92 - 1) * (384.0 + 245.33), abs=0.51)


def test_the_peel_ply_takes_its_resin_away():
    """100 g/m2 over the plies of 2.440 x 0.840 m of the first stage, and of the two over the core,
    which lie alike."""
    taken = amounts(weighed(parts.skin).goes)["Resin in the peel ply"]
    job, _ = make_job(*parts.skin())
    films = [n.mass_g for rule in job.stages for n in stage_needs(job, rule).values()
             if n.use == "peel_ply"]  # fmt: skip
    assert films[0] == pytest.approx(100.0 * 2.44 * 0.84)
    assert taken == pytest.approx(sum(films), abs=0.51)


def test_what_is_mixed_and_not_put_on_stays_in_the_cups():
    budget = weighed(parts.skin)
    assert with_cups(budget, ()).goes == budget.goes
    shop = plan_work(*parts.skin())
    left = amounts(shop.budget.goes)["Left in the cups"]
    lost = sum(batch.loss_g for batch in shop.batches)
    rounded = lost + 5.0 * len(shop.batches)  # a cup is told to 5 g
    assert lost - 0.51 <= left <= 1.15 * rounded  # whole grams, and the filler with them


def test_an_infusion_leaves_resin_in_mesh_and_lines():
    goes = amounts(weighed(parts.spar).goes)
    assert goes["Resin in the flow mesh"] == pytest.approx(350.0 * 3.04 * 0.24, abs=0.06)
    assert goes["Resin in lines and trap, and the margin"] > 100.0
