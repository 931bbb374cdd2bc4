"""`plybook explain`: every code the source can give has a page, and the examples do as they say."""

import json

import pytest

from plybook.cli import main
from plybook.diagnostics import PlybookError
from plybook.explain import as_text, page, pages
from plybook.laminate.rules import trade_rules
from tests.docs.codes import codes
from tests.spec.test_language_page import load_example

SPEC_LEVEL = {"file", "values", "mould", "layers", "cutting"}
WITH_EXAMPLE = [c for c, p in pages().items() if p.before and p.topic in SPEC_LEVEL and not p.same]


def test_the_codes_are_found_in_the_source():
    found = codes()
    assert len(found) > 200
    assert {"unknown-key", "tab", "decimal-comma", "naca-code", "drop-step-short"} <= set(found)


def test_every_code_of_the_source_has_a_page():
    bare = {code: where for code, where in codes().items() if page(code) is None}
    assert bare == {}


def test_every_page_belongs_to_a_code_of_the_source():
    used = codes()
    left = [c for c in pages() if c not in used and c != "unknown-name"]
    assert left == []


def test_every_page_says_what_why_and_the_edit():
    for code, one in pages().items():
        assert len(one.means) > 20 and len(one.why) > 20, code
        assert one.edit and one.edit[0].isupper(), code
        assert bool(one.before) == bool(one.after), code


def test_pages_fit_a_terminal():
    for one in pages().values():
        for line in as_text(one).splitlines():
            assert len(line) <= 100, (one.code, line)
            assert one.draw.isascii()


@pytest.mark.parametrize("code", WITH_EXAMPLE)
def test_the_example_before_gives_the_finding_and_the_one_after_does_not(code):
    one = page(code)
    found = told(one.before)
    assert code in found or (
        code == "unknown-name" and any(c.startswith("unknown-") for c in found)
    )
    assert told(one.after) == set()


def told(text: str) -> set[str]:
    try:
        return {f.code for f in load_example(text.lstrip("\n") + "\n").findings}
    except PlybookError as refusal:
        return {f.code for f in refusal.findings}


def test_a_trade_rule_is_explained_in_its_own_words_with_its_source(capsys):
    rule = trade_rules()["drop-step-short"]
    assert main(["explain", "drop-step-short"]) == 0
    text = capsys.readouterr().out
    assert rule.says in text.replace("\n", " ") and rule.source in text.replace("\n", " ")


def test_without_a_code_all_are_listed(capsys):
    assert main(["explain"]) == 0
    out = capsys.readouterr().out
    assert all(f"  {code} " in out for code in pages())


def test_a_code_that_is_nearly_right_is_proposed(capsys):
    assert main(["explain", "unkown-key"]) == 2
    told = capsys.readouterr()
    assert "unknown-key" in told.err and told.out == ""


def test_a_code_may_be_copied_with_its_brackets_and_given_as_json(capsys):
    assert main(["explain", "[tab]", "empty", "--format", "json"]) == 0
    assert [one["code"] for one in json.loads(capsys.readouterr().out)] == ["tab", "empty"]
