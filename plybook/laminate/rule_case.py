"""What a trade rule looks at: the laid-up part, with the lines and orders rules speak of.

Terms:
    end: a stretch of a ply's outline inside the part, away from the net line.
    breach: one place where a rule is not kept.
    bond land: where a peel ply lies that is pulled off for a later joint.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from plybook.diagnostics import Severity
from plybook.laminate.model import LaidLayer, Piece, Zone
from plybook.spec.model import Film, Layer, PartSpec
from plybook.surface.model import Face
from plybook.surface.places import place_words

ON_NET_MM = 1.0


@dataclass(frozen=True)
class Breach:
    """One place where a rule is not kept; `severity` overrides the rule's own."""

    message: str
    layers: tuple[str, ...]
    severity: Severity | None = None


@dataclass(frozen=True)
class Splice:
    """A joint within one ply, on the mould-face pattern; `at_break` is the name of the break of
    the face that it lies on, if any."""

    layer: str
    kind: str
    overlap_mm: float
    line: shapely.LineString
    at_break: str = ""


@dataclass(frozen=True)
class Case:
    """A laid-up part under the rules."""

    spec: PartSpec
    face: Face
    layers: tuple[LaidLayer, ...]
    pieces: tuple[Piece, ...]
    zones: tuple[Zone, ...]

    @cached_property
    def written(self) -> dict[str, Layer]:
        """The layers of the spec by id."""
        return {layer.id: layer for layer in self.spec.layers}

    @cached_property
    def net(self) -> shapely.Polygon:
        """The face up to its net line."""
        return shapely.Polygon(self.face.outline_mm, self.face.holes_mm)

    @cached_property
    def plies(self) -> tuple[LaidLayer, ...]:
        """The plies, first laid first."""
        return tuple(layer for layer in self.layers if layer.kind == "ply")

    @cached_property
    def order(self) -> dict[str, int]:
        """Place of each layer in the stack."""
        return {layer.id: i for i, layer in enumerate(self.layers)}

    @cached_property
    def _net_band(self) -> shapely.Geometry:
        return self.net.boundary.buffer(ON_NET_MM)

    @cached_property
    def ends(self) -> dict[str, shapely.Geometry]:
        """The ends of each layer inside the part; empty where it runs to the net line."""
        known: dict[bytes, shapely.Geometry] = {}
        found = {}
        for layer in self.layers:
            key = shapely.to_wkb(layer.region)
            if key not in known:
                inside = layer.region.boundary.intersection(self.net)
                known[key] = inside.difference(self._net_band)
            found[layer.id] = known[key]
        return found

    @cached_property
    def drops(self) -> dict[str, shapely.Geometry]:
        """The ends of each layer beyond which others go on; what stops where the whole laminate
        does, as at the rim of an opening, does not drop."""
        whole = shapely.union_all([layer.region for layer in self.layers])
        rim = whole.boundary.buffer(ON_NET_MM)
        return {name: ends.difference(rim) for name, ends in self.ends.items()}

    @cached_property
    def bond_lands(self) -> tuple[LaidLayer, ...]:
        """Peel plies that are pulled off later."""
        films = {x.id for x in self.spec.layers if isinstance(x, Film) and x.removed_after}
        return tuple(layer for layer in self.layers if layer.id in films)

    @cached_property
    def splices(self) -> tuple[Splice, ...]:
        """Every joint within a ply once, from the laid outlines of its pieces."""
        found = []
        own: dict[str, list[Piece]] = {}
        for piece in self.pieces:
            if piece.kind == "ply" and piece.splice is not None:
                own.setdefault(piece.layer, []).append(piece)
        for layer, pieces in own.items():
            for i, one in enumerate(pieces):
                joint = one.splice
                for other in pieces[i + 1 :]:
                    if joint is None or other.id not in joint.neighbours:
                        continue
                    line = _joint(one, other)
                    if line is not None:
                        name = next((e.name for e in one.edges if e.mate == other.id), "")
                        at_break = name if name.startswith("kink ") else ""
                        found.append(Splice(layer, joint.kind, joint.overlap_mm, line, at_break))
        return tuple(found)

    def where(self, shape: shapely.Geometry) -> str:
        """A place of the pattern in the builder's words."""
        if isinstance(shape, shapely.LineString | shapely.MultiLineString):
            return place_words(middle_of_longest(shape), self.face)
        point = shape if isinstance(shape, shapely.Point) else shape.representative_point()
        return place_words(np.asarray(point.coords[0]), self.face)

    def thickness_mm(self, layer: str) -> float:
        """Thickness of a layer by id."""
        return next(x.thickness_mm for x in self.layers if x.id == layer)


def middle_of_longest(lines: shapely.LineString | shapely.MultiLineString) -> np.ndarray:
    """(2,) the middle of the longest line, wherever the rings that lines are of begin; of a closed
    line its point of least x."""
    merged = shapely.line_merge(lines) if len(shapely.get_parts(lines)) > 1 else lines
    longest = max(shapely.get_parts(merged), key=lambda line: line.length)
    if longest.is_closed:
        points = shapely.get_coordinates(longest)
        return points[np.argmin(np.round(points[:, 0], 3))]
    return np.asarray(longest.interpolate(0.5, normalized=True).coords[0])


def names(ids: tuple[str, ...] | list[str]) -> str:
    """Layer ids as a list in words: A, B and C."""
    ids = list(ids)
    if len(ids) < 2:
        return "".join(ids)
    return f"{', '.join(ids[:-1])} and {ids[-1]}"


def _joint(one: Piece, other: Piece) -> shapely.LineString | None:
    """The middle of the overlap of two pieces, or the line they meet on."""
    a, b = shapely.Polygon(one.laid_outline_mm), shapely.Polygon(other.laid_outline_mm)
    shared = a.buffer(0.1).intersection(b.buffer(0.1))
    if shared.is_empty or shared.area < 1e-3:
        return None
    box = np.asarray(shared.minimum_rotated_rectangle.exterior.coords)[:4]
    if np.linalg.norm(box[1] - box[0]) < np.linalg.norm(box[2] - box[1]):
        box = np.roll(box, -1, axis=0)
    line = shapely.LineString([(box[0] + box[3]) / 2, (box[1] + box[2]) / 2])
    return line if line.length > 5.0 else None
