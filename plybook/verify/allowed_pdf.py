"""What may stand in a PDF file; anything else is a fault.

Objects and keys after ISO 32000-1; the tables hold what a file of drawings and words needs, and so
no action, link, form, annotation, attachment, crop, turn or unit of its own. What is painted has
the line, ink and dash of its kind, none of it white; nothing lies outside the paper or a clip, and
nothing hides what is below it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from plybook.verify.covering import Drawn, covered
from plybook.verify.lettermetrics import CAP, strange_glyphs, width
from plybook.verify.looks import INK, LOOKS, MEDIUM, THIN, TINTS, WIDE
from plybook.verify.pdf_pages import Area, Book, Clip, Line, Page, Words, open_book
from plybook.verify.printed import squeeze

_TEXT_KEYS = ("/Title", "/Author", "/Subject", "/Keywords", "/Creator", "/Producer",
              "/CreationDate", "/ModDate")  # fmt: skip
# kind of object -> key -> what it may be (see Book.strange_objects)
OBJECTS: dict[str, dict[str, str]] = {
    "trailer": {"/Size": "", "/ID": "", "/Root": "catalog", "/Info": "info"},
    "info": {**dict.fromkeys(_TEXT_KEYS, ""), "/Trapped": "=/False"},
    "catalog": {"/Type": "=/Catalog", "/Pages": "pages", "/PageMode": "=/UseNone",
                "/ViewerPreferences": "wishes", "/Outlines": "outlines", "/Lang": ""},
    "wishes": {"/PrintScaling": "=/None"},
    "outlines": {"/Type": "=/Outlines", "/Count": "", "/First": "bookmark", "/Last": ""},
    "bookmark": {"/Title": "", "/Dest": "", "/Parent": "", "/Prev": "", "/Last": "", "/Count": "",
                 "/First": "bookmark", "/Next": "bookmark"},
    "pages": {"/Type": "=/Pages", "/Count": "", "/Kids": "[page"},
    "page": {"/Type": "=/Page", "/Parent": "", "/MediaBox": "", "/Rotate": "=0", "/Trans": "={}",
             "/Contents": "content stream", "/Resources": "resources"},
    "content stream": {"/Filter": "", "/Length": ""},
    "resources": {"/Font": "fonts", "/ProcSet": ""},
    "fonts": {"*": "font"},
    "font": {"/Type": "=/Font", "/Subtype": "", "/Name": "", "/BaseFont": "", "/FirstChar": "",
             "/LastChar": "", "/Widths": "", "/Encoding": "=/WinAnsiEncoding",
             "/FontDescriptor": "descriptor", "/ToUnicode": "content stream"},
    "descriptor": {"/Type": "=/FontDescriptor", "/FontName": "", "/Flags": "", "/FontBBox": "",
                   "/ItalicAngle": "=0", "/Ascent": "", "/CapHeight": "", "/Descent": "",
                   "/StemV": "", "/MissingWidth": "", "/FontFile2": "font stream"},
    "font stream": {"/Filter": "", "/Length": "", "/Length1": ""},
}  # fmt: skip
CHAPTERS = ("Before you start", "After the cure", "Label sheets", "Plain paper, with cutting lines")
_NUMBERED = re.compile(r"^\d+\.")  # a stage among the bookmarks
SOFT = "#616161"  # ink of small print outside drawings
WIDTHS = (THIN, MEDIUM, WIDE)  # of lines outside drawings
_WIDTH_MM = 0.005
_CLIP_MM = 1.2  # lines run on past a clip by this
_PAPER_MM = 0.5
_STANDARD_INKS = (INK, SOFT)
# type sizes of the capital heights of ISO 3098-1, mm, the only ones of drawings and labels, but
# for 2 mm on small labels
SIZES_MM = np.array([1.8, 2.0, 2.5, 3.5, 5.0, 7.0, 10.0, 14.0, 20.0, 28.0, 40.0, 56.0]) / CAP
SIZE_OFF_MM = 0.005
BOOK_SIZES_MM = (1.8 / CAP - SIZE_OFF_MM, 10.0 / CAP + SIZE_OFF_MM)  # a crowded page is set smaller
_PAGE_OF = re.compile(r"page (\d+) of (\d+)(?: \u00b7 print|;)")


def strange_in_pdf(data: bytes) -> Iterator[str]:
    """What a PDF file holds that it may not, or what looks otherwise than its kind.

    Raises:
        ValueError: it cannot be read.
    """
    if data.count(b"startxref") != 1 or data.count(b"%%EOF") != 1:
        yield "more than one version of itself"
    book = open_book(data)
    if not book.prints_at_full_size:
        yield "a print that the viewer may scale"
    yield from book.strange_objects(OBJECTS)
    for name, characters, program, widths in book.typefaces():
        yield from strange_glyphs(name, characters, program, widths)
    said = {}
    for title, number in book.bookmarks():
        if not 0 <= number < book.count:
            yield f"a bookmark {title!r} to nowhere"
            continue
        if number not in said:
            said[number] = squeeze("".join(book.words(number)))
        shown = _NUMBERED.sub("", squeeze(title)).rstrip("\u2026")
        if title not in CHAPTERS and shown not in said[number]:
            yield f"a bookmark {title!r} to a page that does not say so"
    for number in range(book.count):
        for what in strange_on_page(book.page(number)):
            yield f"page {number + 1}: {what}"
        for told in _PAGE_OF.findall(" ".join(book.words(number))):
            if told != (str(number + 1), str(book.count)):
                yield f"page {number + 1}: page {told[0]} of {told[1]}"


def strange_in_drawings(data: bytes) -> Iterator[str]:
    """As `strange_in_pdf`, of a file in which all that is painted belongs to a drawing."""
    yield from strange_in_pdf(data)
    book = open_book(data)
    for number in range(book.count):
        if any(not item.mark for item, _ in book.page(number).painted):
            yield f"page {number + 1}: something that belongs to no kind of line"
    yield from _strange_sizes(book)


def strange_in_labels(data: bytes) -> Iterator[str]:
    """As `strange_in_pdf`, of a file whose words have the sizes of drawings."""
    yield from strange_in_pdf(data)
    yield from _strange_sizes(open_book(data))


def strange_in_book(data: bytes) -> Iterator[str]:
    """As `strange_in_pdf`, of the booklet, whose pictures are held against those on screen."""
    yield from strange_in_pdf(data)
    book = open_book(data)
    least, most = BOOK_SIZES_MM
    for number in range(book.count):
        for words in book.page(number).words:
            if words.text.strip() and not words.mark and not least <= words.size_mm <= most:
                yield f"page {number + 1}: words {words.text!r} {words.size_mm:.1f} mm tall"


def _strange_sizes(book: Book) -> Iterator[str]:
    for number in range(book.count):
        for words in book.page(number).words:
            off = float(np.abs(SIZES_MM - words.size_mm).min())
            if words.text.strip() and off > SIZE_OFF_MM:
                yield f"page {number + 1}: words {words.text!r} {words.size_mm:.2f} mm tall"


def strange_on_page(page: Page) -> Iterator[str]:
    """What is painted on a page that may not be."""
    yield from dict.fromkeys(page.strange)
    if page.turned:
        yield "a picture turned, stretched or mirrored"
    for item, clip in page.painted:
        if wrong := _look(item) or _place(item, clip, page):
            yield wrong
            break
    yield from covered([replace(_drawn(item), clip_mm=clip) for item, clip in page.painted])


def _look(item: Line | Words | Area) -> str:
    """What is wrong with line, ink or area, "" nothing."""
    if item.mark and item.mark not in LOOKS:
        return f"something marked {item.mark}"
    look = LOOKS.get(item.mark)
    if isinstance(item, Area):
        return "" if item.fill in TINTS else f"an area filled with {item.fill}"
    if isinstance(item, Words):
        inks = (look.ink,) if look else _STANDARD_INKS
        return "" if item.ink in inks and item.size_mm > 0.8 else f"words {item.text!r} unseen"
    widths = (look.width_mm,) if look else WIDTHS
    good = (
        item.ink == (look.ink if look else INK)
        and item.dash_mm == (look.dash_mm if look else ())
        and any(abs(item.width_mm - w) <= _WIDTH_MM for w in widths)
    )
    return "" if good else f"a line of {item.mark or 'no kind'} drawn with another pen"


def _place(item: Line | Words | Area, clip: Clip | None, page: Page) -> str:
    """What is wrong with the place of a thing, "" nothing: off the paper, or cut away."""
    if isinstance(item, Words):
        points = np.array([item.at_mm])
        slack = 0.0 if clip is None else item.size_mm * width(item.text, True) + item.size_mm
    else:
        points = item.points
        slack = float(np.ptp(points, axis=0).max()) if _whole(item) and clip is not None else 0.0
    if clip is not None:
        low, high = np.array(clip[:2]) - _CLIP_MM - slack, np.array(clip[2:]) + _CLIP_MM + slack
        if (points < low).any() or (points > high).any():
            return "something that a clip hides"
        return ""
    size = np.array([page.width_mm, page.height_mm]) + _PAPER_MM
    return "something off the paper" if (points < -_PAPER_MM).any() or (points > size).any() else ""


def _whole(item: Line | Area) -> bool:
    """Whether a thing is drawn whole where a clip cuts it: areas and rings are."""
    return isinstance(item, Area) or item.curved


def _drawn(item: Line | Words | Area) -> Drawn:
    if isinstance(item, Line):
        return Drawn(item.mark, item.points, "", True)
    if isinstance(item, Area):
        return Drawn(item.mark, item.points, item.fill, False)
    long = item.size_mm * max(width(item.text, bold) for bold in (False, True))
    turn = np.radians(item.turn_deg)
    way = np.array([np.cos(turn), np.sin(turn)]) * long
    line = np.array(item.at_mm) + np.outer((0.0, 0.4, 0.8), way)
    return Drawn(item.mark, line, "", True, item.size_mm, long)
