"""A full-size sheet shows what the drawing for the cutter shows: every line and word of either has
its like in the other, kind by kind, in the order of drawing, moved as a whole.

The drawing for the cutter is held against its own twin and plan.json elsewhere.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import zip_longest

import numpy as np

from plybook.verify.allowed_svg import REFERENCE
from plybook.verify.looks import LOOKS, kind_of
from plybook.verify.pagepictures import Item, same_shape, same_words
from plybook.verify.pdf_pages import Page
from plybook.verify.svg_paths import Drawing

Kinds = dict[tuple[str, str], list[Item]]  # kind of line, and line, round or words
_AROUND = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])


def sheet_differs(picture: Drawing, page: Page, held_by: str = "CUT") -> str:
    """What a sheet has otherwise than the drawing it shows, "" nothing.

    Args:
        picture, page: the drawing and the sheet.
        held_by: the kind of line by which the two are laid over one another.
    """
    ours, theirs = _of_drawing(picture), _of_page(page)
    corners = [
        min((item.points.min(axis=0) for item in kinds[held_by, "line"]), key=tuple, default=None)
        for kinds in (ours, theirs)
    ]
    if corners[0] is None or corners[1] is None:
        return f"has no line on {held_by}"
    shift = corners[1] - corners[0]
    for kind in sorted(ours.keys() | theirs.keys()):
        for one, two in zip_longest(ours[kind], theirs[kind]):
            if one is None or two is None:
                return f"has more or less on {kind[0]}"
            same = same_words if kind[1] == "words" else same_shape
            if one.text != two.text or one.closed != two.closed or not same(one, two, 1.0, shift):
                return f"has {two.text or 'a line'!r} otherwise on {kind[0]}"
    return ""


def _of_drawing(picture: Drawing) -> Kinds:
    found: Kinds = defaultdict(list)
    for path in picture.paths:
        if path.layer != REFERENCE and path.stroked and LOOKS[kind_of(path.layer)].width_mm:
            item = Item("line", path.points, path.closed)
            found[kind_of(path.layer), "line"].append(item)
    for layer, x, y, radius in picture.circles:
        if layer != "FILL":
            ring = _AROUND * radius + (x, y)
            found[kind_of(layer), "round"].append(Item("line", ring, True, round=True))
    for words in picture.texts:
        if words.layer != REFERENCE:
            at, look = words.along(0.0)[None], ("", words.height)
            item = Item("words", at, False, look, words.text, words.turn_deg)
            found[kind_of(words.layer), "words"].append(item)
    return found


def _of_page(page: Page) -> Kinds:
    found: Kinds = defaultdict(list)
    for line in page.lines:
        item = Item("line", line.points, line.closed, round=line.curved)
        found[line.mark, "round" if line.curved else "line"].append(item)
    for words in page.words:
        if words.text.strip():
            item = Item("words", np.array([words.at_mm]), False, (words.ink, words.size_mm),
                        words.text, words.turn_deg)  # fmt: skip
            found[words.mark, "words"].append(item)
    return found
