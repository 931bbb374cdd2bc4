"""A reader of PDF pages: sizes, print scaling, marked line work, words with their places.

The object layer is read by pypdf; the content stream by the few operators a drawing is made of
(ISO 32000-1, 8.2, 9.4 and 14.6: q Q cm m l h re S, BT Tf Tm Td Tj TJ, BDC/BMC and EMC for marked
content), characters by each font's ToUnicode map (9.10.3). Lengths come back in mm from the lower
left corner of the page, y up.

Every operator beyond those is named in `Page.strange`, so that nothing is drawn unseen.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import dataclass, field
from functools import cache
from typing import Any, TypeVar

import numpy as np

from plybook.verify.report import Report

MM_PER_POINT = 25.4 / 72
_TOKEN = re.compile(
    rb"\((?:[^()\\]|\\.)*\)|<[0-9A-Fa-f\s]*>|/[^\s/<>\[\]()]+|\[|\]|[-+]?\d*\.?\d+|[A-Za-z'\"*]+",
    re.DOTALL,
)
_ESCAPE = re.compile(rb"\\(\d{1,3}|\r\n|.)", re.DOTALL)
_ESCAPED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f", b"\n": b"",
            b"\r": b"", b"\r\n": b""}  # fmt: skip
_CHARS = re.compile(rb"beginbfchar(.*?)endbfchar", re.DOTALL)
_LAST_CODE = 0xFFFF  # of two bytes
_RANGES = re.compile(rb"beginbfrange(.*?)endbfrange", re.DOTALL)
_HEX = re.compile(rb"<([0-9A-Fa-f]+)>")
_PAINT = {  # operator -> closes, strokes, fills (ISO 32000-1, table 60)
    b"S": (False, True, False), b"s": (True, True, False), b"n": (False, False, False),
    b"f": (True, False, True), b"f*": (True, False, True), b"b": (True, True, True),
    b"B": (False, True, True), b"B*": (False, True, True),
}  # fmt: skip
_INKS = {b"G": (0, 1), b"g": (1, 1), b"RG": (0, 3), b"rg": (1, 3)}  # which, of how many numbers
_SHOWN = (b"BT", b"Tf", b"TL", b"Tm", b"Td", b"T*", b"Tj")
_NO_MATTER = (b"J", b"j", b"ET")  # round ends and corners; the end of words
Matrix = tuple[float, float, float, float, float, float]
_NO_CHANGE: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
Found = TypeVar("Found")


@dataclass(frozen=True)
class Line:
    mark: str  # marked-content tag it stands in, "" none
    points: np.ndarray  # (n, 2) page mm
    closed: bool
    width_mm: float
    ink: str = "#000000"
    dash_mm: tuple[float, ...] = ()
    scale: float = 1.0  # of the picture it stands in; width and dash are given before it
    curved: bool = False


@dataclass(frozen=True)
class Words:
    mark: str
    text: str
    at_mm: tuple[float, float]  # where the first character stands
    size_mm: float = 0.0
    turn_deg: float = 0.0
    ink: str = "#000000"
    font: str = ""


@dataclass(frozen=True)
class Area:
    mark: str
    points: np.ndarray  # (n, 2) page mm
    fill: str


Clip = tuple[float, float, float, float]  # what lies outside is not shown; page mm


@dataclass
class Page:
    width_mm: float
    height_mm: float
    lines: list[Line] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    painted: list[tuple[Line | Words | Area, Clip | None]] = field(default_factory=list)
    strange: list[str] = field(default_factory=list)  # what is no part of a drawing
    turned: bool = False  # a picture is turned, stretched or mirrored


class Book:
    """An open PDF file.

    Raises:
        ValueError: the file cannot be read.
    """

    def __init__(self, data: bytes) -> None:
        import logging

        from pypdf import PdfReader
        from pypdf.errors import PyPdfError

        logging.getLogger("pypdf").addHandler(logging.NullHandler())
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

    def strange_objects(self, kinds: dict[str, dict[str, str]]) -> Iterator[str]:
        """What the objects of the file have that a table does not know.

        Args:
            kinds: kind of object -> key -> what its value may be: the name of another kind, `[` and
                a kind for each of a list, `=` and its text, or "" for anything. Key `*` is any key.
                It begins with the kind "trailer".

        Raises:
            ValueError: an object cannot be read.
        """
        from pypdf.generic import DictionaryObject, StreamObject

        todo: list[tuple[str, Any]] = [("trailer", self._reader.trailer)]
        seen: set[tuple[str, int]] = set()
        while todo:
            kind, found = todo.pop()
            number = getattr(found, "idnum", None)
            if number is not None and (kind, number) in seen:
                continue
            seen.add((kind, number or -len(seen)))
            found = found.get_object() if kind != "trailer" else found
            if not isinstance(found, DictionaryObject | dict):
                yield f"{kind} is no dictionary"
                continue
            if isinstance(found, StreamObject) != kind.endswith("stream"):
                yield f"{kind} with a stream, or without"
            known = kinds[kind]
            for key in found:
                rule = known.get(key, known.get("*"))
                value = found.raw_get(key) if hasattr(found, "raw_get") else found[key]
                if rule is None:
                    yield f"{kind} with {key}"
                elif rule.startswith("="):
                    if str(value.get_object()) != rule[1:]:
                        yield f"{kind} with another {key}"
                elif rule.startswith("["):
                    todo += [(rule[1:], one) for one in value.get_object()]
                elif rule:
                    todo.append((rule, value))

    def bookmarks(self) -> list[tuple[str, int]]:
        """Title and page of each bookmark, in their order.

        Raises:
            ValueError: one cannot be read.
        """
        return self._guarded(lambda _: list(self._marks(self._reader.outline)), 0)

    def _marks(self, entries: Any) -> Iterator[tuple[str, int]]:
        for entry in entries:
            if isinstance(entry, list):
                yield from self._marks(entry)
            else:
                page = self._reader.get_destination_page_number(entry)
                yield str(entry.title), -1 if page is None else page

    def facts(self) -> dict[str, str]:
        """What the file says of itself: /Title, /Subject and so on."""
        return {str(k): str(v) for k, v in (self._reader.metadata or {}).items()}

    def typefaces(self) -> Iterator[tuple[str, dict[int, str], bytes, list[float]]]:
        """Of each embedded typeface: name, characters by code, font program, widths by code.

        Raises:
            ValueError: one cannot be read.
        """
        done = set()
        for page in self._pages:
            fonts: Any = page.get("/Resources", {}).get_object().get("/Font", {}).get_object()
            for name in fonts:
                font = fonts[name]
                number = getattr(fonts.raw_get(name), "idnum", name)
                if "/FontDescriptor" in font and number not in done:
                    done.add(number)
                    program = font["/FontDescriptor"]["/FontFile2"].get_data()
                    first = int(font["/FirstChar"])
                    if not 0 <= first <= _LAST_CODE:
                        raise ValueError(f"a typeface whose first character is {first}")
                    widths = [0.0] * first + [float(w) for w in font["/Widths"]]
                    yield (str(font["/BaseFont"]), self._characters(fonts.raw_get(name)), program,
                           widths)  # fmt: skip

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


def all_pages(data: bytes, name: str, report: Report) -> list[Page] | None:
    """Every page of a PDF file; None, and a fault, where it cannot be read."""
    try:
        book = open_book(data)
        return [book.page(k) for k in range(book.count)]
    except ValueError as wrong:
        report.fault(name, f"cannot be read: {wrong}")
        return None


def _unicode_map(data: bytes) -> dict[int, str]:
    known: dict[int, str] = {}
    for block in _CHARS.findall(data):
        codes = _HEX.findall(block)
        for code, value in zip(codes[::2], codes[1::2], strict=True):
            known[int(code, 16)] = bytes.fromhex(value.decode()).decode("utf-16-be")
    for block in _RANGES.findall(data):
        codes = _HEX.findall(block)
        for low, high, value in zip(codes[::3], codes[1::3], codes[2::3], strict=True):
            first, last = int(low, 16), int(high, 16)
            if last > _LAST_CODE:
                raise ValueError("a typeface with more characters than there are codes")
            for code in range(first, last + 1):
                known[code] = chr(int(value, 16) + code - first)
    return known


@dataclass
class _State:
    """The graphics state that q keeps and Q brings back (ISO 32000-1, 8.4)."""

    matrix: Matrix = _NO_CHANGE
    width: float = 1.0
    font: str = ""
    size: float = 0.0
    inks: tuple[str, str] = ("#000000", "#000000")  # of lines, of areas and words
    dash: tuple[float, ...] = ()
    clip: Clip | None = None


class _Stream:
    """One content stream on its way through the operators."""

    def __init__(self, page: Page, fonts: dict[str, dict[int, str]]) -> None:
        self.page, self.fonts = page, fonts
        self.now = _State()
        self.stack: list[_State] = []
        self.marks: list[str] = []
        self.runs: list[tuple[list[float], bool]] = []
        self.curved = self.clips = False
        self.text = self.line = _NO_CHANGE
        self.leading = 0.0

    def read(self, data: bytes) -> None:
        operands: list[bytes] = []
        if between := _TOKEN.sub(b"", data).strip():
            self.page.strange.append(f"bytes {between[:20]!r}")
        for token in _TOKEN.findall(data):
            first = token[0]
            if 48 <= first <= 57 or first in b"(</[]+-.":
                operands.append(token)
                continue
            self.operate(token, operands)
            operands = []
        if operands or self.stack or self.marks:
            self.page.strange.append("a content that does not end")

    def operate(self, operator: bytes, operands: list[bytes]) -> None:
        if operator == b"l" and self.runs:
            self.runs[-1][0].extend(_numbers(operands, 2))
        elif operator == b"m":
            self.runs.append((_numbers(operands, 2), False))
        elif operator == b"c" and self.runs:
            self.runs[-1][0].extend(_numbers(operands, 6)[4:])
            self.curved = True
        elif operator == b"h" and self.runs:
            self.runs[-1] = (self.runs[-1][0], True)
        elif operator == b"re":
            x, y, w, h = _numbers(operands, 4)
            self.runs.append(([x, y, x + w, y, x + w, y + h, x, y + h], True))
        elif operator in _PAINT:
            self.paint(*_PAINT[operator])
        elif operator == b"W":
            self.clips = True
        elif operator in _INKS:
            self.dip(*_INKS[operator], operands)
        elif operator == b"w":
            self.now.width = _numbers(operands, 1)[0]
        elif operator == b"d":
            inner = [x for x in operands[:-1] if x not in (b"[", b"]")]
            self.now.dash = tuple(map(float, inner))
        elif operator == b"q":
            self.stack.append(copy(self.now))
        elif operator == b"Q" and self.stack:
            self.now = self.stack.pop()
        elif operator == b"cm":
            matrix = _matrix(operands)
            a, b, c, d = matrix[:4]
            self.page.turned |= bool(b or c or a <= 0 or abs(a - d) > 1e-6)
            self.now.matrix = _times(matrix, self.now.matrix)
        elif operator in (b"BMC", b"BDC"):
            self.marks.append(operands[0][1:].decode("ascii", "replace") if operands else "")
        elif operator == b"EMC" and self.marks:
            self.marks.pop()
        elif operator in _SHOWN:
            self.write(operator, operands)
        elif operator not in _NO_MATTER:
            self.page.strange.append(f"operator {operator.decode('ascii', 'replace')}")

    def dip(self, which: int, count: int, operands: list[bytes]) -> None:
        """Take up another ink."""
        values = _numbers(operands, count) * (4 - count if count == 1 else 1)
        inks = list(self.now.inks)
        inks[which] = "#" + "".join(f"{round(255 * min(max(v, 0.0), 1.0)):02x}" for v in values)
        self.now.inks = (inks[0], inks[1])

    def paint(self, close: bool, line: bool, area: bool) -> None:
        """What becomes of the path: a line, an area, a clip."""
        now, page = self.now, self.page
        a, b, c, d, e, f = now.matrix
        turn = np.array([[a, b], [c, d]])
        scale = abs(a * d - b * c) ** 0.5
        mark = self.marks[-1] if self.marks else ""
        for flat, closed in self.runs:
            points = (np.array(flat).reshape(-1, 2) @ turn + (e, f)) * MM_PER_POINT
            if self.clips:
                low, high = points.min(axis=0), points.max(axis=0)
                box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
                if now.clip is not None or len(points) != 4 or len(self.runs) != 1:
                    page.strange.append("a clip within a clip, or one of another shape")
                now.clip = box
            if area:
                page.areas.append(Area(mark, points, now.inks[1]))
                page.painted.append((page.areas[-1], now.clip))
            if line:
                dash = tuple(round(x * MM_PER_POINT, 2) for x in now.dash)
                page.lines.append(Line(mark, points, closed or close, now.width * MM_PER_POINT,
                                       now.inks[0], dash, scale, self.curved))  # fmt: skip
                page.painted.append((page.lines[-1], now.clip))
        self.runs, self.curved, self.clips = [], False, False

    def write(self, operator: bytes, operands: list[bytes]) -> None:
        if operator == b"BT":
            self.text = self.line = _NO_CHANGE
        elif operator == b"Tf":
            font = operands[0][1:].decode("ascii", "replace") if operands else ""
            self.now.font, self.now.size = font, _numbers(operands, 1)[0]
        elif operator == b"TL":
            self.leading = _numbers(operands, 1)[0]
        elif operator == b"Tm":
            self.text = self.line = _matrix(operands)
        elif operator == b"Td":
            self.start_line(*_numbers(operands, 2))
        elif operator == b"T*":
            self.start_line(0.0, -self.leading)
        elif operator == b"Tj":
            self.show(operands)

    def show(self, operands: list[bytes]) -> None:
        """Words at the place in hand."""
        now, page = self.now, self.page
        known = self.fonts.get("/" + now.font, {})
        shown = b"".join(_string(x) for x in operands if x[:1] in b"(<")
        at = _times(self.text, now.matrix)
        if abs(at[0] - at[3]) > 1e-5 or abs(at[1] + at[2]) > 1e-5:
            page.strange.append("words stretched or mirrored")
        if not set(shown) <= known.keys():
            page.strange.append("words in a typeface of another kind")
        words = "".join(known.get(code, chr(code)) for code in shown)
        place = at[4] * MM_PER_POINT, at[5] * MM_PER_POINT
        size = now.size * math.hypot(at[0], at[1]) * MM_PER_POINT
        turn = math.degrees(math.atan2(at[1], at[0]))
        page.words.append(Words(self.marks[-1] if self.marks else "", words, place, size, turn,
                                now.inks[1], now.font))  # fmt: skip
        page.painted.append((page.words[-1], now.clip))

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
