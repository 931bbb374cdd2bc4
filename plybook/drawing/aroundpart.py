"""Words around a part seen flat: edge names, station names, where the section is taken."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.drawing.frame import Box, Frame, first_free, is_inside, lines
from plybook.drawing.letters import text_width_mm
from plybook.drawing.scene import Path, Primitive, Role, Text
from plybook.drawing.style import LABEL_MM, NOTE_MM
from plybook.surface.model import Face

CUT_MARK = Role.SPLICE  # how the ends of a section line are drawn


def edge_names(frame: Frame, window: Box | None, face: Face, wide_mm: float) -> list[Text]:
    """Each edge named outside the part: top and bottom level, root and tip turned.

    Args:
        wide_mm: of the paper from x = 0, which level words stay on.
    """
    from shapely import LineString, box

    ring = frame.put(face.outline_mm)
    middle = ring.mean(axis=0)
    out = []
    for edge in face.edges:
        line = LineString(edge.points_mm)
        if window:
            line = line.intersection(box(*_grown(window, 1.0)))
        runs = sorted((frame.put(r) for r in lines(line)), key=len, reverse=True)
        if not runs:
            continue
        run = max(runs, key=lambda r: float(np.hypot(*np.diff(r, axis=0).T).sum()))
        length = float(np.hypot(*np.diff(run, axis=0).T).sum())
        if window and length < 8.0:
            continue
        at = np.array(LineString(run).interpolate(0.5, normalized=True).coords[0])
        words = edge_words(edge.name)
        level = abs(np.ptp(run[:, 0])) >= abs(np.ptp(run[:, 1]))
        if level:
            above = at[1] > middle[1]
            half = text_width_mm(words, LABEL_MM) / 2
            x = min(max(float(at[0]), half), wide_mm - half)
            y = _extreme(run, x - half, x + half, above) if len(run) > 1 else at[1]
            out.append(
                Text(
                    Role.TEXT,
                    (x, y + (3.4 if above else -6.4)),
                    words,
                    LABEL_MM,
                    anchor="middle",
                    rise="baseline" if above else "top",
                    halo=True,
                )
            )
        else:
            left = at[0] < middle[0]
            x = float(run[:, 0].min() - 2.6 if left else run[:, 0].max() + 6.0)
            out.append(
                Text(Role.TEXT, (x, float(at[1])), words, LABEL_MM, turn_deg=90.0, anchor="middle")
            )
    return out


def _extreme(run: np.ndarray, x0: float, x1: float, above: bool) -> float:
    """Highest (or lowest) y of a polyline between two x."""
    order = np.argsort(run[:, 0], kind="stable")
    x = np.concatenate([np.linspace(x0, x1, 7), run[(run[:, 0] > x0) & (run[:, 0] < x1), 0]])
    y = np.interp(x, run[order, 0], run[order, 1])
    return float(y.max() if above else y.min())


def edge_words(name: str) -> str:
    """An edge's name as a drawing says it."""
    plain = name.strip()
    if plain.lower() in ("leading", "trailing"):
        plain += " edge"
    return plain.upper()


def station_labels(
    frame: Frame, window: Box | None, face: Face, wide_mm: float
) -> list[Text]:
    """Station names under the lower end of each line, thinned out where they would touch.

    Args:
        wide_mm: of the paper from x = 0, which they stay on.
    """
    out: list[Text] = []
    last = -1e9
    for station in sorted(face.station_lines, key=lambda s: s.span_mm):
        low = station.points_mm[np.argmin(station.points_mm[:, 1])]
        if window and not window[0] - 1e-6 <= low[0] <= window[2] + 1e-6:
            continue
        x, y = frame.put(low)[0]
        half = text_width_mm(station.label, NOTE_MM) / 2
        x = min(max(float(x), half), wide_mm - half)
        if x - half < last + 1.5:
            continue
        last = x + half
        out.append(
            Text(
                Role.TEXT,
                (x, float(y) - 2.0),
                station.label,
                NOTE_MM,
                anchor="middle",
                rise="top",
            )
        )
    return out


def section_strokes(frame: Frame, section_mm: np.ndarray) -> list[Path]:
    """A wide stroke at each end of the section line."""
    ends = frame.put(section_mm)
    along = (ends[1] - ends[0]) / (np.hypot(*(ends[1] - ends[0])) or 1.0)
    return [
        Path(CUT_MARK, np.array([end - 1.2 * inward, end + 6.0 * inward]))
        for end, inward in ((ends[0], along), (ends[1], -along))
    ]


def section_mark(
    frame: Frame,
    window: Box | None,
    section_mm: np.ndarray,
    drawn: Sequence[Primitive],
    paper_mm: Box,
) -> list[Primitive]:
    """Wide strokes at both ends of the section line, an S beside each where no words stand."""
    ends = frame.put(section_mm)
    along = (ends[1] - ends[0]) / (np.hypot(*(ends[1] - ends[0])) or 1.0)
    across = np.array([-along[1], along[0]])
    out: list[Primitive] = []
    strokes = section_strokes(frame, section_mm)
    for end, inward, stroke in zip(ends, (along, -along), strokes, strict=True):
        if window:
            x0, x1 = (frame.put(np.array([[window[k], 0.0]]))[0, 0] for k in (0, 2))
            if not x0 - 1 <= end[0] <= x1 + 1:
                continue
        out.append(stroke)
        spots = [
            end + a * inward + c * across
            for a in (3.0, 9.0, 12.0, 14.0, 16.0, 24.0)
            for c in (3.4, -3.4, 6.5, -6.5)
        ]
        spots += [end - 4.0 * inward, *(end + c * across for c in (11.0, -11.0, 15.0, -15.0))]
        marks = [
            Text(
                Role.TEXT,
                (float(x), float(y)),
                "S",
                NOTE_MM,
                anchor="middle",
                rise="centre",
                bold=True,
                halo=True,
            )
            for x, y in spots
        ]
        marks = [mark for mark in marks if is_inside(mark, paper_mm)] or marks
        out.append(first_free(marks, drawn, 0.5, dots=True) or marks[0])
    return out


def _grown(window: Box, by: float) -> Box:
    return window[0] - by, window[1] - by, window[2] + by, window[3] + by
