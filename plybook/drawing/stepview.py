"""The picture of a step: the part seen from the bag side, this step's pieces in front.

Terms:
    this step: hatched, wide outline, large id. Already in the mould: grey tint, thin outline.
    locating corner: a lettered corner of a piece with its distances from a station and an edge.
    row: a long slim part is shown in stretches of the same scale, one under another.

What is meant never rests on colour: hatch, line width and words carry it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from shapely.geometry.base import BaseGeometry

from plybook.drawing.aroundpart import (
    CUT_MARK,
    edge_names,
    section_mark,
    section_strokes,
    station_labels,
)
from plybook.drawing.frame import (
    Box,
    Frame,
    area_paths,
    arrow,
    cropped,
    first_free,
    fit_frame,
    hatch,
    is_inside,
    lines,
    polygons,
    tinted,
)
from plybook.drawing.letters import text_box_mm, text_width_mm
from plybook.drawing.locate import Corner
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM, largest_letters_mm
from plybook.laminate.model import LaidLayer, Piece
from plybook.surface.model import Face

WIDTH_MM = 180.0
ACROSS_MM = (0.0, -math.inf, WIDTH_MM, math.inf)  # of a picture that is cropped in height
SIDE_MM = 8.6  # left and right of the part: root and tip in words
TOP_MM, FOOT_MM = 7.7, 11.5  # above: an edge name; below: station labels and an edge name
LARGEST_ROW_MM = 66.0
SLIM = 9.0  # length to width from which a part is shown in rows
LEAST_ENLARGED = 1.7  # a detail shows its pieces at least this much larger
RING_MM = 2.2  # round the letter of a corner
EDGED = ("core", "insert")  # kinds whose outline shows through what lies on them
TINT = {"ply": "ghost", "film": "film", "core": "core", "insert": "insert", "rod": "rod"}


def step_picture(
    face: Face,
    pieces: Sequence[Piece],
    below: Sequence[LaidLayer],
    section_mm: np.ndarray | None = None,
    corners: Sequence[Corner] = (),
) -> Scene:
    """The whole part with this step's pieces, for a card 180 mm wide.

    Args:
        face: the mould face.
        pieces: what this step lays or handles; none shows the bare face.
        below: what is already in the mould, first laid first.
        section_mm: (2, 2) line of the section shown beside it, or None.
        corners: lettered corners from `locate`.

    Returns:
        A scene in paper millimetres; its height follows from the part's proportions.
    """
    x0, y0, x1, y1 = _reach(face, pieces)
    scale, rows = _scale(face, pieces)
    stretch = (x1 - x0) / rows
    row_mm = (y1 - y0) * scale + TOP_MM + FOOT_MM
    wide = WIDTH_MM / 2 - stretch * scale / 2
    windows = [(x0 + k * stretch, y0, x0 + (k + 1) * stretch, y1) for k in range(rows)]
    shown = [
        (k, w) for k, w in enumerate(windows) if not pieces or any(_reaches(p, w) for p in pieces)
    ]
    items: list[Primitive] = []
    for place, (row, window) in enumerate(shown):
        foot = (len(shown) - 1 - place) * row_mm + FOOT_MM
        frame = Frame(scale, (window[0], y0), (wide, foot))
        items += _row(frame, window if rows > 1 else None, face, pieces, below, section_mm, corners)
        if rows > 1:
            items.append(
                Text(
                    Role.TEXT, (0.0, foot + row_mm - FOOT_MM - 3.0), f"{row + 1} of {rows}", NOTE_MM
                )
            )
    window_mm = (0.0, 0.0, WIDTH_MM, len(shown) * row_mm)
    return cropped(Scene(tuple(items), window_mm, "Seen from the bag side"))


def _scale(face: Face, pieces: Sequence[Piece]) -> tuple[float, int]:
    """Scale of the whole part's picture and the rows it takes."""
    x0, y0, x1, y1 = _reach(face, pieces)
    rows = min(3, max(1, math.ceil((x1 - x0) / (y1 - y0) / SLIM)))
    return min((WIDTH_MM - 2 * SIDE_MM) * rows / (x1 - x0), LARGEST_ROW_MM / (y1 - y0)), rows


def detail_picture(
    face: Face,
    pieces: Sequence[Piece],
    below: Sequence[LaidLayer],
    corners: Sequence[Corner],
    width_mm: float,
    height_mm: float,
) -> Scene | None:
    """The surroundings of small pieces enlarged, or None where that shows them hardly larger."""
    x0, y0, x1, y1 = _bounds(p.laid_outline_mm for p in pieces)
    room = 0.22 * max(x1 - x0, (y1 - y0) * width_mm / height_mm, 1.0)
    frame = fit_frame(
        (x0 - room, y0 - room, x1 + room, y1 + room), (1.0, 5.0, width_mm - 1.0, height_mm - 1.0)
    )
    if frame.scale < LEAST_ENLARGED * _scale(face, pieces)[0]:
        return None
    low = (np.array([1.0, 5.0]) - frame.at_mm) / frame.scale + frame.origin_mm
    high = (np.array([width_mm - 1.0, height_mm - 1.0]) - frame.at_mm) / frame.scale
    window = (*low, *(high + frame.origin_mm))
    paper = (1.0, 5.0, width_mm - 1.0, height_mm - 1.0)
    items = list(_content(frame, window, face, pieces, below, corners, paper))
    border = np.array([paper[:2], (paper[2], paper[1]), paper[2:], (paper[0], paper[3])])
    items.append(Path(Role.FRAME, border, True))
    items.append(Text(Role.TEXT, (1.0, 1.0), "Detail, enlarged", NOTE_MM))
    return Scene(tuple(items), (0.0, 0.0, width_mm, height_mm), "Detail")


def _row(frame, window, face, pieces, below, section_mm, corners) -> list[Primitive]:
    around = [
        *edge_names(frame, window, face, WIDTH_MM),
        *station_labels(frame, window, face, WIDTH_MM),
    ]
    cuts = [] if section_mm is None else section_strokes(frame, section_mm)
    items = _content(frame, window, face, pieces, below, corners, ACROSS_MM, [*around, *cuts])
    if section_mm is not None:
        items += section_mark(frame, window, section_mm, [*items, *around], ACROSS_MM)
    return items + around


def _content(
    frame, window, face, pieces, below, corners, paper_mm: Box, around=()
) -> list[Primitive]:
    """Face, what lies below, stations and this step's pieces, clipped to a window.

    Args:
        paper_mm: what words beside a piece and letters of corners stay within.
        around: words and lines that will stand there too and are kept clear of.
    """
    from shapely import Polygon, box

    clip = box(*window) if window else None

    def shown(geometry):
        return frame.shape(geometry.intersection(clip) if clip else geometry)

    outline = shown(Polygon(face.outline_mm, [h for h in face.holes_mm]))
    items: list[Primitive] = list(area_paths(outline, Role.FACE, "face"))
    lying = [(layer.kind, shown(layer.region)) for layer in below]
    for kind, region in lying:
        items += tinted(region, Role.GHOST, TINT.get(kind, "ghost"))
    for kind, region in lying:
        if kind in EDGED:
            items += area_paths(region, Role.CORE_EDGE)
    own = [(p, shown(laid_area(p))) for p in pieces]
    own = [(p, area) for p, area in own if not area.is_empty]
    for piece, area in own:
        items += tinted(area, Role.FILL, "highlight")
        turn = piece.angle_deg if piece.kind in ("ply", "rod") else 45.0
        items += hatch(area, turn, 2.2 if piece.kind in ("ply", "rod") else 3.2)
    for station in face.station_lines:
        items += _line(shown, station.points_mm, Role.STATION)
    items += _axis(frame, window, face, pieces)
    for piece, area in own:
        items += area_paths(area, Role.HIGHLIGHT, tag=piece.id)
    for piece, area in own:
        whole = frame.shape(laid_area(piece)).area
        if window is None or area.area > 0.12 * whole:  # a sliver is named in the row before
            items += _piece_words(piece, area, [*items, *around], paper_mm)
    room = {p.id: area.bounds for p, area in own}
    marks: list[Primitive] = []
    for corner in corners:
        drawn = [*items, *marks, *around]
        marks += _corner_mark(frame, window, corner, room, outline, drawn, paper_mm)
    items += sorted(marks, key=_mark_order)
    for piece, area in own:
        if piece.kind in ("ply", "rod"):
            edges = [other.boundary for p, other in own if p is not piece]
            items += _fibre_arrow(piece, area, edges, [*items, *around])
    return items


def laid_area(piece: Piece):
    """A piece where it is laid, with its holes."""
    from shapely import Polygon

    polygon = Polygon(piece.laid_outline_mm, piece.laid_holes_mm)
    return polygon if polygon.is_valid else polygon.buffer(0)


def _axis(frame: Frame, window: Box | None, face: Face, pieces: Sequence[Piece]) -> list[Path]:
    """The reference axis, a little beyond the part and no further."""
    from shapely import LineString, box

    room = 4.0 / frame.scale
    x0, y0, x1, y1 = _reach(face, pieces)
    seen = box(x0 - room, y0 - room, x1 + room, y1 + room)
    if window:
        seen = seen.intersection(box(*window))
    return [Path(Role.AXIS, run) for run in lines(frame.shape(LineString(face.axis_mm) & seen))]


def _line(shown, points_mm: np.ndarray, role: Role) -> list[Path]:
    from shapely import LineString

    return [Path(role, run) for run in lines(shown(LineString(points_mm)))]


def _piece_words(
    piece: Piece, area, drawn: Sequence[Primitive], paper_mm: Box
) -> list[Primitive]:
    """The id as large as the piece allows, with the angle of a ply or rod."""
    from shapely import maximum_inscribed_circle

    largest = next(polygons(area), None)
    if largest is None:
        return []
    circle = maximum_inscribed_circle(largest, tolerance=0.3)
    centre, radius = np.asarray(circle.coords[0]), circle.length
    x0, y0, x1, y1 = largest.bounds
    middle = largest.centroid
    if largest.contains(middle) and largest.exterior.distance(middle) > 0.7 * radius:
        centre = np.array([middle.x, middle.y])
        radius = largest.exterior.distance(middle)
    words = (
        piece.id
        if piece.kind in ("core", "insert", "film")
        else (f"{piece.id}  {show_angle(piece.angle_deg)}")
    )
    room = 0.86 * min(2 * (centre[0] - x0), 2 * (x1 - centre[0]))
    letter = min(largest_letters_mm(0.8 * room, 1.3 * radius, text_width_mm(words, 1.0, True)), 7.0)
    if letter < NOTE_MM:
        return _words_beside(words, largest.bounds, centre, drawn, paper_mm)
    x, y = _clear_of_lines(centre, words, letter, largest, drawn)
    return [
        Text(
            Role.ID,
            (x, y),
            words,
            letter,
            anchor="middle",
            rise="centre",
            bold=True,
            halo=True,
        )
    ]


def _clear_of_lines(
    centre: np.ndarray, words: str, letter_mm: float, area: BaseGeometry, drawn: Sequence[Primitive]
) -> tuple[float, float]:
    """The centre of a piece, or a place along it where no section line runs under the words."""
    from shapely import LineString, box

    cuts = [LineString(p.points_mm) for p in drawn if isinstance(p, Path) and p.role is CUT_MARK]
    half = text_width_mm(words, letter_mm, True) / 2 + 1.0
    x, y = (float(v) for v in centre)
    for shift in (0.0, -1.2, 1.2, -2.4, 2.4):
        at = x + shift * half
        room = box(at - half, y - letter_mm, at + half, y + letter_mm)
        held = shift == 0.0 or area.contains(room)
        if held and not any(room.intersects(cut) for cut in cuts):
            return at, y
    return x, y


def _words_beside(
    words: str, bounds: Box, centre: np.ndarray, drawn: Sequence[Primitive], paper_mm: Box
) -> list[Primitive]:
    """A piece too small for its id: the id beside it, with a leader from its middle."""
    x0, y0, x1, y1 = bounds
    half = text_width_mm(words, LABEL_MM, True) / 2
    places = []
    for y in (y1 + 1.8, y0 - LABEL_MM - 1.8, y1 + 7.0, y0 - LABEL_MM - 7.0, y1 + 12.0):
        for share in (0.5, 0.25, 0.75, 0.1, 0.9):
            x = x0 + share * (x1 - x0)
            x = min(max(x, paper_mm[0] + half + 1.0), paper_mm[2] - half - 1.0)
            places.append(
                Text(Role.ID, (x, y), words, LABEL_MM, anchor="middle", bold=True, halo=True)
            )
    places = [place for place in places if is_inside(place, paper_mm)] or places
    text = first_free(places, drawn) or places[0]
    x, y = text.at_mm
    foot = (min(max(x, x0), x1), float(centre[1]))
    return [Path(Role.DIMENSION, np.array([foot, (x, y + LABEL_MM / 2)])), text]


def _fibre_arrow(
    piece: Piece, area: BaseGeometry, edges: Sequence[BaseGeometry], drawn: Sequence[Primitive]
) -> list[Path]:
    """An arrow with two heads along the fibre: the longest that finds room, near the id.

    Args:
        piece: whose fibre.
        area: the piece on paper; the arrow keeps inside, clear of the outline.
        edges: outlines of the step's other pieces, kept clear of too.
        drawn: whose words and circles are kept clear of.
    """
    from shapely import Point, Polygon, contains, linestrings, prepare, union_all

    largest = next(polygons(area), None)
    if largest is None:
        return []
    along = np.array(
        [math.cos(math.radians(piece.angle_deg)), math.sin(math.radians(piece.angle_deg))]
    )
    across = np.array([-along[1], along[0]])
    words = [t for t in drawn if isinstance(t, Text)]
    taken = [Polygon(text_box_mm(t, 1.0)) for t in words]
    taken += [Point(c.centre_mm).buffer(c.radius_mm + 0.8) for c in drawn if isinstance(c, Circle)]
    taken += [edge.buffer(1.6) for edge in edges]
    taken = [shape for shape in taken if shape.intersects(largest)]
    own = next((t for t in words if t.text.split("  ")[0] == piece.id), None)
    centre = np.asarray(own.at_mm if own else largest.centroid.coords[0])
    steps = np.arange(-36.0, 36.1, 1.5)
    spots = np.array([a * along + c * across for a in steps[::2] for c in steps])
    spots = centre + spots[np.argsort(np.round(np.hypot(*spots.T), 3), kind="stable")]
    for edge_mm in (2.2, 1.0, 0.4):
        free = largest.buffer(-edge_mm).difference(union_all(taken))
        prepare(free)
        for half in (16.0, 11.0, 7.0, 4.0):
            ends = np.stack([spots - half * along, spots + half * along], axis=1)
            found = np.flatnonzero(contains(free, linestrings(ends)))
            if len(found):
                start, end = ends[found[0]]
                return list(arrow(start, end, Role.FIBRE, 2.6, both=True))
    return []


def _corner_mark(
    frame: Frame,
    window: Box | None,
    corner: Corner,
    room: dict[str, Box],
    face,
    drawn: Sequence[Primitive],
    paper_mm: Box,
) -> list[Primitive]:
    """A dot and its letter: inside the piece where that is large enough, else beside it, within
    the face where it can be, and clear of other words; never beyond the paper."""
    from shapely import Point

    if window and not (
        window[0] <= corner.at_mm[0] <= window[2] and window[1] <= corner.at_mm[1] <= window[3]
    ):
        return []
    x, y = (float(v) for v in frame.put(np.array([corner.at_mm]))[0])
    ox, oy = corner.outward
    x0, y0, x1, y1 = room.get(corner.piece.split(", ")[0], (0.0, 0.0, 0.0, 0.0))
    ways = [(ox, oy), (-ox, oy), (ox, -oy), (-ox, -oy)]
    if x1 - x0 > 30.0 and y1 - y0 > 16.0:
        ways.reverse()
    spots = [(x + far * wx, y + far * wy) for far in (3.8, 6.5, 9.5) for wx, wy in ways]
    spots = [spot for spot in spots if _holds_ring(paper_mm, spot)] or spots
    spots.sort(key=lambda spot: not face.contains(Point(spot).buffer(2.0)))  # keeps the order
    marks = [
        Text(Role.TEXT, spot, corner.letter, NOTE_MM, anchor="middle", rise="centre", bold=True)
        for spot in spots
    ]
    text = first_free(marks, drawn, 0.9) or marks[0]
    return [
        Circle(Role.DATUM, (x, y), 0.8, "ink"),
        Path(Role.DIMENSION, np.array([(x, y), text.at_mm])),
        Circle(Role.DIMENSION, text.at_mm, RING_MM, "white"),
        text,
    ]


def _holds_ring(paper_mm: Box, spot: tuple[float, float]) -> bool:
    x0, y0, x1, y1 = paper_mm
    return x0 + RING_MM <= spot[0] <= x1 - RING_MM and y0 + RING_MM <= spot[1] <= y1 - RING_MM


def _mark_order(mark: Primitive) -> int:
    """Dots and leaders first, then the rings, then the letters in them."""
    if isinstance(mark, Circle):
        return 0 if mark.role is Role.DATUM else 2
    return 3 if isinstance(mark, Text) else 1


def _bounds(rings: Iterable[np.ndarray]) -> Box:
    points = np.vstack([np.asarray(r, float) for r in rings])
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _reaches(piece: Piece, window: Box) -> bool:
    """Whether more than a sliver of a piece lies in a window along the part."""
    x = piece.laid_outline_mm[:, 0]
    inside = min(float(x.max()), window[2]) - max(float(x.min()), window[0])
    return inside > 0.02 * (window[2] - window[0]) or inside >= 0.5 * float(np.ptp(x))


def _reach(face: Face, pieces: Sequence[Piece]) -> Box:
    return _bounds([face.outline_mm, *(p.laid_outline_mm for p in pieces)])
