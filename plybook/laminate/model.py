"""Pieces: what is cut, where it lies, and what is marked on it.

Terms:
    cut outline: the piece as cut flat from the stock, pattern frame (the ring that is drawn 1:1).
    laid outline: the same piece where it lies on the mould-face pattern; differs from the cut
        outline by the growth of the layers below and by drape.
    mark: anything drawn on a piece that is not its cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from plybook.diagnostics import Finding

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

PieceKind = Literal["ply", "core", "insert", "rod", "film"]


@dataclass(frozen=True)
class PieceEdge:
    """One side of a piece.

    Attributes:
        name: "leading", "tip", "seam S1", "splice 2" ...; unique within the piece.
        points_mm: (n, 2) the stretch of the cut outline, in ring order.
        treatment: how the edge is cut; "trim" is cut off after cure.
        angle_deg: from the sheet, 90 when square.
        wide_side: the face that keeps the full outline ("mould" or "bag").
        mate: id of the piece it meets across a seam or splice, "".
    """

    name: str
    points_mm: np.ndarray
    treatment: Literal["square", "bevel", "scarf", "trim"]
    angle_deg: float = 90.0
    wide_side: Literal["mould", "bag"] = "mould"
    mate: str = ""


@dataclass(frozen=True)
class SpliceInfo:
    """Part `part` of `of` of one layer; joined to `neighbours` by a butt or an overlap."""

    part: int
    of: int
    kind: Literal["butt", "overlap"]
    overlap_mm: float
    neighbours: tuple[str, ...]


@dataclass(frozen=True)
class Mark:
    """Something drawn on a piece, in its own cut frame.

    kind: station, axis, net_line, core_outline, splice_line, tick, bevel_line, fold, zone, dart,
    datum, drop_line. A tick has two points (root on the edge, tip inside) and a label shared with
    its mate.
    """

    kind: str
    points_mm: np.ndarray  # (n, 2)
    label: str = ""


@dataclass(frozen=True)
class Growth:
    """Cut outline against the same region on the bare mould face: how much the layers below
    changed it. along = x extent, across = girth at the station where it changes most, mm; area in
    percent."""

    along_mm: float = 0.0
    across_mm: float = 0.0
    area_pct: float = 0.0


@dataclass(frozen=True)
class Piece:
    id: str
    layer: str
    kind: PieceKind
    material: str
    angle_deg: float
    outline_mm: np.ndarray  # (n, 2) canonical ring, counter-clockwise, cut frame
    holes_mm: tuple[np.ndarray, ...]
    bag_side_outline_mm: np.ndarray | None
    laid_outline_mm: np.ndarray  # (n, 2) on the mould-face pattern
    area_mm2: float
    quantity: int
    stage: str
    thickness_mm: float
    edges: tuple[PieceEdge, ...]
    splice: SpliceInfo | None = None
    marks: tuple[Mark, ...] = ()
    growth: Growth = Growth()
    may_turn_over: bool = False
    strain_pct: tuple[float, float] = (0.0, 0.0)  # largest tension, largest compression
    shear_deg: float = 0.0
    notes: tuple[str, ...] = ()
    bag_side_holes_mm: tuple[np.ndarray, ...] = ()  # () where they are those of the mould side
    laid_holes_mm: tuple[np.ndarray, ...] = ()  # as holes_mm, on the mould-face pattern
    hole_names: tuple[str, ...] = ()  # of a core, as holes_mm: the insert it is for, or ""


@dataclass(frozen=True)
class JointStretch:
    """By how much lengths of the cut beside a joint are more than on the part, percent, as the
    strain of the map has it: along the joint (n - 1,), from each of its places to the row beside
    (n,), along that row (n - 1,), and slantwise (n,) from each place of the joint to the row beside
    and back, `SLANT_MM` further on; 0 where the other row ends before."""

    line_pct: np.ndarray
    across_pct: np.ndarray
    beside_pct: np.ndarray
    out_pct: np.ndarray
    back_pct: np.ndarray


@dataclass(frozen=True)
class JointSide:
    """One piece of a joint at a break; rows are the places of the joint.

    Attributes:
        piece: its id.
        line_mm: (n, 2) where the joint runs, in the cut frame.
        on_part_mm: (n, 3) the same on the part, as high above the mould as the piece is laid flat
            for, part axes.
        beside_mm, beside_on_part_mm: as these, a way into the leaf of the piece.
        meets_mm: (n, 3) where it meets its mate, if at another height; None: `on_part_mm`.
        stretch: what raising the layer makes of lengths, None where it lies on the bare face.
    """

    piece: str
    line_mm: np.ndarray
    on_part_mm: np.ndarray
    beside_mm: np.ndarray
    beside_on_part_mm: np.ndarray
    meets_mm: np.ndarray | None = None
    stretch: JointStretch | None = None


@dataclass(frozen=True)
class BreakJoint:
    """Two pieces that meet where the face breaks, with what proves that they do.

    The first one reaches over the second by `overlap_mm`, 0 for a butt.
    """

    name: str  # of the sides that meet
    overlap_mm: float
    sides: tuple[JointSide, JointSide]


@dataclass(frozen=True)
class LaidLayer:
    """A layer after the pieces are known; regions are shapely geometries in pattern mm."""

    id: str
    kind: PieceKind
    material: str
    angle_deg: float
    stage: str
    thickness_mm: float
    region: BaseGeometry  # shapely Polygon or MultiPolygon: where it lies, net line clipped
    pieces: tuple[str, ...]
    group: str = ""
    note: str = ""


@dataclass(frozen=True)
class LayerMass:
    """What one layer weighs within the net line: dry, and the resin it takes up."""

    layer: str
    dry_g: float
    resin_g: float

    @property
    def total_g(self) -> float:
        return self.dry_g + self.resin_g


@dataclass(frozen=True)
class Zone:
    """A part of the face with one stack."""

    label: str
    region: BaseGeometry  # shapely geometry, pattern mm
    layers: tuple[str, ...]
    code: str  # laminate code, first laid first
    thickness_mm: float
    mass_g: float
    symmetric: bool
    balanced: bool
    abd: np.ndarray | None  # (6, 6) A N/mm, B N, D N mm; None where constants are missing
    area_m2: float


@dataclass(frozen=True)
class SectionCut:
    """The stack seen in section along one line, for the booklet; heights are true mm.

    Each band is (layer id, distance along the line (n,), bottom height (n,), top height (n,)).
    """

    name: str
    line_mm: np.ndarray  # (2, 2) in the pattern frame
    bands: tuple[tuple[str, np.ndarray, np.ndarray, np.ndarray], ...]


@dataclass(frozen=True)
class Laminate:
    pieces: tuple[Piece, ...]
    layers: tuple[LaidLayer, ...]  # from the mould face up
    zones: tuple[Zone, ...]
    sections: tuple[SectionCut, ...]
    mass_g: float  # laminate without consumables
    centre_mm: np.ndarray  # (3,) centre of gravity in part axes
    findings: tuple[Finding, ...]
    joints: tuple[BreakJoint, ...] = ()  # at the breaks of the face
    found_laying: tuple[Finding, ...] = ()  # those of `findings` that single layers gave
    masses: tuple[LayerMass, ...] = ()  # of every layer that stays; they sum to `mass_g`
