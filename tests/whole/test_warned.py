"""Warnings stand at the step that lays what they are about, once, with the builder's reason."""

import json
import shutil
from pathlib import Path

import pytest

from plybook.verify import verify_folder
from tests.conftest import built_alone
from tests.forging import faults, reseal

SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: WN-1, name: Panel, date: 2026-05-04, units: mm}
mould: {outline: [[0, 0], [400, 0], [400, 300], [0, 300]]}
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-6, region: {inset: 40}, edges: {all: square}}
  - {plies: "[0/45]", as: B, cloth: carbon-twill-200}
accept:
  - {finding: core-square-edge, because: A fillet of paste goes round it}
"""
MIND = b"Mind:"
REASON = b"A fillet of paste goes round it"


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return built_alone(tmp_path_factory.mktemp("warned"), SPEC)


def card(page, step):
    """What the page holds of a step."""
    return page.split(f'data-step="{step}"'.encode(), 1)[1].split(b"</section>", 1)[0]


def test_the_step_that_lays_the_core_tells_of_its_edges_and_no_other_step(out):
    page = (out / "WN-1" / "booklet.html").read_bytes()
    plan = json.loads((out / "WN-1" / "plan.json").read_bytes())
    warned = [f for f in plan["findings"] if f["severity"] == "warning"]
    assert [f["code"] for f in warned] == ["core-square-edge"]
    lays = [s for g in plan["stages"] for s in g["steps"] if s["lays"] and "C" in s["pieces"]]
    told = card(page, lays[0]["id"])
    assert page.count(MIND) == 1 and MIND in told and REASON in told
    assert all(report.faults == [] for report in verify_folder(out).folders)


@pytest.mark.parametrize(
    "forge",
    [
        lambda page: page.replace(MIND, b"Mend:", 1),
        lambda page: page.replace(REASON, b"It was said to hold", 1),
        lambda page: page.replace(b"<h3>Check</h3>", b"<p>Mind: all is well.</p><h3>Check</h3>", 1),
    ],
)
def test_a_forged_warning_is_caught(out, tmp_path, forge):
    out = Path(shutil.copytree(out, tmp_path / "out"))
    page = (out / "WN-1" / "booklet.html").read_bytes()
    changed = forge(page)
    assert changed != page
    reseal(out / "WN-1", "booklet.html", changed)
    assert any("warnings" in fault for fault in faults(out))
