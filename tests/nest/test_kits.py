"""Kits: what comes off a roll together, and what each way of sorting pieces takes.

Lengths of full and half widths are worked out by hand; outlines are placed by shapely.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import affinity

from plybook.nest import plan_cuts
from plybook.nest.check import check_plan
from plybook.nest.memory import LayoutMemory
from plybook.spec.model import NestRules
from tests.nest.makers import box, cloth, job, piece, roll

SHORT = 1.0
GAP = 3.0


def parts(kits, stock=None):
    """A left and a right part, each with a piece of half the roll's width in either of two stages:
    two of 600 mm lie side by side on 1250 mm."""
    made = []
    for number, hand in (("L", "left"), ("R", "right")):
        own = [replace(piece(name, box(1000.0, 600.0), "twill"), stage=stage)
               for name, stage in (("A", "outer"), ("B", "inner"))]  # fmt: skip
        one = job(own, stock or [roll()], rules=NestRules(kits=kits, knife_gap_mm=GAP))
        part = replace(one.spec.part, number=number, hand=hand)
        made.append(replace(one, spec=replace(one.spec, part=part)))
    return made


def spans(plan, layout):
    """From and to of each kit along a roll."""
    items = {item.id: item for item in plan.items}
    found = {}
    for p in layout.placements:
        shape = shapely.Polygon(items[p.item].outline_mm)
        shape = affinity.rotate(shape, p.rotation_deg, origin=(0, 0))
        low, _, high, _ = affinity.translate(shape, p.x_mm, p.y_mm).bounds
        start, end = found.get(items[p.item].group, (np.inf, -np.inf))
        found[items[p.item].group] = min(start, low), max(end, high)
    return found


@pytest.mark.parametrize(
    ("way", "kits"),
    [
        ("by part", ["L", "R"]),
        ("by stage", ["L outer", "L inner", "R outer", "R inner"]),
        ("by hand", ["the left hand", "the right hand"]),
    ],
)
def test_kits_come_off_the_roll_one_after_another(way, kits):
    plan = plan_cuts(parts(way), seconds=SHORT)
    found = spans(plan, plan.layouts[0])
    assert sorted(found, key=found.__getitem__) == kits
    ends = sorted(found.values())
    assert all(b[0] - a[1] >= GAP - 1e-3 for a, b in zip(ends, ends[1:], strict=False))


def test_each_way_tells_what_it_takes():
    """Two stages of 1 m, side by side where they may: 2 m and a gap by part or by hand; each
    piece by itself by stage, 4 m and three gaps."""
    plan = plan_cuts(parts("by part"), seconds=SHORT)
    told = {way.way: (way.kits, way.lengths_mm[0][1], way.chosen) for way in plan.kits}
    assert told["tightest"][::2] == (0, False)
    assert told["by part"] == (2, pytest.approx(2 * 1000 + GAP, abs=0.01), True)
    assert told["by hand"] == (2, pytest.approx(2 * 1000 + GAP, abs=0.01), False)
    assert told["by stage"] == (4, pytest.approx(4 * 1000 + 3 * GAP, abs=0.01), False)
    assert told["tightest"][1] == pytest.approx(2 * 1000 + GAP, abs=0.01)


@pytest.mark.parametrize("way", ["tightest", "by part", "by stage"])
def test_what_is_told_does_not_depend_on_the_way_that_is_chosen(way):
    plan = plan_cuts(parts(way), seconds=SHORT)
    assert [round(w.lengths_mm[0][1], 1) for w in plan.kits] == [2003.0, 2003.0, 4009.0, 2003.0]
    assert [w.way for w in plan.kits if w.chosen] == [way]
    assert plan.layouts[0].used_length_mm == pytest.approx(
        next(w.lengths_mm[0][1] for w in plan.kits if w.chosen)
    )


def test_a_way_that_the_stock_is_short_for_is_told_without_a_length():
    stock = [roll("R1", 2500.0)]
    plan = plan_cuts(parts("by part", stock), seconds=SHORT)
    assert [w.lengths_mm[0][1] is None for w in plan.kits] == [False, False, True, False]


def test_nothing_is_searched_where_nothing_is_said_of_kits():
    memory = LayoutMemory()
    plan = plan_cuts(parts(""), seconds=SHORT, memory=memory)
    assert plan.kits == () and len(memory) == 1


def test_the_tightest_way_is_the_plan_without_kits():
    """What is remembered for one serves the other."""
    memory = LayoutMemory()
    plain = plan_cuts(parts(""), seconds=SHORT, memory=memory)
    tight = plan_cuts(parts("tightest"), seconds=SHORT, memory=memory)
    assert tight.layouts[0].remembered
    assert tight.layouts[0].placements == plain.layouts[0].placements


# ---------------------------------------------------------------- both hands at once

SLANTED = np.array([(0.0, 0.0), (900.0, 50.0), (700.0, 500.0), (100.0, 400.0)])


def pair(way="by part", stock=None, left=SLANTED, **weave):
    """A part and its opposite hand: y and angles negated."""
    kinds = {"faces_alike": True, "axes_alike": True} | weave
    made = []
    for hand, (number, other) in {"left": ("L", "R"), "right": ("R", "L")}.items():
        sign = 1.0 if hand == "left" else -1.0
        rings = [left, SLANTED * (0.8, 0.7)]
        own = [
            piece(name, (ring * (1.0, sign))[:: int(sign)], "twill", angle_deg=sign * angle)
            for name, ring, angle in zip("AB", rings, (30.0, 0.0), strict=True)
        ]
        rules = NestRules(kits=way, knife_gap_mm=GAP)
        one = job(own, stock or [roll()], rules=rules, cloths=(cloth(**kinds),))
        part = replace(one.spec.part, number=number, hand=hand, other_hand=other)
        made.append(replace(one, spec=replace(one.spec, part=part)))
    return made


def shapes(plan, number):
    items = {item.id: item for item in plan.items}
    found = {}
    for p in plan.layouts[0].placements:
        part, name = p.item.split("/")
        if part == number:
            shape = affinity.rotate(shapely.Polygon(items[p.item].outline_mm), p.rotation_deg,
                                    origin=(0, 0))  # fmt: skip
            found[name] = affinity.translate(shape, p.x_mm, p.y_mm)
    return found


@pytest.mark.parametrize("way", ["by part", "by stage", "by hand"])
def test_the_opposite_hand_lies_as_an_image_about_a_whole_millimetre(way):
    """Turned over by shapely about the line, each piece of one hand covers its own of the other."""
    plan = plan_cuts(pair(way), seconds=SHORT)
    (fold,) = plan.folds
    assert (fold.stock, fold.refused, fold.at_mm % 1.0) == ("R1", "", 0.0)
    for name, shape in shapes(plan, "L").items():
        turned = affinity.scale(shape, -1, 1, origin=(fold.at_mm, 0))
        other = shapes(plan, "R")[name]
        assert turned.symmetric_difference(other).area < 1.0  # of 150000 mm2 and more
        assert shape.bounds[2] < fold.at_mm - GAP / 2 + 1e-3
    assert check_plan(plan.layouts, plan.items) == ()


@pytest.mark.parametrize(
    ("weave", "why"),
    [({"faces_alike": False}, "its faces differ"), ({"axes_alike": False}, "its warp and weft")],
)
def test_cloth_that_is_not_folded_is_told_with_the_reason(weave, why):
    (fold,) = plan_cuts(pair(**weave), seconds=SHORT).folds
    assert fold.refused.startswith(why)


def test_nothing_is_folded_without_kits_or_where_a_piece_differs():
    assert plan_cuts(pair("tightest"), seconds=SHORT).folds == ()
    left, right = pair()
    other = replace(right.pieces[0], outline_mm=right.pieces[0].outline_mm * (1.001, 1.0))
    unlike = replace(right, pieces=(other, right.pieces[1]))
    assert plan_cuts([left, unlike], seconds=SHORT).folds == ()


def test_a_roll_too_short_for_the_image_is_laid_as_ever():
    """Left and right with the pieces of both take less length than image beside image."""
    plan = plan_cuts(pair(stock=[roll("R1", 1500.0), roll("R2", 9000.0)]), seconds=SHORT)
    assert check_plan(plan.layouts, plan.items) == ()
    assert sum(len(x.placements) for x in plan.layouts) == 4
