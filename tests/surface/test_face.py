"""Which way up the pattern lies, its edges, its kinks and what it answers about the face."""

import numpy as np
import pytest
from shapely import Polygon

from plybook.diagnostics import GeometryError
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.model import AtShare, BetweenPoints, NacaSection, OnFace, OnPattern, OutlineMould
from plybook.surface import face_of
from tests.surface.faces import CHANNEL, face, grid, half_circle, mould, station

WING = (station(0, 1500), station(4000, 900, sweep=500, rise=150))


def edge(made, name):
    return next(e.points_mm for e in made.edges if e.name == name)


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("side", ["upper", "lower"])
@pytest.mark.parametrize("form", ["female", "male"])
def test_the_leading_edge_is_where_a_viewer_on_the_bag_side_sees_it(hand, side, form):
    # standing on the bag side with the root to the left and the tip to the right
    made = face(*WING, hand=hand, side=side, form=form)
    out = np.array([0, -1.0 if hand == "left" else 1.0, 0])  # root to tip in part axes
    bag = np.array([0, 0, 1.0 if (side == "upper") == (form == "male") else -1.0])
    up = np.cross(bag, out)  # the viewer's up: x to the right, bag side towards him
    leading_on_top = up[0] < 0  # x runs aft
    middle = edge(made, "leading")[:, 1].mean(), edge(made, "trailing")[:, 1].mean()
    assert (middle[0] > middle[1]) == leading_on_top


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("form", ["female", "male"])
def test_pattern_axes_and_the_bag_side_normal_are_right_handed(hand, form):
    made = face(*WING, hand=hand, form=form)
    p = made.to_pattern(np.array([[2000.0, 0.5]]))
    x, y = (made.to_space(p + d)[0] - made.to_space(p)[0] for d in ([0.01, 0], [0, 0.01]))
    assert np.cross(x, y) / 1e-4 == pytest.approx(made.normals(p)[0], abs=1e-4)


def test_the_edges_walk_the_outline_once_counter_clockwise():
    for hand in ("left", "right"):
        made = face(*WING, hand=hand)
        for a, b in zip(made.edges, made.edges[1:] + made.edges[:1], strict=True):
            assert np.array_equal(a.points_mm[-1], b.points_mm[0])
        assert signed_area_mm2(made.outline_mm) > 0
        assert Polygon(made.outline_mm).is_valid
        assert Polygon(made.outline_mm).area == pytest.approx(made.area_mm2, rel=1e-6)
        assert {e.name for e in made.edges} == {"leading", "trailing", "root", "tip"}


@pytest.mark.parametrize("share", [0.0, 0.25, 0.6])
def test_the_axis_runs_from_the_origin_along_x(share):
    made = face(*WING, axis=share)
    ends = made.to_pattern(np.array([[0, share], [4000, share]]))
    assert ends[0] == pytest.approx([0, 0], abs=1e-9)
    assert ends[1] == pytest.approx(made.axis_mm[1], abs=1e-9)
    assert made.axis_mm[1, 1] == 0 and made.axis_mm[1, 0] > 4000


def test_an_axis_between_two_points_runs_between_them():
    axis = BetweenPoints(OnFace(100, 0.3), OnFace(3900, 0.7))
    made = face_of(mould(*WING), axis, "left")
    ends = made.to_pattern(np.array([[100, 0.3], [3900, 0.7]]))
    assert ends == pytest.approx(made.axis_mm, abs=1e-9)


def test_part_axes_are_aft_starboard_up():
    for hand, side in (("left", -1), ("right", 1)):
        made = face(*WING, hand=hand)
        leading, trailing = made.to_space(made.to_pattern(np.array([[4000, 0.0], [4000, 1.0]])))
        assert leading == pytest.approx([500, side * 4000, 150], abs=1e-6)
        assert trailing[0] == pytest.approx(1400, abs=0.2)


def test_twist_is_nose_up():
    made = face(station(0, 1000), station(2000, 1000, twist=5))
    nose = made.to_space(made.to_pattern(np.array([[2000.0, 0.0]])))[0]
    assert nose[2] == pytest.approx(250 * np.sin(np.radians(5)), abs=1e-6)


@pytest.mark.parametrize(("form", "sign"), [("female", 1), ("male", -1)])
def test_curvature_of_a_gutter_is_that_of_its_radius(form, sign):
    # positive where the bag side is hollow: inside a female mould
    made = face(station(0, 1, half_circle(50.0)), station(300, 1, half_circle(50.0)), form=form)
    got = made.curvature(made.to_pattern(grid([30, 150], [0.2, 0.5, 0.7])))
    assert got[:, 1, 1] == pytest.approx(sign / 50, rel=1e-4)
    assert np.abs(got[:, 0, :]).max() < 1e-8


def test_curvature_of_a_section_is_that_of_its_formula():
    # NACA 0012 at 30 % chord: y'' of the formula over (1 + y'^2)^1.5
    made = face(station(0, 1000, "0012"), station(1000, 1000, "0012"), form="male")
    x = 0.3
    slope = 0.6 * (0.2969 / 2 / x**0.5 - 0.126 - 0.7032 * x + 0.8529 * x**2 - 0.406 * x**3)
    bend = 0.6 * (-0.2969 / 4 / x**1.5 - 0.7032 + 1.7058 * x - 1.218 * x**2)
    want = bend / (1 + slope**2) ** 1.5 / 1000
    got = made.curvature(made.to_pattern(np.array([[500.0, x]])))[0, 1, 1]
    assert got == pytest.approx(want, rel=2e-4)


def test_a_crank_is_a_kink_and_splits_the_face():
    made = face(station(0, 1500), station(1500, 1400), station(4000, 700, sweep=300, rise=200))
    assert [k.span_mm for k in made.kinks] == [1500]
    assert 2 < made.kinks[0].gap_mm < 6 and made.kinks[0].turn_deg > 4
    assert len(made.leaves_mm) == 2 and made.strain.developable
    outline = Polygon(made.outline_mm)
    assert outline.is_valid
    assert outline.area == pytest.approx(made.area_mm2, rel=2e-3)


def test_an_accepted_kink_is_laid_in_one_piece_and_strains():
    stations = (station(0, 1500), station(1500, 1400), station(4000, 700, sweep=300, rise=200))
    made = face(*stations, accepted=(1500.0,))
    assert made.kinks[0].accepted and len(made.leaves_mm) == 1
    assert not made.strain.developable


def test_a_station_on_a_straight_planform_with_a_little_washout_is_no_kink():
    made = face(station(0, 1200), station(1000, 1100, twist=-0.5), station(2000, 1000, twist=-1.1))
    assert made.kinks == () and len(made.leaves_mm) == 1


def test_a_station_in_the_middle_of_a_straight_taper_changes_nothing():
    two = face(station(0, 1500), station(4000, 900))
    three = face(station(0, 1500), station(1000, 1350), station(4000, 900))
    at = grid([0, 1000, 3000, 4000], np.linspace(0, 1, 9))
    assert three.to_pattern(at) == pytest.approx(two.to_pattern(at), abs=1e-3)


def test_part_of_a_section_has_its_own_edges():
    made = face(*WING, shares=(0.1, 0.7))
    whole = face(*WING)
    at = grid([0, 4000], [0.1, 0.4, 0.7])
    assert made.to_pattern(at) == pytest.approx(whole.to_pattern(at), abs=2e-3)
    assert edge(made, "leading")[[0, -1]] == pytest.approx(made.share_line(0.1)[[0, -1]]) or edge(
        made, "leading"
    )[[-1, 0]] == pytest.approx(made.share_line(0.1)[[0, -1]])


def test_station_lines_stand_at_the_stations():
    made = face(*WING)
    assert [line.span_mm for line in made.station_lines] == [0, 4000]
    for line in made.station_lines:
        spans = made.from_pattern(line.points_mm)[:, 0]
        assert spans == pytest.approx(line.span_mm, abs=1e-6)


def test_a_flat_outline_is_its_own_pattern():
    ring = np.array([[0, 0], [400, 0], [400, 250], [0, 250.0]])
    hole = np.array([[100, 100], [150, 100], [150, 150], [100, 150.0]])
    sides = (("lower", 0, 1), ("right", 1, 2), ("upper", 2, 3), ("left", 3, 0))
    made = face_of(OutlineMould(ring, (hole,), sides), AtShare(0.5), "none")
    points = np.array([[10.0, 20], [399, 249]])
    assert made.flat and np.array_equal(made.to_space(points)[:, :2], points)
    assert made.area_mm2 == 400 * 250 - 2500
    assert np.concatenate([e.points_mm[:-1] for e in made.edges]) == pytest.approx(ring)
    assert made.to_pattern(made.from_pattern(points)) == pytest.approx(points)


def test_a_flat_outline_with_a_slanting_axis_is_refused():
    ring = np.array([[0, 0], [400, 0], [400, 250.0]])
    axis = BetweenPoints(OnPattern(0, 0), OnPattern(400, 250))
    with pytest.raises(GeometryError, match="axis-points"):
        face_of(OutlineMould(ring, (), ()), axis, "none")


@pytest.mark.parametrize(
    ("stations", "code"),
    [
        ((station(0, 1000),), "stations-order"),
        ((station(0, 1000), station(0, 900)), "stations-order"),
        ((station(0, 1000), station(900, 1, CHANNEL)), "sections-mixed"),
    ],
)
def test_stations_that_make_no_face_are_refused(stations, code):
    with pytest.raises(GeometryError, match=code):
        face(*stations)


def test_a_face_that_runs_to_a_point_is_refused():
    with pytest.raises(GeometryError):
        face(station(0, 1000), station(2000, 1e-12))


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_share_is_the_place_along_the_chord_line_close_to_the_nose_too(side):
    sharp = NacaSection("4415", sharp=True)
    made = face(station(0, 1000, sharp), station(600, 1000, sharp), side=side)
    share = np.array([0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.07, 0.1, 0.3, 0.7])
    points = made.to_pattern(np.stack([np.full(10, 250.0), share], axis=1))
    assert made.to_space(points)[:, 0] / 1000.0 == pytest.approx(share, abs=1e-5)
    assert made.from_pattern(points)[:, 1] == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize(("twist", "within"), [(0.0, 1e-5), (-3.0, 6e-4)])
def test_share_on_a_tapered_face_is_that_of_the_chord_line_there(twist, within):
    """Chord line: from the leading to the trailing edge of sharp sections at the same span. Between
    stations of other sections that are twisted too it is only nearly so."""
    thin, thick = NacaSection("2410", sharp=True), NacaSection("4415", sharp=True)
    made = face(station(0, 1200, thick), station(2000, 700, thin, sweep=150, rise=90, twist=twist))
    spans = np.repeat([300.0, 1000.0, 1700.0], 6)
    share = np.tile([0.004, 0.01, 0.03, 0.06, 0.2, 0.6], 3)
    at, lead, trail = (
        made.to_space(made.to_pattern(np.stack([spans, s], axis=1)))
        for s in (share, 0 * share, 0 * share + 1)
    )
    chord = trail - lead
    found = np.sum((at - lead) * chord, axis=1) / np.sum(chord * chord, axis=1)
    assert found == pytest.approx(share, abs=within)


def test_every_place_on_a_nose_that_reaches_ahead_of_its_leading_edge_is_found_again():
    made = face(station(0, 1000, "4415"), station(600, 800, "2412"), side="upper")
    line = made.span_line(300.0)
    line = line[np.hypot(*(line - line[0]).T) < 60.0]
    there = made.from_pattern(line)
    assert (np.diff(there[:, 1]) > 0).all() and there[0, 1] == pytest.approx(0.0, abs=1e-9)
    assert made.to_pattern(there) == pytest.approx(line, abs=1e-5)
