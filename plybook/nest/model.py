"""Layouts: which piece is cut where from which roll, sheet or bar.

Terms:
    item: a shape to be placed, as many times as its demand.
    unit: one roll, sheet or bar of the shelf, or one bought.
    placement: mirror y if flipped, rotate counter-clockwise about the item's origin, translate.
    bay: what of a roll is marked out and cut on the table at a time: the pieces that begin between
        two lines squared across the cloth. Its figures along the roll begin at its first line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from plybook.diagnostics import Finding

UnitKind = Literal["roll", "sheet", "bar"]
Effort = Literal["quick", "normal", "long"]
_TOUCH_MM = 1e-6  # a piece that begins so near before a line begins at it


@dataclass(frozen=True)
class Item:
    """A shape to place. `rotations_deg` None = free rotation. Holes are not used for nesting.

    `flipped_rotations_deg` are the rotations allowed when the piece lies face down (the mirror
    turns a fibre angle round); None = the same as face up. Counts only where `may_flip`.
    """

    id: str
    outline_mm: np.ndarray  # (n, 2) simple ring, counter-clockwise
    demand: int
    rotations_deg: tuple[float, ...] | None
    may_flip: bool = False
    group: str = ""  # its kit, or its stage where there are none
    part: str = ""  # part number it belongs to
    flipped_rotations_deg: tuple[float, ...] | None = None
    mirror: str = ""  # item of the opposite hand, whose image it is


@dataclass(frozen=True)
class Unit:
    """A piece of stock to cut from. Rolls run along +x; width is the usable width.

    `edge_mm` is the width of the selvedge below y = 0: how far y = 0 lies from the roll's edge.
    """

    id: str
    kind: UnitKind
    material: str
    length_mm: float
    width_mm: float
    outline_mm: np.ndarray | None = None  # remnant outline; None = rectangle 0..length, 0..width
    bad_zones_mm: tuple[np.ndarray, ...] = ()
    bought: bool = False
    edge_mm: float = 0.0


@dataclass(frozen=True)
class Placement:
    item: str
    copy: int  # 1..demand
    x_mm: float
    y_mm: float
    rotation_deg: float
    flipped: bool = False


@dataclass(frozen=True)
class Bay:
    """One bay of a roll.

    Attributes:
        number: counted from 1 along the roll; its first line has the same number.
        at_mm, to_mm: its lines, from the roll's end; no further apart than the table is long.
        cut: whether the cloth can be cut straight across at its second line, for no piece lies
            over it; else the line is only drawn.
    """

    number: int
    at_mm: float
    to_mm: float
    cut: bool


@dataclass(frozen=True)
class Layout:
    """One unit and what is cut from it, proved by the checker.

    Attributes:
        used_length_mm: for a roll, from its end to the last cut; else the unit's length.
        bound_mm: proven least roll length (rolls) or least number of units times length; 0 none.
        utilisation: area of pieces over area used.
        remnant_mm: largest useful left-over ring, or None.
        method: how it was found, for the record ("irregular", "rectangles", "exact cutting").
        gap_mm: clear distance kept between pieces; the checker holds the layout to it.
        bays: of a roll that is longer than the table; none of what lies on it whole.
        table_mm: length of the table; 0 where bays were not looked for.
    """

    unit: Unit
    placements: tuple[Placement, ...]
    used_length_mm: float
    bound_mm: float
    utilisation: float
    remnant_mm: np.ndarray | None = None
    method: str = ""
    remembered: bool = False
    gap_mm: float = 0.0
    bays: tuple[Bay, ...] = ()
    table_mm: float = 0.0

    def bay_of(self, low_mm: float) -> Bay | None:
        """The bay of a piece that begins at `low_mm` along the roll; None where there are none."""
        begun = (bay for bay in reversed(self.bays) if bay.at_mm <= low_mm + _TOUCH_MM)
        return next(begun, self.bays[0] if self.bays else None)


@dataclass(frozen=True)
class KitWay:
    """What one way of sorting pieces into kits takes off the rolls.

    Attributes:
        way: in words, as the spec has it.
        kits: how many there are.
        lengths_mm: of each material on rolls, of all its rolls together; None where the stock is
            short for it.
        chosen: whether the plan is cut so.
    """

    way: str
    kits: int
    lengths_mm: tuple[tuple[str, float | None], ...]
    chosen: bool


@dataclass(frozen=True)
class Fold:
    """Two kits that lie on a roll as images of one another, so that the cloth can be folded
    between them and both cut at once.

    Attributes:
        stock, material: of the roll.
        at_mm: along the roll, the line of which they are images.
        lower, upper: the kit before it and the one after it.
        refused: why the material is not folded, "" where it may be.
    """

    stock: str
    material: str
    at_mm: float
    lower: str
    upper: str
    refused: str = ""


@dataclass(frozen=True)
class CutPlan:
    """All layouts and what they place; `kits` and `folds` where the spec asks for kits."""

    layouts: tuple[Layout, ...]
    items: tuple[Item, ...]
    findings: tuple[Finding, ...]
    kits: tuple[KitWay, ...] = ()
    folds: tuple[Fold, ...] = ()


NO_LAYOUTS = CutPlan((), (), ())  # before any were looked for
