"""SVG as other programs read it: lxml for the tree, resvg for the size."""

import re
import struct

import numpy as np
import pytest
import resvg_py
import shapely
from lxml import etree

from plybook.drawing.scene import Circle, Path, Role, Scene, Text
from plybook.write.numbers import NotDrawable
from plybook.write.svg import svg_bytes
from tests.drawing import drawn_pieces as made

NS = {"s": "http://www.w3.org/2000/svg"}
SQUARE = np.array([(0, 0), (100, 0), (100, 50), (0, 50.0)])


def template(piece):
    return made.drawings()[piece.id].full


def tree(data):
    return etree.fromstring(data)


def points(d):
    numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*", d)]
    return np.array(numbers).reshape(-1, 2)


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_the_outline_read_back_is_the_pieces_to_a_hundredth(piece):
    scene = template(piece)
    (path,) = tree(svg_bytes(scene)).findall(".//s:g[@id='CUT']/s:path", NS)
    assert path.get("d").endswith("Z")
    drawn = points(path.get("d")) * (1, -1)  # y points down in SVG
    drawn += piece.outline_mm.min(axis=0) - drawn.min(axis=0)
    true = shapely.LinearRing(piece.outline_mm)
    assert shapely.hausdorff_distance(shapely.LinearRing(drawn), true) < 0.01


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_size_in_millimetres_equals_the_view_box(piece):
    root = tree(svg_bytes(template(piece)))
    _, _, w, h = (float(v) for v in root.get("viewBox").split())
    assert root.get("width") == f"{w:g}mm"
    assert root.get("height") == f"{h:g}mm"


def test_a_sheet_of_two_by_one_inch_is_192_by_96_pixels():
    # CSS: 1 in = 25.4 mm = 96 px (CSS Values 4, absolute lengths)
    scene = Scene((Path(Role.CUT, SQUARE / 2, True),), (0.0, 0.0, 50.8, 25.4))
    png = bytes(resvg_py.svg_to_bytes(svg_string=svg_bytes(scene, False).decode(), dpi=96))
    assert struct.unpack(">II", png[16:24]) == (192, 96)


def test_the_reference_line_is_a_hundred_millimetres():
    root = tree(svg_bytes(template(made.tiny_insert())))
    group = root.find(".//s:g[@id='REFERENCE_100_MM']", NS)
    lengths = [np.ptp(points(p.get("d"))[:, 0]) for p in group.findall("s:path", NS)]
    assert max(lengths) == pytest.approx(100.0)
    assert "REFERENCE_100_MM" not in svg_bytes(template(made.tiny_insert()), False).decode()


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_nothing_importers_skip_is_used(piece):
    """No style sheets, classes, references or transforms on geometry; three decimals at most."""
    root = tree(svg_bytes(template(piece)))
    for element in root.iter():
        tag = etree.QName(element).localname
        assert tag in {"svg", "g", "path", "circle", "text", "title", "desc", "defs"}, tag
        assert element.get("style") is None
        assert element.get("class") is None
        if element.get("transform"):
            assert tag == "text"
        for value in (element.get("d"), element.get("x"), element.get("y")):
            assert not re.search(r"\.\d{4}", value or "")
    for path in root.findall(".//s:g[@id='CUT']/s:path", NS):
        assert path.get("stroke") or path.getparent().get("stroke")


@pytest.mark.parametrize("nasty", [
    "</text><script>alert(1)</script>",
    "a & b < c", "\"quotes' \"", "nul\x00\x07", "half \ud800 pair",
    "]]>", "&#x0;", "Ψ≥漢",
])  # fmt: skip
def test_hostile_words_stay_words(nasty):
    scene = Scene((Text(Role.TEXT, (1, 1), nasty, 5.0),), (0.0, 0.0, 50.0, 20.0), nasty)
    root = tree(svg_bytes(scene))
    assert root.findall(".//s:script", NS) == []
    shown = root.find(".//s:g[@id='TEXT']/s:text", NS).text
    assert shown == nasty.replace("\x00", "").replace("\x07", "").replace("\ud800", "").replace(
        "漢", "?"
    )


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_no_number_that_is_none(bad):
    line = Path(Role.CUT, np.array([(0, 0), (bad, 1), (1, 2)]), True)
    for item in (line, Circle(Role.DATUM, (bad, 0.0), 1.0), Text(Role.TEXT, (0.0, bad), "x", 2.5)):
        with pytest.raises(NotDrawable):
            svg_bytes(Scene((item,), (0.0, 0.0, 10.0, 10.0)))


def test_the_same_drawing_gives_the_same_bytes():
    assert svg_bytes(template(made.core_panel())) == svg_bytes(template(made.core_panel()))
