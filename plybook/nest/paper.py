"""Templates on a roll of paper: pieces in panels no wider than the paper, nested on one strip, and
the strip cut into pages.

Terms:
    panel: the part of a template that is printed in one go; a piece that fits the paper is one
        panel. Panels of a piece share a strip, so that they can be laid over one another.
    strip: the paper as it comes off the roll, as long as it takes.
    page: a stretch of the roll that one page of a PDF holds. A panel that lies across the end of a
        page is cut in two there.

Panels may be turned freely. They are laid one by one in a few orders, and the shortest outcome is
kept, so that the same pieces lie the same on every machine.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.geometry.rings import canonical_ring
from plybook.nest.board import Board
from plybook.nest.chords import outer_chords
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, copies_of, fill
from plybook.nest.model import Item, Placement, Unit

SHARED_MM = 20.0  # the strip that two panels share
COARSE_MM = 2.0  # of room that is given away where a ring is thinned
_STRIP_MM = 1e6  # longer than any roll of paper
_MANY = 60  # panels on a strip, with more room is looked for among the last ones only
_ENDS_FROM = 0.6  # of the longest page, the first place where one may end
_STEP_MM = 25.0  # between the ends that are tried
_JOINT_MM = 40.0  # of paper a builder gives to have a panel less to lay over another
_SMALL_MM = 700.0  # a shorter template is not cut at the end of a page
_LEAST_MM = 120.0  # of a part that is cut off there
_ORDERS: tuple[Callable[[Copy], float], ...] = (  # the long ones first, or those of long outline
    lambda copy: -float(np.ptp(copy.turns[0][2].ring_mm, axis=0).max()),
    lambda copy: -float(shapely.Polygon(copy.turns[0][2].ring_mm).length),
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
            for panel in panels_of(name, ring, width_mm, _STRIP_MM, full)
        ]
        found += [_strip(panels, order, width_mm, gap_mm) for order in _ORDERS]
    strip = min(found, key=lambda laid: round(max((one.high_mm for one in laid), default=0.0), 3))
    return _numbered(_pages(strip, longest_mm))


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
                kept.append(((low_x, low_y, high_x, high_y), _ring_of(part)))
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


@dataclass(frozen=True)
class _OnStrip:
    """A panel as it lies; from `low_mm` to `high_mm` along the strip."""

    panel: Panel
    place: Placement
    low_mm: float
    high_mm: float


def _laid(panel: Panel, place: Placement) -> _OnStrip:
    turn = math.radians(place.rotation_deg)
    x = panel.ring_mm @ np.array([math.cos(turn), -math.sin(turn)]) + place.x_mm
    return _OnStrip(panel, place, float(x.min()), float(x.max()))


def _strip(
    panels: Sequence[Panel], order: Callable[[Copy], float], width_mm: float, gap_mm: float
) -> list[_OnStrip]:
    """Panels on one strip in an order, each as far back as it goes."""
    known = {f"{k}": panel for k, panel in enumerate(panels)}
    items = [Item(name, panel.ring_mm, 1, None) for name, panel in known.items()]
    unit, no_fits = Unit("", "roll", "", _STRIP_MM, width_mm), NoFits(gap_mm)
    board, made = Board(unit, no_fits), list[_OnStrip]()
    for copy in sorted(copies_of(items, ((_STRIP_MM, width_mm),)),
                       key=lambda c: (order(c), c.item.id)):  # fmt: skip
        placed, _ = fill(board, [copy])
        if not placed:
            raise ValueError(f"a panel of {known[copy.item.id].piece} fits no roll")
        made.append(_laid(known[copy.item.id], placed[0]))
        if len(board.laid) > _MANY:
            board = _without_first(board, no_fits)
    return made


def _without_first(board: Board, no_fits: NoFits) -> Board:
    """A board on which the half that lies furthest back is shut off as one block."""
    ahead = sorted(board.pieces(), key=lambda x: float(x.place_mm[0] + x.shape.high[0]))
    end = max(float(x.place_mm[0] + x.shape.high[0]) for x in ahead[: _MANY // 2])
    made, wide = Board(board.unit, no_fits), board.width_mm
    made.block(np.array([(0.0, 0.0), (end, 0.0), (end, wide), (0.0, wide)]))
    made.laid += ahead[_MANY // 2 :]
    return made


def _pages(strip: Sequence[_OnStrip], longest_mm: float) -> list[list[_OnStrip]]:
    """A strip in pages: each ends where least is printed twice and the fewest panels are cut."""
    pages, left = [], list(strip)
    while left:
        start = min(one.low_mm for one in left)
        if max(one.high_mm for one in left) - start <= longest_mm:
            return [*pages, left]
        first = start + _ENDS_FROM * longest_mm
        ends = np.arange(first, start + longest_mm, _STEP_MM)[::-1].tolist()
        tried = (_parted(left, end) for end in ends)
        fits = [(page, rest) for page, rest in tried
                if page and max(one.high_mm for one in page) - start <= longest_mm]  # fmt: skip
        page, left = min(fits, key=lambda parts: _cost(*parts))
        pages.append(page)
    return pages


def _cost(page: Sequence[_OnStrip], rest: Sequence[_OnStrip]) -> float:
    """What the end of a page costs: paper for what lies on both sides of it, and joints."""
    both = max(one.high_mm for one in page) - min(one.low_mm for one in rest)
    names = {id(one.place) for one in page}
    return round(both + _JOINT_MM * sum(id(one.place) in names for one in rest), 3)


def _parted(
    left: Sequence[_OnStrip], end_mm: float
) -> tuple[list[_OnStrip], list[_OnStrip]]:  # fmt: skip
    """What comes before the end of a page and what after; a panel across it in two parts, or where
    it is small or would be cut near its end, after it."""
    page: list[_OnStrip] = []
    rest: list[_OnStrip] = []
    for one in left:
        if one.high_mm <= end_mm:
            page.append(one)
        elif one.low_mm >= end_mm or (parts := _cut(one, end_mm)) is None:
            rest.append(one)
        else:
            page.append(parts[0])
            rest.append(parts[1])
    return page, rest


def _cut(one: _OnStrip, end_mm: float) -> tuple[_OnStrip, _OnStrip] | None:
    """A panel in two that share a strip, cut square to its own axes about the end of a page."""
    if one.high_mm - one.low_mm < _SMALL_MM:
        return None
    turn = math.radians(one.place.rotation_deg)
    along = np.array([math.cos(turn), -math.sin(turn)])  # of the strip, in the piece's own frame
    axis = int(abs(along[1]) > abs(along[0]))
    box = one.panel.box_mm
    low, high = box[axis], box[axis + 2]
    middle = (box[1 - axis] + box[3 - axis]) / 2
    at = (end_mm - one.place.x_mm - along[1 - axis] * middle) / along[axis]
    if min(at - low, high - at) < _LEAST_MM:
        return None
    outline, parts = shapely.Polygon(one.panel.ring_mm), []
    for a, b in ((low, at + SHARED_MM / 2), (at - SHARED_MM / 2, high)):
        window = (a, box[1], b, box[3]) if axis == 0 else (box[0], a, box[2], b)
        part = outline.intersection(shapely.box(*window))
        if part.area < 1.0:
            return None
        panel = replace(one.panel, box_mm=window, ring_mm=_ring_of(part))
        parts.append(_laid(panel, one.place))
    first, second = sorted(parts, key=lambda part: part.low_mm)
    return first, second


def _ring_of(part: BaseGeometry) -> np.ndarray:
    """The ring around a part of an outline, all its parts together."""
    hull = part if part.geom_type == "Polygon" else part.convex_hull
    return canonical_ring(np.array(shapely.geometry.polygon.orient(hull).exterior.coords)[:-1])


def _numbered(pages: Sequence[Sequence[_OnStrip]]) -> tuple[PaperPage, ...]:
    """Pages from their own starts, the panels of each piece counted in the order they come."""
    of, number = Counter(one.panel.piece for page in pages for one in page), Counter[str]()
    made = []
    for page in pages:
        start = min(one.low_mm for one in page)
        placed = []
        for one in page:
            name = one.panel.piece
            number[name] += 1
            place = replace(one.place, x_mm=one.place.x_mm - start)
            placed.append((replace(one.panel, number=number[name], of=of[name]), place))
        made.append(PaperPage(tuple(placed), max(one.high_mm for one in page) - start))
    return tuple(made)
