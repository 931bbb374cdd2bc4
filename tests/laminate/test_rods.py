"""Rods: rows, pitch, steps in length, place, bend."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate.heights import HeightField, core_rise, sheet_rise
from plybook.laminate.rods import rod_pieces, rod_region
from plybook.laminate.sides import name_sides
from plybook.spec.model import OnFace, OnPattern, Rod, RodStock, Treatment, Whole
from plybook.surface.model import Kink
from tests.laminate.flat_faces import TrapezoidFace

STRIP = RodStock("strip", "carbon strip 8 x 2", 8.0, 2.0, 1.6, (10000.0,), 300.0)
FACE = TrapezoidFace()


def rod(**more):
    return Rod(**({"id": "R1", "material": "strip", "stage": "caps", "region": Whole(),
                   "line": (OnPattern(100, 0), OnPattern(1900, 0)), "rows": 3} | more))  # fmt: skip


def test_rows_lie_side_by_side_about_the_line_first_on_the_left():
    pieces = rod_pieces(rod(), FACE, None, stock=STRIP).pieces
    assert [p.id for p in pieces] == ["R1.1", "R1.2", "R1.3"]
    assert [p.outline_mm[:, 1].mean() for p in pieces] == pytest.approx([8, 0, -8])
    assert all(p.area_mm2 == pytest.approx(1800 * 8) for p in pieces)
    assert all(p.angle_deg == 0 and p.thickness_mm == 2.0 and p.kind == "rod" for p in pieces)
    assert rod_region(rod(), FACE, STRIP).area == pytest.approx(1800 * 24)


def test_a_pitch_leaves_gaps():
    pieces = rod_pieces(rod(pitch_mm=20.0, rows=2), FACE, None, stock=STRIP).pieces
    assert [p.outline_mm[:, 1].mean() for p in pieces] == pytest.approx([10, -10])


def test_lengths_in_steps_count_from_the_start():
    pieces = rod_pieces(rod(lengths_mm=(1800.0, 1200.0, 600.0)), FACE, None, stock=STRIP).pieces
    assert [np.ptp(p.outline_mm[:, 0]) for p in pieces] == pytest.approx([1800, 1200, 600])
    assert {p.outline_mm[:, 0].min() for p in pieces} == {100.0}
    assert "600 mm" in pieces[2].notes[0]


def test_the_rows_of_the_opposite_hand_are_mirrored_row_by_row():
    line = (OnPattern(100, 20), OnPattern(1900, 30))
    mine = rod(line=line, lengths_mm=(1800.0, 1200.0, 600.0))
    theirs = rod(line=(OnPattern(100, -20), OnPattern(1900, -30)), first="right",
                 lengths_mm=mine.lengths_mm)  # fmt: skip
    ours, others = (rod_pieces(r, FACE, None, stock=STRIP).pieces for r in (mine, theirs))
    for one, other in zip(ours, others, strict=True):
        assert one.id == other.id and one.angle_deg == pytest.approx(-other.angle_deg)
        turned = shapely.Polygon(other.outline_mm * [1, -1])
        assert shapely.Polygon(one.outline_mm).symmetric_difference(turned).area < 1e-6


def test_a_rod_along_a_share_line_is_turned_and_stays_a_rectangle():
    line = (OnFace(0, 0.3), OnFace(2000, 0.3))
    (piece,) = rod_pieces(rod(line=line, rows=1), FACE, None, stock=STRIP).pieces
    (a, b) = FACE.to_pattern([[0, 0.3], [2000, 0.3]])
    assert piece.id == "R1"
    assert piece.angle_deg == pytest.approx(math.degrees(math.atan2(b[1] - a[1], b[0] - a[0])))
    box = shapely.Polygon(piece.outline_mm)
    assert box.minimum_rotated_rectangle.area == pytest.approx(box.area, rel=1e-6)
    assert box.area == pytest.approx(math.dist(a, b) * 8, rel=1e-5)


def test_the_length_is_that_at_the_height_it_lies_at_and_the_width_stays():
    # across a cylinder, concave on the bag side: at height h the arc is shorter by h / R
    face = TrapezoidFace(radius_mm=500.0)
    below = HeightField().with_layer(sheet_rise("P", shapely.Polygon(face.outline_mm), 6.0))
    across = rod(line=(OnPattern(500, -100), OnPattern(500, 300)), rows=1)
    (piece,) = rod_pieces(across, face, below, stock=STRIP).pieces
    assert np.ptp(piece.outline_mm, axis=0) == pytest.approx([8.0, 400 * (1 - 6 / 500)], abs=1e-3)
    assert piece.growth.along_mm == pytest.approx(-4.8)
    (along,) = rod_pieces(rod(rows=1), face, below, stock=STRIP).pieces
    assert along.growth.along_mm == 0.0


def test_a_row_longer_than_its_line_or_off_the_face_is_told():
    made = rod_pieces(rod(lengths_mm=(1950.0,), rows=1), FACE, None, stock=STRIP)
    assert {f.code for f in made.findings} == {"rod-beyond-line", "rod-off-face"}
    assert not rod_pieces(rod(), FACE, None, stock=STRIP).findings


def test_a_rod_across_a_cylinder_bends_and_one_along_it_does_not():
    face = TrapezoidFace(radius_mm=250.0)
    across = rod(line=(OnPattern(500, -100), OnPattern(500, 300)), rows=1)
    (found,) = rod_pieces(across, face, None, stock=STRIP).findings
    assert found.code == "rod-bends-tight" and "250 mm" in found.message
    assert not rod_pieces(rod(rows=1), face, None, stock=STRIP).findings
    # at 45 degrees the curvature along the rod is half as great (Euler's theorem)
    slanted = rod(line=(OnPattern(500, 0), OnPattern(700, 200)), rows=1)
    assert not rod_pieces(slanted, face, None, stock=STRIP).findings


def test_a_rod_over_a_break_of_the_face_is_told():
    face = TrapezoidFace(kinks=(Kink(1000.0, 4.0, 3.0, False), Kink(500.0, 1.0, 0.1, True)))
    (found,) = rod_pieces(rod(rows=1), face, None, stock=STRIP).findings
    assert found.code == "rod-crosses-break" and "4.0 deg at span 1000" in found.message


def over_a_core(angle_deg, stock):
    """Three rods along a panel, over a core of 10 mm with bevels of that angle."""
    sides = name_sides(shapely.box(500, -100, 1500, 100), FACE)
    treatment = {"": Treatment("bevel" if angle_deg else "square", angle_deg or 90.0)}
    below = HeightField((core_rise("C", sides, 10.0, treatment),))
    return [f for f in rod_pieces(rod(), FACE, below, stock=stock).findings
            if f.code == "rod-climbs"]  # fmt: skip


def test_a_strip_that_cannot_follow_a_bevel_is_told():
    """R (1 / cos(a / 2) - 1): 300 mm at 45 degrees is 24.7, more than the core is thick."""
    (told,) = over_a_core(45.0, STRIP)
    assert "3 rows of R1 run up a slope of 45° of 10.0 mm at the edge of C" in told.message
    assert "stands off by up to 10.0 mm" in told.message
    (told,) = over_a_core(20.0, STRIP)  # 300 (1 / cos 10 - 1) = 4.63
    assert "stands off by up to 4.6 mm" in told.message
    assert over_a_core(4.0, STRIP) == []  # 0.18 mm
    (told,) = over_a_core(0.0, STRIP)
    assert "up a step of 10.0 mm" in told.message
    (told,) = over_a_core(20.0, replace(STRIP, least_bend_mm=0.0))
    assert "not said what radius" in told.message


def test_rods_that_stay_on_the_core_climb_nothing():
    sides = name_sides(shapely.box(0, -100, 2000, 100), FACE)
    below = HeightField((core_rise("C", sides, 10.0, {"": Treatment("bevel", 45.0)}),))
    assert rod_pieces(rod(), FACE, below, stock=STRIP).findings == ()
