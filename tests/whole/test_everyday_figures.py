"""Everyday parts from the written spec: figures that are known without the tool.

Lengths on the parts are held against elementary geometry, cut plans against what the spec states.
"""

import numpy as np
import pytest
import shapely

from plybook.diagnostics import Severity
from plybook.laminate import lay_up
from plybook.nest.model import NO_LAYOUTS
from plybook.review import bench_review, proof_review
from plybook.shop import plan_work
from plybook.surface import build_face
from tests.spec.goods import SHARED, read

PART = "part: {number: EF-1, name: Part, date: 2026-06-01, units: mm"
HEAD = f"plybook: 1\ninclude: shared.yaml\n{PART}"
PLATE = "mould: {outline: [[0, 0], [600, 0], [600, 400], [0, 400]]%s}\nedges: {all: {trim: %d}}\n"


def made(body, hand="none"):
    """Spec, face and laminate, once nothing is wrong with it and the verifier has no fault."""
    (spec, *_) = read(f"{HEAD}, hand: {hand}}}\n{body}", shared_yaml=SHARED).specs
    face = build_face(spec)
    laminate = lay_up(spec, face)
    bench, shop = bench_review(spec, face, laminate)
    found = (*bench.findings, *proof_review(spec, face, laminate, shop)[0].findings)
    assert not [f for f in found if f.severity is Severity.ERROR]
    return spec, face, laminate


def of(laminate, layer):
    return [piece for piece in laminate.pieces if piece.layer == layer]


@pytest.mark.parametrize("trim", [10, 20])
def test_an_edge_as_far_inside_as_cloth_runs_on_outside_is_not_trimmed(trim):
    """B ends inside the part by just the trim allowance, C a millimetre further in."""
    plies = "".join(
        f"  - {{ply: {name}, cloth: twill, angle: 45, region: {region}}}\n"
        for name, region in (
            ("A", "whole"), ("B", f"{{inset: {trim}}}"), ("C", f"{{inset: {trim + 1}}}")
        )
    )  # fmt: skip
    _, _, laminate = made(f"{PLATE % ('', trim)}layers:\n{plies}")
    cut = {
        name: {edge.treatment for piece in of(laminate, name) for edge in piece.edges}
        for name in "ABC"
    }
    assert cut["A"] == {"trim"} and cut["B"] == cut["C"] and "trim" not in cut["B"]


def test_a_hole_clear_of_one_slope_is_cut_square_through_the_core():
    """The slope at the rim, 10 / tan 30 = 17.3 mm, ends 7.7 mm before the hole; two would not."""
    holes = ", holes: [[[240, 55], [360, 55], [360, 125], [240, 125]]]"
    core = "  - {core: C, sheet: foam, region: {inset: 30}, edges: {all: bevel 30}}\n"
    ply = "  - {ply: %s, cloth: twill, angle: 0}\n"
    spec, face, laminate = made(f"{PLATE % (holes, 10)}layers:\n{ply % 'A'}{core}{ply % 'B'}")
    (panel,) = of(laminate, "C")
    (hole,) = panel.holes_mm
    assert shapely.Polygon(hole).area == pytest.approx(120 * 70, abs=0.1)
    work = plan_work(spec, face, laminate, NO_LAYOUTS)
    words = " ".join(
        " ".join(step.text) for stage in work.stages for step in stage.steps if "C" in step.pieces
    )
    assert "hole SQUARE" in words and "insert" not in words


SHELL = """
mould:
  form: female
  loft: smooth
  stations:
    - {at: 0, section: {channel: CORNERS, radii: [160, 145, 215, 145, 160]}}
    - {at: 800, section: {channel: BELLY, radii: [225, 205, 305, 205, 225]}}
    - {at: 2100, section: {channel: TAIL, radii: [115, 100, 145, 100, 115]}}
axis: {share: 0.5}
layers:
  - {ply: A, cloth: twill, angle: 45, drape: net}
  - {ply: B, cloth: twill, angle: -45, drape: net}
"""


def half_round(wide, high):
    ring = [(-1, 0), (-0.8825, 0.5475), (-0.547, 0.8825), (0, 1)]
    ring += [(-x, y) for x, y in reversed(ring[:-1])]
    return str([[round(wide * x, 1), round(high * y, 1)] for x, y in ring])


@pytest.mark.slow
def test_strips_draped_over_a_shell_keep_the_overlap_they_state():
    """A shell that swells and narrows; the proof of the plan measures every overlap as cut."""
    body = SHELL
    sizes = {"CORNERS": (190, 205), "BELLY": (270, 300), "TAIL": (130, 150)}
    for name, size in sizes.items():
        body = body.replace(name, half_round(*size))
    _, _, laminate = made(body)
    joined = [piece for piece in laminate.pieces if piece.splice is not None]
    assert joined and {piece.splice.overlap_mm for piece in joined} == {25.0}


TAPERED = """
mould:
  form: female
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 1100, section: naca 4412}
    - {at: 4500, chord: 500, sweep: 520, rise: 260, section: naca 4412}
axis: {share: 0.3}
layers:
  - {ply: P1, cloth: twill, angle: 45}
stages:
  - {stage: m, kind: mould_preparation}
  - {stage: s, kind: dry_layup, lays: [P1]}
  - {stage: d, kind: demould}
  - {stage: t, kind: trim}
"""


def test_the_infusion_lines_of_a_tapered_skin_run_along_its_long_edges():
    """Each edge is 4.5 to 4.6 m long, root and tip are 1.1 and 0.5 m: a line that turns round a
    corner would be longer than the edge, and the two would nearly meet."""
    spec, face, laminate = made(TAPERED, hand="left")
    work = plan_work(spec, face, laminate, NO_LAYOUTS)
    (bag,) = [bag for bag in work.bags if bag.method == "infusion"]
    lines = dict(bag.lines)
    resin, vacuum = (shapely.LineString(lines[name]) for name in ("resin line", "vacuum line"))
    for line in (resin, vacuum):
        assert 4000 < line.length < 4650
    assert resin.distance(vacuum) > 500


THICK = """
mould:
  form: female
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 900, section: naca 2412}
    - {at: 1400, chord: 720, sweep: 80, rise: 70, twist: -1 deg, section: naca 2412}
    - {at: 2800, chord: 540, sweep: 160, rise: 140, twist: -2 deg, section: naca 2410}
  accept_kinks: [1400]
axis: {share: 0.3}
edges: {all: {trim: 20}}
layers:
  - {plies: "[±45]2", as: A, cloth: twill}
  - run: U
    cloth: twill
    angle: 0
    plies: 8
    region: {share: [0.22, 0.42]}
    ends: {towards: tip, at: 2500, step: 180, longest: first}
  - {plies: "[0/90]2", as: Z, cloth: twill}
  - run: R
    cloth: twill
    angle: 45
    plies: 4
    ends: {towards: tip, at: 600, step: 60, longest: first}
  - {core: C, sheet: foam, region: {inset: 80}, edges: {all: bevel 45}, seams: to suit the sheets}
  - {plies: "[0/90]2", as: Y, cloth: twill}
  - {plies: "[∓45]2", as: B, cloth: twill}
"""


@pytest.mark.slow
def test_overlaps_in_a_skin_of_thirty_layers_are_those_it_states():
    """Strips lie along and across the bevels of the core and the steps of the runs."""
    _, _, laminate = made(THICK, hand="left")
    assert len(laminate.layers) >= 29
    joined = [piece for piece in laminate.pieces if piece.splice is not None]
    assert len(joined) > 20 and {piece.splice.overlap_mm for piece in joined} == {25.0}
    assert all(np.isfinite(piece.outline_mm).all() for piece in laminate.pieces)
