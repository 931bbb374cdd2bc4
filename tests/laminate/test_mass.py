"""Mass and centre of gravity against hand arithmetic and textbook centroids."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate.core import core_pieces
from plybook.laminate.mass import (
    core_volume_mm3,
    laminate_mass,
    ply_thickness_mm,
    resin_in_cloth_g_m2,
)
from plybook.laminate.model import LaidLayer
from plybook.spec.model import Core, Film, Materials, Resin, Treatment, Whole
from tests.laminate.doubles import cloth, foam, peel_ply, spec
from tests.laminate.flat_faces import TrapezoidFace

FACE = TrapezoidFace(length=1000.0, root=(0.0, 500.0), tip=(0.0, 500.0))
ALL = shapely.box(0, 0, 1000, 500)
EPOXY = Resin("epoxy", "epoxy", (("A", 100.0), ("B", 30.0)), 1.15, 1800, 100, 23, 500, 86400)


def carbon(**more):
    return replace(cloth(), resin="epoxy", **more)


def the_spec(*layers, **cloth_changes):
    return replace(
        spec(list(layers)),
        materials=Materials(
            {"twill": carbon(**cloth_changes)}, {"foam": foam()}, {}, {"peel": peel_ply()},
            {"epoxy": EPOXY}, {},
        ),
    )  # fmt: skip


def laid(name, region, kind="ply", material="twill", t=0.2222):
    return LaidLayer(name, kind, material, 0.0, "skin", t, region, ())


@pytest.mark.parametrize(
    ("areal", "density", "share", "thickness", "resin"),
    [  # A / (rho Vf) and rho_m t (1 - Vf), resin 1.15 g/cm3: worked by hand from ASTM D3171's terms
        (200, 1.80, 0.50, 0.2222, 127.78),
        (200, 1.80, 0.60, 0.1852, 85.19),
        (193, 1.76, 0.40, 0.2741, 189.16),
        (300, 2.54, 0.45, 0.2625, 166.01),
        (170, 1.44, 0.35, 0.3373, 252.13),
    ],
)
def test_cured_thickness_and_resin_of_a_cloth(areal, density, share, thickness, resin):
    made = carbon(
        areal_g_m2=areal, fibre_g_cm3=density, fibre_volume_share=share,
        thickness_mm=areal / (density * share) / 1000,
    )  # fmt: skip
    assert ply_thickness_mm(made) == pytest.approx(thickness, abs=6e-5)
    assert resin_in_cloth_g_m2(made, EPOXY.density_g_cm3) == pytest.approx(resin, abs=6e-3)


def test_wet_lay_up_ratio_of_light_aircraft_manuals_comes_out():
    # cloth : mixed resin 100 : 85 by weight for carbon (DA 40 AMM 51-20-00): fibre share by volume
    # 0.429 with 1.80 and 1.15 g/cm3
    made = carbon(fibre_volume_share=0.429, thickness_mm=0.0)
    resin = resin_in_cloth_g_m2(made, EPOXY.density_g_cm3)
    assert resin / made.areal_g_m2 == pytest.approx(0.85, abs=1e-3)


@pytest.mark.parametrize(
    ("thickness", "resin"),
    [(0.35, 1150 * (0.35 - 300 / 2540)), (0.20, 1150 * 300 / 2540 * 0.60 / 0.40)],
)
def test_where_thickness_and_share_disagree_the_ply_takes_the_more_resin(thickness, resin):
    """A void-free ply holds what its fibres leave of its volume (ASTM D3171's terms)."""
    made = carbon(areal_g_m2=300, fibre_g_cm3=2.54, fibre_volume_share=0.40, thickness_mm=thickness)
    assert resin_in_cloth_g_m2(made, 1.15) == pytest.approx(resin, rel=1e-9)


def test_one_ply_on_half_a_square_metre():
    mass = laminate_mass([laid("P1", ALL)], (), FACE, the_spec())
    assert mass.total_g == pytest.approx(0.5 * (200 + 127.78), rel=1e-4)
    assert mass.centre_mm == pytest.approx([500, 250, 0.1111], abs=0.5)


def test_nothing_beyond_the_net_line_counts():
    mass = laminate_mass([laid("P1", ALL.buffer(30))], (), FACE, the_spec())
    assert mass.total_g == pytest.approx(0.5 * 327.78, rel=1e-4)


def test_the_centre_of_a_trapezoid_is_where_the_textbook_puts_it():
    face = TrapezoidFace(length=2000.0, root=(0.0, 900.0), tip=(0.0, 300.0))
    region = shapely.Polygon(face.outline_mm)
    mass = laminate_mass([laid("P1", region)], (), face, the_spec())
    assert mass.centre_mm[0] == pytest.approx(2000 / 3 * (900 + 2 * 300) / 1200, rel=2e-3)


def test_the_centre_on_a_bent_face_lies_off_the_surface():
    # circular arc of half-angle a: centroid at R sin a / a from its centre
    radius = 500.0
    face = TrapezoidFace(1000.0, (-400.0, 400.0), (-400.0, 400.0), radius_mm=radius)
    region = shapely.Polygon(face.outline_mm)
    mass = laminate_mass([laid("P1", region, t=0.0001)], (), face, the_spec())
    half = 400 / radius
    want = radius - radius * math.sin(half) / half
    assert mass.centre_mm == pytest.approx([500, 0, want], abs=0.6)


def test_a_bevelled_core_weighs_its_frustum_and_the_resin_of_both_faces():
    layer = Core("C1", "foam", "s", Whole(), thickness_mm=10.0,
                 edges=(("", Treatment("bevel", 45.0)),))  # fmt: skip
    region = shapely.box(100, 100, 500, 300)
    pieces = core_pieces(layer, region, FACE, None, stock=foam()).pieces
    volume = 10 / 6 * (400 * 200 + 4 * 390 * 190 + 380 * 180)  # prismatoid
    assert core_volume_mm3(pieces[0]) == pytest.approx(volume, rel=1e-3)
    mass = laminate_mass([laid("C1", region, "core", "foam", 10.0)], pieces, FACE, the_spec(layer))
    resin = 300 * (400 * 200 + 380 * 180) / 1e6
    assert mass.total_g == pytest.approx(volume * 80e-6 + resin, rel=1e-3)


@pytest.mark.parametrize("wide", [22.0, 25.0, 40.0, 200.0])
def test_a_narrow_strip_of_core_has_the_volume_of_a_prismatoid(wide):
    """Both sides and four times the middle, over six (Simpson's rule, exact for straight sides)."""
    layer = Core("C1", "foam", "s", Whole(), thickness_mm=10.0,
                 edges=(("", Treatment("bevel", 45.0)),))  # fmt: skip
    region = shapely.box(100, 100, 900, 100 + wide)
    (piece,) = core_pieces(layer, region, FACE, None, stock=foam()).pieces
    volume = 10 / 6 * (800 * wide + 4 * 790 * (wide - 10) + 780 * (wide - 20))
    assert core_volume_mm3(piece) == pytest.approx(volume, rel=1e-4)


def test_a_core_with_one_sloped_side_is_a_wedge_less():
    layer = Core("C1", "foam", "s", Whole(), thickness_mm=10.0,
                 edges=(("root", Treatment("bevel", 45.0)), ("", Treatment("square"))))  # fmt: skip
    region = shapely.box(100, 100, 300, 400)
    (piece,) = core_pieces(layer, region, FACE, None, stock=foam()).pieces
    assert core_volume_mm3(piece) == pytest.approx(200 * 300 * 10 - 10 * 10 / 2 * 300, rel=1e-6)


def test_peel_ply_weighs_nothing_in_the_part():
    film = Film("PEEL", "peel", "s", Whole(), removed_after="cure")
    layers = [laid("P1", ALL), laid("PEEL", ALL, "film", "peel", 0.1)]
    mass = laminate_mass(layers, (), FACE, the_spec(film))
    assert [weighs.layer for weighs in mass.layers] == ["P1"]


def test_a_second_layer_lies_on_the_first():
    mass = laminate_mass([laid("P1", ALL, t=2.0), laid("P2", ALL, t=2.0)], (), FACE, the_spec())
    assert mass.centre_mm[2] == pytest.approx(2.0)
    assert mass.total_g == pytest.approx(327.78, rel=1e-3)


def test_an_empty_laminate_weighs_nothing():
    mass = laminate_mass([], (), FACE, the_spec())
    assert mass.total_g == 0 and np.array_equal(mass.centre_mm, np.zeros(3))
