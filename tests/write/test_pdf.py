"""PDF as pdfium reads it: page sizes, scale, words, print settings, and same bytes."""

import ctypes
from dataclasses import replace

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
import pytest
import shapely

from plybook.drawing.scene import Circle, Path, Role, Scene, Text
from plybook.write.fullsize import fullsize_pdf
from plybook.write.numbers import NotDrawable
from plybook.write.paper import LARGEST_PAGE_MM
from plybook.write.pdf import draw_scene, new_canvas
from tests.drawing import drawn_pieces as made

MM = 72 / 25.4
SQUARE = np.array([(0, 0), (100, 0), (100, 50), (0, 50.0)])


def file_of(scene, size=(210.0, 297.0), **how):
    canvas, buffer = new_canvas(*size, "test")
    draw_scene(canvas, scene, 10 * MM, 20 * MM, **how)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def lines_of(page):
    """(points in page mm, line width in mm) of every stroked path object, from pdfium."""
    found = []
    for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
        points = []
        for k in range(raw.FPDFPath_CountSegments(thing)):
            segment = raw.FPDFPath_GetPathSegment(thing, k)
            x, y = ctypes.c_float(), ctypes.c_float()
            raw.FPDFPathSegment_GetPoint(segment, x, y)
            points.append((x.value / MM, y.value / MM))
            if raw.FPDFPathSegment_GetClose(segment):
                points.append(points[0])
        width, fill, stroke = ctypes.c_float(), ctypes.c_int(), ctypes.c_int()
        raw.FPDFPageObj_GetStrokeWidth(thing, width)
        raw.FPDFPath_GetDrawMode(thing, fill, stroke)
        if stroke.value:
            found.append((np.array(points), width.value / MM))
    return found


def words_of(page):
    return page.get_textpage().get_text_range()


@pytest.mark.parametrize("scale", [1.0, 0.5, 0.1])
def test_a_line_of_a_scene_is_that_long_on_paper(scale):
    data = file_of(Scene((Path(Role.CUT, SQUARE, True),), (0.0, 0.0, 100.0, 50.0)), scale=scale)
    ((points, width),) = lines_of(pdfium.PdfDocument(data)[0])
    assert np.ptp(points[:, 0]) == pytest.approx(100 * scale, abs=0.002)
    assert points.min(axis=0) == pytest.approx((10.0, 20.0), abs=0.002)
    assert width == pytest.approx(0.7, abs=0.001)  # the page's line width, at any scale


def test_a_printer_that_prints_short_is_made_up_for():
    scene = Scene((Path(Role.CUT, SQUARE, True),), (0.0, 0.0, 100.0, 50.0))
    ((points, _),) = lines_of(pdfium.PdfDocument(file_of(scene, stretch=(1.01, 0.99)))[0])
    assert np.ptp(points, axis=0) == pytest.approx((101.0, 49.5), abs=0.002)


def test_the_file_asks_not_to_be_scaled_and_repeats_to_the_byte():
    scene = made.drawings()["C1.1"].full
    data = file_of(scene)
    assert b"/PrintScaling /None" in data
    assert data == file_of(scene)
    assert b"/CreationDate (D:20000101000000" in data  # fixed, never the clock


def test_a_clip_writes_only_what_lies_in_it():
    far = Path(Role.CUT, SQUARE + (5000.0, 0.0), True, tag="far")
    word = Text(Role.TEXT, (5000.0, 10.0), "FARAWAY", 5.0)
    scene = Scene((Path(Role.CUT, SQUARE, True), far, word), (0.0, 0.0, 6000.0, 100.0))
    page = pdfium.PdfDocument(file_of(scene, clip=(50.0, -10.0, 150.0, 60.0)))[0]
    assert "FARAWAY" not in words_of(page)
    points = np.vstack([p for p, _ in lines_of(page)])
    assert points[:, 0].max() <= 10.0 + 100.0 + 1.1
    assert len(lines_of(page)) == 1  # three sides of the square as one run


def test_dashes_carry_on_from_tile_to_tile():
    """The dash phase at a clip's edge is the distance from the line's start."""
    line = Path(Role.NET, np.array([(0.0, 5.0), (1000.0, 5.0)]))
    scene = Scene((line,), (0.0, 0.0, 1000.0, 10.0))
    data = file_of(scene, clip=(303.0, 0.0, 400.0, 10.0))
    (thing,) = pdfium.PdfDocument(data)[0].get_objects(filter=[raw.FPDF_PAGEOBJ_PATH])
    phase = ctypes.c_float()
    raw.FPDFPageObj_GetDashPhase(thing, phase)
    assert phase.value / MM == pytest.approx((303.0 - 1.0) % 8.0, abs=0.01)  # 6 on, 2 off


@pytest.mark.parametrize("clip", [None, (0.0, 0.0, 10.0, 10.0)])
@pytest.mark.parametrize("bad", [
    Path(Role.STATION, np.array([(0, 0), (np.nan, 1)])),
    Circle(Role.DATUM, (np.inf, 0.0), 1.0),
    Text(Role.TEXT, (0.0, np.nan), "x", 5.0),
])  # fmt: skip
def test_no_number_that_is_none(bad, clip):
    with pytest.raises(NotDrawable):
        file_of(Scene((bad,), (0.0, 0.0, 10.0, 10.0)), clip=clip)


@pytest.mark.parametrize(
    "nasty", ["(a) \\ b) Tj", "<</JS>>", "Łódź ±45°", "nul\x00", "漢", ") ET Q"]
)
def test_hostile_words_are_shown_as_words(nasty):
    scene = Scene((Text(Role.TEXT, (5.0, 5.0), nasty, 5.0),), (0.0, 0.0, 100.0, 20.0))
    shown = words_of(pdfium.PdfDocument(file_of(scene))[0]).strip()
    assert shown == nasty.replace("\x00", "").replace("漢", "?")


def test_full_size_pages_have_the_size_of_their_piece_and_its_outline():
    data = fullsize_pdf(made.spec(), made.laminate(), made.FACE)
    document = pdfium.PdfDocument(data)
    assert len(document) == len(made.all_pieces())
    for page, piece in zip(document, made.all_pieces(), strict=True):
        scene = made.drawings()[piece.id].full
        x0, y0, x1, y1 = scene.window_mm
        assert page.get_width() / MM == pytest.approx(x1 - x0, abs=0.01)
        assert page.get_height() / MM == pytest.approx(y1 - y0, abs=0.01)
        true = shapely.LinearRing(piece.outline_mm - (x0, y0))
        found = [shapely.hausdorff_distance(shapely.LinearRing(p), true)
                 for p, w in lines_of(page) if abs(w - 0.7) < 0.01 and len(p) > 3]  # fmt: skip
        assert min(found) < 0.01
        assert piece.id in words_of(page)


def test_a_piece_longer_than_readers_show_runs_over_several_pages():
    # 14400 units = 5080 mm (ISO 32000-1, annex C, implementation limits)
    ring = np.array([(0, 0), (9000, 0), (9000, 300), (0, 300.0)])
    piece = made.piece("L1", ring, edges=made.edges_of(ring, ("front", "tip", "rear", "root")))
    laminate = replace(made.laminate(), pieces=(piece,))
    document = pdfium.PdfDocument(fullsize_pdf(made.spec(), laminate, made.FACE))
    assert len(document) == 2
    assert all(page.get_width() / MM <= LARGEST_PAGE_MM for page in document)
    assert sum(page.get_width() / MM for page in document) > 9000 + 90  # they overlap
