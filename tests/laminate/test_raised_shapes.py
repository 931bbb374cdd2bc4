"""Cloth over cores and rods of everyday shapes, from the written spec to the cut pieces.

Sizes are held against elementary trigonometry: a bevel of thickness t at an angle a adds
t / sin a - t / tan a to cloth that runs square over it, a square edge of height h is a fillet at
45 degrees and adds h (sqrt 2 - 1).
"""

import math

import numpy as np
import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate import lay_up
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

WIDE = SHARED.replace(
    "roll: 1270\n      usable: 1250", "roll: 6000\n      usable: 6000\n      strain_limit: 2 %"
)

ROUND_PANEL = """
mould: {outline: [[0, 0], [400, 0], [400, 910], [0, 910]], corners: 40}
edges: {all: {trim: 10}}
layers:
  - {plies: "[45/0]", as: A, cloth: twill}
  - {core: C, sheet: foam, region: {inset: INSET}, edges: {all: bevel BEVEL}}
  - {plies: "[0/45]", as: B, cloth: twill}
"""

WASHED_OUT = """
mould:
  form: female
  side: lower
  loft: ruled
  stations:
    - {at: 0, chord: 1050, section: naca 4415}
    - {at: 3900, chord: 700, sweep: 60, rise: 190, twist: -2 deg, section: naca 4412}
axis: {share: 0.3}
edges: {all: {trim: TRIM}}
layers:
  - {ply: A, cloth: twill, angle: 45}
  - core: C
    sheet: foam
    region: {inset: {leading: 80, trailing: 60, root: 40, tip: 40}}
    edges: {all: bevel 45}
  - {ply: B, cloth: twill, angle: -45}
"""

SMOOTH = """
mould:
  form: female
  side: lower
  loft: smooth
  stations:
    - {at: 0, chord: 1430, section: naca 0012}
    - {at: 925, chord: 1328, sweep: 76, rise: 110, section: naca 0012}
    - {at: 1850, chord: 1178, sweep: 32, rise: 97, section: naca 0010}
axis: {share: 0.3}
edges: {all: {trim: 28}}
layers:
  - {ply: A, cloth: twill, angle: 45}
  - core: C
    sheet: foam
    region: {inset: {leading: 70, trailing: 65, root: 50, tip: 75}}
    edges: {all: bevel 30}
  - {ply: B, cloth: twill, angle: -45}
"""

STRIP = """
mould:
  outline:
    - [0, 0]
    - {to: [1200, 0], edge: bottom}
    - {to: [1200, 800], edge: right}
    - {to: [0, 800], edge: top}
    - {to: [0, 0], edge: left}
edges: {all: {trim: 10}}
layers:
  - {ply: A, cloth: twill, angle: 45}
  - core: C
    sheet: foam
    region: {inset: {left: 200, right: 300}}
    edges: {left: bevel 45, right: bevel 20, all: square}
  - {ply: B, cloth: twill, angle: 45}
"""

RODS = """
mould: {outline: [[0, 0], [1000, 0], [1000, 400], [0, 400]]}
edges: {all: {trim: 10}}
layers:
  - {plies: "[0_20]", as: A, cloth: twill}
  - {rod: K, bar: strip, line: [[START, 200], [END, 200]], rows: 2}
  - {ply: B, cloth: twill, angle: 90}
"""


def specs_of(body, hand="hand: none"):
    part = f"part: {{number: RS-1, name: Shape, date: 2026-05-04, units: mm, {hand}}}\n"
    text = f"plybook: 1\ninclude: shared.yaml\n{part}{body}"
    return read(text, shared_yaml=WIDE).specs


def laid(spec):
    laminate = lay_up(spec, build_face(spec))
    wrong = [f for f in laminate.findings if f.severity is Severity.ERROR]
    assert not wrong, wrong
    assert "steps-not-followed" not in {f.code for f in laminate.findings}
    return {piece.id: piece for piece in laminate.pieces}


def outline(piece):
    shape = shapely.Polygon(piece.outline_mm, piece.holes_mm)
    assert shape.is_valid
    return shape


def size(piece):
    return np.ptp(piece.outline_mm, axis=0)


def slope(thick, angle_deg):
    a = math.radians(angle_deg)
    return thick / math.sin(a) - thick / math.tan(a)


@pytest.mark.parametrize(("inset", "bevel"), [(35, 45), (20, 45), (38, 60), (60, 30), (0, 30)])
def test_cloth_lies_over_a_core_with_round_corners(inset, bevel):
    body = ROUND_PANEL.replace("INSET", str(inset)).replace("BEVEL", str(bevel))
    pieces = laid(specs_of(body)[0])
    more = 2 * slope(10.0, bevel) if inset else 0.0  # at the net line the core has no foot
    for name in ("B1", "B2"):
        outline(pieces[name])
        across = shapely.LineString([[-100, 455], [500, 455]]).intersection(outline(pieces[name]))
        if inset:
            assert across.length == pytest.approx(420 + more, abs=0.25)  # the corners pull a little


@pytest.mark.parametrize(
    "trim", [23, *(pytest.param(trim, marks=pytest.mark.slow) for trim in range(5, 41, 5))]
)
def test_the_trim_allowance_of_a_washed_out_skin_is_cut_whole(trim):
    pieces = laid(specs_of(WASHED_OUT.replace("TRIM", str(trim)))[0])
    first, second = outline(pieces["A"]), outline(pieces["B"])
    assert second.area == pytest.approx(first.area, rel=0.01)
    assert second.length == pytest.approx(first.length, rel=0.005)


@pytest.mark.slow
def test_either_hand_of_a_smooth_skin_is_cut_alike():
    left, right = specs_of(SMOOTH, "hand: left, other_hand: RS-2")
    one, other = laid(left), laid(right)
    assert one.keys() == other.keys()
    for name, piece in one.items():
        mirrored = shapely.Polygon(piece.outline_mm * [1, -1])
        assert mirrored.hausdorff_distance(outline(other[name])) < 1e-6


def test_a_square_edge_at_the_net_line_has_no_fillet_where_a_bevel_runs_out():
    pieces = laid(specs_of(STRIP)[0])
    want = 1220 + slope(10.0, 45) + slope(10.0, 20)
    assert size(pieces["B"]) == pytest.approx([want, 820.0], abs=0.05)


@pytest.mark.parametrize(("start", "end"), [(0, 1000), (5, 995)])
def test_cloth_over_rods_on_a_thick_stack_has_its_girth(start, end):
    body = RODS.replace("START", str(start)).replace("END", str(end))
    pieces = laid(specs_of(body)[0])
    assert size(pieces["B"])[1] - 420 == pytest.approx(2 * 3 * (math.sqrt(2) - 1), abs=0.05)
