"""The pin-jointed net against the similarity solution of a net on a sphere.

For a net with geodesic generators on a sphere of radius R the angle between the yarns is a
function f of z = u v / R^2 only: z f'' + f' + sin f = 0, f(0) = 90 degrees (from the Chebyshev net
equation; geometry after Mack and Taylor 1956). The values below come from that equation.
"""

import numpy as np
import pytest
import shapely
from scipy.integrate import solve_ivp

from plybook.diagnostics import GeometryError
from plybook.surface.drape import drape_net, drape_ply
from plybook.surface.raised import Raiser
from tests.surface.faces import face, half_circle, station
from tests.surface.test_darts import cap
from tests.surface.test_raised import level, strip_core, strip_lines

# polar angle on the bias line, degrees -> shear, degrees
BIAS = {10: 0.8683, 20: 3.4221, 30: 7.5204, 45: 16.1128, 60: 26.9457, 75: 39.2695, 90: 52.4252}
# u v / R^2 -> shear, degrees
LADDER = {0.05: 2.8644, 0.1: 5.7264, 0.25: 14.2744, 0.5: 28.2568, 0.75: 41.6795}
NODES = {  # (u, v) -> place, R = 1
    (0.5, 0.5): (0.47438, 0.47438, 0.74157),
    (0.8, 0.4): (0.70471, 0.38278, 0.59738),
    (1.0, 0.5): (0.80489, 0.45968, 0.37528),
}


def sphere(spots):
    """Metric of the unit sphere over stereographic parameters, the pole at (0, 0)."""
    scale = 2 / (1 + np.sum(spots**2, axis=1))
    return scale[:, None, None] ** 2 * np.eye(2)


def place(spots):
    """Points on the unit sphere."""
    q = 1 + np.sum(spots**2, axis=-1, keepdims=True)
    return np.concatenate([2 * spots / q, 2 / q - 1], axis=-1)


@pytest.fixture(scope="module")
def net():
    return drape_net(sphere, np.zeros(2), np.array([1.0, 0.0]), 1 / 400, (404, 0, 404, 0))


def test_generators_are_great_circles(net):
    row = place(net.nodes)[:, 0]
    angle = np.arctan2(row[:, 0], row[:, 2])
    assert np.abs(row[:, 1]).max() < 1e-9
    assert angle == pytest.approx(np.arange(405) / 400, abs=1e-7)


def test_every_yarn_step_keeps_its_length(net):
    for axis in (0, 1):
        chords = np.linalg.norm(np.diff(place(net.nodes), axis=axis), axis=2)
        arcs = 2 * np.arcsin(chords / 2)
        assert np.nanmax(np.abs(arcs - 1 / 400)) < 1e-7 / 400 * 50


def test_shear_on_the_bias_line_is_that_of_the_table(net):
    diagonal = np.arange(400)
    middle = place(net.nodes)[diagonal, diagonal] + place(net.nodes)[diagonal + 1, diagonal + 1]
    polar = np.degrees(np.arctan2(np.hypot(*middle[:, :2].T), middle[:, 2]))
    shear = net.shear_deg[diagonal, diagonal]
    got = np.interp(list(BIAS), polar, shear)
    assert got == pytest.approx(list(BIAS.values()), abs=0.02)


def test_shear_depends_on_the_product_of_the_yarn_lengths(net):
    middle = (np.arange(404) + 0.5) / 400
    for z, want in LADDER.items():
        for u in (0.6, 0.8, 1.0):
            if z / u > 1:
                continue
            row = net.shear_deg[int(u * 400)]
            at = middle[int(u * 400)]
            assert np.interp(z / at, middle, row) == pytest.approx(want, abs=0.1)


def test_nodes_lie_where_the_table_says(net):
    for (u, v), want in NODES.items():
        got = place(net.nodes)[round(u * 400), round(v * 400)]
        assert got == pytest.approx(want, abs=1e-4)


def test_the_four_quarters_are_alike():
    whole = drape_net(sphere, np.zeros(2), np.array([1.0, 0.0]), 1 / 40, (30, 30, 30, 30))
    assert whole.shear_deg == pytest.approx(-whole.shear_deg[::-1], abs=1e-8)
    assert whole.shear_deg == pytest.approx(whole.shear_deg.T, abs=1e-8)


def shear_on_a_sphere(z):
    """Shear, degrees, where u v / R^2 is z: z f'' + f' + sin f = 0, f(0) = 90 degrees, from the
    start of its series f = pi/2 - z + z^3 / 18."""
    start = 1e-3
    slopes = solve_ivp(lambda z, f: [f[1], -(f[1] + np.sin(f[0])) / z], (start, z),
                       [np.pi / 2 - start + start**3 / 18, start**2 / 6 - 1],
                       rtol=1e-10, atol=1e-12)  # fmt: skip
    return 90.0 - np.degrees(slopes.y[0, -1])


def test_the_reference_itself_gives_the_table():
    for z, want in LADDER.items():
        assert shear_on_a_sphere(z) == pytest.approx(want, abs=2e-3)


@pytest.mark.parametrize("angle", [0.0, 20.0])
@pytest.mark.parametrize("step_mm", [0.0, 25.0])
def test_shear_is_read_up_to_the_edge_of_the_region(angle, step_mm):
    """A cloth cut square, 2 x 360 mm by 2 x 300 mm, on a sphere of 1000 mm: largest at its
    corners."""
    made = cap()
    whole = drape_ply(made, made.outline_mm, angle, 35.0)
    turn = np.radians(angle)
    way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    square = shapely.segmentize(shapely.box(-360, -300, 360, 300), 10.0)
    ring = whole.from_cut(shapely.get_coordinates(square)[:-1] @ way + whole.start_mm)
    drape = drape_ply(made, ring, angle, 35.0, step_mm=step_mm)
    assert drape.start_mm == pytest.approx(whole.start_mm, abs=0.1)
    assert drape.largest_shear_deg == pytest.approx(shear_on_a_sphere(0.36 * 0.30), abs=0.05)


def test_a_net_on_a_developable_face_does_not_shear_and_keeps_its_pattern():
    made = face(station(0, 1, half_circle(80.0)), station(400, 1, half_circle(80.0)), axis=0.5)
    ring = np.array([[60, -90], [340, -90], [340, 90], [60, 90.0]])
    drape = drape_ply(made, ring, 30.0, 35.0, step_mm=15.0)
    assert drape.net.largest_shear_deg < 1e-3
    cloth = drape.to_cut(ring)
    assert cloth == pytest.approx(ring, abs=0.002)
    assert drape.from_cut(cloth) == pytest.approx(ring, abs=1e-6)
    assert drape.locked_share == 0


def test_a_net_on_a_twisted_face_shears_and_reports_locking():
    made = face(station(0, 600), station(800, 600, twist=25))
    drape = drape_ply(made, made.outline_mm, 0.0, 1.0, step_mm=12.0)
    assert drape.net.largest_shear_deg > 1.0
    assert 0 < drape.locked_share < 1
    ring = made.outline_mm
    assert drape.from_cut(drape.to_cut(ring)) == pytest.approx(ring, abs=1e-6)


def test_the_yarns_turn_against_each_other_by_the_shear():
    made = face(station(0, 600), station(800, 600, twist=25))
    drape = drape_ply(made, made.outline_mm, 30.0, 35.0, step_mm=12.0)
    warp, weft = drape.fibre_turn_deg()
    assert np.nanmax(np.abs(warp)) > 0.2
    # the pattern of a twisted face is itself strained, here by up to some tenths of a percent
    assert np.nanmax(np.abs(warp - weft - drape.net.shear_deg)) < 0.5
    sound = np.isfinite(warp)
    assert np.corrcoef((warp - weft)[sound], drape.net.shear_deg[sound])[0, 1] > 0.98


def lifted_yarns(made, drape, height, inset):
    """Lengths of straight yarns of the cloth, and of the same yarns on the raised face in space:
    the face plus its normals times the height, summed in steps of a quarter of a millimetre."""
    inside = shapely.Polygon(made.outline_mm).buffer(-inset)
    turn = np.radians(drape.angle_deg)
    ways = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    steps = np.linspace(-600, 600, 4801)
    for way, aside in (ways, ways[::-1]):
        for off in np.linspace(-300, 300, 7):
            yarn = drape.start_mm + off * aside + steps[:, None] * way
            laid = drape.from_cut(yarn)
            there = np.flatnonzero(shapely.contains_xy(inside, *laid.T))
            if len(there) < 200 or len(there) != np.ptp(there) + 1:
                continue
            space = made.to_space(laid[there]) + height(laid[there])[:, None] * made.normals(
                laid[there]
            )
            true = np.linalg.norm(np.diff(space, axis=0), axis=1).sum()
            yield float(np.ptp(steps[there])), float(true)


@pytest.mark.slow
@pytest.mark.parametrize("angle", [0.0, 30.0])
@pytest.mark.parametrize(("core", "share"), [(False, 5e-5), (True, 8e-4)])
def test_yarns_keep_their_length_on_what_lies_below(core, share, angle):
    """A pin-jointed net does not stretch: 10 mm up on a dome, and over a core on it with edges of
    45 degrees (which are not developable beside the core)."""
    made = cap()
    low, high = made.outline_mm[:, 1].min(), made.outline_mm[:, 1].max()
    lines, height = [], level(10.0)
    if core:
        height = strip_core(low + 150, high - 150)
        lines = strip_lines(low + 150, high - 150, (-300, 1100))
    raised = Raiser(made, lines).raise_to(height)
    drape = drape_ply(made, made.outline_mm, angle, 35.0, raised=raised)
    yarns = list(lifted_yarns(made, drape, height, 20.0))
    assert len(yarns) >= 8
    for cloth, true in yarns:
        assert cloth == pytest.approx(true, rel=share)
    ring = made.outline_mm * 0.9 + 0.1 * made.outline_mm.mean(axis=0)
    assert drape.from_cut(drape.to_cut(ring)) == pytest.approx(ring, abs=1e-5)
    if not core:  # a smaller sphere: the same net, every yarn shorter by a hundredth
        bare = drape_ply(made, made.outline_mm, angle, 35.0)
        assert drape.net.largest_shear_deg == pytest.approx(bare.net.largest_shear_deg, abs=0.03)


def test_a_net_that_cannot_be_begun_is_refused_with_its_place(monkeypatch):
    made = face(station(0, 1, half_circle(80.0)), station(400, 1, half_circle(80.0)), axis=0.5)
    monkeypatch.setattr("plybook.surface.drape.pattern_metric", lambda *a: lambda spots: np.full(
        (len(spots), 2, 2), np.nan))  # fmt: skip
    with pytest.raises(GeometryError) as refused:
        drape_ply(made, made.outline_mm, 45.0, 45.0)
    (finding,) = refused.value.findings
    assert finding.code == "drape-start" and "at span 200 mm, 50 % of the" in finding.message
