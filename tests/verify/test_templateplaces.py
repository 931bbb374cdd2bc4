"""Words and lines of the tiled templates in their places, whatever the printer."""

import numpy as np
import pytest

from plybook.cli import main
from plybook.verify import verify_folder
from plybook.verify.pdf_pages import Line, Page, Words
from plybook.verify.sheetlines import Drawn
from plybook.verify.templateplaces import (
    BLOCK_MM,
    FRAME_CORNER_MM,
    FRAME_MM,
    _astray,
    _card_top,
    _in_key,
    framed,
)

A4_MM = (210.0, 297.0)


def test_tiles_that_make_up_for_a_printer_verify(specs, tmp_path):
    """A printer that is 0.8 % short across and 0.7 % long down: letters keep their size, and what
    is white behind them is no larger."""
    text = (specs / "hatch.yaml").read_text(encoding="utf-8")
    shop = (specs / "shared" / "shop.yaml").read_text(encoding="utf-8")
    (specs / "shared" / "off.yaml").write_text(
        shop.replace("workshop:", "workshop:\n  printer: {across: 99.2 %, down: 100.7 %}"),
        encoding="utf-8",
    )
    text = text.replace("shared/shop.yaml", "shared/off.yaml")
    spec = specs / "hatch-off.yaml"
    spec.write_text(f"{text}\ntemplates: {{way: tiles}}\n", encoding="utf-8")
    words = ["build", str(spec), "--out", str(tmp_path / "out"), "--effort", "quick", "--quiet"]
    assert main(words) == 0
    (report,) = verify_folder(tmp_path / "out").folders
    assert report.sound, report.faults


@pytest.mark.parametrize(
    ("above_mm", "off_mm", "told"),
    [(-20.0, 0.0, []), (17.0, 0.0, []), (17.0, 3.0, ["45"]), (-20.0, 3.0, ["45"])],
)
def test_words_that_begin_above_their_window_are_those_of_the_drawing(above_mm, off_mm, told):
    """Slanting words run down into a window; those of the piece are no words of the head."""
    corner = np.array([(A4_MM[0] - FRAME_MM[0]) / 2, FRAME_CORNER_MM])
    at = np.array([40.0, FRAME_MM[1] + above_mm])
    slanting = Words("FIBRE", "45", tuple(corner + at), 7.0, -45.0)
    head = Words("TEXT", "page 3", tuple(corner + (80.0, FRAME_MM[1] + 6.2)), 3.5)
    tile = {
        "piece": "A", "way": "tiles", "window_mm": [500.0, 0.0, 690.0, 250.0],
        "corner_mm": corner.tolist(),
    }  # fmt: skip
    drawn = Drawn({}, {("FIBRE", "45"): [at + (500.0 + off_mm, 0.0)]})
    page = Page(*A4_MM, [], [slanting, head])
    sheet = framed(page, (1.0, 1.0), [tile])
    assert _astray(sheet, [tile], {"A": drawn}) == told
    assert [w.text for w in sheet.words] == ["page 3"]


@pytest.mark.parametrize(("card_mm", "held"), [(120.0, True), (90.0, False)])
def test_a_piece_on_its_face_is_looked_for_in_its_card_however_tall(card_mm, held):
    """The picture reaches 105 mm above the title block: within a card that is higher, outside one
    that is lower."""
    corner = np.array([(A4_MM[0] - FRAME_MM[0]) / 2, FRAME_CORNER_MM])

    def box(mark, x0, y0, x1, y1):
        ring = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        return Line(mark, ring + corner, True, 0.25)

    card = box("FRAME", 5.0, BLOCK_MM, 185.0, BLOCK_MM + card_mm)
    face = box("GHOST", 118.0, BLOCK_MM + 80.0, 182.0, BLOCK_MM + 105.0)
    sheet = framed(Page(*A4_MM, [card, face]), (1.0, 1.0), [])
    top = _card_top(sheet)
    assert top == pytest.approx(BLOCK_MM + card_mm)
    assert _in_key(sheet.lines[1], top) == held
