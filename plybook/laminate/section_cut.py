"""The stack in section along a line, for the booklet.

Terms:
    band: one layer along the line, between its lower and its upper face; a layer that stops and
        comes again is several bands.
    ladder: the ends of a drop-off run, one after the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from plybook.laminate.dropoff import drop_of
from plybook.laminate.heights import HeightField
from plybook.laminate.model import LaidLayer, SectionCut
from plybook.spec.model import Insert, PartSpec, Ply
from plybook.surface.model import Face
from plybook.units import CLOTH, show_length

_EVEN_POINTS = 160
_BESIDE_MM = 1e-3  # points this far on either side of every edge keep the ends crisp
_LEAST_MM = 1e-6
_ROUND_HARDPOINT_MM = 120.0


def section_cuts(
    spec: PartSpec, face: Face, layers: Sequence[LaidLayer], field: HeightField
) -> tuple[SectionCut, ...]:
    """The sections worth a picture: mid span, each drop-off run, each hardpoint.

    Args:
        layers: as laid, first laid first.
        field: the heights after the last layer.
    """
    hosts = {x.id: x.core for x in spec.layers if isinstance(x, Insert)}
    unit = spec.part.units
    wanted: list[tuple[str, np.ndarray]] = []
    middle = _middle_line(face)
    if middle is not None:
        where = "across the middle" if face.flat else "at mid span"
        wanted.append((f"Section {where}, {_ends(face)}", middle))
    for run, members in _runs(spec).items():
        line = _ladder_line(members, layers, face)
        if line is not None:
            wanted.append((f"Drop-off {run}, towards the {drop_of(members[0]).edge}", line))
    by_id = {layer.id: layer for layer in layers}
    for insert in (i for i in hosts if i in by_id):
        line = _hardpoint_line(by_id[insert], face)
        if line is not None:
            length = show_length(float(np.linalg.norm(line[1] - line[0])), unit, grain=CLOTH)
            wanted.append((f"Hardpoint {insert}, {length} of the section", line))
    return tuple(cut_along(name, line, layers, field, hosts) for name, line in wanted)


def cut_along(
    name: str,
    line_mm: np.ndarray,
    layers: Sequence[LaidLayer],
    field: HeightField,
    hosts: Mapping[str, str] | None = None,
) -> SectionCut:
    """The stack along one line, in true mm.

    Args:
        name: what the picture is called.
        line_mm: (2, 2) ends in the pattern frame.
        layers: as laid, first laid first.
        field: the heights after the last layer; a layer without a rise of its own lies within
            what is there.
        hosts: core of each insert; the insert fills the core's hole from the core's lower face.
    """
    hosts = hosts or {}
    ends = np.asarray(line_mm, dtype=float)
    at = _distances(ends, layers, field)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    points = ends[0] + (ends[1] - ends[0]) * (at / length)[:, None]
    inside = {layer.id: shapely.intersects_xy(layer.region, *points.T) for layer in layers}
    after = dict(zip([r.layer for r in field.rises], field.after_each(points)[1:], strict=True))
    height = np.zeros(len(at))
    floor: dict[str, np.ndarray] = {}
    bands = []
    for layer in layers:
        new = after.get(layer.id, height)
        here = inside[layer.id]
        bottom, top = height, np.where(here, new, height)
        if layer.id in hosts:
            bottom = floor.get(hosts[layer.id], height)
            top = np.where(here, bottom + layer.thickness_mm, bottom)
        floor[layer.id] = height
        for insert, host in hosts.items():
            if host == layer.id and insert in inside:
                top = np.where(inside[insert], bottom, top)
        bands += _bands(layer.id, at, bottom, top)
        height = new
    return SectionCut(name, ends, tuple(bands))


def _bands(
    layer: str, at: np.ndarray, bottom: np.ndarray, top: np.ndarray
) -> list[tuple[str, np.ndarray, np.ndarray, np.ndarray]]:
    """Continuous stretches where the layer has thickness, with the thin ends of its ramps."""
    thick = top - bottom > _LEAST_MM
    edges = np.flatnonzero(np.diff(thick.astype(int)))
    found = []
    for run in np.split(np.arange(len(at)), edges + 1):
        if thick[run[0]] and len(run) > 1:
            found.append((layer, at[run], bottom[run], top[run]))
    return found


def _distances(ends: np.ndarray, layers: Sequence[LaidLayer], field: HeightField) -> np.ndarray:
    """Where the line is looked at: evenly, and close to either side of every edge it crosses."""
    line = shapely.LineString(ends)
    crossed = [layer.region.boundary for layer in layers]
    crossed += [shapely.LineString(kink) for kink in field.break_lines]
    at = [np.linspace(0, line.length, _EVEN_POINTS)]
    for shape in {shapely.to_wkb(s): s for s in crossed}.values():
        meeting = shapely.get_coordinates(line.intersection(shape))
        if len(meeting):
            along = shapely.line_locate_point(line, shapely.points(meeting))
            at += [along - _BESIDE_MM, along + _BESIDE_MM]
    return np.unique(np.clip(np.round(np.concatenate(at), 4), 0, line.length))


# ---------------------------------------------------------------- which lines


def _middle_line(face: Face) -> np.ndarray | None:
    """Across the face at mid span."""
    span = np.asarray(face.from_pattern(face.outline_mm))[:, 0]
    line = np.asarray(face.span_line(float(span.min() + span.max()) / 2))
    return _in_net(line[[0, -1]], face)


def _ends(face: Face) -> str:
    """Which way the section is read: the edges at its two ends."""
    line = _middle_line(face)
    names = []
    for end in line if line is not None else ():
        point = shapely.Point(end)
        near = min(face.edges, key=lambda e: shapely.LineString(e.points_mm).distance(point))
        names.append(near.name)
    return " to ".join(names)


def _in_net(ends: np.ndarray, face: Face) -> np.ndarray | None:
    net = shapely.Polygon(face.outline_mm, face.holes_mm)
    kept = shapely.get_parts(shapely.LineString(ends).intersection(net.buffer(0.01)))
    kept = [k for k in kept if k.length > 1.0]
    if not kept:
        return None
    longest = max(kept, key=lambda k: k.length)
    return np.asarray(longest.coords)[[0, -1]]


def _runs(spec: PartSpec) -> dict[str, list[Ply]]:
    """The plies of each drop-off run, in order."""
    runs: dict[str, list[Ply]] = {}
    for layer in spec.layers:
        if isinstance(layer, Ply) and layer.drop is not None:
            runs.setdefault(layer.drop.run, []).append(layer)
    return runs


def _ladder_line(
    members: Sequence[Ply], layers: Sequence[LaidLayer], face: Face
) -> np.ndarray | None:
    """Square to the ends of a run, from before the first to past the last."""
    ids = {m.id for m in members}
    regions = [layer.region for layer in layers if layer.id in ids]
    if not regions:
        return None
    shortest = min(regions, key=lambda r: r.area)
    start = np.asarray(shortest.representative_point().coords[0])
    edge = next((e for e in face.edges if e.name == drop_of(members[0]).edge), None)
    if edge is None:
        towards = np.array([1.0, 0.0])
    else:
        line = shapely.LineString(edge.points_mm)
        near = np.asarray(line.interpolate(line.project(shapely.Point(start))).coords[0])
        towards = (near - start) / max(float(np.linalg.norm(near - start)), 1e-9)
    reach = float(np.linalg.norm(np.ptp(face.outline_mm, axis=0)))
    ray = shapely.LineString([start, start + towards * reach])
    ends = []
    for region in regions:
        meeting = shapely.get_coordinates(ray.intersection(region.boundary))
        if len(meeting):
            ends.append(float(np.linalg.norm(meeting - start, axis=1).max()))
    if not ends:
        return None
    margin = max(2 * abs(drop_of(members[0]).step_mm), 20.0)
    low, high = min(ends) - margin, max(ends) + margin
    return _in_net(np.array([start + towards * low, start + towards * high]), face)


def _hardpoint_line(insert: LaidLayer, face: Face) -> np.ndarray | None:
    """Across the section through a block, with some core on either side."""
    centre = np.asarray(insert.region.centroid.coords[0])
    span = float(np.asarray(face.from_pattern(centre[None]))[0, 0])
    line = np.asarray(face.span_line(span))[[0, -1]]
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    reach = shapely.get_coordinates(insert.region) @ along - centre @ along
    half = float(np.abs(reach).max()) + _ROUND_HARDPOINT_MM
    return _in_net(np.array([centre - along * half, centre + along * half]), face)
