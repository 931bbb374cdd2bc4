"""The lay-up on lofted faces: channel, wing with core, dome."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from plybook.laminate import lay_up
from plybook.laminate.ground import with_tabs
from plybook.laminate.outline import Stretch
from plybook.spec.model import (
    AtShare,
    Core,
    Insert,
    Inset,
    NacaSection,
    OnFace,
    Patch,
    Ply,
    PolylineSection,
    SpanBand,
    Station,
    StationMould,
    Treatment,
    Whole,
)
from plybook.surface import build_face, face_of
from tests.laminate.doubles import cloth, spec
from tests.surface.faces import half_circle

EDGES = ("leading", "trailing", "root", "tip")
TRIMS = {"leading": 15.0, "trailing": 10.0, "root": 25.0, "tip": 20.0}


def built(
    layers, stations, side="upper", axis=0.25, hand="left", trims=TRIMS, loft="ruled", **more
):
    mould = StationMould(tuple(stations), side, 0.0, 1.0, "female", loft, EDGES, ())
    given = spec(layers, trims, mould=mould, axis=AtShare(axis), **more)
    given = replace(given, part=replace(given.part, hand=hand))
    return lay_up(given, build_face(given))


def wing():
    return [
        Station(0.0, 1000.0, 0.0, 0.0, 0.0, 0.25, NacaSection("2412")),
        Station(1800.0, 700.0, 90.0, 60.0, -1.0, 0.25, NacaSection("2412")),
    ]


def sandwich(sign=1):
    return [
        Ply("P1", "twill", "s", Whole(), angle_deg=45.0 * sign),
        Ply("P2", "twill", "s", SpanBand(0, 700), angle_deg=30.0 * sign),
        Core("C", "foam", "s", Inset((("leading", 90.0), ("trailing", 70.0), ("root", 45.0),
                                      ("tip", 50.0))),
             thickness_mm=10.0, edges=(("", Treatment("bevel", 45.0)),)),
        Ply("P3", "twill", "s", Whole(), angle_deg=-45.0 * sign),
    ]  # fmt: skip


def test_a_lay_up_is_the_same_on_one_processor_and_on_two(monkeypatch):
    """To the last digit: what a helper cuts, and in which order, must not show."""
    patch = Patch(OnFace(900.0, 0.45), 60.0, 40.0, 0.0, 5.0)
    layers = [*sandwich()[:3], Insert("K", "foam", "s", patch, core="C"), *sandwich()[3:]]
    found = []
    for processors in (1, 2):
        monkeypatch.setattr("plybook.crew._processors", lambda count=processors: count)
        found.append(built(layers, wing()))
    assert {piece.kind for piece in found[0].pieces} == {"ply", "core", "insert"}
    for one, other in zip(*(laminate.pieces for laminate in found), strict=True):
        assert one.id == other.id and one.outline_mm.tobytes() == other.outline_mm.tobytes()
        assert [m.points_mm.tobytes() for m in one.marks] == [
            m.points_mm.tobytes() for m in other.marks
        ]
    assert found[0].findings == found[1].findings


@pytest.fixture(scope="module")
def left():
    return built(sandwich(), wing())


def test_each_layer_in_a_channel_is_shorter_by_its_bends():
    """Bend arithmetic: a layer h nearer the centre of a 90 degree bend loses h pi / 2 of girth."""
    section = PolylineSection(np.array([[0.0, 0], [0, -100], [200, -100], [200, 0]]), (20.0, 20.0))
    stations = [Station(at, 1.0, 0.0, 0.0, 0.0, 0.0, section) for at in (0.0, 600.0)]
    layers = [Ply(f"P{i}", "twill", "s", Whole(), angle_deg=90.0) for i in range(1, 6)]
    laminate = built(layers, stations, side="all", axis=0.5, trims={})
    girth = 2 * (100 - 20) + (200 - 40) + 2 * 20 * math.pi / 2
    for number, piece in enumerate(laminate.pieces):
        lost = number * 0.2222 * math.pi  # two bends of 90 degrees
        size = np.ptp(piece.outline_mm, axis=0)
        assert size[1] == pytest.approx(girth - lost, abs=0.02)
        assert size[0] == pytest.approx(600.0, abs=0.02)
        assert piece.growth.across_mm == pytest.approx(-lost, abs=0.02)


def test_a_ply_over_core_is_as_long_as_its_section_drawn_by_hand():
    """On a skin of constant section, core from root to tip: the curve of the face lifted by
    min(10, distance to the core's edge) along its normals, measured as a polyline."""
    region = Inset((("leading", 90.0), ("trailing", 70.0)))
    bevel = Treatment("bevel", 45.0)
    edges = (("leading", bevel), ("trailing", bevel))
    core = Core("C", "foam", "s", region, thickness_mm=10.0, edges=edges)
    straight = [replace(wing()[0], chord_mm=900.0, at_mm=at) for at in (0.0, 900.0, 1800.0)]
    layers = [core, Ply("P", "twill", "s", Whole(), angle_deg=0.0)]
    (ply,) = [p for p in built(layers, straight, trims={}).pieces if p.layer == "P"]
    mould = StationMould(tuple(straight), "upper", 0.0, 1.0, "female", "ruled", EDGES, ())
    face = face_of(mould, AtShare(0.25), "left")
    flat = face.to_pattern(np.column_stack([np.full(20001, 900.0), np.linspace(0, 1, 20001) ** 2]))
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(flat, axis=0).T))]
    edge = np.minimum(along - 90.0, along[-1] - along - 70.0)
    height = np.clip(edge, 0.0, 10.0)
    lifted = face.to_space(flat) + height[:, None] * face.normals(flat)
    by_hand = np.linalg.norm(np.diff(lifted, axis=0), axis=1).sum() - along[-1]
    (line,) = [m.points_mm for m in ply.marks if m.label.endswith("(900 mm)")]
    on_ply = np.hypot(*np.diff(line, axis=0).T).sum() - along[-1]
    assert on_ply == pytest.approx(by_hand, abs=0.05)


def test_pieces_are_simple_rings_within_the_roll(left):
    for piece in left.pieces:
        ring = Polygon(piece.outline_mm)
        assert ring.is_valid and ring.exterior.is_ccw
        if piece.kind == "ply":
            turn = math.radians(piece.angle_deg)
            across = piece.outline_mm @ [-math.sin(turn), math.cos(turn)]
            assert np.ptp(across) <= 1250.0


def test_the_net_line_on_a_piece_is_one_allowance_inside_its_edge(left):
    for piece in (p for p in left.pieces if p.layer == "P1"):
        for mark in (m for m in piece.marks if m.kind == "net_line"):
            name = mark.label.removeprefix("net line, ")
            edge = next((e for e in piece.edges if e.name == name), None)
            if edge is not None:
                middle = shapely.linestrings(mark.points_mm).interpolate(0.5, normalized=True)
                gap = middle.distance(shapely.linestrings(edge.points_mm))
                assert gap == pytest.approx(TRIMS[name], abs=0.1)


def test_a_datum_past_the_root_is_told_by_the_allowances_it_was_cut_with(left):
    """A corner out of two edges lies at each one's allowance, not at the distance of their end."""
    datum = {p.id: m.label for p in left.pieces for m in p.marks if m.kind == "datum"}
    assert datum["P1.1"] == "span -25 mm, 15 mm outside leading"
    assert datum["P2"] == "span -25 mm, 15 mm outside leading"


def test_the_opposite_hand_is_the_mirror_image(left):
    right = built(sandwich(sign=-1), wing(), hand="right")
    assert [p.id for p in right.pieces] == [p.id for p in left.pieces]
    for a, b in zip(left.pieces, right.pieces, strict=True):
        assert a.angle_deg == -b.angle_deg
        mirrored = shapely.linearrings(b.outline_mm * [1, -1])
        assert shapely.hausdorff_distance(shapely.linearrings(a.outline_mm), mirrored) <= 1e-6
        assert [m.label for m in a.marks] == [m.label for m in b.marks]


def test_a_dihedral_break_splits_the_plies_and_ticks_match_across_it():
    section = PolylineSection(np.array([[60.0, -50], [0, -50], [0, 50], [60, 50]]), (10.0, 10.0))
    stations = [
        Station(at, 1.0, 0.0, rise, 0.0, 0.0, section)
        for at, rise in ((0.0, 0.0), (500.0, 0.0), (1100.0, 50.0))
    ]
    layers = [Ply("W1", "twill", "s", Whole(), angle_deg=0.0),
              Ply("W2", "twill", "s", Whole(), angle_deg=0.0)]  # fmt: skip
    laminate = built(layers, stations, side="all", axis=0.5)
    assert [p.id for p in laminate.pieces] == ["W1.1", "W1.2", "W2.1", "W2.2"]
    for inner, outer in (laminate.pieces[:2], laminate.pieces[2:]):
        assert inner.splice.neighbours == (outer.id,) and outer.splice.neighbours == (inner.id,)
        assert [e.mate for e in inner.edges if e.name == "kink 1"] == [outer.id]
        ticks = [{m.label: m.points_mm for m in p.marks if m.kind == "tick"}
                 for p in (inner, outer)]  # fmt: skip
        assert set(ticks[0]) == set(ticks[1]) and len(ticks[0]) >= 2
        # the inner ply runs on by the overlap of its cloth, the outer one ends at the break
        # (its line is not quite straight: the flanges turn with the dihedral)
        assert np.max(inner.outline_mm[:, 0]) == pytest.approx(525.0, abs=5.0)
        assert np.min(outer.outline_mm[:, 0]) == pytest.approx(500.0, abs=5.0)


def test_a_piece_that_runs_on_by_its_overlap_stays_one_polygon():
    """Joining on a grid may answer with a collection of one; these points are such a case."""
    line = np.array([
        [199.980486, 0.259146], [199.968214, 0.920861], [199.985591, 1.582592],
        [200.003817, 2.245129], [200.022068, 2.908492], [200.040346, 3.572681],
        [200.058649, 4.237692], [200.076977, 4.903525],
    ])  # fmt: skip
    low, high = line[0] - [200.0, 0.0], line[-1] - [200.0, 0.0]
    corners = [line, [line[-1], high], [high, low], [low, line[0]]]
    names = (("kink 1", "kink", 0), ("b", "trim", 2), ("root", "trim", 3), ("a", "trim", 0))
    sides = [Stretch(*name, np.array(points)) for name, points in zip(names, corners, strict=True)]
    bare = Polygon(np.vstack([side.points_mm[:-1] for side in sides]))
    longer, named = with_tabs(bare, sides, 0, 40.0)
    assert isinstance(longer, Polygon) and longer.covers(bare.buffer(-1e-3))
    assert longer.area - bare.area == pytest.approx(40.0 * np.ptp(line[:, 1]), rel=2e-3)
    assert sorted(side.name for side in named) == ["a", "b", "kink 1", "root"]
    (end,) = [side.points_mm for side in named if side.name == "kink 1"]
    assert end[:, 0] == pytest.approx(240.0, abs=1.0)


def test_a_piece_of_two_sides_runs_on_past_its_break_along_both_ends_of_the_other():
    """A doubler with round corners has one side but the break; it lies before and after it."""
    ring = np.array(Polygon([(30, 0), (140, 0), (140, 100), (30, 100)]).buffer(-20).buffer(20)
                    .intersection(Polygon([(0, -9), (100, -9), (100, 109), (0, 109)]))
                    .exterior.coords)[::-1]  # fmt: skip
    ring = np.roll(ring[:-1], -int(np.flatnonzero((ring[:-1] == (100.0, 0.0)).all(axis=1))[0]), 0)
    end = int(np.flatnonzero((ring == (100.0, 100.0)).all(axis=1))[0])
    sides = [Stretch("kink 1", "kink", 0, ring[: end + 1]),
             Stretch("round", "free", -1, np.vstack([ring[end:], ring[:1]]))]  # fmt: skip
    longer, named = with_tabs(Polygon(ring), sides, 0, 45.0)
    assert longer.bounds[2] == pytest.approx(145.0)
    (line,) = [side.points_mm for side in named if side.name == "kink 1"]
    assert line[:, 0] == pytest.approx(145.0)


def test_joints_of_several_plies_at_a_break_are_told_with_what_they_add():
    section = PolylineSection(np.array([[60.0, -50], [0, -50], [0, 50], [60, 50]]), (10.0, 10.0))

    def findings(plies, rise=50.0):
        stations = [
            Station(at, 1.0, 0.0, up, 0.0, 0.0, section)
            for at, up in ((0.0, 0.0), (500.0, 0.0), (1100.0, rise))
        ]
        layers = [Ply(f"W{k}", "twill", "s", Whole(), angle_deg=0.0) for k in range(plies)]
        made = built(layers, stations, side="all", axis=0.5)
        return [f for f in made.findings if f.code == "joints-at-break"]

    (told,) = findings(3)
    assert told.layers == ("W0", "W1", "W2") and "500 mm" in told.message
    assert f"{3 * 0.2222:.2f} mm" in told.message  # a second thickness of each ply on the line
    assert findings(1) == [] and findings(3, rise=0.0) == []


def dome(radius=1000.0, half=400.0):
    """Stations of a spherical cap over a square."""
    stations = []
    for y in np.linspace(-half, half, 7):
        r = math.sqrt(radius**2 - y**2)
        turn = math.asin(half / r)
        low, top = r * math.cos(turn), r * math.cos(turn) + half * math.tan(turn)
        arc = PolylineSection(np.array([[-half, low], [0, top], [half, low]]), (r * (1 - 1e-13),))
        stations.append(Station(y + half, 1.0, 0.0, 0.0, 0.0, 0.0, arc))
    return stations


def on_dome(**how):
    layers = [Ply("P", "twill", "s", Whole(), angle_deg=0.0, **how)]
    tight = replace(cloth(), strain_limit_pct=0.8)
    materials = replace(spec([]).materials, cloths={"twill": tight})
    return built(layers, dome(), side="all", axis=0.5, loft="smooth", trims={}, materials=materials)


@pytest.mark.slow
def test_strain_past_the_limit_is_said_with_the_darts_that_would_help():
    laminate = on_dome()
    (finding,) = [f for f in laminate.findings if f.code == "strain-over-limit"]
    assert "darts" in finding.help and finding.layers == ("P",)
    assert len(laminate.pieces[0].edges) == 4


@pytest.mark.slow
def test_darts_are_cut_when_the_spec_takes_them():
    plain, (piece,) = on_dome().pieces[0], on_dome(darts=True).pieces
    darts = [e for e in piece.edges if e.name.startswith("dart")]
    assert len(darts) >= 2
    assert Polygon(piece.outline_mm).is_valid
    assert len(piece.outline_mm) > len(plain.outline_mm)
    marks = [m for m in piece.marks if m.kind == "dart"]
    assert [m.label for m in marks] == [e.name for e in sorted(darts, key=lambda e: e.name)]
    ring = shapely.linearrings(piece.outline_mm)
    ticks: dict[str, list] = {}
    for mark in (m for m in piece.marks if m.label.startswith("D") and m.kind == "tick"):
        ticks.setdefault(mark.label, []).append(mark.points_mm)
    assert len(ticks) >= len(darts)
    for dart in marks:  # both ticks of a label stand on the cut, as far from the tip of the dart
        number = dart.label.split()[1]
        for label in (t for t in ticks if t.startswith(f"D{number}-")):
            one, other = (points[0] for points in ticks[label])
            assert all(ring.distance(shapely.Point(p)) < 0.05 for p in (one, other))
            depth = [np.hypot(*(p - dart.points_mm[1])) for p in (one, other)]
            assert depth[0] == pytest.approx(depth[1], rel=0.02)


def test_a_draped_ply_shears_instead_of_stretching():
    (piece,) = on_dome(drape="net").pieces
    assert piece.strain_pct == (0.0, 0.0)
    # net on a sphere: z f'' + f' + sin f = 0 for the angle f between the yarns, z = u v / R^2;
    # shear is near asin(z) for small z, and the corner has u = v = R asin 0.4 or a little more
    corner = math.degrees(math.asin(math.asin(0.4) ** 2))
    assert corner - 1.0 < piece.shear_deg < corner + 1.5
    yarns = [m for m in piece.marks if "drape starts" in m.label]
    assert [m.label.split()[-1] for m in yarns] == ["warp", "weft"]


# ------------------------------------------------------------------ a sheet that bends


@pytest.mark.parametrize(("form", "sign"), [("female", -1.0), ("male", 1.0)])
@pytest.mark.parametrize(("radius", "inset"), [(200.0, 40.0), (1000.0, 200.0)])
def test_a_bent_panel_has_the_girth_of_its_middle_from_end_to_end(form, sign, radius, inset):
    """A sheet of 10 mm bent to a cylinder keeps its length half its thickness up (bend
    arithmetic): the arc times (R -+ t / 2) / R, and what lies beside the panel does not hold it."""
    edges = (("", Treatment("square")),)
    drawn_in = Inset((("leading", inset), ("trailing", inset), ("root", 100.0), ("tip", 100.0)))
    core = Core("C", "foam", "s", drawn_in, thickness_mm=10.0, edges=edges)
    gutter = [Station(at, 1.0, 0.0, 0.0, 0.0, 0.25, half_circle(radius)) for at in (0.0, 1500.0)]
    mould = StationMould(tuple(gutter), "all", 0.0, 1.0, form, "ruled", EDGES, ())
    given = spec([core], {}, mould=mould, axis=AtShare(0.5))
    (piece,) = lay_up(given, build_face(given)).pieces
    panel = Polygon(piece.outline_mm)
    left, low, right, high = panel.bounds
    want = (math.pi * radius - 2 * inset) * (1 + sign * 5.0 / radius)
    for x in (left + 1, left + 30, (left + right) / 2, right - 30, right - 1):
        across = panel.intersection(shapely.LineString([(x, low - 9), (x, high + 9)]))
        assert across.length == pytest.approx(want, abs=0.02)
    assert right - left == pytest.approx(1300.0, abs=0.02)
