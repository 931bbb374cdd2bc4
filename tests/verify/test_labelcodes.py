"""QR codes of labels: each opens the step of its piece, and a changed one is caught."""

import json
import re
import shutil

import pytest

from plybook.verify import verify_folder
from plybook.verify.pdf_pages import open_book
from tests.conftest import built_alone
from tests.forging import change_plan, faults, page_bytes, reseal, with_page

SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: QR-1, name: Panel, date: 2026-05-04, units: mm}
workshop: {booklets_at: "https://shop.example/parts"}
mould: {outline: [[0, 0], [600, 0], [600, 400], [0, 400]]}
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-10, region: {inset: 60}, edges: {all: bevel 45}}
  - {plies: "[0/45]", as: B, cloth: carbon-twill-200}
"""
WHAT = "QR codes that open the step of their piece"


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    """A part whose labels carry codes; read only."""
    return built_alone(tmp_path_factory.mktemp("codes"), SPEC)


@pytest.fixture
def folder(out, tmp_path):
    shutil.copytree(out, tmp_path / "out")
    return tmp_path / "out" / "QR-1"


def test_codes_of_a_good_build_are_proved(out):
    (report,) = verify_folder(out).folders
    assert report.faults == []
    assert report.proofs[WHAT] == 2 * 5


def test_a_code_that_opens_another_page_is_caught(folder):
    change_plan(folder, lambda p: p["workshop"].update(booklets_at="https://other.example/parts/"))
    assert any("has a code of 'https://shop.example/parts/QR-1/" in f for f in faults(folder))


def test_a_code_of_another_step_is_caught(folder):
    plan = json.loads((folder / "plan.json").read_bytes())
    laying = [s for stage in plan["stages"] for s in stage["steps"] if s["lays"]]
    one, other = laying[0]["id"], laying[1]["id"]
    change_plan(folder, lambda p: swap_ids(p, one, other))
    assert any(f"#{one}', not" in f for f in faults(folder))


def swap_ids(plan, one, other):
    for step in (s for stage in plan["stages"] for s in stage["steps"]):
        step["id"] = {one: other, other: one}.get(step["id"], step["id"])


def less(content):
    """The first module of the page left out."""
    return re.sub(rb"[\d.]+ [\d.]+ [\d.]+ [\d.]+ re f\*?", b"", content, count=1)


def wider(content):
    return re.sub(rb"([\d.]+ [\d.]+) ([\d.]+) ([\d.]+) re", rb"\1 1\2 \3 re", content, count=1)


def astray(content):
    return content + b"\n0.078 0.078 0.078 rg n 300 20 4 4 re f*\n"


@pytest.mark.parametrize("change", [less, wider, astray])
def test_a_changed_code_is_caught(folder, change):
    data = (folder / "labels.pdf").read_bytes()
    content = page_bytes(data, 0)
    changed = change(content)
    assert changed != content
    reseal(folder, "labels.pdf", with_page(data, 0, changed))
    assert any("has a code of" in f or "are of no code" in f for f in faults(folder))


def test_codes_that_are_left_out_are_caught(folder):
    data = (folder / "labels.pdf").read_bytes()
    content = re.sub(rb"[\d.]+ [\d.]+ [\d.]+ [\d.]+ re f\*?", b"", page_bytes(data, 0))
    reseal(folder, "labels.pdf", with_page(data, 0, content))
    assert open_book((folder / "labels.pdf").read_bytes()).page(0).areas == []
    assert any("has a code of ''" in f for f in faults(folder))
