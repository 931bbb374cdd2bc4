"""The mould face built from its loft: pattern frame, named edges, leaves, strain.

`build_face` is the entry: it takes the part spec and answers with a `Face`. Leaves are developed
one by one, each laid against its inner neighbour at the kink, and the whole is turned so that
the reference axis runs from (0, 0) along +x. A left hand part is developed like a right hand one
and its finished pattern mirrored, so that opposite hands agree to the last digit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import numpy as np

from plybook.diagnostics import Finding, GeometryError, error
from plybook.spec.limits import USUAL as USUAL_LIMITS
from plybook.spec.limits import Limits
from plybook.spec.model import (
    AtShare,
    Axis,
    OnFace,
    OutlineMould,
    PartSpec,
    StationMould,
)
from plybook.surface.develop import FaceFolds, best_rigid, develop
from plybook.surface.flat import FlatFace, flat_face
from plybook.surface.flatten import folds
from plybook.surface.kinks import find_kinks
from plybook.surface.leaf import Leaf
from plybook.surface.loft import Loft, loft_face
from plybook.surface.model import Face, FaceEdge, Kink, StationLine, StrainReport
from plybook.surface.outline import joined, net_edges, ring_of, share_line, span_line
from plybook.surface.places import on_section
from plybook.surface.strain import strain_report
from plybook.units import bare_mm, mm

_NEAR_KINK_MM = 5.0


def build_face(spec: PartSpec) -> Face:
    """The mould face of a part.

    Args:
        spec: the resolved part spec; only its mould, axis and hand are read.

    Raises:
        GeometryError: the face cannot be made or laid flat as asked.
    """
    limits = Limits(dict(spec.raised))
    face = face_of(spec.mould, spec.axis, spec.part.hand, limits=limits)
    return cast(Face, face)  # its fields are read only


def face_of(
    mould, axis: Axis, hand: str, finer: float = 1.0, limits: Limits = USUAL_LIMITS
) -> LoftedFace | FlatFace:
    """As `build_face`, from its ingredients; `finer` scales the elements of the pattern."""
    if isinstance(mould, OutlineMould):
        return flat_face(mould, axis, mirrored=hand == "right")
    loft = loft_face(mould, hand)
    kinks = find_kinks(loft, mould.accepted_kinks_mm)
    splits = [k.span_mm for k in kinks if not k.accepted]
    if len(splits) >= limits["leaves"]:
        raise GeometryError(_too_many(len(splits) + 1, limits, mould))
    stops = [float(loft.spans[0]), *splits, float(loft.spans[-1])]
    leaves, area = [], 0.0
    for low, high in zip(stops, stops[1:], strict=False):
        try:
            developed = develop(loft, low, high, finer)
        except FaceFolds as refusal:
            raise _folded(mould, refusal.span_mm, refusal.share) from None
        leaf = Leaf(loft, developed.pattern, low, high)
        if leaves:
            leaf = _laid_against(leaf, leaves[-1])
        leaves.append(leaf)
        area += developed.area_mm2
    leaves = _framed(leaves, axis, mould)
    face = _lofted(mould, axis, tuple(leaves), kinks, area)
    if not all(_apart(seen.outline_mm) for seen in (face, *face.views)):
        raise GeometryError(*(replace(f, places=(mould.place,)) for f in folds().findings))
    return face


def _too_many(leaves: int, limits: Limits, mould: StationMould) -> Finding:
    return error(
        "too-many",
        f"the face breaks into {leaves} leaves, at most {limits['leaves']:.0f} are laid flat",
        f"loft it smooth, or accept the kinks; {limits.why('leaves')}",
        mould.place,
    )


def _apart(outline_mm: np.ndarray) -> bool:
    """Whether a pattern lies beside itself everywhere, never over itself."""
    import shapely

    return bool(shapely.is_valid(shapely.polygons(outline_mm)))


def _folded(mould: StationMould, span_mm: float, share: float) -> GeometryError:
    """The refusal of a face that folds, with what changes most between the stations beside it."""
    stations = mould.stations
    outer = next((k for k, s in enumerate(stations) if s.at_mm >= span_mm), len(stations) - 1)
    a, b = stations[max(outer, 1) - 1], stations[max(outer, 1)]
    run = b.at_mm - a.at_mm
    turn = abs(b.twist_deg - a.twist_deg)
    why = max(
        (np.radians(turn), f"the section turns by {turn:g}°"),
        (abs(b.chord_mm - a.chord_mm) / run,
         f"the chord goes from {bare_mm(a.chord_mm):g} to {mm(b.chord_mm):g}"),
        (abs(b.sweep_mm - a.sweep_mm) / run,
         f"the leading edge is swept by {mm(abs(b.sweep_mm - a.sweep_mm)):g}"),
    )[1]  # fmt: skip
    return folds(
        f" at {on_section(span_mm, share)}: between the stations at {bare_mm(a.at_mm):g} and "
        f"{mm(b.at_mm):g} {why}",
        "spread the change over more of the span, or make two parts of it",
    )


def _laid_against(leaf: Leaf, inner: Leaf) -> Leaf:
    """The leaf moved so that its root row lies on the outer row of its inner neighbour."""
    w = np.linspace(*leaf.w_range, 401)
    row = leaf.pattern.at(np.full(len(w), leaf.from_mm), w)
    onto = inner.pattern.at(np.full(len(w), inner.to_mm), w)
    speed = np.hypot(*np.gradient(onto, axis=0).T)
    return _moved(leaf, *best_rigid(row, onto, speed))


def _moved(leaf: Leaf, turn: np.ndarray, shift: np.ndarray) -> Leaf:
    return Leaf(leaf.loft, leaf.pattern.moved(turn, shift), leaf.from_mm, leaf.to_mm)


def _framed(leaves: list[Leaf], axis: Axis, mould: StationMould) -> list[Leaf]:
    """All leaves in the pattern frame: axis from (0, 0) along +x, then the mirror of the hand."""
    loft = leaves[0].loft
    spans, shares = axis_ends(axis, loft, mould)
    w = loft.w(spans, shares)
    start, end = (
        _leaf_at(leaves, spans[i]).flat(spans[i : i + 1], w[i : i + 1])[0] for i in (0, 1)
    )
    size = np.hypot(*(end - start))
    if size < 1e-6:
        raise GeometryError(
            error("axis-length", "the reference axis has no length", "", mould.place)
        )
    cos, sin = (end - start) / size
    turn = np.array([[cos, sin], [-sin, cos]])
    mirror = np.diag([1.0, loft.bag_sign])
    return [_moved(leaf, mirror @ turn, mirror @ (-turn @ start)) for leaf in leaves]


def axis_ends(axis: Axis, loft: Loft, mould: StationMould) -> tuple[np.ndarray, np.ndarray]:
    """Spans and shares of the two ends of the reference axis."""
    if isinstance(axis, AtShare):
        return loft.spans[[0, -1]], np.array([axis.share, axis.share])
    if not (isinstance(axis.start, OnFace) and isinstance(axis.end, OnFace)):
        raise GeometryError(
            error(
                "axis-points",
                "the reference axis of a lofted face runs between points given by span and share",
                "give both points as a span and a share",
                mould.place,
            )
        )
    return (
        np.array([axis.start.span_mm, axis.end.span_mm]),
        np.array([axis.start.share, axis.end.share]),
    )


def _leaf_at(leaves, span: float) -> Leaf:
    for leaf in leaves:
        if span <= leaf.to_mm + 1e-9:
            return leaf
    return leaves[-1]


@dataclass(frozen=True)
class LoftedFace:
    """A face through stations; see `plybook.surface.model.Face` for what it answers."""

    leaves: tuple[Leaf, ...]  # from root to tip, in the pattern frame
    kinks: tuple[Kink, ...]
    edges: tuple[FaceEdge, ...]
    outline_mm: np.ndarray
    leaves_mm: tuple[np.ndarray, ...]
    station_lines: tuple[StationLine, ...]
    axis_mm: np.ndarray
    strain: StrainReport
    area_mm2: float
    names: tuple[str, ...] = ()  # of its edges at the first and last share, the root and the tip
    flat: bool = False
    holes_mm: tuple[np.ndarray, ...] = ()

    @cached_property
    def views(self) -> tuple[LoftedFace, ...]:
        """The face as seen from each leaf: the pattern of that leaf as it is, the other leaves
        attached to it without a gap. Where leaf and view are the same, so are their patterns."""
        return tuple(_seen_from(self, number) for number in range(len(self.leaves)))

    def to_pattern(self, span_share: np.ndarray) -> np.ndarray:
        """(span mm, share) -> pattern frame, mm."""
        span_share = np.asarray(span_share, dtype=float)
        u = span_share[:, 0]
        w = self.leaves[0].loft.w(u, span_share[:, 1])
        return self.flat_at(u, w)

    def from_pattern(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame -> (span mm, share)."""
        u, w, _ = self.params(points_mm)
        return np.stack([u, self.leaves[0].loft.share(u, w)], axis=1)

    def to_space(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame -> part axes in mm: x aft, y starboard, z up."""
        u, w, which = self.params(points_mm)
        return self._by_leaf(which, lambda leaf, at: leaf.space(u[at], w[at]), 3)

    def strain_at(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2, 2) Green strain of the face against the pattern, in pattern axes."""
        u, w, _ = self.params(points_mm)
        return self.strain_in(u, w)

    def strain_in(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """As `strain_at`, at span and section parameter."""

        def strains(leaf: Leaf, at: np.ndarray) -> np.ndarray:
            return leaf.strain(u[at], w[at]).reshape(-1, 4)

        return self._by_leaf(self._which(u), strains, 4).reshape(-1, 2, 2)

    def normals(self, points_mm: np.ndarray) -> np.ndarray:
        """Unit normals towards the bag side at pattern points, part axes."""
        u, w, which = self.params(points_mm)
        return self._by_leaf(which, lambda leaf, at: leaf.normal(u[at], w[at]), 3)

    def curvature(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2, 2) curvature in pattern axes, 1/mm, positive where the bag side is concave."""
        u, w, _ = self.params(points_mm)
        return self.curvature_at(u, w)

    def flat_at(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Span mm and section parameter w, (n,) each -> pattern (n, 2)."""
        return self._by_leaf(self._which(u), lambda leaf, at: leaf.flat(u[at], w[at]), 2)

    def curvature_at(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """As `curvature`, at span and section parameter."""

        def bends(leaf: Leaf, at: np.ndarray) -> np.ndarray:
            return leaf.curvature(u[at], w[at]).reshape(-1, 4)

        return self._by_leaf(self._which(u), bends, 4).reshape(-1, 2, 2)

    def _which(self, u: np.ndarray) -> np.ndarray:
        return np.searchsorted([leaf.to_mm for leaf in self.leaves[:-1]], u, side="left")

    def span_line(self, span_mm: float) -> np.ndarray:
        """Line of constant span across the face, from its first to its last share, pattern mm."""
        return span_line(_leaf_at(self.leaves, span_mm), span_mm)

    def share_line(self, share: float) -> np.ndarray:
        """Line of constant share from root to tip, pattern mm."""
        return joined([share_line(leaf, share) for leaf in self.leaves], _widest(self.kinks))

    def params(self, points_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pattern (n, 2) -> span, section parameter w and index of the leaf, each (n,)."""
        points = np.asarray(points_mm, dtype=float)
        u, w = self.leaves[0].params(points)
        which = np.zeros(len(points), dtype=int)
        for i, leaf in enumerate(self.leaves[1:], start=1):
            split = leaf.from_mm
            near = np.flatnonzero(u > split - _NEAR_KINK_MM)
            if not len(near):
                break
            u_next, w_next = leaf.params(points[near])
            # beyond the kink as seen from both sides, or nearer to the outer leaf
            outer = (u[near] - split) >= (split - u_next)
            at = near[outer]
            u[at], w[at], which[at] = u_next[outer], w_next[outer], i
        return u, w, which

    def _by_leaf(self, which: np.ndarray, ask, width: int) -> np.ndarray:
        out = np.empty((len(which), width))
        for i, leaf in enumerate(self.leaves):
            at = np.flatnonzero(which == i)
            if len(at):
                out[at] = ask(leaf, at)
        return out


def _widest(kinks: tuple[Kink, ...]) -> float:
    return max((2 * k.gap_mm for k in kinks if not k.accepted), default=0.0)


def _seen_from(face: LoftedFace, number: int) -> LoftedFace:
    leaves = list(face.leaves)
    for place in range(number + 1, len(leaves)):
        leaves[place] = _attached(leaves[place], leaves[place - 1], outwards=True)
    for place in range(number - 1, -1, -1):
        leaves[place] = _attached(leaves[place], leaves[place + 1], outwards=False)
    seen = replace(face, leaves=tuple(leaves))
    return replace(seen, **_outlines(seen.leaves, face.names, 0.0),
                   station_lines=_stations(seen.leaves, face.station_lines))  # fmt: skip


def _attached(leaf: Leaf, to: Leaf, outwards: bool) -> Leaf:
    """The leaf with every point moved by what it misses its neighbour by at the same w."""
    pattern, other = leaf.pattern, to.pattern
    ends = (0, -1) if outwards else (-1, 0)
    miss = other.coefficients[ends[1]] - pattern.coefficients[ends[0]]
    moved = replace(pattern, coefficients=pattern.coefficients + miss)
    return replace(leaf, pattern=moved)


def _outlines(leaves: tuple[Leaf, ...], names, gap_mm: float) -> dict:
    edges = net_edges(leaves, names, gap_mm)
    rings = tuple(ring_of(net_edges((leaf,), names, 0.0)) for leaf in leaves)
    return {"edges": edges, "outline_mm": ring_of(edges), "leaves_mm": rings}


def _stations(leaves: tuple[Leaf, ...], lines) -> tuple[StationLine, ...]:
    return tuple(
        replace(line, points_mm=span_line(_leaf_at(leaves, line.span_mm), line.span_mm))
        for line in lines
    )


def _lofted(mould: StationMould, axis: Axis, leaves: tuple[Leaf, ...], kinks, area: float):
    names = mould.edge_names
    outlines = _outlines(leaves, names, _widest(kinks))
    lines = tuple(
        StationLine(f"station {i + 1}", s.at_mm, np.zeros((0, 2)))
        for i, s in enumerate(mould.stations)
    )
    spans, axis_shares = axis_ends(axis, leaves[0].loft, mould)
    w = leaves[0].loft.w(spans, axis_shares)
    ends = [_leaf_at(leaves, spans[i]).flat(spans[i : i + 1], w[i : i + 1])[0] for i in (0, 1)]
    line = np.array([[0.0, 0.0], [ends[1][0], 0.0]])
    return LoftedFace(
        leaves=leaves,
        kinks=kinks,
        **outlines,
        station_lines=_stations(leaves, lines),
        axis_mm=line,
        strain=strain_report(leaves),
        area_mm2=area,
        names=tuple(names),
    )
