"""Full-size sheets: for every piece one at 1:1 that bears its name, its fibre and its card."""

from __future__ import annotations

from functools import partial

import numpy as np

from plybook.verify import plane
from plybook.verify.drawings import file_name
from plybook.verify.labels import check_kits_in_book, check_labels
from plybook.verify.lettering import Lettering, card_facts
from plybook.verify.pdf_pages import Book, Page, open_book
from plybook.verify.pieces import ring
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.sheettwins import sheet_differs
from plybook.verify.svg_paths import read_svg
from plybook.verify.tiles import compare_cut
from plybook.verify.tolerances import PAPER_MM

LONG_MM = 4500.0  # a longer piece may run over several pages: readers show 5080 mm, words and all
PAGES_OVERLAP_MM = 100.0


def check_sheets(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """labels.pdf and templates-fullsize.pdf against the pieces."""
    full = partial(_check_full, files)
    for name, check in (("labels.pdf", check_labels), ("templates-fullsize.pdf", full)):
        if name not in files:
            report.fault(name, "is missing")
            continue
        try:
            check(plan, open_book(files[name]), name, report)
        except ValueError as wrong:
            report.fault(name, f"cannot be read: {wrong}")

    if "labels.pdf" in files and "booklet.pdf" in files:
        labels, booklet = open_book(files["labels.pdf"]), open_book(files["booklet.pdf"])
        check_kits_in_book(plan, labels, booklet, report)


def _check_full(files: dict[str, bytes], plan: dict, book: Book, name: str, report: Report) -> None:
    """Each piece's cut is drawn 1:1, on one page or over several that overlap, and lettered with
    its own facts; a page shows no more and no less than the drawing for the cutter."""
    lettering = Lettering(plan, name, report)
    pages = [book.page(k) for k in range(book.count)]
    cards = [card_facts(page).get("", "") for page in pages]
    whole = [(k, x.points) for k, page in enumerate(pages) for x in page.lines
             if x.mark == "CUT" and x.closed]  # fmt: skip
    sizes = np.array([np.ptp(d, axis=0) for _, d in whole]).reshape(-1, 2)
    over = [k for k in range(len(pages)) if k not in {k for k, _ in whole}]
    used = 0
    for piece in plan["pieces"]:
        outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
        size = np.ptp(outline, axis=0)
        near = np.flatnonzero(np.abs(sizes - size).max(axis=1) <= 2 * PAPER_MM)
        corner = outline.min(axis=0)
        off, page = min(
            ((plane.apart_by(d - d.min(axis=0) + corner, outline), k)
             for k, d in (whole[n] for n in near) if same(cards[k], piece["id"], cut=False)),
            default=(np.inf, 0),
        )  # fmt: skip
        if off > PAPER_MM and over and (size > LONG_MM).any():
            drawn, own = _put_together([pages[k] for k in over], size)
            drawn = [d + (outline.min(axis=0) - np.min([d.min(axis=0) for d in drawn], axis=0))
                     for d in drawn]  # fmt: skip
            compare_cut(piece, drawn, f"{name}, piece {piece['id']}", report)
            for k in over[:own]:
                lettering.check_drawn(piece, pages[k].words, f"page {k + 1}")
                if cards[k]:
                    lettering.check_card(piece, pages[k], f"page {k + 1}")
            over = over[own:]
            used += own
            continue
        used += 1
        report.expect(off <= PAPER_MM, "pieces drawn 1:1 on a sheet of their own", name,
                      f"{piece['id']} is nowhere drawn at its size")  # fmt: skip
        if off <= PAPER_MM:
            lettering.check_drawn(piece, pages[page].words, f"page {page + 1}")
            lettering.check_card(piece, pages[page], f"page {page + 1}")
            drawing = files.get(f"templates/{file_name(piece['id'])}.svg")
            wrong = "" if drawing is None else sheet_differs(read_svg(drawing), pages[page])
            report.expect(not wrong, "full-size sheets with just what the cutter's file shows",
                          f"{name}, page {page + 1}", wrong)  # fmt: skip
    report.expect(used == book.count, "full-size sheets of a piece, and no more", name,
                  f"has {book.count} pages for {used}")  # fmt: skip


def _put_together(pages: list[Page], size: np.ndarray) -> tuple[list[np.ndarray], int]:
    """The cut lines of the first pages laid side by side with their overlap, and how many.

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
    return drawn or [np.zeros((2, 2))], int(columns * rows)
