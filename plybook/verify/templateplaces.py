"""What stands on the pages of the tiled templates beside the drawings of pieces, each in its place:
heads, the printer test, the list of pieces, cards with their small pictures, page maps.

Places are mm in the frame of a page, from its lower left corner, as they are before a printer is
made up for.

Terms:
    window: what of a piece's drawing a sheet shows 1:1; its lines are held to the cutter's drawing
        elsewhere.
    slot: where a line must be, or words may begin.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from plybook.verify import plane
from plybook.verify.lettermetrics import CAP, end_mm, width
from plybook.verify.pdf_pages import Line, Page, Words, open_book
from plybook.verify.pieces import ring
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.sheetlines import Drawn, drawings_of
from plybook.verify.smallpictures import FIT_MM, apart, arrow_whole, fit_of, off_from
from plybook.verify.tilewords import FRAME_CORNER_MM, FRAME_MM
from plybook.verify.titleblock import block_lines, block_words
from plybook.verify.tolerances import PAPER_MM

NAME = "templates.pdf"
BASE_MM = FRAME_MM[1] + 2.6  # of the large words of a head
RULERS_MM = (180.0, 240.0)
_ROW_MM, _LINE_MM = 4.0, 4.2  # from row to row of a card, from line to line of its head
_COLUMNS_MM = (90.0, 104.0, 132.0)  # of the rows of a card
_BESIDE_MM = 3.0  # by which letters may stand out of their card
_LETTER_MM = 9.0  # from a knot to the middle of its letter
_NEAR_MM = 0.05
_KEY_X_MM = 118.0  # left edge of the small picture on a card of facts
_KEY_MM = 0.2  # of that picture, which is a few centimetres wide
_CARD_X_MM = (8.0, 27.0, _KEY_X_MM)  # labels, values, edges
_MAPPED = ("CUT", "CUT_INNER", "NET", "STATION", "BEVEL", "AXIS", "FOLD")  # lines of a map
BLOCK_MM = 30.0  # height of the title block
_NAMED = re.compile(r"\d+-\d+|[PQRS]")  # tiles, and ends of check lines
_HEAD_MM = 1.9  # from a frame to the lowest words above it
_MAP_MM = (150.0, 250.0)  # the small map of a sheet lies beyond


@dataclass
class Slots:
    """Lines that must be there, and where words may begin."""

    lines: list[np.ndarray] = field(default_factory=list)
    words: list[tuple[float, float]] = field(default_factory=list)

    def rule(self, *points: tuple[float, float]) -> None:
        self.lines.append(np.array(points))


@dataclass
class Sheet:
    """A page in its frame; `lines` and `words` are those beside the windows on it."""

    lines: list[Line]
    words: list[Words]
    every: list[Words]  # in windows too
    corners: list[np.ndarray]  # (2,) lower left one of each window
    give: float = 0.0  # by how much of a length the printer is made up for; letters are not


def framed(page: Page, stretch: Sequence[float], windows: Iterable[dict]) -> Sheet:
    """A page in its frame, and what of it lies beside windows.

    Args:
        page: as read.
        stretch: across and up, that makes up for the printer.
        windows: of `tiles` in plan.json.
    """
    corner = np.array([(page.width_mm - FRAME_MM[0]) / 2, FRAME_CORNER_MM])
    boxes, corners = [], []
    for one in windows:
        low, high = np.array(one["window_mm"]).reshape(2, 2)
        at = (np.array(one["corner_mm"]) - corner) / stretch
        corners.append(at)
        boxes.append((at - 1.6, at + (high - low) + 1.6))

    def outside(points: np.ndarray) -> bool:
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        return not any((middle >= low).all() and (middle <= high).all() for low, high in boxes)

    def put(points: np.ndarray) -> np.ndarray:
        return (points - corner) / stretch

    lines = [Line(x.mark, put(x.points), x.closed, x.width_mm, curved=x.curved) for x in page.lines]
    words = [Words(w.mark, w.text, tuple(put(np.array(w.at_mm))), w.size_mm, w.turn_deg)
             for w in page.words if w.text.strip()]  # fmt: skip
    return Sheet([x for x in lines if outside(x.points)],
                 [w for w in words if outside(np.array([w.at_mm]))], words, corners,
                 float(np.abs(np.array(stretch) - 1.0).max()))  # fmt: skip


def check_template_pages(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every page of the tiled templates, beside what its windows show."""
    if NAME not in files:
        return  # told where it is read
    book, drawings = open_book(files[NAME]), drawings_of(plan, files)
    pages = {k + 1: book.page(k) for k in range(book.count)}
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    tiles = plan["tiles"]
    cards = {n: [c for c in (*plan.get("figures", []), *plan.get("served", [])) if c["page"] == n]
             for n in pages}  # fmt: skip
    first = min([*(t["page"] for t in tiles), *(n for n in cards if cards[n])], default=len(pages))
    for number, page in pages.items():
        own = [tile for tile in tiles if tile["page"] == number]
        sheet = framed(page, plan["printer"], own)
        slots, tiled = Slots(), any(tile["way"] == "tiles" for tile in own)
        wrong = _head(sheet, slots, tiled)
        if number == 1:
            wrong += _test_page(sheet, slots)
        elif cards[number]:
            for card in cards[number]:
                wrong += _card(pieces[card["piece"]], card, sheet, slots, page, plan["printer"])
        elif own:
            wrong += _astray(sheet, own, drawings)
        elif number <= first and _title(sheet):
            _list(sheet, slots)
        else:
            wrong += _map(plan, sheet, slots, drawings, _big(sheet))
        wrong += _left_over(sheet, slots)
        report.expect(not wrong, "pages of the templates with lines and words in their places",
                      f"{NAME}, page {number}", f"has {wrong[:2]} otherwise")  # fmt: skip


def _left_over(sheet: Sheet, slots: Slots) -> list[str]:
    """What stands in no slot, and slots that are empty."""
    wrong = []
    left = list(slots.lines)
    for line in sheet.lines:
        if line.mark == "REGISTRATION":
            continue  # crosses, frames and rings are held whole elsewhere
        k = next((k for k, one in enumerate(left)
                  if plane.same_line(line.points, one, _NEAR_MM)), -1)  # fmt: skip
        if k < 0:
            wrong.append(f"a line of {line.mark}")
        else:
            left.pop(k)
    wrong += ["a line that is not there"] * len(left)
    places = np.array(slots.words).reshape(-1, 2)
    for words in sheet.words:
        if words.mark != "REGISTRATION":
            away = np.abs(places - words.at_mm).max(axis=1)
            if away.min(initial=np.inf) > _NEAR_MM + sheet.give * words.size_mm:
                wrong.append(words.text)
    return wrong


def _at(sheet: Sheet, x: float, y: float) -> Words | None:
    """The words that begin at a place."""
    return next((w for w in sheet.words if abs(w.at_mm[0] - x) <= _NEAR_MM
                 and abs(w.at_mm[1] - y) <= _NEAR_MM), None)  # fmt: skip


def _head(sheet: Sheet, slots: Slots, tiled: bool) -> list[str]:
    """What a page belongs to in large letters, its tile in a frame, two lines of facts."""
    big = _at(sheet, 0.0, BASE_MM)
    if big is None:
        return ["a page without a head"]
    slots.words.append((0.0, BASE_MM))
    after = end_mm(big) + 5.0
    name = _at(sheet, after, BASE_MM)
    if name is not None:
        end = end_mm(name)
        slots.words.append((after, BASE_MM))
        slots.rule((after - 1.5, BASE_MM - 1.4), (end + 1.5, BASE_MM - 1.4),
                   (end + 1.5, BASE_MM + 6.4), (after - 1.5, BASE_MM + 6.4))  # fmt: skip
        after = end + 6.0
    below = [(after, FRAME_MM[1] + 6.2), (after, FRAME_MM[1] + 2.0)]
    slots.words += below
    if tiled:
        sheet.lines = [x for x in sheet.lines if not _of_small_map(x)]
    return [] if all(_at(sheet, *place) for place in below) else ["a head without its facts"]


def _astray(sheet: Sheet, tiles: Sequence[dict], drawings: dict[str, Drawn]) -> list[str]:
    """Words of pieces that stand elsewhere than in the cutter's drawing; what the edge of a sheet
    cuts off may begin beside its window. What is left on the sheet is its head."""
    shown = [
        (np.array(tile["window_mm"][:2]) - at, drawings[tile["piece"]])
        for tile, at in zip(tiles, sheet.corners, strict=True)
        if tile["way"] != "corners"
    ]

    def in_place(words: Words) -> bool:
        room = PAPER_MM + sheet.give * words.size_mm * (1.0 + width(words.text, True))
        return any(
            np.hypot(*(words.at_mm + shift - place)) <= room
            for shift, drawn in shown
            for place in drawn.words.get((words.mark, words.text), ())
        )

    sheet.lines = [x for x in sheet.lines
                   if not any(drawn.off(x.mark, x.points + shift) <= PAPER_MM
                              for shift, drawn in shown)]  # fmt: skip
    if not shown:
        return []
    strange = [w for w in sheet.every if w.mark != "REGISTRATION" and not in_place(w)]
    sheet.words = [w for w in strange if w.mark == "TEXT" and w.at_mm[1] > FRAME_MM[1] + _HEAD_MM]
    return [w.text for w in strange if w not in sheet.words]


def _of_small_map(line: Line) -> bool:
    """Whether a line is one of the small map at the right of the head: level or upright."""
    low, high = line.points.min(axis=0), line.points.max(axis=0)
    square = line.closed or min(high - low) < 1e-3
    return bool(line.mark == "DIMENSION" and square and (low > _MAP_MM).all())


def _big(sheet: Sheet) -> str:
    big = _at(sheet, 0.0, BASE_MM)
    return big.text if big else ""


def _title(sheet: Sheet) -> bool:
    return _at(sheet, 0.0, FRAME_MM[1] - 16.0) is not None


def _test_page(sheet: Sheet, slots: Slots) -> list[str]:
    """Two rulers with their ticks, the steps beside them, blanks for what was measured."""
    for k, length in enumerate(RULERS_MM):
        along, off = np.eye(2)[[k, 1 - k]]
        origin = np.array([5.0, 3.0])
        slots.lines.append(np.array([origin, origin + along * length]))
        for mark in np.arange(0.0, length + 1, 10.0):
            reach = 5.0 if mark % 50 == 0 or mark == length else 3.0
            foot = origin + along * mark
            slots.lines.append(np.array([foot, foot + off * reach]))
    rulers = {w.text: w for w in sheet.words if w.text.isdigit()}
    steps = sorted((w.at_mm[1] for w in sheet.words if abs(w.at_mm[0] - 35.0) <= _NEAR_MM),
                   reverse=True)  # fmt: skip
    pitches = {round(a - b, 2) for a, b in pairwise(steps)}
    wrong = [] if pitches <= {6.12, 6.13, 9.62, 9.63} else ["steps that do not follow one another"]
    last = min(steps, default=0.0) - 6.125 - 3.5 - 6.0
    levels = (226.0, 216.0, last, last - 12.0, last - 24.0, *steps)
    for words in sheet.words:
        x, y = words.at_mm
        if words.text.isdigit() and abs(x - 25.0) > _NEAR_MM:
            wrong += (
                []
                if _on_ruler(words, _NEAR_MM + sheet.give * words.size_mm)
                else [f"{words.text} beside a ruler"]
            )
            slots.words.append(words.at_mm)
        elif (
            words.text == "mm"
            or abs(x - 35.0) <= _NEAR_MM
            or (abs(x - 25.0) <= _NEAR_MM
                and any(abs(y - at) <= _NEAR_MM for at in (*levels, *steps)))
        ):  # fmt: skip
            slots.words.append(words.at_mm)
        if words.text.endswith("mm, measured"):
            start = end_mm(words, bold=False) + 3.0
            slots.rule((start, y - 1.0), (start + 34.0, y - 1.0))
    return wrong + ([] if len(rulers) > 12 else ["rulers without figures"])


def _on_ruler(words: Words, room: float) -> bool:
    """Whether a figure stands in the middle of its tick, 7.5 mm off the ruler."""
    mark, wide = float(words.text), words.size_mm * np.array([width(words.text, b) for b in (0, 1)])
    x, y = words.at_mm
    level = np.abs(x + wide / 2 - 5.0 - mark).min() <= room and abs(y - 10.5) <= room
    tall = words.size_mm * CAP
    upright = np.abs(y + wide / 2 - 3.0 - mark).min() <= room
    return bool(level or (upright and abs(x - tall - 12.5) <= room))


def _list(sheet: Sheet, slots: Slots) -> None:
    """A table of all pieces, a line above each row."""
    edges = np.concatenate([[0.0], np.cumsum((34, 58, 20, 44, 34))])
    top = FRAME_MM[1] - 28.0
    rows = round((top - 2.0 - min((w.at_mm[1] for w in sheet.words if w.text.endswith(" OFF")),
                                  default=top)) / 5.4 + 0.26)  # fmt: skip
    slots.words.append((0.0, FRAME_MM[1] - 16.0))
    slots.words += [(float(x), top) for x in edges[:-1]]
    for k in range(rows):
        y = top - 2.0 - 5.4 * k
        slots.rule((edges[0], y), (edges[-1], y))
        slots.words += [(float(x), y - 4.0) for x in edges[:-1]]
    slots.lines += block_lines((5.0, 0.0))
    slots.words += block_words((5.0, 0.0))


# ---------------------------------------------------------------- cards of figures


def _card(piece: dict, card: dict, sheet: Sheet, slots: Slots, page: Page,
          stretch: Sequence[float]) -> list[str]:  # fmt: skip
    """A card: a line on top, head and rows in their columns, the piece in small with its letters
    and its arrow."""
    corner = np.array([(page.width_mm - FRAME_MM[0]) / 2, FRAME_CORNER_MM])
    x0, y0, x1, y1 = ((np.array(card["box_mm"]).reshape(2, 2) - corner) / stretch).ravel()
    slots.rule((x0, y1), (x1, y1))
    own = [w for w in sheet.words if y0 - 0.5 <= w.at_mm[1] < y1
           and x0 - 0.5 <= w.at_mm[0] < x1 + 0.5]  # fmt: skip
    if "of" in card:  # cut by the template of another
        rows_x = 40.0
        slots.words += [w.at_mm for w in own if abs(w.at_mm[0] - x0 - rows_x) <= _NEAR_MM]
        slots.words.append((x0 + 1.0, y1 - 9.0))
    else:
        rows_x = _COLUMNS_MM[0]
        name = next((w for w in own if w.mark == "ID"), None)
        head = max(rows_x, end_mm(name) - x0 + 6.0) if name else rows_x
        slots.words.append((x0 + 2.0, y1 - 12.5))
        first = max((w.at_mm[1] for w in own if w.text.startswith("Draw ")), default=y1)
        slots.words += [(x0 + head, y1 - 4.6 - _LINE_MM * k)
                        for k in range(int((y1 - 4.6 - first) / _LINE_MM) + 1)]  # fmt: skip
        count = int((first - y0) / _ROW_MM) + 1
        slots.words += [(x0 + x, first - _ROW_MM * k) for k in range(count) for x in _COLUMNS_MM]
    area = (x0, y0, x0 + rows_x, y1)
    return _picture(piece, card, sheet, slots, area)


def _picture(piece: dict, card: dict, sheet: Sheet, slots: Slots,
             area: tuple[float, float, float, float]) -> list[str]:  # fmt: skip
    """The outline of a piece in small: in its shape, its corners lettered, an arrow along the
    fibre; what is in order is taken off the sheet."""
    x0, y0, x1, y1 = area

    def inside(points: np.ndarray, beside: float = _BESIDE_MM) -> bool:
        return bool(((points >= (x0 - beside, y0 - beside)) & (points <= (x1, y1 - beside))).all())

    lines = [x for x in sheet.lines if inside(x.points, 0.0)]
    letters = {name for name, *_ in card["knots"]}
    words = [w for w in sheet.words if inside(np.array([w.at_mm]))
             and (w.mark == "FIBRE" or (w.mark == "TEXT" and w.text in letters))]  # fmt: skip
    outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
    rings = [outline, *(ring(hole) for hole in piece["holes_mm"])]
    shown = [x for x in lines if x.mark == "HIGHLIGHT"]
    fit = fit_of(rings, [x.points for x in shown])
    if fit is None:
        return [f"the picture of {piece['id']}"]
    knots = {name: np.array([x, y]) * fit[0] + fit[1] for name, x, y in card["knots"]}
    dots = [x for x in lines if x.mark == "DIMENSION" and x.curved]
    wrong = [f"the letter {w.text}" for w in words
             if w.mark == "TEXT" and apart(w, knots[w.text]) > _LETTER_MM]  # fmt: skip
    middles = plane.boxes([x.points for x in dots]).reshape(-1, 2, 2).mean(axis=1)
    at = np.array([*knots.values()]).reshape(-1, 2)
    if len(dots) != len(at) or off_from(at, middles) > FIT_MM:
        wrong.append(f"the corners of {piece['id']}")
    longer = [x for x in lines if x.mark == "GHOST" and x.closed]  # the template of a served piece
    rims = [x.points for x in (*longer, *shown)]
    away = np.min([plane.distance_to_path(at, rim) for rim in rims], axis=0) if len(at) else at
    if len(longer) != bool(card.get("ends")) or away.max(initial=0.0) > 2 * FIT_MM:
        wrong.append(f"the template of {piece['id']}")
    arrow = [x for x in lines if x.mark == "FIBRE"]
    said = [w for w in words if w.mark == "FIBRE"]
    if bool(arrow) != bool(said) or not arrow_whole(arrow, said, piece["angle_deg"]):
        wrong.append(f"the arrow of {piece['id']}")
    taken = {id(x) for x in (*shown, *longer, *dots, *arrow)}
    sheet.lines = [x for x in sheet.lines if id(x) not in taken]
    slots.words += [w.at_mm for w in words]
    return wrong


# ---------------------------------------------------------------- page maps


def _map(plan: dict, sheet: Sheet, slots: Slots, drawings: dict[str, Drawn],
         big: str) -> list[str]:  # fmt: skip
    """A piece in small under the tiles it is printed on, its two check lines, its card."""
    piece = next((p for p in plan["pieces"] if same(big, p["id"])), None)
    cuts = [x.points for x in sheet.lines if x.mark == "CUT"]
    outline = [] if piece is None else [ring(piece.get("cut_outline_mm", piece["outline_mm"]))]
    fit = fit_of(outline, cuts)
    top = _card_top(sheet)
    if piece is None or fit is None or top is None:
        return ["the map of a piece"]
    scale, shift = fit
    drawn = drawings[piece["id"]]
    wrong, key, left = [], [], []
    windows = [t["window_mm"] for t in plan["tiles"] if t["piece"] == piece["id"]]
    for line in sheet.lines:
        points = (line.points - shift) / scale
        if line.mark in ("GHOST", "DIMENSION") and _in_key(line, top):
            key.append(line)
        elif line.mark == "GHOST":
            wrong += [] if _of_tiles(points, windows) else ["a tile of a map"]
        elif line.mark == "ZONE" or (line.mark == "DIMENSION" and line.curved):
            ends = points if line.mark == "ZONE" else points[[0, 2]].mean(axis=0)[None]
            wrong += [] if off_from(ends, outline[0]) * scale <= FIT_MM else ["a check line"]
        elif line.mark in _MAPPED:
            wrong += [] if drawn.off(line.mark, points) * scale <= FIT_MM else [line.mark]
        else:
            left.append(line)
    sheet.lines = left
    if not _key_plan(plan, piece, key):
        wrong.append("where it lies")
    _under_map(sheet, slots, top)
    return wrong


def _of_tiles(points: np.ndarray, windows: Sequence[Sequence[float]]) -> bool:
    """Whether a line goes round a tile of the grid, or from corner to corner of one: on lines a
    pitch apart, or at the far edge of the last."""
    size = np.ptp(points, axis=0)
    first = np.array(windows[0][:2])
    for axis, (pitch, whole) in enumerate(((180.0, FRAME_MM[0]), (240.0, FRAME_MM[1]))):
        from_first = (points[:, axis].min() - first[axis]) / pitch
        if abs(from_first - round(from_first)) > 0.1 or min(
            abs(size[axis] - pitch), abs(size[axis] - whole)) > 0.05 * pitch:  # fmt: skip
            return False
    return len(points) in (2, 4)


def _card_top(sheet: Sheet) -> float | None:
    """The upper edge of the card on a page map, which stands on the title block and is as high as
    it must be."""
    tops = [float(x.points[:, 1].max()) for x in sheet.lines if x.mark == "FRAME" and x.closed
            and abs(x.points[:, 1].min() - BLOCK_MM) <= _NEAR_MM]  # fmt: skip
    return tops[0] if len(tops) == 1 else None


def _in_key(line: Line, top: float) -> bool:
    """Whether a closed line lies where the card shows a piece on its face."""
    low, high = line.points.min(axis=0), line.points.max(axis=0)
    return bool(line.closed and not line.curved and low[0] >= _KEY_X_MM - 0.1
                and high[1] < top)  # fmt: skip


def _key_plan(plan: dict, piece: dict, drawn: Sequence[Line]) -> bool:
    """Whether a card shows the face, then the piece where it lies on it."""
    if len(drawn) < 2:
        return False
    face, laid = ring(plan["surface"]["outline_mm"]), ring(piece["laid_outline_mm"])
    one, two = np.vstack([face, laid]), np.vstack([x.points for x in drawn[:2]])
    scale = float(np.ptp(two, axis=0).max() / np.ptp(one, axis=0).max())
    shift = two.min(axis=0) - one.min(axis=0) * scale
    off = [
        plane.distance_to_path(*pair).max()
        for line, true in zip(drawn, (face, laid), strict=False)
        for pair in ((line.points, true * scale + shift), (true * scale + shift, line.points))
    ]
    return max(off) <= _KEY_MM


def _under_map(sheet: Sheet, slots: Slots, top: float) -> None:
    """Names of tiles and corners in the map, words and blanks below it, the card at the foot."""
    slots.rule((5.0, BLOCK_MM), (185.0, BLOCK_MM), (185.0, top), (5.0, top))
    slots.lines += block_lines((5.0, 0.0))
    slots.words += block_words((5.0, 0.0))
    for words in sheet.words:
        x, y = words.at_mm
        if y < top:
            known = any(abs(x - at) <= _NEAR_MM for at in _CARD_X_MM)
            slots.words += [words.at_mm] if known and y > BLOCK_MM else []
        elif words.text.endswith(", measured"):
            start = end_mm(words, bold=False) + 3.0
            slots.rule((start, y - 1.0), (start + 30.0, y - 1.0))
            slots.words += [words.at_mm] if abs(x) <= _NEAR_MM else []
        elif y < FRAME_MM[1]:
            name = _NAMED.fullmatch(words.text) is not None
            slots.words += [words.at_mm] if name or abs(x) <= _NEAR_MM else []
