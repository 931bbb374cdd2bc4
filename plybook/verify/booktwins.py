"""The booklet on screen and on paper say the same.

Both tell the same steps, tables and cautions. Every run of words of a card on screen stands on the
pages of the same title on paper and the other way round; what only one of them needs is in the
tables below. So a sentence that is added, taken out or changed in one of them is found, whatever it
is about.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from plybook.verify.bays import WORKED
from plybook.verify.bookcontents import is_contents
from plybook.verify.bookforms import LEADING
from plybook.verify.bookpaper import Flow, flow_of
from plybook.verify.bookplaces import rows_on, words_on
from plybook.verify.lettermetrics import CAP
from plybook.verify.pagepictures import Item, Screen, differ, looks_of, on_paper, out_of_view
from plybook.verify.pagetree import Element, read_page
from plybook.verify.pdf_pages import Book, Words, open_book
from plybook.verify.printed import after, same, squeeze
from plybook.verify.report import Report
from plybook.verify.tolerances import PAPER_MM

NAME, PAPER = "booklet.html", "booklet.pdf"
# words that only the screen has, each a regular expression of all of it
ON_SCREEN = (
    "Back|Next|More|Lots, time|Add a photo|Write down a deviation|Start work|History|Start|Stop|"
    "Now|Mixed|started ______ ended ______|resin weighed, g|Add (?:hours by hand|an? [a-z]+)|"
    r"[\w .,-]+ weighed, [a-z]+|"
    "New record for another article|Files|Templates on paper|Labels|"
    "Templates at full size|Poster: all layers and splices|"
    "Light on the cutting table, in place of paper|"
    "Cut plan with mark-out(?:, of all parts cut together)?|"
    "Where the pieces of this part lie in it|Drawings at full size|Templates of these pieces|"
    "Scripting is off: write on the printed page\\.|Export the record|Import a record|"
    "History of the record|Print the book, filled in|Points, along / across|From / to|"
    r"Template .+|.+ at full size|Mark-out of .+, in the order of cutting|"
    r"Templates on a roll of paper [0-9.]+ mm wide|"
    r".+: where its pieces lie|.+; its mark-out is on its own page\.|"
    r"Each point: along from the (?:end|line of its bay) / across from the edge of the "
    r"(?:roll|sheet|bar), in (?:mm|in)"
    r", to the next (?:1 mm|0\.5 mm|1/16 in|1/32 in) outwards\. Point 1 is the one nearest to "
    r"the (?:end|line); the others follow counter-clockwise\. Curves are marked as chords: trim "
    r"with the template\.|"
    rf"{WORKED.pattern}|.{{1,40}}?: Longer than the table: figures [^:]+\.|"
    r".{1,40}?: A circle [\d /.]+ (?:mm|in) across, its middle at [\d /.]+; the points are "
    r"corners of the square around it\.|"
    r".{1,40}?: The points are where its sides meet: round these corners to a radius of [\d /.]+ "
    r"(?:mm|in)\.|"
    r"Figures in (?:mm|in), from the end of the bar\.|"
    r"Cup \d+ (?:mixed at|lots)|Cup \d+: .+, (?:\d+ h )?(?:\d+ min|\d+ s)?"
)
# words that only the paper has: places to write, and what the screen's script tells
ON_PAPER = (
    r"Time|!|\d+|not before|not after|all of it on by|\((?:\d+ h ?)?(?:\d+ min|\d+ s)? later\)"
)
_SCREEN, _PAPER = re.compile(ON_SCREEN), re.compile(ON_PAPER)
_DEEPEST = 8  # references within references
LAYOUT = "card layout"
_LAID_OUT = re.compile("(?:Pieces on|Roll|Sheet|Remnant|Bar) ")  # labels of pictures of a layout
PROSE, LEAST_PROSE = ("p", "li"), 20  # squeezed letters; a shorter one may be part of another
MARKED_OUT = ("th", "td", "caption")  # of a layout's card: told with the mark-out


@dataclass
class Card:
    """A page of the booklet on screen."""

    kicker: str
    title: str
    of: str  # kind: step, layout, table ...
    runs: list[tuple[Element, str]] = field(default_factory=list)
    drawn: list[str] = field(default_factory=list)  # words of its pictures
    laid_out: list[str] = field(default_factory=list)  # and of those that paper may leave out
    pictures: list[tuple[Element, bool]] = field(default_factory=list)  # may paper leave it out?


def cards_of(tree: Element) -> Iterator[Card]:
    """The cards of a page, in their order; what a picture refers to stands where it is shown."""
    named = {e.attributes["id"]: e for e in tree.walk() if "id" in e.attributes}
    for section in (e for e in tree.walk() if e.kind == "section"):
        card = Card("", "", section.attributes.get("class", ""))
        for element in section.walk():
            if element.kind == "svg" and element.is_in("figure"):
                layout = _LAID_OUT.match(element.attributes.get("aria-label", ""))
                (card.laid_out if layout else card.drawn).extend(words_shown(element, named))
                card.pictures.append((element, bool(layout)))
            words = "".join(element.words).strip()
            if not words or element.kind == "text" or element.is_in("nav"):
                continue
            if element.kind == "h2":
                card.title = words
            elif element.attributes.get("class") == "kicker":
                card.kicker = words
            else:
                card.runs.append((element, words))
        yield card


def words_shown(picture: Element, named: dict[str, Element], depth: int = 0) -> list[str]:
    """The words of a picture with what it refers to.

    Raises:
        ValueError: it refers to itself.
    """
    if depth > _DEEPEST:
        raise ValueError("a picture refers to itself")
    found = []
    for element in picture.walk():
        if element.kind == "text":
            found.append("".join(element.words))
        elif element.kind == "use":
            inner = named[element.attributes.get("href", "#")[1:]]
            found += words_shown(inner, named, depth + 1)
    return found


def stretches(cards: list[Card], flow: Flow) -> list[tuple[int, int]]:
    """Where each card's words lie on paper, after its title: (start, end) in the flow; (0, 0) where
    nowhere."""
    heads: list[tuple[int, int]] = []
    at = 0
    for card in cards:
        head = squeeze(card.kicker + card.title)
        end = after(head, flow.text, at)
        heads.append((end - len(head), end) if end >= 0 else (-1, -1))
        at = max(at, end)
    found = []
    for k, (_, end) in enumerate(heads):
        later = [start for start, _ in heads[k + 1 :] if start >= 0]
        found.append((end, later[0] if later else len(flow.text)) if end >= 0 else (0, 0))
    return found


def check_book_twins(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The two booklets of a folder."""
    if NAME not in files or PAPER not in files:
        return  # told where they are read
    page, book = read_page(files[NAME]), open_book(files[PAPER])
    tree = page.tree
    flow = flow_of(book.page(k) for k in range(book.count))
    named = {e.attributes["id"]: e for e in tree.walk() if "id" in e.attributes}
    screen, paper = Screen(named, looks_of(page.style)), Paper(book)
    cards = list(cards_of(tree))
    for card, (start, end) in zip(cards, stretches(cards, flow), strict=True):
        where = f"{NAME}, {card.title}"
        if not report.expect(end > 0, "pages on screen that are there on paper", where,
                             "is not on paper"):  # fmt: skip
            continue
        _check_card(card, flow.text[start:end], where, report)
        _check_lines(card, flow, (start, end), where, report)
        _check_paper(card, [words for _, words in flow.between(start, end)], report)
        drawn = on_paper(paper.between(flow, start, end))
        _check_pictures(card, screen, drawn, where, report)
    _check_rows(tree, book, report)
    _check_asked(tree, book, report)
    _check_ways(tree, report)


def _check_lines(
    card: Card, flow: Flow, stretch: tuple[int, int], where: str, report: Report
) -> None:
    """The lines of what is one paragraph on screen follow one another on paper."""
    torn = []
    for element, said in card.runs:
        long = squeeze(said)
        end = after(said, flow.text[: stretch[1]], stretch[0]) if element.kind in PROSE else -1
        lines = [(n, w) for n, w in flow.between(end - len(long), end)] if end >= 0 else []
        for (page, one), (other, two) in pairwise(lines):
            step = one.at_mm[1] - two.at_mm[1]
            same_block = page == other and abs(one.at_mm[0] - two.at_mm[0]) <= PAPER_MM
            if same_block and step > LEADING * one.size_mm * CAP + PAPER_MM:
                torn.append(two.text)
    report.expect(not torn, "paragraphs on paper whose lines follow one another", where,
                  f"{torn[:1]} stands apart")  # fmt: skip


def _check_asked(tree: Element, book: Book, report: Report) -> None:
    """What is asked on screen has a box to write in on paper."""
    asked = Counter(
        squeeze("".join("".join(inner.words) for inner in one.walk()))
        for one in tree.walk() if one.kind == "label" and one.is_in("div") and one.inner
        and one.inner[0].kind == "span"
    )  # fmt: skip
    said = [(n, text, boxed) for n in range(book.count) for text, boxed in words_on(book.page(n))]
    with_box = [squeeze(text) for _, text, boxed in said if boxed]
    missing = {one for one, count in asked.items() if sum(one in text for text in with_box) < count}
    for number in range(book.count):
        bare = [text for n, text, boxed in said
                if n == number and not boxed and squeeze(text) in missing]  # fmt: skip
        report.expect(not bare, "pages on paper with a box at each question",
                      f"{PAPER}, page {number + 1}", f"asks {bare[:1]} without a box")  # fmt: skip


def _check_rows(tree: Element, book: Book, report: Report) -> None:
    """Each row of a table on paper is one on screen, cell by cell in the same columns."""
    shown = {
        tuple(squeeze("".join("".join(inner.words) for inner in cell.walk())) for cell in row.inner)
        for row in tree.walk() if row.kind == "tr" and all(c.kind == "td" for c in row.inner)
    }  # fmt: skip
    for number in (n for n in range(book.count) if not is_contents(book.page(n))):
        for k, cells in enumerate(rows_on(book.page(number))):
            said = tuple(map(squeeze, cells))
            good = said in shown or any(_alike(said, row, k == 0) for row in shown)
            report.expect(good, "rows of tables on paper that are on screen, cell by cell",
                          f"{PAPER}, page {number + 1}", f"has a row {cells[:4]}")  # fmt: skip


def _alike(paper: tuple[str, ...], screen: tuple[str, ...], goes_on: bool) -> bool:
    """Whether cells are those of a row, letters that paper lacks aside; of one that goes on from
    the page before, the ends of them."""
    return len(paper) == len(screen) and all(
        same(a, b[len(b) - len(a) :] if goes_on else b, cut=False)
        for a, b in zip(paper, screen, strict=True)
    )


def _check_card(card: Card, paper: str, where: str, report: Report) -> None:
    strange = [
        words
        for element, words in card.runs
        if not _SCREEN.fullmatch(words)
        and after(words, paper) < 0
        and not (element.kind in MARKED_OUT and card.of == LAYOUT)
        and element.attributes.get("class") != "line"  # left out on a crowded page of paper
    ]
    report.expect(not strange, "pages on screen that say what the paper says", where,
                  f"says {strange[:1]}, the paper does not")  # fmt: skip
    said = squeeze("".join(words for _, words in card.runs))
    told = {squeeze(words) for element, words in card.runs if element.kind in PROSE}
    more = [words for words in told if len(words) >= LEAST_PROSE
            and paper.count(words) not in (0, said.count(words))]  # fmt: skip
    report.expect(not more, "pages on screen that say it as often as the paper", where,
                  f"says {more[:1]} more often, or less")  # fmt: skip


def _check_paper(card: Card, words: list[Words], report: Report) -> None:
    screen = squeeze("".join(run for _, run in card.runs))
    drawn = Counter(squeeze(text) for text in card.drawn)
    strange = []
    for one in words:
        said = squeeze(one.text)
        if one.mark:
            drawn[said] -= 1
        elif after(said, screen) < 0 and not _PAPER.fullmatch(one.text):
            strange.append(one.text)
    where = f"{PAPER}, {card.title}"
    report.expect(not strange, "pages on paper that say what the screen says", where,
                  f"says {strange[:1]}, the screen does not")  # fmt: skip
    more = Counter(squeeze(text) for text in card.laid_out)
    other = [text for text, count in drawn.items() if text and not -more[text] <= count <= 0]
    report.expect(not other, "pictures with the same words on screen and on paper", where,
                  f"its pictures differ in {other[:3]}")  # fmt: skip


class Paper:
    """What is painted on all pages, one after another."""

    def __init__(self, book: Book) -> None:
        pages = (book.page(k) for k in range(book.count))
        self.painted = [item for page in pages if not is_contents(page) for item, _ in page.painted]
        self._places = {id(item): k for k, item in enumerate(self.painted)}

    def between(self, flow: Flow, start: int, end: int) -> list:
        """What is painted from one place of the flow to another."""
        first = self._places[id(flow.at(start - 1)[1])] if start else 0
        last = self._places[id(flow.at(end)[1])] if end < len(flow.text) else len(self.painted)
        return self.painted[first:last]


def _check_pictures(
    card: Card, screen: Screen, paper: list[Item], where: str, report: Report
) -> None:
    """The pictures of a card in their order; a layout may be left out on paper."""
    at = 0
    for svg, spared in card.pictures:
        items = screen.picture(svg)
        named = f"the picture {svg.attributes.get('aria-label', '')!r}"
        unlike = differ(items, paper[at : at + len(items)])
        at += 0 if unlike else len(items)
        if not (unlike and spared):
            report.expect(not unlike, "pictures drawn alike on screen and on paper", where,
                          f"{named} {unlike}")  # fmt: skip
        wrong = out_of_view(svg, items)
        report.expect(not wrong, "pictures on screen that their windows show whole", where,
                      f"{named} {wrong}")  # fmt: skip
    report.expect(at == len(paper), "pictures on paper that are on screen too", where,
                  "has more drawn on paper than on screen")  # fmt: skip


def _check_ways(tree: Element, report: Report) -> None:
    """What leads to a card bears its title."""
    titles = {}
    for section in (e for e in tree.walk() if e.kind == "section"):
        title = next(("".join(e.words) for e in section.walk() if e.kind == "h2"), "")
        titles["#" + section.attributes.get("id", "")] = title, section.attributes
    for link in (e for e in tree.walk() if e.kind == "a"):
        way = link.attributes.get("href", "")
        if not way.startswith("#") or way == "#main":
            continue
        title, facts = titles.get(way, ("", {}))
        chapter = facts.get("data-stage", "")
        said = ["".join(e.words) for e in link.walk() if "".join(e.words).strip()]
        told = [words for words in said if words not in ("Back", "Next")]
        good = told in ([title], [chapter], [f"{title} ({chapter})"])
        report.expect(bool(title) and good, "ways to a page that bear its title", NAME,
                      f"a way to {title!r} is called {told}")  # fmt: skip
