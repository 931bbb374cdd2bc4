"""Slips that are easily made: the message teaches what to write instead."""

from pathlib import Path

import pytest

from plybook.cli import main
from plybook.diagnostics import SpecError
from plybook.outside import Shelf
from plybook.spec import load
from plybook.starters import starter_text

CODE = '- plies: "[45/0]"  '
MIX = "{resin: 100, hardener: 27}"
HOLES = "  # holes: [{circle: [300, 200], diameter: 80}] "
BOW = "    - [600, 400]\n    - {to: [0, 400], edge: latch}"
ROWS = [
    (CODE, "- plies: [45/0]  ", "found a list", 'in quotes: "[45/0]"'),
    (CODE, "- plies: \u201c[45/0]\u201d  ", "typographic", 'straight ones: "[45/0]"'),
    (CODE, '- plies: "[0/450]"  ', "450 is outside", "did you mean 45/0?"),
    ("{inset: 30} ", "{share: [25, 35]} ", "from 25 to 35", "write [0.25, 0.35]"),
    ("{inset: 30} ", "{inset: 12 mn} ", "`12 mn`", "did you mean `12 mm`?"),
    (MIX, "100:27", "expected a mapping", f"`mix: {MIX}`"),
    ("density: 80 kg/m3", "density: 80 kg/m3\n      price: $38", "`$38`", "write `38`"),
    ("{join: overlap 30,", "{join: overlap: 30,", "two colons", "`join: overlap 30`"),
    ("{join: overlap 30,", "{join: {overlap: 30},", "a mapping", "`join: overlap 25`"),
    (HOLES, "  holes: [[300, 200, 80]] ", "3 figures", "{circle: [300, 200], diameter: 80}"),
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


def test_verifying_a_folder_that_is_not_there_says_so(tmp_path, capsys):
    assert main(["verify", str(tmp_path / "away")]) == 1
    told = capsys.readouterr()
    assert "does not exist" in told.err and "NOT SOUND" not in told.out
