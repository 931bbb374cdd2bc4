"""The face as it stands when a layer is laid: one map per leaf, shared where heights agree.

The mesh of a leaf follows the break lines of every core, block and rod of the whole part, so it
is made once and each layer only costs one relaxation.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from plybook.crew import one_by_one
from plybook.diagnostics import GeometryError
from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.heights import HeightField
from plybook.laminate.shapes import polygons_of, ring_of, thin
from plybook.surface.face import LoftedFace
from plybook.surface.model import Face
from plybook.surface.raised import UNRAISED, RaisedMap, Raiser
from plybook.surface.straight import mirror_of

Stacks = Sequence[tuple[HeightField, ...]]  # heights of what layers lie on, one for each leaf
SAME_HEIGHT_MM = 0.01  # heights that differ by no more share one map
MESH_GRID_MM = 1e-3
CREASE_MM = 0.025  # a mesh follows the creases of the height this closely
_HELPERS = 2  # each takes as much memory as a lay-up
PANEL_MARGIN_MM = 20.0  # marks and bevels of a panel stay this near to it
COMMON_SHARE = 0.99  # strain not passed on this share of a piece; bevel corners are singular


@dataclass(frozen=True)
class StrainField:
    """Signed principal strain of triangles on the mould-face pattern."""

    middles_mm: np.ndarray  # (m, 2)
    area_mm2: np.ndarray  # (m,)
    strain_pct: np.ndarray  # (m,)

    def over(self, laid: BaseGeometry, share: float = 1.0) -> tuple[float, float]:
        """Tension and compression (both >= 0, percent) not passed on `share` of a piece."""
        shapely.prepare(laid)
        inside = shapely.contains_xy(laid, *self.middles_mm.T)
        if not inside.any():
            return 0.0, 0.0
        value, area = self.strain_pct[inside], self.area_mm2[inside]
        return _passed(np.maximum(value, 0), area, share), _passed(
            np.maximum(-value, 0), area, share
        )


def _passed(value: np.ndarray, area: np.ndarray, share: float) -> float:
    order = np.argsort(value)
    below = np.cumsum(area[order]) / area.sum()
    return float(value[order][min(int(np.searchsorted(below, share)), len(order) - 1)])


def strain_field(nodes_mm: np.ndarray, faces: np.ndarray, strain_pct: np.ndarray) -> StrainField:
    """The field of a triangulation."""
    corners = nodes_mm[faces]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    return StrainField(
        corners.mean(axis=1), np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2, strain_pct
    )


class Strains:
    """What a layer is strained by: laying the face flat, and what lies below the layer."""

    def __init__(self, face: Face, maps: LeafMaps | None):
        report = face.strain
        self._bare = None
        if len(report.faces):
            self._bare = strain_field(report.nodes_mm, report.faces, report.strain_pct)
        self._raised = {}
        for index, one in enumerate(maps.maps if maps else ()):
            if not one.unraised:
                self._raised[index] = strain_field(
                    one.nodes_mm, one.triangles, one.strain.triangle_pct
                )

    def of_face(self, laid: BaseGeometry) -> float:
        """Strain of either sign, percent, that laying the face flat costs on most of a piece."""
        return max(self._bare.over(laid, COMMON_SHARE)) if self._bare else 0.0

    def over(self, laid: BaseGeometry, leaf: int) -> tuple[float, float]:
        """Largest tension and compression under a piece, percent, both >= 0.

        The two sources are added, which is on the safe side.
        """
        parts = [self._bare.over(laid)] if self._bare else []
        if leaf in self._raised:
            parts.append(self._raised[leaf].over(laid, COMMON_SHARE))
        tension, squeeze = (round(sum(part[k] for part in parts), 4) for k in (0, 1))
        return tension, squeeze


@dataclass(frozen=True)
class LeafMaps:
    """From the mould-face pattern to the cut frame and back, leaf by leaf."""

    face: Face
    kinks_mm: tuple[float, ...]
    maps: tuple[RaisedMap, ...]
    fields: tuple[HeightField, ...]  # of each leaf, as seen from it
    left_out: tuple[str, ...] = ()  # layers whose walls are too steep for a pattern to follow
    left_out_mm: float = 0.0  # their height together
    level_mm: float = 0.0  # how far above `fields` the pattern is that of

    def leaf(self, index: int) -> RaisedMap:
        """The map of one leaf, right a little past its kinks too."""
        return self.maps[min(index, len(self.maps) - 1)]

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern (n, 2) -> cut frame, every point by the map of its own leaf."""
        points = np.asarray(points_mm, dtype=float)
        return self._by_leaf(points, self._leaf_of(points), "to_cut")

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame (n, 2) -> pattern."""
        points = np.asarray(points_mm, dtype=float)
        return self._by_leaf(points, self._leaf_of(points), "from_cut")

    def _leaf_of(self, points: np.ndarray) -> np.ndarray:
        if not self.kinks_mm:
            return np.zeros(len(points), int)
        return np.searchsorted(self.kinks_mm, np.asarray(self.face.from_pattern(points))[:, 0])

    def _by_leaf(self, points: np.ndarray, leaf: np.ndarray, way: str) -> np.ndarray:
        found = np.empty_like(points)
        for index, one in enumerate(self.maps):
            here = leaf == index
            if here.any():
                found[here] = getattr(one, way)(points[here])
        return found


@dataclass(frozen=True)
class _Ahead:
    """A map made in a helper, without what the main process has: the number of the heights among
    those asked for, `LeafMaps.maps` of its leaves, `left_out` and `left_out_mm`, and all work of
    the helper so far."""

    number: int
    maps: tuple[RaisedMap, ...]
    left_out: tuple[str, ...]
    left_out_mm: float
    work: int


@dataclass
class _Coming:
    """Maps for heights that share their creases, on their way: by leaf where each can be raised
    for itself, all leaves together where one may have to follow the other."""

    stacks: Stacks
    by_leaf: list[Iterator[_Ahead]]
    work: int = 0


class Raisings:
    """Answers with the maps of the face under any height field.

    Args:
        face: the mould face.
        kinks_mm: spans where it is divided into leaves.
        margin_mm: how far past the net line the maps have to be right.
        leaf: the only one whose maps are made, all if not said.
    """

    def __init__(
        self, face: Face, kinks_mm: Sequence[float], margin_mm: float, leaf: int | None = None
    ):
        self.face, self.kinks_mm, self.margin_mm = face, tuple(kinks_mm), margin_mm
        self._wanted = slice(None) if leaf is None else slice(leaf, leaf + 1)
        self._raisers: dict[tuple[str, ...], list[Raiser]] = {}  # by the layers with creases
        self._known: list[tuple[tuple[HeightField, ...], LeafMaps]] = []
        self._to_come: dict[tuple[str, ...], Stacks] = {}  # not begun yet
        self._coming: dict[tuple[str, ...], _Coming] = {}
        self._work_ahead = 0

    @property
    def work(self) -> int:
        """Triangles times steps that the maps have taken so far."""
        own = sum(one.work for raisers in self._raisers.values() for one in raisers)
        return own + self._work_ahead + sum(one.work for one in self._coming.values())

    def ahead(self, stacks: Stacks) -> None:
        """Begin in helpers with maps that will be asked for: those of heights with other creases
        than the first, each set with raisers of its own and a few sets at a time.

        Args:
            stacks: what `under` will be asked for, in that order.
        """
        sets: dict[tuple[str, ...], list[tuple[HeightField, ...]]] = {}
        for fields in stacks:
            if not self._is_bare(fields):
                sets.setdefault(_creased(fields), []).append(fields)
        self._to_come = dict([*sets.items()][1:])
        self._begin_more()

    def _begin_more(self) -> None:
        while self._to_come and len(self._coming) < _HELPERS:
            creased = next(iter(self._to_come))
            alike = self._to_come.pop(creased)
            walls = any(rise.walls is not None for field in alike[-1] for rise in field.rises)
            leaves = [None] if walls else range(len(self.kinks_mm) + 1)
            self._coming[creased] = _Coming(
                alike, [one_by_one(partial(self._made_ahead, alike, leaf)) for leaf in leaves]
            )

    def _made_ahead(self, stacks: Stacks, leaf: int | None) -> Iterator[_Ahead]:
        """Maps for heights that share their creases; no more where one of them cannot be raised
        to, and is refused when it is asked for."""
        own = Raisings(self.face, self.kinks_mm, self.margin_mm, leaf)
        for number, fields in enumerate(stacks):
            known = len(own._known)
            try:
                maps = own.under(fields)
            except GeometryError:
                return
            if maps is not None and len(own._known) > known:
                yield _Ahead(number, maps.maps, maps.left_out, maps.left_out_mm, own.work)

    def _take_in(self, creased: tuple[str, ...]) -> bool:
        """Remember the next map of heights with these creases that helpers have made, if any."""
        if creased not in self._coming:
            return False
        coming = self._coming[creased]
        made = [found for leaf in coming.by_leaf if (found := next(leaf, None)) is not None]
        if not made or len(made) < len(coming.by_leaf):
            self._work_ahead += self._coming.pop(creased).work
            self._begin_more()
            return False
        first, fields = made[0], coming.stacks[made[0].number]
        coming.work = sum(one.work for one in made)
        maps = LeafMaps(
            self.face,
            self.kinks_mm,
            tuple(one for leaf in made for one in leaf.maps),
            without_walls(fields) if first.left_out else fields,
            first.left_out,
            first.left_out_mm,
        )
        self._known.append((fields, maps))
        return True

    def _drop_earlier(self, creased: tuple[str, ...]) -> None:
        """Let helpers begin with more: heights with the creases before these are done with."""
        if creased in self._coming:
            while (earlier := next(iter(self._coming))) != creased:
                self._work_ahead += self._coming.pop(earlier).work
            self._begin_more()

    def _is_bare(self, fields: tuple[HeightField, ...]) -> bool:
        """On a flat face thin sheets change nothing a knife could follow, only cores and blocks
        do."""
        return fields[0].flat or (self.face.flat and not _creased(fields))

    def under(self, fields: tuple[HeightField, ...]) -> LeafMaps | None:
        """The maps for a layer that lies on `fields`, one for each leaf; None where the pattern
        is the mould face's.
        """
        if self._is_bare(fields):
            return None
        creased = _creased(fields)
        self._drop_earlier(creased)
        while (found := self._alike(fields)) is None and self._take_in(creased):
            pass
        if found is not None:
            return found
        try:
            maps = self._raised(fields)
        except GeometryError:
            steep = [rise for rise in fields[0].rises if rise.walls is not None]
            if not steep:
                raise
            maps = replace(
                self._raised(without_walls(fields)),
                left_out=tuple(rise.layer for rise in steep),
                left_out_mm=sum(rise.thickness_mm for rise in steep),
            )
        self._known.append((fields, maps))
        return maps

    def _alike(self, fields: tuple[HeightField, ...]) -> LeafMaps | None:
        """The last maps that are known for all but the same heights."""
        for known, maps in reversed(self._known):
            if not any(
                one.significant_change(other, SAME_HEIGHT_MM)
                for one, other in zip(fields, known, strict=True)
            ):
                return maps
        return None

    def under_panel(
        self, fields: tuple[HeightField, ...], regions: Sequence[BaseGeometry], by_mm: float
    ) -> LeafMaps:
        """The maps for a stiff sheet on `fields` that bends about a line `by_mm` up in it.

        It is laid flat alone: what lies beside it does not hold it. `regions` is where it lies as
        seen from each leaf.
        """
        mirror, raised = mirror_of(self.face), []
        for one, field, region in zip(self._leaf_faces, fields, regions, strict=True):
            parts = polygons_of(region.intersection(shapely.Polygon(one.outline_mm).buffer(0.01)))
            if not parts:
                raised.append(UNRAISED)
                continue
            lines = in_one_order(field.break_lines, mirror)
            whole = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts).convex_hull
            ring = canonical_ring(ring_of(whole) * mirror, MESH_GRID_MM) * mirror
            raiser = Raiser(one, _inside(lines, ring, PANEL_MARGIN_MM), ring, PANEL_MARGIN_MM)
            raised.append(raiser.raise_to(partial(_higher, field, by_mm)))
        return LeafMaps(self.face, self.kinks_mm, tuple(raised), fields, level_mm=by_mm)

    @cached_property
    def _leaf_faces(self) -> list[Face]:
        return leaf_faces(self.face, self.kinks_mm)

    def _raised(self, fields: tuple[HeightField, ...]) -> LeafMaps:
        creased = _creased(fields)
        if creased not in self._raisers:
            self._raisers[creased] = self._raisers_for(fields)
        raised = tuple(
            raiser.raise_to(field)
            for raiser, field in zip(self._raisers[creased], fields[self._wanted], strict=True)
        )
        return LeafMaps(self.face, self.kinks_mm, raised, fields)

    def _raisers_for(self, fields: tuple[HeightField, ...]) -> list[Raiser]:
        mirror, margin = mirror_of(self.face), self.margin_mm
        raisers = []
        chosen = self._leaf_faces[self._wanted], fields[self._wanted]
        for one, field in zip(*chosen, strict=True):
            lines = in_one_order(field.break_lines, mirror)
            ring = canonical_ring(one.outline_mm * mirror, MESH_GRID_MM) * mirror
            raisers.append(Raiser(one, _inside(lines, ring, margin), ring, margin))
        return raisers


def _higher(field: HeightField, by_mm: float, points: np.ndarray) -> np.ndarray:
    return field(points) + by_mm


def without_walls(fields: tuple[HeightField, ...]) -> tuple[HeightField, ...]:
    """The fields without the blocks, rods and square cores whose sides are walls."""
    return tuple(
        replace(field, rises=tuple(rise for rise in field.rises if rise.walls is None))
        for field in fields
    )


def _creased(fields: tuple[HeightField, ...]) -> tuple[str, ...]:
    """Keys of the rises that a mesh has to follow."""
    rises = (rise for field in fields for rise in field.rises)
    return tuple(rise.key for rise in rises if rise.ramps or rise.walls is not None)


def in_one_order(lines: Sequence[np.ndarray], mirror: np.ndarray) -> list[np.ndarray]:
    """Lines thinned and on a grid, in a direction and an order that either hand shares.

    Args:
        lines: (n, 2) each, closed ones with their first point repeated.
        mirror: (2,) signs that turn the pattern of one hand into that of the other.
    """
    found = []
    for line in lines:
        line = np.round(line * mirror / MESH_GRID_MM) * MESH_GRID_MM + 0.0
        if np.array_equal(line[0], line[-1]):
            ring = line[:-1]
            start = np.lexsort((ring[:, 1], ring[:, 0]))[0]
            ring = np.roll(ring, -start, axis=0)
            if signed_area_mm2(ring) < 0:
                ring = np.vstack([ring[:1], ring[:0:-1]])
            far = int(np.argmax(ring[:, 0]))
            line = np.vstack([ring, ring[:1]])
            halves = [thin(part, CREASE_MM) for part in (line[: far + 1], line[far:])]
            line = np.vstack([halves[0], halves[1][1:]])
        else:
            line = line[::-1] if tuple(line[0]) > tuple(line[-1]) else line
            line = thin(line, CREASE_MM)
        found.append(line)
    found.sort(key=lambda line: line.ravel().tolist())
    return [line * mirror for line in found]


def leaf_faces(face: Face, kinks_mm: Sequence[float]) -> list[Face]:
    """The face as one face per leaf, each carried on smoothly past its kinks."""
    if not kinks_mm or not isinstance(face, LoftedFace):
        return [face]
    return [
        replace(face, leaves=(leaf,), leaves_mm=(ring,), outline_mm=ring, kinks=())
        for leaf, ring in zip(face.leaves, face.leaves_mm, strict=True)
    ]


def _inside(lines: Sequence[np.ndarray], ring: np.ndarray, margin_mm: float) -> list[np.ndarray]:
    """The parts of break lines on a leaf."""
    area = shapely.Polygon(ring).buffer(margin_mm)
    found = []
    for line in lines:
        cut = shapely.linestrings(line).intersection(area)
        for part in shapely.get_parts(cut):
            if part.geom_type == "LineString" and part.length > 1.0:
                found.append(shapely.get_coordinates(part))
    return found
