"""All words of a document, and the characters among them that the typeface cannot show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from plybook.diagnostics import Finding, warning
from plybook.drawing.document import Document
from plybook.drawing.letters import missing_glyphs


def document_words(document: Document) -> Iterator[str]:
    """Every text of a document, pictures included."""
    yield from (document.title, document.part, document.name, document.revision)
    for page in document.pages:
        yield from page_words(page)


def page_words(thing: object) -> Iterator[str]:
    """Every text of a page, a block or a picture in it."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for part in thing:
            yield from page_words(part)
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from page_words(getattr(thing, field.name))


def glyph_findings(document: Document) -> tuple[Finding, ...]:
    """A warning that names the characters printed as a question mark; () when all can be shown."""
    lost: dict[str, str] = {}
    for words in document_words(document):
        for char in missing_glyphs(words):
            lost.setdefault(char, words)
    if not lost:
        return ()
    names = ", ".join(f"{char!r} (U+{ord(char):04X})" for char in list(lost)[:8])
    more = f" and {len(lost) - 8} more" if len(lost) > 8 else ""
    first = next(iter(lost.values()))
    return (
        warning(
            "missing-glyphs",
            f"the book's typeface has no {names}{more}; first met in {first[:60]!r}",
            "write these words with other characters: they are printed as ?",
        ),
    )
