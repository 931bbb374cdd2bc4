"""The verifier holds the cutting table's page to plan.json, figure by figure."""

import json
import re

import pytest

from plybook.verify.report import Report
from plybook.verify.table import NAME, check_table
from plybook.write.table_html import shown, table_html

SQUARE = [[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]]
PLAN = {
    "part": {"number": "KT-1", "name": "Lid", "revision": "A", "hand": "left", "date": "2026-01-01",
             "units": "mm", "other_hand": ""},
    "materials": {"twill": {"name": "Twill", "kind": "cloth", "weave": "twill", "gap_mm": 4.0}},
    "pieces": [
        {"id": name, "layer": name, "kind": "ply", "material": "twill", "angle_deg": 45.0,
         "quantity": 1, "stage": "outer", "may_turn_over": False, "outline_mm": SQUARE,
         "holes_mm": [], "marks": [{"kind": "tick", "label": "a", "points_mm": [[0, 0], [0, 9]]}]}
        for name in ("A1", "A2")
    ],
    "layouts": [
        {"stock": "TW-1", "kind": "roll", "material": "twill", "width_mm": 1250.0, "edge_mm": 10.0,
         "length_mm": 9000.0, "outline_mm": None, "bad_zones_mm": [],
         "placements": [{"piece": "A1", "copy": 1, "x_mm": 0.0, "y_mm": 0.0, "rotation_deg": 45.0,
                         "flipped": False, "marks_mm": []}],
         "also_cut": [{"part": "KT-2", "piece": "B1", "copy": 1, "x_mm": 9.0, "y_mm": 400.0,
                       "rotation_deg": 0.0, "flipped": False, "outline_mm": SQUARE}]}
    ],
}  # fmt: skip


def found(page: bytes) -> list[str]:
    report = Report("out/KT-1")
    check_table(PLAN, {NAME: page}, report)
    return report.faults


def forged(change) -> bytes:
    data = json.loads(json.dumps(shown(PLAN)))
    change(data)
    return re.sub(
        rb'(id="plan">).*?(</script>)',
        lambda m: m[1] + json.dumps(data).encode() + m[2],
        table_html(PLAN),
    )


def test_the_page_of_a_plan_is_sound():
    assert found(table_html(PLAN)) == []
    assert found(forged(lambda data: None)) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["pieces"][0]["outline_mm"][1].__setitem__(0, 301.0), "piece A1: outline_mm"),
        (lambda d: d["pieces"][1]["marks"].clear(), "piece A2: marks"),
        (lambda d: d["pieces"][0].update(angle_deg=-45.0), "piece A1: angle_deg"),
        (lambda d: d["pieces"][0].update(bag_side_outline_mm=SQUARE), "bag_side_outline_mm"),
        (lambda d: d["pieces"].reverse(), "piece A1: id"),
        (lambda d: d["pieces"].pop(), "1 are shown, plan.json has 2"),
        (lambda d: d["layouts"][0].update(width_mm=1000.0), "layout TW-1: width_mm"),
        (lambda d: d["layouts"][0]["placements"][0].update(flipped=True), "A1 copy 1: flipped"),
        (lambda d: d["layouts"][0]["placements"][0].update(rotation_deg=0.0), "rotation_deg"),
        (lambda d: d["layouts"][0]["also_cut"][0].update(y_mm=300.0), "B1 copy 1: y_mm"),
        (lambda d: d["layouts"].clear(), "layout: 0 are shown"),
        (lambda d: d["part"].update(hand="right"), "part: hand"),
        (lambda d: d["materials"]["twill"].update(weave="mat"), "material twill: weave"),
        (lambda d: d.clear(), "part: date, hand"),
    ],
)
def test_a_forged_figure_is_caught(change, words):
    assert any(words in fault for fault in found(forged(change))), words


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (b"<canvas", b'<img src="x"><canvas', "more than its own script: img"),
        (b"</main>", b"</main><script>alert(1)</script>", "more than its own script"),
        (b"<canvas", b'<canvas onclick="x()"', "canvas onclick"),
        (b"default-src", b"old-src", "content policy is open"),
        (b"font-src data:", b"connect-src https:", "content policy is open"),
        (b'type="application/json"', b'type="text/plain"', "more than its own script"),
    ],
)
def test_a_page_that_could_load_something_is_caught(before, after, words):
    page = table_html(PLAN)
    assert before in page
    assert any(words in fault for fault in found(page.replace(before, after, 1))), words


def test_a_page_that_is_gone_or_broken_is_told():
    report = Report("out/KT-1")
    check_table(PLAN, {}, report)
    assert report.faults == ["table.html: is missing"]
    broken = re.sub(rb'(id="plan">).*?(</script>)', rb"\1{\2", table_html(PLAN))
    assert any("cannot be read" in fault for fault in found(broken))
