"""A look at a laminate tells what laying it up tells, to the last figure."""

import math
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plybook.diagnostics import PlybookError
from plybook.laminate.layup import lay_up
from plybook.laminate.look import look_over
from plybook.outside import Outside, Shelf
from plybook.spec import load
from plybook.surface import build_face
from tests.fuzz.run import small_case

HOUSE = Path(__file__).parents[2]
SHIPPED = sorted((HOUSE / "specs").glob("*.yaml"))
STARTERS = sorted((HOUSE / "plybook" / "starters").glob("*.yaml"))


def the_same(spec):
    """The look, once it is held against the lay-up."""
    face = build_face(spec)
    seen, laid = look_over(spec, face), lay_up(spec, face)
    assert seen.findings == laid.findings
    assert [zone.code for zone in seen.zones] == [zone.code for zone in laid.zones]
    return seen


@pytest.mark.slow
@pytest.mark.parametrize("path", [*SHIPPED, *STARTERS], ids=lambda path: path.stem)
def test_a_look_at_a_shipped_or_starter_spec_finds_what_a_lay_up_finds(path):
    the_same(load(path, Outside()).specs[0])


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_part_is_looked_over_without_laying_it_up(path):
    spec = load(path, Outside()).specs[0]
    assert not look_over(spec, build_face(spec)).laid_up


def spoiled(words: str, by: str):
    text = (HOUSE / "specs" / "wing-skin.yaml").read_text(encoding="utf-8")
    assert words in text
    files = {
        path.relative_to(HOUSE / "specs").as_posix(): path.read_bytes()
        for path in (HOUSE / "specs").rglob("*")
        if path.suffix in (".yaml", ".dat", ".dxf")
    }
    files["wing-skin.yaml"] = text.replace(words, by).encode()
    return load(Path("wing-skin.yaml"), Shelf(files)).specs[0]


@pytest.mark.slow
def test_a_core_thick_for_the_bend_is_laid_up():
    """A core of 10 mm round a nose of 17 mm radius: only developing it tells what becomes of it."""
    seen = the_same(spoiled("{inset: {leading: 100,", "{inset: {leading: 4,"))
    assert seen.laid_up


@pytest.mark.slow
def test_square_edges_under_cloth_are_laid_up():
    assert the_same(spoiled("edges: {all: bevel 45}", "edges: {all: square}")).laid_up


@pytest.mark.parametrize("beside", [-0.5, 0.5])
def test_a_cloth_as_wide_as_its_layer_is_laid_up(beside):
    """Within what the core below may add, a look cannot tell whether a splice is needed."""
    spec = load(HOUSE / "specs" / "hatch.yaml", Outside()).specs[0]
    face = build_face(spec)
    (layer,) = [x for x in spec.layers if x.id == "B1"]
    (piece,) = [p for p in lay_up(spec, face).pieces if p.layer == layer.id]
    turn = math.radians(piece.angle_deg)
    width = float(np.ptp(piece.outline_mm @ [-math.sin(turn), math.cos(turn)]))
    cloth = spec.materials.cloths[layer.material]
    narrow = replace(cloth, usable_width_mm=width + beside)
    cloths = {**spec.materials.cloths, layer.material: narrow}
    spec = replace(spec, materials=replace(spec.materials, cloths=cloths))
    assert the_same(spec).laid_up


@pytest.mark.slow
@pytest.mark.parametrize("first", range(910_000, 910_080, 20))
def test_a_look_at_a_made_up_spec_finds_what_a_lay_up_finds(first):
    looked = 0
    for seed in range(first, first + 20):
        part, files = small_case(random.Random(seed))
        try:
            spec = load(Path(part), Shelf(files)).specs[0]
            face = build_face(spec)
        except PlybookError:
            continue
        laid, seen = lay_up(spec, face), look_over(spec, face)
        assert seen.findings == laid.findings, seed
        looked += not seen.laid_up
    assert looked
