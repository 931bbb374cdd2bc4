"""Core as it is cut: panels between seams, bevels on both faces, holes for inserts.

Terms:
    mould side, bag side: the faces of a panel as it lies in the mould. A panel keeps its mould
        side down through marking, cutting, bevelling and fitting.
    footprint: the outline of a panel seen from above, both faces together; what it takes up on
        its sheet. Larger than the mould side where the bag side is the wide one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from plybook.diagnostics import Finding
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.bevel import polygons, rings_of
from plybook.laminate.breakproof import break_joint
from plybook.laminate.brokencore import SAME_PLACE_MM, BrokenFace, LeafView, lies_at
from plybook.laminate.ground import Meeting
from plybook.laminate.ids import piece_id
from plybook.laminate.leaves import Leaf, leaves_of, open_kinks_mm
from plybook.laminate.mating import mated
from plybook.laminate.model import BreakJoint, Growth, Piece, PieceEdge
from plybook.laminate.panel_checks import (
    bend_note,
    hole_notes,
    panel_findings,
    scarfed_at_breaks,
    seam_notes,
    seams_run_on,
)
from plybook.laminate.panels import (
    LET_IN,
    SEAM,
    CutRules,
    Panel,
    cut_panels,
    edge_runs,
    label_ring,
)
from plybook.laminate.raising import PANEL_MARGIN_MM
from plybook.laminate.seam_search import (
    SeamSearch,
    choose_seams,
    no_seams,
    sheet_room_mm,
    size_that_would_do,
)
from plybook.laminate.seams import SeamLine, place_seam
from plybook.laminate.sides import SidedRegion, name_sides
from plybook.spec.model import Core, CoreStock, Seam, SpanLine, Treatment
from plybook.surface.model import Face

MOULD_SIDE_DOWN = "mould side down, bag side up, from marking to fitting"
_SAMPLE_MM = 20.0
_PAST_KINK_MM = 30.0
# how far chosen seams stay from hardpoints, and from openings that they pass by; the first that do
_CLEAR_MM = ((60.0, 60.0), (30.0, 30.0), (30.0, 0.0))
_SIZED_TRIES = 4  # divisions tried with ever more reserve until the panels as cut fit
_SIZED_WITHIN_MM = 1.0  # of the reserve that panels as cut may take up


@dataclass(frozen=True)
class CoreCut:
    """The panels of one core, what is to be said of them, and where its seams run."""

    pieces: tuple[Piece, ...]
    findings: tuple[Finding, ...]
    seams: tuple[SeamLine, ...]
    leaves: tuple[int, ...] = ()  # on which each piece lies
    joints: tuple[BreakJoint, ...] = ()


def core_pieces(
    core: Core,
    region: shapely.Geometry,
    face: Face,
    raised: object | None,
    *,
    stock: CoreStock,
    let_in: Mapping[str, shapely.Geometry] | None = None,
    sheets_mm: Sequence[tuple[float, float]] = (),
    endless_mm: Sequence[tuple[float, float]] = (),
    chord_error_mm: float = 0.02,
    broken: BrokenFace | None = None,
) -> CoreCut:
    """Cut one core layer into panels.

    Args:
        core: the layer; an edge with `wide_side` "mould" keeps the region on its mould side.
        region: where it lies, pattern mm.
        face: the mould face.
        raised: the face the core is developed on (`to_cut`, `from_cut`), that of its middle, for
            a sheet bends about its middle; None for the bare pattern.
        stock: the sheet material.
        let_in: regions of the insert layers named in `core.cut_outs`, pattern mm.
        sheets_mm: sheet sizes on the shelf; the material's own size when empty.
        endless_mm: those of them that can be had in any number, for which seams are placed; all
            of them when empty.
        chord_error_mm: how far an outline may depart from the true curve.
        broken: what the leaves of a face that breaks see of all this.

    Returns:
        Panels numbered from root to tip, leading to trailing: C1.1, C1.2 ... (C1 when alone).
    """
    let_in = let_in or {}
    sheets = tuple(sheets_mm) or (stock.sheet_mm,)
    leaves = leaves_of(raised, open_kinks_mm(face) if broken else ())
    views = broken.views if broken else (LeafView(face, region, let_in),) * len(leaves)
    seams = _fixed_seams(core, face)
    findings = [*seams_run_on(core, region, face), *scarfed_at_breaks(core, face)]

    def cut_by(seams: Sequence[_Seam]) -> list[_Cut]:
        return [
            cut
            for leaf, view in zip(leaves, views, strict=True)
            for cut in _cut_leaf(core, view, leaf, _on_leaf(seams, leaf, broken), chord_error_mm)
        ]

    if core.seams_to_suit_sheets:
        sized = _Sized(core, region, face, leaves, seams, let_in, cut_by)
        search = SeamSearch(
            tuple(endless_mm) or sheets, stock.grain, core.seam_default, core.thickness_mm
        )
        seams, wrong = sized.seams(search)
        findings += wrong
    cuts = _in_order(cut_by(seams), seams, face)
    ids = [piece_id(core.id, 0, 1, i, len(cuts)) for i in range(len(cuts))]
    pieces = [_piece(core, name, cut) for name, cut in zip(ids, cuts, strict=True)]
    meetings = broken.meetings if broken else ()
    at_break = dict(zip(_ids_at_breaks(seams, meetings), meetings, strict=True))
    on = [cut.leaf for cut in cuts]
    pieces, meets = mated(pieces, on, at_break)
    lines = [seam.placed(face) for seam in seams]
    for i, cut in enumerate(cuts):
        piece = pieces[i]
        findings += panel_findings(core, piece, cut.panel, footprint(piece), stock, face, let_in)
        names = _hole_names(piece, let_in)
        laid = shapely.Polygon(piece.laid_outline_mm).buffer(core.thickness_mm)
        touching = [
            c.insert
            for c in core.cut_outs
            if c.insert in let_in and laid.intersects(let_in[c.insert])
        ]
        words = (
            *piece.notes,
            *seam_notes(
                piece, lines, {m.seam: m.closing for m in meets if i in (m.inner, m.outer)}
            ),
            *hole_notes(core, names, touching),
            *bend_note(core, piece, face),
        )
        pieces[i] = replace(piece, notes=words, hole_names=names)
    shown = tuple(line for line in lines if line.line.crosses(region))
    joints = [
        break_joint(
            one.meeting,
            face,
            (ids[one.inner], ids[one.outer]),
            (on[one.inner].to_cut, on[one.outer].to_cut),
            (on[one.inner].strain_at, on[one.outer].strain_at),
            broken.fields if broken else (),
            0.0,
            one.reach_mm,
            SEAM + one.seam,
            getattr(raised, "level_mm", 0.0),
            [_near(pieces[k]) for k in (one.inner, one.outer)],
        )
        for one in meets
    ]
    numbers = tuple(leaf.number for leaf in on)
    return CoreCut(tuple(pieces), tuple(findings), shown, numbers, tuple(joints))


def _near(piece: Piece) -> shapely.Geometry:
    """Where the map of a panel holds, which is laid flat alone, on the pattern."""
    return shapely.Polygon(piece.laid_outline_mm).buffer(PANEL_MARGIN_MM / 2)


def footprint(piece: Piece) -> np.ndarray:
    """The (n, 2) ring a panel takes up on its sheet: mould side and bag side together."""
    if piece.bag_side_outline_mm is None:
        return piece.outline_mm
    both = shapely.union_all(
        [shapely.Polygon(piece.outline_mm), shapely.Polygon(piece.bag_side_outline_mm)]
    )
    return canonical_ring(rings_of(polygons(both)[0])[0])


# ---------------------------------------------------------------- seams and holes


@dataclass(frozen=True)
class _Seam:
    """A seam of this core: as the spec says it, or at a kink, or chosen."""

    spec: Seam
    kink: bool = False
    chosen: bool = False
    line_mm: np.ndarray | None = None  # where it runs, if not where the spec has it

    def placed(self, face: Face, to_cut=None) -> SeamLine:
        """The seam in a cut frame; on the bare pattern without a map."""
        way = to_cut or _as_it_is
        return place_seam(self.spec, face, way, self.chosen, self.line_mm)


@dataclass(frozen=True)
class _Cut:
    """A panel with the leaf it is cut on and the lines that bound it there."""

    panel: Panel
    leaf: Leaf
    rules: CutRules
    lines: Mapping[str, shapely.Geometry]


def _fixed_seams(core: Core, face: Face) -> list[_Seam]:
    """The builder's seams, and one at every kink that is not laid through.

    That one is square: the slopes of a scarf lie in two planes there and would gape by their
    length times the turn.
    """
    open_kinks = [kink for kink in face.kinks if not kink.accepted]
    seams = []
    for seam in core.seams:
        own = [k for k in open_kinks if lies_at(seam, k.span_mm)]
        if own:
            seam = replace(seam, line=SpanLine(own[0].span_mm))
        seams.append(_Seam(seam, bool(own)))
    for number, kink in enumerate(open_kinks, 1):
        if not any(lies_at(s.spec, kink.span_mm) for s in seams):
            spec = Seam(f"K{number}", SpanLine(kink.span_mm), Treatment("square"))
            seams.append(_Seam(spec, True))
    return seams


@dataclass(frozen=True)
class _Sized:
    """A core whose seams are to suit its sheets: where it is searched, and how it is then cut."""

    core: Core
    region: shapely.Geometry
    face: Face
    leaves: Sequence[Leaf]
    fixed: Sequence[_Seam]
    let_in: Mapping[str, shapely.Geometry]
    cut: Callable[[Sequence[_Seam]], list[_Cut]]

    def seams(self, search: SeamSearch) -> tuple[list[_Seam], list[Finding]]:
        """The fixed seams and the chosen ones; a finding where no division was found."""
        # one leaf: sizes as cut; several: sizes on the bare pattern, held to those as cut below
        to_cut = self.leaves[0].to_cut if len(self.leaves) == 1 else _as_it_is
        keep_off = shapely.union_all([shapely.Polygon(), *self.let_in.values()])
        placed = [s.placed(self.face, to_cut) for s in self.fixed]
        given = (_moved(self.region, to_cut), self.face, to_cut)
        if not keep_off.is_empty:
            search = replace(search, keep_off=_moved(keep_off, to_cut))
        for clear_mm, past_openings_mm in _CLEAR_MM:
            trial = replace(search, clear_mm=clear_mm, past_openings_mm=past_openings_mm)
            for _ in range(_SIZED_TRIES):
                chosen = choose_seams(*given, trial, placed)
                if chosen is None:
                    break
                seams = [*self.fixed, *self._numbered(chosen)]
                short_mm = trial.reserve_mm - self._least_room_mm(seams, trial)
                if short_mm <= _SIZED_WITHIN_MM:
                    return seams, []
                trial = replace(trial, reserve_mm=trial.reserve_mm + short_mm)
        wanted = size_that_would_do(*given, search, placed)
        beside = not keep_off.is_empty and choose_seams(
            *given, replace(search, keep_off=None), placed
        )
        return list(self.fixed), [no_seams(self.core, search, wanted, beside is not False)]

    def _numbered(self, chosen: Sequence[SeamLine]) -> list[_Seam]:
        taken = {s.spec.id for s in self.fixed}
        free = (f"S{n}" for n in itertools.count(1) if f"S{n}" not in taken)
        specs = [line.source for line in chosen if line.source is not None]
        return [_Seam(replace(spec, id=next(free)), chosen=True) for spec in specs]

    def _least_room_mm(self, seams: Sequence[_Seam], search: SeamSearch) -> float:
        """The room of the tightest panel, cut as it will be, on the sheet that suits it best."""
        sides = (shapely.union_all([c.panel.mould, c.panel.bag]) for c in self.cut(seams))
        return min(sheet_room_mm(side, search.sheets_mm, search.grain) for side in sides)


def _as_it_is(points: np.ndarray) -> np.ndarray:
    return np.asarray(points, dtype=float)


def _ids_at_breaks(seams: Sequence[_Seam], meetings: Sequence[Meeting]) -> list[str]:
    """The seam at each break that leaves meet at."""
    return [
        next(s.spec.id for s in seams if s.kink and lies_at(s.spec, meeting.span_mm))
        for meeting in meetings
    ]


def _on_leaf(seams: Sequence[_Seam], leaf: Leaf, broken: BrokenFace | None) -> list[_Seam]:
    """The seams as a leaf has them: those at its breaks on its own edges."""
    if broken is None:
        return list(seams)
    return [
        replace(seam, line_mm=broken.end(leaf.number, seam.spec.line.at_mm))
        if seam.kink and isinstance(seam.spec.line, SpanLine)
        else seam
        for seam in seams
    ]


def _cut_leaf(
    core: Core,
    view: LeafView,
    leaf: Leaf,
    seams: Sequence[_Seam],
    chord_error_mm: float,
) -> list[_Cut]:
    """The panels of one leaf.

    The core is carried into the leaf's cut frame a little past the kinks at its ends, so that the
    seams there cut it cleanly; what lies past them belongs to the next leaf.
    """
    face, region, let_in = view.face, view.region, view.let_in
    for seam in seams:
        if not seam.kink or not isinstance(seam.spec.line, SpanLine):
            continue
        line, at_mm = seam.placed(face), seam.spec.line.at_mm
        if lies_at(seam.spec, leaf.high_mm):
            region = region.intersection(line.shifted(_PAST_KINK_MM).first)
        elif lies_at(seam.spec, leaf.low_mm):
            region = region.difference(line.shifted(-_PAST_KINK_MM).first)
        elif at_mm > leaf.high_mm:
            region = region.intersection(line.first)
        elif at_mm < leaf.low_mm:
            region = region.difference(line.first)
    if region.is_empty:
        return []
    to_cut = None if leaf.raised is None else leaf.to_cut
    sides = name_sides(region, face).carried(to_cut, _SAMPLE_MM, chord_error_mm / 2)
    holes = _holes(core, let_in, to_cut, chord_error_mm / 2)
    placed = {s.spec.id: s.placed(face, to_cut) for s in seams}
    rules = CutRules(core.thickness_mm, core.cuts, placed)
    lines = _named_lines(sides, holes, list(placed.values()))

    several = math.isfinite(leaf.low_mm) or math.isfinite(leaf.high_mm)
    wanted = [
        ("2" if s.spec.line.at_mm <= leaf.low_mm + SAME_PLACE_MM else "1")
        if several and s.kink and isinstance(s.spec.line, SpanLine)
        else "12"
        for s in seams
    ]

    def own(panel: Panel) -> bool:
        return all(way in sides for way, sides in zip(panel.way, wanted, strict=True))

    return [_Cut(p, leaf, rules, lines) for p in cut_panels(sides, holes, rules) if own(p)]


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


def _in_order(cuts: Sequence[_Cut], seams: Sequence[_Seam], face: Face) -> list[_Cut]:
    """Root to tip, then leading to trailing."""

    def key(cut: _Cut):
        lines = cut.rules.seams.values()
        passed = [line.across for w, line in zip(cut.panel.way, lines, strict=True) if w == "2"]
        centre = np.array([[cut.panel.mould.centroid.x, cut.panel.mould.centroid.y]])
        place = np.asarray(face.from_pattern(cut.leaf.from_cut(centre)))[0]
        return passed.count(True), passed.count(False), *np.round(place, 6)

    return sorted(cuts, key=key)


# ---------------------------------------------------------------- pieces


def _piece(core: Core, name: str, cut: _Cut) -> Piece:
    panel = cut.panel
    outer, *inner = rings_of(panel.mould)
    outline = canonical_ring(outer)
    holes = tuple(canonical_ring(r) for r in inner)
    bag: np.ndarray | None = None
    bag_holes: tuple[np.ndarray, ...] = ()
    if panel.bag is not None:
        bag_outer, *bag_inner = (canonical_ring(r) for r in rings_of(panel.bag))
        if not _same(bag_outer, outline):
            bag = bag_outer
        alike = len(bag_inner) == len(holes) and all(map(_same, bag_inner, holes))
        if not alike:  # no bag-side holes: they are those of the mould side
            bag, bag_holes = bag_outer, tuple(bag_inner)
    laid = cut.leaf.from_cut(outline)
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
        laid_holes_mm=tuple(cut.leaf.from_cut(hole) for hole in holes),
        area_mm2=area,
        quantity=1,
        stage=core.stage,
        thickness_mm=core.thickness_mm,
        edges=_edges(outline, panel, cut.rules, cut.lines),
        growth=growth_of(outline, laid),
        notes=(MOULD_SIDE_DOWN,),
    )


def _hole_names(piece: Piece, let_in: Mapping[str, shapely.Geometry]) -> tuple[str, ...]:
    """The insert that each hole of a panel is for, "" for an opening."""
    holes = [shapely.Polygon(ring) for ring in piece.laid_holes_mm]
    return tuple(
        next((name for name, block in let_in.items() if block.intersects(hole)), "")
        for hole in holes
    )


def growth_of(cut_mm: np.ndarray, laid_mm: np.ndarray) -> Growth:
    """How much a cut outline differs from the same outline on the bare face."""
    if cut_mm is laid_mm:
        return Growth()
    along, across = np.ptp(cut_mm, axis=0) - np.ptp(laid_mm, axis=0)
    laid_area = signed_area_mm2(laid_mm)
    area = 100 * (signed_area_mm2(cut_mm) - laid_area) / laid_area
    return Growth(round(float(along), 4), round(float(across), 4), round(area, 5))


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
