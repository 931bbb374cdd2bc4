"""The part as a whole: seen in space for the cover, and its strain map.

The view is orthographic, from the bag side, tip to the right, turned so that the curvature shows.
"""

from __future__ import annotations

import math

import numpy as np

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import (
    area_paths,
    cropped,
    first_free,
    fit_across,
    fit_frame,
    hatch,
    kept_inside,
    lines,
)
from plybook.drawing.letters import text_width_mm
from plybook.drawing.scene import Path, Primitive, Rise, Role, Scene, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.surface.model import Face, StrainReport

WIDTH_MM = 180.0
_ACROSS_MM = (0.0, -math.inf, WIDTH_MM, math.inf)  # of the picture, which is cropped in height
_LEAN = (0.30, 0.62)  # how far the eye stands towards the tip, and below the leading normal


def part_picture(face: Face, height_mm: float = 84.0) -> Scene:
    """The mould face in space with its stations, axis and edges named."""
    from shapely import LineString, box, segmentize

    outline = np.asarray(
        segmentize(LineString(np.vstack([face.outline_mm, face.outline_mm[:1]])), 60.0).coords
    )
    space = face.to_space(outline)
    look = _view(face)
    flat = space @ look
    (x0, y0), (x1, y1) = flat.min(axis=0), flat.max(axis=0)
    height = min(height_mm, max(30.0, (WIDTH_MM - 24.0) * (y1 - y0) / (x1 - x0) + 22.0))
    frame = fit_frame((x0, y0, x1, y1), (12.0, 11.0, WIDTH_MM - 12.0, height - 11.0))

    def put(points_mm: np.ndarray) -> np.ndarray:
        return frame.put(face.to_space(np.asarray(points_mm, float)) @ look)

    items: list[Primitive] = [Path(Role.HIGHLIGHT, put(outline), True, "face")]
    for share in _share_lines(face):
        items.append(Path(Role.GHOST, put(share)))
    for hole in face.holes_mm:
        items.append(Path(Role.FACE, put(hole), True, "white"))
    for station in face.station_lines:
        items.append(Path(Role.STATION, put(station.points_mm)))
    seen = box(*LineString(face.outline_mm).bounds)
    axis = segmentize(LineString(face.axis_mm).intersection(seen), 60.0)
    items += [Path(Role.AXIS, put(run)) for run in lines(axis)]
    items += _names(face, put)
    return cropped(Scene(tuple(items), (0.0, 0.0, WIDTH_MM, height), "The mould face"))


def _view(face: Face) -> np.ndarray:
    """(3, 2): part axes to picture right and up."""
    ring = np.asarray(face.outline_mm, float)
    start, end = face.to_space(face.axis_mm)
    span = (end - start) / np.linalg.norm(end - start)
    x = float(ring[:, 0].mean())  # up the page: where the pattern's y runs in space, mid-span
    low, high = face.to_space(np.array([[x, ring[:, 1].min()], [x, ring[:, 1].max()]]))
    across = (high - low) - span * ((high - low) @ span)
    across /= np.linalg.norm(across)
    normal = np.cross(span, across)  # towards the bag side: the pattern frame is right-handed
    if face.flat:
        return np.column_stack([span, across])
    eye = normal + _LEAN[0] * span - _LEAN[1] * across
    eye /= np.linalg.norm(eye)
    right = span - eye * (span @ eye)
    right /= np.linalg.norm(right)
    return np.column_stack([right, np.cross(eye, right)])


def _share_lines(face: Face) -> list[np.ndarray]:
    """A few lines along the part between its first and last share, where it has stations."""
    if face.flat or not face.station_lines:
        return []
    first = face.from_pattern(face.station_lines[0].points_mm)[:, 1]
    low, high = float(first.min()), float(first.max())
    return [face.share_line(low + (high - low) * k) for k in (0.1, 0.25, 0.5, 0.75)]


def _names(face: Face, put) -> list[Text]:
    from shapely import LineString

    ring = put(face.outline_mm)
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    out: list[Text] = []
    for edge in face.edges:
        run = put(edge.points_mm)
        at = np.asarray(LineString(run).interpolate(0.5, normalized=True).coords[0])
        level = np.ptp(run[:, 0]) >= np.ptp(run[:, 1])
        words = edge_words(edge.name)
        rise: Rise = "baseline"
        if level:
            above = at[1] > middle[1]
            spot = at + (0.0, 3.0 if above else -9.5)
            turn, rise = _slope_deg(run), "baseline" if above else "centre"
        else:
            left = at[0] < middle[0]
            spot = np.array([run[:, 0].min() - 3.0 if left else run[:, 0].max() + 6.4, at[1]])
            turn = 90.0
        place = (float(spot[0]), float(spot[1]))
        name = Text(Role.TEXT, place, words, LABEL_MM, turn, "middle", rise)
        out.append(kept_inside(name, _ACROSS_MM))
    for station in face.station_lines:
        ends = put(station.points_mm[[0, -1]])
        foot = ends[np.argmin(ends[:, 1])]
        text = Text(
            Role.TEXT,
            (float(foot[0]), float(foot[1]) - 1.6),
            station.label,
            NOTE_MM,
            anchor="middle",
            rise="top",
        )
        out += filter(None, [first_free([kept_inside(text, _ACROSS_MM)], out)])
    return out


def _slope_deg(run: np.ndarray) -> float:
    dx, dy = run[-1] - run[0]
    turn = float(np.degrees(np.arctan2(dy, dx)))
    return (turn + 90.0) % 180.0 - 90.0


# ---------------------------------------------------------------- strain

_LEVELS = (0.1, 0.25, 0.5, 0.75)  # shares of the largest strain where a band begins


def strain_picture(face: Face, strain: StrainReport, height_mm: float = 70.0) -> Scene | None:
    """Where flattening strained the pattern, in four bands; None where there is nothing to see."""
    from shapely import Polygon, coverage_union_all, polygons

    size = np.abs(np.asarray(strain.strain_pct, float))
    if not len(size) or size.max() < 1e-3:
        return None
    ring = np.asarray(face.outline_mm, float)
    frame, tall = fit_across(ring, WIDTH_MM, 4.0, 12.0, height_mm)
    outline = frame.shape(Polygon(ring))
    items: list[Primitive] = list(area_paths(outline, Role.FACE, "face"))
    triangles = frame.put(strain.nodes_mm)[np.asarray(strain.faces)]
    top = float(size.max())
    bands = (*(level * top for level in _LEVELS), np.inf)
    pitches = (4.0, 2.4, 1.4, 0.8)
    x = 4.0
    for low, high, pitch in zip(bands[:-1], bands[1:], pitches, strict=True):
        chosen = triangles[(size >= low) & (size < high)]
        united = coverage_union_all(polygons(chosen)).buffer(1e-3)  # triangles share their sides
        area = united.intersection(outline).simplify(0.2)
        if not area.is_empty:
            items += hatch(area, 45.0, pitch)
            items += area_paths(area, Role.GHOST)
        sample = Polygon([(x, 2.0), (x + 9.0, 2.0), (x + 9.0, 7.0), (x, 7.0)])
        items += hatch(sample, 45.0, pitch)
        items += area_paths(sample, Role.DIMENSION)
        words = f"from {low:.2g} %"
        items.append(Text(Role.TEXT, (x + 11.0, 4.5), words, NOTE_MM, rise="centre"))
        x += 13.0 + text_width_mm(words, NOTE_MM) + 6.0
    for station in face.station_lines:
        items.append(Path(Role.STATION, frame.put(station.points_mm)))
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, tall + 16.0), "Strain of the pattern")
