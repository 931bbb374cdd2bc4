"""Several cores in one stage: the resin that fills their bag sides covers them all."""

from pathlib import Path

import pytest

from plybook.laminate import lay_up
from plybook.nest.model import CutPlan
from plybook.outside import Shelf
from plybook.shop.job import make_job
from plybook.shop.resin import stage_needs
from plybook.spec import load
from plybook.surface import build_face

SPECS = Path(__file__).parents[2] / "specs"
PANEL = """
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {number: PR-3, name: Panel, date: 2026-05-04, units: mm}
mould: {outline: [[0, 0], [1000, 0], [1000, 500], [0, 500]]}
layers:
  - {ply: A, cloth: carbon-twill-200, angle: 0}
  - core: C1
    sheet: foam-6
    region: {polygon: [[50, 50], [450, 50], [450, 450], [50, 450]]}
    edges: {all: square}
  - core: C2
    sheet: foam-6
    region: {polygon: [[550, 50], [950, 50], [950, 450], [550, 450]]}
    edges: {all: square}
  - {ply: B, cloth: carbon-twill-200, angle: 0}
"""


def test_the_bag_sides_of_all_cores_are_filled():
    """Two panels of 0.16 m2 at the sheet's take-up of 250 g/m2, worked by hand."""
    files = {f"shared/{p.name}": p.read_bytes() for p in (SPECS / "shared").glob("*.yaml")}
    (spec,) = load(Path("part.yaml"), Shelf({**files, "part.yaml": PANEL.encode()})).specs
    face = build_face(spec)
    laminate = lay_up(spec, face)
    job, findings = make_job(spec, face, laminate, CutPlan((), (), ()))
    assert not findings
    lays = [rule for rule in job.stages if job.layers_of(rule.id)]
    needs = [stage_needs(job, rule) for rule in lays]
    primed = [n["prime", ""].mass_g for n in needs if ("prime", "") in n]
    assert primed == [pytest.approx(2 * 0.4 * 0.4 * 250.0)]
