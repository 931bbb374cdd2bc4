"""A section of a part whose face bends, as it truly lies in the mould: folded, thickness and length
at one scale.

Terms:
    fold: the section turns by more than `LEAST_TURN_DEG` from end to end; flatter ones are drawn
        straight (`plybook.drawing.sectionview`).
    group: plies that follow one another in the laying, drawn and named as one; core, inserts and
        rods each stand for themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import FINEST_MM, area_paths, hatch
from plybook.drawing.labels import Block, Line, Placer, boxes, leader
from plybook.drawing.letters import clean_text
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Path, Primitive, Role, Scene
from plybook.drawing.sectionview import TINT
from plybook.drawing.style import NOTE_MM
from plybook.laminate.model import LaidLayer, SectionCut
from plybook.surface.model import Face

WIDTH_MM = 180.0
LEAST_TURN_DEG = 30.0
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0)  # 1 to so much
_ROOM_MM = (130.0, 150.0)  # for the section itself
_PAD_MM = 9.0
_STEP_MM = 0.5  # between the places along the line that are looked at
_LEAST_MM = 1e-4


@dataclass(frozen=True)
class _Group:
    words: str
    kind: str
    area: BaseGeometry


def folded_section(cut: SectionCut, layers: Sequence[LaidLayer], face: Face) -> Scene | None:
    """The section as it lies, the mould face below and the bag side above it.

    Args:
        cut: true heights along a straight line of the pattern.
        layers: as laid, first laid first; films that come off are left out.
        face: of the mould; maps the line into space.

    Returns:
        A scene 180 mm wide whose title names the scale; None where the section does not fold.
    """
    length = float(np.hypot(*(cut.line_mm[1] - cut.line_mm[0])))
    known = [at for _, at, _, _ in cut.bands]
    if not known:
        return None
    at = np.unique(np.concatenate([*known, np.arange(0.0, length, _STEP_MM)]))
    points = cut.line_mm[0] + (cut.line_mm[1] - cut.line_mm[0]) * (at / length)[:, None]
    space, normals = face.to_space(points), face.normals(points)
    cosines = np.clip((normals[1:] * normals[:-1]).sum(axis=1), -1.0, 1.0)
    if np.degrees(np.arccos(cosines).sum()) < LEAST_TURN_DEG:
        return None
    base, ways = _in_plane(space, normals)
    groups = list(_groups(cut, layers, at, base, ways))
    whole = shapely.union_all([g.area for g in groups] + [shapely.LineString(base)])
    x0, y0, x1, y1 = whole.bounds
    scale = next(
        (s for s in SCALES if (x1 - x0) / s <= _ROOM_MM[0] and (y1 - y0) / s <= _ROOM_MM[1]),
        SCALES[-1],
    )
    return _drawn(groups, base, np.array([x0, y0, x1, y1]), scale, cut, face)


def _in_plane(space_mm: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A line in space and its normals seen square to the plane it lies in: from left to right
    with its bag side up."""
    centred = space_mm - space_mm.mean(axis=0)
    across = np.linalg.svd(centred, full_matrices=False)[2][2]
    up = normals.mean(axis=0) - across * float(normals.mean(axis=0) @ across)
    if np.linalg.norm(up) < 1e-6:  # all the way round
        up = np.cross(across, centred[-1] - centred[0])
    up = up / np.linalg.norm(up)
    right = np.cross(up, across)
    right = right if float(right @ (space_mm[-1] - space_mm[0])) >= 0 else -right
    axes = np.column_stack([right, up])
    return centred @ axes, normals @ axes


def _groups(
    cut: SectionCut, layers: Sequence[LaidLayer], at: np.ndarray, base: np.ndarray, ways: np.ndarray
) -> Iterator[_Group]:
    number = 0

    def place(layer: LaidLayer) -> tuple[str, int]:
        nonlocal number
        number += layer.kind != "ply"
        return layer.kind, number

    for (kind, _), same in groupby([x for x in layers if x.kind != "film"], key=place):
        run = list(same)
        areas = []
        for layer in run:
            for _, own, low, high in (band for band in cut.bands if band[0] == layer.id):
                here = (at >= own[0]) & (at <= own[-1])
                bottom, top = (np.interp(at[here], own, v)[:, None] for v in (low, high))
                if here.sum() < 2 or float((top - bottom).max()) < _LEAST_MM:
                    continue
                faces = base[here] + ways[here] * bottom, base[here] + ways[here] * top
                areas.append(_between(*faces))
        if areas:
            ids = run[0].id if len(run) == 1 else f"{run[0].id} to {run[-1].id}"
            yield _Group(f"{ids}  {_what(run)}", kind, shapely.union_all(areas))


def _what(run: Sequence[LaidLayer]) -> str:
    if run[0].kind != "ply":
        return run[0].kind
    return show_angle(run[0].angle_deg) if len(run) == 1 else f"{len(run)} plies"


def _between(low: np.ndarray, high: np.ndarray) -> BaseGeometry:
    """The area between two lines, step by step, so that it may fold back beside itself."""
    rings = np.stack([low[:-1], low[1:], high[1:], high[:-1]], axis=1)
    return shapely.union_all(shapely.make_valid(shapely.polygons(rings)), grid_size=1e-4)


def _drawn(
    groups: Sequence[_Group], base: np.ndarray, bounds: np.ndarray, scale: float, cut: SectionCut,
    face: Face,
) -> Scene:  # fmt: skip
    """The section with the names of its groups beside them and of the edges at its ends."""
    wide, high = (bounds[2:] - bounds[:2]) / scale
    tall = float(high) + 2 * _PAD_MM
    shift = np.array([(WIDTH_MM - wide) / 2, _PAD_MM]) - bounds[:2] / scale
    put = [1 / scale, 0.0, 0.0, 1 / scale, *shift]
    areas = [shapely.affinity.affine_transform(group.area, put).simplify(FINEST_MM)
             for group in groups]  # fmt: skip
    foot = shapely.get_coordinates(
        shapely.LineString(base / scale + shift).simplify(FINEST_MM, preserve_topology=False)
    )
    items: list[Primitive] = []
    for group, area in zip(groups, areas, strict=True):
        items += area_paths(area, Role.DIMENSION, TINT.get(group.kind, "ply"))
        if group.kind in ("core", "insert"):
            items += hatch(area, 60.0 if group.kind == "core" else 45.0, 3.0)
    items.append(Path(Role.FACE, foot))
    room = shapely.box(1.0, 1.0, WIDTH_MM - 1.0, tall - 1.0)
    taken = [*(area.buffer(0.8, quad_segs=2) for area in areas),
             shapely.LineString(foot).buffer(0.8, quad_segs=2)]  # fmt: skip
    place = Placer(room, shapely.Polygon(), (), taken)
    spots = np.array([(x, y) for x in np.arange(3.0, WIDTH_MM, 2.0)
                      for y in np.arange(3.0, tall - 2.0, 2.0)])  # fmt: skip
    ends = zip(cut.line_mm, foot[[0, -1]], strict=True)
    told = [(_edge_at(at, face), shapely.Point(end)) for at, end in ends]
    told += [(g.words, area) for g, area in zip(groups, areas, strict=True)]
    for k, (words, what) in enumerate(told):
        block = Block((Line(clean_text(words), NOTE_MM, k > 1),), pad_mm=1.2)
        cost = shapely.distance(shapely.points(spots), what)
        spot = place.find(block.size_mm, spots, 0.0, cost)
        if spot is None:
            continue
        items += place.put(block, spot)
        box = boxes(np.array([spot.centre_mm]), np.array([0.0]), block.size_mm)[0]
        if k > 1:
            inner = what.buffer(-0.05)
            line = shapely.shortest_line(box, what if inner.is_empty else inner)
            items += leader(place, *shapely.get_coordinates(line))
    title = f"{cut.name}, folded, scale 1:{scale:g}"
    return Scene(tuple(items), (0.0, 0.0, WIDTH_MM, tall), title)


def _edge_at(at_mm: np.ndarray, face: Face) -> str:
    """The name of the edge at an end of the section."""
    point = shapely.Point(at_mm)
    near = min(face.edges, key=lambda e: shapely.LineString(e.points_mm).distance(point))
    return edge_words(near.name)
