"""The height below a layer: plies, bevelled cores, blocks; keys and break lines."""

import math

import numpy as np
import pytest
import shapely

from plybook.laminate.heights import HeightField, Rise, block_rise, core_rise, rim_of, sheet_rise
from plybook.laminate.rises import merged_lines
from plybook.laminate.sides import name_sides
from plybook.spec.model import Treatment
from tests.laminate.flat_faces import TrapezoidFace

FACE = TrapezoidFace()
NET = shapely.Polygon(FACE.outline_mm)
BOX = shapely.box(200, 0, 1200, 400)
BEVEL = {"": Treatment("bevel", 45.0)}


def core(edges=None, region=BOX, t=10.0):
    return core_rise("C1", name_sides(region, FACE), t, edges or BEVEL)


def at(field, *points):
    return field(np.array(points, float))


def test_nothing_below_is_flat():
    assert HeightField().flat
    assert at(HeightField(), (1, 2), (3, 4)) == pytest.approx([0, 0])


def test_plies_add_their_thickness_where_they_lie():
    field = HeightField().with_layer(sheet_rise("P1", BOX, 0.2))
    field = field.with_layer(sheet_rise("P2", shapely.box(200, 0, 700, 400), 0.3))
    assert at(field, (500, 100), (1000, 100), (1300, 100)) == pytest.approx([0.5, 0.2, 0])


@pytest.mark.parametrize("angle", [20.0, 45.0, 60.0])
def test_a_bevel_climbs_with_its_angle_up_to_the_thickness(angle):
    field = HeightField().with_layer(core({"": Treatment("bevel", angle)}))
    slope = math.tan(math.radians(angle))
    got = at(field, (200, 200), (201, 200), (203, 200), (200 + 10 / slope + 1, 200), (199, 200))
    assert got == pytest.approx([0, slope, 3 * slope, 10, 0], abs=1e-9)


def test_each_edge_climbs_with_its_own_angle_and_a_corner_takes_the_lower():
    edges = {"": Treatment("bevel", 45.0), "root": Treatment("bevel", 20.0)}
    field = HeightField().with_layer(core(edges))
    assert at(field, (210, 200), (700, 4)) == pytest.approx([10 * math.tan(math.radians(20)), 4])
    assert at(field, (205, 3), (220, 3)) == pytest.approx([5 * math.tan(math.radians(20)), 3])


def test_a_square_edge_comes_down_a_fillet_outside():
    field = HeightField().with_layer(
        core({"": Treatment("bevel", 45.0), "tip": Treatment("square")})
    )
    run = 10.0  # 45 degrees
    got = at(field, (1199.9, 200), (1200 + run / 2, 200), (1200 + run + 0.1, 200))
    assert got == pytest.approx([10, 5, 0], abs=1e-3)


def test_blocks_on_one_outline_come_down_one_fillet_from_the_top():
    strip = shapely.box(500, 100, 600, 200)
    field = HeightField().with_layer(sheet_rise("P", BOX, 0.5))
    for name in ("R1", "R2", "R3"):
        field = field.with_layer(block_rise(name, strip, 3.0))
    got = at(field, (550, 150), (605, 150), (609, 150), (610, 150))
    assert got == pytest.approx([9.5, 4.5, 0.5, 0.5], abs=0.03)
    feet = [shapely.LineString(x) for x in field.break_lines]
    assert min(x.distance(shapely.Point(609, 150)) for x in feet) < 0.1
    assert min(x.distance(shapely.Point(603, 150)) for x in feet) > 2.0


def test_beyond_the_net_line_the_height_runs_on():
    region = shapely.Polygon(FACE.outline_mm)
    rise = core_rise("C1", name_sides(region, FACE), 10.0, {"": Treatment("square")})
    field = HeightField(net=NET).with_layer(rise)
    assert at(field, (-20, 200), (0, 200), (1000, 5000)) == pytest.approx([10, 10, 10])


def test_a_block_adds_what_it_stands_proud():
    field = HeightField().with_layer(core())
    proud = field.with_layer(block_rise("H1", shapely.box(500, 100, 600, 200), 2.0))
    assert at(proud, (550, 150), (700, 150)) == pytest.approx([12, 10])
    assert field.with_layer(block_rise("H1", shapely.box(500, 100, 600, 200), 0.0)) is field


def test_the_volume_under_a_bevelled_core_is_that_of_the_frustum():
    # prismatoid formula V = h/6 (A1 + 4 Am + A2), exact for planes
    field = HeightField().with_layer(core())
    x, y = np.meshgrid(np.arange(200.5, 1200, 1), np.arange(0.5, 400, 1))
    volume = field(np.column_stack([x.ravel(), y.ravel()])).sum()
    want = 10 / 6 * (1000 * 400 + 4 * 990 * 390 + 980 * 380)
    assert volume == pytest.approx(want, rel=1e-5)


def test_break_lines_run_along_the_foot_the_top_and_the_hips_of_the_ramps():
    field = HeightField().with_layer(core())
    lines = [shapely.LineString(line) for line in field.break_lines]
    both = shapely.union_all(lines)
    assert both.distance(shapely.Point(700, 0)) < 1e-6
    assert both.distance(shapely.Point(700, 10)) < 1e-6
    assert both.length == pytest.approx(2800 + 2720 + 4 * 10 * 2**0.5, abs=0.1)
    assert not HeightField().with_layer(sheet_rise("P", BOX, 0.2)).break_lines


def test_no_line_is_no_break():
    """An intersection that is empty comes as a line without points."""
    apart = shapely.LineString([(0, 0), (1, 0)]).intersection(shapely.box(5, 5, 6, 6))
    assert apart.is_empty and merged_lines(apart) == []
    assert len(merged_lines(shapely.GeometryCollection([apart, BOX.boundary]))) == 1


def test_fields_of_one_shape_share_a_key_and_others_do_not():
    one = HeightField().with_layer(core()).with_layer(sheet_rise("P1", BOX, 0.2))
    two = HeightField().with_layer(core()).with_layer(sheet_rise("Q7", BOX, 0.2))
    other = HeightField().with_layer(core()).with_layer(sheet_rise("P1", BOX, 0.25))
    assert one.key == two.key != other.key
    assert core().key != core({"": Treatment("bevel", 30.0)}).key


def test_a_change_is_significant_by_the_thickness_of_what_is_new():
    base = HeightField().with_layer(core())
    more = base.with_layer(sheet_rise("P1", BOX, 0.2)).with_layer(sheet_rise("P2", BOX, 0.2))
    assert more.largest_difference_mm(base) == pytest.approx(0.4)
    assert not more.significant_change(base)
    assert more.with_layer(sheet_rise("P3", BOX, 0.2)).significant_change(base)
    assert base.significant_change(HeightField())


def test_points_far_away_and_on_the_edge_are_answered():
    rise = Rise("P", BOX, 1.0)
    assert rise.at(np.array([[1e6, 1e6], [200.0, 0.0], [700.0, 400.0]])) == pytest.approx([0, 1, 1])


def test_what_lies_over_the_end_of_a_thin_layer_feels_no_step():
    """Half of it at the end, all of it and nothing 10 mm to either side; at the net line no end."""
    net = shapely.box(0, 0, 1000, 400)
    sheet = sheet_rise("P", shapely.box(0, 0, 500, 400), 0.5, rim_of(net))
    eased = HeightField((), net, True).with_layer(sheet)
    across = np.array(
        [(480, 200), (490, 200), (495, 200), (500, 200), (505, 200), (510, 200)], float
    )
    assert eased(across) == pytest.approx([0.5, 0.5, 0.375, 0.25, 0.125, 0.0])
    assert eased(np.array([(0.01, 200.0), (250.0, 0.01), (-20.0, 200.0)])) == pytest.approx(0.5)
    plain = HeightField((), net).with_layer(sheet)
    assert plain(across) == pytest.approx([0.5, 0.5, 0.5, 0.5, 0.0, 0.0])


def test_a_stack_that_ends_on_one_line_hardly_lengthens_what_lies_over_it():
    """Five plies of 0.19 mm: the length over their end is that of the straight way to 0.03 mm; a
    step that is climbed at 45 degrees would add 0.39 mm."""
    net = shapely.box(0, 0, 1000, 400)
    field = HeightField((), net, True)
    rim = rim_of(net)
    for k in range(5):
        field = field.with_layer(sheet_rise(f"U{k}", shapely.box(0, 0, 500, 400), 0.19, rim))
    x = np.linspace(400, 600, 2001)
    height = field(np.column_stack([x, np.full_like(x, 200.0)]))
    length = np.hypot(np.diff(x), np.diff(height)).sum()
    assert 200.0 < length < 200.03
