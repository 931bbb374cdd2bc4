"""Labels and kit lists: each piece has its label, in its place on the sheet."""

import re
from dataclasses import replace

import numpy as np
import pytest
import zxingcpp

from plybook.drawing.piece_labels import LARGE, SHEETS, piece_labels
from plybook.laminate.model import Mark
from plybook.write.labels_pdf import labels_pdf
from tests.drawing import doubles
from tests.write.pages import PT_PER_MM, colliding, off_page, opened, text_boxes, words


def written(paper):
    spec, laminate = doubles.spec(paper=paper), doubles.laminate()
    return labels_pdf(spec, laminate, doubles.shop(), doubles.cut_plan(laminate))


def test_the_sheets_fit_their_paper():
    """A4 (ISO 216) 3 x 70 = 210 mm fills the width; Letter 3 x 2 5/8 in and two gutters of
    1/8 in between margins of 3/16 in, ten rows of 1 in between half an inch (from memory)."""
    a4, letter = SHEETS["a4"], SHEETS["letter"]
    assert a4.columns * a4.wide_mm == 210.0
    assert a4.top_mm * 2 + a4.rows * a4.down_mm == pytest.approx(297.0)
    inches = letter.left_mm * 2 + 2 * letter.across_mm + letter.wide_mm
    assert inches / 25.4 == pytest.approx(8.5)
    assert (letter.top_mm * 2 + letter.rows * letter.tall_mm) / 25.4 == pytest.approx(11.0)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_each_piece_has_a_label_inside_its_own_field(paper):
    sheet = SHEETS[paper]
    page = opened(written(paper))[0]
    height = page.get_size()[1]
    pieces = [p.id for p in doubles.laminate().pieces]
    for (x0, y0, x1, y1), said in text_boxes(page):
        column = int((x0 / PT_PER_MM - sheet.left_mm) // sheet.across_mm)
        row = int(((height - y1) / PT_PER_MM - sheet.top_mm) // sheet.down_mm)
        left = sheet.left_mm + column * sheet.across_mm
        top = sheet.top_mm + row * sheet.down_mm
        assert left + 1 < x0 / PT_PER_MM and x1 / PT_PER_MM < left + sheet.wide_mm - 1, said
        assert top + 1 < (height - y1) / PT_PER_MM, said
        assert (height - y0) / PT_PER_MM < top + sheet.tall_mm - 0.5, said
    text = words(page)
    for id in pieces:
        assert re.search(rf"^{re.escape(id)}\b", text, re.M), id
    assert text.count("QTY 1 of 1") == len(pieces)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_on_labels_lies_over_anything(paper):
    for page in opened(written(paper)):
        assert list(colliding(page)) == []
        assert list(off_page(page)) == []


def made():
    spec, laminate = doubles.spec(), doubles.laminate()
    return piece_labels(spec, laminate, doubles.shop(), doubles.cut_plan(laminate))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_labels_of_the_last_row_stay_where_a_printer_reaches(paper):
    """Forty copies of a piece fill a sheet to its last row."""
    spec, laminate = doubles.spec(paper=paper), doubles.laminate()
    first, *rest = laminate.pieces
    laminate = replace(laminate, pieces=(replace(first, quantity=40), *rest))
    page = opened(labels_pdf(spec, laminate, doubles.shop(), doubles.cut_plan(laminate)))[0]
    assert words(page).count("QTY") == SHEETS[paper].on_sheet
    assert list(off_page(page)) == [] and list(colliding(page)) == []


def test_labels_tell_bevels_seams_and_splices():
    labels = {x.id: x for x in made()}
    assert labels["C1-1"].edges == "SQUARE: seam S1; bevel 45°: trailing, leading, root"
    assert labels["P1-1"].edges == "part 1 of 2, butt to P1-2"
    assert labels["P1-1"].angle == "+45°" and labels["C1-1"].angle == ""
    assert labels["Q1"].side.startswith("BAG SIDE UP · stage 4 of ")


def test_labels_tell_when_a_piece_is_laid_and_where_it_is_cut():
    """The first of the roll begins 100 mm from its end; the next 5 mm after it."""
    laminate = doubles.laminate()
    labels = {x.id: x for x in made()}
    length = {p.id: float(np.ptp(p.outline_mm[:, 0])) for p in laminate.pieces}
    first = 100.0 + length["P1-1"]
    assert labels["P1-1"].stock == f"from ROLL-1, along 100 to {first:.0f} mm"
    end = first + 5.0 + length["P1-2"]
    assert labels["P1-2"].stock == f"from ROLL-1, along {first + 5:.0f} to {end:.0f} mm"
    assert labels["Q1"].stock == "cut by hand from its roll"
    turns = {}
    for stage in doubles.shop().stages:
        laid = [p for step in stage.steps if step.lays for p in step.pieces]
        turns |= {p: f" · lay {k} of {len(laid)}" for k, p in enumerate(laid, start=1)}
    assert turns and all(labels[p].side.endswith(turn) for p, turn in turns.items())


def test_labels_tell_the_corner_a_piece_is_laid_by():
    laminate = doubles.laminate()
    first, *rest = laminate.pieces
    mark = Mark("datum", np.zeros((1, 2)), "span 40 mm, 15 mm inside leading")
    laminate = replace(laminate, pieces=(replace(first, marks=(mark,)), *rest))
    spec, shop, plan = doubles.spec(), doubles.shop(), doubles.cut_plan(laminate)
    labels = piece_labels(spec, laminate, shop, plan)
    assert labels[0].datum == "DATUM span 40 mm, 15 mm inside leading"
    assert all(label.datum == "" for label in labels[1:])
    said = words(opened(labels_pdf(spec, laminate, shop, plan))[0])
    assert said.count("DATUM span 40 mm, 15 mm inside leading") == 1


def test_kit_lists_hold_each_piece_once_in_the_order_of_laying():
    pages = [words(p) for p in opened(written("a4"))]
    kits = "\n".join(text for text in pages if "Kit list" in text)
    found = [kits.index(f"{p.id} ") for p in doubles.laminate().pieces if p.stage == "outer"]
    assert found == sorted(found)


def test_the_same_input_gives_the_same_bytes():
    assert written("a4") == written("a4")


def test_the_sheets_of_larger_labels_fit_their_paper():
    """A4 2 x 99.1 mm, a gutter of 2.5 and margins of 4.65; 7 x 38.1 between 15.15 above and below.
    Letter 2 x 4 in, a gutter of 3/16 in and margins of 5/32 in; 5 x 2 in between half an inch (both
    from memory)."""
    a4, letter = LARGE["a4"], LARGE["letter"]
    assert 2 * a4.left_mm + a4.across_mm + a4.wide_mm == pytest.approx(210.0)
    assert 2 * a4.top_mm + a4.rows * a4.down_mm == pytest.approx(297.0)
    assert (2 * letter.left_mm + letter.across_mm + letter.wide_mm) / 25.4 == pytest.approx(8.5)
    assert (2 * letter.top_mm + letter.rows * letter.down_mm) / 25.4 == pytest.approx(11.0)


def coded(paper):
    spec, laminate = doubles.spec(paper=paper), doubles.laminate()
    workshop = replace(spec.workshop, booklets_at="http://192.168.0.7:8000/")
    spec = replace(spec, workshop=workshop)
    return labels_pdf(spec, laminate, doubles.shop(), doubles.cut_plan(laminate))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_codes_open_the_step_that_lays_the_piece(paper):
    """As zxing reads them from the page, at 200 dots to the inch."""
    steps = [step for stage in doubles.shop().stages for step in stage.steps if step.lays]
    pieces = [piece.id for piece in doubles.laminate().pieces]
    due = [
        f"http://192.168.0.7:8000/{doubles.spec().part.number}/booklet.html#{step.id}"
        for step in steps for piece in step.pieces if piece in pieces
    ]  # fmt: skip
    found: list[str] = []
    for page in list(opened(coded(paper)))[: -(-len(pieces) // LARGE[paper].on_sheet)]:
        image = page.render(scale=200 / 72).to_numpy()
        found += [code.text for code in zxingcpp.read_barcodes(image)]
    assert due and sorted(found) == sorted(due)


def test_labels_carry_no_code_unless_it_is_asked_for():
    image = opened(written("a4"))[0].render(scale=200 / 72).to_numpy()
    assert list(zxingcpp.read_barcodes(image)) == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_on_labels_with_codes_lies_over_anything(paper):
    for page in opened(coded(paper)):
        assert list(colliding(page)) == []
        assert list(off_page(page)) == []
