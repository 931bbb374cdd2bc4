"""The drawings of a page of HTML: what repeats stands once, and one style sheet gives the looks.

Terms:
    run: neighbours of a drawing that look alike, in one group.
    row: the parts of a run, or the runs of a drawing, in order.
    shared: an element that stands once in the page; drawings refer to it (`<use>`).

A stack is drawn again for every step with one layer more, so nearly all of a drawing has been
drawn before. Rows are cut where their own content says so, which finds the same stretches in two
rows however much stands before them. Words are shared only with a whole drawing: a page is
searched and read by them.
"""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from html import escape
from itertools import groupby
from typing import NamedTuple

import numpy as np

from plybook.drawing.letters import (
    baseline_start_mm,
    clean_text,
    type_size_mm,
)
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.style import STROKES, TINTS, at_night
from plybook.write.numbers import NotDrawable, number

PX_PER_MM = 5.55  # 180 mm of paper fill a card 1000 px wide
LETTERS_PX = 14.0  # the smallest letters of a drawing as shown
_CUT_AT = 6  # one part in so many ends a stretch
_LONGEST = 40  # parts in a stretch
_ROUNDS = 3  # stretches of stretches of parts
_FINEST = 2.0  # hundredths of a millimetre: a tenth of a pixel
_WORDS = "<text"
_OPEN, _END = '<path d="', '"/>'
HALO_MM = 0.6

Row = list[str]


class Look(NamedTuple):
    """How a run is drawn: its role, the tint of its areas, the height of its letters."""

    role: Role
    fill: str = ""
    letters_mm: float = 0.0
    bold: bool = False
    halo: bool = False  # on a band of the ground

    @property
    def declarations(self) -> str:
        """What the style sheet says of it."""
        tint = self.fill if self.fill.startswith("#") else f"var(--t-{self.fill})"
        area = f"fill:{tint if self.fill else 'none'}"
        stroke = STROKES[self.role]
        ink = f"var(--k{stroke.ink[1:]})"
        if self.letters_mm:
            heavy = ";font-weight:700" if self.bold else ""
            size = number(type_size_mm(self.letters_mm))
            band = f"stroke:var(--t-white);stroke-width:{2 * HALO_MM}px;paint-order:stroke"
            edge = f"{band};stroke-linejoin:round" if self.halo else "stroke:none"
            return f"fill:{ink};{edge};font-size:{size}px{heavy}"
        if not stroke.width_mm:
            return f"{area};stroke:none"
        dashes = " ".join(number(d) for d in stroke.dash_mm)
        dashed = f";stroke-dasharray:{dashes}" if dashes else ""
        return f"{area};stroke:{ink};stroke-width:{number(stroke.width_mm)}px{dashed}"


class Figures:
    """All drawings of one page.

    Args:
        drawings: each with the words that stand for it.

    Attributes:
        svg: one element for each drawing, in order.
        shared: the element they refer to, "" where nothing repeats.
        style: the looks of their lines, letters and areas, by day and by night.

    Raises:
        NotDrawable: a coordinate is nan or infinite.
    """

    def __init__(self, drawings: Sequence[tuple[Scene, str]]) -> None:
        self._parts: list[str] = []
        self._looks: dict[Look, str] = {}
        self._widths: set[int] = set()
        runs = [list(_runs(scene)) for scene, _ in drawings]
        inner = self._folded([parts for drawing in runs for _, parts in drawing])
        folded = iter(inner)
        rows = []
        for drawing in runs:
            rows.append(
                [
                    f'<g class="{self._name(look)}">{"".join(next(folded))}</g>'
                    for look, _ in drawing
                ]
            )
        whole = ["".join(row) for row in self._folded(rows)]
        whole = self._alike(whole)
        self.svg = [
            self._element(scene, alt, content)
            for (scene, alt), content in zip(drawings, whole, strict=True)
        ]
        self.shared = ""
        if self._parts:
            self.shared = (
                '<svg class="shared" width="0" height="0" aria-hidden="true"><defs>'
                f"{''.join(self._parts)}</defs></svg>"
            )

    def _alike(self, contents: list[str]) -> list[str]:
        """Drawings that come again whole, such as a rosette: with their words."""
        count = Counter(contents)
        known: dict[str, str] = {}
        for content, times in count.items():
            if times > 1 and len(content) > 60:
                name = f"d{len(self._parts)}"
                self._parts.append(_named(content, name))
                known[content] = f'<use href="#{name}"/>'
        return [known.get(content, content) for content in contents]

    def _element(self, scene: Scene, alt: str, content: str) -> str:
        x0, y0, x1, y1 = scene.window_mm
        wide, high = x1 - x0, y1 - y0
        least = min((i.height_mm for i in scene.items if isinstance(i, Text)), default=0.0)
        readable = round(wide * LETTERS_PX / type_size_mm(least) + 0.5) if least else 0
        look = ""
        if readable:
            self._widths.add(readable)
            look = f' class="n{readable}"'
        said = escape(clean_text(alt or scene.title))
        return (
            f'<svg{look} width="{round(wide * PX_PER_MM)}" viewBox="0 0 {number(wide)} '
            f'{number(high)}" role="img" aria-label="{said}">{content}</svg>'
        )

    def _folded(self, rows: list[Row]) -> list[Row]:
        """Rows with what repeats in them replaced by references, single parts and stretches."""
        rows = self._fold(rows, lambda row: ([part] for part in row))
        for _ in range(_ROUNDS):
            rows = self._fold(rows, _stretches)
        return rows

    def _fold(self, rows: list[Row], cut: Callable[[Row], Iterable[Row]]) -> list[Row]:
        cuts = [["".join(stretch) for stretch in cut(row)] for row in rows]
        count = Counter(stretch for row in cuts for stretch in row)
        known: dict[str, str] = {}

        def short(stretch: str) -> str:
            if _WORDS in stretch or count[stretch] < 2:
                return stretch
            if stretch not in known:
                name = f"d{len(self._parts)}"
                use = f'<use href="#{name}"/>'
                saved = (count[stretch] - 1) * len(stretch) - count[stretch] * len(use) - 25
                if saved <= 0:
                    return stretch
                self._parts.append(_named(stretch, name))
                known[stretch] = use
            return known[stretch]

        out = []
        for row, stretches in zip(rows, cuts, strict=True):
            folded = []
            for parts, whole in zip(cut(row), stretches, strict=True):
                put = short(whole)
                folded += parts if put is whole else [put]
            out.append(folded)
        return out

    @property
    def style(self) -> str:
        """Rules for what is drawn; the colours are variables, for the page to turn at night."""
        rules = [f".{name}{{{look.declarations}}}" for look, name in self._looks.items()]
        rules += [f"figure .n{px}{{min-width:{px}px}}" for px in sorted(self._widths)]
        return "\n".join(rules)

    def _name(self, look: Look) -> str:
        return self._looks.setdefault(look, f"s{len(self._looks)}")


def colours(night: bool) -> str:
    """Declarations of the variables that `Figures.style` goes by."""
    turn = at_night if night else str
    inks = sorted({stroke.ink for stroke in STROKES.values()})
    return "".join(
        [f"--k{ink[1:]}:{turn(ink)};" for ink in inks]
        + [f"--t-{name}:{turn(tint)};" for name, tint in TINTS.items()]
    )


def _named(element: str, name: str) -> str:
    """An element with an id; several are put in a group for it."""
    if element.startswith(("<path ", "<circle ")) and element.count("<") == 1:
        tag, _, rest = element.partition(" ")
        return f'{tag} id="{name}" {rest}'
    return f'<g id="{name}">{element}</g>'


def _stretches(row: Row) -> Iterator[Row]:
    """A row cut where its content says so; what holds words stands alone."""
    held: Row = []
    for part in row:
        if _WORDS in part:
            if held:
                yield held
            yield [part]
            held = []
            continue
        held.append(part)
        if zlib.crc32(part.encode()) % _CUT_AT == 0 or len(held) >= _LONGEST:
            yield held
            held = []
    if held:
        yield held


def _runs(scene: Scene) -> Iterator[tuple[Look, Row]]:
    """The runs of a scene: how they look, and the elements."""
    x0, _, _, y1 = scene.window_mm
    corner = np.array([x0, y1])

    def parts() -> Iterator[tuple[Look, str]]:
        for item in scene.items:
            yield from _elements(item, corner)

    for look, run in groupby(parts(), key=lambda part: part[0]):
        elements = [element for _, element in run]
        if not look.fill and all(e.startswith(_OPEN) and e.endswith(_END) for e in elements):
            yield look, ["".join((_OPEN, *(e[len(_OPEN) : -len(_END)] for e in elements), _END))]
        else:
            yield look, elements


def _elements(item: Primitive, corner: np.ndarray) -> Iterator[tuple[Look, str]]:
    """How a primitive looks, and its element; y turned over."""
    if isinstance(item, Text):
        yield from _words(item, corner)
        return
    look = Look(item.role, item.fill)
    if isinstance(item, Path):
        if len(item.points_mm) >= 2:
            yield look, f'<path d="{_d(item.points_mm, item.closed, corner)}"/>'
    else:
        ((x, y),) = _placed(np.array([item.centre_mm]), corner)
        yield (
            look,
            f'<circle cx="{_hundredths(x)}" cy="{_hundredths(y)}" r="{number(item.radius_mm)}"/>',
        )


def _words(item: Text, corner: np.ndarray) -> Iterator[tuple[Look, str]]:
    words = clean_text(item.text)
    if not words.strip():
        return
    shown = Text(**{**item.__dict__, "text": words})
    ((x, y),) = _placed(np.array([item.at_mm], dtype=float), corner)
    along, rise = baseline_start_mm(shown)
    look = Look(item.role, "", item.height_mm, item.bold, item.halo)
    turn = ""
    if item.turn_deg % 360.0:
        turn = f' transform="rotate({number(-item.turn_deg)} {_hundredths(x)} {_hundredths(y)})"'
    at = f'x="{number(x / 100 + along, 2)}" y="{number(y / 100 - rise, 2)}"'
    yield look, f"<text {at}{turn}>{escape(words, quote=False)}</text>"


def _placed(points: np.ndarray, corner: np.ndarray) -> np.ndarray:
    """Points as hundredths of a millimetre from the upper left corner, whole numbers."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    if not np.isfinite(points).all():
        raise NotDrawable("a point of the drawing is not finite")
    return np.rint((points - corner) * (100.0, -100.0)).astype(int)


def _d(points: np.ndarray, closed: bool, corner: np.ndarray) -> str:
    """A path in steps from point to point, in hundredths so that no rounding adds up; points
    that lie on the line between others, as far as a screen shows, are left out."""
    at = _placed(points, corner)
    if len(at) > 4:
        import shapely

        line = shapely.linestrings(at)
        kept = shapely.simplify(line, _FINEST, preserve_topology=False)
        at = np.rint(shapely.get_coordinates(kept)).astype(int)
    steps = np.diff(at, axis=0)
    steps = steps[np.any(steps != 0, axis=1)]
    x, y = at[0]
    words = " ".join(map(_hundredths, steps.ravel().tolist())).replace(" -", "-")
    start = f"M{_hundredths(x)} {_hundredths(y)}".replace(" -", "-")
    return f"{start}l{words or '0 0'}{'z' if closed else ''}"


@lru_cache(maxsize=65536)
def _hundredths(value: int) -> str:
    """A whole number of hundredths: 1250 is "12.5", -5 is "-.05"."""
    whole, part = divmod(abs(int(value)), 100)
    tail = f".{part:02d}".rstrip("0") if part else ""
    return f"{'-' if value < 0 else ''}{whole or ('' if tail else 0)}{tail}"
