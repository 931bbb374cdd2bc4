"""A reader of PDF pages: sizes, print scaling, marked line work, words with their places.

The object layer is read by pypdf; the content stream by the few operators a drawing is made of
(ISO 32000-1, 8.2, 9.4 and 14.6: q Q cm m l h re S, BT Tf Tm Td Tj TJ, BDC/BMC and EMC for marked
content), characters by each font's ToUnicode map (9.10.3). Lengths come back in mm from the lower
left corner of the page, y up.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeVar

import numpy as np

MM_PER_POINT = 25.4 / 72
_TOKEN = re.compile(
    rb"\((?:[^()\\]|\\.)*\)|<[0-9A-Fa-f\s]*>|/[^\s/<>\[\]()]+|\[|\]|[-+]?\d*\.?\d+|[A-Za-z'\"*]+",
    re.DOTALL,
)
_ESCAPE = re.compile(rb"\\(\d{1,3}|\r\n|.)", re.DOTALL)
_ESCAPED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f", b"\n": b"",
            b"\r": b"", b"\r\n": b""}  # fmt: skip
_CHARS = re.compile(rb"beginbfchar(.*?)endbfchar", re.DOTALL)
_RANGES = re.compile(rb"beginbfrange(.*?)endbfrange", re.DOTALL)
_HEX = re.compile(rb"<([0-9A-Fa-f]+)>")
_READ = frozenset(
    b"l m h re S s B b n f F f* w q Q cm BMC BDC EMC BT Tf TL Tm Td TD T* Tj TJ ' \"".split()
)
Matrix = tuple[float, float, float, float, float, float]
_NO_CHANGE: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
Found = TypeVar("Found")


@dataclass(frozen=True)
class Line:
    mark: str  # marked-content tag it stands in, "" none
    points: np.ndarray  # (n, 2) page mm
    closed: bool
    width_mm: float


@dataclass(frozen=True)
class Words:
    mark: str
    text: str
    at_mm: tuple[float, float]  # where the first character stands


@dataclass
class Page:
    width_mm: float
    height_mm: float
    lines: list[Line] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)


class Book:
    """An open PDF file.

    Raises:
        ValueError: the file cannot be read.
    """

    def __init__(self, data: bytes) -> None:
        import logging

        from pypdf import PdfReader
        from pypdf.errors import PyPdfError

        logging.getLogger("pypdf").setLevel(logging.ERROR)
        if not data.startswith(b"%PDF-") or not data.rstrip().endswith(b"%%EOF"):
            raise ValueError("not a whole PDF file")
        try:
            self._reader = PdfReader(io.BytesIO(data), strict=True)
            self._pages = list(self._reader.pages)
            self.count = len(self._pages)
        except (PyPdfError, KeyError, TypeError, RecursionError, OSError) as wrong:
            raise ValueError(f"cannot be read: {wrong}") from None
        self._fonts: dict[Any, dict[int, str]] = {}
        self._read: dict[int, Page] = {}

    @property
    def prints_at_full_size(self) -> bool:
        """The file asks the viewer not to scale."""
        wishes = self._reader.viewer_preferences
        return wishes is not None and str(wishes.print_scaling) == "/None"

    def size_mm(self, index: int) -> tuple[float, float]:
        """Width and height of one page.

        Raises:
            ValueError: the page cannot be read.
        """
        return self._guarded(self._size, index)

    def _size(self, index: int) -> tuple[float, float]:
        box = self._pages[index].mediabox
        return float(box.width) * MM_PER_POINT, float(box.height) * MM_PER_POINT

    def page(self, index: int) -> Page:
        """Size, line work and words of one page; read once.

        Raises:
            ValueError: the page cannot be read.
        """
        if index not in self._read:
            self._read[index] = self._guarded(self._page, index)
        return self._read[index]

    def _page(self, index: int) -> Page:
        page = Page(*self._size(index))
        source = self._pages[index]
        content = source.get_contents()
        if content is not None:
            fonts = source.get("/Resources", {}).get_object().get("/Font", {}).get_object()
            maps = {name: self._characters(fonts.raw_get(name)) for name in fonts}
            _Stream(page, maps).read(content.get_data())
        return page

    def _characters(self, reference: Any) -> dict[int, str]:
        """What each character code of a font means, from its ToUnicode map; {} without one."""
        key = getattr(reference, "idnum", id(reference))
        if key not in self._fonts:
            font = reference.get_object()
            known: dict[int, str] = {}
            if "/ToUnicode" in font:
                known = _unicode_map(font["/ToUnicode"].get_object().get_data())
            self._fonts[key] = known
        return self._fonts[key]

    def words(self, index: int) -> list[str]:
        """The words of one page as they were set, in the order of the file.

        Raises:
            ValueError: the page cannot be read.
        """
        return [words.text for words in self.page(index).words]

    @staticmethod
    def _guarded(work: Callable[[int], Found], index: int) -> Found:
        """What a damaged page makes the library say, as one error."""
        try:
            return work(index)
        except Exception as wrong:
            raise ValueError(f"page {index + 1}: {type(wrong).__name__}: {wrong}") from None


@cache
def open_book(data: bytes) -> Book:
    """A PDF file, opened once for the same bytes.

    Raises:
        ValueError: the file cannot be read.
    """
    return Book(data)


def _unicode_map(data: bytes) -> dict[int, str]:
    known: dict[int, str] = {}
    for block in _CHARS.findall(data):
        codes = _HEX.findall(block)
        for code, value in zip(codes[::2], codes[1::2], strict=True):
            known[int(code, 16)] = bytes.fromhex(value.decode()).decode("utf-16-be")
    for block in _RANGES.findall(data):
        codes = _HEX.findall(block)
        for low, high, value in zip(codes[::3], codes[1::3], codes[2::3], strict=True):
            for code in range(int(low, 16), int(high, 16) + 1):
                known[code] = chr(int(value, 16) + code - int(low, 16))
    return known


class _Stream:
    """One content stream on its way through the operators."""

    def __init__(self, page: Page, fonts: dict[str, dict[int, str]]) -> None:
        self.page, self.fonts = page, fonts
        self.matrix, self.width, self.font = _NO_CHANGE, 1.0, ""
        self.stack: list[tuple[Matrix, float, str]] = []
        self.marks: list[str] = []
        self.runs: list[tuple[list[float], bool]] = []
        self.text = self.line = _NO_CHANGE
        self.leading = 0.0

    def read(self, data: bytes) -> None:
        operands: list[bytes] = []
        for token in _TOKEN.findall(data):
            first = token[0]
            if 48 <= first <= 57 or first in b"(</[]+-.":
                operands.append(token)
                continue
            if token in _READ:
                self.operate(token, operands)
            operands = []

    def operate(self, operator: bytes, operands: list[bytes]) -> None:
        if operator == b"l" and self.runs:
            self.runs[-1][0].extend(_numbers(operands, 2))
        elif operator == b"m":
            self.runs.append((_numbers(operands, 2), False))
        elif operator == b"h" and self.runs:
            self.runs[-1] = (self.runs[-1][0], True)
        elif operator == b"re":
            x, y, w, h = _numbers(operands, 4)
            self.runs.append(([x, y, x + w, y, x + w, y + h, x, y + h], True))
        elif operator in (b"S", b"s", b"B", b"b"):
            self.stroke(operator in (b"s", b"b"))
        elif operator in (b"n", b"f", b"F", b"f*"):
            self.runs = []
        elif operator == b"w":
            self.width = _numbers(operands, 1)[0]
        elif operator == b"q":
            self.stack.append((self.matrix, self.width, self.font))
        elif operator == b"Q" and self.stack:
            self.matrix, self.width, self.font = self.stack.pop()
        elif operator == b"cm":
            self.matrix = _times(_matrix(operands), self.matrix)
        elif operator in (b"BMC", b"BDC"):
            self.marks.append(operands[0][1:].decode("ascii", "replace") if operands else "")
        elif operator == b"EMC" and self.marks:
            self.marks.pop()
        else:
            self.write(operator, operands)

    def stroke(self, close: bool) -> None:
        a, b, c, d, e, f = self.matrix
        turn = np.array([[a, b], [c, d]])
        scale = abs(a * d - b * c) ** 0.5
        mark = self.marks[-1] if self.marks else ""
        for flat, closed in self.runs:
            points = (np.array(flat).reshape(-1, 2) @ turn + (e, f)) * MM_PER_POINT
            width = self.width * scale * MM_PER_POINT
            self.page.lines.append(Line(mark, points, closed or close, width))
        self.runs = []

    def write(self, operator: bytes, operands: list[bytes]) -> None:
        if operator == b"BT":
            self.text = self.line = _NO_CHANGE
        elif operator == b"Tf":
            self.font = operands[0][1:].decode("ascii", "replace") if operands else ""
        elif operator == b"TL":
            self.leading = _numbers(operands, 1)[0]
        elif operator == b"Tm":
            self.text = self.line = _matrix(operands)
        elif operator in (b"Td", b"TD"):
            self.start_line(*_numbers(operands, 2))
            if operator == b"TD":
                self.leading = -_numbers(operands, 2)[1]
        elif operator == b"T*":
            self.start_line(0.0, -self.leading)
        elif operator in (b"Tj", b"TJ", b"'", b'"'):
            if operator in (b"'", b'"'):
                self.start_line(0.0, -self.leading)
            known = self.fonts.get("/" + self.font, {})
            shown = b"".join(_string(x) for x in operands if x[:1] in b"(<")
            at = _times(self.text, self.matrix)
            words = "".join(known.get(code, chr(code)) for code in shown)
            place = at[4] * MM_PER_POINT, at[5] * MM_PER_POINT
            self.page.words.append(Words(self.marks[-1] if self.marks else "", words, place))

    def start_line(self, x: float, y: float) -> None:
        self.text = self.line = _times((1.0, 0.0, 0.0, 1.0, x, y), self.line)


def _string(token: bytes) -> bytes:
    """The bytes of a string operand, in brackets or hexadecimal."""
    if token[:1] == b"<":
        digits = re.sub(rb"\s", b"", token[1:-1]).decode()
        return bytes.fromhex(digits + "0" * (len(digits) % 2))

    def plain(match: re.Match[bytes]) -> bytes:
        what = match[1]
        return bytes([int(what, 8) & 255]) if what.isdigit() else _ESCAPED.get(what, what)

    return _ESCAPE.sub(plain, token[1:-1])


def _matrix(operands: list[bytes]) -> Matrix:
    a, b, c, d, e, f = _numbers(operands, 6)
    return a, b, c, d, e, f


def _times(one: Matrix, two: Matrix) -> Matrix:
    """First `one`, then `two` (ISO 32000-1, 8.3.4)."""
    a, b, c, d, e, f = one
    p, q, r, s, t, u = two
    return (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s,
            e * p + f * r + t, e * q + f * s + u)  # fmt: skip


def _numbers(operands: list[bytes], count: int) -> list[float]:
    if len(operands) < count:
        raise ValueError("a drawing operator lacks numbers")
    return [float(token) for token in operands[-count:]]
