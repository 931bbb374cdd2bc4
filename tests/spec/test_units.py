"""Findings speak in the unit of the part; 1 in = 25.4 mm exactly (international inch, 1959)."""

import pickle

import pytest

from plybook.diagnostics import localized, warning
from plybook.units import bare_mm, mm, sentence


@pytest.mark.parametrize(
    ("said", "in_mm", "in_inches"),
    [
        (f"at span {mm(591):.0f}, 35 %", "at span 591 mm, 35 %", "at span 23 9/32 in, 35 %"),
        (f"a ramp of {mm(12.7):.1f}", "a ramp of 12.7 mm", "a ramp of 1/2 in"),
        (f"{mm(26.4):.1f} of {mm(5.0):.1f}", "26.4 mm of 5.0 mm", "1.039 in of 0.197 in"),
        (f"a point at {mm(2.54e10):g}", "a point at 2.54e+10 mm", "a point at 1e+09 in"),
        (f"a point at {mm(1.7e308):.1f}", "a point at 1.7e+308 mm", "a point at 6.69291e+306 in"),
        (f"a point at {mm(float('inf')):.0f}", "a point at inf mm", "a point at inf in"),
        (f"from {bare_mm(0):g} to {mm(2540):g}", "from 0 to 2540 mm", "from 0 to 100 in"),
        (f"is {bare_mm(254):.0f} x {mm(127):.0f}", "is 254 x 127 mm", "is 10 x 5 in"),
        (f"x {bare_mm(254):.0f}, y {mm(-127):.0f}", "x 254, y -127 mm", "x 10, y -5 in"),
        (f"write `pitch: {bare_mm(152.4):g}`", "write `pitch: 152.4`", "write `pitch: 6`"),
        (f"100 x {mm(0.262):.3f} is {mm(26.2):.1f}", "100 x 0.262 mm is 26.2 mm",
         "100 x 0.01031 in is 1 1/32 in"),
    ],
)  # fmt: skip
def test_lengths_of_a_sentence_are_values(said, in_mm, in_inches):
    assert sentence(said) == in_mm and sentence(said).in_unit("in") == in_inches


@pytest.mark.parametrize("text", ["Foam 6 mm", "cloth 12 x 3 mm and 40 mm wide", "`{trim: 12 mm}`"])
def test_what_a_user_wrote_is_never_turned_into_inches(text):
    found = warning("x", f"`{text}` is {mm(25.4):g} thick", f"see {text}")
    (one,) = localized("in", [found])
    assert (one.message, one.help) == (f"`{text}` is 1 in thick", f"see {text}")


def test_findings_of_a_part_in_inches_have_no_millimetres_left():
    found = warning("x", f"{mm(12.7):.1f} apart", f"at least {mm(25.4):.1f}")
    (one,) = localized("in", [found])
    assert (one.message, one.help) == ("1/2 in apart", "at least 1 in")
    assert localized("mm", [found]) == (found,)


def test_a_finding_keeps_its_lengths_on_the_way_between_processes():
    found = pickle.loads(pickle.dumps(warning("x", f"{mm(25.4):g} apart")))
    assert found.message == "25.4 mm apart" and localized("in", [found])[0].message == "1 in apart"
