"""The pictures of the booklet on screen are those on paper: line by line, area by area, word by
word, in the order of drawing, in the same ink.

One scale and one place for each picture lead from the screen to the paper, never a mirror.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from plybook.verify import plane
from plybook.verify.lettermetrics import CAP, width
from plybook.verify.looks import WHITE
from plybook.verify.pagetree import Element
from plybook.verify.pdf_pages import Area, Line
from plybook.verify.pdf_pages import Words as PaperWords

AWAY_MM = 0.08  # between the same point on screen and on paper: the screen keeps 0.02 mm
TURN_DEG = 0.05
PX_PER_MM = 5.55  # of every picture, so that all letters are as large as meant
MOST_ITEMS = 200_000  # of a picture
LEAST_FILLED = 0.5  # of its window by a picture, one way at least
_SIZE_MM = 0.02
_DEEPEST = 8  # references within references
_STEP = re.compile(r"([Mlz])|(-?\d*\.?\d+)")
_RULE = re.compile(r"\.(s\d+)\{([^}]*)\}")
_COLOUR = re.compile(r"--((?:k|t-)\w+):(#[0-9a-f]{6});")
_TURNED = re.compile(r"rotate\((\S+) (\S+) (\S+)\)")
_ROUND = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])


@dataclass(frozen=True)
class Item:
    """One thing of a picture, y up; `look` says ink, width and dash, fill, or ink and size."""

    kind: str  # line, area, words
    points: np.ndarray  # (n, 2) mm; of words where they start
    closed: bool = False
    look: tuple = ()
    text: str = ""
    turn_deg: float = 0.0
    round: bool = False


@dataclass
class Looks:
    """What the style sheet of a page says of each class of its drawings."""

    rules: dict[str, dict[str, str]]
    colours: dict[str, str]

    def colour(self, said: str) -> str:
        """A colour or "" for none."""
        if said.startswith("var(--"):
            return self.colours.get(said[6:-1], said)
        return "" if said == "none" else said


def looks_of(style: str) -> Looks:
    """The looks of a style sheet; the colours are those of the day, which stand first."""
    rules = {}
    for name, said in _RULE.findall(style):
        pairs = (row.partition(":") for row in said.split(";"))
        rules[name] = {key: value for key, _, value in pairs}
    colours: dict[str, str] = {}
    for name, colour in _COLOUR.findall(style):
        colours.setdefault(name, colour)
    return Looks(rules, colours)


# ---------------------------------------------------------------- on screen


@dataclass
class Screen:
    """Reads the pictures of a page.

    Args:
        named: the elements of the page by their id.
        looks: of its style sheet.
    """

    named: dict[str, Element]
    looks: Looks
    _shared: dict[str, list[tuple[str, Item]]] = field(default_factory=dict)

    def picture(self, svg: Element) -> list[Item]:
        """The items of a picture in the order of drawing, as paper would draw them.

        Raises:
            ValueError: it refers to itself, or its figures cannot be read.
            KeyError: it refers to nothing, or has a look of no rule.
        """
        found: list[Item] = []
        for look, item in self._items(svg, 0):
            found.extend(self._drawn(item, self.looks.rules[look]))
        return found

    def _items(self, element: Element, depth: int) -> list[tuple[str, Item]]:
        if depth > _DEEPEST:
            raise ValueError("a picture refers to itself")
        kind, said = element.kind, element.attributes
        if kind == "use":
            name = said["href"][1:]
            if name not in self._shared:
                self._shared[name] = self._items(self.named[name], depth + 1)
            found = self._shared[name]
        elif kind == "path":
            found = [("", item) for item in _path(said["d"])]
        elif kind == "circle":
            x, y, r = (float(said[name]) for name in ("cx", "cy", "r"))
            found = [("", Item("path", _ROUND * r + (x, -y), True, round=True))]
        elif kind == "text":
            found = [("", _text(element))]
        else:
            found = []
            for inner in element.inner:
                found += self._items(inner, depth)
                if len(found) > MOST_ITEMS:
                    raise ValueError("a picture of too many lines")
        look = said.get("class", "") if kind == "g" else ""
        return [(own or look, item) for own, item in found] if look else found

    def _drawn(self, item: Item, rule: dict[str, str]) -> list[Item]:
        if item.kind == "words":
            ink, size = self.looks.colour(rule["fill"]), float(rule["font-size"][:-2])
            return [replace(item, look=(ink, size))]
        out = []
        if fill := self.looks.colour(rule["fill"]):
            out.append(replace(item, kind="area", closed=True, look=(fill,)))
        if ink := self.looks.colour(rule["stroke"]):
            dash = tuple(map(float, rule.get("stroke-dasharray", "").split()))
            wide = float(rule["stroke-width"][:-2])
            out.append(replace(item, kind="line", look=(ink, wide, *dash)))
        return out


def _path(d: str) -> list[Item]:
    """The lines of a path of steps (SVG 2, 9.3: M, l and z), y turned over."""
    found: list[Item] = []
    flat: list[float] = []

    def end(closed: bool) -> None:
        if flat:
            points = np.cumsum(np.array(flat).reshape(-1, 2), axis=0) * (1.0, -1.0)
            found.append(Item("path", points, closed))
            flat.clear()

    for letter, figure in _STEP.findall(d):
        if letter in ("M", "z"):
            end(letter == "z")
        elif figure:
            flat.append(float(figure))
    end(False)
    return found


def _text(element: Element) -> Item:
    said = element.attributes
    at = np.array([[float(said["x"]), -float(said["y"])]])
    words = "".join(element.words)
    if turned := _TURNED.fullmatch(said.get("transform", "")):
        angle = -float(turned[1])
        anchor = np.array([float(turned[2]), -float(turned[3])])
        t = np.radians(angle)
        turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
        return Item("words", (at - anchor) @ turn + anchor, text=words, turn_deg=angle)
    return Item("words", at, text=words)


# ---------------------------------------------------------------- on paper


def on_paper(painted: Sequence[Line | PaperWords | Area]) -> list[Item]:
    """The marked things of a stretch of paper; the white behind words is part of them."""
    found: list[Item] = []
    for k, one in enumerate(painted):
        if not one.mark:
            continue
        if isinstance(one, PaperWords):
            found.append(Item("words", np.array([one.at_mm]), text=one.text, turn_deg=one.turn_deg,
                              look=(one.ink, one.size_mm)))  # fmt: skip
        elif isinstance(one, Area):
            after = painted[k + 1] if k + 1 < len(painted) else None
            if one.fill != WHITE or len(one.points) != 4 or not isinstance(after, PaperWords):
                found.append(Item("area", one.points, True, (one.fill,)))
        else:
            look = (one.ink, one.width_mm, *one.dash_mm)
            found.append(Item("line", one.points, one.closed, look, round=one.curved))
    return found


# ---------------------------------------------------------------- together


def differ(screen: Sequence[Item], paper: Sequence[Item]) -> str:
    """What a picture on screen has otherwise than as many items on paper, "" nothing."""
    if len(screen) != len(paper):
        return "has more or less lines and words"
    for one, two in zip(screen, paper, strict=True):
        if one.kind != two.kind or one.text != two.text:
            return f"has {_called(one)} for {_called(two)}"
        if one.closed != two.closed or not _same_look(one, two):
            return f"draws {_called(one)} in another way"
    shapes = [(a, b) for a, b in zip(screen, paper, strict=True) if a.kind != "words"]
    fit = _fit(shapes)
    if fit is None:
        return "has no line to hold it by, or is mirrored"
    scale, shift = fit
    for one, two in zip(screen, paper, strict=True):
        if one.kind == "words":
            if not same_words(one, two, scale, shift):
                return f"has {one.text!r} in another place"
        elif not same_shape(one, two, scale, shift):
            return "has a line of another shape or place"
    return ""


def _called(item: Item) -> str:
    return repr(item.text) if item.kind == "words" else {"line": "a line"}.get(item.kind, "an area")


def out_of_view(svg: Element, items: Sequence[Item]) -> str:
    """What of a picture its window cuts off, or how it makes it small; "" nothing."""
    wide, high = map(float, svg.attributes["viewbox"].split()[2:])
    if not items:
        return "is empty"
    boxes = plane.boxes([_reach(item) for item in items])
    low, top = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    if low[0] < -AWAY_MM or top[0] > wide + AWAY_MM or low[1] < -high - AWAY_MM or top[1] > AWAY_MM:
        return "is cut off"
    small = max((top - low) / (wide, high)) < LEAST_FILLED
    small |= abs(float(svg.attributes["width"]) - wide * PX_PER_MM) > 1.0
    return "is made small" if small else ""


def _reach(item: Item) -> np.ndarray:
    """(n, 2) what a thing covers; of words from the start to the end of their base line and as
    high as a capital, in letters that are not bold, which are the narrowest."""
    if item.kind != "words":
        return item.points
    turn, size = np.radians(item.turn_deg), item.look[1]
    along = size * np.array([np.cos(turn), np.sin(turn)])
    end = item.points + along * width(item.text, False)
    rise = CAP * np.array([-along[1], along[0]])
    return np.concatenate([item.points, end, item.points + rise, end + rise])


def _same_look(one: Item, two: Item) -> bool:
    """The same ink, and pen; the size of letters follows the scale."""
    if one.kind == "words":
        return bool(one.look[0] == two.look[0])
    mine, theirs = one.look, two.look
    return bool(
        len(mine) == len(theirs)
        and mine[0] == theirs[0]
        and all(abs(a - b) <= _SIZE_MM for a, b in zip(mine[1:], theirs[1:], strict=True))
    )


def _fit(shapes: Sequence[tuple[Item, Item]]) -> tuple[float, np.ndarray] | None:
    """Scale and shift that lead best from one to the other by the boxes round their shapes."""
    if not shapes:
        return None
    one, two = (plane.boxes([pair[k].points for pair in shapes]).reshape(-1, 2) for k in (0, 1))
    away = one - one.mean(axis=0)
    size = float((away * away).sum())
    scale = float((away * (two - two.mean(axis=0))).sum()) / size if size else 1.0
    return (scale, two.mean(axis=0) - scale * one.mean(axis=0)) if scale > 0 else None


def same_shape(one: Item, two: Item, scale: float, shift: np.ndarray) -> bool:
    mine, theirs = one.points * scale + shift, two.points
    if one.round:
        mine, theirs = (plane.boxes([p]).reshape(2, 2) for p in (mine, theirs))
    if mine.shape == theirs.shape and float(np.abs(mine - theirs).max()) <= AWAY_MM:
        return True
    if one.round != two.round or (one.round and two.round) or min(len(mine), len(theirs)) < 2:
        return False
    return bool(
        plane.distance_to_path(mine, theirs, one.closed).max() <= AWAY_MM
        and plane.distance_to_path(theirs, mine, one.closed).max() <= AWAY_MM
        and (one.closed or np.abs(mine[[0, -1]] - theirs[[0, -1]]).max() <= AWAY_MM)
    )


def same_words(one: Item, two: Item, scale: float, shift: np.ndarray) -> bool:
    turn = (one.turn_deg - two.turn_deg + 180.0) % 360.0 - 180.0
    away = two.points - (one.points * scale + shift)
    size = one.look[1] * scale - two.look[1]
    return bool(np.abs(away).max() <= AWAY_MM and abs(turn) <= TURN_DEG and abs(size) <= _SIZE_MM)
