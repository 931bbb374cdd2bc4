"""Panels on sheets: proved, never more than bounding boxes take, remnants and bad zones kept."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.nest.bound import sheet_bound
from plybook.nest.boxes import boxes_on_sheets
from plybook.nest.budget import Budget
from plybook.nest.check import check_plan
from plybook.nest.laying import copies_of, helpful_rotations
from plybook.nest.model import Item, Layout, Unit
from plybook.nest.placing import turn_ring
from plybook.nest.sheets import pack_sheets
from plybook.nest.squeeze import squeeze_together
from tests.bench.data.sets import panels
from tests.nest.makers import box, slanted

SHEET = (2438.4, 1219.2)


def sheets(count, **changes):
    return [Unit(f"S-{k}", "sheet", "foam", *SHEET, bought=True, **changes) for k in range(count)]


def layouts_of(filled, gap=3.0):
    return [Layout(f.unit, f.placements, f.unit.length_mm, 0.0, 0.0, gap_mm=gap) for f in filled]


def items_of(rings, rotations=None):
    return [Item(f"p{k}", ring, 1, rotations) for k, ring in enumerate(rings)]


@settings(max_examples=8, deadline=None)
@given(st.integers(2, 9), st.integers(0, 1000), st.sampled_from((0.0, 3.0)))
def test_a_first_plan_is_proved_and_takes_no_more_sheets_than_boxes(count, seed, gap):
    rings = panels(count, seed)
    items = items_of(rings)
    filled, left = pack_sheets(items, sheets(count), gap, Budget(0.0))
    assert not left
    assert check_plan(layouts_of(filled, gap), items) == ()
    boxed, over = boxes_on_sheets(copies_of(items), sheets(count), gap)
    assert not over and len(filled) <= len(boxed)
    assert len(filled) >= sheet_bound(rings, [1] * count, gap, SHEET)


def test_without_time_the_plan_is_the_same_every_time():
    items = items_of(panels(6, 3))
    first, second = (pack_sheets(items, sheets(6), 3.0, Budget(0.0))[0] for _ in range(2))
    assert [f.placements for f in first] == [f.placements for f in second]


def test_two_wedges_that_fit_only_head_to_tail_share_a_sheet():
    """Trapezoids of 2400 x 800 and 300 at their ends: 1100 together head to tail, 1600 in boxes."""
    ring = np.array([(0.0, 0.0), (2400.0, 0.0), (2400.0, 300.0), (0.0, 800.0)])
    items = [Item("wedge", ring, 2, (0.0, 180.0))]
    filled, left = pack_sheets(items, sheets(2), 3.0, Budget(4.0))
    assert not left and len(filled) == 1
    assert check_plan(layouts_of(filled), items) == ()


def test_grain_locked_panels_are_not_turned():
    items = items_of([box(1000.0, 600.0)] * 2, (0.0, 180.0))
    filled, _ = pack_sheets(items, sheets(2), 3.0, Budget(0.0))
    assert {p.rotation_deg for f in filled for p in f.placements} <= {0.0, 180.0}
    assert check_plan(layouts_of(filled), items) == ()


def test_remnants_and_bad_zones_are_used_and_kept_clear():
    remnant = np.array([(0, 0), (1150, 0), (1150, 420), (640, 600), (0, 600)], dtype=float)
    zone = box(150.0, 120.0) + (1100.0, 500.0)
    units = [
        Unit("R", "sheet", "foam", 1150.0, 600.0, remnant),
        Unit("Z", "sheet", "foam", *SHEET, None, (zone,)),
        *sheets(3),
    ]
    items = items_of([box(600.0, 400.0), slanted(1000, 300, 0.0), *panels(6, 5)])
    filled, left = pack_sheets(items, units, 3.0, Budget(1.0))
    assert not left and {"R", "Z"} <= {f.unit.id for f in filled}
    assert check_plan(layouts_of(filled), items) == ()


def test_what_fits_on_no_sheet_is_told():
    items = items_of([box(2750.0, 100.0), box(500.0, 100.0)])
    filled, left = pack_sheets(items, sheets(2), 3.0, Budget(0.0))
    assert [c.item.id for c in left] == ["p0"] and len(filled) == 1


def test_bought_sheets_are_numbered_without_gaps_and_the_fullest_comes_first():
    items = items_of([box(2400.0, 1200.0), box(600.0, 400.0), box(2400.0, 1200.0)])
    filled, _ = pack_sheets(items, sheets(5), 3.0, Budget(0.6))
    assert [f.unit.id for f in filled] == ["S-0", "S-1", "S-2"]
    assert filled[-1].fullness < 0.1


def test_squeezing_says_no_to_what_cannot_fit():
    copies = copies_of(items_of([box(1300.0, 1200.0)] * 2))
    assert squeeze_together([copies], sheets(1), 3.0, 1.5) == [None]


def test_a_panel_that_fits_at_one_angle_only_is_laid_at_it():
    """One with bowed sides that leans by 1 degree and is as deep as the sheet, and one longer than
    the sheet that lies slantwise: a sheet of 2438.4 x 1219.2 mm has a diagonal of 2726.2."""
    t = np.linspace(0.0, 1.0, 20)[:-1]
    bow = 3.0 * np.sin(np.pi * t)
    sides = [(1210 * t, -bow), (1210 + bow, 1300 * t), (1210 * (1 - t), 1300 + bow),
             (-bow, 1300 * (1 - t))]  # fmt: skip
    bowed = np.vstack([np.column_stack(side) for side in sides])
    items = items_of([turn_ring(bowed, 1.0), box(2600.0, 60.0)])
    filled, left = pack_sheets(items, sheets(2), 3.0, Budget(0.0))
    assert not left
    assert check_plan(layouts_of(filled), items) == ()


@pytest.mark.parametrize("angle", [0.0, 17.0, 33.0])
def test_helpful_rotations_lay_long_sides_along_the_sheet(angle):
    ring = slanted(1000, 200, angle, taper=1.0)
    for rotation in helpful_rotations(ring)[4:]:
        side = ring[1] - ring[0]
        turn = np.radians(rotation)
        x = side[0] * np.cos(turn) - side[1] * np.sin(turn)
        y = side[0] * np.sin(turn) + side[1] * np.cos(turn)
        assert min(abs(x), abs(y)) < 1e-3
