"""Plies over a core beside tight bends, station by station against the bend arithmetic.

A panel on the flat web of a channel adds t / sin a - t / tan a at each of its two edges, a bend
of 90 degrees adds a quarter turn times the height of what lies below (elementary trigonometry).
"""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from plybook.laminate import lay_up
from plybook.spec.model import (
    AtShare,
    Common,
    Core,
    EdgeBand,
    Inset,
    NacaSection,
    Ply,
    PolylineSection,
    ShareBand,
    Station,
    StationMould,
    Treatment,
    Whole,
)
from plybook.surface import build_face
from tests.laminate.doubles import cloth, spec

EDGES = ("lower", "upper", "root", "tip")
RADIUS, CORE, PLY = 8.0, 6.0, 0.2222
SPANS = tuple(np.linspace(0.0, 4000.0, 9))
RAMP = CORE / math.sin(math.pi / 4) - CORE / math.tan(math.pi / 4)


def size(span):
    """Flange and web of the channel at a station."""
    return 70.0 - 22.0 * span / 4000.0, 152.0 - 68.0 * span / 4000.0


def channel(span):
    flange, web = size(span)
    corners = [[flange, -web / 2], [0.0, -web / 2], [0.0, web / 2], [flange, web / 2]]
    section = PolylineSection(np.array(corners), (RADIUS, RADIUS))
    return Station(span, 1.0, 0.0, 0.061 * span, 0.0, 0.0, section)


def built(layers, stations, form="male", side="all", axis=0.5, edges=EDGES, loft="ruled"):
    mould = StationMould(tuple(stations), side, 0.0, 1.0, form, loft, edges, ())
    wide = {"twill": cloth(roll=5020.0, usable=5000.0)}
    given = spec(layers, {}, mould=mould, axis=AtShare(axis))
    given = replace(given, materials=replace(given.materials, cloths=wide))
    return lay_up(given, build_face(given))


@pytest.mark.slow
@pytest.mark.parametrize(("form", "sign"), [("male", 1.0), ("female", -1.0)])
def test_a_ply_over_the_web_of_a_spar_is_as_long_as_its_bends_and_ramps(form, sign):
    region = Common((ShareBand(0.36, 0.64), Inset((("root", 250.0), ("tip", 80.0)))))
    core = Core(
        "C", "foam", "s", region, thickness_mm=CORE, edges=(("", Treatment("bevel", 45.0)),)
    )
    below = [Ply(f"W{k}", "twill", "s", Whole(), angle_deg=0.0) for k in range(4)]
    over = [Ply(f"F{k}", "twill", "s", Whole(), angle_deg=0.0) for k in range(2)]
    laminate = built([*below, core, *over], [channel(s) for s in SPANS], form)
    for number, layer in enumerate(("F0", "F1")):
        (piece,) = [p for p in laminate.pieces if p.layer == layer]
        height = (4 + number) * PLY
        lines = {m.label.partition("(")[2]: m.points_mm for m in piece.marks
                 if m.kind == "station"}  # fmt: skip
        for span in SPANS[2:-1]:  # clear of the core's root end, which is no plain section
            flange, web = size(span)
            bare = 2 * flange + web - 4 * RADIUS + math.pi * RADIUS
            want = bare + sign * math.pi * height + 2 * RAMP
            got = np.hypot(*np.diff(lines[f"{span:.0f} mm)"], axis=0).T).sum()
            assert got == pytest.approx(want, abs=0.05), (layer, span)


def test_a_ply_that_ends_on_a_core_by_the_nose_has_a_plain_outline():
    """A smooth, tightly bent skin with a core beside the bend, and plies that stop on the core."""
    section = NacaSection("4415")
    stations = [
        Station(0.0, 537.2952, 0.0, 0.0, 0.0, 0.25, section),
        Station(570.267, 429.8362, -10.0, 0.0, 0.0, 0.25, section),
        Station(1140.5339, 322.3771, 40.0, 25.0, -1.5, 0.25, section),
    ]
    edges = ("leading", "trailing", "root", "tip")
    drawn_in = Inset(tuple((name, 64.4754) for name in edges))
    core = Core(
        "C", "foam", "s", drawn_in, edges=(("", Treatment("bevel", 45.0)),), thickness_mm=10.0
    )
    runs = [
        Ply(f"R{k}", "twill", "s", Inset((("trailing", 53.7295 + 15.0 * k),)), angle_deg=45.0)
        for k in range(2)
    ]
    first = Ply("P", "twill", "s", EdgeBand("leading", 0.0, 107.459), angle_deg=0.0)
    laminate = built([first, core, *runs], stations, "female", "lower", 0.25, edges, "smooth")
    assert not [f for f in laminate.findings if f.code == "outline-tangled"]
    over = [p for p in laminate.pieces if p.layer in ("R0", "R1")]
    assert len(over) == 2
    for piece in over:
        ring = Polygon(piece.outline_mm)
        assert ring.is_valid
        laid = Polygon(piece.laid_outline_mm)  # the lifted cloth is as large to 3 %
        assert abs(ring.area / laid.area - 1) < 0.03
        for a, b in pairwise(piece.edges):
            gap = shapely.distance(*(shapely.linestrings(e.points_mm) for e in (a, b)))
            assert gap < 1e-3
