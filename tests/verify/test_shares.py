"""The cut plan of several parts stands once, in the folder of their set; each part's folder lists
where its pieces lie in it. Good lists are proved, forged ones caught."""

import csv
import hashlib
import json
import re
import shutil
from functools import partial

import pypdfium2
import pytest

from plybook.cli import main
from plybook.verify import _guarded, verify_folder
from plybook.verify.allowed import check_allowed
from plybook.verify.bagrolls import check_bag_files
from plybook.verify.bookscreen import check_screen
from plybook.verify.report import Report
from plybook.verify.shares import check_shared
from tests import forging
from tests.conftest import built_alone
from tests.verify.forgeries import OF_PAPER

NAME, SET = "cutplan.pdf", "SH-1+SH-2"
SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: SH-1, name: Panel, date: 2026-05-04, units: mm, hand: left, other_hand: SH-2}
mould:
  outline: [[0, 0], [2600, 0], [2600, 900], [700, 1400], [0, 1400]]
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-10, region: {inset: 300}, edges: {all: bevel 45}}
  - {plies: "[30]", as: B, cloth: carbon-twill-200}
  - {rod: S, bar: carbon-strip-12x3, line: [[100, 60], [2100, 60]], lengths: [2000]}
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Two hands cut together; read only."""
    return built_alone(tmp_path_factory.mktemp("set"), SPEC)


@pytest.fixture
def copy(built, tmp_path):
    shutil.copytree(built, tmp_path / "out")
    return tmp_path / "out"


def table(file):
    return list(csv.DictReader(file.read_text("utf-8-sig").splitlines()))


def plan_of(folder):
    return json.loads((folder / "plan.json").read_bytes())


def of_set(folder):
    names = (NAME, "manifest.json", "tables/stock.csv", "tables/placements.csv")
    return {name: (folder / name).read_bytes() for name in names}


def faults(folder, data=None, plan=None, beside=True):
    """What is said of cutplan.pdf of one part by the checks that read it, which is quick."""
    report, plan = Report(""), plan or plan_of(folder)
    files = {name: (folder / name).read_bytes() for name in (NAME, "tables/bag_cuts.csv")}
    files[NAME] = data or files[NAME]
    there = of_set(folder.parent / SET) if beside else None
    check_allowed(files, report)
    for step in (partial(check_shared, plan, files, there), partial(check_bag_files, plan, files)):
        _guarded(partial(step, report), report)
    return report.faults


def test_the_cut_plan_stands_once(built):
    """Drawings, stock and all placements in the set's folder, the part's own placements in its."""
    for number in ("SH-1", "SH-2"):
        names = {p.relative_to(built / number).as_posix() for p in (built / number).rglob("*")}
        assert not [name for name in names if name.startswith("cutplan/")]
        assert "tables/stock.csv" not in names
        listed = [page for page in pypdfium2.PdfDocument(built / number / NAME)
                  if "Where it is cut" in page.get_textpage().get_text_bounded()]  # fmt: skip
        assert len(listed) == 1
    stock = {row["stock"] for row in table(built / SET / "tables" / "stock.csv")}
    assert {f.stem for f in (built / SET / "cutplan").iterdir()} == stock
    own = [row for number in ("SH-1", "SH-2")
           for row in table(built / number / "tables" / "placements.csv")]  # fmt: skip
    whole = table(built / SET / "tables" / "placements.csv")
    assert sorted(map(str, own)) == sorted(map(str, whole))


def test_the_list_names_every_piece_with_its_stock(built):
    """Read by PDFium; from and to are the least and the largest figure of the mark-out."""
    plan = plan_of(built / "SH-1")
    pages = pypdfium2.PdfDocument(built / "SH-1" / NAME)
    text = "\n".join(page.get_textpage().get_text_bounded() for page in pages)
    words = " ".join(text.split())
    assert f"in the folder {SET} beside this one" in words
    for layout in plan["layouts"]:
        assert f"{layout['stock']} {layout['kind']} of" in words
        for placed in layout["placements"]:
            along = [x for x, _ in placed["in_bay_mm"]]
            row = (rf"\d+ {re.escape(placed['piece'])} {placed['bay'] or '–'} {min(along):g} "
                   rf"{max(along):g} [\d–]+")  # fmt: skip
            assert re.search(row, words), row


@pytest.mark.slow
def test_a_part_alone_is_verified_with_the_cut_plan_it_refers_to(built):
    part, whole = verify_folder(built / "SH-1").folders
    assert part.sound and whole.sound
    assert whole.folder.endswith(SET)
    assert part.proofs["pieces listed by their number in the mark-out table"] >= 7
    assert whole.proofs["parts built with this cut plan"] == 2


def test_a_part_without_its_cut_plan_says_what_it_misses(copy, capsys):
    shutil.rmtree(copy / SET)
    assert main(["verify", str(copy / "SH-1")]) == 0
    said = capsys.readouterr().out
    assert (f"not checked: the cut plan of SH-1: it stands in the folder {SET}, which is not beside"
            " this one; without it the pieces cannot be cut") in said  # fmt: skip


def test_a_set_built_anew_without_a_part_is_told(copy):
    """The part's folder still names the manifest of the former cut plan."""
    manifest = json.loads((copy / SET / "manifest.json").read_bytes())
    manifest["parts"].reverse()
    (copy / SET / "manifest.json").write_text(json.dumps(manifest))
    assert any("is not the cut plan that this part was built with" in f
               for f in faults(copy / "SH-1"))  # fmt: skip


def test_parts_that_refer_to_another_cut_plan_are_told(copy):
    forging.change_plan(copy / "SH-2", lambda p: p["shared_cut_plan"].update(folder="day-one"))
    (report,) = verify_folder(copy / SET).folders
    assert [f for f in report.faults if f.startswith("SH-2: is built with another cut plan")]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda p: p["shared_cut_plan"].update(manifest_sha256=hashlib.sha256(b"").hexdigest()),
         "not the cut plan that this part was built with"),
        (lambda p: p["shared_cut_plan"].update(sheets=99), "tells 99 sheets"),
        (lambda p: p["shared_cut_plan"].update(parts=["SH-1", "SH-9"]), "is of .'SH-1', 'SH-2'"),
        (lambda p: p["shared_cut_plan"].update(parts=["SH-2"]), "does not say where"),
        (lambda p: p["shared_cut_plan"].update(folder="../SH-1+SH-2"), "does not say where"),
        (lambda p: p["shared_cut_plan"].update(units="ft"), "does not say where"),
        (lambda p: p["shared_cut_plan"].update(more=1), "does not say where"),
        (lambda p: p["layouts"][0]["also_cut"][0].update(part="SH-9"), "not of the set"),
        (lambda p: p["layouts"][0]["placements"][0].update(x_mm=1.0), "differs from plan.json"),
        (lambda p: p["layouts"][0]["placements"][0].update(copy=2), "there, not"),
        (lambda p: p["layouts"].pop(), "where nothing is cut for it"),
        (lambda p: p["layouts"][0].update(bought=not p["layouts"][0]["bought"]), "says 'roll"),
    ],
)  # fmt: skip
def test_a_forged_reference_is_caught(built, change, said):
    plan = plan_of(built / "SH-1")
    change(plan)
    found = faults(built / "SH-1", plan=plan)
    assert any(re.search(said, fault) for fault in found), found


def figure(by):
    """The first row's figure, column by column, counted up."""

    def change(data):
        row = re.search(rb"\(TW-1\).*?\((\d+)\) Tj.*?\(([\w.]+)\) Tj.*?\((\d+)\) Tj.*?"
                        rb"\(([\d.]+)\) Tj.*?\(([\d.]+)\) Tj.*?\(([\d\\]+)\) Tj", data,
                        re.DOTALL)  # fmt: skip
        start, end = row.span(by)
        told = b"9" + row[by] if by != 2 else b"Z9"
        return data[:start] + told + data[end:]

    return change


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (figure(1), "out of its turn|there, not"),
        (figure(2), "out of its turn"),
        (figure(3), "is listed in bay"),
        (figure(4), "is listed from"),
        (figure(5), "is listed from"),
        (figure(6), "is said to be on sheet"),
        (lambda d: d.replace(b"(SH-1+SH-2 beside", b"(SH-1+SH-3 beside", 1).replace(
            b"folder SH-1+SH-2", b"folder SH-1+SH-3", 1), "says something else"),
        (lambda d: d.replace(b"(TW-1)", b"(TW-2)", 1), "in its place"),
        (lambda d: d.replace(b"(together with SH-2)", b"(together with SH-3)", 1), "is headed"),
        (lambda d: d.replace(b"(from)", b"(to)", 1), "."),
    ],
)  # fmt: skip
def test_a_forged_list_is_caught(built, change, said):
    folder = built / "SH-1"
    data = (folder / NAME).read_bytes()
    before = forging.page_bytes(data, 0)
    after = change(before)
    assert after != before, "the test did not change the page"
    found = faults(folder, forging.with_page(data, 0, after))
    assert any(re.search(said, fault) for fault in found), found


def test_changes_of_words_and_lines_of_the_list_are_caught(built):
    """Every kind of change that the list has something for."""
    folder, made, missed = built / "SH-1", [], []
    for name, change in OF_PAPER.items():
        changed = change((folder / NAME).read_bytes())
        if changed is not None:
            made.append(name)
            missed += [name] * (not faults(folder, changed))
    assert missed == []
    assert len(made) > len(OF_PAPER) // 2


@pytest.mark.parametrize(
    ("one", "other"),
    [("../SH-1%2BSH-2/cutplan.pdf", "../SH-1/cutplan.pdf"),
     ("../SH-1%2BSH-2/cutplan.pdf", "../../cutplan.pdf"),
     ("../SH-1%2BSH-2/cutplan/TW-1.svg", "../SH-1%2BSH-2/cutplan/TW-9.svg")],
)  # fmt: skip
def test_a_way_to_another_cut_plan_is_caught(built, one, other):
    folder, report = built / "SH-1", Report("")
    files = {p.relative_to(folder).as_posix(): p.read_bytes()
             for p in folder.rglob("*") if p.is_file()}  # fmt: skip
    data = files["booklet.html"]
    files["booklet.html"] = data.replace(f'href="{one}"'.encode(), f'href="{other}"'.encode())
    assert files["booklet.html"] != data
    check_screen(plan_of(folder), files, report)
    assert any(f.startswith("booklet.html: names") for f in report.faults)


@pytest.mark.slow
def test_a_part_built_alone_again_leaves_a_cut_plan_that_is_told(built, tmp_path):
    shutil.copytree(built.parent, tmp_path / "all")
    home = tmp_path / "all"
    spec = home / "alone.yaml"
    alone = SPEC.replace("hand: left, other_hand: SH-2", "hand: left")
    spec.write_text(alone, encoding="utf-8")
    assert main(["build", str(spec), "--out", str(home / "out"), "--effort", "quick"]) == 0
    assert (home / "out" / "SH-1" / "cutplan").is_dir()
    said = [f for report in verify_folder(home / "out").folders for f in report.faults]
    assert any(f.startswith("SH-1: is built with another cut plan") for f in said)


@pytest.mark.slow
def test_pieces_of_a_set_are_cut_again_and_kept(built, tmp_path):
    """`recut` draws in a folder of its own; `keep` and `compare` go by the plans of the parts."""
    shutil.copytree(built.parent, tmp_path / "all")
    home = tmp_path / "all"
    spec, out = str(home / "part.yaml"), str(home / "out")
    assert main(["recut", spec, "A1.1", "--part", "SH-1", "--out", out]) == 0
    (again,) = (home / "out").glob("*-recut")
    assert (again / NAME).exists() and not (again / "plan.json").exists()
    assert [f for report in verify_folder(home / "out").folders for f in report.faults] == []
    assert main(["compare", str(built / "SH-1"), str(home / "out" / "SH-1")]) == 0
    assert main(["keep", spec, "--out", out]) == 0
