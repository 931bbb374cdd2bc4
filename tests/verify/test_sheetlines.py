"""Which lines of a page belong to which of the windows on it."""

from types import SimpleNamespace

import numpy as np
import pytest

from plybook.verify import sheetlines
from plybook.verify.pdf_pages import Line, Page
from plybook.verify.report import Report

LEFT = {"piece": "A", "page": 1, "window_mm": [562.0, -52.0, 654.0, 70.0],
        "corner_mm": [10.0, 138.0], "stretch": [1.0, 1.0]}  # fmt: skip
RIGHT = {"piece": "A", "page": 1, "window_mm": [563.0, 187.0, 655.0, 309.0],
         "corner_mm": [108.0, 138.0], "stretch": [1.0, 1.0]}  # fmt: skip
CLIPS = {"left": (10.0, 138.0, 102.0, 260.0), "right": (108.0, 138.0, 200.0, 260.0)}


@pytest.mark.parametrize(("clip", "held"), [("left", 1), ("right", 0)])
def test_a_line_on_the_other_windows_run_is_left_out_only_where_that_cuts_it_off(
    monkeypatch, clip, held
):
    """A line 65 mm above the foot of both windows is, in the frame of the right one, at 187 + 65 =
    252 and so on the shaft of the arrow of the drawing, though far to the left of that window."""
    shaft = np.array([(463.9, 252.0), (603.9, 252.0)])
    on_page = np.array([(31.0, 203.0), (55.0, 203.0)])
    line = Line("FIBRE", on_page, False, 0.25)
    page = Page(210.0, 297.0, [line], painted=[(line, CLIPS[clip])])
    monkeypatch.setattr(sheetlines, "open_book", lambda _: SimpleNamespace(page=lambda _: page))
    plan = {"pieces": [{"id": "A"}], "tiles": [LEFT, RIGHT]}
    drawings = {"A": sheetlines.Drawn({"FIBRE": [shaft]}, {})}
    left, right = sheetlines._tiles(plan, {sheetlines.TILED: b""}, drawings, Report("x"))
    assert len(left.lines["FIBRE"]) == held
    assert not right.lines["FIBRE"]
