"""What is to be bought for a set: a good list is proved, and a forged one is caught."""

import copy
import json
import re
import shutil

import pytest

from plybook.verify import verify_folder
from plybook.verify.purchases import check_wants
from plybook.verify.report import Report
from tests.conftest import built_alone
from tests.forging import faults, page_bytes, reseal, with_page

PAIR = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: BU-1, name: Panel, date: 2026-05-04, units: UNITS, hand: left, other_hand: BU-2}
mould: {outline: [[0, 0], [900 mm, 0], [900 mm, 500 mm], [0, 300 mm]]}
layers:
  - {plies: "[0/90]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-10, region: {inset: 60 mm}, edges: {all: bevel 45}}
  - {plies: "[90/0]", as: B, cloth: carbon-twill-200}
"""
SET = "BU-1+BU-2"


@pytest.fixture(scope="module", params=["mm", "in"])
def out(request, tmp_path_factory):
    """Two hands, built together; read only."""
    return built_alone(tmp_path_factory.mktemp("pair"), PAIR.replace("UNITS", request.param))


@pytest.fixture
def copied(out, tmp_path):
    shutil.copytree(out, tmp_path / "out")
    return tmp_path / "out"


@pytest.fixture(scope="module")
def plans(out):
    """Of both hands, first that of the one whose core comes from a sheet to be bought; the other's
    may come from an off-cut."""
    both = [json.loads((out / name / "plan.json").read_bytes()) for name in ("BU-1", "BU-2")]
    return sorted(both, key=lambda plan: not any(w["unit"] == "sheet" for w in plan["wants"]))


@pytest.fixture(scope="module")
def plan(plans):
    return plans[0]


def test_the_list_of_a_good_set_is_proved(out):
    reports = {r.folder.rpartition("/")[2]: r for r in verify_folder(out).folders}
    assert all(report.faults == [] for report in reports.values())
    for what in ("purchase lists of sets equal to what their parts want",
                 "purchase lists on paper equal to their table"):  # fmt: skip
        assert reports[SET].proofs[what] == 1


def test_both_hands_together_buy_no_more_than_each_alone(out, plans):
    """Worked from the lists in the booklets: together a thing is at most what both lists add up to,
    and at least what one of them says; a tin that is looked after once is bought once."""
    lines = (out / SET / "tables" / "purchases.csv").read_text(encoding="utf-8-sig").splitlines()
    own: dict[tuple[str, str], list[float]] = {}
    for row in (row for plan in plans for row in plan["quantities"]["buy"]):
        own.setdefault((row["item"], row["unit"]), []).append(row["amount"])
    assert len(lines) - 1 == len(own)
    for line in lines[1:]:
        item, amount, unit = re.fullmatch(r'(?:"(.*)"|([^,]*)),([\d.]+),(\w+),.*', line).group(
            1, 3, 4
        )
        item = item if item is not None else line.split(",")[0]
        each = own[item, unit]
        assert max(each) - 1e-6 <= float(amount) <= sum(each) + 1e-6
    assert any(line.startswith("Mould wax,1,piece") for line in lines)


@pytest.mark.parametrize(
    "change",
    [
        lambda data: data.replace(b"Mould wax,1", b"Mould wax,2"),
        lambda data: data.replace(b'"BU-1, BU-2"', b"BU-1", 1),
        lambda data: b"".join(data.splitlines(keepends=True)[:-1]),
        lambda data: data + data.splitlines(keepends=True)[-1],
        lambda data: re.sub(rb",(\d+)(\r?\n)", rb",1\1\2", data, count=1),
    ],
)
def test_a_forged_table_is_caught(copied, change):
    data = (copied / SET / "tables" / "purchases.csv").read_bytes()
    changed = change(data)
    assert changed != data
    reseal(copied / SET, "tables/purchases.csv", changed)
    assert any("tables/purchases.csv" in f for f in faults(copied))


def buying(folder):
    """The number of the sheet of what is to be bought, and its content."""
    data = (folder / "cutplan.pdf").read_bytes()
    for number in range(99):
        content = page_bytes(data, number)
        if b"(To buy)" in content:
            return data, number, content
    raise AssertionError("there is no such sheet")


@pytest.mark.parametrize(
    "change",
    [
        lambda c: c.replace(b"(1 piece)", b"(2 pieces)", 1),
        lambda c: c.replace(b"(BU-1, BU-2)", b"(BU-2)", 1),
        lambda c: c.replace(b"(Mould wax)", b"(Mould was)", 1),
        lambda c: re.sub(rb"\((\d+\.\d\d)\)", rb"(1\1)", c, count=1),
        lambda c: re.sub(rb"\(Together\)", rb"(Together, more or less)", c, count=1),
        lambda c: re.sub(rb"rounded up once", rb"rounded down once", c, count=1),
    ],
)
def test_a_forged_sheet_is_caught(copied, change):
    data, number, content = buying(copied / SET)
    changed = change(content)
    assert changed != content
    reseal(copied / SET, "cutplan.pdf", with_page(data, number, changed))
    assert any("buy" in f or "out of its place" in f for f in faults(copied))


def test_a_sheet_left_out_is_caught(copied):
    data, number, _ = buying(copied / SET)
    reseal(copied / SET, "cutplan.pdf", with_page(data, number, page_bytes(data, 0)))
    assert any("in its list of what is to buy" in f for f in faults(copied))


def _want(plan, unit):
    return next(w for w in plan["wants"] if w["unit"] == unit and w["exact"] > 0.1)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda p: _want(p, "kg").update(exact=9.0), "are wanted"),
        (lambda p: _want(p, "m").update(exact=90.0), "to be bought"),
        (lambda p: _want(p, "m").update(step=5.0), "in steps of"),
        (lambda p: _want(p, "sheet").update(key="another"), "of it are used"),
        (lambda p: p["wants"].pop(), "to be bought"),
        (lambda p: p["quantities"]["buy"].append(p["quantities"]["buy"][0]), "twice"),
        (lambda p: p["quantities"]["buy"][0].update(amount=7.0), "to be bought"),
    ],
)
def test_a_forged_want_is_caught(plan, change, said):
    forged, report = copy.deepcopy(plan), Report("")
    change(forged)
    check_wants(forged, report)
    assert any(said in fault for fault in report.faults), report.faults
