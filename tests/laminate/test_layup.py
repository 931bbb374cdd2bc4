"""The whole lay-up on flat faces where every figure can be worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from plybook.diagnostics import Severity
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate import lay_up
from plybook.laminate.layup import LayUp
from plybook.laminate.notation import folded
from plybook.laminate.otherhand import mirrored
from plybook.spec.model import (
    Around,
    DropRun,
    Film,
    Inset,
    Less,
    OnFace,
    OnPattern,
    Patch,
    Ply,
    ShareBand,
    SpanBand,
    SpliceRule,
    Whole,
)
from plybook.units import parse_length
from tests.laminate.doubles import TaperedFace, cloth, spec

FACE = TaperedFace()
TRIMS = {"leading": 15.0, "trailing": 10.0, "root": 25.0, "tip": 20.0}


def lay(layers, face=FACE, trims=TRIMS, **more):
    return lay_up(spec(layers, trims, **more), face)


def codes(laminate):
    return [f.code for f in laminate.findings]


def shape(piece):
    return Polygon(piece.outline_mm, piece.holes_mm)


def test_a_ply_that_fits_is_one_piece_named_like_its_layer():
    (piece,) = lay([Ply("P1", "twill", "s", SpanBand(0, 800), angle_deg=90.0)]).pieces
    assert piece.id == "P1" and piece.splice is None
    assert [e.name for e in piece.edges] == ["trailing", "towards tip", "leading", "root"]
    assert [e.treatment for e in piece.edges] == ["trim", "square", "trim", "trim"]


@pytest.mark.parametrize("up", [1, -1])
@pytest.mark.parametrize("inset", [14.0, 15.0, 16.0])
def test_an_edge_inside_the_part_is_no_trim_however_far_inside_it_lies(inset, up):
    """15 mm inside the leading edge, as far as its trim runs out on the other side."""
    face = TaperedFace(up=up)
    (piece,) = lay([Ply("P1", "twill", "s", Inset((("leading", inset),)))], face).pieces
    cut = {e.name: e.treatment for e in piece.edges}
    assert cut == {
        "trailing": "trim", "tip": "trim", "towards leading": "square", "root": "trim"
    }  # fmt: skip
    all_round = tuple((edge, inset) for edge in TRIMS)
    (piece,) = lay([Ply("P1", "twill", "s", Inset(all_round))], face).pieces
    assert {e.treatment for e in piece.edges} == {"square"}


def test_edges_walk_the_whole_outline_once():
    for piece in lay([Ply("P1", "twill", "s", Whole(), angle_deg=45.0)]).pieces:
        ends = [e.points_mm for e in piece.edges]
        for a, b in zip(ends, ends[1:] + ends[:1], strict=True):
            assert a[-1] == pytest.approx(b[0])
        assert sum(len(e) - 1 for e in ends) == len(piece.outline_mm)
        assert len({e.name for e in piece.edges}) == len(piece.edges)


def test_outlines_are_canonical():
    for piece in lay([Ply("P1", "twill", "s", Whole(), angle_deg=-30.0)]).pieces:
        assert np.array_equal(piece.outline_mm, canonical_ring(piece.outline_mm))
        assert piece.area_mm2 == pytest.approx(signed_area_mm2(piece.outline_mm), abs=0.01)


def test_straight_sides_cost_no_vertices_and_curves_keep_the_chord_error():
    radius = 60.0
    (piece,) = lay([Ply("Q", "twill", "s", Patch(OnFace(1000, 0.5), 400, 300, 10, radius))]).pieces
    quarter = np.pi / 2 / (2 * np.arccos(1 - 0.02 / radius))  # chords of 0.02 mm error
    assert len(piece.outline_mm) <= 4 * (2.2 * quarter + 2)
    true = Polygon(piece.laid_outline_mm)
    finer = replace(spec([]).choices, chord_error_mm=0.0001)
    exact = lay([Ply("Q", "twill", "s", Patch(OnFace(1000, 0.5), 400, 300, 10, radius))],
                choices=finer)  # fmt: skip
    fine = Polygon(exact.pieces[0].laid_outline_mm)
    assert shapely.hausdorff_distance(true.exterior, fine.exterior) <= 0.02 + 0.0021


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-90, 90),
    st.floats(400, 1500),
    st.floats(0, 60),
    st.sampled_from([Whole(), SpanBand(300, 3300), ShareBand(0.1, 0.9),
                     Inset((("leading", 40.0), ("tip", 300.0)))]),
)  # fmt: skip
def test_sum_of_the_strips_is_the_whole_and_its_overlaps(angle, usable, overlap, region):
    rule = SpliceRule("overlap" if overlap else "butt", overlap, 50.0, 80.0)
    materials = replace(spec([]).materials, cloths={"twill": cloth(usable=usable, splice=rule)})
    laminate = lay([Ply("P", "twill", "s", region, angle_deg=angle)], materials=materials)
    wide = replace(materials, cloths={"twill": cloth(usable=9e4, splice=rule)})
    (whole,) = lay([Ply("P", "twill", "s", region, angle_deg=angle)], materials=wide).pieces
    shapes = [shape(p) for p in laminate.pieces]
    laps = sum(a.intersection(b).area for i, a in enumerate(shapes) for b in shapes[i + 1 :])
    assert sum(s.area for s in shapes) == pytest.approx(whole.area_mm2 + laps, abs=20.0)
    turn = np.radians(angle)
    across = np.array([-np.sin(turn), np.cos(turn)])
    assert all(np.ptp(p.outline_mm @ across) <= usable + 1e-3 for p in laminate.pieces)


def test_both_sides_of_a_splice_carry_the_same_ticks_and_name_each_other():
    pieces = lay([Ply("P1", "twill", "s", Whole(), angle_deg=45.0)]).pieces
    by_id = {p.id: p for p in pieces}
    assert [p.id for p in pieces] == ["P1.1", "P1.2", "P1.3"]
    assert [(p.splice.part, p.splice.of) for p in pieces] == [(1, 3), (2, 3), (3, 3)]
    for piece in pieces:
        for edge in piece.edges:
            if edge.mate:
                assert piece.id in [e.mate for e in by_id[edge.mate].edges]
                assert edge.mate in piece.splice.neighbours
    ticks = [{m.label: m.points_mm for m in p.marks if m.kind == "tick"} for p in pieces]
    shared = set(ticks[0]) & set(ticks[1])
    assert len(shared) >= 2 and set(ticks[0]) | set(ticks[2]) == set(ticks[1])
    for label in shared:
        # a butt's ticks would meet; with an overlap of 25 they stand 25 apart, square to the warp
        gap = ticks[0][label][0] - ticks[1][label][0]
        assert np.hypot(*gap) == pytest.approx(25.0, abs=1e-3)
        assert abs(gap @ np.array([1, 1])) < 1e-3


def test_ticks_start_on_the_outline_and_point_inwards():
    for piece in lay([Ply("P1", "twill", "s", Whole(), angle_deg=45.0)]).pieces:
        outline = shape(piece)
        for mark in piece.marks:
            if mark.kind == "tick":
                assert outline.exterior.distance(shapely.points(mark.points_mm[0])) < 1e-3
                assert outline.contains(shapely.points(mark.points_mm[1]))


def test_plies_of_one_direction_are_staggered():
    layers = [Ply(f"P{i}", "twill", "s", Whole(), angle_deg=0.0) for i in range(1, 4)]
    wide = TaperedFace(root=2000.0, tip=1800.0)
    pieces = lay(layers, wide).pieces
    at = {}
    for piece in pieces:
        for mark in piece.marks:
            if mark.kind == "splice_line" and "upper" in mark.label:
                at[piece.layer] = mark.points_mm[0][1] + 12.5
    gaps = [abs(a - b) for a in at.values() for b in at.values() if a is not b]
    assert len(at) == 3 and min(gaps) >= 50.0 - 1e-6


def test_no_splice_crosses_a_region_kept_clear():
    rule = SpliceRule("overlap", 25.0, 50.0, 100.0, (ShareBand(0.5, 0.7),))
    wide = TaperedFace(root=2000.0, tip=2000.0, sweep=0.0)
    laminate = lay([Ply("P", "twill", "s", Whole(), angle_deg=0.0, splice=rule)], wide)
    clear = shapely.box(0, 300 - 0.7 * 2000, 3800, 300 - 0.5 * 2000)
    for mark in (m for p in laminate.pieces for m in p.marks if m.kind == "splice_line"):
        assert not shapely.linestrings(mark.points_mm).intersects(clear)
    assert "splice-crosses-clear-region" not in codes(laminate)


def test_a_region_no_splice_can_avoid_is_crossed_and_said_so():
    rule = SpliceRule("butt", 0.0, 50.0, 100.0, (ShareBand(0.4, 0.5),))
    laminate = lay([Ply("P", "twill", "s", Whole(), angle_deg=45.0, splice=rule)])
    (finding,) = [f for f in laminate.findings if f.code == "splice-crosses-clear-region"]
    assert finding.layers == ("P",)
    assert finding.severity is Severity.WARNING and len(laminate.pieces) == 3


def test_an_impossible_splice_is_an_error_with_a_remedy_and_the_rest_is_still_cut():
    rule = SpliceRule("butt", 0.0, 50.0, 1300.0)
    laminate = lay(
        [Ply("P", "twill", "s", Whole(), angle_deg=45.0, splice=rule),
         Ply("Q", "twill", "s", SpanBand(0, 500))]
    )  # fmt: skip
    (finding,) = [f for f in laminate.findings if f.code == "splice-impossible"]
    assert finding.severity is Severity.ERROR and "narrower than 1300" in finding.help
    assert "Q" in [p.id for p in laminate.pieces]


def test_many_wrong_layers_are_all_found():
    laminate = lay(
        [
            Ply("P1", "twill", "s", SpanBand(5000, 6000)),
            Ply("P2", "twill", "s", Around("X", 10.0)),
            Ply("P3", "twill", "s", Inset((("nose", 10.0),))),
            Ply("P4", "twill", "s", SpanBand(0, 500)),
        ]
    )
    errors = [f.code for f in laminate.findings if f.severity is Severity.ERROR]
    assert errors == ["region-empty", "unknown-layer", "unknown-edge"]
    assert [p.id for p in laminate.pieces] == ["P4"]


def test_parts_that_do_not_touch_get_letters():
    away = ShareBand(0.45, 0.55)
    pieces = lay([Ply("P", "twill", "s", Less(Patch(OnFace(1000, 0.5), 200, 1100, 0, 0), (away,)))])
    assert [p.id for p in pieces.pieces] == ["P-A", "P-B"]
    assert all(p.splice is None for p in pieces.pieces)


def test_a_run_loses_its_steps_and_nothing_else():
    count, step = 4, 150.0
    run = [
        Ply(f"R{i + 1}", "twill", "s", SpanBand(0, 1350 - step * i), angle_deg=90.0,
            drop=DropRun("R", i, count, "tip", step))
        for i in range(count)
    ]  # fmt: skip
    laminate = lay(run, trims={})
    chord = lambda s: 1200 - 440 * s / 3800  # noqa: E731
    for i, layer in enumerate(laminate.layers):
        end = 1350 - step * i
        assert layer.region.area == pytest.approx((chord(0) + chord(end)) / 2 * end, abs=0.1)
    marks = [m.label for p in laminate.pieces for m in p.marks if m.kind == "drop_line"]
    assert marks == ["R2 (next) ends here", "R3 (next) ends here", "R4 (next) ends here"]


def test_films_are_split_by_their_own_roll_and_butted():
    wide = TaperedFace(root=2000.0, tip=2000.0, sweep=0.0)
    laminate = lay([Film("PEEL", "peel", "s", Whole())], wide, trims={})
    assert [p.kind for p in laminate.pieces] == ["film", "film"]
    assert {p.splice.kind for p in laminate.pieces} == {"butt"}
    assert sum(p.area_mm2 for p in laminate.pieces) == pytest.approx(3800 * 2000, abs=1)


def test_every_piece_has_one_datum_corner_on_its_outline():
    for piece in lay([Ply("P1", "twill", "s", Whole(), angle_deg=45.0)]).pieces:
        (datum,) = [m for m in piece.marks if m.kind == "datum"]
        gap = np.hypot(*(piece.outline_mm - datum.points_mm[0]).T).min()
        assert gap < 1e-3
        assert datum.label.startswith("span ")


def test_station_lines_stop_at_the_piece_and_read_in_the_unit_of_the_part():
    piece, *_ = lay([Ply("P1", "twill", "s", SpanBand(1500, 2300), angle_deg=90.0)]).pieces
    (station,) = [m for m in piece.marks if m.kind == "station"]
    assert station.label == "STN 1900 (1900 mm)"
    assert station.points_mm[:, 0] == pytest.approx(1900.0)
    assert shape(piece).buffer(1e-3).contains(shapely.linestrings(station.points_mm))


def mixed_layers(scale=lambda v: v, sign=1):
    return [
        Ply("P1", "twill", "s", Whole(), angle_deg=45.0 * sign),
        Ply("P2", "twill", "s", Whole(), angle_deg=-45.0 * sign),
        Ply("P3", "twill", "s", Whole(), angle_deg=0.0),
        Ply("P4", "twill", "s", Whole(), angle_deg=90.0),
        Ply("P5", "twill", "s", SpanBand(scale(200), scale(2600)), angle_deg=30.0 * sign),
        Ply("P6", "twill", "s", Around("P7", scale(40.0)), angle_deg=0.0),
        Ply("P7", "twill", "s",
            Patch(OnFace(scale(900), 0.4), scale(500), scale(250), 20.0 * sign, scale(30)),
            angle_deg=60.0 * sign),
        Film("F", "peel", "s", Inset((("leading", scale(50)), ("tip", scale(80))))),
    ]  # fmt: skip


def test_the_mirror_image_is_what_a_lay_up_of_the_opposite_hand_would_be():
    given, face = spec(mixed_layers(sign=-1), TRIMS), TaperedFace(up=-1)
    given = replace(given, part=replace(given.part, hand="right"))
    image = mirrored(lay(mixed_layers()), given, face)
    right = LayUp(given, face, lambda words: None).run()
    assert [p.id for p in image.pieces] == [p.id for p in right.pieces]
    for a, b in zip(image.pieces, right.pieces, strict=True):
        assert folded(a.angle_deg) == folded(b.angle_deg)
        assert a.outline_mm.shape == b.outline_mm.shape
        assert np.abs(a.outline_mm - b.outline_mm).max() <= 1e-3
        assert np.abs(a.outline_mm - canonical_ring(a.outline_mm)).max() == 0.0
        assert [(e.name, e.treatment, e.mate) for e in a.edges] == [
            (e.name, e.treatment, e.mate) for e in b.edges
        ]
        for one, other in zip(a.edges, b.edges, strict=True):
            assert one.points_mm == pytest.approx(other.points_mm, abs=1e-3)
        assert sorted(m.label for m in a.marks) == sorted(m.label for m in b.marks)
        assert shape(a).symmetric_difference(shape(b)).area < 1e-3 * shape(a).length
        laid = [Polygon(p.laid_outline_mm) for p in (a, b)]
        assert laid[0].symmetric_difference(laid[1]).area < 1e-3 * laid[0].length
    assert [(z.label, z.code) for z in image.zones] == [(z.label, z.code) for z in right.zones]
    for one, other in zip(image.zones, right.zones, strict=True):
        assert one.region.symmetric_difference(other.region).area < 0.05 * one.region.length
    for one, other in zip(image.layers, right.layers, strict=True):
        assert folded(one.angle_deg) == folded(other.angle_deg)
        assert one.region.symmetric_difference(other.region).area < 1e-3 * one.region.length
    assert image.mass_g == pytest.approx(right.mass_g, rel=1e-6)
    assert image.centre_mm == pytest.approx(right.centre_mm, abs=0.5)
    assert set(image.findings) == set(right.findings)


def test_inches_and_millimetres_give_identical_pieces():
    inches = lambda v: parse_length(f"{v / 25.4!r} in")  # noqa: E731
    first, second = lay(mixed_layers()), lay(mixed_layers(inches))
    for a, b in zip(first.pieces, second.pieces, strict=True):
        assert a.id == b.id
        assert np.array_equal(a.outline_mm, b.outline_mm)


def test_the_same_input_gives_the_same_pieces():
    first, second = lay(mixed_layers()), lay(mixed_layers())
    for a, b in zip(first.pieces, second.pieces, strict=True):
        assert np.array_equal(a.outline_mm, b.outline_mm)
        assert [m.label for m in a.marks] == [m.label for m in b.marks]


def test_a_point_given_in_the_pattern_frame_lies_there():
    (piece,) = lay([Ply("Q", "twill", "s", Patch(OnPattern(700, -100), 100, 60, 0, 0))]).pieces
    assert shape(piece).centroid.coords[0] == pytest.approx((700, -100), abs=1e-3)


def test_the_rim_of_an_opening_that_a_splice_cuts_is_no_part_of_the_splice():
    """An opening 200 mm across on the middle of the splice that a roll of usual width asks for."""
    size = {"root": 1700.0, "tip": 1500.0}
    (first, _) = lay([Ply("P1", "twill", "s", Whole(), angle_deg=0.0)], TaperedFace(**size)).pieces
    (line,) = [e.points_mm for e in first.edges if e.name.startswith("splice")]
    opening = shapely.Point(line.mean(axis=0)).buffer(100.0)

    class Open(TaperedFace):
        holes_mm = (np.array(opening.exterior.coords)[:-1],)

    pieces = lay([Ply("P1", "twill", "s", Whole(), angle_deg=0.0)], Open(**size)).pieces
    assert len(pieces) == 2
    for piece in pieces:
        splices = [e for e in piece.edges if e.name.startswith("splice")]
        rim = [e for e in piece.edges if e.name.startswith("opening")]
        assert len(splices) == 2 and len(rim) == 1
        assert all(np.ptp(e.points_mm[:, 1]) < 0.01 for e in splices)
        assert np.ptp(rim[0].points_mm[:, 0]) == pytest.approx(200.0, abs=15.0)
