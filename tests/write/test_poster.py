"""The poster: every layer listed and drawn, splices in one picture, on sheets of a size."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.drawing.letters import text_box_mm
from plybook.drawing.poster import (
    LEAST_MM,
    SHEETS_MM,
    Splice,
    poster_sheets,
    splices_of,
    spread,
)
from plybook.drawing.scene import Path, Role, Text
from plybook.verify import poster as verifier
from plybook.verify.report import Report
from plybook.write.poster_pdf import poster_files
from tests.drawing import doubles


@pytest.fixture(scope="module")
def skin():
    face = doubles.TaperedFace()
    return doubles.spec(), face, doubles.laminate(face)


def with_poster(spec, size):
    return replace(spec, workshop=replace(spec.workshop, poster=size))


def words(scene):
    return [item for item in scene.items if isinstance(item, Text)]


@pytest.mark.parametrize("size", SHEETS_MM)
def test_nothing_leaves_the_sheet_and_no_words_of_the_list_meet(skin, size):
    spec, face, laminate = skin
    for sheet in poster_sheets(with_poster(spec, size), face, laminate):
        assert sheet.window_mm == (0.0, 0.0, *SHEETS_MM[size])
        inside = shapely.box(*sheet.window_mm).buffer(-8.0)
        said = words(sheet)
        for text in said:
            assert inside.covers(shapely.Polygon(text_box_mm(text))), text.text
            assert text.height_mm >= LEAST_MM
        for path in (item for item in sheet.items if isinstance(item, Path)):
            assert inside.covers(shapely.MultiPoint(path.points_mm)), path.role
        boxes = [shapely.Polygon(text_box_mm(text)).buffer(-0.05) for text in said]
        for k, box in enumerate(boxes):
            met = [said[n].text for n in shapely.STRtree(boxes).query(box, "intersects") if n != k]
            assert not met, (said[k].text, met)


def test_each_layer_has_a_row_from_the_mould_up_and_a_map_with_its_pieces(skin):
    spec, face, laminate = skin
    (sheet,) = poster_sheets(spec, face, laminate)
    heights = []
    for number, layer in enumerate(laminate.layers, start=1):
        (count,) = [t for t in words(sheet) if t.text == str(number) and t.anchor == "end"]
        heights.append(count.at_mm[1])
        row = [t.text for t in words(sheet) if t.at_mm[1] == count.at_mm[1]]
        assert layer.id in row
        caption = f"{number}  {layer.id}  "
        assert sum(t.text.startswith(caption) for t in words(sheet)) == 1
    assert heights == sorted(heights)
    drawn = [i.tag for i in sheet.items if isinstance(i, Path) and i.role is Role.HIGHLIGHT]
    assert {p.id for p in laminate.pieces} == {tag for tag in drawn if tag}


def test_many_layers_go_on_on_further_sheets(skin):
    spec, face, laminate = skin
    ply = next(layer for layer in laminate.layers if layer.kind == "ply")
    pieces = [p for p in laminate.pieces if p.layer == ply.id]
    layers = tuple(replace(ply, id=f"Q{k}") for k in range(150))
    many = replace(
        laminate,
        layers=layers,
        pieces=tuple(replace(p, layer=la.id, id=f"{la.id}.{n}")
                     for la in layers for n, p in enumerate(pieces, start=1)),
    )  # fmt: skip
    sheets = poster_sheets(spec, face, many)
    assert len(sheets) > 1
    captions = [t.text for s in sheets for t in words(s) if "  Q" in t.text]
    assert [c.split()[1] for c in captions] == [la.id for la in layers]
    assert sum(t.text == "mould face" for s in sheets for t in words(s)) == 1


def test_a_splice_runs_along_the_side_that_is_covered():
    """Against an overlap whose ends and width are given."""
    turn = np.array([[np.cos(0.6), np.sin(0.6)], [-np.sin(0.6), np.cos(0.6)]])
    left = np.array([(0, 0), (500, 0), (500, 300), (0, 300)]) @ turn
    right = np.array([(480, 0), (900, 0), (900, 300), (480, 300)]) @ turn
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    ply = next(layer for layer in laminate.layers if layer.kind == "ply")
    piece = next(p for p in laminate.pieces if p.layer == ply.id)
    two = replace(laminate, layers=(ply,), pieces=tuple(
        replace(piece, id=f"{ply.id}.{k}", laid_outline_mm=ring, laid_holes_mm=())
        for k, ring in enumerate((left, right), start=1)
    ))  # fmt: skip
    (splice,) = splices_of(two)
    assert isinstance(splice, Splice) and splice.layer == ply.id and not splice.is_seam
    line = splice.line_mm @ turn.T
    along = line[np.abs(line[:, 0] - 500.0) < 1.0]  # the side of the first, over the second
    assert along[:, 1].min() == pytest.approx(0.0, abs=1.0)
    assert along[:, 1].max() == pytest.approx(300.0, abs=1.0)
    assert line[:, 0].min() >= 479.0 and line[:, 0].max() <= 501.0


def test_words_in_a_row_keep_clear_and_near_their_places():
    wide = [20.0, 20.0, 30.0, 20.0]
    places = spread([10.0, 12.0, 60.0, 99.0], wide, (0.0, 100.0))
    edges = [(at - w / 2, at + w / 2) for at, w in zip(places, wide, strict=True)]
    assert edges[0][0] >= 0.0 and edges[-1][1] <= 100.0 + 1e-9
    assert all(a[1] <= b[0] + 1e-9 for a, b in zip(edges, edges[1:], strict=False))
    assert places[0] == 10.0 and places[2] == 60.0


@pytest.fixture(scope="module")
def proved(skin):
    """The plan as the verifier has it, and the file of the poster."""
    from plybook.plan import plan_dict

    spec, face, laminate = skin
    plan = plan_dict(spec, face, laminate, doubles.cut_plan(laminate), doubles.shop())
    return plan, poster_files(spec, face, laminate)


def faults(plan, files):
    report = Report("here")
    verifier.check_poster(plan, files, report)
    return report.faults


def test_the_poster_is_proved(proved):
    assert faults(*proved) == []


def changed(laminate, kind, **what):
    layer = next(la for la in laminate.layers if la.kind == kind)
    layers = tuple(replace(la, **what) if la is layer else la for la in laminate.layers)
    return replace(laminate, layers=layers)


def moved(laminate):
    first = laminate.pieces[0]
    out = replace(first, laid_outline_mm=first.laid_outline_mm + (12.0, 0.0))
    return replace(laminate, pieces=(out, *laminate.pieces[1:]))


@pytest.mark.parametrize(
    ("forge", "says"),
    [
        (lambda la: changed(la, "ply", angle_deg=12.0), "stands in the list with other figures"),
        (lambda la: changed(la, "ply", thickness_mm=0.9), "stands in the list with other figures"),
        (lambda la: changed(la, "ply", id="ZZ"), "is not in the list"),
        (lambda la: replace(la, layers=la.layers[::-1]), "list"),
        (moved, "does not show"),
        (lambda la: replace(la, pieces=la.pieces[1:]), "no caption|does not show"),
    ],
)  # fmt: skip
def test_a_forged_poster_is_caught(skin, proved, forge, says):
    import re

    spec, face, laminate = skin
    found = faults(proved[0], poster_files(spec, face, forge(laminate)))
    assert any(re.search(says, fault) for fault in found), found


def test_a_poster_of_another_revision_and_one_that_is_missing_are_caught(skin, proved):
    spec, face, laminate = skin
    other = replace(spec, part=replace(spec.part, revision="Q"))
    assert any("whose it is" in f for f in faults(proved[0], poster_files(other, face, laminate)))
    assert faults(proved[0], {}) == ["poster.pdf: is missing"]


def test_a_line_or_word_that_its_drawing_has_otherwise_is_caught(proved):
    plan, files = proved
    svg = files["poster-1.svg"]
    for old, new in ((b">mould face<", b">mould fade<"), (b'class="dimension"', b'class="axis"')):
        assert old in svg or old.startswith(b"class")
        if old in svg:
            assert faults(plan, {**files, "poster-1.svg": svg.replace(old, new, 1)})
    lost = {name: data for name, data in files.items() if name.endswith(".pdf")}
    assert any("0 drawings" in fault for fault in faults(plan, lost))
