"""The jig sketch: its figures are the card's own, and lie where they are measured."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plybook.drawing.jigview import jig_picture
from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Circle, Role, Text
from plybook.laminate import lay_up
from plybook.nest.model import CutPlan
from plybook.outside import Outside
from plybook.shop import plan_work
from plybook.spec import load
from plybook.surface import build_face

SPECS = Path(__file__).parents[2] / "specs"


@pytest.fixture(scope="module")
def spar():
    spec = load(SPECS / "spar.yaml", Outside()).specs[0]
    face = build_face(spec)
    return spec, face, plan_work(spec, face, lay_up(spec, face), CutPlan((), (), ()))


def texts(scene):
    return [item for item in scene.items if isinstance(item, Text)]


def test_every_figure_of_the_card_stands_in_the_sketch_once(spar):
    spec, face, shop = spar
    said = [t.text for t in texts(jig_picture(spec, face, shop.jig))]
    for number, m in enumerate(shop.jig, start=1):
        assert sum(f"{number}: {m.expected:g} {m.unit}" in words for words in said) == 1, m.title


def test_as_many_screws_are_drawn_as_the_card_asks_for(spar):
    spec, face, shop = spar
    (screws,) = [m for m in shop.jig if m.kind == "screws"]
    scene = jig_picture(spec, face, shop.jig)
    dots = [i for i in scene.items if isinstance(i, Circle) and i.fill == "ink"]
    assert len(dots) == screws.expected
    along = np.sort([dot.centre_mm[0] for dot in dots])
    assert np.ptp(np.diff(along)) < 0.05 * np.diff(along).mean()


def test_no_words_lie_over_words_and_all_stay_in_the_window(spar):
    from shapely import Polygon

    spec, face, shop = spar
    scene = jig_picture(spec, face, shop.jig)
    boxes = [Polygon(text_box_mm(t)) for t in texts(scene)]
    for k, one in enumerate(boxes):
        x0, y0, x1, y1 = one.bounds
        assert x0 >= 0 and x1 <= scene.window_mm[2] and y0 >= 0 and y1 <= scene.window_mm[3]
        assert all(one.intersection(other).area < 0.5 for other in boxes[k + 1 :])


def test_without_heights_only_the_view_square_on_is_drawn(spar):
    spec, face, shop = spar
    rest = tuple(m for m in shop.jig if m.kind != "height")
    scene = jig_picture(spec, face, rest)
    assert not any("From the side" in t.text for t in texts(scene))
    assert scene.window_mm[3] < jig_picture(spec, face, shop.jig).window_mm[3]
    assert jig_picture(spec, face, ()) is None


def test_a_part_without_hand_hangs_its_line_from_end_to_end(spar):
    spec, face, shop = spar
    none = replace(spec, part=replace(spec.part, hand="none"))
    scene = jig_picture(none, face, shop.jig)
    assert any("from end to end" in t.text for t in texts(scene))
    assert any(getattr(i, "role", None) is Role.AXIS for i in scene.items)
