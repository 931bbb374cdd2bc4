"""Patterns of faces that are not developable, held against another library.

Oracle: libigl (Jacobson, Panozzo and others), its as-rigid-as-possible parametrisation (Liu, Zhang,
Xu, Gotsman and Gortler, A local/global approach to mesh parameterization, 2008) of a fine triangle
mesh of the face in space. For small strains its energy is that of `plybook.surface.flatten`, so
both have the same best layout.
"""

import numpy as np
import pytest

from plybook.spec.model import PolylineSection
from plybook.surface.develop import best_rigid
from plybook.surface.strain import grid_triangles, principal
from tests.surface.faces import face, station

igl = pytest.importorskip("igl")

TWISTED = (station(0, 1200, "2418"), station(1500, 700, "2409", sweep=150, twist=-8.0))


def arc(rise):
    """A shallow arc over 600 mm as a polyline of one corner."""
    return PolylineSection(np.array([[0.0, 0.0], [300.0, rise], [600.0, 0.0]]), (1500.0,))


SADDLE = (station(0, 1, arc(40.0)), station(500, 1, arc(20.0), rise=-30.0),
          station(1000, 1, arc(40.0)))  # fmt: skip


def meshed(made, along, across):
    """Nodes of a fine grid in space and on the pattern, and its triangles."""
    leaf = made.leaves[0]
    u = np.linspace(leaf.from_mm, leaf.to_mm, along + 1)
    w = np.linspace(*leaf.w_range, across + 1)
    u, w = (a.ravel() for a in np.meshgrid(u, w, indexing="ij"))
    triangles = grid_triangles(along, across, leaf.loft.bag_sign > 0)
    return leaf.space(u, w), leaf.flat(u, w), triangles


def as_rigid_as_possible(space, start, triangles, rounds=60):
    data = igl.ARAPData()
    data.energy = igl.ARAP_ENERGY_TYPE_ELEMENTS
    data.max_iter = rounds
    held = np.array([0], dtype=np.int32)
    igl.arap_precomputation(space, triangles.astype(np.int64), 2, held, data)
    return igl.arap_solve(start[held].copy(), data, start.copy())


def strains(space, flat, triangles):
    """(m, 2) principal strains of the triangles in space against those laid flat."""
    a, b, c = (space[triangles[:, k]] for k in range(3))
    p, q = b - a, c - a
    true = np.stack([np.stack([np.sum(p * p, 1), np.sum(p * q, 1)], 1),
                     np.stack([np.sum(p * q, 1), np.sum(q * q, 1)], 1)], 1)  # fmt: skip
    legs = np.stack([flat[triangles[:, k]] - flat[triangles[:, 0]] for k in (1, 2)], axis=2)
    back = np.linalg.inv(legs)
    return np.stack(principal((back.transpose(0, 2, 1) @ true @ back - np.eye(2)) / 2), axis=1)


def energy(space, flat, triangles):
    a, b, c = (space[triangles[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    return float(np.sum(area * np.sum(strains(space, flat, triangles) ** 2, axis=1)))


@pytest.mark.parametrize(("stations", "loft", "count"), [
    (TWISTED, "ruled", (60, 160)), (SADDLE, "smooth", (80, 80)),
])  # fmt: skip
def test_a_pattern_is_as_good_as_the_best_of_another_library(stations, loft, count):
    made = face(*stations, loft=loft)
    assert not made.strain.developable
    space, ours, triangles = meshed(made, *count)
    theirs = as_rigid_as_possible(space, ours, triangles)
    turn, shift = best_rigid(theirs, ours)
    theirs = theirs @ turn.T + shift
    assert np.hypot(*(theirs - ours).T).max() < 0.02
    edge = np.r_[0 : count[1] + 1, np.arange(len(ours)).reshape(count[0] + 1, -1)[1:, -1]]
    lengths = [np.hypot(*np.diff(flat[edge], axis=0).T).sum() for flat in (ours, theirs)]
    assert lengths[0] == pytest.approx(lengths[1], abs=0.02)
    mine, best = (strains(space, flat, triangles) for flat in (ours, theirs))
    assert mine.max() == pytest.approx(best.max(), rel=0.02)
    assert mine.min() == pytest.approx(best.min(), rel=0.02)
    assert energy(space, ours, triangles) <= 1.02 * energy(space, theirs, triangles)


def test_the_oracle_itself_finds_a_pattern_that_was_spoiled():
    made = face(*TWISTED)
    space, ours, triangles = meshed(made, 30, 60)
    spoiled = ours + 2.0 * np.sin(ours / 150.0)
    found = as_rigid_as_possible(space, spoiled, triangles, rounds=400)
    turn, shift = best_rigid(found, ours)
    before = np.hypot(*(spoiled - ours).T).max()
    assert np.hypot(*(found @ turn.T + shift - ours).T).max() < 0.2 * before
