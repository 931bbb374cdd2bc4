"""Both hands of a part cut from the same stock: each is the other's mirror image, to the micron."""

import json
import shutil

import pypdf
import pytest

from plybook.verify import verify_folder
from plybook.verify.sets import UNREAD
from tests.conftest import built_alone
from tests.forging import change_plan, faults, reseal

PANEL = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: PR-1, name: Panel, date: 2026-05-04, units: mm, hand: left, other_hand: PR-2}
mould:
  outline: [[0, 0], [1500, 0], [1500, 900], [700, 1400], [0, 1400]]
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - core: C
    sheet: foam-6
    region: {inset: 60}
    edges: {all: bevel 30}
    seams: [{from: [750, -20], to: [750, 1500], cut: scarf 20}]
  - {plies: "[30/45]", as: B, cloth: carbon-twill-200}
  - {ply: D, cloth: carbon-twill-200, angle: 0, region: {patch: {at: [300, 300], size: [182, 240]}}}
"""


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return built_alone(tmp_path_factory.mktemp("hands"), PANEL)


@pytest.fixture
def copy(out, tmp_path):
    shutil.copytree(out, tmp_path / "out")
    return tmp_path / "out"


@pytest.mark.slow
def test_both_hands_and_their_set_verify(out):
    reports = verify_folder(out)
    assert sorted(p.name for p in out.iterdir()) == ["PR-1", "PR-1+PR-2", "PR-2"]
    assert reports.sound, faults(out)
    proofs = {what: n for report in reports.folders for what, n in report.proofs.items()}
    for what in (
        "pieces mirrored for the opposite hand",
        "angles negated for the opposite hand",
        "placements on which two parts agree",
        "splices with the overlap they state all along",
        "cards that send to the template of another piece",
        "templates of the other hand that serve",
    ):
        assert proofs[what] >= 4, what


@pytest.mark.slow
def test_the_second_hand_is_cut_by_the_templates_of_the_first(out):
    """Its file is the printer test, the list and small cards; each piece is told where it is."""
    first, second = (
        json.loads((out / name / "plan.json").read_bytes()) for name in ("PR-1", "PR-2")
    )
    pieces = {piece["id"] for piece in second["pieces"]}
    assert {card["piece"] for card in second["served"]} == pieces
    assert not second["tiles"] and not second["figures"]
    by = {card["piece"]: card["by"] for card in first["served"]}
    assert all(c["by"] == by.get(c["piece"], c["piece"]) for c in second["served"])
    assert len(pypdf.PdfReader(out / "PR-2" / "templates.pdf").pages) == 2 + -(-len(pieces) // 10)


@pytest.mark.slow
def test_a_card_that_sends_to_no_template_is_told(copy):
    change_plan(copy / "PR-1", lambda plan: plan["figures"].pop())
    assert any("a template that PR-1 does not have" in fault for fault in faults(copy))


def test_a_set_verified_alone_is_held_against_the_parts_beside_it(copy):
    (report,) = verify_folder(copy / "PR-1+PR-2").folders
    assert report.sound and UNREAD not in report.unproved
    (copy / "PR-2" / "plan.json").unlink()
    (report,) = verify_folder(copy / "PR-1+PR-2").folders
    assert UNREAD in report.unproved


@pytest.mark.slow
def test_a_set_that_differs_from_its_parts_is_caught(copy):
    folder = copy / "PR-1+PR-2"
    table = (folder / "tables" / "placements.csv").read_bytes()
    reseal(folder, "tables/placements.csv", table.replace(b",no,", b",yes,", 1))
    assert any("differs from plan.json" in fault for fault in faults(copy))


@pytest.mark.slow
def test_a_drawing_of_other_layouts_in_the_set_is_caught(copy):
    folder = copy / "PR-1+PR-2" / "cutplan"
    first, second, *_ = sorted(folder.glob("*.dxf"))
    reseal(folder.parent, f"cutplan/{first.name}", second.read_bytes())
    assert any("outline" in fault for fault in faults(copy))


@pytest.mark.slow
@pytest.mark.parametrize("what", ["angle", "outline", "missing"])
def test_hands_that_do_not_mirror_are_caught(copy, what):
    plan = json.loads((copy / "PR-2" / "plan.json").read_bytes())
    piece = plan["pieces"][0]
    if what == "angle":
        piece["angle_deg"] = -piece["angle_deg"]
    elif what == "outline":
        piece["outline_mm"][0][0] += 0.5
    else:
        plan["pieces"].pop(0)
    reseal(copy / "PR-2", "plan.json", json.dumps(plan).encode())
    assert any("hand" in fault or "mirror" in fault for fault in faults(copy))
