"""Core panels: areas, square seams, bevels at tan a, scarfs that mate, holes, names, findings."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.diagnostics import Severity
from plybook.laminate.core import core_pieces, footprint
from plybook.laminate.panel_checks import bends, seam_notes
from plybook.spec.model import (
    Core,
    CoreStock,
    CutOut,
    OnPattern,
    PointLine,
    Seam,
    ShareLine,
    SpanLine,
    Treatment,
    Whole,
)
from plybook.surface.model import Kink
from tests.laminate.flat_faces import Stretched, TrapezoidFace

FOAM = CoreStock("foam-10", "foam 10 mm", 10.0, 60.0, (2438.4, 1219.2), False, 200.0, 400.0)
BEVEL = Treatment("bevel", 45.0)
SQUARE = Treatment("square")
FACE = TrapezoidFace()
REGION = shapely.Polygon([(40, -230), (1950, -95), (1950, 390), (40, 630)])


def core(**more):
    settings = {
        "id": "C1",
        "material": "foam-10",
        "stage": "core",
        "region": Whole(),
        "thickness_mm": 10.0,
        "edges": (("", BEVEL), ("root", SQUARE)),
    }
    return Core(**(settings | more))


def cut(spec_core=None, region=REGION, face=FACE, raised=None, stock=FOAM, **more):
    return core_pieces(spec_core or core(), region, face, raised, stock=stock, **more)


def edge(piece, name):
    return next(e for e in piece.edges if e.name == name)


def panel(piece):
    return shapely.Polygon(piece.outline_mm, piece.holes_mm)


def bag(piece):
    if piece.bag_side_outline_mm is None:
        return panel(piece)
    return shapely.Polygon(piece.bag_side_outline_mm, piece.bag_side_holes_mm or piece.holes_mm)


def test_one_panel_keeps_the_region_on_its_mould_side_and_its_layer_name():
    made = cut()
    (piece,) = made.pieces
    assert piece.id == "C1" and made.findings == ()
    assert panel(piece).symmetric_difference(REGION).area < 0.5
    assert {e.name for e in piece.edges} == {"root", "trailing", "tip", "leading"}
    assert piece.notes[0].startswith("mould side down")


def test_bevelled_edges_stand_back_t_over_tan_a_and_square_ones_do_not():
    spec = core(edges=(("", Treatment("bevel", 30.0)), ("root", SQUARE), ("tip", BEVEL)))
    (piece,) = cut(spec).pieces
    small = bag(piece).exterior
    for name, inset in [
        ("leading", 10 / math.tan(math.radians(30))),
        ("trailing", 10 / math.tan(math.radians(30))),
        ("tip", 10.0),
        ("root", 0.0),
    ]:
        middle = shapely.Point(edge(piece, name).points_mm.mean(axis=0))
        assert small.distance(middle) == pytest.approx(inset, abs=2e-4), name
    assert edge(piece, "root").treatment == "square"
    assert edge(piece, "tip").angle_deg == 45.0


def test_an_edge_wide_on_the_bag_side_is_narrowed_on_the_mould_side():
    spec = core(edges=(("", SQUARE), ("tip", Treatment("bevel", 45.0, "bag"))))
    (piece,) = cut(spec).pieces
    assert piece.outline_mm[:, 0].max() == pytest.approx(1940, abs=1e-3)
    assert piece.bag_side_outline_mm[:, 0].max() == pytest.approx(1950, abs=1e-3)
    assert edge(piece, "tip").points_mm[:, 0] == pytest.approx(1940, abs=1e-3)
    assert footprint(piece)[:, 0].max() == pytest.approx(1950, abs=1e-3)


def test_seams_split_the_area_and_square_seams_never_inherit_a_bevel():
    spec = core(
        seams=(
            Seam("S1", SpanLine(700), SQUARE),
            Seam("S2", SpanLine(1300), SQUARE),
            Seam("S3", ShareLine(0.5), SQUARE),
        )
    )
    made = cut(spec)
    assert [p.id for p in made.pieces] == [f"C1.{n}" for n in range(1, 7)]
    assert sum(p.area_mm2 for p in made.pieces) == pytest.approx(REGION.area, abs=1.0)
    centres = [p.outline_mm.mean(axis=0) for p in made.pieces]
    assert all(centres[i][0] < 700 for i in (0, 1)) and centres[0][1] > centres[1][1]
    for piece in made.pieces:
        for side in piece.edges:
            if side.name.startswith("seam"):
                assert side.treatment == "square"
                middle = shapely.Point(side.points_mm.mean(axis=0))
                assert bag(piece).exterior.distance(middle) < 2e-4
        assert any("SQUARE - NO BEVEL" in n for n in piece.notes)


def test_neighbours_share_their_seam_to_the_last_digit_and_name_each_other():
    made = cut(core(seams=(Seam("S1", SpanLine(900), SQUARE),)))
    one, two = made.pieces
    a, b = edge(one, "seam S1"), edge(two, "seam S1")
    assert (a.mate, b.mate) == ("C1.2", "C1.1")
    assert np.array_equal(a.points_mm, b.points_mm[::-1])
    ticks = [{m.label: m.points_mm[0] for m in p.marks if m.kind == "tick"} for p in (one, two)]
    assert ticks[0].keys() == ticks[1].keys() and len(ticks[0]) >= 2
    for label, root in ticks[0].items():
        assert np.array_equal(root, ticks[1][label])
    for piece in (one, two):
        for mark in piece.marks:
            assert panel(piece).contains(shapely.Point(mark.points_mm[1]))


@pytest.mark.parametrize("wide", ["mould", "bag"])
def test_scarfed_panels_mate_on_both_sides_of_the_sheet(wide):
    made = cut(core(seams=(Seam("S1", SpanLine(900), Treatment("scarf", 20.0, wide)),)))
    one, two = made.pieces
    run = 10 / math.tan(math.radians(20))
    assert one.outline_mm[:, 0].max() == pytest.approx(900)
    assert two.outline_mm[:, 0].min() == pytest.approx(900)
    shift = -run if wide == "mould" else run
    assert one.bag_side_outline_mm[:, 0].max() == pytest.approx(900 + shift, abs=2e-4)
    assert two.bag_side_outline_mm[:, 0].min() == pytest.approx(900 + shift, abs=2e-4)
    assert edge(one, "seam S1").wide_side == wide
    assert edge(two, "seam S1").wide_side != wide
    whole = bag(cut().pieces[0])
    assert bag(one).intersection(bag(two)).area < 0.2
    assert bag(one).union(bag(two)).symmetric_difference(whole).area < 0.5


def test_a_bevelled_seam_opens_a_groove_on_the_narrow_side():
    made = cut(core(seams=(Seam("S1", SpanLine(900), BEVEL),)))
    one, two = made.pieces
    assert one.bag_side_outline_mm[:, 0].max() == pytest.approx(890, abs=2e-4)
    assert two.bag_side_outline_mm[:, 0].min() == pytest.approx(910, abs=2e-4)


def test_a_slanted_seam_by_two_points_runs_through_the_whole_core():
    line = PointLine(OnPattern(600, 500), OnPattern(800, -100))
    made = cut(core(seams=(Seam("S1", line, SQUARE),)))
    assert len(made.pieces) == 2
    assert sum(p.area_mm2 for p in made.pieces) == pytest.approx(REGION.area, abs=0.5)


def test_a_seam_that_stops_inside_the_core_is_carried_on_and_told():
    line = PointLine(OnPattern(600, 600), OnPattern(800, 100))
    made = cut(core(seams=(Seam("S1", line, SQUARE),)))
    assert len(made.pieces) == 2
    (finding,) = [f for f in made.findings if f.code == "seam-runs-on"]
    assert "x 800, y 100 mm" in finding.message and "x 600" not in finding.message
    whole = PointLine(OnPattern(600, 600), OnPattern(800, -300))
    assert not cut(core(seams=(Seam("S1", whole, SQUARE),))).findings


def test_a_hardpoint_is_a_square_hole_grown_by_its_clearance():
    block = shapely.box(400, 100, 520, 180)
    spec = core(cut_outs=(CutOut("H1", 1.5),))
    (piece,) = cut(spec, let_in={"H1": block}).pieces
    (hole,) = piece.holes_mm
    assert shapely.Polygon(hole).equals(shapely.box(398.5, 98.5, 521.5, 181.5))
    assert piece.bag_side_holes_mm == ()  # the same on both sides
    assert "hole for H1: all sides SQUARE - NO BEVEL" in piece.notes
    assert piece.area_mm2 + 123 * 83 == pytest.approx(REGION.area, abs=0.5)


def test_a_hardpoint_on_a_seam_notches_both_panels_with_square_sides():
    block = shapely.box(850, 100, 950, 180)
    spec = core(seams=(Seam("S1", SpanLine(900), SQUARE),), cut_outs=(CutOut("H1", 1.0),))
    made = cut(spec, let_in={"H1": block})
    assert len(made.pieces) == 2
    for piece in made.pieces:
        assert not piece.holes_mm
        side = edge(piece, "let-in H1")
        assert side.treatment == "square"
        assert {"seam S1", "seam S1 (2)"} <= {e.name for e in piece.edges}
        middle = shapely.Point(side.points_mm[1:-1].mean(axis=0))
        assert bag(piece).exterior.distance(middle) < 2e-4
    total = sum(p.area_mm2 for p in made.pieces)
    assert total + 102 * 82 == pytest.approx(REGION.area, abs=1.0)


def test_an_opening_in_the_core_is_square_unless_said():
    region = REGION.difference(shapely.box(600, 100, 800, 250))
    (plain,) = cut(region=region).pieces
    assert len(plain.holes_mm) == 1 and plain.bag_side_holes_mm == ()
    assert plain.hole_names == ("",) and "opening: SQUARE - NO BEVEL" in plain.notes
    assert shapely.Polygon(plain.laid_holes_mm[0]).bounds == (600, 100, 800, 250)
    (piece,) = cut(core(edges=(("", BEVEL), ("holes", BEVEL))), region=region).pieces
    (hole,), (wide) = piece.bag_side_holes_mm, shapely.box(590, 90, 810, 260)
    assert shapely.Polygon(hole).symmetric_difference(wide).area < 0.1
    assert any(n.startswith("opening: bevel 45") for n in piece.notes)


@pytest.mark.parametrize("of_holes, apart, sound", [
    (SQUARE, 12.0, True), (SQUARE, 8.0, False), (BEVEL, 18.0, False), (BEVEL, 22.0, True),
])  # fmt: skip
def test_an_opening_stands_clear_of_the_slopes_there_are(of_holes, apart, sound):
    """10 mm at 45 degrees: one slope is 10 mm wide, with that of the opening 20."""
    region = shapely.box(100, 0, 900, 300).difference(shapely.box(400, apart, 500, 200))
    made = cut(core(edges=(("", BEVEL), ("holes", of_holes))), region=region)
    assert [f.code for f in made.findings] == ([] if sound else ["slope-through-hole"])
    if not sound:
        assert f"until they stand {10 if of_holes is SQUARE else 20}.0 mm apart" in (
            made.findings[0].help
        )


def test_a_seam_that_cuts_the_slope_of_an_opening_is_named():
    """10 mm at 45 degrees round an opening 6 mm past a square seam."""
    spec = core(edges=(("holes", BEVEL),), seams=(Seam("S1", SpanLine(594), SQUARE),))
    region = REGION.difference(shapely.box(600, 100, 800, 250))
    (found,) = cut(spec, region=region).findings
    assert found.code == "slope-through-hole"
    assert "is 10.0 mm wide and runs into its seam S1 side, 6.0 mm from the hole" in found.message
    assert "until they stand 10.0 mm apart" in found.help


def test_a_scarf_that_meets_a_hole_on_one_side_only_is_refused():
    spec = core(
        seams=(Seam("S1", SpanLine(530), Treatment("scarf", 20.0)),), cut_outs=(CutOut("H1", 1.0),)
    )
    found = cut(spec, let_in={"H1": shapely.box(400, 100, 520, 180)}).findings
    assert [f.code for f in found] == ["slope-through-hole"]
    assert found[0].severity is Severity.ERROR
    assert "scarf of its seam S1 side" in found[0].message
    assert "the hole for insert H1" in found[0].message


def test_every_stretch_of_the_outline_belongs_to_one_edge():
    made = cut(core(seams=(Seam("S1", SpanLine(900), SQUARE), Seam("S2", ShareLine(0.4), SQUARE))))
    for piece in made.pieces:
        length = sum(shapely.LineString(e.points_mm).length for e in piece.edges)
        assert length == pytest.approx(shapely.Polygon(piece.outline_mm).length)
        names = [e.name for e in piece.edges]
        assert len(set(names)) == len(names)


def test_seams_to_suit_the_sheets_give_the_fewest_panels_that_fit():
    made = cut(core(seams_to_suit_sheets=True), sheets_mm=[(1219.2, 1219.2)])
    assert len(made.pieces) == 2  # 1910 mm long, 860 mm deep at the root
    assert all("larger" not in f.code for f in made.findings)
    (alone,) = cut(core(seams_to_suit_sheets=True)).pieces
    assert alone.id == "C1"


def test_chosen_seams_keep_off_hardpoints():
    block = shapely.box(700, 100, 1130, 180)
    spec = core(seams_to_suit_sheets=True, cut_outs=(CutOut("H1", 1.0),))
    made = cut(spec, sheets_mm=[(1219.2, 1219.2)], let_in={"H1": block})
    assert made.seams
    for seam in made.seams:
        assert seam.line.distance(block) >= 60


def test_chosen_seams_make_rows_where_the_core_is_deeper_than_the_sheet():
    made = cut(core(seams_to_suit_sheets=True), sheets_mm=[(2000.0, 500.0)])
    assert len(made.pieces) == 2
    assert not made.seams[0].across


def test_no_seams_at_all_can_be_found_on_a_sheet_covered_by_hardpoints():
    block = REGION.buffer(-5)
    made = cut(core(seams_to_suit_sheets=True), sheets_mm=[(600.0, 600.0)], let_in={"H1": block})
    assert [f.code for f in made.findings][0] == "core-seams-not-found"
    assert made.findings[0].severity is Severity.ERROR


def test_a_kink_of_the_face_becomes_a_seam():
    face = TrapezoidFace(kinks=(Kink(1000.0, 5.0, 4.0, False), Kink(1500.0, 1.0, 0.1, True)))
    made = cut(core(), face=face)
    assert [s.id for s in made.seams] == ["K1"]


def slab(turn_deg, thickness_mm):
    """Bag-side corner of a square edge whose mould-side corner is the origin, the slab going off
    to -x and turned by an angle: in section across a break."""
    turn = math.radians(turn_deg)
    return np.array([math.sin(turn), math.cos(turn)]) * thickness_mm


@pytest.mark.parametrize("half_deg", [4.0, 9.5, 12.5])
def test_square_edges_at_a_break_are_told_what_makes_them_meet(half_deg):
    """Against the two slabs in section: what each stands past the plane that halves the angle,
    measured along its bag side, and how far apart their corners are."""
    made = cut(core(seams=(Seam("S1", SpanLine(1000.0), SQUARE),)))
    piece, t = made.pieces[0], made.pieces[0].thickness_mm
    closing = math.tan(math.radians(half_deg))
    corner = slab(half_deg, t)  # of the slab that a hollow break turns towards the other
    past = corner[0] / math.cos(math.radians(half_deg))
    (hollow,) = seam_notes(piece, made.seams, {"S1": closing})
    assert f"plane {past:.1f} mm off the bag side of both edges" in hollow
    assert f"(bevel {90 - half_deg:.0f} deg)" in hollow and "NO BEVEL" not in hollow
    gap = float(np.linalg.norm(slab(-half_deg, t) - slab(half_deg, t)))
    assert "; the face breaks" in hollow  # what follows the semicolon goes into the step as well
    (proud,) = seam_notes(piece, made.seams, {"S1": -closing})
    assert f"fill the gap of {gap:.1f} mm on the bag side" in proud and "NO BEVEL" in proud
    assert f"breaks {2 * half_deg:.1f} deg" in hollow and f"breaks {2 * half_deg:.1f} deg" in proud
    (flat,) = seam_notes(piece, made.seams, {})
    assert flat == "seam S1 to C1.2: SQUARE - NO BEVEL"


def test_bending_tighter_than_the_sheet_allows_is_told_with_radius_and_place():
    made = cut(face=TrapezoidFace(radius_mm=300.0))
    (found,) = [f for f in made.findings if f.code == "core-bends-tight"]
    assert "300 mm" in found.message and "400 mm" in found.message and "span" in found.message
    assert not [f for f in cut(face=TrapezoidFace(radius_mm=500.0)).findings]


def test_a_bent_panel_says_how_its_two_sides_come_to_differ():
    (piece,) = cut(face=TrapezoidFace(radius_mm=1000.0)).pieces
    ring = shapely.Polygon(piece.outline_mm)
    girth = ring.intersection(shapely.LineString([(995, -500), (995, 900)])).length
    (words,) = [n for n in piece.notes if "bent to the mould" in n]
    half = f"{5 * girth / 1000:.1f} mm"  # half the thickness times the turning angle
    assert f"mould side comes {half} longer" in words and f"bag side {half} shorter" in words


def test_a_sheet_bends_where_its_sides_come_to_differ():
    # 860 mm across on a radius of 1 m turn by 0.86 rad: 4.3 mm at half the thickness
    assert bends(REGION, TrapezoidFace(radius_mm=1000.0), 10.0)
    assert not bends(REGION, TrapezoidFace(radius_mm=30000.0), 10.0)
    assert not bends(REGION, FACE, 10.0)


def test_bevels_that_meet_are_an_error():
    thin = shapely.box(100, 0, 800, 18)
    made = cut(region=thin)
    assert "bevels-meet" in [f.code for f in made.findings]


def test_panels_are_cut_on_the_face_they_lie_on():
    made = cut(core(seams=(Seam("S1", SpanLine(900), SQUARE),)), raised=Stretched(1.001, 1.01))
    one, two = made.pieces
    assert one.outline_mm[:, 0].max() == pytest.approx(900.9, abs=2e-4)
    assert one.laid_outline_mm[:, 0].max() == pytest.approx(900, abs=2e-4)
    assert np.ptp(one.outline_mm[:, 1]) / np.ptp(one.laid_outline_mm[:, 1]) == pytest.approx(1.01)
    assert one.growth.area_pct == pytest.approx(100 * (1.001 * 1.01 - 1), abs=1e-3)
    assert np.array_equal(edge(one, "seam S1").points_mm, edge(two, "seam S1").points_mm[::-1])


class ByLeaf:
    """Two leaves that meet at a kink, each moved and stretched in its own way."""

    def __init__(self, at):
        self.kinks_mm = (at,)
        self.maps = (Stretched(1.0, 1.002), Stretched(1.003, 1.0))


def test_panels_meet_square_at_a_kink_whatever_the_other_seams_are():
    """Slopes of 1:10 of 10 mm in two planes that turn by 5 degrees gape by 100 sin 5 = 8.7 mm."""
    face = TrapezoidFace(kinks=(Kink(1000.0, 5.0, 4.0, False),))
    scarf = Treatment("scarf", math.degrees(math.atan(0.1)))
    made = cut(core(seam_default=scarf, seams=(Seam("S1", SpanLine(500), scarf),)), face=face)
    cuts = {e.name: e.treatment for p in made.pieces for e in p.edges if e.mate}
    assert cuts == {"seam S1": "scarf", "seam K1": "square"}
    stated = cut(core(seams=(Seam("S1", SpanLine(1000), scarf),)), face=face)
    found = [f for f in stated.findings if f.code == "scarf-at-break"]
    assert len(found) == 1 and "gape by 8.7" in found[0].message


def test_each_side_of_a_kink_is_cut_on_its_own_leaf_and_both_still_match():
    face = TrapezoidFace(kinks=(Kink(1000.0, 4.0, 3.0, False),))
    spec = core(seams=(Seam("S1", SpanLine(1500), SQUARE), Seam("L1", ShareLine(0.5), SQUARE)))
    made = cut(spec, face=face, raised=ByLeaf(1000.0))
    assert [p.id for p in made.pieces] == [f"C1.{n}" for n in range(1, 7)]
    assert {s.id for s in made.seams} == {"S1", "L1", "K1"}
    low, high = made.pieces[0], made.pieces[2]
    assert low.outline_mm[:, 0].max() == pytest.approx(1000, abs=1e-3)
    assert high.outline_mm[:, 0].min() == pytest.approx(1003, abs=1e-3)
    assert edge(low, "seam K1").mate == high.id and edge(high, "seam K1").mate == low.id
    ticks = [{m.label for m in p.marks if m.label.startswith("K1")} for p in (low, high)]
    assert ticks[0] == ticks[1] and len(ticks[0]) >= 2
    laid = sum(shapely.Polygon(p.laid_outline_mm).area for p in made.pieces)
    assert laid == pytest.approx(REGION.area, abs=1.0)
    assert all("leading" not in e.name or e.treatment == "bevel" for e in low.edges)
    assert {e.name for e in low.edges} == {"root", "leading", "seam K1", "seam L1"}


def test_a_core_on_one_side_of_a_kink_is_cut_on_that_leaf_alone():
    face = TrapezoidFace(kinks=(Kink(1000.0, 4.0, 3.0, False),))
    region = shapely.box(1010, 0, 1500, 300)
    made = cut(region=region, face=face, raised=ByLeaf(1000.0))
    assert [p.id for p in made.pieces] == ["C1"] and made.seams == ()
    assert np.ptp(made.pieces[0].outline_mm, axis=0) == pytest.approx([491.47, 300], abs=1e-3)


def flipped(ring):
    return np.asarray(ring) * [1, -1]


def test_the_opposite_hand_has_the_mirrored_panels():
    mirror = TrapezoidFace(root=(300.0, -700.0), tip=(150.0, -450.0))
    ring = mirror.outline_mm[::-1]
    mirror.outline_mm = ring
    mirror.edges = tuple(
        replace(
            e, points_mm=flipped(next(f for f in FACE.edges if f.name == e.name).points_mm)[::-1]
        )
        for e in FACE.edges
    )
    spec = core(
        edges=(("", BEVEL), ("root", SQUARE), ("leading", Treatment("bevel", 30.0))),
        seams=(
            Seam("S1", SpanLine(700), Treatment("scarf", 20.0)),
            Seam("L1", ShareLine(0.4), SQUARE),
        ),
        cut_outs=(CutOut("H1", 1.0),),
    )
    block = shapely.box(400, 100, 520, 180)
    one = cut(spec, let_in={"H1": block}).pieces
    other = cut(
        spec,
        region=shapely.transform(REGION, flipped),
        face=mirror,
        let_in={"H1": shapely.transform(block, flipped)},
    ).pieces
    assert [p.id for p in one] == [p.id for p in other]
    for a, b in zip(one, other, strict=True):
        assert shapely.Polygon(flipped(a.outline_mm)).symmetric_difference(panel(b)).area < (
            sum(shapely.Polygon(h).area for h in a.holes_mm) + 0.2
        )
        assert shapely.transform(bag(a), flipped).symmetric_difference(bag(b)).area < 0.2
        assert {e.name for e in a.edges} == {e.name for e in b.edges}


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(150, 1850), min_size=1, max_size=3, unique=True),
    st.lists(st.floats(0.2, 0.8), max_size=1),
    st.sampled_from(["square", "scarf", "bevel"]),
)
def test_panels_and_holes_add_up_to_the_region(spans, shares, kind):
    spans = [s for i, s in enumerate(sorted(spans)) if i == 0 or s - sorted(spans)[i - 1] > 60]
    treatment = Treatment(kind, 90.0 if kind == "square" else 30.0)
    seams = [Seam(f"S{i}", SpanLine(float(s)), treatment) for i, s in enumerate(spans)]
    seams += [Seam(f"L{i}", ShareLine(s), treatment) for i, s in enumerate(shares)]
    block = shapely.box(600, 100, 720, 180)
    made = cut(core(seams=tuple(seams), cut_outs=(CutOut("H1", 1.0),)), let_in={"H1": block})
    total = sum(p.area_mm2 for p in made.pieces) + 122 * 82
    assert total == pytest.approx(REGION.area, abs=2.0)
    split = any(f.code == "slope-through-hole" for f in made.findings)
    for one in made.pieces:
        for other in made.pieces:
            if one is not other and not split:
                assert panel(one).intersection(panel(other)).area < 0.2
                if kind == "scarf":
                    assert bag(one).intersection(bag(other)).area < 0.2
