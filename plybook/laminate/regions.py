"""Regions of the spec as shapes on the mould-face pattern.

Every region is first drawn a little past the face, so that clipping leaves no slivers, and then
clipped to the net line. Sides that follow the section or the span are taken from the face's own
lines, so they are exact where the builder measures them; thinning happens once, when a piece is
cut (see `plies`).

Accuracy: shapes are exact to the chord error of the face's lines and to shapes.ARC_ERROR_MM at
round corners.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Self

import numpy as np
import shapely
from shapely.geometry import Polygon as Area
from shapely.geometry.base import BaseGeometry

from plybook.diagnostics import Finding, GeometryError, Place, error, warning
from plybook.laminate.shapes import (
    EMPTY,
    clean,
    cover,
    dense,
    directed,
    ellipse,
    extended,
    grown,
    rounded_rectangle,
    turned,
    union_of,
)
from plybook.laminate.trim import NetFace
from plybook.spec.model import (
    NOWHERE,
    Around,
    Common,
    EdgeBand,
    EdgeRule,
    Inset,
    Layer,
    Less,
    OnFace,
    OnPattern,
    Patch,
    PointRef,
    Polygon,
    Region,
    Rod,
    ShareBand,
    SpanBand,
    Strip,
    Union,
    Whole,
)
from plybook.surface.model import Face
from plybook.units import mm

SAMPLES = 24  # lines between the two sides of a band, to carry its ends past a curved edge
SAME_SPAN_MM = 1e-6
SAME_SHARE = 1e-9
AT_EDGE_MM = 0.5  # a strip that ends this near the net line runs off the face


class Regions:
    """Works regions out on one face and remembers them.

    Args:
        face: the mould face.
        edges: trim rules by edge name.
        layers: all layers, in order, so that a region may stand around any other layer.
        rod_region: answers where a rod layer lies on a face (rods have a line, not a region).
    """

    def __init__(
        self,
        face: Face,
        edges: Sequence[EdgeRule] = (),
        layers: Sequence[Layer] = (),
        rod_region: Callable[[Rod, Face], BaseGeometry] | None = None,
    ):
        self.face = face
        self.plan = NetFace(face, tuple(edges))
        self._layers = {layer.id: layer for layer in layers}
        self._groups: dict[str, list[str]] = {}
        for layer in layers:
            drop = getattr(layer, "drop", None)
            for name in (getattr(layer, "group", ""), drop.run if drop else ""):
                if name and name not in self._layers:
                    self._groups.setdefault(name, []).append(layer.id)
        self._given = edges, layers, rod_region
        self._rod_region = rod_region
        self._net: dict[Region, BaseGeometry] = {}
        self._trimmed: dict[Region, BaseGeometry] = {}
        self._open: list[str] = []  # layers being worked out, to catch a circle

    @classmethod
    def like(cls, other: Regions, face: Face) -> Self:
        """The same regions worked out on another face, or on another view of the same."""
        return cls(face, *other._given)

    def net(self, region: Region) -> BaseGeometry:
        """The region up to the net line: Polygon, MultiPolygon or an empty Polygon."""
        if region not in self._net:
            self._net[region] = clean(self._raw(region).intersection(self.plan.net))
        return self._net[region]

    def trimmed(self, region: Region) -> BaseGeometry:
        """The region with the trim allowance where it reaches an edge of the face."""
        if region not in self._trimmed:
            self._trimmed[region] = self.plan.trimmed(self.net(region))
        return self._trimmed[region]

    def past_net(self, region: Region) -> tuple[float, str]:
        """How far what is drawn by its own corners reaches past the net line, mm, and the edge
        there; (0, "") where it does not. Bands run off the face at their ends and never count."""
        part = shapely.Polygon(self.plan.net.exterior)
        past = shapely.get_coordinates(self._drawn(region).difference(part))
        out = shapely.distance(shapely.points(past), part)
        if not len(out) or out.max() < AT_EDGE_MM:
            return 0.0, ""
        corner = shapely.Point(past[np.argmax(out)])
        nearest = int(np.argmin([corner.distance(line) for line in self.plan.lines]))
        return float(out.max()), self.face.edges[nearest].name

    def _drawn(self, region: Region) -> BaseGeometry:
        """What of a region is drawn by patches and polygons."""
        match region:
            case Patch() | Polygon():
                return self._raw(region)
            case Union(items):
                return shapely.union_all([self._drawn(item) for item in items])
            case Common(items):
                drawn = [self._drawn(item) for item in items]
                shape: BaseGeometry = shapely.union_all(drawn)
                for item in items:
                    shape = shape.intersection(self._raw(item))
                return shape
            case Less(base, less):
                return self._drawn(base).difference(
                    shapely.union_all([self._raw(item) for item in less])
                )
        return EMPTY

    def of_layer(self, layer_id: str) -> BaseGeometry:
        """Net region of a layer, or of all layers of a group or run.

        Raises:
            GeometryError: no such layer, or layers that stand around each other in a circle.
        """
        if layer_id in self._groups:
            return union_of(self.of_layer(one) for one in self._groups[layer_id])
        layer = self._layers.get(layer_id)
        if layer is None:
            raise GeometryError(_unknown_layer(layer_id, tuple(self._layers)))
        if layer_id in self._open:
            raise GeometryError(_circle([*self._open, layer_id], self._layers))
        self._open.append(layer_id)
        try:
            if isinstance(layer, Rod) and self._rod_region is not None:
                return clean(self._rod_region(layer, self.face).intersection(self.plan.net))
            return self.net(layer.region)
        finally:
            self._open.pop()

    def point(self, ref: PointRef) -> np.ndarray:
        """(2,) pattern coordinates of a point of the spec."""
        if isinstance(ref, OnPattern):
            return np.array([ref.x_mm, ref.y_mm])
        return np.asarray(self.face.to_pattern(np.array([[ref.span_mm, ref.share]])))[0]

    # ------------------------------------------------------------ one method per kind

    def _raw(self, region: Region) -> BaseGeometry:
        match region:
            case Whole():
                return self.plan.net
            case SpanBand():
                return self._span_band(region)
            case ShareBand():
                return self._share_band(region)
            case EdgeBand():
                return self._edge_band(region)
            case Inset():
                taken = {name: by for name, by in region.by_mm if by > 0}
                for name in taken:
                    self._known_edge(name)
                return self.plan.net.difference(self.plan.within_edges(taken))
            case Around():
                return grown(self.of_layer(region.layer), region.by_mm)
            case Strip():
                return self._strip(region)
            case Patch():
                return self._patch(region)
            case Polygon():
                return self._polygon(region)
            case Union():
                return shapely.union_all([self._raw(item) for item in region.items])
            case Common():
                shape = self._raw(region.items[0])
                for item in region.items[1:]:
                    shape = shape.intersection(self._raw(item))
                return shape
            case Less():
                less = shapely.union_all([self._raw(item) for item in region.less])
                return self._raw(region.base).difference(less)
        raise TypeError(f"not a region: {region!r}")

    def _span_band(self, band: SpanBand) -> BaseGeometry:
        spans = [line.span_mm for line in self.face.station_lines]
        low, high = (spans[0], spans[-1]) if spans else self._range(0)
        return self._sheet(
            self.face.span_line, 0, band.from_mm, band.to_mm, low, high, spans, SAME_SPAN_MM
        )

    @cached_property
    def outline_span_share(self) -> np.ndarray:
        """(n, 2) span and share of the points of the net line."""
        return np.asarray(self.face.from_pattern(self.face.outline_mm))

    def _range(self, column: int) -> tuple[float, float]:
        """Range of span (0) or share (1) round the net line."""
        values = self.outline_span_share[:, column]
        return float(values.min()), float(values.max())

    def _share_band(self, band: ShareBand) -> BaseGeometry:
        low, high = self._range(1)
        return self._sheet(
            self.face.share_line, 1, band.from_share, band.to_share, low, high, (), 1e-6
        )

    def _sheet(self, line_at, column, start, end, low, high, also, same) -> BaseGeometry:
        """The sheet swept by lines from `start` to `end`, run off the face at its open sides.

        Only its first and last lines cross the face; of those between, the ends past the face
        are enough.
        """
        start, end = min(start, end), max(start, end)
        if end <= low + same or start >= high - same:
            return EMPTY
        reach = self.plan.reach_mm
        first, last = max(start, low), min(end, high)
        places = {first, last, *np.linspace(first, last, SAMPLES).tolist()}
        places |= {float(at) for at in also if first < at < last}
        in_order = sorted(places)
        lines = [extended(line_at(at), reach, reach) for at in in_order[:2] + in_order[2:][-2:]]
        lines[2:2] = self._ends_past(column, in_order[2:-2], reach)
        if start <= low + same:
            lines.insert(0, _beside(lines[0], lines[1], reach))
        if end >= high - same:
            lines.append(_beside(lines[-1], lines[-2], reach))
        ring = np.vstack(
            [
                lines[0],
                [line[-1] for line in lines[1:-1]],
                lines[-1][::-1],
                [line[0] for line in lines[-2:0:-1]],
            ]
        )
        area = Area(ring)
        return area if area.is_valid else shapely.make_valid(area)

    def _ends_past(self, column: int, places: Sequence[float], by_mm: float) -> list[np.ndarray]:
        """(2, 2) each: where the lines at these spans (0) or shares (1) end past the face."""
        low, high = self._range(1 - column)
        along = np.tile([low, 0.999 * low + 0.001 * high, 0.001 * low + 0.999 * high, high],
                        len(places))  # fmt: skip
        spots = np.column_stack([along, along])
        spots[:, column] = np.repeat(places, 4)
        ends = np.asarray(self.face.to_pattern(spots)).reshape(-1, 4, 2)
        out = ends[:, [0, 3]] - ends[:, [1, 2]]
        return list(ends[:, [0, 3]] + by_mm * out / np.hypot(*out.T).T[..., None])

    def _known_edge(self, name: str) -> None:
        names = [edge.name for edge in self.face.edges]
        if name not in names:
            raise GeometryError(
                error(
                    "unknown-edge",
                    f"the face has no edge {name!r}; its edges are {', '.join(names)}",
                    "write one of these names",
                )
            )

    def _near(self, name: str, by_mm: float) -> BaseGeometry:
        self._known_edge(name)
        return self.plan.near_edge(name, by_mm)

    def _edge_band(self, band: EdgeBand) -> BaseGeometry:
        shape = self._near(band.edge, max(band.from_mm, band.to_mm))
        if min(band.from_mm, band.to_mm) > 0:
            shape = shape.difference(self._near(band.edge, min(band.from_mm, band.to_mm)))
        return shape

    def _strip(self, strip: Strip) -> BaseGeometry:
        line = self._path(strip.line, closed=False)
        edge = self.plan.net.exterior
        ends = shapely.distance(shapely.points(line[[0, -1]]), edge) < AT_EDGE_MM
        off = strip.width_mm + self.plan.reach_mm
        line = extended(line, *(off if at_edge else 0.0 for at_edge in ends))
        return cover(line, strip.width_mm / 2, strip.width_mm / 2)

    def _patch(self, patch: Patch) -> BaseGeometry:
        if patch.shape == "ellipse":
            ring = ellipse(patch.length_mm, patch.width_mm)
        else:
            ring = rounded_rectangle(patch.length_mm, patch.width_mm, patch.corner_mm)
        return Area(turned(ring, patch.turn_deg) + self.point(patch.at))

    def _polygon(self, polygon: Polygon) -> BaseGeometry:
        area = Area(self._path(polygon.points, closed=True))
        if not area.is_valid:
            raise GeometryError(
                error(
                    "polygon-crosses-itself",
                    f"a polygon region crosses itself ({shapely.is_valid_reason(area)})",
                    "give its points in order round the region",
                )
            )
        return area

    def _path(self, refs: Sequence[PointRef], closed: bool) -> np.ndarray:
        """Points joined straight in the flat, or along the section or span line where two
        neighbours name the same span or the same share."""
        pairs = list(zip(refs, [*refs[1:], refs[0]], strict=True))[: None if closed else -1]
        parts = []
        for a, b in pairs:
            parts.append(self._side(a, b)[:-1])
        if not closed:
            parts.append(self.point(refs[-1])[None])
        path = np.vstack(parts)
        return path if closed else directed(path)

    def _side(self, a: PointRef, b: PointRef) -> np.ndarray:
        if isinstance(a, OnFace) and isinstance(b, OnFace):
            same_span = abs(a.span_mm - b.span_mm) < SAME_SPAN_MM
            same_share = abs(a.share - b.share) < SAME_SHARE
            if same_span != same_share:
                t = np.linspace(0, 1, 201)[:, None]
                between = (1 - t) * [[a.span_mm, a.share]] + t * [[b.span_mm, b.share]]
                return np.asarray(self.face.to_pattern(between))
        return np.stack([self.point(a), self.point(b)])


def _beside(line: np.ndarray, neighbour: np.ndarray, by_mm: float) -> np.ndarray:
    """The line moved away from its neighbour."""
    away = dense(line, 50.0).mean(axis=0) - dense(neighbour, 50.0).mean(axis=0)
    return line + away / np.hypot(*away) * by_mm


def empty_region(layer: Layer, face: Face) -> Finding:
    """The finding for a layer of which nothing lies on the face."""
    long, wide = np.ptp(face.outline_mm, axis=0)
    return error(
        "region-empty",
        f"layer {layer.id} covers nothing: its region leaves no area of the mould face, which is "
        f"{mm(long):.1f} long and {mm(wide):.1f} wide",
        "check its distances against that size, and their unit: a bare number is in the unit of "
        "its file; and that it is not wholly taken away",
        *([] if layer.place == NOWHERE else [layer.place]),
        layers=(layer.id,),
    )


def past_part(layer: Layer, by_mm: float, edge: str) -> Finding:
    """The finding for core or a block drawn past the net line."""
    return warning(
        "core-past-part",
        f"the region of {layer.id} reaches {mm(by_mm):.1f} past the net line at {edge}: it is cut "
        "off at the net line",
        "draw it in, or move the edge of the part; only cloth runs past the net line, by `trim`",
        *([] if layer.place == NOWHERE else [layer.place]),
        layers=(layer.id,),
    )


def _unknown_layer(layer_id: str, known: tuple[str, ...]) -> Finding:
    return error(
        "unknown-layer",
        f"a region stands around {layer_id!r}, which is no layer of this part",
        f"the layers are {', '.join(known)}",
    )


def _circle(ids: list[str], layers: Mapping[str, Layer]) -> Finding:
    places: list[Place] = [layers[i].place for i in ids[:-1] if layers[i].place != NOWHERE]
    return error(
        "regions-in-a-circle",
        f"regions stand around each other in a circle: {' -> '.join(ids)}",
        "give one of them a region of its own",
        *places,
        layers=tuple(dict.fromkeys(ids)),
    )
