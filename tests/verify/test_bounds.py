"""What no forged folder makes the verifier do: walk without end, or believe what is no number."""

import copy
import json

import numpy as np
import pytest

from plybook.verify import plane, read_plan, verify_folder
from plybook.verify.joints import _most_within, _over_stretches, _untrue
from plybook.verify.pdf_pages import _unicode_map


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "-Infinity", "1e999", "1e13", "9" * 400,
                                    "-" + "9" * 5000])  # fmt: skip
def test_a_plan_with_what_is_no_number_is_not_read(figure):
    with pytest.raises(ValueError, match="larger"):
        read_plan(b'{"pieces": [{"area_mm2": %b}]}' % figure.encode())


def test_numbers_of_a_plan_are_read_as_json_has_them():
    data = {"a": [1, -2.5, 1e-9, 5e6, 0], "b": {"c": None, "d": True, "e": "NaN"}}
    assert read_plan(json.dumps(data).encode()) == data


@pytest.mark.parametrize("far", [1e9, 1e15, np.inf, np.nan])
def test_no_line_is_walked_that_is_longer_than_any_part(far):
    with pytest.raises(ValueError, match="longer"):
        plane.walk(np.array([[0.0, 0.0], [far, 0.0]]), 2.0)
    with pytest.raises(ValueError, match="longer"):
        plane.walk(np.array([[0.0, 0.0], [29_000.0, 0.0]] * 100), 2.0)


def test_a_line_is_walked_in_steps_over_its_corners():
    line = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 3.0], [10.0, 3.0]])
    walked = plane.walk(line, 4.0)
    size = np.hypot(*np.diff(walked, axis=0).T)
    assert size.max() <= 4.0 and size.sum() == pytest.approx(13.0)
    assert {tuple(p) for p in line} <= {tuple(p) for p in walked}


@pytest.mark.parametrize("seed", range(20))
def test_sums_over_stretches_and_reaches_are_those_of_all_pairs(seed):
    dice = np.random.default_rng(seed)
    count = int(dice.integers(1, 80))
    value, allowed = dice.normal(size=count).cumsum(), dice.random(count).cumsum()
    pairs = np.abs(value[:, None] - value) - np.abs(allowed[:, None] - allowed)
    assert _over_stretches(value, allowed) == pytest.approx(pairs.max())
    along, reach = dice.random(count).cumsum(), dice.random(count) * dice.choice([0.1, 3, 30])
    wider = dice.random(count) * (dice.random(count) < 0.5)
    near = np.abs(along[:, None] - along) <= reach
    first = np.searchsorted(along, along - reach, "left")
    past = np.searchsorted(along, along + reach, "right")
    assert np.array_equal(_most_within(wider, first, past),
                          np.where(near, wider, 0.0).max(axis=1))  # fmt: skip


def test_a_joint_of_many_points_takes_little_memory():
    """All pairs of 40 000 points would be 13 GB."""
    at = np.linspace(0, 4000, 40_000)
    line, beside = np.column_stack([at, at * 0]), np.column_stack([at, at * 0 + 30])
    flat = np.zeros((len(at), 1))
    side = {"line_mm": line, "beside_mm": beside, "on_part_mm": np.hstack([line, flat]),
            "beside_on_part_mm": np.hstack([beside, flat])}  # fmt: skip
    piece = {"strain_pct": [0.1]}
    assert _untrue(side, piece) <= 0
    bent = copy.deepcopy(side)
    bent["line_mm"][20_000:, 0] += 30.0
    assert _untrue(bent, piece) > 20


def test_a_typeface_has_no_more_characters_than_codes():
    ranges = b"beginbfrange <00> <%b> <0041> endbfrange"
    assert _unicode_map(ranges % b"02") == {0: "A", 1: "B", 2: "C"}
    with pytest.raises(ValueError, match="characters"):
        _unicode_map(ranges % b"ffffffffff")


def test_a_forged_plan_of_many_pieces_or_layouts_is_refused_at_once(hatch_copy):
    plan = hatch_copy / "TN-420" / "plan.json"
    data = json.loads(plan.read_bytes())
    for key, name in (("pieces", "id"), ("layouts", "stock")):
        row = data[key][0]
        rows = [{**row, name: f"{row[name]}-{k}"} for k in range(5_001)]
        plan.write_text(json.dumps(data | {key: rows}))
        found = [f for report in verify_folder(hatch_copy).folders for f in report.faults]
        assert any(f"a part has at most 5000 {key}" in fault for fault in found)
