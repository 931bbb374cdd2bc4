"""A document as a book on paper, A4 or Letter.

The same 180 mm column fits both papers; only the margins and the height differ. How pages share
sheets stands in `plybook.write.book_sheets`.
"""

from __future__ import annotations

from typing import Any

from plybook.drawing.document import Document, Page
from plybook.drawing.letters import clean_text, fitted
from plybook.write.book_contents_page import with_contents
from plybook.write.book_even import evened
from plybook.write.book_pen import NOTE, WIDTH_MM, Pen
from plybook.write.book_sheets import gathered
from plybook.write.pdf import new_canvas

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
HEAD_MM, TOP_MM, FOOT_MM = 10.0, 15.0, 11.0
HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": ""}


def book_pdf(document: Document) -> bytes:
    """The book as PDF: embedded type, bookmarks, same bytes for the same document."""
    width, height = PAPER_MM[document.paper]
    canvas, buffer = new_canvas(
        width,
        height,
        f"{document.title} {document.part} {document.name}",
        subject=f"revision {document.revision}",
    )
    write_pages(canvas, document, contents=True)
    canvas.save()
    return buffer.getvalue()


def write_pages(canvas: Any, document: Document, contents: bool = False) -> None:
    """Draw all pages of a document on a canvas of its paper, numbered from one; with a sheet of
    contents behind the cover where that is asked for and the book is long."""
    width, height = PAPER_MM[document.paper]
    room = height - TOP_MM - FOOT_MM
    sheets = evened(gathered(document.pages, room), room)
    sheets = with_contents(sheets, room) if contents else sheets
    pen = Pen(canvas, (width - WIDTH_MM) / 2, height)
    chapter = None
    for number, sheet in enumerate(sheets, start=1):
        for page in sheet.starts:
            chapter = _bookmark(canvas, page, chapter)
        _running_head(pen, document, number, len(sheets), height)
        y = TOP_MM
        for slab in sheet.slabs:
            slab.draw(pen, y + slab.before)
            y += slab.before + slab.height
        canvas.showPage()


def _bookmark(canvas, page: Page, chapter: str | None) -> str:
    if page.chapter and page.chapter != chapter:
        canvas.bookmarkPage(f"chapter-{page.id}")
        canvas.addOutlineEntry(clean_text(page.chapter), f"chapter-{page.id}", 0, closed=False)
    canvas.bookmarkPage(page.id)
    canvas.addOutlineEntry(clean_text(page.title), page.id, 1 if page.chapter else 0)
    return page.chapter


def _running_head(pen: Pen, document: Document, number: int, count: int, height: float) -> None:
    facts = (document.part, document.name, f"revision {document.revision}", HANDS[document.hand])
    words = clean_text(" · ".join(f for f in facts if f))
    pen.words(fitted(words, 150.0, NOTE), 0.0, HEAD_MM, NOTE)
    pen.words(f"{number} / {count}", WIDTH_MM, HEAD_MM, NOTE, True, "r")
    pen.rule(0.0, HEAD_MM + 2.0, WIDTH_MM, HEAD_MM + 2.0)
    foot = height - 6.5
    plan = f" · plan {document.record_key}" if document.record_key else ""
    pen.words(clean_text(document.date + plan), 0.0, foot, 1.8, grey=True)
