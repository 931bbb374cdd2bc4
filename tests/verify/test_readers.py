"""The verifier's readers and plane geometry against libraries they share nothing with."""

import io

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plybook.verify import plane
from plybook.verify.dxf_tags import read_dxf
from plybook.verify.pdf_pages import Book
from plybook.verify.svg_paths import read_svg

SQUARE = np.array([[0.0, 0], [100, 0], [100, 50], [0, 50]])


@st.composite
def star_rings(draw, at=(0.0, 0.0)):
    """Simple rings: points at rising angles round a centre, so no side crosses another."""
    count = draw(st.integers(3, 24))
    radii = np.array(draw(st.lists(st.floats(5, 100), min_size=count, max_size=count)))
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([radii * np.cos(turn), radii * np.sin(turn)]) + at


@given(star_rings())
@settings(max_examples=60, deadline=None)
def test_area_and_length_agree_with_geos(ring):
    polygon = shapely.Polygon(ring)
    assert plane.area(ring) == pytest.approx(polygon.area, rel=1e-9)
    assert plane.length(ring) == pytest.approx(polygon.length, rel=1e-9)


@given(star_rings(), st.integers(0, 23), st.floats(-150, 150), st.floats(-150, 150))
@settings(max_examples=150, deadline=None)
def test_simple_means_what_geos_means_by_valid(ring, index, x, y):
    """Of points as far apart as the rounding of plan.json tells them."""
    assume(np.hypot(*(ring - (x, y)).T).min() > 1e-4)
    moved = ring.copy()
    moved[index % len(ring)] = (x, y)
    assert plane.is_simple(moved) == shapely.Polygon(moved).is_valid


@given(star_rings(), star_rings(at=(120.0, 40.0)))
@settings(max_examples=100, deadline=None)
def test_clearance_agrees_with_geos(one, other):
    a, b = shapely.Polygon(one), shapely.Polygon(other)
    if a.intersection(b).area > 1e-6:
        assert plane.clearance(one, other) == -1
    elif a.distance(b) > 1e-6:
        assert plane.clearance(one, other) == pytest.approx(a.distance(b), abs=1e-9)


@given(star_rings(), st.lists(st.tuples(st.floats(-120, 120), st.floats(-120, 120)), min_size=1))
@settings(max_examples=60, deadline=None)
def test_distance_and_inside_agree_with_geos(ring, points):
    points = np.array(points)
    polygon = shapely.Polygon(ring)
    expected = [polygon.exterior.distance(shapely.Point(p)) for p in points]
    assert plane.distance_to_path(points, ring) == pytest.approx(expected, abs=1e-9)
    clear = np.array(expected) > 1e-6
    assert (plane.inside(points, ring) == shapely.contains_xy(polygon, points))[clear].all()


def test_one_ring_inside_another_overlaps():
    assert plane.clearance(SQUARE, SQUARE * 0.2 + 30) == -1


def dxf_text(version, **header):
    drawing = ezdxf.new(version, units=4)
    space = drawing.modelspace()
    drawing.layers.add("CUT")
    if version == "R12":
        space.add_polyline2d(SQUARE, close=True, dxfattribs={"layer": "CUT"})
    else:
        space.add_lwpolyline(SQUARE, close=True, dxfattribs={"layer": "CUT"})
    space.add_line((0, 0), (3, 4), dxfattribs={"layer": "FIBRE"})
    space.add_circle((1, 2), 3, dxfattribs={"layer": "DATUM"})
    space.add_text("P1", height=7, dxfattribs={"layer": "ID", "insert": (5, 6)})
    stream = io.StringIO()
    drawing.write(stream)
    return stream.getvalue().encode()


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_dxf_reader_reads_what_another_library_wrote(version):
    drawing = read_dxf(dxf_text(version))
    cut = next(p for p in drawing.polylines if p.layer == "CUT")
    assert cut.closed and not cut.bulged
    assert cut.points == pytest.approx(SQUARE)
    assert drawing.circles == [("DATUM", 1.0, 2.0, 3.0)]
    assert [(t.layer, t.text, t.height) for t in drawing.texts] == [("ID", "P1", 7.0)]
    if version != "R12":
        assert drawing.header["$INSUNITS"] == "4"


@pytest.mark.parametrize("damage", [lambda d: d[: len(d) // 2], lambda d: b"", lambda d: b"x\ny\n"])
def test_a_damaged_dxf_is_refused(damage):
    with pytest.raises(ValueError):
        read_dxf(damage(dxf_text("R2010")))


def test_svg_reader_turns_y_up_and_keeps_millimetres():
    text = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" '
        b'viewBox="0 0 200 100"><g id="CUT"><path d="M0 100 L100 100 100 50 0 50z"/></g>'
        b'<g id="ID"><text x="5" y="5" textLength="10" font-size="3">P1 &amp; P2</text>'
        b'<text x="5" y="5" textLength="10" transform="rotate(90 5 5)">up</text></g></svg>'
    )
    drawing = read_svg(text)
    assert drawing.unit_mm == 1.0
    (path,) = drawing.paths
    assert (path.layer, path.closed) == ("CUT", True)
    assert path.points - path.points.min(axis=0) == pytest.approx(SQUARE)
    level, upright = drawing.texts
    assert (level.layer, level.text, level.at, level.height) == ("ID", "P1 & P2", (10, -5), 3)
    assert upright.at == pytest.approx((5, -10))  # SVG turns clockwise for a positive angle


@pytest.mark.parametrize(
    "text",
    [
        b"<svg",
        b'<svg xmlns="http://www.w3.org/2000/svg" width="200" height="100" viewBox="0 0 1 1"/>',
        b'<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg"/>',
        b'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">'
        b'<path d="M0 0 C1 1 2 2 3 3"/></svg>',
    ],
)
def test_an_svg_that_a_cutter_would_misread_is_refused(text):
    with pytest.raises(ValueError):
        read_svg(text)


def test_pdf_reader_reads_marked_lines_sizes_and_words():
    from reportlab.lib.pagesizes import A4
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=A4, invariant=1, pageCompression=1)
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.translate(72, 72)
    canvas._code.append("/CUT BMC")
    pen = canvas.beginPath()
    pen.moveTo(0, 0)
    pen.lineTo(72, 0)
    pen.lineTo(72, 144)
    pen.close()
    canvas.drawPath(pen)
    canvas._code.append("EMC")
    canvas.line(0, 0, 10, 10)
    canvas.drawString(10, 10, "P1 (left)")
    canvas.save()
    book = Book(buffer.getvalue())
    assert book.prints_at_full_size and book.count == 1
    page = book.page(0)
    # ISO 216: A4 is 210 x 297 mm
    assert (page.width_mm, page.height_mm) == pytest.approx((210, 297), abs=0.001)
    cut = [line for line in page.lines if line.mark == "CUT"]
    assert len(cut) == 1 and cut[0].closed
    assert cut[0].points == pytest.approx(
        np.array([[25.4, 25.4], [50.8, 25.4], [50.8, 76.2]]), abs=1e-3
    )
    assert "P1 (left)" in book.words(0)
    (words,) = page.words
    assert words.at_mm == pytest.approx((82 * 25.4 / 72, 82 * 25.4 / 72))


@pytest.mark.parametrize("data", [b"", b"%PDF-1.4\n", b"%PDF-1.4\nnothing here\n%%EOF\n"])
def test_a_damaged_pdf_is_refused(data):
    with pytest.raises(ValueError):
        Book(data)


def test_the_way_out_of_a_ring_is_measured_along_the_way():
    """Out of a strip of 100 by 50 mm: straight up, straight along, and slanting (3-4-5)."""
    start = np.array([[20.0, 10], [20, 10], [60, 10]])
    ways = np.array([[0.0, 1], [1, 0], [0.6, 0.8]])
    assert plane.way_out(start, ways, SQUARE) == pytest.approx([40.0, 80.0, 50.0])
