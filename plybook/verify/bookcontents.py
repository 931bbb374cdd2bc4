"""The sheet of contents of the booklet on paper: each title with the page that it begins on."""

from __future__ import annotations

import numpy as np

from plybook.verify.lettermetrics import end_mm
from plybook.verify.pdf_pages import Book, Page, Words
from plybook.verify.printed import same
from plybook.verify.report import Report

NAME = "booklet.pdf"
TITLE = "Contents"
HEAD_MM, FOOT_MM = 12.0, 8.0  # strips that hold the running head and the foot
ROW_MM = 0.3  # words of one row stand on one line
WIDE_MM, COLUMN_MM, GAP_MM = 180.0, 85.0, 10.0  # of the text, of each column, between the two
TOP_MM, HEADING_MM = 15.0, 9.5  # where the text begins; the line of the heading below that
FIRST_MM, PITCH_MM = 16.3, 4.6  # the line of row k lies FIRST_MM + k * PITCH_MM below it
OFF_MM = 0.06


def body_of(page: Page) -> list[Words]:
    """The words of a page without its running head and foot."""
    return [w for w in page.words if FOOT_MM < w.at_mm[1] < page.height_mm - HEAD_MM]


def is_contents(page: Page) -> bool:
    """Whether a page is the sheet of contents: any other begins with the line above its title."""
    return next((w.text for w in body_of(page) if w.text.strip()), "") == TITLE


def check_contents(book: Book, report: Report) -> None:
    """What is listed begins on the page that is told, in the order of the book."""
    sheets = [k for k in range(book.count) if is_contents(book.page(k))]
    if book.count <= 8 and not sheets:
        return
    if not report.expect(sheets == [1], "sheets of contents behind the cover", NAME,
                         f"has its contents on pages {[k + 1 for k in sheets]}"):  # fmt: skip
        return
    astray = _astray(book.page(1))
    report.expect(not astray, "contents whose lines stand in their rows", f"{NAME}, page 2",
                  f"has {astray[:2]} out of its place")  # fmt: skip
    marks = book.bookmarks()
    words = [w for w in body_of(book.page(1)) if w.text.strip()][1:]
    last = 0
    for place, one in enumerate(words):
        if one.text.isdigit():
            continue
        number = words[place + 1].text if place + 1 < len(words) else ""
        row = place + 1 < len(words) and number.isdigit() and (
            abs(words[place + 1].at_mm[1] - one.at_mm[1]) <= ROW_MM
        )  # fmt: skip
        known = [at + 1 for title, at in marks if same(one.text, title)]
        if row:
            at = int(number)
            good = at in known and at >= last
            last = max(last, at)
        else:  # a chapter, told by the pages below it
            good = bool(known)
        report.expect(good, "contents that tell the page of each title", f"{NAME}, page 2",
                      f"tells {one.text!r} on page {number or 'none'}")  # fmt: skip


def _astray(page: Page) -> list[str]:
    """Words of the contents that do not stand where a row of their column has its title or its
    number."""
    left, top = (page.width_mm - WIDE_MM) / 2, page.height_mm - TOP_MM
    head, *words = (w for w in body_of(page) if w.text.strip())
    found = [] if _near(head, (left, top - HEADING_MM)) else [head.text]
    level = page.height_mm - HEAD_MM
    rule = np.array([(left, level), (left + WIDE_MM, level)])
    drawn = [line.points for line in page.lines]
    if len(drawn) != 1 or drawn[0].shape != (2, 2) or np.abs(drawn[0] - rule).max() > OFF_MM:
        found.append("the rule below the head")
    found += ["an area"] if page.areas else []
    column, row = 0, 0
    for one in words:
        if not one.text.isdigit() or row == 0:
            second = left + COLUMN_MM + GAP_MM
            if column == 0 and abs(one.at_mm[0] - second) <= OFF_MM:
                column, row = 1, 0
            row += 1
            good = _near(one, (left + column * (COLUMN_MM + GAP_MM), _base(top, row)))
        else:
            end = left + column * (COLUMN_MM + GAP_MM) + COLUMN_MM
            good = abs(end_mm(one, False) - end) <= OFF_MM
            good &= abs(one.at_mm[1] - _base(top, row)) <= OFF_MM
        if not good or one.turn_deg:
            found.append(one.text)
    return found


def _base(top: float, row: int) -> float:
    return top - FIRST_MM - row * PITCH_MM


def _near(words: Words, at: tuple[float, float]) -> bool:
    return max(abs(words.at_mm[0] - at[0]), abs(words.at_mm[1] - at[1])) <= OFF_MM
