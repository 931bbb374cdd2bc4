"""Slips that are easily made: the message teaches what to write instead."""

from pathlib import Path

import pytest

from plybook.cli import main
from plybook.diagnostics import SpecError
from plybook.laminate import lay_up
from plybook.outside import Shelf
from plybook.spec import load
from plybook.starters import starter_text
from plybook.surface import build_face

CODE = '- plies: "[45/0]"  '
MIX = "{resin: 100, hardener: 27}"
HOLES = "  # holes: [{circle: [300, 200], diameter: 80}] "
BOW = "    - [600, 400]\n    - {to: [0, 400], edge: latch}"
ROWS = [
    (CODE, "- plies: [45/0]  ", "found a list", 'in quotes: "[45/0]"'),
    (CODE, "- plies: \u201c[45/0]\u201d  ", "typographic", 'straight ones: "[45/0]"'),
    (CODE, "- {plies: \u201c[45/0]\u201d, as: A, cloth: twill-200} #", "typographic",
     'straight ones: "[45/0]"'),
    ("{inset: 30} ", "\u2018whole\u2019 ", "typographic", "without: `whole`"),
    (CODE, '- plies: "[0/450]"  ', "450 is outside", "did you mean 45/0?"),
    ("{inset: 30} ", "{share: [25, 35]} ", "from 25 to 35", "write [0.25, 0.35]"),
    ("{inset: 30} ", "{inset: 12 mn} ", "`12 mn`", "did you mean `12 mm` or `12 m`?"),
    (MIX, "100:27", "expected a mapping", f"`mix: {MIX}`"),
    ("density: 80 kg/m3", "density: 80 kg/m3\n      price: $38", "`$38`", "write `38`"),
    ("{join: overlap 30,", "{join: overlap: 30,", "two colons", "`join: overlap 30`"),
    ("{join: overlap 30,", "{join: {overlap: 30},", "a mapping", "`join: overlap 30`"),
    (HOLES, "  holes: [[300, 200, 80]] ", "3 figures", "{circle: [300, 200], diameter: 80}"),
    (HOLES, "  holes: [[300, 200]] ", "2 figures", "or a list of points [x, y]"),
    (HOLES, "  holes: [[300]] ", "list of one figure", "or a list of points [x, y]"),
    (BOW, "    - {to: [0, 400], edge: latch}\n    - [600, 400]", "side 2 (600, 0 to 0, 400) meets "
     "side 4", "in the order they are walked"),
]  # fmt: skip


@pytest.mark.parametrize(("right", "slip", "said", "edit"), ROWS, ids=[row[1] for row in ROWS])
def test_a_slip_is_told_with_what_to_write(right, slip, said, edit):
    text = starter_text("panel")
    assert text.count(right) == 1
    with pytest.raises(SpecError) as refused:
        load(Path("part.yaml"), Shelf({"part.yaml": text.replace(right, slip).encode()}))
    (one,) = refused.value.findings
    assert said in one.message and edit in one.help and one.places


OUTLINE = BOW.replace("[600, 400]", "[0.6, 0.4]").replace("[0, 400]", "[0, 0.4]")
BLOCK = "{insert: H, block: ply-9, in: C, region: {patch: {at: [300, 200], size: [80, 60]}}%s}"
PLY_9 = """  cores:
    ply-9: {name: Plywood, use: insert, thickness: 9, density: 680 kg/m3, sheet: [1200, 600],
            resin_uptake: 120 g/m2}
"""
AFTER_CORE = '  - plies: "[0/45]"  '
WARNED = {
    "implausible-size": ("0.6 mm by 0.4 mm", "`0.8 m`",
                         [(BOW, OUTLINE), ("{to: [600, 0]", "{to: [0.6, 0]"),
                          ("corners: 25", "#")]),
    "implausible-trim": ("150 mm on a face 400 mm", "10 to 30 mm", [("{trim: 15}", "{trim: 150}")]),
    "insert-not-flush": ("stands above it by 3 mm", "`thickness: 6`",
                         [(AFTER_CORE, f"  - {BLOCK % ''}\n{AFTER_CORE}"), ("  cores:\n", PLY_9)]),
    "insert-thickness": ("is 6 mm thick and `ply-9` is 9 mm", "planed",
                         [(AFTER_CORE, f"  - {BLOCK % ', thickness: 6'}\n{AFTER_CORE}"),
                          ("  cores:\n", PLY_9)]),
}  # fmt: skip


@pytest.mark.parametrize("code", WARNED)
def test_what_is_read_and_can_hardly_be_meant_is_warned_of_once(code):
    said, edit, changes = WARNED[code]
    text = starter_text("panel")
    if "ply-9" in str(changes):
        text = text.replace("\nstock:\n", "\nstock:\n  - {id: P9, sheet: ply-9}\n")
    for right, slip in changes:
        assert text.count(right) == 1, right
        text = text.replace(right, slip)
    found = load(Path("part.yaml"), Shelf({"part.yaml": text.encode()})).findings
    (one,) = [f for f in found if f.code.startswith(("implausible-", "insert-"))]
    assert one.code == code and said in one.message and edit in one.help and one.places


def test_a_woven_roll_as_narrow_as_tape_is_doubted_where_it_covers_a_face():
    """127 for 1270: every ply would be pieced together of strips."""
    text = starter_text("panel").replace("roll: 1270 ", "roll: 127 ").replace("usable: 1250 ", "# ")
    text = text.replace("narrowest: 120}", "narrowest: 40}")
    spec = load(Path("part.yaml"), Shelf({"part.yaml": text.encode()})).specs[0]
    found = [f for f in lay_up(spec, build_face(spec)).findings if f.code == "implausible-roll"]
    assert {name for f in found for name in f.layers} == {"A1", "A2", "B1", "B2"}
    assert "127 mm wide" in found[0].message and "`50 in`" in found[0].help


@pytest.mark.parametrize(
    ("folder", "said"), [("away", "does not exist"), ("empty", "holds no build")]
)
def test_verifying_a_folder_that_holds_no_build_says_so(folder, said, tmp_path, capsys):
    (tmp_path / "empty").mkdir()
    assert main(["verify", str(tmp_path / folder)]) == 2
    told = capsys.readouterr()
    assert said in told.err and "NOT SOUND" not in told.out
