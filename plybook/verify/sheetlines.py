"""Lines of tiled sheets and of the roll: those of the cutter's drawing of the piece, kind by kind,
each in its place, and none left out.

The drawing for the cutter is held against its own twin and plan.json elsewhere; cut lines are put
together from the sheets elsewhere too.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from plybook.verify import plane
from plybook.verify.drawings import file_name
from plybook.verify.looks import kind_of
from plybook.verify.pdf_pages import Clip, Line, Page, open_book
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.svg_paths import read_svg
from plybook.verify.tolerances import PAPER_MM

TILED, ROLL = "templates.pdf", "templates-roll.pdf"
# kinds of line that every sheet shows of its piece, beside the cut; on the roll the rosette too
SHOWN = ("FIBRE", "DATUM", "NET", "BEVEL", "BEVEL_HATCH", "SEAM", "SPLICE", "STATION", "AXIS",
         "TICK", "FOLD", "DART", "DROP", "ZONE", "CORE_EDGE")  # fmt: skip
ROSETTE = ("DIMENSION", "HIGHLIGHT")
_PANEL = re.compile(r"(?:^| )panel \d+ of \d+$")
_HEADS_MM = np.array([(10.0, 15.0), (10.0, 9.0)])  # where the heads of the roll begin
_BLOCK, _BESIDE_MM = 64, 2.0  # points looked at together, and how far round them
_STEP_MM = 3.0  # between the points of a line that are looked for
_OVER_MM = 50.0  # from the window of a piece to any line of it
_EDGE_MM = 1.5  # a sheet shows a little more or less than its window
_SHAFT_MM = 1.0  # from the shaft of a sheet's own arrow to the corners of its heads
_TURN = 0.004  # sine of the angle between an arrow and the fibre, of paper's accuracy
_LONGEST_CROSS_MM = 40.0  # rulers are longer
_CROSS_MM = 0.05  # between the middles of the two strokes of a cross
_ROUND = np.array([(np.cos(t), np.sin(t)) for t in np.linspace(0.0, 2 * np.pi, 65)])

Lines = dict[str, list[np.ndarray]]
Segments = tuple[np.ndarray, np.ndarray]  # (n, 2) starts and ends


@dataclass(frozen=True)
class Sheet:
    """A window of a piece on a page; `lines` are its marked lines, in the piece's own frame."""

    piece: dict
    low: np.ndarray
    high: np.ndarray
    lines: Lines
    where: str


@dataclass(frozen=True)
class Drawn:
    """A drawing for the cutter: lines by kind, places of words by kind and text."""

    lines: Lines
    words: dict[tuple[str, str], list[np.ndarray]]

    @cached_property
    def segments(self) -> dict[str, Segments]:
        """Of the lines, by kind."""
        return {kind: _segments(lines) for kind, lines in self.lines.items()}

    def off(self, kind: str, points: np.ndarray) -> float:
        """How far the furthest of some points is from the lines of a kind."""
        return float(_off(points, self.segments.get(kind, _segments([]))).max(initial=0.0))


def check_sheet_lines(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every sheet of a piece, tiled or on the roll, against the cutter's drawing of it."""
    drawings = drawings_of(plan, files)
    for sheet in [*_tiles(plan, files, drawings, report), *_panels(plan, files, drawings, report)]:
        drawn = drawings[sheet.piece["id"]]
        strays = {
            kind: own
            for kind in (*SHOWN, *ROSETTE)
            if (own := [line for line in sheet.lines[kind]
                        if drawn.off(kind, line) > PAPER_MM])
        }  # fmt: skip
        _check_arrows(sheet, strays.pop("FIBRE", []), report)
        report.expect(not strays, "lines of a sheet in the place of the cutter's drawing",
                      sheet.where, f"has a line otherwise on {[*strays][:1]}")  # fmt: skip
        lost = []
        kinds = (*SHOWN, *["HIGHLIGHT"] * sheet.where.startswith(ROLL))
        for kind in (kind for kind in kinds if kind != "DATUM"):  # left out where a rim cuts it
            at = _walk([line for line in drawn.lines.get(kind, []) if len(line) != len(_ROUND)])
            inside = ((at > sheet.low + _EDGE_MM) & (at < sheet.high - _EDGE_MM)).all(axis=1)
            if _apart(at[inside], sheet.lines[kind]).max(initial=0.0) > PAPER_MM:
                lost.append(kind)
        report.expect(not lost, "sheets with all lines of the cutter's drawing", sheet.where,
                      f"lacks a line of {lost[:1]}")  # fmt: skip


def drawings_of(plan: dict, files: dict[str, bytes]) -> dict[str, Drawn]:
    """The cutter's drawing of each piece by its id.

    Raises:
        KeyError: one is missing.
        ValueError: one cannot be read.
    """
    names = {piece["id"]: f"templates/{file_name(piece['id'])}.svg" for piece in plan["pieces"]}
    return {p["id"]: _drawn(p, files[names[p["id"]]]) for p in plan["pieces"]}


def _drawn(piece: dict, data: bytes) -> Drawn:
    """Lines and words of the cutter's drawing by kind, in the piece's own frame."""
    found: Lines = defaultdict(list)
    drawing = read_svg(data)
    for path in drawing.paths:
        if path.layer == kind_of(path.layer):  # else the white behind words
            found[path.layer].append(_closed(path.points, path.closed))
    for layer, x, y, radius in drawing.circles:
        found[layer].append(_ROUND * radius + (x, y))
    corner = min((line.min(axis=0) for line in found["CUT"]), key=tuple)
    shift = ring(piece.get("cut_outline_mm", piece["outline_mm"])).min(axis=0) - corner
    words: dict[tuple[str, str], list[np.ndarray]] = defaultdict(list)
    for one in drawing.texts:
        words[kind_of(one.layer), one.text].append(one.along(0.0) + shift)
    moved = {kind: [line + shift for line in lines] for kind, lines in found.items()}
    return Drawn(moved, words)


def _tiles(
    plan: dict, files: dict[str, bytes], drawings: dict[str, Drawn], report: Report
) -> Iterable[Sheet]:
    known = {piece["id"]: piece for piece in plan["pieces"]}
    book = open_book(files[TILED])
    pages = {tile["page"]: book.page(tile["page"] - 1) for tile in plan["tiles"]}
    for number, page in pages.items():
        where = f"{TILED}, page {number}"
        report.expect(_crosses(page), "crosses of a sheet whole", where,
                      "has a stroke of a cross that meets no other")  # fmt: skip
    beside: dict[int, list[dict]] = defaultdict(list)
    for tile in plan["tiles"]:
        beside[tile["page"]].append(tile)
    for tile in plan["tiles"]:
        low, high = np.array(tile["window_mm"]).reshape(2, 2)
        others = [(drawings[other["piece"]], other) for other in beside[tile["page"]]
                  if other is not tile]  # fmt: skip
        drawn = drawings[tile["piece"]]
        lines: Lines = defaultdict(list)
        for line, clip in pages[tile["page"]].painted:
            if not isinstance(line, Line):
                continue
            points = _on_sheet(line.points, tile)
            # the small map of the sheet is drawn in lines of the rosette, just above the window
            edge = 0.0 if line.mark in ROSETTE else _EDGE_MM
            if not _within(points, low, high, edge):
                continue
            if drawn.off(line.mark, points) <= PAPER_MM or not any(
                # what the window beside cuts off is still in the page
                _cuts_off(clip, there)
                and other.off(line.mark, _on_sheet(line.points, there)) <= PAPER_MM
                for other, there in others
            ):
                lines[line.mark].append(_closed(points, line.closed))
        yield Sheet(known[tile["piece"]], low, high, lines,
                    f"{TILED}, page {tile['page']}, {tile['piece']}")  # fmt: skip


def _panels(
    plan: dict, files: dict[str, bytes], drawings: dict[str, Drawn], report: Report
) -> Iterable[Sheet]:
    """Each line of the roll is that of the piece in whose drawing it stands, or nobody's."""
    known = {piece["id"]: piece for piece in plan["pieces"]}
    book = open_book(files[ROLL])
    sheets: dict[int, list[tuple[dict, Sheet]]] = defaultdict(list)
    for panel in plan["roll"]["panels"]:
        low, high = np.array(panel["window_mm"]).reshape(2, 2)
        where = f"{ROLL}, {panel['piece']}"
        one = Sheet(known[panel["piece"]], low, high, defaultdict(list), where)
        sheets[panel["page"]].append((panel, one))
    for number in range(1, book.count + 1):
        strange = 0
        for line in book.page(number - 1).lines:
            if line.mark in ("CUT", "CUT_INNER", "REGISTRATION"):
                continue
            best: tuple[float, Sheet | None, np.ndarray] = (PAPER_MM, None, line.points)
            for panel, sheet in sheets[number]:
                points = _in_piece(line.points, panel)
                if not _within(points, sheet.low - _OVER_MM, sheet.high + _OVER_MM):
                    continue
                off = drawings[sheet.piece["id"]].off(line.mark, points)
                if off <= best[0]:
                    best = (off, sheet, points)
            if best[1] is None:
                strange += 1
            else:
                best[1].lines[line.mark].append(_closed(best[2], line.closed))
        where = f"{ROLL}, page {number}"
        report.expect(not strange, "lines on the roll that belong to a piece", where,
                      f"has {strange} lines that are no piece's")  # fmt: skip
        report.expect(_rulers(book.page(number - 1)), "rulers of the roll whole", where,
                      "has a ruler that is not as long as it says, or in parts")  # fmt: skip
        _check_words(book.page(number - 1), sheets[number], drawings, number, report)
    for here in sheets.values():
        yield from (sheet for _, sheet in here)


def _check_words(
    page: Page, panels: Sequence[tuple[dict, Sheet]], drawings: dict[str, Drawn], number: int,
    report: Report,
) -> None:  # fmt: skip
    """Words on the roll stand where the drawing of a piece has them; the heads at the left."""
    strange, heads = [], 0
    for words in page.words:
        if words.mark == "REGISTRATION" or not words.text.strip() or not panels:
            continue
        if words.mark == "ID" and _PANEL.search(words.text):
            continue  # where there is room
        head = min(np.hypot(*(np.array(words.at_mm) - at)) for at in _HEADS_MM) < PAPER_MM
        places = [
            place - _in_piece(np.array([words.at_mm]), panel)[0]
            for panel, sheet in panels
            for place in drawings[sheet.piece["id"]].words[words.mark, words.text]
        ]
        heads += head
        if not head and min((np.hypot(*away) for away in places), default=np.inf) > PAPER_MM:
            strange.append(words.text)
    report.expect(not strange, "words on the roll in the place of the cutter's drawing",
                  f"{ROLL}, page {number}", f"has {strange[:1]} elsewhere")  # fmt: skip
    report.expect(heads == 2 or not panels, "pages of the roll with both their heads",
                  f"{ROLL}, page {number}", f"has {heads}")  # fmt: skip


def _on_sheet(points: np.ndarray, tile: dict) -> np.ndarray:
    """Points of a page in the frame of the piece that a tile shows."""
    corner, stretch = np.array(tile["corner_mm"]), np.array(tile["stretch"])
    return (points - corner) / stretch + np.array(tile["window_mm"][:2])


def _cuts_off(clip: Clip | None, tile: dict) -> bool:
    """Whether a clip is the window of a tile on its page."""
    low, high = np.array(tile["window_mm"]).reshape(2, 2)
    corner = np.array(tile["corner_mm"])
    window = (*corner, *(corner + (high - low) * tile["stretch"]))
    return clip is not None and bool(np.abs(np.array(clip) - window).max() <= PAPER_MM)


def _in_piece(points: np.ndarray, panel: dict) -> np.ndarray:
    turn = np.radians(panel["turn_deg"])
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return (points - np.array(panel["at_mm"])) @ back


def _check_arrows(sheet: Sheet, lines: Sequence[np.ndarray], report: Report) -> None:
    """A sheet's own arrow, beside that of the drawing: a shaft along the fibre and two heads."""
    angle = sheet.piece["angle_deg"] or 0.0
    along = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    shafts = [line for line in lines if len(line) == 2]
    ways = [(line[1] - line[0]) / max(np.hypot(*(line[1] - line[0])), 1e-9) for line in shafts]
    good = all(abs(way[0] * along[1] - way[1] * along[0]) < _TURN for way in ways)
    good = good and all(_apart(line, shafts).max() < _SHAFT_MM for line in lines)
    tips = [line for line in lines if len(line) > 2]
    good = good and all(_apart(shaft, tips).max() < PAPER_MM for shaft in shafts if len(tips) == 2)
    good = good and (len(shafts), len(tips)) in ((0, 0), (1, 2))
    report.expect(good and len(shafts) <= 1, "sheets with arrows along the fibre", sheet.where,
                  "has an arrow that lies across the fibre, or in parts")  # fmt: skip


def _crosses(page: Page) -> bool:
    """Whether every open stroke for laying sheets together is one of two that cross in the
    middle."""
    strokes = [line for line in page.lines if line.mark == "REGISTRATION" and not line.closed]
    middles = np.array([line.points.mean(axis=0) for line in strokes]).reshape(-1, 2)
    gaps = np.hypot(*(middles[:, None] - middles[None]).transpose(2, 0, 1))
    return bool(((gaps < _CROSS_MM).sum(axis=1) == 2).all())


def _rulers(page: Page) -> bool:
    """Whether two rulers, each way one, are as long as their words say and have a stroke across
    each end; every other stroke is of a cross."""
    strokes = [line.points for line in page.lines
               if line.mark == "REGISTRATION" and len(line.points) == 2]  # fmt: skip
    long = [line for line in strokes if np.hypot(*(line[-1] - line[0])) > _LONGEST_CROSS_MM]
    rest = [line for line in strokes if np.hypot(*(line[-1] - line[0])) <= _LONGEST_CROSS_MM]
    short = np.array([line.mean(axis=0) for line in rest]).reshape(-1, 2)
    said = " ".join(words.text for words in page.words if words.mark == "REGISTRATION")
    lengths = [float(np.hypot(*(line[-1] - line[0]))) for line in long]
    told = all(abs(mm - round(mm)) < PAPER_MM and f"{mm:.0f} mm" in said for mm in lengths)
    ways = [abs(line[-1] - line[0]).argmax() for line in long]
    ends = np.array([end for line in long for end in line[[0, -1]]]).reshape(-1, 2)
    at_ends = np.hypot(*(short[:, None] - ends[None]).transpose(2, 0, 1)) < _CROSS_MM
    twice = np.hypot(*(short[:, None] - short[None]).transpose(2, 0, 1)) < _CROSS_MM
    whole = (at_ends.sum(axis=0) == 1).all() and (at_ends.any(axis=1) | (twice.sum(1) == 2)).all()
    return sorted(ways) == [0, 1] and told and bool(whole)


def _closed(points: np.ndarray, closed: bool) -> np.ndarray:
    return np.vstack([points, points[:1]]) if closed else points


def _middle(points: np.ndarray) -> np.ndarray:
    return points[len(points) // 2] if len(points) > 2 else points.mean(axis=0)


def _within(
    points: np.ndarray, low: np.ndarray, high: np.ndarray, beside_mm: float = _EDGE_MM
) -> bool:
    middle = _middle(points)
    return bool(((middle > low - beside_mm) & (middle < high + beside_mm)).all())


def _walk(lines: Sequence[np.ndarray]) -> np.ndarray:
    """Points along lines, a few millimetres apart at most."""
    return np.concatenate([np.zeros((0, 2)), *(plane.walk(line, _STEP_MM) for line in lines)])


def _apart(points: np.ndarray, lines: Sequence[np.ndarray]) -> np.ndarray:
    """How far points are from the nearest of some lines."""
    return _off(points, _segments(lines))


def _segments(lines: Sequence[np.ndarray]) -> Segments:
    """Starts and ends of all segments of some lines."""
    none = np.zeros((0, 2))
    return (np.concatenate([none, *(line[:-1] for line in lines)]),
            np.concatenate([none, *(line[1:] for line in lines)]))  # fmt: skip


def _off(points: np.ndarray, segments: Segments) -> np.ndarray:
    """How far points are from the nearest of some segments; those far off are not looked at."""
    best = np.full(len(points), np.inf)
    if not len(points):
        return best
    for first in range(0, len(points), _BLOCK):
        some = points[first : first + _BLOCK]
        low, high = some.min(axis=0) - _BESIDE_MM, some.max(axis=0) + _BESIDE_MM
        start, end = segments
        near = ((np.maximum(start, end) >= low) & (np.minimum(start, end) <= high)).all(axis=1)
        start, way = start[near], (end - start)[near]
        if len(start):
            size = np.maximum((way**2).sum(axis=1), 1e-18)
            away = some[:, None] - start
            share = np.clip((away * way).sum(axis=2) / size, 0.0, 1.0)
            gaps = np.hypot(*(away - share[..., None] * way).transpose(2, 0, 1))
            best[first : first + _BLOCK] = gaps.min(axis=1)
    return best
