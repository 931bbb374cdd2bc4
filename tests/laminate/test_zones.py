"""Zones of equal stack: areas, codes, symmetry, balance, slivers."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate.model import LaidLayer
from plybook.laminate.notation import (
    StackLayer,
    fibre_directions,
    folded,
    is_balanced,
    is_symmetric,
    laminate_code,
)
from plybook.laminate.zones import find_zones
from plybook.spec.model import Core, CutOut, Elastic, Film, Insert, Materials, Whole
from tests.laminate.doubles import cloth, foam, peel_ply, spec
from tests.laminate.flat_faces import TrapezoidFace

FACE = TrapezoidFace(length=1000.0, root=(0.0, 500.0), tip=(0.0, 500.0))
ALL = shapely.box(0, 0, 1000, 500)


def ply(angle, material="ud", t=0.2):
    return StackLayer(f"P{angle}", "ply", material, angle, t, (folded(angle),))


def woven(angle, t=0.2):
    return StackLayer(f"P{angle}", "ply", "twill", angle, t, (folded(angle), folded(angle + 90)))


def core(t=10.0):
    return StackLayer("C1", "core", "foam", 0.0, t)


def plies(*angles, **more):
    return [ply(a, **more) for a in angles]


@pytest.mark.parametrize(
    ("stack", "code"),
    [
        # expansions of TM 1-1500-204-23-1 chapter 5, read backwards
        (plies(0, 45, -45, 90, 90, -45, 45, 0), "[0/±45/90]s"),
        (plies(45, 45, -30, 0, 0, 0, 0, 0, 0, -30, 45, 45), "[45_2/-30/0_3]s"),
        (plies(-45, 45), "[∓45]"),
        (plies(45, 45, -45, -45), "[45_2/-45_2]"),
        (plies(0, 90), "[0/90]"),
        (plies(0, 0, 0), "[0_3]"),
        (plies(0, 0), "[0]s"),
        (plies(90, -90), "[90]s"),
        ([*plies(45, 0), core(), *plies(0, 45)], "[45/0/core 10/0/45]"),
        ([*plies(0), *plies(90, material="glass")], "[0a/90b]"),
        ([], "[]"),
        # the fibres of both lie alike, the cloth is laid once each way
        ([woven(45), woven(-45)], "[±45]"),
        ([woven(0), woven(90)], "[0/90]"),
        ([woven(45), woven(-45), woven(-45), woven(45)], "[±45]s"),
    ],
)
def test_a_stack_in_laminate_code(stack, code):
    assert laminate_code(stack) == code


def test_symmetry_reads_cloth_thickness_and_angle():
    assert is_symmetric(plies(0, 45, 45, 0)) and is_symmetric(plies(0, 45, 0))
    assert not is_symmetric(plies(0, 45, -45, 0))
    assert not is_symmetric([ply(0, t=0.2), ply(0, t=0.3)])
    assert not is_symmetric([ply(0, "a"), ply(0, "b")])


def test_balance_counts_plus_and_minus_of_each_cloth():
    assert is_balanced(plies(45, -45, 0, 90)) and is_balanced(plies(0, 90))
    assert not is_balanced(plies(45, 45, -45))
    assert not is_balanced([ply(45, "a"), ply(-45, "b")])
    assert is_balanced(plies(30, -30)) and not is_balanced(plies(30, 60))


@pytest.mark.parametrize(
    ("weave", "angle", "want"),
    [
        ("unidirectional", 30, (30,)),
        ("twill", 0, (0, 90)),
        ("plain", 45, (45, -45)),
        ("biaxial", 0, (45, -45)),
        ("triaxial", 90, (90, -45, 45)),
        ("mat", 10, ()),
    ],
)
def test_fibre_directions_of_a_laid_cloth(weave, angle, want):
    assert fibre_directions(replace(cloth(), weave=weave), angle) == want


@pytest.mark.parametrize(
    ("weave", "fibres", "angle", "want"),
    [
        ("biaxial", (0, 90), 45, (45, -45)),
        ("biaxial", (60, -60), 0, (60, -60)),
        ("triaxial", (60, -60, 90), 90, (-30, 30, 0)),
    ],
)
def test_a_stitched_cloth_may_say_its_fibres(weave, fibres, angle, want):
    stitched = replace(cloth(), weave=weave, fibres_deg=fibres)
    assert fibre_directions(stitched, angle) == want


def test_one_woven_ply_at_45_is_balanced_and_at_30_it_is_not():
    def woven(angle):
        return StackLayer("P", "ply", "t", angle, 0.2, (folded(angle), folded(angle + 90)))

    assert is_balanced([woven(45)]) and is_balanced([woven(0)])
    assert not is_balanced([woven(30)])


def laid(name, region, angle=0.0, kind="ply", material="twill", t=0.2222):
    return LaidLayer(name, kind, material, angle, "skin", t, region, ())


def the_spec(*layers, elastic=None):
    twill = cloth(elastic=elastic)
    base = spec(list(layers))
    return replace(
        base,
        materials=Materials(
            {"twill": twill}, {"foam": foam(), "birch": replace(foam(), id="birch")}, {},
            {"peel": peel_ply()}, {}, {},
        ),
    )  # fmt: skip


def test_a_patch_on_a_skin_makes_two_zones_that_cover_the_face():
    patch = shapely.box(200, 100, 600, 300)
    zones = find_zones([laid("P1", ALL, 45), laid("P2", patch)], FACE, the_spec())
    assert {z.label: z.layers for z in zones} == {"Z1": ("P1", "P2"), "Z2": ("P1",)}
    assert zones[0].area_m2 == pytest.approx(0.08)
    assert sum(z.area_m2 for z in zones) == pytest.approx(0.5)
    assert zones[0].code == "[45/0]"
    assert zones[0].thickness_mm == pytest.approx(0.4444)
    assert zones[0].abd is None


def test_equal_stacks_far_apart_are_one_zone():
    two = shapely.union_all([shapely.box(0, 0, 100, 500), shapely.box(900, 0, 1000, 500)])
    zones = find_zones([laid("P1", ALL), laid("P2", two)], FACE, the_spec())
    assert len(zones) == 2
    assert max(z.area_m2 for z in zones if len(z.layers) == 2) == pytest.approx(0.1)


def test_layers_beyond_the_net_line_are_cut_to_it():
    (zone,) = find_zones([laid("P1", ALL.buffer(20))], FACE, the_spec())
    assert zone.area_m2 == pytest.approx(0.5, rel=1e-6)


def test_an_insert_takes_the_place_of_its_core():
    hole = shapely.box(400, 200, 500, 300)
    layers = (
        Core("C1", "foam", "s", Whole(), thickness_mm=10.0, cut_outs=(CutOut("H1", 1.0),)),
        Insert("H1", "birch", "s", Whole(), core="C1"),
    )
    stack = [
        laid("P1", ALL),
        laid("C1", ALL, kind="core", material="foam", t=10.0),
        laid("H1", hole, kind="insert", material="birch", t=10.0),
    ]
    zones = find_zones(stack, FACE, the_spec(*layers))
    assert {z.layers for z in zones} == {("P1", "C1"), ("P1", "H1")}
    assert {z.code for z in zones} == {"[0/core 10]", "[0/insert 10]"}


def test_peel_ply_is_no_part_of_a_zone_and_an_adhesive_film_is():
    layers = (
        Film("PEEL", "peel", "s", Whole(), removed_after="cure"),
        Film("GLUE", "peel", "s", Whole()),
    )
    film = laid("PEEL", ALL, kind="film", material="peel", t=0.1)
    zones = find_zones([laid("P1", ALL), film, replace(film, id="GLUE")], FACE, the_spec(*layers))
    assert [z.layers for z in zones] == [("P1", "GLUE")]


def test_the_stiffness_of_a_zone_is_that_of_its_stack():
    # two plies of one material at 0: A11 = Q11 t with Q11 = E1 / (1 - nu12 nu21)
    spec_ = the_spec(elastic=Elastic(60.0, 60.0, 4.0, 0.05))
    (zone,) = find_zones([laid("P1", ALL), laid("P2", ALL)], FACE, spec_)
    assert zone.abd.shape == (6, 6)
    assert zone.abd[0, 0] == pytest.approx(60000 / (1 - 0.05**2) * 0.4444)
    assert np.abs(zone.abd[:3, 3:]).max() < 1e-6


def test_slivers_between_nearly_equal_outlines_are_no_zones():
    nearly = shapely.Polygon([(0, 0), (1000, 0.3), (1000, 499.8), (0, 500)])
    zones = find_zones([laid("P1", ALL), laid("P2", nearly)], FACE, the_spec())
    assert len(zones) == 1
    assert zones[0].area_m2 == pytest.approx(0.5, rel=1e-3)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 900), st.floats(0, 450), st.floats(40, 600), st.floats(40, 300)),
        min_size=1,
        max_size=6,
    )
)
def test_zones_add_up_to_every_layer(patches):
    layers = [laid("P0", ALL)]
    for i, (x, y, w, h) in enumerate(patches, 1):
        layers.append(laid(f"P{i}", shapely.box(x, y, min(x + w, 1000), min(y + h, 500))))
    zones = find_zones(layers, FACE, the_spec())
    assert sum(z.area_m2 for z in zones) == pytest.approx(0.5, rel=2e-3)
    for layer in layers:
        total = sum(z.area_m2 for z in zones if layer.id in z.layers)
        assert total == pytest.approx(layer.region.area / 1e6, abs=3e-3)
