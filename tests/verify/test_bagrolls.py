"""What lies under the bags: a good list is proved; a forged plan, table or sheet is caught."""

import copy
import json
from dataclasses import replace

import pytest

from plybook import tables
from plybook.nest.model import NO_LAYOUTS
from plybook.plan import plan_dict
from plybook.shop import plan_work
from plybook.verify import verify_folder
from plybook.verify.bagrolls import check_bag_files, check_bag_rolls
from plybook.verify.report import Report
from plybook.write.bag_sheets import bag_pages
from plybook.write.sheets_pdf import cut_sheets
from plybook.write.tables import csv_bytes
from tests.conftest import built_alone
from tests.shop import parts

WIDE = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: BR-1, name: Wide panel, date: 2026-05-04, units: UNITS}
mould: {outline: [[0, 0], [3000 mm, 0], [3000 mm, 2400 mm], [0, 2400 mm]]}
layers:
  - {plies: "[0/90]", as: A, cloth: carbon-twill-200}
"""


@pytest.fixture(scope="module", params=["mm", "in"])
def wide_out(request, tmp_path_factory):
    """A panel wider than every roll that goes under its bag; read only."""
    spec = WIDE.replace("UNITS", request.param)
    return built_alone(tmp_path_factory.mktemp("wide"), spec)


@pytest.fixture(scope="module")
def wide_plan(wide_out):
    return json.loads((wide_out / "BR-1" / "plan.json").read_bytes())


def test_sheets_wider_than_their_roll_are_built_and_proved(wide_out, wide_plan):
    """Every sheet has two widths; together, less a lap, they are wider than the laminate."""
    (report,) = verify_folder(wide_out).folders
    assert report.faults == []
    for what in (
        "cuts for bags told with size, place and use",
        "cuts for bags drawn in their place",
        "rolls for bags wanted as their cuts need",
    ):
        assert report.proofs[what] >= 4
    for roll in wide_plan["bag_rolls"]:
        sizes = [(max(c["along_mm"], c["across_mm"]), min(c["along_mm"], c["across_mm"]))
                 for c in roll["cuts"]]  # fmt: skip
        assert len(sizes) == 2 and all("2 widths, lapped" in c["where"] for c in roll["cuts"])
        assert min(long for long, _ in sizes) > 3000.0
        assert sum(short for _, short in sizes) - 50.0 >= 2400.0


def _roll(plan, k=0):
    return plan["bag_rolls"][k]


def _cut(plan, k=0, n=0):
    return plan["bag_rolls"][k]["cuts"][n]


def _wanted(plan):
    names = {roll["item"] for roll in plan["bag_rolls"]}
    return next(want for want in plan["wants"] if want["item"] in names)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda p: _cut(p).update(x_mm=-5.0), "leaves it"),
        (lambda p: _cut(p).update(along_mm=_cut(p)["along_mm"] + 9e3), "leaves it"),
        (lambda p: _roll(p).update(width_mm=200.0), "leaves it"),
        (lambda p: _roll(p).update(used_length_mm=9e4), "its cuts reach to"),
        (lambda p: _cut(p, 0, 1).update(x_mm=_cut(p)["x_mm"], y_mm=_cut(p)["y_mm"]), "lie over"),
        (lambda p: _roll(p)["cuts"].pop(), "the quantities say"),
        (lambda p: _cut(p).update(copy=2), "are there"),
        (lambda p: _cut(p).update(of=2), "are there"),
        (lambda p: _cut(p).update(stage="elsewhere"), "differ"),
        (lambda p: _cut(p).update(where="anywhere"), "the quantities say"),
        (lambda p: _roll(p).update(item="Another film"), "the quantities say"),
        (lambda p: _cut(p).update(across_mm=_cut(p)["across_mm"] - 20.0), "the quantities say"),
        (lambda p: _wanted(p).update(exact=_wanted(p)["exact"] - 0.1), "are wanted"),
        (lambda p: p["wants"].remove(_wanted(p)), "are wanted"),
        (lambda p: p.update(bag_rolls=[]), "are wanted"),
    ],
)
def test_a_forged_plan_is_caught(wide_plan, change, said):
    plan, report = copy.deepcopy(wide_plan), Report("")
    change(plan)
    check_bag_rolls(plan, report)
    assert any(said in fault for fault in report.faults), report.faults


def test_a_film_smaller_than_the_laminate_is_caught(wide_plan):
    """The cut, its row and its purchase all say the same, and it is too small."""
    plan, report = copy.deepcopy(wide_plan), Report("")
    for piece in plan["pieces"]:
        piece["laid_outline_mm"] = [[0, 0], [3300, 0], [3300, 2400], [0, 2400]]
    check_bag_rolls(plan, report)
    assert any("does not cover" in fault for fault in report.faults)


@pytest.fixture(scope="module")
def skin():
    """A spec, what its bench side is, and its plan as data."""
    film = replace(parts.PEEL, name="Film", role="bag_film", roll_width_mm=1000.0)
    materials = replace(parts.MATERIALS, consumables={"peel": parts.PEEL, "film": film})
    spec, face, lam, _ = parts.skin(materials=materials)
    shop = plan_work(spec, face, lam, NO_LAYOUTS)
    plan = json.loads(json.dumps(plan_dict(spec, face, lam, NO_LAYOUTS, shop)))
    return spec, shop, plan


def files_of(spec, shop, table=None):
    return {
        "cutplan.pdf": cut_sheets(NO_LAYOUTS, {}, [spec], bags=bag_pages(spec, shop)).pdf,
        "tables/bag_cuts.csv": csv_bytes(*tables.bag_cuts_table(table or shop)),
    }


def with_roll(shop, **changes):
    return replace(shop, bag_rolls=(replace(shop.bag_rolls[0], **changes), *shop.bag_rolls[1:]))


def with_cut(shop, **changes):
    first, *rest = shop.bag_rolls[0].cuts
    return with_roll(shop, cuts=(replace(first, **changes), *rest))


FORGED = {
    "a cut that lies elsewhere": lambda s: with_cut(s, x_mm=30.0),
    "a cut that is longer": lambda s: with_cut(s, along_mm=s.bag_rolls[0].cuts[0].along_mm + 20.0),
    "a cut of another stage": lambda s: with_cut(s, stage=s.stages[0].id),
    "a cut of another use": lambda s: with_cut(s, where="over the shoes"),
    "a cut of several": lambda s: with_cut(s, of=3),
    "a roll of another width": lambda s: with_roll(s, width_mm=s.bag_rolls[0].width_mm + 25.0),
    "a roll that is cut further": lambda s: with_roll(s, used_mm=s.bag_rolls[0].used_mm + 100.0),
    "a roll of another name": lambda s: with_roll(s, name="Table cloth"),
    "a cut less": lambda s: with_roll(s, cuts=s.bag_rolls[-1].cuts[1:]),
    "rolls in another order": lambda s: replace(s, bag_rolls=s.bag_rolls[::-1]),
    "a roll less": lambda s: replace(s, bag_rolls=s.bag_rolls[1:]),
    "no roll": lambda s: replace(s, bag_rolls=()),
}


def test_good_sheets_and_tables_are_proved(skin):
    spec, shop, plan = skin
    report = Report("")
    check_bag_files(plan, files_of(spec, shop), report)
    assert report.faults == []
    cuts = sum(len(roll.cuts) for roll in shop.bag_rolls)
    assert report.proofs["cuts for bags told with size, place and use"] == cuts


@pytest.mark.parametrize(
    ("what", "name"),
    [(what, name) for name in FORGED for what in ("sheets", "table")
     if (what, name) != ("table", "a roll that is cut further")],
)  # fmt: skip
def test_forged_sheets_and_tables_are_caught(skin, what, name):
    spec, shop, plan = skin
    forged, report = FORGED[name](shop), Report("")
    files = files_of(spec, forged, shop) if what == "sheets" else files_of(spec, shop, forged)
    check_bag_files(plan, files, report)
    assert report.faults
