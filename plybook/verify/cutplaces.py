"""What stands on the sheets of the cut plan, each in its place: title blocks and tables, the edges
of the stock, ticks with their figures, arrows along the fibre, numbers of corners, words in pieces.

Places are mm on the page, from its lower left corner; on the stock, from its end and edge.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from plybook.verify import plane
from plybook.verify.bays import lines_told, runs
from plybook.verify.corners import INCH_MM
from plybook.verify.cut_pages import FIGURE, Cut, block_top_mm, holds, length_mm, table_heads
from plybook.verify.lettermetrics import CAP, MIDDLE, end_mm, width
from plybook.verify.pdf_pages import Line, Page, Words, open_book
from plybook.verify.printed import ANGLE, angle
from plybook.verify.report import Report
from plybook.verify.titleblock import WIDTH_MM, block_lines, block_words

NAME = "cutplan.pdf"
EDGE_MM = 10.0  # from the edge of the paper to what is printed
GAP_MM, RULE_MM = 6.0, 1.3  # between columns of a table; from a row to the rule below it
HEAD_MM, TABLE_MM = 7.0, 29.0  # from the upper edge to the large words, and to a table
_TICK_MM = {"mm": 100.0, "in": 6 * INCH_MM}
_REACH_MM = 1.6  # of a tick; one with a figure is longer by half as much again
_NEAR_MM = 0.05
_NUMBER_MM = 14.0  # on paper, from a corner to the middle of its number
_LEAD_MM = 16.0  # from the end of a leader to the middle of the name
_BEFORE_MM = 1.0  # of a line: a tick no nearer before it may be left out
_FOOT_MM = 3.0  # fine words stand a little off their line
_COPY = re.compile(r"(\d+) of \d+")
_FIGURE = re.compile(FIGURE)
_ALONG = ("WARP", "LENGTH OF", "BAR ", "Measure along", "Continued: along")
_ACROSS = re.compile(rf"CUT ACROSS at ({FIGURE}) (m|in)")


@dataclass(frozen=True)
class Columns:
    """Of a table: how many there are, and where in one the cells of a row end or start, mm."""

    count: int
    ends_mm: tuple[float, ...]
    starts_mm: tuple[float, ...] = ()


POINTS = Columns(4, (9.0, 33.0, 56.0))


def check_cut_places(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every sheet of cutplan.pdf, where anything is cut."""
    if NAME not in files or not plan["layouts"]:
        return  # told where it is read
    book = open_book(files[NAME])
    for number in range(book.count):
        check_sheet(book.page(number), f"{NAME}, sheet {number + 1}", report)


def check_sheet(
    page: Page, where: str, report: Report, columns: Columns = POINTS, high_mm: float | None = None
) -> None:
    """The head and the title block of a sheet; of a table, its words and rules too.

    Args:
        page: as read.
        where: for what is found.
        report: takes what is found.
        columns: of its table.
        high_mm: where the table hangs from; None where a table of points does.
    """
    corner = (page.width_mm - EDGE_MM - WIDTH_MM, EDGE_MM)
    low = [x for x in page.lines if x.points[:, 1].min() <= block_top_mm(page) + 3.0
           and x.mark in ("DIMENSION", "FRAME")]  # fmt: skip
    wanted = block_lines(corner)
    wrong = [f"a line of {x.mark}" for x in low
             if not any(plane.same_line(x.points, y, _NEAR_MM) for y in wanted)]  # fmt: skip
    wrong += ["a line that is not there"] * (len(wanted) > len(low))
    places = [*block_words(corner)]
    for words in page.words:
        x, y = words.at_mm
        right = any(abs(x - a) + abs(y - b) <= 2 * _NEAR_MM for a, b in places)
        if y <= EDGE_MM + 30.0 and not (right or abs(x - EDGE_MM) <= _NEAR_MM):
            wrong.append(words.text)
        if y > page.height_mm - EDGE_MM - 11.0 and not _in_head(words, page):
            wrong.append(words.text)
    if high_mm is not None or table_heads(page)[0]:
        wrong += _table(page, columns, high_mm or page.height_mm - EDGE_MM - TABLE_MM)
    report.expect(not wrong, "sheets of the cut plan with words and rules in their places", where,
                  f"has {wrong[:2]} out of its place")  # fmt: skip


def _in_head(words: Words, page: Page) -> bool:
    """Whether words are the name of the stock, what it is, or the part at the right end."""
    if abs(words.at_mm[1] - (page.height_mm - EDGE_MM - HEAD_MM)) > _NEAR_MM:
        return False
    name = next((w for w in page.words if abs(w.at_mm[0] - EDGE_MM) <= _NEAR_MM
                 and w.at_mm[1] == words.at_mm[1]), None)  # fmt: skip
    starts = [EDGE_MM] + ([end_mm(name) + 5.0] if name else [])
    right = abs(end_mm(words) - (page.width_mm - EDGE_MM)) <= _NEAR_MM
    return right or any(abs(words.at_mm[0] - x) <= _NEAR_MM for x in starts)


def _table(page: Page, columns: Columns, high: float) -> list[str]:
    """Words of a table that are in none of its columns, rows without a rule and rules without a
    row."""
    wide = (page.width_mm - 2 * EDGE_MM + GAP_MM) / columns.count - GAP_MM
    lefts = [EDGE_MM + k * (wide + GAP_MM) for k in range(columns.count)]
    low = block_top_mm(page) + 3.0
    wrong, due = [], set()
    for words in page.words:
        x, y = words.at_mm
        if not low < y < page.height_mm - EDGE_MM - 11.0:
            continue
        ends = [(k, m) for k, left in enumerate(lefts) for m in columns.ends_mm
                for bold in (False, True)
                if abs(end_mm(words, bold) - left - m) <= _NEAR_MM]  # fmt: skip
        ends += [(k, m) for k, left in enumerate(lefts) for m in columns.starts_mm
                 if abs(x - left - m) <= _NEAR_MM]  # fmt: skip
        column = next((k for k, left in enumerate(lefts) if abs(x - left) <= _NEAR_MM), -1)
        if ends and y < high and column < 0:  # else a title that happens to end there
            due.add((ends[0][0], round(y - RULE_MM, 1)))
        told = column == 0 and y > high + 3.0  # how the table is read
        named = column >= 0 and y < high
        if not (ends or told or named):
            wrong.append(words.text)
    rules = [x.points for x in page.lines if x.mark == "DIMENSION" and x.points[:, 1].min() > low]
    drawn = set()
    for points in rules:
        y = float(points[0, 1])
        spans = [np.array([(left, y), (left + wide, y)]) for left in lefts]
        column = next((k for k, span in enumerate(spans)
                       if plane.same_line(points, span, _NEAR_MM)), -1)  # fmt: skip
        drawn.add((column, round(y, 1)))
    apart = [one for one in due ^ drawn if not _twin(one, drawn if one in due else due)]
    return (
        wrong
        + [f"a rule at {y:.0f} mm" for _, y in apart]
        + (["a rule twice"] if len(drawn) != len(rules) else [])
    )


def _twin(one: tuple[int, float], others: set[tuple[int, float]]) -> bool:
    """Whether the same row is there, rounded to the next tenth."""
    return any(one[0] == k and abs(one[1] - y) < 0.15 for k, y in others)


# ---------------------------------------------------------------- drawings


class Drawing:
    """One page with the strips on it.

    Args:
        page: as read.
        strips: on this page.
        cuts: pieces of each strip.
        unit: of the figures.
    """

    def __init__(self, page: Page, strips: Sequence, cuts: Sequence[list[Cut]], unit: str):
        self.page, self.strips, self.cuts, self.unit = page, strips, cuts, unit
        top = page.height_mm - EDGE_MM - 11.0
        self.lines = [x for x in page.lines if x.points[:, 1].min() > block_top_mm(page) + 3.0]
        self.words = [w for w in page.words if EDGE_MM + 30.0 < w.at_mm[1] < top and w.text.strip()]
        self.dots = [x.points[[0, 2]].mean(axis=0) for x in self.lines
                     if x.mark == "DIMENSION" and x.curved]  # fmt: skip

    def strays(self) -> Iterator[str]:
        """What is drawn or written in no place of its kind."""
        edges = dict.fromkeys(("STOCK", "GHOST", "SPLICE", "STATION"), self._edge)
        kinds = {**edges, "DIMENSION": self._tick_or_leader, "CUT_INNER": self._opening}
        for line in self.lines:
            check = kinds.get(line.mark)
            if check and (not line.closed or line.mark == "CUT_INNER") and not check(line):
                yield f"a line of {line.mark}"
        yield from self._lost_edges()
        yield from self._lost_lines()
        yield from self._lost_ticks()
        yield from self._arrows()
        for words in self.words:
            if words.mark in ("DIMENSION", "TEXT") and not self._word(words):
                yield words.text

    def _frame(self, strip) -> tuple[float, float, float, float]:
        (x0, y0), (wide, high) = strip.corner, strip.size
        return x0, y0 - strip.layout["edge_mm"] / strip.by[1], x0 + wide, y0 + high

    def _edge(self, line: Line) -> bool:
        """Whether a line is an edge of a strip, or runs across it at an end or a cut."""
        for strip in self.strips:
            x0, low, x1, high = self._frame(strip)
            base = float(strip.corner[1])
            level = [np.array([(x0, y), (x1, y)]) for y in (low, base, high)]
            ends = [np.array([(x, base), (x, high)]) for x in (x0, x1)]
            across = [np.array([(x, low), (x, high)]) for x in self._cuts_across(strip)]
            if any(plane.same_line(line.points, one, _NEAR_MM) for one in (*level, *ends, *across)):
                return True
        return False

    def _cuts_across(self, strip) -> list[float]:
        told = [m for w in self.words if (m := _ACROSS.fullmatch(w.text))]
        along = [length_mm(m[1], self.unit) * (1000.0 if m[2] == "m" else 1.0) for m in told]
        if strip.layout.get("bays"):
            along = [x for _, x, _ in lines_told([self.page], strip.layout)]
        right = strip.corner[0] + strip.size[0]
        return [min(self._paper_x(strip, x), right) for x in along]  # the last one is the end

    def _lost_lines(self) -> Iterator[str]:
        """Lines of bays that are not drawn, and those drawn as another kind; the end of what is
        drawn of a roll is the last one."""
        drawn = [(x.points, x.mark) for x in self.lines if x.mark in ("SPLICE", "STATION")]
        for strip in self.strips:
            x0, low, x1, high = self._frame(strip)
            for bay in strip.layout.get("bays", ())[:-1]:
                x, mark = self._paper_x(strip, bay["to_mm"]), "SPLICE" if bay["cut"] else "STATION"
                line = np.array([(x, low), (x, high)])
                if x0 <= x < x1 - _NEAR_MM and not any(
                    plane.same_line(points, line, _NEAR_MM) and mark == kind
                    for points, kind in drawn
                ):
                    yield f"line {bay['number'] + 1} that is not there"

    def _paper_x(self, strip, along: float) -> float:
        return float(strip.corner[0] + (along - strip.start_mm) / strip.by[0])

    def _lost_edges(self) -> Iterator[str]:
        drawn = [x.points for x in self.lines if x.mark == "STOCK"]
        for strip in self.strips:
            x0, _, x1, high = self._frame(strip)
            for y in (float(strip.corner[1]), high):
                level = np.array([(x0, y), (x1, y)])
                outline = strip.layout.get("outline_mm")
                if not outline and not any(plane.same_line(one, level, _NEAR_MM) for one in drawn):
                    yield "an edge of the stock that is not there"

    def _lost_ticks(self) -> Iterator[str]:
        """Ticks that are not there, along both edges of a strip."""
        strokes = [x.points for x in self.lines if x.mark == "DIMENSION" and len(x.points) == 2]
        feet = np.array(strokes).reshape(-1, 2)
        step = _TICK_MM[self.unit]
        for strip in self.strips:
            x0, low, x1, high = self._frame(strip)
            if strip.layout.get("outline_mm"):
                continue  # its ticks stand round a box that is not drawn
            end = strip.start_mm + (x1 - x0) * strip.by[0]
            for at, to in runs(strip.layout):
                first = int(np.ceil(max(strip.start_mm - at, 0.0) / step - 1e-6))
                last = int(np.floor((min(end, to - _BEFORE_MM) - at) / step + 1e-6))
                plane.steps([max(last - first, 0.0)], 1.0)
                for k in range(first, last + 1):
                    due = np.array([(self._paper_x(strip, at + k * step), y) for y in (low, high)])
                    gaps = np.abs(due[:, None] - feet[None]).max(axis=2)
                    if gaps.min(axis=1, initial=np.inf).max() > _NEAR_MM:
                        yield f"a tick at {at + k * step:.0f} mm that is not there"

    def _tick_or_leader(self, line: Line) -> bool:
        if len(line.points) != 2 or line.curved:
            return line.curved
        one, two = line.points
        if any(np.hypot(*(end - dot)) <= _NEAR_MM for end in (one, two) for dot in self.dots):
            return self._named(line.points)
        return any(self._tick(strip, one, two) for strip in self.strips)

    def _named(self, leader: np.ndarray) -> bool:
        """Whether a leader runs from a name to a dot in the piece of that name."""
        for name in (w for w in self.words if w.mark == "ID"):
            middle = _middle(name)
            if min(np.hypot(*(leader - middle).T)) < _LEAD_MM + name.size_mm * width(
                name.text, True
            ):
                return True
        return False

    def _tick(self, strip, one: np.ndarray, two: np.ndarray) -> bool:
        """Whether a stroke stands on an edge where a running figure is due."""
        x0, low, x1, high = self._frame(strip)
        step, long = _TICK_MM[self.unit], abs(two - one).max()
        if not any(abs(long - reach) <= _NEAR_MM for reach in (_REACH_MM, 1.6 * _REACH_MM)):
            return False
        if abs(one[0] - two[0]) <= _NEAR_MM:
            on = any(abs(y - at) <= _NEAR_MM for y in (one[1], two[1]) for at in (low, high))
            along = strip.start_mm + (one[0] - x0) * strip.by[0]
            slack = _NEAR_MM * strip.by[0]
            lines = [at for at, to in runs(strip.layout) if at - slack <= along <= to + slack]
            counts = [(along - at) / step for at in lines]
            count = min(counts, key=lambda c: abs(c - round(c)), default=0.5)
        else:
            on = any(abs(x - x0) <= _NEAR_MM for x in (one[0], two[0]))
            count = (one[1] - low) * strip.by[1] / step
        return bool(on and abs(count - round(count)) * step / max(strip.by) <= _NEAR_MM)

    def _opening(self, line: Line) -> bool:
        """Whether a line lies on an opening of the piece that it lies in, where that is told."""
        for strip, cuts in zip(self.strips, self.cuts, strict=True):
            points = strip.on_stock(line.points)
            slack = _NEAR_MM * float(max(strip.by))
            for cut in cuts if strip.holds(line.points.mean(axis=0), 0.5) else ():
                if not holds(cut, points.mean(axis=0)):
                    continue
                away = [plane.distance_to_path(points, hole).max() for hole in cut.holes_mm or ()]
                if cut.holes_mm is None or min(away, default=np.inf) <= slack:
                    return True
        return False

    def _arrows(self) -> Iterator[str]:
        """Shafts that lie across the fibre of their piece, or have not a head at either end."""
        lines = [x for x in self.lines if x.mark == "FIBRE"]
        tips = np.array([x.points[0] for x in lines if len(x.points) == 3]).reshape(-1, 2)
        shafts = [x.points for x in lines if len(x.points) == 2]
        if len(tips) != 2 * len(shafts):
            yield "an arrow with more or less than two heads"
        for shaft in shafts:
            gaps = np.hypot(*(shaft[:, None] - tips[None]).transpose(2, 0, 1))
            if gaps.min(axis=1, initial=np.inf).max() > _NEAR_MM or not self._along(shaft):
                yield "an arrow that lies otherwise"

    def _along(self, shaft: np.ndarray) -> bool:
        """Whether an arrow lies along the fibre of the piece it stands in."""
        for strip, cuts in zip(self.strips, self.cuts, strict=True):
            middle = strip.on_stock(shaft.mean(axis=0)[None])[0]
            way = (shaft[1] - shaft[0]) * strip.by
            turn = np.degrees(np.arctan2(way[1], way[0]))
            for cut in cuts:
                if strip.holds(shaft.mean(axis=0), 0.5) and holds(cut, middle):
                    return cut.fibre_deg is None or (
                        abs((turn - cut.fibre_deg + 90.0) % 180.0 - 90.0) < 0.5
                    )
        return False

    def _word(self, words: Words) -> bool:
        """Whether words stand where their kind does."""
        if words.mark == "DIMENSION":
            return self._running_figure(words) or self._corner_number(words)
        return self._beside(words) or self._in_piece(words)

    def _running_figure(self, words: Words) -> bool:
        """Whether a figure has its middle at the place along the stock, or across, that it
        names."""
        if not _FIGURE.fullmatch(words.text):
            return False
        value, middle = length_mm(words.text, self.unit), _middle(words)
        for strip in self.strips:
            x0, low, _, high = self._frame(strip)
            beside = words.at_mm[1] > high or words.at_mm[1] < low
            if beside and any(
                value <= to - at + _BEFORE_MM
                and abs(middle[0] - self._paper_x(strip, at + value)) <= 4 * _NEAR_MM
                for at, to in runs(strip.layout)
            ):
                return True
            level = low + value / strip.by[1]
            at = words.at_mm[1] + words.size_mm * CAP / 2
            if abs(at - level) <= 4 * _NEAR_MM and end_mm(words, False) <= x0 + _NEAR_MM:
                return True
        return False

    def _corner_number(self, words: Words) -> bool:
        """Whether a number stands in a piece, close to its corner of that number."""
        middle = _middle(words)
        for strip, cuts in zip(self.strips, self.cuts, strict=True):
            point = strip.on_stock(middle[None])[0]
            for cut in cuts:
                if not words.text.isdigit() or not holds(cut, point):
                    continue
                if cut.marks_mm is None:
                    return True
                k = int(words.text) - 1
                if k < len(cut.marks_mm):
                    away = np.abs(cut.marks_mm[k] - point) / strip.by
                    if np.hypot(*away) <= _NUMBER_MM:
                        return True
        return False

    def _beside(self, words: Words) -> bool:
        """Whether words tell of a strip, or of a cut across it, or of what is left of it."""
        x, y = words.at_mm
        for strip in self.strips:
            x0, low, _, high = self._frame(strip)
            if words.text.startswith(_ALONG):
                level = y >= high + _FOOT_MM or y <= low - _FOOT_MM
                if abs(x - x0) <= _NEAR_MM and level:
                    return True
            for at in self._cuts_across(strip):
                ends = (x, end_mm(words, False), end_mm(words))
                if any(abs(end - at) <= 2 * _NEAR_MM for end in ends) and y < low:
                    return True
            if strip.holds(np.array(words.at_mm)) and words.text == "LEFT OVER":
                return self._free(words)
            if strip.holds(np.array(words.at_mm)) and (_SIZE.fullmatch(words.text)):
                return self._free(words)
        return False

    def _free(self, words: Words) -> bool:
        """Whether words stand in no piece."""
        return not any(
            holds(cut, strip.on_stock(_middle(words)[None])[0])
            for strip, cuts in zip(self.strips, self.cuts, strict=True)
            for cut in cuts
        )

    def _in_piece(self, words: Words) -> bool:
        """Whether words are of the piece they stand in: its angle, its copy, its face."""
        for strip, cuts in zip(self.strips, self.cuts, strict=True):
            point = strip.on_stock(_middle(words)[None])[0]
            if strip.holds(_middle(words), 0.5):
                for cut in (cut for cut in cuts if holds(cut, point)):
                    return _tells(cut, words.text)
        return False


_SIZE = re.compile(rf"{FIGURE} \u00d7 {FIGURE} (?:mm|in)|[\d.]+ m\u00b2")


def _tells(cut: Cut, said: str) -> bool:
    """Whether words say of a piece what it is."""
    for part in said.split(" \u00b7 "):
        if ANGLE.fullmatch(part):
            if cut.angle_deg is not None and part != angle(cut.angle_deg):
                return False
        elif copy := _COPY.fullmatch(part):
            if int(copy[1]) != cut.copy:
                return False
        elif part != "FACE DOWN" or not cut.flipped:
            return False
    return True


def _middle(words: Words) -> np.ndarray:
    """The middle of words."""
    half = words.size_mm * np.array([width(words.text, words.mark == "ID") / 2, MIDDLE])
    turn = np.radians(words.turn_deg)
    c, s = np.cos(turn), np.sin(turn)
    return np.array(words.at_mm) + half @ np.array([[c, s], [-s, c]])
