"""Stacks in short, written out by hand; the notation of ASTM D6507 (from memory)."""

import pytest

from plybook.verify.report import Report
from plybook.verify.zonestacks import check_zone_stacks

LAYERS = [
    {"id": "A", "kind": "ply", "material": "twill", "angle_deg": 45.0, "thickness_mm": 0.26},
    {"id": "B", "kind": "ply", "material": "twill", "angle_deg": -45.0, "thickness_mm": 0.26},
    {"id": "U", "kind": "ply", "material": "tape", "angle_deg": 0.0, "thickness_mm": 0.19},
    {"id": "C", "kind": "core", "material": "foam", "angle_deg": 0.0, "thickness_mm": 10.0},
    {"id": "D", "kind": "ply", "material": "twill", "angle_deg": 90.0, "thickness_mm": 0.26},
]


@pytest.mark.parametrize(
    ("names", "code"),
    [("AB", "[±45]"), ("BA", "[∓45]"), ("ABBA", "[±45]s"), ("AAA", "[45_3]"), ("", "[]"),
     ("ABUUCBA", "[±45a/0b_2/core 10/∓45a]"), ("AD", "[45/90]"), ("DAAD", "[90/45]s")],
)  # fmt: skip
@pytest.mark.parametrize("spoil", ["", "more", "turned", "cloth"])
def test_a_stack_in_short_is_its_layers(names, code, spoil):
    wrong = {"": code, "more": code.replace("]", "/0]"), "turned": code.replace("45", "30"),
             "cloth": code.replace("a", "b")}[spoil]  # fmt: skip
    report = Report("made")
    check_zone_stacks({"layers": LAYERS, "zones": [
        {"label": "Z1", "layers": list(names), "code": wrong}]}, report)  # fmt: skip
    assert (not report.faults) is (wrong == code)
