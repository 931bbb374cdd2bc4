"""Flat faces with exact lines, and the smallest specs that lay something on them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from plybook.spec.model import (
    AtShare,
    Cloth,
    Consumable,
    CoreStock,
    DesignChoices,
    EdgeRule,
    Layer,
    Materials,
    NestRules,
    OutlineMould,
    PartInfo,
    PartSpec,
    SpliceRule,
    Workshop,
)
from plybook.surface.model import FaceEdge, StationLine, StrainReport

NO_STRAIN = StrainReport(
    0.0, 0.0, 0.0, True, 0.001, 0, np.zeros((0, 2)), np.zeros((0, 3), int), np.zeros(0)
)


@dataclass(frozen=True)
class TaperedFace:
    """A flat, tapered, swept face: leading edge on top for `up` = 1, below for -1.

    Span runs along x. At span s the leading edge lies at `lead0 - s * sweep` and the chord is
    `root + (tip - root) * s / span`; share runs from the leading edge (0) to the trailing (1).
    """

    span: float = 3800.0
    root: float = 1200.0
    tip: float = 760.0
    lead0: float = 300.0
    sweep: float = 0.08
    up: int = 1
    spans: tuple[float, ...] = (0.0, 1900.0, 3800.0)

    flat = True
    holes_mm = ()
    kinks = ()
    strain = NO_STRAIN

    def to_pattern(self, span_share):
        s, c = np.asarray(span_share, float).T
        chord = self.root + (self.tip - self.root) * s / self.span
        return np.column_stack([s, self.up * (self.lead0 - s * self.sweep - c * chord)])

    def from_pattern(self, points_mm):
        s, y = np.asarray(points_mm, float).T
        chord = self.root + (self.tip - self.root) * s / self.span
        return np.column_stack([s, (self.lead0 - s * self.sweep - self.up * y) / chord])

    def span_line(self, span_mm):
        return self.to_pattern(np.column_stack([np.full(5, span_mm), np.linspace(0, 1, 5)]))

    def share_line(self, share):
        return self.to_pattern(np.column_stack([np.linspace(0, self.span, 9), np.full(9, share)]))

    @property
    def edges(self):
        lead, trail = self.share_line(0.0), self.share_line(1.0)
        root, tip = self.span_line(0.0), self.span_line(self.span)
        if self.up > 0:  # leading edge on top: walk trailing, tip, leading, root
            order = [
                ("trailing", trail), ("tip", tip[::-1]), ("leading", lead[::-1]), ("root", root)
            ]  # fmt: skip
        else:
            order = [
                ("leading", lead), ("tip", tip), ("trailing", trail[::-1]), ("root", root[::-1])
            ]  # fmt: skip
        return tuple(FaceEdge(name, points) for name, points in order)

    @property
    def outline_mm(self):
        return np.vstack([edge.points_mm[:-1] for edge in self.edges])

    @property
    def leaves_mm(self):
        return (self.outline_mm,)

    @property
    def station_lines(self):
        return tuple(StationLine(f"STN {s:.0f}", s, self.span_line(s)) for s in self.spans)

    @property
    def axis_mm(self):
        return np.array([[0.0, 0.0], [self.span, 0.0]])

    @property
    def area_mm2(self):
        return self.span * (self.root + self.tip) / 2

    def to_space(self, points_mm):
        return np.column_stack([points_mm, np.zeros(len(points_mm))])

    def normals(self, points_mm):
        return np.tile([0.0, 0.0, 1.0], (len(points_mm), 1))

    def curvature(self, points_mm):
        return np.zeros((len(points_mm), 2, 2))


LEAP = SpliceRule("overlap", 25.0, 50.0, 100.0)


def cloth(id="twill", roll=1270.0, usable=1250.0, splice=LEAP, **more) -> Cloth:
    """A 2/2 twill of 200 g/m2."""
    return Cloth(
        id=id, name=id, weave="twill", areal_g_m2=200.0, fibre_g_cm3=1.8,
        fibre_volume_share=0.5, thickness_mm=0.2222, roll_width_mm=roll, usable_width_mm=usable,
        faces_alike=True, axes_alike=True, splice=splice, strain_limit_pct=0.5, locking_deg=45.0,
        least_bend_mm=0.0, resin="", **more,
    )  # fmt: skip


def foam(thickness=10.0) -> CoreStock:
    """Closed-cell foam in 4x8 ft sheets."""
    return CoreStock("foam", "foam", thickness, 80.0, (2438.4, 1219.2), False, 300.0, 0.0)


def peel_ply() -> Consumable:
    """Peel ply 1.5 m wide."""
    return Consumable("peel", "peel ply", "peel_ply", roll_width_mm=1500.0, areal_g_m2=85.0)


def spec(layers: list[Layer], trims: dict[str, float] | None = None, **more) -> PartSpec:
    """A complete spec around some layers; the mould is a stand-in, faces come from above."""
    ring = np.array([[0.0, 0], [100, 0], [100, 100], [0, 100]])
    made = PartSpec(
        part=PartInfo("ZZ-1", "test part", "A", "2026-01-01", "left", "", "mm"),
        mould=OutlineMould(ring, (), (("rim", 0, 0),)),
        axis=AtShare(0.25),
        materials=Materials({"twill": cloth()}, {"foam": foam()}, {}, {"peel": peel_ply()}, {}, {}),
        stock=(),
        layers=tuple(layers),
        edges=tuple(EdgeRule(name, trim) for name, trim in (trims or {}).items()),
        stages=(),
        jig_checks=(),
        nest=NestRules(),
        workshop=Workshop(),
        choices=DesignChoices(),
        acknowledged=(),
        files=(),
    )
    return replace(made, **more)
