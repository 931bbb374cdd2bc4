"""Scenes as SVG: one file per drawing at 1:1. Drawings inside a page are in `figures.py`.

What importers need (laser and plotter programs skip the rest): size in mm and a viewBox with the
same numbers, so that one unit is one millimetre; y turned over in the coordinates; presentation
attributes only, no transforms on geometry, no classes, no style sheets, no references. A turned
word carries a rotation about its own anchor: the only transform in the file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from plybook.drawing.letters import (
    FAMILY,
    baseline_start_mm,
    clean_text,
    text_box_mm,
    text_width_mm,
    type_size_mm,
)
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import dxf_layer, stroke_of, text_layer, tint_of
from plybook.write.numbers import NotDrawable, number

FONTS = f"'{FAMILY}', 'Helvetica Neue', Arial, sans-serif"
REFERENCE_MM = 100.0
BEHIND = (Role.FILL, Role.STOCK, Role.FACE, Role.GHOST, Role.BAD_ZONE)  # drawn before the rest


def svg_bytes(scene: Scene, reference: bool = True) -> bytes:
    """A scene as an SVG file at 1:1, sized in mm.

    Args:
        scene: drawn 1:1.
        reference: add a group with a line exactly 100 mm long, to prove the size after import.

    Raises:
        NotDrawable: a coordinate is nan or infinite.
    """
    room = 8.0 if reference else 0.0
    x0, y0, x1, y1 = scene.window_mm
    window = (x0, y0 - room, max(x1, x0 + REFERENCE_MM + 4.0) if reference else x1, y1)
    drawing = _drawing(scene, window)
    for group in _groups(drawing, _layers(scene.items), window):
        drawing.add(group)
    if reference:
        line: tuple[Primitive, ...] = (
            Path(Role.REGISTRATION, np.array([(x0, y0 - 5.0), (x0 + REFERENCE_MM, y0 - 5.0)])),
            Path(Role.REGISTRATION, np.array([(x0, y0 - 6.5), (x0, y0 - 3.5)])),
            Path(Role.REGISTRATION,
                 np.array([(x0 + REFERENCE_MM, y0 - 6.5), (x0 + REFERENCE_MM, y0 - 3.5)])),
            Text(Role.REGISTRATION, (x0 + 2.0, y0 - 3.6), "100 mm", 2.5),
        )  # fmt: skip
        named = [(Role.REGISTRATION, "REFERENCE_100_MM", line)]
        for group in _groups(drawing, named, window):
            drawing.add(group)
    text = '<?xml version="1.0" encoding="UTF-8"?>\n' + drawing.tostring() + "\n"
    return text.encode("utf-8")


def _drawing(scene: Scene, window: tuple[float, float, float, float]):
    import svgwrite

    w, h = number(window[2] - window[0]), number(window[3] - window[1])
    drawing = svgwrite.Drawing(profile="full", debug=False, size=(f"{w}mm", f"{h}mm"))
    drawing.attribs["viewBox"] = f"0 0 {w} {h}"
    if scene.title:
        x, y = f"{'-' if window[0] > 0 else '+'} {number(abs(window[0]))}", number(window[3])
        where = f"1 unit = 1 mm; the drawing's point (x, y) stands at (x {x}, {y} - y)"
        drawing.set_desc(clean_text(scene.title), where)
    return drawing


def _groups(
    drawing,
    runs: Iterable[tuple[Role, str, Sequence[Primitive]]],
    window: tuple[float, float, float, float],
):
    """One group for each run of primitives of a role, with an id."""

    def place(points: np.ndarray) -> np.ndarray:
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        if not np.isfinite(points).all():
            raise NotDrawable("a point of the drawing is not finite")
        return (points - (window[0], window[3])) * (1.0, -1.0)

    for role, layer, run in runs:
        group = drawing.g(**_pen(role), id=layer)
        for item in run:
            for element in _elements(drawing, item, place):
                group.add(element)
        yield group


def _layers(items: tuple[Primitive, ...]) -> Iterator[tuple[Role, str, list[Primitive]]]:
    """One group per role: what is filled as background first, then lines, then words."""
    order = list(dict.fromkeys(item.role for item in items))
    lines = sorted(order, key=lambda role: role not in BEHIND)
    drawn: list[Primitive] = [item for item in items if not isinstance(item, Text)]
    words: list[Primitive] = [item for item in items if isinstance(item, Text)]
    for role in lines:
        if run := [item for item in drawn if item.role is role]:
            yield role, dxf_layer(role), run
    for role in order:
        if run := [item for item in words if item.role is role]:
            yield role, text_layer(role), run


def _pen(role: Role) -> dict[str, str]:
    stroke = stroke_of(role)
    if not stroke.width_mm:
        return {"stroke": "none", "fill": "none"}
    pen = {
        "stroke": stroke.ink,
        "stroke_width": number(stroke.width_mm),
        "stroke_linecap": "round",
        "stroke_linejoin": "round",
        "fill": "none",
    }
    if stroke.dash_mm:
        pen["stroke_dasharray"] = " ".join(number(d) for d in stroke.dash_mm)
    return pen


def _elements(drawing, item: Primitive, place: Callable):
    if isinstance(item, Path):
        if len(item.points_mm) >= 2:
            path = drawing.path(d=_d(place(item.points_mm), item.closed))
            if item.fill:
                path.attribs["fill"] = tint_of(item.fill)
            yield path
    elif isinstance(item, Circle):
        ((x, y),) = place(np.array([item.centre_mm]))
        circle = drawing.circle((number(x), number(y)), number(item.radius_mm))
        if item.fill:
            circle.attribs["fill"] = tint_of(item.fill)
        yield circle
    else:
        yield from _words(drawing, item, place)


def _d(points: np.ndarray, closed: bool) -> str:
    words = [f"{number(x)} {number(y)}" for x, y in points]
    return "M" + " L".join(words) + (" Z" if closed else "")


def _words(drawing, item: Text, place: Callable):
    words = clean_text(item.text)
    if not words.strip():
        return
    shown = Text(**{**item.__dict__, "text": words})
    anchor = np.array([item.at_mm], dtype=float)
    if item.halo:
        box = place(text_box_mm(shown, 0.6))
        yield drawing.path(d=_d(box, True), fill=tint_of("white"), stroke="none")
    ((x, y),) = place(anchor)
    along, rise = baseline_start_mm(shown)
    attributes = {
        "font_family": FONTS,
        "font_size": number(type_size_mm(item.height_mm)),
        "fill": stroke_of(item.role).ink,
        "stroke": "none",
    }
    if item.bold:
        attributes["font_weight"] = "bold"
    # The width is said, so that a program with another face still keeps the words in their box.
    attributes["textLength"] = number(text_width_mm(words, item.height_mm, item.bold))
    attributes["lengthAdjust"] = "spacingAndGlyphs"
    element = drawing.text(words, insert=(number(x + along), number(y - rise)), **attributes)
    if item.turn_deg % 360.0:
        element.attribs["transform"] = f"rotate({number(-item.turn_deg)} {number(x)} {number(y)})"
    yield element
