"""Developing a leaf: the flat pattern of one smooth stretch of the loft.

The pattern is a bicubic spline X(u, w) over the same parameters as the face S(u, w). Its
coefficients minimise the membrane strain energy: the integral over the face of E:E, with the
Green strain E = (A^-T X'^T X' A^-1 - I) / 2, where A^T A = S'^T S' (Gauss-Newton, Gauss points).
A developable face is met with E = 0 up to the spline's own accuracy; the pattern is smooth, so no
chord of a triangle shortens it.

The start unrolls the root row by its geodesic curvature and lays the following rows by their true
distances and angles. The pattern is built right-handed in (u, w) and never mirrored: an inverted
element is a refusal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.flatten import Folds, Membrane
from plybook.surface.loft import Loft
from plybook.surface.places import on_section

_DEGREE = 3
_GAUSS = 4
_SECTION_ELEMENTS = 44
_NOSE_W, _NOSE_FINER = 0.16, 3  # elements near the nose of an aerofoil are cut into so many
_PACE, _MOST_FINER = 0.04, 4  # an element is cut where its pace changes by this share along it
_BAY_ELEMENTS, _SPAN_ELEMENTS = 6, 60  # of one bay at most; of all together, but one in each
_MANY_CELLS = 8000  # more are solved strip by strip, which takes more time but less memory
_BAY_RUNS, _SPAN_RUNS = 8, 480  # the same of the stretches of a bent face that a start is laid in


@dataclass(frozen=True)
class Pattern:
    """A bicubic spline map (u, w) -> flat."""

    u_knots: np.ndarray
    w_knots: np.ndarray
    coefficients: np.ndarray  # (nu, nw, 2)

    @cached_property
    def _spline(self):
        from scipy.interpolate import NdBSpline

        return NdBSpline((self.u_knots, self.w_knots), self.coefficients, _DEGREE)

    def at(self, u: np.ndarray, w: np.ndarray, du: int = 0, dw: int = 0) -> np.ndarray:
        """(n,), (n,) inside the leaf -> (n, 2), or a derivative."""
        return self._spline(np.stack([u, w], axis=-1), nu=(du, dw))

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> Pattern:
        """The same pattern after x -> turn @ x + shift (a spline moves with its coefficients)."""
        return Pattern(self.u_knots, self.w_knots, self.coefficients @ turn.T + shift)


class FaceFolds(GeometryError):
    """The face between two spans cannot be laid flat; it folds at a span (mm) and a share."""

    def __init__(self, findings, span_mm: float = 0.0, share: float = 0.0):
        super().__init__(findings)
        self.span_mm, self.share = span_mm, share


@dataclass(frozen=True)
class Developed:
    pattern: Pattern
    area_mm2: float
    rounds: int


def knots(breaks: np.ndarray, elements: np.ndarray, repeats: np.ndarray) -> np.ndarray:
    """Cubic knot vector: `elements` spans between breaks, inner breaks repeated."""
    inner = []
    for i, (a, b) in enumerate(zip(breaks, breaks[1:], strict=False)):
        inner.append(np.linspace(a, b, int(elements[i]) + 1)[1:-1])
        if i < len(breaks) - 2:
            inner.append(np.full(int(repeats[i]), b))
    ends = np.full(_DEGREE + 1, breaks[0]), np.full(_DEGREE + 1, breaks[-1])
    return np.concatenate([ends[0], *inner, ends[1]])


def develop(loft: Loft, from_mm: float, to_mm: float, finer: float = 1.0) -> Developed:
    """Flatten the loft between two spans.

    Args:
        loft: the face.
        from_mm, to_mm: spans of the leaf's ends (stations or not).
        finer: factor on the number of spline elements both ways, for convergence checks.

    Returns:
        The pattern, right-handed in (u, w), somewhere in the plane.

    Raises:
        GeometryError: the face folds on itself or has a point where it is not smooth.
    """
    inner = loft.spans[(loft.spans > from_mm + 1e-9) & (loft.spans < to_mm - 1e-9)]
    u_breaks = np.concatenate([[from_mm], inner, [to_mm]])
    count = len(u_breaks) - 1
    in_bay = min(_BAY_ELEMENTS, max(1, round(_SPAN_ELEMENTS / count)))
    bays = np.full(count, max(2 if count == 1 else 1, round(in_bay * finer)))
    u_knots = knots(u_breaks, bays, np.full(len(inner), 3 if loft.ruled else 1))
    total = loft.w_breaks[-1] - loft.w_breaks[0]
    pieces = np.maximum(3, np.round(_SECTION_ELEMENTS * finer * np.diff(loft.w_breaks) / total))
    # where only the curvature jumps the pattern keeps its slope; else the pace along w jumps too
    w_repeats = np.full(len(loft.w_breaks) - 2, 2 if loft.chords is not None else 3)
    w_knots = knots(loft.w_breaks, pieces, w_repeats)
    if loft.chords is not None:
        w_knots = _finer_pace(loft, _finer_nose(w_knots), finer)
    cells = _membrane(loft, u_knots, w_knots)
    start = _start(loft, u_knots, w_knots)
    try:
        flat, rounds = cells.relax(start.reshape(-1, 2))
    except Folds as refusal:
        raise FaceFolds(refusal.findings, *_middle(loft, u_knots, w_knots, refusal.cells)) from None
    pattern = Pattern(u_knots, w_knots, flat.reshape(start.shape))
    return Developed(pattern, float(cells.area.sum()), rounds)


def _middle(
    loft: Loft, u_knots: np.ndarray, w_knots: np.ndarray, cells: np.ndarray
) -> tuple[float, float]:
    """Span and share in the middle of that one of some cells that is in the middle of them."""
    u, w = np.unique(u_knots), np.unique(w_knots)
    row, column = divmod(int(cells[len(cells) // 2]), len(w) - 1)
    span, at = (u[row] + u[row + 1]) / 2, (w[column] + w[column + 1]) / 2
    return float(span), float(loft.share(np.array([span]), np.array([at]))[0])


def _finer_nose(w_knots: np.ndarray) -> np.ndarray:
    """More knots where the section bends most: within about 3 % of the chord."""
    lines = np.unique(w_knots)
    part = np.arange(1, _NOSE_FINER) / _NOSE_FINER
    extra = lines[:-1, None] + part * np.diff(lines)[:, None]
    return np.sort(np.concatenate([w_knots, extra[lines[:-1] < _NOSE_W].ravel()]))


def _finer_pace(loft: Loft, w_knots: np.ndarray, finer: float) -> np.ndarray:
    """More knots where the length of a section grows unevenly with w, as on one that ends round."""
    lines = np.unique(w_knots)
    part = np.linspace(0.0, 1.0, 5)
    at = (lines[:-1, None] + part * np.diff(lines)[:, None]).ravel()
    pace = np.linalg.norm(loft.grid(loft.spans, at, 0, 1), axis=2)
    logs = np.log(np.maximum(pace, 1e-12)).reshape(len(loft.spans), -1, len(part))
    change = np.ptp(logs, axis=2).max(axis=0)
    counts = np.clip(np.ceil(change * finer / _PACE - 1e-9), 1, _MOST_FINER).astype(int)
    extra = [
        np.linspace(a, b, n + 1)[1:-1] for a, b, n in zip(lines, lines[1:], counts, strict=False)
    ]
    return np.sort(np.concatenate([w_knots, *extra]))


class _Basis:
    """Cubic basis functions at the Gauss points of all knot spans in one direction."""

    def __init__(self, knot: np.ndarray):
        from scipy.interpolate import BSpline

        lines = np.unique(knot)
        x, weight = np.polynomial.legendre.leggauss(_GAUSS)
        half = np.diff(lines)[:, None] / 2
        self.at = (lines[:-1, None] + half) + half * x  # (elements, gauss)
        self.weight = half * weight
        self.count = len(knot) - _DEGREE - 1
        self.first = np.searchsorted(knot, lines[:-1], side="right") - 1 - _DEGREE
        flat = self.at.ravel()
        all_functions = BSpline(knot, np.eye(self.count), _DEGREE)
        rows = np.arange(len(flat))[:, None]
        columns = np.repeat(self.first, _GAUSS)[:, None] + np.arange(_DEGREE + 1)
        shape = (len(lines) - 1, _GAUSS, _DEGREE + 1)
        self.value = all_functions(flat)[rows, columns].reshape(shape)
        self.slope = all_functions(flat, nu=1)[rows, columns].reshape(shape)


def _membrane(loft: Loft, u_knots: np.ndarray, w_knots: np.ndarray) -> Membrane:
    """All elements of a leaf with their metric at the Gauss points; nodes are coefficients."""
    u, w = _Basis(u_knots), _Basis(w_knots)
    u_at, w_at = u.at.ravel(), w.at.ravel()
    along, across = loft.grid(u_at, w_at, 1, 0), loft.grid(u_at, w_at, 0, 1)
    e, g = np.sum(along**2, axis=2), np.sum(across**2, axis=2)
    f = np.sum(along * across, axis=2)
    size = np.sqrt(np.maximum(e * g - f * f, 0.0))
    ends = loft.grid(np.array([u_knots[0], u_knots[-1]]), w_at, 0, 1)
    if (
        not (size > 1e-9 * size.max()).all()
        or not (np.linalg.norm(ends, axis=2).max(axis=1) > 1e-6 * np.sqrt(g.max())).all()
    ):
        row, column = divmod(int(np.argmin(size)), len(w_at))
        share = loft.share(u_at[row : row + 1], w_at[column : column + 1])[0]
        raise GeometryError(
            error(
                "face-degenerate",
                f"the face runs to a point or a line at {on_section(u_at[row], share)}: there it "
                "has no pattern",
                "give its stations there a longer chord, or end the part before them",
            )
        )
    # A = [[a, b], [0, c]] with A^T A = metric; derivatives in face units: (du, dw) A^-1
    a, b = np.sqrt(e), f / np.sqrt(e)
    c = size / a
    weight = u.weight.ravel()[:, None] * w.weight.ravel() * size
    shape = (u.at.shape[0], _GAUSS, w.at.shape[0], _GAUSS)

    def by_cell(values: np.ndarray) -> np.ndarray:
        return values.reshape(shape).transpose(0, 2, 1, 3).reshape(-1, _GAUSS * _GAUSS)

    a, b, c, area = by_cell(a), by_cell(b), by_cell(c), by_cell(weight)
    # derivatives along the span direction and square to it, in the face: (cells, gauss, 16) each
    d1, d2 = (np.empty((*a.shape, (_DEGREE + 1) ** 2)) for _ in range(2))
    for row, (value, slope) in enumerate(zip(u.value, u.slope, strict=True)):
        some = slice(row * len(w.at), (row + 1) * len(w.at))
        by_u = np.einsum("ga,jhb->jghab", slope, w.value).reshape(d1[some].shape)
        by_w = np.einsum("ga,jhb->jghab", value, w.slope).reshape(d2[some].shape)
        d1[some] = by_u / a[some, :, None]
        d2[some] = (by_w - (b / a)[some, :, None] * by_u) / c[some, :, None]
    rows = u.first[:, None] + np.arange(_DEGREE + 1)
    columns = w.first[:, None] + np.arange(_DEGREE + 1)
    nodes = (rows[:, None, :, None] * w.count + columns[None, :, None, :]).reshape(len(a), -1)
    made = Membrane(d1, d2, area, nodes, u.count * w.count)
    if len(a) > _MANY_CELLS:
        cells = np.arange(len(a)).reshape(len(u.at), len(w.at))
        places = np.arange(u.count * w.count)
        wide = u.count < w.count  # strips across the shorter way hang together least
        made.strips = cells.T if wide else cells
        made.place = places % w.count if wide else places // w.count
    return made


# ---------------------------------------------------------------- start


def geodesic_curvature(loft: Loft, u: float, w: np.ndarray, bay: int | None = None) -> np.ndarray:
    """Geodesic curvature (1/mm) of the section curve at span u, positive turning towards S_u."""
    at = np.full(len(w), u)
    along = loft.at(at, w, 1, 0, bay)
    first, second = loft.at(at, w, 0, 1, bay), loft.at(at, w, 0, 2, bay)
    normal = np.cross(along, first)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    side = np.cross(first, normal)  # in the face, square to the curve, to the S_u side
    size = np.sum(first**2, axis=1) * np.linalg.norm(side, axis=1)
    return np.sum(second * side, axis=1) / size


def unrolled(speed: np.ndarray, bend: np.ndarray, w: np.ndarray) -> np.ndarray:
    """The plane curve of given speed ds/dw and curvature (to the right, 1/mm): (n, 2).

    It starts at the origin along +y; positive curvature turns towards +x.
    """
    angle = np.concatenate([[0.0], np.cumsum(_trapezoid(speed * bend, w))])
    x = np.concatenate([[0.0], np.cumsum(_trapezoid(speed * np.sin(angle), w))])
    y = np.concatenate([[0.0], np.cumsum(_trapezoid(speed * np.cos(angle), w))])
    return np.stack([x, y], axis=1)


def best_rigid(points: np.ndarray, onto: np.ndarray, weight: np.ndarray | None = None):
    """Rotation (2, 2) and shift (2,) that bring points closest to onto; never a mirror."""
    weight = np.ones(len(points)) if weight is None else weight
    weight = (weight / weight.sum())[:, None]
    a, b = np.sum(weight * points, axis=0), np.sum(weight * onto, axis=0)
    p, q = points - a, onto - b
    dot = np.sum(weight[:, 0] * (p[:, 0] * q[:, 0] + p[:, 1] * q[:, 1]))
    cross = np.sum(weight[:, 0] * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]))
    size = np.hypot(dot, cross)
    cos, sin = dot / size, cross / size
    turn = np.array([[cos, -sin], [sin, cos]])
    return turn, b - turn @ a


def _start(loft: Loft, u_knots: np.ndarray, w_knots: np.ndarray) -> np.ndarray:
    """Coefficients of the bay-by-bay layout, interpolated at the Greville points."""
    from scipy.interpolate import BSpline

    u, w = _greville(u_knots), _greville(w_knots)
    fine = np.unique(np.concatenate([np.linspace(w[0], w[-1], 801), w]))
    pick = np.searchsorted(fine, w)
    inner = loft.spans[(loft.spans > u[0] + 1e-9) & (loft.spans < u[-1] - 1e-9)]
    stops = np.concatenate([u[:1], inner, u[-1:]])
    if not loft.ruled:  # bays are bent: lay them in short runs
        runs = max(1, min(_BAY_RUNS, _SPAN_RUNS // (len(stops) - 1)))
        parts = [np.linspace(a, b, runs + 1)[:-1] for a, b in zip(stops, stops[1:], strict=False)]
        stops = np.concatenate([*parts, u[-1:]])
    grid = np.empty((len(u), len(w), 2))
    far = None
    for low, high in zip(stops, stops[1:], strict=False):
        bay = int(np.searchsorted(loft.spans, (low + high) / 2) - 1)
        near, jump = _bay_start(loft, low, high, bay, fine)
        if far is not None:
            turn, shift = best_rigid(near, far)
            near, jump = near @ turn.T + shift, jump @ turn.T
        rows = (u >= low - 1e-9) & (u <= high + 1e-9)
        part = ((u[rows] - low) / (high - low))[:, None, None]
        grid[rows] = near[pick] + part * jump[pick]
        far = near + jump
    u_matrix = BSpline.design_matrix(u, u_knots, _DEGREE).toarray()
    w_matrix = BSpline.design_matrix(w, w_knots, _DEGREE).toarray()
    half = np.linalg.solve(u_matrix, grid.reshape(len(u), -1)).reshape(grid.shape)
    other = np.linalg.solve(w_matrix, half.transpose(1, 0, 2).reshape(len(w), -1))
    return other.reshape(len(w), len(u), 2).transpose(1, 0, 2)


def _bay_start(loft: Loft, low: float, high: float, bay: int, w: np.ndarray):
    """Inner row of a bay unrolled, and the vectors to its outer row, true in length and angle."""
    at = np.full(len(w), low)
    along, across = loft.at(at, w, 1, 0, bay), loft.at(at, w, 0, 1, bay)
    speed = np.linalg.norm(across, axis=1)
    bend = geodesic_curvature(loft, low, w, bay)
    row = unrolled(speed, bend, w)
    turn = np.concatenate([[0.0], np.cumsum(_trapezoid(speed * bend, w))])
    tangent = np.stack([np.sin(turn), np.cos(turn)], axis=1)
    right = np.stack([np.cos(turn), -np.sin(turn)], axis=1)
    across = across / speed[:, None]
    normal = np.cross(along, across)
    side = np.cross(across, normal / np.linalg.norm(normal, axis=1)[:, None])
    jump = loft.at(np.full(len(w), high), w, bay=bay) - loft.at(at, w, bay=bay)
    flat = np.stack([np.sum(jump * side, axis=1), np.sum(jump * across, axis=1)], axis=1)
    flat *= (np.linalg.norm(jump, axis=1) / np.linalg.norm(flat, axis=1))[:, None]
    return row, flat[:, :1] * right + flat[:, 1:] * tangent


def _trapezoid(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    return (values[1:] + values[:-1]) / 2 * np.diff(at)


def _greville(knot: np.ndarray) -> np.ndarray:
    count = len(knot) - _DEGREE - 1
    at = np.stack([knot[i + 1 : i + 1 + count] for i in range(_DEGREE)]).mean(axis=0)
    return np.clip(at, knot[0], knot[-1])
