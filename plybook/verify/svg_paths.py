"""A small reader of SVG files as a cutter's importer reads them: sizes, groups, paths, words.

Coordinates come back in mm with y up (SVG 1.1: y down, user units through the viewBox).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import cache
from xml.etree import ElementTree

import numpy as np

_NAME = re.compile(r"^\{[^}]*\}")
_TOKEN = re.compile(r"[MLHVZmlhvz]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|\S")
_TURN = re.compile(r"^rotate\(([-+.\deE]+) ([-+.\deE]+) ([-+.\deE]+)\)$")
_MM = re.compile(r"^([-+.\deE]+)mm$")


@dataclass(frozen=True)
class Path:
    layer: str  # id of the group it stands in
    points: np.ndarray
    closed: bool
    fill: str = ""  # colour of its area, "" none
    stroked: bool = True  # False has no line of its own


@dataclass(frozen=True)
class Words:
    layer: str
    text: str
    at: tuple[float, float]  # the middle of its base line
    height: float  # font size
    length: float = 0.0  # from start to end
    turn_deg: float = 0.0  # counter-clockwise

    def along(self, share: float) -> np.ndarray:
        """A place of the base line: 0 start, 1 end; (2,) mm."""
        turn = math.radians(self.turn_deg)
        way = np.array([math.cos(turn), math.sin(turn)]) * self.length
        return np.array(self.at) + (share - 0.5) * way


@dataclass
class Drawing:
    width_mm: float = 0.0
    height_mm: float = 0.0
    unit_mm: float = 0.0  # size of one user unit
    paths: list[Path] = field(default_factory=list)
    texts: list[Words] = field(default_factory=list)
    circles: list[tuple[str, float, float, float]] = field(default_factory=list)
    transformed: int = 0  # geometry under a transform, which importers skip


@cache
def read_svg(data: bytes) -> Drawing:
    """Read an SVG file.

    Raises:
        ValueError: not well formed, no size in mm, a document type, or a path command that a
            cutter does not read.
    """
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise ValueError("a document type has no place in a drawing")
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as wrong:
        raise ValueError(f"not well formed: {wrong}") from None
    width, height = (_MM.match(root.get(name, "")) for name in ("width", "height"))
    box = [float(v) for v in root.get("viewBox", "").split()]
    if not width or not height or len(box) != 4 or box[2] <= 0 or box[3] <= 0:
        raise ValueError("the root has no size in mm with a viewBox")
    drawing = Drawing(float(width[1]), float(height[1]), float(width[1]) / box[2])
    if abs(float(height[1]) / box[3] - drawing.unit_mm) > 1e-9:
        raise ValueError("the scales along x and y differ")
    _walk(root, "", False, drawing)
    return drawing


def _walk(element, layer: str, moved: bool, drawing: Drawing) -> None:
    for child in element:
        kind = _NAME.sub("", child.tag) if isinstance(child.tag, str) else ""
        here = child.get("id", layer) if kind == "g" else layer
        turned = moved or (child.get("transform") is not None and kind != "text")
        if kind == "path":
            drawing.transformed += turned
            for points, closed in _subpaths(child.get("d", "")):
                drawing.paths.append(
                    Path(here, points * (1, -1) * drawing.unit_mm, closed, child.get("fill", ""),
                         child.get("stroke") != "none")
                )  # fmt: skip
        elif kind == "circle":
            drawing.transformed += turned
            x, y, r = (float(child.get(name, "0")) for name in ("cx", "cy", "r"))
            drawing.circles.append(
                (here, x * drawing.unit_mm, -y * drawing.unit_mm, r * drawing.unit_mm)
            )
        elif kind == "text":
            drawing.texts.append(_words(child, here, drawing.unit_mm))
        _walk(child, here, turned, drawing)


def _words(element, layer: str, unit_mm: float) -> Words:
    """Words set from their start, stretched to `textLength`, and turned about a point."""
    x, y, long, size = (float(element.get(name, "0"))
                        for name in ("x", "y", "textLength", "font-size"))  # fmt: skip
    x, turn = x + long / 2, 0.0
    turned = _TURN.match(element.get("transform", ""))
    if turned:
        turn, about_x, about_y = (float(v) for v in turned.groups())
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        dx, dy = x - about_x, y - about_y
        x, y = about_x + c * dx - s * dy, about_y + s * dx + c * dy
    return Words(layer, "".join(element.itertext()), (x * unit_mm, -y * unit_mm), size * unit_mm,
                 long * unit_mm, -turn)  # fmt: skip


def _subpaths(d: str):
    """Polylines of a path with straight commands only."""
    tokens = _TOKEN.findall(d.replace(",", " "))
    points: list[tuple[float, float]] = []
    command, at, start = "", (0.0, 0.0), (0.0, 0.0)
    i = 0
    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
            if command in "zZ":
                yield np.array(points), True
                points, at = [], start
                continue
        if command not in ("M", "L", "m", "l", "H", "h", "V", "v"):
            raise ValueError(f"path command {command!r} is not a straight line")
        if command in "HhVv":
            value = float(tokens[i])
            i += 1
            along = command in "Hh"
            base = (at[0] if along else at[1]) if command.islower() else 0.0
            at = (base + value, at[1]) if along else (at[0], base + value)
        else:
            x, y = float(tokens[i]), float(tokens[i + 1])
            i += 2
            at = (at[0] + x, at[1] + y) if command.islower() else (x, y)
        if command in "Mm":
            if points:
                yield np.array(points), False
            points, start = [], at
            command = "L" if command == "M" else "l"
        points.append(at)
    if points:
        yield np.array(points), False
