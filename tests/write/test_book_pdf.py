"""The book on paper, looked at with another library: order, papers, bookmarks, nothing over
anything."""

import pytest

from plybook.drawing.book import booklet
from plybook.drawing.document import (
    Blank,
    CheckBox,
    Document,
    Heading,
    Items,
    Page,
    Paragraph,
    Picture,
    Plate,
    Table,
)
from plybook.drawing.scene import Role, Scene, Text
from plybook.drawing.typesetting import typeset
from plybook.write.book_pdf import book_pdf
from tests.drawing import doubles
from tests.write.pages import PT_PER_MM, colliding, off_page, opened, words


def skin_book(paper="a4", face=None, **part):
    face = face or doubles.TaperedFace()
    laminate = doubles.laminate(face)
    return booklet(
        doubles.spec(paper=paper, **part), face, laminate, doubles.cut_plan(laminate),
        doubles.shop(),
    )  # fmt: skip


def one_page(*blocks, title="A page"):
    page = Page("p", title, "kicker", blocks)
    return Document("Book", "N-1", "name", "A", "none", "2026-05-04", "a4", (page,))


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    # ISO 216:2007 A4; ANSI/ASME Y14.1 size A (8.5 x 11 in)
    [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))],
)
def test_every_page_has_the_papers_size(paper, size_mm):
    pdf = opened(book_pdf(skin_book(paper)))
    for page in pdf:
        assert page.get_size() == pytest.approx([s * PT_PER_MM for s in size_mm], abs=0.02)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("slim", [False, True])
def test_no_words_lie_over_words_or_off_the_page(paper, slim):
    face = doubles.TaperedFace(4000.0, 300.0, 240.0) if slim else None
    pdf = opened(book_pdf(skin_book(paper, face)))
    for number, page in enumerate(pdf, start=1):
        assert list(colliding(page)) == [], f"page {number}"
        assert list(off_page(page)) == [], f"page {number}"


@pytest.mark.parametrize(
    "block",
    [
        lambda ids: Items((f"Cut {ids}", "then rest"), numbered=True),
        lambda ids: Items((f"Cut {ids}",)),
        lambda ids: Paragraph(f"Cut {ids}"),
        lambda ids: Table(("What", "Ids", "Count"), (("cloth", ids, "1500"), ("foam", "F1", "1"))),
    ],
)
def test_words_that_fill_more_than_a_page_go_on_upon_the_next(block):
    ids = [f"P{n}" for n in range(1500)]
    pdf = opened(book_pdf(one_page(block(", ".join(ids)))))
    assert len(pdf) > 1
    said = "".join(words(page) for page in pdf).replace(",", " ").split()
    assert [word for word in said if word in set(ids)] == ids
    for page in pdf:
        assert list(off_page(page)) == [] and list(colliding(page)) == []


def test_words_over_words_would_be_found():
    over = [Text(Role.TEXT, (10.0 + k, 10.0 + k), "words", 5.0) for k in (0.0, 2.0)]
    scene = Scene(tuple(over), (0.0, 0.0, 180.0, 20.0))
    page = opened(book_pdf(one_page(Picture(scene, 20.0))))[0]
    assert len(list(colliding(page))) == 1


def test_steps_stand_in_the_order_of_work_and_one_that_lays_has_its_own_sheet():
    document = skin_book()
    texts = [words(page) for page in opened(book_pdf(document))]
    at = 0
    for page in (p for p in document.pages if p.kind == "step"):
        start = page.kicker.split(" · ")[-1]
        title = typeset(page.title)
        at = next(k for k in range(at, len(texts)) if title in texts[k] and start in texts[k])
        if page.alone:
            assert texts[at].splitlines()[2].strip() == page.kicker
            others = [p for p in document.pages if p.kind == "step" and p is not page]
            assert not any(p.kicker in texts[at] for p in others)
            at += 1
    assert sum(page.alone for page in document.pages if page.kind == "step") > 3


def test_short_steps_share_a_sheet_and_none_is_torn():
    steps = [
        Page(f"s{k}", f"Step {k}", f"step {k}", (CheckBox(f"c{k}", "done"),), "step", "1. Stage")
        for k in range(20)
    ]
    document = Document("Book", "N-1", "name", "A", "none", "2026-05-04", "a4", tuple(steps))
    texts = [words(page) for page in opened(book_pdf(document))]
    assert len(texts) < 8
    for k in range(20):
        (text,) = [t for t in texts if f"Step {k}\r" in t]
        assert text.count("continued") == 0
    assert "".join(texts).count("done") == 20


def test_bookmarks_name_every_page_under_its_chapter():
    document = skin_book()
    toc = list(opened(book_pdf(document)).get_toc())
    titles = [entry.get_title() for entry in toc]
    told = [typeset(page.title) for page in document.pages]
    assert [title for title in titles if title in told] == told
    assert "Before you start" in titles and "2. Outer skin" in titles


def test_the_same_document_gives_the_same_bytes():
    assert book_pdf(skin_book()) == book_pdf(skin_book())


def test_type_is_embedded():
    pdf = opened(book_pdf(skin_book()))
    import pypdfium2.raw as raw

    for page in pdf:
        for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
            font = raw.FPDFTextObj_GetFont(thing)
            assert raw.FPDFFont_GetIsEmbedded(font) == 1


def test_hostile_words_stand_there_as_words():
    page = opened(book_pdf(one_page(Items(doubles.NASTY), title=doubles.NASTY[0])))[0]
    text = " ".join(words(page).split())
    for nasty in doubles.NASTY:
        assert nasty in text


LONG = "AAAA-0123456789-" * 14


@pytest.mark.parametrize(
    "block",
    [
        Paragraph(LONG), Items((LONG, LONG), numbered=True), Heading(LONG), CheckBox("a", LONG),
        Plate((LONG, LONG), LONG, "+45°"), Blank("b", LONG, "measure", "mm", 1.0, 0.1),
        Table(("one", "two"), ((LONG, LONG), ("x", LONG))),
        Table(("one", "two", "three"), (("x", "y", LONG),), "rrl", LONG, (1.0, 1.0, 9.0)),
    ],
    ids=lambda b: type(b).__name__,
)  # fmt: skip
def test_long_words_are_broken_not_run_off_the_page(block):
    page = opened(book_pdf(one_page(block, title=LONG)))[0]
    assert list(off_page(page)) == []
    assert list(colliding(page)) == []


def test_a_long_table_repeats_its_head_on_every_sheet():
    rows = tuple((f"P{k}", "words") for k in range(150))
    pdf = opened(book_pdf(one_page(Table(("Piece", "What it is"), rows))))
    assert len(pdf) > 2
    for page in pdf:
        assert "What it is" in words(page)
    text = "\n".join(words(page) for page in pdf)
    assert all(f"P{k}\b" in text or f"P{k} " in text or f"P{k}\r" in text for k in range(150))


def test_a_heading_never_ends_a_sheet():
    blocks = []
    for k in range(60):
        blocks += [Heading(f"Heading {k}", 3), Paragraph("One line.")]
    for page in opened(book_pdf(one_page(*blocks))):
        lines = [line for line in words(page).splitlines() if line.strip()]
        body = [line for line in lines if line.startswith(("Heading", "One line"))]
        assert body[-1].startswith("One line")


def test_a_page_that_overflows_says_so_on_its_next_sheet():
    pdf = opened(book_pdf(one_page(*(Paragraph(f"line {k}") for k in range(80)))))
    assert "A page, continued" in words(pdf[1])
