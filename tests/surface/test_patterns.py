"""Flat patterns against their closed developments, and what cannot be developed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.spec.model import CoordinateSection, NacaSection
from plybook.surface.develop import best_rigid
from plybook.surface.meanline import mean_line
from plybook.surface.section import naca_points, section_curve, share_of_w
from tests.surface.faces import CHANNEL, circle, distances, face, grid, half_circle, station


def test_half_cylinder_is_a_rectangle():
    # R 50, length 300: half girth 157.0796 (elementary)
    made = face(station(0, 1, half_circle(50.0)), station(300, 1, half_circle(50.0)))
    assert np.ptp(made.outline_mm, axis=0) == pytest.approx([300, 157.0796], abs=1e-3)
    assert made.area_mm2 == pytest.approx(157.0796 * 300, rel=1e-6)


def test_geodesic_on_a_cylinder_is_straight_on_the_pattern():
    # quarter turn and 300 along on R 50: 310.1105 (helix, elementary)
    made = face(station(0, 1, half_circle(50.0)), station(300, 1, half_circle(50.0)))
    a, b = made.to_pattern(np.array([[0, 0.25], [300, 0.75]]))
    assert np.hypot(*(b - a)) == pytest.approx(310.1105, abs=1e-3)


@pytest.mark.parametrize("hand", ["left", "right"])
def test_frustum_is_the_sector_of_the_textbook(hand):
    # R 60 -> 30, height 40: slant 50, radii 100 and 50, 216 degrees for the whole, 108 for half
    made = face(station(0, 1, half_circle(60.0)), station(40, 0.5, half_circle(60.0)), hand=hand)
    shares = np.linspace(0, 1, 25)
    got = made.to_pattern(grid([0, 40], shares))
    angle = np.radians(108) * shares
    want = np.concatenate([r * np.stack([np.cos(angle), np.sin(angle)], axis=1) for r in (100, 50)])
    assert distances(got) == pytest.approx(distances(want), abs=0.01)
    assert made.area_mm2 == pytest.approx(4500 * np.pi / 2, abs=0.1)
    assert made.strain.developable


@pytest.mark.parametrize(("radius", "share"), [(4800.0, 0.5), (2400.0, 0.02)])
def test_a_cone_closed_all_round_is_its_whole_sector(radius, share):
    """A cone is a sector of 360 R / slant degrees to its apex (elementary geometry): here slant
    to radius as 5 to 3, 216 degrees, over 4 m; once nearly to the apex."""
    height = radius * (1 - share) * 4 / 3
    made = face(station(0, 1, circle(radius)), station(height, share, circle(radius)), axis=0.5)
    apex = radius * 5 / 3
    shares = np.linspace(0, 1, 73)
    angle = np.radians(216) * shares
    got = made.to_pattern(grid([0, height / 2, height], shares))
    want = np.concatenate(
        [apex * part * np.stack([np.cos(angle), np.sin(angle)], axis=1)
         for part in (1, (1 + share) / 2, share)]
    )  # fmt: skip
    turn, shift = best_rigid(want, got)
    assert np.hypot(*(want @ turn.T + shift - got).T).max() < 0.02
    assert made.area_mm2 == pytest.approx(np.radians(216) / 2 * apex**2 * (1 - share**2), abs=0.1)
    assert made.strain.developable


def wing_cone(root, tip, span, sweep, code="2412", count=60):
    """Development of a tapered untwisted wing as the cone it is: polar round its apex.

    The distance from the apex is true, the angle is the length of the curve that the rulings
    draw on the unit sphere, summed over many exact points of the section.
    """
    reach = span * root / (root - tip)  # where the chord would vanish
    apex = np.array([sweep * reach / span, reach, 0.0])
    section = section_curve(NacaSection(code), "upper")
    w = np.linspace(0, 1, count)
    tau = np.linspace(0, 1, 400_001)
    fine = naca_points(tau, mean_line(code), int(code[2:]) / 100, True) * root
    rays = np.column_stack([fine[:, 0], 0 * tau, fine[:, 1]]) - apex
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    swept = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(rays, axis=0), axis=1))])
    points = section.points(share_of_w(w)) * root
    at_tau = np.array([tau[np.argmin(np.hypot(*(fine - p).T))] for p in points])
    angle = np.interp(at_tau, tau, swept)
    far = np.linalg.norm(np.column_stack([points[:, 0], 0 * w, points[:, 1]]) - apex, axis=1)
    rows = [
        (far * (1 - part))[:, None] * np.stack([-np.cos(angle), np.sin(angle)], axis=1)
        for part in (0.0, 0.5 * span / reach, span / reach)
    ]
    behind = points[:, 0] >= 0  # what lies ahead of the leading edge has no share of its own
    rows = [row[behind] for row in rows]
    share = points[behind, 0] / points[-1, 0]  # of the way to the blunt trailing edge
    return np.concatenate(rows), grid([0, span / 2, span], share)


@pytest.mark.parametrize("sweep", [0.0, 500.0, 1865.0])  # 1865 mm over 4 m is 25 degrees
def test_tapered_untwisted_wing_is_the_cone_it_is(sweep):
    want, at = wing_cone(1500.0, 900.0, 4000.0, sweep)
    made = face(station(0, 1500), station(4000, 900, sweep=sweep))
    got = made.to_pattern(at)
    turn, shift = best_rigid(want, got)
    assert np.hypot(*(want @ turn.T + shift - got).T).max() < 0.02
    assert made.strain.developable


def test_channel_with_radii_has_the_flat_of_the_bend_arithmetic():
    made = face(station(0, 1, CHANNEL), station(4000, 1, CHANNEL))
    flat = 400 - 4 * 20 + 2 * 20 * np.pi / 2  # legs less the tangents, plus two quarter arcs
    assert np.ptp(made.outline_mm, axis=0) == pytest.approx([4000, flat], abs=2e-3)
    assert made.strain.developable


def test_tapered_channel_keeps_its_legs_true():
    # web 200 -> 120 at equal radii stays developable: planes and two cylinders
    narrow = type(CHANNEL)(CHANNEL.points_mm * [0.6, 1.0], CHANNEL.radii_mm)
    made = face(station(0, 1, CHANNEL), station(2000, 1, narrow), axis=0.5)
    assert made.strain.developable
    ends = np.ptp(made.span_line(0)[:, 1]), np.ptp(made.span_line(2000)[:, 1])
    lengths = [np.sum(np.hypot(*np.diff(made.span_line(s), axis=0).T)) for s in (0, 2000)]
    girths = [section_curve(s, "all").length() for s in (CHANNEL, narrow)]
    assert lengths == pytest.approx(girths, abs=0.01)
    assert ends == pytest.approx(girths, abs=0.5)


@pytest.mark.parametrize("hand", ["left", "right"])
def test_a_twisted_wing_is_reported_as_not_developable(hand):
    made = face(station(0, 1200), station(4000, 1200, twist=-12), hand=hand)
    assert not made.strain.developable
    assert made.strain.largest_tension_pct > made.strain.tolerance_pct


def test_a_smooth_and_a_ruled_loft_through_the_same_stations_differ():
    stations = (station(0, 1500), station(1500, 1420), station(4000, 700, sweep=300))
    ruled = face(*stations, axis=0.25, accepted=(1500.0,))
    smooth = face(*stations, axis=0.25, loft="smooth")
    at = np.array([[2700.0, 1.0]])
    assert np.hypot(*(ruled.to_pattern(at) - smooth.to_pattern(at))[0]) > 10
    assert smooth.kinks == ()


wings = st.fixed_dictionaries(
    {
        "root": st.floats(400, 2000),
        "taper": st.floats(0.35, 1.0),
        "span": st.floats(800, 5000),
        "sweep": st.floats(-0.4, 0.6),
        "rise": st.floats(-0.1, 0.2),
        "twist": st.floats(-5, 5),
        "code": st.sampled_from(["0012", "2412", "4415", "0009"]),
        "side": st.sampled_from(["upper", "lower"]),
        "form": st.sampled_from(["female", "male"]),
    }
)


def drawn(wing, hand="right", finer=1.0, shift=(0.0, 0.0, 0.0)):
    s = wing["span"]
    return face(
        station(shift[0], wing["root"], wing["code"], shift[1], shift[2]),
        station(
            shift[0] + s,
            wing["root"] * wing["taper"],
            wing["code"],
            shift[1] + s * wing["sweep"],
            shift[2] + s * wing["rise"],
            wing["twist"],
        ),
        hand=hand,
        finer=finer,
        side=wing["side"],
        form=wing["form"],
    )


@settings(max_examples=15, deadline=None)
@given(wings)
def test_the_other_hand_is_the_mirror_image_to_the_last_digit(wing):
    left, right = drawn(wing, "left"), drawn(wing, "right")
    at = grid(np.linspace(0, wing["span"], 5), np.linspace(0, 1, 7))
    assert np.array_equal(left.to_pattern(at) * [1, -1], right.to_pattern(at))


@settings(max_examples=15, deadline=None)
@given(wings, st.tuples(*[st.floats(-3000, 3000)] * 3))
def test_moving_the_part_in_space_changes_nothing(wing, shift):
    here, there = drawn(wing), drawn(wing, shift=shift)
    at = grid(np.linspace(0, wing["span"], 5), np.linspace(0, 1, 7))
    moved = there.to_pattern(at + [shift[0], 0])
    assert moved == pytest.approx(here.to_pattern(at), abs=1e-4)


@pytest.mark.slow
@settings(max_examples=10, deadline=None)
@given(wings)
def test_finer_elements_change_the_pattern_by_less_than_a_hundredth(wing):
    at = grid(np.linspace(0, wing["span"], 5), np.linspace(0, 1, 9))
    coarse, fine = drawn(wing).to_pattern(at), drawn(wing, finer=2.0).to_pattern(at)
    assert np.hypot(*(coarse - fine).T).max() < 0.01


@settings(max_examples=15, deadline=None)
@given(wings)
def test_span_and_share_come_back_from_the_pattern(wing):
    made = drawn(wing)
    rng = np.random.default_rng(7)
    at = np.column_stack([rng.uniform(0, wing["span"], 200), rng.uniform(0, 1, 200)])
    flat = made.to_pattern(at)
    assert made.to_pattern(made.from_pattern(flat)) == pytest.approx(flat, abs=1e-6)
    assert made.from_pattern(flat)[:, 0] == pytest.approx(at[:, 0], abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(wings, st.floats(-100, 100), st.floats(-100, 100))
def test_the_pattern_goes_on_past_the_net_line(wing, x, y):
    made = drawn(wing)
    past = made.outline_mm + [x, y]
    assert made.to_pattern(made.from_pattern(past)) == pytest.approx(past, abs=1e-3)


def test_turning_the_part_about_its_axis_changes_nothing():
    at = grid([0, 1000, 2500], np.linspace(0, 1, 9))

    def turned(angle):
        # twist about the quarter chord; sweep keeps all pivots on one line
        return face(
            station(0, 1000, sweep=-250, twist=angle),
            station(2500, 600, sweep=-150, twist=angle),
        ).to_pattern(at)

    assert turned(33.0) == pytest.approx(turned(0.0), abs=1e-4)


def test_a_cone_through_points_is_developable_up_to_its_round_end():
    """Sections of one shape make a cone whatever the shape; a circle ends square to its chord."""
    angle = np.linspace(0, 2 * np.pi, 161)
    round_ = CoordinateSection(np.column_stack([0.5 + np.cos(angle) / 2, np.sin(angle) / 2]))
    made = face(
        station(0, 1200, round_), station(4000, 700, round_, sweep=250),
        form="male", shares=(0.1, 0.9),
    )  # fmt: skip
    assert made.strain.developable
    assert made.strain.largest_tension_pct < 0.002
    assert made.strain.largest_compression_pct > -0.002
