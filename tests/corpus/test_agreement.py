"""Of drawn parts `check` says what `build` says before it looks for layouts, word for word."""

from dataclasses import replace

import pytest

import plybook.nest
from plybook.diagnostics import StockError, error
from tests.corpus.cases import PART, case
from tests.corpus.run import OF_SEARCH, Said, alone, command

SEED = 61
STOPPED = "not-enough-stock"
MANY = 40


def small_panels():
    """The first panels of a seed: they are quick to lay up."""
    drawn = (case(SEED, index) for index in range(100))
    return [one for one in drawn if one.kind == "panel"]


def agree(of, folder, monkeypatch):
    """The findings of both commands, once they are seen to be the same."""

    def stop(*_args, **_more):
        raise StockError(error(STOPPED, "stopped before the search"))

    assert STOPPED in OF_SEARCH
    for name, content in of.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    monkeypatch.setattr(plybook.nest, "plan_cuts", stop)
    refused, checked = command("check", str(folder / PART))
    _, built = command("build", str(folder / PART), "--out", str(folder / "out"))
    assert alone(built, checked) == () == alone(checked, built), of.name
    assert refused == (STOPPED not in {f.code for f in built}), of.name
    return checked


@pytest.mark.parametrize("of", small_panels()[1:3], ids=lambda of: of.name)
def test_check_says_what_build_says(of, tmp_path, monkeypatch):
    agree(of, tmp_path, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("index", range(MANY))
def test_check_says_what_build_says_of_every_kind(index, tmp_path, monkeypatch):
    agree(case(SEED, index), tmp_path, monkeypatch)


@pytest.mark.parametrize(
    "change",
    [
        {"message": "12 mm"},
        {"help": "write 12"},
        {"severity": "warning"},
        {"layers": ("B",)},
        {"places": (("part.yaml", 4, 1),)},
    ],
    ids=lambda change: next(iter(change)),
)
def test_findings_that_differ_in_a_word_or_a_place_are_not_alike(change):
    told = Said("code", "note", "10 mm", "write 10", ("A",), (("part.yaml", 3, 1),))
    assert alone([told], [told]) == () and alone([told], [replace(told, **change)]) == ("code",)
    assert alone([told, told], [told]) == ("code",)
