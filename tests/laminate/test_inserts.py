"""Hardpoint blocks: size, place, edges, thickness against the core, bends."""

import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate.inserts import insert_pieces
from plybook.spec.model import Core, CoreStock, CutOut, Insert, Treatment, Whole
from tests.laminate.flat_faces import Stretched, TrapezoidFace

BIRCH = CoreStock("birch", "birch ply", 10.0, 680.0, (1250.0, 1250.0), True, 50.0, 900.0,
                  use="insert")  # fmt: skip
FACE = TrapezoidFace()
HOST = Core("C1", "foam", "core", Whole(), thickness_mm=10.0,
            edges=(("", Treatment("bevel", 45.0)),), cut_outs=(CutOut("H1", 1.0),))  # fmt: skip
HOST_REGION = shapely.box(100, -100, 1500, 400)
BLOCK = shapely.box(400, 100, 580, 220)


def insert(**more):
    return Insert(**({"id": "H1", "material": "birch", "stage": "core", "region": Whole(),
                      "core": "C1"} | more))  # fmt: skip


def made(region=BLOCK, face=FACE, raised=None, host=HOST, stock=BIRCH, **more):
    return insert_pieces(
        insert(**more), region, face, raised, stock=stock, core=host, core_region=HOST_REGION
    )


def test_a_block_is_cut_square_as_thick_as_its_core():
    result = made()
    (piece,) = result.pieces
    assert result.findings == ()
    assert piece.id == "H1" and piece.kind == "insert" and piece.quantity == 1
    assert piece.area_mm2 == pytest.approx(180 * 120)
    assert piece.thickness_mm == 10.0
    assert {e.name for e in piece.edges} == {"root", "trailing", "tip", "leading"}
    assert all(e.treatment == "square" for e in piece.edges)


def test_the_block_is_cut_on_the_face_it_lies_on():
    (piece,) = made(raised=Stretched(1.0, 1.02)).pieces
    assert piece.area_mm2 == pytest.approx(180 * 120 * 1.02, rel=1e-6)
    assert piece.laid_outline_mm[:, 1].max() == pytest.approx(220, abs=1e-3)


def test_two_patches_give_two_blocks_from_root_to_tip():
    region = shapely.union_all([BLOCK, shapely.box(900, 0, 1000, 50)])
    pieces = made(region=region).pieces
    assert [p.id for p in pieces] == ["H1-A", "H1-B"]
    assert pieces[0].outline_mm[:, 0].max() < pieces[1].outline_mm[:, 0].min()


def codes(result):
    return {f.code: f for f in result.findings}


def test_a_block_beyond_its_core_is_an_error():
    found = codes(made(region=shapely.box(1450, 100, 1600, 200)))
    assert found["insert-outside-core"].severity is Severity.ERROR
    assert "100.0 cm2" in found["insert-outside-core"].message


def test_a_block_that_reaches_into_a_bevel_is_told_with_the_distance():
    found = codes(made(region=shapely.box(106, 100, 200, 200)))
    assert "6 mm" in found["insert-in-bevel"].message
    assert not codes(made(region=shapely.box(112, 100, 200, 200)))


def test_a_block_that_must_bend_is_told_with_the_radius():
    found = codes(made(face=TrapezoidFace(radius_mm=800.0)))
    assert "800 mm" in found["insert-bends-tight"].message
    assert not codes(made(face=TrapezoidFace(radius_mm=1000.0)))
