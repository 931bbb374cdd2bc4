"""How the pages of a document share out over sheets of paper.

Terms:
    sheet: one side of paper.
    alone: a page that shares its sheet with no other, such as a step that lays something, so that
        the book lies open at it.
    squeeze: how much smaller pictures, ids and gaps are made for a page to fit one sheet. Letters
        shrink with their picture, but never below the least letter height of the style.

Every other page follows the one before it on the same sheet where it fits whole and belongs to
the same chapter, or opens the next stage; tables may also run on to the next sheet. Sheets that
this leaves nearly empty are evened out afterwards (`plybook.write.book_even`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from plybook.drawing.document import Page, Picture, PictureRow
from plybook.drawing.letters import LEADING, clean_text, fitted, wrapped
from plybook.drawing.scene import Text
from plybook.drawing.style import LETTER_HEIGHTS_MM
from plybook.write.book_pen import BODY, HEAD, NOTE, PLATE, TITLE, WIDTH_MM, Pen, Slab
from plybook.write.book_slabs import page_slabs

LEAST_LETTER_MM = LETTER_HEIGHTS_MM[0]
SQUEEZES = (1.0, 0.9, 0.8, 0.72, 0.6, 0.45)
RUN_ON_MM = 60.0  # a table starts low on a sheet where at least this much room is left


@dataclass
class Sheet:
    """One side of paper: the pages that start on it and all its slabs."""

    starts: list[Page]
    slabs: list[Slab]
    open: bool  # another page may follow on it
    whole: bool = True  # nothing on it has run on from the sheet before, or runs on to the next
    fresh: bool = True  # it begins with the start of a page


def gathered(pages: Sequence[Page], room: float) -> list[Sheet]:
    """The sheets of all pages, in order.

    Args:
        pages: of one document.
        room: height of an empty sheet between head and foot, mm.
    """
    sheets: list[Sheet] = []
    chapter = ""
    whole = _Wholes(room)
    for page in pages:
        last = sheets[-1] if sheets else None
        tall = height_of(whole.slabs(page))
        follows = page.chapter == chapter or _kit(last, page)
        if last and last.open and not page.alone and follows:
            together = _together([*last.starts, page], room, whole) if last.whole else []
            if together:
                last.slabs = together
                last.starts.append(page)
                chapter = page.chapter
                continue
            below = _below(last, page, room, tear=tall > room)
            if below:
                last.slabs += [divider(), *below[0]]
                last.starts.append(page)
                chapter = page.chapter
                sheets += [Sheet([], part, True, False, fresh=False) for part in below[1:]]
                continue
        chapter = page.chapter
        parts = squeezed(page, room)
        sheets += [
            Sheet([page] if k == 0 else [], part, not page.alone, len(parts) == 1, fresh=k == 0)
            for k, part in enumerate(parts)
        ]
    return sheets


def _kit(last: Sheet | None, page: Page) -> bool:
    """Whether a page opens the next stage below the steps of the one before."""
    if last is None or not last.starts:
        return False
    return page.kind == "table" and last.starts[-1].kind == "step"


class _Wholes:
    """Pages on one sheet however tall, each way of setting a page made once."""

    def __init__(self, room: float) -> None:
        self._room = 10 * room
        self._made: dict[tuple[int, float, float, float], list[Slab]] = {}

    def slabs(
        self, page: Page, shrink: float = 1.0, gaps: float = 1.0, large: float = TITLE
    ) -> list[Slab]:
        """A page's slabs; the arguments are those of `_sheets`."""
        key = id(page), shrink, gaps, large
        if key not in self._made:
            sheets = _sheets(page, self._room, shrink, gaps, large)
            self._made[key] = [slab for sheet in sheets for slab in sheet]
        return self._made[key]


def _together(pages: Sequence[Page], room: float, whole: _Wholes) -> list[Slab]:
    """Some pages on one sheet, with the least squeeze that does it; [] where none does."""
    floor = max(map(least_scale, pages))

    def squeezed_by(squeeze: float) -> list[Slab]:
        slabs: list[Slab] = []
        for page in pages:
            if slabs:
                slabs.append(divider())
            cap = HEAD if len(slabs) else TITLE
            slabs += whole.slabs(page, max(squeeze, floor), squeeze, cap)
        return slabs if height_of(slabs) <= room else []

    slabs = squeezed_by(SQUEEZES[0])
    if slabs or not squeezed_by(SQUEEZES[-1]):  # what the last does not do, none does
        return slabs
    return next(filter(None, map(squeezed_by, SQUEEZES[1:])))


def _below(last: Sheet, page: Page, room: float, tear: bool) -> list[list[Slab]]:
    """A page's slabs where it starts below what a sheet holds, by sheet; [] where it may not.

    Args:
        tear: whether it may run on to the next sheet: a table that one sheet holds is not torn.
    """
    left = room - height_of([*last.slabs, divider()])
    floor = least_scale(page)
    for squeeze in SQUEEZES:
        parts = list(_sheets(page, left, max(squeeze, floor), squeeze, HEAD))
        if len(parts) == 1 and height_of(parts[0]) <= left:
            return parts
    if tear and page.kind == "table" and left >= RUN_ON_MM:
        parts = list(_sheets(page, room, large=HEAD, first_room=left))
        if height_of(parts[0]) <= left:
            return parts
    return []


def squeezed(page: Page, room: float) -> list[list[Slab]]:
    """A page's slabs by sheet, with the least squeeze that brings it onto one; none where no
    squeeze does."""
    whole = list(_sheets(page, room))
    if len(whole) == 1:
        return whole
    floor = least_scale(page)
    for squeeze in SQUEEZES[1:]:
        tight = list(_sheets(page, room, max(squeeze, floor), squeeze))
        if len(tight) == 1:
            return tight
    return whole


def least_scale(page: Page) -> float:
    """How far the page's pictures may shrink before their smallest letters are too small."""
    scenes = [
        picture.scene
        for block in page.blocks
        if isinstance(block, Picture | PictureRow)
        for picture in (block.pictures if isinstance(block, PictureRow) else (block,))
    ]
    letters = [i.height_mm for scene in scenes for i in scene.items if isinstance(i, Text)]
    return min(1.0, LEAST_LETTER_MM / min(letters)) if letters else 0.0


def divider() -> Slab:
    """The rule between two pages on one sheet."""

    def draw(pen: Pen, y: float) -> None:
        pen.rule(0.0, y + 3.0, WIDTH_MM, y + 3.0, 0.7)

    return Slab(4.5, draw, before=3.0)


def _sheets(
    page: Page,
    room: float,
    shrink: float = 1.0,
    gaps: float = 1.0,
    large: float = TITLE,
    first_room: float | None = None,
) -> Iterator[list[Slab]]:
    """The page's slabs shared out over sheets; nothing is torn, headings stay with what follows.

    Args:
        shrink: largest scale of its pictures.
        gaps: factor on the white space between slabs.
        large: letter height of its title.
        first_room: what is left of the sheet it starts on.
    """
    flow = [title_slab(page, large), *page_slabs(page.blocks, room, shrink, gaps)]
    sheet: list[Slab] = []
    used = 0.0 if first_room is None else room - first_room
    groups = list(groups_of(flow))
    breaks = _good_break(groups, room) if first_room is None else -1
    for place, group in enumerate(groups):
        tall = height_of(group)
        if sheet and (used + tall > room or place == breaks):
            yield sheet
            sheet = [continued(page)]
            if group[0].again is not None:
                sheet.append(group[0].again)
            used = height_of(sheet)
        for slab in group:  # a group taller than a sheet is let run on
            sheet.append(slab)
            used += slab.before + slab.height
    yield sheet


def height_of(group: Sequence[Slab]) -> float:
    """Of slabs one under another, mm."""
    return sum(s.before + s.height for s in group)


def _good_break(groups: Sequence[Sequence[Slab]], room: float) -> int:
    """Where to break a page that needs two sheets: at the last heading that leaves both full
    enough to hold, so that a sign-off does not stand alone; -1 for wherever the sheet is full."""
    heights = [height_of(group) for group in groups]
    if sum(heights) <= room or sum(heights) > 1.9 * room:
        return -1
    fits = [
        k
        for k, group in enumerate(groups)
        if group[0].chapter and sum(heights[:k]) <= room and sum(heights[k:]) <= room - 10.0
    ]
    return fits[-1] if fits else -1


def groups_of(flow: Sequence[Slab]) -> Iterator[list[Slab]]:
    """Runs that stay together: slabs marked `with_next` and the one that follows."""
    group: list[Slab] = []
    for slab in flow:
        group.append(slab)
        if not slab.with_next:
            yield group
            group = []
    if group:
        yield group


def title_slab(page: Page, large: float = TITLE) -> Slab:
    """Title and kicker; `large`: letter height of the title."""
    title = clean_text(page.title)
    if page.kind == "cover":
        large = PLATE
    cap = large if len(wrapped(title, WIDTH_MM, large, True)) == 1 else HEAD
    lines = wrapped(title, WIDTH_MM, cap, True)
    kicker = wrapped(clean_text(page.kicker), WIDTH_MM, NOTE)
    first = len(kicker) * LEADING * NOTE + (2.5 if cap == PLATE else 1.5)

    def draw(pen: Pen, y: float) -> None:
        for k, line in enumerate(kicker):
            pen.words(line, 0.0, y + 1.5 + NOTE + k * LEADING * NOTE, NOTE)
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + first + cap + 1.0 + k * 1.5 * cap, cap, True)

    return Slab(first + 1.0 + len(lines) * 1.5 * cap, draw, with_next=True)


def continued(page: Page) -> Slab:
    """The title again where a page runs on."""
    words = fitted(clean_text(f"{page.title}, continued"), WIDTH_MM, BODY, True)

    def draw(pen: Pen, y: float) -> None:
        pen.words(words, 0.0, y + BODY + 1.0, BODY, True)

    return Slab(LEADING * BODY + 2.0, draw)
