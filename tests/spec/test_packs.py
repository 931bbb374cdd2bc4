"""Packs on the shelf, and the currency of prices: what is read, and what is refused."""

import pytest

from plybook.diagnostics import SpecError
from plybook.marking import refuse_currencies
from plybook.outside import Outside
from plybook.spec import load

SPEC = """
plybook: 1
include: [shared/materials.yaml]
part: {{number: PK-1, name: Panel, date: 2026-05-04, units: mm}}
mould: {{outline: [[0, 0], [300, 0], [300, 200], [0, 200]]}}
workshop: {{{workshop}}}
layers:
  - {{ply: A, cloth: carbon-twill-200, angle: 0}}
stock:
  - {{id: TW, roll: carbon-twill-200, length: 9 m, lot: T 7, use_by: 2028-01-31}}
  - {entry}
"""


@pytest.fixture
def read(specs):
    def reader(entry="{id: C, pack: cups-500, quantity: 5}", workshop="room: 20 C", name="pack"):
        path = specs / f"{name}.yaml"
        path.write_text(SPEC.format(entry=entry, workshop=workshop), encoding="utf-8")
        return load(path, Outside()).specs[0]

    return reader


@pytest.mark.parametrize(
    ("entry", "item", "unit", "amount"),
    [
        ("{id: E, pack: lam-epoxy, part: hardener, mass: 2 kg, quantity: 3}",
         "Laminating epoxy, slow hardener, hardener", "kg", 6.0),
        ("{id: B, pack: core-paste, mass: 300 g}", "glass bubbles", "kg", 0.3),
        ("{id: S, pack: sealant-tape, length: 30 m}", "Sealant tape 12 mm", "roll", 2.0),
        ("{id: H, pack: hose-10, length: 4 m}", "Hose 10 mm", "m", 4.0),
        ("{id: C, pack: cups-500, quantity: 5}", "Mixing cup 500 ml", "piece", 5.0),
    ],
)  # fmt: skip
def test_a_pack_is_counted_in_what_its_thing_is_bought_by(read, entry, item, unit, amount):
    (pack,) = read(entry).packs
    assert (pack.item, pack.unit, pack.amount) == (item, unit, pytest.approx(amount))


def test_lot_and_last_day_of_a_roll_are_read(read):
    (roll,) = read().stock
    assert (roll.lot, roll.use_by) == ("T 7", "2028-01-31")


@pytest.mark.parametrize(
    ("entry", "code"),
    [
        ("{id: E, pack: lam-epoxy, mass: 2 kg}", "unknown-word"),  # which part?
        ("{id: E, pack: lam-epoxy, part: resin}", "missing"),  # how much?
        ("{id: E, pack: lam-epoxi, part: resin, mass: 1 kg}", "unknown-consumable"),
        ("{id: E, pack: cups-500, quantity: as needed}", "wrong-kind"),
        ("{id: E, pack: cups-500, roll: bag-film}", "unknown-stock"),
        ("{id: E, pack: cups-500, use_by: soon}", "not-a-date"),
    ],
)
def test_what_is_no_pack_is_refused(read, entry, code):
    with pytest.raises(SpecError) as refused:
        read(entry)
    assert code in {f.code for f in refused.value.findings}, refused.value.findings


@pytest.mark.parametrize("money", ["Euro", "eur", "12"])
def test_a_currency_is_three_letters(read, money):
    """ISO 4217: three capital letters."""
    with pytest.raises(SpecError) as refused:
        read(workshop=f"currency: {money}")
    assert refused.value.findings[0].code == "not-a-currency"


def test_parts_with_other_currencies_are_not_added_up(read):
    both = [read(workshop=f"currency: {money}", name=money) for money in ("EUR", "USD")]
    refuse_currencies(both[:1] * 2)
    with pytest.raises(SpecError, match="EUR.*USD"):
        refuse_currencies(both)
