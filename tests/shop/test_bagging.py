"""Bags worked by hand: sizes, tape with pleats, lines off the core."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity

from plybook.shop import plan_work
from plybook.shop.bagging import (
    margins,
    narrow_flanges,
    pleat_places,
)
from plybook.shop.infusion import edge_lines, flow_length_mm, flow_mesh
from plybook.shop.job import make_job
from plybook.shop.outlines import ring_length_mm
from plybook.spec import model as s
from tests.shop import parts
from tests.shop.parts import box


def bags(part=parts.skin, **more):
    return {bag.stage: bag for bag in plan_work(*part(**more)).bags}


def test_pleats_of_a_rectangle():
    """1150 x 650: four corners, and between them one more on every side (pitch 600)."""
    places = pleat_places(box(0, 0, 1150, 650))
    assert len(places) == 8
    assert {tuple(p) for p in places} == {
        (0.0, 0.0), (575.0, 0.0), (1150.0, 0.0), (1150.0, 325.0), (1150.0, 650.0),
        (575.0, 650.0), (0.0, 650.0), (0.0, 325.0),
    }  # fmt: skip


def test_pleats_of_a_circle_keep_the_pitch():
    """Without corners pleats still come about every 600 mm or closer."""
    ring = np.asarray(shapely.Point(0, 0).buffer(1000, quad_segs=64).exterior.coords)[:-1]
    places = pleat_places(ring)
    assert len(places) == 11  # 6283 / 600, rounded up
    gaps = np.linalg.norm(places - np.roll(places, 1, axis=0), axis=1)
    assert gaps.max() < 600


def test_tape_of_the_skin_by_hand():
    """Laminate 2440 x 840, tape 80 outside: 2600 x 1000, 7200 round; 14 pleats of 2 x 60."""
    bag = bags()["skin"]
    assert ring_length_mm(bag.tape_mm) == pytest.approx(7200.0)
    assert len(bag.pleats_mm) == 14  # 5 spaces along, 2 across, twice
    assert bag.tape_length_mm == pytest.approx(7200.0 + 14 * 120.0)


def test_cut_sizes_of_the_skin_by_hand():
    """Peel ply 25 beyond, breather 2 in and release film 1 in beyond (FAA AC 43.13-1B 3-4:
    bleeder 2 to 3 in beyond the patch, parting film 1 in smaller), rounded up to 10 mm."""
    cuts = {cut.role: cut for cut in bags()["skin"].cuts}
    assert (cuts["peel_ply"].length_mm, cuts["peel_ply"].width_mm) == (2490.0, 890.0)
    assert (cuts["release_film"].length_mm, cuts["release_film"].width_mm) == (2500.0, 900.0)
    assert (cuts["breather"].length_mm, cuts["breather"].width_mm) == (2550.0, 950.0)
    # bag: 2720 x 1120 over the tape's outside, and the pleats shared out over the perimeter
    film = cuts["bag_film"]
    extra = 14 * 120.0 / (2 * (2720 + 1120))
    assert film.length_mm == pytest.approx(2720 * (1 + extra), abs=10.0)
    assert film.length_mm >= 2720 * (1 + extra)
    assert film.width_mm >= 1120 * (1 + extra)


def narrow(role, roll):
    """The cuts of one thing for the skin, off a roll of a width."""
    card = replace(parts.PEEL, role=role, roll_width_mm=roll)
    materials = replace(parts.MATERIALS, consumables={"narrow": card})
    return [c for c in bags(materials=materials)["skin"].cuts if c.role == role]


def test_a_narrow_roll_is_joined_from_whole_widths_and_what_is_left():
    """2490 x 890 of peel ply off a 500 mm roll, lapped 50: a whole width, and 440 beside it; off
    a roll of 340 two whole ones and 310."""
    first, last = narrow("peel_ply", 500.0)
    assert (first.count, first.length_mm, first.width_mm) == (1, 2490.0, 500.0)
    assert (last.count, last.length_mm, last.width_mm) == (1, 2490.0, 440.0)
    assert "the first of 2 widths, lapped 50 mm" in first.where
    assert "the second of 2 widths" in last.where
    first, last = narrow("peel_ply", 340.0)
    assert (first.count, last.count, last.width_mm) == (2, 1, 310.0)
    assert "2 of 3 widths" in first.where and "the last of 3 widths" in last.where
    assert 2 * 340.0 + 310.0 - 2 * 50.0 == 890.0


def test_a_strip_beside_a_whole_width_is_no_ribbon():
    """890 less a width of 800 and the lap leaves 140: 150 is the least that is laid."""
    (_, last) = narrow("peel_ply", 800.0)
    assert last.width_mm == 150.0


def test_a_roll_that_is_wide_enough_one_way_needs_no_lap():
    (cut,) = narrow("peel_ply", 900.0)
    assert (cut.count, cut.length_mm, cut.width_mm) == (1, 2490.0, 890.0)


def test_widths_of_bag_film_are_joined_with_sealant_tape():
    """One lap as long as the bag is more tape than the same bag of one width."""
    wide = next(c for c in bags()["skin"].cuts if c.role == "sealant_tape")
    film = narrow("bag_film", 800.0)
    assert len(film) == 2 and "with sealant tape between" in film[0].where
    materials = replace(
        parts.MATERIALS,
        consumables={"film": replace(parts.PEEL, role="bag_film", roll_width_mm=800.0)},
    )
    tape = next(c for c in bags(materials=materials)["skin"].cuts if c.role == "sealant_tape")
    assert tape.length_mm == pytest.approx(wide.length_mm + film[0].length_mm)


def test_outlines_lie_inside_each_other():
    """Laminate, release film, breather, tape, bag: each inside the next."""
    for bag in bags().values():
        shape = {role: shapely.Polygon(ring) for role, ring in bag.outlines}
        rings = [shape["laminate"], shape["release_film"], shape["breather"],
                 shapely.Polygon(bag.tape_mm), shape["bag_film"]]  # fmt: skip
        for inner, outer in zip(rings, rings[1:], strict=False):
            assert outer.contains(inner)


@pytest.mark.parametrize("part", [parts.hatch, parts.skin, parts.spar])
def test_ports_and_lines_stay_off_the_laminate(part):
    """Nothing heavy lies on the laminate, let alone on its core; all is inside the tape."""
    for bag in bags(part).values():
        laid = shapely.Polygon(dict(bag.outlines)["laminate"])
        tape = shapely.Polygon(bag.tape_mm)
        for _, x, y in bag.ports:
            assert not laid.intersects(shapely.Point(x, y)) and tape.contains(shapely.Point(x, y))
        for _, line in bag.lines:
            assert not laid.intersects(shapely.LineString(line))
            assert tape.contains(shapely.LineString(line))


def test_gauge_stands_opposite_the_vacuum_port():
    """The gauge goes to the side opposite the port (FAA AC 43.13-1B p. 3-8)."""
    ports = {name: (x, y) for name, x, y in bags()["skin"].ports}
    assert ports["vacuum port"][0] < 0 < 2400 < ports["gauge"][0]


def test_flow_mesh_stops_short_of_the_vacuum_edge():
    """A strip of 40 mm along the vacuum edge stays bare; the resin runs across the part."""
    bag = bags(parts.spar)["dry"]
    mesh = shapely.Polygon(dict(bag.outlines)["flow_mesh"])
    assert mesh.bounds[3] == pytest.approx(230 - 40)
    # 240 mm of laminate, lines 15 and 35 outside it
    assert flow_length_mm(bag) == pytest.approx(290.0, abs=15.0)


def stack_numbers(bag):
    from plybook.drawing.bagview import bag_plan_picture, bag_section_picture
    from plybook.drawing.scene import Text

    pictures = (bag_plan_picture(parts.PlaneFace(3000.0, 200.0), bag), bag_section_picture(bag))
    return [
        {i.text.replace(" with its core", "") for i in scene.items
         if isinstance(i, Text) and i.text[:1].isdigit() and " " in i.text}
        for scene in pictures
    ]  # fmt: skip


@pytest.mark.parametrize("part", [parts.hatch, parts.skin, parts.spar])
def test_both_sketches_number_the_layers_alike(part):
    """What is 3 from above is 3 in section; the core is numbered where it lies open only."""
    for bag in bags(part).values():
        above, section = ({" ".join(t.split()) for t in texts} for texts in stack_numbers(bag))
        assert above == section and above


def test_hoses_by_hand():
    """Bagged: 1.5 m from port to trap. Infused: two hoses of 1.5 m, the resin line along the lower
    side of 3040 x 240 and the vacuum line along the upper one, each short of the ends by 50 mm."""
    cut = next(c for c in bags()["skin"].cuts if c.role == "hose")
    assert (cut.length_mm, cut.unit, cut.where) == (
        1500.0,
        "m",
        "port to trap, hung off the laminate",
    )
    bag = bags(parts.spar)["dry"]
    hose = next(c for c in bag.cuts if c.role == "hose")
    # lines stand 15 and 35 mm out, so they are 3070 and 3110 long and turn up round the ends
    low, high = 2 * 1500 + 3070 + 3110 - 4 * 50 - 1, 2 * 1500 + 3070 + 3110 + 2 * 240
    assert low < hose.length_mm < high
    assert "core" in hose.where


def test_peel_ply_over_rods_is_cut_in_strips():
    """Two rods of 3000 x 10 far apart, 25 mm round each: two strips of 3050 x 60, not one sheet."""
    bag = plan_work(*parts.two_caps()).bags[1]
    cut = next(c for c in bag.cuts if c.role == "peel_ply")
    assert (cut.count, cut.length_mm, cut.width_mm) == (2, 3050.0, 60.0)
    assert cut.amount == pytest.approx(2 * 3.05 * 0.06)
    assert sum(role == "peel_ply" for role, _ in bag.outlines) == 2


def job_with(*edges):
    spec, face, lam, plan = parts.skin(edges=edges)
    return make_job(spec, face, lam, plan)[0]


def test_margins_follow_a_narrow_flange():
    """Flange 60, trim 15, tape 12 wide: the tape lies 33 outside the laminate, the breather ends
    15 before it; the usual 80 and 2 in without a flange."""
    room = margins(job_with(s.EdgeRule("leading", 15.0, 60.0), s.EdgeRule("tip", 15.0, 120.0)))
    assert (room.tape, room.breather, room.peel_ply) == (33.0, 18.0, 18.0)
    assert 0 < room.release_film <= room.breather
    usual = margins(job_with(s.EdgeRule("leading", 15.0)))
    assert (usual.tape, usual.breather, usual.release_film, usual.peel_ply) == pytest.approx(
        (80.0, 50.8, 25.4, 25.0)
    )


def test_a_flange_too_narrow_for_the_tape_is_said():
    """Trim 15 + 20 + tape 12 want 47 mm; a flange of 40 has not got them."""
    job = job_with(s.EdgeRule("leading", 15.0, 40.0), s.EdgeRule("tip", 15.0, 60.0))
    found = narrow_flanges(job)
    assert [f.code for f in found] == ["narrow-flange"]
    assert "leading" in found[0].message and "47 mm" in found[0].message


def test_on_a_part_narrower_than_the_bare_strip_the_mesh_still_covers_most():
    """30 mm of laminate cannot leave 40 mm bare: a third is left bare, the mesh is 20 mm wide."""

    edge = shapely.LineString([(0, 30), (400, 30)])
    mesh = flow_mesh(shapely.box(0, 0, 400, 30), edge)
    assert mesh.bounds == pytest.approx((0, 0, 400, 20))


def test_a_port_gets_a_pad_where_the_breather_is_too_narrow_for_it():
    """Flange 60, trim 15: 18 mm of breather beyond the laminate hold no port 40 mm wide."""

    def words(**more):
        shop = plan_work(*parts.skin(**more))
        step = next(x for st in shop.stages for x in st.steps if x.name == "bag")
        return " ".join(step.text)

    assert "pad of breather" in words(edges=(s.EdgeRule("leading", 15.0, 60.0),))
    assert "pad of breather" not in words()


def lines_of(shape, tape_mm=90.0):
    resin, vacuum, _ = edge_lines(shape, tape_mm)
    return shapely.LineString(resin), shapely.LineString(vacuum)


def test_infusion_lines_of_a_rectangle_lie_along_its_long_sides():
    """930 x 630: each line ends 50 mm short of the corners, 15 and 35 mm outside."""
    resin, vacuum = lines_of(shapely.box(0, 0, 930, 630))
    assert resin.length == pytest.approx(930 + 2 * 15 - 100, abs=1)
    assert vacuum.length == pytest.approx(930 + 2 * 30 - 100, abs=12)
    assert resin.bounds[3] < 0 and vacuum.bounds[1] > 630
    assert resin.distance(vacuum) > 630


@pytest.mark.parametrize("turn_deg", [0, 30, 90, 135])
@pytest.mark.parametrize(
    "shape",
    [
        shapely.box(0, 0, 2000, 600),
        shapely.Polygon([(0, -350), (4000, 100), (4000, 400), (0, 700)]),  # a tapered skin
        shapely.Polygon([(0, 0), (1500, 300), (0, 400)]),  # runs to a point
        shapely.Point(0, 0).buffer(400),
        shapely.Polygon([(0, 0), (1000, 0), (500, 860)]),  # no long side but one
        shapely.Polygon([(0, 0), (1000, 0), (505, 860), (495, 860)]),
    ],
    ids=["rectangle", "taper", "point", "disc", "triangle", "blunt triangle"],
)
def test_infusion_lines_face_one_another_and_never_meet(shape, turn_deg):
    shape = shapely.affinity.rotate(shape, turn_deg)
    resin, vacuum = lines_of(shape)
    box_sides = sorted(_box_sides(shape))
    across, along = box_sides[0], box_sides[-1]
    assert resin.distance(vacuum) > 0.2 * across
    for line in (resin, vacuum):
        assert 0.25 * along < line.length < 1.1 * along
        assert line.distance(shape) > 0


def _box_sides(shape):
    corners = np.asarray(shape.minimum_rotated_rectangle.exterior.coords)
    return np.hypot(*np.diff(corners, axis=0).T)
