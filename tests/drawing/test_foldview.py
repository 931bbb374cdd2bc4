"""A folded section: a quarter of a pipe, whose arcs are known."""

import math
from types import SimpleNamespace

import numpy as np
import shapely

from plybook.drawing.foldview import folded_section
from plybook.drawing.frame import FINEST_MM
from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Path, Role, Text
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
    scene = folded_section(cut, [layer], Pipe()).picture()
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


def folded(own=(), strips=None):
    """Two plies, two strips side by side on the crown, and a film over all of it."""
    at = np.array([0.0, LENGTH_MM])
    rods = np.array([2000.0, 2024.0])
    flat = {"A": (0.0, 4.0), "B": (4.0, 8.0)}
    bands = [(name, at, np.full(2, low), np.full(2, high)) for name, (low, high) in flat.items()]
    bands.append(("L", rods, np.full(2, 8.0), np.full(2, 11.0)))
    cut = SectionCut("Round", np.array([[0.0, 50.0], [LENGTH_MM, 50.0]]), tuple(bands))
    kinds = {"A": "ply", "B": "ply", "L": "rod", "P": "film"}
    layers = [
        SimpleNamespace(id=name, kind=kind, angle_deg=0.0, region=shapely.box(1500, 0, 2600, 99))
        for name, kind in kinds.items()
    ]
    return folded_section(cut, layers, Pipe(), own, strips or {})


def wide(scene):
    return [i for i in scene.items if isinstance(i, Path) and i.role is Role.HIGHLIGHT]


def test_what_a_step_lays_is_drawn_wide_and_named_by_itself():
    scene = folded(["B"]).picture()
    said = {i.text for i in scene.items if isinstance(i, Text)}
    assert {"A  0°", "B  0°", "L  rod"} <= said
    assert len(wide(scene)) == 1
    assert "A to B  2 plies" in {i.text for i in folded().picture().items if isinstance(i, Text)}


def test_a_film_lies_on_what_is_below_it_and_only_where_it_is_laid():
    scale = 1 / float(folded(["P"]).picture().title.rpartition("1:")[2])
    (film,) = wide(folded(["P"]).picture())
    sides = np.diff(film.points_mm, axis=0, append=film.points_mm[:1])
    length = float(np.hypot(*sides.T).sum())
    assert math.isclose(length, 2 * 1100.0 * scale, rel_tol=0.02)  # there and back
    assert not any(isinstance(i, Text) and "film" in i.text for i in folded().picture().items)


def test_strips_side_by_side_are_drawn_each_by_itself_at_a_scale_that_is_told():
    strips = {"L": [shapely.box(2000, 0, 2012, 100), shapely.box(2012, 0, 2024, 100)]}
    section = folded(["L"], strips)
    assert len(wide(section.picture())) == 2 and len(wide(folded(["L"]).picture())) == 1
    detail = section.enlarged(110.0, 60.0)
    assert detail.title == "Round, detail, scale 2:1"
    for strip in wide(detail):
        sides = np.hypot(*np.diff(strip.points_mm, axis=0, append=strip.points_mm[:1]).T)
        assert math.isclose(sides.max(), 2 * 12.0, rel_tol=0.06)
    assert section.enlarged(30.0, 30.0) is None
    assert folded().enlarged(110.0, 60.0) is None


def test_a_picture_is_no_taller_than_what_it_shows():
    strips = {"L": [shapely.box(2000, 0, 2012, 100), shapely.box(2012, 0, 2024, 100)]}
    section = folded(["L"], strips)
    for scene in (section.picture(), section.enlarged(110.0, 60.0)):
        drawn = [i.points_mm for i in scene.items if isinstance(i, Path)]
        drawn += [text_box_mm(i) for i in scene.items if isinstance(i, Text)]
        y = np.concatenate(drawn)[:, 1]
        assert scene.window_mm[1] <= y.min() and y.max() <= scene.window_mm[3]
        assert scene.window_mm[3] - scene.window_mm[1] <= np.ptp(y) + 4.01
