"""Every usual trim allowance gives a part that can be cut, hollow edges and cut-outs included."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate import lay_up
from plybook.laminate.layup import LayUp
from plybook.nest.model import NO_LAYOUTS
from plybook.review import proof_review
from plybook.shop import plan_work
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

HEAD = """\
plybook: 1
include: shared.yaml
part: {number: TR-31, name: Skin, date: 2026-05-04, units: mm}
"""
LOWER = """\
mould:
  form: female
  side: lower
  loft: ruled
  stations:
    - {at: 0, chord: 1050, section: naca 4415}
    - {at: 3900, chord: 700, sweep: 60, rise: 190, twist: -2 deg, section: naca 4412}
axis: {share: 0.3}
edges: {all: {trim: 25}}
layers:
  - {ply: A, cloth: twill, angle: 45}
  - core: C
    sheet: foam
    region: {inset: {leading: 80, trailing: 60, root: 40, tip: 40}}
    edges: {all: bevel 45}
    seams: to suit the sheets
  - {ply: B, cloth: twill, angle: -45}
"""
HOLLOW = """\
mould:
  form: female
  side: upper
  loft: smooth
  stations:
    - {at: 0, chord: 900, sweep: -60, section: naca 2412}
    - {at: 200, chord: 700, sweep: 80, section: naca 2412}
    - {at: 400, chord: 620, sweep: 130, section: naca 2412}
    - {at: 600, chord: 700, sweep: 80, section: naca 2412}
    - {at: 800, chord: 900, sweep: -60, section: naca 2412}
axis: {share: 0.5}
edges: {all: {trim: 25}}
layers:
  - {ply: A, cloth: twill, angle: 45, region: {less: [{span: [300, 420], near: {leading: 60}}]}}
  - core: C
    sheet: foam
    region: {inset: 100}
    edges: {all: bevel 45}
  - {ply: B, cloth: twill, angle: -45, region: {less: [{span: [300, 420], near: {leading: 60}}]}}
"""


def face_of(body):
    spec = read(HEAD + body, shared_yaml=SHARED).specs[0]
    return spec, build_face(spec)


@pytest.fixture(scope="module")
def lower():
    return face_of(LOWER)


@pytest.fixture(scope="module")
def hollow():
    return face_of(HOLLOW)


def with_trim(spec, trim_mm):
    return replace(spec, edges=tuple(replace(rule, trim_mm=trim_mm) for rule in spec.edges))


def only_cloth(made, trim_mm):
    """The plies of the part with another trim; its core ends inside the net line at any trim."""
    spec, face = made
    lay = LayUp(with_trim(spec, trim_mm), face, str)
    assert not [f for f in lay.only(("A", "B")) if f.severity is Severity.ERROR]
    return face, lay


def trimmed(made, trim_mm):
    """The part with another trim all round, laid up; its pieces are proved by the verifier."""
    spec, face = made
    spec = with_trim(spec, trim_mm)
    laminate = lay_up(spec, face)
    assert not [f for f in laminate.findings if f.severity is Severity.ERROR]
    shop = plan_work(spec, face, laminate, NO_LAYOUTS)
    assert not proof_review(spec, face, laminate, shop)[0].findings
    return face, laminate


def holds(face, laminate, trim_mm):
    """Plies reach the trim past the net line all round: laid and cut outlines are sound polygons,
    the laid ones as large as the net and a strip about it, with the corners in mitres."""
    net = shapely.Polygon(face.outline_mm)
    wide = net.buffer(trim_mm, join_style="mitre")
    for layer, growth in (("A", 1e-3), ("B", 0.02)):  # B goes over the core's bevels
        pieces = [p for p in laminate.pieces if p.layer == layer]
        laid = [shapely.Polygon(p.laid_outline_mm) for p in pieces]
        cut = [shapely.Polygon(p.outline_mm, p.holes_mm) for p in pieces]
        assert all(shape.is_valid for shape in (*laid, *cut))
        whole = shapely.union_all(laid)
        far = shapely.get_coordinates(whole)
        assert shapely.distance(net, shapely.points(far)).max() <= 4.01 * trim_mm
        assert whole.difference(wide).area < 0.001 * wide.area
        for one, other in zip(laid, cut, strict=True):
            assert other.area == pytest.approx(one.area, rel=growth)
            assert other.length == pytest.approx(one.length, rel=growth)
    return whole, wide


def test_a_twisted_lower_skin_can_be_cut_with_a_usual_trim(lower):
    whole, wide = holds(*trimmed(lower, 25.0), 25.0)
    assert whole.area == pytest.approx(wide.area, rel=1e-3)


@pytest.mark.slow
def test_a_twisted_lower_skin_can_be_cut_with_every_trim(lower):
    for trim_mm in np.arange(5.0, 41.0):
        laid = trimmed if trim_mm in (5.0, 40.0) else only_cloth
        whole, wide = holds(*laid(lower, trim_mm), trim_mm)
        assert whole.area == pytest.approx(wide.area, rel=1e-3), trim_mm


def test_a_ply_that_ends_past_a_hollow_corner_rounder_than_its_trim_is_cut():
    """The trim's edge, 12 mm out, is cut short by the corner of 3 mm wherever it is seen from."""
    body = """\
mould:
  outline: [[0, 0], [301, 0], [301, 160], [181, 160], [181, 321], [0, 321]]
  corners: 3
edges: {all: {trim: 12}}
layers:
  - {ply: A, cloth: twill, angle: 45,
     region: {patch: {at: [150, 150], size: [150, 90], corner: 0}}}
"""
    laminate = lay_up(*face_of(body))
    assert not [f for f in laminate.findings if f.severity is Severity.ERROR]
    (piece,) = laminate.pieces
    laid = shapely.Polygon(piece.laid_outline_mm)
    strip = shapely.box(181, 176, 192.9, 194.9)  # clear of the corner, up to the patch's edge
    assert laid.covers(strip) and laid.covers(shapely.box(75.1, 105.1, 180.9, 194.9))
    assert laid.bounds == pytest.approx((75, 105, 225, 195), abs=0.1)


@pytest.mark.slow
@pytest.mark.parametrize("trim_mm", [5.0, 25.0, 90.0])
def test_a_skin_with_a_hollow_leading_edge_and_a_cut_out_in_it_can_be_cut(hollow, trim_mm):
    whole, wide = holds(*trimmed(hollow, trim_mm), trim_mm)
    cut_out = 120.0 * (60.0 + trim_mm)
    assert wide.area - whole.area == pytest.approx(cut_out, rel=0.15)
