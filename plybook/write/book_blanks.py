"""What is filled in on a page of the paper book: ticks, blanks, timers, notes, signatures."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from plybook.drawing.document import (
    Blank,
    CheckBox,
    Cup,
    Cups,
    Ledger,
    Notes,
    Photo,
    SignOff,
    TimerBox,
    limit_words,
    show_duration,
)
from plybook.drawing.letters import LEADING, clean_text, fitted, text_width_mm, wrapped
from plybook.write.book_pen import BODY, BOX_MM, NOTE, WIDTH_MM, Pen, Slab, lines_slab

SHORT_MM = 34.0  # box of a short blank


def check_slabs(block: CheckBox) -> Iterator[Slab]:
    lines = wrapped(clean_text(block.text), WIDTH_MM - 12.0, BODY) or [""]
    pitch = LEADING * BODY
    height = max(BOX_MM, len(lines) * pitch) + 1.2

    def draw(pen: Pen, y: float) -> None:
        pen.box(0.4, y, BOX_MM, BOX_MM, 0.7)
        for k, line in enumerate(lines):
            pen.words(line, 11.0, y + 1.5 + BODY + k * pitch, BODY)

    yield Slab(height, draw, before=1.6)


def checks_slabs(run: Sequence[CheckBox]) -> Iterator[Slab]:
    """Short ticks two to a row; where one is long, each has a row."""
    half = WIDTH_MM / 2
    cells = [wrapped(clean_text(block.text), half - 15.0, BODY) or [""] for block in run]
    if max(map(len, cells)) > 2:
        for block in run:
            yield from check_slabs(block)
        return
    pitch = LEADING * BODY
    for start in range(0, len(cells), 2):
        pair = [(k * half, lines) for k, lines in enumerate(cells[start : start + 2])]

        def draw(pen: Pen, y: float, pair=pair) -> None:
            for x, lines in pair:
                pen.box(x + 0.4, y, BOX_MM, BOX_MM, 0.7)
                for n, line in enumerate(lines):
                    pen.words(line, x + 11.0, y + 1.5 + BODY + n * pitch, BODY)

        height = max(BOX_MM, max(len(lines) for _, lines in pair) * pitch) + 1.2
        yield Slab(height, draw, before=1.6)


def blank_slabs(block: Blank) -> Iterator[Slab]:
    limits = limit_words(block)
    label = clean_text(block.label)
    width = 88.0
    lines = wrapped(label, width, BODY) or [""]
    pitch = LEADING * BODY
    note = wrapped(clean_text(block.note), WIDTH_MM, NOTE) if block.note else []
    height = max(10.6 if note else 9.6, len(lines) * pitch + 3.0)

    def draw(pen: Pen, y: float) -> None:
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + 3.0 + BODY + k * pitch, BODY)
        pen.box(92.0, y + 0.5, 40.0, 9.0)
        unit = block.unit if block.kind == "measure" else ""
        pen.words(clean_text(unit), 134.0, y + 3.0 + BODY, BODY)
        if limits:
            at = 134.0 + (text_width_mm(clean_text(unit), BODY) + 3.0 if unit else 0.0)
            said = clean_text(f"({limits})")
            cap = BODY if text_width_mm(said, BODY) <= WIDTH_MM - at else NOTE
            pen.words(fitted(said, WIDTH_MM - at, cap), at, y + 3.0 + BODY, cap)
        for k, line in enumerate(note):
            pen.words(line, 0.0, y + height + 1.0 + NOTE + k * LEADING * NOTE, NOTE, grey=True)

    yield Slab(height + (1.0 if note else 0.0) + len(note) * LEADING * NOTE, draw, before=1.6)


def blanks_slabs(run: Sequence[Blank]) -> Iterator[Slab]:
    """Blanks with short words and no limits, two to a row."""
    half = WIDTH_MM / 2
    at = half - SHORT_MM - 4.0
    pitch = LEADING * BODY
    for start in range(0, len(run), 2):
        cells = [
            wrapped(clean_text(block.label), at - 2.0, BODY) or [""]
            for block in run[start : start + 2]
        ]
        height = max(10.0, max(map(len, cells)) * pitch + 1.0)

        def draw(pen: Pen, y: float, cells=cells, height=height) -> None:
            for k, lines in enumerate(cells):
                top = y + (height - len(lines) * pitch) / 2 + 1.0
                for n, line in enumerate(lines):
                    pen.words(line, k * half, top + BODY + n * pitch, BODY)
                wide = SHORT_MM + (4.0 if k else 0.0)
                pen.box(k * half + at, y + (height - 9.0) / 2, wide, 9.0)

        yield Slab(height, draw, before=1.6)


def sign_off_slabs(block: SignOff) -> Iterator[Slab]:
    """Blanks in one row, each with its words before it."""
    labels = [clean_text(blank.label) for blank in block.blanks]
    words = [text_width_mm(label, NOTE) + 2.0 for label in labels]
    gaps = 4.0 * (len(labels) - 1)
    box = (WIDTH_MM - gaps - sum(words)) / len(labels)
    if box < 18.0:
        labels = [fitted(label, WIDTH_MM / len(labels) - 24.0, NOTE) for label in labels]
        words = [text_width_mm(label, NOTE) + 2.0 for label in labels]
        box = (WIDTH_MM - gaps - sum(words)) / len(labels)

    def draw(pen: Pen, y: float) -> None:
        x = 0.0
        for label, wide in zip(labels, words, strict=True):
            pen.words(label, x, y + 4.5 + NOTE / 2, NOTE, grey=True)
            pen.box(x + wide, y, box, 9.0)
            x += wide + box + 4.0

    yield Slab(9.4, draw, before=3.0)


def photos_slabs(run: Sequence[Photo]) -> Iterator[Slab]:
    """Photos two to a row, each with its words below."""
    wide = WIDTH_MM / 2 - 3.0
    for start in range(0, len(run), 2):
        pair = run[start : start + 2]
        sizes = [_photo_size(photo, wide) for photo in pair]
        words = [wrapped(clean_text(photo.caption), wide, NOTE) for photo in pair]
        tall = max(height for _, height in sizes)

        def draw(pen: Pen, y: float, pair=pair, sizes=sizes, words=words, tall=tall) -> None:
            for k, (photo, size, lines) in enumerate(zip(pair, sizes, words, strict=True)):
                x = k * (wide + 6.0)
                pen.photo(photo.data, x, y, *size)
                for n, line in enumerate(lines):
                    pen.words(line, x, y + tall + 1.0 + NOTE + n * LEADING * NOTE, NOTE)

        yield Slab(tall + 2.0 + max(map(len, words)) * LEADING * NOTE, draw, before=3.0)


def _photo_size(photo: Photo, wide: float) -> tuple[float, float]:
    scale = min(wide / photo.width, 110.0 / photo.height)
    return photo.width * scale, photo.height * scale


def notes_slabs(block: Notes) -> Iterator[Slab]:
    yield lines_slab(block.label, BODY, True, before=4.0, with_next=True)

    def draw(pen: Pen, y: float) -> None:
        pen.rule(0, y + 9.0, WIDTH_MM, y + 9.0)

    for _ in range(block.lines):
        yield Slab(9.2, draw)


def ledger_slabs(block: Ledger) -> Iterator[Slab]:
    yield lines_slab(block.title, BODY, True, before=4.0, with_next=True)
    head = [clean_text(column.label) for column in block.columns]
    shares = [column.share for column in block.columns]
    starts = [sum(shares[:k]) * WIDTH_MM for k in range(len(shares) + 1)]
    tall = 12.0 if any(column.kind == "long" for column in block.columns) else 9.0

    def draw_head(pen: Pen, y: float) -> None:
        for x, words in zip(starts, head, strict=False):
            pen.words(fitted(words, WIDTH_MM, NOTE), x + 1.0, y + NOTE + 0.6, NOTE, grey=True)

    def draw_row(pen: Pen, y: float) -> None:
        for x0, x1 in zip(starts[:-1], starts[1:], strict=True):
            pen.box(x0, y, x1 - x0, tall)

    yield Slab(5.0, draw_head, True, before=1.0)
    for _ in range(block.rows):
        yield Slab(tall, draw_row)


def timer_slabs(block: TimerBox) -> Iterator[Slab]:
    text = clean_text(f"{block.label}, {show_duration(block.seconds)}")
    lines = wrapped(text, 72.0, BODY, True) or [""]
    pitch = LEADING * BODY
    height = max(12.0, len(lines) * pitch + 3.0)

    def draw(pen: Pen, y: float) -> None:
        pen.box(0, y, WIDTH_MM, height, 0.35)
        top = y + (height - len(lines) * pitch) / 2 + 1.2
        for k, line in enumerate(lines):
            pen.words(line, 3.0, top + BODY + k * pitch, BODY, True)
        for right, said in ((121.0, "started"), (178.0, _until(block))):
            pen.words(said, right - 29.0, y + height / 2 + NOTE / 2, NOTE, grey=True, align="r")
            pen.box(right - 27.5, y + height / 2 - 4.5, 27.5, 9.0)

    yield Slab(height, draw, before=2.0)


def timers_slabs(run: Sequence[TimerBox]) -> Iterator[Slab]:
    """Two timers side by side: the words above, the two times below."""
    wide = WIDTH_MM / 2 - 2.0
    pitch = LEADING * BODY
    for start in range(0, len(run), 2):
        pair = run[start : start + 2]
        cells = [
            wrapped(clean_text(f"{b.label}, {show_duration(b.seconds)}"), wide - 6.0, BODY, True)
            for b in pair
        ]
        words = max(map(len, cells)) * pitch + 2.0
        height = words + 11.0

        def draw(pen: Pen, y: float, pair=pair, cells=cells, words=words, height=height) -> None:
            for k, (block, lines) in enumerate(zip(pair, cells, strict=True)):
                x = k * (wide + 4.0)
                pen.box(x, y, wide, height, 0.35)
                for n, line in enumerate(lines):
                    pen.words(line, x + 3.0, y + 1.6 + BODY + n * pitch, BODY, True)
                for right, said in ((41.0, "started"), (86.0, _until(block))):
                    base = y + words + 4.5 + NOTE / 2
                    pen.words(said, x + right - 25.0, base, NOTE, grey=True, align="r")
                    pen.box(x + right - 23.5, y + words, 23.5, 9.0)

        yield Slab(height, draw, before=2.0)


def cups_slabs(block: Cups) -> Iterator[Slab]:
    """A box for each cup: what goes in, large; below it the times and the lots."""
    pitch, small = LEADING * BODY, LEADING * NOTE
    names = max(text_width_mm(clean_text(cup.id), BODY, True) for cup in block.cups)
    left = max(19.0, 6.0 + names)
    for cup in block.cups:
        parts = wrapped(clean_text(cup.parts), WIDTH_MM - left - 2.0, BODY, True)
        use = wrapped(clean_text(cup.use), WIDTH_MM - left - 2.0, NOTE)
        room = WIDTH_MM - left - 8.0 - text_width_mm(parts[-1], BODY, True)
        beside = len(use) == 1 and text_width_mm(use[0], NOTE) <= room
        words = 1.6 + len(parts) * pitch + (0.0 if beside else len(use) * small)
        height = words + 10.8

        def draw(
            pen: Pen, y: float, cup=cup, parts=parts, use=use, beside=beside, words=words,
            height=height,
        ) -> None:  # fmt: skip
            pen.box(0, y, WIDTH_MM, height, 0.35)
            pen.words(clean_text(cup.id), 3.0, y + 2.0 + BODY, BODY, True)
            for k, line in enumerate(parts):
                pen.words(line, left, y + 2.0 + BODY + k * pitch, BODY, True)
            if beside:
                base = y + 2.0 + BODY + (len(parts) - 1) * pitch
                pen.words(use[0], WIDTH_MM - 2.0, base, NOTE, align="r")
            else:
                for k, line in enumerate(use):
                    pen.words(line, left, y + 1.6 + len(parts) * pitch + NOTE + k * small, NOTE)
            x = left
            for said, box, after in _cup_fields(cup):
                base = y + words + 5.2 + NOTE / 2
                pen.words(said, x, base, NOTE, grey=True)
                x += text_width_mm(said, NOTE) + 1.5
                wide = box or WIDTH_MM - 2.0 - x
                pen.box(x, y + words + 0.6, wide, 9.0)
                x += wide + 1.5
                pen.words(after, x, base, NOTE)
                x += text_width_mm(after, NOTE) + 3.0

        yield Slab(height, draw, before=1.6)


def _cup_fields(cup: Cup) -> Iterator[tuple[str, float, str]]:
    """Words before each box of a cup, the box's width (0: what is left), words after it."""
    yield "mixed at", 24.0, ""
    if cup.limit:
        yield "all of it on by", 24.0, f"({show_duration(cup.limit.seconds)} later)"
    yield "lots", 0.0, ""


def _until(block: TimerBox) -> str:
    return "not before" if block.kind == "wait" else "not after"


ALONE: dict[type, Callable[[Any], Iterator[Slab]]] = {
    CheckBox: check_slabs,
    Blank: blank_slabs,
    SignOff: sign_off_slabs,
    Notes: notes_slabs,
    Ledger: ledger_slabs,
    TimerBox: timer_slabs,
    Cups: cups_slabs,
}
TOGETHER: dict[type, Callable[[Any], Iterator[Slab]]] = {  # neighbours side by side
    CheckBox: checks_slabs,
    TimerBox: timers_slabs,
    Blank: blanks_slabs,
    Photo: photos_slabs,
}
