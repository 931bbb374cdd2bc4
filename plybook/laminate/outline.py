"""The outline of a piece as named stretches, from the mould-face pattern to the cut.

Terms:
    stretch: a part of a ring with one name: an edge of the face, a splice, or a free side.
    free side: a side inside the face; named after the edge it looks towards.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon

from plybook.geometry.rings import GRID_MM, canonical_ring
from plybook.laminate.model import PieceEdge
from plybook.laminate.shapes import (
    NearLine,
    dense,
    ring_of,
    segment_normals,
    thin,
    without_short,
)
from plybook.laminate.trim import NetFace

CORNER_DEG = 20.0  # a sharper turn divides one free side from the next
STEEP = 0.83  # slope at which a smooth outline turns from one side into the next: not 1, where
# the middles of round corners would lie on the very limit
NEAR_MM = 5.0  # segments are first looked for this near to the stretches
STEP_MM = 12.0  # spacing of points carried through a raised map

Carry = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Stretch:
    """A named, open part of a ring, in ring order.

    `kind` is net (on the net line), trim (runs on past it), free, kink, splice or dart; `index`
    is the face edge, kink, splice or dart it belongs to, -1 for a free side.
    """

    name: str
    kind: Literal["net", "trim", "free", "kink", "splice", "dart"]
    index: int
    points_mm: np.ndarray


def carried_lines(lines: Sequence[np.ndarray], carry: Carry | None) -> list[np.ndarray]:
    """Lines through a map of the plane in one go, with points put between (None: unchanged)."""
    if carry is None or not lines:
        return list(lines)
    full = [dense(line, STEP_MM) for line in lines]
    moved = np.asarray(carry(np.vstack(full)))
    return np.split(moved, np.cumsum([len(line) for line in full])[:-1])


def carried_stretches(stretches: Sequence[Stretch], carry: Carry | None) -> list[Stretch]:
    """Stretches through a map of the plane (None: unchanged)."""
    lines = carried_lines([stretch.points_mm for stretch in stretches], carry)
    return [replace(s, points_mm=line) for s, line in zip(stretches, lines, strict=True)]


def named_ring(
    ring_mm: np.ndarray, plan: NetFace, kinks_mm: Mapping[int, np.ndarray] | None = None
) -> list[Stretch]:
    """The outer ring of a laid piece as stretches named after the edges of the face.

    Args:
        ring_mm: (n, 2) counter-clockwise, on the trimmed outline where it reaches an edge.
        plan: the face in plan.
        kinks_mm: by number, lines where the face is divided into leaves.
    """
    edges = plan.face.edges
    along = plan.running_along(ring_mm, plan.trims_mm)
    for index, kink in (kinks_mm or {}).items():
        on_kink = running_on(ring_mm, [NearLine(kink)])
        along[on_kink & (along < 0)] = -2 - index
    number = _free_numbers(ring_mm, along)
    stretches = []
    for key, points in ring_stretches(ring_mm, number):
        if key <= -2:
            stretches.append(Stretch(f"kink {-1 - key}", "kink", -2 - key, points))
        elif key < len(edges):
            trimmed = plan.trims_mm[key] > 0
            name = edges[key].name
            stretches.append(Stretch(name, "trim" if trimmed else "net", key, points))
        else:
            stretches.append(Stretch(f"towards {_looks_at(points, plan)}", "free", -1, points))
    return stretches


def running_on(ring_mm: np.ndarray, lines: Sequence[NearLine], within_mm=0.02) -> np.ndarray:
    """(n,) which segments of a ring lie on one of some lines."""
    middle = (ring_mm + np.roll(ring_mm, -1, axis=0)) / 2
    at_ends, at_middle = (
        np.min([line.distance_mm(at) for line in lines], axis=0) < within_mm
        for at in (ring_mm, middle)
    )
    return at_ends & np.roll(at_ends, -1) & at_middle


def _free_numbers(ring: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Stretch keys: free segments get a number of their own between corners."""
    if not (along == -1).any():
        return along
    step = np.roll(ring, -1, axis=0) - ring
    before = np.roll(step, 1, axis=0)
    turn = np.degrees(np.arctan2(_cross(before, step), np.sum(before * step, axis=1)))
    keys, key, base = along.copy(), 0, 10_000
    breaks = (np.abs(turn) > CORNER_DEG) | (along != np.roll(along, 1))
    if not breaks.any():  # a smooth closed curve: divided by where it faces
        across = np.abs(step[:, 1]) > STEEP * np.abs(step[:, 0])
        facing = np.where(across, 3 * np.sign(step[:, 1]), np.sign(step[:, 0]))
        breaks = facing != np.roll(facing, 1)
    start = int(np.flatnonzero(breaks)[0])
    for i in np.roll(np.arange(len(ring)), -start):
        key += bool(breaks[i])
        if along[i] == -1:
            keys[i] = base + key
    return keys


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def ring_stretches(ring_mm: np.ndarray, keys: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """Neighbouring segments of one key joined to stretches, in ring order.

    Args:
        ring_mm: (n, 2).
        keys: (n,) key of the segment that starts at each point.
    """
    keys = without_short(ring_mm, keys)
    starts = np.flatnonzero(keys != np.roll(keys, 1))
    if not len(starts):
        return [(int(keys[0]), np.vstack([ring_mm, ring_mm[:1]]))]
    ring, keys = np.roll(ring_mm, -starts[0], axis=0), np.roll(keys, -starts[0])
    starts = starts - starts[0]
    closed = np.vstack([ring, ring[:1]])
    ends = [*starts[1:], len(ring)]
    return [(int(keys[s]), closed[s : e + 1]) for s, e in zip(starts, ends, strict=True)]


def _looks_at(line_mm: np.ndarray, plan: NetFace) -> str:
    """The face edge met first when looking out of the piece from the middle of a side."""
    half = shapely.linestrings(line_mm).length / 2
    middle = shapely.get_coordinates(
        shapely.line_interpolate_point(shapely.linestrings(line_mm), half)
    )[0]
    chord = line_mm[[0, -1]]
    if np.allclose(chord[0], chord[1]):
        chord = line_mm[:2]
    normal = segment_normals(chord)[0]
    far = float(np.ptp(plan.face.outline_mm, axis=0).sum())
    ray = shapely.linestrings([middle, middle + normal * far])
    out_of, lines = shapely.points(middle), np.array(plan.lines, dtype=object)
    met = np.sort(plan.line_tree.query(ray, predicate="intersects"))
    if len(met):
        gaps = shapely.distance(out_of, shapely.intersection(ray, lines[met]))
        return plan.face.edges[int(met[np.argmin(gaps)])].name
    return plan.face.edges[int(plan.line_tree.query_nearest(out_of).min())].name


def ring_from(stretches: Sequence[Stretch]) -> np.ndarray:
    """The ring the stretches make, (n, 2), not closed."""
    return np.vstack([stretch.points_mm[:-1] for stretch in stretches])


def divided(polygon: Polygon, references: Sequence[Stretch]) -> list[Stretch]:
    """The outer ring of a part of a larger piece, named after the stretches of the whole.

    Args:
        polygon: cut out of the whole by straight lines.
        references: stretches of the whole and of the lines that cut it.
    """
    ring = ring_of(polygon)
    middle = (ring + np.roll(ring, -1, axis=0)) / 2
    gaps = np.full((len(references), len(ring)), np.inf)
    for row, reference in enumerate(references):
        low, high = reference.points_mm.min(axis=0) - NEAR_MM, reference.points_mm.max(axis=0)
        near = ((middle >= low) & (middle <= high + NEAR_MM)).all(axis=1)
        gaps[row, near] = _segment_gaps(reference, ring, middle, near)
    lost = gaps.min(axis=0) >= NEAR_MM
    for row, reference in enumerate(references if lost.any() else ()):
        gaps[row, lost] = _segment_gaps(reference, ring, middle, lost)
    keys = np.argmin(gaps, axis=0)
    return [
        replace(references[key], points_mm=points) for key, points in ring_stretches(ring, keys)
    ]


def _segment_gaps(
    reference: Stretch, ring: np.ndarray, middle: np.ndarray, which: np.ndarray
) -> np.ndarray:
    """How far those of a ring's segments lie from a stretch: at their worse end and in the middle.

    Args:
        ring, middle: (n, 2) where the segments begin, and their middles.
        which: (n,) whether the segment is asked for.
    """
    line = NearLine(reference.points_mm)
    ends = np.zeros(len(ring))
    touched = which | np.roll(which, 1)
    ends[touched] = line.distance_mm(ring[touched])
    worse = np.maximum(ends, np.roll(ends, -1))[which]
    return np.asarray(worse + line.distance_mm(middle[which]))


def thinned(stretches: Sequence[Stretch], chord_error_mm: float) -> list[Stretch]:
    """Every stretch with as few vertices as the chord error asks for; corners stay."""
    found = []
    for stretch in stretches:
        line = stretch.points_mm
        if np.array_equal(line[0], line[-1]):  # all the way round: hold the furthest point too
            far = int(np.argmax(np.hypot(*(line - line[0]).T)))
            halves = thin(line[: far + 1], chord_error_mm), thin(line[far:], chord_error_mm)
            line = np.vstack([halves[0], halves[1][1:]])
        else:
            line = thin(line, chord_error_mm)
        found.append(replace(stretch, points_mm=line))
    return found


def thinned_ring(ring_mm: np.ndarray, chord_error_mm: float) -> np.ndarray:
    """A closed ring (a hole) thinned from its lowest-leftmost point."""
    start = np.lexsort((ring_mm[:, 1], ring_mm[:, 0]))[0]
    ring = np.roll(ring_mm, -start, axis=0)
    stretch = Stretch("", "free", -1, np.vstack([ring, ring[:1]]))
    return thinned([stretch], chord_error_mm)[0].points_mm[:-1]


def on_grid(points_mm: np.ndarray) -> np.ndarray:
    """Points rounded as `canonical_ring` rounds them."""
    return np.round(np.round(np.asarray(points_mm) / GRID_MM) * GRID_MM, 6) + 0.0


def outline_and_edges(
    stretches: Sequence[Stretch], mates: dict[str, str]
) -> tuple[np.ndarray, tuple[PieceEdge, ...]]:
    """Canonical outline of a piece and its edges, unique names, in ring order from its start.

    Args:
        stretches: thinned, in ring order.
        mates: name of a stretch -> id of the piece it meets.
    """
    outline = canonical_ring(ring_from(stretches))
    edges, seen = [], {}
    for stretch in stretches:
        seen[stretch.name] = seen.get(stretch.name, 0) + 1
        count = seen[stretch.name]
        edges.append(
            PieceEdge(
                name=stretch.name if count == 1 else f"{stretch.name} ({count})",
                points_mm=on_grid(stretch.points_mm),
                treatment="trim" if stretch.kind == "trim" else "square",
                mate=mates.get(stretch.name, ""),
            )
        )
    order = [start_in(outline, edge.points_mm) for edge in edges]
    ranked = sorted(range(len(edges)), key=lambda i: order[i])
    return outline, tuple(edges[i] for i in ranked)


def start_in(outline: np.ndarray, line: np.ndarray) -> int:
    """Index in an outline of the point nearest to the first one of a stretch."""
    return int(np.argmin(np.hypot(*(outline - line[0]).T)))
