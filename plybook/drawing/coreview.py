"""The picture of a core panel to be sawn: each edge named with how it is cut, and its profile.

Terms:
    rim: a bevelled or scarfed edge's slope, hatched along the inside of the edge; wider than to
        scale, so that it is seen.
    profile: the sheet cut across an edge, bag side up.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from plybook.drawing.frame import area_paths, cropped, first_free, fit_across, hatch, is_inside
from plybook.drawing.labels import readable_deg
from plybook.drawing.letters import text_width_mm
from plybook.drawing.piecewords import DOT, edge_name
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM, largest_letters_mm
from plybook.laminate.model import Piece, PieceEdge
from plybook.units import STIFF, show_length, show_number

WIDTH_MM, LARGEST_MM = 180.0, 50.0
_ACROSS_MM = (0.0, -math.inf, WIDTH_MM, math.inf)  # of the picture, which is cropped in height
_ROUND_MM = 9.0  # around the panel, for the words along its edges
_RIM_MM = 2.4
_FOOT_MM = 19.0  # the profiles below the panel
_LEAST_EDGE_MM = 8.0  # on paper; a shorter edge is named in the text only


def panel_picture(piece: Piece, unit: str) -> Scene:
    """One panel as it lies on the sheet, bag side up, with its profiles below.

    Args:
        piece: a core panel.
        unit: "mm" or "in", for lengths in words.

    Returns:
        A scene 180 mm wide in paper millimetres.
    """
    ring = np.asarray(piece.outline_mm, float)
    frame, tall = fit_across(ring, WIDTH_MM, _ROUND_MM, _FOOT_MM + _ROUND_MM, LARGEST_MM)
    area = frame.shape(shapely.Polygon(ring, piece.holes_mm))
    items: list[Primitive] = list(area_paths(area, Role.FILL, "highlight"))
    lines = [(edge, frame.shape(shapely.LineString(edge.points_mm))) for edge in piece.edges]
    for edge, line in lines:
        if _sloped(edge):
            items += _rim(line, area)
    for edge, line in lines:  # over the slopes, which would hide their ends
        if edge.mate and not _sloped(edge):  # the double line of a square seam
            inner = line.offset_curve(1.2).intersection(area)
            items += [Path(Role.SEAM, np.asarray(g.coords)) for g in _runs(inner)]
    items += area_paths(area, Role.HIGHLIGHT, tag=piece.id)
    items.append(_id(piece.id, area))
    for edge, line in lines:
        if line.length >= _LEAST_EDGE_MM:
            items += _words_along(line, _edge_words(edge), items)
    items += _profiles(piece, unit)
    return cropped(
        Scene(tuple(items), (0.0, 0.0, WIDTH_MM, _FOOT_MM + 2 * _ROUND_MM + tall), piece.id)
    )


def _sloped(edge: PieceEdge) -> bool:
    return edge.treatment in ("bevel", "scarf") and edge.angle_deg < 90.0


def _edge_words(edge: PieceEdge) -> str:
    sloped = f"{edge.treatment} {show_number(edge.angle_deg, 1)}\u00b0"
    cut = sloped if _sloped(edge) else "SQUARE"
    meets = f"meets {edge.mate}" if edge.mate else ""
    return DOT.join(w for w in (edge_name(edge), cut, meets) if w)


def _rim(line: shapely.LineString, area: shapely.Polygon) -> list[Primitive]:
    """The hatched slope along the inside of an edge; the outline's inside lies to its left."""
    band = line.buffer(_RIM_MM, single_sided=True).intersection(area)
    return [*area_paths(band, Role.BEVEL, "bevel"), *hatch(band, 45.0, 1.2, Role.BEVEL_HATCH)]


def _runs(geometry: shapely.Geometry) -> list[shapely.LineString]:
    parts = shapely.get_parts(geometry)
    return [g for g in parts if g.geom_type == "LineString" and not g.is_empty]


def _id(words: str, area: shapely.Polygon) -> Text:
    x, y = shapely.maximum_inscribed_circle(area, tolerance=0.4).coords[0]
    x0, _, x1, _ = area.bounds
    room = 1.6 * min(x - x0, x1 - x)
    letters = largest_letters_mm(room, 10.0, text_width_mm(words, 1.0, True)) or NOTE_MM
    return Text(
        Role.ID, (x, y), words, letters, anchor="middle", rise="centre", bold=True, halo=True
    )


def _words_along(line: shapely.LineString, words: str, drawn: list[Primitive]) -> list[Text]:
    """An edge's words outside it, along it; smaller where they are longer than the edge."""
    places = []
    fits = text_width_mm(words, LABEL_MM) <= line.length
    for letters in (LABEL_MM, NOTE_MM) if fits else (NOTE_MM,):
        wide = text_width_mm(words, letters)
        for share in (0.5, 0.35, 0.65):
            at = line.length * share
            a, b = (
                np.asarray(line.interpolate(min(max(s, 0.0), line.length)).coords[0])
                for s in (at - wide / 2, at + wide / 2)
            )
            along = (b - a) / (np.hypot(*(b - a)) or 1.0)
            outward = np.array([along[1], -along[0]])
            x, y = np.asarray(line.interpolate(at).coords[0]) + (2.0 + letters / 2) * outward
            turn = readable_deg(math.degrees(math.atan2(along[1], along[0])))
            places.append(
                Text(Role.TEXT, (float(x), float(y)), words, letters, turn, "middle", "centre")
            )
    held = [place for place in places if is_inside(place, _ACROSS_MM)]
    found = first_free(held, drawn, 0.2)
    return [found] if found else []


# ---------------------------------------------------------------- profiles


def _profiles(piece: Piece, unit: str) -> list[Primitive]:
    """One profile for each way the panel's edges are cut, side by side, at most two."""
    ways = dict.fromkeys(
        (edge.treatment, edge.angle_deg, edge.wide_side) if _sloped(edge) else ("square", 90.0, "")
        for edge in piece.edges
    )
    shown = sorted(ways, key=lambda way: way[0] == "square")[:2]
    thick = piece.thickness_mm
    return [x for k, way in enumerate(shown) for x in _profile(k * WIDTH_MM / 2, thick, *way, unit)]


def _profile(
    x: float, thick_mm: float, way: str, angle_deg: float, wide: str, unit: str
) -> list[Primitive]:
    """The sheet cut across an edge: bag side up, the waste to the right, x from the left."""
    tall, left, low = 9.0, x + 4.0, 5.0
    end = left + 34.0
    slope = 1.0 / math.tan(math.radians(angle_deg)) if angle_deg < 90.0 else 0.0
    inner = end - min(slope * tall, 26.0)
    top, bottom = (end, inner) if wide == "bag" else (inner, end)
    ring = np.array([(left, low + tall), (top, low + tall), (bottom, low), (left, low)])
    sheet = shapely.Polygon(ring)
    depth = f"{show_length(thick_mm, unit)} deep"
    if slope:
        said = [
            f"{way} {show_number(angle_deg, 1)}\u00b0",
            f"{depth}, {show_length(slope * thick_mm, unit, grain=STIFF)} wide",
            f"outer line on the {wide} side",
        ]
    else:
        said = ["SQUARE - NO BEVEL", depth]
    return [
        *area_paths(sheet, Role.FILL, "core"),
        *hatch(sheet, 60.0, 3.0),
        Path(Role.HIGHLIGHT, ring),
        Text(Role.TEXT, (left, low + tall + 1.4), "bag side", NOTE_MM),
        Text(Role.TEXT, (left, low - 1.4), "mould side", NOTE_MM, rise="top"),
        *(
            Text(Role.TEXT, (end + 3.0, low + tall + 1.0 - 4.6 * k), words, NOTE_MM, rise="top",
                 bold=not k)
            for k, words in enumerate(said)
        ),
    ]  # fmt: skip
