"""Core as it is cut: panels between seams, bevels on both faces, holes for inserts.

Terms:
    mould side, bag side: the faces of a panel as it lies in the mould. A panel keeps its mould
        side down through marking, cutting, bevelling and fitting.
    footprint: the outline of a panel seen from above, both faces together; what it takes up on
        its sheet. Larger than the mould side where the bag side is the wide one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.ops

from plybook.diagnostics import Finding, error
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.bevel import polygons, rings_of
from plybook.laminate.ids import piece_id
from plybook.laminate.model import Growth, Mark, Piece, PieceEdge
from plybook.laminate.panel_checks import base_name, bend_note, panel_findings, seam_notes
from plybook.laminate.panels import (
    LET_IN,
    SEAM,
    CutRules,
    Panel,
    cut_panels,
    edge_runs,
    label_ring,
)
from plybook.laminate.seams import (
    SeamLine,
    SeamSearch,
    choose_seams,
    place_seam,
)
from plybook.laminate.sides import SidedRegion, name_sides
from plybook.spec.model import Core, CoreStock, Seam, SpanLine
from plybook.surface.model import Face

MOULD_SIDE_DOWN = "mould side down, bag side up, from marking to fitting"
_SAMPLE_MM = 20.0
_TICK_MM = 10.0
_TICK_PITCH_MM = 400.0


@dataclass(frozen=True)
class CoreCut:
    """The panels of one core, what is to be said of them, and where its seams run."""

    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    seams: tuple[SeamLine, ...]


def core_pieces(
    core: Core,
    region: shapely.Geometry,
    face: Face,
    raised: object | None,
    *,
    stock: CoreStock,
    let_in: Mapping[str, shapely.Geometry] | None = None,
    sheets_mm: Sequence[tuple[float, float]] = (),
    chord_error_mm: float = 0.02,
) -> CoreCut:
    """Cut one core layer into panels.

    Args:
        core: the layer; an edge with `wide_side` "mould" keeps the region on its mould side.
        region: where it lies, pattern mm.
        face: the mould face.
        raised: the face the core lies on (`to_cut`, `from_cut`); None for the bare pattern.
        stock: the sheet material.
        let_in: regions of the insert layers named in `core.cut_outs`, pattern mm.
        sheets_mm: sheet sizes at hand; the material's own size when empty.
        chord_error_mm: how far an outline may depart from the true curve.

    Returns:
        Panels numbered from root to tip, leading to trailing: C1.1, C1.2 ... (C1 when alone).
    """
    if getattr(raised, "unraised", False):
        raised = None  # the map is the identity
    to_cut = (lambda p: np.asarray(p, dtype=float)) if raised is None else raised.to_cut
    sheets = tuple(sheets_mm) or (stock.sheet_mm,)
    moved = None if raised is None else to_cut
    sides = name_sides(region, face).carried(moved, _SAMPLE_MM, chord_error_mm / 2)
    holes = _holes(core, let_in or {}, moved, chord_error_mm / 2)

    findings: list[Finding] = []
    seams, found = _seams(core, sides.shape, face, to_cut, sheets, stock, let_in or {})
    findings += found
    rules = CutRules(core.thickness_mm, dict(core.edges), {s.id: s for s in seams})
    panels = _in_order(cut_panels(sides, holes, rules), seams, face, raised)

    lines = _named_lines(sides, holes, seams)
    pieces = [
        _piece(core, piece_id(core.id, 0, 1, i, len(panels)), panel, rules, lines, raised)
        for i, panel in enumerate(panels)
    ]
    pieces = _mated(pieces)
    for piece, panel in zip(pieces, panels, strict=True):
        findings += panel_findings(core, piece, panel, footprint(piece), stock, sheets, face)
    pieces = [
        replace(p, notes=(*p.notes, *seam_notes(p, seams), *bend_note(core, p, face)))
        for p in pieces
    ]
    return CoreCut(tuple(pieces), tuple(findings), seams)


def footprint(piece: Piece) -> np.ndarray:
    """The (n, 2) ring a panel takes up on its sheet: mould side and bag side together."""
    if piece.bag_side_outline_mm is None:
        return piece.outline_mm
    both = shapely.union_all(
        [shapely.Polygon(piece.outline_mm), shapely.Polygon(piece.bag_side_outline_mm)]
    )
    return canonical_ring(rings_of(polygons(both)[0])[0])


# ---------------------------------------------------------------- seams and holes


def _seams(
    core: Core,
    shape: shapely.Geometry,
    face: Face,
    to_cut,
    sheets: Sequence[tuple[float, float]],
    stock: CoreStock,
    let_in: Mapping[str, shapely.Geometry],
) -> tuple[tuple[SeamLine, ...], list[Finding]]:
    """The builder's seams, one at every kink that is not laid through, then the tool's own."""
    seams = [place_seam(s, face, to_cut) for s in core.seams]
    at = [s.line.at_mm for s in core.seams if isinstance(s.line, SpanLine)]
    for number, kink in enumerate((k for k in face.kinks if not k.accepted), 1):
        if any(abs(kink.span_mm - a) < 1.0 for a in at):
            continue
        seam = Seam(f"K{number}", SpanLine(kink.span_mm), core.seam_default)
        line = place_seam(seam, face, to_cut, turn_deg=kink.turn_deg)
        if line.line.intersects(shape):
            seams.append(line)
    if not core.seams_to_suit_sheets:
        return tuple(seams), []
    keep_off = shapely.union_all([shapely.Polygon(), *(_moved(g, to_cut) for g in let_in.values())])
    search = SeamSearch(tuple(sheets), stock.grain, None if keep_off.is_empty else keep_off)
    chosen = choose_seams(shape, face, to_cut, search, core.seam_default, seams)
    if chosen is None:
        size = max(sheets, key=lambda s: s[0] * s[1])
        return tuple(seams), [
            error(
                "core-seams-not-found",
                f"core {core.id}: no division into panels fits a sheet of "
                f"{size[0]:.0f} x {size[1]:.0f} mm with its seams clear of the hardpoints",
                "give the seams by hand, use a larger sheet, or let the grain turn",
                core.place,
                layers=(core.id,),
            )
        ]
    taken = {s.id for s in seams}
    numbered = []
    for seam in chosen:
        number = 1
        while f"S{number}" in taken:
            number += 1
        taken.add(f"S{number}")
        numbered.append(replace(seam, id=f"S{number}"))
    return tuple(seams + numbered), []


def _moved(shape: shapely.Geometry, to_cut) -> shapely.Geometry:
    if to_cut is None:
        return shape
    return shapely.transform(shape.segmentize(_SAMPLE_MM), to_cut)


def _holes(
    core: Core, let_in: Mapping[str, shapely.Geometry], to_cut, error_mm: float
) -> dict[str, shapely.Geometry]:
    """The holes for inserts, each grown by its clearance, in the cut frame."""
    return {
        cut.insert: _moved(
            let_in[cut.insert].buffer(cut.clearance_mm, join_style="mitre"), to_cut
        ).simplify(error_mm)
        for cut in core.cut_outs
        if cut.insert in let_in
    }


def _named_lines(
    sides: SidedRegion, holes: Mapping[str, shapely.Geometry], seams: Sequence[SeamLine]
) -> dict[str, shapely.Geometry]:
    lines = {SEAM + s.id: s.line for s in seams}
    lines |= {LET_IN + name: hole.boundary for name, hole in holes.items()}
    return lines | sides.lines


def _in_order(
    panels: list[Panel], seams: Sequence[SeamLine], face: Face, raised: object | None
) -> list[Panel]:
    """Root to tip, then leading to trailing."""
    centres = np.array([[p.mould.centroid.x, p.mould.centroid.y] for p in panels]).reshape(-1, 2)
    pattern = centres if raised is None else np.asarray(raised.from_cut(centres))
    span_share = np.asarray(face.from_pattern(pattern))

    def key(i: int):
        across = sum(w == "2" for w, s in zip(panels[i].way, seams, strict=True) if s.across)
        along = sum(w == "2" for w, s in zip(panels[i].way, seams, strict=True) if not s.across)
        return across, along, *np.round(span_share[i], 6)

    return [panels[i] for i in sorted(range(len(panels)), key=key)]


# ---------------------------------------------------------------- pieces


def _piece(
    core: Core,
    name: str,
    panel: Panel,
    rules: CutRules,
    lines: Mapping[str, shapely.Geometry],
    raised: object | None,
) -> Piece:
    outer, *inner = rings_of(panel.mould)
    outline = canonical_ring(outer)
    holes = tuple(canonical_ring(r) for r in inner)
    bag, bag_holes = None, ()
    if panel.bag is not None:
        bag_outer, *bag_inner = (canonical_ring(r) for r in rings_of(panel.bag))
        if not _same(bag_outer, outline) or any(
            not _same(a, b) for a, b in zip(bag_inner, holes, strict=False)
        ):
            bag, bag_holes = bag_outer, tuple(bag_inner)
    laid = outline if raised is None else np.asarray(raised.from_cut(outline))
    area = signed_area_mm2(outline) - sum(signed_area_mm2(h) for h in holes)
    return Piece(
        id=name,
        layer=core.id,
        kind="core",
        material=core.material,
        angle_deg=0.0,
        outline_mm=outline,
        holes_mm=holes,
        bag_side_outline_mm=bag,
        bag_side_holes_mm=bag_holes,
        laid_outline_mm=laid,
        area_mm2=area,
        quantity=1,
        stage=core.stage,
        thickness_mm=core.thickness_mm,
        edges=_edges(outline, panel, rules, lines),
        growth=growth_of(outline, laid),
        notes=(MOULD_SIDE_DOWN,),
    )


def growth_of(cut_mm: np.ndarray, laid_mm: np.ndarray) -> Growth:
    """How much a cut outline differs from the same outline on the bare face."""
    if cut_mm is laid_mm:
        return Growth()
    along, across = np.ptp(cut_mm, axis=0) - np.ptp(laid_mm, axis=0)
    laid_area = signed_area_mm2(laid_mm)
    return Growth(
        float(along), float(across), 100 * (signed_area_mm2(cut_mm) - laid_area) / laid_area
    )


def _same(a: np.ndarray, b: np.ndarray) -> bool:
    return a.shape == b.shape and bool(np.allclose(a, b, atol=1e-6))


def _edges(
    outline: np.ndarray, panel: Panel, rules: CutRules, lines: Mapping[str, shapely.Geometry]
) -> tuple[PieceEdge, ...]:
    """The sides of the mould outline in ring order, each named once."""
    insets = {name: rules.inset_mm(name, panel.way, "mould") for name in lines}
    found: list[PieceEdge] = []
    for name, base, points in edge_runs(outline, label_ring(outline, lines, insets)):
        treatment = rules.treatment(base, panel.way)
        kind = treatment.kind
        if kind == "scarf" and not base.startswith(SEAM):
            kind = "bevel"  # a scarf needs a mate
        angle = 90.0 if kind in ("square", "trim") else treatment.angle_deg
        found.append(PieceEdge(name, points, kind, angle, treatment.wide_side))
    return tuple(found)


def _mated(pieces: list[Piece]) -> list[Piece]:
    """Tell every seam edge its mate and put matching ticks on both panels."""
    edges = {p.id: list(p.edges) for p in pieces}
    marks: dict[str, list[Mark]] = {p.id: list(p.marks) for p in pieces}
    counts: dict[str, int] = {}
    for i, one in enumerate(pieces):
        for other in pieces[i + 1 :]:
            for a, edge in enumerate(edges[one.id]):
                if not edge.name.startswith(SEAM):
                    continue
                for b, facing in enumerate(edges[other.id]):
                    if base_name(facing) != base_name(edge):
                        continue
                    shared = _shared(edge.points_mm, facing.points_mm)
                    if shared is None:
                        continue
                    edges[one.id][a] = replace(edges[one.id][a], mate=other.id)
                    edges[other.id][b] = replace(edges[other.id][b], mate=one.id)
                    seam = base_name(edge).removeprefix(SEAM)
                    for point, inward in _ticks(shared):
                        counts[seam] = counts.get(seam, 0) + 1
                        label = f"{seam}-{counts[seam]}"
                        marks[one.id].append(
                            Mark("tick", np.vstack([point, point + inward]), label)
                        )
                        marks[other.id].append(
                            Mark("tick", np.vstack([point, point - inward]), label)
                        )
    return [replace(p, edges=tuple(edges[p.id]), marks=tuple(marks[p.id])) for p in pieces]


def _shared(one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    """The stretch two facing edges have in common, in the direction of the first."""
    line, facing = shapely.LineString(one), shapely.LineString(other)
    if line.distance(facing) > 0.01:
        return None
    at = [line.project(shapely.Point(p)) for p in other]
    near = [line.distance(shapely.Point(p)) < 0.05 for p in other]
    reach = [d for d, ok in zip(at, near, strict=True) if ok]
    reach += [
        line.project(shapely.Point(p)) for p in one if facing.distance(shapely.Point(p)) < 0.05
    ]
    if not reach or max(reach) - min(reach) < 2.0:
        return None
    return np.asarray(shapely.ops.substring(line, min(reach), max(reach)).coords)


def _ticks(shared: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Tick roots along a stretch, unevenly set so that a panel turned round does not match."""
    line = shapely.LineString(shared)
    count = max(2, math.ceil(line.length / _TICK_PITCH_MM))
    found = []
    for k in range(count):
        at = line.length * (k + (0.5 if k else 0.35)) / count
        root = np.asarray(line.interpolate(at).coords[0])
        ahead = np.asarray(line.interpolate(min(at + 0.5, line.length)).coords[0])
        back = np.asarray(line.interpolate(max(at - 0.5, 0.0)).coords[0])
        along = (ahead - back) / math.dist(ahead, back)
        found.append((root, np.array([-along[1], along[0]]) * _TICK_MM))
    return found
