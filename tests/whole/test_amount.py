"""What is far too large is refused by the spec alone, before a face is made; the bound is low."""

import math
from io import BytesIO
from pathlib import Path

import pytest
import yaml
from pypdf import PdfReader
from shapely import Polygon

import plybook.build as house
import plybook.surface
from plybook import checking
from plybook.amount import (
    least_area_mm2,
    least_tiled_mm2,
    refuse_plainly_too_much,
    refuse_too_much,
)
from plybook.diagnostics import GeometryError, SpecError
from plybook.laminate import lay_up
from plybook.nest import CutJob
from plybook.outside import Outside
from plybook.spec import load
from plybook.surface import build_face
from plybook.write.paper import most_sheets
from plybook.write.templates import templates_pdf
from plybook.write.ways import printed_sheets
from tests.conftest import SPECS

SHARED = ["shared/materials.yaml", "shared/stock.yaml", "shared/shop.yaml"]


def wing(layers, spans=((0, 600), (2000, 400)), cover=(0.0, 1.0)):
    return {
        "plybook": 1,
        "include": SHARED,
        "part": {"number": "W-1", "name": "Skin", "units": "mm", "date": "2026-05-04",
                 "hand": "left"},
        "mould": {"form": "female", "side": "upper", "loft": "ruled", "cover": list(cover),
                  "stations": [{"at": at, "chord": chord, "section": "naca 2412"}
                               for at, chord in spans]},
        "axis": {"share": 0.25},
        "layers": layers,
    }  # fmt: skip


def read(folder: Path, tree: dict):
    for name in SHARED:
        (folder / "shared").mkdir(exist_ok=True)
        (folder / name).write_bytes((SPECS / name).read_bytes())
    path = folder / "part.yaml"
    path.write_text(yaml.safe_dump(tree, sort_keys=False))
    return path, load(path, Outside()).specs[0]


def ply(name, **region):
    return {"ply": name, "cloth": "carbon-twill-200", "angle": 0,
            **({"region": region} if region else {})}  # fmt: skip


@pytest.mark.parametrize(
    ("region", "plan_m2"),
    [
        # trapezia between the stations, by hand: chord 600 at the root, 400 at 2000 mm
        ({}, 2.0 * 0.5),
        ({"span": [0, 1000]}, 1.0 * 0.55),
        ({"share": [0.25, 0.75]}, 2.0 * 0.5 * 0.5),
        ({"span": [500, 1500], "share": [0, 0.5]}, 1.0 * 0.5 * 0.5),
        ({"near": {"tip": 300}}, 0.0),  # not told without the face
    ],
)
def test_the_bound_is_the_plan_area_and_a_fifth_less(tmp_path, region, plan_m2):
    _, spec = read(tmp_path, wing([ply("P1", **region)]))
    assert least_area_mm2(spec) == pytest.approx(0.8e6 * plan_m2, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["wing-skin", "spar", "hatch"])
def test_the_bound_stays_below_what_is_cut(name):
    for spec in load(SPECS / f"{name}.yaml", Outside()).specs:
        cut = lay_up(spec, build_face(spec)).pieces
        area = sum(Polygon(piece.outline_mm, piece.holes_mm).area for piece in cut)
        assert 0 < least_area_mm2(spec) < area


def test_what_is_plainly_too_large_is_refused_before_a_face_is_made(tmp_path, monkeypatch):
    """Twelve layers of 15 m by 0.9 m, all printed in tiles: 162 m2, at least 2 728 sheets of
    190 x 250 mm by a fifth less; the flag of the limit lets it through."""
    spans = [(0, 1000), (15_000, 800)]
    tree = wing([ply(f"P{n}") for n in range(12)], spans)
    path, spec = read(tmp_path, {**tree, "templates": {"way": "tiles"}})
    monkeypatch.setattr(plybook.surface, "build_face", None)  # calling it would be an error
    outside = Outside({"template-sheets": 2000})
    with pytest.raises(SpecError, match="template-sheets|2728 sheets") as refused:
        house.build([path], tmp_path / "out", outside, lambda text: None)
    assert "--limit template-sheets=N" in refused.value.findings[0].help
    assert not (tmp_path / "out").exists()
    with pytest.raises(SpecError) as looked:
        checking.check(house.read([path], outside), outside.limits, lambda text: None)
    assert looked.value.findings == refused.value.findings
    refuse_plainly_too_much([spec], {"template-sheets": 2728})
    with pytest.raises(SpecError):
        refuse_plainly_too_much([spec, spec], {"template-sheets": 5455})


def test_layers_that_are_cut_by_figures_are_no_paper_of_their_size(tmp_path):
    spans = [(0, 1000), (15_000, 800)]
    tree = wing([ply(f"P{n}") for n in range(12)], spans)
    for ways, tiled in (({}, 0), ({"each": {"P3": "tiles"}}, 1), ({"way": "figures"}, 0)):
        _, spec = read(tmp_path, {**tree, "templates": ways})
        assert least_tiled_mm2(spec) == pytest.approx(tiled * least_area_mm2(spec) / 12)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["hatch", "spar"])
def test_the_sheets_that_are_refused_are_those_that_would_be_printed(name):
    """Against the pages of templates.pdf, less the printer's test and the list of pieces."""
    spec = load(SPECS / f"{name}.yaml", Outside()).specs[0]
    face = build_face(spec)
    laminate = lay_up(spec, face)
    pages = len(PdfReader(BytesIO(templates_pdf(spec, laminate, face).pdf)).pages) - 2
    counted = sum(printed_sheets(piece, spec) for piece in laminate.pieces)
    most = sum(most_sheets(piece) for piece in laminate.pieces)
    assert counted == pytest.approx(pages, rel=0.25, abs=3) and counted < most
    refuse_too_much([CutJob(spec, laminate.pieces)], {"template-sheets": math.ceil(counted)})
    with pytest.raises(SpecError, match="sheets of templates to print; at most 1 "):
        refuse_too_much([CutJob(spec, laminate.pieces)], {"template-sheets": 1})


def test_more_layers_than_pieces_are_made_is_refused_before_a_face_is_made(tmp_path):
    _, spec = read(tmp_path, wing([ply(f"P{n}") for n in range(4)]))
    refuse_plainly_too_much([spec, spec], {"pieces": 8})
    with pytest.raises(SpecError, match="at least 8 pieces; at most 7") as refused:
        refuse_plainly_too_much([spec, spec], {"pieces": 7})
    assert "--limit pieces=N" in refused.value.findings[0].help


def test_more_stacks_than_the_limit_are_refused_by_its_name(tmp_path):
    """Two patches that overlap: A, A with B, and B are three stacks, the bare face is none."""
    layers = [ply("A", patch={"at": [100, 100], "size": [120, 80]}),
              ply("B", patch={"at": [160, 120], "size": [120, 80]})]  # fmt: skip
    tree = {**wing(layers), "mould": {"outline": [[0, 0], [400, 0], [400, 300], [0, 300]]}}
    del tree["axis"]
    path, spec = read(tmp_path, tree)
    face = build_face(spec)
    assert len(lay_up(spec, face).zones) == 3
    lay_up(load(path, Outside({"zones": 3})).specs[0], face)
    with pytest.raises(GeometryError, match="3 different stacks") as refused:
        lay_up(load(path, Outside({"zones": 2})).specs[0], face)
    assert "--limit zones=N" in refused.value.findings[0].help
