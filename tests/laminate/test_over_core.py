"""A ply over a bevelled core, from the height below it to its girth, against hand calculation.

The girth of cloth at height h over a section of curvature k (positive where the bag side is
concave) is the integral of sqrt((1 - h k)^2 + (dh/ds)^2); on a flat face a bevel adds
t / sin a - t / tan a (elementary trigonometry).
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from plybook.laminate.heights import HeightField, core_rise
from plybook.laminate.sides import name_sides
from plybook.spec.model import PolylineSection, Station, StationMould, Treatment
from plybook.surface import build_face
from tests.laminate.doubles import spec
from tests.surface.faces import raise_face

THICK = 10.0
RADIUS = 1500.0


def station(at, points, radii):
    section = PolylineSection(np.array(points, float), radii)
    return Station(at, 1.0, 0.0, 0.0, 0.0, 0.25, section)


def face_from(points, radii=()):
    """A face of constant section, 2 m long, bag side on the upper side of the polyline."""
    mould = StationMould(
        (station(0.0, points, radii), station(2000.0, points, radii)), "all", 0.0, 1.0, "female",
        "ruled", ("leading", "trailing", "root", "tip"), (),
    )  # fmt: skip
    return build_face(replace(spec([]), mould=mould))


def strip_core(face, inset, angle):
    """A core from root to tip, bevelled along its two long sides, and the map of a ply over it."""
    low, high = face.outline_mm[:, 1].min(), face.outline_mm[:, 1].max()
    left, right = face.outline_mm[:, 0].min() - 500, face.outline_mm[:, 0].max() + 500
    region = shapely.box(left, low + inset, right, high - inset)
    region = region.intersection(shapely.Polygon(face.outline_mm))
    edges = {"leading": Treatment("bevel", angle), "trailing": Treatment("bevel", angle)}
    rise = core_rise("C", name_sides(region, face), THICK, edges)
    field = HeightField(net=shapely.Polygon(face.outline_mm)).with_layer(rise)
    return field, raise_face(face, field, field.break_lines), (low, high)


def girth(raised, face, low, high):
    middle = float(face.outline_mm[:, 0].mean())
    line = np.column_stack([np.full(2001, middle), np.linspace(low, high, 2001)])
    return float(np.linalg.norm(np.diff(raised.to_cut(line), axis=0), axis=1).sum())


@pytest.mark.parametrize("angle", [20.0, 30.0, 45.0])
def test_each_bevel_of_a_core_on_a_flat_face_adds_its_slope(angle):
    face = face_from([[0, 0], [600, 0]])
    _, raised, (low, high) = strip_core(face, 80.0, angle)
    a = math.radians(angle)
    want = (high - low) + 2 * (THICK / math.sin(a) - THICK / math.tan(a))
    assert girth(raised, face, low, high) == pytest.approx(want, abs=0.05)


def test_on_a_hollow_face_the_core_shortens_what_the_bevels_lengthen():
    # an arc of 1500 mm radius between two short tangents
    half, tangent = math.radians(14.0), 40.0
    far = RADIUS * math.tan(half) + tangent
    points = [
        [-far * math.cos(half), far * math.sin(half)], [0, 0],
        [far * math.cos(half), far * math.sin(half)],
    ]  # fmt: skip
    face = face_from(points, (RADIUS,))
    arc = 2 * half * RADIUS
    inset = tangent + 60.0
    _, raised, (low, high) = strip_core(face, inset, 45.0)
    assert high - low == pytest.approx(arc + 2 * tangent, abs=0.02)
    bend = face.curvature(np.array([[1000.0, (low + high) / 2]]))[0, 1, 1]
    assert abs(bend) == pytest.approx(1 / RADIUS, rel=1e-3)
    k = math.copysign(1 / RADIUS, bend)
    ramp, _ = quad(lambda s: math.hypot(1 - s * k, 1.0), 0, THICK)
    top = (high - low) - 2 * inset - 2 * THICK
    want = 2 * (inset + ramp) + top * (1 - THICK * k)
    assert girth(raised, face, low, high) == pytest.approx(want, abs=0.05)
    assert abs(want - (high - low)) > 0.5
