"""The pattern of a layer that lies on whatever is below it.

Lifting the face by a height h along its normals turns the pattern's metric into
g = I - 2 h K + h^2 K^2 + grad h (grad h)^T, where K is the curvature in pattern axes (positive
where the bag side is concave), lengths measured on the face: exact for the offset surface; where
the face is not developable g is what lifting adds to what laying it flat costs. Laid flat again
this gives the cut pattern: a ramp of a bevel adds its slope, concave curvature shortens the layers
further up.

Terms:
    cut frame: the flat pattern of the raised layer; it lies as close to the mould's pattern as a
        rigid motion can bring it, with the reference axis kept along x.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from plybook.surface.develop import best_rigid
from plybook.surface.flatten import PATIENCE, Folds, Membrane, face_strain, folds
from plybook.surface.lifted import FOLLOWED, FOLLOWED_AT_LEAST, Bridged, raised_metric
from plybook.surface.mesh import QUARTERS, Inverse, PatternMesh, PiecewiseAffine, pattern_mesh
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.surface.sixnode import six_node_membrane
from plybook.surface.straight import mirror_of
from plybook.surface.strain import principal
from plybook.units import mm

Height = Callable[[np.ndarray], np.ndarray]
_UNRAISED_MM = 1e-6
_EXACT_MM = 1e-5
_MESHING = 70  # square of the points on lines that take as long to mesh as a triangle in a step
_REMEMBERED = 8  # layouts from which the next is guessed
_TELLING = 1e-4  # share of a change of height that must be new for it to tell anything
_SIZE, _SPREAD = 2e-3, 8.0  # area of a layout against that of the layer
_MARGIN_WEIGHT = 0.01  # cloth past the part asked for must not pull at it


@dataclass(frozen=True)
class Growth:
    """Size of the cut pattern less that of the mould's pattern, over the part asked for."""

    along_mm: float  # overall size along x
    across_mm: float  # overall size along y
    area_mm2: float


@dataclass(frozen=True)
class RaisedStrain:
    """Principal strains the layer takes up; corners of bevels are singular, so see `most_pct`."""

    tension_pct: float
    compression_pct: float
    most_pct: float  # not exceeded (either sign) on 99 % of the area
    triangle_pct: np.ndarray  # (m,) signed, for the picture


@dataclass(frozen=True)
class RaisedMap:
    """The way from the mould's pattern to the cut pattern and back.

    Attributes:
        unraised: the map is the identity.
        growth, strain: what lifting did.
        nodes_mm, cut_mm: (n, 2) nodes of its mesh on the mould's pattern and in the cut frame.
        triangles: (m, 3) of that mesh, matching `strain.triangle_pct`.
        bridged: the tightest hollow that the layer does not follow, None where it follows all.
    """

    growth: Growth
    strain: RaisedStrain
    nodes_mm: np.ndarray
    cut_mm: np.ndarray
    triangles: np.ndarray
    bridged: Bridged | None
    _maps: tuple[PiecewiseAffine, Inverse] | None
    _strain: Callable[[], np.ndarray]
    _mirror: np.ndarray

    @property
    def unraised(self) -> bool:
        return self._maps is None

    def fibre_turn_deg(self) -> np.ndarray:
        """(m,) how far straight fibres of the cut lie off their nominal angle, by triangle.

        Counter-clockwise positive, seen from the bag side: the rotation of the layer on the face
        against the cut (polar decomposition of the map, at the middle of each triangle).
        """
        legs, images = (
            nodes[self.triangles[:, 1:]] - nodes[self.triangles[:, :1]]
            for nodes in (self.nodes_mm, self.cut_mm)
        )
        slope = np.linalg.solve(legs, images)  # rows: images of the pattern's x and y
        return -np.degrees(
            np.arctan2(slope[:, 0, 1] - slope[:, 1, 0], slope[:, 0, 0] + slope[:, 1, 1])
        )

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame (n, 2) -> cut frame (n, 2)."""
        points = np.array(points_mm, dtype=float)
        if self._maps is None:
            return points
        return self._maps[0](points * self._mirror) * self._mirror

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame (n, 2) -> pattern frame (n, 2); exact inverse within the mesh."""
        points = np.array(points_mm, dtype=float)
        if self._maps is None:
            return points
        return self._maps[1](points * self._mirror) * self._mirror

    def strain_at(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2, 2) Green strain of the raised face against the cut, in axes of the cut frame, at
        points of the pattern; what laying the bare face flat costs is not in it."""
        if self._maps is None:
            return np.zeros((len(points_mm), 2, 2))
        which, _ = self._maps[0].locator.locate(np.asarray(points_mm) * self._mirror)
        return self._of_quarters[which]

    @cached_property
    def _of_quarters(self) -> np.ndarray:
        """(QUARTERS m, 2, 2) the strain of `strain_at`, by quarters of the triangles; only joints
        at breaks ask for it."""
        return self._strain() * np.outer(self._mirror, self._mirror)


UNRAISED = RaisedMap(
    Growth(0.0, 0.0, 0.0),
    RaisedStrain(0.0, 0.0, 0.0, np.zeros(0)),
    np.zeros((0, 2)),
    np.zeros((0, 2)),
    np.zeros((0, 3), dtype=int),
    None,
    None,
    partial(np.zeros, (0, 2, 2)),
    np.ones(2),
)


class Raiser:
    """Raises one stretch of a face to many heights: the mesh is made once.

    Use one raiser for all layers over the same core; a height field that gives the same heights
    as an earlier one is answered with the same map.
    """

    def __init__(
        self,
        face: Face,
        break_lines: Sequence[np.ndarray] = (),
        within: np.ndarray | None = None,
        margin_mm: float = 120.0,
        step_mm: float = 25.0,
    ):
        """
        Args:
            face: the mould face.
            break_lines: polylines (k, 2) on the pattern where heights have a crease; closed ones
                repeat their first point.
            within: ring (n, 2) of the part of the pattern asked for, default the net outline.
            margin_mm: how far the map is right past it (trim allowance); straight on beyond.
            step_mm: spacing of nodes along the break lines.
        """
        self.face, self.margin_mm, self.step_mm = face, margin_mm, step_mm
        self._mirror = mirror_of(face)
        self.break_lines = tuple(np.asarray(line) * self._mirror for line in break_lines)
        self.within = (face.outline_mm if within is None else np.asarray(within)) * self._mirror
        self._membrane: Membrane | None = None
        self._in_tight = FOLLOWED  # of tight hollows
        self._laid: list[tuple[np.ndarray, np.ndarray]] = []  # heights and nodes, the last ones
        self._begun: np.ndarray | None = None  # nodes from which the next layout goes on
        self._known: list[tuple[np.ndarray, RaisedMap]] = []
        self.work = 0  # triangles times steps so far, and as much as meshing took

    def raise_to(self, height_mm: Height) -> RaisedMap:
        """The map for one height field.

        Args:
            height_mm: pattern points (n, 2) -> heights (n,), also outside the net line.

        Raises:
            GeometryError: a height reaches the centre of curvature, or the layer folds.
        """
        corners = self._mesh.nodes_mm[: self._mesh.corners] * self._mirror
        heights = np.asarray(height_mm(corners), dtype=float)
        for known, answer in self._known:
            if np.abs(known - heights).max() < _UNRAISED_MM:
                return answer
        try:
            answer = UNRAISED if np.abs(heights).max() < _UNRAISED_MM else self._raised(heights)
        except Folds as refusal:
            if not self._mesh.margin[refusal.cells].all():
                raise
            self._let_go(refusal)
            return self.raise_to(height_mm)
        self._known.append((heights, answer))
        return answer

    def _let_go(self, refusal: Folds) -> None:
        """Do without triangles past the part asked for that fold, as they may where the lines that
        carry the face on run together: the map goes straight on there."""
        self._mesh, left = self._mesh.without(refusal.cells)
        self._begun = None if refusal.nodes is None else refusal.nodes[left]
        self._membrane, self._laid, self._known = None, [], []
        for name in ("_axis_spots", "_ring_spots"):
            self.__dict__.pop(name, None)

    @cached_property
    def _mesh(self) -> PatternMesh:
        mesh = pattern_mesh(self.face, self.within, self.break_lines, self.margin_mm, self.step_mm)
        self.work += mesh.on_lines**2 // _MESHING
        return mesh

    def _raised(self, heights: np.ndarray) -> RaisedMap:
        mesh = self._mesh
        metric, bridged = raised_metric(mesh, heights, self.face, self._in_tight)
        try:
            membrane, nodes = self._relaxed(metric, heights)
        except Folds:
            self._in_tight = FOLLOWED_AT_LEAST
            less, bridged = raised_metric(mesh, heights, self.face, self._in_tight)
            if np.array_equal(less, metric):
                raise
            metric = less
            membrane, nodes = self._relaxed(metric, heights)
        self._laid = [*self._laid[1 - _REMEMBERED :], (heights, nodes)]
        nodes = self._aligned(nodes, membrane.area.sum(axis=1))
        forth = PiecewiseAffine(mesh.locator, nodes)
        strain = _strain_of(membrane, nodes, mesh.margin)
        return RaisedMap(
            self._growth(forth),
            strain,
            mesh.nodes_mm * self._mirror,
            nodes * self._mirror,
            mesh.triangles[:, :3],
            bridged,
            (forth, Inverse(forth)),
            partial(_strain_of_quarters, mesh.parts, metric, mesh.nodes_mm, nodes),
            self._mirror,
        )

    def _relaxed(self, metric: np.ndarray, heights: np.ndarray) -> tuple[Membrane, np.ndarray]:
        """The membrane and its nodes of least energy, the first that hold of `_ways`.

        Raises:
            Folds: not even the last do, or those found fold past the part asked for alone.
        """
        mesh, nodes, before = self._mesh, None, self._membrane
        self._membrane = membrane = _raised_membrane(mesh, metric)
        if before is not None:
            membrane.factor, membrane.order = before.factor, before.order
        for start, stiff in self._ways(heights):
            try:
                nodes, rounds = membrane.relax(start, _EXACT_MM, stiff, PATIENCE)
            except Folds as refusal:
                wrong, rounds, nodes = refusal.cells, refusal.rounds, refusal.nodes
                self.work += rounds * len(mesh.triangles)
            else:
                self.work += rounds * len(mesh.triangles)
                wrong = _not_held(membrane, mesh, nodes)
                if not len(wrong):
                    return membrane, nodes
            membrane.factor = None
            if mesh.margin[wrong].all():
                break
        folded = folds_at(mesh, wrong, heights, self.face)
        folded.nodes = nodes
        raise folded

    def _ways(self, heights: np.ndarray) -> list[tuple[np.ndarray, bool]]:
        """Where to start from, and whether with resistance to folding, which changes nothing where
        nothing is pressed together: from the last nodes, from the bare pattern, without."""
        bare, begun = self._mesh.nodes_mm, self._begun
        starts = [self._guess(heights), bare] if self._laid else [bare]
        if begun is not None:
            starts, self._begun = [begun, *starts], None
        return [*((start, True) for start in starts), (bare, False)]

    def _guess(self, heights: np.ndarray) -> np.ndarray:
        """Nodes to start from: the last ones, moved on as far as the heights have been.

        Layer upon layer adds much the same and the pattern follows nearly in proportion, so the
        new height is put together from the last ones (least squares, by Gram and Schmidt).
        """
        past = [(np.zeros(len(heights)), self._mesh.nodes_mm), *self._laid]
        last, guess = past[-1]
        left, ways = heights - last, []
        for known, nodes in past[-2::-1]:
            rise, moved = last - known, past[-1][1] - nodes
            whole = np.einsum("n,n", rise, rise)
            for way, by in ways:
                share = np.einsum("n,n", rise, way) / np.einsum("n,n", way, way)
                rise, moved = rise - share * way, moved - share * by
            size = np.einsum("n,n", rise, rise)
            if size > _TELLING * whole:
                ways.append((rise, moved))
                share = np.einsum("n,n", left, rise) / size
                left, guess = left - share * rise, guess + share * moved
        return guess

    def _aligned(self, nodes: np.ndarray, area: np.ndarray) -> np.ndarray:
        """Least squares over the area, then the axis turned back along x where it lies inside."""
        mesh = self._mesh
        before, after = (n[mesh.triangles[:, 3:]].mean(axis=1) for n in (mesh.nodes_mm, nodes))
        turn, shift = best_rigid(after, before, area)
        nodes = nodes @ turn.T + shift
        if self._axis_spots is None:
            return nodes
        x, y = PiecewiseAffine(mesh.locator, nodes).carry(*self._axis_spots).T
        slope = np.polyfit(x - x.mean(), y - y.mean(), 1)[0]
        cos, sin = 1 / np.hypot(1, slope), slope / np.hypot(1, slope)
        nodes = nodes @ np.array([[cos, -sin], [sin, cos]])
        after = nodes[mesh.triangles[:, 3:]].mean(axis=1)
        return nodes + np.average(before - after, axis=0, weights=area)

    def _growth(self, forth: PiecewiseAffine) -> Growth:
        import shapely

        ring, spots = self._ring_spots
        cut = forth.carry(*spots)
        more = np.ptp(cut, axis=0) - np.ptp(ring, axis=0)
        area = shapely.Polygon(cut).area - shapely.Polygon(ring).area
        return Growth(float(more[0]), float(more[1]), float(area))

    @cached_property
    def _axis_spots(self):
        """The reference axis located in the mesh, None where hardly any of it lies inside."""
        import shapely

        axis = np.linspace(*self.face.axis_mm, 65)
        inside = shapely.make_valid(shapely.Polygon(self.within))
        hit = axis[shapely.contains_xy(inside, axis)]
        return self._mesh.locator.locate(hit) if len(hit) >= 8 else None

    @cached_property
    def _ring_spots(self):
        import shapely

        ring = shapely.get_coordinates(shapely.segmentize(shapely.Polygon(self.within), 10.0))
        return ring, self._mesh.locator.locate(ring)


def folds_at(mesh: PatternMesh, triangles: np.ndarray, heights: np.ndarray, face: Face) -> Folds:
    """The refusal of a layer some of whose triangles are turned over when it is laid flat."""
    corners = mesh.triangles[triangles[len(triangles) // 2], :3]
    at = mesh.nodes_mm[corners].mean(axis=0) * mirror_of(face)
    refusal = folds(
        f" at {place_words(at, face)}, over {mm(heights[corners].max()):.1f} of what lies below",
        "make what lies below thinner or its slopes gentler there, or end it further away",
    )
    refusal.at_mm, refusal.cells = at, triangles
    return refusal


def _not_held(membrane: Membrane, mesh: PatternMesh, nodes: np.ndarray) -> np.ndarray:
    """Triangles for which a layout cannot be cut: those that are turned over in part; the one
    strained most where the layout is not as large as the layer; none where it can be.

    The size is right by what is least energy: scaled as a whole it would not gain any, so the mean
    strain is of the order of the square of the strains.
    """
    a, b, c = (nodes[mesh.parts[:, k]] for k in range(3))
    b, c = b - a, c - a
    double = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    over = ~(double.reshape(-1, QUARTERS) > 0).all(axis=1)
    if over.any():
        return np.flatnonzero(over)
    inside = ~mesh.margin
    strain = membrane.strain(nodes)[inside]
    true = membrane.area[inside]
    spread = float(np.sum(true[..., None] * strain**2) / true.sum())
    size = double.reshape(-1, QUARTERS).sum(axis=1)[inside].sum() / 2
    if abs(size / true.sum() - 1) < _SIZE + _SPREAD * spread:
        return np.zeros(0, dtype=int)
    most = np.abs(strain).reshape(len(strain), -1).max(axis=1)
    return np.flatnonzero(inside)[[int(np.argmax(most))]]


def _raised_membrane(mesh: PatternMesh, metric: np.ndarray) -> Membrane:
    weight = np.where(mesh.margin, _MARGIN_WEIGHT, 1.0)
    return six_node_membrane(mesh, metric, weight)


def _strain_of_quarters(
    parts: np.ndarray, metric: np.ndarray, nodes_mm: np.ndarray, nodes: np.ndarray
) -> np.ndarray:
    """(QUARTERS m, 2, 2) Green strain against a layout of what has a metric over the pattern.

    In a quarter at a corner the metric is that at the inner point there, which is its middle.
    """
    middles = np.concatenate([metric, metric.mean(axis=1, keepdims=True)], axis=1)
    legs, images = (at[parts[:, 1:]] - at[parts[:, :1]] for at in (nodes_mm, nodes))
    back = np.linalg.solve(images, legs)  # rows: what a step along x and y of the cut comes from
    found = np.matmul(np.matmul(back, middles.reshape(-1, 2, 2)), back.swapaxes(-1, -2))
    return np.asarray((found - np.eye(2)) / 2)


def _strain_of(membrane: Membrane, nodes: np.ndarray, margin: np.ndarray) -> RaisedStrain:
    """Strain of all triangles; the figures leave the margin out."""
    strain = face_strain(membrane, nodes)
    most, least = (v.reshape(membrane.area.shape) for v in principal(strain.reshape(-1, 2, 2)))
    worst = np.where(np.abs(most) >= np.abs(least), most, least) * 100
    size, area = np.abs(worst[~margin]).ravel(), membrane.area[~margin].ravel()
    order = np.argsort(size)
    share = np.cumsum(area[order]) / area.sum()
    common = size[order][min(np.searchsorted(share, 0.99), len(order) - 1)]
    tension, compression = max(most[~margin].max(), 0) * 100, min(least[~margin].min(), 0) * 100
    return RaisedStrain(float(tension), float(compression), float(common), worst.mean(axis=1))
