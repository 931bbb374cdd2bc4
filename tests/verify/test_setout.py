"""Forged figures of the set-out are found in plan.json, in the table and in both booklets."""

import copy
import json

import pytest

from plybook.verify.report import Report
from plybook.verify.setout import check_setout
from tests.conftest import built_alone
from tests.forging import change_plan, faults, reseal
from tests.shop.test_setout import CHANNEL


@pytest.fixture(scope="module")
def channel(tmp_path_factory):
    out = built_alone(tmp_path_factory.mktemp("channel"), CHANNEL.format(units="mm", more=""))
    return json.loads((out / "SO-1" / "plan.json").read_bytes())


def said(plan):
    report = Report("made")
    check_setout(plan, report)
    return report.faults


def _more(row, key, by=1.0):
    row[key] += by


def _shift(points, by):
    for point in points:
        point[0] += by


FORGED = {
    "a distance": lambda s: _more(s["marks"][-1]["ties"][0], "mm"),
    "a mark": lambda s: _more(s["marks"][-1]["at_mm"], 1),
    "a mark and its distance": lambda s: (
        _more(s["marks"][-1]["at_mm"], 1), _more(s["marks"][-1]["ties"][0], "mm")
    ),
    "a mark less": lambda s: s["marks"].pop(),
    "a diagonal": lambda s: _more(s["diagonals"][0], "mm"),
    "a diagonal less": lambda s: s["diagonals"].pop(),
    "an outline": lambda s: _shift(s["outlines"][0]["points_mm"], 2.0),
    "an outline less": lambda s: s["outlines"].pop(),
    "a station": lambda s: _shift(s["lines"][3]["points_mm"], 2.0),
    "the axis": lambda s: _more(s["lines"][-1]["points_mm"][1], 1),
    "the tolerance": lambda s: _more(s, "tolerance_mm", 5.0),
    "the strain": lambda s: _more(s, "strain_pct"),
    "a side": lambda s: next(
        t for m in s["marks"] for t in m["ties"] if t["side"] == "tipward"
    ).update(side="rootward"),
    "a land less, with its marks": lambda s: (
        s["outlines"].pop(),
        s.update(marks=[m for m in s["marks"] if m["of"] != "PL"]),
    ),
    "a mark of another thing": lambda s: s["marks"][-1].update(of="C"),
    "a bow that is none": lambda s: s["bows"].append(
        {"line": "lower", "start": 3, "end": 5, "at_mm": [500.0], "offsets_mm": [4.0],
         "sides": ["inside", "outside"]}
    ),
}  # fmt: skip


def test_the_set_out_of_a_channel_is_sound(channel):
    assert said(channel) == []


@pytest.mark.parametrize("name", FORGED)
def test_forged_figures_are_found(channel, name):
    plan = copy.deepcopy(channel)
    FORGED[name](plan["setout"])
    assert said(plan)


def test_a_bow_that_is_not_told_is_found(hatch_out, channel):
    """A station that leaves its string by 3 mm, everywhere else as it was."""
    plan = copy.deepcopy(channel)
    row = next(line for line in plan["setout"]["lines"] if line["name"] == "station 2")
    (x0, y0), (x1, y1) = row["points_mm"][0], row["points_mm"][-1]
    bowed = [[x0, y0], [(x0 + x1) / 2 + 3.0, (y0 + y1) / 2], [x1, y1]]
    row["points_mm"] = bowed
    for edge in plan["surface"]["edges"]:
        if edge["name"] == "tip":
            edge["points_mm"] = bowed
    assert any("untold" in fault for fault in said(plan))


def test_the_table_and_both_booklets_are_held_to_the_plan(hatch_copy):
    folder = hatch_copy / "TN-420"
    assert faults(folder) == []

    def longer(plan):
        plan["setout"]["diagonals"][0]["mm"] += 5.0

    change_plan(folder, longer)
    found = faults(folder)
    for place in ("diagonal 1 to 3", "tables/setout.csv", "booklet.html", "booklet.pdf"):
        assert any(place in fault for fault in found), place


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("tables/setout.csv", b"14 7/16 in", b"14 9/16 in"),
        ("tables/setout.csv", b"366.324", b"367.324"),
        ("booklet.html", b">14 7/16<", b">14 9/16<"),
        ("booklet.html", b"by more than 3/32", b"by more than 7/32"),
    ],
)
def test_a_forged_figure_is_found(hatch_copy, file, old, new):
    folder = hatch_copy / "TN-420"
    data = (folder / file).read_bytes()
    assert old in data or old.replace(b" ", b"\xc2\xa0") in data
    forged = data.replace(old, new, 1)
    if forged == data:
        forged = data.replace(old.replace(b" ", b"\xc2\xa0"), new.replace(b" ", b"\xc2\xa0"), 1)
    reseal(folder, file, forged)
    assert any(file in fault for fault in faults(folder))
