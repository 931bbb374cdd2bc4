"""Layouts reduced to a book page: what is cut from which roll or sheet, to recognise it by.

The cut plan itself, with its mark-out tables, is drawn elsewhere; this is the small picture. Long
rolls run on in rows of the same scale, left to right and top down; rows without a piece of the
part are left out. A roll in bays shows their lines in place of figures. A bar is drawn wider than
it is, so that its pieces can be named in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from shapely.geometry.base import BaseGeometry

from plybook.drawing.frame import Frame, area_paths, arrow, cropped, hatch, kept_inside, polygons
from plybook.drawing.letters import text_box_mm, text_width_mm
from plybook.drawing.scene import Path, Primitive, Role, Scene, Text
from plybook.drawing.style import NOTE_MM
from plybook.nest.model import Item, Layout
from plybook.nest.placing import placed_outline
from plybook.units import MM_PER_INCH

WIDTH_MM = 180.0
_ACROSS_MM = (0.0, -math.inf, WIDTH_MM, math.inf)  # of the picture, which is cropped in height
_ROW_MM = 58.0  # most for one row
_LONGEST_ROW = 4200.0  # mm of bar in one row; a roll up to this takes one row
_MOST_ROWS = 12
_GAP_MM = 7.5
_BAR_MM = 5.0  # a bar on paper, whatever its width
TALLEST_MM = 205.0  # with its title and words it still fits a Letter page


def small_layout(layout: Layout, items: dict[str, Item], part: str, unit: str = "mm") -> Scene:
    """One roll, sheet or bar with its pieces; those of another part are only outlined.

    Args:
        layout: proved layout.
        items: by id "<part number>/<piece id>".
        part: number of the part the book is for.
        unit: "mm" or "in", for the figures along the edge.
    """
    from shapely import Polygon, affinity, box

    stock = layout.unit
    length = layout.used_length_mm or stock.length_mm
    if stock.kind == "bar" and layout.placements:  # a coil is long: only as far as it is cut
        rings_mm = [placed_outline(items[p.item], p) for p in layout.placements]
        length = min(stock.length_mm, max(float(ring[:, 0].max()) for ring in rings_mm))
    rings = [(p, Polygon(placed_outline(items[p.item], p))) for p in layout.placements]
    spans = [(r.bounds[0], r.bounds[2]) for p, r in rings if p.item.rpartition("/")[0] == part]
    rows = 1
    if stock.kind == "bar":
        rows = max(1, math.ceil(length / _LONGEST_ROW))
    elif stock.kind == "roll" and length > _LONGEST_ROW:
        rows = _best_rows(length, stock.width_mm, spans)
    stretch = length / rows
    shown = _rows_with(spans, rows, stretch)
    scale = (WIDTH_MM - 10.0) / stretch
    width = stock.width_mm
    if stock.kind == "bar":
        width = _BAR_MM / scale
        rings = [
            (p, affinity.scale(ring, 1.0, width / stock.width_mm, origin=(0, 0)))
            for p, ring in rings
        ]
    else:
        scale = min(scale, _ROW_MM / width * (1.4 if rows == 1 else 1.0))
        scale = min(scale, (TALLEST_MM / len(shown) - _GAP_MM) / width)
    tall = width * scale
    height = len(shown) * (tall + _GAP_MM)
    out: list[Primitive] = []
    for place, row in enumerate(shown):
        window = box(row * stretch, -1e3, (row + 1) * stretch, width + 1e3)
        foot = (len(shown) - 1 - place) * (tall + _GAP_MM) + 5.5
        frame = Frame(scale, (row * stretch, 0.0), (5.0, foot))
        whole = box(0, 0, length, width)
        if stock.outline_mm is not None:
            whole = Polygon(stock.outline_mm)
        out += area_paths(frame.shape(whole.intersection(window)), Role.FACE, "white")
        for zone in stock.bad_zones_mm:
            bad = frame.shape(Polygon(zone).intersection(window))
            out += area_paths(bad, Role.BAD_ZONE, "bad")
        words: list[Primitive] = []  # over all pieces, for a slim one's reach over its neighbours
        for placement, ring in rings:
            area = frame.shape(ring.intersection(window))
            own, _, piece = placement.item.rpartition("/")
            mine = own == part
            out += area_paths(area, Role.CUT if mine else Role.GHOST, "ply" if mine else "ghost")
            if not mine:
                out += hatch(area, 45.0, 3.0)
            named = _label(area, piece if mine else own, mine)
            if not named and stock.kind == "bar" and not area.is_empty:
                named = [kept_inside(_above(area, piece if mine else own, mine), _ACROSS_MM)]
            elif not named and mine and area.area > 0.6 * frame.shape(ring).area:
                named = [kept_inside(_across(area, piece), _ACROSS_MM)]
            words += named
        out += words
        if stock.kind == "roll" and place == 0:
            out += _warp(frame, row * stretch, stock.width_mm)
        ends = (row * stretch, min((row + 1) * stretch, length))
        if layout.bays:
            out += _lines(frame, ends, layout)
        else:
            out += _ruler(frame, *ends, unit)
    return cropped(Scene(tuple(out), (0.0, 0.0, WIDTH_MM, height), f"Layout of {stock.id}"))


def _rows_with(spans: Sequence[tuple[float, float]], rows: int, stretch: float) -> list[int]:
    """The rows that hold something of the given stretches of a roll; all where there are none."""
    shown = [
        row
        for row in range(rows)
        if any(a < (row + 1) * stretch and b > row * stretch for a, b in spans)
    ]
    return shown or list(range(rows))


def _best_rows(length_mm: float, width_mm: float, spans: Sequence[tuple[float, float]]) -> int:
    """Into how many rows a roll is cut for its picture to come out largest."""

    def scale(rows: int) -> float:
        shown = len(_rows_with(spans, rows, length_mm / rows))
        return min((WIDTH_MM - 10.0) * rows / length_mm, (TALLEST_MM / shown - _GAP_MM) / width_mm)

    return max(range(1, _MOST_ROWS + 1), key=lambda rows: (round(scale(rows), 6), -rows))


def _across(area: BaseGeometry, words: str) -> Text:
    """The id over a piece too slim to hold it, on white."""
    at = next(polygons(area)).representative_point()
    return Text(
        Role.TEXT, (at.x, at.y), words, NOTE_MM, 0.0, "middle", "centre", bold=True, halo=True
    )


def _label(area, words: str, bold: bool) -> list[Text]:
    """The id as large as it fits inside the piece, level or upright; left out where it does not."""
    from shapely import Polygon, maximum_inscribed_circle

    largest = next(polygons(area), None)
    if largest is None or largest.area < 4.0:
        return []
    x, y = maximum_inscribed_circle(largest, tolerance=0.4).coords[0]
    places = [(x, y)]
    if largest.contains(largest.centroid):
        places.insert(0, (largest.centroid.x, largest.centroid.y))
    for letters in (7.0, 5.0, 3.5, NOTE_MM):
        for at in places:
            for turn in (0.0, 90.0):
                text = Text(Role.TEXT, at, words, letters, turn, "middle", "centre", bold)
                if largest.contains(Polygon(text_box_mm(text))):
                    return [text]
    return []


def _above(area, words: str, bold: bool) -> Text:
    """The id over a piece too slim to hold it."""
    x0, _, x1, y1 = area.bounds
    return Text(Role.TEXT, ((x0 + x1) / 2, y1 + 1.0), words, NOTE_MM, anchor="middle", bold=bold)


def _warp(frame: Frame, start_mm: float, width_mm: float) -> list[Primitive]:
    ((x, y),) = frame.put(np.array([[start_mm, width_mm]]))
    words = Text(Role.TEXT, (x, y + 2.6), "warp", NOTE_MM, rise="centre")
    at = x + text_width_mm("warp", NOTE_MM) + 2.0
    return [words, *arrow((at, y + 2.6), (at + 18.0, y + 2.6), Role.FIBRE, 2.2)]


def _lines(frame: Frame, ends_mm: tuple[float, float], layout: Layout) -> list[Primitive]:
    """The lines at which the bays of a roll begin, with their names under the row."""
    out: list[Primitive] = []
    for bay in (bay for bay in layout.bays if ends_mm[0] - 1e-6 <= bay.at_mm < ends_mm[1]):
        ends = frame.put(np.array([[bay.at_mm, layout.unit.width_mm], [bay.at_mm, 0.0]]))
        if bay.number > 1:
            cut = layout.bays[bay.number - 2].cut
            out.append(Path(Role.SPLICE if cut else Role.STATION, ends))
        x, y = ends[1]
        out.append(Path(Role.DIMENSION, np.array([[x, y], [x, y - 1.4]])))
        at, words = (float(x), float(y) - 1.8), f"line {bay.number}"
        if (bay.to_mm - bay.at_mm) * frame.scale < text_width_mm(words, NOTE_MM) + 2.0:
            words = str(bay.number)
        out.append(Text(Role.TEXT, at, words, NOTE_MM, anchor="middle", rise="top"))
    return out


def _ruler(frame: Frame, start_mm: float, end_mm: float, unit: str) -> list[Primitive]:
    """Figures along the roll or sheet, under the row, in the user's unit."""
    out: list[Primitive] = []
    one = MM_PER_INCH if unit == "in" else 1.0
    steps = (12.0, 24.0, 48.0) if unit == "in" else (250.0, 500.0, 1000.0)
    step = next((s for s in steps if s * one * frame.scale > 18.0), steps[-1]) * one
    for at in np.arange(math.ceil(start_mm / step) * step, end_mm + 1.0, step):
        ((x, y),) = frame.put(np.array([[at, 0.0]]))
        out.append(Path(Role.DIMENSION, np.array([[x, y], [x, y - 1.4]])))
        out.append(
            Text(
                Role.TEXT,
                (float(x), float(y) - 1.8),
                f"{at / one:.0f}",
                NOTE_MM,
                anchor="middle",
                rise="top",
            )
        )
    return out
