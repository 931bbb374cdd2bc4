"""Panels of a core before they are pieces: both outlines of each, and how every side is cut.

Terms:
    cell: the part of the core between its seams; on the bag side a scarfed seam has moved.
    way: the sides of the seams a cell lies on, one letter per seam, "1" first side, "2" second.
    let-in: the edge of a hole cut for an insert.

Everything here is in the cut frame.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.geometry.rings import canonical_ring
from plybook.laminate.bevel import bevel_run_mm, polygons, rings_of, set_back
from plybook.laminate.seams import SeamLine
from plybook.laminate.sides import SidedRegion
from plybook.spec.model import Treatment

SQUARE = Treatment("square")
LET_IN = "let-in "
SEAM = "seam "
LEAST_PANEL_MM2 = 4.0


@dataclass(frozen=True)
class Panel:
    """One panel: mould side, bag side (None where bevels leave nothing), its way."""

    way: str
    mould: shapely.Polygon
    bag: shapely.Polygon | None
    parted: bool  # bevels cut the bag side in two; `bag` is the larger part


@dataclass(frozen=True)
class CutRules:
    """How sides are treated: by edge name ("" for the rest), and per seam on its first side."""

    thickness_mm: float
    edges: Mapping[str, Treatment]
    seams: Mapping[str, SeamLine]

    def treatment(self, name: str, way: str) -> Treatment:
        """The treatment of one side of a panel, told from that panel.

        A scarf is turned over for the panel on the second side, so that the two mate.
        """
        if name.startswith(LET_IN):
            return SQUARE
        if name.startswith(SEAM):
            seam = self.seams[name.removeprefix(SEAM)]
            own = seam.treatment
            second = way[list(self.seams).index(seam.id)] == "2"
            if own.kind == "scarf" and second:
                mould = own.wide_side == "mould"
                return Treatment("scarf", own.angle_deg, "bag" if mould else "mould")
            return own
        return self.edges.get(name, self.edges.get("", SQUARE))

    def inset_mm(self, name: str, way: str, narrow: str) -> float:
        """How far a side stands back on the `narrow` face of the sheet ("mould" or "bag")."""
        treatment = self.treatment(name, way)
        if treatment.kind not in ("bevel", "scarf") or treatment.wide_side == narrow:
            return 0.0
        if name.startswith(SEAM) and treatment.kind == "scarf":
            return 0.0  # the cell itself has moved
        return bevel_run_mm(self.thickness_mm, treatment.angle_deg)


def cut_panels(
    region: SidedRegion, holes: Mapping[str, shapely.Geometry], rules: CutRules
) -> list[Panel]:
    """Split a core at its seams and cut every side as ordered.

    Args:
        region: the core with named sides; where an edge is bevelled, its wide side.
        holes: by insert layer, the hole let in for it.
        rules: thickness, treatments and seams.

    Returns:
        The panels, in no particular order.
    """
    seams = list(rules.seams.values())
    hole = shapely.union_all([shapely.Polygon(), *holes.values()])
    shape = region.shape
    lines = _sources(region, holes, seams)
    shifted = [s.shifted(s.scarf_shift_mm(rules.thickness_mm)) for s in seams]
    bag_lines = lines | {SEAM + s.id: s.line for s in shifted}

    found = []
    moulds = _cells(shape, seams, hole)
    bags = moulds if shifted == seams else _cells(shape, shifted, hole)
    for way, cell in moulds:
        mould = polygons(_cut(cell, lines, rules, way, "mould"))
        partner = max(
            (p for w, p in bags if w == way),
            key=lambda p: p.intersection(cell).area,
            default=shapely.Polygon(),
        )
        bag = polygons(_cut(partner, bag_lines, rules, way, "bag"))
        if not mould:
            continue
        found.append(Panel(way, mould[0], bag[0] if bag else None, len(bag) > 1))
    return found


def label_ring(
    ring_mm: np.ndarray, lines: Mapping[str, shapely.Geometry], insets_mm: Mapping[str, float]
) -> list[str]:
    """The name of the line each segment of a ring runs along (at its inset)."""
    middle = shapely.points((ring_mm + np.roll(ring_mm, -1, axis=0)) / 2)
    names = list(lines)
    apart = np.stack(
        [np.abs(shapely.distance(middle, lines[n]) - insets_mm.get(n, 0.0)) for n in names]
    )
    return [names[i] for i in np.argmin(np.round(apart, 4), axis=0)]


def edge_runs(outline_mm: np.ndarray, names: Sequence[str]) -> list[tuple[str, str, np.ndarray]]:
    """Neighbouring segments of one name as one edge, in ring order.

    Returns:
        For each edge: its name in this piece (counted where a name comes again: "leading (2)"),
        the plain name, and its (n, 2) points.
    """
    count = len(outline_mm)
    starts = [i for i in range(count) if names[i] != names[i - 1]] or [0]
    found, used = [], {}
    for k, start in enumerate(starts):
        stop = starts[(k + 1) % len(starts)]
        stop = stop if stop > start else stop + count
        name = names[start]
        used[name] = used.get(name, 0) + 1
        own = name if used[name] == 1 else f"{name} ({used[name]})"
        found.append((own, name, outline_mm[np.arange(start, stop + 1) % count]))
    return found


def _sources(
    region: SidedRegion, holes: Mapping[str, shapely.Geometry], seams: Sequence[SeamLine]
) -> dict[str, shapely.Geometry]:
    """Every line a panel's outline can run along, by name; seams first, they win a tie."""
    lines: dict[str, shapely.Geometry] = {SEAM + s.id: s.line for s in seams}
    lines |= {LET_IN + name: hole.boundary for name, hole in holes.items()}
    return lines | region.lines


def _cells(
    shape: shapely.Geometry, seams: Sequence[SeamLine], hole: shapely.Geometry
) -> list[tuple[str, shapely.Polygon]]:
    cells = [("", p) for p in polygons(shape)]
    for seam in seams:
        cells = [
            (way + side, q)
            for way, p in cells
            for side, part in (
                ("1", p.intersection(seam.first)),
                ("2", p.difference(seam.first)),
            )
            for q in polygons(part)
        ]
    if not hole.is_empty:
        cells = [(way, q) for way, p in cells for q in polygons(p.difference(hole))]
    return [(way, p) for way, p in cells if p.area >= LEAST_PANEL_MM2]


def _cut(
    cell: shapely.Polygon,
    lines: Mapping[str, shapely.Geometry],
    rules: CutRules,
    way: str,
    face: str,
) -> shapely.Geometry:
    """One face of the sheet: the cell less what the bevels take on that face."""
    if cell.is_empty:
        return cell
    cell = shapely.Polygon(*_canonical(cell))
    insets = [
        [rules.inset_mm(name, way, face) for name in label_ring(ring, lines, {})]
        for ring in rings_of(cell)
    ]
    return set_back(cell, insets)


def _canonical(cell: shapely.Polygon) -> tuple[np.ndarray, list[np.ndarray]]:
    outer, *inner = rings_of(cell)
    return canonical_ring(outer), [canonical_ring(r) for r in inner]
