"""Cups: mix ratios, whole parts, pot life and gathering, against published figures."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plybook.diagnostics import SpecError
from plybook.shop.cups import purpose, refuse_too_many
from plybook.shop.mixing import Need, fill_cups, least_cup_g, mix, pot_life_s, share_out
from plybook.spec.model import NOWHERE
from tests.shop.parts import RESIN

ratios = st.lists(st.floats(0.5, 100.0), min_size=2, max_size=4)


@given(total=st.integers(0, 100_000), ratios=ratios)
def test_parts_always_sum_to_the_total(total, ratios):
    """Whole parts sum exactly, and none is a unit or more away from its exact share."""
    parts = share_out(total, ratios)
    assert sum(parts) == total
    for part, ratio in zip(parts, ratios, strict=True):
        assert abs(part - total * ratio / sum(ratios)) < 1.0 + 1e-9


# mix arithmetic of 500 g, from the ratios printed on resin cards: part = total x a / (a + b)
@pytest.mark.parametrize(
    ("second", "exact"),
    [(40, 357.143), (58, 316.456), (30, 384.615), (27, 393.701), (20, 416.667)],
)
def test_five_hundred_grams_by_ratio(second, exact):
    """The first part of 500 g is the nearest gram to its exact share, and the two sum to 500."""
    first, other = share_out(500, (100, second))
    assert first == round(exact)
    assert first + other == 500


def test_every_share_is_within_the_mixing_accuracy():
    """As printed, the ratio of a cup is within 0.5 % by weight of the card's (DA 40, DA 42 and
    DA 20 maintenance manuals: +/-0.5 %)."""
    for grams in (50.0, 83.3, 150.0, 399.2):
        mass, parts, decimals = mix(RESIN, grams)
        assert mass >= grams - 1e-9
        assert sum(round(part * 10) for _, part in parts) == round(mass * 10)
        assert decimals in (0, 1)
        exact = mass * 27 / 127
        assert abs(dict(parts)["hardener"] - exact) <= 0.005 * exact + 1e-9


@given(grams=st.floats(1.0, 5000.0), hardener=st.floats(5.0, 100.0))
def test_a_cup_as_printed_sums_to_its_mass(grams, hardener):
    """Parts as printed sum to the mass as printed, for any ratio and mass; large cups to 5 g."""
    resin = replace(RESIN, parts=(("resin", 100.0), ("hardener", hardener)))
    mass, parts, decimals = mix(resin, grams)
    scale = 10**decimals
    assert sum(round(part * scale) for _, part in parts) == round(mass * scale)
    step = 5.0 if grams >= 100.0 else 1.0 / scale
    assert grams - 1e-6 <= mass < grams + step + 1e-6
    assert mass % 5.0 == 0.0 or grams < 100.0


def test_smallest_cup_can_be_weighed():
    """Half a scale division of 0.1 g is 0.5 % of the hardener of the smallest cup."""
    assert least_cup_g(RESIN) == pytest.approx(10.0 * 127 / 27)


# resin makers' rule (epoxyworks.com, Controlling exotherm): pot life halves for every 10 degC;
# 30 min at 25 degC gives 60, 42.43, 21.21 and 15 min
@pytest.mark.parametrize(
    ("room_c", "minutes"), [(15, 60.0), (20, 42.43), (25, 30.0), (30, 21.21), (35, 15.0)]
)
def test_pot_life_halves_every_ten_degrees(room_c, minutes):
    """30 min at 25 degC at other room temperatures."""
    assert pot_life_s(RESIN, room_c) / 60 == pytest.approx(minutes, abs=0.01)


def test_pot_life_in_a_hot_room_is_at_most_half():
    """Above 90 degF (32 degC) pot life is cut by half (TM 1-1500-204-23-11)."""
    warm = replace(RESIN, pot_life_at_c=30.0)
    assert pot_life_s(warm, 33.0) <= 15 * 60


needs = st.lists(
    st.builds(
        Need,
        st.just("lay"),
        st.integers(0, 10**6).map(str),
        st.just("P"),
        st.floats(0.1, 3000.0),
        st.just(1.0),
        st.floats(0.0, 20_000.0),
        st.booleans(),
    ),
    max_size=12,
)


@given(needs=needs, most=st.floats(50.0, 1000.0), usable=st.floats(60.0, 7200.0))
def test_cups_hold_the_need_within_the_limits(needs, most, usable):
    """Cups sum to the need, none is over the safe size or the time, and neat stays neat."""
    cups = fill_cups(needs, most, usable)
    assert sum(c.mass_g for c in cups) == pytest.approx(sum(n.mass_g for n in needs))
    for cup in cups:
        assert cup.mass_g <= most * (1 + 1e-9)
        assert cup.seconds <= usable * (1 + 1e-9)
        assert len({need.thick for need, *_ in cup.shares}) == 1
    for need in needs:
        served = sum(share for cup in cups for n, share, *_ in cup.shares if n is need)
        assert served == pytest.approx(sum(1 for n in needs if n is need))


def test_cups_keep_the_order_of_the_steps():
    """Small neighbours share a cup; a large one is split evenly between its neighbours."""
    small = [Need("lay", name, name, 50.0, 0.2, 100.0) for name in "AB"]
    large = Need("lay", "C", "C", 900.0, 4.0, 900.0)
    cups = fill_cups([*small, large, small[0]], 400.0, 1800.0)
    assert [[n.layer for n, *_ in cup.shares] for cup in cups] == [
        ["A", "B"], ["C"], ["C"], ["C"], ["A"],
    ]  # fmt: skip
    assert [round(cup.mass_g) for cup in cups] == [100, 300, 300, 300, 50]


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (1, "P0"),
        (3, "P0, P1 and P2"),
        (8, "P0, P1, P2, P3, P4, P5, P6 and P7"),
        (9, "P0 to P8, 9 in order"),
    ],
)
def test_a_cup_for_many_layers_names_the_first_and_the_last(count, said):
    needs = [Need("lay", f"P{n}", f"P{n}", 1.0, 0.1, 1.0) for n in range(count)]
    (cup,) = fill_cups(needs, 400.0, 1800.0)
    assert purpose(cup) == said


@pytest.mark.parametrize(("mass_g", "seconds"), [(2100.0, 60.0), (10.0, 21_000.0)])
def test_more_cups_than_anyone_mixes_are_refused_by_the_limits_name(mass_g, seconds):
    """Cups of 100 g that last 1000 s: 21 cups by mass, or by time at a slow rate."""
    needs = [Need("lay", "P1", "P1", mass_g, 1.0, seconds)]
    part = SimpleNamespace(place=NOWHERE)
    stage = SimpleNamespace(id="S1")
    for most, refused in ((21, False), (20, True)):
        job = SimpleNamespace(spec=SimpleNamespace(raised=(("cups", most),), part=part))
        if refused:
            with pytest.raises(SpecError, match="21 cups of resin; at most 20") as told:
                refuse_too_many(job, stage, needs, 100.0, 1000.0)
            assert "--limit cups=N" in told.value.findings[0].help
        else:
            refuse_too_many(job, stage, needs, 100.0, 1000.0)
