"""Bays: a roll divided into stretches that lie on the table one after another, and the cuts
straight across it.

Terms:
    bay, line: see `plybook.nest.model`. A piece belongs to the bay in which it begins.
    stage cut: a straight cut across a roll where one stage's pieces end and the next one's begin.
    long: of a piece that does not lie on the table whole, wherever its bay begins.

Lines are chosen by dynamic programming: as few as do, where one that is only drawn counts for
three that the cloth can be cut along. Each lies no further from the one before it than the
table is long, and no piece that is not long ends beyond the table that begins at the line of its
bay.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from plybook.nest.markout import tape
from plybook.nest.model import Bay, Item, Layout
from plybook.nest.placing import placed
from plybook.units import CLOTH, MM_PER_INCH, show_number

_ROUND_MM_ACROSS = {  # what a line across a roll is rounded to, the roundest that there is room for
    "mm": (10.0, 5.0, 1.0, 0.5, 0.1),
    "in": tuple(MM_PER_INCH / part for part in (1, 2, 4, 8, 16, 32, 64)),
}
_BEFORE_MM = 12.7  # most by which the line of a bay lies before the piece that begins first in it
_APART_MM = 0.2  # pieces that begin closer together are of one bay
_TAPE_MM = 2.0  # what marks are rounded by at most, so that they stay on the table
_TOUCH_MM = 1e-6
_CUT_COST, _DRAWN_COST = 1, 3

Span = tuple[float, float]  # of a piece: from and to along the roll


@dataclass(frozen=True)
class StageCut:
    """A cut across a roll, at `along_mm` from its end, between the pieces of two stages."""

    along_mm: float
    before: str
    after: str


def stage_cuts(layout: Layout, items: Mapping[str, Item], unit: str) -> tuple[StageCut, ...]:
    """Where a roll can be cut straight across between stages; none where their pieces mix.

    Args:
        layout: placements on one unit of stock.
        items: what is placed, by id; an item's group is its stage.
        unit: "mm" or "in": of the tape.
    """
    if layout.unit.kind != "roll":
        return ()
    spans: dict[str, Span] = {}
    for place in layout.placements:
        item = items[place.item]
        along = placed(item.outline_mm, place)[:, 0]
        low, high = spans.get(item.group, (math.inf, -math.inf))
        spans[item.group] = (min(low, float(along.min())), max(high, float(along.max())))
    runs: list[tuple[list[str], float, float]] = []  # stages whose pieces mix, from, to
    for stage, (low, high) in sorted(spans.items(), key=lambda row: row[1]):
        if runs and low < runs[-1][2]:
            names, start, end = runs[-1]
            runs[-1] = ([*names, stage], start, max(end, high))
        else:
            runs.append(([stage], low, high))
    return tuple(
        StageCut(_roundest(end, start, unit), " and ".join(before), " and ".join(after))
        for (before, _, end), (after, start, _) in pairwise(runs)
    )


def cut_words(cut: StageCut, unit: str) -> str:
    """Where a cut across a roll lies: metres or inches."""
    if unit == "in":
        return f"{tape(cut.along_mm, unit)} in"
    return f"{show_number(cut.along_mm / 1000, 4)} m"


def _roundest(low_mm: float, high_mm: float, unit: str) -> float:
    """The roundest length between two, the one nearest to their middle."""
    middle = (low_mm + high_mm) / 2
    for step in _ROUND_MM_ACROSS[unit]:
        at = round(middle / step) * step
        if low_mm <= at <= high_mm:
            return at
    return middle


def in_bays(
    layout: Layout, items: Mapping[str, Item], unit: str, table_mm: float
) -> Layout:
    """A layout with its bays; without any where all of it lies on the table, as sheets and bars do.

    Args:
        layout: placements on one unit of stock.
        items: what is placed, by id.
        unit: "mm" or "in": of the tape, on whose marks the lines lie.
        table_mm: length of the table.
    """
    spans = _spans(layout, items)
    end = max((high for _, high in spans), default=0.0)
    if layout.unit.kind != "roll" or end <= table_mm - _TAPE_MM:
        return replace(layout, bays=(), table_mm=table_mm)
    cuts = [cut.along_mm for cut in stage_cuts(layout, items, unit)]
    lines = sorted(_lines(spans, cuts, unit), key=lambda line: line.at_mm)
    begin = _fewest([_Line(0.0, 0, True), *lines], spans, table_mm)
    return _lined(layout, spans, begin, unit, table_mm)


def with_same_lines(
    layout: Layout, items: Mapping[str, Item], unit: str, table_mm: float
) -> Layout:
    """A layout whose pieces are not those that its bays were made for: with the lines that may be
    drawn already, and more behind them where it has become longer; with other lines where a piece
    would not lie on the table with its own. Takes what `in_bays` takes; the table of a layout that
    has one counts."""
    if not layout.bays or not layout.placements:
        return in_bays(layout, items, unit, layout.table_mm or table_mm)
    begin, spans = [bay.at_mm for bay in layout.bays], _spans(layout, items)
    last = layout.bays[-1].to_mm
    if any(high > last + _TOUCH_MM for _, high in spans):
        begin.append(last)
    kept = _lined(layout, spans, begin, unit, layout.table_mm)
    homes = [(kept.bay_of(low), low, high) for low, high in spans]
    longest = layout.table_mm - _TAPE_MM - _BEFORE_MM - _APART_MM
    if any(bay and high - bay.at_mm > layout.table_mm - _TAPE_MM and high - low <= longest
           for bay, low, high in homes):  # fmt: skip
        return in_bays(layout, items, unit, layout.table_mm)
    return kept


def _spans(layout: Layout, items: Mapping[str, Item]) -> list[Span]:
    rings = (placed(items[p.item].outline_mm, p)[:, 0] for p in layout.placements)
    return sorted((float(along.min()), float(along.max())) for along in rings)


def _lined(
    layout: Layout, spans: Sequence[Span], begin: Sequence[float], unit: str, table_mm: float
) -> Layout:
    """A layout with bays that begin at these lines; the last one ends behind all pieces."""
    step = CLOTH.step_mm(unit)
    last = math.ceil(max(high for _, high in spans) / step - 1e-9) * step
    last = max(min(last, layout.unit.length_mm), begin[-1] + step)
    at = _no_further([*begin, last], unit, table_mm)
    bays = tuple(
        Bay(number, round(low, 6), round(high, 6), not _crossed(high, spans))
        for number, (low, high) in enumerate(pairwise(at), start=1)
    )
    return replace(layout, bays=bays, table_mm=table_mm)


@dataclass(frozen=True)
class _Line:
    """A place for a line, and the first piece that begins at it or after it."""

    at_mm: float
    first: int
    cut: bool


def _on_tape(at_mm: float, unit: str) -> bool:
    step = _ROUND_MM_ACROSS[unit][-1]
    return abs(at_mm - round(at_mm / step) * step) < _TOUCH_MM


def _crossed(at_mm: float, spans: Sequence[Span]) -> bool:
    return any(low < at_mm - _TOUCH_MM and high > at_mm + _TOUCH_MM for low, high in spans)


def _lines(spans: Sequence[Span], cuts: Sequence[float], unit: str) -> Iterator[_Line]:
    """Where lines may lie: one just before each piece, and every cut between stages."""
    end = 0.0
    for k, (one, two) in enumerate(pairwise([(-math.inf, 0.0), *spans])):
        end, low = max(end, one[1]), two[0]
        if low - one[0] < _APART_MM:
            continue
        if end <= low:
            between = [at for at in cuts if end <= at <= low and _on_tape(at, unit)]
            near = _roundest(max(end, low - _BEFORE_MM), low, unit)
            if near >= _APART_MM and not any(abs(at - near) < _APART_MM for at in between):
                between += [near] if _on_tape(near, unit) else []
            yield from (_Line(at, k, True) for at in between)
            if between or near < _APART_MM:
                continue  # else the gap is too narrow for a mark of the tape: a drawn line serves
        for step in _ROUND_MM_ACROSS[unit]:
            at = math.floor(low / step + 1e-9) * step
            if step <= _BEFORE_MM and at > one[0] + _TOUCH_MM:
                yield _Line(at, k, False)
                break


def _fewest(lines: Sequence[_Line], spans: Sequence[Span], table_mm: float) -> list[float]:
    """The lines to begin bays at, the roll's end first, that cost least."""
    table = table_mm - _TAPE_MM
    longest = table - _BEFORE_MM - _APART_MM
    room = [high if high - low <= longest else 0.0 for low, high in spans]
    cost = [0.0, *[math.inf] * len(lines)]  # the last place is behind all pieces
    before = [0] * len(cost)
    for j, line in enumerate(lines):
        ends, seen = 0.0, line.first
        for k in range(j + 1, len(cost)):
            first = lines[k].first if k < len(lines) else len(spans)
            ends = max([ends, *room[seen:first]])
            seen = max(seen, first)
            if ends > line.at_mm + table:
                break
            more = 0.0
            if k < len(lines):
                far = math.ceil((lines[k].at_mm - line.at_mm) / table_mm - 1e-9) - 1
                more = (_CUT_COST if lines[k].cut else _DRAWN_COST) + max(far, 0) * _DRAWN_COST
            if cost[j] + more <= cost[k]:  # of as good ways, the one with the fuller bays first
                cost[k], before[k] = cost[j] + more, j
    chosen = [len(lines)]
    while chosen[-1]:
        chosen.append(before[chosen[-1]])
    return [lines[k].at_mm for k in reversed(chosen[1:])]


def _no_further(at: Sequence[float], unit: str, table_mm: float) -> list[float]:
    """The lines with more of them where two lie further apart than the table is long."""
    step = max(s for s in _ROUND_MM_ACROSS[unit] if s <= _BEFORE_MM)
    stride = math.floor(table_mm / step + 1e-9) * step
    found = [at[0]]
    for line in at[1:]:
        while line - found[-1] > table_mm + _TOUCH_MM:
            found.append(found[-1] + stride)
        found.append(line)
    return found
