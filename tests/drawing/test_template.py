"""Templates: what must stand on them, and that no word lies over another, over a cut, or off."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely

from plybook.drawing.labels import Placer
from plybook.drawing.letters import text_box_mm
from plybook.drawing.scene import Path, Role, Text
from plybook.drawing.template import draw_pieces, piece_scene, template_scene
from plybook.laminate.model import PieceEdge
from plybook.laminate.stock_cut import cut_outline_mm
from plybook.write.dxf import dxf_bytes
from tests.drawing import drawn_pieces as made

PIECES = {p.id: p for p in made.all_pieces()}
NASTY = ["</svg><script>", "%%d^J\\U+0041", "=HYPERLINK(1)", "[red]", "{\\fArial;x}", "a\nb\x00",
         "\u202eabc", "Ψ≥±漢", "W" * 60]  # fmt: skip


def drawn(piece, full=True):
    if piece is PIECES.get(piece.id):
        return made.drawings()[piece.id].full if full else made.drawings()[piece.id].bare
    if full:
        return template_scene(piece, made.laminate(), made.FACE, made.spec())
    return piece_scene(piece, made.laminate(), made.spec())


def words(scene):
    return [item.text for item in scene.items if isinstance(item, Text)]


def said(scene):
    return "\n".join(words(scene))


def boxes(scene):
    return [(item, shapely.Polygon(text_box_mm(item))) for item in scene.items
            if isinstance(item, Text)]  # fmt: skip


@pytest.mark.parametrize("name", sorted(PIECES))
def test_no_text_lies_over_text(name):
    for (a, box_a), (b, box_b) in combinations(boxes(drawn(PIECES[name])), 2):
        assert box_a.intersection(box_b).area < 0.05, f"{a.text!r} over {b.text!r}"


@pytest.mark.parametrize("name", sorted(PIECES))
def test_no_text_lies_over_a_cut_or_off_the_drawing(name):
    scene = drawn(PIECES[name])
    x0, y0, x1, y1 = scene.window_mm
    cuts = shapely.union_all([
        shapely.LinearRing(i.points_mm) for i in scene.items
        if isinstance(i, Path) and i.role in (Role.CUT, Role.CUT_INNER, Role.TICK)
        and len(i.points_mm) > 2
    ])  # fmt: skip
    for item, box in boxes(scene):
        assert not box.intersects(cuts), item.text
        assert shapely.box(x0, y0, x1, y1).contains(box), item.text


@pytest.mark.parametrize("name", sorted(PIECES))
def test_the_outline_is_drawn_once_in_the_pieces_own_coordinates(name):
    scene = drawn(PIECES[name])
    cuts = [i for i in scene.items if isinstance(i, Path) and i.role is Role.CUT]
    assert len(cuts) == 1
    assert cuts[0].closed
    assert np.array_equal(cuts[0].points_mm, PIECES[name].outline_mm)


@pytest.mark.parametrize("name", sorted(PIECES))
def test_every_template_says_what_it_is(name):
    piece, text = PIECES[name], said(drawn(PIECES[name]))
    for must in (piece.id, f"{piece.quantity} OFF", "THIS FACE UP = BAG SIDE", "HL-W-101", "rev B",
                 "LEFT HAND", "Heron lower wing skin", "1:1"):  # fmt: skip
        assert must in text, must
    assert f"Layer {piece.layer}" in text


@pytest.mark.parametrize("name", sorted(PIECES))
def test_every_edge_is_named_on_the_piece_as_well_as_on_its_card(name):
    text = said(drawn(PIECES[name], full=False))
    for edge in PIECES[name].edges:
        assert edge.name.upper() in text, edge.name


@pytest.mark.parametrize("name", sorted(PIECES))
def test_edge_names_lie_nearer_to_their_own_edge_than_to_any_other(name):
    piece = PIECES[name]
    lines = {e.name.upper(): shapely.LineString(e.points_mm) for e in piece.edges}
    for item, box in boxes(drawn(piece, full=False)):
        for label, line in lines.items():
            if item.text.startswith((f"{label} EDGE", f"{label} ·")) and len(lines) > 1:
                centre = box.centroid
                others = [o.distance(centre) for k, o in lines.items() if k != label]
                assert line.distance(centre) <= min(others) + 4.0, item.text


def test_bevels_seams_and_mates_are_said_in_words():
    text = said(drawn(PIECES["C1.1"], full=False))
    assert "BEVEL 45° - BAG SIDE NARROWER" in text
    assert "SQUARE - NO BEVEL" in text
    assert "butts against C1.2" in text
    assert "DATUM" in text
    assert "STA 500" in text


def test_a_bevel_is_hatched_between_the_two_faces_only():
    piece = PIECES["C1.1"]
    strip = shapely.Polygon(piece.outline_mm).difference(shapely.Polygon(piece.bag_side_outline_mm))
    hatch = [i for i in drawn(piece).items if isinstance(i, Path) and i.role is Role.BEVEL_HATCH]
    assert len(hatch) > 100
    for line in hatch:
        middle = shapely.Point(line.points_mm.mean(axis=0))
        assert strip.buffer(0.01).contains(middle)


def test_a_square_seam_is_a_double_line_a_bevelled_edge_is_not():
    piece = PIECES["C1.1"]
    seams = [i for i in drawn(piece).items if isinstance(i, Path) and i.role is Role.SEAM]
    assert len(seams) == 1
    assert np.allclose(seams[0].points_mm[:, 0], 1180 - 1.4)


def scarfed_panel():
    """A 6 mm panel whose seam is scarfed at 20 degrees, wide on the bag side."""
    run = 6.0 / np.tan(np.radians(20.0))  # thickness / tan(angle)
    ring = np.array([(0, 0), (600, 0), (600, 200), (0, 200.0)])
    bag = np.array([(-run, 0), (600, 0), (600, 200), (-run, 200.0)])
    edges = made.edges_of(
        ring, ("lower", "tip", "upper", "seam S1"),
        **{"seam S1": {"treatment": "scarf", "angle_deg": 20.0, "wide_side": "bag",
                       "mate": "C9"}},
    )  # fmt: skip
    return made.piece("C8", ring, kind="core", material="foam8", thickness_mm=6.0,
                      bag_side_outline_mm=bag, edges=edges), run  # fmt: skip


def test_a_panel_wider_on_the_bag_side_is_cut_to_both_faces_first():
    panel, run = scarfed_panel()
    scene = drawn(panel)
    (cut,) = [i for i in scene.items if isinstance(i, Path) and i.role is Role.CUT]
    assert cut.points_mm.min(axis=0) == pytest.approx((-run, 0.0), abs=1e-3)
    bevels = [i.points_mm for i in scene.items if isinstance(i, Path) and i.role is Role.BEVEL]
    assert any(np.array_equal(b, panel.outline_mm) for b in bevels)  # the mould side is shown
    text = said(scene)
    assert "SCARF 20° - MOULD SIDE NARROWER" in text
    assert "butts against C9" in text
    dxf_bytes(scene)  # one simple closed cut


def test_the_cut_outline_is_the_mould_side_where_the_bag_side_lies_within_it():
    assert cut_outline_mm(made.core_panel()) is made.core_panel().outline_mm or np.array_equal(
        cut_outline_mm(made.core_panel()), made.core_panel().outline_mm
    )
    panel, run = scarfed_panel()
    assert shapely.Polygon(cut_outline_mm(panel)).area == pytest.approx((600 + run) * 200, rel=1e-6)
    apart = replace(panel, bag_side_outline_mm=panel.outline_mm + (2000.0, 0.0))
    with pytest.raises(ValueError, match="do not lie over"):
        cut_outline_mm(apart)


@pytest.mark.parametrize(("angle", "label"), [(45.0, "+45°"), (-45.0, "-45°"), (0.0, "0°"),
                                              (90.0, "90°"), (30.0, "+30°")])  # fmt: skip
def test_the_fibre_arrow_lies_at_the_true_angle_and_says_it(angle, label):
    piece = replace(PIECES["W4"], angle_deg=angle)
    scene = drawn(piece, full=False)
    shafts = [i.points_mm for i in scene.items if isinstance(i, Path) and i.role is Role.FIBRE
              and len(i.points_mm) == 2]  # fmt: skip
    assert shafts
    for a, b in shafts:
        turn = np.degrees(np.arctan2(*(b - a)[::-1]))
        assert (turn - angle) % 180 == pytest.approx(0, abs=1e-6) or (
            turn - angle
        ) % 180 == pytest.approx(180, abs=1e-6)
    assert label in words(scene)


def test_material_without_a_direction_has_no_arrow():
    piece = replace(PIECES["W4"], material="mat")
    scene = drawn(piece, full=False)
    assert not [i for i in scene.items if i.role is Role.FIBRE]
    foam = drawn(PIECES["C1.1"], full=False)
    assert not [i for i in foam.items if i.role is Role.FIBRE]
    grained = replace(PIECES["C1.1"], material="balsa", angle_deg=90.0)
    assert "GRAIN 90°" in words(drawn(grained, full=False))


def test_the_id_is_readable_from_two_metres_where_the_piece_allows():
    """Letters of 1/200 of the reading distance are the least for signs (common practice, no
    source): 10 mm at 2 m."""
    for piece in PIECES.values():
        size = [i.height_mm for i in drawn(piece).items
                if isinstance(i, Text) and i.role is Role.ID and i.text == piece.id]  # fmt: skip
        assert max(size) >= 10.0, piece.id


def test_long_pieces_name_themselves_again_and_again():
    scene = drawn(PIECES["S2.1"], full=False)
    ids = [i.at_mm[0] for i in scene.items if isinstance(i, Text) and i.role is Role.ID]
    assert len(ids) >= 3
    assert max(ids) - min(ids) > 2000


def test_words_are_never_upside_down_or_mirrored():
    for piece in PIECES.values():
        for item in drawn(piece).items:
            if isinstance(item, Text):
                assert -80.0 <= item.turn_deg < 100.0


@pytest.mark.parametrize("nasty", NASTY)
def test_hostile_names_do_not_break_the_lettering(nasty):
    piece = replace(
        PIECES["W4"], id=nasty[:20], notes=(nasty,),
        edges=(PieceEdge(nasty, PIECES["W4"].edges[0].points_mm, "trim"),),
    )  # fmt: skip
    scene = drawn(piece)
    for item, box in boxes(scene):
        assert shapely.box(*scene.window_mm).contains(box), item.text
        assert "\n" not in item.text


def test_the_window_is_on_whole_millimetres():
    for piece in PIECES.values():
        assert all(float(v).is_integer() for v in drawn(piece).window_mm)


def test_pieces_drawn_together_are_the_ones_drawn_one_by_one():
    for drawing in draw_pieces(made.laminate(), made.FACE, made.spec()):
        alone = template_scene(drawing.piece, made.laminate(), made.FACE, made.spec())
        assert words(drawing.full) == words(alone)


def test_words_beside_a_piece_stand_where_their_leader_crosses_no_others():
    """Straight above there are other words in the way; a little further to the side there are
    none."""
    cut, other = shapely.box(0, 0, 100, 50), shapely.box(30, 55, 60, 60)
    place = Placer(cut.buffer(-2), cut, taken=[other])
    centres, cost = np.array([(45.0, 70.0), (80.0, 70.0)]), np.array([0.0, 20.0])
    near, led = (
        place.find((10.0, 5.0), centres, 0.0, cost, inside=False, leads_to=to)
        for to in (None, cut.exterior)
    )
    assert (near.centre_mm, led.centre_mm) == ((45.0, 70.0), (80.0, 70.0))
    only = place.find((10.0, 5.0), centres[:1], 0.0, inside=False, leads_to=cut.exterior)
    assert only.centre_mm == (45.0, 70.0)  # better crossed than unsaid
