"""Marks: clipped to the piece, carried into its cut frame, worded for the bench."""

import numpy as np
import pytest
import shapely

from plybook.laminate.ids import part_letter, piece_id, tick_label
from plybook.laminate.joints import tick_places
from plybook.laminate.marks import (
    MarkRule,
    datum_mark,
    face_lines,
    marks_on,
    net_line_marks,
    outline_rules,
)
from plybook.laminate.trim import NetFace
from plybook.spec.model import EdgeRule
from tests.laminate.doubles import TaperedFace

FACE = TaperedFace()


def test_station_lines_read_as_distance_from_the_root_in_the_unit_of_the_part():
    labels = [rule.label for rule in face_lines(FACE, "mm", 30.0) if rule.kind == "station"]
    assert labels == ["STN 0 (0 mm)", "STN 1900 (1900 mm)", "STN 3800 (3800 mm)"]
    inches = [rule.label for rule in face_lines(FACE, "in", 30.0) if rule.kind == "station"]
    assert inches[1] == "STN 1900 (74 13/16 in)"  # 1900 / 25.4 = 74.803


def test_a_line_is_clipped_to_the_piece_and_carried_into_its_cut_frame():
    piece = shapely.box(0, 0, 100, 50)
    rule = MarkRule("station", np.array([[40.0, -500.0], [40.0, 500.0]]), "STN 40")
    (mark,) = marks_on(piece, [rule], lambda p: p * [1.0, 2.0] + [10.0, 0.0], 0.02)
    assert mark.points_mm == pytest.approx(np.array([[50.0, 0.0], [50.0, 100.0]]))


def test_a_line_that_runs_in_and_out_gives_one_mark_each_time():
    piece = shapely.box(0, 0, 100, 50).difference(shapely.box(40, -1, 60, 30))
    rule = MarkRule("axis", np.array([[-10.0, 10.0], [200.0, 10.0]]), "0°")
    found = marks_on(piece, [rule], None, 0.02)
    assert [m.points_mm[:, 0].tolist() for m in found] == [[0.0, 40.0], [60.0, 100.0]]


def test_a_line_along_the_very_edge_of_a_piece_is_no_mark():
    piece = shapely.box(0, 0, 100, 50)
    along = MarkRule("core_outline", np.array([[0.0, 0.0], [100.0, 0.0]]), "core")
    assert marks_on(piece, [along], None, 0.02) == []


def test_only_edges_with_an_allowance_have_their_net_line_drawn():
    plan = NetFace(FACE, (EdgeRule("tip", 20.0),))
    assert [rule.label for rule in net_line_marks(plan)] == ["net line, tip"]


def test_the_outline_of_a_core_is_closed_and_shows_its_openings():
    core = shapely.box(0, 0, 300, 200).difference(shapely.box(100, 50, 150, 90))
    rules = outline_rules("core_outline", "core C1", core)
    assert len(rules) == 2
    assert all(np.array_equal(r.points_mm[0], r.points_mm[-1]) for r in rules)


@pytest.mark.parametrize("up", [1, -1])
def test_the_datum_is_the_corner_at_the_root_and_the_leading_edge(up):
    face = TaperedFace(up=up)
    corners = face.to_pattern(np.array([[500.0, 0.8], [500.0, 0.2], [900.0, 0.1], [900.0, 0.9]]))
    mark = datum_mark(corners, corners + 3.0, face, "mm")
    assert mark.points_mm[0] == pytest.approx(corners[1] + 3.0)
    chord = 1200 - 440 * 500 / 3800
    away = 0.2 * chord / np.hypot(1, face.sweep)  # square to the straight leading edge
    assert mark.label == f"span 500 mm, {away:.0f} mm inside leading"


def test_ticks_are_uneven_so_that_a_piece_turned_round_does_not_match():
    places = np.array(tick_places(100.0, 1900.0))
    assert (np.diff(places) > 0).all() and places[0] > 100 and places[-1] < 1900
    turned = 2000.0 - places[::-1]
    assert np.abs(places - turned).max() > 10.0


def test_letters_leave_out_those_taken_for_digits():
    letters = [part_letter(i) for i in range(30)]
    assert letters[:9] == list("ABCDEFGHJ") and letters[24:26] == ["AA", "AB"]
    assert len(set(letters)) == 30


def test_names_of_pieces():
    assert piece_id("P3", 0, 1, 0, 1) == "P3"
    assert piece_id("P3", 0, 1, 1, 3) == "P3.2"
    assert piece_id("P3", 1, 2, 0, 1) == "P3-B"
    assert piece_id("P3", 1, 2, 1, 2) == "P3-B.2"
    assert tick_label(2, 0) == "2a"
