"""The one style: published series, and names that every reader of DXF takes."""

import math
import re

import pytest

from plybook.drawing.scene import Role
from plybook.drawing.style import (
    ID_HEIGHTS_MM,
    LETTER_HEIGHTS_MM,
    MEDIUM_MM,
    STROKES,
    THIN_MM,
    TINTS,
    WIDE_MM,
    dxf_layer,
    largest_letters_mm,
    tint_of,
)


def test_letter_heights_are_the_iso_3098_series():
    # ISO 3098-1 nominal sizes (from memory), each sqrt 2 times the one before, rounded
    assert LETTER_HEIGHTS_MM == (1.8, 2.5, 3.5, 5.0, 7.0, 10.0, 14.0, 20.0)
    for small, large in zip(LETTER_HEIGHTS_MM, LETTER_HEIGHTS_MM[1:], strict=False):
        assert large / small == pytest.approx(math.sqrt(2), rel=0.04)


def test_line_widths_are_of_the_iso_128_series_and_double_from_step_to_step():
    # ISO 128-2 series 0.13 0.18 0.25 0.35 0.5 0.7 1 1.4 2 (from memory); wide to narrow 2 : 1
    series = (0.13, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)
    assert {s.width_mm for s in STROKES.values()} - {0.0} <= set(series)
    assert pytest.approx(2, rel=0.03) == MEDIUM_MM / THIN_MM
    assert pytest.approx(2) == WIDE_MM / MEDIUM_MM


def test_every_role_has_a_stroke_and_a_layer_name_of_letters_digits_and_underscores():
    assert set(STROKES) == set(Role)
    for role in Role:
        assert re.fullmatch(r"[A-Z0-9_]{1,26}", dxf_layer(role))  # leaves room for _TEXT in 31
    assert len({dxf_layer(r) for r in Role}) == len(Role)


def test_a_cut_differs_from_every_other_line_by_more_than_colour():
    """On a black and white print the knife must still find its line."""
    look = {(s.width_mm, s.dash_mm) for r, s in STROKES.items()
            if r not in (Role.CUT, Role.CUT_INNER, Role.STOCK, Role.HIGHLIGHT)}  # fmt: skip
    assert (STROKES[Role.CUT].width_mm, STROKES[Role.CUT].dash_mm) not in look
    marks = (Role.NET, Role.BEVEL, Role.SPLICE, Role.STATION, Role.AXIS, Role.SEAM)
    assert len({(STROKES[r].width_mm, STROKES[r].dash_mm) for r in marks}) == len(marks)


@pytest.mark.parametrize("name", sorted(TINTS))
def test_black_words_stay_readable_on_every_tint(name):
    """Contrast of black on the tint is at least 7 : 1 (WCAG 2.1, success criterion 1.4.6)."""
    if name == "ink":
        return
    value = tint_of(name)
    channels = [int(value[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    ink = 0.007  # luminance of the ink #141414
    assert (luminance + 0.05) / (ink + 0.05) >= 7


def test_the_largest_letters_that_fit_a_box():
    assert largest_letters_mm(100, 30, 2.0) == 28.0
    assert largest_letters_mm(30, 30, 2.0) == 14.0
    assert largest_letters_mm(1, 30, 2.0) == 0.0
    assert ID_HEIGHTS_MM[0] == max(ID_HEIGHTS_MM)
