"""The planform of a skin as far as its layers must know it, and where a core lies on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tests.corpus.shop import Sheet


@dataclass
class Planform:
    """A face as far as its layers must know it; lengths in mm."""

    at: list[float]
    chords: list[float]
    aft: list[float]  # of the leading edge
    cover: tuple[float, float]
    breaks: list[float]

    @property
    def span(self) -> float:
        return self.at[-1]

    def chord(self, at_mm: float) -> float:
        """The chord between the stations."""
        return self._between(self.chords, at_mm)

    def leading(self, at_mm: float) -> float:
        """The leading edge between the stations, aft of the root's."""
        return self._between(self.aft, at_mm)

    def _between(self, values: list[float], at_mm: float) -> float:
        for n in range(1, len(self.at)):
            if at_mm <= self.at[n]:
                part = (at_mm - self.at[n - 1]) / (self.at[n] - self.at[n - 1])
                return values[n - 1] + part * (values[n] - values[n - 1])
        return values[-1]


@dataclass
class Cored:
    """One core of a skin: where it may lie, in spans and distances aft of the leading edge; mm."""

    sheet: Sheet
    inset: dict[str, float]
    low: float  # shares of the chord
    high: float
    begins: float
    ends: float

    def edges(self, plan: Planform, at_mm: float) -> tuple[float, float]:
        """Its front and rear at a span, aft of the leading edge."""
        chord = plan.chord(at_mm)
        front = max(self.low * chord, plan.cover[0] * chord + self.inset.get("leading", 0))
        rear = min(self.high * chord, plan.cover[1] * chord - self.inset.get("trailing", 0))
        return front, rear

    def width(self, plan: Planform, at_mm: float) -> float:
        front, rear = self.edges(plan, at_mm)
        return rear - front

    def holds(
        self, plan: Planform, at: float, share: float, size: tuple[float, float], clear_mm: float
    ) -> bool:
        """Whether a block laid along the span stays clear of the edges, also where they slant."""
        long, wide = size
        middle = plan.leading(at) + share * plan.chord(at)
        ends = at - long / 2, at, at + long / 2
        edges = [[plan.leading(z) + off for off in self.edges(plan, z)] for z in ends]
        lean = [
            math.hypot(1, (last - first) / long)
            for first, last in zip(edges[0], edges[2], strict=True)
        ]
        clear = [
            lean[k] * clear_mm + (lean[k] - 1) * self.inset.get(edge, 0)
            for k, edge in enumerate(("leading", "trailing"))
        ]
        return all(
            front + clear[0] < middle - wide / 2 and middle + wide / 2 < rear - clear[1]
            for front, rear in edges
        )
