"""The HTML booklet as a file: one piece, closed to the outside, safe with any words."""

import base64
import hashlib
import json
import re

import pytest
from lxml import html

from plybook.drawing.book import booklet
from plybook.drawing.document import Ledger
from plybook.write.book_html import book_html
from plybook.write.offline import script_json
from tests.drawing import doubles


def document(**part):
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    return booklet(doubles.spec(**part), face, laminate, doubles.cut_plan(laminate), doubles.shop())


@pytest.fixture(scope="module")
def page():
    return book_html(document()).decode()


def policy(page):
    tree = html.fromstring(page)
    (meta,) = tree.xpath("//meta[@http-equiv='Content-Security-Policy']")
    rows = (row.split(" ", 1) for row in meta.get("content").split("; "))
    return dict(row if len(row) == 2 else (row[0], "") for row in rows)


def sha256(text):
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def test_the_policy_allows_just_the_inlined_script_and_style(page):
    rules = policy(page)
    assert rules["default-src"] == "'none'"
    (script,) = re.findall(r"<script>(.*?)</script>", page, re.S)
    (style,) = re.findall(r"<style>(.*?)</style>", page, re.S)
    assert rules["script-src"] == sha256(script)
    assert rules["style-src"] == sha256(style)
    assert rules["form-action"] == rules["base-uri"] == "'none'"
    assert "unsafe" not in str(rules)


def test_no_function_of_the_script_hides_another_of_the_same_name(page):
    """The parts share one scope, where the browser takes the last of two functions unasked."""
    (script,) = re.findall(r"<script>(.*?)</script>", page, re.S)
    names = re.findall(r"^(?:async )?function (\w+)", script, re.M)
    assert len(names) > 50
    assert sorted(names) == sorted(set(names))


def test_it_names_no_address_outside_itself(page):
    tree = html.fromstring(page)
    for name in ("src", "href", "action", "poster", "srcset", "background"):
        for value in tree.xpath(f"//@{name}"):
            assert value.startswith("#"), value
    assert "@import" not in page
    assert re.findall(r"url\((?!data:)", page) == []
    for address in re.findall(r"https?://[^\s\"'<]+", page):
        assert address.startswith("http://www.w3.org/"), address  # names, not addresses


def test_there_is_no_style_or_script_in_attributes(page):
    tree = html.fromstring(page)
    assert tree.xpath("//@style") == []
    assert [a for a in tree.xpath("//@*/..") for k in a.attrib if k.startswith("on")] == []


def test_every_field_of_the_document_is_there_once(page):
    tree = html.fromstring(page)
    found = [*tree.xpath("//@data-field"), *tree.xpath("//@data-timer")]
    wanted = [
        f.id
        for f in doubles.fields_of(document())
        if not isinstance(f, Ledger) and not f.id.endswith(".time")  # an entry has its own time
    ]
    ledgers = [f.id for f in doubles.fields_of(document()) if isinstance(f, Ledger)]
    assert sorted(found) == sorted(wanted)
    assert sorted(tree.xpath("//@data-ledger")) == sorted(ledgers)
    assert len(set(found)) == len(found)


def test_every_input_has_words(page):
    tree = html.fromstring(page)
    for field in tree.xpath("//input | //textarea"):
        label = next(field.iterancestors("label"))
        assert label.text_content().strip(), field.attrib


def test_ids_are_used_once_and_every_link_leads_to_one(page):
    tree = html.fromstring(page)
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    for link in tree.xpath("//@href"):
        assert link[1:] in ids, link


def test_the_same_document_gives_the_same_bytes():
    assert book_html(document()) == book_html(document())


def test_hostile_words_stay_words_everywhere():
    text = book_html(
        document(name=doubles.NASTY[0], notes=doubles.NASTY, number=doubles.NASTY[1],
                 revision=doubles.NASTY[2], designer=doubles.NASTY[3])
    ).decode()  # fmt: skip
    tree = html.fromstring(text)
    assert len(tree.xpath("//script")) == 2
    assert len(tree.xpath("//style")) == 1
    assert tree.xpath("//b") == []
    shown = " ".join(tree.text_content().split())
    for nasty in doubles.NASTY:
        assert nasty in shown
    (blob,) = tree.xpath("//script[@id='book']")
    assert json.loads(blob.text)["name"] == doubles.NASTY[0]
    assert "<" not in blob.text


@pytest.mark.parametrize("nasty", [*doubles.NASTY, "\u2028\u2029", "\ud800", "\x00"])
def test_json_for_a_script_element_cannot_leave_it(nasty):
    text = script_json({"name": nasty})
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == {"name": nasty}


def test_it_says_what_is_lost_without_scripting(page):
    assert "ticks, timers and entries are not kept" in " ".join(page.split())


def test_it_stays_small(page):
    assert len(page) < 1_500_000


def test_it_is_written_as_the_standard_of_html_has_it(page):
    """No parse error by html5lib, which follows the algorithm of the HTML standard (WHATWG, 13.2)
    and names each departure; every id stands once, and what names an id finds it."""
    import html5lib

    parser = html5lib.HTMLParser(strict=True)  # raises at the first error
    tree = parser.parse(page)
    named = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(named) == len(set(named)) > 50
    wanted = {
        word
        for e in tree.iter()
        for key in ("aria-labelledby", "aria-controls", "for")
        for word in (e.get(key) or "").split()
    }
    assert wanted and wanted <= set(named)
