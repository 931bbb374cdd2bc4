"""The cut plan on paper: pages, figures and mark-out tables as pdfium reads them."""

import re
from dataclasses import asdict, replace
from itertools import combinations, groupby

import numpy as np
import pypdfium2 as pdfium
import pytest

from plybook.nest.markout import mark_out, tape
from plybook.nest.model import CutPlan, Item, Layout, Placement, Unit
from plybook.verify.cut_pages import Cut, blocks, heading, table_heads
from plybook.verify.cut_pictures import check_picture
from plybook.verify.pdf_pages import open_book
from plybook.verify.report import Report
from plybook.write.sheets_pdf import cut_sheets
from tests.drawing import drawn_pieces as made
from tests.drawing.test_layout import ITEMS, LAYOUT, PIECES
from tests.write.test_pdf import lines_of, words_of

SHEET = Layout(Unit("F8-1", "sheet", "foam8", 2438.4, 1219.2, bought=True),
               (Placement("HL-W-101/C1.1", 1, 0.0, 0.0, 0.0),), 2438.4, 0.0, 0.2)  # fmt: skip
PLAN = CutPlan((LAYOUT, SHEET), ITEMS, ())


def open_plan(plan=PLAN, spec=None, **more):
    return pdfium.PdfDocument(cut_sheets(plan, PIECES, [spec or made.spec()], **more).pdf)


def test_sheets_lie_on_their_long_side():
    for page in open_plan():
        assert page.get_size() == pytest.approx((841.8898, 595.2756), abs=0.001)


def test_every_stock_unit_has_a_drawing_and_a_mark_out_table():
    text = [words_of(page) for page in open_plan()]
    for unit in ("TW-7", "F8-1"):
        assert any(unit in t and "drawing" in t for t in text)
        assert any(unit in t and "mark-out" in t for t in text)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_corner_point_stands_in_the_table(unit):
    spec = replace(made.spec(), part=made.part(units=unit))
    text = "\n".join(words_of(page) for page in open_plan(spec=spec))
    rings = {item.id: item.outline_mm for item in ITEMS}
    for mark in mark_out(LAYOUT, rings, unit):
        for x, y in mark.points_mm:
            assert tape(float(x), unit) in text
            assert tape(float(y), unit) in text


def test_utilisation_bound_and_order_are_said():
    first = words_of(open_plan()[0])
    assert "40 % used" in first
    assert "No plan can be shorter than 2.00 m" in first
    assert "Cut in this order" in " ".join(first.split())


def test_no_text_lies_over_text_on_any_page():
    for page in open_plan():
        reader = page.get_textpage()
        boxes = [reader.get_rect(k) for k in range(reader.count_rects())]
        for a, b in combinations(boxes, 2):
            wide = min(a[2], b[2]) - max(a[0], b[0])
            high = min(a[3], b[3]) - max(a[1], b[1])
            assert wide < 0.7 or high < 0.7, (reader.get_text_bounded(*a),
                                              reader.get_text_bounded(*b))  # fmt: skip


def test_nothing_leaves_the_page():
    assert_on_paper(open_plan())


def assert_on_paper(pages):
    """Nothing nearer to the edge of a sheet than printers reach (common practice, no source)."""
    for page in pages:
        wide, high = (v / 72 * 25.4 for v in page.get_size())
        for points, _ in lines_of(page):
            assert (points >= 9.0).all()
            assert (points <= (wide - 9.0, high - 9.0)).all()
        reader = page.get_textpage()
        for k in range(reader.count_rects()):
            x0, y0, x1, y1 = (v / 72 * 25.4 for v in reader.get_rect(k))
            assert min(x0, y0) > 8.0
            assert x1 < wide - 8.0
            assert y1 < high - 8.0


def test_a_long_roll_runs_over_several_sheets_with_its_figures():
    square = np.array([(0, 0), (800, 0), (800, 600), (0, 600.0)])
    piece = made.piece("S9", square, quantity=12)
    places = tuple(Placement("X/S9", k + 1, 820.0 * k, 10.0, 0.0) for k in range(12))
    items = (replace(ITEMS[0], id="X/S9", outline_mm=square, demand=12),)
    layout = Layout(Unit("LONG", "roll", "twill200", 30000.0, 1250.0), places, 9820.0, 0.0, 0.5)
    data = cut_sheets(CutPlan((layout,), items, ()), {"X/S9": piece}, [made.spec()]).pdf
    text = [words_of(page) for page in pdfium.PdfDocument(data)]
    drawings = [t for t in text if "drawing" in t]
    assert len(drawings) > 1
    assert "9000" in drawings[-1]
    assert "Continued" in drawings[-1]


def test_bars_share_a_sheet_and_give_from_and_to():
    ring = np.array([(0, 0), (1200, 0), (1200, 6), (0, 6.0)])
    rod = made.piece("R1", ring, kind="rod", material="rod6", quantity=4)
    items = (replace(ITEMS[0], id="X/R1", outline_mm=ring, demand=4),)
    bars = tuple(
        Layout(Unit(f"ROD-{n}", "bar", "rod6", 3000.0, 6.0),
               (Placement("X/R1", 2 * n - 1, 0.0, 0.0, 0.0),
                Placement("X/R1", 2 * n, 1203.0, 0.0, 0.0)), 3000.0, 0.0, 0.8)
        for n in (1, 2)
    )  # fmt: skip
    data = cut_sheets(CutPlan(bars, items, ()), {"X/R1": rod}, [made.spec()]).pdf
    text = [words_of(page) for page in pdfium.PdfDocument(data)]
    assert len(text) == 2
    assert "ROD-1 to ROD-2" in text[0]
    assert all(figure in text[1] for figure in ("from", "to", "1200", "1203", "2403"))


def lengths(count, each_mm, total_mm, stock="bar", name="R1", ids=("STRIP-1",), **unit):
    """A part's rods, or strips of a roll or sheet, cut from stock longer than a sheet of paper."""
    ring = np.array([(0, 0), (each_mm, 0), (each_mm, 15), (0, 15.0)])
    unit.setdefault("width_mm", 15.0)
    kind = "rod" if stock == "bar" else "ply"
    pieces = {name: made.piece(name, ring, kind=kind, quantity=count * len(ids))}
    layouts = tuple(
        Layout(Unit(id_, stock, "rod6", total_mm, **unit),
               tuple(Placement(name, n * count + k + 1, k * (each_mm + 3.0), 0.0, 0.0)
                     for k in range(count)), count * (each_mm + 3.0), 0.0, 0.4)
        for n, id_ in enumerate(ids)
    )  # fmt: skip
    return CutPlan(layouts, (Item(name, ring, count * len(ids), (0.0,)),), ()), pieces


REMNANT = np.array([(0, 0), (8000, 0), (8000, 700), (6000, 900), (0, 900.0)])
LONG_NAME = "HL-W-101-CENTRE-SECTION/REAR-SPAR-CAP.12"


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("long", [
    lengths(8, 5000.0, 100_000.0),
    lengths(8, 12_400.0, 100_000.0),  # a whole coil: more strips than a sheet holds
    lengths(45, 560.0, 26_000.0, name=LONG_NAME),
    lengths(3, 9000.0, 30_000.0, ids=("S-1", "S-2", "S-3")),
    lengths(3, 700.0, 2300.0, name=LONG_NAME, ids=("S-1", "S-2", "S-3", "S-4", "S-5")),
    lengths(2, 1000.0, 8000.0, "roll", width_mm=900.0, outline_mm=REMNANT),
    lengths(2, 14_000.0, 30_000.0, "sheet"),
], ids=["coil", "whole coil", "many", "long bars", "long names", "remnant", "sheet"])  # fmt: skip
def test_long_stock_is_drawn_whole_on_the_paper(long, paper):
    plan, pieces = long
    spec = replace(made.spec(), workshop=replace(made.spec().workshop, paper=paper))
    data = cut_sheets(plan, pieces, [spec]).pdf
    assert_on_paper(pdfium.PdfDocument(data))
    book, report = open_book(data), Report("")
    drawings = [page for k in range(book.count) if not table_heads(page := book.page(k))[0]]
    for _, alike in groupby(drawings, lambda page: heading(page)[0]):
        pages = list(alike)
        named = heading(pages[0])[0].split(" to ")
        units = [x for x in plan.layouts if named[0] <= x.unit.id <= named[-1]]
        check_picture([(as_told(x), cuts_told(x, plan)) for x in units], pages, "mm", "", report)
    assert report.faults == []
    if plan.layouts[0].unit.kind == "bar":
        tables = [page for k in range(book.count) if table_heads(page := book.page(k))[0]]
        told = {block.title: block for block in blocks(tables)}
        assert list(told) == [layout.unit.id for layout in plan.layouts]
        for layout in plan.layouts:
            block, count = told[layout.unit.id], len(layout.placements)
            numbers = [str(k + 1) for k in range(count)]
            assert [row[0] for row in block.rows] == numbers
            assert re.findall(r"(?:^|·)(\d+):", block.said) == numbers


def as_told(layout):
    """A layout under the names of plan.json."""
    ring = layout.unit.outline_mm
    told = asdict(layout.unit) | {"outline_mm": None if ring is None else ring.tolist()}
    return told | {"stock": layout.unit.id, "used_length_mm": layout.used_length_mm}


def cuts_told(layout, plan):
    ring = plan.items[0].outline_mm
    return [Cut("X", p.item, (p.item.rpartition("/")[2],), p.copy, None, None, None, None, False,
                ring + (p.x_mm, p.y_mm), None) for p in layout.placements]  # fmt: skip


def test_bars_of_another_material_stand_under_their_own_heading():
    plan, pieces = lengths(2, 700.0, 2000.0, ids=("A-1", "B-1"))
    other = replace(plan.layouts[1], unit=replace(plan.layouts[1].unit, material="strip9"))
    data = cut_sheets(replace(plan, layouts=(plan.layouts[0], other)), pieces, [made.spec()]).pdf
    text = [words_of(page) for page in pdfium.PdfDocument(data)]
    assert "A-1 to B-1" not in "".join(text)
    drawn, tables = [t for t in text if "drawing" in t], [t for t in text if "mark-out" in t]
    assert ["strip9" in t for t in drawn] == ["strip9" in t for t in tables] == [False, True]


def test_a_set_says_both_hands_and_its_own_name():
    right = replace(made.spec(), part=made.part(number="HL-W-102", hand="right", revision="C"))
    specs = [made.spec(), right]
    data = cut_sheets(PLAN, PIECES, specs, "HL-W-101+HL-W-102", "Shared cut plan").pdf
    text = words_of(pdfium.PdfDocument(data)[0])
    assert "HL-W-101+HL-W-102" in text
    assert "LEFT + RIGHT HAND" in text
    assert "B, C" in text


def test_a_plan_with_nothing_to_cut_says_so():
    assert "Nothing is cut" in words_of(open_plan(CutPlan((), (), ()))[0])


def test_the_same_plan_gives_the_same_bytes():
    one, two = (cut_sheets(PLAN, PIECES, [made.spec()]).pdf for _ in range(2))
    assert one == two
