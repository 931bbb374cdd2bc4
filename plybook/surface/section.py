"""Section curves: the shape of the mould face across the span, as smooth curves of the share.

Terms:
    share: position along the section; on an aerofoil the share of the chord (x / chord, 0 at the
        leading edge, 1 at the trailing edge), on a polyline the share of the girth.
    branch: one side of an aerofoil, from the leading to the trailing edge.
    tau: inner parameter of a branch in which the curve is smooth round the nose.
    w: half-cosine parameter, share = 1 - cos(pi w / 2); nodes even in w crowd towards the nose.

The thickness of NACA sections is that of Report 460 (Jacobs, Ward, Pinkerton 1933) and Report 824
(Abbott, von Doenhoff, Stivers 1945), square to the mean line; the sharp trailing edge replaces the
last coefficient by -0.1036 (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from plybook.diagnostics import GeometryError, Place, error
from plybook.spec.model import NOWHERE, CoordinateSection, NacaSection, PolylineSection, Section
from plybook.spec.naca import code_fault
from plybook.surface.meanline import MeanLine, mean_line

_TAU_NODES = 1601
_NOSE = 0.12  # in sqrt(chord share): the share is corrected within about 2.5 % of the chord


@dataclass(frozen=True)
class SectionCurve:
    """One section as a curve over share 0..1.

    Attributes:
        kind: "aerofoil" (unit chord) or "polyline" (mm).
        points: share (n,) -> (n, 2) x aft, z up.
        breaks: shares where the curvature (or the tangent) jumps, with both ends, rising.
        inside_left: the inside of the section lies to the left of the walk from 0 to 1.
        extent_x: smallest and largest x, between which a twist share is measured.
    """

    kind: str
    points: Callable[[np.ndarray], np.ndarray]
    breaks: np.ndarray
    inside_left: bool
    extent_x: tuple[float, float]

    def length(self, from_share: float = 0.0, to_share: float = 1.0) -> float:
        """Length of the curve between two shares, in its own unit (chords or mm)."""
        inner = self.breaks[(self.breaks > from_share) & (self.breaks < to_share)]
        stops = np.concatenate([[from_share], inner, [to_share]])
        return float(
            sum(self._piece_length(a, b) for a, b in zip(stops, stops[1:], strict=False) if b > a)
        )

    def _piece_length(self, a: float, b: float) -> float:
        from scipy.interpolate import CubicSpline

        wa, wb = w_of_share(np.array([a, b]))
        w = np.linspace(wa, wb, 401)
        speed = CubicSpline(w, self.points(share_of_w(w))).derivative()
        x, weight = np.polynomial.legendre.leggauss(4)
        mid, half = (w[1:] + w[:-1]) / 2, (w[1:] - w[:-1]) / 2
        at = (mid[:, None] + half[:, None] * x).ravel()
        return float(np.sum(np.hypot(*speed(at).T) * (half[:, None] * weight).ravel()))


def share_of_w(w: np.ndarray) -> np.ndarray:
    """Chord share of the half-cosine parameter; odd below 0 and straight above 1."""
    w = np.asarray(w, dtype=float)
    bent = 2.0 * np.sin(np.pi * np.clip(w, -1.0, 1.0) / 4.0) ** 2 * np.sign(w)
    over = np.abs(w) - 1.0
    return np.where(over > 0, bent + np.sign(w) * over * np.pi / 2.0, bent)


def w_of_share(share: np.ndarray | float) -> np.ndarray:
    """Inverse of `share_of_w`."""
    share = np.asarray(share, dtype=float)
    size = np.abs(share)
    bent = 4.0 / np.pi * np.arcsin(np.sqrt(np.clip(size, 0.0, 1.0) / 2.0))
    return np.sign(share) * (bent + np.where(size > 1.0, (size - 1.0) * 2.0 / np.pi, 0.0))


def section_curve(section: Section, side: str, place: Place = NOWHERE) -> SectionCurve:
    """The curve of one side of a section.

    Args:
        section: as in the spec.
        side: "upper", "lower", or "all" for a polyline.
        place: where the section stands in the spec, for a finding.

    Raises:
        GeometryError: the section cannot be walked as asked (see the finding).
    """
    if isinstance(section, PolylineSection):
        return _polyline(section, place)
    if side not in ("upper", "lower"):
        _refuse("section-side", "an aerofoil section needs a side, upper or lower", place)
    if isinstance(section, NacaSection):
        return _naca(section, side == "upper", place)
    return _coordinates(section, side == "upper", place)


# ---------------------------------------------------------------- aerofoils


def _naca(section: NacaSection, upper: bool, place: Place) -> SectionCurve:
    code = section.code
    if fault := code_fault(code) if code.isdigit() else "is no number":
        _refuse("naca-code", f"{code!r} {fault}", place, "write for example '2412' or '23012'")
    line = mean_line(code)

    def curve(tau: np.ndarray) -> np.ndarray:
        return naca_points(tau, line, int(code[-2:]) / 100, upper, section.sharp)

    h = 1e-6
    slope = (curve(np.array([h]))[0, 0] - h * h) / h  # dx/dtau at the nose, without the tau^2
    breaks = () if line.joint is None else (np.sqrt(line.joint),)
    return _branch(curve, 1.0, slope, 2.0, breaks, upper, place)


def naca_points(
    tau: np.ndarray, line: MeanLine, thick: float, upper: bool, sharp: bool = False
) -> np.ndarray:
    """Points of a section, unit chord (NACA Report 460).

    Args:
        tau: square root of the share of the mean line, 0..1.
        line: the mean line; thick: share of the chord.
        upper: side; sharp: trailing edge closed.

    Returns:
        (n, 2) x aft, z up.
    """
    tau = np.asarray(tau, dtype=float)
    x = tau * tau
    last = -0.1036 if sharp else -0.1015
    half = 5.0 * thick * (0.2969 * tau + x * (-0.1260 + x * (-0.3516 + x * (0.2843 + x * last))))
    height, slope = line.at(x)
    cos = 1.0 / np.sqrt(1.0 + slope**2)
    sign = 1.0 if upper else -1.0
    return np.stack([x - sign * half * slope * cos, height + sign * half * cos], axis=-1)


def _coordinates(section: CoordinateSection, upper: bool, place: Place) -> SectionCurve:
    """A smooth spline through all points, round the nose, split at the leading edge."""
    from scipy.interpolate import CubicSpline

    points = np.asarray(section.points, dtype=float)
    if points.ndim != 2 or len(points) < 7 or not np.isfinite(points).all():
        _refuse("section-points", "a coordinate section needs at least 7 finite points", place)
    steps = np.hypot(*np.diff(points, axis=0).T)
    if (steps < 1e-9).any():
        at = int(np.argmin(steps))
        _refuse(
            "section-points",
            f"points {at + 1} and {at + 2} of the section are the same",
            place,
            "remove one of them",
        )
    along = np.concatenate([[0.0], np.cumsum(steps)])
    spline = CubicSpline(along, points)
    nose = _nose(spline, along, points)
    if upper:
        length, way = nose, -1.0
    else:
        length, way = along[-1] - nose, 1.0

    def curve(tau: np.ndarray) -> np.ndarray:
        return spline(nose + way * np.asarray(tau))

    slope = way * float(spline(nose, 1)[0])
    bend = float(spline(nose, 2)[0])
    if bend <= 0:
        _refuse("section-points", "the section is not round at its leading edge", place)
    return _branch(curve, length, slope, bend, (), upper, place)


def _nose(spline, along: np.ndarray, points: np.ndarray) -> float:
    """Where the leading edge lies: the point (0, 0) when given, else the foremost point."""
    exact = np.flatnonzero(np.hypot(*points.T) < 1e-9)
    if len(exact) and 0 < exact[0] < len(points) - 1:
        return float(along[exact[0]])
    first = int(np.argmin(points[:, 0]))
    low, high = along[max(first - 1, 0)], along[min(first + 1, len(along) - 1)]
    for _ in range(80):
        mid = (low + high) / 2
        low, high = (mid, high) if spline(mid, 1)[0] < 0 else (low, mid)
    return float((low + high) / 2)


def _branch(curve, tau_end, slope, bend, tau_breaks, upper, place) -> SectionCurve:
    """A branch over the chord share.

    The share is the chordwise distance of this side from its leading to its trailing edge (an
    open trailing edge may lie 0.01 % beside x = 1). Only in the nose is x corrected smoothly, as
    a cambered section reaches a little ahead of its leading edge: the share must start at 0 and
    rise. The correction is below 0.1 % of the chord, and gone at 7 %.
    """
    from scipy.interpolate import CubicSpline

    tau = np.union1d(np.linspace(0.0, tau_end, _TAU_NODES), tau_breaks)
    x = curve(tau)[:, 0]
    width = max(2.5 * abs(slope) / bend, _NOSE / np.sqrt(bend / 2.0))
    share = x - x[0] - slope * tau * np.exp(-((tau / width) ** 2))
    share = share / share[-1]
    share[0] = 0.0
    if (np.diff(share) <= 0).any():
        _refuse("section-folds", "the section folds back along its chord", place)
    tau_of_root = CubicSpline(np.sqrt(share), tau)  # share grows with tau^2 at the nose

    def points(at: np.ndarray) -> np.ndarray:
        return curve(tau_of_root(np.sqrt(np.clip(at, 0.0, 1.0))))

    inner = [float(np.interp(t, tau, share)) for t in tau_breaks]
    breaks = np.array([0.0, *inner, 1.0])
    return SectionCurve("aerofoil", points, breaks, not upper, (0.0, 1.0))


# ---------------------------------------------------------------- polylines


def _polyline(section: PolylineSection, place: Place) -> SectionCurve:
    """Straight runs and tangent arcs, exact; the bend arithmetic is that of sheet work."""
    corners = np.asarray(section.points_mm, dtype=float)
    radii = np.asarray(section.radii_mm, dtype=float)
    if len(corners) < 2 or len(radii) != len(corners) - 2:
        _refuse(
            "polyline-radii",
            f"{len(corners)} points have {max(len(corners) - 2, 0)} inner corners, "
            f"but {len(radii)} radii are given",
            place,
        )
    legs = np.diff(corners, axis=0)
    lengths = np.hypot(*legs.T)
    if (lengths < 1e-9).any():
        _refuse("polyline-points", "two neighbouring points of the section are the same", place)
    way = legs / lengths[:, None]
    cross = way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0]
    turn = np.arctan2(cross, np.sum(way[:-1] * way[1:], axis=1))
    cut = radii * np.tan(np.abs(turn) / 2)
    free = lengths - np.concatenate([[0.0], cut]) - np.concatenate([cut, [0.0]])
    if (free < -1e-9).any() or (radii < 0).any() or (np.abs(turn) > np.radians(175)).any():
        at = int(np.argmin(free)) + 1
        _refuse(
            "polyline-radii",
            f"the corner radii do not fit on leg {at} of the section",
            place,
            "make the radii smaller or the leg longer",
        )
    # pieces alternate leg, arc, leg, arc, ..., leg
    run = np.empty(2 * len(legs) - 1)
    run[0::2], run[1::2] = np.maximum(free, 0.0), radii * np.abs(turn)
    ends = np.concatenate([[0.0], np.cumsum(run)])
    girth = ends[-1]
    starts = corners[:-1] + way * np.concatenate([[0.0], cut])[:, None]

    def points(at: np.ndarray) -> np.ndarray:
        s = np.clip(np.asarray(at, dtype=float), 0.0, 1.0) * girth
        piece = np.clip(np.searchsorted(ends, s, side="right") - 1, 0, len(run) - 1)
        leg, along = piece // 2, s - ends[piece]
        straight = starts[leg] + way[leg] * along[:, None]
        if not len(radii):
            return straight
        corner = np.minimum(leg, len(radii) - 1)
        r = radii[corner]
        angle = np.sign(turn[corner]) * along / np.where(r > 0, r, 1.0)
        begin = corners[corner + 1] - way[corner] * cut[corner, None]
        left = np.stack([-way[corner, 1], way[corner, 0]], axis=1) * np.sign(turn[corner])[:, None]
        arc = begin + r[:, None] * (
            way[corner] * np.sin(np.abs(angle))[:, None] + left * (1 - np.cos(angle))[:, None]
        )
        return np.where((piece % 2 == 1)[:, None], arc, straight)

    x, z = corners.T
    area = float(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))
    return SectionCurve(
        "polyline",
        points,
        ends / girth,
        area >= 0,
        (float(x.min()), float(x.max())),
    )


def _refuse(code: str, message: str, place: Place, help: str = "") -> None:
    raise GeometryError(error(code, message, help, place))
