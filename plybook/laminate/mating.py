"""Panels that meet: every seam edge knows its mate, and both carry the same ticks.

Terms:
    shared stretch: the part of a seam that two panels have in common, where they lie.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.ops

from plybook.laminate.leaves import Leaf
from plybook.laminate.model import Mark, Piece
from plybook.laminate.panel_checks import base_name
from plybook.laminate.panels import SEAM

_TICK_MM = 10.0
_TICK_PITCH_MM = 400.0
_MEET_MM = 0.05
_LEAST_MM = 2.0


def mated(pieces: Sequence[Piece], leaves: Sequence[Leaf]) -> list[Piece]:
    """Tell every seam edge its mate and put matching ticks on both panels.

    Args:
        pieces: panels of one core, in order.
        leaves: the leaf each panel is cut on.
    """
    edges = [list(p.edges) for p in pieces]
    marks = [list(p.marks) for p in pieces]
    laid = [
        [leaf.from_cut(e.points_mm) if e.name.startswith(SEAM) else None for e in p.edges]
        for p, leaf in zip(pieces, leaves, strict=True)
    ]
    counts: dict[str, int] = {}
    for i, one in enumerate(pieces):
        for j in range(i + 1, len(pieces)):
            for a, edge in enumerate(one.edges):
                for b, facing in enumerate(pieces[j].edges):
                    own, other = laid[i][a], laid[j][b]
                    if own is None or other is None or base_name(edge) != base_name(facing):
                        continue
                    shared = _shared(own, other)
                    if shared is None:
                        continue
                    edges[i][a] = replace(edges[i][a], mate=pieces[j].id)
                    edges[j][b] = replace(edges[j][b], mate=one.id)
                    seam = base_name(edge).removeprefix(SEAM)
                    for root, inward in _ticks(shared):
                        counts[seam] = counts.get(seam, 0) + 1
                        label = f"{seam}-{counts[seam]}"
                        for k, way in ((i, inward), (j, -inward)):
                            points = leaves[k].to_cut(np.vstack([root, root + way]))
                            marks[k].append(Mark("tick", points, label))
    return [
        replace(p, edges=tuple(e), marks=tuple(m))
        for p, e, m in zip(pieces, edges, marks, strict=True)
    ]


def _shared(one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    """The stretch two facing edges have in common, in the direction of the first."""
    line, facing = shapely.LineString(one), shapely.LineString(other)
    if line.distance(facing) > _MEET_MM:
        return None
    reach = [line.project(p) for p in shapely.points(other) if line.distance(p) < _MEET_MM]
    reach += [line.project(p) for p in shapely.points(one) if facing.distance(p) < _MEET_MM]
    if not reach or max(reach) - min(reach) < _LEAST_MM:
        return None
    return np.asarray(shapely.ops.substring(line, min(reach), max(reach)).coords)


def _ticks(shared: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Roots and ways inwards, unevenly set so that a panel turned round does not match."""
    line = shapely.LineString(shared)
    count = max(2, math.ceil(line.length / _TICK_PITCH_MM))
    found = []
    for k in range(count):
        at = line.length * (k + (0.5 if k else 0.35)) / count
        root = np.asarray(line.interpolate(at).coords[0])
        ahead = np.asarray(line.interpolate(min(at + 0.5, line.length)).coords[0])
        back = np.asarray(line.interpolate(max(at - 0.5, 0.0)).coords[0])
        along = (ahead - back) / math.dist(ahead, back)
        found.append((root, np.array([-along[1], along[0]]) * _TICK_MM))
    return found
