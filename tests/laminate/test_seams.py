"""Seams: sides, sizes that fit a sheet, and where the tool puts its own."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate.seams import (
    SeamSearch,
    choose_seams,
    fits_sheet,
    place_seam,
    split_by,
)
from plybook.laminate.sides import name_sides
from plybook.spec.model import OnFace, OnPattern, PointLine, Seam, ShareLine, SpanLine, Treatment
from tests.laminate.flat_faces import TrapezoidFace

FACE = TrapezoidFace()
SQUARE = Treatment("square")
SHEET = (8 * 12 * 25.4, 4 * 12 * 25.4)  # 4 x 8 ft: 2438.4 x 1219.2 mm


def same(points):
    return np.asarray(points, float)


def placed(line, treatment=SQUARE, face=FACE):
    return place_seam(Seam("S1", line, treatment), face, same)


def test_the_first_side_is_rootward_or_leading():
    assert placed(SpanLine(700)).first.contains(shapely.Point(600, 100))
    assert placed(ShareLine(0.5)).first.contains(shapely.Point(600, 500))
    by_points = PointLine(OnFace(900, 0.1), OnPattern(1000, -200))
    assert placed(by_points).first.contains(shapely.Point(300, 0))
    assert placed(by_points).across and not placed(ShareLine(0.5)).across


@pytest.mark.parametrize("angle", range(5, 180, 17))
def test_a_seam_at_any_angle_parts_the_face_in_two(angle):
    middle = np.array([900.0, 150.0])
    way = 60.0 * np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    seam = placed(PointLine(OnPattern(*(middle - way)), OnPattern(*(middle + way))))
    face = shapely.Polygon(FACE.outline_mm)
    parts = split_by(face, [seam])
    assert len(parts) == 2 and sum(p.area for p in parts) == pytest.approx(face.area)


def test_leading_is_first_also_where_it_lies_below():
    face = TrapezoidFace(root=(700.0, -300.0), tip=(450.0, -150.0))
    assert placed(ShareLine(0.5), face=face).first.contains(shapely.Point(600, -200))


def test_a_scarf_moves_towards_the_panel_that_keeps_its_mould_side():
    run = 10 / math.tan(math.radians(20))
    seam = placed(SpanLine(700), Treatment("scarf", 20.0, "mould"))
    assert seam.scarf_shift_mm(10) == pytest.approx(-run)
    moved = seam.shifted(-run)
    assert moved.line.distance(shapely.Point(700 - run, 100)) < 1e-6
    assert moved.first.contains(shapely.Point(700 - run - 0.1, 100))
    assert not moved.first.contains(shapely.Point(700 - run + 0.1, 100))


def test_a_long_panel_fits_a_4_by_8_ft_sheet_only_slantwise():
    # a strip 50 mm wide and 2700 long: the diagonal of 4 x 8 ft is 2726.2 mm
    strip = shapely.box(0, 0, 2650, 50)
    turn = fits_sheet(strip, SHEET, grain=False)
    assert turn is not None and 20 < min(turn % 180, 180 - turn % 180) < 30
    assert fits_sheet(strip, SHEET, grain=True) is None
    assert fits_sheet(shapely.box(0, 0, 2800, 50), SHEET, grain=False) is None


def test_a_nominal_panel_of_2439_mm_does_not_fit_4_by_8_ft():
    assert fits_sheet(shapely.box(0, 0, 2439, 1219), SHEET, grain=False) is None
    assert fits_sheet(shapely.box(0, 0, 2438, 1219), SHEET, grain=False) is not None
    assert fits_sheet(shapely.box(0, 0, 1219, 2438), SHEET, grain=True) is None


@pytest.mark.slow
@settings(max_examples=20, deadline=None)
@given(st.integers(700, 2600), st.integers(700, 1300))
def test_chosen_seams_give_panels_that_fit_and_no_fewer_than_the_area_asks_for(length, width):
    region = shapely.Polygon(FACE.outline_mm).buffer(-40, join_style="mitre")
    search = SeamSearch(((float(length), float(width)),), grain=False)
    seams = choose_seams(region, FACE, same, search, SQUARE)
    assert seams is not None
    panels = split_by(region, seams)
    assert sum(p.area for p in panels) == pytest.approx(region.area)
    assert all(fits_sheet(p, (length, width), False) is not None for p in panels)
    assert len(panels) >= math.ceil(region.area / (length * width))


def test_panels_of_a_long_strip_are_evened_out():
    face = TrapezoidFace(3000.0, (0.0, 300.0), (0.0, 300.0))
    region = shapely.Polygon(face.outline_mm)
    search = SeamSearch(((1100.0, 400.0),), grain=True)
    panels = split_by(region, choose_seams(region, face, same, search, SQUARE))
    lengths = sorted(np.ptp(np.array(p.exterior.coords)[:, 0]) for p in panels)
    assert len(lengths) == 3 and lengths[-1] - lengths[0] < 60


def test_sides_are_named_after_the_edges_they_face():
    inset = shapely.Polygon(FACE.outline_mm).buffer(-50, join_style="mitre")
    lines = name_sides(inset, FACE).lines
    assert set(lines) == {"root", "tip", "leading", "trailing"}
    assert lines["leading"].bounds[3] == pytest.approx(inset.bounds[3])
    assert lines["root"].bounds[2] == pytest.approx(50, abs=1e-6)


def test_an_opening_has_an_inner_side_and_the_shape_is_kept():
    region = shapely.box(100, 0, 900, 300).difference(shapely.box(300, 100, 500, 200))
    sides = name_sides(region, FACE)
    assert "inner" in sides.lines
    assert sides.shape.equals(region)


def test_a_round_region_changes_name_where_it_turns_from_one_edge_to_the_next():
    sides = name_sides(shapely.Point(1000, 150).buffer(100), FACE)
    assert set(sides.lines) == {"root", "tip", "leading", "trailing"}
    assert sum(line.length for line in sides.lines.values()) == pytest.approx(
        sides.shape.exterior.length
    )
