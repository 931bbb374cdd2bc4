"""A small reader of ASCII DXF: group codes and values, nothing of the writer's library.

Reads what a cutter would: header variables, polylines, lines, circles and texts with their layer.
Group codes after the DXF reference (2 name, 8 layer, 10/20 point, 40 height or radius, 50 turn,
70 flags, 90 count).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np

Tags = list[tuple[int, str]]


@dataclass(frozen=True)
class Polyline:
    layer: str
    points: np.ndarray
    closed: bool
    bulged: bool = False


@dataclass(frozen=True)
class TextItem:
    layer: str
    at: tuple[float, float]
    text: str
    height: float
    turn_deg: float
    align: int = 0  # where on its base line `at` stands: 0 start, 1 middle, 2 end


@dataclass
class Drawing:
    header: dict[str, str] = field(default_factory=dict)
    layers: set[str] = field(default_factory=set)
    polylines: list[Polyline] = field(default_factory=list)
    texts: list[TextItem] = field(default_factory=list)
    circles: list[tuple[str, float, float, float]] = field(default_factory=list)
    other: dict[str, int] = field(default_factory=dict)  # entity types not read, how many


@cache
def sections(data: bytes) -> dict[str, Tags]:
    """The tags of each section of a DXF file, by its name.

    Raises:
        ValueError: not an ASCII DXF, cut short, a section twice, or tags outside the sections.
    """
    lines = data.decode("utf-8", "strict").splitlines()
    if len(lines) < 2:
        raise ValueError("too short for a DXF file")
    if len(lines) % 2:
        raise ValueError("a group code without a value")
    try:
        tags = [(int(code), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]
    except ValueError:
        raise ValueError("a line is no group code") from None
    if tags[-1] != (0, "EOF"):
        raise ValueError("the file does not end with EOF")
    found: dict[str, Tags] = {}
    name, start = "", 0
    for index, tag in enumerate(tags):
        if tag == (0, "SECTION") and not name:
            name, start = tags[index + 1][1], index + 2
        elif tag == (0, "ENDSEC") and name:
            if name in found:
                raise ValueError(f"section {name} stands twice")
            found[name], name = tags[start:index], ""
        elif not name and tag != (0, "EOF"):
            raise ValueError("a tag outside the sections")
    return found


@cache
def read_dxf(data: bytes) -> Drawing:
    """Read a DXF file.

    Raises:
        ValueError: not an ASCII DXF, or cut short.
    """
    drawing = Drawing()
    found = sections(data)
    _read_header(found.get("HEADER", []), drawing)
    _read_layers(found.get("TABLES", []), drawing)
    _read_entities(found.get("ENTITIES", []), drawing)
    return drawing


def groups(tags: Tags) -> list[Tags]:
    """The tags of a section cut before each group code 0."""
    found: list[Tags] = []
    for tag in tags:
        if tag[0] == 0:
            found.append([tag])
        elif found:
            found[-1].append(tag)
    return found


def _read_header(tags: list[tuple[int, str]], drawing: Drawing) -> None:
    name = ""
    for code, value in tags:
        if code == 9:
            name = value
        elif name and name not in drawing.header:
            drawing.header[name] = value.strip()


def _read_layers(tags: list[tuple[int, str]], drawing: Drawing) -> None:
    kind = ""
    for code, value in tags:
        if code == 0:
            kind = value
        elif code == 2 and kind == "LAYER":
            drawing.layers.add(value)


def _read_entities(tags: list[tuple[int, str]], drawing: Drawing) -> None:
    old_style: list | None = None  # POLYLINE with VERTEX entities
    for group in groups(tags):
        kind = group[0][1]
        if kind == "POLYLINE":
            old_style = [_first(group, 8), [], int(_first(group, 70, "0")) & 1]
        elif kind == "VERTEX" and old_style is not None:
            old_style[1].append((float(_first(group, 10)), float(_first(group, 20))))
        elif kind == "SEQEND" and old_style is not None:
            layer, points, closed = old_style
            drawing.polylines.append(Polyline(layer, np.array(points), bool(closed)))
            old_style = None
        else:
            _read_entity(kind, group, drawing)


def _read_entity(kind: str, group: Tags, drawing: Drawing) -> None:
    layer = _first(group, 8, "0")
    if kind == "LWPOLYLINE":
        xs = [float(v) for c, v in group if c == 10]
        ys = [float(v) for c, v in group if c == 20]
        bulged = any(c == 42 and float(v) for c, v in group)
        if len(xs) != len(ys) or len(xs) != int(_first(group, 90, str(len(xs)))):
            raise ValueError(f"a polyline on layer {layer} has lost vertices")
        closed = bool(int(_first(group, 70, "0")) & 1)
        drawing.polylines.append(Polyline(layer, np.column_stack([xs, ys]), closed, bulged))
    elif kind == "LINE":
        ends = [[float(_first(group, c)), float(_first(group, c + 10))] for c in (10, 11)]
        drawing.polylines.append(Polyline(layer, np.array(ends), False))
    elif kind == "CIRCLE":
        x, y, r = (float(_first(group, c)) for c in (10, 20, 40))
        drawing.circles.append((layer, x, y, r))
    elif kind == "TEXT":
        drawing.texts.append(
            TextItem(
                layer,
                (float(_first(group, 10)), float(_first(group, 20))),
                "".join(v for c, v in group if c in (1, 3)),
                float(_first(group, 40, "0")),
                float(_first(group, 50, "0")),
                int(_first(group, 72, "0")),
            )
        )
    else:
        drawing.other[kind] = drawing.other.get(kind, 0) + 1


def _first(group: Tags, code: int, otherwise: str | None = None) -> str:
    for c, value in group:
        if c == code:
            return value
    if otherwise is None:
        raise ValueError(f"{group[0][1]} has no group code {code}")
    return otherwise
