"""Every file by what may stand in it: a walker for each kind of file, with its tables beside it.

What no other check reads is here told to be nothing but what is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

from plybook.verify.allowed_dxf import strange_in_dxf
from plybook.verify.allowed_page import strange_in_page
from plybook.verify.allowed_pdf import (
    strange_in_book,
    strange_in_drawings,
    strange_in_labels,
    strange_in_pdf,
)
from plybook.verify.allowed_svg import strange_in_svg
from plybook.verify.report import Report

WALKERS: dict[str, Callable[[bytes], Iterator[str]]] = {
    "svg": strange_in_svg,
    "dxf": strange_in_dxf,
    "pdf": strange_in_pdf,
    "html": strange_in_page,
    "pdf of drawings": strange_in_drawings,
    "pdf of labels": strange_in_labels,
    "pdf of the book": strange_in_book,
}
OF_DRAWINGS = ("templates.pdf", "templates-fullsize.pdf", "templates-roll.pdf", "cutplan.pdf",
               "poster.pdf")  # fmt: skip
KINDS = {**dict.fromkeys(OF_DRAWINGS, "pdf of drawings"), "labels.pdf": "pdf of labels",
         "booklet.pdf": "pdf of the book"}  # fmt: skip


def check_allowed(files: dict[str, bytes], report: Report) -> None:
    """Nothing stands in a file that is not accounted for."""
    for name, data in files.items():
        kind = KINDS.get(name, name.rpartition(".")[2])
        if kind not in WALKERS:
            continue
        try:
            found = strange(kind, data)
        except (ValueError, KeyError, IndexError) as wrong:
            report.fault(name, f"cannot be read: {wrong}")
            continue
        said = f"{kind.split()[0].upper()} files with nothing unaccounted for"
        report.expect(not found, said, name, f"holds {'; '.join(found[:3])}")  # fmt: skip


@cache
def strange(kind: str, data: bytes) -> tuple[str, ...]:
    """What a file of a kind holds that it may not; read once.

    Raises:
        ValueError, KeyError, IndexError: it cannot be read.
    """
    return tuple(WALKERS[kind](data))
