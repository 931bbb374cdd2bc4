"""What the bags take off their rolls, worked by hand and held against shapely."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from plybook.shop import plan_work
from plybook.shop.bagrolls import bag_rolls
from plybook.shop.job import make_job
from plybook.shop.model import BagCut
from tests.shop import parts


def bag_cut(count, length, width):
    return BagCut("bag_film", "film", count, length, width, count * length * width / 1e6, "m2", "")


def rolled(cuts, width, length=0.0):
    """Rolls for cuts of a bag each, off a roll of a width and a length."""
    film = replace(parts.PEEL, role="bag_film", roll_width_mm=width, roll_length_mm=length)
    materials = replace(parts.MATERIALS, consumables={"film": film})
    spec, face, lam, plan = parts.skin(materials=materials)
    job = make_job(spec, face, lam, plan)[0]
    bag = plan_work(spec, face, lam, plan).bags[0]
    return bag_rolls(
        job, [replace(bag, stage=f"s{n}", cuts=(cut,)) for n, cut in enumerate(cuts)]
    )


@pytest.mark.parametrize(
    ("cuts", "width", "metres"),
    [
        # three bags of 5320 x 1660 one behind the other; by area they would seem to take 13.2 m
        ([bag_cut(3, 5320.0, 1660.0)], 2000.0, 3 * 5.32),
        # two widths of 700 lie side by side on 1500
        ([bag_cut(2, 4000.0, 700.0)], 1500.0, 4.0),
        # the same the other way round: what is longer than the roll is wide lies along it
        ([bag_cut(2, 700.0, 4000.0)], 1500.0, 4.0),
        ([bag_cut(1, 1200.0, 900.0), bag_cut(1, 1200.0, 600.0)], 1500.0, 1.2),
        # whole widths behind one another, the three strips that are left beside each other
        ([bag_cut(3, 5000.0, 2000.0), bag_cut(3, 5000.0, 650.0)], 2000.0, 4 * 5.0),
    ],
)
def test_a_roll_is_as_long_as_its_cuts_by_hand(cuts, width, metres):
    (roll,) = rolled(cuts, width)
    assert roll.used_mm / 1000 == pytest.approx(metres, abs=0.01)
    boxes = [shapely.box(c.x_mm, c.y_mm, c.x_mm + c.along_mm, c.y_mm + c.across_mm)
             for c in roll.cuts]  # fmt: skip
    area = sum(c.count * c.length_mm * c.width_mm for c in cuts)
    assert shapely.union_all(boxes).area == pytest.approx(area)  # none lies over another
    assert shapely.box(0, 0, roll.used_mm, width).buffer(1e-6).contains(shapely.union_all(boxes))
    sides = sorted((min(c.along_mm, c.across_mm), max(c.along_mm, c.across_mm)) for c in roll.cuts)
    assert sides == sorted(
        (min(c.length_mm, c.width_mm), max(c.length_mm, c.width_mm))
        for c in cuts for _ in range(c.count)
    )  # fmt: skip


def test_a_roll_that_is_too_short_for_all_holds_whole_stages():
    """Three stages of 6 m each off rolls of 13 m: two on the first, one on the second."""
    rolls = rolled([bag_cut(1, 6000.0, 1200.0)] * 3, 1500.0, 13_000.0)
    assert [[c.stage for c in roll.cuts] for roll in rolls] == [["s0", "s1"], ["s2"]]
    assert [roll.used_mm for roll in rolls] == [12_000.0, 6_000.0]


def test_what_has_no_roll_width_is_bought_by_area():
    spec, face, lam, plan = parts.skin(materials=replace(parts.MATERIALS, consumables={}))
    shop = plan_work(spec, face, lam, plan)
    assert shop.bag_rolls == ()
    assert {q.unit for q in shop.quantities if q.group == "buy" and q.item == "Bag film"} == {"m2"}


def test_a_tape_is_no_roll_for_a_bag():
    """2720 mm of bag film off a 12 mm roll would be hundreds of widths: it is bought by area."""
    film = replace(parts.PEEL, name="Film", role="bag_film", roll_width_mm=12.0)
    materials = replace(parts.MATERIALS, consumables={"film": film})
    shop = plan_work(*parts.skin(materials=materials))
    assert "bag_film" not in {roll.role for roll in shop.bag_rolls}
    (row,) = (q for q in shop.quantities if (q.group, q.item) == ("buy", "Film"))
    cuts = [c for bag in shop.bags for c in bag.cuts if c.role == "bag_film"]
    assert row.unit == "m2"
    assert row.amount == pytest.approx(sum(c.amount for c in cuts), abs=0.006)
    steps = [step for stage in shop.stages for step in stage.steps if step.name == "cut_bag"]
    assert steps and not any("Under the bags" in text for step in steps for text in step.text)


def test_more_cuts_than_a_list_is_for_are_bought_by_area():
    assert rolled([bag_cut(300, 500.0, 400.0), bag_cut(101, 500.0, 400.0)], 1500.0) == ()
    (roll,) = rolled([bag_cut(300, 500.0, 400.0), bag_cut(100, 500.0, 400.0)], 1500.0)
    assert len(roll.cuts) == 400


def test_to_buy_is_the_length_of_the_rolls():
    """To the tenth of a metre above, for each thing that comes off a roll."""
    shop = plan_work(*parts.skin())
    assert shop.bag_rolls
    for roll in shop.bag_rolls:
        (row,) = (q for q in shop.quantities if (q.group, q.item) == ("buy", roll.name))
        assert row.unit == "m" and 0.0 <= row.amount - roll.used_mm / 1000 < 0.1
