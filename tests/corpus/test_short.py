"""A short run of the corpus; `python -m tests.corpus.run` makes as many parts as wanted."""

from pathlib import Path

import pytest

from plybook.outside import Shelf
from plybook.spec import load
from tests.corpus import run as corpus
from tests.corpus.cases import KINDS, PART, Case, case
from tests.corpus.dice import Dice
from tests.corpus.run import Table, run
from tests.corpus.sections import five_digits

FOUND = Path(__file__).parent / "found"
SHORT = [(20_260, n) for n in range(3)]


def test_a_seed_gives_the_same_part():
    for index in range(30):
        assert case(5, index) == case(5, index)
    assert case(5, 0).files != case(5, 1).files != case(6, 1).files


def test_every_part_is_read():
    """What is drawn is of the language: nothing of it is refused before its geometry is known."""
    kinds = set()
    for index in range(120):
        drawn = case(11, index)
        load(Path(PART), Shelf(dict(drawn.files)))
        kinds.add(drawn.kind)
    assert kinds == set(KINDS)


def test_inches_are_written_as_on_a_tape():
    dice = Dice("inches")
    dice.inches = True
    written = {dice.written(mm) for mm in (12.7, 314.325, 25.4) for _ in range(40)}
    assert written == {0.5, "1/2", 12.375, "12 3/8", 1}


def test_five_digit_sections_have_the_ordinates_of_their_report():
    """NACA report 537, table of the 23012: ordinates in per cent of the chord."""
    upper, lower = five_digits("230", 0.12, 4001, closed=False)
    for x, top, bottom in ((10, 6.43, -2.92), (30, 7.55, -4.46), (60, 5.47, -3.67)):
        assert _ordinate(upper, x) == pytest.approx(top, abs=0.02)
        assert _ordinate(lower, x) == pytest.approx(bottom, abs=0.02)


def _ordinate(points, x):
    return 100 * min(points, key=lambda p: abs(100 * p[0] - x))[1]


@pytest.mark.slow
def test_ordinary_parts_are_built_and_sound():
    told = run(SHORT, workers=2)
    assert Table(told).well == len(SHORT), str(Table(told))


@pytest.mark.slow
@pytest.mark.parametrize("folder", sorted(FOUND.iterdir()), ids=lambda folder: folder.name)
def test_ordinary_parts_that_once_failed_are_sound(folder, tmp_path):
    files = {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file()
    }
    told = corpus.attempt(Case(folder.name, "found", files), tmp_path)
    assert told.ending == corpus.SOUND, told.message


def test_a_part_that_fails_is_told(monkeypatch, tmp_path):
    """The corpus itself: a traceback and a process that dies are failures with their words."""

    def broken(*_, **__):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr("plybook.commands.check._check", broken)
    told = run([(1, 0)], keep=tmp_path)
    assert (told[0].ending, told[0].code) == ("failed", "OwnFault")
    assert "made up" in told[0].message
    assert (tmp_path / "1-0" / PART).exists() and Table(told).well == 0

    monkeypatch.setattr(corpus, "attempt", lambda *_: corpus.os._exit(9))
    assert run([(1, 0)])[0].code == "died"


@pytest.mark.parametrize("works", [True, False], ids=["at work", "asleep"])
def test_a_part_that_takes_too_long_has_failed(monkeypatch, works):
    def endless(*_):
        while True:
            corpus.time.sleep(0 if works else 60)

    monkeypatch.setattr(corpus, "attempt", endless)
    monkeypatch.setattr(corpus, "ASLEEP", 1000 if works else 2)
    assert run([(1, 0)], longest_s=0.5)[0].code == "timeout"
