"""DXF as another library reads it: GDAL through pyogrio, and the file's own tags."""

import os
from dataclasses import replace

import numpy as np
import pyogrio.raw
import pytest
import shapely

from plybook.drawing.scene import Circle, Path, Role, Scene, Text
from plybook.drawing.template import template_scene
from plybook.write.dxf import dxf_bytes, dxf_text
from plybook.write.numbers import NotDrawable
from tests.drawing import drawn_pieces as made

os.environ["DXF_ENCODING"] = "UTF-8"  # R2007 and later files are UTF-8 (DXF reference)
SQUARE = np.array([(0, 0), (100, 0), (100, 50), (0, 50.0)])


def scene_of(*items):
    return Scene(tuple(items), (0.0, 0.0, 200.0, 100.0), "T")


def template(piece):
    if not piece.notes:
        return made.drawings()[piece.id].full
    return template_scene(piece, made.laminate(), made.FACE, made.spec())


def read(data, tmp_path):
    """Layer, geometry and text of every entity, as GDAL sees them."""
    path = tmp_path / "drawing.dxf"
    path.write_bytes(data)
    meta, _, shapes, fields = pyogrio.raw.read(path)
    column = dict(zip(meta["fields"], fields, strict=True))
    return list(zip(column["Layer"], shapely.from_wkb(shapes), column["Text"], strict=True))


def header(data, name):
    lines = data.decode("utf-8").splitlines()
    return lines[lines.index(name) + 2].strip()


@pytest.mark.parametrize("legacy", [False, True])
@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_the_outline_read_back_is_the_pieces_to_a_hundredth(piece, legacy, tmp_path):
    entities = read(dxf_bytes(template(piece), legacy), tmp_path)
    (cut,) = [shape for layer, shape, _ in entities if layer == "CUT"]
    ring = np.array(cut.coords)[:, :2]
    assert np.allclose(ring[0], ring[-1]), (
        "GDAL gives a closed polyline as a line that meets itself"
    )
    true = shapely.LinearRing(piece.outline_mm)
    assert shapely.hausdorff_distance(shapely.LinearRing(ring), true) < 0.01
    inner = [shape for layer, shape, _ in entities if layer == "CUT_INNER"]
    assert len(inner) == len(piece.holes_mm)


def test_units_are_millimetres_and_the_measurement_is_metric():
    # $INSUNITS 4 = millimetres, $MEASUREMENT 1 = metric, AC1024 = R2010 (Autodesk DXF reference)
    data = dxf_bytes(scene_of(Path(Role.CUT, SQUARE, True)))
    assert header(data, "$INSUNITS") == "4"
    assert header(data, "$MEASUREMENT") == "1"
    assert header(data, "$ACADVER") == "AC1024"


def test_the_legacy_profile_is_r12_in_plain_ascii_with_old_polylines():
    words = Text(Role.TEXT, (1, 1), "BEVEL 45° ±0.5 · Łódź →", 5.0)
    data = dxf_bytes(scene_of(Path(Role.CUT, SQUARE, True), words), legacy=True)
    assert header(data, "$ACADVER") == "AC1009"
    text = data.decode("ascii")
    assert "LWPOLYLINE" not in text
    assert "POLYLINE" in text
    assert "45%%d %%p0.5" in text


@pytest.mark.parametrize("legacy", [False, True])
def test_the_reference_line_is_a_hundred_millimetres(legacy, tmp_path):
    entities = read(dxf_bytes(scene_of(Path(Role.CUT, SQUARE, True)), legacy), tmp_path)
    lengths = [shape.length for layer, shape, _ in entities if layer == "REGISTRATION"]
    assert max(lengths) == pytest.approx(100.0, abs=1e-6)


@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_layers_have_plain_names_and_words_have_layers_of_their_own(piece, tmp_path):
    entities = read(dxf_bytes(template(piece)), tmp_path)
    for layer, shape, text in entities:
        assert len(layer) <= 31
        assert layer.replace("_", "").isalnum()
        assert layer == layer.upper()
        assert bool(text) == (shape.geom_type == "Point")
    lined = {layer for layer, _, text in entities if not text}
    worded = {layer for layer, _, text in entities if text}
    assert not lined & worded


def test_inner_cuts_come_before_the_outline(tmp_path):
    hole = np.array([(20, 20), (40, 20), (40, 40), (20, 40.0)])
    data = dxf_bytes(scene_of(Path(Role.CUT, SQUARE, True), Path(Role.CUT_INNER, hole, True)))
    layers = [layer for layer, _, _ in read(data, tmp_path) if layer.startswith("CUT")]
    assert layers == ["CUT_INNER", "CUT"]


@pytest.mark.parametrize("legacy", [False, True])
def test_the_same_drawing_gives_the_same_bytes(legacy):
    scene = template(made.core_panel())
    assert dxf_bytes(scene, legacy) == dxf_bytes(scene, legacy)


BAD = {
    "nan": np.array([(0, 0), (np.nan, 0), (100, 50)]),
    "infinity": np.array([(0, 0), (np.inf, 0), (100, 50)]),
    "bow tie": np.array([(0, 0), (100, 50), (100, 0), (0, 50.0)]),
    "touches itself": np.array([(0, 0), (50, 0), (50, 50), (25, 0), (0, 50.0)]),
    "repeated point": np.array([(0, 0), (100, 0), (100, 0), (100, 50.0)]),
    "first point repeated": np.array([(0, 0), (100, 0), (100, 50), (0, 0.0)]),
    "two points": np.array([(0, 0), (100, 0.0)]),
    "no area": np.array([(0, 0), (50, 0), (100, 0.0)]),
}


@pytest.mark.parametrize("name", sorted(BAD))
def test_a_bad_cut_is_refused(name):
    with pytest.raises(NotDrawable):
        dxf_bytes(scene_of(Path(Role.CUT, BAD[name], True, tag="X1")))


def test_an_open_cut_and_a_cut_drawn_twice_are_refused():
    with pytest.raises(NotDrawable, match="open"):
        dxf_bytes(scene_of(Path(Role.CUT, SQUARE, False)))
    with pytest.raises(NotDrawable, match="twice"):
        dxf_bytes(scene_of(Path(Role.CUT, SQUARE, True), Path(Role.CUT, SQUARE, True)))


@pytest.mark.parametrize("item", [
    Path(Role.STATION, np.array([(0, 0), (np.nan, 1)])),
    Text(Role.TEXT, (np.inf, 0.0), "x", 5.0),
    Circle(Role.DATUM, (0.0, 0.0), -1.0),
    Circle(Role.DATUM, (0.0, np.nan), 1.0),
])  # fmt: skip
def test_a_mark_that_is_no_number_is_refused(item):
    with pytest.raises(NotDrawable):
        dxf_bytes(scene_of(item))


@pytest.mark.parametrize(("given", "shown"), [
    ("100%%d", "100% %d"), ("%%%%u", "% % % %u"), ("a^Jb", "a^ Jb"), ("\\U+0041", "/U+0041"),
    ("{\\fArial;x}", "{/fArial;x}"), ("two\nlines", "two lines"), ("nul\x00", "nul"),
])  # fmt: skip
def test_codes_in_a_name_are_disarmed(given, shown):
    assert dxf_text(given) == shown


@pytest.mark.parametrize("legacy", [False, True])
@pytest.mark.parametrize("nasty", ["0\nSECTION", "  0\r\nEOF\r\n", "%%c%%u", "Ψ漢字", "\x1b[31m"])
def test_hostile_words_do_not_add_entities(nasty, legacy, tmp_path):
    plain = template(made.channel_ply())
    piece = replace(made.channel_ply(), notes=(nasty,))
    entities = read(dxf_bytes(template(piece), legacy), tmp_path)
    cuts = [shape for layer, shape, _ in entities if layer == "CUT"]
    assert len(cuts) == 1
    assert len([t for *_, t in entities if t]) >= len([i for i in plain.items
                                                      if isinstance(i, Text)]) - 4  # fmt: skip
    assert not any("\n" in (t or "") for *_, t in entities)
