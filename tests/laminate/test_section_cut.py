"""Sections through the stack: heights along a line against hand geometry."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from plybook.laminate import lay_up
from plybook.laminate.heights import HeightField, block_rise, core_rise, sheet_rise
from plybook.laminate.model import LaidLayer
from plybook.laminate.section_cut import cut_along, section_cuts
from plybook.laminate.sides import name_sides
from plybook.outside import Outside
from plybook.spec import load
from plybook.spec.model import Core, DropRun, Insert, Ply, Treatment, Whole
from plybook.surface import build_face
from tests.laminate.doubles import spec
from tests.laminate.flat_faces import TrapezoidFace

SPECS = Path(__file__).parents[2] / "specs"
FACE = TrapezoidFace(length=1000.0, root=(0.0, 500.0), tip=(0.0, 500.0))
ALL = shapely.box(0, 0, 1000, 500)
CORE = shapely.box(100, 100, 900, 400)
BLOCK = shapely.box(450, 200, 550, 300)
BEVEL = {"": Treatment("bevel", 45.0)}


def laid(name, region, kind="ply", t=0.2):
    return LaidLayer(name, kind, "m", 0.0, "s", t, region, ())


def sandwich():
    layers = [
        laid("A", ALL), laid("C", CORE, "core", 10.0), laid("H", BLOCK, "insert", 10.0),
        laid("B", ALL),
    ]  # fmt: skip
    field = HeightField()
    field = field.with_layer(sheet_rise("A", ALL, 0.2))
    field = field.with_layer(core_rise("C", name_sides(CORE, FACE), 10.0, BEVEL))
    field = field.with_layer(block_rise("H", BLOCK, 0.0))
    return layers, field.with_layer(sheet_rise("B", ALL, 0.2))


def at(band, distance):
    return np.interp(distance, band[1], band[2]), np.interp(distance, band[1], band[3])


def cut(line):
    layers, field = sandwich()
    made = cut_along("x", np.array(line, float), layers, field, {"H": "C"})
    return made, [b[0] for b in made.bands]


def test_a_sandwich_in_section():
    made, order = cut([(300, 500), (300, 0)])
    assert order == ["A", "C", "B"]
    bands = {b[0]: b for b in made.bands}
    assert at(bands["A"], 50) == pytest.approx((0, 0.2))
    # the core's foot lies at 100; 4 mm in the 45 degree ramp is 4 mm high
    assert bands["C"][1][0] == pytest.approx(100, abs=2e-3)
    assert at(bands["C"], 104) == pytest.approx((0.2, 4.2), abs=2e-3)
    assert at(bands["C"], 250) == pytest.approx((0.2, 10.2))
    assert at(bands["B"], 104) == pytest.approx((4.2, 4.4), abs=2e-3)
    assert at(bands["B"], 50) == pytest.approx((0.2, 0.4))


def test_a_block_fills_the_hole_of_its_core():
    made, order = cut([(500, 500), (500, 0)])
    assert order == ["A", "C", "C", "H", "B"]
    block = made.bands[3]
    assert (block[1][0], block[1][-1]) == pytest.approx((200, 300), abs=2e-3)
    assert at(block, 250) == pytest.approx((0.2, 10.2))
    assert made.bands[1][1][-1] == pytest.approx(200, abs=3e-3)
    assert at(made.bands[4], 250) == pytest.approx((10.2, 10.4))


def test_no_band_has_an_upper_face_below_its_lower():
    made, _ = cut([(20, 10), (980, 470)])
    for _, distance, bottom, top in made.bands:
        assert (np.diff(distance) > 0).all()
        assert (top > bottom).all()


def ladder():
    plies, layers, field = [], [], HeightField()
    for i, end in enumerate((700.0, 640.0, 580.0)):
        region = shapely.box(0, 0, end, 500)
        plies.append(Ply(f"R{i}", "twill", "s", Whole(), drop=DropRun("R", i, 3, "tip", 60.0)))
        layers.append(laid(f"R{i}", region))
        field = field.with_layer(sheet_rise(f"R{i}", region, 0.2))
    return plies, layers, field


def test_a_drop_off_run_is_cut_square_to_its_ends():
    plies, layers, field = ladder()
    made = section_cuts(spec(plies), FACE, layers, field)
    drop = next(s for s in made if s.name.startswith("Drop-off R"))
    assert np.ptp(drop.line_mm[:, 1]) == pytest.approx(0, abs=1e-6)
    assert np.sort(drop.line_mm[:, 0]) == pytest.approx([460, 820])
    ends = {b[0]: b[1][-1] + drop.line_mm[0, 0] for b in drop.bands}
    assert ends == pytest.approx({"R0": 700, "R1": 640, "R2": 580}, abs=3e-3)


def test_mid_span_and_hardpoint_are_always_shown():
    layers, field = sandwich()
    the_spec = spec(
        [
            Ply("A", "twill", "s", Whole()),
            Core("C", "foam", "s", Whole(), thickness_mm=10.0),
            Insert("H", "foam", "s", Whole(), core="C"),
            Ply("B", "twill", "s", Whole()),
        ]
    )
    made = section_cuts(the_spec, FACE, layers, field)
    assert [s.name.split(",")[0] for s in made] == ["Section across the middle", "Hardpoint H"]
    assert made[0].name.endswith("leading to trailing")
    assert made[0].line_mm == pytest.approx(np.array([[500, 500], [500, 0]]), abs=0.05)
    assert [b[0] for b in made[1].bands] == ["A", "C", "C", "H", "B"]


def test_a_layer_off_the_line_has_no_band():
    layers, field = sandwich()
    layers = [replace(layers[0], region=shapely.box(0, 0, 100, 500)), *layers[1:]]
    made = cut_along("x", np.array([(300, 500), (300, 0)], float), layers, HeightField(), {})
    assert made.bands == ()


def test_a_laid_up_part_shows_each_layer_that_its_sections_cross():
    """The shipped hatch: a ply under the line has a band as high as the ply is thick."""
    (part, *_) = load(SPECS / "hatch.yaml", Outside()).specs
    laminate = lay_up(part, build_face(part))
    assert laminate.sections
    seen = 0
    for cut in laminate.sections:
        line = shapely.LineString(cut.line_mm)
        heights = {}
        for name, _, bottom, top in cut.bands:
            heights[name] = max(heights.get(name, 0.0), float((top - bottom).max()))
        for layer in laminate.layers:
            if layer.kind == "ply" and line.intersection(layer.region).length > 20.0:
                assert heights[layer.id] == pytest.approx(layer.thickness_mm, rel=0.02), cut.name
                seen += 1
    assert seen >= 4
