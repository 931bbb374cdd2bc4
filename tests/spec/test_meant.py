"""Did you mean: slips of the pen, other words of the trade, other ways to write a unit."""

import pytest

from plybook.spec.meant import guess, meant, units_meant
from plybook.units import MM_PER_UNIT

WORDS = {
    "units": ("mm", "in"),
    "hand": ("left", "right", "none"),
    "form": ("female", "male"),
    "side": ("upper", "lower", "all"),
    "loft": ("ruled", "smooth"),
    "edge": ("leading", "trailing", "root", "tip"),
    "cut": ("square", "bevel", "scarf", "trim"),
    "weave": ("unidirectional", "plain", "twill", "satin", "biaxial", "triaxial", "mat"),
    "kind": ("mould_preparation", "wet_laminate", "core_bond", "dry_layup", "cure", "trim"),
    "layer": ("A1", "A2", "C", "H"),
    "ply": ("ply", "cloth", "angle", "region", "note"),
    "accept": ("finding", "layers", "because"),
}


@pytest.mark.parametrize(
    "where, written, wanted",
    [
        ("units", "millimeters", "mm"),
        ("units", "inches", "in"),
        ("units", "MM", "mm"),
        ("units", "imperial", "in"),
        ("hand", "Left", "left"),
        ("hand", "rigth", "right"),
        ("hand", "starboard", "right"),
        ("form", "femal", "female"),
        ("form", "concave", "female"),
        ("side", "top", "upper"),
        ("loft", "straight", "ruled"),
        ("loft", "spline", "smooth"),
        ("edge", "leeding", "leading"),
        ("edge", "TE", "trailing"),
        ("edge", "tipp", "tip"),
        ("cut", "bevell", "bevel"),
        ("cut", "chamfer", "bevel"),
        ("cut", "sqare", "square"),
        ("weave", "ud", "unidirectional"),
        ("weave", "uni", "unidirectional"),
        ("weave", "biax", "biaxial"),
        ("weave", "2x2 twill", "twill"),
        ("kind", "wet laminate", "wet_laminate"),
        ("kind", "wet layup", "wet_laminate"),
        ("kind", "infusion", "dry_layup"),
        ("kind", "trimming", "trim"),
        ("layer", "h", "H"),
        ("layer", "a1", "A1"),
        ("ply", "fabric", "cloth"),
        ("ply", "orientation", "angle"),
        ("accept", "reason", "because"),
    ],
)
def test_what_was_meant_is_found(where, written, wanted):
    assert meant(written, WORDS[where]) == wanted


@pytest.mark.parametrize("where, written", [("units", "furlong"), ("hand", "x"), ("edge", "spar")])
def test_nothing_is_guessed_where_nothing_is_near(where, written):
    assert guess(written, WORDS[where]) == ""


def test_a_right_word_is_not_asked_about():
    assert guess("left", WORDS["hand"]) == ""


@pytest.mark.parametrize(
    "written, known, wanted",
    [
        ("1100 milimeters", MM_PER_UNIT, "did you mean `1100 mm`? "),
        ("43 inches", MM_PER_UNIT, "did you mean `43 in`? "),
        ("12 MM", MM_PER_UNIT, "did you mean `12 mm`? "),
        ("80 kg/m^3", ("kg/m3", "g/cm3"), "did you mean `80 kg/m3`? "),
        ("90 mins", ("s", "min", "h"), "did you mean `90 min`? "),
        ("1 hr 30 minutes", ("s", "min", "h"), "did you mean `1 h 30 min`? "),
        ("12 mm", MM_PER_UNIT, ""),
        ("12 parsecs", MM_PER_UNIT, ""),
        ("seven", MM_PER_UNIT, ""),
    ],
)
def test_a_unit_is_set_right_with_its_number(written, known, wanted):
    assert units_meant(written, known) == wanted
