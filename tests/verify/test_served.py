"""One template for many pieces: which share one, what comes out, and forged cards that are told."""

import json
import re

import pypdf
import pytest

from plybook.verify import verify_folder
from plybook.verify.report import Report
from plybook.verify.tiles import check_tiles
from tests.conftest import built_alone
from tests.forging import page_bytes, with_page
from tests.verify.test_words import PART, changed, page_texts

CARD = [rb"\(Figures of"]
RUN = """plybook: 1
include: [shared/materials.yaml, shared/stock.yaml]
part: {number: TN-426, name: Doubler, date: 2026-05-04, units: mm}
mould:
  outline:
    - [0, 0]
    - {to: [1000, 0], edge: front}
    - {to: [1000, 300], edge: far}
    - {to: [0, 300], edge: back}
    - {to: [0, 0], edge: near}
layers:
  - {plies: "[0]4", as: A, cloth: carbon-twill-200}
  - run: U
    cloth: carbon-twill-200
    angle: 0
    plies: 3
    ends: {towards: far, before: 100, step: 60, longest: first}
"""


ROUND = """plybook: 1
include: [shared/materials.yaml, shared/stock.yaml]
part: {number: TN-427, name: Round cover, date: 2026-05-04, units: in}
mould:
  outline:
    - [-14, 0]
    - {arc_to: [14, 0], through: [0, -14], edge: lower}
    - {arc_to: [-14, 0], through: [0, 14], edge: upper}
layers:
  - {plies: "[0/-45/0]", as: A, cloth: carbon-twill-200}
templates: {each: {A1: tiles}}
"""


@pytest.fixture(scope="module")
def cover(tmp_path_factory):
    """Three plies of one round outline, which no straightedge draws, one of them at another
    angle."""
    return built_alone(tmp_path_factory.mktemp("round"), ROUND) / "TN-427"


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Four plies alike, and a run of three that end 60 mm apart on a rectangle of 300 mm."""
    return built_alone(tmp_path_factory.mktemp("run"), RUN) / "TN-426"


def cards_of(out):
    return {card["piece"]: card for card in json.loads((out / "plan.json").read_bytes())["served"]}


def told_on(out, page):
    text = pypdf.PdfReader(out / "templates.pdf").pages[page - 1].extract_text()
    return re.sub(r"\s+", " ", text)


def faults_of(out, data, change=lambda plan: plan):
    report = Report("x")
    plan = json.loads((out / "plan.json").read_bytes())
    change(plan)
    check_tiles(plan, {"templates.pdf": data}, report)
    return report.faults


def test_pieces_alike_and_a_run_are_cut_by_two_templates(run):
    (report,) = verify_folder(run).folders
    assert report.sound, report.faults
    assert {id: card["by"] for id, card in cards_of(run).items()} == {
        "A2": "A1", "A3": "A1", "A4": "A1", "U2": "U1", "U3": "U1",
    }  # fmt: skip
    assert report.proofs["pieces rebuilt from the template of another"] == 5


def test_the_end_of_a_shorter_ply_is_told_by_its_distance(run):
    """Of a strip of 900 mm and the near trim one 60 k shorter is cut off 60 k from its far end on
    one long side, and on the other so far from its near end as it is long."""
    xs = [x for x, _ in piece(json.loads((run / "plan.json").read_bytes()), "U1")["outline_mm"]]
    whole = max(xs) - min(xs)
    for id, short in (("U2", 60.0), ("U3", 120.0)):
        card = cards_of(run)[id]
        assert sorted(at for _, _, at in card["ends"]) == [short, whole - short]
        assert len(card["kept"]) == 2
        (one, a, at), (other, c, off) = [(f"{x}\u2013{y}", x, d) for x, y, d in card["ends"]]
        said = f"Cut off from {one}, {at:g} mm from {a}, straight to {other}, {off:g} mm from {c}"
        assert said in told_on(run, card["page"])


def test_a_template_says_what_it_cuts_and_how_often(run):
    plan = json.loads((run / "plan.json").read_bytes())
    pages = {card["piece"]: card["page"] for card in plan["figures"]}
    assert "A1 cuts A2, A3, A4 too, 4 OFF in all: see their cards." in told_on(run, pages["A1"])
    assert "U1 cuts U2, U3 too, 3 OFF in all: see their cards." in told_on(run, pages["U1"])


def test_plies_at_other_angles_share_a_template_and_say_how_they_lie(hatch_out):
    """The hatch is [45/0/core/0/45]: each pair has one outline."""
    cards = cards_of(hatch_out / PART)
    assert {id: card["by"] for id, card in cards.items()} == {"A2": "A1", "B2": "B1"}
    assert "Lay: A\u2013B runs along the warp" in told_on(hatch_out / PART, cards["A2"]["page"])


def test_a_ply_at_another_angle_is_cut_by_a_printed_outline_and_says_how_its_warp_runs(cover):
    (report,) = verify_folder(cover).folders
    assert report.sound, report.faults
    cards = cards_of(cover)
    assert {id: card["by"] for id, card in cards.items()} == {"A2": "A1", "A3": "A1"}
    said = told_on(cover, cards["A2"]["page"])
    turned = "Template of A1, as it is, but the warp runs \u221245\u00b0, not along its arrow."
    assert turned in said and "Template of A1, as it is." in said


@pytest.mark.parametrize("forge", [
    changed(rb"warp runs [^,]*,", b"warp runs square,", on=[rb"Template of A1"]),
    changed(rb"it is, but", b"it is, and", on=[rb"Template of A1"]),
])  # fmt: skip
def test_a_forged_way_of_the_warp_is_told(cover, forge):
    data = (cover / "templates.pdf").read_bytes()
    assert any("say 'Template of A1" in fault for fault in faults_of(cover, forge(data)))


@pytest.mark.parametrize(
    ("forge", "words"),
    [
        (changed(rb"Figures of A1", b"Figures of B1", on=CARD), "say "),
        (changed(rb"as they are", b"mirrored as shown", on=CARD), "say "),
        (changed(rb"1 OFF", b"2 OFF", on=CARD), "say "),
        (changed(rb"runs along", b"runs square to", on=CARD), "lay it across its warp"),
        (changed(rb"A1 cuts A2", b"A1 cuts B2", on=[rb"A1 cuts"]), "does not say that A1 cuts A2"),
        (changed(rb"2 OFF in all", b"3 OFF in all", on=[rb"A1 cuts"]), "does not say"),
    ],
)
def test_a_forged_card_is_told(hatch_out, forge, words):
    out = hatch_out / PART
    data = (out / "templates.pdf").read_bytes()
    forged = forge(data)
    assert page_texts(forged) != page_texts(data), "the test did not change the page"
    found = faults_of(out, forged)
    assert any(words in fault for fault in found), found


def test_an_end_line_that_is_told_wrong_is_caught(run):
    """A card that says 61 mm where 60 is right, with plan.json forged alike: the ply comes out
    another, and the tolerance of cloth is 1 mm; 62 mm is outside it."""
    data = (run / "templates.pdf").read_bytes()
    card = cards_of(run)["U2"]
    old = rf", {card['ends'][0][2]:g} mm from".encode()
    new = rf", {card['ends'][0][2] + 2:g} mm from".encode()
    page = card["page"] - 1
    forged = with_page(data, page, page_bytes(data, page).replace(old, new, 1))

    def told(plan):
        own = next(c for c in plan["served"] if c["piece"] == "U2")
        own["ends"][0][2] += 2

    assert any("end it at" in fault for fault in faults_of(run, forged))
    assert any("comes out 2.0" in fault for fault in faults_of(run, forged, told))


def piece(plan, id):
    return next(p for p in plan["pieces"] if p["id"] == id)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda plan: piece(plan, "A3")["marks"][0]["points_mm"][0].__setitem__(0, 40.0), "lacks"),
        (lambda plan: piece(plan, "A3")["edges"][0].update(treatment="square"), "has other edges"),
        (lambda plan: piece(plan, "A3")["outline_mm"][0].__setitem__(0, 3.0), "comes out"),
        (lambda plan: plan["served"][0].update(by="U9"), "which there is not"),
        (lambda plan: plan["served"][0].update(tolerance_mm=5.0), "comes out"),
        (lambda plan: plan["served"][0]["knots"][0].__setitem__(1, 9.0), "has other letters"),
    ],
)
def test_pieces_that_differ_do_not_share_a_template(run, change, words):
    found = faults_of(run, (run / "templates.pdf").read_bytes(), change)
    assert any(words in fault for fault in found), found
