"""What is to be bought, worked by hand: added up first, rounded up once, for all parts together."""

from __future__ import annotations

import pytest

from plybook.shop import plan_work
from plybook.shop.model import Want
from plybook.shop.purchases import to_buy, to_buy_together
from tests.shop import parts


def test_uses_of_one_thing_are_added_before_they_are_rounded_up():
    """4.16 m and 4.21 m off a roll are 8.4 m, not 4.2 and 4.3."""
    rows = to_buy([Want("Peel ply", "m", 4.16, 0.1, "for the cut plan", 4.0, "PEEL-1"),
                   Want("Peel ply", "m", 4.21, 0.1, "under the bags", 4.0)])  # fmt: skip
    (row,) = rows
    assert (row.amount, row.unit, row.price) == (8.4, "m", pytest.approx(33.6))
    assert row.detail == "for the cut plan; under the bags"


def test_several_parts_buy_a_thing_once_and_what_they_share_once():
    """A roll of the cut plan and a tin count once; 0.4 and 0.5 of a roll of tape are one roll."""
    roll = Want("Peel ply", "m", 4.16, 0.1, "", 4.0, "PEEL-1")
    tin = Want("Wax", "piece", 1.0, 1.0, "see what is left", 24.0, "see what is left")
    first = (roll, tin, Want("Tape", "roll", 0.4, 1.0, "", 9.0), Want("Peel ply", "m", 1.0, 0.1))
    other = (roll, tin, Want("Tape", "roll", 0.5, 1.0, "", 9.0), Want("Hose", "m", 1.5, 0.1))
    rows = to_buy_together({"P-1": first, "P-2": other})
    assert [(r.item, r.amount, r.unit, r.detail, r.price) for r in rows] == [
        ("Peel ply", 5.2, "m", "P-1, P-2", pytest.approx(20.8)),
        ("Wax", 1.0, "piece", "P-1, P-2", 24.0),
        ("Tape", 1.0, "roll", "P-1, P-2", 9.0),
        ("Hose", 1.5, "m", "P-2", 0.0),
    ]


@pytest.mark.parametrize("exact", [0.3, 0.1 + 0.2, 12.3, 0.29999999999])
def test_what_is_whole_already_is_not_rounded_up(exact):
    (row,) = to_buy([Want("Film", "m", exact, 0.1)])
    assert row.amount == pytest.approx(round(exact, 6))


def test_the_list_of_a_part_is_what_it_wants():
    shop = plan_work(*parts.skin())
    rows = [q for q in shop.quantities if q.group == "buy"]
    assert rows == to_buy(shop.wants) and len(rows) == len({(q.item, q.unit) for q in rows})
    for row in rows:
        own = [w for w in shop.wants if (w.item, w.unit) == (row.item, row.unit)]
        exact = sum(w.exact for w in own)
        assert 0 <= row.amount - exact + 1e-6 < own[0].step + 1e-3
