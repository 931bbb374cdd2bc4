"""Pictures of the booklet within their windows."""

import numpy as np
import pytest

from plybook.verify.pagepictures import PX_PER_MM, Item, out_of_view
from plybook.verify.pagetree import Element

WINDOW = Element("svg", {"viewbox": "0 0 60 40", "width": str(60 * PX_PER_MM)}, None)
FRAME = Item("line", np.array([(0.0, 0.0), (60.0, -40.0)]), look=("#141414", 0.2))


def words(x, y, turn_deg=0.0):
    """Ten letters M at 4 mm: in the typeface each is between half the size and the size wide."""
    return Item("words", np.array([(x, y)]), look=("#141414", 4.0), text="M" * 10,
                turn_deg=turn_deg)  # fmt: skip


@pytest.mark.parametrize(
    ("placed", "wrong"),
    [
        (words(1.0, -20.0), ""),
        (words(45.0, -20.0), "is cut off"),  # begins within and runs out to the right
        (words(5.0, -39.0, 90.0), ""),
        (words(5.0, -15.0, 90.0), "is cut off"),  # out at the top
        (words(20.0, -39.0, -90.0), "is cut off"),
        (words(1.0, -1.0), "is cut off"),  # its capitals
        (words(20.0, -20.0, 180.0), "is cut off"),
    ],
)
def test_words_are_seen_from_their_first_letter_to_their_last(placed, wrong):
    assert out_of_view(WINDOW, [FRAME, placed]) == wrong
