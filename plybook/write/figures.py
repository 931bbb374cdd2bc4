"""The drawings of a page of HTML: what repeats stands once, and one style sheet gives the looks.

Terms:
    run: neighbours of a drawing that look alike, in one group.
    row: the parts of a run, or the runs of a drawing, in order.
    shared: an element that stands once in the page; drawings refer to it (`<use>`).

A stack is drawn again for every step with one layer more, so nearly all of a drawing has been
drawn before. Rows are cut where their own content says so, which finds the same stretches in two
rows however much stands before them. Words are never shared: a page is searched and read by them.
"""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape
from itertools import groupby

import numpy as np

from plybook.drawing.letters import baseline_start_mm, clean_text, text_box_mm, text_width_mm
from plybook.drawing.letters import type_size_mm as type_size
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.style import STROKES, TINTS, at_night
from plybook.write.numbers import NotDrawable, number

PX_PER_MM = 5.55  # 180 mm of paper fill a card 1000 px wide
LETTERS_PX = 14.0  # the smallest letters of a drawing as shown
_CUT_AT = 6  # one part in so many ends a stretch
_LONGEST = 40  # parts in a stretch
_ROUNDS = 3  # stretches of stretches of parts
_WORDS = "<text"

Row = list[str]


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
        self._looks: set[str] = set()
        self._widths: set[int] = set()
        runs = [list(_runs(scene)) for scene, _ in drawings]
        inner = self._folded([parts for drawing in runs for _, parts in drawing])
        folded = iter(inner)
        rows = []
        for drawing in runs:
            rows.append([f'<g class="{look}">{"".join(next(folded))}</g>' for look, _ in drawing])
            self._looks.update(name for look, _ in drawing for name in look.split())
        rows = self._folded(rows)
        self.svg = [
            self._element(scene, alt, "".join(row))
            for (scene, alt), row in zip(drawings, rows, strict=True)
        ]
        self.shared = ""
        if self._parts:
            self.shared = (
                '<svg class="shared" width="0" height="0" aria-hidden="true"><defs>'
                f"{''.join(self._parts)}</defs></svg>"
            )

    def _element(self, scene: Scene, alt: str, content: str) -> str:
        x0, y0, x1, y1 = scene.window_mm
        wide, high = x1 - x0, y1 - y0
        least = min((i.height_mm for i in scene.items if isinstance(i, Text)), default=0.0)
        readable = round(wide * LETTERS_PX / type_size(least) + 0.5) if least else 0
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
        rules = ["svg text{stroke:none}", ".halo{fill:var(--t-white);stroke:none}"]
        for role, stroke in STROKES.items():
            if _look(role) not in self._looks:
                continue
            ink = f"var(--k{stroke.ink[1:]})"
            line = (
                f"stroke:{ink};stroke-width:{number(stroke.width_mm)}px" if stroke.width_mm else ""
            )
            if stroke.dash_mm:
                line += f";stroke-dasharray:{' '.join(number(d) for d in stroke.dash_mm)}"
            rules.append(f".{_look(role)}{{fill:none;{line or 'stroke:none'}}}")
            rules.append(f".{_look(role)} text{{fill:{ink}}}")
        rules += [
            f".t-{name}{{fill:var(--t-{name})}}" for name in TINTS if f"t-{name}" in self._looks
        ]
        for name in sorted(look for look in self._looks if look[0] == "l" and look[1:].isdigit()):
            rules.append(f".{name}{{font-size:{number(type_size(int(name[1:]) / 10))}px}}")
        rules.append(".heavy{font-weight:700}")
        rules += [f"figure .n{px}{{min-width:{px}px}}" for px in sorted(self._widths)]
        return "\n".join(rules)


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


def _look(role: Role) -> str:
    return f"i-{role.value}"


def _runs(scene: Scene) -> Iterator[tuple[str, Row]]:
    """The runs of a scene: class names and the elements."""
    x0, _, _, y1 = scene.window_mm
    corner = np.array([x0, y1])

    def parts() -> Iterator[tuple[str, str]]:
        for item in scene.items:
            yield from _elements(item, corner)

    for look, run in groupby(parts(), key=lambda part: part[0]):
        yield look, [element for _, element in run]


def _elements(item: Primitive, corner: np.ndarray) -> Iterator[tuple[str, str]]:
    """(class names, element) of a primitive; y turned over."""
    look = _look(item.role)
    if isinstance(item, Text):
        yield from _words(item, corner)
        return
    look += f" t-{item.fill}" if item.fill else ""
    if isinstance(item, Path):
        if len(item.points_mm) >= 2:
            yield look, f'<path d="{_d(item.points_mm, item.closed, corner)}"/>'
    else:
        ((x, y),) = _placed(np.array([item.centre_mm]), corner)
        yield (
            look,
            f'<circle cx="{_hundredths(x)}" cy="{_hundredths(y)}" r="{number(item.radius_mm)}"/>',
        )


def _words(item: Text, corner: np.ndarray) -> Iterator[tuple[str, str]]:
    words = clean_text(item.text)
    if not words.strip():
        return
    shown = Text(**{**item.__dict__, "text": words})
    if item.halo:
        yield "halo", f'<path d="{_d(text_box_mm(shown, 0.6), True, corner)}"/>'
    ((x, y),) = _placed(np.array([item.at_mm], dtype=float), corner)
    along, rise = baseline_start_mm(shown)
    look = f"{_look(item.role)} l{round(item.height_mm * 10)}{' heavy' if item.bold else ''}"
    turn = ""
    if item.turn_deg % 360.0:
        turn = f' transform="rotate({number(-item.turn_deg)} {_hundredths(x)} {_hundredths(y)})"'
    at = f'x="{number(x / 100 + along, 2)}" y="{number(y / 100 - rise, 2)}"'
    # the width is said, so that a page shown in another face still keeps the words in their box
    wide = number(text_width_mm(words, item.height_mm, item.bold), 2)
    yield look, f'<text {at} textLength="{wide}"{turn}>{escape(words, quote=False)}</text>'


def _placed(points: np.ndarray, corner: np.ndarray) -> np.ndarray:
    """Points as hundredths of a millimetre from the upper left corner, whole numbers."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    if not np.isfinite(points).all():
        raise NotDrawable("a point of the drawing is not finite")
    return np.rint((points - corner) * (100.0, -100.0)).astype(int)


def _d(points: np.ndarray, closed: bool, corner: np.ndarray) -> str:
    """A path in steps from point to point, in hundredths so that no rounding adds up."""
    at = _placed(points, corner)
    steps = np.diff(at, axis=0)
    steps = steps[np.any(steps != 0, axis=1)]
    x, y = at[0]
    words = " ".join(map(_hundredths, steps.ravel().tolist())).replace(" -", "-")
    start = f"M{_hundredths(x)} {_hundredths(y)}".replace(" -", "-")
    return f"{start}l{words or '0 0'}{'z' if closed else ''}"


def _hundredths(value: int) -> str:
    """A whole number of hundredths: 1250 is "12.5", -5 is "-.05"."""
    whole, part = divmod(abs(int(value)), 100)
    tail = f".{part:02d}".rstrip("0") if part else ""
    return f"{'-' if value < 0 else ''}{whole or ('' if tail else 0)}{tail}"
