"""A document as a book on paper, A4 or Letter; short steps of a stage share a sheet.

The same 180 mm column fits both papers; only the margins and the height differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from plybook.drawing.document import Document, Page, Picture, PictureRow
from plybook.drawing.letters import clean_text, fitted, wrapped
from plybook.write.book_slabs import (
    BODY,
    HEAD,
    LEADING,
    NOTE,
    PLATE,
    TITLE,
    WIDTH_MM,
    Pen,
    Slab,
    slabs,
)
from plybook.write.pdf import new_canvas

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1 size A
HEAD_MM, TOP_MM, FOOT_MM = 11.0, 17.0, 13.0
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
    write_pages(canvas, document)
    canvas.save()
    return buffer.getvalue()


def write_pages(canvas: Any, document: Document) -> None:
    """Draw all pages of a document on a canvas of its paper, numbered from one."""
    width, height = PAPER_MM[document.paper]
    sheets = _gathered(document.pages, height - TOP_MM - FOOT_MM)
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


@dataclass
class _Sheet:
    """One side of paper and the pages that start on it."""

    starts: list[Page]
    slabs: list[Slab]
    shared: bool  # short steps of one stage may follow one another on it


def _gathered(pages: Sequence[Page], room: float) -> list[_Sheet]:
    """The sheets of all pages. Every page starts a new one, except a short step without a
    picture, which follows the short step before it where it fits whole."""
    sheets: list[_Sheet] = []
    chapter = ""
    for page in pages:
        parts = list(_sheets(page, room))
        short = page.kind == "step" and len(parts) == 1 and not _has_picture(page)
        last = sheets[-1] if sheets else None
        if short and last and last.shared and chapter == page.chapter:
            together = [*last.slabs, _divider(), *parts[0]]
            if _height(together) <= room:
                last.slabs = together
                last.starts.append(page)
                continue
        chapter = page.chapter
        sheets += [_Sheet([page] if k == 0 else [], part, short) for k, part in enumerate(parts)]
    return sheets


def _has_picture(page: Page) -> bool:
    return any(isinstance(block, Picture | PictureRow) for block in page.blocks)


def _divider() -> Slab:
    def draw(pen: Pen, y: float) -> None:
        pen.rule(0.0, y + 4.0, WIDTH_MM, y + 4.0, 0.7)

    return Slab(6.0, draw, before=4.0)


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
    foot = height - 7.5
    plan = f" · plan {document.record_key}" if document.record_key else ""
    pen.words(clean_text(document.date + plan), 0.0, foot, 1.8, grey=True)


def _sheets(page: Page, room: float) -> Iterator[list[Slab]]:
    """The page's slabs shared out over sheets; nothing is torn, headings stay with what follows."""
    flow = [_title(page), *(slab for block in page.blocks for slab in slabs(block, room))]
    sheet: list[Slab] = []
    used = 0.0
    groups = list(_groups(flow))
    breaks = _good_break(groups, room)
    for place, group in enumerate(groups):
        tall = _height(group)
        if sheet and (used + tall > room or place == breaks):
            yield sheet
            sheet = [_continued(page)]
            if group[0].again is not None:
                sheet.append(group[0].again)
            used = _height(sheet)
        for slab in group:  # a group taller than a sheet is let run on
            sheet.append(slab)
            used += slab.before + slab.height
    yield sheet


def _height(group: Sequence[Slab]) -> float:
    return sum(s.before + s.height for s in group)


def _good_break(groups: Sequence[Sequence[Slab]], room: float) -> int:
    """Where to break a page that needs two sheets: at the last heading that leaves both full
    enough to hold, so that a sign-off does not stand alone; -1 for wherever the sheet is full."""
    heights = [_height(group) for group in groups]
    if sum(heights) <= room or sum(heights) > 1.9 * room:
        return -1
    fits = [
        k
        for k, group in enumerate(groups)
        if group[0].chapter and sum(heights[:k]) <= room and sum(heights[k:]) <= room - 10.0
    ]
    return fits[-1] if fits else -1


def _groups(flow: Sequence[Slab]) -> Iterator[list[Slab]]:
    """Runs that stay together: slabs marked `with_next` and the one that follows."""
    group: list[Slab] = []
    for slab in flow:
        group.append(slab)
        if not slab.with_next:
            yield group
            group = []
    if group:
        yield group


def _title(page: Page) -> Slab:
    title = clean_text(page.title)
    large = PLATE if page.kind == "cover" else TITLE
    cap = large if len(wrapped(title, WIDTH_MM, large, True)) == 1 else HEAD
    lines = wrapped(title, WIDTH_MM, cap, True)
    kicker = wrapped(clean_text(page.kicker), WIDTH_MM, NOTE)
    first = len(kicker) * LEADING * NOTE + 1.5

    def draw(pen: Pen, y: float) -> None:
        for k, line in enumerate(kicker):
            pen.words(line, 0.0, y + 1.5 + NOTE + k * LEADING * NOTE, NOTE)
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + first + cap + 1.0 + k * 1.5 * cap, cap, True)

    return Slab(first + 1.0 + len(lines) * 1.5 * cap, draw, with_next=True)


def _continued(page: Page) -> Slab:
    words = fitted(clean_text(f"{page.title}, continued"), WIDTH_MM, BODY, True)

    def draw(pen: Pen, y: float) -> None:
        pen.words(words, 0.0, y + BODY + 1.0, BODY, True)

    return Slab(LEADING * BODY + 2.0, draw)
