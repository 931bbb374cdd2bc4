"""Mark-out: few points, on the tape's grid, and never a piece smaller than its template."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plybook.geometry.rings import canonical_ring
from plybook.nest.bays import stage_cuts
from plybook.nest.chords import outer_chords, rounded_outwards
from plybook.nest.markout import CURVE_MM, mark_out, tape
from plybook.nest.model import Item, Layout, Placement, Unit
from plybook.nest.placing import placed
from plybook.nest.roundings import mark_openings, rounded_corners
from plybook.units import CLOTH, MM_PER_INCH, STIFF
from tests.drawing import drawn_pieces as made

ROLL = Unit("R1", "roll", "twill200", 20000.0, 1250.0, edge_mm=10.0)


def layout_of(*placements, unit=ROLL):
    return Layout(unit, placements, 9000.0, 0.0, 0.5)


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("turn", [0.0, 45.0, 90.0, 200.0, -30.3])
@pytest.mark.parametrize("piece", made.all_pieces(), ids=lambda p: p.id)
def test_the_marked_outline_holds_the_whole_piece_and_lies_on_the_grid(piece, turn, unit):
    loose = Placement(piece.id, 1, 0.0, 0.0, turn, flipped=turn == 45.0)
    x, y = (200.123, 30.7) - placed(piece.outline_mm, loose).min(axis=0)
    place = replace(loose, x_mm=float(x), y_mm=float(y))
    wide = replace(ROLL, width_mm=6000.0)
    (mark,) = mark_out(layout_of(place, unit=wide), {piece.id: piece.outline_mm}, unit)
    true = shapely.Polygon(placed(piece.outline_mm, place) + (0.0, 10.0))
    marked = mark.shape
    assert marked.is_valid
    assert marked.buffer(0.01 if mark.corner_mm else 1e-6).covers(true)
    assert marked.area - true.area <= (CURVE_MM + 2 * CLOTH.step_mm(unit)) * true.length
    steps = mark.points_mm / CLOTH.step_mm(unit)
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert len(mark.points_mm) <= max(4, len(piece.outline_mm))


def test_a_straight_sided_piece_has_only_its_corners():
    ring = canonical_ring(np.array([(0, 0), (500, 0), (1000, 0), (1000, 300), (0, 300.0)]))
    (mark,) = mark_out(layout_of(Placement("a", 1, 100, 50, 0)), {"a": ring}, "mm")
    assert mark.points_mm.tolist() == [[100, 60], [1100, 60], [1100, 360], [100, 360]]
    assert not mark.curved
    assert mark.over_mm == pytest.approx(0.0, abs=1e-6)


def test_a_disc_becomes_a_polygon_around_it():
    """The least regular polygon whose sides stand less than e outside a circle of radius r has
    pi / arccos(r / (r + e)) sides; the marked one may have up to three times as many."""
    t = np.radians(np.arange(0, 360, 2))
    ring = np.column_stack([100 * np.cos(t), 100 * np.sin(t)])
    few, curved = outer_chords(ring, 1.5)
    least = math.pi / math.acos(100 / 101.5)
    assert curved
    assert least - 1 <= len(few) <= 3 * least
    assert shapely.Polygon(few).buffer(1e-9).covers(shapely.Polygon(ring))
    assert np.hypot(*few.T).max() < 100 + 3 * 1.5


def test_chords_beside_a_bend_sharper_than_their_error_do_not_cross():
    """The room of a cloth of 0.6 m with a jog at a corner, smaller than the chords' error."""
    ring = np.array([
        [1077.1, 175.8], [1670.6, -417.7], [1858.8, -382.2], [1777.7, -144.4], [1686.8, 112.7],
        [1682.5, 126.0], [1683.4, 145.0], [1079.4, 181.1], [1076.8, 182.7], [1071.3, 181.6],
        [1074.0, 176.8],
    ])  # fmt: skip
    few = shapely.Polygon(outer_chords(ring, 2.0)[0])
    assert few.is_valid
    assert few.buffer(1e-9).covers(shapely.Polygon(ring))
    assert few.area < 1.05 * shapely.Polygon(ring).area


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 2 * math.pi), st.floats(60, 400)), min_size=4, max_size=9,
                unique_by=lambda v: round(v[0], 1)))  # fmt: skip
def test_rounding_never_cuts_into_a_star_shaped_ring(rays):
    rays = sorted(rays)
    ring = np.array([(600 + r * math.cos(a), 600 + r * math.sin(a)) for a, r in rays])
    true = shapely.Polygon(ring)
    if not true.is_valid or true.area < 2000 or true.exterior.is_ccw is False:
        return
    (mark,) = mark_out(layout_of(Placement("a", 1, 500, 0, 0)), {"a": ring}, "mm")
    whole = shapely.affinity.translate(true, 500, 10)
    if whole.bounds[1] >= 0.0 and whole.bounds[3] <= 1270.0:
        marked = shapely.Polygon(mark.points_mm)
        assert marked.buffer(1e-3).covers(whole)


def test_points_stay_on_the_stock_where_a_piece_lies_at_its_edge():
    ring = np.array([(0.0, 0.0), (300.0, 4.0), (296.0, 204.0), (-4.0, 200.0)])
    rounded = rounded_outwards(ring + (4.0, 0.0), 0.5, (2438.4, 1219.2))
    assert (rounded >= 0.0).all()


def test_pieces_come_in_cutting_order_with_coordinates_from_the_rolls_edge():
    square = np.array([(0, 0), (100, 0), (100, 100), (0, 100.0)])
    layout = layout_of(
        Placement("b", 1, 700, 20, 0), Placement("a", 2, 20, 300, 90), Placement("a", 1, 30, 5, 0)
    )
    marks = mark_out(layout, {"a": square, "b": square}, "mm")
    assert [(m.item, m.copy) for m in marks] == [("a", 2), ("a", 1), ("b", 1)]
    assert marks[1].points_mm[0].tolist() == [30.0, 15.0]  # y 5 is 15 from the roll's edge


def test_a_piece_that_crosses_itself_is_marked_for_others_to_tell():
    """Beside a neighbour; what is wrong with the piece is found with its layer."""
    ring = np.array([(0, 0), (50, 40), (50, 0), (0, 40.0)])
    layout = layout_of(Placement("a", 1, 0, 0, 0), Placement("a", 2, 20, 3, 30))
    assert len(mark_out(layout, {"a": ring}, "mm")) == 2


def test_inches_are_read_in_sixteenths():
    assert tape(1.5 * 25.4, "in") == "1 1/2"
    assert tape(25.4 / 16, "in") == "1/16"
    assert tape(1234.5, "mm") == "1234.5"


def test_a_placement_is_mirrored_then_turned_then_moved():
    place = Placement("a", 1, 10.0, 20.0, 90.0, flipped=True)
    points = placed(np.array([(1.0, 2.0), (5.0, 2.0), (5.0, 9.0)]), place)
    assert np.allclose(sorted(points.tolist()), [(12.0, 21.0), (12.0, 25.0), (19.0, 25.0)])


def test_a_sliver_that_is_a_line_at_the_marking_width_is_boxed():
    """A strip of 40 by 0.5 mm, thinner than curves are chorded: its box, which holds it all."""
    ring = np.array([[0.0, 0], [20, 0.1], [40, 0], [40, 0.5], [20, 0.4], [0, 0.5]])
    few, _ = outer_chords(ring, 1.0)
    assert shapely.Polygon(few).area > 0
    assert shapely.Polygon(few).buffer(1e-9).covers(shapely.Polygon(ring))


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_piece_at_the_end_of_its_roll_is_marked_whole(unit):
    """A curve that touches the roll's end: chords outside it end at the edge, not short of it."""
    t = np.radians(np.arange(0, 360, 3))
    ring = np.column_stack([300 + 300 * np.cos(t), 610 + 610.3 * np.sin(t)])
    ring -= ring.min(axis=0)
    bare = replace(ROLL, edge_mm=0.0)
    (mark,) = mark_out(layout_of(Placement("a", 1, 0.0, 0.0, 0.0), unit=bare), {"a": ring}, unit)
    assert (mark.points_mm >= 0.0).all()
    assert shapely.Polygon(mark.points_mm).buffer(1e-6).covers(shapely.Polygon(ring))


def slotted(wide, high, slot, deep):
    return [
        (0, 0),
        (wide, 0),
        (wide, high),
        (wide / 2 + slot, high),
        (wide / 2 + slot, high - deep),
        (wide / 2, high - deep),
        (wide / 2, high),
        (0, high),
    ]


ODD = {
    "slanted sliver": [(0, 0), (277.1, 280.3), (39.3, 45.8)],
    "lens": [*((x, 0.01 * (x - 97) ** 2 - 94) for x in range(0, 195, 15)), (97.0, 6.0)],
    "narrow slot": slotted(81.9, 22.4, 0.85, 18.1),
    "slot at a corner": [(0, 0), (4.7, 0), (4.7, 22), (0.48, 22), (0.48, 19.6), (0.22, 19.6),
                         (0.22, 22), (0, 22)],
    "steps of a millimetre": [(0, 2.5), (5.7, 2.5), (5.7, 0), (14.3, 0), (14.3, 2.5), (48.9, 2.5),
                              (48.9, 7.6), (97.9, 7.6), (97.9, 22.1), (35.3, 22.1), (35.3, 20.5),
                              (0, 20.5)],
    "smaller than its chords": [(0, 0.8), (0.8, 0), (2.2, 0.2), (3.7, 1.4), (4.4, 2.9), (2.9, 4.4)],
}  # fmt: skip


@pytest.mark.parametrize("turn", [0.0, 13.3, 45.0, 90.0, 200.0])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("shape", list(ODD))
def test_odd_pieces_that_fill_their_sheet_are_marked_whole_and_once(shape, unit, turn):
    """Every side of the sheet touches the piece; nothing is marked off the sheet, no corner
    twice, no side across another."""
    ring = turned(np.array(ODD[shape], dtype=float), turn)
    ring = canonical_ring(ring - ring.min(axis=0))
    size = ring.max(axis=0)
    sheet = Unit("S", "sheet", "foam", float(size[0]), float(size[1]))
    (mark,) = mark_out(layout_of(Placement("a", 1, 0, 0, 0), unit=sheet), {"a": ring}, unit)
    step = STIFF.step_mm(unit)
    ticks = np.round(mark.points_mm / step)
    assert np.allclose(ticks * step, mark.points_mm, atol=1e-6)
    assert len(np.unique(ticks, axis=0)) == len(ticks)
    assert shapely.Polygon(ticks).is_valid
    assert shapely.Polygon(ticks).exterior.is_ccw
    assert (ticks >= 0).all() and (mark.points_mm < size + step).all()
    marked, true = shapely.Polygon(mark.points_mm), shapely.Polygon(ring)
    assert marked.buffer(1e-6).covers(true)
    assert shapely.distance(shapely.points(mark.points_mm), true).max() <= 25.0


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_no_marked_outline_takes_anything_from_a_near_neighbour(unit):
    """Two discs and two needles 0.6 mm apart: less than a chord or a sixteenth may stand out."""
    t = np.radians(np.arange(0, 360, 3))
    disc = np.column_stack([200 + 200 * np.cos(t), 200 + 200 * np.sin(t)])
    needle = np.array([(0.0, 0.0), (900.0, 30.3), (0.0, 40.0)])
    layout = layout_of(
        Placement("d", 1, 50.0, 50.0, 0.0),
        Placement("d", 2, 450.6, 50.0, 0.0),
        Placement("n", 1, 50.0, 460.0, 0.0),
        Placement("n", 2, 950.0, 531.0, 180.0),
    )
    marks = mark_out(layout, {"d": disc, "n": needle}, unit)
    for mark in marks:
        marked = mark.shape
        for other in marks:
            true = shapely.Polygon(other.ring_mm)
            if other is mark:
                assert marked.buffer(0.01 if mark.corner_mm else 1e-6).covers(true)
            else:
                assert marked.intersection(true).area < 1e-6


@settings(max_examples=60, deadline=None)
@given(
    st.floats(300.0, 1500.0),
    st.floats(3.0, 60.0),
    st.floats(-80.0, 80.0),
    st.floats(0.0, 360.0),
    st.sampled_from(("mm", "in")),
)
def test_the_tip_of_a_needle_takes_nothing_from_what_lies_before_it(long, root, aside, turn, unit):
    """However far a tip is marked past its end, not into a panel at the least gap from it."""
    gap = 3.0
    needle = np.array([(0.0, 0.0), (long, 0.3 * root), (0.0, root)])
    panel = np.array([(gap, -100.0), (200.0, -100.0), (200.0, 100.0), (gap, 100.0)])
    panel = turned(panel, aside) + needle[1]
    assume(shapely.Polygon(panel).distance(shapely.Polygon(needle)) >= gap - 1e-6)
    rings = [turned(needle, turn) + 3000.0, turned(panel, turn) + 3000.0]
    names = dict(zip(("n", "p"), rings, strict=True))
    layout = layout_of(
        *(Placement(name, 1, 0.0, 0.0, 0.0) for name in names),
        unit=replace(ROLL, length_mm=9000.0, width_mm=9000.0, edge_mm=0.0),
    )
    marks = mark_out(layout, names, unit)
    for mark, other in (marks, marks[::-1]):
        marked = shapely.Polygon(mark.points_mm)
        assert marked.buffer(1e-6).covers(shapely.Polygon(mark.ring_mm))
        assert marked.intersection(shapely.Polygon(other.ring_mm)).area < 1e-6


def turned(ring: np.ndarray, angle_deg: float) -> np.ndarray:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return ring @ np.array([[c, s], [-s, c]])


def square(id: str, stage: str) -> Item:
    ring = np.array([(0, 0), (100, 0), (100, 100), (0, 100.0)])
    return Item(id, ring, 1, (0.0,), group=stage)


def staged(**at_mm: float):
    """Squares of 100 mm on a roll: NAME_STAGE=where along."""
    items = {name: square(name, name.rpartition("_")[2]) for name in at_mm}
    places = tuple(Placement(name, 1, x, 0.0, 0.0) for name, x in at_mm.items())
    unit = Unit("R", "roll", "twill", 5000.0, 1250.0)
    return Layout(unit, places, 1000.0, 0.0, 0.5), items


def test_a_roll_is_cut_across_between_stages_that_lie_apart():
    layout, items = staged(a_outer=0, b_outer=104, c_inner=208, d_trim=350)
    cuts = stage_cuts(layout, items, "mm")
    assert [(c.along_mm, c.before, c.after) for c in cuts] == [
        (205, "outer", "inner"), (330, "inner", "trim"),
    ]  # the roundest in the gap  # fmt: skip


def test_stages_that_mix_on_the_roll_are_not_cut_apart():
    layout, items = staged(a_outer=0, b_inner=104, c_outer=208, d_trim=350)
    (cut,) = stage_cuts(layout, items, "mm")
    assert (cut.along_mm, cut.before, cut.after) == (330, "outer and inner", "trim")


@pytest.mark.parametrize(("unit", "step"), [("mm", 0.5), ("in", MM_PER_INCH / 32)])
def test_an_opening_with_round_corners_is_marked_by_its_sides_and_a_radius(unit, step):
    """180 x 100 mm less a fillet of 12 mm at each corner, by the area of a square less a quarter
    of a circle; what is marked leaves nothing of the panel cut away."""
    slot = shapely.box(12.0, 12.0, 168.0, 88.0).buffer(12.0, quad_segs=16)
    assert slot.area == pytest.approx(180 * 100 - (4 - np.pi) * 12**2, rel=1e-3)
    place = Placement("a", 1, 600.0, 300.0, 7.3, False)
    (one,) = mark_openings(place, [np.array(slot.exterior.coords)[:-1]], 10.0, unit, STIFF)
    assert len(one.points_mm) == 4 and 11.9 <= one.corner_mm <= 12.0 + 2 * step
    assert np.allclose(one.points_mm / step, np.round(one.points_mm / step))
    true = shapely.Polygon(placed(np.array(slot.exterior.coords)[:-1], place) + (0.0, 10.0))
    told = rounded_corners(one.points_mm, one.corner_mm)
    assert true.buffer(1e-5).covers(told) and true.hausdorff_distance(told) < 2 * step


@pytest.mark.parametrize("flipped", [False, True])
def test_openings_are_marked_inside_their_rims_and_round_ones_by_their_middle(flipped):
    """A box of 120.2 x 70.2 and a circle of 80 in a panel that is turned by 90 degrees."""
    slot = np.array([(340.1, 90.1), (460.3, 90.1), (460.3, 160.3), (340.1, 160.3)])
    turn = np.linspace(0.0, 2 * np.pi, 65)[:-1]
    disc = np.column_stack([620.0 + 40.0 * np.cos(turn), 420.0 + 40.0 * np.sin(turn)])
    place = Placement("a", 1, 600.0, 600.0 if flipped else 0.0, 90.0, flipped)
    box_like, round_one = mark_openings(place, [slot, disc], 10.0, "mm", STIFF)
    true = shapely.Polygon(placed(slot, place) + (0.0, 10.0))
    marked = shapely.Polygon(box_like.points_mm)
    assert true.buffer(1e-6).covers(marked) and true.area - marked.area < 0.5 * true.length
    assert np.allclose(box_like.points_mm % 0.5, 0.0) and marked.exterior.is_ccw
    middle = placed(np.array([(620.0, 420.0)]), place)[0] + (0.0, 10.0)
    assert np.abs(round_one.points_mm[0] - middle).max() <= 0.25
    assert round_one.round_mm == pytest.approx(80.0)


def rounded_box(length, width, radius):
    """A rectangle with round corners, its chords within 0.003 mm of the arcs."""
    turns = np.linspace(0.0, math.pi / 2, max(9, int(radius)))
    middles = [(length - radius, width - radius), (radius, width - radius), (radius, radius),
               (length - radius, radius)]  # fmt: skip
    return np.vstack([
        np.column_stack([x + radius * np.cos(turns + k * math.pi / 2),
                         y + radius * np.sin(turns + k * math.pi / 2)])
        for k, (x, y) in enumerate(middles)
    ])  # fmt: skip


@pytest.mark.parametrize("turn", [0.0, 45.0, -27.3, 90.0])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_piece_with_round_corners_is_told_by_where_its_sides_meet(unit, turn):
    """What four corners and a radius stand for, drawn by shapely, holds the piece and little more;
    the radius is at most that of the piece."""
    ring = rounded_box(300.0, 229.0, 72.0)
    (mark,) = mark_out(layout_of(Placement("d", 1, 500.2, 400.7, turn)), {"d": ring}, unit)
    assert len(mark.points_mm) == 4 and 60.0 < mark.corner_mm <= 72.0 and not mark.curved
    told = shapely.Polygon(mark.points_mm).buffer(-mark.corner_mm, join_style="mitre")
    told = told.buffer(mark.corner_mm, quad_segs=90)
    true = shapely.Polygon(mark.ring_mm)
    assert told.buffer(0.01).covers(true)
    assert shapely.hausdorff_distance(told, true) <= 2 * CLOTH.step_mm(unit) + 1e-6
    step = STIFF.step_mm(unit)
    assert mark.corner_mm / step == pytest.approx(round(mark.corner_mm / step), abs=1e-6)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_round_piece_is_told_by_its_middle_and_how_far_across_it_is(unit):
    t = np.radians(np.arange(0, 360, 1))
    ring = 150.0 * np.column_stack([np.cos(t), np.sin(t)])
    (mark,) = mark_out(layout_of(Placement("d", 1, 700.3, 500.4, 30.0)), {"d": ring}, unit)
    middle = mark.points_mm.mean(axis=0)
    assert np.abs(np.ptp(mark.points_mm, axis=0) - 2 * mark.corner_mm).max() < 1e-6
    off = float(np.hypot(*(middle - (700.3, 510.4))))
    assert 150.0 + off <= mark.corner_mm + 0.01 <= 150.0 + off + CLOTH.step_mm(unit) + 0.01
    assert np.allclose(middle / CLOTH.step_mm(unit), np.round(middle / CLOTH.step_mm(unit)))


def test_corners_that_would_lie_beyond_the_cloth_are_marked_as_chords():
    ring = rounded_box(300.0, 229.0, 72.0)
    turned_ring = turned(ring, 45.0)
    at = 1260.0 - turned_ring[:, 1].max() - 10.0
    (mark,) = mark_out(layout_of(Placement("d", 1, 900.0, at, 45.0)), {"d": ring}, "mm")
    assert mark.corner_mm == 0.0 and len(mark.points_mm) > 4
    assert mark.points_mm[:, 1].max() <= 1270.0
