"""What the answers say of plotters, cutters and printers, read back by other libraries.

DXF by ezdxf and GDAL (pyogrio), PDF by PDFium (pypdfium2).
"""

import json

import ezdxf
import numpy as np
import pyogrio.raw
import pypdfium2
import pytest
import shapely

from plybook.cli import main
from plybook.starters import starter_text

MM_PER_POINT = 25.4 / 72


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The starter panel, for an old cutter and a printer that is off one way."""
    folder = tmp_path_factory.mktemp("out")
    text = starter_text("panel")
    assert text.count("\n  paper: a4") == 1
    more = "\n  dxf: r12\n  printer: {across: 100 %, down: 98 %}\n  paper: a4"
    (folder / "panel.yaml").write_text(text.replace("\n  paper: a4", more), encoding="utf-8")
    words = ["build", str(folder / "panel.yaml"), "--out", str(folder), "--effort", "quick"]
    assert main(words) == 0
    return folder / "PANEL-1"


@pytest.fixture(scope="module")
def plan(built):
    return json.loads((built / "plan.json").read_bytes())


def test_every_dxf_is_r12_and_ezdxf_finds_no_fault(built):
    files = sorted(built.glob("*/*.dxf"))
    assert {f.parent.name for f in files} == {"templates", "cutplan"}
    for file in files:
        drawing = ezdxf.readfile(file)
        assert drawing.dxfversion == "AC1009" and not drawing.audit().errors
        assert not set(e.dxftype() for e in drawing.modelspace()) - {
            "POLYLINE", "CIRCLE", "TEXT", "LINE"
        }  # fmt: skip
        low, high = drawing.header["$EXTMIN"], drawing.header["$EXTMAX"]
        assert 0 < high[0] - low[0] < 60_000 and 0 < high[1] - low[1] < 3_000


def test_gdal_reads_the_outline_of_each_piece_from_r12(built, plan):
    for piece in plan["pieces"]:
        _, _, shapes, fields = pyogrio.raw.read(
            built / "templates" / f"{piece['id']}.dxf", columns=["Layer"]
        )
        (cut,) = [
            shapely.from_wkb(s) for s, on in zip(shapes, fields[0], strict=True) if on == "CUT"
        ]
        assert cut.hausdorff_distance(shapely.LinearRing(piece["outline_mm"])) <= 0.01


def test_there_is_one_drawing_for_each_roll_and_sheet(built, plan):
    for ending in ("dxf", "svg"):
        found = {f.stem for f in (built / "cutplan").glob(f"*.{ending}")}
        assert found == {layout["stock"] for layout in plan["layouts"]}


def test_the_plotter_gets_a_page_for_each_piece_true_to_size(built, plan):
    book = pypdfium2.PdfDocument(built / "templates-fullsize.pdf")
    assert len(book) == len(plan["pieces"])
    for page, piece in zip(book, plan["pieces"], strict=True):
        size = np.array(page.get_size()) * MM_PER_POINT
        assert (size > np.ptp(np.array(piece["outline_mm"]), axis=0)).all()
        assert piece["id"] in page.get_textpage().get_text_range()


def test_what_a_printer_takes_off_one_way_is_made_up_for_that_way_alone(plan):
    assert plan["tiles"]
    for sheet in plan["tiles"]:
        assert sheet["stretch"] == pytest.approx([1.0, 1 / 0.98])


def test_verify_proves_such_a_folder(built, capsys):
    assert main(["verify", str(built)]) == 0
    assert "R12 files with a line of 100 mm" in capsys.readouterr().out
