"""Edges beside bevels: shortened by them, never bevelled like them."""

import math

import numpy as np
import pytest

from plybook.verify.pieces import _check_bevels
from plybook.verify.report import Report

THICK_MM = 10.0  # so that 45 degrees stand back by 10 mm


def faults(corners, treatments, bag, wide_on_bag_side=()):
    """What is said of a core panel with these corners, edge treatments and bag-side corners."""
    ring = np.array(corners, dtype=float)
    piece = {
        "kind": "core",
        "thickness_mm": THICK_MM,
        "bag_side_outline_mm": bag,
        "edges": [
            {"name": f"side {k}", "treatment": treatment, "angle_deg": 45.0,
             "wide_side": "bag" if k in wide_on_bag_side else "mould",
             "points_mm": [ring[k].tolist(), ring[(k + 1) % len(ring)].tolist()]}
            for k, treatment in enumerate(treatments)
        ],
    }  # fmt: skip
    report = Report("here")
    _check_bevels(piece, ring, "piece C", report)
    return report.faults


BOX = [(0, 0), (200, 0), (200, 100), (0, 100)]


def test_a_panel_with_one_square_side_is_sound():
    bag = [(10, 10), (200, 10), (200, 90), (10, 90)]
    assert faults(BOX, ["bevel", "square", "bevel", "bevel"], bag) == []


def test_a_square_side_that_was_bevelled_with_the_rest_is_a_fault():
    bag = [(10, 10), (190, 10), (190, 90), (10, 90)]
    (fault,) = faults(BOX, ["bevel", "square", "bevel", "bevel"], bag)
    assert "side 1" in fault and "where a square" in fault


def test_a_bevelled_side_that_was_left_square_is_a_fault():
    bag = [(0, 10), (200, 10), (200, 90), (0, 90)]
    (fault,) = faults(BOX, ["bevel", "square", "bevel", "bevel"], bag)
    assert "side 3" in fault and "where a bevel" in fault


@pytest.mark.parametrize(("top", "wrong"), [(90, 0), (85, 1)])
def test_a_short_square_side_may_vanish_between_the_bevels_beside_it(top, wrong):
    """A square side of 8 mm across a corner: the bevels of 10 mm on either side meet inside it."""
    corners = [(0, 0), (200, 0), (200, 92), (192, 100), (0, 100)]
    bag = [(10, 10), (190, 10), (190, top), (10, top)]
    said = faults(corners, ["bevel", "bevel", "square", "bevel", "bevel"], bag)
    assert (len(said) > 0) == bool(wrong)


# a strip of 30 mm whose left end is a scarf across it at 45 degrees, wide on the bag side
SKEW = [(0, 0), (200, 0), (200, 30), (30, 30)]
RUN_MM = 10 * math.sqrt(2)  # of the scarf along the strip


@pytest.mark.parametrize(
    ("out_mm", "wrong"), [(RUN_MM, 0), (0.0, 1), (RUN_MM - 1, 1), (RUN_MM + 1, 1)]
)
def test_a_scarf_that_the_bevels_beside_it_cut_short_reaches_its_line(out_mm, wrong):
    """The middle of the scarf's line on the bag side lies off the strip, which is narrower there
    by a bevel on either side."""
    bag = [(10 - out_mm, 10), (190, 10), (190, 20), (20 - out_mm, 20)]
    said = faults(SKEW, ["bevel", "bevel", "bevel", "scarf"], bag, wide_on_bag_side=(3,))
    assert (len(said) > 0) == bool(wrong), said
