"""What lies over something else on a page, by boxes that are added up by hand."""

from dataclasses import replace

import numpy as np
import pytest

from plybook.verify.covering import Drawn, covered

LINE = Drawn("CUT", np.array([[10.0, 10.0], [30.0, 10.0]]), "", True)
SQUARE = np.array([[5.0, 5.0], [60.0, 5.0], [60.0, 40.0], [5.0, 40.0]])
AREA = Drawn("FILL", SQUARE, "#faf3e2", False)


@pytest.mark.parametrize(
    ("area", "line", "hides"),
    [
        (None, None, True),
        ((40.0, 0.0, 90.0, 60.0), None, False),  # the area shows in the window beside only
        ((0.0, 0.0, 35.0, 60.0), None, True),
        (None, (40.0, 0.0, 90.0, 60.0), False),  # the line is hidden by its own window
        ((0.0, 0.0, 90.0, 60.0), (0.0, 0.0, 90.0, 60.0), True),
    ],
)
def test_an_area_hides_what_both_windows_show(area, line, hides):
    drawn = [replace(LINE, clip_mm=line), replace(AREA, clip_mm=area)]
    assert bool(list(covered(drawn))) == hides
