"""A part that is moved, turned, mirrored or written in inches is the same part."""

from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate import lay_up
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

RING = ((0, 0), (740, 0), (900, 310), (620, 560), (90, 480))
LAYERS = (("A", 45), ("B", 0))
ABOVE = (("D", 0), ("E", 30))


def body(points, angle, unit, size):
    ring = ", ".join(f"[{x:.9g}, {y:.9g}]" for x, y in points)
    below, above = (
        "".join(f"  - {{ply: {name}, cloth: twill, angle: {angle(at):g}}}\n" for name, at in group)
        for group in (LAYERS, ABOVE)
    )
    return (
        "plybook: 1\ninclude: shared.yaml\n"
        f"part: {{number: AF-1, name: Panel, date: 2026-05-04, units: {unit}}}\n"
        f"mould: {{outline: [{ring}], corners: {30 * size:.9g}}}\n"
        f"edges: {{all: {{trim: {12 * size:.9g}}}}}\nlayers:\n{below}"
        f"  - {{core: C, sheet: foam, region: {{inset: {70 * size:.9g}}}, "
        f"edges: {{all: bevel 30}}}}\n{above}"
    )


def pieces_of(text):
    spec = read(text, shared_yaml=SHARED).specs[0]
    laminate = lay_up(spec, build_face(spec))
    figures = {
        piece.id: (shapely.Polygon(piece.outline_mm).area, shapely.Polygon(piece.outline_mm).length)
        for piece in laminate.pieces
    }
    return figures, Counter(finding.code for finding in laminate.findings)


@pytest.fixture(scope="module")
def plain():
    return pieces_of(body(RING, lambda at: at, "mm", 1.0))


def the_same(found, plain):
    """Sizes alike; rules about 0, 45 and 90 degrees find another laminate where it is turned."""
    assert found[0].keys() == plain[0].keys()
    for name, (area, length) in found[0].items():
        assert area == pytest.approx(plain[0][name][0], rel=2e-5), name
        assert length == pytest.approx(plain[0][name][1], abs=0.1), name  # corners are chorded


def normal(angle):
    """The same fibre direction within -90..90."""
    return (angle + 90.0) % 180.0 - 90.0


@settings(max_examples=4, deadline=None)
@given(
    dx=st.integers(-3000, 3000), dy=st.integers(-3000, 3000),
    turn=st.sampled_from([0, 17, 90, 180, 301]), mirrored=st.booleans(),
)  # fmt: skip
def test_a_panel_is_the_same_wherever_and_whichever_way_it_is_drawn(plain, dx, dy, turn, mirrored):
    sign = -1.0 if mirrored else 1.0
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    points = (np.array(RING) * [1.0, sign]) @ np.array([[cos, sin], [-sin, cos]]) + [dx, dy]
    found = pieces_of(body(points, lambda at: normal(sign * at + turn), "mm", 1.0))
    the_same(found, plain)
    if turn in (0, 180):
        assert found[1] == plain[1]


def test_a_panel_in_inches_is_the_same(plain):
    points = np.array(RING) / 25.4
    found = pieces_of(body(points, lambda at: at, "in", 1 / 25.4))
    the_same(found, plain)
    assert found[1] == plain[1]
