"""Regions on faces whose edges are curved: exact where they follow the section, few vertices."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate import lay_up
from plybook.laminate.regions import Regions
from plybook.laminate.shapes import ARC_ERROR_MM
from plybook.spec.model import (
    Around,
    AtShare,
    Common,
    Core,
    EdgeBand,
    Inset,
    Less,
    OnFace,
    OnPattern,
    OutlineMould,
    Patch,
    Ply,
    Polygon,
    ShareBand,
    SpanBand,
    Strip,
    Union,
    Whole,
)
from plybook.surface import face_of
from tests.laminate.doubles import cloth, spec
from tests.surface.faces import face, half_circle, mould, station

CHORD_ERROR_MM = 0.02
SKIN = (station(0, 1000), station(1800, 700, sweep=90))


@pytest.fixture(scope="module")
def skin():
    """An untwisted tapered skin: a cone, so that areas and lengths on it are true."""
    return face(*SKIN, hand="left")


@pytest.fixture(scope="module")
def cone():
    """Half a frustum R 600 -> 300: on the pattern a sector of a ring about its apex."""
    made = face(station(0, 1, half_circle(600.0)), station(1800, 0.5, half_circle(600.0)))
    slant = math.hypot(1800, 300)
    return made, 2 * slant, slant  # outer and inner radius


def net(region, made, layers=()):
    return Regions(made, (), layers).net(region)


def apex(made):
    """Where the rulings of the cone meet, from its two ends."""
    rulings = [made.to_pattern(np.array([[0.0, s], [1800.0, s]])) for s in (0.1, 0.9)]
    (a, b), (c, d) = rulings
    turn = np.column_stack([b - a, c - d])
    return a + (b - a) * np.linalg.solve(turn, c - a)[0]


# ------------------------------------------------------------------ along the section


@pytest.mark.parametrize("span", [0.0, 333.0, 900.0, 1799.0])
def test_the_end_of_a_span_band_is_the_line_of_that_station(skin, span):
    """Every point of the end, mapped back, lies at the station that was written."""
    band = net(SpanBand(span, span + 300.0), skin)
    ring = shapely.get_coordinates(shapely.segmentize(band.exterior, 5.0))
    line = shapely.linestrings(skin.span_line(span))
    end = ring[shapely.distance(shapely.points(ring), line) < 0.5]
    assert len(end) > 50
    assert np.abs(skin.from_pattern(end)[:, 0] - span).max() < 2e-3


@pytest.mark.parametrize("share", [0.05, 0.3, 0.95])
def test_the_side_of_a_share_band_is_the_line_of_that_share(skin, share):
    band = net(ShareBand(share, 1.0), skin)
    ring = shapely.get_coordinates(shapely.segmentize(band.exterior, 5.0))
    line = shapely.linestrings(skin.share_line(share))
    side = ring[shapely.distance(shapely.points(ring), line) < 0.5]
    assert len(side) > 50
    there = skin.to_pattern(
        np.column_stack([skin.from_pattern(side)[:, 0], side[:, 0] * 0 + share])
    )
    assert np.hypot(*(there - side).T).max() < 2e-3


def test_bands_on_a_cone_are_sectors_of_rings(cone):
    """Frustum, elementary geometry: radii along the slant, angle pi R / slant length to apex."""
    made, outer, inner = cone
    angle = math.pi * 600.0 / outer
    radius = lambda span: outer + (inner - outer) * span / 1800.0  # noqa: E731
    part = net(SpanBand(400.0, 1000.0), made)
    want = angle / 2 * (radius(400.0) ** 2 - radius(1000.0) ** 2)
    assert part.area == pytest.approx(want, rel=2e-5)
    away = np.hypot(*(shapely.get_coordinates(part) - apex(made)).T)
    assert away.max() == pytest.approx(radius(400.0), abs=0.02)
    assert away.min() >= radius(1000.0) - 0.05
    third = net(ShareBand(0.2, 0.5), made)
    assert third.area == pytest.approx(0.3 * made.area_mm2, rel=2e-5)


def test_an_inset_from_a_curved_edge_is_its_parallel_curve(cone):
    """The root of a cone is an arc; 40 mm inside of it lies the arc of a radius 40 mm smaller."""
    made, outer, inner = cone
    band = net(EdgeBand("root", 0.0, 40.0), made)
    angle = math.pi * 600.0 / outer
    assert band.area == pytest.approx(angle / 2 * (outer**2 - (outer - 40.0) ** 2), rel=5e-4)
    drawn = net(Inset((("root", 40.0), ("tip", 25.0))), made)
    away = np.hypot(*(shapely.get_coordinates(drawn) - apex(made)).T)
    assert away.max() == pytest.approx(outer - 40.0, abs=0.02)
    assert away.min() >= inner + 25.0 - 0.02


FINS = {
    "rib": ((station(0, 108.6854, "0012"), station(259.2815, 108.6854, "0012", rise=25.0)),
            "root", 10.8685, "ruled", 0.5),
    "tip": ((station(0, 152.73782, "4415"), station(63.77686, 152.73782, "4415"),
             station(127.55372, 122.19178, "4415", sweep=40.0, rise=25.0)),
            "tip", 23.25624, "smooth", 0.5),
}  # fmt: skip


@pytest.mark.parametrize("fin", FINS)
def test_all_that_lies_further_in_than_a_band_is_one_part_on_either_hand(fin):
    """A drop-off run reaches from its edge to anywhere: the face less the band at the edge."""
    stations, edge, inwards, loft, axis = FINS[fin]
    shapes = []
    for hand in ("left", "right"):
        made = face(*stations, hand=hand, loft=loft, axis=axis)
        rest = net(EdgeBand(edge, inwards, 1e5), made)
        band = net(EdgeBand(edge, 0.0, inwards), made)
        assert rest.geom_type == "Polygon"
        whole = shapely.Polygon(made.outline_mm).area
        assert rest.area + band.area == pytest.approx(whole, abs=0.01)
        shapes.append(rest)
    flipped = shapely.transform(shapes[1], lambda p: p * [1, -1])
    assert shapely.hausdorff_distance(shapes[0].exterior, flipped.exterior) < 1e-4


# ------------------------------------------------------------------ put together


REGIONS = {
    "span": SpanBand(300.0, 1100.0),
    "share": ShareBand(0.2, 0.6),
    "inset": Inset((("leading", 60.0), ("trailing", 40.0), ("root", 30.0), ("tip", 50.0))),
    "near": EdgeBand("trailing", 20.0, 120.0),
    "strip": Strip((OnFace(0.0, 0.3), OnFace(1800.0, 0.5)), 80.0),
    "patch": Patch(OnFace(900.0, 0.5), 260.0, 140.0, 20.0, 25.0),
    "ellipse": Patch(OnFace(700.0, 0.4), 300.0, 120.0, -15.0, 0.0, "ellipse"),
    "polygon": Polygon((OnFace(200, 0.2), OnFace(1500, 0.2), OnFace(1400, 0.7), OnFace(200, 0.5))),
    "around": Around("K", 35.0),
}
CORE = Core("K", "foam", "s", Patch(OnFace(600.0, 0.35), 200.0, 100.0, 0.0, 0.0))


@pytest.mark.parametrize("first", REGIONS)
@pytest.mark.parametrize("second", ["share", "near", "patch", "around"])
def test_union_and_difference_of_every_kind_add_up(skin, first, second):
    a, b = REGIONS[first], REGIONS[second]
    area = lambda r: net(r, skin, [CORE]).area  # noqa: E731
    both = area(Common((a, b)))
    assert area(Union((a, b))) + both == pytest.approx(area(a) + area(b), abs=0.5)
    assert area(Less(a, (b,))) + both == pytest.approx(area(a), abs=0.5)
    assert area(Less(a, (a,))) == 0.0
    assert area(Union((Less(a, (b,)), Common((a, b))))) == pytest.approx(area(a), abs=0.5)


# ------------------------------------------------------------------ hollow corners and spurs


def ell(corner=(150.0, 200.0)):
    """A flat L, 300 x 400, its hollow corner between side 3 and side 4."""
    ring = np.array([[0, 0], [300, 0], [300, 200], corner, [150, 400], [0, 400.0]])
    sides = tuple((f"side {k + 1}", k, (k + 1) % 6) for k in range(6))
    return face_of(OutlineMould(ring, (), sides), AtShare(0.25), "none")


def inset(made, **by):
    return net(Inset(tuple((k.replace("_", " "), v) for k, v in by.items())), made)


def test_an_inset_has_its_own_hollow_corner():
    """Plane geometry: an L drawn in by 30 all round is the L of arms 60 narrower."""
    made = inset(ell(), **{f"side_{k}": 30.0 for k in range(1, 7)})
    assert made.area == pytest.approx(240 * 140 + 90 * 200, abs=1e-3)
    assert shapely.Point(120, 170).distance(made.exterior) < 1e-6


def test_unequal_insets_meet_in_a_hollow_corner():
    made = inset(ell(), side_3=20.0, side_4=45.0)
    # corner at (105, 180): the L 300 x 400 less what lies beyond it
    assert made.area == pytest.approx(300 * 180 + 105 * 220, abs=1e-3)


def test_an_inset_of_half_the_width_leaves_no_spur():
    """Two offsets that only just meet: what is left has to be a shape a knife can follow."""
    made = inset(ell(), **{f"side_{k}": 75.0 - 1e-5 for k in range(1, 7)})
    assert made.is_valid and made.geom_type == "Polygon"
    assert made.area == pytest.approx(150 * 50, abs=5.0)
    assert made.bounds[3] < 126.0  # nothing of the upper arm, which would be 0.00002 mm wide


def test_two_parts_held_by_a_thread_are_two_parts():
    block = lambda x: Patch(OnPattern(x, 100), 80, 60, 0, 0)  # noqa: E731
    thread = Patch(OnPattern(150, 100), 100, 0.001, 0, 0)
    parts = shapely.get_parts(net(Union((block(60), thread, block(240))), ell()))
    assert [round(p.area, 2) for p in parts] == [4800.0, 4800.0]


# ------------------------------------------------------------------ as it is cut


@pytest.mark.parametrize("kind", [k for k in REGIONS if k != "around"])
def test_a_cut_outline_keeps_the_chord_error_with_few_vertices(skin, kind):
    """No further than the stated 0.02 mm (and the round corners' own) from the true shape, and
    as few vertices as a polyline of that error needs, give or take its corners."""
    given = spec([Ply("P", "twill", "s", REGIONS[kind])], mould=mould(*SKIN), axis=AtShare(0.25))
    assert given.choices.chord_error_mm == CHORD_ERROR_MM
    (piece,) = lay_up(given, skin).pieces
    true = net(REGIONS[kind], skin)
    ring = shapely.linearrings(piece.outline_mm)
    apart = shapely.hausdorff_distance(ring, true.exterior, densify=0.01)
    assert apart <= CHORD_ERROR_MM + ARC_ERROR_MM + 1e-3
    assert len(piece.outline_mm) <= _needed(true) + 8


def _needed(shape):
    """Vertices a curve of this shape asks for: sum of sqrt(turn x length / 8 e) over its chords,
    from the sagitta of a shallow arc, s = turn x length / 8, and its corners."""
    ring = shapely.get_coordinates(shape.exterior.simplify(1e-3))
    step = np.diff(ring, axis=0)
    length = np.hypot(*step.T)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    turn = np.abs(np.diff(heading))
    corners = turn > math.radians(5)
    smooth = np.sqrt(np.where(corners, 0, turn) * (length[1:] + length[:-1]) / 2)
    return int(corners.sum()) + 1 + float(smooth.sum()) / math.sqrt(8 * CHORD_ERROR_MM) * 1.6


def test_a_whole_skin_needs_few_vertices():
    given = spec([Ply("P", "twill", "s", Whole())], mould=mould(*SKIN), axis=AtShare(0.25))
    wide = replace(given.materials, cloths={"twill": cloth(roll=1600, usable=1600)})
    made = face(*SKIN, hand="left")
    (piece,) = lay_up(replace(given, materials=wide), made).pieces
    assert len(piece.outline_mm) <= 36
    assert [e.name for e in piece.edges] == [e.name for e in made.edges]
