"""`plybook check`: a picture of the stack on stdout, findings on stderr, nothing written."""

import json
import shutil
from pathlib import Path

import pytest

from plybook.cli import main
from plybook.outside import Outside, Shelf
from plybook.readout import picture, region_words
from plybook.spec import load
from plybook.spec.model import (
    Around,
    Common,
    EdgeBand,
    Inset,
    Less,
    OnFace,
    OnPattern,
    Patch,
    Polygon,
    ShareBand,
    SpanBand,
    Strip,
    Union,
    Whole,
)
from plybook.starters import starter_text

SPECS = Path(__file__).parents[2] / "specs"


def shown(name: str) -> list[str]:
    return picture(load(SPECS / name, Outside()).specs[0]).splitlines()


@pytest.mark.parametrize(
    "written, read",
    [
        ("{all: bevel 45}", "; edges bevel 45"),
        ("{all: square}", "; edges square"),
        ("{all: bevel 45, hinge: square}", "; edges square at hinge, the rest bevel 45"),
        (
            '{hinge: bevel 30, latch: "bevel 30, bag side", all: bevel 45}',
            "; edges bevel 30 at hinge, bevel 30 bag side at latch, the rest bevel 45",
        ),
    ],
)
def test_every_way_an_edge_of_core_is_cut_is_shown(written, read):
    text = starter_text("panel")
    assert text.count("edges: {all: bevel 45}") == 1
    files = {"part.yaml": text.replace("edges: {all: bevel 45}", f"edges: {written}").encode()}
    lines = picture(load(Path("part.yaml"), Shelf(files)).specs[0]).splitlines()
    (core,) = [line for line in lines if "  core  " in line]
    assert core.endswith(read)


def test_the_first_layer_lies_lowest_on_the_mould_face():
    lines = shown("hatch.yaml")
    stack = [line.split()[1] for line in lines if line[:4].strip().isdigit()]
    assert stack == ["B2", "B1", "C", "A2", "A1"]
    assert "mould face" in lines[lines.index(next(x for x in lines if " A1 " in x)) + 1]


def test_fibres_are_drawn_as_they_run():
    rows = {line.split()[1]: line for line in shown("wing-skin.yaml") if line[:4].strip().isdigit()}
    assert "////" in rows["A1"] and "ply +45" in rows["A1"]
    assert "\\\\\\\\" in rows["A2"] and "ply -45" in rows["A2"]
    assert "----" in rows["U1"] and "ply 0" in rows["U1"]


def test_every_layer_of_a_run_says_its_place_in_the_run():
    lines = "\n".join(shown("wing-skin.yaml"))
    assert "1 of 4, 350 mm steps towards tip" in lines
    assert "4 of 4, 350 mm steps towards tip" in lines


def test_the_part_is_shown_in_its_own_unit():
    text = "\n".join(shown("hatch.yaml"))
    assert "12 in x 8 in" in text and " mm" not in text


def test_the_thickness_is_the_sum_of_the_cured_plies():
    # cured ply thickness = weight / (fibre density * fibre share), CMH-17 vol. 3; 200 g/m2 of
    # carbon at 1.79 g/cm3 (the tool's own figure) and 0.43: four plies and 6 mm of core
    four = 4 * 200 / (1.79 * 0.43) / 1000
    total = shown("hatch.yaml")[-1]
    figure = float(total.split("plies ")[1].split(" in")[0]) * 25.4
    assert figure == pytest.approx(four, rel=0.01)


POINT = OnFace(600.0, 0.3)
REGIONS = {
    "whole face": Whole(),
    "span 0 mm to 900 mm, share 0.2 to 0.6": Common((SpanBand(0, 900), ShareBand(0.2, 0.6))),
    "within 80 mm of leading": EdgeBand("leading", 0, 80),
    "20 mm to 80 mm from tip": EdgeBand("tip", 20, 80),
    "50 mm and more from leading": EdgeBand("leading", 50, 100_000.0),
    "inside root, tip by 20 mm; leading by 60 mm": Inset(
        (("root", 20.0), ("tip", 20.0), ("leading", 60.0))
    ),
    "H and 60 mm around it": Around("H", 60),
    "H less 5 mm all round": Around("H", -5),
    "strip 80 mm wide from span 600 mm share 0.3 to [1 mm, 2 mm]": Strip(
        (POINT, OnPattern(1, 2)), 80
    ),
    "rectangle 180 mm x 120 mm at span 600 mm share 0.3, turned 10 deg": Patch(
        POINT, 180, 120, 10, 20
    ),
    "polygon of 3 points from span 600 mm share 0.3": Polygon((POINT, POINT, POINT)),
    "span 0 mm to 300 mm plus within 100 mm of tip": Union(
        (SpanBand(0, 300), EdgeBand("tip", 0, 100))
    ),
    "whole face less share 0.4 to 0.5": Less(Whole(), (ShareBand(0.4, 0.5),)),
    "(whole face less share 0.4 to 0.5), span 0 mm to 9 mm": Common(
        (Less(Whole(), (ShareBand(0.4, 0.5),)), SpanBand(0, 9))
    ),
}


@pytest.mark.parametrize("words", REGIONS)
def test_a_region_in_words(words):
    assert region_words(REGIONS[words], "mm").replace(", leading", "; leading") == words.replace(
        ", leading", "; leading"
    )


def test_a_region_in_inches():
    assert region_words(SpanBand(0, 254), "in") == "span 0 in to 10 in"


# ---------------------------------------------------------------- the command


def test_picture_zones_and_verdict_go_to_stdout_and_findings_to_stderr(capsys):
    assert main(["check", "--all", str(SPECS / "hatch.yaml")]) == 0
    told = capsys.readouterr()
    assert "mould face" in told.out and "zones, largest first" in told.out
    assert told.out.rstrip().endswith("0 warnings")
    assert "note[" in told.err and "mould face" not in told.err


def test_accepted_warnings_are_counted_apart(capsys):
    assert main(["check", str(SPECS / "wing-skin.yaml")]) == 0
    told = capsys.readouterr()
    assert "warning[" not in told.err and "note[" not in told.err
    assert "3 warnings accepted: --all shows them with the reasons" in told.err
    assert told.out.rstrip().endswith("0 warnings and 3 accepted")


def test_quiet_leaves_the_verdict_only(capsys):
    assert main(["check", "--quick", "--quiet", str(SPECS / "hatch.yaml")]) == 0
    assert capsys.readouterr().out.count("\n") == 1


def test_json_is_json_and_nothing_else(capsys):
    assert main(["check", "--quick", "--format", "json", str(SPECS / "spar.yaml")]) == 0
    assert json.loads(capsys.readouterr().out) == []


def test_a_quick_look_says_that_it_was_one_and_lays_nothing_up(capsys, monkeypatch):
    import plybook.build

    monkeypatch.setattr(plybook.build, "shape", None)
    assert main(["check", "--quick", str(SPECS / "wing-skin.yaml")]) == 0
    assert "quick look" in capsys.readouterr().out


def test_the_opposite_hand_is_not_shown_again(capsys):
    assert main(["check", "--quick", str(SPECS / "wing-skin.yaml")]) == 0
    assert capsys.readouterr().out.count("mould face") == 1


def test_names_are_shown_as_typed(tmp_path, capsys):
    text = (SPECS / "hatch.yaml").read_text().replace("Inspection hatch", '"[red]é[/0] {x} %s"')
    spec = tmp_path / "part.yaml"
    spec.write_text(text, encoding="utf-8")
    shutil.copytree(SPECS / "shared", tmp_path / "shared")
    assert main(["check", "--quick", str(spec)]) == 0
    assert "[red]é[/0] {x} %s" in capsys.readouterr().out


def test_a_wrong_spec_ends_with_1_and_prints_no_picture(tmp_path, capsys):
    spec = tmp_path / "part.yaml"
    spec.write_text("plybook: 1\npart: {number: X, name: X, date: 2026-05-04, units: mm}\n")
    assert main(["check", str(spec)]) == 1
    told = capsys.readouterr()
    assert told.out == "" and "error[" in told.err


def test_an_accepted_code_that_no_finding_has_is_told(tmp_path, capsys):
    from plybook.starters import starter_text

    file = tmp_path / "skin.yaml"
    text = starter_text("skin")
    file.write_text(text.replace("finding: drop-on-bond-land", "finding: drop-on-bondland"))
    assert main(["check", "--quick", str(file)]) == 0
    told = capsys.readouterr().err
    assert "unknown-finding" in told and "did you mean `drop-on-bond-land`?" in told
