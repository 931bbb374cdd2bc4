"""The books of the parts that ship with the tool, from their specs to paper and screen."""

import re
from functools import cache
from pathlib import Path

import pytest

from plybook.drawing.book import booklet
from plybook.laminate import lay_up
from plybook.nest import CutJob, LayoutMemory, plan_cuts
from plybook.outside import Outside
from plybook.shop import plan_work
from plybook.spec import load
from plybook.surface import build_face
from plybook.write.book_html import book_html
from plybook.write.book_pdf import book_pdf
from plybook.write.labels_pdf import labels_pdf
from tests.drawing.doubles import field_ids
from tests.write.pages import colliding, off_page, opened, words

SPECS = Path(__file__).parents[2] / "specs"
PARTS = [
    "hatch",
    pytest.param("spar", marks=pytest.mark.slow),
    pytest.param("wing-skin", marks=pytest.mark.slow),
]


@cache
def made(name):
    (spec, *_) = load(SPECS / f"{name}.yaml", Outside()).specs
    face = build_face(spec)
    laminate = lay_up(spec, face)
    memory = LayoutMemory.from_bytes(None)
    plan = plan_cuts([CutJob(spec, laminate.pieces)], effort="quick", memory=memory)
    return spec, face, laminate, plan, plan_work(spec, face, laminate, plan)


@pytest.mark.parametrize("name", PARTS)
def test_no_words_lie_over_words_or_off_the_page(name):
    spec, _, laminate, plan, shop = made(name)
    for data in (book_pdf(booklet(*made(name))), labels_pdf(spec, laminate, shop, plan)):
        assert len(data) < 5_000_000
        for number, page in enumerate(opened(data), start=1):
            assert list(colliding(page)) == [], f"page {number}"
            assert list(off_page(page)) == [], f"page {number}"


@pytest.mark.parametrize("name", PARTS)
def test_every_field_has_a_name_of_its_own_and_every_piece_is_laid(name):
    document = booklet(*made(name))
    fields = list(field_ids(document))
    assert len(fields) == len(set(fields))
    laid = [p for s in made(name)[-1].stages for step in s.steps if step.lays for p in step.pieces]
    assert sorted(laid) == sorted(p.id for p in made(name)[2].pieces)


@pytest.mark.parametrize("name", PARTS)
def test_each_step_names_its_pieces_on_paper_and_on_screen(name):
    document = booklet(*made(name))
    html = book_html(document).decode()
    text = "\n".join(words(page) for page in opened(book_pdf(document)))
    for stage in made(name)[-1].stages:
        for step in stage.steps:
            card = html[html.index(f'id="p-{step.id}"') :]
            card = card[: card.index("</section>")]
            assert all(piece in card for piece in step.pieces), step.title
            assert all(piece in text for piece in step.pieces), step.title


@pytest.mark.parametrize("name", PARTS)
def test_every_column_on_screen_has_a_heading(name):
    """WCAG 2.2, 1.3.1: a cell is read out with the words at the head of its column."""
    page = book_html(booklet(*made(name))).decode()
    heads = re.findall(r"<th\b[^>]*>([^<]*)</th>", page)
    assert len(heads) > 20 and all(words.strip() for words in heads)
