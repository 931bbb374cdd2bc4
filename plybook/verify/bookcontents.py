"""The sheet of contents of the booklet on paper: each title with the page that it begins on."""

from __future__ import annotations

from plybook.verify.pdf_pages import Book, Page, Words
from plybook.verify.printed import same
from plybook.verify.report import Report

NAME = "booklet.pdf"
TITLE = "Contents"
HEAD_MM, FOOT_MM = 12.0, 8.0  # strips that hold the running head and the foot
ROW_MM = 0.3  # words of one row stand on one line


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
