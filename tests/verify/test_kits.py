"""Kits in the cut plan: good ones are proved, forged ones caught; the table on paper is read by
PDFium as well."""

import json
import shutil
from functools import partial

import pypdfium2
import pytest

from plybook.verify import _guarded, verify_folder
from plybook.verify.kits import check_kits, is_kit_page
from plybook.verify.pdf_pages import open_book
from plybook.verify.report import Report
from tests import forging
from tests.conftest import built_alone
from tests.verify.forgeries import OF_PAPER

NAME, TABLE = "cutplan.pdf", "tables/kits.csv"
SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: KI-1, name: Panel, date: 2026-05-04, units: mm}
cutting: {kits: by stage}
mould:
  outline: [[0, 0], [2300, 0], [2300, 900], [700, 1400], [0, 1400]]
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-10, region: {inset: 300}, edges: {all: bevel 45}}
  - {plies: "[30]", as: B, cloth: carbon-twill-200}
stages:
  - {stage: first, kind: wet_laminate, lays: [A]}
  - {stage: core, kind: core_bond, thickened: core-paste, lays: [C]}
  - {stage: second, kind: wet_laminate, lays: [B]}
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    return built_alone(tmp_path_factory.mktemp("kits"), SPEC) / "KI-1"


def plan_of(folder):
    return json.loads((folder / "plan.json").read_bytes())


def faults(folder, plan=None, **files):
    """What is said of kits by their own check alone."""
    report = Report("")
    held = {name: (folder / name).read_bytes() for name in (NAME, TABLE)}
    held |= {name: data for name, data in files.get("files", {}).items()}
    _guarded(partial(check_kits, plan or plan_of(folder), held, report), report)
    return report.faults


def kit_page(data):
    """The number of the sheet with the table."""
    book = open_book(data)
    (number,) = [k for k in range(book.count) if is_kit_page(book.page(k))]
    return number


@pytest.mark.slow
def test_a_part_cut_in_kits_is_proved(built):
    (report,) = verify_folder(built).folders
    assert report.sound, report.faults
    assert report.proofs["rolls on which one kit ends before the next begins"] == 1
    assert report.proofs["rolls cut across just where their stages part"] == 1
    assert any("it was searched when the plan was made" in said for said in report.unproved)


def test_the_table_stands_on_a_sheet_of_the_cut_plan(built):
    """A single part is one kit by part and by hand, and takes what the tightest plan takes."""
    plan = plan_of(built)
    lengths = {row["way"]: row["rolls"][0]["length_mm"] for row in plan["kits"]}
    assert lengths["tightest"] == lengths["by part"] == lengths["by hand"]
    data = (built / NAME).read_bytes()
    page = pypdfium2.PdfDocument(data)[kit_page(data)]
    text = " ".join(page.get_textpage().get_text_bounded().split())
    shown = [f"{-(-length // 10) / 100:.2f} m" for length in lengths.values()]
    assert "tightest by part by stage, cut so by hand" in text
    assert " ".join(shown) in text


def change(plan, way, **facts):
    next(row for row in plan["kits"] if row["way"] == way).update(facts)


def lengthen(plan, way, by):
    next(row for row in plan["kits"] if row["way"] == way)["rolls"][0]["length_mm"] += by


def mix(plan):
    """The first piece of the second stage lies where the first piece of the first one does."""
    stages = {p["id"]: p["stage"] for p in plan["pieces"]}
    (roll,) = [x for x in plan["layouts"] if x["kind"] == "roll"]
    placed = {stages[p["piece"]]: p for p in roll["placements"]}
    placed["second"]["x_mm"] = placed["first"]["x_mm"]


@pytest.mark.parametrize(
    ("forge", "said"),
    [
        (lambda p: lengthen(p, "by stage", 5.0), "takes"),
        (lambda p: lengthen(p, "by part", -4000.0), "takes"),
        (lambda p: lengthen(p, "by part", 500.0), "tables/kits.csv"),
        (lambda p: lengthen(p, "tightest", 500.0), "in its table of kits"),
        (lambda p: change(p, "by stage", kits=3), "tells 3 kits"),
        (lambda p: change(p, "by stage", chosen=False), "which is chosen"),
        (lambda p: change(p, "by part", chosen=True), "which is chosen"),
        (lambda p: p["kits"].pop(), "which is chosen"),
        (lambda p: p["kits"].clear(), "nothing is cut in kits"),
        (lambda p: p["kits"][0]["rolls"].clear(), "which is chosen"),
        (mix, "lie over one another"),
    ],
)
def test_forged_kits_are_caught(built, forge, said):
    plan = plan_of(built)
    forge(plan)
    found = faults(built, plan)
    assert any(said in fault for fault in found), found


@pytest.mark.parametrize(
    ("one", "other"),
    [(b"by part,1,no", b"by part,2,no"), (b"by stage,2,yes", b"by stage,2,no"),
     (b"carbon-twill", b"carbon-satin")],
)  # fmt: skip
def test_a_forged_table_is_caught(built, one, other):
    data = (built / TABLE).read_bytes()
    assert one in data
    assert faults(built, files={TABLE: data.replace(one, other, 1)})


def test_changes_of_words_and_lines_of_the_table_are_caught(built, tmp_path):
    """Every kind of change that a sheet has something for, on the sheet of the table alone."""
    folder = tmp_path / "KI-1"
    shutil.copytree(built, folder)
    data = (folder / NAME).read_bytes()
    writer = forging.PdfWriter(clone_from=str(folder / NAME))
    for number in reversed(range(len(writer.pages))):
        if number != kit_page(data):
            writer.remove_page(number)
    alone = forging.pdf_of(writer)
    assert faults(folder, files={NAME: alone}) == []
    made, missed = 0, []
    for name, change in OF_PAPER.items():
        changed = change(alone)
        if changed is not None and name not in ELSEWHERE:
            made += 1
            missed += [name] * (not faults(folder, files={NAME: changed}))
    assert missed == []
    assert made >= 10


# kinds that are told where the whole file is read
ELSEWHERE = {"words in white", "a scale of print"}


# ---------------------------------------------------------------- both hands at once

PAIR = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: KP-1, name: Panel, date: 2026-05-04, units: mm, hand: left, other_hand: KP-2}
cutting: {kits: by part}
mould:
  outline: [[0, 0], [1300, 0], [1300, 500], [400, 800], [0, 800]]
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {ply: U, cloth: carbon-ud-150, angle: 0, region: {patch: {at: [300, 300], size: [400, 200]}}}
"""


@pytest.fixture(scope="module")
def hands(tmp_path_factory):
    return built_alone(tmp_path_factory.mktemp("hands"), PAIR)


def said_of_set(out):
    (report,) = verify_folder(out / "KP-1+KP-2").folders
    return report


def test_cloth_is_folded_where_it_may_be(hands):
    report = said_of_set(hands)
    assert report.sound, report.faults
    assert report.proofs["cloth folded just where both hands lie as images"] == 1
    refused = {fold["stock"]: fold["refused"] for fold in plan_of(hands / "KP-1")["folds"]}
    assert refused["TW-1"] == "" and refused["UD-1"].startswith("its warp and weft differ")
    data = (hands / "KP-1+KP-2" / NAME).read_bytes()
    page = pypdfium2.PdfDocument(data)[kit_page(data)]
    text = " ".join(page.get_textpage().get_text_bounded().split())
    assert "UD-1: KP-1 and KP-2 not folded" in text
    assert "TW-1: KP-1 and KP-2 " in text and "is not folded: its warp and weft differ" in text


@pytest.mark.parametrize(
    "forge",
    [
        lambda folds: folds[0].update(at_mm=folds[0]["at_mm"] + 1.0),
        lambda folds: folds[1].update(refused=""),
        lambda folds: folds[0].update(upper="KP-1", lower="KP-2"),
        lambda folds: folds.pop(0),
        lambda folds: folds.append({**folds[0], "stock": "TW-9"}),
    ],
)
def test_forged_folds_are_caught(hands, tmp_path, forge):
    shutil.copytree(hands, tmp_path / "out")
    for number in ("KP-1", "KP-2"):
        forging.change_plan(tmp_path / "out" / number, lambda plan: forge(plan["folds"]))
    assert any("its kits are images at" in f for f in said_of_set(tmp_path / "out").faults)


def test_an_image_that_lies_elsewhere_is_no_fold(hands, tmp_path):
    shutil.copytree(hands, tmp_path / "out")

    def away(plan):
        (roll,) = [x for x in plan["layouts"] if x["stock"] == "TW-1"]
        for row in roll["placements" if plan["part"]["number"] == "KP-2" else "also_cut"]:
            row["y_mm"] += 0.2

    for number in ("KP-1", "KP-2"):
        forging.change_plan(tmp_path / "out" / number, away)
    assert any("its kits are images at" in f for f in said_of_set(tmp_path / "out").faults)


def test_parts_that_tell_other_folds_are_caught(hands, tmp_path):
    shutil.copytree(hands, tmp_path / "out")
    forging.change_plan(tmp_path / "out" / "KP-2", lambda plan: plan["folds"].clear())
    assert any("differs between parts" in f for f in said_of_set(tmp_path / "out").faults)
