"""How pages share out over sheets: own sheets, shared ones, squeezed ones."""

import numpy as np

from plybook.drawing.document import (
    Blank,
    CheckBox,
    Cup,
    Cups,
    Page,
    Paragraph,
    Picture,
    Plate,
    Table,
    TimerBox,
)
from plybook.drawing.scene import Path, Role, Scene, Text
from plybook.write.book_even import HALF, evened
from plybook.write.book_sheets import LEAST_LETTER_MM, gathered, squeezed

ROOM = 267.0  # A4 between head and foot


def picture(tall, letters=2.5):
    frame = Path(Role.FRAME, np.array([[0, 0], [180, 0], [180, tall], [0, tall]], float), True)
    words = Text(Role.TEXT, (10.0, 10.0), "words", letters)
    return Picture(Scene((frame, words), (0.0, 0.0, 180.0, tall)), tall)


def step(k, *blocks, **more):
    return Page(f"s{k}", f"Step {k}", "stage", blocks, "step", "1. Stage", **more)


def starts(sheets):
    return [[page.id for page in sheet.starts] for sheet in sheets]


def height(sheet):
    return sum(slab.before + slab.height for slab in sheet.slabs)


def test_short_steps_share_and_one_that_lays_stands_alone():
    pages = [step(0, CheckBox("a", "x")), step(1, Plate(("A1",)), CheckBox("b", "x"), alone=True),
             step(2, CheckBox("c", "x")), step(3, CheckBox("d", "x"))]  # fmt: skip
    assert starts(gathered(pages, ROOM)) == [["s0"], ["s1"], ["s2", "s3"]]


def test_a_page_that_nearly_fits_is_squeezed_onto_one_sheet():
    page = step(0, picture(140.0), picture(130.0), *(CheckBox(f"c{k}", "done") for k in range(4)))
    (sheet,) = squeezed(page, ROOM)
    assert sum(slab.before + slab.height for slab in sheet) <= ROOM


def test_letters_never_shrink_below_the_least_of_the_series():
    """ISO 3098-1: the series of nominal lettering heights starts at 1.8 mm."""
    assert LEAST_LETTER_MM == 1.8
    small = step(0, picture(150.0, 1.8), picture(140.0, 1.8), CheckBox("a", "done"))
    assert len(squeezed(small, ROOM)) == 2


def test_a_page_far_too_long_keeps_its_size():
    lines = [Paragraph(f"line {k}") for k in range(80)]
    parts = squeezed(step(0, *lines), ROOM)
    assert len(parts) > 1
    assert len({slab.before for part in parts for slab in part if slab.height < 7}) <= 2


def test_no_sheet_is_over_full_and_none_of_the_pages_is_lost():
    pages = [step(k, *(CheckBox(f"{k}.{n}", "tick " * 9) for n in range(k))) for k in range(25)]
    sheets = gathered(pages, ROOM)
    assert all(height(sheet) <= ROOM for sheet in sheets)
    assert [id for sheet in starts(sheets) for id in sheet] == [page.id for page in pages]


def test_a_table_that_one_sheet_holds_is_not_torn_and_a_longer_one_runs_on():
    short = Page("t", "Table", "", (Table(("a",), (("row",),) * 25),), chapter="1. Stage")
    before = step(0, *(CheckBox(f"c{k}", "tick " * 9) for k in range(14)))
    sheets = gathered([before, short], ROOM)
    assert starts(sheets) == [["s0"], ["t"]]
    long = Page("t", "Table", "", (Table(("a",), (("row",),) * 60),), chapter="1. Stage")
    sheets = gathered([before, long], ROOM)
    assert starts(sheets)[0] == ["s0", "t"] and len(sheets) > 1


def test_a_cup_has_its_masses_times_and_lots_in_one_box():
    cup = Cup("R1", "resin 100.0 g + hardener 27.0 g = 127.0 g", "P1", Blank("m", "mixed", "time"),
              Blank("l", "lots"), TimerBox("t", "Cup R1", 3600, "limit"))  # fmt: skip
    (sheet,) = gathered([step(0, Cups((cup,)))], ROOM)
    said = []

    class Pen:
        def words(self, text, *_, **__):
            said.append(text)

        def box(self, *_, **__):
            said.append("[]")

    sheet.slabs[-1].draw(Pen(), 0.0)
    assert said[1:] == [
        "R1", "resin 100.0 g + hardener 27.0 g = 127.0 g", "P1",
        "mixed at", "[]", "", "all of it on by", "[]", "(1 h later)", "lots", "[]", "",
    ]  # fmt: skip


def test_slack_sheets_are_filled_from_those_beside_and_no_page_is_lost():
    """Three pages of 0.4, 0.9 and 0.5 of a sheet: three sheets, or two that are well filled."""
    pages = [step(k, *(CheckBox(f"{k}.{n}", "tick " * 30) for n in range(count)))
             for k, count in enumerate((10, 24, 12))]  # fmt: skip
    before = gathered(pages, ROOM)
    after = evened(before, ROOM)
    assert any(height(sheet) < HALF * ROOM for sheet in before)
    assert len(after) <= len(before)
    assert all(HALF * ROOM <= height(sheet) <= ROOM for sheet in after)
    assert [id for sheet in starts(after) for id in sheet] == [page.id for page in pages]


def test_a_single_short_page_stays_as_it_is():
    sheets = gathered([step(0, CheckBox("a", "x"))], ROOM)
    assert starts(evened(sheets, ROOM)) == [["s0"]]
