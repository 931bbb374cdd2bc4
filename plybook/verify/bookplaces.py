"""Where words, rules and boxes stand on the pages of a booklet: each belongs to what is painted
beside it, in one of the ways of `bookforms`, and below all that came before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from plybook.verify.bookforms import (
    RULE_MM,
    TAKERS,
    Taker,
    Thing,
    Things,
    divider,
    in_line,
    near,
    opens,
    plain,
    running,
    table,
    things_on,
)
from plybook.verify.pdf_pages import Page
from plybook.verify.report import Report

_TOUCH_MM = 0.3  # by which letters and boxes may touch what is above


def strays(page: Page) -> list[str]:
    """What stands on a page of a booklet where nothing of its kind belongs."""
    things = things_on(page)
    count = running(things, page.height_mm)
    wrong = [] if count else ["the running head"]
    low, beside = RULE_MM, (0.0, 0.0)
    at, parted = count or 4, True
    for taker, group in groups(things[at:]):
        if opens(things[at:]) and not parted:
            wrong.append(f"{group[0].text}, without a rule above it")
        at, parted = at + len(group), taker is divider
        tops = group[0].top, group[-1].top
        below = min(t.top - t.cap for t in group) >= low - _TOUCH_MM
        second = group[0].x > 50.0 and any(map(near, tops, beside))
        if taker is None or not (below or second):
            wrong.append(group[0].text or f"a {group[0].kind}")
        low = max(low, *(t.bottom for t in group))
        beside = tops
    return wrong


def check_places(pages: Sequence[Page], name: str, report: Report) -> None:
    """Pages of a booklet, or the kit lists, with each of their things in a place of its kind."""
    for number, page in enumerate(pages, start=1):
        wrong = strays(page)
        report.expect(not wrong, "pages with words, rules and boxes in their places",
                      f"{name}, page {number}", f"has {wrong[:2]} out of its place")  # fmt: skip


def groups(things: Things) -> Iterator[tuple[Taker | None, Things]]:
    """Things that belong together, in the order of painting, with the way that they stand in;
    None where they stand in none."""
    at = 0
    while at < len(things):
        rest = things[at:]
        taker, count = next(((way, n) for way in TAKERS if (n := way(rest))), (None, 1))
        yield taker, rest[:count]
        at += count


def rows_on(page: Page) -> Iterator[tuple[str, ...]]:
    """The rows of the tables on a page, below their heads, cell by cell."""
    for taker, group in groups(things_on(page)[4:]):
        if taker is table:
            rules = [k for k, t in enumerate(group) if t.kind == "rule"]
            columns = _columns(group[: rules[0]])
            for first, last in pairwise(rules):
                cells = [t for t in group[first + 1 : last] if t.kind == "words"]
                yield tuple("".join(t.text for t in cells if in_line(t, [one]))
                            for one in columns)  # fmt: skip


def words_on(page: Page) -> Iterator[tuple[str, bool]]:
    """Words on a page, lines that follow one another together, and whether a rule or a box belongs
    to them."""
    for taker, group in groups(things_on(page)[4:]):
        yield "".join(t.text for t in group), taker is not plain


def _columns(head: Things) -> list[Thing]:
    """The first words of each cell of a head."""
    found: list[Thing] = []
    for one in head:
        if not found or not in_line(one, found[-1:]):
            found.append(one)
    return found
