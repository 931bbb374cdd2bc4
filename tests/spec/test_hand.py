"""The opposite hand: 0 and 90 stay, every other angle changes its sign.

Source of the rule: the two warp clocks of TM 1-1500-204-23-11, paragraph 5-7; the clockwise clock
is the counter-clockwise one seen from the other side.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plybook.diagnostics import SpecError
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.hand import other_hand
from plybook.spec.model import Core, Less, OnPattern, Patch, Ply, PointLine, Polygon, Rod
from tests.spec.goods import HATCH, SKIN, edit, read
from tests.spec.test_worked_out import same


def test_both_hands_are_given_when_the_other_has_a_number():
    left, right = read(SKIN).specs
    assert (left.part.hand, right.part.hand) == ("left", "right")
    assert (right.part.number, right.part.other_hand) == ("KT-211", "KT-210")
    assert left.mould is right.mould  # stations say nothing of the hand


def test_angles_change_sign_and_0_and_90_stay():
    text = edit(SKIN, '"[0/±45]s"', '"[0/±45/90/-90/22.5]"')
    left, right = read(text).specs
    pairs = {
        a.id: (a.angle_deg, b.angle_deg)
        for a, b in zip(left.layers, right.layers, strict=True)
        if isinstance(a, Ply)
    }
    assert [pairs[f"B{n}"] for n in range(1, 7)] == [
        (0, 0), (45, -45), (-45, 45), (90, 90), (-90, -90), (22.5, -22.5),
    ]  # fmt: skip


def test_twice_is_once_and_back():
    left, right = read(SKIN).specs
    assert same(other_hand(right), left)


def test_the_first_row_of_rods_lies_on_the_other_side():
    rods = "  - {rod: K, bar: strip, line: [[1, 1], [9, 2]], rows: 2, lengths: [6, 8]}\n"
    text = edit(HATCH, "layers:\n", "layers:\n" + rods)
    text = edit(text, "units: in}", "units: in, hand: left, other_hand: H-2}")
    left, right = read(text).specs
    mine, theirs = (next(x for x in s.layers if isinstance(x, Rod)) for s in (left, right))
    assert (mine.first, theirs.first) == ("left", "right")
    assert theirs.lengths_mm == mine.lengths_mm
    assert same(other_hand(right), left)


def test_own_coordinates_are_mirrored_in_y():
    text = edit(
        HATCH,
        "region: {inset: 1}",
        "region: {patch: {at: [6, 4], size: [4, 2], turn: 30}, "
        "less: [{polygon: [[1, 1], [2, 1], [2, 3]]}]}\n"
        "    seams: [{from: [6, 0], to: [7, 8]}]",
    )
    text = edit(text, "units: in}", "units: in, hand: left, other_hand: H-2}")
    left, right = read(text).specs
    core = next(layer for layer in right.layers if isinstance(layer, Core))
    assert isinstance(core.region, Less) and isinstance(core.region.base, Patch)
    assert core.region.base.at == OnPattern(6 * 25.4, -4 * 25.4)
    assert core.region.base.turn_deg == -30
    assert isinstance(core.region.less[0], Polygon)
    assert core.region.less[0].points[2] == OnPattern(2 * 25.4, -3 * 25.4)
    assert isinstance(core.seams[0].line, PointLine) and core.seams[0].line.end.y_mm == -8 * 25.4
    assert signed_area_mm2(right.mould.ring_mm) == pytest.approx(
        signed_area_mm2(left.mould.ring_mm)
    )
    for name, first, last in left.mould.edges:
        other = next(e for e in right.mould.edges if e[0] == name)
        ends = left.mould.ring_mm[[last, first]] * [1, -1]
        assert np.allclose(right.mould.ring_mm[[other[1], other[2]]], ends)
    assert same(other_hand(right), left)


def test_a_part_without_a_hand_has_no_other():
    spec = read(HATCH).specs[0]
    for part in (spec.part, replace(spec.part, hand="left")):
        with pytest.raises(SpecError):
            other_hand(replace(spec, part=part))


def test_every_kind_of_region_has_its_opposite_and_its_words():
    """A new kind must be mirrored and told, or a template of the other hand would be wrong."""
    from typing import get_args

    from plybook.readout import region_words
    from plybook.spec import model
    from plybook.spec.hand import _region

    at = model.OnPattern(10.0, 4.0)
    known = [
        model.Whole(), model.SpanBand(0, 9), model.ShareBand(0.1, 0.2), model.EdgeBand("tip", 0, 9),
        model.Inset((("tip", 5.0),)), model.Around("C", 5.0), model.Strip((at, at), 3.0),
        model.Patch(at, 9.0, 5.0, 30.0, 1.0), model.Polygon((at, at, at)),
        model.Union((model.Whole(),)), model.Common((model.Whole(),)),
        model.Less(model.Whole(), (model.Whole(),)),
    ]  # fmt: skip
    assert {type(one) for one in known} == set(get_args(model.Region))
    for one in known:
        assert region_words(one, "mm")
        assert type(_region(one)) is type(one) and _region(_region(one)) == one
        turned = "y_mm=4.0" in repr(one)
        assert turned == ("y_mm=-4.0" in repr(_region(one)))
