"""Ordinary cored parts, from the spec to the cut plan: panels fit the sheets they are cut from."""

from pathlib import Path

import pytest

from plybook.laminate import lay_up
from plybook.nest import plan_cuts
from plybook.nest.check import check_plan
from plybook.nest.needs import CutJob
from plybook.outside import Shelf
from plybook.spec import load
from plybook.surface import build_face

SHOP = """
plybook: 1
units: mm
materials:
  cloths:
    twill: {name: Twill, weave: twill, fibre: carbon, weight: 200 g/m2, fibre_share: 0.42, roll: 1000,
      usable: 990, faces_alike: yes, axes_alike: yes,
      splice: {join: overlap 25, stagger: 60, narrowest: 120}, resin: epoxy}
    wide: {name: Wide twill, weave: twill, fibre: carbon, weight: 200 g/m2, fibre_share: 0.42,
      roll: 3000, faces_alike: yes, resin: epoxy}
  cores:
    foam-5: {name: Foam 5, thickness: 5, density: 80 kg/m3, sheet: [8 ft, 4 ft], resin_uptake: 250 g/m2, least_bend: 200}
    foam-8: {name: Foam 8, thickness: 8, density: 80 kg/m3, sheet: [8 ft, 4 ft], resin_uptake: 250 g/m2, least_bend: 300}
    foam-20: {name: Foam 20, thickness: 20, density: 80 kg/m3, sheet: [2400, 1200], resin_uptake: 250 g/m2, least_bend: 900}
    ply-20: {name: Plywood 20, use: insert, thickness: 20, density: 680 kg/m3, sheet: [1200, 600], grain: yes, resin_uptake: 120 g/m2}
  resins:
    epoxy: {name: Epoxy, mix: {resin: 100, hardener: 30}, density: 1.12 g/cm3, pot_life: {time: 90 min, mass: 100 g, at: 25 C}, largest_batch: 400 g, cure: 16 h}
  thickened:
    paste: {name: Paste, resin: epoxy, filler: glass bubbles, filler_to_resin: 2, filler_density: 0.15 g/cm3, coat: 400 g/m2}
stock:
  - {id: K1, roll: twill, length: 60 m, quantity: as needed}
  - {id: K2, roll: wide, length: 60 m, quantity: as needed}
  - {id: F5, sheet: foam-5, quantity: as needed}
  - {id: F8, sheet: foam-8, quantity: as needed}
  - {id: F20, sheet: foam-20, quantity: as needed}
  - {id: P20, sheet: ply-20, quantity: as needed}
cutting: {knife_gap: 5, saw_kerf: 2, sheet_gap: 5, order: oldest}
"""  # noqa: E501

WIDER_THAN_THE_SHEET = """
plybook: 1
include: [shop.yaml]
part: {number: CS-1, name: Broad skin, date: 2026-06-01, units: mm, hand: left}
mould:
  form: female
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 1370, section: naca 4415}
    - {at: 4350, chord: 1214, sweep: 114, rise: 156, twist: -3 deg, section: naca 4412}
axis: {share: 0.3}
edges: {all: {trim: 40, flange: 60}}
layers:
  - core: C
    sheet: foam-5
    region: {inset: {leading: 95, trailing: 70, root: 40, tip: 40}}
    edges: {all: bevel 30}
    seams: to suit the sheets
"""

LONGER_THAN_TWO_SHEETS = """
plybook: 1
include: [shop.yaml]
part: {number: CS-2, name: Slim skin, date: 2026-06-01, units: mm, hand: left}
mould:
  form: female
  side: lower
  loft: smooth
  stations:
    - {at: 0, chord: 520, section: naca 0012}
    - {at: 4950, chord: 261, sweep: 135, rise: 240, twist: -3 deg, section: naca 0010}
axis: {share: 0.3}
edges: {all: {trim: 40, flange: 60}}
layers:
  - core: C
    sheet: foam-8
    region: {inset: {leading: 70, trailing: 45, root: 40, tip: 35}}
    edges: {all: bevel 30}
    seams: to suit the sheets
"""


def opened(text):
    """The spec of a part whose materials are the shop's, and its face."""
    files = {"part.yaml": text.encode(), "shop.yaml": SHOP.encode()}
    (spec,) = load(Path("part.yaml"), Shelf(files)).specs
    return spec, build_face(spec)


def codes(findings):
    return {finding.code for finding in findings}


@pytest.mark.parametrize(
    "text, sheet, panels",
    [(WIDER_THAN_THE_SHEET, (2438.4, 1219.2), 3), (LONGER_THAN_TWO_SHEETS, (2438.4, 1219.2), 3)],
)
def test_seams_to_suit_the_sheets_do(text, sheet, panels):
    """Skin 1: 1229 x 4178 mm of core; skin 2: 4890 mm along, 12 mm more than two sheets."""
    spec, face = opened(text)
    laminate = lay_up(spec, face)
    assert len(laminate.pieces) == panels
    plan = plan_cuts([CutJob(spec, laminate.pieces)], effort="quick", seconds=0.2)
    assert check_plan(plan.layouts, plan.items) == ()
    assert all((x.unit.length_mm, x.unit.width_mm) == sheet for x in plan.layouts)
