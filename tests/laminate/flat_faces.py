"""Small faces for the tests of this room: a flat trapezoid, and a cylinder laid out flat."""

from dataclasses import dataclass, field

import numpy as np

from plybook.surface.model import FaceEdge, Kink


@dataclass
class TrapezoidFace:
    """A flat skin: root at x = 0, tip at x = length, leading edge above; seen from the bag side.

    `radius_mm` bends it about the x axis (a cylinder, concave on the bag side), pattern unchanged.
    """

    length: float = 2000.0
    root: tuple[float, float] = (-300.0, 700.0)  # y of trailing, leading edge at the root
    tip: tuple[float, float] = (-150.0, 450.0)
    radius_mm: float = 0.0
    kinks: tuple[Kink, ...] = ()
    holes_mm: tuple = ()
    station_lines: tuple = ()
    flat: bool = field(init=False)

    def __post_init__(self):
        self.flat = self.radius_mm == 0
        (a, d), (b, c) = self.root, self.tip
        self.outline_mm = np.array([[0, a], [self.length, b], [self.length, c], [0, d]], float)
        ring = np.vstack([self.outline_mm, self.outline_mm[:1]])
        names = ("trailing", "tip", "leading", "root")
        self.edges = tuple(FaceEdge(n, ring[i : i + 2]) for i, n in enumerate(names))
        self.axis_mm = np.array([[0.0, 0.0], [self.length, 0.0]])
        self.leaves_mm = (self.outline_mm,)
        self.area_mm2 = float(self.length * ((d - a) + (c - b)) / 2)

    def _ends(self, span):
        share = np.asarray(span) / self.length
        low = self.root[0] + (self.tip[0] - self.root[0]) * share
        high = self.root[1] + (self.tip[1] - self.root[1]) * share
        return low, high

    def to_pattern(self, span_share):
        span, share = np.asarray(span_share, float).T
        low, high = self._ends(span)
        return np.column_stack([span, high + (low - high) * share])

    def from_pattern(self, points_mm):
        x, y = np.asarray(points_mm, float).T
        low, high = self._ends(x)
        return np.column_stack([x, (high - y) / (high - low)])

    def to_space(self, points_mm):
        x, y = np.asarray(points_mm, float).T
        if self.flat:
            return np.column_stack([x, y, np.zeros(len(x))])
        turn = y / self.radius_mm
        return np.column_stack(
            [x, self.radius_mm * np.sin(turn), self.radius_mm * (1 - np.cos(turn))]
        )

    def normals(self, points_mm):
        y = np.asarray(points_mm, float)[:, 1]
        if self.flat:
            return np.tile([0.0, 0.0, 1.0], (len(y), 1))
        turn = y / self.radius_mm
        return np.column_stack([np.zeros(len(y)), -np.sin(turn), np.cos(turn)])

    def curvature(self, points_mm):
        found = np.zeros((len(points_mm), 2, 2))
        if not self.flat:
            found[:, 1, 1] = 1 / self.radius_mm
        return found

    def span_line(self, span_mm):
        return self.to_pattern([[span_mm, s] for s in (0.0, 1.0)])

    def share_line(self, share):
        return self.to_pattern([[s, share] for s in (0.0, self.length)])


class Stretched:
    """A raised map that stretches the pattern by fixed factors in x and y."""

    def __init__(self, x=1.0, y=1.0):
        self.factors = np.array([x, y])

    def to_cut(self, points_mm):
        return np.asarray(points_mm, float) * self.factors

    def from_cut(self, points_mm):
        return np.asarray(points_mm, float) / self.factors
