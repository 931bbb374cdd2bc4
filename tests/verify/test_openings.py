"""Openings on the paper cut plan: forged radii and diameters are caught, however careful."""

import json
import math
import re
import shutil
from functools import partial

import numpy as np
import pytest

from plybook.verify import _guarded
from plybook.verify.markout import check_cut_sheets
from plybook.verify.openings import _corner_radius
from plybook.verify.report import Report
from tests import forging
from tests.conftest import built_alone

NAME = "cutplan.pdf"
ROUND = ("{{to: [{0}, {1}], corner: {6}}}, {{to: [{2}, {1}], corner: {6}}}, "
         "{{to: [{2}, {3}], corner: {6}}}, {{to: [{4}, {5}], corner: {6}}}")  # fmt: skip
SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {{number: OP-1, name: Panel, date: 2026-05-04, units: {unit}}}
mould:
  outline: [[0, 0], [{wide}, 0], [{wide}, {high}], [0, {high}]]
  holes: [[{ring}], {{circle: [{at}, {at}], diameter: {across}}}]
layers:
  - {{ply: A, cloth: carbon-twill-200, angle: 0}}
  - {{core: C, sheet: foam-10, region: {{inset: {inset}}}}}
"""
UNITS = {
    "mm": SPEC.format(unit="mm", wide=900, high=600, at=150, across=80, inset=20,
                      ring=ROUND.format(400, 200, 700, 420, 380, 400, 20)),
    "in": SPEC.format(unit="in", wide=36, high=24, at=6, across=3.2, inset=1,
                      ring=ROUND.format(16, 8, 28, 17, 15, 16, 0.8)),
}  # fmt: skip


@pytest.fixture(scope="module", params=UNITS)
def built(request, tmp_path_factory):
    place = tmp_path_factory.mktemp("openings")
    return request.param, built_alone(place, UNITS[request.param]) / "OP-1"


def faults(folder):
    report = Report("")
    plan = json.loads((folder / "plan.json").read_bytes())
    data = (folder / NAME).read_bytes()
    _guarded(partial(check_cut_sheets, plan, {NAME: data}, report), report)
    return report.faults


def pages_with(folder, words):
    data = (folder / NAME).read_bytes()
    count = len(forging.PdfReader(folder / NAME).pages)
    return [n for n in range(count) if re.search(words, forging.page_bytes(data, n))]


def inch(sixteenths):
    whole, rest = divmod(sixteenths, 16)
    low = math.gcd(rest, 16)
    return (f"{whole} " if whole else "") + (f"{rest // low}/{16 // low}" if rest else "")


# what is told, and what a forger tells instead: 20 mm or 0.8 in of a corner, 80 mm or 3.2 in across
RADII = {"mm": ("15", "18.5", "23", "24", "30", "2"), "in": ("9/16", "11/16", "1", "1 1/2")}
ACROSS = {"mm": ("78", "82", "90", "8"), "in": ("3", "3 3/8", "4")}


def told(kind):
    figure = rb"[\d /.]+? ?(?:mm|in)"
    return {"radius": rb"radius of (%b)" % figure, "across": rb"(?<=[( ])(%b) across[.;]" % figure}[
        kind
    ]


@pytest.mark.parametrize("kind", ["radius", "across"])
def test_a_forged_size_of_an_opening_is_caught(built, kind, tmp_path):
    unit, folder = built
    assert faults(folder) == []
    pages = pages_with(folder, told(kind))
    assert pages, "no page tells it"
    for number in pages:
        data = forging.page_bytes((folder / NAME).read_bytes(), number)
        for figure in (RADII if kind == "radius" else ACROSS)[unit]:
            copy = tmp_path / f"{number}-{figure.replace('/', '_')}"
            shutil.copytree(folder, copy)
            found = re.search(told(kind), data)
            changed = data[: found.start(1)] + f"{figure} {unit}".encode() + data[found.end(1) :]
            whole = (copy / NAME).read_bytes()
            forging.reseal(copy, NAME, forging.with_page(whole, number, changed))
            assert any("opening" in fault for fault in faults(copy)), figure


@pytest.mark.parametrize("radius", [3.0, 20.0, 150.0])
def test_the_radius_of_corners_is_measured_on_the_ring(radius):
    """Against the radius that the ring was drawn with."""
    step = 2 * math.acos(1 - 0.01 / radius)  # chords leave the curve by 0.01 mm
    turns = np.linspace(0, math.pi / 2, max(3, math.ceil(math.pi / 2 / step)))
    middles = [(400, 300), (-400, 300), (-400, -300), (400, -300)]
    ring = np.vstack([
        np.column_stack([x + radius * np.cos(turns + k * math.pi / 2),
                         y + radius * np.sin(turns + k * math.pi / 2)])
        for k, (x, y) in enumerate(middles)
    ])  # fmt: skip
    assert _corner_radius(np.round(ring, 4)) == pytest.approx(radius, rel=0.02)
    assert _corner_radius(np.array(middles, float)) == 0
