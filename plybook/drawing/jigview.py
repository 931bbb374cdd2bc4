"""The jig card's sketch: where each figure of the card is taken.

Terms:
    from the side: the line the jig is measured along, seen square to the span; heights are drawn
        larger than they are, so that a small rise shows.
    square on: the net line of the mould face laid flat, with diagonals, screws and the stations
        where something is levelled.
    figure: the number of a measure on the card, in a circle, and the value expected.

A sketch: only the figures hold.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import arrow, cropped, first_free
from plybook.drawing.letters import text_width_mm
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.style import NOTE_MM
from plybook.shop.model import Measure
from plybook.spec.model import AtShare, PartSpec, StationMould
from plybook.surface.model import Face

WIDTH_MM = 180.0
LEFT_MM, RIGHT_MM = 14.0, 166.0
RISE_MM, LEAST_RISE_MM = 26.0, 8.0  # height of the view from the side
ACROSS_MM = (22.0, 46.0)  # least and largest height of the view square on
Numbered = Sequence[tuple[int, Measure]]


def jig_picture(spec: PartSpec, face: Face, jig: Sequence[Measure]) -> Scene | None:
    """Both views one above the other, 180 mm wide; None where there is nothing to measure."""
    if not jig:
        return None
    numbered = list(enumerate(jig, start=1))
    items, tall = _square_on(spec, face, [n for n in numbered if n[1].kind != "height"])
    heights = [n for n in numbered if n[1].kind == "height" and n[1].at_mm is not None]
    if heights and isinstance(spec.mould, StationMould):
        side, high = _from_the_side(spec, spec.mould, face, heights, tall + 6.0)
        items, tall = items + side, tall + 6.0 + high
    whole = Scene(tuple(items), (0.0, 0.0, WIDTH_MM, tall), "What is measured in the jig")
    return cropped(whole)


def _line_share(spec: PartSpec, mould: StationMould) -> float:
    return spec.axis.share if isinstance(spec.axis, AtShare) else (
        (mould.from_share + mould.to_share) / 2
    )  # fmt: skip


def _figure(number: int, measure: Measure) -> str:
    return f"{number}: {measure.expected:g} {measure.unit}"


# ---------------------------------------------------------------- from the side


def _from_the_side(
    spec: PartSpec, mould: StationMould, face: Face, heights: Numbered, foot: float
) -> tuple[list[Primitive], float]:
    spans = sorted(station.at_mm for station in mould.stations)
    share = _line_share(spec, mould)

    def space(spans_mm: ArrayLike) -> np.ndarray:
        at = np.asarray(spans_mm, float)
        return face.to_space(face.to_pattern(np.column_stack([at, np.full_like(at, share)])))

    fine = np.unique(np.concatenate([np.linspace(spans[0], spans[-1], 60), spans]))
    points = space(fine)
    handed = spec.part.hand in ("left", "right")
    ends = points[[0, -1], 2]
    line = np.array([ends[1], ends[1]]) if handed else ends
    low, high = min(points[:, 2].min(), line.min()), max(points[:, 2].max(), line.max())
    wide = (RIGHT_MM - LEFT_MM) / (spans[-1] - spans[0])
    up = min(RISE_MM / max(high - low, 1e-9), 40.0 * wide)
    base = foot + 8.0
    top = base + max((high - low) * up, LEAST_RISE_MM)

    def put(span, z) -> np.ndarray:
        x = LEFT_MM + (np.asarray(span, float) - spans[0]) * wide
        return np.column_stack([x, base + (np.asarray(z, float) - low) * up])

    items: list[Primitive] = [Path(Role.HIGHLIGHT, put(fine, points[:, 2]))]
    across = put([spans[0], spans[-1]], line)
    if handed:  # it goes on to the other hand's tip
        across[0, 0] = 2.0
    items.append(Path(Role.AXIS, across))
    words = "line across both tips" if handed else "line from end to end"
    side: list[Primitive] = []
    for span in spans:
        ((x, y),) = put([span], [float(space([span])[0, 2])])
        side.append(Path(Role.STATION, np.array([[x, base - 3.0], [x, top + 1.0]])))
    for number, m in heights:
        at_mm = m.at_mm or 0.0
        z = float(space([at_mm])[0, 2])
        ((x, y),) = put([at_mm], [z])
        if handed and at_mm == spans[-1]:  # the tip above the root
            other = base + (float(ends[0]) - low) * up
            side.append(Path(Role.DIMENSION, np.array([[LEFT_MM, other], [x + 3.0, other]])))
        else:
            share_of = (at_mm - spans[0]) / (spans[-1] - spans[0])
            other = base + (float(line[0] + (line[1] - line[0]) * share_of) - low) * up
        if abs(other - y) > 3.0:
            side += arrow((x, y), (x, other), Role.DIMENSION, 1.6, both=True)
        said = _figure(number, m)
        half = text_width_mm(said, NOTE_MM, True) / 2 + 1.0
        places = [
            Text(Role.TEXT, (min(max(x + dx, half), WIDTH_MM - half), at), said, NOTE_MM,
                 anchor="middle", rise="centre", bold=True, halo=True)
            for dx in (half + 1.5, -half - 1.5, 0.0)
            for at in ((y + other) / 2, base - 5.0, top + 4.0)
        ]  # fmt: skip
        side.append(first_free(places, [*items, *side]) or places[-1])
    items += side
    note = Text(Role.TEXT, (LEFT_MM, top + 7.5), f"From the side, {words}; heights drawn larger",
                NOTE_MM)  # fmt: skip
    items += [
        note,
        Text(Role.TEXT, (LEFT_MM, foot), edge_words(mould.edge_names[2]), NOTE_MM),
        Text(Role.TEXT, (RIGHT_MM, foot), edge_words(mould.edge_names[3]), NOTE_MM,
             anchor="end"),
    ]  # fmt: skip
    return items, top + 12.0 - foot


# ---------------------------------------------------------------- square on


def _square_on(spec: PartSpec, face: Face, figures: Numbered) -> tuple[list[Primitive], float]:
    ring = np.asarray(face.outline_mm, float)
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    wide = (RIGHT_MM - LEFT_MM) / (x1 - x0)
    up = min(max(wide, ACROSS_MM[0] / (y1 - y0)), ACROSS_MM[1] / (y1 - y0))
    wide = min(wide, up) if up < wide else wide
    left = (WIDTH_MM - (x1 - x0) * wide) / 2
    foot = 12.0

    def put(points) -> np.ndarray:
        points = np.asarray(points, float).reshape(-1, 2)
        return np.column_stack([left + (points[:, 0] - x0) * wide, foot + (points[:, 1] - y0) * up])

    items: list[Primitive] = [Path(Role.FACE, put(ring), True, "face")]
    for station in face.station_lines:
        items.append(Path(Role.STATION, put(station.points_mm)))
    marks: list[tuple[tuple[float, float], str]] = []
    diagonals = [n for n in figures if n[1].kind == "diagonal"]
    for (number, m), (a, b) in zip(diagonals, _diagonals(spec, face, diagonals), strict=False):
        run = put([a, b])
        items += arrow(run[0], run[1], Role.DIMENSION, 2.0, both=True)
        marks.append((tuple(run[0] + 0.25 * (run[1] - run[0])), _figure(number, m)))
    line = put(_middle_line(spec, face))
    top = foot + (y1 - y0) * up
    for number, m in figures:
        if m.kind == "screws":
            items += [
                Circle(Role.DATUM, (float(x), float(y)), 0.55, "ink")
                for x, y in _along(line, int(m.expected))
            ]
            marks.append((tuple(line[-1] * 0.14 + line[0] * 0.86), _figure(number, m)))
        elif m.kind in ("straightness", "twist", "level"):
            at = _on_line(spec, face, m)
            spot = put([at])[0] if at is not None else line.mean(axis=0)
            marks.append((tuple(spot), f"{m.kind} {_figure(number, m)}"))
            items.append(Circle(Role.DATUM, (float(spot[0]), float(spot[1])), 1.0, "white"))
    if any(m.kind == "straightness" for _, m in figures):
        items.append(Path(Role.AXIS, line[[0, -1]]))
    words: list[Primitive] = []
    for (x, y), said in marks:
        half = text_width_mm(said, NOTE_MM, True) / 2 + 1.0
        rows = (y + 3.4, y - 3.4, top + 3.0, foot - 4.0, top + 7.0, foot - 8.0, top + 11.0)
        places = [
            Text(Role.TEXT, (min(max(x + dx, half), WIDTH_MM - half), at), said, NOTE_MM,
                 anchor="middle", rise="centre", bold=True, halo=True)
            for at in rows
            for dx in (0.0, half, -half, 2 * half, -2 * half)
        ]  # fmt: skip
        text = first_free(places, words) or places[-1]
        words.append(text)
    items += words
    tall = top + 15.0
    items.append(
        Text(Role.TEXT, (LEFT_MM, tall - 4.5), "Square on to the face; a sketch, only the figures"
             " hold", NOTE_MM)
    )  # fmt: skip
    return items, tall


def _diagonals(spec: PartSpec, face: Face, figures: Numbered) -> list[tuple]:
    """Ends of both diagonals in the pattern, in the order the card has them."""
    ring = np.asarray(face.outline_mm, float)
    if not isinstance(spec.mould, StationMould):
        return [
            (ring[(ring @ -np.array(way)).argmax()], ring[(ring @ np.array(way)).argmax()])
            for way in ((1.0, 1.0), (1.0, -1.0))
        ]
    first = min(station.at_mm for station in spec.mould.stations)
    low, high = spec.mould.from_share, spec.mould.to_share
    runs = []
    for k, (_, m) in enumerate(figures):
        a, b = (low, high) if k % 2 == 0 else (high, low)
        ends = face.to_pattern(np.array([[first, a], [m.at_mm, b]], float))
        runs.append((ends[0], ends[1]))
    return runs


def _middle_line(spec: PartSpec, face: Face) -> np.ndarray:
    """The line the jig is measured along, in the pattern: (n, 2)."""
    if not isinstance(spec.mould, StationMould):
        ring = np.asarray(face.outline_mm, float)
        return np.vstack([ring, ring[:1]])  # screws go round a flat part
    spans = sorted(station.at_mm for station in spec.mould.stations)
    fine = np.linspace(spans[0], spans[-1], 40)
    return face.to_pattern(
        np.column_stack([fine, np.full_like(fine, _line_share(spec, spec.mould))])
    )


def _on_line(spec: PartSpec, face: Face, measure: Measure) -> np.ndarray | None:
    if measure.at_mm is None or not isinstance(spec.mould, StationMould):
        return None
    return face.to_pattern(np.array([[measure.at_mm, _line_share(spec, spec.mould)]], float))[0]


def _along(line: np.ndarray, count: int) -> np.ndarray:
    """`count` points spaced evenly along a line, both ends included."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0.0, run[-1], max(count, 2))
    return np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])
