"""Bays of a roll: few lines, each within a table of the one before, cut along where nothing lies.

Expected lines are worked out by hand from the sizes of the pieces; crossings are found anew with
shapely."""

from itertools import pairwise

import numpy as np
import pytest
import shapely

from plybook.nest.bays import in_bays, with_same_lines
from plybook.nest.markout import mark_out
from plybook.nest.model import Item, Layout, Placement, Unit
from plybook.units import MM_PER_INCH
from tests.nest.makers import box, slanted

ROLL = Unit("R", "roll", "twill", 50000.0, 1250.0, edge_mm=10.0)


def laid(pieces, table=3000.0, unit="mm", stock=ROLL, groups=None):
    """Pieces (outline, x, y) on a roll, each an item of its own, with bays."""
    items = {
        f"P/{k}": Item(f"P/{k}", outline, 1, None, group=(groups or {}).get(k, ""), part="P")
        for k, (outline, _, _) in enumerate(pieces)
    }
    placed = tuple(Placement(f"P/{k}", 1, x, y, 0.0) for k, (_, x, y) in enumerate(pieces))
    return in_bays(Layout(stock, placed, 0.0, 0.0, 0.0), items, unit, table), items


def marks(layout, items, unit="mm"):
    return mark_out(layout, {name: item.outline_mm for name, item in items.items()}, unit)


def interlocked(count=14, seed=5):
    """Slanted pieces side by side, so that no straight cut passes between them."""
    rng = np.random.default_rng(seed)
    at, pieces = 0.0, []
    for _ in range(count):
        ring = slanted(float(rng.uniform(800, 1250)), 300.0, float(rng.uniform(35, 55)))
        pieces.append((ring - ring.min(axis=0), at, 20.0))
        at += float(rng.uniform(480, 640))
    return pieces


def crossing(layout, items, at):
    """How many pieces a line across the roll enters, by shapely."""
    line = shapely.LineString([(at, -1e4), (at, 1e4)])
    rings = (mark.ring_mm for mark in marks(layout, items))
    return sum(line.intersection(shapely.Polygon(ring)).length > 1e-6 for ring in rings)


def test_a_roll_that_lies_on_the_table_has_no_bays():
    layout, items = laid([(box(900.0, 400.0), 0.0, 0.0), (box(900.0, 400.0), 2000.0, 0.0)])
    assert layout.bays == ()
    assert all(mark.bay == 0 and mark.line_mm == 0.0 for mark in marks(layout, items))


@pytest.mark.parametrize("kind", ["sheet", "bar"])
def test_what_is_stiff_has_no_bays(kind):
    stock = Unit("S", kind, "foam", 9000.0, 1250.0)
    assert laid([(box(6000.0, 400.0), 0.0, 0.0)], stock=stock)[0].bays == ()


def test_rectangles_end_to_end_are_cut_off_as_many_as_lie_on_the_table():
    """Ten of 700 mm with 4 mm between: four of them take 2812 mm, five do not lie on 3 m. From a
    line within the gap after the fourth, four more end 2812 to 2816 mm on."""
    layout, items = laid([(box(700.0, 1200.0), 704.0 * k, 0.0) for k in range(10)])
    assert [bay.cut for bay in layout.bays] == [True, True, True]
    assert 2812.0 <= layout.bays[0].to_mm <= 2816.0 and 5628.0 <= layout.bays[1].to_mm <= 5632.0
    assert layout.bays[-1].to_mm == 7036.0
    assert [mark.bay for mark in marks(layout, items)] == [1] * 4 + [2] * 4 + [3] * 2


def test_a_straight_cut_goes_before_a_line_further_on():
    """A cut at 2 m and pieces that interlock from there on: the first bay ends at the cut, though a
    line across the pieces could lie further on."""
    low = [(box(2000.0, 1200.0), 0.0, 0.0)]
    high = [(ring, x + 2010.0, y) for ring, x, y in interlocked(6)]
    layout, _ = laid(low + high)
    assert layout.bays[0].cut and 2000.0 <= layout.bays[0].to_mm <= 2010.0
    assert not layout.bays[1].cut


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("table", [1600.0, 2438.4, 3000.0])
@pytest.mark.parametrize("seed", range(4))
def test_every_figure_lies_on_the_table_with_its_line(table, unit, seed):
    layout, items = laid(interlocked(seed=seed), table, unit)
    at = [0.0, *(bay.to_mm for bay in layout.bays)]
    assert all(0.0 < b - a <= table for a, b in pairwise(at))
    assert [bay.at_mm for bay in layout.bays] == at[:-1]
    step = 0.1 if unit == "mm" else MM_PER_INCH / 64
    assert np.allclose(np.array(at) / step, np.round(np.array(at) / step), atol=1e-3)
    for bay in layout.bays:
        assert bay.cut == (crossing(layout, items, bay.to_mm) == 0)
    for mark in marks(layout, items, unit):
        bay = layout.bays[mark.bay - 1]
        assert bay.at_mm <= mark.ring_mm[:, 0].min() + 1e-6
        assert mark.bay == len(layout.bays) or mark.ring_mm[:, 0].min() < bay.to_mm
        assert mark.told_mm.min() >= -1e-9 and mark.told_mm[:, 0].max() <= table + 1e-9
        assert np.allclose(mark.told_mm + (bay.at_mm, 0.0), mark.points_mm)
        assert shapely.Polygon(mark.points_mm).buffer(1e-3).covers(shapely.Polygon(mark.ring_mm))


def test_no_more_lines_are_drawn_than_the_fewest():
    """Against all choices among the places before each piece, by brute force."""
    pieces, table = interlocked(9, 3), 2400.0
    layout, _ = laid(pieces, table)
    spans = [(x, x + float(np.ptp(ring[:, 0]))) for ring, x, _ in pieces]

    def fewest(first):
        ends = [k for k in range(first + 1, len(spans) + 1)
                if max(high for _, high in spans[first:k]) - spans[first][0] <= table - 25.0]
        return 0 if len(spans) in ends else 1 + min(map(fewest, ends))

    assert len(layout.bays) - 1 <= fewest(0)


def test_a_piece_longer_than_the_table_is_told_from_where_it_begins():
    layout, items = laid([(box(7000.0, 500.0), 0.0, 0.0), (box(900.0, 500.0), 7004.0, 0.0)])
    assert [bay.to_mm - bay.at_mm <= 3000.0 for bay in layout.bays] == [True] * len(layout.bays)
    long, short = marks(layout, items)
    assert (long.bay, long.line_mm, long.told_mm[:, 0].max()) == (1, 0.0, 7000.0)
    assert short.told_mm[:, 0].max() <= 3000.0


def test_lines_stay_where_they_are_drawn_when_a_piece_is_cut_again():
    pieces = interlocked()
    layout, _ = laid(pieces)
    added = [*pieces, (box(800.0, 300.0), layout.bays[-1].to_mm + 500.0, 0.0)]
    longer, items = laid(added)
    again = with_same_lines(Layout(ROLL, longer.placements, 0.0, 0.0, 0.0, bays=layout.bays,
                                   table_mm=3000.0), items, "mm", 3000.0)  # fmt: skip
    same = [bay.at_mm for bay in layout.bays]
    assert [bay.at_mm for bay in again.bays][: len(same)] == same
    assert marks(again, items)[-1].line_mm >= layout.bays[-1].at_mm


@pytest.mark.parametrize("gap", [0.05, 0.21, 0.3, 0.39, 1.0])
def test_lines_in_gaps_narrower_than_the_marks_of_a_tape_lie_on_a_mark(gap):
    """Pieces of 1001.3 mm whose gaps hold now and then no 64th of an inch; with other stages, so
    that a cut lies in each gap too."""
    pieces = [(box(1001.3, 1200.0), (1001.3 + gap) * k, 0.0) for k in range(9)]
    for groups in ({}, {k: f"stage {k}" for k in range(9)}):
        layout, items = laid(pieces, 2438.4, "in", groups=groups)
        at = np.array([bay.at_mm for bay in layout.bays]) / (MM_PER_INCH / 64)
        assert len(at) >= 4 and np.abs(at - np.round(at)).max() < 1e-3
        for bay in layout.bays:
            assert bay.cut == (crossing(layout, items, bay.to_mm) == 0)
