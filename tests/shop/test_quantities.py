"""Quantities worked by hand on the sandwich skin."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from plybook.nest.model import CutPlan, Item, Placement
from plybook.shop import plan_work
from tests.shop import parts


@pytest.fixture(scope="module")
def shop():
    return plan_work(*parts.skin())


def row(shop, group, item, unit):
    return next(q for q in shop.quantities if (q.group, q.item, q.unit) == (group, item, unit))


def test_cloth_area_and_length(shop):
    """Four plies of 2.44 x 0.84 m; the row laid end to end is their lengths and 3 mm gaps."""
    area = 4 * 2.44 * 0.84
    assert row(shop, "cloth", "Carbon twill 200", "m2").amount == pytest.approx(area, abs=1e-3)
    length = row(shop, "cloth", "Carbon twill 200", "m")
    metres = 3 * 2.440 + 1.220 + 1.220 + 5 * 0.003
    assert length.amount == pytest.approx(metres, abs=1e-3)
    waste = 100 * (1 - area / (metres * 1.250))
    assert f"{waste:.0f} % waste" in length.detail
    assert length.price == pytest.approx(metres * 40.0, abs=0.01)


def test_a_shared_roll_is_charged_by_area():
    """Another part takes half the area off the roll: half the length is ours, and it is said."""
    spec, face, lam, plan = parts.hatch()
    layout = plan.layouts[0]
    ring = np.array([[0, 0], [600, 0], [600, 430], [0, 430]], dtype=float)
    others = [Placement(f"XX-9/{n}", 1, 0, 0, 0.0) for n in "AB"]
    items = [Item(p.item, ring, 1, (0.0,)) for p in others]
    shared = replace(layout, placements=(*layout.placements, *others), used_length_mm=3000.0)
    plan = CutPlan((shared,), (*plan.items, *items), ())
    shop = plan_work(spec, face, lam, plan)
    length = row(shop, "cloth", "Glass plain 163", "m")
    assert length.amount == pytest.approx(1.5)
    assert "shared with XX-9" in length.detail


def test_resin_by_stage_is_the_sum_of_its_cups(shop):
    """Neat and thickened resin of each stage, as mixed."""
    for stage in ("skin", "core", "cover"):
        mixed = sum(b.mass_g for b in shop.batches if b.stage == stage)
        booked = sum(q.amount for q in shop.quantities if q.group == "resin" and q.stage == stage)
        assert booked == pytest.approx(mixed, abs=0.11)


def test_purchase_of_resin_is_the_sum_of_the_parts(shop):
    """Resin and hardener to buy cover every cup, rounded up to 10 g."""
    for part in ("resin", "hardener"):
        grams = sum(dict(b.parts)[part] for b in shop.batches)
        bought = row(shop, "buy", f"Lark slow epoxy, {part}", "kg").amount
        assert 0 <= bought * 1000 - grams < 10.0


def test_rods_are_counted_with_all_copies():
    """Four rods of 3 m are 12 m."""
    shop = plan_work(*parts.spar())
    assert row(shop, "rod", "Carbon strip 10 x 3", "m").amount == pytest.approx(12.0)


def test_consumables_are_booked_by_stage(shop):
    """Each bag's cuts appear once, under their stage."""
    for bag in shop.bags:
        booked = [q for q in shop.quantities if q.group == "consumable" and q.stage == bag.stage]
        assert [q.amount for q in booked] == [round(c.amount, 3) for c in bag.cuts]


def test_rows_go_into_a_table(shop):
    """Every row is plain text and finite numbers, one line of a CSV."""
    out = io.StringIO()
    writer = csv.writer(out)
    for q in shop.quantities:
        assert np.isfinite([q.amount, q.price]).all() and q.amount >= 0 or q.group == "mass"
        assert "\n" not in q.item + q.detail
        writer.writerow([q.group, q.item, q.amount, q.unit, q.detail, q.stage, q.price])
    assert len(out.getvalue().splitlines()) == len(shop.quantities)


def test_kits_name_every_piece_once(shop):
    """The kits of all stages together hold each piece of the part once, in laying order."""
    _, _, lam, _ = parts.skin()
    named = [id for kit in shop.kits for id, _, _ in kit.pieces]
    assert named == [p for layer in lam.layers for p in layer.pieces]
    core = next(kit for kit in shop.kits if kit.stage == "core")
    assert any("Release film" in line for line in core.consumables)
    assert any(line.startswith("fumed silica") for line in core.resin)
    assert core.tools and len(core.tools) == len(set(core.tools))
