"""A leaf: one stretch of the face with its pattern, and the maps between span, share and flat.

Past its edges the leaf goes on straight: past root and tip along its rulings (as a developable face
goes on), past its sides along the tangents of its sections, past a corner in the plane of both. So
every point of the plane past the edges lies on a straight line that begins on an edge. Where
several do, past a hollow edge or a tip that runs to a point, the shortest of them holds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.surface.develop import Pattern
from plybook.surface.loft import Loft
from plybook.surface.pastedge import PastEdges

_NEWTON_ROUNDS = 30
_NEWTON_MM = 1e-5  # a miss before the last step, which squares it


@dataclass(frozen=True)
class Leaf:
    """Parameters u (span, mm) and w (along the section); the pattern is in the pattern frame."""

    loft: Loft
    pattern: Pattern
    from_mm: float
    to_mm: float

    @property
    def w_range(self) -> tuple[float, float]:
        return float(self.loft.w_breaks[0]), float(self.loft.w_breaks[-1])

    def inside(self, u: np.ndarray, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The nearest parameters within the leaf."""
        return np.clip(u, self.from_mm, self.to_mm), np.clip(w, *self.w_range)

    # -------------------------------------------------------- forward

    def flat(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n,), (n,) -> pattern (n, 2)."""
        return self._value(self.pattern.at, u, w)

    def space(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n,), (n,) -> part axes (n, 3)."""
        return self._value(self._loft_at, u, w)

    def _loft_at(self, u: np.ndarray, w: np.ndarray, du: int = 0, dw: int = 0) -> np.ndarray:
        return self.loft.at(self._in_bays(u), w, du, dw)

    def _in_bays(self, u: np.ndarray) -> np.ndarray:
        """Keeps the outer end on the leaf's own side of a kink."""
        return np.minimum(u, np.nextafter(self.to_mm, self.from_mm))

    def _value(self, at: Callable, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """Values alone, continued straight outside: slopes are asked for only out there."""
        u, w = np.asarray(u, dtype=float), np.asarray(w, dtype=float)
        uc, wc = self.inside(u, w)
        over_u, over_w = u - uc, w - wc
        value = at(uc, wc)
        past = np.flatnonzero((over_u != 0) | (over_w != 0))
        if len(past):
            uc, wc = uc[past], wc[past]
            value[past] += at(uc, wc, 1, 0) * over_u[past, None]
            value[past] += at(uc, wc, 0, 1) * over_w[past, None]
        return value

    def _extended(self, at: Callable, u: np.ndarray, w: np.ndarray):
        """Value and both derivatives, continued straight outside."""
        u, w = np.asarray(u, dtype=float), np.asarray(w, dtype=float)
        uc, wc = self.inside(u, w)
        over_u, over_w = (u - uc)[:, None], (w - wc)[:, None]
        value, by_u, by_w = at(uc, wc), at(uc, wc, 1, 0), at(uc, wc, 0, 1)
        if not (over_u.any() or over_w.any()):
            return value, by_u, by_w
        value = value + by_u * over_u + by_w * over_w
        mixed = at(uc, wc, 1, 1)
        slope_u = by_u + np.where(over_u == 0, mixed * over_w, 0.0)
        slope_w = by_w + np.where(over_w == 0, mixed * over_u, 0.0)
        return value, slope_u, slope_w

    # -------------------------------------------------------- back

    @cached_property
    def _near(self):
        from scipy.spatial import cKDTree

        u = np.linspace(self.from_mm, self.to_mm, 41)
        w = np.linspace(*self.w_range, 61)
        u, w = (a.ravel() for a in np.meshgrid(u, w, indexing="ij"))
        return cKDTree(self.pattern.at(u, w)), u, w

    def params(self, points_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pattern (n, 2) -> (u, w), also past the edges; `flat` leads back to the same point.

        Newton from the nearest node; what does not settle, or settles where the straight lines past
        an edge have crossed each other, is looked for along all of them.
        """
        points = np.asarray(points_mm, dtype=float)
        tree, u_nodes, w_nodes = self._near
        nearest = tree.query(points)[1]
        u, w = u_nodes[nearest].copy(), w_nodes[nearest].copy()
        open_ = np.arange(len(points))
        for _ in range(_NEWTON_ROUNDS):
            value, by_u, by_w = self._extended(self.pattern.at, u[open_], w[open_])
            miss = points[open_] - value
            det = by_u[:, 0] * by_w[:, 1] - by_u[:, 1] * by_w[:, 0]
            step_u = (miss[:, 0] * by_w[:, 1] - miss[:, 1] * by_w[:, 0]) / det
            step_w = (by_u[:, 0] * miss[:, 1] - by_u[:, 1] * miss[:, 0]) / det
            u[open_] += _held(step_u, u[open_], (self.from_mm, self.to_mm))
            w[open_] += _held(step_w, w[open_], self.w_range)
            open_ = open_[np.hypot(*miss.T) > _NEWTON_MM]
            if not len(open_):
                break
        lost = np.union1d(open_, np.flatnonzero(self._crossed(u, w)))
        if len(lost):
            u[lost], w[lost] = self._by_rays(points[lost], nearest[lost])
        return u, w

    def _by_rays(self, points: np.ndarray, nearest: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(u, w) by straight lines from the edges; from the nearest node if there are none."""
        _, u_nodes, w_nodes = self._near
        u, w = u_nodes[nearest], w_nodes[nearest]
        miss = points - self.pattern.at(u, w)
        step = np.linalg.solve(self.jacobian(u, w), miss[..., None])[..., 0]
        u, w = u + step[:, 0], w + step[:, 1]
        self._past_edges.params(points, u, w)
        return u, w

    @cached_property
    def _past_edges(self) -> PastEdges:
        return PastEdges(self.pattern, (self.from_mm, self.to_mm), self.w_range)

    def _crossed(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n,) whether the straight line to a point past the edge has crossed its neighbours: the
        pattern is turned over there."""
        uc, wc = self.inside(u, w)
        crossed = np.zeros(len(u), dtype=bool)
        past = np.flatnonzero((u != uc) | (w != wc))
        if len(past):
            _, by_u, by_w = self._extended(self.pattern.at, u[past], w[past])
            double = by_u[:, 0] * by_w[:, 1] - by_u[:, 1] * by_w[:, 0]
            turned = double * np.linalg.det(self.jacobian(u[past], w[past]))
            crossed[past] = turned <= 0
        return crossed

    # -------------------------------------------------------- shape

    def jacobian(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n, 2, 2) d(pattern) / d(u, w) at the nearest point of the leaf; columns u and w."""
        uc, wc = self.inside(u, w)
        return np.stack([self.pattern.at(uc, wc, 1, 0), self.pattern.at(uc, wc, 0, 1)], axis=2)

    def metric(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n, 2, 2) first fundamental form of the face, span mm and w."""
        uc, wc = self.inside(u, w)
        by_u, by_w = self._loft_at(uc, wc, 1, 0), self._loft_at(uc, wc, 0, 1)
        e, f, g = np.sum(by_u * by_u, 1), np.sum(by_u * by_w, 1), np.sum(by_w * by_w, 1)
        return np.stack([np.stack([e, f], 1), np.stack([f, g], 1)], 1)

    def normal(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n, 3) unit normal towards the bag side."""
        uc, wc = self.inside(u, w)
        cross = np.cross(self._loft_at(uc, wc, 1, 0), self._loft_at(uc, wc, 0, 1))
        return self.loft.bag_sign * cross / np.linalg.norm(cross, axis=1)[:, None]

    def curvature(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n, 2, 2) curvature in pattern axes, positive where the bag side is concave."""
        uc, wc = self.inside(u, w)
        normal = self.normal(uc, wc)
        uu, uw, ww = (
            np.sum(normal * self._loft_at(uc, wc, *order), axis=1)
            for order in ((2, 0), (1, 1), (0, 2))
        )
        uu, ww = np.where(u == uc, uu, 0.0), np.where(w == wc, ww, 0.0)
        uw = np.where((u == uc) & (w == wc), uw, 0.0)
        bend = np.stack([np.stack([uu, uw], 1), np.stack([uw, ww], 1)], 1)
        back = np.linalg.inv(self.jacobian(uc, wc))
        return np.einsum("nia,nij,njb->nab", back, bend, back)

    def strain(self, u: np.ndarray, w: np.ndarray) -> np.ndarray:
        """(n, 2, 2) Green strain of the face against the pattern, in pattern axes."""
        back = np.linalg.inv(self.jacobian(u, w))
        face = np.einsum("nia,nij,njb->nab", back, self.metric(u, w), back)
        return (face - np.eye(2)) / 2


def _held(step: np.ndarray, at: np.ndarray, ends: tuple[float, float]) -> np.ndarray:
    """(n,) steps from (n,) parameters, held to a quarter of a leaf but where they lead out past an
    end, where it goes on straight."""
    most = 0.25 * (ends[1] - ends[0])
    outwards = np.where(step > 0, at >= ends[1], at <= ends[0])
    return np.where(outwards, step, np.clip(step, -most, most))
