"""Figures that can be read and cannot be meant: each is told, with the edit."""

from pathlib import Path

import pytest

from plybook.diagnostics import SpecError
from plybook.outside import Shelf
from plybook.spec import load
from plybook.starters import starter_text


def found(*changes: tuple[str, str]):
    text = starter_text("panel")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    try:
        return load(Path("part.yaml"), Shelf({"part.yaml": text.encode()})).findings
    except SpecError as refusal:
        return refusal.findings


MIX = "{resin: 100, hardener: 27}"
SHARE = "      fibre_share: 0.43 "
ROWS = [
    ("inset-past-part", "-30 mm", "write 0 or more", ("{inset: 30} ", "{inset: -30} ")),
    ("implausible-core", "0.6 mm", "unit", ("      thickness: 6\n", "      thickness: 0.6\n")),
    ("implausible-mix", "370 parts", f"`mix: {MIX}`", (MIX, "{resin: 27, hardener: 100}")),
    ("implausible-mix", "370 parts", f"`mix: {MIX}`", (MIX, "{hardener: 27, resin: 100}")),
    ("implausible-mix", "0.2 parts", "by weight", (MIX, "{resin: 100, hardener: 0.2}")),
    ("implausible-stock", "20 mm", "`length: 20 m`", ("length: 20 m}", "length: 20}")),
    ("implausible-trim", "400 mm across", "10 to 30 mm", ("{trim: 15}", "{trim: 150}")),
    ("trim-past-flange", "60 mm wide", "30 mm", ("{trim: 15}", "{trim: 80, flange: 60}")),
    (
        "implausible-thickness",
        "share of 0.32",
        "leave out",
        (SHARE, f"      thickness: 0.35\n{SHARE}"),
    ),
    (
        "implausible-thickness",
        "share of 0.74",
        "leave out",
        (SHARE, f"      thickness: 0.15\n{SHARE}"),
    ),
]


@pytest.mark.parametrize(("code", "said", "edit", "change"), ROWS)
def test_a_figure_that_cannot_be_meant_is_told(code, said, edit, change):
    (one,) = found(change)
    assert one.code == code and one.places
    assert said in one.message and edit in one.help


@pytest.mark.parametrize(
    "change",
    [
        (MIX, "{resin: 100, hardener: 100}"),
        (MIX, "{resin: 100, hardener: 1.5}"),  # a polyester and its peroxide
        ("length: 20 m}", "length: 250}"),
        ("{trim: 15}", "{trim: 40, flange: 100}"),
        (SHARE, f"      thickness: 0.26\n{SHARE}"),
        (SHARE, "      thickness: 0.35 "),  # the share follows from it
    ],
)
def test_figures_that_are_unusual_but_right_are_not_told(change):
    assert found(change) == ()


def test_a_share_that_is_left_out_follows_from_the_thickness():
    text = starter_text("panel").replace(SHARE, "      thickness: 0.35 ")
    (spec,) = load(Path("part.yaml"), Shelf({"part.yaml": text.encode()})).specs
    cloth = spec.materials.cloths["twill-200"]
    assert cloth.fibre_volume_share == pytest.approx(200 / 1800 / 0.35)  # A / (rho t), ASTM D3171
