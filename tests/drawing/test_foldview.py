"""A folded section: a quarter of a pipe, whose arcs are known."""

import math
from types import SimpleNamespace

import numpy as np

from plybook.drawing.foldview import folded_section
from plybook.drawing.frame import FINEST_MM
from plybook.drawing.scene import Path, Role
from plybook.laminate.model import SectionCut

RADIUS_MM, THICK_MM = 3820.0, 20.0
LENGTH_MM = RADIUS_MM * math.pi / 2


class Pipe:
    """x runs round a pipe from its foot; what is laid on it lies outside."""

    edges = (SimpleNamespace(name="foot", points_mm=np.array([[0.0, 0.0], [0.0, 100.0]])),)

    def to_space(self, points_mm):
        turn = points_mm[:, 0] / RADIUS_MM
        x, z = RADIUS_MM * np.sin(turn), RADIUS_MM * np.cos(turn)
        return np.column_stack([x, points_mm[:, 1], z])

    def normals(self, points_mm):
        return (self.to_space(points_mm) * (1.0, 0.0, 1.0)) / RADIUS_MM


def test_a_long_folded_section_is_drawn_with_the_points_that_paper_shows():
    """As many chords as a circle takes that strays no further from them, and its arcs are true."""
    at = np.array([0.0, LENGTH_MM])
    cut = SectionCut(
        "Round",
        np.array([[0.0, 50.0], [LENGTH_MM, 50.0]]),
        (("C", at, np.zeros(2), np.full(2, THICK_MM)),),
    )
    layer = SimpleNamespace(id="C", kind="core", angle_deg=0.0)
    scene = folded_section(cut, [layer], Pipe())
    scale = float(scene.title.rpartition("1:")[2])
    (core,) = (i.points_mm for i in scene.items if isinstance(i, Path) and i.fill)
    (face,) = (i.points_mm for i in scene.items if isinstance(i, Path) and i.role is Role.FACE)

    radius = RADIUS_MM / scale
    chords = math.pi / 2 / (2 * math.acos(1 - FINEST_MM / radius))  # versine of a circular arc
    assert chords <= len(face) <= 2 * chords + 2
    assert len(core) <= 4 * chords + 4

    way = face[-1] - face[0]
    chord = float(np.hypot(*way))
    rise = np.abs((face - face[0]) @ np.array([-way[1], way[0]]) / chord).max()
    assert math.isclose(chord, math.sqrt(2) * radius, abs_tol=0.01)
    assert math.isclose(rise, radius * (1 - math.sqrt(0.5)), abs_tol=0.02)
