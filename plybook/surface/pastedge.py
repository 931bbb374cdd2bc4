"""Points of the plane past the edges of a leaf: the straight line from an edge that leads to each.

Past its edges a leaf goes on straight. Past a hollow edge, or past an end that runs to a point,
these lines cross further out, and several lead to the same point: the shortest holds.

Terms:
    ray: such a line; past root and tip it is a ruling, past the sides a tangent of a section.
    corner: where two edges meet; past it the leaf goes on in the plane of both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.surface.develop import Pattern

_RAYS = 257  # of each edge that are tried
_HALVINGS = 60  # of the stretch between two of them
_AT_ONCE = 1000  # points held against all rays of an edge


@dataclass(frozen=True)
class Edge:
    """One edge of a leaf: `fixed` is the parameter that is the same all along it."""

    pattern: Pattern
    of_span: bool  # root or tip, where the span is the same; else a side
    fixed: float
    outwards: float  # +1 or -1: the sign of a step of that parameter off the leaf
    along: tuple[float, float]  # the other parameter at both ends

    def rays(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(n,) places -> (n, 2) where their rays begin, (n, 2) their way for a step of one."""
        fixed = np.full(len(at), self.fixed)
        u, w = (fixed, at) if self.of_span else (at, fixed)
        slope = self.pattern.at(u, w, int(self.of_span), int(not self.of_span))
        return self.pattern.at(u, w), self.outwards * slope

    @cached_property
    def tried(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Places, beginnings and ways of the rays that are tried."""
        at = np.linspace(*self.along, _RAYS)
        return at, *self.rays(at)

    def shortest(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(n, 2) -> (n,) length of the shortest ray, inf where none leads there, and the number of
        the ray that was tried before it."""
        _, begin, way = self.tried
        off = points[:, None] - begin
        side, ahead = _cross(way, off), np.sum(off * way, axis=2) > 0
        meets = (side[:, :-1] * side[:, 1:] <= 0) & ahead[:, :-1] & ahead[:, 1:]
        length = np.where(meets, np.hypot(off[:, :-1, 0], off[:, :-1, 1]), np.inf)
        which = np.argmin(length, axis=1)
        return length[np.arange(len(points)), which], which

    def params(self, points: np.ndarray, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(u, w) of points by rays between the one of the number given and the next."""
        at = self.tried[0]
        low, high = at[which], at[which + 1]
        begin, way = self.rays(low)
        before = np.sign(_cross(way, points - begin))
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            begin, way = self.rays(middle)
            short = np.sign(_cross(way, points - begin)) == before
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        begin, way = self.rays(low)
        out = np.sum((points - begin) * way, axis=1) / np.sum(way * way, axis=1)
        past = self.fixed + self.outwards * out
        return (past, low) if self.of_span else (low, past)


@dataclass(frozen=True)
class PastEdges:
    """All edges and corners of a leaf: its stretch of the span and of the section parameter."""

    pattern: Pattern
    spans: tuple[float, float]
    rows: tuple[float, float]

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """Root, tip and both sides."""
        return tuple(
            Edge(self.pattern, of_span, fixed, outwards, self.rows if of_span else self.spans)
            for of_span, ends in ((True, self.spans), (False, self.rows))
            for fixed, outwards in zip(ends, (-1.0, 1.0), strict=True)
        )

    def params(self, points: np.ndarray, u: np.ndarray, w: np.ndarray) -> None:
        """Sets the parameters u and w, (n,) each, of points (n, 2); those that no ray reaches keep
        what they have."""
        for at in range(0, len(points), _AT_ONCE):
            some = slice(at, at + _AT_ONCE)
            self._set(points[some], u[some], w[some])

    def _set(self, points: np.ndarray, u: np.ndarray, w: np.ndarray) -> None:
        best = np.full(len(points), np.inf)
        for edge in self.edges:
            length, which = edge.shortest(points)
            nearer = np.flatnonzero(length < best)
            best[nearer] = length[nearer]
            u[nearer], w[nearer] = edge.params(points[nearer], which[nearer])
        for span, span_out in zip(self.spans, (-1.0, 1.0), strict=True):
            for row, row_out in zip(self.rows, (-1.0, 1.0), strict=True):
                begin, over = self._from_corner(span, row, points)
                past = (over[:, 0] * span_out >= 0) & (over[:, 1] * row_out >= 0)
                length = np.where(past, np.hypot(*(points - begin).T), np.inf)
                nearer = np.flatnonzero(length < best)
                best[nearer] = length[nearer]
                u[nearer], w[nearer] = span + over[nearer, 0], row + over[nearer, 1]

    def _from_corner(self, span: float, row: float, points: np.ndarray):
        """A corner (2,), and points as steps (n, 2) of both parameters from it."""
        u, w = np.array([span]), np.array([row])
        begin = self.pattern.at(u, w)[0]
        slopes = np.stack([self.pattern.at(u, w, 1, 0)[0], self.pattern.at(u, w, 0, 1)[0]], axis=1)
        return begin, np.linalg.solve(slopes, (points - begin).T).T


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
