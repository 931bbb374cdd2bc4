"""Bays of a roll longer than the table, in all that tells of them: good ones are proved, and their
pieces rebuilt from the printed figures alone; forged ones are caught."""

import csv
import io
import json
import re
import shutil

import numpy as np
import pypdfium2
import pytest
import shapely

from plybook.verify.bays import long_said
from tests import forging
from tests.conftest import built_alone
from tests.write.pages import PT_PER_MM, text_boxes

NAME = "cutplan.pdf"
SPEC = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: BY-1, name: Panel, date: 2026-05-04, units: mm}
workshop: {table: 2 m}
mould:
  outline: [[0, 0], [1500, 0], [1500, 500], [700, 1100], [0, 1100]]
layers:
  - {plies: "[45/0/30/45/0]", as: A, cloth: carbon-twill-200}
  - {ply: W, angle: 0, cloth: carbon-twill-200, region: {inset: 40}}
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """One part; read only."""
    return built_alone(tmp_path_factory.mktemp("bays"), SPEC) / "BY-1"


@pytest.fixture
def copy(built, tmp_path):
    shutil.copytree(built, tmp_path / "BY-1")
    return tmp_path / "BY-1"


def plan_of(folder):
    return json.loads((folder / "plan.json").read_bytes())


def roll_of(plan):
    return next(x for x in plan["layouts"] if x["kind"] == "roll")


def test_a_roll_in_bays_is_proved(built):
    layout = roll_of(plan_of(built))
    assert layout["table_mm"] == 2000.0 and len(layout["bays"]) > 2
    assert forging.faults(built) == []


def test_a_bay_is_acted_out_from_the_printed_figures(built):
    """Read by PDFium: every line from the one before it, every corner from its line; what comes out
    holds the piece that plan.json places, by no more than a grid step and a chord."""
    layout = roll_of(plan_of(built))
    pages = pypdfium2.PdfDocument(built / NAME)
    lines = [row.strip() for page in pages for row in _rows(page)]
    next_line, line, name, found = 0.0, 0.0, "", {}
    for row in lines:
        if re.fullmatch(r"BAY \d+", row):
            line = next_line
        elif told := re.fullmatch(r"from (\d+(?:\.\d)?) 0", row):
            next_line = line + float(told[1])
        elif told := re.fullmatch(r"\d+\. (\S+)(?: \(goes on\))?", row):
            name = told[1]
        elif (told := re.fullmatch(r"(\d+) (\d+(?:\.\d)?) (\d+(?:\.\d)?)", row)) and name:
            points = found.setdefault(name, [])
            assert int(told[1]) == len(points) + 1
            points.append((line + float(told[2]), float(told[3])))
            assert float(told[2]) <= 2000.0
    pieces = {p["id"]: p for p in plan_of(built)["pieces"]}
    assert set(found) >= {p["piece"] for p in layout["placements"]}
    for placed in layout["placements"]:
        true = _placed(pieces[placed["piece"]]["outline_mm"], placed, layout["edge_mm"])
        drawn = shapely.Polygon(found[placed["piece"]])
        assert drawn.buffer(0.01).covers(true)
        assert shapely.hausdorff_distance(drawn, true) < 4.0


def _rows(page):
    """Rows of a mark-out table, column by column: words that stand on one line."""
    wide = (page.get_width() - 20.0 * PT_PER_MM + 6.0 * PT_PER_MM) / 4
    found = sorted(
        (int((left - 9.0 * PT_PER_MM) // wide), -low, left, said)
        for (left, low, _, _), said in text_boxes(page)
    )
    rows: list[list[tuple]] = []
    for word in found:
        if rows and rows[-1][0][0] == word[0] and word[1] - rows[-1][0][1] < 1.5:
            rows[-1].append(word)
        else:
            rows.append([word])
    for row in rows:
        yield " ".join(said for _, _, left, said in sorted(row, key=lambda w: w[2]))


def _placed(outline, placed, edge):
    turn = np.radians(placed["rotation_deg"])
    ring = np.array(outline) * (1.0, -1.0 if placed["flipped"] else 1.0)
    turned = ring @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return shapely.Polygon(turned + (placed["x_mm"], placed["y_mm"] + edge))


# ---------------------------------------------------------------- forged


def bay(key, value, number=1):
    def change(plan):
        one = roll_of(plan)["bays"][number]
        one[key] = value(one[key])

    return change


def moved_line(plan):
    """A line of plan.json elsewhere, with all that is told from it: the drawings know better."""
    layout = roll_of(plan)
    layout["bays"][0]["to_mm"] += 10.0
    layout["bays"][1]["at_mm"] += 10.0
    for placed in layout["placements"]:
        if placed["bay"] == 2:
            placed["in_bay_mm"] = [[x - 10.0, y] for x, y in placed["in_bay_mm"]]


def from_another_bay(plan):
    """Corners of one piece told from the line before its own."""
    layout = roll_of(plan)
    placed = next(p for p in layout["placements"] if p["bay"] == 2)
    before = layout["bays"][0]
    on = before["to_mm"] - before["at_mm"]
    placed["bay"], placed["in_bay_mm"] = 1, [[x + on, y] for x, y in placed["in_bay_mm"]]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (moved_line, "bays|line"),
        (from_another_bay, "it begins in bay 2"),
        (bay("cut", lambda cut: not cut), "pieces lie over it"),
        (bay("number", lambda n: n + 1), "do not follow one another"),
        (bay("to_mm", lambda x: x + 10.0), "do not follow one another"),
        (lambda p: roll_of(p)["bays"].clear(), "longer than the table and has no bays"),
        (lambda p: roll_of(p).update(table_mm=1800.0), "on a table of 1800 mm"),
        (lambda p: p["workshop"].update(table_mm=1800.0), "not 1800"),
        (lambda p: roll_of(p)["placements"][0]["in_bay_mm"][1].__setitem__(0, 7.0), "its line"),
    ],
)
def test_forged_bays_of_the_plan_are_caught(copy, change, said):
    forging.change_plan(copy, change)
    found = forging.faults(copy)
    assert any(re.search(said, fault) for fault in found), found


def words(one, other):
    """Print other words in the first place where these stand."""

    def change(data):
        assert re.search(one, data, re.DOTALL), "the page has no such words"
        return re.sub(one, other, data, count=1, flags=re.DOTALL)

    return change


def more(by):
    return lambda m: m[1] + b"%d" % (int(m[2]) + by) + m[3]


TABLE, DRAWING = "mark-out", "drawing"


@pytest.mark.parametrize(
    ("kind", "change", "said"),
    [
        (TABLE, words(rb"(BAY 1\).*?\(from\) Tj.*?\()(\d+)(\))", more(10)), "its next line"),
        (TABLE, words(rb"(BAY 1\).*?\(to\) Tj.*?\()(\d+)(\))", more(10)), "its next line"),
        (TABLE, words(rb"(\(1\) Tj[^()]*\()(\d+)(\))", more(40)), "a corner is not where"),
        (TABLE, words(rb"\(BAY 2\)", b"(BAY 3)"), "has the bays"),
        (TABLE, words(rb"draw line 2", b"draw line 3"), "BAY 1: says"),
        (TABLE, words(rb"From line 2", b"From line 1"), "BAY 2: says"),
        (TABLE, words(rb"(over piece[^.]*?)(\d+)(\.)", more(1)), "BAY 1: says"),
        (TABLE, words(rb"table of 2000 mm", b"table of 2100 mm"), "how bays are worked"),
        (TABLE, words(rb"line of the bay", b"end of the roll"), "how bays are worked"),
        (DRAWING, words(rb"(LINE 2: [A-Z ]+ )(\d+)( mm)", more(10)), "names the lines"),
        (DRAWING, words(rb"LINE 2: DRAW", b"LINE 2: CUT"), "names the lines"),
        (DRAWING, words(rb"LINE 2:", b"LINE 3:"), "names the lines"),
        (DRAWING, words(rb"from line 1\)", b"from line 2)"), "names the lines"),
    ],
)
def test_forged_figures_on_paper_are_caught(copy, kind, change, said):
    data = (copy / NAME).read_bytes()
    stock = roll_of(plan_of(copy))["stock"]
    number = next(
        k for k, page in enumerate(pypdfium2.PdfDocument(data))
        if f"{stock}, {kind}" in page.get_textpage().get_text_bounded()
    )  # fmt: skip
    after = change(forging.page_bytes(data, number))
    forging.reseal(copy, NAME, forging.with_page(data, number, after))
    found = [fault for fault in forging.faults(copy) if fault.startswith(NAME)]
    assert any(re.search(said, fault) for fault in found), found


def of_table(change):
    def changed(data):
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
        change(next(row for row in rows if row["bay"] == "2"))
        out = io.StringIO()
        writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(rows)
        return b"\xef\xbb\xbf" + out.getvalue().encode()

    return changed


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("tables/placements.csv", of_table(lambda row: row.update(bay="1"))),
        ("tables/placements.csv", of_table(lambda row: row.update(from_mm="77"))),
        ("tables/placements.csv", of_table(lambda row: row.update(to_mm="77"))),
        ("table.html", words(rb'"at_mm": ?[1-9][\d.]*', b'"at_mm": 33.0')),
        ("booklet.html", words(rb"From line 2\. First", b"From line 3. First")),
        ("booklet.html", words(rb"on a table of 2000", b"on a table of 2100")),
    ],
)
def test_forged_files_are_caught(copy, name, change):
    before = (copy / name).read_bytes()
    after = change(before)
    assert after != before
    forging.reseal(copy, name, after)
    assert any(fault.startswith(name) for fault in forging.faults(copy))


def test_a_label_of_another_bay_is_caught(copy):
    data = (copy / "labels.pdf").read_bytes()
    after = words(rb", bay (\d)", lambda m: b", bay %d" % (int(m[1]) % 9 + 1))(
        forging.page_bytes(data, 0)
    )
    forging.reseal(copy, "labels.pdf", forging.with_page(data, 0, after))
    assert any(f.startswith("labels.pdf") for f in forging.faults(copy))


def test_a_long_piece_that_begins_just_before_a_line_is_told_from_the_line_before():
    """By hand: from line 1 its far end lies 4500 mm on, which is 2500 behind line 2."""
    bays = [{"number": 1, "at_mm": 0.0, "to_mm": 2000.0, "cut": False},
            {"number": 2, "at_mm": 2000.0, "to_mm": 4500.0, "cut": True}]  # fmt: skip
    layout = {"table_mm": 2500.0, "bays": bays}
    told = np.array([(1999.5, 0.0), (4500.0, 0.0), (4500.0, 300.0), (1999.5, 300.0)])
    wanted = "Longer than the table: figures above 2000 from line 2, less 2000."
    assert long_said(told, 1, layout, "mm") == wanted
    assert long_said(told - (2000.0, 0.0), 2, layout, "mm") is None
