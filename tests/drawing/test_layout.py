"""Layouts: every piece where the plan has it, named, and figures that can be read."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely

from plybook.drawing.layout import layout_scene, short_name, shown_length_mm
from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Path, Role, Text
from plybook.nest.model import Item, Layout, Placement, Unit
from plybook.nest.placing import placed
from tests.drawing import drawn_pieces as made

BAD = np.array([(900, 0), (1000, 0), (1000, 1250), (900, 1250.0)])
ROLL = Unit("TW-7", "roll", "twill200", 40000.0, 1250.0, bad_zones_mm=(BAD,), edge_mm=10.0)
PIECES = {f"HL-W-101/{p.id}": p for p in (made.channel_ply(), made.round_patch(), made.core_panel(),
                                          made.tiny_insert())}  # fmt: skip
ITEMS = tuple(Item(k, p.outline_mm, p.quantity, None) for k, p in PIECES.items())
PLACES = (
    Placement("HL-W-101/W4", 1, 0.0, 100.0, 0.0),
    Placement("HL-W-101/P7", 1, -1500.0, 200.0, 0.0),
    Placement("HL-W-101/C1.1", 1, 1100.0, 300.0, 0.0),
    Placement("HL-W-101/H1.3", 1, 500.0, 800.0, 0.0),
    Placement("HL-W-101/H1.3", 2, 1000.0, -200.0, 0.0),
)
LAYOUT = Layout(ROLL, PLACES, 2400.0, 2000.0, 0.4)


def scene(scale=1.0, window=None, unit="mm", layout=LAYOUT):
    return layout_scene(layout, ITEMS, PIECES, unit, scale, window)


def test_every_outline_is_drawn_where_the_plan_has_it():
    cuts = [i for i in scene().items if isinstance(i, Path) and i.role is Role.CUT]
    assert len(cuts) == len(PLACES)
    for cut, place in zip(cuts, PLACES, strict=True):
        assert cut.closed
        assert np.allclose(cut.points_mm, placed(PIECES[place.item].outline_mm, place))


def test_holes_are_drawn_before_outlines_and_bad_zones_are_shown():
    roles = [i.role for i in scene().items if isinstance(i, Path)]
    assert roles.index(Role.CUT_INNER) < len(roles) - roles[::-1].index(Role.CUT) - 1
    assert Role.BAD_ZONE in roles


@pytest.mark.parametrize("scale", [1.0, 0.1, 0.05])
def test_no_text_lies_over_text(scale):
    boxes = [(i.text, shapely.Polygon(text_box_mm(i))) for i in scene(scale).items
             if isinstance(i, Text)]  # fmt: skip
    for (a, box_a), (b, box_b) in combinations(boxes, 2):
        assert box_a.intersection(box_b).area < 0.05, f"{a!r} over {b!r}"


@pytest.mark.parametrize("scale", [1.0, 0.1, 0.05])
def test_every_piece_is_named_as_often_as_it_is_cut(scale):
    words = [i.text for i in scene(scale).items if isinstance(i, Text)]
    for name in ("W4", "P7", "C1.1"):
        assert sum(w.startswith(name) for w in words) == 1, name
    assert sum(w.startswith("H1.3") for w in words) == 2


def test_names_lie_in_their_piece_or_are_tied_to_it():
    drawn = scene(0.1)
    shapes = {
        p.item: shapely.Polygon(0.1 * placed(PIECES[p.item].outline_mm, p)) for p in PLACES[:3]
    }
    for item in drawn.items:
        if isinstance(item, Text) and item.role is Role.ID and f"HL-W-101/{item.text}" in shapes:
            assert shapes[f"HL-W-101/{item.text}"].contains(shapely.Point(item.at_mm))


@pytest.mark.parametrize("cut_at", [376.0, 382.0, 388.0])
@pytest.mark.parametrize("rims", [(8.0, 22.0, 10.0), (22.0, 8.0, 22.0)])
def test_no_name_stands_in_the_opening_of_another_piece(rims, cut_at):
    """Slim frames close together: the rims hold no letters, the openings of others would."""
    ring = np.array([(0, 0), (290, 0), (290, 210), (0, 210)], float)
    frames = {}
    for k, rim in enumerate(rims, start=1):
        hole = np.array([(rim, rim), (rim, 210 - rim), (290 - rim, 210 - rim), (290 - rim, rim)])
        frames[f"HL-W-101/D{k}"] = made.piece(f"D{k}", ring, holes_mm=(hole,))
    places = tuple(Placement(name, 1, 300.0, 240.0 + 215.0 * k, 0.0)
                   for k, name in enumerate(frames))  # fmt: skip
    block = np.array([(0, 0), (280, 0), (280, 1100), (0, 1100)], float)
    frames["HL-W-101/A1"] = made.piece("A1", block)
    places += (Placement("HL-W-101/A1", 1, 15.0, 20.0, 0.0),)
    items = tuple(Item(name, piece.outline_mm, 1, None) for name, piece in frames.items())
    layout = Layout(replace(ROLL, bad_zones_mm=()), places, 600.0, 0.0, 0.1)
    outlines = {p.item: shapely.Polygon(placed(frames[p.item].outline_mm, p) * 0.1) for p in places}
    for window in (None, (0.0, cut_at), (cut_at, 600.0)):
        drawn = layout_scene(layout, items, frames, "mm", 0.1, window)
        names = [i for i in drawn.items if isinstance(i, Text) and i.role is Role.ID]
        assert len(names) >= 3
        for name in names:
            own = f"HL-W-101/{name.text.split()[0]}"
            others = shapely.union_all([o for k, o in outlines.items() if k != own])
            assert not others.intersects(shapely.Polygon(text_box_mm(name)))


def test_running_figures_stand_at_their_distance():
    figures = {i.text: i.at_mm[0] for i in scene().items
               if isinstance(i, Text) and i.role is Role.DIMENSION and i.anchor == "middle"
               and i.text.isdigit() and i.at_mm[1] < 0}  # fmt: skip
    assert figures["1000"] == 1000.0
    assert figures["0"] == 0.0
    inches = {i.text: i.at_mm[0] for i in scene(unit="in").items
              if isinstance(i, Text) and i.role is Role.DIMENSION and i.at_mm[1] < 0}  # fmt: skip
    assert inches["12"] == pytest.approx(12 * 25.4)


def test_the_fibre_arrow_turns_with_the_piece():
    turned = Layout(ROLL, (Placement("HL-W-101/W4", 1, 600.0, 100.0, 45.0),), 2400.0, 0.0, 0.1)
    arrows = [i.points_mm for i in scene(layout=turned).items if i.role is Role.FIBRE]
    shafts = [points for points in arrows if len(points) == 2]
    run = shafts[0][1] - shafts[0][0]
    assert run[1] == pytest.approx(0.0, abs=1e-6)  # -45 in the part, 0 on the roll


def test_a_window_shows_only_its_stretch():
    low, high = 1000.0, 2000.0
    drawn = scene(0.1, (low, high))
    for item in drawn.items:
        if isinstance(item, Path) and item.role in (Role.CUT, Role.CUT_INNER, Role.BEVEL):
            assert item.points_mm[:, 0].min() >= low / 10 - 1e-6
            assert item.points_mm[:, 0].max() <= high / 10 + 1e-6


def test_of_a_coil_no_more_is_drawn_than_is_cut():
    ring = np.array([(0, 0), (1200, 0), (1200, 12), (0, 12.0)])
    coil = Unit("COIL", "bar", "rod6", 100000.0, 12.0)
    cut = Layout(coil, (Placement("r", 1, 0.0, 0.0, 0.0),), 100000.0, 0.0, 0.01)
    assert shown_length_mm(cut, {"r": ring}) == 1300.0
    short = Layout(Unit("BAR", "bar", "rod6", 1500.0, 12.0), cut.placements, 1500.0, 0.0, 0.8)
    assert shown_length_mm(short, {"r": ring}) == 1500.0
    assert shown_length_mm(LAYOUT, {}) == 2400.0


def test_an_odd_left_over_says_its_area_a_rectangle_its_sides():
    corner = np.array(
        [(1100, 0), (2400, 0), (2400, 1250), (2000, 1250), (2000, 300), (1100, 300.0)]
    )
    plain = np.array([(2000, 0), (2400, 0), (2400, 1250), (2000, 1250.0)])
    for ring, words in ((corner, "0.77 m²"), (plain, "400 × 1250 mm")):
        layout = Layout(ROLL, PLACES[:1], 2400.0, 0.0, 0.1, remnant_mm=ring)
        assert words in [i.text for i in scene(layout=layout).items if isinstance(i, Text)]


def test_names_carry_the_part_only_where_parts_are_mixed():
    assert short_name("HL-W-101/S2.1", several_parts=False) == "S2.1"
    assert short_name("HL-W-101/S2.1", several_parts=True) == "HL-W-101 S2.1"


def test_a_cut_across_the_roll_is_drawn_between_stages_and_says_where():
    items = tuple(replace(item, group="inner" if "C1" in item.id else "outer") for item in ITEMS)
    places = tuple(p for p in PLACES if "C1" not in p.item)
    places += (Placement("HL-W-101/C1.1", 1, 4000.0, 300.0, 0.0),)
    drawn = layout_scene(replace(LAYOUT, placements=places, used_length_mm=4e4), items, PIECES)
    (said,) = (i for i in drawn.items if isinstance(i, Text) and "CUT ACROSS" in i.text)
    (line,) = (i for i in drawn.items if isinstance(i, Path) and i.role is Role.SPLICE)
    along = line.points_mm[0, 0]
    assert said.text == f"CUT ACROSS at {along / 1000:g} m"
    assert along % 10.0 == 0.0  # the gap is wide: no one measures it out to the millimetre
    rings = {p.item: placed(PIECES[p.item].outline_mm, p) for p in places}
    low = rings.pop("HL-W-101/C1.1")[:, 0].min()
    assert max(r[:, 0].max() for r in rings.values()) < along < low
