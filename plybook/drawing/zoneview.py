"""The zones of a part seen flat: where each stack lies, so that it is found on the part.

Terms:
    zone: a part of the face with one stack.
    call-out: a zone too small for its label has it in a row above or below the part, with a line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import area_paths, cropped, fit_across, polygons
from plybook.drawing.letters import text_box_mm, text_width_mm
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.laminate.model import Zone
from plybook.surface.model import Face

WIDTH_MM, LARGEST_MM = 180.0, 72.0
_ROUND_MM = 14.0  # above and below: a row of call-outs
_SIDE_MM = 9.0
_SHADES = ("white", "ghost", "ply", "film", "core", "ply_2", "insert", "rod")


def zone_picture(face: Face, zones: Sequence[Zone]) -> Scene:
    """Every zone outlined and labelled, from the bag side.

    Args:
        face: the mould face.
        zones: of the laminate, in the order of their labels.

    Returns:
        A scene 180 mm wide in paper millimetres.
    """
    ring = np.asarray(face.outline_mm, float)
    frame, tall = fit_across(ring, WIDTH_MM, _SIDE_MM, _ROUND_MM, LARGEST_MM)
    areas = [frame.shape(zone.region) for zone in zones]
    items: list[Primitive] = []
    parts = [(k, polygon) for k, area in enumerate(areas) for polygon in polygons(area)]
    for k, polygon in sorted(parts, key=lambda part: -shapely.Polygon(part[1].exterior).area):
        items += area_paths(polygon, Role.DIMENSION, _SHADES[k % len(_SHADES)])
    for k, polygon in parts:
        items += _inside(polygon, zones[k].label)
    out = frame.put(ring)
    items.append(Path(Role.FACE, out, True))
    items += _ends(face, frame.put)
    named = {item.text for item in items if isinstance(item, Text)}
    small = [(z.label, a) for z, a in zip(zones, areas, strict=True) if z.label not in named]
    items += _call_outs(small, out)
    return cropped(Scene(tuple(items), (0.0, 0.0, WIDTH_MM, 2 * _ROUND_MM + tall), "Zones"))


def _inside(area: shapely.Polygon, words: str) -> Iterator[Text]:
    """The label inside one part of a zone, as large as it fits; none where it does not."""
    at = shapely.maximum_inscribed_circle(area, tolerance=0.2).coords[0]
    for letters in (LABEL_MM, NOTE_MM, 1.8):
        for turn in (0.0, 90.0):
            text = Text(Role.TEXT, at, words, letters, turn, "middle", "centre", bold=True)
            if area.contains(shapely.Polygon(text_box_mm(text))):
                yield text
                return


def _ends(face: Face, put) -> Iterator[Text]:
    """The names of the part's two ends, to tell which way it lies."""
    ring = put(face.outline_mm)
    for edge in face.edges:
        run = put(edge.points_mm)
        if abs(np.ptp(run[:, 0])) > abs(np.ptp(run[:, 1])):
            continue
        left = run[:, 0].mean() < ring[:, 0].mean()
        x = float(run[:, 0].min() - 2.0 if left else run[:, 0].max() + 4.5)
        y = float(run[:, 1].mean())
        yield Text(Role.TEXT, (x, y), edge_words(edge.name), NOTE_MM, 90.0, "middle")


def _call_outs(small: Sequence[tuple[str, BaseGeometry]], ring: np.ndarray) -> Iterator[Primitive]:
    """Labels of small zones in two rows, each above or below its zone as far as room allows."""
    middle = float(ring[:, 1].mean())
    rows: dict[bool, list[tuple[float, float, str]]] = {True: [], False: []}
    for words, area in small:
        x, y = shapely.maximum_inscribed_circle(next(polygons(area)), tolerance=0.05).coords[0]
        rows[y > middle].append((x, y, words))
    for above, row in rows.items():
        level = ring[:, 1].max() + 5.0 if above else ring[:, 1].min() - 5.0
        last = 0.0
        for x, y, words in sorted(row):
            half = text_width_mm(words, NOTE_MM, True) / 2
            at = min(max(x, last + half + 2.0), WIDTH_MM - half)
            last = at + half
            foot = level - 1.0 if above else level + 1.0
            yield Path(Role.DIMENSION, np.array([(x, y), (at, foot)]))
            yield Circle(Role.DATUM, (x, y), 0.5, "ink")
            yield Text(
                Role.TEXT, (at, level), words, NOTE_MM, anchor="middle",
                rise="baseline" if above else "top", bold=True,
            )  # fmt: skip
