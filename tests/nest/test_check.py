"""The checker must see every kind of wrong layout; each is made wrong on purpose."""

from dataclasses import replace

import numpy as np
import pytest

from plybook.nest.check import check_layout, check_plan
from plybook.nest.model import Item, Layout, Placement, Unit
from tests.nest.makers import box

PLATE = Item("plate", box(100.0, 50.0), 2, (0.0, 180.0))
STRIP = Item("strip", box(200.0, 20.0), 1, (0.0, 90.0), may_flip=True, flipped_rotations_deg=(0.0,))
ITEMS = (PLATE, STRIP)
ROLL = Unit("R", "roll", "cloth", 1000.0, 120.0)
GOOD = Layout(
    ROLL,
    (
        Placement("plate", 1, 0.0, 0.0, 0.0),
        Placement("plate", 2, 203.0, 50.0, 180.0),
        Placement("strip", 1, 0.0, 53.0, 0.0),
    ),
    used_length_mm=203.0,
    bound_mm=0.0,
    utilisation=0.0,
    gap_mm=3.0,
)


def moved(copy_of: int, **changes) -> Layout:
    placements = list(GOOD.placements)
    placements[copy_of] = replace(placements[copy_of], **changes)
    return replace(GOOD, placements=tuple(placements))


def test_a_sound_layout_has_no_problems():
    assert check_plan([GOOD], ITEMS) == ()


@pytest.mark.parametrize(
    "layout, words",
    [
        (moved(0, x_mm=-0.002), "not inside"),
        (moved(0, y_mm=-0.002), "not inside"),
        (moved(2, y_mm=100.5), "not inside"),
        (moved(2, x_mm=900.0), "not inside"),
        (replace(GOOD, used_length_mm=202.9), "beyond"),
        (moved(1, x_mm=202.998), "2.9980 mm apart"),
        (moved(1, x_mm=150.0), "overlap by"),
        (moved(0, rotation_deg=90.0), "turned 90 deg"),
        (moved(0, rotation_deg=0.001), "turned 0.001 deg"),
        (moved(0, flipped=True), "face down"),
        (moved(2, flipped=True, rotation_deg=90.0), "turned 90 deg"),
        (moved(0, x_mm=float("nan")), "no finite place"),
        (moved(0, item="other"), "not an item"),
        (moved(1, copy=1, x_mm=203.0), "placed 2 times"),
    ],
)
def test_a_layout_made_wrong_is_seen(layout, words):
    assert any(words in problem for problem in check_layout(layout, ITEMS)), words


def test_tolerance_is_a_thousandth_of_a_millimetre():
    assert check_layout(moved(1, x_mm=202.9995), ITEMS) == ()
    assert check_layout(moved(0, x_mm=-0.0009), ITEMS) == ()


def test_without_a_gap_touching_is_fine_and_overlap_is_not():
    touching = replace(moved(2, y_mm=50.0), gap_mm=0.0)
    assert check_layout(touching, ITEMS) == ()
    assert check_layout(replace(moved(2, y_mm=49.995), gap_mm=0.0), ITEMS) != ()


def test_one_inside_another_is_an_overlap():
    small = Item("small", box(10.0, 10.0), 1, None)
    layout = replace(GOOD, placements=(*GOOD.placements, Placement("small", 1, 20.0, 20.0, 0.0)))
    assert any("overlap" in p for p in check_layout(layout, (*ITEMS, small)))


def test_demand_is_met_exactly():
    less = replace(GOOD, placements=GOOD.placements[:2])
    assert check_plan([less], ITEMS) == ("strip copy 1 is not placed",)
    more = (*ITEMS[:1], replace(STRIP, demand=2))
    assert check_plan([GOOD], more) == ("strip copy 2 is not placed",)
    assert "not wanted" in check_plan([GOOD], (replace(PLATE, demand=1), STRIP))[0]


def test_the_same_copy_on_two_units_is_seen():
    other = replace(GOOD, unit=replace(ROLL, id="R2"), placements=GOOD.placements[:1])
    assert any("placed 2 times" in p for p in check_plan([GOOD, other], ITEMS))


def test_one_unit_cannot_be_used_twice():
    half = replace(GOOD, placements=GOOD.placements[:1])
    rest = replace(GOOD, placements=GOOD.placements[1:])
    assert "R is used 2 times" in check_plan([half, rest], ITEMS)


def test_bad_zone_is_kept_free():
    spoiled = replace(ROLL, bad_zones_mm=(box(10.0, 10.0) + (90.0, 40.0),))
    problems = check_layout(replace(GOOD, unit=spoiled), ITEMS)
    assert problems == ("plate copy 1 lies over a bad zone of R",)
    beside = replace(ROLL, bad_zones_mm=(box(2.9, 40.0) + (100.0, 0.0),))
    assert check_layout(replace(GOOD, unit=beside), ITEMS) == ()


def test_remnant_outline_is_kept():
    corner_gone = np.array([(0, 0), (1000, 0), (1000, 120), (60, 120), (0, 60)], dtype=float)
    remnant = replace(ROLL, outline_mm=corner_gone)
    problems = check_layout(replace(GOOD, unit=remnant), ITEMS)
    assert problems == ("strip copy 1 is not inside R",)


def test_flipped_piece_is_mirrored_before_it_is_turned():
    """Mirror in y, turn, move: a flag turned 90 face down lies at x 0..10, y 0..30."""
    flag = Item("flag", np.array([(0, 0), (30, 0), (0, 10.0)]), 1, None, may_flip=True)
    wide = Unit("W", "sheet", "foam", 10.0, 30.0)
    layout = Layout(wide, (Placement("flag", 1, 0.0, 0.0, 90.0, True),), 10.0, 0.0, 0.0)
    assert check_layout(layout, (flag,)) == ()
    assert check_layout(replace(layout, placements=(replace(layout.placements[0], flipped=False),)),
                        (flag,)) != ()  # fmt: skip


def test_a_thousand_pieces_are_all_looked_at():
    tile = Item("tile", box(10.0, 10.0), 1000, (0.0,))
    places = [
        Placement("tile", 1 + 50 * i + j, 12.0 * i, 12.0 * j, 0.0)
        for i in range(20)
        for j in range(50)
    ]
    unit = Unit("S", "sheet", "foam", 1000.0, 1000.0)
    layout = Layout(unit, tuple(places), 1000.0, 0.0, 0.0, gap_mm=2.0)
    assert check_plan([layout], (tile,)) == ()
    places[777] = replace(places[777], x_mm=places[777].x_mm + 0.01)
    assert len(check_layout(replace(layout, placements=tuple(places)), (tile,))) == 1
