"""The proof of joints: overlaps and butts on the cut outlines, from end to end."""

import copy
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.laminate import lay_up
from plybook.plan import piece_row
from plybook.spec.model import Core, OnPattern, OutlineMould, Ply, Polygon, Treatment, Whole
from plybook.surface import build_face
from plybook.verify.joints import check_joints
from plybook.verify.report import Report
from tests.laminate.doubles import cloth, spec

ALL_ALONG = "splices with the overlap they state all along"


def plan_of(given):
    laminate = lay_up(given, build_face(given))
    assert not [f for f in laminate.findings if f.severity.value == "error"]
    return {"pieces": [piece_row(piece) for piece in laminate.pieces]}


def proved(plan):
    report = Report("")
    check_joints(plan, report)
    return report


@pytest.fixture(scope="module")
def over_a_bevel():
    """Two strips across the end of a core, their overlap along its bevel."""
    bevel = (("", Treatment("bevel", 45.0)),)
    corners = ((60.0, 60.0), (585.0, 60.0), (585.0, 240.0), (60.0, 240.0))
    region = Polygon(tuple(OnPattern(x, y) for x, y in corners))
    core = Core("C", "foam", "s", region, thickness_mm=10.0, edges=bevel)
    layers = [core, Ply("B", "twill", "s", Whole(), angle_deg=90.0)]
    ring = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 300.0], [0.0, 300.0]])
    mould = OutlineMould(ring, (), (("bottom", 0, 1), ("right", 1, 2), ("top", 2, 3),
                                    ("left", 3, 0)))  # fmt: skip
    given = spec(layers, {}, mould=mould)
    narrow = {"twill": cloth(roll=620.0, usable=600.0)}
    return plan_of(replace(given, materials=replace(given.materials, cloths=narrow)))


def test_an_overlap_on_a_bevel_is_measured_as_it_is_cut(over_a_bevel):
    plies = [piece for piece in over_a_bevel["pieces"] if piece["kind"] == "ply"]
    one, two = (np.array(piece["outline_mm"]) for piece in plies)
    assert one[:, 0].max() - two[:, 0].min() == pytest.approx(25.0, abs=0.001)
    middle = shapely.LineString([[-10.0, 150.0], [1010.0, 150.0]])
    laid = [shapely.Polygon(piece["laid_outline_mm"]) for piece in plies]
    shared = laid[0].intersection(laid[1]).intersection(middle).length
    assert shared < 24.0  # a slope is longer than its plan
    report = proved(over_a_bevel)
    assert not report.faults and report.proofs[ALL_ALONG] == 1


@pytest.mark.parametrize("by_mm", [-0.5, 0.5])
def test_a_splice_cut_askew_is_caught(over_a_bevel, by_mm):
    """One end of one strip's side is moved: the overlap is right in the middle only."""
    plan = copy.deepcopy(over_a_bevel)
    piece = next(p for p in plan["pieces"] if p["id"] == "B.2")
    (edge,) = (e for e in piece["edges"] if e["name"].startswith("splice"))
    corner = max(edge["points_mm"], key=lambda point: point[1])
    for ring in (piece["outline_mm"], *(e["points_mm"] for e in piece["edges"])):
        ring[:] = [[x + by_mm, y] if [x, y] == corner else [x, y] for x, y in ring]
    (fault,) = proved(plan).faults
    assert "splice B.1 to B.2" in fault and "stated 25.00" in fault
