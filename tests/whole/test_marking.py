"""Ids name files and stand on pieces: none is taken for another, and all can be printed."""

import pytest
import yaml

from plybook import build as house
from plybook import checking
from plybook.diagnostics import SpecError
from plybook.marking import refuse_shared_files
from plybook.names import file_name, looks_like, trouble
from plybook.outside import Outside
from tests.conftest import SPECS

SHARED = ["shared/materials.yaml", "shared/stock.yaml", "shared/shop.yaml"]


def spec(tmp_path, *ids, number="ID-1", stock=()):
    """A plate with a ply of each id."""
    for name in SHARED:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes((SPECS / name).read_bytes())
    tree = {
        "plybook": 1, "include": SHARED,
        "part": {"number": number, "name": "Plate", "units": "mm", "date": "2026-05-04"},
        "mould": {"outline": [[0, 0], [200, 0], [200, 100], [0, 100]]},
        "layers": [{"ply": id, "cloth": "carbon-twill-200", "angle": 45} for id in ids],
        "stock": [{"id": id, "roll": "carbon-twill-200", "length": "5 m"} for id in stock],
    }  # fmt: skip
    path = tmp_path / f"{file_name(number)}.yaml"
    path.write_text(yaml.safe_dump(tree, sort_keys=False, allow_unicode=True))
    return path


def both_refuse(paths, tmp_path):
    """The codes of what `build` and `check` refuse alike, before anything is made."""
    outside = Outside()
    with pytest.raises(SpecError) as built:
        house.build(paths, tmp_path / "out", outside, lambda text: None)
    with pytest.raises(SpecError) as looked:
        checking.check(house.read(paths, outside), {}, lambda text: None)
    assert looked.value.findings == built.value.findings
    assert not (tmp_path / "out").exists()
    assert all(f.places for f in built.value.findings)
    return [(f.code, f.places[0].line > 0) for f in built.value.findings]


@pytest.mark.parametrize("ids", [("A_1", "A+1"), ("Rö", "Rä"), ("Ω1", "Λ1")])
def test_two_layers_that_would_share_a_template_file_are_refused(tmp_path, ids):
    assert both_refuse([spec(tmp_path, *ids)], tmp_path) == [("ids-alike", True)]


def test_an_id_that_the_typeface_lacks_is_refused(tmp_path):
    """Source Sans has Latin, Greek and Cyrillic letters and no Han characters."""
    assert both_refuse([spec(tmp_path, "層", "P1")], tmp_path) == [("id-not-shown", True)]


def test_two_rolls_and_two_parts_are_told_apart_too(tmp_path):
    assert both_refuse([spec(tmp_path, "P1", stock=("R_1", "R+1"))], tmp_path) == [
        ("ids-alike", True)
    ]
    paths = [spec(tmp_path, "P1", number="T-1_a"), spec(tmp_path, "P1", number="T-1_A")]
    assert [code for code, _ in both_refuse(paths, tmp_path)] == ["ids-alike"]


@pytest.mark.parametrize("ids", [("A1", "A2"), ("Ö1", "Ö2"), ("Ж-1", "Ф-2"), ("A-1", "A_1")])
def test_ids_that_differ_as_files_pass(tmp_path, ids):
    checking.check(house.read([spec(tmp_path, *ids)], Outside()), {}, lambda text: None)


def test_what_is_made_from_ids_shares_no_file_either():
    refuse_shared_files(["A.1", "A.2", "A.1"])
    with pytest.raises(SpecError, match="A#1.*A_1"):
        refuse_shared_files(["A#1", "B", "A_1"])


@pytest.mark.parametrize(
    ("one", "other"),
    [("A", "А"), ("A", "Α"), ("P0", "PO"), ("l1", "I1"), ("ＡB", "AB"), ("ОА", "OA"), ("É", "E")],
)
def test_ids_that_look_alike_are_one_to_the_eye(one, other):
    """Latin, Cyrillic, Greek and full-width letters; 0 and O, 1 and I."""
    assert looks_like(one) == looks_like(other)


def test_ids_that_differ_to_the_eye_stay_different():
    ids = ["A", "B", "A1", "A11", "B8", "BB", "S5", "C-1", "C.1", "C_1", "L1", "LL", "Ж", "Ω"]
    assert len({looks_like(id) for id in ids}) == len(ids)


DEVICES = ["CON", "nul", "Com1", "LPT9.x", "aux.dxf"]
ELSEWHERE = ["", ".", "..", "a/b", "a\\b", "a:b", "A.", "a "]


@pytest.mark.parametrize("name", [*DEVICES, *ELSEWHERE, "a\0b", "\x1b[m", "x" * 300])
def test_names_that_no_file_has_on_some_system(name):
    assert trouble(name)


@pytest.mark.parametrize("name", ["A", "TN-420", "CONE", "COM10", "com", "Ж1", "A+B", "L_1.2"])
def test_names_that_a_file_has_everywhere(name):
    assert not trouble(name)
