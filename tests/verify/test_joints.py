"""The proof of joints: overlaps and butts on the cut outlines, from end to end."""

import copy
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate import lay_up
from plybook.plan import joint_row, piece_row
from plybook.spec.model import (
    AtShare,
    Core,
    Inset,
    NacaSection,
    OnPattern,
    OutlineMould,
    Ply,
    Polygon,
    SpliceRule,
    Station,
    StationMould,
    Treatment,
    Whole,
)
from plybook.surface import build_face
from plybook.verify.joints import check_joints
from plybook.verify.report import Report
from tests.laminate.doubles import cloth, spec

ALL_ALONG = "splices with the overlap they state all along"


def plan_of(given):
    laminate = lay_up(given, build_face(given))
    assert not [f for f in laminate.findings if f.severity.value == "error"]
    return {
        "pieces": [piece_row(piece) for piece in laminate.pieces],
        "joints": [joint_row(joint) for joint in laminate.joints],
        "seam words": [w for p in laminate.pieces for w in p.notes if w.startswith("seam ")],
    }


def proved(plan):
    report = Report("")
    check_joints(plan, report)
    return report


@pytest.fixture(scope="module")
def over_a_bevel():
    """Two strips across the end of a core, their overlap along its bevel."""
    bevel = (("", Treatment("bevel", 45.0)),)
    corners = ((60.0, 60.0), (585.0, 60.0), (585.0, 240.0), (60.0, 240.0))
    region = Polygon(tuple(OnPattern(x, y) for x, y in corners))
    core = Core("C", "foam", "s", region, thickness_mm=10.0, edges=bevel)
    layers = [core, Ply("B", "twill", "s", Whole(), angle_deg=90.0)]
    ring = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 300.0], [0.0, 300.0]])
    mould = OutlineMould(ring, (), (("bottom", 0, 1), ("right", 1, 2), ("top", 2, 3),
                                    ("left", 3, 0)))  # fmt: skip
    given = spec(layers, {}, mould=mould)
    narrow = {"twill": cloth(roll=620.0, usable=600.0)}
    return plan_of(replace(given, materials=replace(given.materials, cloths=narrow)))


def test_an_overlap_on_a_bevel_is_measured_as_it_is_cut(over_a_bevel):
    plies = [piece for piece in over_a_bevel["pieces"] if piece["kind"] == "ply"]
    one, two = (np.array(piece["outline_mm"]) for piece in plies)
    assert one[:, 0].max() - two[:, 0].min() == pytest.approx(25.0, abs=0.001)
    middle = shapely.LineString([[-10.0, 150.0], [1010.0, 150.0]])
    laid = [shapely.Polygon(piece["laid_outline_mm"]) for piece in plies]
    shared = laid[0].intersection(laid[1]).intersection(middle).length
    assert shared < 24.0  # a slope is longer than its plan
    report = proved(over_a_bevel)
    assert not report.faults and report.proofs[ALL_ALONG] == 1


@pytest.mark.parametrize("by_mm", [-0.5, 0.5])
def test_a_splice_cut_askew_is_caught(over_a_bevel, by_mm):
    """One end of one strip's side is moved: the overlap is right in the middle only."""
    plan = copy.deepcopy(over_a_bevel)
    piece = next(p for p in plan["pieces"] if p["id"] == "B.2")
    (edge,) = (e for e in piece["edges"] if e["name"].startswith("splice"))
    corner = max(edge["points_mm"], key=lambda point: point[1])
    for ring in (piece["outline_mm"], *(e["points_mm"] for e in piece["edges"])):
        ring[:] = [[x + by_mm, y] if [x, y] == corner else [x, y] for x, y in ring]
    (fault,) = proved(plan).faults
    assert "splice B.1 to B.2" in fault and "stated 25.00" in fault


def test_a_tape_narrower_than_its_overlap_is_spliced_askew():
    """A tape 15 mm wide at 45 degrees: 21 mm of each side lie along the warp, the overlap is 25,
    so the sides lie past one another; every part still meets the next one."""
    corners = ((50.0, 50.0), (1950.0, 50.0), (1950.0, 65.0), (50.0, 65.0))
    tape = Ply("T", "twill", "s", Polygon(tuple(OnPattern(*at) for at in corners)), angle_deg=45.0)
    ring = np.array([[0.0, 0.0], [2000.0, 0.0], [2000.0, 300.0], [0.0, 300.0]])
    mould = OutlineMould(ring, (), (("bottom", 0, 1), ("right", 1, 2), ("top", 2, 3),
                                    ("left", 3, 0)))  # fmt: skip
    given = spec([tape], {}, mould=mould)
    narrow = {"twill": cloth(roll=620.0, usable=600.0)}
    plan = plan_of(replace(given, materials=replace(given.materials, cloths=narrow)))
    ids = [piece["id"] for piece in plan["pieces"]]
    assert len(ids) >= 3
    for k, piece in enumerate(plan["pieces"]):
        assert piece["splice"]["neighbours"] == ids[max(k - 1, 0) : k] + ids[k + 1 : k + 2]
    report = proved(plan)
    assert not report.faults and report.proofs[ALL_ALONG] == len(ids) - 1
    first = plan["pieces"][0]
    (edge,) = (e for e in first["edges"] if e["name"].startswith("splice"))
    end = {tuple(point) for point in edge["points_mm"]}
    for line in (first["outline_mm"], *(e["points_mm"] for e in first["edges"])):
        line[:] = [[x + 0.5, y] if (x, y) in end else [x, y] for x, y in line]
    (fault,) = proved(plan).faults
    assert "stated 25.00" in fault


# ---------------------------------------------------------------- at a break of the face

EDGES = ("leading", "trailing", "root", "tip")
CLOSED = "joints at a break closed all along"
TRUE = "joints at a break of their true length and bow"
BUTT = SpliceRule("butt", 0.0, 50.0, 100.0)


def broken(layers, stations, hand="right", roll=6020.0):
    mould = StationMould(tuple(stations), "upper", 0.0, 1.0, "female", "ruled", EDGES, ())
    given = spec(layers, dict.fromkeys(EDGES, 10.0), mould=mould, axis=AtShare(0.3))
    wide = {"twill": cloth(roll=roll, usable=roll - 20.0)}
    given = replace(given, materials=replace(given.materials, cloths=wide))
    return plan_of(replace(given, part=replace(given.part, hand=hand)))


def stations(*rows):
    """Rows of span, chord, sweep and rise, all of one section."""
    return [Station(*row, 0.0, 0.25, NacaSection("2412")) for row in rows]


DIHEDRAL = stations((0.0, 1000.0, 0.0, 0.0), (1500.0, 1000.0, 0.0, 50.0),
                    (3000.0, 1000.0, 0.0, 400.0))  # fmt: skip
CRANKED = stations((0.0, 1200.0, 0.0, 0.0), (1500.0, 1000.0, 60.0, 50.0),
                   (3000.0, 600.0, 300.0, 400.0))  # fmt: skip


@pytest.fixture(scope="module")
def butted():
    """One butted ply over a break of the dihedral."""
    return broken([Ply("P1", "twill", "s", Whole(), angle_deg=45.0, splice=BUTT)], DIHEDRAL)


def of(plan, name):
    return next(piece for piece in plan["pieces"] if piece["id"] == name)


def kink_side(piece):
    (edge,) = (e for e in piece["edges"] if e["name"] == "kink 1")
    return edge


def gaps_in_space(plan, joint):
    """The joint measured once more, by the face that the pieces were made from."""
    sides = [np.array(side.get("meets_mm", side["on_part_mm"])) for side in joint["sides"]]
    return np.linalg.norm(sides[0] - sides[1], axis=1)


def test_a_butt_at_a_break_is_closed_and_proved(butted):
    report = proved(butted)
    assert not report.faults and report.proofs[CLOSED] == 1 and report.proofs[TRUE] == 2
    (joint,) = butted["joints"]
    assert gaps_in_space(butted, joint).max() < 0.01
    assert len(joint["sides"][0]["line_mm"]) > 50


def with_side(piece, points):
    """Changes a piece's side at the break; its corners and the rest of its outline stay."""
    edge, outline = kink_side(piece), piece["outline_mm"]
    first, last = (edge["points_mm"][k] for k in (0, -1))
    start = outline.index(last)
    ring = outline[start:] + outline[:start]
    edge["points_mm"] = [first, *points[1:-1], last]
    piece["outline_mm"] = [*ring[: ring.index(first) + 1], *points[1:-1]]


def test_an_outer_piece_cut_on_the_line_of_the_inner_is_caught(butted):
    plan = copy.deepcopy(butted)
    inner, outer = of(plan, "P1.1"), of(plan, "P1.2")
    with_side(outer, kink_side(inner)["points_mm"][::-1])
    (fault,) = proved(plan).faults
    assert "kink 1, P1.1 to P1.2" in fault and "stated 0.00" in fault
    # and if the proof is forged along with it, its line is not the one on the part
    side, other = plan["joints"][0]["sides"][1], plan["joints"][0]["sides"][0]
    side["line_mm"] = other["line_mm"]
    side["beside_mm"] = [[x + 60.0, y] for x, y in other["line_mm"]]
    faults = proved(plan).faults
    assert any("not what it is on the part" in fault for fault in faults), faults


def test_pieces_that_meet_on_two_lines_of_the_part_are_caught(butted):
    plan = copy.deepcopy(butted)
    side = plan["joints"][0]["sides"][1]
    for key in ("on_part_mm", "beside_on_part_mm"):
        side[key] = [[x, y, z + 0.5] for x, y, z in side[key]]
    (fault,) = proved(plan).faults
    assert "0.50 mm apart on the part" in fault


@pytest.mark.parametrize(
    "wrong",
    [
        lambda at, length: 0.0015 * at,  # all of it too long, by 0.15 %
        lambda at, length: 0.3 * (at > length / 2),  # a third of a millimetre at one place
    ],
)
def test_a_joint_that_is_not_as_long_as_on_the_part_is_caught(butted, wrong):
    plan = copy.deepcopy(butted)
    side = plan["joints"][0]["sides"][1]
    line = np.array(side["line_mm"])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    way = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    off = np.outer(wrong(along, along[-1]), way)
    for key in ("line_mm", "beside_mm"):
        side[key] = (np.array(side[key]) + off).tolist()
    assert any("not what it is on the part" in fault for fault in proved(plan).faults)


@pytest.mark.slow
@pytest.mark.parametrize("hand", ["left", "right"])
def test_overlaps_and_panels_over_a_crank_keep_what_they_state(hand):
    region = Inset(tuple((edge, 100.0) for edge in EDGES))
    bevel = (("", Treatment("bevel", 20.0)),)
    layers = [
        Ply("P1", "twill", "s", Whole(), angle_deg=0.0),
        Ply("P2", "twill", "s", Whole(), angle_deg=45.0, splice=BUTT),
        Core("C", "foam", "s", region, thickness_mm=10.0, edges=bevel),
        Ply("P3", "twill", "s", Whole(), angle_deg=45.0),
    ]
    plan = broken(layers, CRANKED, hand)
    # an upper skin in a female mould over dihedral: the bag side, which looks down, is proud
    assert len(plan["seam words"]) == 2
    assert all("fill the gap" in words for words in plan["seam words"]), plan["seam words"]
    report = proved(plan)
    assert not report.faults and report.proofs[CLOSED] == 4
    assert [joint["overlap_mm"] for joint in plan["joints"]] == [25.0, 0.0, 0.0, 25.0]
    assert max(gaps_in_space(plan, joint).max() for joint in plan["joints"]) < 0.1


SWEPT = [
    Station(at, chord, sweep, rise, 0.0, 0.25, NacaSection(name))
    for at, chord, sweep, rise, name in (
        (0.0, 700.0, 0.0, 0.0, "0012"),
        (400.0, 620.0, 120.0, 5.0, "0012"),
        (1000.0, 480.0, 260.0, 90.0, "0011"),
        (1500.0, 300.0, 430.0, 100.0, "0010"),
    )
]


@pytest.mark.slow
def test_strips_across_two_breaks_of_a_swept_skin_meet_all_along():
    """Splices that run nearly along a break cut its overlap slantwise; core on both sides."""
    region = Inset(tuple((edge, 50.0) for edge in EDGES))
    bevel = (("", Treatment("bevel", 25.0)),)
    layers = [
        Ply("A", "twill", "s", Whole(), angle_deg=0.0),
        Core("C", "foam", "s", region, thickness_mm=10.0, edges=bevel),
        Ply("D", "twill", "s", Whole(), angle_deg=45.0),
    ]
    plan = broken(layers, SWEPT, roll=620.0)
    report = proved(plan)
    assert not report.faults and report.proofs[ALL_ALONG] >= 3
    assert {joint["name"] for joint in plan["joints"]} == {"kink 1", "kink 2", "seam K1", "seam K2"}
    assert max(gaps_in_space(plan, joint).max() for joint in plan["joints"]) < 0.1


def bent_joint(turn_deg, width_mm, stated_mm):
    """Two pieces in one plane that overlap along a line with a bend: the lower one reaches past
    the line by a parallel edge on the inside of the bend, the upper one ends on it."""
    tip = 100 * np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))])
    line = shapely.LineString([(0, 0), (100, 0), (100 + tip[0], tip[1])])
    past = shapely.LineString(sorted(line.offset_curve(width_mm, join_style="mitre").coords))
    back = shapely.LineString([(x, y - 60.0) for x, y in line.coords])
    on = shapely.LineString([(x, y + 300.0) for x, y in line.coords])
    places = np.array([line.interpolate(d).coords[0] for d in np.linspace(1, 180, 359)])
    pieces, sides = [], []
    for name, edge, far, by in (("P-A", past, back, -60.0), ("P-B", line, on, 60.0)):
        ring = [*edge.coords, *list(far.coords)[::-1]]
        outline = np.array(shapely.Polygon(ring).exterior.coords)[:-1]
        pieces.append({"id": name, "outline_mm": outline.tolist(), "strain_pct": [0.0],
                       "edges": [{"name": "kink 1", "points_mm": list(edge.coords)}]})  # fmt: skip
        row = {"line_mm": places, "beside_mm": places + (0.0, by)}
        for flat, on_part in (("line_mm", "on_part_mm"), ("beside_mm", "beside_on_part_mm")):
            row[on_part] = np.column_stack([row[flat], np.zeros(len(places))])
        sides.append({"piece": name, **{key: rows.tolist() for key, rows in row.items()}})
    joint = {"name": "kink 1", "overlap_mm": stated_mm, "sides": sides}
    return {"pieces": pieces, "joints": [joint]}


@pytest.mark.parametrize(
    ("turn_deg", "width_mm", "good"),
    [(0.0, 40.0, True), (16.0, 40.0, True), (0.0, 40.2, False), (16.0, 39.6, False),
     (16.0, 40.2, False)],
)  # fmt: skip
def test_a_parallel_edge_is_further_off_inside_a_bend(turn_deg, width_mm, good):
    """40 / cos 8 deg = 40.39 from the corner, by trigonometry; beside the bend it is 40."""
    report = Report("made")
    check_joints(bent_joint(turn_deg, width_mm, 40.0), report)
    assert (not report.faults) is good, report.faults


@pytest.fixture(scope="module")
def past_a_corner():
    """A ply over a core whose corner, where the trailing edge breaks, lies beside the break."""
    rows = stations((0.0, 1650.0, 0.0, 0.0), (1270.0, 1650.0, -5.0, 80.0),
                    (2540.0, 740.0, 215.0, 160.0))  # fmt: skip
    bevel = (("", Treatment("bevel", 30.0)),)
    inset = Inset(tuple((edge, 50.0) for edge in EDGES))
    core = Core("C", "foam", "s", inset, thickness_mm=12.0, edges=bevel)
    return broken([core, Ply("B", "twill", "s", Whole(), angle_deg=45.0)], rows)


def test_cloth_over_the_corner_of_a_core_is_strained_beside_a_break(past_a_corner):
    report = proved(past_a_corner)
    assert not report.faults and report.proofs[TRUE] == 4
    plan = copy.deepcopy(past_a_corner)
    for side in plan["joints"][-1]["sides"]:
        del side["stretch_pct"]
    assert any("not what it is on the part" in fault for fault in proved(plan).faults)


@pytest.mark.parametrize("way", ["line", "across", "beside", "out", "back"])
def test_a_stretch_that_the_cut_does_not_have_is_caught(past_a_corner, way):
    plan = copy.deepcopy(past_a_corner)
    row = plan["joints"][-1]["sides"][0]["stretch_pct"]
    row[way] = [value + 1.0 for value in row[way]]
    assert any("not what it is on the part" in fault for fault in proved(plan).faults)


def test_no_piece_is_cut_of_allowance_alone():
    """A fin cranked at 14 in, hollow behind the crank: past its trailing edge the allowance of the
    outer leaf reaches over the break to the root, and comes apart there."""
    sections = [
        Station(0.0, 863.6, 0.0, 0.0, 0.0, 0.25, NacaSection("0010")),
        Station(355.6, 762.0, 50.8, 0.0, 0.0, 0.25, NacaSection("0010")),
        Station(1320.8, 406.4, 406.4, 25.4, 0.0, 0.25, NacaSection("0009")),
    ]
    mould = StationMould(tuple(sections), "upper", 0.0, 1.0, "female", "ruled", EDGES, ())
    trims = {"leading": 12.7, "trailing": 9.525, "root": 19.05, "tip": 19.05}
    given = spec([Ply("A", "twill", "s", Whole(), angle_deg=45.0)], trims, mould=mould,
                 axis=AtShare(0.3))  # fmt: skip
    wide = {"twill": cloth(roll=6020.0, usable=6000.0)}
    given = replace(given, materials=replace(given.materials, cloths=wide))
    plan = plan_of(replace(given, part=replace(given.part, hand="left")))
    assert [piece["id"] for piece in plan["pieces"]] == ["A.1", "A.2"]
    assert not proved(plan).faults


def test_a_corner_past_the_ends_of_a_break_is_cut_once():
    """A wing cranked at 1.27 m: its leading edge runs up to a corner at the root, past the end of
    the line at which it breaks."""
    sections = [
        Station(0.0, 1650.0, 0.0, 0.0, 0.0, 0.25, NacaSection("0012")),
        Station(1270.0, 1400.0, 250.0, 80.0, 0.0, 0.25, NacaSection("0012")),
        Station(2540.0, 740.0, 500.0, 80.0, 0.0, 0.25, NacaSection("0012")),
    ]
    mould = StationMould(tuple(sections), "upper", 0.25, 1.0, "female", "ruled", EDGES, ())
    given = spec([Ply("A", "twill", "s", Whole(), angle_deg=0.0)], dict.fromkeys(EDGES, 5.0),
                 mould=mould, axis=AtShare(0.5))  # fmt: skip
    wide = {"twill": cloth(roll=6020.0, usable=6000.0)}
    given = replace(given, materials=replace(given.materials, cloths=wide))
    plan = plan_of(replace(given, part=replace(given.part, hand="left")))
    assert [piece["id"] for piece in plan["pieces"]] == ["A.1", "A.2"]
    assert not proved(plan).faults
