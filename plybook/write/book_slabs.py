"""Blocks of a document as slabs that are stacked down a page of the paper book.

Words stand in `book_words`, what is filled in in `book_blanks`; here are the pictures, and which
blocks stand side by side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from plybook.drawing.document import (
    Blank,
    Block,
    CautionBox,
    CheckBox,
    OnScreen,
    Photo,
    Picture,
    PictureRow,
    Plate,
    TimerBox,
)
from plybook.drawing.letters import LEADING, clean_text, wrapped
from plybook.write import book_blanks as blanks
from plybook.write import book_words as words
from plybook.write.book_pen import BODY, NOTE, WIDTH_MM, Pen, Slab


def page_slabs(
    blocks: Sequence[Block], room_mm: float, shrink: float = 1.0, gaps: float = 1.0
) -> Iterator[Slab]:
    """The slabs of a page's blocks; ticks and timers that follow one another stand side by side.

    Args:
        room_mm: the height of an empty page.
        shrink: largest scale of pictures.
        gaps: factor on the white space between slabs; below 1, cautions are set smaller too, and
            well below 1 the ids in hand.
    """
    if gaps < 1.0:
        blocks = [replace(b, small=True) if isinstance(b, CautionBox) else b for b in blocks]
    if gaps < 0.75:
        blocks = [replace(b, small=True) if isinstance(b, Plate) else b for b in blocks]
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
    if isinstance(block, CheckBox | TimerBox | Photo):
        return type(block).__name__
    if isinstance(block, CautionBox) and block.small and not block.source:
        return "reminder"
    if isinstance(block, Blank) and block.kind != "measure" and not block.note:
        label = wrapped(clean_text(block.label), WIDTH_MM / 2 - blanks.SHORT_MM - 6.0, BODY)
        return "blank" if len(label) <= 2 else ""
    return ""


def _run_slabs(run: Sequence[Any], room: float, shrink: float) -> Iterator[Slab]:
    first = run[0]
    if len(run) > 1 or _beside(first) in ("reminder", "Photo"):
        yield from _TOGETHER[type(first)](run)
    elif isinstance(first, Picture | PictureRow):
        row = first if isinstance(first, PictureRow) else PictureRow((first,))
        yield from _picture_row(row, room, shrink)
    else:
        yield from _ALONE[type(first)](first)


def _picture_row(block: PictureRow, room: float, shrink: float) -> Iterator[Slab]:
    sizes = []
    for picture in block.pictures:
        x0, y0, x1, y1 = picture.scene.window_mm
        sizes.append((x1 - x0, min(y1 - y0, picture.height_mm), y1 - y0))
    gaps = 4.0 * (len(sizes) - 1)
    scale = min(
        [
            1.0 if any(picture.to_scale for picture in block.pictures) else shrink,
            (WIDTH_MM - gaps) / sum(w for w, _, _ in sizes),
            *((room - 16.0) / tall for _, _, tall in sizes),
            *(most / tall for _, most, tall in sizes),
        ]
    )
    tall = max(t for _, _, t in sizes) * scale
    captions = [clean_text(p.caption) for p in block.pictures]
    lines = wrapped(" ".join(c for c in captions if c), WIDTH_MM, NOTE)
    height = tall + (1.6 + len(lines) * LEADING * NOTE if lines else 0.0)

    def draw(pen: Pen, y: float) -> None:
        x = 0.0 if len(sizes) > 1 else (WIDTH_MM - sizes[0][0] * scale) / 2
        for picture, (wide, _, own) in zip(block.pictures, sizes, strict=True):
            pen.scene(picture.scene, x, y + tall - own * scale, scale)
            x += wide * scale + 4.0
        for k, line in enumerate(lines):
            pen.words(line, 0.0, y + tall + 1.6 + NOTE + k * LEADING * NOTE, NOTE, grey=True)

    yield Slab(height, draw, before=3.0)


_ALONE = {**words.ALONE, **blanks.ALONE, OnScreen: lambda block: iter(())}
_TOGETHER = {**words.TOGETHER, **blanks.TOGETHER}
