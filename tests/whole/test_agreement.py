"""`check` says what `build` says, in the same words, whatever stage it comes from."""

import json
from pathlib import Path

import pytest

from plybook.cli import main
from plybook.starters import starter_text

OF_SEARCH = {"layouts-searched", "search-stopped", "packer-failed"}


def panel(*changes: tuple[str, str]) -> str:
    text = starter_text("panel")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


STAGES = """\
stages:
  - {stage: skin, kind: wet_laminate, lays: [A], resin: epoxy%s}
  - {stage: bond, kind: core_bond, lays: [C], resin: epoxy}
  - {stage: cover, kind: wet_laminate, lays: [B], resin: epoxy}

materials:
"""


def stages(more: str) -> tuple[str, str]:
    return "\nmaterials:\n", "\n" + STAGES % more


AT_HAND = "{id: TW-1, roll: twill-200, length: 20 m}"
BOUGHT = "length: 50 m, quantity: as needed}"
REFUSED = {
    "unknown-step": (
        1,
        [stages(", change: [{step: check_rom, title: Warm it, text: [Warm it]}]")],
    ),
    "drop-laying-step": (1, [stages(", drop: [lay_ply.A1]")]),
    "piece-too-wide": (
        3,
        [
            (AT_HAND, "{id: TW-1, roll: twill-200, length: 20 m, width: 300}"),
            (BOUGHT, "length: 50 m, width: 300, quantity: as needed}"),
        ],
    ),
    "piece-too-long": (
        3,
        [
            (AT_HAND, "{id: TW-1, roll: twill-200, length: 300}"),
            (BOUGHT, "length: 310, quantity: as needed}"),
        ],
    ),
}
WARNED = {
    "wet-too-long": [("wetting: 2  ", "wetting: 0.02  ")],
    "pot-life-too-short": [("pot_life: {time: 90 min", "pot_life: {time: 2 min")],
    "missing-glyphs": [("name: Flat panel", "name: Flat panel 翼")],
}


def told(command: str, path: Path, capsys, *more: str) -> tuple[int, list[dict]]:
    code = main([command, str(path), "--format", "json", *more])
    rows = json.loads(capsys.readouterr().out)
    return code, [row for row in rows if row["code"] not in OF_SEARCH]


def both(text: str, tmp_path: Path, capsys) -> tuple[int, list[dict]]:
    """Exit code and findings, once check and build are seen to agree."""
    path = tmp_path / "part.yaml"
    path.write_text(text, encoding="utf-8")
    checked = told("check", path, capsys)
    built = told("build", path, capsys, "--effort", "quick", "--out", str(tmp_path / "out"))
    assert checked == built
    return built


@pytest.mark.parametrize("code", REFUSED)
def test_what_build_refuses_check_refuses_too(code, tmp_path, capsys):
    exit_code, changes = REFUSED[code]
    ended, rows = both(panel(*changes), tmp_path, capsys)
    assert ended == exit_code
    assert code in [row["code"] for row in rows if row["severity"] == "error"]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("code", WARNED)
def test_check_warns_of_what_the_bench_will_meet(code, tmp_path, capsys):
    path = tmp_path / "part.yaml"
    path.write_text(panel(*WARNED[code]), encoding="utf-8")
    ended, rows = told("check", path, capsys)
    assert ended == 0
    assert code in [row["code"] for row in rows if row["severity"] == "warning"]


@pytest.mark.slow
@pytest.mark.parametrize("code", WARNED)
def test_what_build_warns_of_check_warns_of_too(code, tmp_path, capsys):
    ended, rows = both(panel(*WARNED[code]), tmp_path, capsys)
    assert ended == 0
    assert code in [row["code"] for row in rows if row["severity"] == "warning"]


@pytest.mark.slow
def test_an_untouched_starter_is_told_of_alike(tmp_path, capsys):
    ended, rows = both(panel(), tmp_path, capsys)
    assert ended == 0 and not [row for row in rows if row["severity"] != "note"]


def test_two_specs_of_one_number_are_refused_by_both(tmp_path, capsys):
    paths = [tmp_path / "one.yaml", tmp_path / "two.yaml"]
    for path in paths:
        path.write_text(panel(), encoding="utf-8")
    codes = []
    for command in ("check", "build"):
        assert main([command, *map(str, paths), "--format", "json"]) == 1
        codes.append([row["code"] for row in json.loads(capsys.readouterr().out)])
    assert codes == [["same-part-number"]] * 2
