"""The cut plan on paper: a good one is proved figure by figure, and a forged one is caught."""

import io
import json
import math
import re
import shutil
from fractions import Fraction
from functools import partial

import numpy as np
import pytest
from pypdf import PdfReader, PdfWriter

from plybook.verify import _guarded, corners, verify_folder
from plybook.verify.cut_pages import length_mm, reads_as
from plybook.verify.markout import check_cut_sheets
from plybook.verify.report import Report
from tests import forging
from tests.conftest import built_alone

PART, NAME = "TN-420", "cutplan.pdf"
PAIR = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: CP-1, name: Panel, date: 2026-05-04, units: mm, hand: left, other_hand: CP-2}
cutting: {kits: by stage}
workshop: {table: 30 m}
mould:
  outline: [[0, 0], [2300, 0], [2300, 900], [700, 1400], [0, 1400]]
layers:
  - {plies: "[45/0]", as: A, cloth: carbon-twill-200}
  - {core: C, sheet: foam-10, region: {inset: 300}, edges: {all: bevel 45}}
  - {plies: "[30/45]", as: B, cloth: carbon-twill-200}
  - {rod: S, bar: carbon-strip-12x3, line: [[100, 60], [2100, 60]], lengths: [2000]}
stages:
  - {stage: first, kind: wet_laminate, lays: [A]}
  - {stage: core, kind: core_bond, thickened: core-paste, lays: [C]}
  - {stage: second, kind: wet_laminate, lays: [B]}
  - {stage: strips, kind: core_bond, thickened: core-paste, lays: [S]}
"""


@pytest.fixture(scope="module")
def pair_out(tmp_path_factory):
    """Two hands with cloth cut by stage, a core, a bar; read only."""
    return built_alone(tmp_path_factory.mktemp("pair"), PAIR)


@pytest.fixture
def pair_copy(pair_out, tmp_path):
    shutil.copytree(pair_out, tmp_path / "out")
    return tmp_path / "out"


def faults(folder):
    """What is said of cut plans on paper."""
    return [fault for fault in forging.faults(folder) if fault.startswith(NAME)]


def own_faults(folder, known=True):
    """The same of one part's cut plan by its own check alone, which is quick; where the corner
    points are not known, they are held against the outlines."""
    report = Report(str(folder))
    plan = json.loads((folder / "plan.json").read_bytes())
    for placement in (p for layout in plan["layouts"] for p in layout["placements"]):
        known or (placement.pop("marks_mm"), placement.pop("in_bay_mm"))
    _guarded(partial(check_cut_sheets, plan, {NAME: (folder / NAME).read_bytes()}, report), report)
    return report.faults


def forged(folder, number, change):
    """Write the content of one page anew."""
    data = (folder / NAME).read_bytes()
    before = forging.page_bytes(data, number)
    after = change(before)
    assert after != before, "the test did not change the page"
    forging.reseal(folder, NAME, forging.with_page(data, number, after))


def rewritten(folder, writer):
    forging.reseal(folder, NAME, forging.pdf_of(writer))


def words(one, other):
    """Print other words where these stand first."""
    return lambda data: data.replace(one, other, 1)


def swapped(one, other):
    def change(data):
        assert one in data and other in data
        at, then = sorted([data.index(one), data.index(other)])
        first, second = (one, other) if data.index(one) == at else (other, one)
        return (data[:at] + second + data[at + len(first) : then] + first
                + data[then + len(second) :])  # fmt: skip

    return change


# figures of a layout that is searched for are not known beforehand: they are found on the page

ALONG, ACROSS = 1, 2  # columns of a table of corner points
_TITLE = re.compile(rb"\((\d+)\. ([^()]+)\) Tj")
_WORDS = re.compile(rb"\(([^()]*)\) Tj")
_FIGURE = re.compile(rb"\d+(?: \d+/\d+)?|\d+/\d+")


def tables(data):
    """The title of each piece's table and its rows, three matches each: point, along, across."""
    titles = list(_TITLE.finditer(data))
    ends = [*(title.start() for title in titles[1:]), len(data)]
    for title, end in zip(titles, ends, strict=True):
        told = [m for m in _WORDS.finditer(data, title.end(), end) if _FIGURE.fullmatch(m[1])]
        rows = [told[k : k + 3] for k in range(0, len(told), 3)]
        assert [int(row[0][1]) for row in rows] == list(range(1, len(rows) + 1))
        yield title, rows


def inches(told):
    return sum(Fraction(word) for word in told.decode().split())


def nearest(rows):
    """The corner nearest to the end of the roll."""
    return min(rows, key=lambda row: inches(row[ALONG][1]))


def farthest(rows):
    return max(rows, key=lambda row: inches(row[ALONG][1]))


def put(data, *exchanged):
    """Other words in the place of matches."""
    for found, other in sorted(exchanged, key=lambda pair: -pair[0].start()):
        at, end = found.span(1) if found.re is _WORDS else (found.start() + 1, found.end() - 4)
        data = data[:at] + other + data[end:]
    return data


def figure(place, corner, column, other):
    """Print another figure of one corner of the piece that is cut in this place."""

    def change(data):
        _, rows = list(tables(data))[place - 1]
        found = corner(rows)[column]
        return put(data, (found, other(found[1])))

    return change


def sixteenths(by):
    """A length longer by so many sixteenths of an inch."""

    def other(told):
        whole, part = divmod(inches(told) + Fraction(by, 16), 1)
        assert whole >= 0
        return (" ".join(str(n) for n in (whole, part) if n) or "0").encode()

    return other


def corners_swapped(place):
    """Tell one of two corners where the other is along."""

    def change(data):
        _, rows = list(tables(data))[place - 1]
        one, other = nearest(rows)[ALONG], farthest(rows)[ALONG]
        return put(data, (one, other[1]), (other, one[1]))

    return change


def titled(other):
    """Other titles of the first two pieces, made of their names."""

    def change(data):
        (one, _), (two, _), *_ = tables(data)
        return put(data, *zip((one, two), other(one[2], two[2]), strict=True))

    return change


def tenth_more(found):
    return re.sub(rb"[\d.]+", lambda m: b"%.1f" % (float(m[0]) + 0.1), found[0])


def page_with(folder, *needed):
    """The first page on which words stand."""
    reader = PdfReader(folder / NAME)
    for number, page in enumerate(reader.pages):
        data = page.get_contents().get_data()
        if all(word in data for word in needed):
            return number
    raise AssertionError(f"{needed} stand nowhere")


def proofs(folder, number):
    (report,) = (r for r in verify_folder(folder).folders if r.folder.endswith(f"/{number}"))
    assert not [f for f in report.faults if f.startswith(NAME)], report.faults
    return report.proofs


def test_every_corner_of_a_part_in_inches_is_proved(hatch_out):
    told = proofs(hatch_out, PART)
    rows = [p for layout in json.loads((hatch_out / PART / "plan.json").read_bytes())["layouts"]
            for p in layout["placements"]]  # fmt: skip
    assert told["pieces marked out by name and copy"] == len(rows)
    assert told["mark-outs that take nothing off their piece"] == len(rows)
    assert told["pieces with the corner points of plan.json"] == len(rows)
    assert told["mark-outs as far over as they say"] == len(rows)
    assert told["placed outlines drawn at their scale"] == len(rows)
    assert told["drawings with the order of cutting of their table"] == 2


@pytest.mark.parametrize(
    ("number", "change", "said"),
    [
        (1, figure(1, nearest, ACROSS, sixteenths(+1)), "corner|cut|over"),
        (1, figure(1, farthest, ALONG, sixteenths(-1)), "corner|cut|over"),
        (1, figure(2, farthest, ACROSS, sixteenths(+12)), "corner|cut|over"),
        (1, figure(3, farthest, ALONG, sixteenths(+1)), "corner|cut|over"),
        (1, corners_swapped(2), "corner|cut|over"),
        (1, titled(lambda one, two: (b"2. " + two, b"1. " + one)), "is due"),
        (1, titled(lambda one, two: (b"1. " + two, b"2. " + one)), "corner|cut|over"),
        (1, titled(lambda one, two: (b"1. " + one, b"2. " + one)), "stands there before"),
        (1, titled(lambda one, two: (b"1. " + one, b"3. " + two)), "where number 2"),
        (1, figure(1, farthest, ALONG, lambda told: re.split(rb"[ /]", told)[0] + b" 3/0"),
         "lost something|cannot be read"),
        (1, lambda d: re.sub(rb"at most [\d.]+ in over", tenth_more, d, count=1),
         r"mm over, it says \d"),
        (1, words(b"(+45", b"(-45"), "its angle is not 45"),
        (1, words(b"THIS FACE UP = BAG SIDE", b"lies FACE DOWN"), "on the wrong face"),
        (1, figure(4, farthest, ALONG, lambda told: b"l" + told[1:]), "is no length"),
        (0, words(b"(TW-1)", b"(TW-9)"), "no stock of the plan"),
        (0, words(b"roll of", b"sheet of"), "is called"),
        (0, words(b"on the shelf", b"to buy"), "is called"),
        (0, words(b"(1:", b"(1:1"), "is drawn"),
        (0, words(b"(1 / 5)", b"(2 / 5)"), "says '2 / 5'"),
        (0, words(b"(4 pieces ", b"(5 pieces "), "does not say 4 pieces"),
        (0, lambda d: re.sub(rb"\(([\d.]+ % used)", rb"(1\1", d), "does not say"),
        (0, words(b"can be shorter than ", b"can be shorter than 1"), "are the least"),
        (0, lambda d: re.sub(rb"order: (\w+), (\w+)", rb"order: \2, \1", d),
         "is not that of its table"),
        (0, swapped(b"(A1)", b"(B1)"), "stands in TN-420/"),
        (0, lambda d: re.sub(rb"/CUT BMC", rb"/CUT BMC 1 0 0 1 0.3 0 cm", d, count=1),
         "no placed piece"),
        (0, lambda d: re.sub(rb"(/CUT BMC[^\n]*\n[^\n]*) S\n", rb"\1 n\n", d, count=1),
         "not drawn"),
    ],
)  # fmt: skip
def test_a_forged_page_is_caught(hatch_copy, number, change, said):
    forged(hatch_copy / PART, number, change)
    found = own_faults(hatch_copy / PART)
    assert any(re.search(said, fault) for fault in found), found


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (figure(1, nearest, ALONG, sixteenths(0)), ""),
        (figure(1, nearest, ALONG, sixteenths(+16)), "cut .* mm off"),
        (corners_swapped(1), "cut .* mm off|order|cross"),
        (figure(1, farthest, ALONG, sixteenths(+48)), "mm from the piece|mm over"),
    ],
)
def test_marks_for_another_tape_than_the_plans_are_held_against_the_outline(
    hatch_copy, change, said
):
    """As in a cut plan in inches of a part in millimetres."""
    if said:
        forged(hatch_copy / PART, 1, change)
    found = own_faults(hatch_copy / PART, known=False)
    assert any(re.search(said, fault) for fault in found) if said else not found, found


def test_a_page_at_another_scale_is_caught_in_the_whole(hatch_copy):
    forged(hatch_copy / PART, 0, forging.smaller)
    assert any("is drawn" in fault for fault in faults(hatch_copy))


@pytest.mark.parametrize("number", [0, 1, 2, 3])
def test_a_page_left_out_is_caught(hatch_copy, number):
    writer = PdfWriter(clone_from=io.BytesIO((hatch_copy / PART / NAME).read_bytes()))
    writer.remove_page(number)
    rewritten(hatch_copy / PART, writer)
    assert any("has no" in fault for fault in own_faults(hatch_copy / PART))


def test_pages_in_another_order_are_caught(hatch_copy):
    reader = PdfReader(hatch_copy / PART / NAME)
    writer = PdfWriter()
    for number in (2, 3, 0, 1, 4):
        writer.add_page(reader.pages[number])
    rewritten(hatch_copy / PART, writer)
    assert any("sheet 1 of 5 says '3 / 5'" in fault for fault in own_faults(hatch_copy / PART))


@pytest.mark.slow
def test_a_set_with_cuts_between_stages_and_bars_is_proved(pair_out):
    plan = json.loads((pair_out / "CP-1" / "plan.json").read_bytes())
    cloth = next(x for x in plan["layouts"] if x["kind"] == "roll")
    both = len(cloth["placements"]) + len(cloth["also_cut"])
    told = proofs(pair_out, "CP-1+CP-2")
    assert told["pieces marked out by name and copy"] >= both
    assert told["lengths of bars from end to end"] == 2
    assert told["cuts across between two pieces"] == 3  # two stages of either hand
    assert told["rolls cut across just where their stages part"] >= 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("needed", "change", "said"),
    [
        (b"(Cut across the roll)", lambda d: moved(d, rb"\(from\).*?Tj.*?\(([\d.]+)\)", 30.0),
         "cut across"),
        (b"(Bars)", lambda d: moved(d, rb"\(STRIP[^)]*\).*?\(1\) Tj.*?Tj.*?\(([\d.]+)\)", 1.0),
         "is not what is cut"),
        (b"off, ", lambda d: moved(d, rb"off, ([\d.]+) mm left", 1.0), "mm left"),
        (b"CUT ACROSS at", lambda d: moved(d, rb"CUT ACROSS at ([\d.]+)", 0.1), "are drawn at"),
        (b"(1. CP-", lambda d: moved(d, rb"\(2\) Tj.*?\(([\d.]+)\)", 1.0), "corner|over"),
        (b"(1. CP-", lambda d: moved(d, rb"\(2\) Tj.*?\(([\d.]+)\)", -1.0), "corner|cut"),
        (b"(1. CP-1", lambda d: d.replace(b"(1. CP-1", b"(1. CP-2", 1), "CP-2|corner"),
    ],
)  # fmt: skip
def test_a_forged_set_is_caught(pair_copy, needed, change, said):
    folder = pair_copy / "CP-1+CP-2"
    forged(folder, page_with(folder, needed), change)
    assert any(re.search(said, fault) for fault in faults(pair_copy)), faults(pair_copy)


def moved(data, pattern, by):
    """Another figure, in mm, in the place of one."""
    found = re.search(pattern, data, re.DOTALL)
    figure = f"{float(found[1]) + by:.1f}".encode()
    return data[: found.start(1)] + figure + data[found.end(1) :]


# a slanting piece, figures worked out by hand: each corner goes to the nearest half millimetre that
# takes nothing off
SLANT = np.array([(10.2, 20.3), (110.1, 20.3), (150.1, 80.6), (10.2, 80.6)])
MARKED = np.array([(10.0, 20.0), (110.0, 20.0), (150.5, 81.0), (10.0, 81.0)])


def told_of(marks, ring=SLANT, unit="mm"):
    report = Report("x")
    corners.check_marks(np.asarray(marks), ring, unit, "A1", report)
    return " ".join(report.faults)


def test_corners_on_the_next_marks_outside_are_right():
    assert told_of(MARKED) == ""
    assert corners.cut_off_mm(MARKED, SLANT) == 0.0
    assert corners.over_mm(MARKED, SLANT) == pytest.approx(math.hypot(0.4, 0.4))


@pytest.mark.parametrize("corner", range(4))
def test_a_corner_inside_the_piece_is_found(corner):
    marks = MARKED.copy()
    marks[corner] += 1.5 * np.sign(SLANT.mean(axis=0) - SLANT[corner])
    assert "mm off the piece" in told_of(marks)


def test_a_corner_that_no_tape_shows_is_found():
    marks = MARKED - (0.25, 0.0)
    assert "no tape shows" in told_of(marks)
    assert "no tape shows" in told_of(MARKED, unit="in")


def test_a_corner_far_from_the_piece_is_found():
    marks = MARKED.copy()
    marks[2] += 30.0
    assert "mm from the piece" in told_of(marks)


def test_corners_in_another_order_are_found():
    assert "in their order" in told_of(np.roll(MARKED, -1, axis=0))
    assert "in their order" in told_of(np.roll(MARKED[::-1], 1, axis=0))
    assert "sides cross" in told_of(MARKED[[0, 2, 1, 3]])


@pytest.mark.parametrize(
    ("figure", "unit", "mm"),
    [("12.5", "mm", 12.5), ("0", "mm", 0.0), ("12 3/16", "in", 309.5625), ("1/4", "in", 6.35),
     ("-1/2", "in", -12.7), ("\u22122", "mm", -2.0), ("7", "in", 177.8)],
)  # fmt: skip
def test_figures_are_read_as_a_tape_shows_them(figure, unit, mm):
    assert length_mm(figure, unit) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize("figure", ["", "-", "1 2", "1/", "one", "1 1/2 in"])
def test_what_is_no_figure_is_refused(figure):
    with pytest.raises(ValueError, match="is no length"):
        length_mm(figure, "in")


@pytest.mark.parametrize(
    ("printed", "wanted", "same"),
    [("A1", "A1", True), ("A1", "A2", False), ("A1", "A11", False), ("Long na\u2026", "Long name",
     True), ("Lang\u2026", "Long name", False), ("?1", "\u20091", True), ("?1", "B1", False)],
)  # fmt: skip
def test_names_are_known_though_shortened_or_lacking_a_letter(printed, wanted, same):
    assert reads_as(printed, wanted) == same
