"""Tiles: paper sizes, joints that meet on both sheets, every line on some sheet, no mark too near
the edge of the paper."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely

from plybook.drawing.scene import Path, Role
from plybook.spec.model import TemplateRules
from plybook.write import tile_pages
from plybook.write.paper import (
    EDGE_MM,
    OVERLAP_MM,
    PAPERS_MM,
    PITCH_MM,
    TILE_MM,
    grid_for,
    letters,
)
from plybook.write.templates import _shared_sheets, templates_pdf
from plybook.write.tiles import around_tile, tile
from tests.drawing import drawn_pieces as made
from tests.write.test_pdf import MM, lines_of, words_of


def in_tiles(**workshop):
    """The hand-made skin with every piece printed in tiles."""
    spec = replace(made.spec(), templates=TemplateRules(way="tiles"))
    return replace(spec, workshop=replace(spec.workshop, **workshop))


@pytest.fixture(scope="module")
def tiled():
    return templates_pdf(in_tiles(), made.laminate(), made.FACE)


@pytest.fixture(scope="module")
def document(tiled):
    return pdfium.PdfDocument(tiled.pdf)


def test_paper_sizes():
    # ISO 216: A4 is 210 by 297 mm. ASME Y14.1: size A is 8.5 by 11 in.
    assert PAPERS_MM["a4"] == (210.0, 297.0)
    assert PAPERS_MM["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))


def test_one_tile_suits_both_papers():
    for wide, high in PAPERS_MM.values():
        assert TILE_MM[0] <= wide - 2 * EDGE_MM
        assert TILE_MM[1] <= high - 2 * EDGE_MM


@pytest.mark.parametrize(("length", "columns"), [(190.0, 1), (190.1, 2), (370.0, 2), (370.1, 3),
                                                 (4048.0, 23)])  # fmt: skip
def test_the_fewest_tiles_that_hold_a_length(length, columns):
    grid = grid_for((0.0, 0.0, length, 100.0))
    assert grid.columns == columns
    first, last = grid.window(0, 0), grid.window(0, columns - 1)
    assert first[0] <= 0.0
    assert last[2] >= length


def test_neighbouring_tiles_share_ten_millimetres():
    grid = grid_for((0.0, 0.0, 1000.0, 1000.0))
    a, right, below = grid.window(0, 0), grid.window(0, 1), grid.window(1, 0)
    assert a[2] - right[0] == OVERLAP_MM
    assert below[3] - a[1] == OVERLAP_MM
    assert right[0] - a[0] == PITCH_MM[0]


def test_tile_names():
    grid = grid_for((0.0, 0.0, 1000.0, 1000.0))
    assert grid.name(1, 2) == "2-3"
    assert [letters(k) for k in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_every_line_lies_on_some_printed_tile(piece):
    scene = made.drawings()[piece.id].bare
    cut = tile(scene)
    paper = shapely.union_all([shapely.box(*cut.grid.window(*at)) for at in cut.printed])
    for item in scene.items:
        if isinstance(item, Path) and item.role is not Role.FILL:
            points = item.points_mm
            ring = np.vstack([points, points[:1]]) if item.closed else points
            assert paper.buffer(1e-6).covers(shapely.LineString(ring)), item.role


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_joints_carry_the_same_letter_and_crosses_at_the_same_place_of_the_piece(piece):
    cut = tile(made.drawings()[piece.id].bare)
    assert len({j.letter for j in cut.joints}) == len(cut.joints)
    for joint in cut.joints:
        for side in (joint.first, joint.second):
            window = cut.grid.window(*side)
            marks = around_tile(cut, side, (0.0, 0.0)).items
            centres = [np.add(i.centre_mm, window[:2]) for i in marks if hasattr(i, "centre_mm")]
            for cross in joint.crosses_mm:
                assert min(np.hypot(*(np.array(centres) - cross).T)) < 1e-9
                inside = shapely.box(*window).buffer(-4.0)
                assert inside.contains(shapely.Point(cross))  # the whole cross is printed
            assert joint.letter in [getattr(i, "text", "") for i in marks]


def test_marks_of_a_tile_never_hide_the_drawing():
    cut = tile(made.drawings()["C1.1"].bare)
    for at in cut.printed:
        for item in around_tile(cut, at, (0.0, 0.0)).items:
            assert not getattr(item, "fill", "")
            assert not getattr(item, "halo", False)


def test_the_letter_of_a_joint_keeps_off_the_lines_where_it_can():
    cut = tile(made.drawings()["C1.1"].bare)
    lines = shapely.union_all([
        shapely.LineString(i.points_mm) for i in cut.scene.items
        if isinstance(i, Path) and i.role is not Role.FILL
    ])  # fmt: skip
    hit = [j for j in cut.joints if shapely.Point(j.letter_at_mm).buffer(3.6).intersects(lines)]
    assert len(hit) <= len(cut.joints) // 10


def test_crosses_stand_at_a_quarter_and_three_quarters_of_the_edge():
    cut = tile(made.drawings()["S2.1"].bare)
    joint = next(j for j in cut.joints if j.first[0] == j.second[0])
    y0 = cut.grid.window(*joint.first)[1]
    assert sorted((y - y0) / TILE_MM[1] for _, y in joint.crosses_mm) == pytest.approx([0.25, 0.75])


def test_blank_tiles_are_left_out():
    cut = tile(made.drawings()["S2.1"].bare)
    assert 0 < len(cut.printed) < cut.grid.rows * cut.grid.columns


def test_every_page_is_the_paper_asked_for(document):
    for page in document:
        # A4 is 595.276 by 841.890 points (210 and 297 mm at 72 to 25.4)
        assert page.get_size() == pytest.approx((595.2756, 841.8898), abs=0.001)
    letter = templates_pdf(in_tiles(paper="letter"), made.laminate(), made.FACE)
    page = pdfium.PdfDocument(letter.pdf)[0]
    assert page.get_size() == pytest.approx((612.0, 792.0), abs=0.001)


def test_nothing_is_printed_nearer_than_ten_millimetres_to_the_edge(document):
    """Every fifth page is rendered at 2 dots per mm; the margin must stay white."""
    for number in range(0, len(document), 5):
        ink = document[number].render(scale=2 / MM).to_numpy().min(axis=2) < 250
        rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
        margin = 2 * EDGE_MM - 2
        assert rows[0] >= margin
        assert columns[0] >= margin
        assert rows[-1] < ink.shape[0] - margin
        assert columns[-1] < ink.shape[1] - margin


def test_the_outline_put_together_from_its_tiles_is_the_pieces(tiled, document):
    for piece in made.all_pieces():
        true = shapely.LinearRing(piece.outline_mm)
        runs = []
        for sheet in (s for s in tiled.sheets if s.piece == piece.id):
            for points, width in lines_of(document[sheet.page - 1]):
                if abs(width - 0.7) < 0.01:
                    at = (points - sheet.corner_mm) / sheet.stretch + sheet.window_mm[:2]
                    runs.append(shapely.LineString(at))
        drawn = shapely.union_all([r.buffer(0.01) for r in runs])
        missed = true.difference(drawn)
        assert missed.length < 0.05, piece.id


def test_every_tile_says_what_it_belongs_to(tiled, document):
    for sheet in tiled.sheets:
        words = words_of(document[sheet.page - 1])
        for must in (sheet.piece, "HL-W-101 rev B", "LEFT HAND", f"page {sheet.page} of",
                     "print at 100 %"):  # fmt: skip
            assert must in words


def test_the_printer_test_has_long_rulers_both_ways():
    # 3 % too small is 5.4 mm on 180 and 7.2 mm on 240
    lines = [
        i.points_mm
        for i in tile_pages.test_page(made.spec(), (10.0, 10.0)).items
        if isinstance(i, Path)
    ]
    across = max(np.ptp(p[:, 0]) for p in lines)
    up = max(np.ptp(p[:, 1]) for p in lines)
    assert (across, up) == tile_pages.RULERS_MM == (180.0, 240.0)


def test_a_printer_that_prints_short_gets_larger_drawings():
    spec = in_tiles(printer_x_pct=99.0, printer_y_pct=101.0)
    tiled = templates_pdf(spec, made.laminate(), made.FACE)
    page = pdfium.PdfDocument(tiled.pdf)[0]
    ruler = max((p for p, _ in lines_of(page)), key=lambda p: np.ptp(p[:, 0]))
    assert np.ptp(ruler[:, 0]) * 0.99 == pytest.approx(180.0, abs=0.01)
    assert "99 mm across" in words_of(page)


def test_the_page_map_gives_the_check_lines(document):
    text = next(words_of(page) for page in document if "S2.1" in words_of(page)
                and "after taping" in words_of(page))  # fmt: skip
    corners = made.wing_ply().outline_mm
    longest = max(np.hypot(*(a - b)) for a in corners for b in corners)
    assert f"{round(2 * longest) / 2:g} mm" in text  # as a tape shows it


def test_the_same_plan_gives_the_same_bytes(tiled):
    assert templates_pdf(in_tiles(), made.laminate(), made.FACE).pdf == tiled.pdf
    assert b"/PrintScaling /None" in tiled.pdf


def small_piece(name):
    return SimpleNamespace(
        piece=SimpleNamespace(id=name), printed=SimpleNamespace(window_mm=(0.0, 0.0, 60.0, 40.0))
    )


def test_a_sheet_has_one_piece_at_most_that_cuts_others():
    """The words of each stand in the head, which has room for those of one."""
    small = [small_piece(name) for name in ("A", "B", "C", "D")]
    ids = [[one.piece.id for one, *_ in sheet] for sheet in _shared_sheets(small, {"A", "C"})]
    assert ids == [["A", "B"], ["C", "D"]]
    (sheet,) = _shared_sheets(small, {"A"})
    assert [one.piece.id for one, *_ in sheet] == ["A", "B", "C", "D"]
