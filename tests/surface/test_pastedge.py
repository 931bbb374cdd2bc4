"""Past its edges a face goes on straight, hollow edges and ends that run to a point included."""

import numpy as np
import pytest
import shapely

from plybook.surface.mesh import pattern_mesh
from tests.surface.faces import CHANNEL, face, station

FIN = (station(0, 900), station(300, 700, sweep=150), station(700, 350, sweep=420),
       station(900, 180, sweep=640))  # fmt: skip
RAKED = (station(0, 600), station(300, 560, sweep=10, rise=5),
         station(500, 420, sweep=90, rise=60), station(600, 200, sweep=240, rise=160))  # fmt: skip
HOLLOW = (station(0, 900, sweep=-60), station(200, 700, sweep=80), station(400, 620, sweep=130),
          station(600, 700, sweep=80), station(800, 900, sweep=-60))  # fmt: skip
TO_A_POINT = (station(0, 1600), station(320, 120, twist=-1.5))
TWISTED = (station(0, 1050, "4415"),
           station(3900, 700, "4412", sweep=60, rise=190, twist=-2.0))  # fmt: skip
FACES = {
    "fin": (FIN, {"loft": "smooth"}),
    "raked": (RAKED, {"loft": "smooth"}),
    "hollow": (HOLLOW, {"loft": "smooth"}),
    "to a point": (TO_A_POINT, {"side": "lower"}),
    "twisted": (TWISTED, {"side": "lower"}),
    "channel": ((station(0, 1, CHANNEL), station(2000, 1, CHANNEL)), {}),
}


@pytest.fixture(scope="module", params=sorted(FACES))
def made(request):
    stations, more = FACES[request.param]
    return face(*stations, **more)


def band(face, out_mm, step_mm=10.0):
    """(n, 2) points on a line about a face."""
    around = shapely.Polygon(face.outline_mm).buffer(out_mm, join_style="mitre")
    return shapely.get_coordinates(shapely.segmentize(around.exterior, step_mm))


@pytest.mark.parametrize("out_mm", [5.0, 40.0, 120.0, 300.0])
def test_every_point_past_the_edges_comes_back(made, out_mm):
    points = band(made, out_mm)
    back = made.to_pattern(made.from_pattern(points))
    assert np.hypot(*(back - points).T).max() < 1e-6


@pytest.mark.parametrize(("margin_mm", "share"), [(20.0, 1e-3), (120.0, 0.02)])
def test_triangles_past_the_edges_lie_side_by_side(made, margin_mm, share):
    """Far out some lie on others within a triangle of where the straight lines cross."""
    mesh = pattern_mesh(made, made.outline_mm, (), margin_mm)
    corners = shapely.polygons(mesh.nodes_mm[mesh.triangles[:, :3]])
    assert (
        shapely.is_valid(corners).all() and shapely.is_ccw(shapely.get_exterior_ring(corners)).all()
    )
    outside = corners[mesh.margin]
    assert len(outside) > 100
    whole, apart = shapely.union_all(outside).area, shapely.area(outside).sum()
    assert whole <= apart * (1 + 1e-9) and apart <= whole * (1 + share)


def test_the_strip_past_an_edge_is_as_large_on_the_part_as_on_the_pattern(made):
    """Triangles of a 20 mm strip, of which the pattern knows nothing but its own plane."""
    wide = 20.0
    foot, tip = [], []
    for edge in made.edges:
        line = shapely.segmentize(shapely.LineString(edge.points_mm), 5.0)
        at = shapely.get_coordinates(line)
        way = np.diff(at, axis=0)
        way /= np.hypot(*way.T)[:, None]
        square = np.stack([way[:, 1], -way[:, 0]], axis=1) * wide
        foot.append((at[:-1], at[1:]))
        tip.append((at[:-1] + square, at[1:] + square))
    a, b = (np.concatenate([f[k] for f in foot]) for k in (0, 1))
    c, d = (np.concatenate([t[k] for t in tip]) for k in (0, 1))
    flat = area(a, b, c) + area(b, d, c)
    space = [made.to_space(p) for p in (a, b, c, d)]
    lifted = area(space[0], space[1], space[2]) + area(space[1], space[3], space[2])
    strain = max(made.strain.largest_tension_pct, -made.strain.largest_compression_pct) / 100
    assert lifted.sum() == pytest.approx(flat.sum(), rel=1e-3 + strain)


def area(a, b, c):
    u, v = (np.pad(x - a, ((0, 0), (0, 3 - a.shape[1]))) for x in (b, c))
    return np.linalg.norm(np.cross(u, v), axis=1) / 2


@pytest.mark.parametrize("name", ["raked", "hollow", "to a point"])
def test_of_all_straight_lines_to_a_point_the_shortest_holds(name):
    """Held against the lines from 4001 places of each edge, walked to the end one by one."""
    stations, more = FACES[name]
    made = face(*stations, **more)
    leaf, points = made.leaves[0], band(made, 250.0, 120.0)
    u, w = leaf.params(points)
    uc, wc = leaf.inside(u, w)
    length = np.hypot(*(points - leaf.flat(uc, wc)).T)
    for fixed_u in (True, False):
        ends, other = (leaf.from_mm, leaf.to_mm), leaf.w_range
        if not fixed_u:
            ends, other = other, ends
        at = np.linspace(*other, 4001)
        for end, sign in zip(ends, (-1.0, 1.0), strict=True):
            both = (np.full(4001, end), at) if fixed_u else (at, np.full(4001, end))
            begin = leaf.pattern.at(*both)
            way = sign * leaf.pattern.at(*both, int(fixed_u), int(not fixed_u))
            way /= np.hypot(*way.T)[:, None]
            for k, point in enumerate(points):
                off = point - begin
                ahead = np.sum(off * way, axis=1)
                side = way[:, 0] * off[:, 1] - way[:, 1] * off[:, 0]
                meets = (side[1:] * side[:-1] < 0) & (ahead[1:] > 0) & (ahead[:-1] > 0)
                if meets.any():
                    assert length[k] <= 1.001 * ahead[1:][meets].min() + 1.0, (name, k)
