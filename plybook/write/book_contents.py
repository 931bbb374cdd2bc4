"""The way through the booklet on screen: stages to jump to, and the list of all pages."""

from __future__ import annotations

from collections import Counter
from html import escape
from itertools import groupby

from plybook.drawing.document import Document
from plybook.write.offline import told


def page_titles(document: Document) -> list[str]:
    """Titles of the pages; one that comes again carries its stage."""
    often = Counter(page.title for page in document.pages)
    return [
        f"{page.title} ({page.chapter})" if often[page.title] > 1 else page.title
        for page in document.pages
    ]


def contents(document: Document, names: list[str], titles: list[str]) -> str:
    """The stages, and under them all pages with what is done of each.

    Args:
        names, titles: of the cards, in the order of the pages.
    """
    parts, chips = [], []
    numbered = zip(names, titles, document.pages, strict=True)
    for chapter, run in groupby(numbered, key=lambda row: row[2].chapter):
        rows = list(run)
        links = "".join(
            f'<li><a href="#{name}"><span>{told(title)}</span><span class="count"></span>'
            "</a></li>"
            for name, title, _ in rows
        )
        if any(page.kind == "step" for _, _, page in rows):
            chips.append(
                f'<li><a class="button" href="#{rows[0][0]}" data-stage="{escape(chapter)}">'
                f'<span>{told(chapter)}<small class="count"></small></span></a></li>'
            )
        parts.append(
            f"<h2>{told(chapter)}</h2><ol>{links}</ol>" if chapter else f"<ol>{links}</ol>"
        )
    return (
        '<details class="contents" id="contents"><summary>All pages<span class="wide"> and steps'
        "</span></summary>"
        '<nav aria-label="All pages"><a class="button js-only" id="go-on" href="#main" hidden>'
        f'Continue</a><button type="button" id="look" class="js-only look"></button>'
        f'<ul class="chips">{"".join(chips)}</ul>'
        f'<div class="all">{"".join(parts)}</div></nav></details>'
    )
