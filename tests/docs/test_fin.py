"""A part written from the pages alone: a swept fin of 1.6 m in inches, two runs, core, a seam."""

import json

import pytest

from plybook.cli import main
from plybook.starters import starter_text

FIN = """\
plybook: 1
include: [shop.yaml]

part: {number: FIN-1, name: Fin skin, date: 2026-06-01, hand: left, units: in}

mould:
  form: female
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 36, section: naca 0009}
    - {at: 63, chord: 20, sweep: 26, section: naca 0009}

axis: {share: 0.25}

edges:
  leading: {trim: 3/4, flange: 3}
  all: {trim: 1, flange: 3}

layers:
  - {plies: "[±45]", as: A, cloth: twill-200}
  - run: R
    cloth: twill-200
    angle: 0
    plies: 3
    ends: {towards: tip, at: 16, step: 1 1/2, longest: first}
  - run: S
    cloth: twill-200
    angle: 45
    plies: 2
    region: {share: [0.2, 0.45]}
    ends: {towards: tip, before: 12, step: 2, longest: first}
  - core: C
    sheet: foam-6
    region: {inset: {leading: 3, trailing: 2 1/2, root: 18, tip: 1 1/2}}
    edges: {all: bevel 45}
    seams: [{at: 40}]
  - {plies: "[∓45]", as: B, cloth: twill-200}
"""


@pytest.fixture
def fin(tmp_path):
    text = starter_text("skin")
    rest = "\n" + text[text.index("\nmaterials:") :]
    (tmp_path / "shop.yaml").write_text("plybook: 1\nunits: mm\n" + rest, encoding="utf-8")
    file = tmp_path / "fin.yaml"
    file.write_text(FIN, encoding="utf-8")
    return file


def test_what_was_read_is_shown_in_inches(fin, capsys):
    assert main(["check", "--quick", str(fin)]) == 0
    told = capsys.readouterr().out
    assert "span 0 in to 63 in" in told and "3/4 in at leading" in told
    assert "1 1/2 in steps towards tip" in told and " mm" not in told


@pytest.mark.slow
def test_it_is_built_and_proved(fin, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["build", str(fin), "--out", str(out), "--effort", "quick"]) == 0
    assert "drop-runs-off" not in capsys.readouterr().err
    assert main(["verify", str(out / "FIN-1")]) == 0
    plan = json.loads((out / "FIN-1" / "plan.json").read_bytes())
    ids = {p["layer"] for p in plan["pieces"]}
    assert {"R1", "R2", "R3", "S1", "S2"} <= ids
    assert sum(p["kind"] == "core" for p in plan["pieces"]) == 2
