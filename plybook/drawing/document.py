"""A book or a sheet set as a list of pages made of blocks; writers set them on paper or screen.

The same document gives the PDF and the HTML, so the two can never disagree.

Terms:
    page: one screen card; on paper short ones share a sheet and long ones run on.
    block: one thing on a page.
    field: a block that is filled in at the bench (CheckBox, Blank, Notes, TimerBox); its id is
        unique in the book and follows from the step's own id, so that a record made from an
        earlier printing still fits the steps that have not changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from plybook.drawing.scene import Scene
from plybook.units import show_number

LIMIT_DECIMALS = 3  # of a printed limit, which is the limit that a value is judged by
SERIAL = "article.serial"  # field of the number that tells one article from the next
MASS_FIELD = "record.mass_g"
KIT_FIELD, LEFT_FIELD, TRIMMINGS_FIELD = "record.kit_g", "record.left_g", "record.trimmings_g"
SIGN_OFF: tuple[Literal["initials", "time", "lot"], ...] = ("initials", "time", "lot")
# blanks at the foot of every step, each called by its kind


@dataclass(frozen=True)
class Heading:
    text: str
    level: Literal[1, 2, 3] = 2


@dataclass(frozen=True)
class Paragraph:
    """`small`: said elsewhere in the book too, smaller on paper."""

    text: str
    strong: bool = False
    small: bool = False


@dataclass(frozen=True)
class Items:
    """A plain list; numbered where order matters. `small`: short things to lay out, in columns."""

    items: tuple[str, ...]
    numbered: bool = False
    small: bool = False


@dataclass(frozen=True)
class Table:
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str = ""  # one letter per column: l r c
    caption: str = ""
    widths: tuple[float, ...] = ()  # shares of the page width


@dataclass(frozen=True)
class Facts:
    """Short label and value pairs, the value in larger type."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Plate:
    """What a step handles, in the largest type of the page: ids, then one line of facts.

    `small`: on a crowded page; in smaller type and without the facts.
    """

    ids: tuple[str, ...]
    line: str = ""
    angle: str = ""  # "+45°"; "" where no angle is meant
    small: bool = False


@dataclass(frozen=True)
class Picture:
    """A scene drawn in paper millimetres: 1:1 on paper where it fits, else reduced to fit.

    The window is at most 180 mm wide, the width both A4 and Letter offer. On screen it takes the
    card's width. `to_scale`: never made smaller to bring a page onto one sheet.
    """

    scene: Scene
    height_mm: float
    caption: str = ""
    alt: str = ""
    to_scale: bool = False


@dataclass(frozen=True)
class Photo:
    """A JPEG photo of `width` by `height` px, at most 85 mm wide on paper; two stand side by
    side."""

    data: bytes
    width: int
    height: int
    caption: str


@dataclass(frozen=True)
class PictureRow:
    """Pictures side by side on paper and on a wide screen, one under another on a narrow one."""

    pictures: tuple[Picture, ...]


@dataclass(frozen=True)
class CheckBox:
    id: str
    text: str


@dataclass(frozen=True)
class Blank:
    """A value to fill in: measured figure, lot number, initials, time."""

    id: str
    label: str
    kind: Literal["measure", "text", "initials", "time", "date", "lot"] = "text"
    unit: str = ""
    expected: float | None = None
    tolerance: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    note: str = ""  # how it is measured
    offers: tuple[str, ...] = ()  # materials whose lots are offered here
    optional: bool = False  # the page does not ask for it
    difference: tuple[str, ...] = ()  # ids of two blanks: computed as the first less the second

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Least and largest value that counts as in, by the figures that are printed; None where
        there is no such bound."""
        expected, tolerance, low, high = (
            None if value is None else round(value, LIMIT_DECIMALS)
            for value in (self.expected, self.tolerance, self.at_least, self.at_most)
        )
        if expected is not None and tolerance is not None:
            low = round(expected - tolerance, LIMIT_DECIMALS) if low is None else low
            high = round(expected + tolerance, LIMIT_DECIMALS) if high is None else high
        return low, high


@dataclass(frozen=True)
class SignOff:
    """Blanks that close a step, side by side on paper."""

    blanks: tuple[Blank, ...]


@dataclass(frozen=True)
class Notes:
    """Room for words: `lines` ruled lines on paper, a text area on screen."""

    id: str
    label: str
    lines: int = 4


@dataclass(frozen=True)
class Column:
    """One column of a ledger; `share` of the width on paper."""

    name: str
    label: str
    kind: Literal["text", "long", "initials", "number", "time", "date", "choice"] = "text"
    options: tuple[str, ...] = ()
    share: float = 0.2


@dataclass(frozen=True)
class Ledger:
    """A list that grows at the bench: `rows` ruled rows on paper, one entry after another on
    screen."""

    id: str
    title: str
    columns: tuple[Column, ...]
    rows: int = 5
    add: str = "Add a row"


@dataclass(frozen=True)
class CautionBox:
    """`small`: one of many, on a page that only collects them."""

    text: str
    source: str = ""
    small: bool = False


@dataclass(frozen=True)
class TimerBox:
    id: str
    label: str
    seconds: int
    kind: Literal["wait", "limit"] = "wait"
    with_first_cup: bool = False  # starts when the first cup of its stage is mixed


@dataclass(frozen=True)
class Cup:
    """One cup to be mixed: what goes in and what for, and what is written down of it.

    `tray_s`: how long it may stand before it is poured out; 0: not known.
    """

    id: str
    parts: str  # "resin 323 g + hardener 97 g = 420 g"
    use: str
    mixed: Blank
    lots: Blank
    limit: TimerBox | None = None  # how long it lasts
    tray_s: int = 0
    grams: tuple[tuple[str, float], ...] = ()  # name and mass of each part
    decimals: int = 0
    weighed: Blank | None = None  # on screen: the first part as weighed, where it differs


@dataclass(frozen=True)
class Cups:
    """The cups of a step, one under another."""

    cups: tuple[Cup, ...]


@dataclass(frozen=True)
class Links:
    """Other files of the folder: (words, address from the folder down)."""

    label: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class OnScreen:
    """Shown on screen alone: on paper it stands in a file of its own.

    `fold`: words to tap for the rest, "" to show it at once.
    """

    blocks: tuple[Block, ...]
    fold: str = ""


Block = (
    Heading
    | Paragraph
    | Items
    | Table
    | Facts
    | Plate
    | Picture
    | PictureRow
    | Photo
    | CheckBox
    | Blank
    | SignOff
    | Notes
    | Ledger
    | CautionBox
    | TimerBox
    | Cups
    | Links
    | OnScreen
)


@dataclass(frozen=True)
class Page:
    """One screen card; on paper a part of a sheet, or with `alone` a sheet of its own."""

    id: str
    title: str
    kicker: str  # small line above the title: stage and step n of m
    blocks: tuple[Block, ...]
    kind: Literal["cover", "table", "layout", "step", "record"] = "table"
    chapter: str = ""  # heading of the jump list and the outline this page stands under
    alone: bool = False
    minutes: float = 0.0  # planned for the step


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
    serial: str = ""  # of the article, where the document is of one that is built


def field_id(step: str, field: str) -> str:
    """Id of a field of a step: checks, timers and the sign-off blanks of `SIGN_OFF`."""
    return f"{step}.{field}"


def lot_field_id(material: str) -> str:
    """Id of the blank for the lot of a material of the whole part."""
    return f"record.lot.{material}"


def expiry_field_id(material: str) -> str:
    """Id of the blank for the date a material must be used by."""
    return f"record.expiry.{material}"


def jig_field_id(measure: str) -> str:
    """Id of the blank for a jig measurement."""
    return f"jig.{measure}"


def limit_words(blank: Blank) -> str:
    """What a measure is held against: '20 ± 3 °C', 'at most 10 mbar', '' where nothing is.

    The figures are those of `Blank.limits`, to the last decimal.
    """
    unit = f" {blank.unit}" if blank.unit else ""
    if blank.expected is not None and blank.tolerance:
        return f"{_limit(blank.expected)} ± {_limit(blank.tolerance)}{unit}"
    if blank.at_least is not None and blank.at_most is not None:
        return f"{_limit(blank.at_least)} to {_limit(blank.at_most)}{unit}"
    if blank.at_least is not None:
        return f"at least {_limit(blank.at_least)}{unit}"
    if blank.at_most is not None:
        return f"at most {_limit(blank.at_most)}{unit}"
    return f"{_limit(blank.expected)}{unit}" if blank.expected is not None else ""


def _limit(value: float) -> str:
    return show_number(value, LIMIT_DECIMALS)


def figure(value: float) -> str:
    """A figure as the bench reads it: at most three decimals, no trailing zeros."""
    return show_number(value, 3 if abs(value) < 1 else 1 if abs(value) < 10000 else 0)


def show_duration(seconds: int) -> str:
    """A wait as people say it: '45 s', '12 min', '1 h 30 min', '24 h'."""
    seconds = int(round(seconds))
    if seconds < 60:
        return f"{seconds} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
