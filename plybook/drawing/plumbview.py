"""How an infusion is plumbed, from the pot to the pump: a scheme, not a plan of places."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from plybook.drawing.frame import arrow
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import NOTE_MM
from plybook.shop.model import BagPlan

WIDTH_MM, HEIGHT_MM = 180.0, 46.0
_LEVEL_MM = 25.0  # of the hoses
_PART_MM = (62.0, 11.0, 116.0, 39.0)  # the laminate
_LINE_OUT_MM = 4.0  # lines outside the laminate


def plumbing_picture(bag: BagPlan) -> Scene | None:
    """Pot, clamp, resin line or inlet, laminate, vacuum line, gauge, clamp, trap and pump in their
    order; None for a bag that is not infused."""
    if bag.method != "infusion":
        return None
    items = list(_from_edge() if any(n == "resin line" for n, _ in bag.lines) else _from_middle())
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, HEIGHT_MM), "How it is plumbed, a scheme")


def _from_edge() -> Iterator[Primitive]:
    x0, y0, x1, y1 = _PART_MM
    left, right = x0 - _LINE_OUT_MM, x1 + _LINE_OUT_MM
    yield from _part()
    yield Path(Role.HIGHLIGHT, np.array([(left, y0), (left, y1)]))
    yield Path(Role.HIGHLIGHT, np.array([(right, y0), (right, y1)]))
    yield _word((left, y0 - 3.0), "resin line")
    yield _word((right, y0 - 3.0), "vacuum line")
    for y in (y0 + 6.0, _LEVEL_MM, y1 - 6.0):
        yield from arrow((x0 + 6.0, y), (x1 - 16.0, y), Role.FIBRE)
    yield from _supply(left)
    yield from _away(right)
    yield from _gauge((right, y1))


def _from_middle() -> Iterator[Primitive]:
    x0, y0, x1, y1 = _PART_MM
    left, right = x0 - _LINE_OUT_MM, x1 + _LINE_OUT_MM
    low, high = y0 - _LINE_OUT_MM, y1 + _LINE_OUT_MM
    middle = (x0 + x1) / 2
    yield from _part()
    ring = [(left, low), (right, low), (right, high), (left, high)]
    yield Path(Role.HIGHLIGHT, np.array(ring), True)
    yield _word((middle, low - 3.4), "vacuum line, all round")
    for dx, dy in ((1.0, 0.0), (0.7, 0.9), (0.7, -0.9), (-0.7, 0.9), (-0.7, -0.9)):
        start = (middle + 4.0 * dx, _LEVEL_MM + 4.0 * dy)
        yield from arrow(start, (middle + 15.0 * dx, _LEVEL_MM + 10.0 * dy), Role.FIBRE)
    yield from _supply(middle)
    yield Circle(Role.DATUM, (middle, _LEVEL_MM), 1.6, "white")
    yield Circle(Role.DATUM, (middle, _LEVEL_MM), 0.6, "ink")
    yield from _away(right)
    yield from _gauge((left, high))


def _part() -> Iterator[Primitive]:
    x0, y0, x1, y1 = _PART_MM
    ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    yield Path(Role.FACE, np.array(ring), True, "ghost")


def _supply(end: float) -> Iterator[Primitive]:
    """Pot and clamp, with the hose to where the resin comes in."""
    yield from _box((4.0, _LEVEL_MM - 6.0, 24.0, _LEVEL_MM + 6.0), "resin pot")
    yield Path(Role.HIGHLIGHT, np.array([(24.0, _LEVEL_MM), (end, _LEVEL_MM)]))
    yield from _clamp(40.0)


def _away(start: float) -> Iterator[Primitive]:
    """From the vacuum port over a clamp to trap and pump."""
    yield Path(Role.HIGHLIGHT, np.array([(start, _LEVEL_MM), (140.0, _LEVEL_MM)]))
    yield from _clamp(131.0)
    yield from _box((140.0, _LEVEL_MM - 6.0, 156.0, _LEVEL_MM + 6.0), "trap")
    yield Path(Role.HIGHLIGHT, np.array([(156.0, _LEVEL_MM), (162.0, _LEVEL_MM)]))
    yield from _box((162.0, _LEVEL_MM - 6.0, 178.0, _LEVEL_MM + 6.0), "pump")


def _box(box: tuple[float, float, float, float], words: str) -> Iterator[Primitive]:
    x0, y0, x1, y1 = box
    ring = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    yield Path(Role.DIMENSION, ring, True, "white")
    yield _word(((x0 + x1) / 2, (y0 + y1) / 2), words)


def _clamp(x: float) -> Iterator[Primitive]:
    for lean in (-1.2, 1.2):
        line = np.array([(x - lean, _LEVEL_MM - 2.6), (x + lean, _LEVEL_MM + 2.6)])
        yield Path(Role.TICK, line)
    yield _word((x, _LEVEL_MM - 6.0), "clamp")


def _gauge(at: tuple[float, float]) -> Iterator[Primitive]:
    x, y = at
    yield Circle(Role.DATUM, (x, y), 1.6, "white")
    yield Text(Role.TEXT, (x + 3.0, y), "gauge, on a port of its own", NOTE_MM, rise="centre",
               halo=True)  # fmt: skip


def _word(at: tuple[float, float], words: str) -> Text:
    return Text(Role.TEXT, at, words, NOTE_MM, anchor="middle", rise="centre")
