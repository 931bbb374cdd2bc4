"""The pages of the cut plan as they are read: headings, title blocks, figures, tables in columns.

Terms:
    block: one piece, one bar, one bay or one cut across in the mark-out table: title, words, rows.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from plybook.verify import plane
from plybook.verify.corners import INCH_MM
from plybook.verify.layouts import on_stock
from plybook.verify.pdf_pages import Page, Words

HEADS = {("along", "across"): "points", ("from", "to"): "bars"}
GOES_ON = " (goes on)"
FIGURE = r"[-\u2212]?(?:\d+ \d+/\d+|\d+/\d+|\d+(?:\.\d+)?)"
_FIGURE = re.compile(r"([-\u2212]?)(?:(\d+(?:\.\d+)?)(?: |$))?(?:(\d+)/(\d+))?")
_AT_LINE_MM = 1e-3  # a piece that begins so near before a line begins at it
_LEVEL_MM = 0.2  # words on one line
_LABEL_MM = 8.0  # a value stands this far below its label in the title block, or nearer


@dataclass(frozen=True)
class Cut:
    """One placed piece as plan.json has it; None where it does not say."""

    part: str
    piece: str
    names: tuple[str, ...]  # how it may be called
    copy: int
    quantity: int | None
    kind: str | None
    angle_deg: float | None
    stage: str | None
    flipped: bool
    ring_mm: np.ndarray  # counter-clockwise, from the stock's end and edge
    marks_mm: np.ndarray | None  # its corner points
    holes_mm: tuple[np.ndarray, ...] | None = None  # as the ring; None where it does not say
    fibre_deg: float | None = None  # on the stock
    kit: str | None = None  # what it comes off the roll with
    bay: int = 0  # in which it begins, 0 where the stock has none
    line_mm: float = 0.0  # where that begins
    told_mm: np.ndarray | None = None  # its corner points from there
    corner_mm: float | None = None  # what those are rounded to; None where it does not say


@dataclass
class Block:
    title: str
    words: list[str] = field(default_factory=list)
    rows: list[tuple[str, ...]] = field(default_factory=list)

    @property
    def said(self) -> str:
        return squeeze("".join(self.words))


def cuts_of(
    layout: dict, pieces: dict[str, dict], number: str,
    kit_of: Callable[[str, str], str] = lambda part, stage: stage,
) -> list[Cut]:  # fmt: skip
    """Every piece cut from one unit of stock.

    Args:
        layout: of plan.json.
        pieces: of the part, by id.
        number: of the part.
        kit_of: the kit of a part's piece, by part and stage.
    """
    rows = [(p, pieces[p["piece"]], number) for p in layout["placements"]]
    rows += [(p, p, p["part"]) for p in layout.get("also_cut", [])]
    alone = len({part for _, _, part in rows}) == 1
    return [
        Cut(part, p["piece"], (f"{part} {p['piece']}", *[p["piece"]] * alone), p["copy"],
            piece.get("quantity"), piece.get("kind"), piece.get("angle_deg"), piece.get("stage"),
            bool(p["flipped"]), outline,
            np.array(p["marks_mm"]) if "marks_mm" in p else None, _holes(piece, p, layout),
            _fibre(piece, p), kit_of(part, piece["stage"]) if "stage" in piece else None,
            *_begins_in(float(outline[:, 0].min()), layout),
            np.array(p["in_bay_mm"]) if "in_bay_mm" in p else None, p.get("corner_mm"))
        for p, piece, part in rows
        for outline in [on_stock(piece, p, layout)]
    ]  # fmt: skip


def _begins_in(low_mm: float, layout: dict) -> tuple[int, float]:
    """The bay in which a piece begins, and where that begins; (0, 0.0) where there are none."""
    lines = [(bay["number"], float(bay["at_mm"])) for bay in layout.get("bays", ())]
    return max((x for x in lines if x[1] <= low_mm + _AT_LINE_MM), default=(lines or [(0, 0.0)])[0],
               key=lambda x: x[1])  # fmt: skip


def _fibre(piece: dict, placement: dict) -> float | None:
    """The fibre's angle from the length of the stock."""
    if piece.get("angle_deg") is None:
        return None
    turned = -piece["angle_deg"] if placement["flipped"] else piece["angle_deg"]
    return float(turned + placement["rotation_deg"])


def _holes(piece: dict, placement: dict, layout: dict) -> tuple[np.ndarray, ...] | None:
    if "holes_mm" not in piece:
        return None
    holes = [{"outline_mm": hole} for hole in piece["holes_mm"]]
    return tuple(on_stock(hole, placement, layout) for hole in holes)


def length_mm(figure: str, unit: str) -> float:
    """A printed length.

    Raises:
        ValueError: it is none.
    """
    found = _FIGURE.fullmatch(figure)
    if not found or not (found[2] or found[3]):
        raise ValueError(f"{figure!r} is no length")
    value = float(found[2] or 0) + (int(found[3]) / int(found[4]) if found[3] else 0.0)
    return (-value if found[1] else value) * (INCH_MM if unit == "in" else 1.0)


def squeeze(text: str) -> str:
    """Words without their spaces."""
    return re.sub(r"\s+", "", text)


def reads_as(printed: str, wanted: str) -> bool:
    """Whether words may be how others are printed: shortened with an ellipsis, and a question
    mark for a character that the typeface lacks."""
    wanted = unicodedata.normalize("NFC", wanted)
    if printed.endswith("\u2026") and printed != wanted:
        printed = printed[:-1].rstrip()
        wanted = wanted[: len(printed)]
    return len(printed) == len(wanted) and all(
        a == b or (a == "?" and not b.isascii()) for a, b in zip(printed, wanted, strict=True)
    )


def heading(page: Page) -> list[str]:
    """The words in the top line, from the left."""
    top = max(w.at_mm[1] for w in page.words)
    line = [w for w in page.words if w.at_mm[1] > top - _LEVEL_MM]
    return [w.text for w in sorted(line, key=lambda w: w.at_mm[0])]


def in_title_block(page: Page, label: str) -> str:
    """The value under a label of the title block, "" where there is none."""
    labels = [w for w in page.words if w.text == label]
    if not labels:
        return ""
    x, y = min((w.at_mm for w in labels), key=lambda at: at[1])
    under = [w for w in page.words
             if abs(w.at_mm[0] - x) < _LEVEL_MM and 1.0 < y - w.at_mm[1] < _LABEL_MM]  # fmt: skip
    return max(under, key=lambda w: w.at_mm[1]).text if under else ""


def block_top_mm(page: Page) -> float:
    """The upper edge of the title block."""
    return max((w.at_mm[1] for w in page.words if w.text == "Part number"), default=0.0)


def table_heads(page: Page) -> tuple[str, list[Words]]:
    """Which table a page holds, "" none, and the middle head of each of its columns."""
    for (middle, last), kind in HEADS.items():
        firsts = [w for w in page.words if w.text == middle]
        levels = [w.at_mm[1] for w in page.words if w.text == last]
        heads = [w for w in firsts if any(abs(w.at_mm[1] - y) < _LEVEL_MM for y in levels)]
        if heads:
            return kind, sorted(heads, key=lambda w: w.at_mm[0])
    return "", []


def blocks(pages: Iterable[Page], cells: int = 3) -> list[Block]:
    """The blocks of a table, read by where the words stand, from column to column.

    Args:
        pages: of the table.
        cells: of a row.

    Raises:
        ValueError: there is no table on a page, or a row without a title.
    """
    found: list[Block] = []
    for line in _lines(pages):
        said = " ".join(line)
        if len(line) == cells:
            if not found:
                raise ValueError("figures without a title in a mark-out table")
            found[-1].rows.append(tuple(line))
        elif not found or (found[-1].rows and said != found[-1].title + GOES_ON):
            found.append(Block(said))
        elif said != found[-1].title + GOES_ON:
            found[-1].words.append(said)
    return found


def _lines(pages: Iterable[Page]) -> Iterator[list[str]]:
    """The lines of a table, each as its words from the left; a title begins every column."""
    for page in pages:
        _, heads = table_heads(page)
        if not heads:
            raise ValueError("a sheet without the heads of a table")
        left = min(w.at_mm[0] for w in page.words)
        inset = heads[0].at_mm[0] - left
        starts = np.array([w.at_mm[0] - inset for w in heads])
        low, high = block_top_mm(page) + 2.0, heads[0].at_mm[1] - 1.0
        columns: list[list[Words]] = [[] for _ in heads]
        for words in page.words:
            if low < words.at_mm[1] < high:
                place = int(np.searchsorted(starts, words.at_mm[0] + 0.5)) - 1
                columns[max(place, 0)].append(words)
        for column in columns:
            yield from _levels(column)


def _levels(words: list[Words]) -> Iterator[list[str]]:
    line: list[Words] = []
    for word in sorted(words, key=lambda w: -w.at_mm[1]):
        if line and line[0].at_mm[1] - word.at_mm[1] > _LEVEL_MM:
            yield [w.text for w in sorted(line, key=lambda w: w.at_mm[0])]
            line = []
        line.append(word)
    if line:
        yield [w.text for w in sorted(line, key=lambda w: w.at_mm[0])]


def whole_width_mm(layout: dict) -> float:
    """The width of a unit of stock from edge to edge."""
    return layout["width_mm"] + 2 * layout["edge_mm"]


def holds(cut: Cut, at: np.ndarray) -> bool:
    """Whether a point, from the stock's end and edge, lies in a placed piece."""
    low, high = cut.ring_mm.min(axis=0), cut.ring_mm.max(axis=0)
    if (at < low).any() or (at > high).any():
        return False
    return bool(plane.inside(at[None], cut.ring_mm)[0])
