"""Covers of lines: walked round, or put together segment by segment."""

import numpy as np
import pytest
import shapely

from plybook.laminate import shapes
from plybook.laminate.trim import far_side, run_on


def wandering(seed: int, bend: float) -> np.ndarray:
    """A line of up to 60 segments that turns by chance."""
    dice = np.random.default_rng(seed)
    count = int(dice.integers(2, 60))
    heading = np.cumsum(dice.normal(0, bend, count))
    step = dice.uniform(1, 40, count)[:, None]
    way = np.cumsum(step * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    return np.vstack([[[0.0, 0.0]], way])


@pytest.mark.parametrize("bend", [0.002, 0.02, 0.2, 1.0])
@pytest.mark.parametrize("left, right", [(0.0, 30.0), (20.0, 0.05), (100.0, 80.0)])
def test_walking_round_a_line_gives_the_union_of_what_lies_beside_its_segments(
    bend, left, right, monkeypatch
):
    walked = 0
    for seed in range(25):
        line = wandering(seed, bend)
        whole = shapes.cover(line, left, right)
        normals = shapes.segment_normals(line)
        walked += shapes._band(line, normals, left, right) is not None
        with monkeypatch.context() as patched:
            patched.setattr(shapes, "_band", lambda *given: None)
            united = shapes.cover(line, left, right)
        assert whole.symmetric_difference(united).area < 1e-6 * united.length
    if bend < 0.1:  # sharper lines may all need the union
        assert walked > 5


@pytest.mark.parametrize("turned_round", [False, True])
@pytest.mark.parametrize("left, right", [(0.01, 30.0), (12.0, 0.01), (4.0, 9.0), (60.0, 90.0)])
def test_a_ring_is_walked_round_on_both_its_sides(left, right, turned_round, monkeypatch):
    walked = 0
    for seed in range(25):
        dice = np.random.default_rng(seed)
        around = np.arange(24) * np.pi / 12
        far = 100.0 + np.cos(3 * around) * seed + dice.uniform(-1, 1, 24) * seed / 20
        ring = np.column_stack([far * np.cos(around), 0.6 * far * np.sin(around)])
        ring = ring[::-1] if turned_round else ring
        whole = shapes.cover(ring, left, right, closed=True)
        line = np.vstack([ring, ring[:1]])
        normals = shapes.segment_normals(line)
        walked += shapes._band(line, normals, left, right, True) is not None
        with monkeypatch.context() as patched:
            patched.setattr(shapes, "_band", lambda *given: None)
            united = shapes.cover(ring, left, right, closed=True)
        assert whole.symmetric_difference(united).area < 1e-6 * united.length
    if max(left, right) < 20:
        assert walked > 5


def creased(step_mm: float, turn: float) -> np.ndarray:
    """A gently curved line with a bend one way at a third of it and back at two thirds."""
    at = np.arange(0.0, 490.0, step_mm)
    heading = 1.45 + at / 4000.0 + turn * ((at > 160.0) & (at < 330.0))
    way = np.cumsum(step_mm * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    return np.vstack([[[0.0, 0.0]], way])


@pytest.mark.parametrize("turn", [0.02, 0.07, -0.07, 0.3])
def test_a_cover_put_together_has_no_slits(turn):
    """Segments shorter than the bends ask for the union, whose parts once lay a hair apart."""
    line = creased(0.61, turn)
    assert shapes._band(line, shapes.segment_normals(line), 0.05, 40.0) is None
    whole = shapes.cover(line, 0.05, 40.0)
    assert whole.geom_type == "Polygon" and not whole.interiors


@pytest.mark.parametrize("turn", [0.07, -0.07, 0.3])
def test_the_far_side_of_a_band_goes_all_along(turn):
    line = creased(0.61, turn)
    ends = zip(line[[0, -1]], ([9.0, -1.0], [9.0, 2.0]), strict=True)
    sides = [np.array([corner - way, corner]) for corner, way in ends]
    band, carried_on = run_on(line, 40.0, (sides[0], sides[1]))
    far = far_side(band, carried_on, 40.0)
    for k, end in enumerate((far[0], far[-1])):  # it ends on the lines of the two sides
        reach = sides[k][1] - sides[k][0]
        off = end - sides[k][1]
        assert abs(reach[0] * off[1] - reach[1] * off[0]) / np.hypot(*reach) < 0.001
    away = shapely.distance(shapely.points(far), shapely.linestrings(shapes.extended(line, 90, 90)))
    assert np.abs(away - 40.0).max() < 0.005
    assert shapely.linestrings(far).difference(band.boundary.buffer(1e-6)).length < 1e-6


def test_a_cover_reaches_as_far_as_its_distances_and_no_further():
    """Against the definition: the foot of a point on the line is no further than asked for."""
    line = wandering(7, 0.05)
    area = shapes.cover(line, 15.0, 40.0)
    whole = shapely.linestrings(line)
    low, high = line.min(axis=0) - 60, line.max(axis=0) + 60
    spots = np.random.default_rng(1).uniform(low, high, (4000, 2))
    for spot in spots:
        point = shapely.Point(spot)
        at = whole.project(point)
        if at < 1e-6 or at > whole.length - 1e-6:
            continue  # past its ends, which are cut square
        ahead = np.array(whole.interpolate(min(at + 1e-3, whole.length)).coords[0])
        back = np.array(whole.interpolate(max(at - 1e-3, 0)).coords[0])
        way, off = ahead - back, spot - back
        on_left = way[0] * off[1] - way[1] * off[0] > 0
        away = whole.distance(point) - (15.0 if on_left else 40.0)
        if abs(away) > 0.01:
            assert area.contains(point) == (away < 0), spot


@pytest.mark.parametrize("bend", [0.02, 0.4])
def test_a_tree_of_segments_finds_what_the_library_finds_on_the_whole_line(bend, monkeypatch):
    """shapely's distance and line_locate_point, which walk along all of a line for each point."""
    monkeypatch.setattr(shapes, "_TREE_PAYS", 0)
    for seed in range(10):
        dice = np.random.default_rng(seed)
        line = wandering(seed, bend)
        beside = line.mean(axis=0) + dice.normal(0, 300, (200, 2))
        points = np.vstack([beside, line, (line[1:] + line[:-1]) / 2])
        near, whole = shapes.NearLine(line), shapely.LineString(line)
        at = shapely.points(points)
        assert near.distance_mm(points) == pytest.approx(shapely.distance(at, whole), abs=1e-9)
        expected = shapely.line_locate_point(whole, at)
        assert near.along_mm(points) == pytest.approx(expected, abs=1e-6)
