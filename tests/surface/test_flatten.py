"""Triangle meshes laid flat, against closed solutions of shallow shells and developables."""

import numpy as np
import pytest

from plybook.surface.flatten import Folds
from plybook.surface.strain import grid_triangles, principal
from tests.surface.triangles import flatten_mesh, triangle_membrane


def disc(height, radius=500.0, rings=40):
    """A disc of triangles lifted to z = height(x, y)."""
    points, triangles = [np.zeros((1, 2))], []
    start = 1
    for ring in range(1, rings + 1):
        angle = np.arange(6 * ring) * 2 * np.pi / (6 * ring)
        points.append(radius * ring / rings * np.stack([np.cos(angle), np.sin(angle)], axis=1))
        inner = start - 6 * (ring - 1) if ring > 1 else 0
        for k in range(6 * ring):
            side, at = divmod(k, ring)
            a, b = start + k, start + (k + 1) % (6 * ring)
            i = inner + (side * (ring - 1) + at) % max(6 * (ring - 1), 1)
            triangles.append((a, b, i))
            if at < ring - 1:
                j = inner + (side * (ring - 1) + at + 1) % (6 * (ring - 1))
                triangles.append((i, b, j))
        start += 6 * ring
    flat = np.concatenate(points)
    return np.column_stack([flat, height(*flat.T)]), np.array(triangles)


def test_a_shallow_cap_strains_as_the_closed_solution_says():
    # a disc of radius a pressed on Gaussian curvature K, without Poisson effect: stretched by
    # K a^2 / 16 at the centre, the rim compressed by K a^2 / 8 (Foeppl-von Karman plate theory,
    # from memory)
    big = 4000.0
    points, triangles = disc(lambda x, y: -(x * x + y * y) / (2 * big))
    made = flatten_mesh(points, triangles)
    most, least = principal(made.strain)
    unit = (500 / big) ** 2
    assert most[:6] == pytest.approx(unit / 16, rel=0.02)
    assert least.min() == pytest.approx(-unit / 8, rel=0.05)


def test_a_shallow_saddle_strains_the_other_way_round():
    # z = xy/c has K = -1/c^2: compressed at the centre, the rim stretched
    c = 4000.0
    points, triangles = disc(lambda x, y: x * y / c)
    made = flatten_mesh(points, triangles)
    most, least = principal(made.strain)
    assert least[:6] == pytest.approx(-((500 / c) ** 2) / 16, rel=0.03)
    assert most.max() == pytest.approx((500 / c) ** 2 / 8, rel=0.06)


def test_a_spherical_cap_keeps_its_textbook_area_within_that_of_the_disc():
    # cap area 2 pi R^2 (1 - cos phi); the flat layout keeps it within the strain energy
    phi, big = np.radians(30), 1000.0
    points, triangles = disc(lambda x, y: 0 * x, radius=phi, rings=60)
    r = np.hypot(*points[:, :2].T)
    scale = np.where(r > 0, np.sin(r) / np.where(r > 0, r, 1), 1)
    points = big * np.column_stack([points[:, :2] * scale[:, None], np.cos(r)])
    made = flatten_mesh(points, triangles)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    face_area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
    assert face_area == pytest.approx(2 * np.pi * big**2 * (1 - np.cos(phi)), rel=1e-3)
    a, b, c = (made.nodes_mm[triangles[:, k]] for k in range(3))
    flat_area = np.sum((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    # laid flat with least strain it stays within the 2.3 % of the disc of equal geodesic radius
    # (cap over disc 2 (1 - cos phi) / phi^2 = 0.977361)
    assert face_area * 0.977361 < flat_area < face_area / 0.977361


@pytest.mark.parametrize("count", [10, 40])
def test_a_cylinder_patch_is_isometric_up_to_its_chords(count):
    angle, x = np.meshgrid(np.linspace(0, 2, count + 1), np.linspace(0, 300, 9), indexing="ij")
    points = np.column_stack([100 * np.cos(angle).ravel(), 100 * np.sin(angle).ravel(), x.ravel()])
    made = flatten_mesh(points, grid_triangles(count, 8))
    step = 2 * 100 * np.sin(1 / count) * count
    assert np.abs(made.strain).max() < 1e-8
    a, b = made.nodes_mm[4], made.nodes_mm[-5]
    assert np.hypot(*(b - a)) == pytest.approx(step, abs=1e-6)


def test_the_pattern_is_never_mirrored():
    points, triangles = disc(lambda x, y: (x * x - 0.5 * y * y) / 3000.0, rings=8)
    for cut in (triangles, triangles[:, ::-1]):
        made = flatten_mesh(points, cut)
        a, b, c = (made.nodes_mm[cut[:, k]] for k in range(3))
        assert ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0).all()


def plate(count=5):
    """A plate of triangles with legs of 10 mm, and its nodes as they lie flat."""
    nodes = 10.0 * np.stack(np.meshgrid(*[np.arange(count + 1)] * 2, indexing="ij"), -1)
    nodes, triangles = nodes.reshape(-1, 2), grid_triangles(count, count)
    legs = nodes[triangles[:, 1:]] - nodes[triangles[:, :1]]
    return triangle_membrane(legs, triangles, len(nodes)), nodes


@pytest.mark.filterwarnings("error")
def test_a_stiff_layout_that_starts_folded_is_refused():
    """There is no way down from endless resistance: nothing was laid flat."""
    made, nodes = plate()
    folded = nodes.copy()
    folded[14] += 25.0
    with pytest.raises(Folds) as refused:
        made.relax(folded, stiff=True)
    assert len(refused.value.cells) and 0 not in refused.value.cells
    relaxed, _ = made.relax(nodes * [1.3, 0.8], stiff=True)
    assert np.abs(made.strain(relaxed)).max() < 1e-6


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("stiff", [False, True])
def test_a_matrix_of_another_layout_that_leads_nowhere_is_made_anew(stiff):
    class Uphill:
        def solve(self, right):
            return -right

    made, nodes = plate()
    made.factor = Uphill()
    relaxed, _ = made.relax(nodes * [1.2, 0.9], stiff=stiff)
    assert np.abs(made.strain(relaxed)).max() < 1e-6
