"""Templates on a roll of paper: pieces in panels no wider than the paper, panels on pages.

Terms:
    panel: the part of a template that is printed in one go; a piece that fits the paper is one
        panel. Panels of a piece share a strip, so that they can be laid over one another.
    page: a stretch of the roll that one page of a PDF holds.

Panels may be turned freely. They are laid one by one in a few orders, and the shortest outcome is
kept, so that the same pieces lie the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.geometry.rings import canonical_ring
from plybook.nest.board import Board
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, copies_of, fill
from plybook.nest.markout import outer_chords
from plybook.nest.model import Item, Placement, Unit

SHARED_MM = 20.0  # the strip that two panels share
COARSE_MM = 2.0  # of room that is given away where a ring is thinned
_ORDERS: tuple[Callable[[Copy], float], ...] = (
    lambda copy: -copy.area_mm2,
    lambda copy: -float(np.ptp(copy.turns[0][2].ring_mm, axis=0).max()),
    lambda copy: -min(float(np.ptp(t[2].ring_mm, axis=0).min()) for t in copy.turns),
)

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Panel:
    """`number` of `of` of a piece; `box_mm` is what it shows in the piece's own frame."""

    piece: str
    number: int
    of: int
    box_mm: Box
    ring_mm: np.ndarray  # (n, 2) the room it takes, in the piece's own frame


@dataclass(frozen=True)
class PaperPage:
    """Panels as placed (turned, then moved; none is mirrored) and how long the page is."""

    placed: tuple[tuple[Panel, Placement], ...]
    length_mm: float


def on_paper(
    rooms_mm: Mapping[str, np.ndarray], width_mm: float, longest_mm: float, gap_mm: float
) -> tuple[PaperPage, ...]:
    """Pieces on as little paper as is found.

    Args:
        rooms_mm: of each piece the (n, 2) ring that its template takes.
        width_mm: of the paper, as far as it is printed on.
        longest_mm: of a page.
        gap_mm: between templates.

    Returns:
        The pages in order; every panel lies on one of them.
    """
    found = []
    for full in (False, True):
        panels = [
            panel
            for name, ring in rooms_mm.items()
            for panel in panels_of(name, ring, width_mm, longest_mm, full)
        ]
        found += [_pages(panels, order, width_mm, longest_mm, gap_mm) for order in _ORDERS]
    return min(found, key=lambda pages: round(sum(p.length_mm for p in pages), 3))


def panels_of(
    piece: str, ring_mm: np.ndarray, width_mm: float, longest_mm: float, full: bool = False
) -> tuple[Panel, ...]:
    """A template cut into panels that fit the paper, in as few as do.

    Args:
        piece: its id.
        ring_mm: the room it takes.
        width_mm, longest_mm: of the paper.
        full: all panels but the last as wide as the paper; else all alike.
    """
    ring = canonical_ring(outer_chords(ring_mm, COARSE_MM)[0])
    x0, y0, x1, y1 = (float(v) for v in (*ring.min(axis=0), *ring.max(axis=0)))
    if _fits(piece, ring, width_mm, longest_mm):
        return (Panel(piece, 1, 1, (x0, y0, x1, y1), ring),)
    wide, high = x1 - x0, y1 - y0
    ways = [
        (_stretches(x0, x1, cell[0], full), _stretches(y0, y1, cell[1], full))
        for cell in ((longest_mm, width_mm), (width_mm, longest_mm))
    ]
    columns, rows = min(ways, key=lambda w: (len(w[0]) * len(w[1]), wide < high))
    outline, kept = shapely.Polygon(ring), []
    for low_x, high_x in columns:
        for low_y, high_y in rows:
            part = outline.intersection(shapely.box(low_x, low_y, high_x, high_y))
            if not part.is_empty:
                hull = part if part.geom_type == "Polygon" else part.convex_hull
                around = np.array(shapely.geometry.polygon.orient(hull).exterior.coords)[:-1]
                kept.append(((low_x, low_y, high_x, high_y), canonical_ring(around)))
    return tuple(Panel(piece, k, len(kept), box, r) for k, (box, r) in enumerate(kept, start=1))


def _fits(piece: str, ring: np.ndarray, width_mm: float, longest_mm: float) -> bool:
    copy = copies_of([Item(piece, ring, 1, None)], ((longest_mm, width_mm),))[0]
    sizes = (np.ptp(shape.ring_mm, axis=0) for _, _, shape in copy.turns)
    return any(x <= longest_mm and y <= width_mm for x, y in sizes)


def _stretches(low: float, high: float, most: float, full: bool) -> list[tuple[float, float]]:
    """A length in stretches of at most so much that share a strip."""
    if high - low <= most:
        return [(low, high)]
    count = math.ceil((high - low - SHARED_MM) / (most - SHARED_MM) - 1e-9)
    step = most - SHARED_MM if full else (high - low - SHARED_MM) / count
    return [(low + k * step, min(high, low + (k + 1) * step + SHARED_MM)) for k in range(count)]


def _pages(
    panels: Sequence[Panel], order: Callable[[Copy], float], width_mm: float, longest_mm: float,
    gap_mm: float,
) -> tuple[PaperPage, ...]:  # fmt: skip
    """Page after page, each filled with what of the rest finds room."""
    known = {f"{k}": panel for k, panel in enumerate(panels)}
    items = [Item(name, panel.ring_mm, 1, None) for name, panel in known.items()]
    left = sorted(copies_of(items, ((longest_mm, width_mm),)), key=lambda c: (order(c), c.item.id))
    no_fits, pages = NoFits(gap_mm), []
    while left:
        board = Board(Unit("", "roll", "", longest_mm, width_mm), no_fits)
        made, rest = fill(board, left)
        if len(rest) == len(left):
            raise ValueError(f"a panel of {known[left[0].item.id].piece} fits no page")
        reach = max(float(x.place_mm[0] + x.shape.high[0]) for x in board.laid)
        pages.append(PaperPage(tuple((known[p.item], p) for p in made), reach))
        left = rest
    return tuple(pages)
