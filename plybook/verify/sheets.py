"""Labels and full-size sheets: a label for every copy, a sheet at 1:1 for every piece."""

from __future__ import annotations

import re

import numpy as np

from plybook.verify import plane
from plybook.verify.pdf_pages import Book
from plybook.verify.pieces import ring
from plybook.verify.report import Report

PAPER_MM = 0.02


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
    """Each piece's cut is drawn 1:1, on one page or over several."""
    drawn: list[np.ndarray] = []
    for k in range(book.count):
        drawn += [x.points for x in book.page(k).lines if x.mark == "CUT" and x.closed]
    sizes = np.array([np.ptp(d, axis=0) for d in drawn]).reshape(-1, 2)
    for piece in plan["pieces"]:
        outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
        near = np.flatnonzero(np.abs(sizes - np.ptp(outline, axis=0)).max(axis=1) <= 2 * PAPER_MM)
        corner = outline.min(axis=0)
        off = min(
            (plane.apart_by(drawn[k] - drawn[k].min(axis=0) + corner, outline) for k in near),
            default=np.inf,
        )
        report.expect(off <= PAPER_MM, "pieces drawn 1:1 on a sheet of their own", name,
                      f"{piece['id']} is nowhere drawn at its size")  # fmt: skip
