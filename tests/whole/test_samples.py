"""Witness coupons, samples of cups and hold points: off unless the spec asks, and then made."""

import json
import subprocess

import numpy as np
import pytest

from plybook.diagnostics import SpecError
from plybook.outside import Outside
from plybook.spec import load
from plybook.verify import verify_folder
from tests.conftest import built_alone
from tests.forging import change_plan, faults

SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: WC-1, name: Panel, date: 2026-05-04, units: mm, hand: left, other_hand: WC-2}
mould: {outline: [[0, 0], [500, 0], [500, 300], [0, 200]]}
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-6, region: {inset: 40}}
  - {plies: "[0/45]", as: B, cloth: carbon-twill-200}
stages:
  - {stage: mould, kind: mould_preparation}
  - stage: all
    kind: wet_laminate
    thickened: core-paste
    lays: [A, C, B]
    add: [{step: leak, title: The bag holds, hold: the inspector, checks: [Gauge read twice]}]
  - {stage: trim, kind: trim}
"""
SAMPLES = "samples: {coupon: {layers: [A, B2], size: [250, 150]}, cups: yes}\n"


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    return built_alone(tmp_path_factory.mktemp("samples"), SPEC + SAMPLES)


def plan_of(folder):
    return json.loads((folder / "plan.json").read_bytes())


def steps(plan):
    return [step for stage in plan["stages"] for step in stage["steps"]]


def test_each_hand_has_a_coupon_with_its_plies_size_and_places_in_the_cut_plan(out):
    assert all(report.faults == [] for report in verify_folder(out).folders)
    for number, turn in (("WC-1", 1.0), ("WC-2", -1.0)):
        plan = plan_of(out / f"{number}-W")
        angles = [piece["angle_deg"] for piece in plan["pieces"]]
        assert angles == [45.0 * turn, 0.0, 45.0 * turn]
        for piece in plan["pieces"]:  # 250 x 150 net, and 10 mm to trim all round
            assert np.ptp(piece["outline_mm"], axis=0) == pytest.approx([270.0, 170.0], abs=0.01)
        placed = [p["piece"] for row in plan["layouts"] for p in row["placements"]]
        assert sorted(placed) == ["A1", "A2", "B2"]
        labels = str(out / f"{number}-W" / "labels.pdf")
        words = ["pdftotext", "-l", "1", labels, "-"]  # the sheet of labels
        told = subprocess.run(words, capture_output=True, text=True, check=True).stdout
        assert told.count(f"{number}-W rev A") == 3  # read by poppler


def test_the_part_says_when_its_coupon_is_laid(out):
    found = steps(plan_of(out / "WC-1"))
    titles = [step["title"] for step in found]
    at = titles.index("Lay the witness coupon WC-1-W")
    assert found[at - 1]["pieces"] == ["B2"]
    assert not any("witness" in title.lower() for title in map(str, titles[:at]))


def test_samples_of_cups_are_poured_and_looked_at(out):
    words = json.dumps(steps(plan_of(out / "WC-1")), ensure_ascii=False)
    assert "a finger's breadth of each cup" in words
    assert "Samples of the cups that take a thumbnail (or none)" in words


def test_a_hold_point_names_who_releases_it(out):
    step = next(s for s in steps(plan_of(out / "WC-1")) if s["title"].startswith("Hold point"))
    assert step["title"] == "Hold point: The bag holds"
    assert step["text"][0] == (
        "Stop here. Work goes on only when the inspector has looked and signed."
    )
    assert [(c["kind"], c["text"]) for c in step["checks"]] == [
        ("tick", "Gauge read twice"), ("initials", "Released by the inspector"),
    ]  # fmt: skip


def read(tmp_path, specs, text):
    path = specs / "samples.yaml"
    path.write_text(text, encoding="utf-8")
    return load(path, Outside()).specs


def test_nothing_is_made_that_is_not_asked_for(specs, tmp_path):
    both = read(tmp_path, specs, SPEC)
    assert [spec.part.number for spec in both] == ["WC-1", "WC-2"]
    assert not both[0].samples.cups and both[0].samples.coupon is None


@pytest.mark.parametrize(
    ("coupon", "code"),
    [
        ("{layers: [A, C], size: [250, 150]}", "coupon-not-plies"),
        ("{layers: [], size: [250, 150]}", "coupon-not-plies"),
        ("{layers: [Q], size: [250, 150]}", "unknown-layer"),
        ("{layers: [A], size: [250]}", "wrong-kind"),
    ],
)
def test_a_coupon_that_cannot_be_meant_is_refused(specs, tmp_path, coupon, code):
    with pytest.raises(SpecError) as refused:
        read(tmp_path, specs, SPEC + f"samples: {{coupon: {coupon}}}\n")
    assert code in {f.code for f in refused.value.findings}


def test_plies_of_two_stages_are_no_coupon(specs, tmp_path):
    usual = SPEC.partition("stages:")[0]  # outer skin, core, inner skin: each a stage
    with pytest.raises(SpecError) as refused:
        read(tmp_path, specs, usual + SAMPLES)
    assert [f.code for f in refused.value.findings] == ["coupon-stages"]


@pytest.mark.parametrize(
    "forge",
    [
        lambda p: p["pieces"][0].update(angle_deg=0.0),
        lambda p: p["pieces"].pop(),
        lambda p: p["layers"].reverse(),
    ],
)
def test_a_forged_coupon_is_caught(out, tmp_path, forge):
    import shutil

    shutil.copytree(out, tmp_path / "out")
    change_plan(tmp_path / "out" / "WC-1-W", forge)
    assert faults(tmp_path / "out")
