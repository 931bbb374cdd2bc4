"""Every drawn outline, read back by libraries that had no part in writing it.

DXF by GDAL (pyogrio), SVG as paths by svgelements and as pixels by resvg, PDF by PDFium
(pypdfium2).
"""

import ctypes
import io
import json
import re

import numpy as np
import pyogrio.raw
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
import resvg_py
import shapely
from PIL import Image
from svgelements import SVG, Group
from svgelements import Path as SvgPath

AGREE_MM = 0.01
MM_PER_POINT = 25.4 / 72
CUT_WIDTH_MM = 0.7


@pytest.fixture(scope="module")
def folder(hatch_out):
    return hatch_out / "TN-420"


@pytest.fixture(scope="module")
def plan(folder):
    return json.loads((folder / "plan.json").read_bytes())


def outline(piece):
    return shapely.LinearRing(piece["outline_mm"])


def placed_ring(ring, placed):
    """An outline where a layout puts it; `flipped` lies face down."""
    if placed["flipped"]:
        ring = shapely.affinity.scale(ring, 1.0, -1.0, origin=(0, 0))
    ring = shapely.affinity.rotate(ring, placed["rotation_deg"], origin=(0, 0))
    return shapely.affinity.translate(ring, placed["x_mm"], placed["y_mm"])


def test_gdal_reads_every_template_as_planned(folder, plan):
    for piece in plan["pieces"]:
        _, _, shapes, fields = pyogrio.raw.read(
            folder / "templates" / f"{piece['id']}.dxf", columns=["Layer"]
        )
        cuts = [
            shapely.from_wkb(s)
            for s, layer in zip(shapes, fields[0], strict=True)
            if layer == "CUT"
        ]
        assert len(cuts) == 1 and cuts[0].is_closed
        assert cuts[0].hausdorff_distance(outline(piece)) <= AGREE_MM


def test_gdal_reads_every_layout_as_planned(folder, plan):
    pieces = {p["id"]: p for p in plan["pieces"]}
    for layout in plan["layouts"]:
        _, _, shapes, fields = pyogrio.raw.read(
            folder / "cutplan" / f"{layout['stock']}.dxf", columns=["Layer"]
        )
        cuts = [
            shapely.from_wkb(s)
            for s, layer in zip(shapes, fields[0], strict=True)
            if layer == "CUT"
        ]
        assert len(cuts) == len(layout["placements"])
        for placed in layout["placements"]:
            ring = placed_ring(outline(pieces[placed["piece"]]), placed)
            assert min(ring.hausdorff_distance(cut) for cut in cuts) <= AGREE_MM


def svg_rings(file, layer):
    """Rings of a layer of an SVG file in the drawing's own frame, mm, y up.

    Size, viewBox, units and transforms are applied by the library: at 25.4 pixels to the inch a
    pixel is a millimetre. Where the drawing's zero lies is told in the file's description.
    """
    sign, x, y = re.search(
        r"stands at \(x ([+-]) ([\d.]+), (-?[\d.]+) - y\)", file.read_text()
    ).groups()
    for group in SVG.parse(file, ppi=25.4).select(lambda e: isinstance(e, Group) and e.id == layer):
        for path in group.select(lambda e: isinstance(e, SvgPath)):
            for part in path.as_subpaths():
                ends = [(s.end.x, s.end.y) for s in SvgPath(part).segments()]
                yield shapely.LinearRing(
                    (np.array(ends) - (float(f"{sign}{x}"), float(y))) * (1.0, -1.0)
                )


def test_svgelements_reads_every_template_as_planned(folder, plan):
    for piece in plan["pieces"]:
        file = folder / "templates" / f"{piece['id']}.svg"
        (cut,) = svg_rings(file, "CUT")
        assert cut.hausdorff_distance(outline(piece)) <= AGREE_MM
        holes = [shapely.LinearRing(hole) for hole in piece["holes_mm"]]
        drawn = list(svg_rings(file, "CUT_INNER"))
        assert len(drawn) == len(holes)
        for hole in holes:
            assert min(hole.hausdorff_distance(ring) for ring in drawn) <= AGREE_MM


def test_svgelements_reads_every_layout_as_planned(folder, plan):
    pieces = {p["id"]: p for p in plan["pieces"]}
    for layout in plan["layouts"]:
        cuts = list(svg_rings(folder / "cutplan" / f"{layout['stock']}.svg", "CUT"))
        assert len(cuts) == len(layout["placements"])
        for placed in layout["placements"]:
            ring = placed_ring(outline(pieces[placed["piece"]]), placed)
            assert min(ring.hausdorff_distance(cut) for cut in cuts) <= AGREE_MM


def test_resvg_draws_every_template_at_its_size(folder, plan):
    """96 pixels to the inch (CSS): the dark outline spans as many pixels as the piece has mm."""
    for piece in plan["pieces"]:
        text = (folder / "templates" / f"{piece['id']}.svg").read_text()
        groups = text.split("<g ")
        head = groups[0]
        cut = next(g for g in groups if 'id="CUT"' in g)
        alone = head + "<g " + cut.split("</g>")[0] + "</g></svg>"
        picture = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=alone, dpi=96))))
        rows, columns = np.nonzero(np.array(picture)[..., 3] > 0)
        size = np.array([np.ptp(columns) + 1, np.ptp(rows) + 1]) * 25.4 / 96
        expected = np.ptp(np.array(piece["outline_mm"]), axis=0) + CUT_WIDTH_MM
        assert size == pytest.approx(expected, abs=2 * 25.4 / 96)


def pdf_lines(page):
    """Stroked paths of a page as polylines in mm, y up."""
    for item in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
        matrix = np.array(item.get_matrix().get()).reshape(3, 2)
        points = []
        for k in range(pdfium.FPDFPath_CountSegments(item.raw)):
            segment = pdfium.FPDFPath_GetPathSegment(item.raw, k)
            x, y = ctypes.c_float(), ctypes.c_float()
            pdfium.FPDFPathSegment_GetPoint(segment, x, y)
            points.append((x.value, y.value, 1.0))
        width = ctypes.c_float()
        pdfium.FPDFPageObj_GetStrokeWidth(item.raw, width)
        yield width.value * MM_PER_POINT, np.array(points) @ matrix * MM_PER_POINT


def test_pdfium_finds_every_tiled_outline_in_its_place(hatch_tiled):
    """Each corner of each outline lies on a wide line of a tile that shows it."""
    folder = hatch_tiled / "TN-420"
    plan = json.loads((folder / "plan.json").read_bytes())
    book = pypdfium2.PdfDocument(folder / "templates.pdf")
    for piece in plan["pieces"]:
        corners = np.array(piece["outline_mm"])
        missing = np.ones(len(corners), bool)
        for sheet in (t for t in plan["tiles"] if t["piece"] == piece["id"]):
            low, high = np.array(sheet["window_mm"][:2]), np.array(sheet["window_mm"][2:])
            wide = [
                shapely.LineString((p - sheet["corner_mm"]) / sheet["stretch"] + low)
                for width, p in pdf_lines(book[sheet["page"] - 1])
                if abs(width - CUT_WIDTH_MM) < 0.01 and len(p) > 1
            ]
            shown = shapely.MultiLineString(wide)
            inside = np.all((corners >= low) & (corners <= high), axis=1)
            off = shapely.distance(shapely.points(corners), shown)
            assert (off[inside] <= AGREE_MM).all()
            missing &= ~inside
        assert not missing.any()


def test_pdfium_measures_full_size_pages_at_one_to_one(folder, plan):
    book = pypdfium2.PdfDocument(folder / "templates-fullsize.pdf")
    assert len(book) == len(plan["pieces"])
    for page, piece in zip(book, plan["pieces"], strict=True):
        rings = [
            p for width, p in pdf_lines(page) if abs(width - CUT_WIDTH_MM) < 0.01 and len(p) > 3
        ]
        sizes = [np.ptp(p, axis=0) for p in rings]
        expected = np.ptp(np.array(piece["outline_mm"]), axis=0)
        assert any(np.abs(size - expected).max() <= AGREE_MM for size in sizes)
