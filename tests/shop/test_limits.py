"""Limits of room, air and fibre direction, printed beside what is measured, with its source."""

from dataclasses import replace

import pytest

from plybook.diagnostics import SpecError
from plybook.outside import Outside
from plybook.shop import plan_work
from plybook.shop.standard import standard
from plybook.spec import load
from plybook.spec.model import WorkLimits
from tests.shop import parts


def checks(work=None, room_c=20.0):
    """Every measure of room and air of the skin, and the words of the step that checks the room."""
    spec, *rest = parts.skin()
    resin = replace(parts.RESIN, work=work, data_sheet="sheet 7")
    materials = replace(spec.materials, resins={resin.id: resin})
    workshop = replace(spec.workshop, room_c=room_c)
    shop = plan_work(replace(spec, materials=materials, workshop=workshop), *rest)
    steps = [step for stage in shop.stages for step in stage.steps]
    asked = [c for step in steps for c in step.checks]
    words = " ".join(line for s in steps if s.name == "check_room" for line in s.text)
    return asked, words


def test_without_limits_on_the_card_the_defaults_stand_with_their_source():
    asked, words = checks()
    (damp, *_) = [c for c in asked if c.text == "Relative humidity"]
    assert (damp.at_most, damp.unit) == (75.0, "%")  # common practice, no source
    assert damp.source == standard().figures["humidity_most"].source
    rooms = [c for c in asked if c.text.startswith("Room temperature")]
    assert {(c.expected, c.tolerance, c.at_least) for c in rooms} == {(20.0, 3.0, None)}
    assert "is not within" not in words


def test_limits_of_the_data_sheet_go_before_the_defaults():
    asked, words = checks(WorkLimits(18.0, 28.0, 65.0))
    rooms = [c for c in asked if c.text.startswith("Room temperature")]
    assert {(c.at_least, c.at_most, c.expected) for c in rooms} == {(18.0, 28.0, None)}
    (damp, *_) = [c for c in asked if c.text == "Relative humidity"]
    assert damp.at_most == 65.0
    assert {c.source for c in (damp, *rooms)} == {"data sheet of Lark slow epoxy, sheet 7"}
    assert "is not within" not in words


def test_a_room_outside_the_card_is_told_at_the_step_that_checks_it():
    _, words = checks(WorkLimits(18.0, 28.0, 0.0), room_c=15.0)
    assert "A room of 15 °C is not within 18 to 28 °C, which the card of Lark slow epoxy" in words


def test_the_fibre_may_be_three_degrees_off():
    """TM 1-1500-204-23-11: within 3 degrees; 5 off loses 20 %, 10 off 50 % of strength."""
    asked, _ = checks()
    fibre = [c for c in asked if c.text.startswith("Fibre at")]
    assert fibre and all(c.text.endswith("within 3°") for c in fibre)
    assert all(c.source.startswith("TM 1-1500-204-23-11: within 3°") for c in fibre)


@pytest.mark.parametrize(
    "work", ["at_least: 18 C", "{at_least: 30 C, at_most: 20 C}", "{humidity: 120 %}"]
)
def test_limits_that_cannot_be_meant_are_refused(specs, work):
    text = (specs / "shared" / "materials.yaml").read_text(encoding="utf-8")
    work = work if work.startswith("{") else "{" + work + "}"
    changed = text.replace("    lam-epoxy:\n", f"    lam-epoxy:\n      work: {work}\n", 1)
    assert changed != text
    (specs / "shared" / "room.yaml").write_text(changed, encoding="utf-8")
    hatch = (specs / "hatch.yaml").read_text(encoding="utf-8")
    spec = specs / "room.yaml"
    spec.write_text(hatch.replace("shared/materials", "shared/room"), encoding="utf-8")
    with pytest.raises(SpecError) as refused:
        load(spec, Outside())
    assert {f.code for f in refused.value.findings} == {"room-limits"}
