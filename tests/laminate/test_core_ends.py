"""The end of a core, against the bend arithmetic on either side of it.

Across the web of a channel a ply over a core with bevels of a degrees is 2 (t / sin a - t / tan a)
longer than beside the core's end (elementary trigonometry). No flat piece can change its width so
fast; the one of least strain has to lie between the two.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate.core_ends import core_end_findings, gain_mm
from plybook.laminate.layup import LayUp
from plybook.laminate.model import LaidLayer
from plybook.laminate.regions import Regions
from plybook.spec.model import (
    AtShare,
    Common,
    Core,
    Inset,
    Ply,
    ShareBand,
    StationMould,
    Treatment,
    Whole,
)
from plybook.surface import build_face
from tests.laminate.doubles import cloth, spec
from tests.laminate.test_over_core_bends import CORE, EDGES, RAMP, SPANS, channel

ROOT_END = 250.0


def sparlike(over=None, angle=45.0, thick=CORE):
    """A tapered channel with a core on its web, clear of both ends, and one ply over it."""
    region = Common((ShareBand(0.36, 0.64), Inset((("root", ROOT_END), ("tip", 80.0)))))
    bevels = (("", Treatment("bevel", angle)),)
    core = Core("C", "foam", "s", region, thickness_mm=thick, edges=bevels)
    ply = Ply("F", "twill", "s", over or Whole(), angle_deg=0.0)
    stations = tuple(channel(s) for s in SPANS)
    mould = StationMould(stations, "all", 0.0, 1.0, "male", "ruled", EDGES, ())
    given = spec([core, ply], {}, mould=mould, axis=AtShare(0.5))
    wide = {"twill": cloth(roll=5020.0, usable=5000.0)}
    return replace(given, materials=replace(given.materials, cloths=wide))


@pytest.fixture(scope="module")
def laid():
    """The face, and the height and the map under the ply that goes over the core."""
    given = sparlike()
    face = build_face(given)
    run = LayUp(given, face, lambda words: None)
    kept = {}
    raised = run._raised

    def noted(layer):
        kept[layer.id] = run.field, raised(layer)
        return kept[layer.id][1]

    run._raised = noted
    laminate = run.run()
    return given, face, *kept["F"], laminate


def too_wide(laid, span):
    """Girth of the cut at a station less that of the raised face in space, summed so finely that
    chords across the four creases cost less than 0.002 mm."""
    _, face, field, maps, _ = laid
    line = shapely.linestrings(face.span_line(span))
    spots = shapely.line_interpolate_point(line, np.linspace(0, 1, 60_001), normalized=True)
    spots = shapely.get_coordinates(spots)
    space = face.to_space(spots) + field(spots)[:, None] * face.normals(spots)
    true, cut = (
        np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
        for points in (space, maps.to_cut(spots))
    )
    return cut - true


def test_at_the_end_of_a_core_the_pattern_lies_between_the_two_girths(laid):
    beside, on = too_wide(laid, ROOT_END), too_wide(laid, ROOT_END + CORE)
    assert beside - on == pytest.approx(2 * RAMP, abs=0.4)
    assert beside == pytest.approx(RAMP, abs=0.55)
    assert on == pytest.approx(-RAMP, abs=0.55)


def test_away_from_the_end_the_pattern_has_the_true_girth(laid):
    width = 79.0  # of the core, 28 % of a girth of 282 mm
    for span, most in ((ROOT_END - width, 0.35 * RAMP), (ROOT_END - 2 * width, 0.02),
                       (ROOT_END + 2 * width, 0.25), (ROOT_END + 4.5 * width, 0.02)):  # fmt: skip
        assert abs(too_wide(laid, span)) < most


def test_the_figure_is_told_once_for_the_core(laid):
    laminate = laid[4]
    (finding,) = [f for f in laminate.findings if f.code == "core-end-gathers"]
    assert f"{2 * RAMP:.1f} mm longer" in finding.message
    assert f"{RAMP:.1f} mm too wide" in finding.message
    assert "root" in finding.message and "tip" in finding.message


@pytest.mark.parametrize(
    "given",
    [
        sparlike(over=Common((ShareBand(0.36, 0.64), Inset((("root", 250.0), ("tip", 80.0)))))),
        sparlike(angle=15.0),
        sparlike(thick=2.0),
    ],
    ids=["the ply ends with the core", "flat bevels", "a thin core"],
)
def test_nothing_is_told_where_cloth_need_not_gather(given):
    face = build_face(given)
    book = Regions(face, given.edges, given.layers)
    kinds = {"C": "core", "F": "ply"}
    layers = [
        LaidLayer(x.id, kinds[x.id], x.material, 0.0, "s", 1.0, book.of_layer(x.id), ())
        for x in given.layers
    ]
    assert not list(core_end_findings(given, face, layers))


def test_what_one_bevel_adds():
    assert gain_mm(10.0, Treatment("bevel", 45.0)) == pytest.approx(4.142, abs=5e-4)
    a = np.radians(20.0)
    want = 10 / np.sin(a) - 10 / np.tan(a)
    assert gain_mm(10.0, Treatment("bevel", 20.0)) == pytest.approx(want)
