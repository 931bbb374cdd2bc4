"""Seams: sides, sizes that fit a sheet, and where the tool puts its own."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.laminate.seam_search import (
    SeamSearch,
    _Division,
    choose_seams,
    fits_a_sheet,
    leaves_room,
    sheet_room_mm,
    size_that_would_do,
)
from plybook.laminate.seams import place_seam, split_by
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
    # a strip 50 mm wide and 2650 long: the diagonal of 4 x 8 ft is 2726.2 mm
    strip = shapely.box(0, 0, 2650, 50)
    assert fits_a_sheet(strip, [SHEET], grain=False)
    assert not fits_a_sheet(strip, [SHEET], grain=True)
    assert sheet_room_mm(strip, [SHEET], grain=False) == pytest.approx(2438.4 - 2650)
    assert not fits_a_sheet(shapely.box(0, 0, 2800, 50), [SHEET], grain=False)


def test_a_nominal_panel_of_2439_mm_does_not_fit_4_by_8_ft():
    assert not fits_a_sheet(shapely.box(0, 0, 2439, 1219), [SHEET], grain=False)
    assert fits_a_sheet(shapely.box(0, 0, 2438, 1219), [SHEET], grain=False)
    assert not fits_a_sheet(shapely.box(0, 0, 1219, 2438), [SHEET], grain=True)
    assert fits_a_sheet(shapely.box(0, 0, 1219, 2438), [SHEET], grain=False)


def chosen(region, face, sheet, grain=False, treatment=SQUARE, **more):
    seams = choose_seams(region, face, same, SeamSearch((sheet,), grain, treatment, **more))
    return split_by(region, seams)


@pytest.mark.slow
@settings(max_examples=20, deadline=None)
@given(st.integers(700, 2600), st.integers(700, 1300))
def test_chosen_seams_give_panels_that_fit_and_no_fewer_than_the_area_asks_for(length, width):
    region = shapely.Polygon(FACE.outline_mm).buffer(-40, join_style="mitre")
    panels = chosen(region, FACE, (float(length), float(width)))
    assert sum(p.area for p in panels) == pytest.approx(region.area)
    assert all(sheet_room_mm(p, [(length, width)], False) >= 2.0 for p in panels)
    assert len(panels) >= math.ceil(region.area / (length * width))


def test_seams_bring_a_core_a_little_too_long_onto_its_sheet_squarely():
    """2460 x 400 lies slantwise on a sheet of 2438 x 1219; a builder cuts it along the edges."""
    face = TrapezoidFace(2460.0, (0.0, 400.0), (0.0, 400.0))
    panels = chosen(shapely.Polygon(face.outline_mm), face, SHEET)
    assert len(panels) == 2
    assert all(sheet_room_mm(p, [SHEET], False) > 800 for p in panels)


def test_room_for_the_saw_is_left_where_the_sheet_is_full():
    """2437.4 of 2438.4 mm leave 1 mm, less than the cut takes: one seam, not none."""
    face = TrapezoidFace(2437.4, (0.0, 1000.0), (0.0, 1000.0))
    assert len(chosen(shapely.Polygon(face.outline_mm), face, SHEET)) == 2
    face = TrapezoidFace(2436.0, (0.0, 1000.0), (0.0, 1000.0))
    assert len(chosen(shapely.Polygon(face.outline_mm), face, SHEET)) == 1


def test_scarfed_seams_leave_room_for_their_slope():
    """Four panels of 600 fit four sheets of 610; with a scarf 20 mm wide five are needed."""
    face = TrapezoidFace(2400.0, (0.0, 500.0), (0.0, 500.0))
    region, sheet = shapely.Polygon(face.outline_mm), (610.0, 520.0)
    assert len(chosen(region, face, sheet, True)) == 4
    scarf = Treatment("scarf", 45.0, "mould")
    assert len(chosen(region, face, sheet, True, scarf, thickness_mm=20.0)) == 5


@pytest.mark.parametrize("grain, count", [(False, 2), (True, 4)])
def test_the_grain_decides_how_a_deep_core_is_divided(grain, count):
    """1100 along the axis, 2000 across: turned by 90 degrees it takes two sheets of 1000 x 1200,
    along the grain four."""
    face = TrapezoidFace(1100.0, (0.0, 2000.0), (0.0, 2000.0))
    size = (2100.0, 1000.0) if not grain else (1200.0, 600.0)
    panels = chosen(shapely.Polygon(face.outline_mm), face, size, grain)
    assert len(panels) == count


def test_the_inner_corner_of_an_l_is_a_place_for_a_seam():
    """Legs of 2400 x 600 along and 600 x 1700 across: one seam at the inner corner is enough."""
    face = TrapezoidFace(2400.0, (0.0, 2300.0), (0.0, 2300.0))
    region = shapely.box(0, 0, 2400, 600).union(shapely.box(0, 600, 600, 2300))
    panels = chosen(region, face, SHEET)
    assert sorted(round(p.area) for p in panels) == pytest.approx([600 * 1700, 2400 * 600], abs=2.0)


def test_no_seam_leaves_a_sliver_beside_an_opening():
    """The first seam would run 5 mm past the end of an opening 1250 to 1410 along the axis."""
    face = TrapezoidFace(2600.0, (0.0, 800.0), (0.0, 800.0))
    whole = shapely.Polygon(face.outline_mm)
    region = whole.difference(shapely.box(1250, -10, 1410, 790))
    panels = chosen(region, face, (1417.0, 900.0), True)
    assert all(2 * p.area / p.length > 15 for p in panels)


@pytest.mark.parametrize("begins", [700, 850, 880, 895, 905])
def test_a_seam_passes_an_opening_at_a_distance_or_leads_well_into_it(begins):
    """Where the panels are evened out the seam lies at 900, and would graze some of these."""
    face = TrapezoidFace(1800.0, (0.0, 800.0), (0.0, 800.0))
    opening = shapely.box(begins, 300, begins + 300, 500)
    region = shapely.Polygon(face.outline_mm).difference(opening)
    search = SeamSearch(((1251.0, 900.0),), True, SQUARE)
    bare, clear = (
        choose_seams(region, face, same, replace(search, past_openings_mm=by))[0].line
        for by in (0.0, 30.0)
    )
    inside = shapely.box(begins + 20, 300, begins + 280, 500)
    grazes = bare.distance(opening) < 30 and not bare.intersects(inside)
    assert grazes == (begins > 880)
    assert clear.distance(opening) >= 30 or clear.intersects(inside)


def test_the_sheet_that_would_do_is_named():
    """A block across the whole core, 1500 long, that no seam may come near."""
    face = TrapezoidFace(2400.0, (0.0, 1000.0), (0.0, 1000.0))
    block = shapely.box(400, -5, 1900, 1005)
    search = SeamSearch((SHEET[::-1],), True, SQUARE, keep_off=block)
    region = shapely.Polygon(face.outline_mm)
    assert choose_seams(region, face, same, search) is None
    size = size_that_would_do(region, face, same, search)
    assert size is not None
    assert choose_seams(region, face, same, replace(search, sheets_mm=(size,))) is not None


def test_panels_of_a_long_strip_are_evened_out():
    face = TrapezoidFace(3000.0, (0.0, 300.0), (0.0, 300.0))
    region = shapely.Polygon(face.outline_mm)
    panels = chosen(region, face, (1100.0, 400.0), grain=True)
    lengths = sorted(np.ptp(np.array(p.exterior.coords)[:, 0]) for p in panels)
    assert len(lengths) == 3 and lengths[-1] - lengths[0] < 60


@pytest.mark.parametrize("angle", [90.0, 20.0])
@pytest.mark.parametrize("length", [2900.0, 4321.0, 7003.0])
def test_seams_do_not_depend_on_the_guess_of_where_stretches_end(length, angle, monkeypatch):
    """Without the guess the place is found by halving alone."""
    face = TrapezoidFace(length, (0.0, 1400.0), (200.0, 900.0))
    region = shapely.Polygon(face.outline_mm)
    treatment = SQUARE if angle == 90.0 else Treatment("scarf", angle, "mould")
    search = SeamSearch((SHEET, (1200.0, 1000.0)), False, treatment, thickness_mm=12.0)
    guessed = choose_seams(region, face, same, search)
    monkeypatch.setattr(_Division, "_close_in", lambda *asked: None)
    halved = choose_seams(region, face, same, search)
    assert guessed and halved and [s.source for s in guessed] == [s.source for s in halved]


def test_sides_are_named_after_the_edges_they_face():
    inset = shapely.Polygon(FACE.outline_mm).buffer(-50, join_style="mitre")
    lines = name_sides(inset, FACE).lines
    assert set(lines) == {"root", "tip", "leading", "trailing"}
    assert lines["leading"].bounds[3] == pytest.approx(inset.bounds[3])
    assert lines["root"].bounds[2] == pytest.approx(50, abs=1e-6)


def test_an_opening_has_a_side_of_its_own_and_the_shape_is_kept():
    region = shapely.box(100, 0, 900, 300).difference(shapely.box(300, 100, 500, 200))
    sides = name_sides(region, FACE)
    assert "holes" in sides.lines
    assert sides.shape.equals(region)


def test_a_round_region_changes_name_where_it_turns_from_one_edge_to_the_next():
    sides = name_sides(shapely.Point(1000, 150).buffer(100), FACE)
    assert set(sides.lines) == {"root", "tip", "leading", "trailing"}
    assert sum(line.length for line in sides.lines.values()) == pytest.approx(
        sides.shape.exterior.length
    )


@pytest.mark.parametrize("grain", [False, True])
def test_whether_a_panel_leaves_room_is_told_as_by_the_room_itself(grain):
    dice = np.random.default_rng(4)
    told = []
    for _ in range(200):
        size, turn = dice.uniform(200, 2600, 2), dice.uniform(0, 180)
        panel = shapely.affinity.rotate(shapely.box(0, 0, *size), turn * (dice.random() < 0.5))
        room = sheet_room_mm(panel, [SHEET, (1000.0, 1000.0)], grain)
        told.append(leaves_room(panel, [SHEET, (1000.0, 1000.0)], grain, 2.0))
        assert told[-1] == (room >= 2.0)
    assert {True, False} == set(told)
