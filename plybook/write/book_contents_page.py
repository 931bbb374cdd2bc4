"""The contents of the book on paper: chapters and what stands in them, with the sheet it is on.

Terms:
    sheet: as in `plybook.write.book_sheets`; what is printed as the number of a page.
    entry: one line: a chapter, or the title of a page with its sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from plybook.drawing.letters import clean_text, fitted, text_width_mm
from plybook.write.book_pen import NOTE, TITLE, WIDTH_MM, Pen, Slab
from plybook.write.book_sheets import Sheet

LEAST_SHEETS = 8  # a shorter book is leafed through
ROW_MM, GAP_MM = 4.6, 10.0  # of an entry; between columns
NUMBER_MM = 9.0  # for the number of a sheet
COLUMNS = 2
SMALLEST = 1.8  # letters of a long title
_TITLE = "Contents"


@dataclass(frozen=True)
class _Entry:
    words: str
    sheet: int  # 0 for a chapter


def with_contents(sheets: Sequence[Sheet], room: float) -> list[Sheet]:
    """A book's sheets with one of contents behind the cover; a short book as it is.

    Where all titles do not find room, those of pages that share their sheet with the page before
    are left out, then all but the first of each chapter.

    Args:
        sheets: of a book, the cover first.
        room: height of an empty sheet between head and foot, mm.
    """
    if len(sheets) < LEAST_SHEETS:
        return list(sheets)
    rows = int((room - 3 * TITLE) / ROW_MM)
    for spare in range(3):
        entries = _entries(sheets, spare)
        if len(entries) <= COLUMNS * rows:
            break
    entries = entries[: COLUMNS * rows]
    sheet = Sheet([], [_heading(), _listed(entries, rows)], open=False)
    return [sheets[0], sheet, *sheets[1:]]


def _entries(sheets: Sequence[Sheet], spare: int) -> list[_Entry]:
    """Entries of all pages but the cover; `spare`: 0 all, 1 the first on each sheet, 2 the first
    of each chapter."""
    entries: list[_Entry] = []
    chapter = ""
    for number, sheet in enumerate(sheets[1:], start=3):
        for k, page in enumerate(sheet.starts):
            opens = page.chapter != chapter
            if opens:
                chapter = page.chapter
                entries.append(_Entry(chapter, 0))
            if spare == 0 or opens or (spare == 1 and k == 0):
                entries.append(_Entry(page.title, number))
    return entries


def _heading() -> Slab:
    def draw(pen: Pen, y: float) -> None:
        pen.words(_TITLE, 0.0, y + TITLE + 2.5, TITLE, True)

    return Slab(2.5 * TITLE, draw)


def _listed(entries: Sequence[_Entry], most: int) -> Slab:
    """Entries in columns as even as they come; a chapter does not stand last in one."""
    per = min(most, max(-(-len(entries) // COLUMNS), 12))
    columns: list[list[_Entry]] = [[]]
    for entry in entries:
        if len(columns[-1]) >= per and len(columns) < COLUMNS:
            columns.append([columns[-1].pop()] if not columns[-1][-1].sheet else [])
        columns[-1].append(entry)
    wide = (WIDTH_MM - (COLUMNS - 1) * GAP_MM) / COLUMNS
    height = ROW_MM * max(map(len, columns))

    def draw(pen: Pen, y: float) -> None:
        for column, own in enumerate(columns):
            x = column * (wide + GAP_MM)
            for row, entry in enumerate(own, start=1):
                base = y + row * ROW_MM - 1.2
                room = wide - NUMBER_MM
                words, bold = clean_text(entry.words), not entry.sheet
                cap = min(NOTE, NOTE * room / max(text_width_mm(words, NOTE, bold), 1.0))
                cap = max(cap, SMALLEST)
                pen.words(fitted(words, room, cap, bold), x, base, cap, bold)
                if entry.sheet:
                    pen.words(f"{entry.sheet}", x + wide, base, NOTE, False, "r")

    return Slab(height, draw)
