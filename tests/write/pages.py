"""Looking at written PDF pages with a library that did not write them (pypdfium2)."""

from __future__ import annotations

from itertools import combinations

import pypdfium2
import pypdfium2.raw as raw

PT_PER_MM = 72.0 / 25.4


def opened(data: bytes) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(data)


def words(page) -> str:
    return page.get_textpage().get_text_range()


def text_boxes(page):
    """(left, bottom, right, top) in points and the words of each text object on a page."""
    textpage = page.get_textpage()
    for thing in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
        box = thing.get_bounds()
        yield box, textpage.get_text_bounded(*box).strip()


def colliding(page, slack_pt: float = 1.0):
    """Pairs of text objects whose boxes lie over one another by more than a sliver."""
    boxes = list(text_boxes(page))
    for (a, first), (b, second) in combinations(boxes, 2):
        wide = min(a[2], b[2]) - max(a[0], b[0])
        tall = min(a[3], b[3]) - max(a[1], b[1])
        if wide > slack_pt and tall > slack_pt + 0.15 * min(a[3] - a[1], b[3] - b[1]):
            yield first, second


def off_page(page, margin_mm: float = 5.0):
    """Words nearer to the paper's edge than a printer reaches."""
    width, height = page.get_size()
    margin = margin_mm * PT_PER_MM
    for (x0, y0, x1, y1), said in text_boxes(page):
        if x0 < margin or y0 < margin or x1 > width - margin or y1 > height - margin:
            yield said
