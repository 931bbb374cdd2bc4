"""A set-out that does not hold is left out as far as that goes, told of, and no further; what is
left out without a word is found."""

import copy
import json
import math
import shutil

import numpy as np
import pytest

from plybook.shop import setout
from plybook.verify.report import Report
from plybook.verify.setout import check_setout
from tests.conftest import built_alone
from tests.forging import change_plan, faults, reseal
from tests.shop.test_setout import CHANNEL

TEXT = CHANNEL.format(units="mm", more="")
CODE = "set-out-less"


def _corners_off(outline, told=setout.corners_of):
    """Corners of the core told 3 mm off."""
    found = told(outline)
    if outline.of != "C":
        return found
    return [setout.Corner(np.add(c.at_mm, 3.0), c.radius_mm) for c in found]


def _diagonal_off(of, start, end, told=setout._diagonal):
    right = told(of, start, end)
    return setout.Diagonal(of, start.number, end.number, right.mm + 5.0)


@pytest.fixture(scope="module")
def without_core(tmp_path_factory):
    """The channel, where corners of its core come out wrong; read only."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(setout, "corners_of", _corners_off)
        return built_alone(tmp_path_factory.mktemp("less"), TEXT) / "SO-1"


@pytest.fixture(scope="module")
def without_sheet(tmp_path_factory):
    """The channel, where its diagonals come out wrong; read only."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(setout, "_diagonal", _diagonal_off)
        return built_alone(tmp_path_factory.mktemp("none"), TEXT) / "SO-1"


@pytest.fixture
def copied(tmp_path):
    def copy_of(folder):
        return shutil.copytree(folder, tmp_path / "SO-1")

    return copy_of


def read(folder):
    return json.loads((folder / "plan.json").read_bytes())


def notes(plan):
    return [f for f in plan["findings"] if f["code"] == CODE]


def test_a_layer_whose_marks_do_not_hold_is_left_out_alone(without_core):
    plan = read(without_core)
    assert faults(without_core) == []
    held = plan["setout"]
    assert [one["of"] for one in held["left_out"]] == ["C"]
    assert {mark["of"] for mark in held["marks"]} == {"axis", "lower", "upper", "PL"}
    assert len(held["diagonals"]) == 2
    (note,) = notes(plan)
    assert note["severity"] == "note" and note["layers"] == ["C"]
    off = f"core outline C is {math.hypot(3.0, 3.0):.2f} mm from the lines that join its marks"
    assert "does not show C" in note["message"]
    assert f"{off} (about span" in note["message"]
    assert b"Not on this sheet: C." in (without_core / "booklet.html").read_bytes()


def test_a_sheet_that_does_not_hold_is_left_out_whole(without_sheet):
    plan = read(without_sheet)
    assert faults(without_sheet) == []
    assert [one["of"] for one in plan["setout"]["left_out"]] == [""]
    (note,) = notes(plan)
    assert "of the mould is left out" in note["message"] and "diagonal" in note["message"]
    assert not (without_sheet / "tables" / "setout.csv").exists()
    book = (without_sheet / "booklet.html").read_bytes()
    assert b'data-step="setout"' not in book and b"Draw all lines of the set-out" not in book


def _drop_note(plan):
    plan["findings"] = [f for f in plan["findings"] if f["code"] != CODE]


FORGED = {
    "no note": _drop_note,
    "nothing left out": lambda plan: plan["setout"].update(left_out=[]),
    "another layer": lambda plan: plan["setout"]["left_out"][0].update(of="PL"),
    "a layer more": lambda plan: plan["setout"]["left_out"].append({"of": "PL", "why": "x"}),
    "another reason": lambda plan: plan["setout"]["left_out"][0].update(why="a slip"),
    "all of it": lambda plan: plan["setout"].update(
        left_out=[{"of": "", "why": ""}], marks=[], lines=[], outlines=[], rows=[], diagonals=[],
        bows=[],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FORGED)
def test_what_is_left_out_without_a_word_is_found(without_core, name):
    plan = copy.deepcopy(read(without_core))
    FORGED[name](plan)
    report = Report("made")
    check_setout(plan, report)
    assert report.faults


def test_a_sheet_that_is_whole_may_not_be_left_out_in_silence(hatch_copy):
    folder = hatch_copy / "TN-420"
    change_plan(folder, FORGED["all of it"])
    found = faults(folder)
    for place in ("plan.json, setout", "tables/setout.csv", "booklet.html"):
        assert any(place in fault for fault in found), place


def test_a_word_of_what_is_left_out_is_held(copied, without_core):
    folder = copied(without_core)
    data = (folder / "booklet.html").read_bytes()
    old = b"Not on this sheet: C."
    assert old in data
    reseal(folder, "booklet.html", data.replace(old, b"Not on this sheet: B.", 1))
    assert any("booklet.html" in fault for fault in faults(folder))


def test_a_page_of_a_sheet_that_is_left_out_is_found(copied, without_sheet):
    folder = copied(without_sheet)
    data = (folder / "booklet.html").read_bytes()
    at = data.index(b'data-step="') + len(b'data-step="')
    end = data.index(b'"', at)
    reseal(folder, "booklet.html", data[:at] + b"setout" + data[end:])
    assert any("shows the set-out" in fault for fault in faults(folder))
