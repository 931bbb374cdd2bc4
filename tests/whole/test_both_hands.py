"""Both hands of a part cut from the same stock: each is the other's mirror image, to the micron."""

import json
import shutil

import pytest

from plybook.cli import main
from plybook.verify import verify_folder
from plybook.verify.sets import UNREAD
from tests.conftest import SPECS
from tests.forging import faults, reseal

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
"""


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hands")
    shutil.copytree(SPECS / "shared", folder / "shared")
    (folder / "panel.yaml").write_text(PANEL)
    arguments = ["build", str(folder / "panel.yaml"), "--out", str(folder / "out")]
    assert main([*arguments, "--effort", "quick"]) == 0
    return folder / "out"


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
    ):
        assert proofs[what] >= 4, what


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
    reseal(folder, "tables/placements.csv", table.replace(b",no\r\n", b",yes\r\n", 1))
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
