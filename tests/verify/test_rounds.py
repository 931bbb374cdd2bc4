"""Pieces told in words in the mark-out, circles and round corners: proved, and caught if forged."""

import json
import re
import shutil

import pytest

from tests import forging
from tests.conftest import built_alone

NAME = "cutplan.pdf"
SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {{number: RO-1, name: Lid, date: 2026-05-04, units: {unit}}}
mould: {{outline: [[0, 0], [{wide}, 0], [{wide}, {high}], [0, {high}]], corners: {corner}}}
layers:
  - {{ply: A, cloth: carbon-twill-200, angle: 0}}
"""
LIDS = {
    "round corners, mm": SPEC.format(unit="mm", wide=600, high=420, corner=60),
    "round corners, in": SPEC.format(unit="in", wide=24, high=17, corner=2.5),
    "circle, mm": SPEC.format(unit="mm", wide=400, high=400, corner=200),
    "circle, in": SPEC.format(unit="in", wide=16, high=16, corner=8),
}
CIRCLE, CORNERS = "A: A circle", "A: The points are where its sides meet"


@pytest.fixture(scope="module", params=LIDS)
def built(request, tmp_path_factory):
    place = tmp_path_factory.mktemp("rounds")
    return request.param, built_alone(place, LIDS[request.param]) / "RO-1"


def placement(plan):
    return next(p for x in plan["layouts"] for p in x["placements"])


def test_it_is_told_in_words_and_proved(built):
    kind, folder = built
    told = placement(json.loads((folder / "plan.json").read_bytes()))
    assert len(told["marks_mm"]) == 4 and told["corner_mm"] > 0
    assert forging.faults(folder) == []
    page = (folder / "booklet.html").read_text("utf-8")
    assert (CIRCLE in page, CORNERS in page) == (kind[0] == "c", kind[0] == "r")


@pytest.mark.parametrize("to", [lambda r: r - 4.0, lambda r: r + 4.0, lambda r: 0.0])
def test_a_forged_radius_of_the_plan_is_caught(built, tmp_path, to):
    copy = shutil.copytree(built[1], tmp_path / "RO-1")
    change = lambda one: one.update(corner_mm=to(one["corner_mm"]))  # noqa: E731
    forging.change_plan(copy, lambda plan: change(placement(plan)))
    assert forging.faults(copy)


FIGURE = rb"\d+(?: \d+/\d+)?(?:\.\d)?"


@pytest.mark.parametrize("name", [NAME, "booklet.html"])
def test_a_forged_size_is_caught(built, tmp_path, name):
    kind, folder = built
    words = ["A circle ", "middle at "] if kind[0] == "c" else ["radius of "]
    for number, lead in enumerate(words):
        copy = shutil.copytree(folder, tmp_path / str(number) / "RO-1")
        data, told = (copy / name).read_bytes(), rb"(%b)(%b)" % (lead.encode(), FIGURE)
        other = lambda m: m[1] + b"7"  # noqa: E731
        if name == NAME:
            count = len(forging.PdfReader(copy / name).pages)
            pages = [forging.page_bytes(data, k) for k in range(count)]
            on = next(k for k, page in enumerate(pages) if re.search(told, page))
            changed = forging.with_page(data, on, re.sub(told, other, pages[on], count=1))
        else:
            changed = re.sub(told, other, data, count=1)
            assert changed != data
        forging.reseal(copy, name, changed)
        assert any(fault.startswith(name) for fault in forging.faults(copy)), lead


def test_words_of_another_kind_are_caught(built, tmp_path):
    kind, folder = built
    copy = shutil.copytree(folder, tmp_path / "RO-1")
    data = (copy / "booklet.html").read_text("utf-8")
    lead = CIRCLE if kind[0] == "c" else CORNERS
    forging.reseal(copy, "booklet.html", data.replace(lead, "A: A square", 1).encode())
    assert any(fault.startswith("booklet.html") for fault in forging.faults(copy))
