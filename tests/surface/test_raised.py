"""Layers on what is below them: bends, ramps, and the way there and back."""

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from plybook.diagnostics import GeometryError
from plybook.spec.model import AtShare, OutlineMould
from plybook.surface import face_of
from plybook.surface.mesh import pattern_mesh
from plybook.surface.raised import Raiser
from tests.surface.faces import CHANNEL, face, half_circle, raise_face, station

THICK, SLOPE = 10.0, np.radians(45.0)
RAMP = THICK / np.sin(SLOPE) - THICK / np.tan(SLOPE)  # 4.142 mm more than the run, per edge


def level(height):
    return lambda points: np.full(len(points), float(height))


def strip_core(low, high, thick=THICK):
    """Height of a panel between two lines of constant y, both edges at 45 degrees."""
    return lambda p: np.clip(np.minimum(p[:, 1] - low, high - p[:, 1]), 0.0, thick)


def strip_lines(low, high, x, thick=THICK):
    return [np.array([[x[0], y], [x[1], y]]) for y in (low, low + thick, high - thick, high)]


def across(raised, x, low, high):
    a, b = raised.to_cut(np.array([[x, low], [x, high]]))
    return np.hypot(*(b - a))


def test_nothing_below_leaves_the_pattern_as_it_is():
    made = face(station(0, 1500), station(3000, 900))
    raised = raise_face(made, level(0))
    points = made.outline_mm + [3.0, -2.0]
    assert raised.unraised
    assert np.array_equal(raised.to_cut(points), points)
    assert raised.growth.across_mm == raised.growth.area_mm2 == 0


@pytest.mark.parametrize(("form", "sign"), [("female", -1), ("male", 1)])
@pytest.mark.parametrize("height", [0.25, 1.0, 4.0])
def test_a_channel_changes_its_girth_by_height_times_turning_angle(form, sign, height):
    # two quarter bends: pi in all; shorter on the inside, longer on the outside
    made = face(station(0, 1, CHANNEL), station(2000, 1, CHANNEL), form=form)
    raised = raise_face(made, level(height))
    assert raised.growth.across_mm == pytest.approx(sign * height * np.pi, abs=0.005)
    assert raised.growth.along_mm == pytest.approx(0, abs=0.005)


def test_a_gutter_of_the_radius_less_the_height_is_that_gutter():
    # lifting inside R 50 by 5 gives R 45: 141.372 mm
    made = face(station(0, 1, half_circle(50.0)), station(300, 1, half_circle(50.0)))
    raised = raise_face(made, level(5))
    got = np.ptp(raised.to_cut(made.outline_mm), axis=0)
    assert got == pytest.approx([300, np.pi * 45], abs=0.005)


def test_a_flat_ramp_adds_its_slope_exactly():
    ring = np.array([[0, 0], [800, 0], [800, 500], [0, 500.0]])
    made = face_of(OutlineMould(ring, (), ()), AtShare(0.5), "none")
    raised = raise_face(made, strip_core(100, 400), strip_lines(100, 400, (-200, 1000)))
    assert across(raised, 400, 0, 500) - 500 == pytest.approx(2 * RAMP, abs=1e-4)
    assert pytest.approx(8.284, abs=5e-4) == 2 * RAMP
    assert raised.strain.tension_pct < 1e-3


@pytest.mark.parametrize("form", ["female", "male"])
def test_a_ply_over_core_on_a_section_agrees_with_the_hand_calculation(form):
    # 10 mm core, 45 degree edges on a 1.2 m chord: each ramp adds t/sin a - t/tan a, the bent
    # panel takes off t times its turning angle, a ramp its mean height times cos 45 of it
    made = face(station(0, 1200), station(3000, 1200), form=form)
    low, high = sorted(made.to_pattern(np.array([[0, 0.12], [0, 0.75]]))[:, 1])
    raised = raise_face(made, strip_core(low, high), strip_lines(low, high, (-200, 3200)))
    y = np.linspace(low, high, 200)
    normals = made.normals(np.column_stack([np.full(200, 1500.0), y]))

    def turned(a, b):
        return np.arccos(np.clip(np.sum(normals[a] * normals[b]), -1, 1))

    ramp = int(np.searchsorted(y, low + THICK))
    sign = 1 if form == "male" else -1
    ends = turned(0, ramp) + turned(-ramp - 1, -1)
    turning = turned(ramp, -ramp - 1) + ends * 0.5 * np.cos(SLOPE)
    by_hand = 2 * RAMP + sign * THICK * turning
    net = made.outline_mm[:, 1].min(), made.outline_mm[:, 1].max()
    grown = across(raised, 1500, *net) - (net[1] - net[0])
    assert grown == pytest.approx(by_hand, abs=0.05)
    # and to a hundredth against the exact girth of the lifted section, summed finely
    y = np.unique(np.concatenate([np.linspace(*net, 20001), [low + THICK, high - THICK]]))
    points = np.column_stack([np.full(len(y), 1500.0), y])
    bend = made.curvature(points)[:, 1, 1]
    height = strip_core(low, high)(points)
    mean = (height[1:] + height[:-1]) / 2 * (bend[1:] + bend[:-1]) / 2
    girth = np.sum(np.hypot(1 - mean, np.diff(height) / np.diff(y)) * np.diff(y))
    assert grown == pytest.approx(girth - (net[1] - net[0]), abs=0.01)


def test_growth_of_many_layers_is_linear_in_height():
    made = face(station(0, 1, CHANNEL), station(1000, 1, CHANNEL))
    raiser = Raiser(made)
    layers = np.arange(1, 31)
    grown = np.array([raiser.raise_to(level(0.2 * k)).growth.across_mm for k in layers])
    exponent = np.polyfit(np.log(layers), np.log(-grown), 1)[0]
    assert exponent == pytest.approx(1.0, abs=1e-3)


def test_a_panel_bevelled_all_round_grows_by_about_its_ramps_and_less_beside_them():
    # such a layer is not developable: the flange beside the panel holds it back
    ring = np.array([[0, 0], [1600, 0], [1600, 900], [0, 900.0]])
    made = face_of(OutlineMould(ring, (), ()), AtShare(0.5), "none")
    foot = np.array([[200, 200], [1400, 200], [1400, 700], [200, 700], [200, 200.0]])
    top = np.array([[210, 210], [1390, 210], [1390, 690], [210, 690], [210, 210.0]])
    mitres = [np.array([a, b]) for a, b in zip(foot[:4], top[:4], strict=True)]

    def height(p):
        inside = np.minimum(
            np.minimum(p[:, 0] - 200, 1400 - p[:, 0]), np.minimum(p[:, 1] - 200, 700 - p[:, 1])
        )
        return np.clip(inside, 0, THICK)

    raiser = Raiser(made, [foot, top, *mitres])
    raised = raiser.raise_to(height)
    middle = across(raised, 800, 0, 900) - 900
    beside = across(raised, 100, 0, 900) - 900
    assert 0 <= beside < middle
    assert middle == pytest.approx(2 * RAMP, rel=0.1)
    assert raised.strain.most_pct > 0.1
    finer = raise_face(made, height, [foot, top, *mitres], step_mm=10.0)
    assert across(finer, 800, 0, 900) - 900 == pytest.approx(middle, abs=0.02)


def test_the_raised_pattern_stays_where_it_was_and_along_the_axis():
    made = face(station(0, 1500), station(3000, 900, sweep=300))
    raised = raise_face(made, level(6))
    axis = raised.to_cut(np.linspace(*made.axis_mm, 30)[1:-1])
    assert np.polyfit(axis[:, 0], axis[:, 1], 1)[0] == pytest.approx(0, abs=1e-5)
    before, after = Polygon(made.outline_mm), Polygon(raised.to_cut(made.outline_mm))
    inside = made.to_pattern(np.random.default_rng(1).uniform((0, 0.02), (3000, 1), (4000, 2)))
    assert np.abs(np.mean(raised.to_cut(inside) - inside, axis=0)).max() < 1.0
    assert raised.growth.area_mm2 == pytest.approx(after.area - before.area, rel=5e-3)


def test_the_other_hand_is_raised_to_the_mirror_image():
    stations = station(0, 1200), station(2000, 900, sweep=200)
    left, right = (face(*stations, hand=hand) for hand in ("left", "right"))
    a, b = (raise_face(made, level(3)) for made in (left, right))
    points = right.outline_mm
    assert a.to_cut(points * [1, -1]) * [1, -1] == pytest.approx(b.to_cut(points), abs=1e-6)


def test_one_part_of_the_face_can_be_raised_alone():
    made = face(station(0, 1200), station(3000, 1200))
    patch = np.array([[1000, 100], [1300, 100], [1300, 300], [1000, 300.0]])
    alone = raise_face(made, level(2), within=patch)
    whole = raise_face(made, level(2))
    got, want = (np.ptp(r.to_cut(patch), axis=0) for r in (alone, whole))
    assert got == pytest.approx(want, abs=0.005)


def test_fibres_keep_their_angle_on_a_bend_and_turn_beside_a_panel_that_ends():
    bent = raise_face(face(station(0, 1, CHANNEL), station(1000, 1, CHANNEL)), level(3))
    assert np.abs(bent.fibre_turn_deg()).max() < 1e-3
    ring = np.array([[0, 0], [1600, 0], [1600, 900], [0, 900.0]])
    made = face_of(OutlineMould(ring, (), ()), AtShare(0.5), "none")
    # a wedge: the ramp's height grows along x, so one end of the layer grows and turns the rest
    raised = raise_face(made, lambda p: np.clip(p[:, 0], 0, 1600) / 1600 * 30 * (p[:, 1] > 450))
    turn = raised.fibre_turn_deg()
    middle = raised.nodes_mm[raised.triangles].mean(axis=1)
    cut = raised.to_cut(np.stack([middle, middle + [1.0, 0]], axis=1).reshape(-1, 2))
    way = cut[1::2] - cut[::2]
    seen = -np.degrees(np.arctan2(way[:, 1], way[:, 0]))
    flat = (middle[:, 1] < 350) & (middle[:, 1] > 0)
    assert np.median(np.abs(turn[flat] - seen[flat])) < 0.02
    assert np.abs(turn[flat]).max() > 0.02


def test_equal_heights_share_one_map():
    raiser = Raiser(face(station(0, 800), station(1000, 800)))
    assert raiser.raise_to(level(1)) is raiser.raise_to(level(1))
    assert raiser.raise_to(level(1)) is not raiser.raise_to(level(2))


def test_a_height_past_the_centre_of_curvature_is_refused():
    made = face(station(0, 1, CHANNEL), station(1000, 1, CHANNEL))  # radius 20 mm
    with pytest.raises(GeometryError, match="raised-too-high"):
        raise_face(made, level(21))


@pytest.mark.slow
@settings(max_examples=10, deadline=None)
@given(st.floats(0.05, 12), st.floats(400, 1500), st.floats(-4, 4), st.integers(0, 99))
def test_the_way_to_the_cut_and_back_is_exact(height, chord, twist, seed):
    made = face(station(0, 1500), station(2500, chord, twist=twist))
    core = np.sort(np.random.default_rng(seed).uniform(100, 900, 2)) + [0, 60]
    raised = raise_face(
        made, strip_core(*core, thick=height), strip_lines(*core, (-150, 2700), height)
    )
    rng = np.random.default_rng(seed)
    inside = made.to_pattern(rng.uniform((0, 0), (2500, 1), (300, 2)))
    points = inside + rng.uniform(-80, 80, (300, 2))
    assert raised.from_cut(raised.to_cut(points)) == pytest.approx(points, abs=1e-6)
    far = inside.mean(axis=0) + [0, 3000.0]
    assert raised.from_cut(raised.to_cut(far[None]))[0] == pytest.approx(far, abs=height)


@pytest.mark.parametrize("height", [0.0, 5.0])
def test_a_map_is_the_same_after_the_way_between_processes(height):
    """What cannot be sent is made once more by who asked for it, and nobody would notice."""
    made = face(station(0, 1500), station(2500, 900, twist=-2))
    lines = strip_lines(300, 500, (-150, 2700), height) if height else ()
    raised = raise_face(made, strip_core(300, 500, thick=height), lines)
    sent = pickle.loads(pickle.dumps(raised))
    points = made.outline_mm
    for way in ("to_cut", "from_cut", "strain_at"):
        assert getattr(sent, way)(points).tobytes() == getattr(raised, way)(points).tobytes()


@pytest.mark.parametrize("hand", ["left", "right"])
def test_each_leaf_of_a_cranked_face_is_raised_on_its_own(hand):
    stations = station(0, 1500), station(1500, 1400), station(4000, 700, sweep=300, rise=200)
    made = face(*stations, hand=hand)
    assert len(made.leaves_mm) == 2
    for leaf, span in zip(made.leaves_mm, (700.0, 2800.0), strict=True):
        raised = raise_face(made, level(4), within=leaf)
        assert raised.strain.most_pct < 0.05  # each leaf is developable at any height
        line = made.span_line(span)
        normals = made.normals(made.to_pattern(made.from_pattern(line)))
        turned = np.arccos(np.sum(normals[1:] * normals[:-1], axis=1).clip(-1, 1)).sum()
        before, after = (
            np.hypot(*np.diff(points, axis=0).T).sum() for points in (line, raised.to_cut(line))
        )
        assert before - after == pytest.approx(4 * turned, rel=0.03)


def test_what_folds_past_the_part_is_let_go():
    """A thin tail: past its tip the lines that carry its sharp nose on run together. On the part
    the girth is shorter by the height times the angle that the section turns by."""
    tail = (station(0, 228.6, "0012"), station(1727.2, 136.525, "0009", sweep=3.175))
    made, height = face(*tail, side="lower"), 0.284
    raiser = Raiser(made, margin_mm=110.8)
    whole = raiser._mesh
    raised = raiser.raise_to(level(height))
    assert len(raised.triangles) < len(whole.triangles)
    assert (~raiser._mesh.margin).sum() == (~whole.margin).sum()
    for span in (200.0, 900.0, 1500.0):
        line = made.span_line(span)
        pairs = zip(line, line[1:], strict=False)
        dense = np.concatenate([np.linspace(a, b, 40) for a, b in pairs])
        way = np.diff(dense, axis=0)
        size = np.hypot(*way.T)
        way, middle = way[size > 0] / size[size > 0, None], (dense[1:] + dense[:-1])[size > 0] / 2
        bend = np.einsum("ni,nij,nj->n", way, made.curvature(middle), way)
        turned = float((bend * size[size > 0]).sum())
        cut = raised.to_cut(dense)
        change = np.hypot(*np.diff(cut, axis=0).T).sum() - size.sum()
        assert change == pytest.approx(-height * turned, abs=0.01)


def test_a_mesh_without_what_joins_its_margin_has_no_margin():
    """Triangles that hang on by nothing would lie anywhere."""
    ring = np.array([[0, 0], [800, 0], [800, 500], [0, 500.0]])
    made = face_of(OutlineMould(ring, (), ()), AtShare(0.5), "none")
    mesh = pattern_mesh(made, made.outline_mm, (), 120.0)
    inner = np.unique(mesh.triangles[~mesh.margin])
    touching = mesh.margin & np.isin(mesh.triangles, inner).any(axis=1)
    left, nodes = mesh.without(np.flatnonzero(touching))
    assert np.array_equal(left.nodes_mm, mesh.nodes_mm[nodes])
    assert 0 < touching.sum() < mesh.margin.sum()
    assert not left.margin.any() and len(left.triangles) == int((~mesh.margin).sum())
    assert left.corners == len(np.unique(left.triangles[:, :3]))
    assert left.curve().shape == (len(left.triangles), 3, 2, 2) == left.strains.shape


def test_a_nose_that_no_yarn_follows_is_bridged_and_its_girth_ends():
    """A nose of 0.84 mm radius (1.1019 t^2 c: Abbott and von Doenhoff, Theory of Wing Sections,
    1959, 6.4) under 1.4 mm: on the rest of the section the girth is what it would be."""
    tip = (station(0, 210, "0009"), station(1280, 94, "0009", sweep=226))
    made = face(*tip, side="upper")
    raised, lower = raise_face(made, level(1.4)), raise_face(made, level(0.4))
    found = raised.bridged
    assert lower.bridged is None
    assert found.height_mm == pytest.approx(1.4)
    assert found.radius_mm == pytest.approx(1.1019 * 0.09**2 * 94, rel=0.03)
    span, share = made.from_pattern(found.at_mm[None])[0]
    assert span == pytest.approx(1280, abs=30) and share < 0.01
    line = made.to_pattern(np.column_stack([np.full(200, 900.0), np.linspace(0.1, 0.9, 200)]))
    girths = [np.hypot(*np.diff(one.to_cut(line), axis=0).T).sum() for one in (raised, lower)]
    bare = np.hypot(*np.diff(line, axis=0).T).sum()
    assert bare - girths[0] == pytest.approx((bare - girths[1]) * 1.4 / 0.4, abs=0.02)


def test_a_nose_filled_too_high_is_refused():
    made = face(station(0, 210, "0009"), station(1280, 94, "0009", sweep=226), side="upper")
    with pytest.raises(GeometryError, match="raised-too-high"):
        raise_face(made, level(2.6))
