"""Inserts against one another, breaks and rods, on a flat face."""

import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate.insert_checks import insert_findings
from plybook.laminate.model import LaidLayer
from plybook.spec.model import Core, Insert, OnPattern, Ply, Rod, Whole
from plybook.surface.model import Kink
from tests.laminate.doubles import TaperedFace, spec


def laid(kind, name, region):
    return LaidLayer(name, kind, "x", 0.0, "s", 10.0, region, (name,))


def told(*layers, face=None):
    """Findings of layers given as (kind, id, region), laid in that order."""
    made = {
        "core": lambda i: Core(i, "foam", "s", Whole(), thickness_mm=10.0),
        "insert": lambda i: Insert(i, "ply", "s", Whole(), core="C"),
        "rod": lambda i: Rod(i, "bar", "s", Whole(), line=(OnPattern(0, 0), OnPattern(9, 0))),
        "ply": lambda i: Ply(i, "twill", "s", Whole()),
    }
    written = [made[kind](name) for kind, name, _ in layers]
    return insert_findings(spec(written), face or TaperedFace(), [laid(*x) for x in layers])


CORE = ("core", "C", shapely.box(100, -800, 2000, 100))
BLOCK = ("insert", "H1", shapely.box(500, -300, 600, -200))


@pytest.mark.parametrize("apart, code", [
    (-40.0, "inserts-overlap"), (0.0, ""), (4.0, "inserts-close"), (12.0, ""),
])  # fmt: skip
def test_inserts_of_one_core_keep_apart(apart, code):
    """Blocks of 100 x 100; overlapping by 40 mm they share 40 cm2."""
    other = ("insert", "H2", shapely.box(600 + apart, -300, 700 + apart, -200))
    found = told(CORE, BLOCK, other)
    assert [f.code for f in found] == ([code] if code else [])
    if code == "inserts-overlap":
        assert found[0].severity is Severity.ERROR and "by 40.0 cm2" in found[0].message
        assert "at x 580, y -250 mm" in found[0].message


def test_an_insert_over_a_break_of_the_face_is_told():
    class Broken(TaperedFace):
        kinks = (Kink(550.0, 8.0, 1.0, False),)

    (found,) = told(CORE, BLOCK, face=Broken())
    assert found.code == "insert-crosses-break" and "span 550 mm" in found.message


def test_rods_and_an_insert_in_one_place_are_told_unless_cloth_lies_between():
    rod = ("rod", "R", shapely.box(0, -250, 1500, -238))
    cloth = ("ply", "P", shapely.box(0, -800, 3000, 200))
    (found,) = told(CORE, BLOCK, rod)
    assert found.code == "rod-through-insert" and found.layers == ("R", "H1")
    assert told(CORE, BLOCK, cloth, rod) == []
    assert [f.code for f in told(rod, CORE, BLOCK)] == ["rod-through-insert"]
