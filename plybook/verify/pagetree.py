"""A reader of our pages of HTML: head and body apart, and the body as a tree.

It reads just what is written here, where every element is closed or has no content, and refuses
what a browser would mend, since what is mended may look like something else.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from html import unescape
from html.parser import HTMLParser

EMPTY = ("meta", "input", "img", "br")
_FRAME = re.compile(
    r'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
    r'<meta http-equiv="Content-Security-Policy" content="(?P<policy>[^"<>]*)">\n'
    r'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    r'<meta name="referrer" content="no-referrer">\n<title>(?P<title>[^<]*)</title>\n'
    r"<style>(?P<style>[^<]*)</style>\n</head>\n<body>\n(?P<body>.*)"
    r'<script type="application/json" id="(?P<name>book|plan)">(?P<facts>[^<]*)</script>\n'
    r"<script>(?P<script>.*?)</script>\n</body>\n</html>\n",
    re.DOTALL,
)


@dataclass
class Element:
    """`words` are those directly in it, in order."""

    kind: str
    attributes: dict[str, str]
    within: Element | None
    inner: list[Element] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def walk(self) -> Iterator[Element]:
        """The element and all in it."""
        todo = [self]
        while todo:
            element = todo.pop()
            yield element
            todo.extend(reversed(element.inner))

    def is_in(self, kind: str) -> bool:
        """Whether it stands in an element of a kind."""
        above = self.within
        while above is not None and above.kind != kind:
            above = above.within
        return above is not None


@dataclass(frozen=True)
class Page:
    """The parts of a page; `name` is that of its facts."""

    policy: str
    title: str
    style: str
    name: str
    facts: str
    script: str
    body: str
    tree: Element


@cache
def read_page(data: bytes) -> Page:
    """Read a page.

    Raises:
        ValueError: its frame is another, or its elements are not closed in order.
    """
    frame = _FRAME.fullmatch(data.decode("utf-8"))
    if frame is None:
        raise ValueError("its head, or the end of its body, is another")
    reader = _Tree()
    reader.feed(frame["body"])
    reader.close()
    if reader.wrong or reader.here is not reader.root:
        raise ValueError(reader.wrong or f"<{reader.here.kind}> is not closed")
    return Page(unescape(frame["policy"]), unescape(frame["title"]), frame["style"], frame["name"],
                frame["facts"], frame["script"], frame["body"], reader.root)  # fmt: skip


class _Tree(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = self.here = Element("body", {}, None)
        self.wrong = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open(tag, attrs)
        if tag not in EMPTY:
            self.here = self.here.inner[-1]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if not self._in_drawing(tag):
            self.wrong = self.wrong or f"<{tag}/> outside a drawing"
        self._open(tag, attrs)

    def _open(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        if len(values) != len(attrs):
            self.wrong = self.wrong or f"<{tag}> with an attribute twice"
        self.here.inner.append(Element(tag, values, self.here))

    def _in_drawing(self, tag: str) -> bool:
        return tag == "svg" or self.here.kind == "svg" or self.here.is_in("svg")

    def handle_endtag(self, tag: str) -> None:
        if tag != self.here.kind or self.here.within is None:
            self.wrong = self.wrong or f"</{tag}> that ends <{self.here.kind}>"
        else:
            self.here = self.here.within

    def handle_data(self, data: str) -> None:
        self.here.words.append(data.replace("\u00a0", " "))

    def handle_comment(self, data: str) -> None:
        self.wrong = self.wrong or "a comment"

    def handle_decl(self, decl: str) -> None:
        self.wrong = self.wrong or "a declaration"

    def handle_pi(self, data: str) -> None:
        self.wrong = self.wrong or "an instruction"

    def unknown_decl(self, data: str) -> None:
        self.wrong = self.wrong or "a declaration"
