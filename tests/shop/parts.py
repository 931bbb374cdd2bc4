"""Small parts made by hand for the bench-side tests: a flat hatch, a sandwich skin, a spar.

The skin and the spar use a face that is a plane lifted by dihedral and sheared by sweep, so that
every place in space can be worked out with a pencil.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from plybook.laminate.model import LaidLayer, Laminate, Piece, PieceEdge, SpliceInfo, Zone
from plybook.nest.model import CutPlan, Item, Layout, Placement, Unit
from plybook.spec import model as s
from plybook.surface.model import FaceEdge, StationLine, StrainReport

BUTT = s.SpliceRule("butt", 0.0, 50.0, 100.0)

RESIN = s.Resin("slow", "Lark slow epoxy", (("resin", 100.0), ("hardener", 27.0)), 1.15,
                30 * 60, 100.0, 25.0, 400.0, 8 * 3600, price=22.0)  # fmt: skip
THICK = s.ThickenedResin("slow+silica", "Thickened", "slow", "fumed silica", 1.0, 0.05, 300.0)
CARBON = s.Cloth("carbon-200", "Carbon twill 200", "twill", 200.0, 1.80, 0.50, 200 / 900, 1270.0,
                 1250.0, True, True, BUTT, 0.5, 45.0, 0.0, "slow", price=40.0)  # fmt: skip
GLASS = replace(CARBON, id="glass-163", name="Glass plain 163", weave="plain", areal_g_m2=163.0,
                fibre_g_cm3=2.54, fibre_volume_share=0.40, thickness_mm=0.1604)  # fmt: skip
FOAM = s.CoreStock("foam-10", "Foam 10 mm", 10.0, 80.0, (2438.4, 1219.2), False, 200.0, 0.0, 55.0)
BIRCH = replace(FOAM, id="birch-10", name="Birch ply 10 mm", density_kg_m3=680.0, use="insert")
CAP = s.RodStock("cap-10x3", "Carbon strip 10 x 3", 10.0, 3.0, 1.55, (50000.0,), 2000.0, price=6.0)
PEEL = s.Consumable("peel", "Peel ply", "peel_ply", 1500.0, 83.0, 0.12, 100.0, price=3.0)

MATERIALS = s.Materials(
    {c.id: c for c in (CARBON, GLASS)},
    {c.id: c for c in (FOAM, BIRCH)},
    {CAP.id: CAP},
    {PEEL.id: PEEL},
    {RESIN.id: RESIN},
    {THICK.id: THICK},
)


def box(x0, y0, x1, y1):
    """A rectangle as a counter-clockwise ring."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


@dataclass(frozen=True)
class PlaneFace:
    """A rectangle `length` by `width` rising by `rise` and swept by `sweep` per mm of span."""

    length: float
    width: float
    rise: float = 0.0
    sweep: float = 0.0
    bend: float = 0.0  # extra rise at mid-span, for a line that is not straight
    flat: bool = True
    twist_deg: float = 0.0  # at the tip, about the leading edge, nose up

    @property
    def outline_mm(self):
        return box(0, 0, self.length, self.width)

    holes_mm = ()

    @property
    def leaves_mm(self):
        return (self.outline_mm,)

    @property
    def edges(self):
        ring = self.outline_mm
        names = ("trailing", "tip", "leading", "root")
        return tuple(
            FaceEdge(name, np.array([ring[n], ring[(n + 1) % 4]])) for n, name in enumerate(names)
        )

    @property
    def station_lines(self):
        spans = (0.0, self.length / 2, self.length)
        return tuple(StationLine(f"{x:g}", x, np.array([[x, self.width], [x, 0.0]])) for x in spans)

    @property
    def axis_mm(self):
        return np.array([[0.0, 0.0], [self.length, 0.0]])

    strain = StrainReport(0.0, 0.0, 0.0, True, 0.1, 2, np.zeros((3, 2)),
                          np.zeros((1, 3), int), np.zeros(1))  # fmt: skip
    kinks = ()

    @property
    def area_mm2(self):
        return self.length * self.width

    def to_pattern(self, span_share):
        span, share = np.asarray(span_share, float).T
        return np.column_stack((span, self.width * (1 - share)))

    def from_pattern(self, points_mm):
        x, y = np.asarray(points_mm, float).T
        return np.column_stack((x, 1 - y / self.width))

    def to_space(self, points_mm):
        span, share = self.from_pattern(points_mm).T
        t = span / self.length
        twist = np.radians(self.twist_deg * t)
        aft = self.sweep * span + self.width * share * np.cos(twist)
        up = self.rise * span + self.bend * 4 * t * (1 - t) - self.width * share * np.sin(twist)
        return np.column_stack((aft, span, up))


def station_mould(length, chord):
    stations = tuple(
        s.Station(x, chord, 0.0, 0.0, 0.0, 0.25, s.NacaSection("2412"))
        for x in (0.0, length / 2, length)
    )
    return s.StationMould(stations, "upper", 0.0, 1.0, "female", "ruled",
                          ("leading", "trailing", "root", "tip"), ())  # fmt: skip


def piece(id, layer, kind, material, ring, angle=0.0, thickness=0.2222, **more):
    ring = np.asarray(ring, float)
    area = float(shapely.Polygon(ring).area)
    return Piece(
        id, layer, kind, material, angle, ring, more.pop("holes_mm", ()), None, ring, area,
        more.pop("quantity", 1), "", thickness, more.pop("edges", ()), **more,
    )  # fmt: skip


def laid(id, pieces, note=""):
    first = pieces[0]
    region = shapely.union_all([shapely.Polygon(p.laid_outline_mm) for p in pieces])
    return LaidLayer(id, first.kind, first.material, first.angle_deg, "", first.thickness_mm,
                     region, tuple(p.id for p in pieces), note=note)  # fmt: skip


def laminate(layers, mass_g=1500.0, findings=()):
    """From [(layer id, pieces)], mould face up."""
    rows = tuple(laid(id, pieces) for id, pieces in layers)
    zone = Zone("A", rows[0].region, tuple(r.id for r in rows), "[0]", 0.5, mass_g, True, True,
                None, 1.0)  # fmt: skip
    return Laminate(
        tuple(p for _, pieces in layers for p in pieces), rows, (zone,), (), mass_g,
        np.array([300.0, 900.0, 20.0]), tuple(findings),
    )  # fmt: skip


def spec_of(face, layers=(), stages=(), number="TS-1", mould=None, **more):
    part = more.pop("part", s.PartInfo(number, "Test skin", "A", "2026-02-03", "none", "", "mm"))
    if mould is None:
        ring = face.outline_mm
        edges = (("trailing", 0, 1), ("tip", 1, 2), ("leading", 2, 3), ("root", 3, 4))
        mould = s.OutlineMould(ring, (), edges)
    return s.PartSpec(
        part, mould, s.AtShare(0.25), more.pop("materials", MATERIALS), (), tuple(layers),
        more.pop("edges", (s.EdgeRule("leading", 15.0),)), tuple(stages),
        tuple(more.pop("jig_checks", ())), s.NestRules(),
        more.pop("workshop", s.Workshop(wetting_m2_h=4.0)), s.DesignChoices(), (), (),
    )  # fmt: skip


def cut_plan(lam, number="TS-1"):
    """Everything in one row on one unit per material, as a plan the shop can read."""
    items, layouts = [], []
    for material in dict.fromkeys(p.material for p in lam.pieces):
        own = [p for p in lam.pieces if p.material == material]
        kind = {"ply": "roll", "film": "roll", "rod": "bar"}.get(own[0].kind, "sheet")
        x, placements = 0.0, []
        for p in own:
            items.append(Item(f"{number}/{p.id}", p.outline_mm, p.quantity, (0.0, 180.0)))
            placements.append(Placement(f"{number}/{p.id}", 1, x, 0.0, 0.0))
            x += float(np.ptp(p.outline_mm[:, 0])) + 3.0
        unit = Unit(f"{kind[0].upper()}1-{material}", kind, material, 50000.0, 1250.0, bought=True)
        layouts.append(Layout(unit, tuple(placements), x, 0.0, 0.7))
    return CutPlan(tuple(layouts), tuple(items), ())


def hatch(**more):
    """Two glass plies on a flat plate 600 x 400."""
    face = PlaneFace(600.0, 400.0)
    plies = [
        (name, [piece(name, name, "ply", "glass-163", box(0, -15, 600, 415), angle)])
        for name, angle in (("P1", 45.0), ("P2", 0.0))
    ]
    lam = laminate(plies, 260.0)
    layers = [s.Ply(n, "glass-163", "", s.Whole(), angle_deg=0.0) for n in ("P1", "P2")]
    return spec_of(face, layers, **more), face, lam, cut_plan(lam)


def skin(stages=(), **more):
    """A sandwich skin 2400 x 800: two plies, a core in two panels with an insert, two plies."""
    face = PlaneFace(2400.0, 800.0, rise=0.05, flat=False)
    whole = box(-20, -20, 2420, 820)
    half = [box(-20, -20, 1200, 820), box(1200, -20, 2420, 820)]
    butt = lambda n, other: SpliceInfo(n, 2, "butt", 0.0, (other,))  # noqa: E731
    seam1 = PieceEdge("seam S1", np.array([[1200.0, 60.0], [1200.0, 740.0]]), "square",
                      mate="C1.2")  # fmt: skip
    bevel = lambda name: PieceEdge(name, np.array([[0.0, 0.0], [1.0, 0.0]]), "bevel", 45.0)  # noqa: E731
    seam2 = replace(seam1, points_mm=seam1.points_mm[::-1], mate="C1.1")
    left = (bevel("trailing"), seam1, bevel("leading"), bevel("root"))
    right = (bevel("trailing"), bevel("tip"), bevel("leading"), seam2)
    hole = box(500, 300, 700, 450)
    rows = [
        ("P1", [piece("P1", "P1", "ply", "carbon-200", whole, 45.0)]),
        ("P2", [piece("P2.1", "P2", "ply", "carbon-200", half[0], 0.0, splice=butt(1, "P2.2")),
                piece("P2.2", "P2", "ply", "carbon-200", half[1], 0.0, splice=butt(2, "P2.1"))]),
        ("C1", [piece("C1.1", "C1", "core", "foam-10", box(60, 60, 1200, 740), 0.0, 10.0,
                      edges=left, holes_mm=(hole,)),
                piece("C1.2", "C1", "core", "foam-10", box(1200, 60, 2340, 740), 0.0, 10.0,
                      edges=right)]),
        ("H1", [piece("H1", "H1", "insert", "birch-10", box(501, 301, 699, 449), 0.0, 10.0)]),
        ("P3", [piece("P3", "P3", "ply", "carbon-200", whole, 0.0)]),
        ("P4", [piece("P4", "P4", "ply", "carbon-200", whole, -45.0)]),
    ]  # fmt: skip
    lam = laminate(rows, 3900.0)
    layers = [
        s.Ply("P1", "carbon-200", "", s.Whole(), angle_deg=45.0),
        s.Ply("P2", "carbon-200", "", s.Whole(), angle_deg=0.0),
        s.Core("C1", "foam-10", "", s.Whole(), thickness_mm=10.0,
               cut_outs=(s.CutOut("H1", 1.0),)),
        s.Insert("H1", "birch-10", "", s.Whole(), thickness_mm=10.0, core="C1"),
        s.Ply("P3", "carbon-200", "", s.Whole(), angle_deg=0.0),
        s.Ply("P4", "carbon-200", "", s.Whole(), angle_deg=-45.0,
              drop=s.DropRun("R", 1, 2, "tip", 150.0)),
    ]  # fmt: skip
    more.setdefault("mould", station_mould(2400.0, 800.0))
    return spec_of(face, layers, stages, **more), face, lam, cut_plan(lam)


def spar(**more):
    """A spar laid dry and infused: face plies, core, two rows of cap rods, a closing ply."""
    face = PlaneFace(3000.0, 220.0, rise=np.tan(np.radians(3.0)), flat=False)
    whole = box(-20, -10, 3020, 230)
    rows = [
        ("F1", [piece("F1", "F1", "ply", "carbon-200", whole, 45.0)]),
        ("W1", [piece("W1", "W1", "core", "foam-10", box(0, 60, 3000, 160), 0.0, 10.0)]),
        ("K1", [piece("K1", "K1", "rod", "cap-10x3", box(0, 0, 3000, 10), 0.0, 3.0, quantity=4)]),
        ("F2", [piece("F2", "F2", "ply", "carbon-200", whole, -45.0)]),
    ]
    lam = laminate(rows, 2600.0)
    layers = [
        s.Ply("F1", "carbon-200", "dry", s.Whole(), angle_deg=45.0),
        s.Core("W1", "foam-10", "dry", s.Whole(), thickness_mm=10.0),
        s.Rod("K1", "cap-10x3", "dry", s.Whole(), line=(), rows=4),
        s.Ply("F2", "carbon-200", "dry", s.Whole(), angle_deg=-45.0),
    ]
    stages = (
        s.StageRule("mould", "mould_preparation", "", ()),
        s.StageRule("dry", "dry_layup", "", ("F1", "W1", "K1", "F2"), "slow"),
        s.StageRule("cure", "cure", "", ()),
        s.StageRule("demould", "demould", "", ()),
        s.StageRule("trim", "trim", "", ()),
        s.StageRule("jig", "assembly_jig", "", ()),
    )
    jig = (
        s.JigCheck("J1", "height", 2.0),
        s.JigCheck("J2", "screws", 0.0, pitch_mm=304.8),
        s.JigCheck("J3", "diagonal", 3.0),
    )
    more.setdefault("mould", station_mould(3000.0, 220.0))
    return spec_of(face, layers, stages, jig_checks=jig, **more), face, lam, cut_plan(lam)


def all_words(shop):
    """Every printed word of the stages, as (where, text)."""
    for stage in shop.stages:
        yield stage.id, stage.title
        for thing in stage.at_hand:
            yield stage.id, thing
        for step in stage.steps:
            where = f"{stage.id}/{step.name}"
            yield from ((where, text) for text in (step.title, *step.text, *step.at_hand))
            yield from ((where, check.text) for check in step.checks)
            yield from ((where, check.source) for check in step.checks if check.source)
            yield from ((where, caution.text) for caution in step.cautions)
            yield from ((where, timer.label) for timer in step.timers)


def two_caps():
    """A cured ply of 3040 x 240 with a rod of 3000 x 10 x 3 bonded along either side."""
    rods = [
        piece(name, name, "rod", "cap-10x3", box(0, y, 3000, y + 10), thickness=3.0)
        for name, y in (("LC", 20), ("UC", 170))
    ]
    ply = piece("P", "P", "ply", "carbon-200", box(-20, -20, 3020, 220))
    face = PlaneFace(3000.0, 200.0)
    rules = (
        s.StageRule("skin", "wet_laminate", "", ("P",)),
        s.StageRule("caps", "core_bond", "", ("LC", "UC")),
    )
    lam = laminate([("P", [ply]), ("LC", rods[:1]), ("UC", rods[1:])])
    return spec_of(face, stages=rules), face, lam, CutPlan((), (), ())
