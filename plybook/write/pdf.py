"""Scenes on a PDF canvas, as vectors, at any scale.

Coordinates are multiplied by the scale; line widths, dashes and letters are page millimetres and
are not (see `plybook.drawing.style`). With `clip` only what lies inside the window is written,
and dashes keep their phase, so a line carries on unbroken from tile to tile. Lines stand in marked
content named after their role (/CUT, /BEVEL ...), so that a reader can tell them apart.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np

from plybook.drawing.letters import baseline_start_mm, clean_text, text_box_mm, type_size_mm
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import STROKES, dxf_layer, tint_of
from plybook.write.fonts import MM, face, register
from plybook.write.numbers import NotDrawable, number

Window = tuple[float, float, float, float]
HALO_MM = 0.6
_K = 0.5522847498  # control points of a quarter circle drawn as a cubic
_KNOTS = np.array(
    [(1, 0), (1, _K), (_K, 1), (0, 1), (-_K, 1), (-1, _K), (-1, 0), (-1, -_K), (-_K, -1), (0, -1),
     (_K, -1), (1, -_K), (1, 0)]
)  # fmt: skip
_CIRCLE = "%.3f %.3f m" + " %.3f %.3f %.3f %.3f %.3f %.3f c" * 4
_BEGUN = "BT 1 0 0 1 0 0 Tm "  # what the PDF library begins a text with
_ZEROS = re.compile(r"\.?0+(?= )")  # of numbers with three places
_MINUS_ZERO = re.compile(r"(?<![^ ])-0(?= )")
# the operators that show words, by file
_SHOWN: WeakKeyDictionary[Any, dict[tuple[str, bool, float], str]] = WeakKeyDictionary()


def new_canvas(
    width_mm: float, height_mm: float, title: str, author: str = "", subject: str = ""
) -> tuple[Any, io.BytesIO]:
    """A canvas whose bytes depend on its content alone, with print scaling switched off.

    Returns:
        (canvas, buffer); call `canvas.save()` and take `buffer.getvalue()`.
    """
    from plybook.write.pdf_library import Canvas, pdfdoc, rl_config

    register()
    pdfdoc.TimeStamp = _Date
    rl_config.useA85 = 0  # plain compressed streams: a fifth smaller and faster than in ASCII
    buffer = io.BytesIO()
    size = (width_mm * MM, height_mm * MM)
    canvas = Canvas(buffer, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(clean_text(title))
    canvas.setAuthor(clean_text(author))
    canvas.setSubject(clean_text(subject))
    canvas.setCreator("plybook")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas, buffer


class _Date:
    """The date in every file; the library's own follows SOURCE_DATE_EPOCH of the environment."""

    t, YMDhms, lt, dhh, dmm, tzname = 946684800.0, (2000, 1, 1, 0, 0, 0), None, 0, 0, "UTC"

    def __init__(self, invariant: int = 1):
        pass


def bounds_mm(scene: Scene, scale: float = 1.0) -> np.ndarray:
    """(n, 4) box of every primitive, scene mm, with its line width or halo.

    Worked out once, it makes drawing many small windows of one scene quick.

    Raises:
        NotDrawable: a coordinate is nan or infinite.
    """
    boxes = np.array([_bounds(item, scale) for item in scene.items]).reshape(-1, 4)
    if not np.isfinite(boxes).all():
        raise NotDrawable("a point of the drawing is not finite")
    return boxes


def _bounds(item: Primitive, scale: float) -> tuple[float, float, float, float]:
    if isinstance(item, Path):
        points = np.asarray(item.points_mm, dtype=float).reshape(-1, 2)
        margin = 0.5 / scale
    elif isinstance(item, Circle):
        points, margin = np.array([item.centre_mm], dtype=float), item.radius_mm + 0.5 / scale
    else:
        anchor = np.array(item.at_mm, dtype=float)
        points, margin = (text_box_mm(item, HALO_MM) - anchor) / scale + anchor, 0.0
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def touching(boxes: np.ndarray, window: Window) -> np.ndarray:
    """Which boxes reach into a window, as an array of booleans."""
    return (
        (boxes[:, 0] <= window[2])
        & (boxes[:, 2] >= window[0])
        & (boxes[:, 1] <= window[3])
        & (boxes[:, 3] >= window[1])
    )


def draw_scene(
    canvas: Any,
    scene: Scene,
    x_pt: float,
    y_pt: float,
    scale: float = 1.0,
    clip: Window | None = None,
    stretch: tuple[float, float] = (1.0, 1.0),
    bounds: np.ndarray | None = None,
) -> None:
    """Draw a scene with the lower left corner of its window (or clip) at a page point.

    Args:
        canvas: a reportlab canvas.
        x_pt, y_pt: where that corner lies on the page, points.
        scale: page mm per scene mm.
        clip: (xmin, ymin, xmax, ymax) in scene mm; nothing outside it is drawn.
        stretch: factors along x and y that make up for a printer which prints too small.
        bounds: what `bounds_mm` gave for this scene, to save time with many clips.

    Raises:
        NotDrawable: a coordinate is nan or infinite.
    """
    register()
    window = clip or scene.window_mm
    fx, fy = scale * MM * stretch[0], scale * MM * stretch[1]
    factor, shift = np.array([fx, fy]), np.array([x_pt - window[0] * fx, y_pt - window[1] * fy])
    pen = _Pen(canvas, lambda points: points * factor + shift, scale, clip)
    canvas.saveState()
    pen.start(x_pt, y_pt, fx, fy)
    if clip is None:
        for item in scene.items:
            pen.draw(item)
    else:
        boxes = bounds_mm(scene, scale) if bounds is None else bounds
        for k in np.flatnonzero(touching(boxes, clip)):
            pen.draw(scene.items[k])
    pen.stop()
    canvas.restoreState()


class _Pen:
    """Writes drawing operators (ISO 32000-1, table 59 and following), changing the state of the
    page only where the role changes."""

    def __init__(
        self,
        canvas: Any,
        place: Callable[[np.ndarray], np.ndarray],
        scale: float,
        clip: Window | None,
    ):
        self.canvas, self.place, self.scale, self.clip = canvas, place, scale, clip
        self.role: Role | None = None
        self.phase = 0.0

    def start(self, x_pt: float, y_pt: float, fx: float, fy: float) -> None:
        if self.clip:
            wide = (self.clip[2] - self.clip[0]) * fx
            high = (self.clip[3] - self.clip[1]) * fy
            self.put(f"{_n(x_pt)} {_n(y_pt)} {_n(wide)} {_n(high)} re W n")
        self.put("1 J 1 j")

    def stop(self) -> None:
        self.wear(None)

    def put(self, operators: str) -> None:
        self.canvas.addLiteral(operators)

    def wear(self, role: Role | None) -> None:
        """Take up the line of a role."""
        if role is self.role:
            return
        if self.role is not None:
            self.put("EMC")
        self.role = role
        if role is None:
            return
        stroke = STROKES[role]
        dash = " ".join(_n(d * MM) for d in stroke.dash_mm)
        self.phase = 0.0
        look = f"{_rgb(stroke.ink)} RG {_n(stroke.width_mm * MM)} w [{dash}] 0 d"
        self.put(f"/{dxf_layer(role)} BMC {look}")

    def draw(self, item: Primitive) -> None:
        if isinstance(item, Path):
            self.path(item)
        elif isinstance(item, Circle):
            self.circle(item)
        else:
            self.text(item)

    def path(self, item: Path) -> None:
        points = np.asarray(item.points_mm, dtype=float).reshape(-1, 2)
        if len(points) < 2:
            return
        self.wear(item.role)
        if item.fill:
            self.put(f"{_rgb(tint_of(item.fill))} rg {_line(self.place(points), True)} f")
        stroke = STROKES[item.role]
        if not stroke.width_mm:
            return
        if self.clip is None or _within(points, self.clip):
            self._dash(stroke.dash_mm, 0.0)
            self.put(f"{_line(self.place(points), item.closed)} S")
            return
        if item.closed:
            points = np.vstack([points, points[:1]])
        for start_mm, run in _clipped_runs(points, self.clip, 1.0 / self.scale):
            self._dash(stroke.dash_mm, start_mm * self.scale)
            self.put(f"{_line(self.place(run), False)} S")

    def _dash(self, dash_mm: tuple[float, ...], start_mm: float) -> None:
        """Begin the dashes where the whole line would have them."""
        if not dash_mm:
            return
        phase = start_mm % sum(dash_mm)
        if phase != self.phase:
            self.put(f"[{' '.join(_n(d * MM) for d in dash_mm)}] {_n(phase * MM)} d")
            self.phase = phase

    def circle(self, item: Circle) -> None:
        self.wear(item.role)
        outline = _written(_CIRCLE, self.place(_KNOTS * item.radius_mm + item.centre_mm))
        fill = f"{_rgb(tint_of(item.fill))} rg " if item.fill else ""
        line = STROKES[item.role].width_mm > 0
        close = {(True, True): "b", (True, False): "s", (False, True): "f", (False, False): "n"}
        self._dash(STROKES[item.role].dash_mm, 0.0)
        self.put(f"{fill}{outline} {close[line, bool(item.fill)]}")

    def text(self, item: Text) -> None:
        words = clean_text(item.text)
        if not words.strip():
            return
        self.wear(item.role)
        if words != item.text:
            item = replace(item, text=words)
        anchor = np.array(item.at_mm, dtype=float)
        at = self.place(anchor)
        if item.halo:  # letters are not stretched, nor is what is behind them
            box = at + (text_box_mm(item, HALO_MM) - anchor) * MM
            self.put(f"1 1 1 rg {_line(box, True)} f")
        turn = math.radians(item.turn_deg)
        c, s = math.cos(turn), math.sin(turn)
        along, rise = baseline_start_mm(item)
        x, y = at.tolist()
        x += (along * c - rise * s) * MM
        y += (along * s + rise * c) * MM
        matrix = " ".join(_f(v) for v in (c, s, -s, c, x, y))
        self.put(f"{_rgb(STROKES[item.role].ink)} rg")
        self.put(f"{_BEGUN}{matrix} Tm {self._shown(item)} ET")

    def _shown(self, item: Text) -> str:
        """The operators that show the words of a text in the type of the file: a font's subset
        only grows, so they are the same each time."""
        known = _SHOWN.setdefault(self.canvas, {})
        key = (item.text, item.bold, item.height_mm)
        if key not in known:
            line = self.canvas.beginText()
            line.setFont(face(item.bold), type_size_mm(item.height_mm) * MM)
            line.textOut(item.text)
            known[key] = line.getCode().removeprefix(_BEGUN).removesuffix(" ET")
        return known[key]


def _line(points_pt: np.ndarray, closed: bool) -> str:
    """A polyline, coordinates as `_n` writes them, all of them at once.

    Raises:
        NotDrawable: nan or infinity.
    """
    text = _written("%.3f %.3f m" + " %.3f %.3f l" * (len(points_pt) - 1), points_pt)
    return f"{text} h" if closed else text


def _written(operators: str, points_pt: np.ndarray) -> str:
    """Operators with the coordinates of points in them, as `_n` writes each."""
    text = operators % (*points_pt.ravel().tolist(),)
    if "n" in text:  # nan, inf
        raise NotDrawable("a point of the drawing is not finite")
    text = _ZEROS.sub("", text)
    return _MINUS_ZERO.sub("0", text) if "-0 " in text else text


@lru_cache(maxsize=4096)
def _f(value: float) -> str:
    """An entry of a text's matrix, to six places at most, as the PDF library writes numbers.

    Raises:
        NotDrawable: nan or infinity.
    """
    from plybook.write.pdf_library import fp_str

    return fp_str(float(number(value, 6)))


def _n(value: float) -> str:
    """A point coordinate to 0.001 pt (0.35 micrometre).

    Raises:
        NotDrawable: nan or infinity.
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    if text[-1:] in ("n", "f"):  # nan, inf
        raise NotDrawable("a point of the drawing is not finite")
    return "0" if text in ("-0", "") else text


@cache
def _rgb(colour: str) -> str:
    return " ".join(_n(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))


def _within(points: np.ndarray, clip: Window) -> bool:
    low, high = points.min(axis=0), points.max(axis=0)
    return bool((low >= clip[:2]).all() and (high <= clip[2:]).all())


def _clipped_runs(
    points: np.ndarray, clip: Window, margin: float
) -> Iterator[tuple[float, np.ndarray]]:
    """Stretches of a polyline inside a window, each with its distance from the line's start.

    Each segment is cut by the four half planes (Liang and Barsky 1984), all segments at once.
    """
    low = np.array(clip[:2]) - margin
    high = np.array(clip[2:]) + margin
    a, step = points[:-1], np.diff(points, axis=0)
    lengths = np.hypot(*step.T)
    travelled = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (low - a) / step, (high - a) / step
    level = step == 0.0
    beside = level & ((a < low) | (a > high))
    enter = np.where(level, -np.inf, np.minimum(one, two))
    leave = np.where(level, np.inf, np.maximum(one, two))
    t0 = np.maximum(enter.max(axis=1), 0.0)
    t1 = np.minimum(leave.min(axis=1), 1.0)
    inside = (t0 <= t1) & ~beside.any(axis=1)
    run: list[np.ndarray] = []
    start, last = 0.0, -2
    for k in np.flatnonzero(inside).tolist():
        if run and (k != last + 1 or t0[k] > 0.0 or t1[last] < 1.0):
            yield start, np.array(run)
            run = []
        if not run:
            run, start = [a[k] + t0[k] * step[k]], float(travelled[k] + t0[k] * lengths[k])
        run.append(a[k] + t1[k] * step[k])
        last = k
    if run:
        yield start, np.array(run)
