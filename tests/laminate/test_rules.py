"""Trade rules: each fires on a part made to break it and keeps quiet on one that keeps it.

The figures come from trade/rules.yaml, which names the source of each; the published ones are
repeated here: MIL-HDBK-17-3F vol. 3 ch. 12 (A-27 ... B-3), Abbott AA-SB-001 3rd ed. 2019 sec.
4.1.8, Forest Products Laboratory report 1809. The others are common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate.model import LaidLayer, Piece, PieceEdge, SpliceInfo
from plybook.laminate.rule_case import middle_of_longest
from plybook.laminate.rules import checks, source_words, trade_findings, trade_rules
from plybook.laminate.zones import find_zones
from plybook.spec.model import (
    Core,
    CutOut,
    DesignChoices,
    DropRun,
    Film,
    Insert,
    Materials,
    Ply,
    Rod,
    RodStock,
    Seam,
    SpanLine,
    StageRule,
    ThickenedResin,
    Treatment,
    Whole,
)
from tests.laminate.doubles import cloth, foam, peel_ply, spec
from tests.laminate.flat_faces import TrapezoidFace

FACE = TrapezoidFace(length=2000.0, root=(0.0, 600.0), tip=(0.0, 600.0))
ALL = shapely.box(0, 0, 2000, 600)
CORE = shapely.box(300, 100, 1700, 500)
BEVEL = (("", Treatment("bevel", 20.0)),)
UD = replace(cloth("ud"), weave="unidirectional", thickness_mm=0.2, usable_width_mm=700.0)
TWILL = replace(cloth("twill"), thickness_mm=0.2)


STRIP = RodStock("strip", "Strip", 12.0, 3.0, 1.55, (50_000.0,), 0.0)
PASTES = {
    "bubbles": ThickenedResin("bubbles", "Core paste", "e", "glass bubbles", 2.0, 0.15, 400.0),
    "flock": ThickenedResin("flock", "Bond paste", "e", "cotton flock", 1.0, 0.06, 300.0),
}


class Made:
    """A part put together layer by layer."""

    def __init__(self, stages=(), **choices):
        self.layers, self.laid, self.pieces = [], [], []
        self.stages, self.choices = stages, DesignChoices(**choices)

    def ply(self, name, region=ALL, angle=45.0, material="twill", drop=None, stage="s"):
        self.layers.append(Ply(name, material, stage, Whole(), angle_deg=angle, drop=drop))
        self.laid.append(LaidLayer(name, "ply", material, angle, stage, 0.2, region, (name,)))
        return self

    def core(self, name="C1", region=CORE, edges=BEVEL, stage="s", **more):
        self.layers.append(
            Core(name, "foam", stage, Whole(), thickness_mm=10.0, edges=edges, **more)
        )
        self.laid.append(LaidLayer(name, "core", "foam", 0.0, stage, 10.0, region, (name,)))
        return self

    def insert(self, name, region):
        self.layers.append(Insert(name, "foam", "s", Whole(), core="C1"))
        self.laid.append(LaidLayer(name, "insert", "foam", 0.0, "s", 10.0, region, (name,)))
        return self

    def rod(self, name):
        self.layers.append(Rod(name, "strip", "caps", Whole()))
        self.laid.append(LaidLayer(name, "rod", "strip", 0.0, "caps", 3.0, ALL, (name,)))
        return self

    def peel(self, name, region, removed_after="last", stage="s"):
        self.layers.append(Film(name, "peel", stage, Whole(), removed_after=removed_after))
        self.laid.append(LaidLayer(name, "film", "peel", 0.0, stage, 0.1, region, (name,)))
        return self

    def run(self, name, ends, step, region_from=0.0, **more):
        for i, end in enumerate(ends):
            region = shapely.box(region_from, 0, end, 600)
            drop = DropRun(name, i, len(ends), "tip", step)
            self.ply(f"{name}{i}", region, drop=drop, **more)
        return self

    def splice(self, layer, y, kind, overlap=0.0, angle=0.0, upright=False, edge="splice 1"):
        """Two pieces of a layer that meet at a height y (or, upright, at x = y)."""
        half = overlap / 2
        low, high = shapely.box(0, 0, 2000, y + half), shapely.box(0, y - half, 2000, 600)
        if upright:
            low, high = shapely.box(0, 0, y + half, 600), shapely.box(y - half, 0, 2000, 600)
        number = len(self.pieces)
        ids = (f"{layer}.{number}", f"{layer}.{number + 1}")
        material = next(x.material for x in self.layers if x.id == layer)
        for part, (own, other, area) in enumerate([(*ids, low), (*ids[::-1], high)], 1):
            ring = np.array(area.exterior.coords)[:-1]
            self.pieces.append(
                Piece(own, layer, "ply", material, angle, ring, (), None, ring, area.area, 1, "s",
                      0.2, (PieceEdge(edge, ring[:2], "square", mate=other),),
                      SpliceInfo(part, 2, kind, overlap, (other,)))
            )  # fmt: skip
        return self

    def findings(self):
        base = spec(self.layers)
        made = replace(
            base,
            stages=tuple(self.stages),
            choices=self.choices,
            materials=Materials(
                {"twill": TWILL, "ud": UD}, {"foam": foam()}, {"strip": STRIP},
                {"peel": peel_ply()}, {}, PASTES,
            ),  # fmt: skip
        )
        zones = find_zones(self.laid, FACE, made)
        return trade_findings(made, FACE, self.laid, self.pieces, zones)

    def codes(self):
        return {f.code: f for f in self.findings()}


def quasi():
    """A skin that keeps every rule: balanced, symmetric, all directions, 45 outside."""
    return Made().ply("A1", angle=45).ply("A2", angle=0).ply("A3", angle=0).ply("A4", angle=45)


GROUND = shapely.box(0, 0, 800, 600)

BROKEN = {
    "drop-step-short": lambda: quasi().run("R", (900, 896, 892), 4.0).ply("Z"),
    "drops-together": lambda: quasi().ply("D1", GROUND).ply("D2", GROUND).ply("D3", GROUND),
    "drop-uncovered": lambda: quasi().run("R", (900, 860), 40.0),
    "drop-on-core-side": lambda: Made().ply("A").ply("D", shapely.box(0, 0, 900, 600)).core(),
    "drop-at-core-edge": lambda: Made().core().ply("B", CORE.buffer(5, join_style="mitre")),
    "drop-on-bond-land": lambda: quasi()
    .ply("D", GROUND)
    .peel("PS", shapely.box(0, 200, 2000, 300)),
    "butt-not-staggered": lambda: quasi().splice("A2", 300, "butt").splice("A3", 310, "butt"),
    "butt-across-fibre": lambda: Made()
    .ply("U", angle=0, material="ud")
    .splice("U", 900, "butt", upright=True),
    "overlap-short": lambda: quasi().splice("A2", 300, "overlap", 15.0),
    "overlap-close": lambda: quasi()
    .splice("A2", 300, "overlap", 25.0)
    .splice("A3", 380, "overlap", 25.0),
    "overlap-or-butt": lambda: quasi().splice("A2", 300, "overlap", 25.0),
    "same-angle-together": lambda: Made()
    .ply("A", angle=45).ply("B", angle=0).ply("C", angle=0).ply("D", angle=0)
    .ply("E", angle=0).ply("F", angle=0).ply("G", angle=45),
    "outside-not-45": lambda: Made().ply("A", angle=0).ply("B", angle=45),
    "direction-missing": lambda: Made().ply("A", angle=45).ply("B", angle=45),
    "zone-not-symmetric": lambda: Made().ply("A", angle=45).ply("B", angle=0),
    "zone-not-balanced": lambda: Made().ply("A", angle=30, material="ud"),
    "hardpoint-not-balanced": lambda: Made()
    .ply("A", angle=45, material="ud")
    .core(cut_outs=(CutOut("H", 1.0),))
    .insert("H", shapely.box(900, 200, 1000, 300))
    .ply("B", angle=-45, material="ud"),
    "core-bevel-steep": lambda: Made().core(edges=(("", Treatment("bevel", 45.0)),)),
    "core-square-edge": lambda: Made().core(edges=(*BEVEL, ("tip", Treatment("square")))),
    "core-groove": lambda: Made()
    .core("C1", shapely.box(300, 100, 900, 500))
    .core("C2", shapely.box(900, 100, 1500, 500)),
    "core-gap-wide": lambda: Made().core(cut_outs=(CutOut("H", 1.6),)),
    "seam-bevelled": lambda: Made().core(
        seams=(Seam("S1", SpanLine(900), Treatment("bevel", 45.0)),)
    ),
    "seam-at-hardpoint": lambda: Made()
    .core(seams=(Seam("S1", SpanLine(1010), Treatment("square")),), cut_outs=(CutOut("H", 1.0),))
    .insert("H", shapely.box(900, 200, 1000, 300)),
    "core-not-perforated": lambda: Made(
        stages=(StageRule("dry", "dry_layup", "", ("C1",)),)
    ).core(stage="dry", perforate=False),
    "rod-light-filler": lambda: Made(
        stages=(StageRule("caps", "core_bond", "", ("K",), thickened="bubbles"),)
    ).rod("K"),
    "peel-ply-buried": lambda: Made(
        stages=(StageRule("s", "wet_laminate", "", ()), StageRule("last", "trim", "", ()))
    ).ply("A").peel("PS", GROUND).ply("B"),
    "peel-ply-none": lambda: Made(
        stages=(StageRule("s", "wet_laminate", "", ()), StageRule("jig", "assembly_jig", "", ()))
    ).ply("A"),
    "piece-wider-than-roll": lambda: wide(1300.0),
}  # fmt: skip

KEPT = {
    "drop-step-short": lambda: quasi().run("R", (900, 880, 860), 20.0).ply("Z"),
    "drops-together": lambda: quasi().ply("D1", GROUND).ply("D2", GROUND),
    "drop-uncovered": lambda: quasi().run("R", (900, 860), 40.0).ply("Z"),
    "drop-on-core-side": lambda: Made().ply("D", shapely.box(0, 0, 900, 600)).ply("A").core(),
    "drop-at-core-edge": lambda: Made().core().ply("B", CORE.buffer(40, join_style="mitre")),
    "drop-on-bond-land": lambda: quasi()
    .ply("D", GROUND)
    .peel("PS", shapely.box(820, 200, 2000, 300)),
    "butt-not-staggered": lambda: quasi().splice("A2", 300, "butt").splice("A3", 316, "butt"),
    "butt-across-fibre": lambda: Made()
    .ply("U", angle=0, material="ud")
    .splice("U", 300, "butt"),
    "overlap-short": lambda: quasi().splice("A2", 300, "overlap", 20.0),
    "overlap-close": lambda: quasi()
    .splice("A2", 200, "overlap", 25.0)
    .splice("A3", 330, "overlap", 25.0),
    "overlap-or-butt": lambda: quasi().splice("A2", 300, "butt"),
    "same-angle-together": lambda: Made()
    .ply("A", angle=45).ply("B", angle=0).ply("C", angle=0).ply("D", angle=0)
    .ply("E", angle=0).ply("G", angle=45),
    "outside-not-45": quasi,
    "direction-missing": quasi,
    "zone-not-symmetric": quasi,
    "zone-not-balanced": quasi,
    "hardpoint-not-balanced": lambda: Made()
    .ply("A", angle=45)
    .core(cut_outs=(CutOut("H", 1.0),))
    .insert("H", shapely.box(900, 200, 1000, 300))
    .ply("B", angle=45),
    "core-bevel-steep": lambda: Made().core(),
    "core-square-edge": lambda: Made().core(
        region=shapely.box(300, 100, 2000, 500), edges=(*BEVEL, ("tip", Treatment("square")))
    ),
    "core-groove": lambda: Made()
    .core("C1", shapely.box(300, 100, 900, 500), (*BEVEL, ("tip", Treatment("square"))))
    .core("C2", shapely.box(900, 100, 1500, 500), (*BEVEL, ("root", Treatment("square")))),
    "core-gap-wide": lambda: Made().core(cut_outs=(CutOut("H", 1.0),)),
    "seam-bevelled": lambda: Made().core(
        seams=(Seam("S1", SpanLine(900), Treatment("scarf", 20.0)),)
    ),
    "seam-at-hardpoint": lambda: Made()
    .core(seams=(Seam("S1", SpanLine(1025), Treatment("square")),), cut_outs=(CutOut("H", 1.0),))
    .insert("H", shapely.box(900, 200, 1000, 300)),
    "core-not-perforated": lambda: Made(
        stages=(StageRule("dry", "dry_layup", "", ("C1",)),)
    ).core(stage="dry"),
    "rod-light-filler": lambda: Made(
        stages=(StageRule("caps", "core_bond", "", ("K",), thickened="flock"),)
    ).rod("K"),
    "peel-ply-buried": lambda: Made(
        stages=(StageRule("s", "wet_laminate", "", ()), StageRule("last", "trim", "", ()))
    ).ply("A").ply("B").peel("PS", GROUND),
    "peel-ply-none": lambda: Made(
        stages=(StageRule("s", "wet_laminate", "", ()), StageRule("jig", "assembly_jig", "", ()))
    ).ply("A").peel("PS", GROUND),
    "piece-wider-than-roll": lambda: wide(1200.0),
}  # fmt: skip


def wide(width):
    made = Made().ply("A", angle=0)
    ring = np.array([[0, 0], [2000, 0], [2000, width], [0, width]], float)
    made.pieces.append(
        Piece("A", "A", "ply", "twill", 0.0, ring, (), None, ring, 1.0, 1, "s", 0.2, ())
    )
    return made


def test_every_rule_of_the_data_file_is_measured_and_tested():
    assert set(trade_rules()) == set(checks()) == set(BROKEN) == set(KEPT)


@pytest.mark.parametrize("code", sorted(BROKEN))
def test_a_broken_rule_is_told_with_layers_source_and_remedy(code):
    found = BROKEN[code]().codes()
    assert code in found
    told = found[code]
    assert told.layers and told.source and told.help and told.message
    assert told.severity is not Severity.ERROR


@pytest.mark.parametrize("code", sorted(KEPT))
def test_a_kept_rule_is_not_told(code):
    assert code not in KEPT[code]().codes()


def test_a_quiet_part_has_no_findings_at_all():
    assert quasi().findings() == ()


def test_both_published_figures_stand_in_the_finding_where_rules_conflict():
    bevel = BROKEN["core-bevel-steep"]().codes()["core-bevel-steep"]
    assert "27.5 mm" in bevel.message and "10.0 mm" in bevel.message  # t / tan a of 10 mm
    assert bevel.severity is Severity.NOTE
    lap = BROKEN["overlap-or-butt"]().codes()["overlap-or-butt"]
    assert "A-32" in lap.message and "20 mm" in lap.message


def test_a_bevel_steeper_than_the_declared_choice_is_a_warning():
    made = Made(core_bevel_deg=30.0).core(edges=(("", Treatment("bevel", 45.0)),))
    assert made.codes()["core-bevel-steep"].severity is Severity.WARNING


def test_the_place_stands_in_the_finding():
    told = BROKEN["drop-on-bond-land"]().codes()["drop-on-bond-land"]
    assert "x 800" in told.message and told.layers == ("D", "PS")
    assert "x 900" in BROKEN["drop-on-core-side"]().codes()["drop-on-core-side"].message


def test_figures_in_the_data_are_the_published_ones():
    rules = trade_rules()
    assert rules["butt-not-staggered"].value == 15 and "A-31" in rules["butt-not-staggered"].source
    assert rules["overlap-short"].value == 100
    assert rules["overlap-close"].value == pytest.approx(4 * 25.4)
    assert rules["core-bevel-steep"].value == 20
    assert rules["core-gap-wide"].value == pytest.approx(25.4 / 16, abs=0.02)
    assert rules["same-angle-together"].value == 4
    assert rules["direction-missing"].value == 10


def test_a_source_that_was_not_read_says_so():
    assert source_words(trade_rules()["drop-step-short"]).endswith("from memory")
    assert source_words(trade_rules()["outside-not-45"]).endswith("second hand")
    assert source_words(trade_rules()["core-square-edge"]) == "common practice, no source"


SQUARE = Treatment("square")


def side_by_side(tip=SQUARE, root=SQUARE, apart=0.0):
    west, east = shapely.box(300, 100, 900, 500), shapely.box(900 + apart, 100, 1500, 500)
    return (
        Made()
        .core("C1", west, (*BEVEL, ("tip", tip)))
        .core("C2", east, (*BEVEL, ("root", root)))
    )  # fmt: skip


def test_a_square_edge_against_another_core_is_right():
    assert not {"core-groove", "core-square-edge"} & set(side_by_side().codes())
    assert "core-square-edge" in side_by_side(apart=30.0).codes()


def test_a_groove_between_cores_is_told_with_its_size_and_what_to_write():
    """Two bevels of 20 degrees in 10 mm: 10 / tan 20 = 27.47 mm each."""
    bevel = Treatment("bevel", 20.0)
    told = side_by_side(bevel, bevel).codes()["core-groove"]
    assert "54.9 mm wide and 10 mm deep" in told.message
    assert "`tip: square` to the edges of C1 and `root: square` to the edges of C2" in told.message
    told = side_by_side(bevel).codes()["core-groove"]
    assert "27.5 mm wide" in told.message and "`root" not in told.message


def test_a_square_opening_is_told_with_the_words_that_slope_it():
    region = CORE.difference(shapely.box(800, 250, 900, 350))
    told = Made().core(region=region).codes()["core-square-edge"]
    assert "round an opening" in told.message and "`holes: bevel 45`" in told.message
    sloped = Made().core(region=region, edges=(*BEVEL, ("holes", Treatment("bevel", 20.0))))
    assert "core-square-edge" not in sloped.codes()


def test_short_overlaps_of_like_plies_are_told_once():
    made = quasi().splice("A2", 300, "overlap", 15.0).splice("A3", 400, "overlap", 15.0)
    (told,) = [f for f in made.findings() if f.code == "overlap-short"]
    assert told.layers == ("A2", "A3")
    assert told.message.startswith("overlaps of A2 and A3 are 15 mm")


def test_plies_that_all_stop_at_the_rim_of_an_opening_drop_nothing():
    hole = shapely.box(900, 250, 1000, 350)
    made = Made()
    for number, angle in enumerate((45, 0, 0, 45)):
        made.ply(f"A{number}", shapely.box(0, 0, 2000, 600).difference(hole), angle=angle)
    assert "drops-together" not in made.codes()


def test_joints_at_a_break_are_told_once_and_not_to_be_staggered():
    """Two caps of one-way cloth in two strips each, butted where the face breaks: four joints on
    one line that nothing can move."""
    made = Made().ply("U1", angle=0, material="ud").ply("U2", angle=0, material="ud")
    for layer in ("U1", "U2"):
        for _ in range(2):
            made.splice(layer, 900, "butt", upright=True, edge="kink 1")
    told = [f for f in made.findings() if f.code.startswith("butt-")]
    assert [f.code for f in told] == ["butt-across-fibre"]
    assert "U1 and U2 are butted across their fibres, where the face breaks" in str(told[0].message)


@pytest.mark.parametrize("first", range(4))
@pytest.mark.parametrize("mirror", [1.0, -1.0])
def test_the_place_of_an_end_does_not_hang_on_where_its_ring_begins(first, mirror):
    """An end 400 mm long across a part 600 mm wide; its ring has a point at a fifth of it."""
    ring = np.array([[0, 0], [900, 0], [900, 180], [900, 600], [0, 600]]) * (1.0, mirror)
    region = shapely.Polygon(np.roll(ring, -first, axis=0)[::-1])
    part = shapely.box(-1, 100, 2000, 500) if mirror > 0 else shapely.box(-1, -500, 2000, -100)
    end = region.boundary.intersection(part).intersection(shapely.box(800, -600, 1000, 600))
    assert middle_of_longest(end) == pytest.approx((900.0, mirror * 300.0))


def test_the_place_of_a_closed_end_does_not_hang_on_where_its_ring_begins():
    ring = np.array([[300, 200], [500, 250], [400, 400]], dtype=float)
    for first in range(3):
        at = middle_of_longest(shapely.LinearRing(np.roll(ring, first, axis=0)))
        assert at == pytest.approx((300.0, 200.0))
