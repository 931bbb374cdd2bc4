"""Findings speak in the unit of the part; 1 in = 25.4 mm exactly (international inch, 1959)."""

import pytest

from plybook.diagnostics import said_in, warning
from plybook.units import in_inches


@pytest.mark.parametrize(
    ("said", "turned"),
    [
        (
            "U1 ends at span 591 mm, 35 % of the section",
            "U1 ends at span 23.27 in, 35 % of the section",
        ),
        ("a ramp of 12.7 mm", "a ramp of 0.5 in"),
        ("a coordinate of 2.54e+10 mm", "a coordinate of 1e+09 in"),
        ("runs from 0 to 2540 mm", "runs from 0 to 100 in"),
        ("panel C is 254 x 127 mm", "panel C is 10 x 5 in"),
        ("panel C (x 254, y -127 mm)", "panel C (x 10, y -5 in)"),
        ("`{trim: 12 mm}` is 12 mm", "`{trim: 12 mm}` is 0.47 in"),
        ("carbon-strip-12x3 at 200 g/m2, 40 mm2, 3 mm² and 45 deg",) * 2,
    ],
)
def test_lengths_of_a_sentence_in_inches(said, turned):
    assert in_inches(said) == turned


def test_findings_of_a_part_in_inches_have_no_millimetres_left():
    found = warning("x", "12.7 mm apart", "at least 25.4 mm")
    (one,) = said_in("in", [found])
    assert (one.message, one.help) == ("0.5 in apart", "at least 1 in")
    assert said_in("mm", [found]) == (found,)
