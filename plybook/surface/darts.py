"""Darts: cuts that let a ply lie on double curvature, proposed only when proved.

A dart is a straight cut from the edge of a ply inwards; laid flat again, the cut opens into a
wedge that is taken out of the cloth. A dart that is too short makes things worse, because the
strain gathers at its tip. So each proposal is a pattern laid flat with the cuts in it, and counts
only if the strain it leaves is within the limit or clearly less, and nowhere more than before.
Where the two sides of a cut would overlap in the flat (saddles) cloth is missing, not in excess:
that is no dart, and nothing is proposed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from plybook.crew import beside
from plybook.geometry.rings import canonical_ring
from plybook.surface.develop import best_rigid
from plybook.surface.flatten import PATIENCE, Folds, Membrane, face_strain
from plybook.surface.lifted import raised_metric
from plybook.surface.mesh import Locator, PatternMesh, PiecewiseAffine, pattern_mesh
from plybook.surface.model import Face
from plybook.surface.raised import Height, folds_at
from plybook.surface.sixnode import six_node_membrane
from plybook.surface.straight import mirror_of
from plybook.surface.strain import principal

_COUNTS = (2, 3, 4, 6, 8)
_DEPTHS = (0.35, 0.5, 0.65, 0.8)  # of the way from the edge to the middle
_STEP_MM = 30.0
_CELLS = 60  # but the edge is cut in no more than so many along the ply
_ROUGH_CELLS = 16  # the same for trials
_CORNER_DEG = 20.0  # a sharper turn of the edge is kept in trials
_TRIAL_MM = 0.02  # how exactly trials are laid flat
_NEARLY = 1.1  # of the limit: a trial that leaves no more is tried on the whole edge
_ON_LINE_MM = 0.05
_OVERLAP_MM = 0.5
_IDLE_MM = 0.5  # a cut that opens less takes no cloth out
_LONG = 8.0  # so many times as long as wide a ply is not cut towards its middle
_PROOFS = 3  # so many of the trials that leave least strain are proved
_CLEARLY = 0.7  # a proposal that does not reach the limit must leave no more than this share
COMMON_SHARE = 0.99


@dataclass(frozen=True)
class Dart:
    """One cut: from the edge to the tip on the mould's pattern, and its two sides as cut."""

    start_mm: np.ndarray  # (2,) on the pattern
    tip_mm: np.ndarray  # (2,) on the pattern
    wedge_mm: np.ndarray  # (k, 2) cut frame: in along one side to the tip and out along the other

    @property
    def width_mm(self) -> float:
        """Opening at the edge."""
        return float(np.hypot(*(self.wedge_mm[-1] - self.wedge_mm[0])))

    @property
    def length_mm(self) -> float:
        return float(np.hypot(*(self.tip_mm - self.start_mm)))


@dataclass(frozen=True)
class DartPlan:
    """A ply with darts, proved by laying it flat.

    Attributes:
        darts: in the order of the outline.
        before_pct, after_pct: strain not passed on 99 % of the area, without and with the darts.
        peak_before_pct, peak_after_pct: the largest strain anywhere.
        within_limit: after_pct keeps the limit that was given.
        outline_mm: (n, 2) the cut ring with its wedges, cut frame, counter-clockwise.
    """

    darts: tuple[Dart, ...]
    before_pct: float
    after_pct: float
    peak_before_pct: float
    peak_after_pct: float
    within_limit: bool
    outline_mm: np.ndarray
    _maps: tuple[PiecewiseAffine, PiecewiseAffine]
    _mirror: np.ndarray

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame (n, 2) -> cut frame; points on a dart go to one of its sides."""
        return self._maps[0](np.asarray(points_mm) * self._mirror) * self._mirror

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame (n, 2) -> pattern frame."""
        return self._maps[1](np.asarray(points_mm) * self._mirror) * self._mirror


@dataclass(frozen=True)
class Below:
    """What a ply lies on: heights above the mould face at points of the pattern, and the lines
    where they have a crease."""

    height_mm: Height
    break_lines: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True)
class _Laid:
    """A region laid flat with slits, on the mirrored-to-one-hand pattern."""

    mesh: PatternMesh
    cut: np.ndarray
    sides: list[np.ndarray]  # per slit: nodes along its left side to the tip, back on the right
    common_pct: float
    peak_pct: float


@dataclass(frozen=True)
class _Trial:
    """What slits leave of the strain when the region is laid flat roughly."""

    common_pct: float
    peak_pct: float
    slits: list[tuple[np.ndarray, np.ndarray]]


def propose_darts(face: Face, region_mm: np.ndarray, limit_pct: float) -> DartPlan | None:
    """Darts that bring a ply's strain down to a limit, or None where none are needed or help.

    Args:
        face: the mould face.
        region_mm: (n, 2) ring of the ply on the pattern, counter-clockwise.
        limit_pct: strain the cloth takes, not to be passed on 99 % of the area.

    Returns:
        The plan with the fewest and then the shortest darts that keeps the limit; failing that
        the one that leaves least strain, if that is clearly less; else None, as for a long ply.
    """
    import shapely

    mirror = mirror_of(face)
    ring = _ring(region_mm, mirror)
    middle = shapely.get_coordinates(shapely.Polygon(ring).centroid)[0]
    if not shapely.contains_xy(shapely.Polygon(ring), *middle) or _is_long(ring):
        return None
    plain = _laid(face, ring, [])
    if plain is None or plain.common_pct <= limit_pct:
        return None
    rough = _few_of(ring)
    before = _laid(face, rough, [])
    if before is None:
        return None
    tried: list[tuple[float, list]] = []
    for trial in _trials(face, rough, middle, _worst_place(plain, rough, face)):
        if trial.peak_pct > before.peak_pct:
            continue
        if trial.common_pct <= limit_pct * _NEARLY:  # proved on all points of the outline
            plan = _proved(face, ring, trial.slits, plain, limit_pct)
            if plan and plan.peak_after_pct <= plain.peak_pct and plan.within_limit:
                return plan
        if trial.common_pct <= _CLEARLY * before.common_pct:
            tried.append((trial.common_pct, trial.slits))
    for _, slits in sorted(tried, key=lambda trial: trial[0])[:_PROOFS]:
        plan = _proved(face, ring, slits, plain, limit_pct)
        if plan and plan.after_pct <= _CLEARLY * plain.common_pct:
            return plan
    return None


def _proved(
    face: Face, ring: np.ndarray, slits: list, plain: _Laid, limit_pct: float
) -> DartPlan | None:
    """A plan with those of the slits that open, on all points of the outline; None where the ply
    cannot be cut so."""
    import shapely

    laid = _laid(face, ring, slits)
    if laid is None:
        return None
    open_ = [
        slit
        for slit, side in zip(slits, laid.sides, strict=True)
        if np.hypot(*(laid.cut[side[-1]] - laid.cut[side[0]])) >= _IDLE_MM
    ]
    if len(open_) < len(slits):
        return _proved(face, ring, open_, plain, limit_pct) if open_ else None
    plan = _plan(laid, slits, plain, limit_pct, ring, mirror_of(face))
    return plan if shapely.Polygon(plan.outline_mm).is_valid else None


def _trials(face: Face, ring: np.ndarray, middle: np.ndarray, worst: float) -> Iterator[_Trial]:
    """Sets of slits from points of a ring towards its middle, few and short ones first; a helper
    tries those that begin halfway between the others."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    along /= along[-1]
    for count in _COUNTS:
        places = (worst + (np.arange(count) + [[0.0], [0.5]]) / count) % 1
        starts, between = (
            ring[np.unique(np.searchsorted(along, half) % len(ring))] for half in places
        )
        others = beside(partial(_trials_from, between, face, ring, middle))
        for pair in zip(_trials_from(starts, face, ring, middle), others(), strict=True):
            yield from (trial for trial in pair if trial is not None)


def _trials_from(
    starts: np.ndarray, face: Face, ring: np.ndarray, middle: np.ndarray
) -> list[_Trial | None]:
    """Slits of each depth from the same points; None where they fold or overlap. They share a mesh
    that has nodes along them, and its membrane."""
    ways = [start + np.outer((0.0, *_DEPTHS), middle - start) for start in starts]
    mesh = _mesh(face, ring, ways)
    whole, found = _membrane(mesh, None, face), []
    for k in range(1, len(_DEPTHS) + 1):
        slits = [(way[0], way[k]) for way in ways]
        try:
            laid = _opened_up(mesh, whole, slits, _TRIAL_MM)
        except Folds:
            laid = None
        found.append(None if laid is None else _Trial(laid.common_pct, laid.peak_pct, slits))
    return found


def _is_long(ring: np.ndarray) -> bool:
    """Whether cuts towards the middle of a ring would run along it."""
    import shapely

    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.Polygon(ring)))
    sides = np.hypot(*np.diff(box[:3], axis=0).T)
    return bool(sides.max() > _LONG * sides.min())


def _few_of(ring: np.ndarray) -> np.ndarray:
    """The corners of a ring and some of its points between, for trials."""
    step = max(_STEP_MM, float(np.ptp(ring, axis=0).max()) / _ROUGH_CELLS)
    into = ring - np.roll(ring, 1, axis=0)
    out = np.roll(ring, -1, axis=0) - ring
    turn = np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], np.sum(into * out, axis=1))
    kept, gone = [], np.inf
    for point, leg, bend in zip(ring, np.hypot(*into.T), np.abs(turn), strict=True):
        gone += leg
        if gone >= step or bend > np.radians(_CORNER_DEG):
            kept.append(point)
            gone = 0.0
    return np.array(kept)


def over(plan: DartPlan, face: Face, region_mm: np.ndarray, below: Below) -> DartPlan | None:
    """The same cuts with the ply on what lies below it; None where the sides of one would cross.

    Args:
        plan: made for the bare face.
        region_mm: the ring it was made for.
    """
    import shapely

    mirror = mirror_of(face)
    ring = _ring(region_mm, mirror)
    slits = [(dart.start_mm * mirror, dart.tip_mm * mirror) for dart in plan.darts]
    laid = _laid(face, ring, slits, below)
    if laid is None:
        return None
    outline, maps = _opened(laid, slits, ring, mirror)
    if not shapely.Polygon(outline).is_valid:
        return None
    darts = tuple(
        replace(dart, wedge_mm=laid.cut[side] * mirror)
        for dart, side in zip(plan.darts, laid.sides, strict=True)
    )
    return replace(plan, darts=darts, outline_mm=outline, _maps=maps)


def _ring(region_mm: np.ndarray, mirror: np.ndarray) -> np.ndarray:
    """The region's ring as either hand sees it, with a point every _STEP_MM."""
    import shapely

    polygon = shapely.Polygon(canonical_ring(region_mm * mirror))
    return shapely.get_coordinates(shapely.segmentize(polygon, _STEP_MM))[:-1]


def _worst_place(plain: _Laid, ring: np.ndarray, face: Face) -> float:
    """Where on the edge the plain ply strains most, as a share of the edge."""
    middles = plain.mesh.nodes_mm[plain.mesh.triangles[:, :3]].mean(axis=1)
    worst = middles[np.argmax(np.abs(_strains(_membrane(plain.mesh, None, face), plain.cut)[0]))]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    return float(along[np.argmin(np.hypot(*(ring - worst).T))] / along[-1])


def _laid(face: Face, ring: np.ndarray, slits: list, below: Below | None = None) -> _Laid | None:
    """The region laid flat with its slits open; None where a slit's sides would overlap."""
    mirror = mirror_of(face)
    lines = [np.stack(slit) for slit in slits]
    lines += [line * mirror for line in below.break_lines] if below else []
    mesh = _mesh(face, ring, lines)
    heights = None if below is None else below.height_mm(mesh.nodes_mm * mirror)
    try:
        return _opened_up(mesh, _membrane(mesh, heights, face), slits)
    except Folds as refusal:
        flat = np.zeros(len(mesh.nodes_mm)) if heights is None else heights
        raise folds_at(mesh, refusal.cells, flat, face) from None


def _mesh(face: Face, ring: np.ndarray, lines: list) -> PatternMesh:
    step = max(_STEP_MM, float(np.ptp(ring, axis=0).max()) / _CELLS)
    return pattern_mesh(face, ring, lines, 0.0, step)


def _opened_up(
    mesh: PatternMesh, whole: Membrane, slits: list, exact_mm: float = 1e-5
) -> _Laid | None:
    """A mesh laid flat with its slits open, as `_laid`; `whole` is its membrane without them."""
    sides = []
    for start, tip in slits:
        mesh, side = _slit(mesh, start, tip)
        if side is None:
            return None
        sides.append(side)
    # a slit changes which nodes triangles share, not the triangles
    membrane = whole.with_nodes(mesh.triangles, len(mesh.nodes_mm))
    cut, _ = membrane.relax(mesh.nodes_mm, exact_mm, patience=PATIENCE)
    turn, shift = best_rigid(cut, mesh.nodes_mm)
    cut = cut @ turn.T + shift
    for (start, tip), side in zip(slits, sides, strict=True):
        way = (tip - start) / np.hypot(*(tip - start))
        opening = cut[side[0]] - cut[side[-1]]
        if way[0] * opening[1] - way[1] * opening[0] < -_OVERLAP_MM:
            return None
    worst, area = _strains(membrane, cut)
    order = np.argsort(np.abs(worst))
    share = np.cumsum(area[order]) / area.sum()
    common = np.abs(worst)[order][min(np.searchsorted(share, COMMON_SHARE), len(order) - 1)]
    return _Laid(mesh, cut, sides, float(common), float(np.abs(worst).max()))


def _membrane(mesh: PatternMesh, heights: np.ndarray | None, face: Face) -> Membrane:
    metric = np.eye(2) + 2 * mesh.strains
    if heights is not None:
        back = np.linalg.inv(mesh.true)
        metric = np.matmul(back, np.matmul(raised_metric(mesh, heights, face)[0], back))
    return six_node_membrane(mesh, metric, np.ones(len(mesh.triangles)))


def _strains(membrane: Membrane, cut: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Signed principal strain of largest size and area of each triangle, percent and mm2."""
    most, least = principal(face_strain(membrane, cut).reshape(-1, 2, 2))
    worst = np.where(np.abs(most) >= np.abs(least), most, least) * 100
    worst = worst.reshape(membrane.area.shape)
    pick = np.argmax(np.abs(worst), axis=1)
    return worst[np.arange(len(worst)), pick], membrane.area.sum(axis=1)


def _slit(mesh: PatternMesh, start: np.ndarray, tip: np.ndarray):
    """The mesh with the nodes from start up to the tip doubled, and the nodes round the slit."""
    way = tip - start
    length = np.hypot(*way)
    way = way / length
    from_start = mesh.nodes_mm - start
    along = from_start @ way
    off = way[0] * from_start[:, 1] - way[1] * from_start[:, 0]
    on = (np.abs(off) < _ON_LINE_MM) & (along > -_ON_LINE_MM) & (along < length - _ON_LINE_MM)
    at_tip = np.argmin(np.hypot(*(mesh.nodes_mm[: mesh.corners] - tip).T))
    edge = np.flatnonzero(on[: mesh.corners])
    if len(edge) < 2 or np.hypot(*(mesh.nodes_mm[at_tip] - tip)) > 1.0:
        return mesh, None
    # a middle lies on the slit only if both ends of its side do
    six = mesh.triangles
    corner_on = on.copy()
    corner_on[at_tip] = True
    for k, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
        bare = ~(corner_on[six[:, i]] & corner_on[six[:, j]])
        on[six[bare, 3 + k]] = False
    twin = np.arange(len(mesh.nodes_mm))
    old = np.flatnonzero(on)
    twin[old] = len(mesh.nodes_mm) + np.arange(len(old))
    middle = mesh.nodes_mm[six[:, :3]].mean(axis=1) - start
    right = way[0] * middle[:, 1] - way[1] * middle[:, 0] < 0
    triangles = np.where(right[:, None], twin[six], six)
    nodes = np.concatenate([mesh.nodes_mm, mesh.nodes_mm[old]])
    left = old[np.argsort(along[old])]
    side = np.concatenate([left, [at_tip], twin[left][::-1]])
    return replace(mesh, nodes_mm=nodes, triangles=triangles), side


def _plan(laid: _Laid, slits, plain: _Laid, limit_pct, ring, mirror) -> DartPlan:
    darts = tuple(
        Dart(start * mirror, tip * mirror, laid.cut[side] * mirror)
        for (start, tip), side in zip(slits, laid.sides, strict=True)
    )
    outline, maps = _opened(laid, slits, ring, mirror)
    return DartPlan(
        darts,
        plain.common_pct,
        laid.common_pct,
        plain.peak_pct,
        laid.peak_pct,
        laid.common_pct <= limit_pct,
        outline,
        maps,
        mirror,
    )


def _opened(laid: _Laid, slits, ring: np.ndarray, mirror: np.ndarray):
    """The cut ring with its wedges, counter-clockwise, and the maps to the cut and back."""
    mesh = laid.mesh
    forth = PiecewiseAffine(Locator(mesh.nodes_mm, mesh.parts), laid.cut)
    back = PiecewiseAffine(Locator(laid.cut, mesh.parts), mesh.nodes_mm)
    outline: list[np.ndarray] = []
    image = forth(ring)
    wedges = {tuple(start): side for (start, _), side in zip(slits, laid.sides, strict=True)}
    for point, cut in zip(ring, image, strict=True):
        side = wedges.get(tuple(point))
        if side is None:
            outline.append(cut)
        else:  # counter-clockwise the stretch already walked lies left of the way inwards
            outline += list(laid.cut[side])
    found = np.array(outline) * mirror
    return found if mirror[1] > 0 else found[::-1], (forth, back)
