"""What must not depend on where a part lies, on its hand, its units, its roll or its sampling."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from plybook.laminate import lay_up
from plybook.spec.model import AtShare, Ply, StationMould, Whole
from plybook.surface import face_of
from plybook.units import parse_length
from tests.laminate.doubles import cloth, spec
from tests.laminate.test_layup_lofted import EDGES, TRIMS, built, dome, sandwich, wing

CHORD_ERROR_MM = 0.02


def apart(first, second, mirrored=False):
    """Largest distance between the outlines of pieces of the same name."""
    assert [p.id for p in first.pieces] == [p.id for p in second.pieces]
    sign = [1.0, -1.0] if mirrored else [1.0, 1.0]
    return max(
        shapely.hausdorff_distance(
            shapely.linearrings(a.outline_mm), shapely.linearrings(b.outline_mm * sign)
        )
        for a, b in zip(first.pieces, second.pieces, strict=True)
    )


def turned(stations, angle_deg):
    """Stations turned nose up about the quarter chord of the first (a rigid motion in space)."""
    angle, first = math.radians(angle_deg), stations[0]
    hub = np.array([first.sweep_mm + first.twist_share * first.chord_mm, first.rise_mm])
    found = []
    for one in stations:
        quarter = np.array([one.sweep_mm + one.twist_share * one.chord_mm, one.rise_mm]) - hub
        aft = hub[0] + quarter[0] * math.cos(angle) + quarter[1] * math.sin(angle)
        up = hub[1] - quarter[0] * math.sin(angle) + quarter[1] * math.cos(angle)
        sweep = aft - one.twist_share * one.chord_mm
        twist = one.twist_deg + angle_deg
        found.append(replace(one, sweep_mm=sweep, rise_mm=up, twist_deg=twist))
    return found


def moved(stations, at, aft, up):
    return [
        replace(s, at_mm=s.at_mm + at, sweep_mm=s.sweep_mm + aft, rise_mm=s.rise_mm + up)
        for s in stations
    ]


def without_bands():
    """A sandwich without places given by station: those stay where they are written."""
    return [layer for layer in sandwich() if layer.id != "P2"]


@pytest.fixture(scope="module")
def left():
    return built(without_bands(), wing())


def test_moving_the_part_in_space_changes_no_piece(left):
    assert apart(left, built(without_bands(), moved(wing(), 0.0, 730.0, -410.0))) <= 2e-3


@pytest.mark.parametrize("angle", [7.0, 130.0])
def test_turning_the_part_in_space_changes_no_piece(left, angle):
    assert apart(left, built(without_bands(), turned(wing(), angle))) <= 2e-3


def long_wing():
    return [wing()[0], replace(wing()[1], at_mm=3000.0)]


@pytest.mark.slow
def test_spliced_plies_over_core_are_mirrored_with_their_ticks():
    first = built(sandwich(), long_wing())
    second = built(sandwich(sign=-1), long_wing(), hand="right")
    over = [p for p in first.pieces if p.layer == "P3"]
    assert len(over) > 1 and all(p.splice for p in over)
    assert apart(first, second, mirrored=True) <= 1e-6
    for a, b in zip(first.pieces, second.pieces, strict=True):
        assert a.angle_deg == -b.angle_deg
        ticks = [
            {m.label: m.points_mm * way for m in p.marks if m.kind == "tick"}
            for p, way in ((a, [1, 1]), (b, [1, -1]))
        ]
        assert ticks[0].keys() == ticks[1].keys()
        for label, points in ticks[0].items():
            assert points == pytest.approx(ticks[1][label], abs=1e-6)


@pytest.mark.slow
def test_a_draped_ply_is_mirrored():
    def draped(sign, hand):
        layers = [Ply("P", "twill", "s", Whole(), angle_deg=30.0 * sign, drape="net")]
        return built(layers, dome(), side="all", axis=0.5, loft="smooth", trims={}, hand=hand)

    first, second = draped(1, "left"), draped(-1, "right")
    assert first.pieces[0].angle_deg == -second.pieces[0].angle_deg
    assert first.pieces[0].shear_deg == second.pieces[0].shear_deg
    assert apart(first, second, mirrored=True) <= 1e-6


def test_a_lofted_part_in_inches_has_identical_pieces(left):
    def inch(mm):
        return parse_length(f"{mm / 25.4!r} in")

    stations = [
        replace(s, at_mm=inch(s.at_mm), chord_mm=inch(s.chord_mm), sweep_mm=inch(s.sweep_mm),
                rise_mm=inch(s.rise_mm)) for s in wing()
    ]  # fmt: skip
    trims = {name: inch(mm) for name, mm in TRIMS.items()}
    for a, b in zip(left.pieces, built(without_bands(), stations, trims=trims).pieces, strict=True):
        assert np.array_equal(a.outline_mm, b.outline_mm)


def test_a_finer_face_moves_no_outline_by_more_than_the_stated_bound(left):
    mould = StationMould(tuple(wing()), "upper", 0.0, 1.0, "female", "ruled", EDGES, ())
    given = spec(without_bands(), TRIMS, mould=mould, axis=AtShare(0.25))
    fine = lay_up(given, face_of(mould, AtShare(0.25), "left", 2.0))
    # either outline within its chord error, the faces within 0.01 mm of each other
    assert apart(left, fine) <= 2 * CHORD_ERROR_MM + 0.01


@pytest.mark.parametrize("angle", [0.0, 45.0, -30.0, 90.0])
def test_strips_over_core_are_the_whole_ply_and_their_overlaps(angle):
    """Sum of the strips = the ply cut from a roll of any width + the declared overlaps."""
    layers = [*without_bands()[1:2], Ply("P", "twill", "s", Whole(), angle_deg=angle)]

    def cut(usable):
        one = cloth(roll=usable + 20, usable=usable)
        materials = replace(spec([]).materials, cloths={"twill": one})
        return [
            Polygon(p.outline_mm)
            for p in built(layers, wing(), materials=materials).pieces if p.layer == "P"
        ]  # fmt: skip

    (whole,), strips = cut(6000.0), cut(700.0)
    assert len(strips) >= 2
    shared = sum(
        a.intersection(b).area for k, a in enumerate(strips) for b in strips[k + 1 :]
    )  # fmt: skip
    length = shared / 25.0  # the overlap of this cloth
    assert length > 500.0
    bound = CHORD_ERROR_MM * (whole.length + sum(s.length for s in strips))
    assert sum(s.area for s in strips) - shared == pytest.approx(whole.area, abs=bound)
