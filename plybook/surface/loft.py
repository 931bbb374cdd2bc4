"""The loft: the mould face in space, through all stations.

Part axes: x aft, y to starboard, z up, mm; a left hand part spans to -y, any other to +y. The
loft is S(u, w): u is the span, w runs along the section. Ruled: straight lines join points of
equal w. Smooth: cubic splines (not-a-knot) through them; with two stations both are the same.

On aerofoils w is the half-cosine parameter of a section's own measure along its chord. That is the
builder's share, x / c, but for the nose: a cambered section reaches a little ahead of its leading
edge, and its measure must rise from there (what lies ahead has share 0). On polylines w is chosen
so that corners meet corners: each straight run and each arc keeps its own stretch of w at all
stations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.spec.model import CoordinateSection, NacaSection, Station, StationMould
from plybook.surface.section import SectionCurve, section_curve, share_of_w, w_of_share

if TYPE_CHECKING:
    from scipy.interpolate import PPoly

_NODES_PER_SECTION = 480
_NOSE_SHARE, _NOSE_NODES = 0.15, 257  # past it the measure of a section is x / c
_SAME = 1e-9
_AHEAD = 1e-7  # share for w of what lies ahead of the leading edge, so that it can be found again


@dataclass(frozen=True)
class Loft:
    """A lofted face.

    S(u, w) = sum of N_j(u) D_j(w): N_j are B-splines over the span, of which `degree` + 1 differ
    from 0 at any u, and D_j control curves. So a point costs the same with 3 stations and 200.

    Attributes:
        spans: (K,) station spans, mm, rising.
        ruled: straight between stations.
        knots: of the N_j (ruled: each station twice at the ends, once inside).
        degree: of the N_j: 1 ruled, 3 smooth (2 through three stations).
        curves: the D_j, piecewise cubic in w: coefficients (4, pieces, K, 3), part axes.
        w_breaks: w where the sections' curvature jumps, with both ends of the covered part.
        share_w: (m,) where shares are tabled: the breaks (polylines), the nose (aerofoils).
        shares: (K, m) share of each station there; as control values, like the curves; on
            aerofoils times the chord.
        chords: (K,) control values of the chord, None for polylines.
        covers: shares at both ends of the covered part.
        bag_sign: +1 where S_u x S_w points to the bag side, -1 otherwise.
    """

    spans: np.ndarray
    ruled: bool
    knots: np.ndarray
    degree: int
    curves: PPoly
    w_breaks: np.ndarray
    share_w: np.ndarray
    shares: np.ndarray
    chords: np.ndarray | None
    covers: tuple[float, float]
    bag_sign: float

    # -------------------------------------------------------- evaluation

    def at(self, u, w, du: int = 0, dw: int = 0, bay: int | None = None) -> np.ndarray:
        """Points or derivatives at scattered (u, w): (n,), (n,) -> (n, 3)."""
        basis, first = self._basis(u, du, bay)
        out = np.zeros((len(first), 3))
        for j in range(self.degree + 1):
            out += basis[:, j, None] * self._curve(w, first + j, dw)
        return out

    def grid(self, u, w, du: int = 0, dw: int = 0) -> np.ndarray:
        """Points or derivatives on a grid: (a,), (b,) -> (a, b, 3)."""
        basis, first = self._basis(u, du)
        curves = self.curves(w, dw).transpose(1, 0, 2)
        out = np.zeros((len(first), curves.shape[1], 3))
        for j in range(self.degree + 1):
            out += basis[:, j, None, None] * curves[first + j]
        return out

    def _basis(self, u, order: int = 0, bay: int | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(n, degree + 1) values or derivatives of the N_j that are not 0 at u, and the first j;
        `bay` picks a side at a station."""
        u = np.asarray(u, dtype=float)
        if self.degree == 1:
            at = self._bay(u) if bay is None else np.full(len(u), bay)
            width = self.spans[at + 1] - self.spans[at]
            part = (u - self.spans[at]) / width
            low, high = ((1 - part, part), (-1 / width, 1 / width), (0 * u, 0 * u))[min(order, 2)]
            return np.stack([low, high], axis=1), at
        return _b_splines(self.knots, self.degree, u, order)

    def _bay(self, u: np.ndarray) -> np.ndarray:
        return np.clip(np.searchsorted(self.spans, u, side="right") - 1, 0, len(self.spans) - 2)

    def _curve(self, w: np.ndarray, j: np.ndarray, order: int) -> np.ndarray:
        """Control curve j at w, or its derivative: (n,), (n,) -> (n, 3)."""
        nodes, c = self.curves.x, self.curves.c
        w = np.asarray(w, dtype=float)
        piece = np.clip(np.searchsorted(nodes, w, side="right") - 1, 0, len(nodes) - 2)
        s = (w - nodes[piece])[:, None]
        out, power = np.zeros((len(w), 3)), np.ones_like(s)
        for exponent in range(order, 4):
            factor = math.perm(exponent, order)
            out += c[3 - exponent, piece, j] * power * factor
            power = power * s
        return out

    # -------------------------------------------------------- the builder's share

    def share(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Share of the section at (u, w), on aerofoils x / c; continued past the covered part."""
        if self.chords is None:
            table = self._share_table(u)
            return _along(np.broadcast_to(self.share_w, table.shape), table, w)
        share = share_of_w(w)
        nose = np.flatnonzero((np.asarray(w) > 0) & (np.asarray(w) < self.share_w[-1]))
        if len(nose):
            table = self._share_table(np.asarray(u)[nose])
            rows = np.broadcast_to(self.share_w, table.shape)
            share[nose] = _along(rows, table, np.asarray(w)[nose])
        return share

    def w(self, u: np.ndarray, share: np.ndarray) -> np.ndarray:
        """Section parameter w at (span, share)."""
        share = np.asarray(share, dtype=float)
        if self.chords is None:
            table = self._share_table(u)
            return _along(table, np.broadcast_to(self.share_w, table.shape), share)
        w = w_of_share(share)
        nose = np.flatnonzero((share > 0) & (w < self.share_w[-1]))
        if len(nose):
            table = self._share_table(np.asarray(u)[nose])
            w[nose] = _along(table, np.broadcast_to(self.share_w, table.shape), share[nose])
        for end, at in zip(self.covers, self.w_breaks[[0, -1]], strict=True):
            if 0.0 < end < 1.0:  # such an edge is one w at all stations
                w = np.where(np.abs(share - end) < _SAME, at, w)
        return w

    def _share_table(self, u: np.ndarray) -> np.ndarray:
        basis, first = self._basis(np.clip(u, self.spans[0], self.spans[-1]))
        table, chord = np.zeros((len(first), len(self.share_w))), np.zeros(len(first))
        for j in range(self.degree + 1):
            table += basis[:, j, None] * self.shares[first + j]
            if self.chords is not None:
                chord += basis[:, j] * self.chords[first + j]
        return table if self.chords is None else table / chord[:, None]


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
        share_w, chords = w_breaks, None
        nodes = _nodes(w_breaks)
        rows = [np.interp(nodes, w_breaks, row) for row in shares]
    else:
        share_w = np.linspace(0.0, w_of_share(_NOSE_SHARE), _NOSE_NODES)
        shares = np.stack([_chord_shares(section, share_w) for section in sections])
        w_breaks = _aerofoil_breaks(sections, mould, share_w, shares)
        chords = np.array([station.chord_mm for station in stations])
        shares = shares * chords[:, None]
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
    ruled = mould.loft == "ruled" or len(spans) == 2
    knots, degree, control = _through(spans, 1 if ruled else min(3, len(spans) - 1))
    curves = _spline(nodes, w_breaks, points)
    if not ruled:
        curves.c = np.ascontiguousarray(np.einsum("jk,pmkc->pmjc", control, curves.c))
        shares, chords = control @ shares, None if chords is None else control @ chords
    return Loft(
        spans,
        ruled,
        knots,
        degree,
        curves,
        w_breaks,
        share_w,
        shares,
        chords,
        (mould.from_share, mould.to_share),
        bag_sign,
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


def _through(spans: np.ndarray, degree: int) -> tuple[np.ndarray, int, np.ndarray]:
    """Knots and degree of the B-splines over the span, and what turns stations into controls.

    Cubic through four stations or more is the spline without a knot at the second station and
    the last but one (de Boor, A Practical Guide to Splines, 1978, chapter IV).
    """
    inner = spans[1:-1] if degree == 1 else spans[2:-2] if degree == 3 else spans[:0]
    ends = np.ones(degree + 1)
    knots = np.concatenate([spans[0] * ends, inner, spans[-1] * ends])
    if degree == 1:
        return knots, 1, np.eye(len(spans))
    basis, first = _b_splines(knots, degree, spans, 0)
    whole = np.zeros((len(spans), len(spans)))
    for j in range(degree + 1):
        whole[np.arange(len(spans)), first + j] += basis[:, j]
    return knots, degree, np.linalg.inv(whole)


def _b_splines(
    knots: np.ndarray, degree: int, u: np.ndarray, order: int
) -> tuple[np.ndarray, np.ndarray]:
    """The B-splines that are not 0 at u, (n, degree + 1), or their derivatives, and the first's
    number; continued as polynomials beyond the ends (de Boor 1978, chapter X)."""
    last = len(knots) - degree - 2
    at = np.clip(np.searchsorted(knots, u, side="right") - 1, degree, last)
    if order > degree:
        return np.zeros((len(u), degree + 1)), at - degree
    values = np.ones((len(u), 1))
    for k in range(1, degree + 1):
        wider = np.zeros((len(u), k + 1))
        for j in range(k):
            low, high = knots[at - k + 1 + j], knots[at + 1 + j]
            width = high - low
            if k > degree - order:  # the highest degrees are taken as derivatives
                step = k * values[:, j] / width
                wider[:, j] -= step
                wider[:, j + 1] += step
            else:
                wider[:, j] += values[:, j] * (high - u) / width
                wider[:, j + 1] += values[:, j] * (u - low) / width
        values = wider
    return values, at - degree


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


def _chord_shares(section: SectionCurve, w: np.ndarray) -> np.ndarray:
    """(n,) share x / c at rising w from the leading edge on; it rises with w."""
    x = section.points(np.append(share_of_w(w), 1.0))[:, 0]
    share = np.maximum.accumulate((x[:-1] - x[0]) / (x[-1] - x[0]))
    return np.maximum(share, _AHEAD * w)


def _aerofoil_breaks(sections, mould: StationMould, share_w, shares: np.ndarray) -> np.ndarray:
    """w where the sections' curvature jumps, and the ends of the covered part between them."""
    inner = np.concatenate([w_of_share(s.breaks[1:-1]) for s in sections])
    low, high = (
        np.mean([np.interp(end, row, share_w) for row in shares])
        if 0 < end < _NOSE_SHARE
        else w_of_share(end)
        for end in (mould.from_share, mould.to_share)
    )
    inner = inner[(inner > low + 1e-3) & (inner < high - 1e-3)]
    inner = np.sort(inner)
    keep = np.concatenate([[True], np.diff(inner) > 1e-3]) if len(inner) else []
    return np.concatenate([[low], inner[keep] if len(inner) else inner, [high]])


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
