"""Drawings of a page: sharing loses nothing, and what is drawn can be read by night too."""

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from lxml import etree

from plybook.drawing.scene import Circle, Path, Role, Scene, Text
from plybook.drawing.style import INK, NIGHT, STROKES, TINTS, at_night, contrast
from plybook.write.figures import Figures
from plybook.write.numbers import NotDrawable
from tests.drawing import doubles

WINDOW = (0.0, 0.0, 180.0, 90.0)


def ring(x, y, size=9.0, points=24):
    turn = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.column_stack([x + size * np.cos(turn), y + size * np.sin(turn)])


def stack(layers):
    """The same part with one layer more each time, as the steps of a laminate show it."""
    dice = np.random.default_rng(7)
    rings = [ring(*dice.uniform((10, 10), (170, 80)), 5 + k % 5) for k in range(layers)]
    for count in range(1, layers + 1):
        items = [Path(Role.FACE, np.array([(5, 5), (175, 5), (175, 85), (5, 85)]), True, "face")]
        items += [Path(Role.GHOST, r, True, "ghost") for r in rings[: count - 1]]
        items += [Path(Role.HIGHLIGHT, rings[count - 1], True, "highlight")]
        items += [Text(Role.ID, (90.0, 45.0), f"P{count}", 3.5, anchor="middle", halo=True)]
        items += [Circle(Role.DATUM, (90.0, 45.0), 0.8, "ink")]
        yield Scene(tuple(items), WINDOW, f"Layer {count}")


def unfolded(drawn, k):
    """The shapes of a drawing in order, references followed: (declarations, tag, geometry)."""
    looks = dict(re.findall(r"^\.(s\d+)\{(.*)\}$", drawn.style, re.M))
    shared = etree.fromstring(drawn.shared or "<svg/>")
    known = {e.get("id"): e for e in shared.iter() if e.get("id")}

    def walk(node, look):
        look = looks[node.get("class")] if node.get("class") else look
        if node.tag == "use":
            yield from walk(known[node.get("href")[1:]], look)
        elif node.tag == "g":
            for child in node:
                yield from walk(child, look)
        elif node.tag == "path":
            yield look, "path", node.get("d")
        elif node.tag == "circle":
            yield look, "circle", (node.get("cx"), node.get("cy"), node.get("r"))
        elif node.tag == "text":
            yield look, "text", node.text
        else:
            raise AssertionError(node.tag)

    return [shape for child in etree.fromstring(drawn.svg[k]) for shape in walk(child, "")]


def points(d):
    """Corners of a path of the form "Mx ylx yx y": steps from point to point (SVG 1.1, 8.3)."""
    figures = [float(v) for v in re.findall(r"-?\d*\.?\d+", d)]
    return np.cumsum(np.array(figures).reshape(-1, 2), axis=0)


def test_what_is_shared_unfolds_to_the_drawing_itself():
    scenes = list(stack(40))
    together = Figures([(scene, "") for scene in scenes])
    for k, scene in enumerate(scenes):
        shapes = unfolded(together, k)
        assert shapes == unfolded(Figures([(scene, "")]), 0)
        paths = [d for _, tag, d in shapes if tag == "path"]
        for path, d in zip([i for i in scene.items if isinstance(i, Path)], paths, strict=True):
            drawn, true = (shapely.LinearRing(p) for p in (points(d), path.points_mm * (1, -1)))
            off = shapely.hausdorff_distance(shapely.transform(true, lambda p: p + (0, 90)), drawn)
            assert off <= 0.02 + 0.0072


def test_a_stack_drawn_for_every_layer_grows_with_the_layers_not_with_their_square():
    sizes = {}
    for count in (40, 160):
        drawn = Figures([(scene, "") for scene in stack(count)])
        sizes[count] = len(drawn.shared) + sum(map(len, drawn.svg))
    assert sizes[160] < 7 * sizes[40]  # 16 times where each drawing holds all of its own


def test_a_drawing_that_comes_again_stands_once():
    scene = list(stack(6))[-1]
    drawn = Figures([(scene, "")] * 3)
    assert drawn.shared.count("P6") == 1 and all(len(svg) < 200 for svg in drawn.svg)


def test_words_stay_in_their_own_drawing():
    drawn = Figures([(scene, "") for scene in stack(6)])
    assert "<text" not in drawn.shared
    assert [f">P{k + 1}<" in svg for k, svg in enumerate(drawn.svg[:6])] == [True] * 6


@pytest.mark.parametrize("nasty", [*doubles.NASTY, "]]>", "half \ud800 pair", 'a" onload="x'])
def test_hostile_words_stay_words(nasty):
    scene = Scene((Text(Role.TEXT, (1, 1), nasty, 5.0),), (0.0, 0.0, 50.0, 20.0), nasty)
    root = etree.fromstring(Figures([(scene, nasty)]).svg[0])
    assert {e.tag for e in root.iter()} <= {"svg", "g", "text"}
    assert set(root.attrib) == {"class", "width", "viewBox", "role", "aria-label"}


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_no_number_that_is_none(bad):
    line = Path(Role.CUT, np.array([(0, 0), (bad, 1), (1, 2)]), True)
    for item in (line, Circle(Role.DATUM, (bad, 0.0), 1.0), Text(Role.TEXT, (0.0, bad), "x", 2.5)):
        with pytest.raises(NotDrawable):
            Figures([(Scene((item,), WINDOW), "")])


def test_every_look_that_is_used_has_a_rule():
    scenes = [
        Scene(tuple(Path(role, ring(20, 20), True, fill) for fill in TINTS), WINDOW)
        for role in Role
    ]
    scenes += [replace(scene, items=(Text(Role.TEXT, (1, 1), "x", 1.8),)) for scene in scenes[:1]]
    drawn = Figures([(scene, "") for scene in scenes])
    looks = set()
    for svg in [drawn.shared, *drawn.svg]:
        for names in re.findall(r'class="([^"]*)"', svg):
            looks.update(names.split())
    for look in looks - {"shared"}:
        assert f".{look}{{" in drawn.style, look


def test_the_smallest_letters_are_shown_at_fourteen_pixels_or_more():
    scene = Scene((Text(Role.TEXT, (1, 1), "x", 1.8),), WINDOW)
    drawn = Figures([(scene, "")])
    (least,) = re.findall(r"min-width:(\d+)px", drawn.style)
    (size,) = re.findall(r"font-size:([\d.]+)px", drawn.style)
    assert float(size) * int(least) / 180.0 >= 14.0


def test_contrast_is_that_of_the_standard():
    """WCAG 2.1: black on white 21:1; #767676 on white is the darkest grey that passes 4.5:1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("tint", sorted(set(TINTS) - {"ink"}))
def test_words_can_be_read_on_every_tint_by_day_and_by_night(tint):
    """WCAG 2.1, 1.4.6 asks for 7:1."""
    assert contrast(INK, TINTS[tint]) >= 7.0
    assert contrast(at_night(INK), at_night(TINTS[tint])) >= 7.0


def test_lines_stand_out_by_night_as_by_day():
    for ink in {stroke.ink for stroke in STROKES.values()}:
        assert contrast(at_night(ink), NIGHT) >= min(contrast(ink, "#ffffff"), 17.0) - 0.1
