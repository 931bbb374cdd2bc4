"""A build consists of just the files it promises, and another library reads what is in them."""

import json

import numpy as np
import pypdfium2
import pytest
import shapely

from plybook import __version__

PART = "TN-420"


@pytest.fixture(scope="module")
def folder(hatch_out):
    return hatch_out / PART


@pytest.fixture(scope="module")
def plan(folder):
    return json.loads((folder / "plan.json").read_bytes())


def test_every_promised_file_is_there(folder, plan):
    names = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    expected = {
        "booklet.html", "booklet.pdf", "templates.pdf", "templates-fullsize.pdf", "labels.pdf",
        "templates-roll.pdf", "cutplan.pdf", "table.html", "plan.json", "manifest.json",
        "poster.pdf", "poster-1.svg",
    }  # fmt: skip
    expected |= {f"templates/{p['id']}.{e}" for p in plan["pieces"] for e in ("dxf", "svg")}
    expected |= {f"cutplan/{x['stock']}.{e}" for x in plan["layouts"] for e in ("dxf", "svg")}
    tables = (
        "pieces", "stock", "placements", "quantities", "bag_cuts", "resin", "checks", "stiffness",
        "setout",
    )  # fmt: skip
    expected |= {f"tables/{name}.csv" for name in tables}
    assert names == expected


def test_the_plan_holds_what_other_programs_rely_on(plan):
    assert set(plan["part"]) >= {"number", "name", "revision", "hand"}
    for piece in plan["pieces"]:
        assert set(piece) >= {
            "id", "layer", "kind", "material", "angle_deg", "outline_mm", "holes_mm", "area_mm2",
            "quantity", "stage", "edges",
        }  # fmt: skip
        assert piece["kind"] in ("ply", "core", "insert", "rod", "film")
        ring = shapely.Polygon(piece["outline_mm"], piece["holes_mm"])
        assert ring.is_valid and ring.exterior.is_ccw
        assert ring.area == pytest.approx(piece["area_mm2"], rel=1e-6)
        assert piece["outline_mm"][0] != piece["outline_mm"][-1]
        for edge in piece["edges"]:
            assert edge["treatment"] in ("square", "bevel", "scarf", "trim")
    for layout in plan["layouts"]:
        assert layout["kind"] in ("roll", "sheet", "bar")
        assert set(layout) >= {
            "stock", "material", "width_mm", "length_mm", "bad_zones_mm", "placements",
        }  # fmt: skip
        for p in layout["placements"]:
            assert set(p) >= {"piece", "copy", "x_mm", "y_mm", "rotation_deg", "flipped"}
    for stage in plan["stages"]:
        for step in stage["steps"]:
            assert set(step) >= {"id", "title", "pieces", "checks"}
    assert set(plan) >= {"quantities", "findings", "surface"}


def test_the_hatch_has_the_size_its_drawing_says(plan):
    """12 x 8 in net with 3/8 in trim all round: 12.75 x 8.75 in, 25.4 mm to the inch."""
    first = next(p for p in plan["pieces"] if p["id"] == "A1")
    size = np.ptp(np.array(first["outline_mm"]), axis=0)
    assert size == pytest.approx([12.75 * 25.4, 8.75 * 25.4], abs=1e-3)


def test_the_core_of_the_hatch_is_bevelled_all_round(plan):
    """Mould side 10 x 6 in; 6 mm at 45 degrees leaves 2 x 6 mm less on the bag side.

    The inset is as wide as the hatch's corner radius, so the corner's chords (0.02 mm) count."""
    core = next(p for p in plan["pieces"] if p["kind"] == "core")
    mould = np.ptp(np.array(core["outline_mm"]), axis=0)
    bag = np.ptp(np.array(core["bag_side_outline_mm"]), axis=0)
    assert mould == pytest.approx([254.0, 152.4], abs=0.02)
    assert mould - bag == pytest.approx([12.0, 12.0], abs=1e-2)


def test_the_manifest_names_version_spec_and_hashes(folder):
    manifest = json.loads((folder / "manifest.json").read_bytes())
    assert manifest["plybook"] == __version__
    assert manifest["folder"] == PART
    assert any(f["file"].endswith("hatch.yaml") for p in manifest["parts"] for f in p["spec"])
    assert all(len(f["sha256"]) == 64 for f in manifest["files"])


@pytest.mark.parametrize("name", ["booklet.pdf", "templates.pdf", "cutplan.pdf", "labels.pdf"])
def test_paper_is_a4_or_letter(folder, name):
    """ISO 216: A4 595.276 x 841.890 pt; ASME Y14.1: size A 612 x 792 pt."""
    for page in pypdfium2.PdfDocument(folder / name):
        size = sorted(page.get_size())
        assert size == pytest.approx([595.276, 841.890], abs=0.01) or size == pytest.approx(
            [612, 792], abs=0.01
        )
