"""Regions against plane geometry worked by hand."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.diagnostics import GeometryError
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import NOISE_MM
from plybook.spec.model import (
    Around,
    Common,
    Core,
    EdgeBand,
    EdgeRule,
    Inset,
    Less,
    OnFace,
    OnPattern,
    Patch,
    Ply,
    Polygon,
    ShareBand,
    SpanBand,
    Strip,
    Union,
    Whole,
)
from tests.laminate.doubles import TaperedFace

FACE = TaperedFace()
BOX = TaperedFace(span=1000.0, root=400.0, tip=400.0, lead0=400.0, sweep=0.0, spans=(0.0, 1000.0))
TRIMS = (EdgeRule("leading", 15.0), EdgeRule("tip", 20.0), EdgeRule("trailing", 10.0))


def net(region, face=FACE, layers=()):
    return Regions(face, (), layers).net(region)


def test_whole_is_the_net_polygon():
    assert net(Whole()).area == pytest.approx(FACE.area_mm2, abs=1e-6)


def test_span_band_of_a_taper_is_a_trapezoid():
    chord = lambda s: 1200 - 440 * s / 3800  # noqa: E731
    expected = (chord(500) + chord(2000)) / 2 * 1500
    assert net(SpanBand(500, 2000)).area == pytest.approx(expected, abs=1e-2)


def test_share_band_takes_its_share_of_the_area():
    assert net(ShareBand(0.2, 0.6)).area == pytest.approx(0.4 * FACE.area_mm2, abs=1e-3)


def test_bands_that_tile_the_face_leave_nothing_between_and_overlap_nowhere():
    bands = [net(SpanBand(a, b)) for a, b in [(0, 900), (900, 2500), (2500, 3800)]]
    assert sum(b.area for b in bands) == pytest.approx(FACE.area_mm2, abs=1e-3)
    assert shapely.union_all(bands).area == pytest.approx(FACE.area_mm2, abs=1e-3)


def test_inset_keeps_each_edge_its_own_distance_with_sharp_corners():
    inset = net(Inset((("leading", 60.0), ("root", 40.0), ("tip", 50.0))), BOX)
    assert inset.bounds == pytest.approx((40.0, 0.0, 950.0, 340.0))
    assert len(shapely.get_coordinates(inset.simplify(0.001))) == 5


def test_inset_on_a_slanted_edge_is_measured_square_to_it():
    inset = net(Inset((("leading", 60.0),)))
    leading = shapely.LineString(FACE.share_line(0.0))
    assert inset.distance(leading) == pytest.approx(60.0, abs=1e-6)
    angle = math.atan2(FACE.sweep * FACE.span, FACE.span)
    lost = 60 * FACE.span / math.cos(angle)
    # the strip lost is a parallelogram, its ends cut off along root and tip
    assert FACE.area_mm2 - inset.area == pytest.approx(lost, rel=1e-7)


def test_edge_band_lies_between_its_two_distances():
    band = net(EdgeBand("trailing", 30.0, 80.0))
    trailing = shapely.LineString(FACE.share_line(1.0))
    assert band.distance(trailing) == pytest.approx(30.0, abs=1e-6)
    assert shapely.hausdorff_distance(band, trailing) >= 80.0


def test_around_a_core_grows_it_with_round_corners():
    core = Core("C1", "foam", "s", Patch(OnPattern(500, 200), 300, 100, 0, 0))
    around = net(Around("C1", 50.0), BOX, [core])
    assert around.area == pytest.approx(300 * 100 + 2 * 50 * 400 + math.pi * 2500, rel=1e-5)


def test_around_with_a_negative_distance_draws_in():
    core = Core("C1", "foam", "s", Patch(OnPattern(500, 200), 300, 100, 0, 0))
    assert net(Around("C1", -20.0), BOX, [core]).area == pytest.approx(260 * 60, abs=1e-6)


def test_around_reaches_layers_that_are_laid_later():
    ply = Ply("P1", "twill", "s", Around("C1", 10.0))
    core = Core("C1", "foam", "s", Patch(OnPattern(500, 200), 300, 100, 0, 0))
    assert net(ply.region, BOX, [ply, core]).bounds == pytest.approx((340, 140, 660, 260))


def test_layers_around_each_other_are_refused_by_name():
    layers = [Ply("P1", "twill", "s", Around("P2", 5.0)), Ply("P2", "twill", "s", Around("P1", 5))]
    with pytest.raises(GeometryError, match="P1 -> P2 -> P1"):
        net(Around("P1", 0.0), BOX, layers)


def test_unknown_edge_and_layer_are_refused():
    with pytest.raises(GeometryError, match="leading"):
        net(Inset((("nose", 5.0),)))
    with pytest.raises(GeometryError, match="no layer"):
        net(Around("X", 5.0))


def test_strip_keeps_its_width_and_runs_off_the_face_where_it_ends_on_the_net_line():
    inside = net(Strip((OnPattern(200, 200), OnPattern(700, 200)), 40.0), BOX)
    assert inside.bounds == pytest.approx((200, 180, 700, 220))
    across = net(Strip((OnFace(0.0, 0.5), OnFace(1000.0, 0.5)), 40.0), BOX)
    assert across.area == pytest.approx(1000 * 40, abs=1e-6)


def test_turned_patch_keeps_its_area_and_its_corner_radius():
    patch = net(Patch(OnPattern(500, 200), 180, 120, 30, 10), BOX)
    assert patch.area == pytest.approx(180 * 120 - (4 - math.pi) * 100, abs=0.6)
    assert (patch.centroid.x, patch.centroid.y) == pytest.approx((500, 200))


def test_ellipse_area():
    patch = net(Patch(OnPattern(500, 200), 300, 100, 0, 0, "ellipse"), BOX)
    assert patch.area == pytest.approx(math.pi * 150 * 50, rel=1e-4)


def test_polygon_sides_of_one_share_follow_the_share_line():
    polygon = Polygon((OnFace(0, 0.2), OnFace(3800, 0.2), OnFace(3800, 0.5), OnFace(0, 0.5)))
    assert net(polygon).area == pytest.approx(0.3 * FACE.area_mm2, abs=1e-3)


def test_crossed_polygon_is_refused():
    crossed = Polygon((OnPattern(0, 0), OnPattern(100, 100), OnPattern(100, 0), OnPattern(0, 100)))
    with pytest.raises(GeometryError, match="crosses itself"):
        net(crossed, BOX)


def test_nothing_left_is_an_empty_shape():
    assert net(SpanBand(5000, 6000)).is_empty
    assert net(Inset((("leading", 700.0), ("trailing", 700.0)))).is_empty


# ------------------------------------------------------------------ trim allowance


def trimmed(region, face=BOX, rules=TRIMS):
    return Regions(face, rules).trimmed(region)


def test_allowances_meet_in_square_corners_on_a_rectangle():
    assert trimmed(Whole()).bounds == pytest.approx((0, -10, 1020, 415))
    assert trimmed(Whole()).area == pytest.approx(1020 * 425, abs=1e-6)


def test_only_the_stretch_that_reaches_the_edge_runs_on():
    patch = Patch(OnPattern(500, 350), 200, 140, 0, 0)  # passes the leading edge by 20
    assert trimmed(patch).bounds == pytest.approx((400, 280, 600, 415))
    assert trimmed(patch).area == pytest.approx(200 * 135, abs=1e-6)
    inner = Patch(OnPattern(500, 200), 200, 140, 0, 0)
    assert trimmed(inner).area == pytest.approx(200 * 140, abs=1e-6)


def test_a_slanted_side_runs_on_in_its_own_direction():
    slanted = Polygon((OnPattern(300, 100), OnPattern(600, 100), OnPattern(800, 400),
                       OnPattern(500, 400)))  # fmt: skip
    shape = trimmed(slanted)
    # both sides lean 200 in 300: at 15 above the edge they have moved on by 10
    assert shape.area == pytest.approx(300 * 300 + 300 * 15, abs=1e-3)
    assert shape.bounds == pytest.approx((300, 100, 810, 415), abs=1e-6)


def test_a_span_band_on_a_swept_face_runs_on_along_its_station_lines():
    shape = trimmed(SpanBand(1000, 2000), FACE, TRIMS)
    assert shape.bounds[0] == pytest.approx(1000.0, abs=1e-6)
    assert shape.bounds[2] == pytest.approx(2000.0, abs=1e-6)


@pytest.mark.parametrize(
    ("span", "share", "length", "width", "turn"),
    [
        (3800.0, 0.6923987892061332, 469.1666522383752, 20.0, -85.38332269391788),
        (3800.0, 1.0, 61.60548030583349, 20.0, 79.96022154487625),
        (199.49679184122047, 0.0465894238018338, 41.81343787940743, 549.31956696572, -77.114997147),
    ],
)
def test_a_side_that_leaves_an_edge_at_a_sharp_corner_is_no_part_of_the_edge(
    span, share, length, width, turn
):
    """Ellipses whose last chord by the edge lies within a fiftieth of a millimetre of it."""
    patch = Patch(OnFace(span, share), length, width, turn, 0.0, "ellipse")
    shape = net(patch)
    added = trimmed(patch, FACE).difference(shape)
    assert added.area > 100.0
    assert added.intersection(Regions(FACE, TRIMS).plan.net).area < 0.1


regions = st.one_of(
    st.tuples(st.floats(0, 3700), st.floats(20, 3800)).map(lambda t: SpanBand(t[0], t[0] + t[1])),
    st.tuples(st.floats(0, 0.9), st.floats(0.02, 1)).map(lambda t: ShareBand(t[0], t[0] + t[1])),
    st.tuples(
        st.sampled_from(["leading", "trailing", "root", "tip"]),
        st.floats(0, 400),
        st.floats(1, 500),
    ).map(lambda t: EdgeBand(t[0], t[1], t[1] + t[2])),
    st.lists(
        st.tuples(st.sampled_from(["leading", "trailing", "root", "tip"]), st.floats(1, 200)),
        min_size=1, max_size=4, unique_by=lambda t: t[0],
    ).map(lambda items: Inset(tuple(items))),
    st.builds(
        Patch,
        st.builds(OnFace, st.floats(0, 3800), st.floats(0, 1)),
        st.floats(20, 900), st.floats(20, 900), st.floats(-90, 90), st.floats(0, 60),
        st.sampled_from(["rectangle", "ellipse"]),
    ),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(regions, regions)
def test_union_common_and_less_add_up(a, b):
    shapes = [net(r).area for r in (a, b, Union((a, b)), Common((a, b)), Less(a, (b,)))]
    first, second, union, common, less = shapes
    assert union + common == pytest.approx(first + second, abs=NOISE_MM * FACE.span)
    assert less + common == pytest.approx(first, abs=NOISE_MM * FACE.span)


@settings(max_examples=60, deadline=None)
@given(regions)
def test_regions_stay_on_the_face_and_the_allowance_only_adds(region):
    shape = net(region)
    book = Regions(FACE, TRIMS)
    assert shape.difference(book.plan.net).area < 1e-3
    grown = book.trimmed(region)
    assert grown.is_valid
    assert shape.difference(grown).area < 1e-3
    assert grown.intersection(book.plan.net).area == pytest.approx(shape.area, abs=0.02 * 4000)
    if not grown.is_empty:
        gap = shapely.distance(shapely.points(shapely.get_coordinates(grown)), book.plan.net)
        assert np.max(gap) <= 4 * 20 + 1e-6


@settings(max_examples=40, deadline=None)
@given(regions)
def test_the_mirrored_face_gives_the_mirrored_region(region):
    if isinstance(region, Patch):
        mirrored = Patch(region.at, region.length_mm, region.width_mm, -region.turn_deg,
                         region.corner_mm, region.shape)  # fmt: skip
    else:
        mirrored = region
    first = Regions(FACE, TRIMS).trimmed(region)
    second = Regions(TaperedFace(up=-1), TRIMS).trimmed(mirrored)
    flipped = shapely.transform(second, lambda p: p * [1, -1])
    assert first.symmetric_difference(flipped).area < 1e-2


def patch(x_mm):
    return Patch(OnPattern(x_mm, 200), 200, 100, 0, 0)


@pytest.mark.parametrize(
    ("region", "by_mm", "edge"),
    [
        # BOX lies from 0 to 1000 along x and from 0 to 400 across
        (patch(960), 60.0, "tip"),
        (patch(890), 0.0, ""),
        (Polygon((OnPattern(-40, 20), OnPattern(90, 20), OnPattern(90, 380))), 40.0, "root"),
        (Common((SpanBand(0, 950), patch(960))), 0.0, ""),
        (Union((Whole(), patch(960))), 60.0, "tip"),
        (Less(patch(960), (SpanBand(0, 900),)), 60.0, "tip"),
        (ShareBand(0, 1), 0.0, ""),
        (Inset((("tip", 30.0),)), 0.0, ""),
    ],
)
def test_how_far_a_drawn_region_reaches_past_the_part(region, by_mm, edge):
    past, named = Regions(BOX).past_net(region)
    assert past == pytest.approx(by_mm, abs=1e-6) and named == edge
