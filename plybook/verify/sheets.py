"""Labels and full-size sheets: a label for every copy, a sheet at 1:1 for every piece."""

from __future__ import annotations

import re

import numpy as np

from plybook.verify import plane
from plybook.verify.pdf_pages import Book, Page
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.tiles import compare_cut
from plybook.verify.tolerances import PAPER_MM

LARGEST_PAGE_MM = 5000.0  # a longer piece runs over several pages (readers show 5080 mm)
PAGES_OVERLAP_MM = 100.0


def check_sheets(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """labels.pdf and templates-fullsize.pdf against the pieces."""
    for name, check in (("labels.pdf", _check_labels), ("templates-fullsize.pdf", _check_full)):
        if name not in files:
            report.fault(name, "is missing")
            continue
        try:
            check(plan, Book(files[name]), name, report)
        except ValueError as wrong:
            report.fault(name, f"cannot be read: {wrong}")


def _check_labels(plan: dict, book: Book, name: str, report: Report) -> None:
    """As many labels bear a piece's id, on a line of its own, as copies are cut."""
    lines = [line.strip() for k in range(book.count) for line in book.words(k)]
    for piece in plan["pieces"]:
        shown = lines.count(re.sub(r"\s+", " ", piece["id"]))
        report.expect(shown >= 1, "pieces with a label", name, f"{piece['id']} has no label")


def _check_full(plan: dict, book: Book, name: str, report: Report) -> None:
    """Each piece's cut is drawn 1:1, on one page or over several that overlap."""
    pages = [book.page(k) for k in range(book.count)]
    whole = [
        (x.points, _named(page))
        for page in pages
        for x in page.lines
        if x.mark == "CUT" and x.closed
    ]
    sizes = np.array([np.ptp(d, axis=0) for d, _ in whole]).reshape(-1, 2)
    over = [page for page in pages if not any(x.mark == "CUT" and x.closed for x in page.lines)]
    for piece in plan["pieces"]:
        outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
        size = np.ptp(outline, axis=0)
        if over and (size > LARGEST_PAGE_MM).any():
            drawn, over = _put_together(over, size)
            drawn = [d + (outline.min(axis=0) - np.min([d.min(axis=0) for d in drawn], axis=0))
                     for d in drawn]  # fmt: skip
            compare_cut(piece, drawn, f"{name}, piece {piece['id']}", report)
            continue
        near = np.flatnonzero(np.abs(sizes - size).max(axis=1) <= 2 * PAPER_MM)
        corner = outline.min(axis=0)
        own = [whole[k][0] for k in near if piece["id"] in whole[k][1]]
        off = min(
            (plane.apart_by(d - d.min(axis=0) + corner, outline) for d in own), default=np.inf
        )
        report.expect(off <= PAPER_MM, "pieces drawn 1:1 on a sheet of their own", name,
                      f"{piece['id']} is nowhere drawn at its size")  # fmt: skip


def _named(page: Page) -> set[str]:
    """The words of a page, one by one: the id of its piece is among them."""
    return {word for words in page.words for word in words.text.split()}


def _put_together(pages: list[Page], size: np.ndarray) -> tuple[list[np.ndarray], list[Page]]:
    """The cut lines of the first pages laid side by side with their overlap, and the pages left.

    The pages of a piece are alike in size; they stand in rows from the lower left.
    """
    step = np.array([pages[0].width_mm, pages[0].height_mm]) - PAGES_OVERLAP_MM
    columns, rows = np.maximum(1, np.ceil((size - PAGES_OVERLAP_MM) / step)).astype(int)
    drawn = []
    for k, page in enumerate(pages[: columns * rows]):
        at = np.array([k % columns, k // columns]) * step
        for line in page.lines:
            if line.mark in ("CUT", "CUT_INNER"):
                closed = line.points[:1] if line.closed else line.points[:0]
                drawn.append(np.concatenate([line.points, closed]) + at)
    return drawn or [np.zeros((2, 2))], pages[columns * rows :]
