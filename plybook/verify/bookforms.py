"""In which ways words, rules and boxes of a booklet's page belong together.

Lengths are mm, x from the left edge of the column, y down from the top of the page.

Terms:
    thing: words, a rule, a box or an area that is no part of a picture.
    level: the base line of words; a rule's height on the page.
    row: the cells of a table between two rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from plybook.verify.lettermetrics import CAP, end_mm
from plybook.verify.looks import INK, MEDIUM, THIN, WIDE
from plybook.verify.pdf_pages import Line, Page, Words
from plybook.verify.tolerances import PAPER_MM

COLUMN_MM = 180.0  # on either paper
NOTE, BODY = 2.5, 3.5  # capitals of small print and of what is read at arm's length
LEADING = 1.75  # from line to line, in capitals
HEAD_MM, RULE_MM, FOOT_MM = 10.0, 12.0, 6.5  # levels of the running head; the foot from below
_CELL_MM, _ROW_MM = 3.9, 1.8  # from a rule to the first line of a row; a row beyond its lines
_TORN = 24  # lines of a row that stay together
_CAUTION = "#fbe9e4"
_WITH_BOX = ("started", "not before", "not after", "mixed at", "all of it on by", "lots")


@dataclass(frozen=True)
class Thing:
    """`ends` of words are where they end if they are of either weight."""

    kind: str  # words, rule, box, sign, band
    x: float
    top: float  # of words their level
    right: float
    bottom: float
    cap: float = 0.0
    pen: float = 0.0
    fill: str = ""
    text: str = ""
    ends: tuple[float, ...] = ()

    @property
    def tall(self) -> float:
        return self.bottom - self.top

    @property
    def spans(self) -> tuple[float, float]:
        return round(self.x, 1), round(self.right, 1)


def near(a: float, b: float) -> bool:
    return abs(a - b) <= PAPER_MM


def things_on(page: Page) -> list[Thing]:
    """What is painted on a page outside its pictures, in the order of painting."""
    left = (page.width_mm - COLUMN_MM) / 2
    plain = [item for item, _ in page.painted if not item.mark]
    found = []
    for item, after in zip(plain, [*plain, None][1:], strict=True):
        if isinstance(item, Words):
            x, y = item.at_mm[0] - left, page.height_mm - item.at_mm[1]
            ends = tuple(end_mm(item, bold) - left for bold in (False, True))
            found.append(Thing("words", x, y, max(ends), y, item.size_mm * CAP, text=item.text,
                               ends=ends))  # fmt: skip
            continue
        low, high = item.points.min(axis=0), item.points.max(axis=0)
        sides = (float(low[0] - left), float(page.height_mm - high[1]),
                 float(high[0] - left), float(page.height_mm - low[1]))  # fmt: skip
        if isinstance(item, Line):
            kind = {2: "rule", 3: "sign"}.get(len(item.points), "box")
            found.append(Thing(kind, *sides, pen=item.width_mm))
        elif not isinstance(after, Line) or after.points is not item.points:
            found.append(Thing("band", *sides, fill=item.fill))
        else:
            found.append(Thing("filled", *sides, fill=item.fill))
    return found


Things = Sequence[Thing]
Taker = Callable[[Things], int]  # how many things, from the first on, stand as it knows; 0 none


def running(things: Things, height_mm: float) -> int:
    """The head of a page at either edge, its rule, and the foot."""
    if len(things) < 3:
        return 0
    title, number, rule, *rest = things
    good = (
        title.kind == number.kind == "words"
        and near(title.x, 0.0)
        and _ends(number, COLUMN_MM)
        and near(title.top, HEAD_MM)
        and near(number.top, HEAD_MM)
        and _is(rule, "rule", THIN, (0.0, COLUMN_MM))
        and near(rule.top, RULE_MM)
    )
    foot = bool(rest) and rest[0].kind == "words" and near(rest[0].top, height_mm - FOOT_MM)
    return (3 + (foot and near(rest[0].x, 0.0))) if good else 0


def _is(thing: Thing, kind: str, pen: float, spans: tuple[float, float]) -> bool:
    return thing.kind == kind and abs(thing.pen - pen) < 0.01 and thing.spans == spans


def _ends(words: Thing, right: float) -> bool:
    return any(near(end, right) for end in words.ends)


def _lines(things: Things, x: float, level: float | None = None) -> int:
    """Lines of words in one column, the first at a level where that is told."""
    count = 0
    for k, one in enumerate(things):
        if one.kind != "words" or not near(one.x, x):
            break
        if k == 0:
            if level is not None and not near(one.top, level):
                break
        else:
            last = things[k - 1]
            step = one.top - last.top
            if not near(one.cap, last.cap) or not (
                near(step, LEADING * one.cap) or near(step, 1.5 * one.cap)
            ):
                break
        count += 1
    return count


# ---------------------------------------------------------------- tables


def table(things: Things) -> int:
    """A head over a rule, then rows, each over its own; every cell in line with its head."""
    end = _words_until(things)
    if not 0 < end < len(things) or things[0].x < 0.5 or not _full(things[end], MEDIUM):
        return 0
    rule, head = things[end].top, things[:end]
    lines = [(rule - t.top - _last_mm()) / (LEADING * NOTE) for t in head]
    if any(abs(k - round(k)) > 0.01 or round(k) < 0 for k in lines):
        return 0
    at = end + 1
    while count := _row(things[at:], rule, head):
        at += count
        rule = things[at - 1].top
    return at


def _last_mm() -> float:
    """From the last line of a row to its rule."""
    return LEADING * NOTE + _ROW_MM - _CELL_MM


def _row(things: Things, above: float, head: Things) -> int:
    """A row below a rule, with the band behind it; 0 where there is none."""
    band = int(bool(things) and things[0].kind == "band")
    cells = things[band : band + _words_until(things[band:])]
    if not cells or not near(cells[0].top, above + _CELL_MM) or cells[0].x < 0.5:
        return 0
    end = band + len(cells)
    torn = _TORN * LEADING * NOTE + _ROW_MM
    steps = [divmod(t.top - above - _CELL_MM + PAPER_MM, torn) for t in cells]
    lines = [rest / (LEADING * NOTE) for _, rest in steps]
    good = all(abs(k - round(k)) < 0.01 and round(k) < _TORN for k in lines)
    good = good and all(in_line(cell, head) for cell in cells)
    if end == len(things):  # goes on overleaf
        return end if good and round(max(lines)) == _TORN - 1 else 0
    last = max(t.top for t in cells)
    closed = _full(things[end], THIN) and near(things[end].top, last + _last_mm())
    shaded = not band or (near(things[0].top, above + 0.1)
                          and near(things[0].bottom, things[end].top))  # fmt: skip
    return end + 1 if good and closed and shaded else 0


def in_line(cell: Thing, head: Things) -> bool:
    """Whether a cell begins, ends or has its middle where a cell of the head has."""
    return any(
        near(cell.x, one.x)
        or any(near(a, b) or near(cell.x + a, one.x + b) for a in cell.ends for b in one.ends)
        for one in head
    )


def _words_until(things: Things) -> int:
    """How many words come before the first other thing."""
    return next((k for k, t in enumerate(things) if t.kind != "words"), len(things))


def _full(thing: Thing, pen: float) -> bool:
    return _is(thing, "rule", pen, (0.0, COLUMN_MM))


def _facts(things: Things) -> int:
    """A label, its value beside it, a rule below both."""
    x = things[0].x
    if things[0].kind != "words" or not (near(x, 0.0) or near(x, 90.0)):
        return 0
    level = things[0].top
    end = 1 + _lines(things[1:], x + 40.0, level)
    if end == len(things) or not _is(things[end], "rule", THIN, (round(x, 1), round(x + 86, 1))):
        return 0
    below = (things[end].top - level - 3.425) / (LEADING * BODY)
    return end + 1 if abs(below - round(below)) < 0.01 and round(below) >= max(0, end - 2) else 0


# ---------------------------------------------------------------- lists and ticks


def _tick(things: Things) -> int:
    box = things[0]
    known = any(_is(box, "box", WIDE, (x, x + 6.5)) for x in (0.4, 90.4)) and near(box.tall, 6.5)
    count = _lines(things[1:], box.x + 10.6, box.top + 5.0) if known else 0
    return count and 1 + count


def _bullet(things: Things) -> int:
    if len(things) < 3 or things[0].kind != "filled" or things[0].fill != INK:
        return 0
    dot = things[0]
    if not near(dot.tall, 1.3) or not near(dot.right - dot.x, 1.3):
        return 0
    for cap, aside in ((NOTE, 2.6 * NOTE), (BODY, 2.6 * BODY), (BODY, 9.0)):
        count = _lines(things[2:], dot.x - 2.4 + aside, dot.top + 0.65 + cap / 2)
        if count:
            return 2 + count
    return 0


def _numbered(things: Things) -> int:
    number = things[0]
    if number.kind != "words" or not _ends(number, 5.0) or not number.text.isdigit():
        return 0
    count = _lines(things[1:], 9.0, number.top)
    return count and 1 + count


def _goes_on(things: Things) -> int:
    """Lines of an item that did not go onto the page before, or of more than stay together."""
    return _lines(things, 9.0) if things[0].kind == "words" else 0


# ---------------------------------------------------------------- what is filled in


def _field(thing: Thing) -> bool:
    return thing.kind == "box" and abs(thing.pen - MEDIUM) < 0.01 and near(thing.tall, 9.0)


def _captioned(things: Things) -> int:
    """Words, a box to write in right after them, and what follows it."""
    if len(things) < 2 or things[0].kind != "words" or not _field(things[1]):
        return 0
    said, box = things[:2]
    gap = any(near(box.x - end, g) for end in said.ends for g in (1.5, 2.0))
    if not gap or not any(near(said.top - box.top, d) for d in (5.75, 5.85)):
        return 0
    more = len(things) > 2 and things[2].kind == "words" and near(things[2].top, said.top)
    return 3 if more and near(things[2].x, box.right + 1.5) else 2


def _sign_off(things: Things) -> int:
    """Words with their boxes in one row, from edge to edge of the column."""
    at, x = 0, 0.0
    while (count := _captioned(things[at:])) == 2 and near(things[at].x, x):
        at += count
        right = things[at - 1].right
        if near(right, COLUMN_MM):
            return at
        x = right + 4.0
    return 0


def _blank(things: Things) -> int:
    """A question, a box to write in, its unit and limits."""
    count = _lines(things, 0.0)
    if not count or count == len(things) or not _field(things[count]):
        return 0
    box = things[count]
    if box.spans != (92.0, 132.0) or not near(things[0].top, box.top + 6.0):
        return 0
    end = count + 1
    after = [134.0]
    while end < len(things) and end < count + 3 and things[end].kind == "words":
        one = things[end]
        if not near(one.top, box.top + 6.0) or not any(near(one.x, x) for x in after):
            break
        after = [x + 3.0 for x in one.ends]
        end += 1
    return end


def _short_blank(things: Things) -> int:
    """A question and a box beside it, two to a row."""
    x = things[0].x
    if not (near(x, 0.0) or near(x, 90.0)):
        return 0
    count = _lines(things, x)
    if not count or count == len(things) or not _field(things[count]):
        return 0
    box, middle = things[count], (things[0].top + things[count - 1].top) / 2
    good = near(box.x, x + 52.0) and abs(middle - box.top - 5.94) < 0.05
    return count + 1 if good and round(box.right, 1) in (86.0, 180.0) else 0


def _ledger(things: Things) -> int:
    """Heads over columns of boxes; without heads where it goes on."""
    heads = _words_until(things)
    boxes = list(_cells_in_rows(things[heads:]))
    if not boxes:
        return 0
    first = [box for box in boxes if near(box.top, boxes[0].top)]
    good = len(boxes) % len(first) == 0 and near(first[-1].right, COLUMN_MM)
    good = good and all(near(box.x, first[k % len(first)].x) for k, box in enumerate(boxes))
    good = good and all(
        any(near(said.x, box.x + 1.0) for box in first) and near(said.top + 1.9, boxes[0].top)
        for said in things[:heads]
    )
    return heads + len(boxes) if good else 0


def _cells_in_rows(things: Things) -> Iterator[Thing]:
    """Boxes side by side from the left edge on, row below row."""
    last: Thing | None = None
    for thing in things:
        tall = any(near(thing.tall, size) for size in (9.0, 12.0))
        if thing.kind != "box" or abs(thing.pen - MEDIUM) > 0.01 or not tall:
            return
        starts = near(thing.x, 0.0) and (last is None or near(thing.top, last.bottom))
        follows = last is not None and near(thing.x, last.right) and near(thing.top, last.top)
        if not starts and not follows:
            return
        yield thing
        last = thing


def _notes(things: Things) -> int:
    """Lines to write on below their title."""
    start = end = _lines(things, 0.0)
    steps = (11.625, 12.625)  # below the title; where it goes on
    while 0 < end < len(things) and _full(things[end], THIN):
        if not any(near(things[end].top - things[end - 1].top, step) for step in steps):
            break
        steps = (9.2, 9.2)
        end += 1
    return end if end > start else 0


# ---------------------------------------------------------------- boxes round words


def _inside(things: Things, box: Thing) -> int:
    """How many things lie in a box, from the first on."""

    def within(t: Thing) -> bool:
        return (t.x >= box.x - PAPER_MM and min(t.ends or (t.right,)) <= box.right + PAPER_MM
                and box.top < t.top and t.bottom < box.bottom + PAPER_MM)  # fmt: skip

    return next((k for k, t in enumerate(things) if not within(t)), len(things))


def _frame(things: Things) -> int:
    """A timer or a cup: words at its left edge, or ending at its right, and boxes to write in."""
    box = things[0]
    spans = ((0.0, COLUMN_MM), (0.0, 88.0), (92.0, COLUMN_MM))
    if not any(_is(box, "box", MEDIUM, s) for s in spans):
        return 0
    count = _inside(things[1:], box)
    return 1 + count if count and _content(things[1 : 1 + count], box) else 0


def _content(things: Things, box: Thing) -> bool:
    """Whether all in a frame stands in its columns."""
    columns = [box.x + 3.0]
    at = 0
    while at < len(things):
        rest = things[at:]
        if count := _captioned(rest):
            at += count
            continue
        one = rest[0]
        if one.kind != "words" or one.text in _WITH_BOX:
            return False
        if not any(near(one.x, x) for x in columns) and not _ends(one, box.right - 2.0):
            beside = at == 1 and near(one.top, things[0].top) and one.x >= min(things[0].ends)
            if not beside:
                return False
            columns.append(one.x)
        at += 1
    return True


def _plate(things: Things) -> int:
    """Ids in large letters from the left edge, the angle at the right one, the layer below."""
    box = things[0]
    if not _is(box, "box", WIDE, (0.0, COLUMN_MM)):
        return 0
    count = _inside(things[1:], box)
    good = all(t.kind == "words" and (near(t.x, 3.0) or _ends(t, 177.0))
               for t in things[1 : 1 + count])  # fmt: skip
    return 1 + count if count and good else 0


def _caution(things: Things) -> int:
    """A shaded box with a bar and a sign at its left, the words beside them."""
    if len(things) < 7 or things[0].fill != _CAUTION:
        return 0
    box, bar, sign, mark = things[1], things[3], things[4], things[5]
    good = (
        _is(box, "box", MEDIUM, (0.0, COLUMN_MM))
        and things[2].fill == INK
        and _is(bar, "box", MEDIUM, (0.0, 2.0))
        and near(bar.top, box.top)
        and near(bar.bottom, box.bottom)
        and sign.kind == "sign"
        and mark.text == "!"
        and any(near((mark.x + end) / 2, (sign.x + sign.right) / 2) for end in mark.ends)
    )
    if not good:
        return 0
    left = next((x for x in (17.5, 15.0, 12.0) if near(things[6].x, x)), None)
    count = _inside(things[6:], box)
    good = left is not None and all(near(t.x, left) for t in things[6 : 6 + count])
    return 6 + count if count and good else 0


def divider(things: Things) -> int:
    """Between two pages on one sheet."""
    rule = things[0]
    below = len(things) > 1 and near(things[1].x, 0.0) and near(things[1].top, rule.top + 5.5)
    return int(_full(rule, WIDE) and below)


def plain(things: Things) -> int:
    return _lines(things, 0.0)


def opens(things: Things) -> bool:
    """Whether a page of the book begins here: a small line, its title close below it."""
    count = _lines(things, 0.0)
    if not count or not near(things[0].cap, NOTE) or count == len(things):
        return False
    title, last = things[count], things[count - 1]
    return title.cap > BODY + 0.1 and near(title.top - last.top - title.cap, 2.875)


TAKERS: tuple[Taker, ...] = (
    _facts, _blank, _short_blank, _sign_off, _notes, plain, divider, _tick, _bullet, _numbered,
    _caution, _plate, _frame, _ledger, table, _goes_on,
)  # fmt: skip
