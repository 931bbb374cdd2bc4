"""The ply book as a document: everything is in it, in the order of work, under names that last."""

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from plybook.drawing.book import NEVER_SIZES, booklet
from plybook.drawing.document import (
    Blank,
    CautionBox,
    CheckBox,
    Paragraph,
    Picture,
    PictureRow,
    Plate,
    SignOff,
    Table,
    TimerBox,
    limit_words,
    show_duration,
)
from plybook.drawing.recordkey import plan_key
from plybook.plan import plan_dict
from plybook.shop.model import Batch
from tests.drawing import doubles


def parts(shop=None, laminate=None, **part):
    face = doubles.TaperedFace()
    laminate = laminate or doubles.laminate(face)
    return (
        doubles.spec(**part), face, laminate, doubles.cut_plan(doubles.laminate(face)),
        shop or doubles.shop(), laminate.findings,
    )  # fmt: skip


@pytest.fixture(scope="module")
def book():
    return booklet(*parts())


def page(document, id):
    return next(p for p in document.pages if p.id == id)


def of(page, kind):
    return [b for b in page.blocks if isinstance(b, kind)]


def texts(thing):
    """Every text of a page, a block or a picture in it."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for part in thing:
            yield from texts(part)
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from texts(getattr(thing, field.name))


def test_every_step_has_its_page_in_the_order_of_work(book):
    wanted = [step.id for stage in doubles.shop().stages for step in stage.steps]
    assert [p.id for p in book.pages if p.kind == "step"] == wanted


def test_a_kicker_counts_stages_and_steps(book):
    assert page(book, "lay-p2").kicker == "Stage 2 of 4 · Outer skin · step 2 of 5"


def test_ids_of_pages_and_fields_are_used_once(book):
    ids = [p.id for p in book.pages]
    assert len(ids) == len(set(ids))
    fields = list(doubles.field_ids(book))
    assert len(fields) == len(set(fields)) > 50


def test_the_cover_says_what_the_book_never_does(book):
    assert Paragraph(NEVER_SIZES, strong=True) in book.pages[0].blocks
    assert ("Hand", "LEFT hand") in book.facts and ("Other hand", "KT-211") in book.facts


def test_the_cut_list_holds_each_piece_with_its_stock_and_stage(book):
    (table,) = of(page(book, "cut-list"), Table)
    rows = {row[0]: row for row in table.rows}
    assert list(rows) == [p.id for p in doubles.laminate().pieces]
    # 0.52 x 3800 = 1976 mm long, 1200 mm wide at the root
    assert rows["P1-1"][5] == "1976 × 1200" and rows["P1-1"][3] == "+45°"
    assert rows["P1-1"][-1] == "ROLL-1" and rows["C1-1"][-1] == "SHEET-1"
    assert rows["C1-1"][-2] == "3"
    # trapezoid: half the sum of the chords times the length, / 1e6
    assert float(rows["P1-1"][6]) == pytest.approx(1976 * (1200 + 971.2) / 2 / 1e6, abs=5e-4)


def test_a_laying_step_shows_pieces_angle_pictures_checks_and_blanks(book):
    step = page(book, "lay-p1")
    (plate,) = of(step, Plate)
    assert plate.ids == ("P1-1", "P1-2") and plate.angle == "+45°"
    assert len(of(step, Picture)) == 1 and len(of(step, PictureRow)) == 1
    assert {b.id for b in of(step, CheckBox)} == {"lay-p1.angle", "lay-p1.lines"}
    assert [b.text for b in of(step, CautionBox)] == [
        doubles.shop().stages[1].steps[0].cautions[0].text
    ]
    assert of(step, TimerBox)[0].seconds == 2400
    closing = of(step, SignOff)[-1].blanks
    assert [b.id for b in closing] == ["lay-p1.initials", "lay-p1.time", "lay-p1.lot"]


def test_cautions_come_before_what_is_to_be_done(book):
    kinds = [type(b).__name__ for b in page(book, "lay-p1").blocks]
    assert kinds.index("CautionBox") < kinds.index("Items") < kinds.index("CheckBox")


def test_a_cup_is_mixed_in_one_step_and_only_named_in_the_next():
    shop = doubles.shop()
    stages = list(shop.stages)
    steps = list(stages[1].steps)
    steps[2] = replace(steps[2], batches=("E3",))  # R1 goes on with what P2 left
    stages[1] = replace(stages[1], steps=tuple(steps))
    document = booklet(*parts(shop=replace(shop, stages=tuple(stages))))
    mixed = [id for id in doubles.field_ids(document) if id.endswith("E3.mixed")]
    assert mixed == ["lay-p2.E3.mixed"]
    assert any("left of E3" in b.text for b in of(page(document, "lay-r1"), Paragraph))


def test_batches_show_parts_that_sum_to_the_whole_as_printed(book):
    """ISO 80000-1 rounding aside: what is printed must add up, digit for digit."""
    rows = {row[0]: row for table in of(page(book, "resin"), Table) for row in table.rows}
    assert list(rows) == [batch.id for batch in doubles.shop().batches]
    for batch in doubles.shop().batches:
        _, _, parts, total, *_ = rows[batch.id]
        resin, hardener = (float(p.split()[1]) for p in parts.split(" + "))
        assert resin + hardener == pytest.approx(float(total), abs=1e-9)
        assert float(total) == batch.mass_g


def test_a_cup_that_does_not_last_is_said():
    shop = doubles.shop()
    late = replace(shop.batches[0], in_time=False)
    document = booklet(*parts(shop=replace(shop, batches=(late, *shop.batches[1:]))))
    assert any("DOES NOT LAST" in words for page in document.pages for words in texts(page))
    assert isinstance(late, Batch)


def test_growth_stands_in_the_table_of_the_stack(book):
    (table,) = of(page(book, "stack"), Table)
    q1 = next(row for row in table.rows if row[1] == "Q1")
    assert q1[-2:] == ("+9", "+5")


def test_findings_show_open_ones_and_accepted_ones_with_their_reason(book):
    words = " ".join(b.text for b in of(page(book, "findings"), Paragraph))
    assert "splice-near-spar" in words and "To mend it: move the splice." in words
    assert "Accepted because: the designer asked for 45 in note 3." in words


def test_the_jig_card_asks_for_every_measure(book):
    blanks = of(page(book, "jig"), Blank)
    assert [(b.id, b.expected, b.tolerance) for b in blanks] == [
        ("jig.rise-1900", 82.5, 2.0),
        ("jig.diag", 3912.4, 3.0),
    ]


def test_the_record_key_follows_pieces_and_steps_and_nothing_else():
    base = booklet(*parts()).record_key
    assert len(base) == 16
    assert booklet(*parts(date="2030-01-01", notes=("a note",))).record_key == base
    assert booklet(*parts(revision="C")).record_key != base
    laminate = doubles.laminate()
    piece = laminate.pieces[0]
    longer = replace(piece, outline_mm=piece.outline_mm + [[0, 0], [1, 0], [1, 0], [0, 0]])
    changed = replace(laminate, pieces=(longer, *laminate.pieces[1:]))
    assert booklet(*parts(laminate=changed)).record_key != base


def test_the_key_read_back_from_the_plan_is_the_books():
    import json

    from plybook.plan import to_json

    plan = json.loads(to_json(plan_dict(*parts())))
    assert plan_key(plan) == booklet(*parts()).record_key


@pytest.mark.parametrize("words", doubles.NASTY)
def test_hostile_words_reach_the_document_unchanged(words):
    document = booklet(*parts(name=words, notes=(words,)))
    assert document.name == words and document.pages[0].title == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(30, "30 s"), (90, "2 min"), (3600, "1 h"), (5400, "1 h 30 min"), (86400, "24 h"),
     (3599, "1 h"), (0, "0 s")],
)  # fmt: skip
def test_durations_read_as_people_say_them(seconds, words):
    assert show_duration(seconds) == words


@pytest.mark.parametrize(
    ("blank", "words", "limits"),
    [
        (Blank("a", "", "measure", "mm", 20.0, 3.0), "20 ± 3 mm", (17.0, 23.0)),
        (Blank("a", "", "measure", "mbar", at_most=34.0), "at most 34 mbar", (None, 34.0)),
        (Blank("a", "", "measure", "", at_least=0.9), "at least 0.9", (0.9, None)),
        (Blank("a", "", "measure", "%", at_least=30, at_most=70), "30 to 70 %", (30, 70)),
        (Blank("a", "", "measure", "g", 11400.0), "11400 g", (None, None)),
    ],
)
def test_limits_of_a_measure_in_words_and_figures(blank, words, limits):
    assert limit_words(blank) == words
    assert blank.limits == limits


def test_a_part_without_any_extra_still_makes_a_book():
    shop = replace(
        doubles.shop(), batches=(), quantities=(), jig=(), clock=(), stages=(), findings=()
    )
    laminate = replace(
        doubles.laminate(), zones=(), sections=(), findings=(), pieces=(), layers=(),
        centre_mm=np.zeros(3),
    )  # fmt: skip
    document = booklet(*parts(shop=shop, laminate=laminate))
    assert [p.id for p in document.pages][:2] == ["cover", "before"]
