"""The loft: the mould face in space, through all stations.

Part axes: x aft, y to starboard, z up, mm; a left hand part spans to -y, any other to +y. The
loft is S(u, w) = sum over stations k of B_k(u) C_k(w): u is the span, w runs along the section.
Ruled: B_k are the hat functions, straight lines join equal w. Smooth: B_k are the cardinal cubic
splines (not-a-knot) through the stations; with two stations both are the same.

On aerofoils w is the half-cosine parameter of the chord share. On polylines w is chosen so that
corners meet corners: each straight run and each arc keeps its own stretch of w at all stations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.spec.model import CoordinateSection, NacaSection, Station, StationMould
from plybook.surface.section import SectionCurve, section_curve, share_of_w, w_of_share

_NODES_PER_SECTION = 480


@dataclass(frozen=True)
class Loft:
    """A lofted face.

    Attributes:
        spans: (K,) station spans, mm, rising.
        ruled: straight between stations.
        curves: piecewise cubic in w -> (K, 3) section points of all stations, part axes.
        w_breaks: w where the sections' curvature jumps, with both ends of the covered part.
        shares: (K, m) share of each station at each break (polylines), None for aerofoils.
        bag_sign: +1 where S_u x S_w points to the bag side, -1 otherwise.
    """

    spans: np.ndarray
    ruled: bool
    curves: Callable[[np.ndarray, int], np.ndarray]
    w_breaks: np.ndarray
    shares: np.ndarray | None
    bag_sign: float
    cardinal: (
        Callable[[np.ndarray, int], np.ndarray] | None
    )  # smooth blending functions of u, None when ruled

    # -------------------------------------------------------- evaluation

    def blend(self, u: np.ndarray, order: int = 0, bay: int | None = None) -> np.ndarray:
        """(n, K) blending values, or their derivative by u; `bay` picks a side at a station."""
        u = np.asarray(u, dtype=float)
        if self.cardinal is not None:
            return self.cardinal(u, order)
        at = self._bay(u) if bay is None else np.full(len(u), bay)
        width = self.spans[at + 1] - self.spans[at]
        part = (u - self.spans[at]) / width
        low, high = ((1 - part, part), (-1 / width, 1 / width), (0 * u, 0 * u))[min(order, 2)]
        out = np.zeros((len(u), len(self.spans)))
        rows = np.arange(len(u))
        out[rows, at] = low
        out[rows, at + 1] = high
        return out

    def _bay(self, u: np.ndarray) -> np.ndarray:
        return np.clip(np.searchsorted(self.spans, u, side="right") - 1, 0, len(self.spans) - 2)

    def at(self, u, w, du: int = 0, dw: int = 0, bay: int | None = None) -> np.ndarray:
        """Points or derivatives at scattered (u, w): (n,), (n,) -> (n, 3)."""
        return np.einsum("nk,nkc->nc", self.blend(u, du, bay), self.curves(w, dw))

    def grid(self, u, w, du: int = 0, dw: int = 0) -> np.ndarray:
        """Points or derivatives on a grid: (a,), (b,) -> (a, b, 3)."""
        return np.einsum("ak,bkc->abc", self.blend(u, du), self.curves(w, dw))

    # -------------------------------------------------------- the builder's share

    def share(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Share of the section at (u, w), continued outside the covered part."""
        if self.shares is None:
            return share_of_w(w)
        table = self._share_table(u)
        return _along(np.broadcast_to(self.w_breaks, table.shape), table, w)

    def w(self, u: np.ndarray, share: np.ndarray) -> np.ndarray:
        """Section parameter w at (span, share)."""
        if self.shares is None:
            return w_of_share(share)
        table = self._share_table(u)
        return _along(table, np.broadcast_to(self.w_breaks, table.shape), share)

    def _share_table(self, u: np.ndarray) -> np.ndarray:
        return self.blend(np.clip(u, self.spans[0], self.spans[-1])) @ self.shares


def _along(x: np.ndarray, y: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Row-wise piecewise linear interpolation, continued beyond both ends."""
    piece = np.clip(np.sum(x[:, 1:-1] <= at[:, None], axis=1), 0, x.shape[1] - 2)
    rows = np.arange(len(x))
    x0, x1, y0, y1 = x[rows, piece], x[rows, piece + 1], y[rows, piece], y[rows, piece + 1]
    return y0 + (at - x0) * (y1 - y0) / np.where(x1 > x0, x1 - x0, 1.0)


def loft_face(mould: StationMould, hand: str) -> Loft:
    """Loft the covered part of the sections through all stations.

    Raises:
        GeometryError: fewer than two stations, spans not rising, or sections that do not match.
    """
    stations = mould.stations
    spans = np.array([s.at_mm for s in stations], dtype=float)
    if len(spans) < 2 or (np.diff(spans) <= 0).any():
        _refuse(
            "stations-order",
            "a mould face needs at least two stations, each further out than the one before",
            mould,
        )
    if not 0 <= mould.from_share < mould.to_share <= 1:
        _refuse("share-range", "the covered shares must rise and lie within 0..1", mould)
    sections = _section_curves(mould)
    kinds = {s.kind for s in sections}
    if len(kinds) > 1:
        _refuse("sections-mixed", "aerofoil and polyline sections cannot be lofted", mould)
    polyline = "polyline" in kinds
    if polyline:
        w_breaks, shares = _matched_corners(sections, mould)
        nodes = _nodes(w_breaks)
        rows = [np.interp(nodes, w_breaks, row) for row in shares]
    else:
        w_breaks, shares = _aerofoil_breaks(sections, mould)
        nodes = _nodes(w_breaks)
        rows = [share_of_w(nodes)] * len(stations)
    side = -1.0 if hand == "left" else 1.0
    points = np.stack(
        [
            _placed(section.points(np.clip(row, 0, 1)), station, section, side)
            for section, station, row in zip(sections, stations, rows, strict=True)
        ],
        axis=1,
    )
    # S_u points outboard (+-y) and S_w along the walk, so on a right hand part S_u x S_w points
    # to the right of the walk (y x x = -z)
    bag_left = sections[0].inside_left == (mould.form == "female")
    bag_sign = -side if bag_left else side
    return Loft(
        spans,
        mould.loft == "ruled" or len(spans) == 2,
        _spline(nodes, w_breaks, points),
        w_breaks,
        shares if polyline else None,
        bag_sign,
        None if mould.loft == "ruled" or len(spans) == 2 else _cardinal(spans),
    )


def _section_curves(mould: StationMould) -> list[SectionCurve]:
    """The section of each station; stations of one section share its curve."""
    made: dict[object, SectionCurve] = {}
    curves = []
    for station in mould.stations:
        section = station.section
        key: object = id(section)
        if isinstance(section, NacaSection):
            key = section
        elif isinstance(section, CoordinateSection):
            key = section.points.tobytes()
        if key not in made:
            made[key] = section_curve(section, mould.side, station.place)
        curves.append(made[key])
    return curves


def _cardinal(spans: np.ndarray):
    from scipy.interpolate import CubicSpline

    return CubicSpline(spans, np.eye(len(spans)))


def _placed(points: np.ndarray, station: Station, section: SectionCurve, side: float):
    """A section at its station: scaled, twisted nose up about the twist share, moved."""
    low, high = section.extent_x
    pivot = np.array([low + station.twist_share * (high - low), 0.0]) * station.chord_mm
    x, z = (points * station.chord_mm - pivot).T
    sin, cos = np.sin(np.radians(station.twist_deg)), np.cos(np.radians(station.twist_deg))
    aft = pivot[0] + x * cos + z * sin + station.sweep_mm
    up = pivot[1] - x * sin + z * cos + station.rise_mm
    return np.stack([aft, np.full(len(aft), side * station.at_mm), up], axis=1)


def _nodes(breaks: np.ndarray) -> np.ndarray:
    """Sampling of w, dense in every piece between breaks."""
    total = breaks[-1] - breaks[0]
    pieces = [
        np.linspace(a, b, max(64, int(_NODES_PER_SECTION * (b - a) / total)) + 1)[:-1]
        for a, b in zip(breaks, breaks[1:], strict=False)
    ]
    return np.concatenate([*pieces, breaks[-1:]])


def _spline(nodes: np.ndarray, breaks: np.ndarray, points: np.ndarray):
    """Cubic splines piece by piece, so that no spline runs across a curvature jump."""
    from scipy.interpolate import CubicSpline, PPoly

    at = np.searchsorted(nodes, breaks - 1e-12)
    parts = [
        CubicSpline(nodes[a : b + 1], points[a : b + 1]) for a, b in zip(at, at[1:], strict=False)
    ]
    return PPoly(np.concatenate([p.c for p in parts], axis=1), nodes, extrapolate=True)


def _aerofoil_breaks(sections, mould: StationMould):
    inner = np.concatenate([w_of_share(s.breaks[1:-1]) for s in sections])
    low, high = w_of_share(np.array([mould.from_share, mould.to_share]))
    inner = inner[(inner > low + 1e-3) & (inner < high - 1e-3)]
    inner = np.sort(inner)
    keep = np.concatenate([[True], np.diff(inner) > 1e-3]) if len(inner) else []
    breaks = np.concatenate([[low], inner[keep] if len(inner) else inner, [high]])
    return breaks, None


def _matched_corners(sections, mould: StationMould):
    """Common w of the corner ends of all stations, and the share of each station there."""
    counts = {len(s.breaks) for s in sections}
    if len(counts) > 1:
        _refuse(
            "sections-corners",
            "the polyline sections have different numbers of corners",
            mould,
            "give every station the same corners; a corner may be straight",
        )
    table = np.stack([s.breaks for s in sections])
    live = np.concatenate([[True], np.any(np.diff(table, axis=1) > 1e-6, axis=0)])
    table = table[:, live]
    for share in (mould.from_share, mould.to_share):
        if np.any(np.abs(table - share) < 1e-12, axis=0).any():
            continue
        before = {int(np.searchsorted(row, share)) for row in table}
        if len(before) > 1:
            _refuse(
                "share-range",
                f"share {share:g} falls on different legs of the section at different stations",
                mould,
            )
        at = before.pop()
        table = np.insert(table, at, share, axis=1)
    first = int(np.argmin(np.abs(table[0] - mould.from_share)))
    last = int(np.argmin(np.abs(table[0] - mould.to_share)))
    table = table[:, first : last + 1]
    return table.mean(axis=0), table


def _refuse(code: str, message: str, mould: StationMould, help: str = "") -> None:
    raise GeometryError(error(code, message, help, mould.place))
