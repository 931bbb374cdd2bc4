"""`plybook new`: each starter is read, accepted by an editor, and builds as it stands."""

import json

import jsonschema
import pytest
import yaml

from plybook.cli import main
from plybook.outside import Outside
from plybook.spec import load
from plybook.spec.schema import FILE, schema
from plybook.starters import KINDS, starter_text
from tests.spec.test_language_page import _Editor


@pytest.fixture
def made(tmp_path, request):
    file = tmp_path / "part.yaml"
    assert main(["new", request.param, str(file)]) == 0
    return file


@pytest.mark.parametrize("made", KINDS, indirect=True)
def test_a_starter_is_read_without_a_word(made):
    assert load(made, Outside()).findings == ()


@pytest.mark.parametrize("kind", KINDS)
def test_an_editor_accepts_a_starter(kind):
    text = starter_text(kind)
    checker = jsonschema.Draft202012Validator(schema())
    assert [e.json_path for e in checker.iter_errors(yaml.load(text, Loader=_Editor))] == []


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_line_points_an_editor_at_the_shipped_schema(kind):
    first = starter_text(kind).splitlines()[0]
    assert first == f"# yaml-language-server: $schema={FILE.resolve().as_uri()}"
    assert json.loads(FILE.read_bytes())["title"] == "plybook spec"


@pytest.mark.parametrize("kind", KINDS)
def test_every_top_key_of_a_starter_has_a_remark_above_or_beside_it(kind):
    lines = starter_text(kind).splitlines()
    for n, line in enumerate(lines):
        if line[:1].isalpha() and not line.startswith("part:"):
            assert "#" in line or "#" in lines[n - 1] or "#" in lines[n - 2], line


@pytest.mark.parametrize(
    "made",
    ["panel", *(pytest.param(k, marks=pytest.mark.slow) for k in KINDS if k != "panel")],
    indirect=True,
)
def test_a_starter_builds_as_it_stands(made, tmp_path):
    out = tmp_path / "out"
    assert main(["build", str(made), "--out", str(out), "--effort", "quick"]) == 0
    (folder,) = out.iterdir()
    assert (folder / "booklet.pdf").stat().st_size > 10_000
    assert main(["verify", str(folder)]) == 0


def test_a_file_that_is_there_is_left_as_it_is(tmp_path, capsys):
    file = tmp_path / "mine.yaml"
    file.write_text("mine")
    assert main(["new", "panel", str(file)]) == 4
    assert file.read_text() == "mine"
    assert "file-exists" in capsys.readouterr().err


def test_the_folder_is_made_where_it_is_missing(tmp_path):
    assert main(["new", "channel", str(tmp_path / "a" / "b.yaml")]) == 0
    assert (tmp_path / "a" / "b.yaml").exists()


def test_an_unknown_kind_is_refused_with_the_kinds(tmp_path, capsys):
    with pytest.raises(SystemExit) as end:
        main(["new", "boat", str(tmp_path / "x.yaml")])
    assert end.value.code == 2
    told = capsys.readouterr().err
    assert all(kind in told for kind in KINDS)
