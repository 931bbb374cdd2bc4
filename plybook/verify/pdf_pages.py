"""A reader of PDF pages: sizes, print scaling, marked line work, words.

The object layer is read by pypdf; the content stream by the few operators a drawing is made of
(ISO 32000-1, 8.2 and 14.6: q Q cm m l h re S, BDC/BMC and EMC for marked content). Lengths come
back in mm from the lower left corner of the page, y up.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field

import numpy as np

MM_PER_POINT = 25.4 / 72
_TOKEN = re.compile(
    rb"\((?:[^()\\]|\\.)*\)|<[0-9A-Fa-f\s]*>|/[^\s/<>\[\]()]+|\[|\]|[-+]?\d*\.?\d+|[A-Za-z'\"*]+",
    re.DOTALL,
)


@dataclass(frozen=True)
class Line:
    mark: str  # marked-content tag it stands in, "" none
    points: np.ndarray  # (n, 2) page mm
    closed: bool
    width_mm: float


@dataclass
class Page:
    width_mm: float
    height_mm: float
    lines: list[Line] = field(default_factory=list)


class Book:
    """An open PDF file.

    Raises:
        ValueError: the file cannot be read.
    """

    def __init__(self, data: bytes):
        import logging

        from pypdf import PdfReader
        from pypdf.errors import PyPdfError

        logging.getLogger("pypdf").setLevel(logging.ERROR)
        if not data.startswith(b"%PDF-") or not data.rstrip().endswith(b"%%EOF"):
            raise ValueError("not a whole PDF file")
        try:
            self._reader = PdfReader(io.BytesIO(data), strict=True)
            self.count = len(self._reader.pages)
        except (PyPdfError, KeyError, TypeError, RecursionError, OSError) as wrong:
            raise ValueError(f"cannot be read: {wrong}") from None

    @property
    def prints_at_full_size(self) -> bool:
        """The file asks the viewer not to scale."""
        wishes = self._reader.viewer_preferences
        return wishes is not None and str(wishes.print_scaling) == "/None"

    def page(self, index: int) -> Page:
        """Size and line work of one page.

        Raises:
            ValueError: the page cannot be read.
        """
        return self._guarded(self._page, index)

    def _page(self, index: int) -> Page:
        source = self._reader.pages[index]
        box = source.mediabox
        page = Page(float(box.width) * MM_PER_POINT, float(box.height) * MM_PER_POINT)
        content = source.get_contents()
        if content is not None:
            _read_content(content.get_data(), page)
        return page

    def words(self, index: int) -> str:
        """The text of one page as a reader finds it.

        Raises:
            ValueError: the page cannot be read.
        """
        return self._guarded(lambda k: self._reader.pages[k].extract_text(), index)

    @staticmethod
    def _guarded(work, index: int):
        """What a damaged page makes the library say, as one error."""
        try:
            return work(index)
        except Exception as wrong:
            raise ValueError(f"page {index + 1}: {type(wrong).__name__}: {wrong}") from None


def _read_content(data: bytes, page: Page) -> None:
    matrix = np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]])
    width = 1.0
    stack: list[tuple[np.ndarray, float]] = []
    marks: list[str] = []
    runs: list[tuple[list[tuple[float, float]], bool]] = []
    operands: list[bytes] = []
    for match in _TOKEN.finditer(data):
        token = match.group()
        if token[:1] in b"(</[]" or token[:1].isdigit() or token[:1] in b"+-.":
            operands.append(token)
            continue
        if token == b"q":
            stack.append((matrix, width))
        elif token == b"Q" and stack:
            matrix, width = stack.pop()
        elif token == b"cm":
            a, b, c, d, e, f = _numbers(operands, 6)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif token == b"w":
            width = _numbers(operands, 1)[0]
        elif token == b"m":
            runs.append(([tuple(_numbers(operands, 2))], False))
        elif token == b"l" and runs:
            runs[-1][0].append(tuple(_numbers(operands, 2)))
        elif token == b"re":
            x, y, w, h = _numbers(operands, 4)
            runs.append(([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], True))
        elif token == b"h" and runs:
            runs[-1] = (runs[-1][0], True)
        elif token in (b"S", b"s", b"B", b"b"):
            for points, closed in runs:
                placed = np.column_stack([np.array(points), np.ones(len(points))]) @ matrix
                scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
                page.lines.append(
                    Line(
                        marks[-1] if marks else "",
                        placed[:, :2] * MM_PER_POINT,
                        closed or token in (b"s", b"b"),
                        width * scale * MM_PER_POINT,
                    )
                )
            runs = []
        elif token in (b"n", b"f", b"F", b"f*"):
            runs = []
        elif token in (b"BMC", b"BDC"):
            marks.append(operands[0][1:].decode("ascii", "replace") if operands else "")
        elif token == b"EMC" and marks:
            marks.pop()
        operands = []


def _numbers(operands: list[bytes], count: int) -> list[float]:
    if len(operands) < count:
        raise ValueError("a drawing operator lacks numbers")
    return [float(token) for token in operands[-count:]]
