"""Blocks of a document as slabs: things of known height that are stacked down a page.

Terms:
    slab: one piece of a page that is never torn apart; it knows its height and how to draw itself.
    pen: draws words, rules and boxes in page millimetres, y down from the top of the page.

Letter heights are capital heights of the ISO 3098 series: 3.5 mm for what is read at arm's length,
2.5 mm for tables and notes, 7 mm for titles, 10 mm for the ids of the pieces in hand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from plybook.drawing.document import (
    Blank,
    Block,
    CautionBox,
    CheckBox,
    Deviations,
    Facts,
    Heading,
    Items,
    Notes,
    Paragraph,
    Picture,
    PictureRow,
    Plate,
    SignOff,
    Table,
    TimerBox,
    limit_words,
    show_duration,
)
from plybook.drawing.letters import (
    LEADING,
    clean_text,
    fitted,
    text_width_mm,
    type_size_mm,
    wrapped,
)
from plybook.drawing.style import tint_of
from plybook.write.fonts import MM, face
from plybook.write.pdf import draw_scene

WIDTH_MM = 180.0
BODY, NOTE, TITLE, HEAD, PLATE = 3.5, 2.5, 7.0, 5.0, 10.0
BOX_MM = 6.5  # ballot box
_BLANK_MM = 34.0  # box of a short blank


class Pen:
    """Words and lines on one canvas; x from the left, y from the top, mm."""

    def __init__(self, canvas: Any, left_mm: float, page_height_mm: float):
        self.canvas = canvas
        self.left = left_mm
        self.height = page_height_mm

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return (self.left + x) * MM, (self.height - y) * MM

    def words(
        self,
        text: str,
        x: float,
        y: float,
        cap: float,
        bold: bool = False,
        align: str = "l",
        grey: bool = False,
    ) -> None:
        """A line of clean text with its base line at y."""
        if not text:
            return
        shift = {"l": 0.0, "r": 1.0, "c": 0.5}[align] * text_width_mm(text, cap, bold)
        self.canvas.setFillGray(0.38 if grey else 0.08)
        self.canvas.setFont(face(bold), type_size_mm(cap) * MM)
        self.canvas.drawString(*self._at(x - shift, y), text)

    def rule(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.18) -> None:
        """A straight line."""
        self.canvas.setDash([])
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineWidth(width * MM)
        self.canvas.line(*self._at(x0, y0), *self._at(x1, y1))

    def box(
        self,
        x: float,
        y: float,
        wide: float,
        tall: float,
        width: float = 0.35,
        fill: str = "",
        stroke: bool = True,
    ) -> None:
        """A rectangle with its top left corner at (x, y)."""
        self.canvas.setDash([])
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineWidth(width * MM)
        if fill:
            red, green, blue = bytes.fromhex(tint_of(fill)[1:])
            self.canvas.setFillColorRGB(red / 255, green / 255, blue / 255)
        self.canvas.rect(*self._at(x, y + tall), wide * MM, tall * MM, int(stroke), int(bool(fill)))

    def triangle(self, x: float, y: float, size: float) -> None:
        """The caution sign: a triangle with an exclamation mark, its top at (x + size/2, y)."""
        path = self.canvas.beginPath()
        path.moveTo(*self._at(x + size / 2, y))
        path.lineTo(*self._at(x + size, y + 0.88 * size))
        path.lineTo(*self._at(x, y + 0.88 * size))
        path.close()
        self.canvas.setStrokeGray(0.08)
        self.canvas.setLineJoin(1)
        self.canvas.setLineWidth(0.7 * MM)
        self.canvas.drawPath(path, 1, 0)
        self.words("!", x + size / 2, y + 0.77 * size, 0.42 * size, True, "c")

    def scene(self, scene, x: float, y: float, scale: float) -> None:
        """A scene with its top left corner at (x, y); its letters shrink with it."""
        _, y0, _, y1 = scene.window_mm
        self.canvas.saveState()
        self.canvas.translate(*self._at(x, y + (y1 - y0) * scale))
        self.canvas.scale(scale, scale)
        draw_scene(self.canvas, scene, 0.0, 0.0, 1.0)
        self.canvas.restoreState()


@dataclass(frozen=True)
class Slab:
    """`with_next`: never the last on a page. `again`: drawn first where a page breaks here."""

    height: float
    draw: Callable[[Pen, float], None]
    with_next: bool = False
    again: Slab | None = None
    chapter: bool = False  # a heading: a good place for a page to break
    before: float = 0.0  # white space above, dropped at the top of a page


def lines_slab(
    text: str,
    cap: float,
    bold: bool = False,
    before: float = 0.0,
    with_next: bool = False,
    chapter: bool = False,
) -> Slab:
    """Wrapped words as one slab."""
    lines = wrapped(clean_text(text), WIDTH_MM, cap, bold) or [""]
    pitch = LEADING * cap

    def draw(pen: Pen, y: float) -> None:
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + cap + k * pitch, cap, bold)

    return Slab(len(lines) * pitch, draw, with_next, before=before, chapter=chapter)


def page_slabs(
    blocks: Sequence[Block], room_mm: float, shrink: float = 1.0, gaps: float = 1.0
) -> Iterator[Slab]:
    """The slabs of a page's blocks; ticks and timers that follow one another stand side by side.

    Args:
        room_mm: the height of an empty page.
        shrink: largest scale of pictures.
        gaps: factor on the white space between slabs; below 1, cautions are set smaller too.
    """
    if gaps < 1.0:
        blocks = [replace(b, small=True) if isinstance(b, CautionBox) else b for b in blocks]
    for run in _runs(blocks):
        for slab in _run_slabs(run, room_mm, shrink):
            yield slab if gaps == 1.0 else replace(slab, before=slab.before * gaps)


def _runs(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """Blocks one by one, but neighbours that stand side by side together: ticks, timers, short
    blanks, and cautions said shortly."""
    run: list[Block] = []
    for block in blocks:
        if run and not (_beside(run[-1]) and _beside(run[-1]) == _beside(block)):
            yield run
            run = []
        run.append(block)
    if run:
        yield run


def _beside(block: Block) -> str:
    """The kind of run a block belongs to, "" where it stands alone."""
    if isinstance(block, CheckBox | TimerBox):
        return type(block).__name__
    if isinstance(block, CautionBox) and block.small and not block.source:
        return "reminder"
    if isinstance(block, Blank) and block.kind != "measure" and not block.note:
        words = wrapped(clean_text(block.label), WIDTH_MM / 2 - _BLANK_MM - 6.0, BODY)
        return "blank" if len(words) <= 2 else ""
    return ""


def _run_slabs(run: Sequence[Any], room: float, shrink: float) -> Iterator[Slab]:
    first = run[0]
    if _beside(first) == "reminder":
        yield from _reminders(run, room)
    elif len(run) == 1:
        if isinstance(first, Picture | PictureRow):
            yield from _MAKERS[type(first)](first, room, shrink)
        else:
            yield from _MAKERS[type(first)](first, room)
    else:
        makers = {CheckBox: _checks, TimerBox: _timers, Blank: _blanks, CautionBox: _reminders}
        yield from makers[type(first)](run, room)


def _heading(block: Heading, room: float) -> Iterator[Slab]:
    cap = {1: TITLE, 2: HEAD, 3: NOTE}[block.level]
    yield lines_slab(block.text, cap, True, before=2.6, with_next=True, chapter=True)


def _paragraph(block: Paragraph, room: float) -> Iterator[Slab]:
    cap = NOTE if block.small else BODY
    yield lines_slab(block.text, cap, block.strong, before=0.75 * cap)


def _items(block: Items, room: float) -> Iterator[Slab]:
    words = [clean_text(item) for item in block.items]
    if not block.numbered and (block.small or len(words) >= 6) and max(map(len, words)) <= 60:
        yield from _columns(words, 3 if block.small else 2, NOTE if block.small else BODY)
        return
    pitch = LEADING * BODY
    for number, item in enumerate(words, start=1):
        lines = wrapped(item, WIDTH_MM - 10.0, BODY) or [""]

        def draw(pen: Pen, y: float, lines=lines, number=number) -> None:
            if block.numbered:
                pen.words(f"{number}", 5.0, y + BODY, BODY, True, "r")
            else:
                _bullet(pen, 0.0, y + BODY / 2)
            for k, line in enumerate(lines):
                pen.words(line, 9.0, y + BODY + k * pitch, BODY)

        yield Slab(len(lines) * pitch, draw, before=1.2 if number > 1 else 3.0)


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


def _table(block: Table, room: float) -> Iterator[Slab]:
    widths = _column_widths(block)
    cap = NOTE
    pad = 1.3
    align = block.align or "l" * len(block.head)
    starts = [sum(widths[:k]) for k in range(len(widths))]

    def row_slab(cells: Sequence[str], bold: bool, band: bool) -> Slab:
        wrapped_cells = [
            wrapped(clean_text(cell), wide - 2 * pad, cap, bold)
            for cell, wide in zip(cells, widths, strict=True)
        ]
        most = max((len(lines) for lines in wrapped_cells), default=1) or 1
        height = most * LEADING * cap + 1.8

        def draw(pen: Pen, y: float) -> None:
            if band:
                pen.box(0, y + 0.1, WIDTH_MM, height - 0.1, fill="band", stroke=False)
            for lines, x, wide, side in zip(wrapped_cells, starts, widths, align, strict=True):
                at = {"l": x + pad, "r": x + wide - pad, "c": x + wide / 2}[side]
                for k, line in enumerate(lines):
                    pen.words(line, at, y + cap + 1.4 + k * LEADING * cap, cap, bold, side)
            pen.rule(0, y + height, WIDTH_MM, y + height, 0.35 if bold else 0.18)

        return Slab(height, draw)

    if block.caption:
        yield lines_slab(block.caption, NOTE, True, before=2.0, with_next=True)
    head = row_slab(block.head, True, False)
    yield Slab(head.height, head.draw, True, before=2.5)
    for number, row in enumerate(block.rows):
        slab = row_slab(row, False, number % 2 == 1)
        yield Slab(slab.height, slab.draw, again=head)


def _column_widths(block: Table) -> list[float]:
    """The stated shares. Without them, columns of short cells get all they wish, the narrowest
    first, and the others share what is left; none gets less than its longest word."""
    count = len(block.head)
    least, wish = [], []
    for k in range(count):
        cells = [(clean_text(block.head[k]), True)]
        cells += [(clean_text(row[k]), False) for row in block.rows]
        words = [(word, bold) for cell, bold in cells for word in cell.split()]
        least.append(3.0 + max((text_width_mm(w, NOTE, b) for w, b in words), default=0.0))
        wish.append(3.0 + max(text_width_mm(c, NOTE, b) for c, b in cells))
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


def _facts(block: Facts, room: float) -> Iterator[Slab]:
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

        yield Slab(height, draw, before=1.2)


def _plate(block: Plate, room: float) -> Iterator[Slab]:
    ids = "   ".join(clean_text(i) for i in block.ids)
    angle = clean_text(block.angle)
    angle_wide = text_width_mm(angle, PLATE, True) + 8.0 if angle else 0.0
    cap = next(
        (
            c
            for c in (PLATE, TITLE, HEAD)
            if text_width_mm(ids, c, True) <= WIDTH_MM - angle_wide - 6
        ),
        BODY,
    )
    lines = wrapped(ids, WIDTH_MM - angle_wide - 6.0, cap, True)
    note = wrapped(clean_text(block.line), WIDTH_MM - 6.0, NOTE)
    body = max(len(lines) * LEADING * cap - 0.75 * cap, PLATE if angle else 0.0)
    height = 3.0 + body + 2.5 + len(note) * LEADING * NOTE + 1.2

    def draw(pen: Pen, y: float) -> None:
        pen.box(0, y, WIDTH_MM, height, 0.7)
        for k, line in enumerate(lines):
            pen.words(line, 3.0, y + 3.0 + cap + k * LEADING * cap, cap, True)
        if angle:
            pen.words(angle, WIDTH_MM - 3.0, y + 3.0 + PLATE, PLATE, True, "r")
        for k, line in enumerate(note):
            pen.words(line, 3.0, y + 3.0 + body + 2.5 + NOTE + k * LEADING * NOTE, NOTE)

    yield Slab(height, draw, before=2.0)


def _picture(block: Picture, room: float, shrink: float = 1.0) -> Iterator[Slab]:
    yield from _picture_row(PictureRow((block,)), room, shrink)


def _picture_row(block: PictureRow, room: float, shrink: float = 1.0) -> Iterator[Slab]:
    sizes = []
    for picture in block.pictures:
        x0, y0, x1, y1 = picture.scene.window_mm
        sizes.append((x1 - x0, min(y1 - y0, picture.height_mm), y1 - y0))
    gaps = 4.0 * (len(sizes) - 1)
    scale = min(
        [
            shrink,
            (WIDTH_MM - gaps) / sum(w for w, _, _ in sizes),
            *((room - 16.0) / tall for _, _, tall in sizes),
            *(most / tall for _, most, tall in sizes),
        ]
    )
    tall = max(t for _, _, t in sizes) * scale
    captions = [clean_text(p.caption) for p in block.pictures]
    words = wrapped(" ".join(c for c in captions if c), WIDTH_MM, NOTE)
    height = tall + (1.6 + len(words) * LEADING * NOTE if words else 0.0)

    def draw(pen: Pen, y: float) -> None:
        x = 0.0 if len(sizes) > 1 else (WIDTH_MM - sizes[0][0] * scale) / 2
        for picture, (wide, _, own) in zip(block.pictures, sizes, strict=True):
            pen.scene(picture.scene, x, y + tall - own * scale, scale)
            x += wide * scale + 4.0
        for k, line in enumerate(words):
            pen.words(line, 0.0, y + tall + 1.6 + NOTE + k * LEADING * NOTE, NOTE, grey=True)

    yield Slab(height, draw, before=3.0)


def _check(block: CheckBox, room: float) -> Iterator[Slab]:
    lines = wrapped(clean_text(block.text), WIDTH_MM - 12.0, BODY) or [""]
    pitch = LEADING * BODY
    height = max(BOX_MM, len(lines) * pitch) + 1.2

    def draw(pen: Pen, y: float) -> None:
        pen.box(0.4, y, BOX_MM, BOX_MM, 0.7)
        for k, line in enumerate(lines):
            pen.words(line, 11.0, y + 1.5 + BODY + k * pitch, BODY)

    yield Slab(height, draw, before=1.6)


def _checks(run: Sequence[CheckBox], room: float) -> Iterator[Slab]:
    """Short ticks two to a row; where one is long, each has a row."""
    half = WIDTH_MM / 2
    cells = [wrapped(clean_text(block.text), half - 15.0, BODY) or [""] for block in run]
    if max(map(len, cells)) > 2:
        for block in run:
            yield from _check(block, room)
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


def _blank(block: Blank, room: float) -> Iterator[Slab]:
    limits = limit_words(block)
    label = clean_text(block.label)
    width = 88.0
    lines = wrapped(label, width, BODY) or [""]
    pitch = LEADING * BODY
    note = wrapped(clean_text(block.note), WIDTH_MM, NOTE) if block.note else []
    height = max(9.6, len(lines) * pitch + 3.0)

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


def _blanks(run: Sequence[Blank], room: float) -> Iterator[Slab]:
    """Blanks with short words and no limits, two to a row."""
    half = WIDTH_MM / 2
    at = half - _BLANK_MM - 4.0
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
                wide = _BLANK_MM + (4.0 if k else 0.0)
                pen.box(k * half + at, y + (height - 9.0) / 2, wide, 9.0)

        yield Slab(height, draw, before=1.6)


def _sign_off(block: SignOff, room: float) -> Iterator[Slab]:
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


def _notes(block: Notes, room: float) -> Iterator[Slab]:
    yield lines_slab(block.label, BODY, True, before=4.0, with_next=True)

    def draw(pen: Pen, y: float) -> None:
        pen.rule(0, y + 9.0, WIDTH_MM, y + 9.0)

    for _ in range(block.lines):
        yield Slab(9.2, draw)


def _deviations(block: Deviations, room: float) -> Iterator[Slab]:
    yield lines_slab(
        "Deviations: what was done differently", BODY, True, before=4.0, with_next=True
    )
    head = ("Step or piece", "What was done", "Why, and who agreed", "Initials")
    shares = (0.2, 0.36, 0.32, 0.12)
    starts = [sum(shares[:k]) * WIDTH_MM for k in range(5)]

    def draw_head(pen: Pen, y: float) -> None:
        for x, words in zip(starts, head, strict=False):
            pen.words(words, x + 1.0, y + NOTE + 0.6, NOTE, grey=True)

    def draw_row(pen: Pen, y: float) -> None:
        for x0, x1 in zip(starts[:-1], starts[1:], strict=True):
            pen.box(x0, y, x1 - x0, 12.0)

    yield Slab(5.0, draw_head, True, before=1.0)
    for _ in range(block.rows):
        yield Slab(12.0, draw_row)


def _caution(block: CautionBox, room: float) -> Iterator[Slab]:
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


def _reminders(run: Sequence[CautionBox], room: float) -> Iterator[Slab]:
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


def _timer(block: TimerBox, room: float) -> Iterator[Slab]:
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


def _timers(run: Sequence[TimerBox], room: float) -> Iterator[Slab]:
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


def _until(block: TimerBox) -> str:
    return "not before" if block.kind == "wait" else "not after"


_MAKERS: dict[type, Callable[..., Iterator[Slab]]] = {
    Heading: _heading,
    Paragraph: _paragraph,
    Items: _items,
    Table: _table,
    Facts: _facts,
    Plate: _plate,
    Picture: _picture,
    PictureRow: _picture_row,
    CheckBox: _check,
    Blank: _blank,
    SignOff: _sign_off,
    Notes: _notes,
    Deviations: _deviations,
    CautionBox: _caution,
    TimerBox: _timer,
}
