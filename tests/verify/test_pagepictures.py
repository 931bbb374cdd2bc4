"""Pictures of the booklet within their windows."""

import numpy as np
import pytest

from plybook.verify.booktwins import Card, _check_pictures
from plybook.verify.pagepictures import PX_PER_MM, Item, differ, out_of_view
from plybook.verify.pagetree import Element
from plybook.verify.report import Report

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


class Shown:
    """A screen with the same picture in each of its windows."""

    def __init__(self, items):
        self.items = items

    def picture(self, svg):
        return self.items


def told(card, items, paper):
    report = Report("a folder")
    _check_pictures(card, Shown(items), paper, "a card", report)
    return report.faults


def test_one_picture_out_of_its_window_is_told_once_and_those_after_it_are_held_to_the_paper():
    small = Element("svg", {"viewbox": "0 0 50 40", "width": str(50 * PX_PER_MM)}, None)
    card = Card("", "", "step", pictures=[(small, False), (WINDOW, False)])
    items = [FRAME, words(1.0, -20.0)]
    (fault,) = told(card, items, items * 2)
    assert "is cut off" in fault


def test_a_layout_that_paper_leaves_out_is_held_to_its_window():
    small = Element("svg", {"viewbox": "0 0 50 40", "width": str(50 * PX_PER_MM)}, None)
    items = [FRAME, words(1.0, -20.0)]
    assert told(Card("", "", "card layout", pictures=[(WINDOW, True)]), items, []) == []
    for shown, wrong in ((items, "is cut off"), ([], "is empty")):
        (fault,) = told(Card("", "", "card layout", pictures=[(small, True)]), shown, [])
        assert wrong in fault


def test_what_differs_is_called_by_what_it_is():
    area = Item("area", FRAME.points, True, ("#ffffff",))
    assert differ([FRAME], [area]) == "has a line for an area"
    assert differ([words(1.0, -20.0)], [FRAME]) == "has 'MMMMMMMMMM' for a line"
