"""Cutting to length: published optima, kerf identity, bars at hand before bought ones."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plybook.nest.bars import BarStock, cut_bars

# The cutting stock example of the Wikipedia article of that name (paper rolls of 5600 mm, 13
# widths); best known and proven optimum 73 rolls.
PAPER = {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10,
         2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20}  # fmt: skip
# V. Chvatal, Linear Programming, 1983, p. 195: rolls of 100 in; optimum 453.
CHVATAL = {45: 97, 36: 610, 31: 395, 14: 211}


@pytest.mark.parametrize("stock, wanted, best", [(5600, PAPER, 73), (100, CHVATAL, 453)])
@pytest.mark.parametrize("kerf", [0.0, 3.0])
def test_published_instances_at_their_optimum(stock, wanted, best, kerf):
    """With a kerf k, lengths and bars k shorter are the same problem."""
    plan = cut_bars(
        [w - kerf for w in wanted], list(wanted.values()),
        [BarStock(stock - kerf, None, 1.0)], kerf,
    )  # fmt: skip
    assert len(plan.bars) == plan.cost == best
    assert plan.proven
    assert np.sum([c for _, c in plan.bars], axis=0).tolist() == list(wanted.values())
    for _, counts in plan.bars:
        used = sum(c * w for c, w in zip(counts, wanted, strict=True))
        assert used <= stock


def test_offcuts_at_hand_are_used_before_a_bar_is_bought():
    stock = [BarStock(2500.0, 2, 2.5), BarStock(6000.0, None, 6000.0)]
    plan = cut_bars([1200.0], [4], stock, 3.0)
    assert [k for k, _ in plan.bars] == [0, 0]


def test_the_cheaper_of_two_lengths_is_bought():
    """Four of 2900: two bars of 6000 (12 m) rather than two of 7000 or four of 3000+."""
    stock = [BarStock(6000.0, None, 6000.0), BarStock(7000.0, None, 7000.0)]
    plan = cut_bars([2900.0], [4], stock, 3.0)
    assert [k for k, _ in plan.bars] == [0, 0] and plan.proven


def test_too_little_stock_is_said():
    assert cut_bars([1000.0], [3], [BarStock(1100.0, 2, 1.0)], 3.0) is None
    assert cut_bars([1200.0], [1], [BarStock(1100.0, None, 1.0)], 3.0) is None


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(200, 3000), st.integers(1, 6)), min_size=1, max_size=6))
def test_every_plan_cuts_what_is_wanted_within_its_bars(wanted):
    wanted = dict(wanted)
    plan = cut_bars(list(wanted), list(wanted.values()), [BarStock(3000.0, None, 1.0)], 2.0)
    assert np.sum([c for _, c in plan.bars], axis=0).tolist() == list(wanted.values())
    for _, counts in plan.bars:
        used = sum(c * (w + 2.0) for c, w in zip(counts, wanted, strict=True)) - 2.0
        assert used <= 3000.0 + 1e-6
    area = sum(w * d for w, d in wanted.items()) / 3000.0
    assert area - 1e-9 <= plan.bound <= plan.cost
