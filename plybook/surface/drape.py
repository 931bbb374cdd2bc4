"""Pin-jointed net: how a woven cloth lies on a doubly curved face.

Warp and weft are taken as inextensible and pinned where they cross, so the cloth follows by
shearing alone (the fishnet of Mack and Taylor, Journal of the Textile Institute 47, 1956, T477;
cited from memory). Two generators, one of warp and one of weft, run straight (geodesic) from the
start point; every other node lies where two yarn steps from its two known neighbours meet.

All is done in the plane of parameters with the surface's metric, so that lengths are measured
along the face and not across its bends: a face that can be developed is draped exactly, whatever
the size of the cells. Shear is measured with the diagonals of each cell, which is second order
in the cell size.

Terms:
    cell: the patch between two neighbouring warp and two neighbouring weft yarns.
    net frame: the cloth before it is sheared: u along the warp, v along the weft, mm; this is
        the flat pattern of the cloth.
    locking angle: the shear at which the yarns jam and the cloth wrinkles.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from plybook.diagnostics import GeometryError, error
from plybook.surface.mesh import Locator, PiecewiseAffine
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.surface.raised import UNRAISED, RaisedMap
from plybook.surface.straight import lofted

Metric = Callable[[np.ndarray], np.ndarray]  # parameters (n, 2) -> first fundamental form (n, 2, 2)
Inside = Callable[[np.ndarray], np.ndarray]  # parameters (n, 2) -> (n,) True where a net is wanted
_ROUNDS = 40
_SETTLED = 1e-11  # last change of a node, of its parameters or the step
_AROUND = np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
_RING_MM = 12.0  # spacing of points along a region's outline
_FIELD_CELLS = 160  # of the strain field, along the longer side


@dataclass(frozen=True)
class Net:
    """A draped net of (nu, nv) nodes; nodes that could not be placed are NaN.

    Attributes:
        step_mm: yarn spacing.
        u_mm, v_mm: net coordinates of the rows and columns.
        nodes: (nu, nv, 2) surface parameters of the nodes (on a mould face: pattern mm).
        shear_deg: (nu - 1, nv - 1) shear of each cell, signed: positive where the angle between
            +u and +v has closed.
    """

    step_mm: float
    u_mm: np.ndarray
    v_mm: np.ndarray
    nodes: np.ndarray
    shear_deg: np.ndarray

    @property
    def largest_shear_deg(self) -> float:
        """Largest shear of either sign."""
        return float(np.nanmax(np.abs(self.shear_deg), initial=0.0))

    def locked(self, locking_deg: float) -> np.ndarray:
        """(nu - 1, nv - 1) True where the cell is sheared past the locking angle."""
        return np.nan_to_num(np.abs(self.shear_deg)) > locking_deg


def drape_net(
    metric: Metric,
    start: np.ndarray,
    warp: np.ndarray,
    step_mm: float,
    reach: tuple[int, int, int, int],
    inside: Inside | None = None,
) -> Net:
    """Drape a net over a surface.

    Args:
        metric: first fundamental form of the surface over its parameters.
        start: (2,) parameters where the generators cross.
        warp: (2,) direction of the warp there; the weft lies square to it on the surface,
            counter-clockwise in the parameters.
        step_mm: yarn spacing.
        reach: cells along +u, -u, +v and -v.
        inside: where the net is wanted; yarns end outside.
    """
    start = np.asarray(start, dtype=float)
    g = metric(start[None])[0]
    ahead = np.asarray(warp, dtype=float) / np.sqrt(warp @ g @ warp)
    aside = np.array([-(g @ ahead)[1], (g @ ahead)[0]]) / np.sqrt(np.linalg.det(g))
    nu, nv = reach[0] + reach[1] + 1, reach[2] + reach[3] + 1
    nodes = np.full((nu, nv, 2), np.nan)
    i0, j0 = reach[1], reach[3]
    ways = np.stack([ahead, -ahead, aside, -aside])
    yarns = _straight(metric, start, ways, step_mm, max(reach), inside)
    nodes[i0:, j0], nodes[i0::-1, j0] = yarns[0, : reach[0] + 1], yarns[1, : reach[1] + 1]
    nodes[i0, j0:], nodes[i0, j0::-1] = yarns[2, : reach[2] + 1], yarns[3, : reach[3] + 1]
    for at, way in _diagonals(reach):
        _fill(metric, nodes, at, way, step_mm, inside)
    u, v = (np.arange(nu) - i0) * step_mm, (np.arange(nv) - j0) * step_mm
    return Net(step_mm, u, v, nodes, _shear(metric, nodes))


def _length2(metric: Metric, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Squared length of the straight parameter lines from a to b."""
    leg = b - a
    mean = (metric(a) + 4 * metric((a + b) / 2) + metric(b)) / 6  # Simpson's
    return np.einsum("ni,nij,nj->n", leg, mean, leg)


def _straight(metric: Metric, start, ways, step_mm: float, count: int, inside) -> np.ndarray:
    """(k, count + 1, 2) nodes of geodesics in k ways (k, 2) at equal lengths, NaN from where they
    leave the surface (Runge-Kutta, two steps from node to node)."""
    nodes = np.full((len(ways), count + 1, 2), np.nan)
    nodes[:, 0] = start
    left, h = np.arange(len(ways)), step_mm / 2
    at, v = nodes[:, 0], ways
    width = 0.2 * step_mm * np.abs(ways).max(axis=1)
    for number in range(1, count + 1):
        for _ in range(2):
            a1 = _bend(metric, at, v, width)
            a2 = _bend(metric, at + h / 2 * v, v + h / 2 * a1, width)
            a3 = _bend(metric, at + h / 2 * v + h * h / 4 * a1, v + h / 2 * a2, width)
            a4 = _bend(metric, at + h * v + h * h / 2 * a2, v + h * a3, width)
            at = at + h * v + h * h / 6 * (a1 + a2 + a3)
            v = v + h / 6 * (a1 + 2 * a2 + 2 * a3 + a4)
            v = v / np.sqrt(np.einsum("ni,nij,nj->n", v, metric(at), v))[:, None]
        on = np.isfinite(at).all(axis=1)
        if inside is not None:
            on &= inside(at)
        left, at, v, width = left[on], at[on], v[on], width[on]
        if not len(left):
            break
        nodes[left, number] = at
    return nodes


def _bend(metric: Metric, at: np.ndarray, v: np.ndarray, width: np.ndarray) -> np.ndarray:
    """(n, 2) second derivatives of geodesics at (n, 2) with first derivatives v, with slopes of
    the metric over a width (n,)."""
    around = at[:, None] + width[:, None, None] * _AROUND
    g = metric(around.reshape(-1, 2)).reshape(-1, len(_AROUND), 2, 2)
    by = g[:, [1, 3]] - g[:, [2, 4]]  # by[:, k] = dg / dp_k
    by /= 2 * width[:, None, None, None]
    along = np.einsum("nkij,nk,nj->ni", by, v, v)
    across = np.einsum("nkij,ni,nj->nk", by, v, v)
    return -np.linalg.solve(g[:, 0], (along - across / 2)[..., None])[..., 0]


def _diagonals(reach: tuple[int, int, int, int]) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Nodes of all four quarters in the order in which they can be found: (n, 2) rows and columns,
    and (n, 2) ways outwards along both."""
    quarters = []
    for su, rows in ((1, reach[0]), (-1, reach[1])):
        for sv, columns in ((1, reach[2]), (-1, reach[3])):
            out = np.argwhere(np.ones((rows, columns), dtype=bool)) + 1
            way = np.broadcast_to([su, sv], out.shape)
            quarters.append((out.sum(axis=1), [reach[1], reach[3]] + way * out, way))
    number, at, way = (np.concatenate(part) for part in zip(*quarters, strict=True))
    order = np.argsort(number, kind="stable")
    stops = np.flatnonzero(np.diff(number[order])) + 1
    for some in np.split(order, stops):
        yield at[some], way[some]


def _fill(
    metric: Metric, nodes: np.ndarray, at: np.ndarray, way: np.ndarray, step_mm: float, inside
) -> None:
    """Set those nodes (n, 2) whose neighbours towards the start are known (Newton on the two yarn
    lengths)."""
    (i, j), (su, sv) = at.T, way.T
    a, b, back = nodes[i - su, j], nodes[i, j - sv], nodes[i - su, j - sv]
    known = np.isfinite(a + b + back).all(axis=1)
    i, j, a, b, back = i[known], j[known], a[known], b[known], back[known]
    if not len(i):
        return
    spot, off = a + b - back, np.full(len(i), np.inf)
    ends = np.stack([a, b], axis=1)
    at_ends = metric(ends.reshape(-1, 2)).reshape(-1, 2, 2, 2)
    left = np.arange(len(i))
    for _ in range(_ROUNDS):
        here = spot[left]
        leg = here[:, None] - ends[left]
        g = metric(np.concatenate([here[:, None], ends[left] + leg / 2], axis=1).reshape(-1, 2))
        g = g.reshape(-1, 3, 2, 2)
        mean = (at_ends[left] + 4 * g[:, 1:] + g[:, :1]) / 6  # Simpson's
        pull = np.matmul(mean, leg[..., None])[..., 0]  # (n, both ends, 2)
        miss = np.sum(pull * leg, axis=2) - step_mm**2
        det = 2 * (pull[:, 0, 0] * pull[:, 1, 1] - pull[:, 0, 1] * pull[:, 1, 0])
        det = np.where(np.abs(det) > 1e-300, det, np.inf)
        change = miss[:, :1] * pull[:, 1, ::-1] - miss[:, 1:] * pull[:, 0, ::-1]
        change *= np.array([1.0, -1.0]) / det[:, None]
        spot[left] = here - change
        off[left] = np.abs(miss).max(axis=1) / step_mm**2
        size = np.maximum(step_mm, np.abs(spot[left]).max(axis=1))
        left = left[~(np.abs(change).max(axis=1) <= _SETTLED * size)]
        if not len(left):
            break
    good = (off < 1e-7) & (_length2(metric, back, spot) > (0.05 * step_mm) ** 2)
    if inside is not None:
        good &= inside(spot)
    nodes[i[good], j[good]] = spot[good]


def _shear(metric: Metric, nodes: np.ndarray) -> np.ndarray:
    """Shear of each rhombic cell from its diagonals, degrees."""
    corners = nodes[:-1, :-1], nodes[1:, 1:], nodes[1:, :-1], nodes[:-1, 1:]
    shape = corners[0].shape[:2]
    a, c, b, d = (corner.reshape(-1, 2) for corner in corners)
    shear = np.full(len(a), np.nan)
    whole = np.isfinite(a + b + c + d).all(axis=1)
    long = _length2(metric, a[whole], c[whole])
    short = _length2(metric, b[whole], d[whole])
    shear[whole] = 90.0 - np.degrees(2 * np.arctan2(np.sqrt(short), np.sqrt(long)))
    return shear.reshape(shape)


# ---------------------------------------------------------------- on a mould face


@dataclass(frozen=True)
class Drape:
    """A woven ply draped on a face: the net, and the way from pattern to cloth and back.

    The cut frame is the unsheared cloth, laid over the pattern with the start point in place and
    the warp along the ply's angle. Over what lies below, the net is draped in the cut frame of the
    raised face (`raised`), whose lengths are those of the layer.
    """

    net: Net
    start_mm: np.ndarray  # (2,) where the generators cross, as raised
    angle_deg: float
    locking_deg: float
    raised: RaisedMap = UNRAISED
    region_mm: np.ndarray | None = None  # (n, 2) ring it is draped over, as raised

    @cached_property
    def edge_shear_deg(self) -> np.ndarray:
        """(n,) shear along the edge of the region, where it is mostly largest: that of the nearest
        cell, carried on by its change from cell to cell inside the region."""
        if self.region_mm is None or not np.isfinite(self.net.shear_deg).any():
            return np.zeros(0)
        cos, sin = np.cos(np.radians(self.angle_deg)), np.sin(np.radians(self.angle_deg))
        cloth = self._maps[0](self.region_mm) - self.start_mm
        first = np.array([self.net.u_mm[0], self.net.v_mm[0]])
        spots = (cloth @ np.array([[cos, -sin], [sin, cos]]) - first) / self.net.step_mm - 0.5
        return _carried_on(self.net.shear_deg, spots)

    @property
    def largest_shear_deg(self) -> float:
        """Largest shear of either sign, up to the edge of the region."""
        edge = float(np.max(np.abs(self.edge_shear_deg), initial=0.0))
        return max(self.net.largest_shear_deg, edge)

    @cached_property
    def _maps(self) -> tuple[PiecewiseAffine, PiecewiseAffine]:
        shape = self.net.nodes.shape[:2]
        index = np.arange(shape[0] * shape[1]).reshape(shape)
        corners = [index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]]
        a, b, c, d = (corner.ravel() for corner in corners)
        middle = index.size + np.arange(a.size)  # cut in four, so that either hand is cut alike
        sides = ((a, b), (b, c), (c, d), (d, a))
        triangles = np.concatenate([np.stack([p, q, middle], 1) for p, q in sides])
        on_face = _with_middles(self.net.nodes)
        triangles = triangles[np.isfinite(on_face[triangles, 0]).all(axis=1)]
        u, v = np.meshgrid(self.net.u_mm, self.net.v_mm, indexing="ij")
        cos, sin = np.cos(np.radians(self.angle_deg)), np.sin(np.radians(self.angle_deg))
        turn = np.array([[cos, -sin], [sin, cos]])
        cloth = _with_middles(np.stack([u, v], axis=2)) @ turn.T + self.start_mm
        forth = PiecewiseAffine(Locator(on_face, triangles), cloth)
        return forth, PiecewiseAffine(Locator(cloth, triangles), on_face)

    def to_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Pattern frame (n, 2) -> cut frame (n, 2)."""
        return self._maps[0](self.raised.to_cut(points_mm))

    def from_cut(self, points_mm: np.ndarray) -> np.ndarray:
        """Cut frame (n, 2) -> pattern frame (n, 2)."""
        return self.raised.from_cut(self._maps[1](points_mm))

    def fibre_turn_deg(self) -> tuple[np.ndarray, np.ndarray]:
        """How far warp and weft lie off their nominal angles, (nu - 1, nv - 1) each, by cell.

        Counter-clockwise positive; NaN where the net is not wanted. Their difference is the
        shear.
        """
        along = np.diff(self.net.nodes, axis=0)
        across = np.diff(self.net.nodes, axis=1)
        turns = (
            _off(along[:, 1:] + along[:, :-1], self.angle_deg),
            _off(across[1:] + across[:-1], self.angle_deg + 90.0),
        )
        warp, weft = (np.where(np.isfinite(self.net.shear_deg), t, np.nan) for t in turns)
        return warp, weft

    @property
    def locked_share(self) -> float:
        """Share of the net's cells that are sheared past the locking angle."""
        cells = np.isfinite(self.net.shear_deg).sum()
        return float(self.net.locked(self.locking_deg).sum() / max(cells, 1))


def _carried_on(field: np.ndarray, spots: np.ndarray) -> np.ndarray:
    """(n,) values of a field (a, b) at spots (n, 2) in its rows and columns, from the nearest place
    that has a value and its slopes to neighbours that have one."""
    from scipy.spatial import cKDTree

    known = np.argwhere(np.isfinite(field))
    nearest = known[cKDTree(known).query(spots)[1]]
    wide = np.pad(field, 1, constant_values=np.nan)
    i, j = (nearest + 1).T
    here = wide[i, j]
    found = here.copy()
    for axis, (a, b) in enumerate(((1, 0), (0, 1))):
        steps = np.stack([wide[i + a, j + b] - here, here - wide[i - a, j - b]])
        sound = np.isfinite(steps)
        slope = np.where(sound, steps, 0.0).sum(axis=0) / np.maximum(sound.sum(axis=0), 1)
        found += slope * np.clip((spots - nearest)[:, axis], -1.0, 1.0)
    return found


def _with_middles(nodes: np.ndarray) -> np.ndarray:
    """(nu, nv, 2) -> (n, 2): the nodes, then the middles of all cells."""
    middles = (nodes[:-1, :-1] + nodes[1:, :-1] + nodes[1:, 1:] + nodes[:-1, 1:]) / 4
    return np.concatenate([nodes.reshape(-1, 2), middles.reshape(-1, 2)])


def _off(way: np.ndarray, nominal_deg: float) -> np.ndarray:
    """Angle of directions (..., 2) against a nominal one, -180..180."""
    off = np.degrees(np.arctan2(way[..., 1], way[..., 0])) - nominal_deg
    return (off + 180.0) % 360.0 - 180.0


def drape_ply(
    face: Face,
    region_mm: np.ndarray,
    angle_deg: float,
    locking_deg: float,
    step_mm: float = 0.0,
    raised: RaisedMap = UNRAISED,
) -> Drape:
    """Drape a woven ply over its region of the face.

    The generators start in the middle of the region, the warp along the ply's angle.

    Args:
        face: the mould face.
        region_mm: (n, 2) ring on the pattern, with its trim allowance.
        angle_deg: of the warp, counter-clockwise from the reference axis.
        locking_deg: of the cloth.
        step_mm: yarn spacing of the net; 0 takes a 60th of the region's reach.
        raised: the face as the layers below have left it.

    Returns:
        The drape; shear is given for the cells inside the region.

    Raises:
        GeometryError: the first yarns leave the surface at once.
    """
    import shapely

    outline = shapely.segmentize(shapely.Polygon(region_mm), _RING_MM)
    ring = raised.to_cut(shapely.get_coordinates(outline.exterior)[:-1])
    region = shapely.Polygon(ring)
    middle = region.centroid if region.contains(region.centroid) else region.point_on_surface()
    start = np.array([middle.x, middle.y])
    reach = float(np.hypot(*(ring - start).T).max())
    step = step_mm or reach / 60
    around = middle.buffer(1.05 * reach + 3 * step)  # yarns reach the corners from a full round
    shapely.prepare(around)
    turn = np.radians(angle_deg)
    count = int(np.ceil(1.1 * reach / step)) + 4
    net = drape_net(
        pattern_metric(face, ring, raised),
        start,
        np.array([np.cos(turn), np.sin(turn)]),
        step,
        (count,) * 4,
        lambda spots: shapely.contains_xy(around, spots),
    )
    if np.isfinite(net.nodes[..., 0]).sum() < 3:
        begins = raised.from_cut(start[None])[0]
        raise GeometryError(
            error(
                "drape-start",
                f"a draped cloth cannot be begun in the middle of its region, at "
                f"{place_words(begins, face)}: the face is too uneven there for straight yarns",
            )
        )
    centre = (net.nodes[1:, 1:] + net.nodes[:-1, :-1] + net.nodes[1:, :-1] + net.nodes[:-1, 1:]) / 4
    wanted = shapely.contains_xy(region, centre.reshape(-1, 2)).reshape(centre.shape[:2])
    net = replace(net, shear_deg=np.where(wanted, net.shear_deg, np.nan))
    return Drape(net, start, angle_deg, locking_deg, raised, ring)


def pattern_metric(face: Face, ring_mm: np.ndarray, raised: RaisedMap = UNRAISED) -> Metric:
    """The metric of a layer over its developed pattern: 1 + 2 E with the strain E sampled on a
    grid, that of the bare face and that of what lies below together.

    Past the ring the nearest values go on.
    """
    if face.flat and raised.unraised:
        return lambda spots: np.broadcast_to(np.eye(2), (len(spots), 2, 2))
    low, high = np.min(ring_mm, axis=0), np.max(ring_mm, axis=0)
    cell = (high - low).max() / _FIELD_CELLS
    counts = np.maximum(np.ceil((high - low) / cell).astype(int), 8)
    x, y = (np.linspace(low[k], high[k], counts[k] + 1) for k in (0, 1))
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    below = raised.from_cut(grid)
    strain = raised.strain_at(below)
    if not face.flat:
        strain = strain + lofted(face).strain_at(below)
    field = (np.eye(2) + 2 * strain).reshape(len(x), len(y), 2, 2)
    size = (high - low) / counts

    def metric(spots: np.ndarray) -> np.ndarray:
        at = np.nan_to_num((spots - low) / size)
        at = np.clip(at, 0.0, counts - 1e-9)
        i, j = np.floor(at).astype(int).T
        p, q = (at - np.stack([i, j], axis=1)).T[..., None, None]
        near = field[i, j] * (1 - q) + field[i, j + 1] * q
        far = field[i + 1, j] * (1 - q) + field[i + 1, j + 1] * q
        return near * (1 - p) + far * p

    return metric
