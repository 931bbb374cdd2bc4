"""Cups against what their layers take up, cup by cup: one cannot lend to another."""

import pytest

from plybook.verify.report import Report
from plybook.verify.resin import check_resin

NAMES = [f"P{n}" for n in range(12)]  # each takes up 100 g


def plan(*cups):
    """A stage that lays NAMES, and its cups: (what it is for, grams)."""
    return {
        "materials": {"cloth": {"resin_g_m2": 100.0}},
        "workshop": {"cup_loss_g": 15.0},
        "pieces": [
            {"id": f"{name}.1", "layer": name, "kind": "ply", "material": "cloth",
             "area_mm2": 1e6, "quantity": 1}
            for name in NAMES
        ],
        "stages": [
            {"id": "lay", "steps": [{"pieces": [f"{name}.1"], "lays": True} for name in NAMES]}
        ],
        "quantities": {
            "batches": [
                {"stage": "lay", "purpose": purpose, "mass_g": grams + 15.0}
                for purpose, grams in cups
            ]
        },
    }  # fmt: skip


def faults(*cups):
    report = Report("out")
    check_resin(plan(*cups), report)
    return report.faults


@pytest.mark.parametrize(
    "cups",
    [
        [("P0 to P9, 10 in order", 1000.0), ("P10 and P11", 200.0)],
        [("P0, P1 and P2", 300.0), ("P3 to peel ply, 10 in order", 1000.0)],
        [("P0 to P10, 11 in order", 1100.0), ("P11, cup 1 of 2", 50.0), ("P11, cup 2 of 2", 50.0)],
        [("wetting R1 and R2 to P8, 10 in order", 1000.0), ("P9, P10 and P11", 300.0)],
    ],
)
def test_cups_that_hold_enough(cups):
    assert faults(*cups) == []


@pytest.mark.parametrize(
    "cups",
    [
        [("P0 to P9, 10 in order", 990.0), ("P10 and P11", 210.0)],
        [("P0, P1 and P2", 320.0), ("P3 to peel ply, 10 in order", 880.0)],
        [("P0 to P10, 11 in order", 1120.0), ("P11, cup 1 of 2", 30.0), ("P11, cup 2 of 2", 50.0)],
    ],
)
def test_a_short_cup_is_told_though_the_stage_has_enough(cups):
    (fault,) = faults(*cups)
    assert "its cups hold" in fault
