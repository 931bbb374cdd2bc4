"""What is read on a page of the paper book: headings, words, lists, tables, plates, cautions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from plybook.drawing.document import (
    CautionBox,
    Facts,
    Heading,
    Items,
    Paragraph,
    Plate,
    Table,
)
from plybook.drawing.letters import LEADING, clean_text, fitted, text_width_mm, wrapped
from plybook.write.book_pen import (
    BODY,
    HEAD,
    NOTE,
    PLATE,
    TITLE,
    WIDTH_MM,
    Pen,
    Slab,
    lines_slab,
)

LONGEST = 24  # lines that are not torn


def heading_slabs(block: Heading) -> Iterator[Slab]:
    cap = {1: TITLE, 2: HEAD, 3: NOTE}[block.level]
    yield lines_slab(block.text, cap, True, before=2.6, with_next=True, chapter=True)


def _stretches(lines: Sequence[str]) -> Iterator[Sequence[str]]:
    """Lines that stay together; a page may break between two stretches."""
    for k in range(0, max(1, len(lines)), LONGEST):
        yield lines[k : k + LONGEST]


def paragraph_slabs(block: Paragraph) -> Iterator[Slab]:
    cap = NOTE if block.small else BODY
    before = 0.75 * cap
    for lines in _stretches(wrapped(clean_text(block.text), WIDTH_MM, cap, block.strong)):
        yield lines_slab(" ".join(lines), cap, block.strong, before)
        before = 0.0


def items_slabs(block: Items) -> Iterator[Slab]:
    words = [clean_text(item) for item in block.items]
    if not block.numbered and (block.small or len(words) >= 6) and max(map(len, words)) <= 60:
        yield from _columns(words, 3 if block.small else 2, NOTE if block.small else BODY)
        return
    pitch = LEADING * BODY
    for number, item in enumerate(words, start=1):
        before = 1.2 if number > 1 else 3.0
        for lines in _stretches(wrapped(item, WIDTH_MM - 10.0, BODY) or [""]):

            def draw(pen: Pen, y: float, lines=lines, number=number, first=before > 0.0) -> None:
                if first and block.numbered:
                    pen.words(f"{number}", 5.0, y + BODY, BODY, True, "r")
                elif first:
                    _bullet(pen, 0.0, y + BODY / 2)
                for k, line in enumerate(lines):
                    pen.words(line, 9.0, y + BODY + k * pitch, BODY)

            yield Slab(len(lines) * pitch, draw, before=before)
            before = 0.0


def _columns(words: Sequence[str], count: int, cap: float) -> Iterator[Slab]:
    """Short items read down the left column, then down the next."""
    wide, indent = WIDTH_MM / count, 2.6 * cap
    cells = [wrapped(w, wide - indent - 3.0, cap) or [""] for w in words]
    rows = -(-len(cells) // count)
    pitch = LEADING * cap
    for k in range(rows):
        across = [(column * wide, c) for column, c in enumerate(cells[k::rows])]

        def draw(pen: Pen, y: float, across=across) -> None:
            for x, lines in across:
                _bullet(pen, x, y + cap / 2)
                for n, line in enumerate(lines):
                    pen.words(line, x + indent, y + cap + n * pitch, cap)

        height = max(len(lines) for _, lines in across) * pitch
        yield Slab(height, draw, before=0.6 if k else 2.0)


def _bullet(pen: Pen, x: float, middle: float) -> None:
    pen.box(x + 2.4, middle - 0.65, 1.3, 1.3, fill="ink")


def table_slabs(block: Table) -> Iterator[Slab]:
    widths = _column_widths(block)
    cap = NOTE
    pad = 1.3
    align = block.align or "l" * len(block.head)
    starts = [sum(widths[:k]) for k in range(len(widths))]

    def row_slabs(cells: Sequence[str], bold: bool, band: bool) -> Iterator[Slab]:
        wrapped_cells = [
            wrapped(clean_text(cell), wide - 2 * pad, cap, bold)
            for cell, wide in zip(cells, widths, strict=True)
        ]
        most = max((len(lines) for lines in wrapped_cells), default=1) or 1
        for start in range(0, most, LONGEST):
            shown = [lines[start : start + LONGEST] for lines in wrapped_cells]
            height = min(most - start, LONGEST) * LEADING * cap + 1.8
            last = start + LONGEST >= most

            def draw(pen: Pen, y: float, shown=shown, height=height, last=last) -> None:
                if band:
                    pen.box(0, y + 0.1, WIDTH_MM, height - 0.1, fill="band", stroke=False)
                for lines, x, wide, side in zip(shown, starts, widths, align, strict=True):
                    at = {"l": x + pad, "r": x + wide - pad, "c": x + wide / 2}[side]
                    for k, line in enumerate(lines):
                        pen.words(line, at, y + cap + 1.4 + k * LEADING * cap, cap, bold, side)
                if last:
                    pen.rule(0, y + height, WIDTH_MM, y + height, 0.35 if bold else 0.18)

            yield Slab(height, draw)

    if block.caption:
        yield lines_slab(block.caption, NOTE, True, before=2.0, with_next=True)
    head = next(row_slabs(block.head, True, False))
    yield replace(head, with_next=True, before=2.5)
    for number, row in enumerate(block.rows):
        for slab in row_slabs(row, False, number % 2 == 1):
            yield replace(slab, again=head)


def _column_widths(block: Table) -> list[float]:
    """The stated shares. Without them, columns of short cells get all they wish, the narrowest
    first, and the others share what is left; none gets less than its longest word, a column of
    figures not less than its longest figure."""
    count = len(block.head)
    least, wish = [], []
    for k in range(count):
        cells = [(clean_text(block.head[k]), True)]
        cells += [(clean_text(row[k]), False) for row in block.rows]
        words = [(word, bold) for cell, bold in cells for word in cell.split()]
        wish.append(3.0 + max(text_width_mm(c, NOTE, b) for c, b in cells))
        longest = 3.0 + max((text_width_mm(w, NOTE, b) for w, b in words), default=0.0)
        least.append(wish[-1] if block.align[k : k + 1] == "r" else longest)
    if block.widths:
        return [WIDTH_MM * share / sum(block.widths) for share in block.widths]
    if sum(least) > WIDTH_MM:  # words are broken, the longest most
        return [WIDTH_MM * min(w, WIDTH_MM) / sum(min(x, WIDTH_MM) for x in least) for w in least]
    if sum(wish) <= WIDTH_MM:
        return [w + (WIDTH_MM - sum(wish)) / count for w in wish]
    widths = list(least)
    left = WIDTH_MM - sum(least)
    for place, k in enumerate(sorted(range(count), key=lambda k: wish[k] - least[k])):
        share = min(wish[k] - least[k], left / (count - place))
        widths[k] += share
        left -= share
    return widths


def facts_slabs(block: Facts) -> Iterator[Slab]:
    half = WIDTH_MM / 2
    for k in range(0, len(block.rows), 2):
        pair = block.rows[k : k + 2]
        values = [wrapped(clean_text(value), half - 42.0, BODY, True) or [""] for _, value in pair]
        height = max(len(v) for v in values) * LEADING * BODY + 1.6

        def draw(pen: Pen, y: float, pair=pair, values=values, height=height) -> None:
            for column, ((label, _), lines) in enumerate(zip(pair, values, strict=True)):
                x = column * half
                pen.words(fitted(clean_text(label), 38.0, NOTE), x, y + BODY + 0.8, NOTE, grey=True)
                for n, line in enumerate(lines):
                    pen.words(line, x + 40.0, y + BODY + 0.8 + n * LEADING * BODY, BODY, True)
                pen.rule(x, y + height, x + half - 4.0, y + height)

        yield Slab(height, draw, before=1.2 if k else 3.5)


def plate_slabs(block: Plate) -> Iterator[Slab]:
    ids = "   ".join(clean_text(i) for i in block.ids)
    angle = clean_text(block.angle)
    large = TITLE if block.small else PLATE
    angle_wide = text_width_mm(angle, large, True) + 8.0 if angle else 0.0
    cap = next(
        (
            c
            for c in (large, TITLE, HEAD)
            if text_width_mm(ids, c, True) <= WIDTH_MM - angle_wide - 6
        ),
        BODY,
    )
    lines = wrapped(ids, WIDTH_MM - angle_wide - 6.0, cap, True)
    note = [] if block.small else wrapped(clean_text(block.line), WIDTH_MM - 6.0, NOTE)
    body = max(len(lines) * LEADING * cap - 0.75 * cap, large if angle else 0.0)
    height = 3.0 + body + (2.5 + len(note) * LEADING * NOTE + 1.2 if note else 3.0)

    def draw(pen: Pen, y: float) -> None:
        pen.box(0, y, WIDTH_MM, height, 0.7)
        for k, line in enumerate(lines):
            pen.words(line, 3.0, y + 3.0 + cap + k * LEADING * cap, cap, True)
        if angle:
            pen.words(angle, WIDTH_MM - 3.0, y + 3.0 + large, large, True, "r")
        for k, line in enumerate(note):
            pen.words(line, 3.0, y + 3.0 + body + 2.5 + NOTE + k * LEADING * NOTE, NOTE)

    yield Slab(height, draw, before=2.0)


def caution_slabs(block: CautionBox) -> Iterator[Slab]:
    cap = NOTE if block.small else BODY
    sign = 6.0 if block.small else 9.0
    left = sign + (6.0 if block.small else 8.5)
    lines = wrapped(clean_text(block.text), WIDTH_MM - left - 2.5, cap, True) or [""]
    source = []
    if block.source:
        source = wrapped(clean_text(f"Source: {block.source}"), WIDTH_MM - left - 2.5, NOTE)
    pitch = LEADING * cap
    height = max(sign + 4.0, 4.0 + len(lines) * pitch + len(source) * LEADING * NOTE)

    def draw(pen: Pen, y: float) -> None:
        pen.box(0, y, WIDTH_MM, height, 0.35, "caution")
        pen.box(0, y, 2.0, height, 0.35, "ink")
        pen.triangle(5.0 if not block.small else 4.0, y + 2.5, sign)
        for k, line in enumerate(lines):
            pen.words(line, left, y + 2.9 + cap + k * pitch, cap, True)
        for k, line in enumerate(source):
            base = y + 2.4 + len(lines) * pitch + NOTE + k * LEADING * NOTE
            pen.words(line, left, base, NOTE, grey=True)

    yield Slab(height, draw, before=1.2 if block.small else 2.5)


def reminders_slabs(run: Sequence[CautionBox]) -> Iterator[Slab]:
    """Cautions that were said in full before, together in one box."""
    left, sign, pitch = 15.0, 7.0, LEADING * NOTE
    lines = [
        line
        for block in run
        for line in wrapped(clean_text(block.text), WIDTH_MM - left - 2.5, NOTE, True)
    ]
    height = max(sign + 3.6, 3.6 + len(lines) * pitch)

    def draw(pen: Pen, y: float) -> None:
        pen.box(0, y, WIDTH_MM, height, 0.35, "caution")
        pen.box(0, y, 2.0, height, 0.35, "ink")
        pen.triangle(4.5, y + 2.0, sign)
        for k, line in enumerate(lines):
            pen.words(line, left, y + 2.4 + NOTE + k * pitch, NOTE, True)

    yield Slab(height, draw, before=2.0)


ALONE: dict[type, Callable[[Any], Iterator[Slab]]] = {
    Heading: heading_slabs,
    Paragraph: paragraph_slabs,
    Items: items_slabs,
    Table: table_slabs,
    Facts: facts_slabs,
    Plate: plate_slabs,
    CautionBox: caution_slabs,
}
TOGETHER: dict[type, Callable[[Any], Iterator[Slab]]] = {  # neighbours side by side
    CautionBox: reminders_slabs,
}
