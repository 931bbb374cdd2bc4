"""Hand-made values for drawing and writing tests: a tapered skin with plies, core and a hardpoint.

Nothing here is computed by the rooms to the left, so a picture or page that looks wrong can only
be the fault of the code under test.
"""

from __future__ import annotations

import numpy as np
from shapely import Polygon, box, contains_xy

from plybook.diagnostics import Severity, warning
from plybook.drawing.document import Blank, CheckBox, Cups, Ledger, Notes, SignOff, TimerBox
from plybook.laminate.model import (
    Growth,
    LaidLayer,
    Laminate,
    Piece,
    PieceEdge,
    SectionCut,
    SpliceInfo,
    Zone,
)
from plybook.nest.model import CutPlan, Item, Layout, Placement, Unit
from plybook.shop.model import (
    Batch,
    Budget,
    Caution,
    Check,
    DayPlan,
    Measure,
    Quantity,
    Shop,
    Stage,
    Step,
    Timer,
)
from plybook.spec.model import (
    AtShare,
    Cloth,
    CoreStock,
    DesignChoices,
    Materials,
    NestRules,
    OutlineMould,
    PartInfo,
    PartSpec,
    Resin,
    SpliceRule,
    Workshop,
)
from plybook.surface.model import FaceEdge, StationLine, StrainReport

SPAN_MM, ROOT_MM, TIP_MM = 3800.0, 1200.0, 760.0

# One list for every name, note and title: five syntaxes users' words could break out into.
NASTY = (
    "</script><script>alert(1)</script>",
    "<b>bold</b> & \"quotes\" 'single'",
    "]]></style><style>*{display:none}",
    "javascript:alert(1)",
    '[carbon] [/0] =HYPERLINK("x") +1 @SUM',
    "${danger} {{danger}} \\u003c %s %(x)s",
)


class TaperedFace:
    """A flat-pattern trapezoid with a gently cambered shape in space."""

    def __init__(
        self, span_mm=SPAN_MM, root_mm=ROOT_MM, tip_mm=TIP_MM, stations=(0, 950, 1900, 2850, 3800)
    ):
        self.span_mm, self.root_mm, self.tip_mm = span_mm, root_mm, tip_mm
        corners = self.to_pattern(np.array([[0, 1], [span_mm, 1], [span_mm, 0], [0, 0]], float))
        self.outline_mm = corners
        names = ("trailing", "tip", "leading", "root")
        self.edges = tuple(
            FaceEdge(name, corners[[i, (i + 1) % 4]]) for i, name in enumerate(names)
        )
        self.holes_mm = ()
        self.leaves_mm = (corners,)
        self.station_lines = tuple(
            StationLine(f"STA {at:.0f}", float(at), self.span_line(at)) for at in stations
        )
        self.axis_mm = np.array([[0.0, 0.0], [span_mm, 0.0]])
        nodes = np.array([[x, y] for x in (0, span_mm / 2, span_mm) for y in (-200.0, 100.0)])
        faces = np.array([[0, 2, 1], [1, 2, 3], [2, 4, 3], [3, 4, 5]])
        self.strain = StrainReport(
            0.04, -0.02, 0.1, True, 0.5, len(faces), nodes, faces, np.array([0.0, 0.01, 0.02, 0.04])
        )
        self.kinks = ()
        self.flat = False
        self.area_mm2 = Polygon(corners).area

    def _chord(self, span):
        return self.root_mm + (self.tip_mm - self.root_mm) * span / self.span_mm

    def to_pattern(self, span_share):
        span, share = np.asarray(span_share, float).T
        return np.column_stack([span, (0.25 - share) * self._chord(span)])

    def from_pattern(self, points_mm):
        x, y = np.asarray(points_mm, float).T
        return np.column_stack([x, 0.25 - y / self._chord(x)])

    def to_space(self, points_mm):
        span, share = self.from_pattern(points_mm).T
        chord = self._chord(span)
        aft = 0.08 * span + share * chord
        up = 0.05 * span - 0.35 * chord * share * (1 - share)
        return np.column_stack([aft, -span, up])

    def normals(self, points_mm):
        return np.tile([0.0, 0.0, -1.0], (len(np.atleast_2d(points_mm)), 1))

    def curvature(self, points_mm):
        return np.zeros((len(np.atleast_2d(points_mm)), 2, 2))

    def span_line(self, span_mm):
        share = np.linspace(0, 1, 9)
        return self.to_pattern(np.column_stack([np.full(9, float(span_mm)), share]))

    def share_line(self, share):
        span = np.linspace(0, self.span_mm, 9)
        return self.to_pattern(np.column_stack([span, np.full(9, float(share))]))

    def quad(self, span0, span1, share0, share1):
        """Ring between two spans and two shares."""
        return self.to_pattern(
            np.array([[span0, share1], [span1, share1], [span1, share0], [span0, share0]], float)
        )


def spec(name="Outer wing skin, upper", paper="a4", units="mm", notes=(), **part) -> PartSpec:
    """A whole PartSpec around a part; only what the booklet reads is filled in with care."""
    facts = dict(
        number="KT-210",
        name=name,
        revision="B",
        date="2026-05-04",
        hand="left",
        other_hand="KT-211",
        units=units,
        notes=tuple(notes),
        designer="M. Okafor",
        drawn_by="R. Lind",
        approved_by="",
        owner="",
    )
    info = PartInfo(**{**facts, **part})
    butt = SpliceRule("butt", 0.0, 50.0, 150.0)
    twill = Cloth(
        "carbon-twill-200",
        "Carbon twill 200 g/m²",
        "twill",
        200,
        1.8,
        0.45,
        0.247,
        1270,
        1250,
        True,
        True,
        butt,
        0.5,
        40,
        6,
        "epoxy",
    )
    ud = Cloth(
        "carbon-ud-300",
        "Carbon unidirectional 300 g/m²",
        "unidirectional",
        300,
        1.8,
        0.5,
        0.333,
        500,
        490,
        True,
        False,
        butt,
        0.5,
        0,
        6,
        "epoxy",
    )
    foam = CoreStock("foam-10", "Closed-cell foam 10 mm", 10, 75, (2438.4, 1219.2), False, 300, 0)
    birch = CoreStock(
        "birch-10", "Birch plywood 10 mm", 10, 680, (1220, 610), True, 50, 0, use="insert"
    )
    epoxy = Resin(
        "epoxy",
        "Laminating epoxy, slow",
        (("resin", 100.0), ("hardener", 30.0)),
        1.12,
        3600,
        100,
        25,
        500,
        86400,
    )
    return PartSpec(
        part=info,
        mould=OutlineMould(np.zeros((4, 2)), (), ()),
        axis=AtShare(0.25),
        materials=Materials(
            {twill.id: twill, ud.id: ud},
            {foam.id: foam, birch.id: birch},
            {},
            {},
            {epoxy.id: epoxy},
            {},
        ),
        stock=(),
        layers=(),
        edges=(),
        stages=(),
        jig_checks=(),
        nest=NestRules(),
        workshop=Workshop(paper=paper),
        choices=DesignChoices(),
        acknowledged=(),
        files=(),
    )


def piece(id, layer, kind, material, angle, ring, stage, thickness, **more) -> Piece:
    """A piece cut where it lies."""
    ring = np.asarray(ring, float)
    edges = more.pop("edges", (PieceEdge("all", ring, "square"),))
    return Piece(
        id,
        layer,
        kind,
        material,
        angle,
        ring,
        (),
        None,
        ring,
        float(Polygon(ring).area),
        1,
        stage,
        thickness,
        edges,
        **more,
    )


def laminate(face: TaperedFace | None = None) -> Laminate:
    """Outer skin, a run of three doublers, two core panels, a hardpoint and an inner skin."""
    f = face or TaperedFace()
    s = f.span_mm
    rows: list[tuple[LaidLayer, tuple[Piece, ...]]] = []

    def add(id, kind, material, angle, stage, t, pieces, note=""):
        region = Polygon()
        for p in pieces:
            region = region.union(Polygon(p.laid_outline_mm))
        rows.append(
            (
                LaidLayer(
                    id,
                    kind,
                    material,
                    angle,
                    stage,
                    t,
                    region,
                    tuple(p.id for p in pieces),
                    note=note,
                ),
                tuple(pieces),
            )
        )

    twill, ud = "carbon-twill-200", "carbon-ud-300"
    for i, angle in enumerate((45.0, -45.0), start=1):
        halves = tuple(
            piece(
                f"P{i}-{part}",
                f"P{i}",
                "ply",
                twill,
                angle,
                ring,
                "outer",
                0.25,
                splice=SpliceInfo(part, 2, "butt", 0.0, (f"P{i}-{3 - part}",)),
                growth=Growth(0.0, 0.0, 0.0),
            )
            for part, ring in ((1, f.quad(0, s * 0.52, 0, 1)), (2, f.quad(s * 0.52, s, 0, 1)))
        )
        add(f"P{i}", "ply", twill, angle, "outer", 0.25, halves)
    for i in range(3):
        ring = f.quad(0, s * (0.62 - 0.14 * i), 0.18, 0.42)
        add(
            f"R{i + 1}",
            "ply",
            ud,
            0.0,
            "outer",
            0.33,
            (piece(f"R{i + 1}", f"R{i + 1}", "ply", ud, 0.0, ring, "outer", 0.33),),
        )
    a, b = f.quad(80, s * 0.5, 0.08, 0.9), f.quad(s * 0.5, s - 60, 0.08, 0.9)
    add(
        "C1",
        "core",
        "foam-10",
        0.0,
        "core",
        10.0,
        tuple(
            piece(
                f"C1-{i}",
                "C1",
                "core",
                "foam-10",
                0.0,
                ring,
                "core",
                10.0,
                edges=(
                    PieceEdge("trailing", ring[[0, 1]], "bevel", 45.0),
                    PieceEdge(
                        "tip" if i == 2 else "seam S1",
                        ring[[1, 2]],
                        "bevel" if i == 2 else "square",
                        45.0 if i == 2 else 90.0,
                        mate="" if i == 2 else "C1-2",
                    ),
                    PieceEdge("leading", ring[[2, 3]], "bevel", 45.0),
                    PieceEdge(
                        "root" if i == 1 else "seam S1",
                        ring[[3, 0]],
                        "bevel" if i == 1 else "square",
                        45.0 if i == 1 else 90.0,
                        mate="" if i == 1 else "C1-1",
                    ),
                ),
            )
            for i, ring in ((1, a), (2, b))
        ),
    )
    add(
        "H1",
        "insert",
        "birch-10",
        0.0,
        "core",
        10.0,
        (piece("H1", "H1", "insert", "birch-10", 0.0, f.quad(560, 740, 0.25, 0.36), "core", 10.0),),
    )
    add(
        "Q1",
        "ply",
        twill,
        45.0,
        "inner",
        0.25,
        (
            piece(
                "Q1",
                "Q1",
                "ply",
                twill,
                45.0,
                f.quad(0, s, 0, 1),
                "inner",
                0.25,
                growth=Growth(8.8, 4.95, 0.6),
            ),
        ),
    )
    layers = tuple(layer for layer, _ in rows)
    return Laminate(
        tuple(p for _, pieces in rows for p in pieces),
        layers,
        (
            Zone(
                "A",
                box(0, -100, 100, 100),
                ("P1", "P2", "C1", "Q1"),
                "[±45/core/45]",
                10.75,
                9200.0,
                False,
                True,
                None,
                2.9,
            ),
            Zone(
                "B",
                box(0, 100, 100, 200),
                ("P1", "P2", "Q1"),
                "[±45/45]",
                0.75,
                1800.0,
                False,
                False,
                None,
                0.8,
            ),
        ),
        (
            _section("along the span, share 0.30", layers, (0, 0.0), (s, 0.0)),
            _section("across at STA 950", layers, (950, 330.0), (950, -840.0)),
        ),
        11400.0,
        np.array([420.0, -1690.0, 60.0]),
        (
            warning(
                "core-bevel-choice",
                "core edges are bevelled at 45 degrees; one published rule asks for 20",
                acknowledged="the designer asked for 45 in note 3",
                source="declared choice",
                layers=("C1",),
            ),
            warning(
                "splice-near-spar",
                "splice of P1 lies 40 mm from a doubler end",
                "move the splice",
                layers=("P1",),
            ),
        ),
    )


def _section(name, layers, start, end) -> SectionCut:
    line = np.array([start, end], float)
    d = np.linspace(0, float(np.hypot(*(line[1] - line[0]))), 161)
    points = line[0] + (line[1] - line[0]) * (d / d[-1])[:, None]
    base = np.zeros_like(d)
    bands = []
    for layer in layers:
        inside = contains_xy(layer.region.buffer(1e-6), points)
        bottom = np.where(inside, base - 10.0, base) if layer.id == "H1" else base
        top = bottom + np.where(inside, layer.thickness_mm, 0.0)
        bands.append((layer.id, d, bottom, top))
        base = np.maximum(base, top)
    return SectionCut(name, line, tuple(bands))


BUDGET = Budget(
    5600.0,
    (
        Quantity("mass", "Cloth, dry", 5600.0, "g"),
        Quantity("mass", "Resin in the cloth", 5800.0, "g"),
    ),
    (Quantity("gone", "Left in the cups", 60.0, "g"),),
)


def shop() -> Shop:
    """Three stages with every kind of check."""
    glove = Caution(
        "Wear gloves: uncured epoxy can make you allergic for life.", "product's safety data sheet"
    )
    dust = Caution(
        "Foam and carbon dust: wear a respirator, catch dust at the tool.",
        "NIOSH HETA 2011-0180-3193",
    )
    wax = Step(
        "mould-wax",
        "Wax the mould",
        ("Put on a thin coat of wax, let it haze, buff it.",),
        checks=(
            Check(
                "coats",
                "Six coats on",
            ),
            Check("haze", "No haze left when a torch is held low"),
        ),
        timers=(Timer("wait", "Between coats", 3600),),
        cautions=(Caution("Solvent in wax burns: no flame, open the door.", "data sheet"),),
        at_hand=("wax", "lint-free cloths"),
        shows="mould",
        minutes=40,
    )
    sign = (Check("room", "Room temperature", "measure", 20.0, 3.0, "°C"),)
    lay = tuple(
        Step(
            f"lay-{p.lower()}",
            f"Lay {p} at {a}",
            (
                f"Lay {p} on the lines, fibre along the arrow.",
                "Wet it out from the middle to the edges.",
                "Pull the backing off.",
            ),
            pieces=pieces,
            lays=True,
            layer=p,
            checks=(
                Check("angle", f"Fibre at {a}, held against the rosette"),
                Check("lines", "Station lines meet those on the flange"),
                *(sign if p == "P1" else ()),
            ),
            cautions=(glove,) if p == "P1" else (),
            batches=batches,
            timers=(Timer("pot", f"Pot life of batch {batches[0]}", 2400, "limit"),)
            if batches
            else (),
            shows="layer",
            minutes=20,
        )
        for p, a, pieces, batches in (
            ("P1", "+45°", ("P1-1", "P1-2"), ("E1", "E2")),
            ("P2", "-45°", ("P2-1", "P2-2"), ("E3",)),
            ("R1", "0°", ("R1",), ()),
            ("R2", "0°", ("R2",), ()),
            ("R3", "0°", ("R3",), ()),
        )
    )
    core = (
        Step(
            "core-fit",
            "Dry fit the core",
            (
                "Fit panel C1-1 against the root line.",
                "Fit panel C1-2 to it at seam S1. SEAM S1 STAYS SQUARE: no bevel.",
            ),
            pieces=("C1-1", "C1-2"),
            layer="C1",
            checks=(Check("gap", "Gap at seam S1", "measure", 0.3, 0.3, "mm"),),
            cautions=(dust,),
            shows="core",
            minutes=60,
        ),
        Step(
            "core-bond",
            "Bond the core",
            ("Coat both faces.", "Set the panels down and weigh them."),
            pieces=("C1-1", "C1-2"),
            lays=True,
            layer="C1",
            checks=(Check("leak", "Leak over 10 minutes", "measure", 0.0, 10.0, "mbar"),),
            timers=(Timer("cure", "Cure under vacuum", 86400),),
            shows="bag",
            minutes=45,
        ),
        Step(
            "hard",
            "Let in hardpoint H1",
            ("Check the clearance all round, then bond H1 into C1.",),
            pieces=("H1",),
            lays=True,
            layer="H1",
            checks=(Check("flush", "Flush within 0.3 mm"),),
            shows="core",
            minutes=15,
        ),
    )
    inner = (
        Step(
            "lay-q1",
            "Lay Q1 at +45°",
            ("Lay Q1 over the core. It was cut larger: the core makes the way longer.",),
            pieces=("Q1",),
            lays=True,
            layer="Q1",
            checks=(Check("bridge", "No bridging at the foot of the bevel"),),
            batches=("E4",),
            shows="layer",
            minutes=30,
        ),
    )
    batches = tuple(
        Batch(
            f"E{i}",
            "epoxy",
            stage,
            step,
            purpose,
            mass,
            (("resin", round(mass / 1.3, 1)), ("hardener", round(mass - round(mass / 1.3, 1), 1))),
            pot_life_s=2400,
            work_s=1500,
            decimals=1,
        )
        for i, (stage, step, purpose, mass) in enumerate(
            (
                ("outer", "lay-p1", "wet out P1, root half", 420.0),
                ("outer", "lay-p1", "wet out P1, tip half", 380.0),
                ("outer", "lay-p2", "wet out P2", 455.0),
                ("inner", "lay-q1", "wet out Q1", 433.0),
            ),
            start=1,
        )
    )
    return Shop(
        (
            Stage("prep", "mould_preparation", "Prepare the mould", (wax,), at_hand=("wax",)),
            Stage(
                "outer",
                "wet_laminate",
                "Outer skin",
                lay,
                86400,
                ("gloves", "scale, 0.1 g", "squeegee"),
            ),
            Stage("core", "core_bond", "Core", core, 86400),
            Stage("inner", "wet_laminate", "Inner skin", inner, 86400),
        ),
        batches,
        (
            Quantity("cloth", "carbon-twill-200", 9.4, "m", "waste 18 %"),
            Quantity("core", "foam-10", 2, "sheet"),
            Quantity("resin", "epoxy", 1.69, "kg", "4 batches"),
            Quantity("consumable", "sealant tape", 11.2, "m"),
            *BUDGET.stays,
        ),
        (
            Measure(
                "rise-1900",
                "Height under the line at STA 1900",
                82.5,
                2.0,
                "mm",
                "String from tip to tip, drop a rule.",
            ),
            Measure(
                "diag",
                "Diagonal root trailing to tip leading",
                3912.4,
                3.0,
                "mm",
                "Steel tape, 50 N pull.",
            ),
        ),
        (
            DayPlan("prep", "mould-wax", 0, 40, True, "Wax the mould"),
            DayPlan("prep", "mould-wax", 40, 340, False, "Wax hardens"),
            DayPlan("outer", "lay-p1", 1440, 1540, True, "Lay the outer skin"),
            DayPlan("outer", "", 1540, 2980, False, "Cure"),
        ),
        (),
        budget=BUDGET,
    )


def cut_plan(lam: Laminate | None = None) -> CutPlan:
    """One roll and one sheet with a few placements."""
    lam = lam or laminate()
    items = tuple(
        Item(f"KT-210/{p.id}", p.outline_mm, 1, (0.0, 180.0), part="KT-210") for p in lam.pieces
    )
    roll = Unit("ROLL-1", "roll", "carbon-twill-200", 50000, 1250)
    sheet = Unit("SHEET-1", "sheet", "foam-10", 2438.4, 1219.2, bought=True)
    by_id = {p.id: p.outline_mm for p in lam.pieces}
    placed, at = [], 100.0  # end to end along the roll
    for id in ("P1-1", "P1-2", "P2-1", "P2-2"):
        x0, x1 = by_id[id][:, 0].min(), by_id[id][:, 0].max()
        placed.append(Placement(f"KT-210/{id}", 1, at - x0, 910.0, 0.0))
        at += x1 - x0 + 5.0
    return CutPlan(
        (
            Layout(roll, tuple(placed), 7900.0, 8000.0, 0.82, method="irregular"),
            Layout(sheet, (Placement("KT-210/C1-1", 1, 0.0, 900.0, 0.0),), 2438.4, 0.0, 0.6),
        ),
        items,
        (),
    )


__all__ = ["NASTY", "Severity", "TaperedFace", "cut_plan", "laminate", "piece", "shop", "spec"]


def fields_of(document):
    """All that is filled in, in page order: a block itself, or what it holds."""
    for block in (block for page in document.pages for block in page.blocks):
        if isinstance(block, SignOff):
            yield from block.blanks
        elif isinstance(block, Cups):
            for cup in block.cups:
                own = (cup.mixed, cup.lots, cup.limit, cup.weighed)
                yield from (field for field in own if field)
        elif isinstance(block, CheckBox | Blank | Notes | Ledger | TimerBox):
            yield block


def field_ids(document):
    """Ids of everything that is filled in, in page order."""
    return (field.id for field in fields_of(document))
