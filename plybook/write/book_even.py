"""Sheets less than half full, filled by sharing their pages out anew with the sheets beside.

Terms:
    slack: a sheet less than half full.
    stretch: a few neighbouring sheets whose pages all start and end on them. A page that stands
        alone shares a stretch with others only where all of it comes onto one sheet.
    tear: where a page runs on to the next sheet; best at one of its headings or between two rows.

A stretch is set anew only where that leaves fewer sheets, or as many with fewer of them slack.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from plybook.drawing.document import Page
from plybook.write.book_pen import HEAD, TITLE, Slab
from plybook.write.book_sheets import (
    SQUEEZES,
    Sheet,
    continued,
    divider,
    groups_of,
    height_of,
    least_scale,
    title_slab,
)
from plybook.write.book_slabs import page_slabs

HALF = 0.5
_MOST_SHEETS = 6  # of a stretch
_SHEET, _SLACK = 10_000.0, 1_000.0  # costs of one; a tear costs less than a slack sheet
_TEAR_ROW, _TEAR_HEADING, _TEAR = 20.0, 40.0, 120.0
_LITTLE_MM, _LITTLE = 45.0, 150.0  # so little of a torn page on a sheet is avoided


@dataclass(frozen=True)
class _Group:
    """Slabs that stay together: as they stand on top of a sheet and below another page."""

    page: Page
    first: bool  # of its page
    top: tuple[Slab, ...]
    below: tuple[Slab, ...]


Set = tuple[float, list[tuple[int, int]]]  # cost, and the groups of each sheet


def evened(sheets: Sequence[Sheet], room: float) -> list[Sheet]:
    """The sheets of a book with as few slack ones as their pages allow.

    Args:
        sheets: from `gathered`.
        room: height of an empty sheet between head and foot, mm.
    """
    out = list(sheets)
    place = 0
    while place < len(out):
        if _slack(out[place].slabs, room):
            for start, stop in _stretches(out, place):
                better = _set_anew(out[start:stop], room)
                if better and (len(better) == 1 or _may_share(out[start:stop])):
                    out[start:stop] = better
                    break
        place += 1
    return out


def _slack(slabs: Sequence[Slab], room: float) -> bool:
    return height_of(slabs) < HALF * room


def _stretches(sheets: Sequence[Sheet], place: int) -> Iterator[tuple[int, int]]:
    """From and to of the stretches around a sheet, the shortest first."""
    for count in range(2, _MOST_SHEETS + 1):
        for start in range(place, place - count, -1):
            stop = start + count
            if start < 0 or stop > len(sheets):
                continue
            if count > 2 and not _may_share(sheets[start:stop]):
                continue
            if sheets[start].fresh and (stop == len(sheets) or sheets[stop].fresh):
                yield start, stop


def _may_share(sheets: Sequence[Sheet]) -> bool:
    """Whether none of their pages stands alone, or there is but one page."""
    return all(sheet.open for sheet in sheets) or sum(len(sheet.starts) for sheet in sheets) == 1


def _set_anew(sheets: Sequence[Sheet], room: float) -> list[Sheet]:
    """The pages of a stretch shared out better; [] where nothing is."""
    pages = [page for sheet in sheets for page in sheet.starts]
    bound = len(sheets) * _SHEET + _SLACK * sum(_slack(s.slabs, room) for s in sheets)
    best: tuple[float, list[_Group], list[tuple[int, int]]] | None = None
    for number, squeeze in enumerate(SQUEEZES):
        groups = [group for page in pages for group in _of_page(page, squeeze, room)]
        cost, parts = _shared(groups, room)
        cost += 10.0 * number  # of two ways as good, the one with larger pictures
        if cost < min(bound - _LITTLE, best[0] if best else bound):
            best = cost, groups, parts
    if best is None:
        return []
    _, groups, parts = best
    open_ = all(sheet.open for sheet in sheets)
    return [_sheet(groups[start:stop], open_) for start, stop in parts]


def _of_page(page: Page, squeeze: float, room: float) -> list[_Group]:
    body = list(page_slabs(page.blocks, room, max(squeeze, least_scale(page)), squeeze))
    top, below = (
        [tuple(g) for g in groups_of([title_slab(page, cap), *body])] for cap in (TITLE, HEAD)
    )
    return [
        _Group(page, k == 0, one, other)
        for k, (one, other) in enumerate(zip(top, below, strict=True))
    ]


def _shared(groups: Sequence[_Group], room: float) -> Set:
    """The cheapest way to share groups out over sheets, in their order."""
    ways: list[Set] = [(0.0, [])] * (len(groups) + 1)
    for start in range(len(groups) - 1, -1, -1):
        best: Set | None = None
        tall = 0.0
        for stop in range(start + 1, len(groups) + 1):
            tall += height_of(_put(groups, stop - 1, stop - 1 == start))
            if tall > room and stop > start + 1:
                break
            cost = _SHEET + _SLACK * (tall < HALF * room) + _tear(groups, start, stop)
            cost += ways[stop][0]
            if best is None or cost < best[0]:
                best = cost, [(start, stop), *ways[stop][1]]
        assert best is not None
        ways[start] = best
    return ways[0]


def _put(groups: Sequence[_Group], place: int, on_top: bool) -> list[Slab]:
    """The slabs of a group where it stands, with what goes before it."""
    group = groups[place]
    if not on_top:
        return [divider(), *group.below] if group.first else list(group.below)
    if group.first:
        return list(group.top)
    again = group.below[0].again
    return [continued(group.page), *((again,) if again else ()), *group.below]


def _tear(groups: Sequence[_Group], start: int, stop: int) -> float:
    """What it costs to end a sheet there."""
    if stop == len(groups) or groups[stop].first:
        return 0.0
    page, first = groups[stop].page, groups[stop].below[0]
    before = [g for g in groups[start:stop] if g.page is page]
    after = [g for g in groups[stop:] if g.page is page]
    cost = _TEAR_ROW if first.again else _TEAR_HEADING if first.chapter else _TEAR
    short = (sum(height_of(g.below) for g in side) < _LITTLE_MM for side in (before, after))
    return cost + _LITTLE * sum(short)


def _sheet(groups: Sequence[_Group], open_: bool) -> Sheet:
    slabs = [s for k in range(len(groups)) for s in _put(groups, k, k == 0)]
    starts = [group.page for group in groups if group.first]
    return Sheet(starts, slabs, open_, fresh=groups[0].first)
