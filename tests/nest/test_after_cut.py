"""After the cut: left-overs become stock, a spoiled piece is cut again, the stock file is kept."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
import yaml

from plybook.diagnostics import SpecError, StockError
from plybook.nest import plan_cuts
from plybook.nest.check import check_plan
from plybook.nest.model import CutPlan, Item, Layout, Placement, Unit
from plybook.nest.offcuts import empty_rectangles
from plybook.nest.placing import placed_outline
from plybook.nest.remnant import after_cut, left_over
from plybook.nest.respoil import cut_again
from plybook.spec.model import StockItem
from plybook.stock.keep import update_stock
from tests.nest.makers import bar, box, job, piece, roll, sheet, slanted

SHORT = 0.3
FILE = """\
# the shelf
plybook: 1
units: mm

stock:
  - {id: R1, roll: twill, length: 42 m, received: 2026-02-11}   # by the window
  # cut from the middle last time
  - {id: S1, sheet: foam, quantity: 3}
  - id: S2            # a remnant
    sheet: foam
    outline: [[0, 0], [900, 0], [900, 400]]   # tape on it

  - id: R2
    roll: twill
    # length not measured
    quantity: 1
  - {id: BUY, roll: twill, quantity: as needed}

# end of file
"""


def stock_of(text: str) -> dict:
    return {e["id"]: e for e in yaml.safe_load(text)["stock"]}


def item(id, kind="sheet", material="foam", length=900.0, width=400.0, **changes):
    return StockItem(id, kind, material, length, width, **changes)


def test_comments_and_other_entries_stay_when_one_goes():
    text = update_stock(FILE, gone=["S2"])
    assert list(stock_of(text)) == ["R1", "S1", "R2", "BUY"]
    for comment in ("# the shelf", "# by the window", "# cut from the middle last time",
                    "# length not measured", "# end of file"):  # fmt: skip
        assert comment in text
    assert "a remnant" not in text
    kept = [line for line in FILE.splitlines() if line not in text.splitlines()]
    assert len(kept) == 3


def test_one_of_several_goes_down_and_the_last_goes_away():
    assert stock_of(update_stock(FILE, gone=["S1"]))["S1"]["quantity"] == 2
    assert stock_of(update_stock(FILE, gone=["S1", "S1"]))["S1"]["quantity"] == 1
    assert "S1" not in stock_of(update_stock(FILE, gone=["S1"] * 3))


def test_a_roll_becomes_shorter_where_its_length_stands_or_gets_one():
    left = [item("R1", "roll", "twill", 12345.67), item("R2", "roll", "twill", 800.0)]
    text = update_stock(FILE, left=left)
    found = stock_of(text)
    assert found["R1"]["length"] == 12345.6 and found["R2"]["length"] == 800
    assert "# by the window" in text and "# length not measured" in text


def test_remnants_are_added_at_the_end_of_the_list_with_names_of_their_own():
    corner = np.array([(0, 0), (900.0, 0), (900.0, 400.0)])
    text = update_stock(
        FILE, new=[item("S1", outline_mm=corner, received="2026-05-04"), item("S1-rest")]
    )
    found = stock_of(text)
    assert list(found)[-2:] == ["S1-2", "S1-rest"]
    assert found["S1-2"]["outline"] == [[0, 0], [900, 0], [900, 400]]
    assert found["S1-rest"] == {"id": "S1-rest", "sheet": "foam", "length": 900, "width": 400}
    assert text.rstrip().endswith("# end of file")


def test_a_file_in_inches_gets_inches():
    text = update_stock(FILE.replace("units: mm", "units: in"), new=[item("N", length=508.0)])
    assert stock_of(text)["N"]["length"] == 20


def test_a_list_written_on_one_line_and_an_empty_one():
    flow = "stock: [{id: A, sheet: foam}]\n"
    assert list(stock_of(update_stock(flow, new=[item("B")]))) == ["A", "B"]
    assert list(stock_of(update_stock("stock: []\n", new=[item("B")]))) == ["B"]


def test_windows_line_ends_stay():
    text = update_stock(FILE.replace("\n", "\r\n"), gone=["S2"], new=[item("N")])
    assert "\r\n" in text and "\n" not in text.replace("\r\n", "")
    assert list(stock_of(text)) == ["R1", "S1", "R2", "BUY", "N"]


@pytest.mark.parametrize("eol", ["\r\n", "\r", "\n"])
def test_every_kind_of_line_end_stays(eol):
    text = update_stock(FILE.replace("\n", eol), gone=["S2"], left=[item("R2", "roll", "twill")])
    assert text.replace(eol, "\n") == update_stock(
        FILE, gone=["S2"], left=[item("R2", "roll", "twill")]
    )
    assert set(text.replace(eol, "")) & {"\r", "\n"} == set()


def test_two_kinds_of_line_ends_are_refused_with_the_line():
    with pytest.raises(SpecError) as refusal:
        update_stock(FILE.replace("units: mm\n", "units: mm\r\n"), gone=["S2"], file="s.yaml")
    assert refusal.value.findings[0].code == "stock-not-editable"


FLOW = """\
stock: [{id: A, sheet: foam}, {id: B, sheet: foam, quantity: 2},
        {id: C, roll: twill, length: 5 m}]   # all there is
workshop: {room: 21 C}
"""


@pytest.mark.parametrize("gone", [["A"], ["B"], ["B", "B"], ["C"], ["A", "C"], ["A", "B", "B"],
                                  ["B", "B", "C"], ["A", "B", "B", "C"]])  # fmt: skip
@pytest.mark.parametrize("new", [[], ["N"], ["N", "M"]])
def test_a_list_in_brackets_loses_and_gains_just_what_is_meant(gone, new):
    text = update_stock(FLOW, gone=gone, new=[item(name) for name in new])
    counts = {"A": 1, "B": 2, "C": 1}
    for name in gone:
        counts[name] -= 1
    found = stock_of(text)
    assert {k: found[k].get("quantity", 1) for k in counts if k in found} == {
        k: n for k, n in counts.items() if n
    }
    assert [k for k in found if k not in counts] == new
    assert "# all there is" in text and yaml.safe_load(text)["workshop"] == {"room": "21 C"}


@pytest.mark.parametrize("written", ["1e1", "10", "10.0", "1.0e1"])
def test_a_quantity_counts_however_it_is_written(written):
    text = f"stock:\n  - {{id: S, sheet: foam, quantity: {written}}}\n"
    assert stock_of(update_stock(text, gone=["S"]))["S"]["quantity"] == 9


def test_what_is_bought_as_needed_is_never_used_up():
    assert update_stock(FILE, gone=["BUY"]) == FILE


@pytest.mark.parametrize("dash", ["- ", "  - ", "  -\n    ", "  -   # a remark\n    "])
def test_the_last_entry_leaves_an_empty_list(dash):
    for head in ("stock:\n", "stock:   # the shelf\n", "plybook: 1\nstock:\n"):
        text = update_stock(f"{head}{dash}{{id: S, sheet: foam}}\nunits: mm\n", gone=["S"])
        assert yaml.safe_load(text)["stock"] == [] and yaml.safe_load(text)["units"] == "mm"
        assert ("# the shelf" in text) == ("# the shelf" in head)


def test_a_remark_inside_what_changes_is_not_lost_but_refused():
    text = (
        "stock:\n  - id: S\n    sheet: foam\n    outline:\n      - [0, 0]\n"
        "      - [900, 0]   # tape\n      - [900, 400]\n"
    )
    corner = np.array([(0, 0), (500.0, 0), (500.0, 400.0)])
    with pytest.raises(SpecError) as refusal:
        update_stock(text, left=[item("S", outline_mm=corner)], file="s.yaml")
    (found,) = refusal.value.findings
    assert found.code == "stock-not-editable" and found.places[0].line == 6


def test_entries_over_several_lines_and_the_text_round_them_stay():
    text = (
        "a: 1   # first\nstock:\n- {id: A,  roll: twill,   # why\n   length: 42 m, quantity: 1e1}\n"
        "- id: B\n  sheet: foam\n\n  # after B\nother:\n   - 'x'\n"
    )
    after = update_stock(text, gone=["A", "B"], new=[item("N")])
    lines = after.splitlines()
    assert lines[:3] == ["a: 1   # first", "stock:", "- {id: A,  roll: twill,   # why"]
    assert lines[-2:] == ["other:", "   - 'x'"] and stock_of(after)["A"]["quantity"] == 9


def test_a_file_without_a_stock_list_is_refused():
    with pytest.raises(SpecError):
        update_stock("plybook: 1\n", gone=["A"])


# ---------------------------------------------------------------- what is left


def whole_plan():
    pieces = [
        *(piece(f"P{k}", slanted(700, 160, 0.0)) for k in range(6)),
        piece("C", box(900.0, 600.0), "foam", kind="core"),
        piece("D", box(1900.0, 10.0), "strip", kind="rod", quantity=2),
    ]
    stock = [roll(length=5000.0), sheet(quantity=2), bar(quantity=1)]
    return plan_cuts([job(pieces, stock)], seconds=SHORT), stock


def test_rolls_and_bars_become_shorter_and_a_sheet_leaves_a_remnant():
    plan, stock = whole_plan()
    after = after_cut(plan, stock, received="2026-05-04")
    used = plan.layouts[0].used_length_mm
    left = {s.id: s for s in after.left}
    assert set(left) == {"R1", "B1"}
    assert 5000.0 - used - 5.0 < left["R1"].length_mm <= 5000.0 - used
    assert left["R1"].width_mm == 1270.0  # with its selvedge, as the shelf counts it
    assert left["B1"].length_mm == pytest.approx(6000.0 - 2 * 1900.0 - 2 * 3.0, abs=1.0)
    assert after.gone == ("S1",)
    rest = next(x for x in after.new if x.id.endswith("-rest"))
    assert rest.kind == "sheet" and rest.received == "2026-05-04"
    sheet_m2, piece_m2 = 2438.4 * 1219.2, 900.0 * 600.0
    area = shapely.Polygon(rest.outline_mm).area
    assert 0.45 * sheet_m2 < area < sheet_m2 - piece_m2


def test_a_left_over_never_overlaps_what_was_cut():
    plan, _ = whole_plan()
    by_id = {i.id: i for i in plan.items}
    for layout in plan.layouts:
        if layout.remnant_mm is None:
            continue
        rest = shapely.Polygon(layout.remnant_mm)
        assert rest.is_valid
        stock = shapely.box(0, 0, layout.unit.length_mm, layout.unit.width_mm)
        assert rest.difference(stock.buffer(0.1)).area < 1e-6
        for p in layout.placements:
            placed = shapely.Polygon(placed_outline(by_id[p.item], p))
            assert rest.distance(placed) >= layout.gap_mm - 0.3


def left_of_a_sheet(x_mm, y_mm, bad_zones=()):
    """What is left of a square metre from which a square of 200 mm is cut at a place."""
    stock = StockItem("S1", "sheet", "foam", 1000.0, 1000.0, bad_zones_mm=bad_zones)
    plan = plan_cuts([job([piece("C1", box(200.0, 200.0), "foam", kind="core")], [stock])],
                     seconds=SHORT)  # fmt: skip
    (layout,) = plan.layouts
    (cut,) = layout.placements
    moved = replace(layout, placements=(replace(cut, x_mm=x_mm, y_mm=y_mm),))
    return shapely.Polygon(left_over(moved, {i.id: i for i in plan.items}, 3.0))


def test_a_left_over_lies_beside_what_was_cut_from_its_middle():
    rest = left_of_a_sheet(500.0, 300.0)
    assert rest.equals(shapely.box(0, 0, 497, 1000))


def test_a_bad_zone_in_a_left_over_stays_a_bad_zone():
    zone = box(50.0, 50.0) + (600.0, 600.0)
    assert left_of_a_sheet(0.0, 0.0, (zone,)).contains(shapely.Polygon(zone))


def test_a_left_over_beside_a_square_has_square_corners():
    rest = left_of_a_sheet(0.0, 0.0)
    corners = [(203, 0), (1000, 0), (1000, 1000), (0, 1000), (0, 203), (203, 203)]
    assert rest.equals(shapely.Polygon(corners))


def test_what_is_left_can_be_cut_from_again():
    plan, stock = whole_plan()
    after = after_cut(plan, stock)
    again = [piece("C2", box(1000.0, 500.0), "foam", kind="core")]
    second = plan_cuts([job(again, after.new)], seconds=SHORT)
    assert second.layouts[0].unit.id == after.new[0].id
    assert check_plan(second.layouts, second.items) == ()


# ---------------------------------------------------------------- a spoiled piece


def test_a_spoiled_piece_is_cut_again_and_nothing_else_moves():
    plan, _ = whole_plan()
    new = cut_again(plan, "NT-1/P3")
    assert check_plan(new.layouts, new.items) == ()
    before = {(p.item, p.copy): p for x in plan.layouts for p in x.placements}
    after = {(p.item, p.copy): p for x in new.layouts for p in x.placements}
    assert [k for k in before if before[k] != after[k]] == [("NT-1/P3", 1)]
    spoiled = shapely.Polygon(new.layouts[0].unit.bad_zones_mm[0])
    by_id = {i.id: i for i in new.items}
    fresh = shapely.Polygon(placed_outline(by_id["NT-1/P3"], after["NT-1/P3", 1]))
    assert spoiled.intersection(fresh).area < 1e-3


def test_a_spoiled_piece_without_room_is_refused_unless_there_is_a_spare_sheet():
    pieces = [piece("C", box(2400.0, 1200.0), "foam", kind="core")]
    plan = plan_cuts([job(pieces, [sheet(quantity=1)])], seconds=SHORT)
    with pytest.raises(StockError) as raised:
        cut_again(plan, "NT-1/C")
    assert raised.value.findings[0].code == "not-enough-stock"
    from dataclasses import replace

    spare = replace(plan.layouts[0].unit, id="S9")
    new = cut_again(plan, "NT-1/C", spare=[spare])
    assert [x.unit.id for x in new.layouts if x.placements] == ["S9"]
    assert check_plan(new.layouts, new.items) == ()


def test_a_piece_that_is_not_in_the_plan_is_refused():
    plan, _ = whole_plan()
    with pytest.raises(StockError):
        cut_again(plan, "NT-1/NONE")


def test_off_cuts_beside_the_pieces_are_kept():
    """Two plies of 560 x 560 and 300 x 560 on a roll of 980: 415 mm stay beside them."""
    plies = [piece("P1", box(560.0, 560.0)), piece("P2", box(300.0, 560.0))]
    plan = plan_cuts([job(plies, [roll(width=1000.0)])], seconds=SHORT)
    shelf = job(plies, [roll(width=1000.0)]).spec.stock
    beside = [x for x in after_cut(plan, shelf).new if "-side" in x.id]
    (layout,) = plan.layouts
    assert beside and all(min(x.length_mm, x.width_mm) >= 100.0 for x in beside)
    area = sum(x.length_mm * x.width_mm for x in beside)
    taken = 860.0 * 560.0
    free = layout.used_length_mm * layout.unit.width_mm - taken
    assert 0.8 * free < area <= free


def on_a_roll(*rings, length=2000.0, width=1000.0, selvedge=0.0):
    """What is kept beside pieces that lie on a roll where their rings say."""
    items = {f"P{k}": Item(f"P{k}", ring - ring[0], 1, (0.0,)) for k, ring in enumerate(rings)}
    places = tuple(
        Placement(f"P{k}", 1, *(float(v) for v in ring[0]), 0.0, False)
        for k, ring in enumerate(rings)
    )
    unit = Unit("R1", "roll", "twill", 9000.0, width, None, (), False, selvedge)
    layout = Layout(unit, places, length, 0.0, 0.5, gap_mm=4.0)
    plan = CutPlan((layout,), tuple(items.values()), ())
    shelf = [StockItem("R1", "roll", "twill", 9000.0, width + 2 * selvedge)]
    return [x for x in after_cut(plan, shelf).new if "-side" in x.id]


def test_the_corners_beside_a_bias_ply_are_kept_with_their_slanting_side():
    """A parallelogram cut at 45 degrees across a roll of 1000 leaves a triangle on either side, of
    legs 1000 less the knife's gap; no rectangle beside its box is left at all."""
    ply = np.array([(0.0, 0.0), (1000.0, 0.0), (2000.0, 1000.0), (1000.0, 1000.0)])
    kept = on_a_roll(ply)
    assert len(kept) == 2
    for one in kept:
        shape = shapely.Polygon(one.outline_mm)
        leg = 1000.0 - 4.0 * np.sqrt(2.0)
        assert 0.97 * leg**2 / 2 <= shape.area <= leg**2 / 2 + 0.05 * shape.length  # to 0.1 mm
        assert len(one.outline_mm) <= 4
        # nowhere but in the points is it narrower than 100 mm
        assert shape.buffer(-49.0).area > 0


def test_an_off_cut_of_cloth_is_cut_again_as_wide_as_it_is():
    """Its outline counts no selvedge: 400 mm stay beside a ply of 596 and the knife's 4."""
    (kept,) = on_a_roll(box(2000.0, 596.0), selvedge=10.0)
    assert np.ptp(kept.outline_mm, axis=0) == pytest.approx((2000.0, 400.0), abs=0.5)
    told = update_stock("stock:\n  - {id: R1, roll: twill, length: 9 m}\n", new=[kept])
    (_, entry) = yaml.safe_load(told)["stock"]
    assert "width" not in entry and len(entry["outline"]) == 4
    ply = piece("N", box(1900.0, 398.0))
    plan = plan_cuts([job([ply], [replace(kept, id="S")])], seconds=SHORT)
    assert plan.layouts[0].unit.id == "S"


def test_an_outline_of_many_corners_is_kept_as_the_rectangles_in_it():
    steps = [np.array([(0, 0), (60, 0), (60, h), (0, h)]) + (104.0 * k, 0.0)
             for k, h in enumerate([100.0, 300.0] * 6)]  # fmt: skip
    kept = on_a_roll(*steps, length=1200.0)
    assert kept and all(len(one.outline_mm) <= 16 for one in kept)
    largest = kept[0].outline_mm
    assert np.ptp(largest, axis=0) == pytest.approx((1200.0, 696.0), abs=0.5)


def test_what_stays_beside_a_remnant_of_any_outline_is_kept():
    outline = np.array([(0.0, 0.0), (1500.0, 0.0), (1500.0, 600.0), (0.0, 600.0)])
    item = Item("P", box(300.0, 600.0), 1, (0.0,))
    unit = Unit("S1", "sheet", "foam", 1500.0, 600.0, outline)
    layout = Layout(unit, (Placement("P", 1, 600.0, 0.0, 0.0, False),), 900.0, 0.0, 0.2, gap_mm=4.0)
    layout = replace(layout, remnant_mm=left_over(layout, {"P": item}, 4.0))
    shelf = [StockItem("S1", "sheet", "foam", 1500.0, 600.0, outline_mm=outline)]
    sizes = sorted(x.length_mm for x in after_cut(CutPlan((layout,), (item,), ()), shelf).new)
    assert sizes == pytest.approx([596.0, 596.0], abs=0.5)


def test_rectangles_beside_boxes_are_the_largest_and_clear_of_them():
    boxes = [np.array([(0.0, 0.0), (560.0, 780.0)]), np.array([(560.0, 300.0), (900.0, 980.0)])]
    found = empty_rectangles((0.0, 0.0, 900.0, 980.0), boxes, 100.0, 5e4)
    assert found == [(0.0, 780.0, 560.0, 980.0), (560.0, 0.0, 900.0, 300.0)]
    assert empty_rectangles((0.0, 0.0, 900.0, 980.0), boxes, 250.0, 5e4) == [
        (560.0, 0.0, 900.0, 300.0)
    ]
