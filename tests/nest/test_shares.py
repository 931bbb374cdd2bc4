"""Pieces dealt out over equal sheets, and rolls laid around what cannot be used."""

import random

import numpy as np
import pytest

from plybook.nest.around import fill_around, sound_stretches
from plybook.nest.budget import Budget, Search
from plybook.nest.check import check_plan
from plybook.nest.laying import copies_of
from plybook.nest.model import Item, Layout, Unit
from plybook.nest.shares import deal, share_out
from tests.nest.makers import box, slanted

SHEET = (1000.0, 500.0)


def sheets(count):
    return [Unit(f"S-{k + 1}", "sheet", "foam", *SHEET, bought=True) for k in range(count)]


def test_a_deal_gives_every_copy_once_and_areas_as_the_shares():
    items = [Item(f"p{k}", box(100.0 + 17 * k, 90.0), 2, None) for k in range(20)]
    copies = copies_of(items)
    lots = deal(copies, [1.0, 1.0, 0.5], random.Random(3))
    assert sorted((c.item.id, c.number) for lot in lots for c in lot) == sorted(
        (c.item.id, c.number) for c in copies
    )
    areas = [sum(c.area_mm2 for c in lot) for lot in lots]
    assert areas[0] == pytest.approx(areas[1], rel=0.05)
    assert areas[2] == pytest.approx(areas[0] / 2, rel=0.1)


def test_wedges_are_dealt_out_on_as_many_sheets_as_their_area_takes():
    """Eight wedges: four pairs, each nearly a rectangle, two of them on a sheet."""
    wedge = np.array([(0.0, 0.0), (940.0, 0.0), (0.0, 230.0)])
    items = [Item("w", wedge, 8, (0.0, 180.0))]
    units = sheets(2)
    shared = share_out(copies_of(items), units, 3.0, Budget(20.0), random.Random(1))
    assert shared is not None
    layouts = [
        Layout(unit, tuple(placed), SHEET[0], 0.0, 0.0, gap_mm=3.0)
        for unit, (_, placed) in zip(units, shared, strict=True)
    ]
    assert check_plan(layouts, items) == ()


def test_more_than_sheets_can_hold_is_not_tried():
    items = [Item("b", box(990.0, 490.0), 2, (0.0,))]
    assert share_out(copies_of(items), sheets(1), 3.0, Budget(20.0), random.Random(1)) is None


def test_sound_stretches_lie_between_the_zones():
    near = np.array([(300.0, 0.0), (500.0, 0.0), (500.0, 90.0), (300.0, 90.0)])
    overlapping = near + (150.0, 400.0)
    roll = Unit("R", "roll", "cloth", 2000.0, 1000.0, None, (overlapping, near))
    assert sound_stretches(roll, 0.0) == [(0.0, 300.0), (650.0, 2000.0)]
    assert sound_stretches(roll, 400.0) == [(650.0, 2000.0)]


@pytest.mark.parametrize("seconds, start", [(0.0, 0.0), (2.0, 0.0), (2.0, 350.0)])
def test_pieces_are_laid_around_bad_zones_and_beyond_the_start(seconds, start):
    zone = np.array([(700.0, 200.0), (1000.0, 200.0), (1000.0, 600.0), (700.0, 600.0)])
    roll = Unit("R", "roll", "cloth", 9000.0, 1000.0, None, (zone, zone + (1500.0, 300.0)))
    items = [Item(f"p{k}", slanted(500 + 40 * k, 150, 40.0), 1, (0.0, 180.0)) for k in range(10)]
    copies = copies_of(items)
    laid = fill_around(copies, roll, start, Search(3.0, Budget(seconds)))
    assert laid.rest == []
    layout = Layout(roll, tuple(laid.placements), laid.reach_mm, 0.0, 0.0, gap_mm=3.0)
    assert check_plan([layout], items) == ()
    shapes = {(c.item.id, r): s for c in copies for r, _, s in c.turns}
    lows = [p.x_mm + shapes[p.item, p.rotation_deg].low[0] for p in laid.placements]
    assert min(lows) >= start - 1e-6
