"""A section of a part whose face bends, as it truly lies in the mould: folded, thickness and length
at one scale.

Terms:
    fold: the section turns by more than `LEAST_TURN_DEG` from end to end, or by what the caller
        asks for; flatter ones are drawn straight (`plybook.drawing.sectionview`).
    group: plies that follow one another in the laying, drawn and named as one; core, inserts and
        rods each stand for themselves.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from types import MappingProxyType

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from plybook.drawing.aroundpart import edge_words
from plybook.drawing.frame import FINEST_MM, area_paths, cropped, hatch, lines
from plybook.drawing.labels import Block, Line, Placer, boxes, leader
from plybook.drawing.letters import clean_text
from plybook.drawing.rosette import show_angle
from plybook.drawing.scene import Path, Primitive, Role, Scene
from plybook.drawing.sectionview import TINT
from plybook.drawing.style import NOTE_MM
from plybook.laminate.model import LaidLayer, SectionCut
from plybook.surface.model import Face

WIDTH_MM, HEIGHT_MM = 180.0, 168.0
LEAST_TURN_DEG = 30.0
ENLARGED = (10.0, 8.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.0)  # so much to 1
SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 50.0)  # 1 to so much
_SIDE_MM, _SIDE = 25.0, 0.18  # on both sides of a section, for the names; of a narrow one's width
_PAD_MM = 9.0
_AROUND_MM = 3.0  # on the part, shown around what is enlarged
_STEP_MM, _MOST_STEPS = 0.5, 1600  # between the places along the line that are looked at
_LEAST_MM = 1e-4
_FILM_MM = 0.4  # a film is drawn so thick, or it would not be seen


@dataclass(frozen=True)
class _Group:
    words: str
    kind: str
    area: BaseGeometry
    is_own: bool


@dataclass(frozen=True)
class _Line:
    """Places along the line of a section: how far along, where in the pattern, and on the plane
    the mould face with the ways square to it."""

    at_mm: np.ndarray  # (n,)
    points_mm: np.ndarray  # (n, 2)
    base_mm: np.ndarray  # (n, 2)
    ways: np.ndarray  # (n, 2)

    def within(self, area: BaseGeometry) -> np.ndarray:
        """(n,) whether each place lies in an area of the pattern."""
        return shapely.dwithin(area, shapely.points(self.points_mm), _LEAST_MM)


@dataclass(frozen=True)
class FoldedSection:
    """A section as it lies, seen square to its plane: the mould face below, the bag side above."""

    cut: SectionCut
    face: Face
    base_mm: np.ndarray  # (n, 2) the mould face
    groups: tuple[_Group, ...]

    def picture(self, width_mm: float = WIDTH_MM, height_mm: float = HEIGHT_MM) -> Scene:
        """All of it, 1:1 or as much smaller as it takes; the title names the scale.

        Args:
            width_mm, height_mm: of the picture, at most.
        """
        scale = self.scale(width_mm, height_mm)
        title = f"{self.cut.name}, folded, scale 1:{scale:g}"
        bounds = self._bounds(self.groups)
        return _drawn(self, self.groups, self.base_mm, bounds, scale, width_mm, title)

    def scale(self, width_mm: float = WIDTH_MM, height_mm: float = HEIGHT_MM) -> float:
        """How many times smaller than life it is in a picture of this size."""
        bounds = self._bounds(self.groups)
        wide, high = bounds[2:] - bounds[:2]
        room = _room(width_mm, height_mm)
        fits = (s for s in SCALES if wide / s <= room[0] and high / s <= room[1])
        return next(fits, SCALES[-1])

    def enlarged(self, width_mm: float, height_mm: float) -> Scene | None:
        """What is drawn wide, with a little around it, larger than life; None where it is no
        larger than in the whole."""
        own = [group for group in self.groups if group.is_own]
        if not own:
            return None
        low, high = np.split(self._bounds(own, False), 2)
        bounds = np.concatenate([low - _AROUND_MM, high + _AROUND_MM])
        size = bounds[2:] - bounds[:2]
        larger = next((s for s in ENLARGED if (size * s <= _room(width_mm, height_mm)).all()), None)
        if larger is None:
            return None
        window = shapely.box(*bounds)
        groups = tuple(
            replace(group, area=area) for group in self.groups
            if not (area := _seen(group.area, window)).is_empty
        )  # fmt: skip
        seen = shapely.LineString(self.base_mm).intersection(window)
        base = max(lines(seen), key=len, default=None)
        title = f"{self.cut.name}, detail, scale {larger:g}:1"
        return _drawn(self, groups, base, bounds, 1 / larger, width_mm, title)

    def _bounds(self, groups: Sequence[_Group], with_base: bool = True) -> np.ndarray:
        base = [shapely.LineString(self.base_mm)] if with_base else []
        return shapely.total_bounds([*(g.area for g in groups), *base])


def folded_section(
    cut: SectionCut,
    layers: Sequence[LaidLayer],
    face: Face,
    own: Collection[str] = (),
    strips: Mapping[str, Sequence[BaseGeometry]] = MappingProxyType({}),
    least_turn_deg: float = LEAST_TURN_DEG,
) -> FoldedSection | None:
    """A section as it lies in the mould, folded with the face.

    Args:
        cut: true heights along a straight line of the pattern.
        layers: as laid, first laid first; films that come off are left out.
        face: of the mould; maps the line into space.
        own: ids of layers that are drawn wide, each with its own name.
        strips: of such layers, the areas in the pattern that are drawn each by itself.
        least_turn_deg: from end to end, for a section to be taken as folded.

    Returns:
        None where the section does not fold.
    """
    length = float(np.hypot(*(cut.line_mm[1] - cut.line_mm[0])))
    known = [at for _, at, _, _ in cut.bands]
    if not known:
        return None
    step = max(_STEP_MM, length / _MOST_STEPS)
    ends = _crossings(cut, [area for areas in strips.values() for area in areas])
    at = np.unique(np.concatenate([*known, ends, np.arange(0.0, length, step)]))
    points = cut.line_mm[0] + (cut.line_mm[1] - cut.line_mm[0]) * (at / length)[:, None]
    space, normals = face.to_space(points), face.normals(points)
    cosines = np.clip((normals[1:] * normals[:-1]).sum(axis=1), -1.0, 1.0)
    if np.degrees(np.arccos(cosines).sum()) < least_turn_deg:
        return None
    base, ways = _in_plane(space, normals)
    line = _Line(at, points, base, ways)
    return FoldedSection(cut, face, base, tuple(_groups(cut, layers, line, own, strips)))


def _crossings(cut: SectionCut, areas: Sequence[BaseGeometry]) -> np.ndarray:
    """How far along the line of a section it runs into areas and out of them, (n,)."""
    line = shapely.LineString(cut.line_mm)
    points = [shapely.get_coordinates(line.intersection(area)) for area in areas]
    at = [np.hypot(*(p - cut.line_mm[0]).T) for p in points]
    return np.concatenate([np.zeros(0), *at])


def _room(width_mm: float, height_mm: float) -> tuple[float, float]:
    return width_mm - 2 * min(_SIDE_MM, _SIDE * width_mm), height_mm - 2 * _PAD_MM


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
    cut: SectionCut,
    layers: Sequence[LaidLayer],
    line: _Line,
    own: Collection[str],
    strips: Mapping[str, Sequence[BaseGeometry]],
) -> Iterator[_Group]:
    number = 0

    def place(layer: LaidLayer) -> tuple[str, int]:
        nonlocal number
        number += layer.kind != "ply" or layer.id in own or layer.id == after
        return layer.kind, number

    plies = [x for x in layers if x.kind != "film" or x.id in own]
    after = next((b.id for a, b in pairwise(plies) if a.id in own and b.id not in own), "")
    top = np.zeros_like(line.at_mm)  # of what lies below
    for (kind, _), same in groupby(plies, key=place):
        run = list(same)
        areas = []
        for layer in run:
            for here, low, high in _stretches(cut, layer, line, top):
                heights = np.zeros((2, len(top)))
                heights[:, here] = low, high
                for area in strips.get(layer.id, (None,)):
                    part = here if area is None else here[line.within(area)[here]]
                    if len(part) > 1:
                        faces = (line.base_mm[part] + line.ways[part] * h[part, None]
                                 for h in heights)  # fmt: skip
                        areas.append(_between(*faces))
                top[here] = np.maximum(top[here], high)
        if areas:
            ids = run[0].id if len(run) == 1 else f"{run[0].id} to {run[-1].id}"
            is_own = run[0].id in own
            apart = any(layer.id in strips for layer in run)
            area = shapely.MultiPolygon(_polygons(areas)) if apart else shapely.union_all(areas)
            yield _Group(f"{ids}  {_what(run)}", kind, area, is_own)


def _stretches(
    cut: SectionCut, layer: LaidLayer, line: _Line, top: np.ndarray
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Where along the line a layer lies (places of it), and its lower and upper height there; a
    film, of which the section holds nothing, on top of what lies there."""
    if layer.kind == "film":
        inside = np.flatnonzero(line.within(layer.region))
        for run in np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1):
            if len(run) > 1:
                yield run, top[run], top[run] + _FILM_MM
        return
    for _, along, low, high in (band for band in cut.bands if band[0] == layer.id):
        here = np.flatnonzero((line.at_mm >= along[0]) & (line.at_mm <= along[-1]))
        bottom, upper = (np.interp(line.at_mm[here], along, heights) for heights in (low, high))
        if len(here) > 1 and float((upper - bottom).max()) >= _LEAST_MM:
            yield here, bottom, upper


def _what(run: Sequence[LaidLayer]) -> str:
    if run[0].kind != "ply":
        return run[0].kind
    return show_angle(run[0].angle_deg) if len(run) == 1 else f"{len(run)} plies"


def _between(low: np.ndarray, high: np.ndarray) -> BaseGeometry:
    """The area between two lines, step by step, so that it may fold back beside itself."""
    rings = np.stack([low[:-1], low[1:], high[1:], high[:-1]], axis=1)
    return shapely.union_all(shapely.make_valid(shapely.polygons(rings)), grid_size=1e-4)


def _seen(area: BaseGeometry, window: shapely.Polygon) -> BaseGeometry:
    """What of an area lies in a window, part by part: parts may touch."""
    return shapely.MultiPolygon(
        _polygons([part.intersection(window) for part in shapely.get_parts(area)])
    )


def _polygons(areas: Sequence[BaseGeometry]) -> list[shapely.Polygon]:
    parts = [part for area in areas for part in shapely.get_parts(area)]
    return [part for part in parts if part.geom_type == "Polygon"]


def _drawn(
    section: FoldedSection,
    groups: Sequence[_Group],
    base: np.ndarray | None,
    bounds: np.ndarray,
    scale: float,
    width_mm: float,
    title: str,
) -> Scene:
    """Groups with their names beside them, and the names of the edges at the ends."""
    wide, high = (bounds[2:] - bounds[:2]) / scale
    tall = float(high) + 2 * _PAD_MM
    shift = np.array([(width_mm - wide) / 2, _PAD_MM]) - bounds[:2] / scale
    put = [1 / scale, 0.0, 0.0, 1 / scale, *shift]
    areas = [shapely.affinity.affine_transform(group.area, put).simplify(FINEST_MM)
             for group in groups]  # fmt: skip
    foot = None if base is None else shapely.get_coordinates(
        shapely.LineString(base / scale + shift).simplify(FINEST_MM, preserve_topology=False)
    )  # fmt: skip
    items: list[Primitive] = []
    for group, area in zip(groups, areas, strict=True):
        role = Role.HIGHLIGHT if group.is_own else Role.DIMENSION
        fill = "highlight" if group.is_own else TINT.get(group.kind, "ply")
        items += area_paths(area, role, fill)
        if group.kind in ("core", "insert"):
            items += hatch(area, 60.0 if group.kind == "core" else 45.0, 3.0)
    room = shapely.box(1.0, 1.0, width_mm - 1.0, tall - 1.0)
    taken = [area.buffer(0.8, quad_segs=2) for area in areas]
    told: list[tuple[str, BaseGeometry, bool]] = []
    if foot is not None:
        items.append(Path(Role.FACE, foot))
        taken.append(shapely.LineString(foot).buffer(0.8, quad_segs=2))
    if base is section.base_mm and foot is not None:
        ends = zip(section.cut.line_mm, foot[[0, -1]], strict=True)
        told += [(_edge_at(at, section.face), shapely.Point(end), False) for at, end in ends]
    told += [(g.words, area, g.is_own) for g, area in zip(groups, areas, strict=True)]
    place = Placer(room, shapely.Polygon(), (), taken)
    spots = np.array([(x, y) for x in np.arange(3.0, width_mm, 2.0)
                      for y in np.arange(3.0, tall - 2.0, 2.0)])  # fmt: skip
    for words, what, _ in sorted(told, key=lambda one: not one[2]):
        block = Block((Line(clean_text(words), NOTE_MM, what.geom_type != "Point"),), pad_mm=1.2)
        cost = shapely.distance(shapely.points(spots), what)
        spot = place.find(block.size_mm, spots, 0.0, cost)
        if spot is None:
            continue
        items += place.put(block, spot)
        box = boxes(np.array([spot.centre_mm]), np.array([0.0]), block.size_mm)[0]
        if what.geom_type != "Point":
            inner = what.buffer(-0.05)
            line = shapely.shortest_line(box, what if inner.is_empty else inner)
            items += leader(place, *shapely.get_coordinates(line))
    return cropped(Scene(tuple(items), (0.0, 0.0, width_mm, tall), title), 2.0)


def _edge_at(at_mm: np.ndarray, face: Face) -> str:
    """The name of the edge at an end of the section."""
    point = shapely.Point(at_mm)
    near = min(face.edges, key=lambda e: shapely.LineString(e.points_mm).distance(point))
    return edge_words(near.name)
