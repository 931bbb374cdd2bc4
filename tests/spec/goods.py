"""Small good specs to spoil, and how to load a text without a disk."""

from __future__ import annotations

from pathlib import Path

from plybook.diagnostics import Finding, SpecError
from plybook.outside import Shelf
from plybook.spec import Loaded, load

SHARED = """\
plybook: 1
units: mm
materials:
  cloths:
    twill:
      name: Carbon twill
      weave: twill
      fibre: carbon
      weight: 200 g/m2
      fibre_share: 0.5
      roll: 1270
      usable: 1250
      resin: epoxy
    ud: {name: Carbon UD, weave: unidirectional, fibre: carbon, weight: 150, roll: 500}
  cores:
    foam: {name: Foam, thickness: 10, density: 80, sheet: [8 ft, 4 ft]}
    birch: {name: Plywood, thickness: 10, density: 680, sheet: [1200, 600], use: insert}
  rods:
    strip: {name: Strip, width: 12, height: 3, supply: [50 m]}
  consumables:
    peel: {name: Peel ply, role: peel_ply, roll: 1500}
  resins:
    epoxy:
      name: Epoxy
      mix: {resin: 100, hardener: 27}
      density: 1.13
      pot_life: {time: 90 min, mass: 100 g, at: 25 C}
      largest_batch: 400 g
      cure: 16 h
  thickened:
    paste: {name: Paste, resin: epoxy, filler: bubbles, filler_to_resin: 2, filler_density: 0.15, coat: 400}
stock:
  - {id: T1, roll: twill, length: 40 m}
  - {id: U1, roll: ud, quantity: as needed}
  - {id: F1, sheet: foam, quantity: as needed}
  - {id: B1, sheet: birch}
  - {id: S1, bar: strip, quantity: as needed}
"""  # noqa: E501

SKIN = """\
plybook: 1
include: shared.yaml
part:
  number: KT-210
  name: Outer skin
  revision: B
  date: 2026-05-04
  hand: left
  other_hand: KT-211
  units: mm
mould:
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 1200, section: naca 2412}
    - {at: 1900, chord: 1000, sweep: 140, rise: 90, twist: -1 deg, section: naca 2412}
    - {at: 3800, chord: 760, sweep: 300, rise: 190, twist: -2 deg, section: naca 2410}
axis: {share: 0.25}
edges:
  leading: {trim: 15}
  tip: {trim: 20, flange: 60}
splices:
  keep_clear: [{share: [0.26, 0.34]}]
layers:
  - ply: P1
    cloth: twill
    angle: 45
  - plies: "[0/±45]s"
    as: B
    cloth: twill
    region: {span: [0, 2400]}
  - run: R
    cloth: ud
    angle: 0
    plies: 4
    region: {share: [0.2, 0.4]}
    ends: {towards: tip, before: 300, step: 150, longest: first}
  - core: C1
    sheet: foam
    region: {inset: {leading: 60, trailing: 80, root: 40, tip: 50}}
    edges: {all: bevel 45, root: square}
    seams: [{at: 1300}, {share: 0.5, cut: scarf 20}]
  - insert: H1
    block: birch
    in: C1
    clearance: 1
    region: {patch: {at: {span: 600, share: 0.3}, size: [180, 120], corner: 10}}
  - ply: Q1
    cloth: twill
    angle: -45
    region: {around: {layer: C1, by: 50}}
  - film: PEEL1
    of: peel
    region: {near: {leading: 40}}
    removed_after: trim
stages:
  - {stage: mould, kind: mould_preparation}
  - {stage: outer, kind: wet_laminate, lays: [P1, B, R]}
  - {stage: bond, kind: core_bond, thickened: paste, lays: [C1, H1]}
  - {stage: inner, kind: wet_laminate, lays: [Q1, PEEL1], cure: 12 h}
  - {stage: trim, kind: trim}
jig:
  - {check: height, at: 1900, tolerance: 1.5}
accept:
  - {finding: core-bevel, layers: [C1], because: proved on the first ship}
"""

HATCH = """\
plybook: 1
include: shared.yaml
part: {number: H-1, name: Hatch, date: 2026-05-04, units: in}
mould:
  outline:
    - [0, 0]
    - {to: [12, 0], edge: hinge}
    - [12, 8]
    - {to: [0, 8], edge: latch}
  corners: 1
  holes:
    - {circle: [6, 4], diameter: 2}
edges: {all: {trim: 1/2 in}}
layers:
  - plies: "[45/0]"
    as: A
    cloth: twill
  - core: C
    sheet: foam
    region: {inset: 1}
"""


def shelf(text: str | bytes, **files: str | bytes) -> Shelf:
    """A disk that holds `part.yaml`, the shared file, and more (`tip_dat` is tip.dat)."""
    held = {"shared.yaml": SHARED, **{k.replace("_", "."): v for k, v in files.items()}}
    held["part.yaml"] = text
    return Shelf({name: v.encode() if isinstance(v, str) else v for name, v in held.items()})


def read(text: str | bytes, **files: str | bytes) -> Loaded:
    """Load a part spec from text."""
    return load(Path("part.yaml"), shelf(text, **files))


def faults(text: str | bytes, **files: str | bytes) -> tuple[Finding, ...]:
    """The findings a spec is refused with; () when it is not refused."""
    try:
        read(text, **files)
    except SpecError as refusal:
        return refusal.findings
    return ()


def edit(text: str, old: str, new: str) -> str:
    """One small edit; the text to change stands exactly once."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new)


def place_of(text: str, mark: str, skip: int = 0) -> tuple[int, int]:
    """Line and column of the (skip + 1)-th occurrence of a mark."""
    at = -1
    for _ in range(skip + 1):
        at = text.index(mark, at + 1)
    line = text.count("\n", 0, at) + 1
    return line, at - (text.rfind("\n", 0, at) + 1) + 1
