"""The pictures of the book: true places, true angles, honest scales, and no words over words."""

import math
from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest
from shapely import LineString, MultiPoint, Point, Polygon, box, unary_union

from plybook.drawing.bagview import _number, bag_plan_picture, bag_section_picture
from plybook.drawing.bookstart import _counted
from plybook.drawing.coreview import panel_picture
from plybook.drawing.frame import fit_frame, hatch
from plybook.drawing.layoutview import small_layout
from plybook.drawing.letters import text_box_mm
from plybook.drawing.locate import locate
from plybook.drawing.partview import part_picture, strain_picture
from plybook.drawing.rosette import rosette, rosette_items, show_angle
from plybook.drawing.scene import Circle, Path, Role, Text
from plybook.drawing.sectionview import best_section, section_picture
from plybook.drawing.stepview import detail_picture, step_picture
from plybook.drawing.zoneview import zone_picture
from plybook.laminate.model import SpliceInfo, Zone
from plybook.shop.model import BagPlan
from plybook.surface.model import StrainReport
from tests.drawing import doubles
from tests.surface.faces import face as surface_face
from tests.surface.faces import station as surface_station

FACE = doubles.TaperedFace()
LAMINATE = doubles.laminate(FACE)
PIECES = {p.id: p for p in LAMINATE.pieces}


def colliding(scene):
    """Pairs of words that lie over one another in a scene in paper millimetres."""
    texts = [item for item in scene.items if isinstance(item, Text)]
    boxes = [Polygon(text_box_mm(t)).buffer(-0.25) for t in texts]
    return [
        (a.text, b.text)
        for (a, pa), (b, pb) in combinations(zip(texts, boxes, strict=True), 2)
        if pa.intersects(pb)
    ]


def outside(scene):
    """What of a scene its window would cut off."""
    window = box(*scene.window_mm).buffer(0.05)
    return [item for item in scene.items if not window.covers(room_of(item))]


def room_of(item):
    if isinstance(item, Text):
        return Polygon(text_box_mm(item))
    if isinstance(item, Circle):
        return Point(item.centre_mm).buffer(item.radius_mm)
    return MultiPoint(item.points_mm)


STEPS = [
    (("P1-1", "P1-2"), 0), (("P2-1", "P2-2"), 1), (("R1",), 2), (("R3",), 4),
    (("C1-1", "C1-2"), 5), (("H1",), 6), (("Q1",), 7),
]  # fmt: skip


@pytest.mark.parametrize(("ids", "below"), STEPS, ids=lambda v: str(v))
@pytest.mark.parametrize("girth", [(1200.0, 760.0), (300.0, 240.0), (2500.0, 900.0)])
def test_no_words_lie_over_words_in_any_step_picture(ids, below, girth):
    face = doubles.TaperedFace(3800.0, *girth)
    laminate = doubles.laminate(face)
    pieces = [p for p in laminate.pieces if p.id in ids]
    corners = locate(face, pieces, "mm")
    cut = best_section(laminate, pieces[0].layer)
    scenes = [
        step_picture(face, pieces, laminate.layers[:below], cut.line_mm, corners),
        detail_picture(face, pieces, laminate.layers[:below], corners, 56.0, 40.0),
        section_picture(cut, laminate.layers[: below + 1], [pieces[0].layer], 140.0, 46.0),
    ]
    for scene in filter(None, scenes):
        assert colliding(scene) == []
        assert outside(scene) == []
        assert scene.window_mm[2] - scene.window_mm[0] <= 180.0


@pytest.mark.parametrize("wide", [0.05, 0.15, 0.3, 0.45])
@pytest.mark.parametrize("girth", [(670.0, 330.0), (560.0, 200.0), (460.0, 300.0)])
def test_letters_of_corners_at_the_ends_of_a_slim_part_stay_on_the_paper(girth, wide):
    """Root, tip and the corners' own letters leave little room beside a strip that runs through."""
    face = doubles.TaperedFace(6800.0, *girth)
    for beyond, middle in product((0.0, 22.0, 60.0), (0.4, 0.5, 0.6)):
        ring = face.quad(-beyond, 6800.0 + beyond, middle - wide / 2, middle + wide / 2)
        strip = doubles.piece("PS", "PS", "film", "m", 0.0, ring, "s", 0.1)
        corners = locate(face, [strip], "mm")
        assert len(corners) >= 3
        assert outside(step_picture(face, [strip], (), None, corners)) == []


def test_a_step_picture_keeps_proportion_and_the_right_way_up():
    scene = step_picture(FACE, [PIECES["R1"]], LAMINATE.layers[:2])
    (ring,) = [p.points_mm for p in scene.items if isinstance(p, Path) and p.tag == "R1"]
    true = PIECES["R1"].laid_outline_mm
    wide = np.ptp(ring[:, 0]) / np.ptp(true[:, 0])
    tall = np.ptp(ring[:, 1]) / np.ptp(true[:, 1])
    assert wide == pytest.approx(tall, rel=1e-9)
    words = {t.text: t.at_mm for t in scene.items if isinstance(t, Text)}
    assert words["LEADING EDGE"][1] > words["TRAILING EDGE"][1]
    assert words["ROOT"][0] < words["TIP"][0]


def test_this_step_differs_from_what_lies_below_by_more_than_colour():
    scene = step_picture(FACE, [PIECES["R2"]], LAMINATE.layers[:3])
    roles = {p.role for p in scene.items if isinstance(p, Path)}
    assert {Role.HIGHLIGHT, Role.HATCH, Role.GHOST, Role.FIBRE} <= roles
    assert any(t.role is Role.ID and t.text.startswith("R2") for t in scene.items
               if isinstance(t, Text))  # fmt: skip


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0, 90.0, -45.0, -60.0])
def test_the_fibre_arrow_and_the_hatch_run_at_the_plys_angle(angle):
    piece = doubles.piece("X", "X", "ply", "m", angle, FACE.quad(1000, 2800, 0.1, 0.9), "s", 0.2)
    scene = step_picture(FACE, [piece], ())
    shafts = [p for p in scene.items if isinstance(p, Path) and p.role is Role.FIBRE
              and not p.closed]  # fmt: skip
    hatching = [p for p in scene.items if isinstance(p, Path) and p.role is Role.HATCH]
    assert len(shafts) == 1 and len(hatching) > 10
    for line in (*shafts, *hatching):
        dx, dy = line.points_mm[-1] - line.points_mm[0]
        turn = math.degrees(math.atan2(dy, dx))
        assert abs((turn - angle + 90.0) % 180.0 - 90.0) < 1e-6


@pytest.mark.parametrize(
    ("angle", "words"),
    [(0, "0°"), (45, "+45°"), (-45, "-45°"), (90, "90°"), (-90, "90°"), (135, "-45°"),
     (180, "0°"), (22.5, "+22.5°"), (-0.0, "0°")],
)  # fmt: skip
def test_angles_are_said_within_a_half_turn(angle, words):
    assert show_angle(angle) == words


def test_the_rosette_counts_counter_clockwise():
    """Counter-clockwise ply-orientation clock of ASTM D6507: +45 points up and to the right."""
    at = {t.text: t.at_mm for t in rosette_items((0.0, 0.0), 10.0, None) if isinstance(t, Text)}
    assert at["+45°"][0] > 0 and at["+45°"][1] > 0
    assert at["-45°"][0] > 0 and at["-45°"][1] < 0
    assert at["0°"][0] > 10 and at["90°"][1] > 10


def test_corners_are_located_by_hand_worked_distances():
    """R3: share 0.18 to 0.42 of a trapezoid 1200 to 760 over 3800, ending at 0.34 of it. At
    1292 mm the chord is 1050.4; the corner at share 0.18 lies 0.18 x 1050.4 = 189.07 below the
    leading edge, which slopes 110 in 3800: 189.07 / sqrt(1 + (110 / 3800)^2) = 188.99."""
    corners = {c.letter: c for c in locate(FACE, [PIECES["R3"]], "mm")}
    assert len(corners) == 4
    assert corners["C"].first == "342 mm (13 7/16 in) tipward of STA 950"
    assert corners["C"].second == "189 mm (7 7/16 in) inside the leading edge"
    assert corners["A"].first == "on STA 0"


def test_a_corner_in_the_trim_is_beyond_its_edge():
    wide = FACE.quad(1000, 2000, -0.02, 0.5)
    corners = locate(FACE, [doubles.piece("X", "X", "ply", "m", 0, wide, "s", 0.2)], "in")
    assert any("beyond the leading edge" in c.second for c in corners)
    assert all(" in (" in c.first or c.first.startswith("on ") for c in corners)


def test_a_shared_corner_is_told_once_and_a_corner_of_the_face_not_at_all():
    corners = locate(FACE, [PIECES["P1-1"], PIECES["P1-2"]], "mm")
    assert [c.piece for c in corners] == ["P1-1, P1-2"] * 2


def test_drop_offs_end_where_they_end_and_the_scale_is_the_one_printed():
    cut = LAMINATE.sections[0]
    scene = section_picture(cut, LAMINATE.layers[:5], ["R3"], 180.0, 46.0)
    bands = [p.points_mm for p in scene.items if isinstance(p, Path) and p.closed]
    widths = sorted({round(float(np.ptp(b[:, 0])), 3) for b in bands})
    run = widths[-1]
    # R1..R3 end at 62, 48 and 34 % of the span; the section looks every 1/160 of it
    for share, width in zip((0.34, 0.48, 0.62), widths[:3], strict=True):
        assert width / run == pytest.approx(share, abs=1 / 160)
    (words,) = [t.text for t in scene.items if isinstance(t, Text) and "thickness" in t.text]
    factor = float(words.split("×")[1])
    thin = min(float(np.ptp(b[:, 1])) for b in bands)
    true = 0.25 * run / 3800.0  # 0.25 mm at the length scale
    assert thin / true == pytest.approx(factor, rel=1e-6)


def test_two_thickness_scales_are_both_said():
    scene = section_picture(LAMINATE.sections[0], LAMINATE.layers, ["Q1"], 140.0, 30.0)
    (words,) = [t.text for t in scene.items if isinstance(t, Text) and "thickness" in t.text]
    assert "plies ×" in words and "core ×" in words


def test_a_long_roll_runs_on_in_rows_and_each_piece_is_named():
    plan = doubles.cut_plan(LAMINATE)
    items = {i.id: i for i in plan.items}
    scene = small_layout(plan.layouts[0], items, "KT-210")
    words = [t.text for t in scene.items if isinstance(t, Text)]
    assert {"P1-1", "P1-2", "P2-1", "P2-2", "warp"} <= set(words)
    assert colliding(scene) == [] and outside(scene) == []
    assert scene.window_mm[3] <= 210.0


def test_the_part_is_seen_with_the_root_at_the_left_and_leading_edge_as_in_the_pattern():
    scene = part_picture(FACE)
    at = {t.text: t.at_mm for t in scene.items if isinstance(t, Text)}
    assert at["ROOT"][0] < at["TIP"][0]
    assert at["LEADING EDGE"][1] > at["TRAILING EDGE"][1]
    assert colliding(scene) == []


def test_names_of_edges_stay_on_the_picture_of_a_face_that_tapers_at_once():
    """Seen from aside a chord of 5.6 m beside one of 0.18 m stands on end: its edges have hardly
    room for their names."""
    made = surface_face(surface_station(0, 5643.6), surface_station(321.5, 177.8, twist=-1.5),
                        side="lower", hand="left")  # fmt: skip
    for scene in (part_picture(made), step_picture(made, (), ())):
        assert outside(scene) == []


def test_the_number_of_a_part_stays_on_the_picture_of_a_bar():
    """A piece of 60 mm at the start of a bar of 4 m, of another part with a long number."""
    plan = doubles.cut_plan(LAMINATE)
    unit = replace(plan.layouts[0].unit, kind="bar", width_mm=6.0, length_mm=4000.0,
                   outline_mm=None, bad_zones_mm=())  # fmt: skip
    ring = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 6.0], [0.0, 6.0]])
    rows = (("KT-210-LONG-R/K", 60.0, 0.0), ("KT-210/K", 3900.0, 70.0))
    items = {id: replace(plan.items[0], id=id, outline_mm=ring * (long, 1.0))
             for id, long, _ in rows}  # fmt: skip
    one = plan.layouts[0].placements[0]
    places = tuple(replace(one, item=id, copy=1, x_mm=at, y_mm=0.0, rotation_deg=0.0, flipped=False)
                   for id, _, at in rows)  # fmt: skip
    layout = replace(plan.layouts[0], unit=unit, placements=places)
    scene = small_layout(layout, items, "KT-210")
    assert "KT-210-LONG-R" in [t.text for t in scene.items if isinstance(t, Text)]
    assert outside(scene) == []


def test_strain_is_shown_where_it_is_and_not_where_there_is_none():
    assert strain_picture(FACE, FACE.strain) is not None
    none = StrainReport(0, 0, 0, True, 0.5, 4, FACE.strain.nodes_mm, FACE.strain.faces, np.zeros(4))
    assert strain_picture(FACE, none) is None


def bag():
    ring = FACE.outline_mm
    grown = [np.asarray(Polygon(ring).buffer(d, join_style="mitre").exterior.coords)[:-1]
             for d in (25, 40, 60, 120)]  # fmt: skip
    return BagPlan(
        "outer", "infusion",
        (("laminate", ring), ("peel_ply", grown[0]), ("breather", grown[1]),
         ("bag_film", grown[3])),
        grown[2], 9800.0, grown[2][:3],
        (("resin line", np.array([[100.0, -250.0], [3600.0, -200.0]])),),
        (("vacuum port", 3750.0, 0.0), ("gauge", 40.0, 0.0)), (),
        ("mould", "laminate", "peel_ply", "breather", "bag_film"),
    )  # fmt: skip


def test_the_bag_is_shown_from_above_and_in_section():
    plan, section = bag_plan_picture(FACE, bag()), bag_section_picture(bag())
    for scene in (plan, section):
        assert colliding(scene) == [] and outside(scene) == []
    words = [t.text for t in plan.items if isinstance(t, Text)]
    assert "sealant tape, 9.8 m" in words and "vacuum port" in words
    order = [t.text for t in section.items if isinstance(t, Text) and t.text[0].isdigit()]
    assert order == ["1  laminate", "2  peel ply", "3  breather", "4  bag film"]


def test_a_frame_fits_and_centres():
    frame = fit_frame((0.0, 0.0, 100.0, 50.0), (10.0, 10.0, 60.0, 110.0))
    assert frame.scale == 0.5
    corners = frame.put(np.array([[0.0, 0.0], [100.0, 50.0]]))
    assert corners == pytest.approx(np.array([[10.0, 47.5], [60.0, 72.5]]))


def test_hatching_lines_up_across_neighbours():
    left, right = box(0, 0, 10, 10), box(10, 0, 20, 10)
    ends = {tuple(np.round(p.points_mm[-1], 6)) for p in hatch(left, 0.0, 2.0)}
    starts = {tuple(np.round(p.points_mm[0], 6)) for p in hatch(right, 0.0, 2.0)}
    assert ends == starts


def test_the_bare_face_is_shown_whole_with_its_stations_and_edges():
    for face in (FACE, doubles.TaperedFace(4000.0, 300.0, 240.0)):
        scene = step_picture(face, (), ())
        words = [t.text for t in scene.items if isinstance(t, Text)]
        assert {"ROOT", "TIP", "LEADING EDGE", "TRAILING EDGE"} <= set(words)
        assert {s.label for s in face.station_lines} <= set(words)
        assert colliding(scene) == [] and outside(scene) == []


def test_the_fibre_arrow_keeps_clear_of_words_letters_and_the_other_pieces():
    """The length in the clear: of two spliced pieces none has its arrow on the splice."""
    pieces = [PIECES["P1-1"], PIECES["P1-2"]]
    scene = step_picture(FACE, pieces, (), None, locate(FACE, pieces, "mm"))
    shafts = [LineString(p.points_mm) for p in scene.items
              if isinstance(p, Path) and p.role is Role.FIBRE and not p.closed]  # fmt: skip
    assert len(shafts) == 2
    outlines = [LineString(np.vstack([p.points_mm, p.points_mm[:1]])) for p in scene.items
                if isinstance(p, Path) and p.tag in PIECES]  # fmt: skip
    words = [Polygon(text_box_mm(t)) for t in scene.items if isinstance(t, Text)]
    dots = [Point(c.centre_mm).buffer(c.radius_mm) for c in scene.items if isinstance(c, Circle)]
    for shaft in shafts:
        assert min(shaft.distance(o) for o in outlines) > 1.0
        assert not any(shaft.intersects(shape) for shape in (*words, *dots))


def test_a_corner_on_the_neighbour_laid_before_is_left_to_the_overlap_line():
    first, second = PIECES["P1-1"], PIECES["P1-2"]
    back = np.where(second.laid_outline_mm[:, :1] < 2100.0, -30.0, 0.0)  # 30 mm onto the first
    lapped = replace(
        second,
        laid_outline_mm=second.laid_outline_mm + np.hstack([back, 0.0 * back]),
        splice=SpliceInfo(2, 2, "overlap", 30.0, (first.id,)),
    )
    assert [c.piece for c in locate(FACE, [first, lapped], "mm")] == [first.id] * 2
    butted = replace(lapped, splice=SpliceInfo(2, 2, "butt", 0.0, (first.id,)))
    assert len(locate(FACE, [first, butted], "mm")) == 4


def test_a_film_is_seen_on_the_stack_only_where_it_lies():
    cut = LAMINATE.sections[0]
    film = replace(
        LAMINATE.layers[0], id="F1", kind="film", thickness_mm=0.0,
        region=box(-1e4, -1e4, float(np.mean(cut.line_mm[:, 0])), 1e4),
    )  # fmt: skip
    scene = section_picture(cut, (*LAMINATE.layers[:2], film), ["F1"], 180.0, 46.0)
    (ring,) = [p.points_mm for p in scene.items if isinstance(p, Path) and p.role is Role.HIGHLIGHT]
    below = [p.points_mm for p in scene.items
             if isinstance(p, Path) and p.closed and p.role is Role.DIMENSION]  # fmt: skip
    longest = max(float(np.ptp(b[:, 0])) for b in below)
    assert np.ptp(ring[:, 0]) / longest == pytest.approx(0.5, abs=1 / 100)
    assert ring[:, 1].min() >= max(b[:, 1].max() for b in below) - 1e-6
    assert any(isinstance(t, Text) and t.text.startswith("F1") for t in scene.items)


def test_what_is_laid_over_a_film_lies_on_it_and_does_not_hide_it():
    cut = LAMINATE.sections[0]
    film = replace(
        LAMINATE.layers[0], id="F1", kind="film", thickness_mm=0.0,
        region=box(-1e4, -1e4, 1e4, 1e4),
    )  # fmt: skip
    plies = LAMINATE.layers[:2]
    for above in (plies, plies[:1]):
        scene = section_picture(cut, (film, *above), ["F1"], 180.0, 46.0)
        rings = [p for p in scene.items if isinstance(p, Path) and p.closed]
        (under,) = [Polygon(p.points_mm) for p in rings if p.role is Role.HIGHLIGHT]
        over = [Polygon(p.points_mm) for p in rings if p.role is Role.DIMENSION]
        assert len(over) >= len(above)
        assert max(under.intersection(o).area for o in over) < 0.01 * under.area


def test_a_panel_to_be_sawn_says_of_each_edge_how_it_is_cut():
    scene = panel_picture(PIECES["C1-1"], "mm")
    words = [t.text for t in scene.items if isinstance(t, Text)]
    assert "LEADING EDGE · bevel 45°" in words and "TRAILING EDGE · bevel 45°" in words
    assert any("SQUARE" in w and "meets C1-2" in w for w in words)
    # a 45 degree slope is as wide as the sheet is thick
    thick = PIECES["C1-1"].thickness_mm
    assert f"{thick:g} mm deep, {thick:g} mm wide" in words and "SQUARE - NO BEVEL" in words
    assert colliding(scene) == [] and outside(scene) == []
    rims = [p for p in scene.items if isinstance(p, Path) and p.role is Role.BEVEL]
    assert len(rims) == sum(e.treatment == "bevel" for e in PIECES["C1-1"].edges)
    # a slope drawn after the double line of a seam would hide its end
    roles = [p.role for p in scene.items if isinstance(p, Path)]
    assert max(k for k, role in enumerate(roles) if role is Role.BEVEL) < roles.index(Role.SEAM)


def test_two_shallow_slopes_are_told_side_by_side_in_fractions():
    """10.3 mm at 5.9 degrees and at 6: "13/32 in deep, 3 15/16 in wide" twice."""
    panel = replace(PIECES["C1-1"], thickness_mm=10.3)
    edges = [replace(edge, treatment="scarf", angle_deg=5.9 + 0.1 * (k % 2))
             for k, edge in enumerate(panel.edges)]  # fmt: skip
    scene = panel_picture(replace(panel, edges=tuple(edges)), "in")
    words = [t.text for t in scene.items if isinstance(t, Text)]
    assert sum(w.startswith("13/32 in deep, 3 ") for w in words) == 2
    assert colliding(scene) == [] and outside(scene) == []


def zone(label, region):
    return Zone(label, region, ("P1",), "[45]", 0.25, 1.0, True, True, None, region.area / 1e6)


def test_every_zone_is_named_once_at_least_however_small_it_is():
    x1 = float(FACE.outline_mm[:, 0].max())
    whole = Polygon(FACE.outline_mm)
    slivers = [box(500 + 40 * k, -420, 520 + 40 * k, -380) for k in range(6)]
    large = whole.difference(unary_union(slivers))
    halves = [large & box(-1e3, -1e4, x1 / 2, 1e4), large & box(x1 / 2, -1e4, x1 + 1e3, 1e4)]
    zones = [zone(f"Z{k}", region) for k, region in enumerate([*halves, *slivers], start=1)]
    scene = zone_picture(FACE, zones)
    words = [t.text for t in scene.items if isinstance(t, Text)]
    assert {z.label for z in zones} <= set(words)
    assert colliding(scene) == [] and outside(scene) == []
    dots = [c.centre_mm for c in scene.items if isinstance(c, Circle)]
    assert len(dots) == 6  # the slivers are called out


def test_what_is_told_with_a_number_is_added_up_over_the_book():
    told = ["scale", "cups and sticks (7)", "tape (12.9 m)", "cups and sticks (8)"]
    assert _counted(told, told) == ["scale", "cups and sticks (15)", "tape (12.9 m)"]


def test_all_corners_of_a_piece_about_the_middle_are_told_from_the_same_edge():
    """A tape is hooked on one edge: half-way between two, none is nearer for every corner."""
    middle = float(FACE.outline_mm[:, 1].mean())
    ring = np.array([[1800, -90], [2000, -90], [2000, 90], [1800, 90]]) + (0.0, middle)
    piece = doubles.piece("X", "X", "ply", "m", 0.0, ring, "s", 0.2)
    edges = {c.second.split(" inside ")[1] for c in locate(FACE, [piece], "mm")}
    assert len(edges) == 1


def test_numbers_on_the_outlines_of_a_slim_bag_do_not_lie_on_one_another():
    """Dots of 1.9 mm radius: two that touch are 3.8 mm apart."""
    taken = [np.array([60.0, 2.0])]  # a port
    slim = np.array([[0.0, 0.0], [120.0, 0.0], [120.0, 4.0], [0.0, 4.0]])
    for number in range(1, 15):
        _number(slim + [0.0, 0.01 * number], number, 3, taken)
    for k, at in enumerate(taken):
        assert all(np.hypot(*(at - other)) > 3.8 for other in taken[:k])


def test_a_rosette_is_as_wide_as_its_words():
    drawn = rosette(12.5)
    words = [text_box_mm(item) for item in drawn.items if isinstance(item, Text)]
    assert max(box[:, 0].max() for box in words) <= drawn.window_mm[2] + 1e-9
