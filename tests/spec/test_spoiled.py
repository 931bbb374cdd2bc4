"""Specs spoiled at random: a spec or findings with a place, never anything else."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from plybook.diagnostics import SpecError
from plybook.outside import Shelf
from plybook.spec import load

SPECS = Path(__file__).parents[2] / "specs"
FILES = {p.relative_to(SPECS).as_posix(): p.read_bytes() for p in SPECS.rglob("*") if p.is_file()}
PARTS = [name for name in FILES if name.endswith(".yaml") and "/" not in name]
TARGETS = [name for name in FILES if name.endswith((".yaml", ".dat"))]
VALUES = [
    "", "~", "[]", "{}", "-1", "0", "1e308", "nan", "'x'", "[1,2]", "{a: 1}", "true", "[[[]]]",
    "9" * 400, "日本", "whole", "1'", "[{}]", "2026-01-02", "12:30", "a: b", "*x", "1/0 in",
    "1e400 mm", "{channel: []}", "{channel: [[0,0]]}", "naca 0000", "'['", "'[0_0]'", "|\n  x",
]  # fmt: skip


def spoil(text: str, dice: random.Random) -> str:
    """One to three edits: lines lost, doubled, moved; values, keys, numbers, marks changed."""
    lines = text.split("\n")
    for _ in range(dice.choice([1, 1, 2, 3])):
        n = dice.randrange(len(lines))
        line = lines[n]
        what = dice.randrange(7)
        if what == 0 and len(lines) > 1:
            del lines[n]
        elif what == 1:
            lines.insert(n, lines[dice.randrange(len(lines))])
        elif what == 2:
            lines[n] = swap(line, r"(?<=: )[^,{}\[\]#]+", VALUES, dice)
        elif what == 3:
            lines[n] = swap(line, r"\w+(?=:)", ["x", "id", "span", "ply", "from", "all"], dice)
        elif what == 4:
            lines[n] = swap(line, r"\d+(\.\d+)?", ["0", "-1", "1e9", "1e-9", "0.5", "360"], dice)
        elif what == 5 and line:
            at = dice.randrange(len(line))
            lines[n] = line[:at] + dice.choice("[]{}:,#'\"-\t &*!|>%@`é±") + line[at:]
        else:
            lines[n] = " " * dice.randrange(6) + line.lstrip()
    return "\n".join(lines)


def swap(line: str, pattern: str, values: list[str], dice: random.Random) -> str:
    found = list(re.finditer(pattern, line))
    if not found:
        return line
    one = dice.choice(found)
    return line[: one.start()] + dice.choice(values) + line[one.end() :]


@pytest.mark.parametrize("seed", range(8))
def test_a_spoiled_spec_is_read_or_refused(seed):
    dice = random.Random(seed)
    refused = 0
    for _ in range(40):
        target = dice.choice(TARGETS)
        part = target if target in PARTS else dice.choice(PARTS)
        files = {**FILES, target: spoil(FILES[target].decode(), dice).encode()}
        try:
            load(Path(part), Shelf(files))
        except SpecError as refusal:
            refused += 1
            assert refusal.findings
            for one in refusal.findings:
                assert one.places and one.places[0].line >= 1 and one.message
    assert 0 < refused < 40
