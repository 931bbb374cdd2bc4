"""A book or a sheet set as a list of pages made of blocks; writers set them on paper or screen.

The same document gives the PDF and the HTML, so the two can never disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from plybook.drawing.scene import Scene


@dataclass(frozen=True)
class Heading:
    text: str
    level: Literal[1, 2, 3] = 2


@dataclass(frozen=True)
class Paragraph:
    text: str
    strong: bool = False


@dataclass(frozen=True)
class Items:
    """A plain list; numbered where order matters."""

    items: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Table:
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str = ""  # one letter per column: l r c
    caption: str = ""
    widths: tuple[float, ...] = ()  # shares of the page width


@dataclass(frozen=True)
class Picture:
    """A scene fitted into the page, never larger than `height_mm`; `scale` > 0 forces 1:scale."""

    scene: Scene
    height_mm: float
    caption: str = ""
    alt: str = ""


@dataclass(frozen=True)
class CheckBox:
    id: str
    text: str


@dataclass(frozen=True)
class Blank:
    """A value to fill in: measured figure, lot number, initials, time."""

    id: str
    label: str
    kind: Literal["measure", "text", "initials", "time"] = "text"
    unit: str = ""
    expected: float | None = None
    tolerance: float | None = None


@dataclass(frozen=True)
class CautionBox:
    text: str
    source: str = ""


@dataclass(frozen=True)
class TimerBox:
    id: str
    label: str
    seconds: int
    kind: Literal["wait", "limit"] = "wait"


Block = (
    Heading | Paragraph | Items | Table | Picture | CheckBox | Blank | CautionBox | TimerBox
)  # fmt: skip


@dataclass(frozen=True)
class Page:
    """One screen card; on paper it starts a new page and may run on to a second."""

    id: str
    title: str
    kicker: str  # small line above the title: stage and step n of m
    blocks: tuple[Block, ...]
    kind: Literal["cover", "table", "layout", "step", "record"] = "table"


@dataclass(frozen=True)
class Document:
    title: str
    part: str
    name: str
    revision: str
    hand: str
    date: str
    paper: Literal["a4", "letter"]
    pages: tuple[Page, ...]
    facts: tuple[tuple[str, str], ...] = ()
    record_key: str = ""  # hash of the plan the record belongs to
