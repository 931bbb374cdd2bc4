"""The sheet of contents of the book on paper: every title with the page that it is on."""

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from plybook.drawing.book import booklet
from plybook.verify.bookcontents import check_contents
from plybook.verify.pdf_pages import open_book
from plybook.verify.report import Report
from plybook.write.book_contents_page import COLUMNS, ROW_MM, with_contents
from plybook.write.book_pdf import FOOT_MM, PAPER_MM, TOP_MM, book_pdf
from plybook.write.book_sheets import Sheet, gathered
from tests.drawing import doubles

ROOM = PAPER_MM["a4"][1] - TOP_MM - FOOT_MM


@pytest.fixture(scope="module")
def document():
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    return booklet(doubles.spec(), face, laminate, doubles.cut_plan(laminate), doubles.shop())


@pytest.fixture(scope="module")
def pdf(document):
    return book_pdf(document)


def lines(data, page=1):
    return PdfReader(io.BytesIO(data)).pages[page].extract_text().splitlines()


def faults(data):
    report = Report("here")
    check_contents(open_book(data), report)
    return report.faults, report.proofs


def test_every_title_is_told_with_the_page_it_is_on(document, pdf):
    """Held to the text of the pages as another reader has it (pypdf)."""
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]
    assert "Contents" in pages[1]
    told = 0
    for title in {page.title for page in document.pages[1:]}:
        if listed := re.search(re.escape(title) + r" ?(\d{1,2})(?= |$)", pages[1]):
            assert title in pages[int(listed[1]) - 1], title
            told += 1
    assert told >= 0.9 * len({page.title for page in document.pages[1:]})
    wrong, proofs = faults(pdf)
    assert wrong == [] and proofs["contents that tell the page of each title"] > told


def test_a_page_told_wrong_is_caught(document, pdf, monkeypatch):
    def late(sheets, room):
        made = with_contents(sheets, room)
        return [made[0], made[1], *made[3:], made[2]]

    monkeypatch.setattr("plybook.write.book_pdf.with_contents", late)
    assert any("tells" in fault for fault in faults(book_pdf(document))[0])
    monkeypatch.setattr("plybook.write.book_pdf.with_contents", lambda sheets, room: sheets)
    assert any("has its contents on pages []" in f for f in faults(book_pdf(document))[0])


def test_a_short_book_has_none(document):
    short = replace(document, pages=document.pages[:3])
    assert "Contents" not in " ".join(lines(book_pdf(short)))
    assert faults(book_pdf(short)) == ([], {})


def test_a_long_book_leaves_out_what_shares_a_sheet_and_then_all_but_chapters(document):
    page = next(p for p in document.pages if p.kind == "step")
    most = COLUMNS * int(ROOM / ROW_MM)
    for count, each in ((most // 2, 4), (most, 4)):
        sheets = gathered(document.pages[:1], ROOM) + [
            Sheet([replace(page, id=f"{n}-{k}", title=f"Step {n}.{k}", chapter=f"{n // 20}")
                   for k in range(each)], [], True)
            for n in range(count)
        ]  # fmt: skip
        made = with_contents(sheets, ROOM)
        assert len(made) == len(sheets) + 1
        heights = sum(slab.before + slab.height for slab in made[1].slabs)
        assert heights <= ROOM
