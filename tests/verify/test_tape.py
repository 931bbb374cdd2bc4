"""Figures a piece is drawn by: forged, they rebuild another piece, and the verifier says so."""

import json
import re

import pytest

from plybook.verify.report import Report
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
