"""The poster for the wall: the whole stack, every splice in one picture, and a small map of each
layer with its pieces.

Terms:
    sheet: one page of the poster; layers that find no room on the first go on on the next.
    map: the part seen from the bag side with the pieces of one layer, hatched along their fibres.
    splice map: the part with the splices of all plies over one another, to see how far they are
        apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely

from plybook.drawing.frame import Box, Frame, area_paths, fit_frame, hatch, polygons
from plybook.drawing.letters import clean_text, fitted, text_box_mm, text_width_mm
from plybook.drawing.piecewords import part_words
from plybook.drawing.rosette import rosette, show_angle
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.stepview import laid_area
from plybook.drawing.style import LABEL_MM, NOTE_MM, TITLE_MM
from plybook.laminate.model import LaidLayer, Laminate, Piece
from plybook.laminate.rises import merged_lines
from plybook.spec.model import PartSpec
from plybook.surface.model import Face
from plybook.units import show_thickness

SHEETS_MM = {"a3": (420.0, 297.0), "a2": (594.0, 420.0), "tabloid": (431.8, 279.4)}
MARGIN_MM = 10.0
HEAD_MM, FOOT_MM = 12.0, 6.0
STACK_SHARE = 0.37  # of a sheet's width, for the list of layers
GUTTER_MM = 8.0
ROW_MM, LEAST_ROW_MM = 8.0, 3.6  # of the list
LEAST_MM = 1.8  # letters
WIDEST_ID_MM = 30.0  # room for an id in the list
MAP_MM, WIDEST_MAP_MM = 46.0, 250.0  # least and most width of a map
CAPTION_MM = 5.0  # below a map
MAPS_APART_MM = 4.0
LEAST_HIGH_MM = 10.0
SPLICES_MM = 70.0  # most height of the splice map
NAMES_MM = 4.2  # from row to row of names of splices
NEAR_MM = 0.8  # on paper: splices so near one another are named together
JOINT_MM = 0.6  # on the pattern: pieces so near one another meet
SHORTEST_MM = 12.0  # splice that is drawn
_ROSETTE_MM = 38.0
MOULD = "mould face"
SPLICES = "Splices of all plies and seams of cores"
TOLD = (
    "Seen from the bag side, not to scale. To look at, not to cut or lay by: the booklet says how "
    "each layer is laid. It sizes nothing."
)


@dataclass(frozen=True)
class Splice:
    """Where two pieces of a layer meet: (n, 2) on the mould-face pattern, mm; a seam is one of
    a core."""

    layer: str
    line_mm: np.ndarray
    is_seam: bool = False


def poster_sheets(spec: PartSpec, face: Face, laminate: Laminate) -> list[Scene]:
    """The sheets of a part's poster, one scene each, in paper millimetres.

    Args:
        spec: names, materials, unit, and the size of the sheets.
        face: the mould face.
        laminate: layers in the order they are laid, and their pieces.
    """
    wide, high = SHEETS_MM[spec.workshop.poster]
    layers = list(laminate.layers)
    rows = max(1, math.floor((high - 2 * MARGIN_MM - HEAD_MM - FOOT_MM) / LEAST_ROW_MM) - 1)
    maps = [_Map(layer, [p for p in laminate.pieces if p.layer == layer.id]) for layer in layers]
    right = MARGIN_MM + STACK_SHARE * wide
    top = high - MARGIN_MM - HEAD_MM
    sheets: list[list[Primitive]] = []
    shown, listed = 0, 0
    while not sheets or shown < len(maps) or listed < len(layers):
        items: list[Primitive] = []
        if part := layers[listed : listed + rows]:
            box = (MARGIN_MM, MARGIN_MM + FOOT_MM, right, top)
            items += _stack(part, listed, spec, box)
        left = right + GUTTER_MM if part else MARGIN_MM
        area = (left, MARGIN_MM + FOOT_MM, wide - MARGIN_MM, top)
        listed += len(part)
        if not sheets:
            splices = splices_of(laminate)
            drawn, area = _head_maps(face, splices, area)
            items += drawn
        drawn, count = _maps(face, maps[shown:], shown, area)
        items += drawn
        shown += count
        sheets.append(items)
    return [
        Scene((*items, *_frame(spec, k + 1, len(sheets), wide, high)), (0.0, 0.0, wide, high))
        for k, items in enumerate(sheets)
    ]


def splices_of(laminate: Laminate) -> list[Splice]:
    """Where pieces of one layer meet or lap: the side of the one that the other covers."""
    found = []
    for layer in laminate.layers:
        own = [laid_area(p) for p in laminate.pieces
               if p.layer == layer.id and p.kind in ("ply", "core")]  # fmt: skip
        for one, other in combinations(own, 2):
            if one.distance(other) > JOINT_MM:
                continue
            shared = merged_lines(one.boundary.intersection(other.buffer(JOINT_MM)))
            line = max(shared, key=lambda part: part.length, default=None)
            if line is not None and line.length >= SHORTEST_MM:
                found.append(Splice(layer.id, np.asarray(line.coords), layer.kind == "core"))
    return found


def _frame(spec: PartSpec, sheet: int, of: int, wide: float, high: float) -> Iterator[Primitive]:
    """Head and foot of a sheet."""
    part = spec.part
    count = f"sheet {sheet} of {of}"
    room = wide - 2 * MARGIN_MM
    head = clean_text(f"{part_words(spec)} · {part.name}: all layers and splices")
    y = high - MARGIN_MM - TITLE_MM
    left = room - text_width_mm(count, LABEL_MM) - 6.0
    yield Text(Role.TEXT, (MARGIN_MM, y), fitted(head, left, TITLE_MM, True), TITLE_MM, bold=True)
    yield Text(Role.TEXT, (wide - MARGIN_MM, y), count, LABEL_MM, anchor="end")
    yield Text(Role.TEXT, (MARGIN_MM, MARGIN_MM), fitted(TOLD, room, NOTE_MM), NOTE_MM)


# ---------------------------------------------------------------- the list of layers
def _stack(
    layers: Sequence[LaidLayer], before: int, spec: PartSpec, box: Box
) -> Iterator[Primitive]:
    """Layers as they lie on one another, the first one at the bottom."""
    x0, y0, x1, y1 = box
    row = min(ROW_MM, (y1 - y0) / (len(layers) + 1))
    letters = LABEL_MM if row >= 5.5 else NOTE_MM if row >= 3.9 else LEAST_MM
    names, unit = spec.materials.names(), spec.part.units
    rows = [
        (f"{before + k}", clean_text(layer.id), layer_words(layer), _thick(layer, unit),
         clean_text(names.get(layer.material, layer.material)))
        for k, layer in enumerate(layers, start=1)
    ]  # fmt: skip
    number, ident, angle, thick = (
        max(text_width_mm(words[k], letters, k == 1) for words in rows) for k in range(4)
    )
    ident = min(ident, WIDEST_ID_MM)
    number_at = x0 + number
    glyph_at = number_at + 2.5 + row / 2
    id_at = glyph_at + row / 2 + 2.5
    angle_at = id_at + ident + 3.0
    thick_at = angle_at + angle + 3.0 + thick
    name_at = thick_at + 3.0
    foot = y1 - row * len(layers)
    yield Path(Role.FACE, np.array([(x0, foot), (x1, foot)]))
    words = MOULD if not before else f"layers 1 to {before} lie below"
    yield Text(Role.TEXT, (x0, foot - row / 2), words, letters, rise="centre")
    for k, (layer, (count, id, lies, high, name)) in enumerate(zip(layers, rows, strict=True)):
        y = foot + (k + 0.5) * row
        yield from _glyph(layer, (glyph_at, y), row * 0.42)
        yield Text(Role.TEXT, (number_at, y), count, letters, 0.0, "end", "centre")
        yield Text(Role.TEXT, (id_at, y), fitted(id, ident, letters, True), letters, rise="centre",
                   bold=True)  # fmt: skip
        yield Text(Role.TEXT, (angle_at, y), lies, letters, rise="centre")
        if high:
            yield Text(Role.TEXT, (thick_at, y), high, letters, 0.0, "end", "centre")
        room = x1 - name_at
        sizes = (c for c in (letters, NOTE_MM) if text_width_mm(name, c) <= room)
        small = min(next(sizes, LEAST_MM), letters)
        yield Text(Role.TEXT, (name_at, y), fitted(name, room, small), small, rise="centre")
        yield Path(Role.DIMENSION, np.array([(x0, y + row / 2), (x1, y + row / 2)]))


def _thick(layer: LaidLayer, unit: str) -> str:
    """How thick a layer is when cured; films add nothing."""
    if layer.kind == "film":
        return ""
    return f"{show_thickness(layer.thickness_mm, unit)} {unit}"


def layer_words(layer: LaidLayer) -> str:
    """How a layer lies, in a word: its angle, or what it is."""
    return show_angle(layer.angle_deg) if layer.kind == "ply" else layer.kind


def _glyph(layer: LaidLayer, at: tuple[float, float], radius: float) -> Iterator[Primitive]:
    """A layer's fibres as a line at their angle; what has none as a box."""
    x, y = at
    if layer.kind == "ply":
        turn = math.radians(layer.angle_deg)
        arm = np.array([math.cos(turn), math.sin(turn)]) * radius
        yield Path(Role.FIBRE, np.array([at - arm, at + arm]))
    else:
        w, h = radius, radius * 0.6
        ring = np.array([(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h)])
        yield Path(Role.DIMENSION, ring, True, layer.kind)


# ---------------------------------------------------------------- all splices
def _head_maps(
    face: Face, splices: Sequence[Splice], area: Box
) -> tuple[list[Primitive], Box]:  # fmt: skip
    """Rosette and splice map at the head of an area, and what is left below."""
    x0, y0, x1, y1 = area
    sign = rosette()
    tall = sign.window_mm[3]
    items: list[Primitive] = list(sign.moved(x0, y1 - tall).items)
    if not splices:
        return items, (x0, y0, x1, y1 - tall - MAPS_APART_MM)
    ring = np.asarray(face.outline_mm, float)
    size = np.ptp(ring, axis=0)
    room = (x0 + _ROSETTE_MM, x1)
    top = y1 - LABEL_MM - 3.0
    rows = 1
    while True:  # with as many rows of names as the names take
        names = NAMES_MM * rows + 2.5
        high = min(SPLICES_MM, (room[1] - room[0]) * size[1] / size[0], (y1 - y0) / 3)
        box = (room[0], top - names - high, room[1], top - names)
        frame = _framed(ring, box)
        named = _named(splices, frame, room)
        if (needed := max(len(side) for side in named)) <= rows:
            break
        rows = needed
    items.append(Text(Role.TEXT, (room[0], y1 - LABEL_MM), SPLICES, LABEL_MM, bold=True))
    items.append(Path(Role.FACE, frame.put(ring), True, "face"))
    items += [
        Path(Role.SEAM if splice.is_seam else Role.SPLICE, frame.put(splice.line_mm),
             tag=splice.layer)
        for splice in splices
    ]  # fmt: skip
    leaders: list[Primitive] = []
    for upper, side in zip((True, False), named, strict=True):
        edge = box[3] + 2.5 if upper else box[1] - 2.5
        for row, names_of in enumerate(side):
            level = edge + (row if upper else -row) * NAMES_MM
            leaders += [item for name in names_of for item in _leader(name, level, upper)]
    items += sorted(leaders, key=lambda item: isinstance(item, Text))  # words over lines
    floor = min(y1 - tall, box[1] - names)
    return items, (x0, y0, x1, floor - MAPS_APART_MM)


def _framed(ring: np.ndarray, box: Box) -> Frame:
    low, high = ring.min(axis=0), ring.max(axis=0)
    return fit_frame((*low.tolist(), *high.tolist()), box)


@dataclass(frozen=True)
class _Name:
    """Names of layers whose splices run together: where they end, and where the words stand."""

    words: str
    end: tuple[float, float]
    at: float


def _named(
    splices: Sequence[Splice], frame: Frame, room: tuple[float, float]
) -> tuple[list[list[_Name]], list[list[_Name]]]:
    """The names of splices, by turns above the part and below it, in rows; those that run together
    share a name."""
    groups: list[tuple[np.ndarray, list[str]]] = []
    for splice in splices:
        line = frame.put(splice.line_mm)
        ends = np.array([line[line[:, 1].argmin()], line[line[:, 1].argmax()]])
        same = next((g for g in groups if np.abs(g[0] - ends).max() <= NEAR_MM), None)
        if same is None:
            groups.append((ends, [splice.layer]))
        elif splice.layer not in same[1]:
            same[1].append(splice.layer)
    sides: tuple[list[list[_Name]], list[list[_Name]]] = ([], [])
    for side, own in enumerate((groups[::2], groups[1::2])):
        upper = side == 0
        found = sorted(
            (float(ends[int(upper)][0]), float(ends[int(upper)][1]), clean_text(" ".join(ids)))
            for ends, ids in own
        )
        wide = [text_width_mm(words, NOTE_MM) + 2.0 for _, _, words in found]
        count = math.ceil(sum(wide) / (room[1] - room[0]) + 1e-9) if found else 0
        for row in range(count):
            part, widths = found[row::count], wide[row::count]
            places = spread([x for x, _, _ in part], widths, room)
            sides[side].append(
                [_Name(w, (x, y), at) for (x, y, w), at in zip(part, places, strict=True)]
            )
    return sides


def _leader(name: _Name, level: float, upper: bool) -> Iterator[Primitive]:
    yield Path(Role.DIMENSION, np.array([name.end, (name.at, level)]))
    yield Circle(Role.DATUM, name.end, 0.4, "ink")
    yield Text(Role.TEXT, (name.at, level + 0.8 if upper else level - 0.8), name.words, NOTE_MM,
               0.0, "middle", "baseline" if upper else "top", halo=True)  # fmt: skip


def spread(
    wanted: Sequence[float], widths: Sequence[float], room: tuple[float, float]
) -> list[float]:
    """Middles of words in a row, in order and clear of one another, near where they are wanted.

    Args:
        wanted: middles, ascending.
        widths: of the words with what is left beside them.
        room: where the row begins and ends; it runs on where it is too short.
    """
    places: list[float] = []
    floor = room[0]
    for at, wide in zip(wanted, widths, strict=True):
        places.append(max(at, floor + wide / 2))
        floor = places[-1] + wide / 2
    ceiling = room[1]
    for k in reversed(range(len(places))):
        most = ceiling - widths[k] / 2
        if places[k] <= most:
            break
        places[k] = most
        ceiling = most - widths[k] / 2
    return places


# ---------------------------------------------------------------- a map of each layer
@dataclass(frozen=True)
class _Map:
    layer: LaidLayer
    pieces: Sequence[Piece]


def _maps(
    face: Face, maps: Sequence[_Map], before: int, area: Box
) -> tuple[list[Primitive], int]:
    """As many maps as find room in an area, in rows from its upper left, and how many."""
    x0, y0, x1, y1 = area
    rings = [np.asarray(face.outline_mm, float)]
    rings += [p.laid_outline_mm for one in maps for p in one.pieces]
    low = np.min([r.min(axis=0) for r in rings], axis=0)
    high = np.max([r.max(axis=0) for r in rings], axis=0)
    columns, wide, tall = _grid(len(maps), (x1 - x0, y1 - y0), (high - low).tolist())
    items: list[Primitive] = []
    each = tall + CAPTION_MM + MAPS_APART_MM
    rows = max(1, math.floor((y1 - y0 + MAPS_APART_MM) / each + 1e-6))
    shown = maps[: rows * columns]
    for k, one in enumerate(shown):
        row, column = divmod(k, columns)
        left = x0 + column * (wide + MAPS_APART_MM)
        top = y1 - row * each
        frame = fit_frame((*low.tolist(), *high.tolist()), (left, top - tall, left + wide, top))
        items += _map(face, one, frame)
        said = f"{before + k + 1}  {one.layer.id}  {layer_words(one.layer)}"
        count = len(one.pieces)
        said += f", {count} pieces" if count > 1 else ""
        items.append(Text(Role.TEXT, (left, top - tall - NOTE_MM - 1.0),
                          fitted(clean_text(said), wide, NOTE_MM), NOTE_MM))  # fmt: skip
    return items, len(shown)


def _grid(count: int, room: tuple[float, float], size: Sequence[float]) -> tuple[int, float, float]:
    """Columns, width and height of the maps: as large as lets all of them find room, else as many
    as do at their least width."""
    most = max(1, math.floor((room[0] + MAPS_APART_MM) / (MAP_MM + MAPS_APART_MM)))
    found = []
    for columns in range(1, most + 1):
        rows = math.ceil(count / columns)
        high = (room[1] + MAPS_APART_MM) / rows - CAPTION_MM - MAPS_APART_MM
        wide = (room[0] - (columns - 1) * MAPS_APART_MM) / columns
        wide = min(wide, WIDEST_MAP_MM, high * size[0] / size[1])
        found.append((wide, columns))
    wide, columns = max(found)
    if wide < MAP_MM:
        columns, wide = most, (room[0] - (most - 1) * MAPS_APART_MM) / most
    high = min(wide * size[1] / size[0], max(room[1] - CAPTION_MM, LEAST_HIGH_MM))
    return columns, wide, high


def _map(face: Face, one: _Map, frame: Frame) -> Iterator[Primitive]:
    outline = frame.shape(shapely.Polygon(face.outline_mm, list(face.holes_mm)))
    yield from area_paths(outline, Role.FACE, "face")
    fibres = one.layer.kind in ("ply", "rod")
    areas = [(p, frame.shape(laid_area(p))) for p in one.pieces]
    for piece, area in areas:
        turn = piece.angle_deg if fibres else 45.0
        yield from hatch(area, turn, 2.2 if fibres else 3.2)
    for piece, _ in areas:
        for ring in (piece.laid_outline_mm, *piece.laid_holes_mm):
            drawn = frame.shape(shapely.LinearRing(ring)).coords[:-1]
            yield Path(Role.HIGHLIGHT, np.asarray(drawn), True, tag=piece.id)
    for piece, area in areas:
        yield from _name(piece, area)


def _name(piece: Piece, area: shapely.Geometry) -> Iterator[Text]:
    """A piece's id inside it, as large as it fits; a sliver has none."""
    largest = next(polygons(area), None)
    if largest is None:
        return
    at = shapely.maximum_inscribed_circle(largest, tolerance=0.2).coords[0]
    for letters in (LABEL_MM, NOTE_MM, LEAST_MM):
        text = Text(Role.ID, at, clean_text(piece.id), letters, 0.0, "middle", "centre", True, True)
        if largest.contains(shapely.Polygon(text_box_mm(text))):
            yield text
            return
