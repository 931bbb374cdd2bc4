"""Small specs, pieces and shapes for the tests of nesting; invented, of shop size."""

from __future__ import annotations

import numpy as np

from plybook.laminate.model import Piece
from plybook.nest.needs import CutJob
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
    StockItem,
    Workshop,
)

SQUARE = np.array([(0.0, 0.0), (1000.0, 0.0), (1000.0, 1000.0), (0.0, 1000.0)])


def box(length: float, width: float) -> np.ndarray:
    return np.array([(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)])


def slanted(length: float, width: float, angle_deg: float, taper: float = 0.6) -> np.ndarray:
    """A tapered strip turned by an angle, counter-clockwise."""
    ring = np.array([(0.0, 0.0), (length, 0.0), (length, width * taper), (0.0, width)])
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return ring @ np.array([[c, s], [-s, c]])


def cloth(id: str = "twill", **changes) -> Cloth:
    values = dict(
        id=id,
        name=id,
        weave="twill",
        areal_g_m2=200.0,
        fibre_g_cm3=1.8,
        fibre_volume_share=0.5,
        thickness_mm=0.22,
        roll_width_mm=1270.0,
        usable_width_mm=1250.0,
        faces_alike=False,
        axes_alike=False,
        splice=SpliceRule("overlap", 20.0, 50.0, 100.0),
        strain_limit_pct=0.5,
        locking_deg=40.0,
        least_bend_mm=1.0,
        resin="",
    )
    return Cloth(**(values | changes))


def core(id: str = "foam", **changes) -> CoreStock:
    values = dict(
        id=id,
        name=id,
        thickness_mm=10.0,
        density_kg_m3=60.0,
        sheet_mm=(2438.4, 1219.2),
        grain=False,
        resin_uptake_g_m2=300.0,
        least_bend_mm=0.0,
    )
    return CoreStock(**(values | changes))


def rod(id: str = "strip", **changes) -> RodStock:
    values = dict(
        id=id,
        name=id,
        width_mm=10.0,
        height_mm=3.0,
        density_g_cm3=1.6,
        supply_mm=(6000.0,),
        least_bend_mm=0.0,
    )
    return RodStock(**(values | changes))


def piece(id: str, outline: np.ndarray, material: str = "twill", **changes) -> Piece:
    values = dict(
        id=id,
        layer=id,
        kind="ply",
        material=material,
        angle_deg=0.0,
        outline_mm=outline,
        holes_mm=(),
        bag_side_outline_mm=None,
        laid_outline_mm=outline,
        area_mm2=0.0,
        quantity=1,
        stage="lay",
        thickness_mm=0.2,
        edges=(),
    )
    return Piece(**(values | changes))


def roll(id="R1", length=50000.0, width=1270.0, quantity=1, material="twill", **changes):
    return StockItem(id, "roll", material, length, width, quantity, **changes)


def sheet(id="S1", length=2438.4, width=1219.2, quantity=0, material="foam", **changes):
    return StockItem(id, "sheet", material, length, width, quantity, **changes)


def bar(id="B1", length=6000.0, quantity=0, material="strip", **changes):
    return StockItem(id, "bar", material, length, 10.0, quantity, **changes)


def spec(stock, number="NT-1", rules: NestRules | None = None, cloths=(), cores=(), rods=()):
    """A part spec that holds what nesting reads: materials, stock and rules."""
    return PartSpec(
        part=PartInfo(number, "test", "A", "2026-01-01", "none", "", "mm"),
        mould=OutlineMould(SQUARE, (), ()),
        axis=AtShare(0.25),
        materials=Materials(
            {c.id: c for c in cloths or (cloth(),)},
            {c.id: c for c in cores or (core(),)},
            {r.id: r for r in rods or (rod(),)},
            {},
            {},
            {},
        ),
        stock=tuple(stock),
        layers=(),
        edges=(),
        stages=(),
        jig_checks=(),
        nest=rules or NestRules(),
        workshop=Workshop(),
        choices=DesignChoices(),
        acknowledged=(),
        files=(),
    )


def job(pieces, stock, **changes) -> CutJob:
    return CutJob(spec(stock, **changes), tuple(pieces))
