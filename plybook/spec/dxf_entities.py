"""What lies on one layer of a text DXF file, read from its tags.

A DXF file is lines in pairs, a group code and its value. Only the entities that make outlines, and
of them only the groups that place them, are kept, one entity at a time: what else a drawing holds
costs a look at each line and no memory. Group codes are those of the DXF reference: 0 kind, 8
layer, 10/20/30 and 11/21/31 points, 38 elevation, 40 radius, 42 bulge, 50/51 angles, 67 paper
space, 70 flags, 210/220/230 extrusion, 999 remark.
"""

from __future__ import annotations

import codecs
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

READ = ("LWPOLYLINE", "POLYLINE", "LINE", "ARC", "CIRCLE")
_PARTS = ("VERTEX", "SEQEND", "ATTRIB")  # of the entity before them
_KEPT = frozenset((10, 20, 30, 11, 21, 31, 38, 40, 42, 50, 51, 70, 210, 220, 230))
_LISTED = frozenset((10, 20, 42))  # groups that a lightweight polyline has for each vertex
_CLOSED, _IN_SPACE, _MESH = 1, 8, 16 | 64  # flags of a polyline
_FRAME = 16  # flag of a vertex that steers a spline and is not on it
_FAR = 1e15  # in any unit; a float has no digits for a part there
_MOST_NAMES = 2_000  # of layers, for saying which there are
_LONGEST_NAME = 1_000  # bytes; a longer one is as good as any that begins so
_UTF8_FROM = "AC1021"  # the version since when files are in UTF-8; older ones name a code page
_CODE_PAGES = {"936": "gbk"}  # where Python has another name than cp and the number


class Unreadable(Exception):
    """Why a file cannot be read: `message` follows the name of the file, `help` says the edit."""

    def __init__(self, message: str, help: str = "save it again as DXF"):
        super().__init__(message)
        self.message, self.help = message, help


class TooMany(Exception):
    """More than is read: `points` on the layer, or `entities` in the file."""


class _Codes(dict[bytes, int]):
    """Group codes by the line they stand on: a file has few kinds of them."""

    def __missing__(self, line: bytes) -> int:
        code = int(line)
        if len(line) < 8:
            self[line] = code
        return code


@dataclass(slots=True)
class Entity:
    """One entity of the model that lies on the layer.

    Attributes:
        kind: as in `READ`, or the name of one that makes no outline.
        line: where it begins in the file.
        layer: the name of its layer.
        rows: its groups in order, code and number.
        vertices: x, y, z and bulge of each vertex of a polyline, in units of the drawing.
    """

    kind: str
    line: int
    layer: str = "0"
    paper: bool = False
    rows: list[tuple[int, float]] = field(default_factory=list)
    vertices: list[tuple[float, float, float, float]] = field(default_factory=list)

    def get(self, group: int, otherwise: float = 0.0) -> float:
        """The number of a group, the first where there are several."""
        return next((number for own, number in self.rows if own == group), otherwise)

    def need(self, group: int) -> float:
        """The number of a group that must be there.

        Raises:
            Unreadable: it is not.
        """
        for own, number in self.rows:
            if own == group:
                return number
        raise Unreadable(f"holds a {self.kind} without its group {group} near line {self.line}")

    def flag(self, bits: int) -> bool:
        return bool(int(self.get(70)) & bits)

    @property
    def closed(self) -> bool:
        return self.flag(_CLOSED)

    @property
    def in_space(self) -> bool:
        """Whether its points are those of the drawing, however it is extruded."""
        return self.kind == "LINE" or (self.kind == "POLYLINE" and self.flag(_IN_SPACE))

    @property
    def extrusion(self) -> tuple[float, float, float]:
        return self.get(210), self.get(220), self.get(230, 1.0)


class DxfFile:
    """A DXF file in text form.

    Args:
        content: its bytes; lines end with LF, CR LF or CR.

    Attributes:
        unit: $INSUNITS of the header, 0 where it is not said.
        layers: names of layers that entities of the model lie on, as far as they were read.

    Raises:
        Unreadable: a binary file, one without an end, or a header that cannot be read.
    """

    def __init__(self, content: bytes):
        if content.startswith(b"AutoCAD Binary DXF"):
            raise Unreadable(
                "is a binary DXF file, which is not read", "save it as DXF in text form (ASCII)"
            )
        if not content.rstrip().endswith(b"EOF"):
            raise Unreadable("is no whole DXF file; its end is missing")
        content = content.removeprefix(codecs.BOM_UTF8).strip()
        self._content = content if b"\n" in content else content.replace(b"\r", b"\n")
        self.layers: set[str] = set()
        self.unit, self._encoding = self._header()

    def on(self, layer: str, most: float, most_entities: float) -> Iterator[Entity]:
        """The entities of the model on a layer, in the order of the file.

        Args:
            layer: its name.
            most: the vertices of polylines that are read.
            most_entities: the entities of the file that are looked at.

        Raises:
            TooMany: there are more, or one entity has as many groups as more would have.
            Unreadable: a group code or a value that is no number, a vertex without its place.
        """
        count, whole = 0, None  # the entity that parts may follow
        for looked_at, entity in enumerate(self._entities(layer, most)):
            if looked_at > most_entities:
                raise TooMany("entities")
            if entity.kind in _PARTS:
                if whole and whole.kind == "POLYLINE" and entity.kind == "VERTEX":
                    whole.vertices += _vertices(entity)
                    count += 1
            else:
                if whole:
                    yield whole
                whole = None
                if not entity.paper:
                    if len(self.layers) < _MOST_NAMES or entity.layer == layer:
                        self.layers.add(entity.layer)
                    if entity.layer == layer:
                        whole = entity
                        if entity.kind == "LWPOLYLINE":
                            entity.vertices += _listed(entity)
                            count += len(entity.vertices)
                        elif entity.kind == "POLYLINE" and entity.flag(_MESH):
                            entity.kind = "POLYLINE (mesh)"
            if count > most:
                raise TooMany("points")
        if whole:
            yield whole

    def _entities(self, layer: str, most: float) -> Iterator[Entity]:
        """Every entity and every part of one; those of other layers without their numbers."""
        names: dict[bytes, str] = {}
        entity: Entity | None = None
        keeps, in_entities, begun, line = False, False, False, 0
        for code, value in self._tags():
            line += 2
            if code == 0:
                if entity:
                    yield entity
                    entity = None
                kind = value.strip().upper()
                if kind in (b"SECTION", b"ENDSEC", b"EOF"):
                    begun, in_entities = kind == b"SECTION", False
                elif in_entities:
                    entity = Entity(kind[:40].decode("ascii", "replace"), line - 1)
                    keeps = entity.kind in READ or entity.kind == "VERTEX"
            elif entity:
                if keeps and code in _KEPT:
                    if len(entity.rows) > 4 * most + 100:
                        raise TooMany("points")
                    read = _whole if code == 70 else _number
                    entity.rows.append((code, read(value, line)))
                elif code == 8:
                    value = value[:_LONGEST_NAME]
                    if value not in names:
                        if len(names) >= _MOST_NAMES:
                            names.clear()
                        names[value] = _text(value, self._encoding)
                    entity.layer = names[value]
                    if entity.layer != layer and entity.kind != "VERTEX":
                        keeps, entity.rows = False, []
                elif code == 67:
                    entity.paper = _whole(value, line) != 0
            elif begun and code == 2:
                in_entities, begun = value.strip().upper() == b"ENTITIES", False

    def _tags(self) -> Iterator[tuple[int, bytes]]:
        """Group codes and values, up to the end that the file states."""
        lines, line, read = io.BytesIO(self._content), 1, _Codes()
        try:
            for code, value in zip(lines, lines, strict=False):
                group = read[code]
                yield group, value
                if not group and value.strip() == b"EOF":
                    return
                line += 2
        except ValueError:
            raise Unreadable(f"holds a group code that is no number near line {line}") from None

    def _header(self) -> tuple[int, str]:
        """The unit, and the encoding of names."""
        unit, version, page, name, line = 0, "", "", b"", 0
        inside = begun = False
        for code, value in self._tags():
            line += 2
            if code == 0:
                if inside:
                    break
                begun = value.strip().upper() == b"SECTION"
            elif code == 2 and begun:
                inside, begun = value.strip().upper() == b"HEADER", False
            elif not inside:
                continue
            elif code == 9:
                name = value.strip()
            elif (name, code) == (b"$INSUNITS", 70):
                unit = _whole(value, line)
            elif (name, code) == (b"$ACADVER", 1):
                version = value.strip().decode("ascii", "replace")
            elif (name, code) == (b"$DWGCODEPAGE", 3):
                page = value.strip().decode("ascii", "replace")
        return unit, "utf-8" if version >= _UTF8_FROM else _encoding(page)


def _number(value: bytes, line: int) -> float:
    """Only what is written as a number is one; bytes are read as ASCII."""
    try:
        number = float(value) if b"_" not in value else math.nan
    except ValueError:
        number = math.nan
    if abs(number) <= _FAR:
        return number
    said = "value that is no number" if math.isnan(number) else "number beyond all measure"
    raise Unreadable(f"holds a {said} near line {line}")


def _whole(value: bytes, line: int) -> int:
    """Flags and units; some programs write them as 1.0."""
    number = _number(value, line)
    if number == int(number):
        return int(number)
    raise Unreadable(f"holds a value that is no whole number near line {line}")


def _vertices(entity: Entity) -> list[tuple[float, float, float, float]]:
    """The vertex that follows a polyline, if the line passes through it."""
    if entity.flag(_FRAME):
        return []
    return [(entity.need(10), entity.need(20), entity.get(30), entity.get(42))]


def _listed(entity: Entity) -> list[tuple[float, float, float, float]]:
    """The vertices of a lightweight polyline; its other groups are left."""
    height, found = entity.get(38), []
    for code, number in entity.rows:
        if code == 10:
            found.append([number, float("nan"), height, 0.0])
        elif found and code in _LISTED:
            found[-1][1 if code == 20 else 3] = number
    entity.rows = [row for row in entity.rows if row[0] not in _LISTED]
    return [(x, y, z, bulge) for x, y, z, bulge in found]


def _encoding(page: str) -> str:
    number = page.rpartition("_")[2]
    try:
        return codecs.lookup(_CODE_PAGES.get(number, f"cp{number}")).name
    except (LookupError, ValueError):
        return "cp1252"


def _text(value: bytes, encoding: str) -> str:
    r"""The name of a layer; `\U+00B0` stands for a character that a code page does not have."""
    text = value.rstrip(b"\r\n").decode(encoding, "replace")
    text = re.sub(r"\\U\+([0-9A-Fa-f]{4})", lambda found: chr(int(found[1], 16)), text)
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
