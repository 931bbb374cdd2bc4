"""Figures a piece is drawn by: forged, they rebuild another piece, and the verifier says so."""

import json
import re

import numpy as np
import pytest

from plybook.cli import main
from plybook.verify.report import Report
from plybook.verify.tape import LAY, check_lay
from plybook.verify.tiles import check_tiles
from tests.verify.test_words import PART, changed, page_texts


def faults_of(out, data):
    report = Report("x")
    plan = json.loads((out / PART / "plan.json").read_bytes())
    check_tiles(plan, {"templates.pdf": data}, report)
    return report


def test_the_figures_of_the_hatch_rebuild_every_piece(hatch_out):
    report = faults_of(hatch_out, (hatch_out / PART / "templates.pdf").read_bytes())
    assert report.sound, report.faults
    cards = json.loads((hatch_out / PART / "plan.json").read_bytes())["figures"]
    assert report.proofs["pieces rebuilt from their printed figures"] == len(cards) > 0


FIGURE = rb"\((\d+ \d+/\d+ in)\) Tj"
CARD = [rb"\(Draw A"]


def longer(match):
    whole, _, rest = match[1].partition(b" ")
    return b"(%d %s) Tj" % (int(whole) + 1, rest)


@pytest.mark.parametrize(
    ("forge", "words"),
    [
        (lambda d: changed_by(d, FIGURE, longer), "off, stated"),
        (changed(rb"; find C from", b"; find D from", on=CARD), "do not find every corner"),
        (changed(rb"along the warp, ", b"along the weft, ", on=CARD), "how it lies"),
        (changed(rb"1 OFF ", b"2 OFF ", on=CARD), "say ['no "),
        (changed(rb"TRIM AFTER CURE\)", b"SQUARE)", on=CARD), "on "),
        (changed(rb"\(B\) Tj", b"(D) Tj", on=[rb"corners 1:1"]), "letter"),
        (changed(rb"\(B to A \d+", b"(B to A 99", on=[rb"corners 1:1"]), "say 'B to A 99"),
        (changed(rb"/REGISTRATION BMC", b"/FRAME BMC", on=[rb"corners 1:1"]), "is not printed"),
        (changed(rb"/CUT BMC", b"/NET BMC", on=[rb"corners 1:1"]), "is not printed"),
    ],
)
def test_a_forged_figure_is_told(hatch_out, forge, words):
    data = (hatch_out / PART / "templates.pdf").read_bytes()
    forged = forge(data)
    assert page_texts(forged) != page_texts(data), "the test did not change the page"
    report = faults_of(hatch_out, forged)
    assert any(words in fault for fault in report.faults), report.faults


def changed_by(data, pattern, new):
    from tests.forging import page_bytes, with_page
    from tests.verify.test_words import page_with

    page = page_with(data, pattern, *CARD)
    return with_page(data, page, re.sub(pattern, new, page_bytes(data, page), count=1))


PLATE = """plybook: 1
include: [shared/materials.yaml, shared/stock.yaml]
part: {number: TN-425, name: Plate, date: 2026-05-04, units: mm}
mould:
  outline: [[0, 0], [900, 0], [900, 700], [0, 700]]
  holes: [{circle: [300, 400], diameter: 140}]
layers:
  - {ply: P1, cloth: carbon-twill-200, angle: 0}
"""
ARC_ROW = rb"\((?:140 mm)\) Tj"


def test_a_round_hole_is_drawn_by_two_arcs_over_one_distance(specs, tmp_path):
    """Both rows tell the same distance between the ends of the arcs; told unlike, neither holds."""
    (specs / "plate.yaml").write_text(PLATE, encoding="utf-8")
    out = tmp_path / "out"
    words = ["build", str(specs / "plate.yaml"), "--out", str(out), "--effort", "quick", "--quiet"]
    assert main(words) == 0
    plan = json.loads((out / "TN-425" / "plan.json").read_bytes())
    data = (out / "TN-425" / "templates.pdf").read_bytes()
    (card,) = plan["figures"]
    pairs = [frozenset(run[:2]) for run in card["runs"]]
    assert len(pairs) > len(set(pairs)), "no two arcs between the same two points"
    report = Report("x")
    check_tiles(plan, {"templates.pdf": data}, report)
    assert report.sound, report.faults

    report = Report("x")
    forged = changed_by(data, ARC_ROW, lambda _: b"(141 mm) Tj")
    check_tiles(plan, {"templates.pdf": forged}, report)
    assert any("how it is drawn" in fault for fault in report.faults), report.faults


@pytest.mark.parametrize(
    ("kind", "unit", "way_mm", "said", "good"),
    [
        # a sixteenth is 1.5875 mm, a thirty-second half of it: from a rule
        ("ply", "in", (33.73, 807.50), "1 5/16 in along the warp, 31 13/16 in square", True),
        ("ply", "in", (33.73, 807.50), "1 3/8 in along the warp, 31 13/16 in square", False),
        ("ply", "in", (33.73, 807.50), "1 5/16 in along the warp, 31 7/8 in square", False),
        ("core", "in", (33.73, 807.50), "1 5/16 in along the grain, 31 13/16 in square", False),
        ("core", "in", (33.73, 807.50), "1 5/16 in along the grain, 31 25/32 in square", True),
        ("ply", "mm", (33.4, 807.6), "33 mm along the warp, 808 mm square", True),
        ("ply", "mm", (33.4, 807.6), "34 mm along the warp, 808 mm square", False),
        ("core", "mm", (33.4, 807.6), "33.5 mm along the grain, 807.5 mm square", True),
        ("core", "mm", (33.4, 807.6), "33 mm along the grain, 808 mm square", False),
    ],
)
def test_a_base_is_laid_to_the_nearest_mark_of_its_tape(kind, unit, way_mm, said, good):
    told = LAY.search(f"Lay: from A to B {said} to it to the left.")
    assert told is not None
    report = Report("x")
    knots = {"A": np.zeros(2), "B": np.array(way_mm)}
    check_lay({"kind": kind, "angle_deg": 0.0}, told, unit, knots, "a card", report)
    assert report.sound == good, report.faults
