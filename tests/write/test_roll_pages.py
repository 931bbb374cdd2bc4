"""Templates on a plotter's roll: every outline on it, panels that join, forged rolls caught.

Roll widths of 610, 841 (ISO 216 A0) and 914 mm are those plotter paper is sold in, common practice,
no source.
"""

import json
from dataclasses import asdict, replace
from functools import cache

import numpy as np
import pytest
import shapely

from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Text
from plybook.drawing.template import draw_pieces
from plybook.drawing.typesetting import typeset
from plybook.laminate.model import Mark
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.names import file_name
from plybook.nest.paper import on_paper, panels_of
from plybook.plan import piece_row
from plybook.spec.model import TemplateRules
from plybook.verify.pdf_pages import Book
from plybook.verify.report import Report
from plybook.verify.roll import NAME, check_roll
from plybook.write.roll_pages import _clear_name, join_crosses, needs_paper, roll_pdf
from plybook.write.svg import svg_bytes
from plybook.write.templates import templates_pdf
from plybook.write.ways import choose
from tests.drawing import drawn_pieces as made
from tests.forging import page_bytes, with_page

LAMINATE = made.laminate()
PART = {"number": made.spec().part.number, "revision": made.spec().part.revision}


def spec_for(width=914.0, everything=True):
    return replace(made.spec(), templates=TemplateRules(roll_mm=width, roll_all=everything))


def built(spec):
    """The roll of the hand-made skin, with what plan.json says of it."""
    chosen = [choose(one, spec) for one in draw_pieces(LAMINATE, made.FACE, spec)]
    roll = roll_pdf(spec, chosen)
    cards = templates_pdf(spec, LAMINATE, made.FACE, chosen=chosen).cards
    plan = {
        "part": PART,
        "pieces": [piece_row(piece) for piece in LAMINATE.pieces],
        "figures": [asdict(card) for card in cards],
        "roll": {"width_mm": roll.width_mm, "length_mm": roll.length_mm,
                 "panels": [asdict(p) for p in roll.panels], "left_out": list(roll.left_out)},
    }  # fmt: skip
    return roll, json.loads(json.dumps(plan)), chosen


@pytest.fixture(scope="module")
def narrow():
    return built(spec_for(610.0))


@cache
def svg_files():
    """The cutter's drawings of all pieces."""
    drawings = draw_pieces(LAMINATE, made.FACE, spec_for())
    return {f"templates/{file_name(d.piece.id)}.svg": svg_bytes(d.full) for d in drawings}


def faults(plan, pdf):
    report = Report("out")
    check_roll(plan, {NAME: pdf, **svg_files()}, report)
    return report.faults


@pytest.mark.parametrize("width", [610.0, 841.0, 914.0])
def test_every_outline_is_rebuilt_from_the_roll(width):
    roll, plan, _ = built(spec_for(width))
    assert faults(plan, roll.pdf) == []
    assert {p.piece for p in roll.panels} == {p.id for p in LAMINATE.pieces}
    book = Book(roll.pdf)
    for k in range(book.count):
        page = book.page(k)
        assert page.width_mm == pytest.approx(width, abs=0.1) and page.height_mm < 5000.0
        inked = np.vstack([line.points for line in page.lines if line.mark == "CUT"])
        assert inked.min() >= 0.0 and (inked.max(axis=0) <= (width, page.height_mm)).all()


def test_wide_pieces_are_in_panels_that_cover_them(narrow):
    roll, _, chosen = narrow
    wide = {p.piece for p in roll.panels if p.of > 1}
    assert wide
    for name in wide:
        piece = next(one.piece for one in chosen if one.piece.id == name)
        boxes = [shapely.box(*p.window_mm) for p in roll.panels if p.piece == name]
        cut = shapely.Polygon(cut_outline_mm(piece))
        assert shapely.area(cut.difference(shapely.union_all(boxes))) < 1e-6


def test_the_roll_says_how_long_it_is_and_is_the_same_each_time(narrow):
    roll, _, chosen = narrow
    assert roll_pdf(spec_for(610.0), chosen).pdf == roll.pdf
    book = Book(roll.pdf)
    length = sum(book.page(k).height_mm for k in range(book.count))
    assert length == pytest.approx(roll.length_mm, abs=0.1)
    metres = float(roll.told.split(" m of paper 610 mm wide")[0])
    assert length / 1000.0 <= metres < length / 1000.0 + 0.1


def test_rods_and_straight_sides_need_no_paper():
    roll, plan, chosen = built(spec_for(everything=False))
    assert faults(plan, roll.pdf) == []
    for one in chosen:
        shown = any(p.piece == one.piece.id for p in roll.panels)
        assert shown == needs_paper(one)
        if one.piece.kind == "rod":
            assert not shown
    plan["roll"]["left_out"].append(plan["roll"]["panels"][0]["piece"])
    assert any("or both" in fault for fault in faults(plan, roll.pdf))


def test_a_part_of_rectangles_takes_no_paper():
    spec = spec_for(everything=False)
    roll = roll_pdf(spec, [])
    told = {"width_mm": roll.width_mm, "length_mm": roll.length_mm, "panels": [], "left_out": []}
    plan = {"part": PART, "pieces": [], "roll": told}
    assert faults(plan, roll.pdf) == [] and Book(roll.pdf).count == 1


def bevelled(wide, high):
    """A block whose bevels leave no room for words on it."""
    ring = np.array([(0, 0), (wide, 0), (wide, high), (0, high)], dtype=float)
    middle = ring.mean(axis=0)
    return made.piece(
        "C9.1", ring, kind="core", material="foam8", thickness_mm=8.0,
        bag_side_outline_mm=middle + 0.02 * (ring - middle),
        edges=made.edges_of(ring, ("leading", "tip", "trailing", "root")),
        marks=(Mark("datum", ring[:1], "DATUM STN 7.3 mm, 7.3 mm inside leading"),),
    )  # fmt: skip


@pytest.mark.parametrize("size", [(65, 50), (120, 40), (30, 200), (186, 246)], ids=str)
def test_a_piece_without_room_for_words_is_named_beside_it(size):
    laminate = replace(LAMINATE, pieces=(bevelled(*size),))
    spec = spec_for()
    (one,) = (choose(one, spec) for one in draw_pieces(laminate, made.FACE, spec))
    roll = roll_pdf(spec, [one])
    (page,) = (Book(roll.pdf).page(k) for k in range(Book(roll.pdf).count))
    assert "C9.1" in {words.text for words in page.words}
    book = Book(templates_pdf(spec, laminate, made.FACE, chosen=[one]).pdf)
    printed = {words.text for words in book.page(book.count - 1).words}
    said = {typeset(item.text) for item in one.drawing.bare.items if isinstance(item, Text)}
    assert one.way == "whole" and "C9.1" in printed
    if max(size) < 246:  # there is room on the sheet
        assert said <= printed and len(said) > 8


def in_panels(plan):
    return [p for p in plan["roll"]["panels"] if p["of"] > 1]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p["pieces"][0]["outline_mm"][0].__setitem__(
            0, p["pieces"][0]["outline_mm"][0][0] - 2.0), "off or missing"),
        (lambda p: p["roll"]["panels"][0]["at_mm"].__setitem__(1, 0.0), "no piece's"),
        (lambda p: p["roll"]["panels"][0].update(turn_deg=33.0), "no piece's"),
        (lambda p: p["roll"].update(length_mm=p["roll"]["length_mm"] - 100.0), "plan.json tells"),
        (lambda p: p["roll"].update(width_mm=700.0), "mm"),
        (lambda p: p["roll"].update(left_out=[]) or p["pieces"].append(
            {**p["pieces"][0], "id": "ZZ"}), "ZZ is neither"),
        (lambda p: in_panels(p)[0].update(window_mm=[0.0, 0.0, 1.0, 1.0]), "laid over one another"),
        (lambda p: p["roll"]["panels"].remove(in_panels(p)[0]), "off or missing"),
    ],
)  # fmt: skip
def test_a_forged_plan_of_the_roll_is_caught(narrow, change, words):
    roll, plan, _ = narrow
    forged = json.loads(json.dumps(plan))
    change(forged)
    assert any(words in fault for fault in faults(forged, roll.pdf)), faults(forged, roll.pdf)


def test_a_roll_drawn_smaller_or_shifted_is_caught(narrow):
    roll, plan, _ = narrow
    content = page_bytes(roll.pdf, 0)
    for matrix in (b"0.98 0 0 0.98 0 0", b"1 0 0 1 9 0"):
        forged = with_page(roll.pdf, 0, b"q " + matrix + b" cm " + content + b" Q")
        assert faults(plan, forged), matrix


def test_panels_share_a_strip_and_none_is_wider_than_the_paper():
    ring = np.array([(0.0, 0.0), (2800.0, 100.0), (2700.0, 1300.0), (50.0, 1100.0)])
    for full in (False, True):
        panels = panels_of("P", ring, 900.0, 4900.0, full)
        assert [p.of for p in panels] == [len(panels)] * len(panels) and len(panels) == 2
        for a, b in zip(panels, panels[1:], strict=False):
            shared = shapely.box(*a.box_mm).intersection(shapely.box(*b.box_mm)).bounds
            assert shared[3] - shared[1] == pytest.approx(20.0)
        assert all(p.box_mm[3] - p.box_mm[1] <= 900.0 + 1e-9 for p in panels)
    long = panels_of("S", np.array([(0.0, 0), (11000, 0), (11000, 80), (0, 80)]), 900.0, 4900.0)
    assert len(long) == 3 and all(p.box_mm[2] - p.box_mm[0] <= 4900.0 for p in long)


def test_panels_that_meet_at_a_corner_alone_have_no_crosses_there():
    """Four panels in a square: each joins the two beside it, and the crosses of those strips would
    run into crosses of the panel across."""
    ring = np.array([(0.0, 0.0), (1100.0, 0.0), (1100.0, 1100.0), (0.0, 1100.0)])
    panels = panels_of("P", ring, 600.0, 600.0)
    cut = shapely.Polygon(ring)
    assert len(panels) == 4
    for panel in panels:
        others = [p for p in panels if p is not panel]
        joined = [other for other in others if len(join_crosses(panel, other, cut)) >= 2]
        assert len(joined) == 2
        crosses = [c for other in joined for c in join_crosses(panel, other, cut)]
        apart = shapely.MultiPoint(crosses)
        assert len(apart.buffer(5.0).geoms) == len(crosses)


def test_nothing_overlaps_on_the_paper():
    rng = np.random.default_rng(3)
    rooms = {}
    for k in range(12):
        wide, high = rng.uniform(100, 2500), rng.uniform(80, 1200)
        rooms[f"P{k}"] = np.array([(0, 0), (wide, 0), (wide * 0.9, high), (0, high * 0.8)], float)
    for page in on_paper(rooms, 600.0, 4900.0, 6.0):
        assert page.length_mm <= 4900.0
        shapes = []
        for panel, place in page.placed:
            turn = np.radians(place.rotation_deg)
            c, s = np.cos(turn), np.sin(turn)
            at = panel.ring_mm @ np.array([[c, s], [-s, c]]) + (place.x_mm, place.y_mm)
            assert at.min() > -1e-6 and at[:, 1].max() < 600.0 + 1e-6
            shapes.append(shapely.Polygon(at))
        for k, one in enumerate(shapes):
            for other in shapes[:k]:
                assert one.distance(other) > 6.0 - 1e-6


def test_pages_cut_long_panels_in_two_and_leave_no_paper_between():
    """Twelve strips of 4 m by 280 lie three across; four rows of them take 16 m, and each end of a
    page that runs through three adds the strip that their two parts share."""
    ring = np.array([(0, 0), (4000, 0), (4000, 280), (0, 280)], float)
    rooms = {f"S{k}": ring for k in range(12)}
    pages = on_paper(rooms, 904.0, 4900.0, 4.0)
    length = sum(page.length_mm for page in pages)
    joints = len(pages) - 1
    assert 16000.0 <= length <= 16000.0 + 3 * 4.0 + joints * 20.0 + 1.0
    assert all(page.length_mm <= 4900.0 for page in pages)
    for name in rooms:
        parts = [panel for page in pages for panel, _ in page.placed if panel.piece == name]
        assert sorted(p.number for p in parts) == list(range(1, len(parts) + 1))
        whole = shapely.union_all([shapely.box(*p.box_mm) for p in parts])
        assert whole.symmetric_difference(shapely.Polygon(ring)).area < 1e-3


@pytest.mark.parametrize(
    "inside, height, turn",
    [(shapely.box(0, 0, 300, 100), 7.0, 0.0), (shapely.box(0, 0, 30, 300), 7.0, 90.0),
     (shapely.box(0, 0, 60, 30), 3.5, 0.0)],
)  # fmt: skip
def test_the_name_of_a_panel_is_as_large_as_its_piece_has_room(inside, height, turn):
    name = _clear_name("B1-A.2  panel 2 of 3", inside, inside.bounds, [])
    assert (name.height_mm, name.turn_deg) == (height, turn)
    assert inside.covers(shapely.Polygon(text_box_mm(name)))


def test_the_name_of_a_panel_that_has_no_room_for_it_lies_on_its_paper():
    inside, paper = shapely.box(0, 0, 12, 12), (0.0, 0.0, 200.0, 300.0)
    name = _clear_name("B1-A.2  panel 2 of 3", inside, paper, [])
    assert shapely.box(*paper).covers(shapely.Polygon(text_box_mm(name)))
