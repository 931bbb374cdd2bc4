"""What a spec stands for once it is worked out: layers, regions, runs, stages, stock, outlines."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass

import numpy as np
import pytest

from plybook.geometry.rings import signed_area_mm2
from plybook.spec.model import (
    FAR_MM,
    Around,
    Common,
    EdgeBand,
    Inset,
    Less,
    OnFace,
    OutlineMould,
    Patch,
    PolylineSection,
    ShareBand,
    SpanBand,
    SpanLine,
    Union,
    Whole,
)
from plybook.spec.outlines import CHORD_MM, crossing
from tests.spec.goods import HATCH, SHARED, SKIN, edit, faults, read

CHANNEL = """\
plybook: 1
include: shared.yaml
part: {number: S-1, name: Spar, date: 2026-05-04, units: mm}
mould:
  form: male
  loft: ruled
  stations:
    - {at: 0, section: {channel: [[60, -70], [0, -70], [0, 70], [60, 70]], radius: 8}}
    - {at: 900, rise: 40, section: {channel: [[50, -50], [0, -50], [0, 50], [50, 50]], radii: [8, 6]}}
  accept_kinks: [900]
axis: {from: {span: 0, share: 0.5}, to: {span: 900, share: 0.5}}
layers:
  - {ply: P, cloth: twill, angle: 45}
  - rod: C
    bar: strip
    line: [{span: 0, share: 0.1}, {span: 880, share: 0.1}]
    rows: 2
    stack: [880, 700, 560]
  - {ply: Q, cloth: twill, angle: 45, splice: {join: butt, stagger: 80}}
"""  # noqa: E501


def layers(text: str) -> dict:
    return {layer.id: layer for layer in read(text).specs[0].layers}


def test_groups_and_runs_become_plies_in_the_order_they_are_laid():
    assert list(layers(SKIN)) == [
        "P1", "B1", "B2", "B3", "B4", "B5", "B6", "R1", "R2", "R3", "R4", "C1", "H1", "Q1", "PEEL1",
    ]  # fmt: skip


def test_each_ply_of_a_run_ends_a_step_sooner():
    """Longest first: 300, 450, 600, 750 mm before the tip."""
    made = layers(SKIN)
    for k in range(4):
        ply = made[f"R{k + 1}"]
        assert ply.region == Common((ShareBand(0.2, 0.4), EdgeBand("tip", 300 + 150 * k, FAR_MM)))
        assert (ply.drop.run, ply.drop.index, ply.drop.count) == ("R", k + 1, 4)
        assert (ply.drop.edge, ply.drop.step_mm) == ("tip", 150)


def test_longest_last_turns_the_ladder_round():
    made = layers(edit(SKIN, "longest: first", "longest: last"))
    assert [made[f"R{k}"].region.items[1].from_mm for k in (1, 2, 3, 4)] == [750, 600, 450, 300]


def test_a_run_may_end_at_a_span_and_towards_two_edges():
    text = edit(SKIN, "ends: {towards: tip, before: 300, step: 150, longest: first}",
                "ends: [{towards: tip, at: 2000, step: 100}, "
        "{towards: leading, before: 50, step: 20}]",
                )  # fmt: skip
    made = layers(text)
    assert made["R3"].region.items[1:] == (
        SpanBand(0, 1800),
        EdgeBand("leading", 90, FAR_MM),
    )
    text = edit(text, "towards: tip, at: 2000", "towards: root, at: 2000")
    assert layers(text)["R3"].region.items[1] == SpanBand(2200, 3800)


@pytest.mark.parametrize(
    ("written", "region"),
    [
        ("whole", Whole()),
        ("{span: [root, 900]}", SpanBand(0, 900)),
        ("{span: [900, tip]}", SpanBand(900, 3800)),
        ("{share: [0.1, 0.5], span: [0, 900]}", Common((SpanBand(0, 900), ShareBand(0.1, 0.5)))),
        ("{near: {leading: 80}}", EdgeBand("leading", 0, 80)),
        ("{near: {leading: [20, 80]}}", EdgeBand("leading", 20, 80)),
        ("{inset: 25}", Inset(tuple((e, 25.0) for e in ("leading", "trailing", "root", "tip")))),
        ("{inset: {all: 25, tip: 40}}",
         Inset((("leading", 25.0), ("trailing", 25.0), ("root", 25.0), ("tip", 40.0)))),
        ("{inset: {tip: 40}}", Inset((("tip", 40.0),))),
        ("{around: {layer: P1, by: -20}}", Around("P1", -20)),
        ("{together: [{span: [0, 9]}, {span: [20, 30]}]}",
         Union((SpanBand(0, 9), SpanBand(20, 30)))),
        ("{span: [0, 90], less: [{share: [0, 0.5]}]}",
         Less(SpanBand(0, 90), (ShareBand(0, 0.5),))),
        ("{less: [{share: [0, 0.5]}]}", Less(Whole(), (ShareBand(0, 0.5),))),
        ("{patch: {at: {span: 600, share: 0.3}, size: [180, 120], turn: 10, shape: ellipse}}",
         Patch(OnFace(600, 0.3), 180, 120, 10, 0, "ellipse")),
    ],
)  # fmt: skip
def test_regions(written, region):
    text = edit(SKIN, "    region: {around: {layer: C1, by: 50}}", f"    region: {written}")
    assert layers(text)["Q1"].region == region


def test_a_strip_and_a_polygon_keep_their_points():
    text = edit(SKIN, "{around: {layer: C1, by: 50}}",
                "{strip: {line: [{span: 0, share: 0.2}, [3000, 50]], width: 80}}")  # fmt: skip
    strip = layers(text)["Q1"].region
    assert strip.width_mm == 80 and strip.line[0] == OnFace(0, 0.2) and strip.line[1].y_mm == 50
    text = edit(
        SKIN, "{around: {layer: C1, by: 50}}", "{polygon: [[0, 0], [100, 100], [100, 0], [0, 100]]}"
    )
    (one,) = faults(text)
    assert one.code == "outline-crosses-itself" and "at (50, 50)" in one.message


def test_core_edges_seams_and_cut_outs():
    core = layers(SKIN)["C1"]
    assert [(e, t.kind, t.angle_deg) for e, t in core.edges] == [
        ("", "bevel", 45), ("root", "square", 90),
    ]  # fmt: skip
    first, second = core.seams
    assert (first.id, first.line, first.treatment.kind) == ("S1", SpanLine(1300), "square")
    assert (second.id, second.treatment.kind, second.treatment.angle_deg) == ("S2", "scarf", 20)
    assert [(c.insert, c.clearance_mm) for c in core.cut_outs] == [("H1", 1.0)]
    text = edit(
        SKIN, "seams: [{at: 1300}, {share: 0.5, cut: scarf 20}]", "seams: to suit the sheets"
    )
    assert layers(text)["C1"].seams_to_suit_sheets


@pytest.mark.parametrize(
    ("written", "kind", "angle", "side"),
    [
        ("bevel", "bevel", 45, "mould"),
        ("bevel 20", "bevel", 20, "mould"),
        ("bevel 20 deg", "bevel", 20, "mould"),
        ("'bevel 30, bag side'", "bevel", 30, "bag"),
        ("bevel bag side", "bevel", 45, "bag"),
        ("scarf 1:20", "scarf", math.degrees(math.atan(1 / 20)), "mould"),
        ("square", "square", 90, "mould"),
    ],
)
def test_cut_edges_in_words(written, kind, angle, side):
    core = layers(edit(SKIN, "{all: bevel 45, root: square}", f"{{all: {written}}}"))["C1"]
    cut = core.edges[0][1]
    assert (cut.kind, cut.angle_deg, cut.wide_side) == (kind, pytest.approx(angle), side)


def test_the_declared_bevel_is_the_default_of_core_edges():
    text = SKIN + "choices: {core_bevel: 20 deg}\n"
    text = edit(text, "    edges: {all: bevel 45, root: square}\n", "")
    assert [t.angle_deg for _, t in layers(text)["C1"].edges] == [20]


def test_clear_zones_of_the_part_reach_every_ply_with_the_rule_of_its_cloth():
    made = layers(SKIN)
    assert made["P1"].splice.keep_clear == (ShareBand(0.26, 0.34),)
    assert (made["P1"].splice.kind, made["P1"].splice.overlap_mm) == ("overlap", 25)
    text = edit(SKIN, "splices:\n  keep_clear: [{share: [0.26, 0.34]}]\n", "")
    assert layers(text)["P1"].splice is None


def test_a_ply_may_have_its_own_splice():
    made = layers(CHANNEL)
    assert (made["Q"].splice.kind, made["Q"].splice.stagger_mm) == ("butt", 80)
    assert made["P"].splice is None


def test_a_channel_keeps_its_points_and_radii():
    spec = read(CHANNEL).specs[0]
    one, two = (s.section for s in spec.mould.stations)
    assert isinstance(one, PolylineSection) and one.radii_mm == (8, 8) and two.radii_mm == (8, 6)
    assert spec.mould.stations[0].chord_mm == 1.0
    assert spec.mould.edge_names == ("first", "last", "root", "tip")
    assert spec.mould.accepted_kinks_mm == (900,)


def test_a_stack_of_rods_is_a_run_in_steps():
    made = layers(CHANNEL)
    assert [made[f"C{k}"].lengths_mm for k in (1, 2, 3)] == [(880,) * 2, (700,) * 2, (560,) * 2]
    assert [made[f"C{k}"].drop.index for k in (1, 2, 3)] == [1, 2, 3]
    assert made["C1"].drop.edge == "tip" and made["C1"].pitch_mm == 12


# ---------------------------------------------------------------- stages and stock


def test_stages_lay_what_they_name():
    spec = read(SKIN).specs[0]
    by = {rule.id: rule.layers for rule in spec.stages}
    assert by["outer"][:3] == ("P1", "B1", "B2") and by["bond"] == ("C1", "H1")
    assert {layer.stage for layer in spec.layers} == {"outer", "bond", "inner"}


def test_without_stages_the_usual_order_is_taken():
    text = SKIN[: SKIN.index("stages:")] + SKIN[SKIN.index("jig:") :]
    text = edit(text, "    removed_after: trim\n", "")
    spec = read(text).specs[0]
    assert [(r.id, r.kind) for r in spec.stages] == [
        ("mould", "mould_preparation"),
        ("outer-skin", "wet_laminate"),
        ("core", "core_bond"),
        ("inner-skin", "wet_laminate"),
        ("demould", "demould"),
        ("trim", "trim"),
        ("jig", "assembly_jig"),
    ]
    laid = [one for rule in spec.stages for one in rule.layers]
    assert laid == [layer.id for layer in spec.layers]


def test_stock_sizes_come_from_the_material_unless_written():
    stock = {item.id: item for item in read(SKIN).specs[0].stock}
    assert (stock["T1"].kind, stock["T1"].length_mm, stock["T1"].width_mm) == ("roll", 40_000, 1270)
    assert (stock["F1"].length_mm, stock["F1"].width_mm, stock["F1"].quantity) == (
        2438.4,
        1219.2,
        0,
    )
    assert stock["B1"].quantity == 1 and stock["S1"].length_mm == 50_000


def test_a_remnant_has_its_outline_and_bad_zones():
    rest = (
        "  - {id: X, sheet: foam, outline: [[100, 0], [100, 500], [900, 500], [900, 0]], "
        "bad_zones: [[[150, 20], [200, 20], [200, 60]]], received: 2026-01-31}\n"
    )
    stock = {i.id: i for i in read(SKIN, shared_yaml=SHARED + rest).specs[0].stock}
    assert (stock["X"].length_mm, stock["X"].width_mm) == (800, 500)
    assert signed_area_mm2(stock["X"].outline_mm) == pytest.approx(400_000)
    assert stock["X"].received == "2026-01-31"
    (zone,) = stock["X"].bad_zones_mm  # moved to the remnant's corner together with its outline
    assert zone.min(axis=0) == pytest.approx([50, 20])


# ---------------------------------------------------------------- flat outlines


def flat(text: str) -> OutlineMould:
    return read(text).specs[0].mould


def test_rounded_corners_touch_their_sides_and_keep_within_the_chord_error():
    """A 12 x 8 in plate with 1 in corners: area = ab - (4 - pi) r^2."""
    mould = flat(HATCH)
    exact = (12 * 8 - (4 - math.pi)) * 25.4**2
    assert 0 < exact - signed_area_mm2(mould.ring_mm) < CHORD_MM * 2 * math.pi * 25.4
    assert {name for name, _, _ in mould.edges} == {"hinge", "latch", "side 2", "side 4"}


def test_sides_walk_the_ring_and_close_it():
    mould = flat(HATCH)
    ends = [(first, last) for _, first, last in mould.edges]
    assert all(a[1] == b[0] for a, b in zip(ends, ends[1:] + ends[:1], strict=True))
    hinge = next(e for e in mould.edges if e[0] == "hinge")
    on_hinge = mould.ring_mm[hinge[1] : hinge[2] + 1] if hinge[1] < hinge[2] else mould.ring_mm
    assert on_hinge[:, 1].min() == pytest.approx(0)


def test_clockwise_points_give_the_same_ring():
    turned = HATCH.replace(
        "    - [0, 0]\n    - {to: [12, 0], edge: hinge}\n    - [12, 8]\n"
        "    - {to: [0, 8], edge: latch}\n",
        "    - [0, 0]\n    - [0, 8]\n    - {to: [12, 8], edge: latch}\n    - [12, 0]\n"
        "    - {to: [0, 0], edge: hinge}\n",
    )
    assert turned != HATCH
    one, two = flat(HATCH), flat(turned)
    assert signed_area_mm2(one.ring_mm) == pytest.approx(signed_area_mm2(two.ring_mm), abs=1e-6)
    spot = {n: np.sort(two.ring_mm[[a, b]], axis=0) for n, a, b in two.edges}
    for name, a, b in one.edges:
        if name in ("hinge", "latch"):
            assert np.allclose(np.sort(one.ring_mm[[a, b]], axis=0), spot[name])


@pytest.mark.parametrize(
    "arc", ["through: [16, 4]", "radius: 4, turn: left", "radius: 101.6 mm, turn: left"]
)
def test_arcs(arc):
    """A half circle of 4 in radius on the end of the plate."""
    text = edit(HATCH, "    - [12, 8]\n", f"    - {{arc_to: [12, 8], {arc}}}\n")
    area = signed_area_mm2(flat(text).ring_mm)
    exact = (12 * 8 - (4 - math.pi) / 2 + math.pi * 8) * 25.4**2
    assert 0 < exact - area < CHORD_MM * math.pi * (4 + 1) * 25.4


def test_an_arc_may_close_an_outline():
    """A disc of two half circles, and a plate whose last side is an arc to the first corner."""
    disc = "[[0, 4], {arc_to: [8, 4], through: [4, 0]}, {arc_to: [0, 4], through: [4, 8]}]"
    plate = "[[0, 0], [12, 0], [12, 8], [0, 8], {arc_to: [0, 0], radius: 4, turn: left, edge: bow}]"
    for outline, square_in in ((disc, math.pi * 16), (plate, 96 + math.pi * 8)):
        made = flat(edit(HATCH, HATCH[HATCH.index("  outline:") : HATCH.index("edges:")],
                         f"  outline: {outline}\n\n"))  # fmt: skip
        lacking = square_in * 25.4**2 - signed_area_mm2(made.ring_mm)
        assert 0 <= lacking < CHORD_MM * math.tau * 4 * 25.4
    assert "bow" in {name for name, _, _ in made.edges}


def test_crossings_are_found_where_they_are():
    bow = np.array([[0, 0], [10, 10], [10, 0], [0, 10]], float)
    assert crossing(bow).at_mm == (5.0, 5.0)
    assert crossing(bow[[0, 1]]) is not None
    angle = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    round_ = np.column_stack([np.cos(angle), np.sin(angle)]) * 500
    assert crossing(round_) is None
    spoiled = round_.copy()
    spoiled[[1000, 1003]] = spoiled[[1003, 1000]]
    assert crossing(spoiled) is not None


def test_a_side_that_folds_back_on_itself_is_found():
    assert crossing(np.array([[0, 0], [10, 0], [10, 5], [10, 0], [20, 9], [0, 9]], float))


# ---------------------------------------------------------------- inch and mm


def same(one, other) -> bool:
    """Equal values, whatever the place they came from."""
    if is_dataclass(one):
        return type(one) is type(other) and all(
            same(getattr(one, f.name), getattr(other, f.name))
            for f in fields(one)
            if f.name not in ("place", "files", "units")
        )
    if isinstance(one, np.ndarray):
        return np.allclose(one, other, atol=1e-9, rtol=0)
    if isinstance(one, (tuple, list)):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[k], other[k]) for k in one)
    if isinstance(one, float):
        return abs(one - other) < 1e-9
    return one == other


def test_a_spec_in_inches_is_the_same_spec_in_millimetres():
    """Every bare length of the hatch times 25.4."""
    import re

    metric = edit(HATCH, "units: in", "units: mm")
    head, body = metric.split("mould:\n")
    mould, rest = body.split("layers:\n")

    def scale(text: str) -> str:
        text = text.replace("1/2 in", "0.5")
        return re.sub(r"(?<![\w.])(\d+(?:\.\d+)?)(?![\w.])",
                      lambda m: repr(float(m[1]) * 25.4), text)  # fmt: skip

    metric = (
        head + "mould:\n" + scale(mould) + "layers:\n" + rest.replace("inset: 1", "inset: 25.4")
    )
    assert same(read(HATCH).specs[0], read(metric).specs[0])
    assert not same(read(HATCH).specs[0], read(edit(metric, "inset: 25.4", "inset: 25.5")).specs[0])
