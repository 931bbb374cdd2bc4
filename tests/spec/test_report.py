"""Findings as text: with source line and carets, one line each, JSON; safe on a terminal."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest

from plybook import report
from plybook.diagnostics import Place, error, note, warning

LINE = "    - {at: 0, chrod: 1100}"
ONE = error(
    "unknown-key", "unknown key `chrod`", "did you mean `chord`?", Place("a.yaml", 2, 15, 20)
)


def lines_of(name: str) -> list[str] | None:
    return {"a.yaml": ["stations:", LINE, "x: 日本 ± 45"]}.get(name)


def test_a_finding_shows_its_place_line_carets_and_help():
    assert report.as_text([ONE], lines_of=lines_of).splitlines() == [
        "error[unknown-key]: unknown key `chrod`",
        " --> a.yaml:2:15",
        "2 |     - {at: 0, chrod: 1100}",
        "  |               ^^^^^",
        "  help: did you mean `chord`?",
        "",
        "1 error",
    ]


def test_without_the_file_the_place_is_still_told():
    assert " --> a.yaml:2:15" in report.as_text([ONE]).splitlines()


def test_both_places_of_a_duplicate_are_shown():
    two = error("duplicate-key", "twice", "", Place("a.yaml", 2, 15, 20), Place("a.yaml", 1, 1, 9))
    text = report.as_text([two], lines_of=lines_of)
    assert "a.yaml:2:15" in text and "a.yaml:1:1" in text and "--------" in text


def test_carets_stand_below_wide_characters():
    wide = error("x", "m", "", Place("a.yaml", 3, 7, 8))  # the plus-minus sign
    rows = report.as_text([wide], lines_of=lines_of).splitlines()
    before = rows[2].split("±")[0]
    assert report.cells(before) == rows[3].index("^")


def test_at_most_twenty_are_shown_and_the_rest_counted():
    many = [error("e", f"number {n}") for n in range(25)] + [warning("w", "w"), note("n", "n")]
    text = report.as_text(many)
    assert "number 19" in text and "number 20" not in text
    assert "... and 5 errors, 1 warning more: --all shows them" in text
    assert text.endswith("25 errors, 1 warning\n1 note: --all shows them")
    whole = report.as_text(many, everything=True)
    assert "number 24" in whole and whole.endswith("25 errors, 1 warning, 1 note")


def test_what_asks_for_nothing_is_counted_and_shown_when_wanted():
    quiet = [note("n", "a note"), replace(warning("w", "steep"), acknowledged="tested")]
    assert report.as_text(quiet).splitlines() == [
        "1 warning accepted: --all shows them with the reasons", "1 note: --all shows them",
    ]  # fmt: skip
    assert "a note" in report.as_text(quiet, everything=True)


def test_errors_come_before_warnings():
    assert report.as_lines([warning("w", "one"), error("e", "two")]).startswith("error[e]")


NASTY = ["\x1b[2J\x1b]0;x\x07", "a\rb", "a\nb", "\u202eabc", "\x00", "\u200b", "[/0]", "[red]x"]


@pytest.mark.parametrize("text", NASTY)
def test_text_of_the_user_does_nothing_to_the_terminal(text):
    bad = error("x", f"name {text}", text, Place(f"{text}.yaml", 1, 1, 2))
    for shown in (
        report.as_text([bad], colour=False, lines_of=lambda _: [text]),
        report.as_lines([bad]),
    ):
        assert not [m for m in shown if m != "\n" and (ord(m) < 32 or ord(m) in (0x202E, 0x200B))]
    assert "name" in report.as_lines([bad]) and report.as_lines([bad]).count("\n") == 0
    if text.startswith("["):
        assert text in report.as_lines([bad])


def test_colour_stands_only_where_it_is_wanted():
    assert "\x1b[" in report.as_text([ONE], colour=True)
    assert "\x1b" not in report.as_text([ONE])

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    assert report.wants_colour(Terminal())
    assert not report.wants_colour(Terminal(), no_color="1")
    assert not report.wants_colour(Terminal(), term="dumb")
    assert not report.wants_colour(io.StringIO())


def test_an_ascii_console_gets_ascii():
    text = report.as_lines([error("x", "[0/±45] 90° é 日 – “q”")], unicode=False)
    assert text == 'error[x]: [0/+-45] 90 deg e <U+65E5> - "q"'


def test_long_lines_are_cut_round_the_place():
    long = "x" * 500 + "MARK" + "y" * 500
    shown = report.as_text(
        [error("x", "m", "", Place("f", 1, 501, 505))], lines_of=lambda _: [long]
    )
    row = shown.splitlines()[2]
    assert len(row) < 130 and "MARK" in row
    assert shown.splitlines()[3].index("^") == row.index("MARK")


def test_an_accepted_warning_shows_its_reason():
    accepted = replace(warning("w", "steep", source="a rule"), acknowledged="tested")
    shown = report.as_text([accepted], everything=True)
    assert "accepted: tested" in shown and "source: a rule" in shown


def test_json_holds_everything():
    (one,) = json.loads(report.as_json([ONE]))
    assert one["places"] == [{"file": "a.yaml", "line": 2, "column": 15, "end_column": 20}]
    assert (one["code"], one["severity"]) == ("unknown-key", "error")


def test_nothing_to_say_is_nothing():
    assert report.as_text([]) == report.as_lines([]) == ""
