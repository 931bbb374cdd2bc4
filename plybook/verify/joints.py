"""Joints: two pieces of one layer meet or overlap by what they state, all along.

Strips of one ply are cut in one frame, so a splice is measured on the cut outlines themselves:
what lies below changes where a strip comes to lie, not how far it reaches over its neighbour.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plybook.verify import plane
from plybook.verify.report import Report
from plybook.verify.tolerances import JOINT_MM, LAP_MM, POINT_MM

STEP_MM = 5.0  # between the places of a joint that are measured
LEAST_MM = 5.0  # a joint shorter than this is none

Lines = Sequence[np.ndarray]


def check_joints(plan: dict, report: Report) -> None:
    """Every joint of plies and films, from end to end."""
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    for piece in plan["pieces"]:
        for neighbour in piece.get("splice", {}).get("neighbours", ()):
            other = pieces.get(neighbour)
            if other is None:
                report.fault(f"piece {piece['id']}",
                             f"its splice names {neighbour}, which is not there")  # fmt: skip
            elif piece["id"] < neighbour and piece["id"] in other["splice"]["neighbours"]:
                _check_pair(piece, other, report)


def base_name(name: str) -> str:
    """The name of an edge without the count of its stretch."""
    return name.split(" (")[0]


def edges_named(piece: dict, name: str) -> list[np.ndarray]:
    """The stretches of a piece's outline with one name, (n, 2) each."""
    return [
        np.array(edge["points_mm"], dtype=float).reshape(-1, 2)
        for edge in piece["edges"]
        if base_name(edge["name"]) == name
    ]


def _check_pair(piece: dict, other: dict, report: Report) -> None:
    where = f"splice {piece['id']} to {other['id']}"
    names = [{base_name(edge["name"]) for edge in p["edges"]} for p in (piece, other)]
    shared = sorted(name for name in names[0] & names[1] if name.startswith("splice "))
    wanted = float(piece["splice"]["overlap_mm"])
    if not shared and any(name.startswith("kink ") for name in names[0] & names[1]):
        _check_laid(piece, other, where, report)
        return
    reach = np.concatenate([_reaches(piece, other, name) for name in shared] or [np.zeros(0)])
    if not len(reach):
        report.fault(where, "the parts have no side in common")
        return
    worst = float(reach[np.argmax(np.abs(reach - wanted))])
    report.expect(abs(worst - wanted) <= JOINT_MM, "splices with the overlap they state all along",
                  where, f"the parts overlap by {worst:.2f} mm, stated {wanted:.2f}")  # fmt: skip


def _reaches(piece: dict, other: dict, name: str) -> np.ndarray:
    """How far the parts reach over one another along a splice, mm; negative where they gape."""
    found = []
    outline = np.array(other["outline_mm"], dtype=float)
    facing = edges_named(other, name)
    for line in edges_named(piece, name):
        points = stepped(line, STEP_MM)
        away, meets = across(points, facing)
        points, away = points[meets], away[meets]
        if len(points) and np.hypot(*np.diff(points, axis=0).T).sum() >= LEAST_MM:
            found.append(np.where(plane.inside(points, outline), away, -away))
    return np.concatenate(found or [np.zeros(0)])


def stepped(line: np.ndarray, step_mm: float) -> np.ndarray:
    """Points along an open line at even steps, not its ends: (n, 2) or (n, 3)."""
    size = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(size)])
    count = max(3, int(along[-1] / step_mm) + 1)
    at = along[-1] * (np.arange(count) + 0.5) / count
    return np.column_stack([np.interp(at, along, column) for column in line.T])


def across(points: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """How far points lie from the nearest of some lines, and which of them face it: those whose
    nearest place is not the very end of a line. Plane or space."""
    best, meets = np.full(len(points), np.inf), np.zeros(len(points), bool)
    for line in lines:
        start, step = line[:-1], np.diff(line, axis=0)
        size = np.maximum(np.sum(step * step, axis=1), 1e-30)
        way = points[:, None] - start[None]
        share = np.sum(way * step[None], axis=2) / size
        away = np.linalg.norm(way - np.clip(share, 0, 1)[..., None] * step[None], axis=2)
        nearest = np.argmin(away, axis=1)
        rows = np.arange(len(points))
        own, at = away[rows, nearest], share[rows, nearest]
        off_end = ((nearest == 0) & (at < 0)) | ((nearest == len(step) - 1) & (at > 1))
        meets = np.where(own < best, ~off_end, meets)
        best = np.minimum(best, own)
    return best, meets


def _check_laid(piece: dict, other: dict, where: str, report: Report) -> None:
    one, two = (np.array(p["laid_outline_mm"], dtype=float) for p in (piece, other))
    wanted = piece["splice"]["overlap_mm"]
    lap = 0.5 * (_reach_into(one, two) + _reach_into(two, one))
    # over a core the ply is larger than the face it is measured on
    stretch = max(abs(p["growth"]["area_pct"]) for p in (piece, other)) / 100
    report.expect(abs(lap - wanted) <= LAP_MM + stretch * wanted,
                  "splices with the overlap they state", where,
                  f"the parts overlap by {lap:.2f} mm, stated {wanted:.2f}")  # fmt: skip


def _reach_into(one: np.ndarray, two: np.ndarray) -> float:
    """How far one ring reaches into another along most of the seam, mm.

    From points of the first ring's sides that lie within the second, straight back into the first
    until the second ends: across the seam, whatever the shape of the strip they share.
    """
    low, high = two.min(axis=0) - 1, two.max(axis=0) + 1
    points, inwards = [], []
    for a, b in zip(one, np.roll(one, -1, axis=0), strict=True):
        size = float(np.hypot(*(b - a)))
        count = max(2, int(size) + 1)
        line = a + (b - a) * ((np.arange(count) + 0.5) / count)[:, None]
        near = np.all((line >= low) & (line <= high), axis=1)
        points.append(line[near])
        left = np.array([a[1] - b[1], b[0] - a[0]]) / max(size, 1e-12)
        inwards.append(np.repeat(left[None], int(near.sum()), axis=0))
    start, way = np.concatenate(points), np.concatenate(inwards)
    depth = np.where(plane.inside(start, two), plane.distance_to_path(start, two), 0.0)
    within = depth > max(POINT_MM, 0.5 * depth.max(initial=0.0))  # not where the sides run together
    if not within.any():
        return 0.0
    return float(np.median(plane.way_out(start[within], way[within], two)))
