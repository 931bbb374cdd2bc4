"""Scenes on a PDF canvas, as vectors, at any scale.

Coordinates are multiplied by the scale; line widths, dashes and letters are page millimetres and
are not (see `plybook.drawing.style`). With `clip` only what lies inside the window is written,
and dashes keep their phase, so a line carries on unbroken from tile to tile.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from plybook.drawing.letters import (
    baseline_start_mm,
    clean_text,
    text_box_mm,
    type_size_mm,
)
from plybook.drawing.scene import Circle, Path, Scene, Text
from plybook.drawing.style import stroke_of, tint_of
from plybook.write.fonts import MM, face, register
from plybook.write.numbers import NotDrawable, number

Window = tuple[float, float, float, float]


def new_canvas(
    width_mm: float, height_mm: float, title: str, author: str = "", subject: str = ""
) -> tuple[Any, io.BytesIO]:
    """A canvas whose bytes depend on its content alone, with print scaling switched off.

    Returns:
        (canvas, buffer); call `canvas.save()` and take `buffer.getvalue()`.
    """
    from reportlab.pdfgen.canvas import Canvas

    register()
    buffer = io.BytesIO()
    canvas = Canvas(
        buffer, pagesize=(width_mm * MM, height_mm * MM), invariant=1, pageCompression=1,
    )  # fmt: skip
    canvas.setTitle(clean_text(title))
    canvas.setAuthor(clean_text(author))
    canvas.setSubject(clean_text(subject))
    canvas.setCreator("plybook")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas, buffer


def fit_scale(scene: Scene, width_mm: float, height_mm: float) -> float:
    """The scale at which a scene's window just fits a box of page mm."""
    x0, y0, x1, y1 = scene.window_mm
    return min(width_mm / max(x1 - x0, 1e-9), height_mm / max(y1 - y0, 1e-9))


def draw_scene(
    canvas: Any,
    scene: Scene,
    x_pt: float,
    y_pt: float,
    scale: float = 1.0,
    clip: Window | None = None,
    stretch: tuple[float, float] = (1.0, 1.0),
) -> None:
    """Draw a scene with the lower left corner of its window (or clip) at a page point.

    Args:
        canvas: a reportlab canvas.
        x_pt, y_pt: where that corner lies on the page, points.
        scale: page mm per scene mm.
        clip: (xmin, ymin, xmax, ymax) in scene mm; nothing outside it is drawn.
        stretch: factors along x and y that make up for a printer which prints too small.

    Raises:
        NotDrawable: a coordinate is nan or infinite.
    """
    register()
    window = clip or scene.window_mm
    fx, fy = scale * MM * stretch[0], scale * MM * stretch[1]

    def place(points: np.ndarray) -> np.ndarray:
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        if not np.isfinite(points).all():
            raise NotDrawable("a point of the drawing is not finite")
        return (points - window[:2]) * (fx, fy) + (x_pt, y_pt)

    canvas.saveState()
    if clip:
        box = canvas.beginPath()
        box.rect(x_pt, y_pt, (clip[2] - clip[0]) * fx, (clip[3] - clip[1]) * fy)
        canvas.clipPath(box, stroke=0, fill=0)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for item in scene.items:
        if isinstance(item, Path):
            _draw_path(canvas, item, place, scale, clip)
        elif isinstance(item, Circle):
            _draw_circle(canvas, item, place, scale * MM, clip)
        else:
            _draw_text(canvas, item, place, scale, clip)
    canvas.restoreState()


def _draw_path(canvas: Any, item: Path, place: Callable, scale: float, clip: Window | None) -> None:
    points = np.asarray(item.points_mm, dtype=float).reshape(-1, 2)
    if len(points) < 2:
        return
    if not np.isfinite(points).all():
        raise NotDrawable("a point of the drawing is not finite")
    margin = 1.0 / scale  # a wide line may reach in from outside
    if clip and not _touches(points, clip, margin):
        return
    if item.fill:
        canvas.setFillColor(_colour(tint_of(item.fill)))
        canvas.drawPath(_pen(canvas, place(points), True), stroke=0, fill=1)
    stroke = stroke_of(item.role)
    if not stroke.width_mm:
        return
    canvas.setLineWidth(stroke.width_mm * MM)
    canvas.setStrokeColor(_colour(stroke.ink))
    if clip is None:
        canvas.setDash([d * MM for d in stroke.dash_mm] if stroke.dash_mm else [])
        canvas.drawPath(_pen(canvas, place(points), item.closed), stroke=1, fill=0)
        return
    if item.closed:
        points = np.vstack([points, points[:1]])
    for start_mm, run in _clipped_runs(points, clip, margin):
        dash = [d * MM for d in stroke.dash_mm]
        if dash:
            canvas.setDash(dash, (start_mm * scale * MM) % sum(dash))
        else:
            canvas.setDash([])
        canvas.drawPath(_pen(canvas, place(run), False), stroke=1, fill=0)


def _pen(canvas: Any, points_pt: np.ndarray, closed: bool) -> Any:
    pen = canvas.beginPath()
    pen.moveTo(*points_pt[0])
    for x, y in points_pt[1:]:
        pen.lineTo(x, y)
    if closed:
        pen.close()
    return pen


def _touches(points: np.ndarray, clip: Window, margin: float) -> bool:
    low, high = points.min(axis=0), points.max(axis=0)
    return bool(
        low[0] <= clip[2] + margin
        and high[0] >= clip[0] - margin
        and low[1] <= clip[3] + margin
        and high[1] >= clip[1] - margin
    )


def _clipped_runs(
    points: np.ndarray, clip: Window, margin: float
) -> Iterator[tuple[float, np.ndarray]]:
    """Stretches of a polyline inside a window, each with its distance from the line's start.

    Each segment is cut by the four half planes (Liang and Barsky 1984).
    """
    low = np.array(clip[:2]) - margin
    high = np.array(clip[2:]) + margin
    run: list[np.ndarray] = []
    start = travelled = 0.0
    for a, b in zip(points[:-1], points[1:], strict=True):
        step = b - a
        length = math.hypot(*step)
        t0, t1 = 0.0, 1.0
        for k in (0, 1):
            if step[k] == 0.0:
                if a[k] < low[k] or a[k] > high[k]:
                    t1 = -1.0
                continue
            enter, leave = sorted(((low[k] - a[k]) / step[k], (high[k] - a[k]) / step[k]))
            t0, t1 = max(t0, enter), min(t1, leave)
        if t0 > t1:
            if run:
                yield start, np.array(run)
            run = []
        else:
            if not run or t0 > 0.0:
                if run:
                    yield start, np.array(run)
                run, start = [a + t0 * step], travelled + t0 * length
            run.append(a + t1 * step)
            if t1 < 1.0:
                yield start, np.array(run)
                run = []
        travelled += length
    if run:
        yield start, np.array(run)


def _draw_circle(
    canvas: Any, item: Circle, place: Callable, factor: float, clip: Window | None
) -> None:
    centre = np.array([item.centre_mm])
    reach = np.array([[-item.radius_mm] * 2, [item.radius_mm] * 2])
    if clip and not _touches(centre + reach, clip, 1.0):
        return
    ((x, y),) = place(centre)
    stroke = stroke_of(item.role)
    canvas.setLineWidth(stroke.width_mm * MM)
    canvas.setStrokeColor(_colour(stroke.ink))
    canvas.setDash([d * MM for d in stroke.dash_mm] if stroke.dash_mm else [])
    if item.fill:
        canvas.setFillColor(_colour(tint_of(item.fill)))
    canvas.circle(x, y, item.radius_mm * factor, stroke=int(stroke.width_mm > 0),
                  fill=int(bool(item.fill)))  # fmt: skip


def _draw_text(canvas: Any, item: Text, place: Callable, scale: float, clip: Window | None) -> None:
    words = clean_text(item.text)
    if not words.strip():
        return
    shown = Text(**{**item.__dict__, "text": words})
    anchor = np.array(item.at_mm, dtype=float)
    box = (text_box_mm(shown, 0.6 if item.halo else 0.0) - anchor) / scale + anchor
    if clip and not _touches(box, clip, 0.0):
        return
    if item.halo:
        canvas.setFillColor(_colour(tint_of("white")))
        canvas.drawPath(_pen(canvas, place(box), True), stroke=0, fill=1)
    turn = math.radians(item.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    along, rise = baseline_start_mm(shown)
    ((x, y),) = place(anchor[None])
    x += (along * c - rise * s) * MM
    y += (along * s + rise * c) * MM
    canvas.setFillColor(_colour(stroke_of(item.role).ink))
    line = canvas.beginText()
    line.setFont(face(item.bold), type_size_mm(item.height_mm) * MM)
    line.setTextTransform(*(float(number(v, 6)) for v in (c, s, -s, c, x, y)))
    line.textOut(words)
    canvas.drawText(line)


def _colour(value: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(value)
