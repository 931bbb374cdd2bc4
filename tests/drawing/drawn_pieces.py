"""Invented pieces and parts for the drawing tests, made without the stages before it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np

from plybook.drawing.template import draw_pieces
from plybook.geometry.rings import canonical_ring
from plybook.laminate.model import Growth, LaidLayer, Laminate, Mark, Piece, PieceEdge, SpliceInfo
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
    RodStock,
    SpliceRule,
    Workshop,
)

BUTT = SpliceRule("butt", 0.0, 50.0, 100.0)


def part(**change) -> PartInfo:
    base = PartInfo(
        number="HL-W-101", name="Heron lower wing skin", revision="B", date="2024-05-02",
        hand="left", other_hand="", units="mm", designer="M. Okafor", drawn_by="T. Lindqvist",
        approved_by="", owner="Saltmarsh Gliders",
    )  # fmt: skip
    return replace(base, **change)


def cloth(**change) -> Cloth:
    base = Cloth(
        "twill200", "Carbon twill 200 g/m²", "twill", 200, 1.8, 0.5, 0.22, 1270, 1250, True, True,
        BUTT, 0.5, 30.0, 0.0, "epoxy",
    )  # fmt: skip
    return replace(base, **change)


def spec(**change) -> PartSpec:
    materials = Materials(
        cloths={"twill200": cloth(), "ud300": cloth(id="ud300", name="Carbon UD 300 g/m²",
                                                    weave="unidirectional", axes_alike=False),
                "mat": cloth(id="mat", name="Glass mat 100", weave="mat")},
        cores={"foam8": CoreStock("foam8", "PVC foam 8 mm 60 kg/m³", 8.0, 60, (2438.4, 1219.2),
                                  False, 300, 0.0),
               "balsa": CoreStock("balsa", "End-grain balsa 10 mm", 10.0, 150, (1219, 609), True,
                                  500, 0.0)},
        rods={"rod6": RodStock("rod6", "Pultruded carbon 6 × 1.5", 6.0, 1.5, 1.6, (3000.0,), 0)},
        consumables={}, resins={}, thickened={},
    )  # fmt: skip
    ring = np.array([(0, 0), (4000, 200), (4000, 900), (0, 1150.0)])
    base = PartSpec(
        part=part(), mould=OutlineMould(ring, (), ()), axis=AtShare(0.3), materials=materials,
        stock=(), layers=(), edges=(), stages=(), jig_checks=(), nest=NestRules(),
        workshop=Workshop(), choices=DesignChoices(), acknowledged=(), files=(),
    )  # fmt: skip
    return replace(base, **change)


FACE = SimpleNamespace(outline_mm=np.array([(0, 0), (4000, 200), (4000, 900), (0, 1150.0)]))


def piece(id_: str, ring, **change) -> Piece:
    """A ply with the ring as outline unless said otherwise."""
    ring = np.asarray(ring, dtype=float)
    base = Piece(
        id=id_, layer=id_.split(".")[0], kind="ply", material="twill200", angle_deg=45.0,
        outline_mm=ring, holes_mm=(), bag_side_outline_mm=None, laid_outline_mm=ring,
        area_mm2=1.0, quantity=1, stage="Bag skin", thickness_mm=0.22, edges=(),
    )  # fmt: skip
    return replace(base, **change)


def edges_of(ring, names, **by_name) -> tuple[PieceEdge, ...]:
    """One edge per side of a polygon; `by_name` gives the rest of an edge's fields."""
    ring = np.asarray(ring, dtype=float)
    sides = zip(names, ring, np.roll(ring, -1, axis=0), strict=True)
    return tuple(
        PieceEdge(name, np.array([a, b]), **({"treatment": "square"} | by_name.get(name, {})))
        for name, a, b in sides
    )


def wing_ply() -> Piece:
    """A 4 m tapered skin ply with net line, stations, axis, datum and a splice."""
    ring = canonical_ring(np.array([(-20, -20), (4020, 180), (4020, 640), (2000, 700), (-20, 760)]))
    net = np.array([(0, 0), (4000, 200), (4000, 620), (2000, 680), (0, 740.0), (0, 0)])
    stations = tuple(
        Mark("station", np.array([(x, 0.05 * x - 20), (x, 760 - 0.03 * x)]), f"STA {x}")
        for x in range(500, 4000, 500)
    )
    ticks = tuple(
        Mark("tick", np.array([(x, 760 - 0.0297 * (x + 20)), (x, 745 - 0.0297 * (x + 20))]), label)
        for x, label in ((700, "A"), (1500, "B"), (2600, "C"), (3400, "D"))
    )
    return piece(
        "S2.1", ring,
        edges=edges_of(ring, ("root", "leading", "tip", "splice 1", "splice 1b"),
                       root={"treatment": "trim"}, leading={"treatment": "trim"},
                       tip={"treatment": "trim"},
                       **{"splice 1": {"mate": "S2.2"}, "splice 1b": {"mate": "S2.2"}})
        if len(ring) == 5 else (),
        splice=SpliceInfo(1, 2, "butt", 0.0, ("S2.2",)),
        marks=(Mark("net_line", net), *stations, *ticks,
               Mark("axis", np.array([(0, 350), (4000, 400)]), "0° AXIS"),
               Mark("datum", np.array([(0, 0)]), "DATUM root / leading")),
        growth=Growth(8.8, 4.9, 0.3),
    )  # fmt: skip


def core_panel() -> Piece:
    """A foam panel bevelled on three sides, square at its seam, with a hole."""
    ring = np.array([(60, 80), (1180, 130), (1180, 620), (60, 660.0)])
    bag = np.array([(68, 88.4), (1180, 138), (1180, 612), (68, 651.7)])
    hole = np.array([(500, 300), (500, 400), (640, 400), (640, 300.0)])[::-1]
    return piece(
        "C1.1", ring, kind="core", material="foam8", thickness_mm=8.0, stage="Core bond",
        bag_side_outline_mm=bag, holes_mm=(hole,),
        edges=edges_of(ring, ("leading", "seam S1", "trailing", "root"),
                       leading={"treatment": "bevel", "angle_deg": 45.0},
                       trailing={"treatment": "bevel", "angle_deg": 45.0},
                       root={"treatment": "bevel", "angle_deg": 45.0},
                       **{"seam S1": {"mate": "C1.2"}}),
        marks=(Mark("station", np.array([(500, 99), (500, 644)]), "STA 500"),
               Mark("station", np.array([(1000, 122), (1000, 626)]), "STA 1000"),
               Mark("tick", np.array([(1180, 250), (1165, 250)]), "A"),
               Mark("tick", np.array([(1180, 500), (1165, 500)]), "B"),
               Mark("datum", np.array([(75, 95)]), "DATUM")),
    )  # fmt: skip


def slender_strip() -> Piece:
    """A 4 m by 30 mm cap strip, slightly bowed and slanted."""
    x = np.linspace(0, 4000, 25)
    low = 150 + 0.05 * x + 20 * np.sin(x / 4000 * np.pi)
    ring = np.vstack([np.column_stack([x, low]), np.column_stack([x, low + 30])[::-1]])
    n = len(x)
    return piece(
        "K3", ring, material="ud300", angle_deg=0.0, quantity=2,
        edges=(PieceEdge("front", ring[:n], "square"),
               PieceEdge("tip", ring[n - 1 : n + 1], "square"),
               PieceEdge("rear", ring[n:], "square"),
               PieceEdge("root", ring[[-1, 0]], "square")),
        marks=tuple(Mark("station", np.array([(v, 150 + 0.05 * v + 20 * np.sin(v / 4000 * np.pi)),
                                              (v, 180 + 0.05 * v + 20 * np.sin(v / 4000 * np.pi))]),
                         f"STA {v}") for v in (1000, 2000, 3000)),
    )  # fmt: skip


def tiny_insert() -> Piece:
    """A 60 by 40 hardpoint block, too small for its words."""
    ring = np.array([(800, 300), (860, 300), (860, 340), (800, 340.0)])
    return piece(
        "H1.3", ring, kind="insert", material="foam8", thickness_mm=8.0, quantity=4,
        edges=edges_of(ring, ("front", "outboard", "rear", "inboard")),
        marks=(Mark("datum", np.array([(800, 300)]), "DATUM"),),
    )  # fmt: skip


def rod() -> Piece:
    """A pultruded rod 2.8 m by 6 mm."""
    ring = np.array([(100, 40), (2900, 40), (2900, 46), (100, 46.0)])
    edges = edges_of(ring, ("front", "tip", "rear", "root"))
    return piece("R1.2", ring, kind="rod", material="rod6", angle_deg=0.0, quantity=3,
                 thickness_mm=1.5, edges=edges)  # fmt: skip


def channel_ply() -> Piece:
    """A spar ply with fold lines, a dart and a drop line."""
    ring = np.array([(0, -75), (900, -60), (900, 60), (0, 75.0)])
    return piece(
        "W4", ring, angle_deg=-45.0, material="ud300",
        edges=edges_of(ring, ("lower flange", "tip", "upper flange", "root"),
                       tip={"treatment": "trim"}),
        marks=(Mark("fold", np.array([(0, -40), (900, -32)]), "FOLD"),
               Mark("fold", np.array([(0, 40), (900, 32)]), "FOLD"),
               Mark("drop_line", np.array([(600, -65), (600, 65)]), "W5 ENDS HERE"),
               Mark("dart", np.array([(300, 70), (300, 45)]), "DART 1")),
    )  # fmt: skip


def round_patch() -> Piece:
    """A disc of 180 mm."""
    t = np.radians(np.arange(0, 360, 5))
    ring = np.column_stack([2000 + 90 * np.cos(t), 500 + 90 * np.sin(t)])
    return piece("P7", ring, angle_deg=90.0, edges=(PieceEdge("rim", ring, "square"),))


def all_pieces() -> tuple[Piece, ...]:
    return (wing_ply(), core_panel(), slender_strip(), tiny_insert(), rod(), channel_ply(),
            round_patch())  # fmt: skip


@cache
def drawings() -> dict:
    """Every piece drawn once, by id."""
    return {d.piece.id: d for d in draw_pieces(laminate(), FACE, spec())}


def laminate() -> Laminate:
    pieces = all_pieces()
    layers = tuple(
        LaidLayer(p.layer, p.kind, p.material, p.angle_deg, p.stage, p.thickness_mm, None, (p.id,))
        for p in pieces
    )
    return Laminate(pieces, layers, (), (), 0.0, np.zeros(3), ())
