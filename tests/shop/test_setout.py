"""The set-out of the mould against figures worked out by hand: Pythagoras, arcs of a circle, the
length round a channel."""

import math
import shutil

import numpy as np
import pytest

from plybook.build import by_part, read, shape_hands
from plybook.outside import Outside
from plybook.shop.setout import set_out
from tests.conftest import SPECS

HEAD = """plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {{number: SO-1, name: Plate, revision: A, date: 2026-05-04, units: {units}{more}}}
"""
PLATE = (
    HEAD
    + """mould:
  outline: [[0, 0], [{long}, 0], [{long}, {wide}], [0, {wide}]]
layers:
  - {{plies: "[0]", as: A, cloth: carbon-twill-200}}
  - {{core: C, sheet: foam-6, region: {{inset: {inset}}}, edges: {{all: square}}}}
  - {{plies: "[0]", as: B, cloth: carbon-twill-200}}
"""
)
CHANNEL = (
    HEAD
    + """mould:
  form: male
  loft: ruled
  edge_names: {{first: lower, last: upper}}
  stations:
    - {{at: 0,    section: {{channel: [[70, -76], [0, -76], [0, 76], [70, 76]], radius: 8}}}}
    - {{at: 2000, section: {{channel: [[70, -76], [0, -76], [0, 76], [70, 76]], radius: 8}}}}
axis: {{share: 0.5}}
layers:
  - {{plies: "[0]", as: A, cloth: carbon-twill-200}}
  - core: C
    sheet: foam-6
    region: {{share: [0.4, 0.6], inset: {{root: 250, tip: 80}}}}
    edges: {{all: square}}
  - {{plies: "[0]", as: B, cloth: carbon-twill-200}}
  - {{film: PL, of: peel-ply-85, region: {{near: {{lower: 45}}}}, removed_after: trim}}
stages:
  - {{stage: mould, kind: mould_preparation}}
  - {{stage: lay, kind: wet_laminate, lays: [A, C, B, PL], thickened: core-paste}}
  - {{stage: demould, kind: demould}}
  - {{stage: trim, kind: trim}}
"""
)
GIRTH = 70 + 152 + 70 - 2 * (2 * 8 - math.pi * 8 / 2)  # corners are quarters of a circle


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("setout")
    shutil.copytree(SPECS, place, dirs_exist_ok=True)
    return place


def of(folder, text):
    """The set-outs of a spec, of each hand."""
    path = folder / "part.yaml"
    path.write_text(text, encoding="utf-8")
    found = []
    for hands in by_part(read([path], Outside())):
        for part, review in shape_hands(hands):
            assert part is not None, review.findings
            found.append(set_out(part.spec, part.face, part.laminate))
    return found


def ties(mark):
    return {(t.way, t.line): pytest.approx(t.mm, abs=0.02) for t in mark.ties}


@pytest.mark.parametrize(
    ("units", "one"), [("mm", 1.0), ("in", 25.4)]
)  # a plate of 1000 x 600 mm, and one of 40 x 24 in
def test_a_plate_is_told_by_pythagoras(folder, units, one):
    long, wide, inset = (1000, 600, 50) if units == "mm" else (40, 24, 2)
    (found,) = of(folder, PLATE.format(units=units, more="", long=long, wide=wide, inset=inset))
    net = [m for m in found.marks if m.role == "net line"]
    core = [m for m in found.marks if m.role == "core outline"]
    for marks, low, high_x, high_y in (
        (net, 0, long, wide), (core, inset, long - inset, wide - inset),
    ):  # fmt: skip
        corners = {(round(m.at_mm[0] / one, 1), round(m.at_mm[1] / one, 1)) for m in marks}
        assert corners == {(x, y) for x in (low, high_x) for y in (low, high_y)}
        for mark in marks:
            assert ties(mark) == {
                ("square", "square line"): mark.at_mm[0], ("square", "base line"): mark.at_mm[1],
            }  # fmt: skip
    straight = {d.of: d.mm for d in found.diagonals}
    assert len(found.diagonals) == 4
    assert straight["net line"] == pytest.approx(math.hypot(long, wide) * one, abs=0.01)
    inner = math.hypot(long - 2 * inset, wide - 2 * inset) * one
    assert straight["C"] == pytest.approx(inner, abs=0.05)
    assert found.tolerance_mm == 2.0
    assert found.bows == ()


def test_a_straight_channel_is_a_rectangle_of_its_girth(folder):
    (found,) = of(folder, CHANNEL.format(units="mm", more=""))
    assert found.rows == ("station 1", "station 2")
    assert found.strain_pct == 0.0
    net = {(m.row, m.of): ties(m) for m in found.marks if m.role == "net line"}
    assert net["station 2", "lower"] == {("along", "lower"): 2000.0}
    assert net["station 2", "upper"] == {
        ("along", "upper"): 2000.0, ("along", "station 2"): GIRTH,
    }  # fmt: skip
    axis = [ties(m) for m in found.marks if m.role == "axis"]
    assert axis[1] == {("along", "station 2"): GIRTH / 2, ("along", "axis"): 2000.0}
    for diagonal in found.diagonals:
        assert diagonal.mm == pytest.approx(math.hypot(2000.0, GIRTH), abs=0.02)
    assert found.bows == ()
    core = [ties(m) for m in found.marks if m.role == "core outline"]
    assert len(core) == 4
    for row, off in (("station 1", 250.0), ("station 2", 80.0)):
        for edge in ("lower", "upper"):  # from either edge of the web to the edge of the core
            wanted = {("square", row): off, ("square", edge): 0.4 * GIRTH}
            assert wanted in core
    land = [(m.row, ties(m)) for m in found.marks if m.of == "PL"]
    assert sorted(land) == [(row, {("along", row): 45.0}) for row in found.rows]


def test_hands_are_told_alike(folder):
    """The right hand is the mirror image of the left: each mark has the same figures."""
    text = (SPECS / "wing-skin.yaml").read_text(encoding="utf-8")
    left, right = of(folder, text)
    assert len(left.marks) == len(right.marks) > 25
    for one, other in zip(left.marks, right.marks, strict=True):
        assert (one.role, one.of, one.row) == (other.role, other.of, other.row)
        assert np.allclose(one.at_mm, np.multiply(other.at_mm, (1, -1)), atol=1e-3)
        for a, b in zip(one.ties, other.ties, strict=True):
            assert (a.way, a.line, a.side) == (b.way, b.line, b.side)
            assert a.mm == pytest.approx(b.mm, abs=1e-3)
    for one, other in zip(left.bows, right.bows, strict=True):
        assert one.sides == other.sides[::-1]
        assert np.allclose(one.offsets_mm, np.negative(other.offsets_mm), atol=1e-3)


def test_edges_of_a_swept_skin_are_longer_than_its_span(folder):
    """Chord 1100 to 660 over a span of 4100, swept 210 at the leading edge and risen 215: both
    edges as straight lines in space, to which the twist of 2 degrees adds less than 2 mm."""
    found = of(folder, (SPECS / "wing-skin.yaml").read_text(encoding="utf-8"))[0]
    told = {m.of: m.ties[0].mm for m in found.marks
            if m.role == "net line" and m.row == "station 3"}  # fmt: skip
    assert told["leading"] == pytest.approx(math.sqrt(4100**2 + 210**2 + 215**2), abs=2.0)
    aft = 210 + 660 - 1100
    assert told["trailing"] == pytest.approx(math.sqrt(4100**2 + aft**2 + 238**2), abs=2.0)


def test_round_openings_and_corners(folder):
    """A hole of 80 mm across is told by its middle, a corner of radius 12 by its radius."""
    text = PLATE.format(units="mm", more="", long=1000, wide=600, inset=50)
    more = "[0, 600]]\n  corners: 12\n  holes: [{circle: [300, 200], diameter: 80}]"
    text = text.replace("[0, 600]]", more)
    (found,) = of(folder, text)
    (hole,) = [m for m in found.marks if m.of == "opening of the face"]
    assert hole.at_mm == pytest.approx((300.0, 200.0), abs=0.05)
    assert next(t.mm for t in hole.ties if t.way == "across") == pytest.approx(80.0, abs=0.1)
    net = [m for m in found.marks if m.of == "net line"]
    assert len(net) == 4
    for mark in net:
        assert next(t.mm for t in mark.ties if t.way == "radius") == pytest.approx(12.0, abs=0.2)
