"""One hand for signs and figures on every printed page: minus, times, degrees, square metres."""

import html
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plybook.drawing.letters import clean_text, missing_glyphs, text_width_mm, wrapped
from plybook.drawing.typesetting import bound, typeset
from tests.write.pages import opened, words

# what no page may hold: ISO 80000-1:2022, 7.1 and 7.2 for signs and units; ISO 80000-3 for degrees
TYPED = {
    "a hyphen for a minus": r"(?:^|(?<=[\s(\[/,;:=]))-\d",
    "a letter x for times": r"(?<=[\dm]) x (?=\d)|\b\d+x\d+\b",
    "degrees spelled": r"\d ?deg(?:[CF]\b|\b)",
    "a power not raised": r"(?<![A-Za-z0-9])(?:[mc]?m)[23]\b",
    "three full stops": r"\.\.\.",
    "plus and minus apart": r"\+/-",
    "a stack in code": r"\[[\u00b1\d][^\]]*[/_][^\]]*\]",
}
CUT = re.compile(r"\w\u2026")  # an ellipsis at a word that is cut short


def printed(folder):
    """The words of every printed page of a folder, by file."""
    for file in sorted(folder.rglob("*")):
        if file.suffix == ".pdf":
            yield file.name, "\n".join(words(page) for page in opened(file.read_bytes()))
        elif file.suffix == ".svg":
            found = re.findall(r"<text[^>]*>([^<]*)<", file.read_text(encoding="utf-8"))
            yield file.name, html.unescape("\n".join(found))
        elif file.name == "booklet.html":
            page = file.read_text(encoding="utf-8")
            page = re.sub(r"<(style|script)\b.*?</\1>", "", page, flags=re.DOTALL)
            yield file.name, html.unescape(re.sub(r"<[^>]+>", "\n", page))


def test_no_page_of_the_hatch_is_set_as_typed(hatch_out):
    seen = 0
    for name, text in printed(hatch_out):
        seen += len(text)
        for what, pattern in TYPED.items():
            found = re.search(pattern, text, re.MULTILINE)
            around = found and text[max(0, found.start() - 30) : found.end() + 20]
            assert found is None, f"{name}: {what}: {around!r}"
        assert CUT.search(text) is None, f"{name}: {CUT.search(text)}"
    assert seen > 20_000


@pytest.mark.parametrize(
    "typed, said",
    [
        ("-45 deg", "\u221245\u00b0"),
        ("(x -3.5, y 2)", "(x \u22123.5, y 2)"),
        ("120 mm x 80 mm", "120 mm \u00d7 80 mm"),
        ("2x2 twill 200 g/m2", "2\u00d72 twill 200 g/m\u00b2"),
        ("20 to 25 degC", "20 to 25 \u00b0C"),
        ("+/-0.5 %", "\u00b10.5 %"),
        ("TN-310, 2026-05-04, F10-2, 1-2", "TN-310, 2026-05-04, F10-2, 1-2"),
        ("degree, m2x, am2", "degree, m2x, am2"),
        ("strip-6x2, 6x2-strip, foam-m2, m2-foam, 45deg-tape", "strip-6x2, 6x2-strip, foam-m2, "
         "m2-foam, 45deg-tape"),
    ],
)
def test_what_is_typed_becomes_what_is_printed(typed, said):
    assert typeset(typed) == said
    assert typeset(said) == said
    assert not missing_glyphs(said)


@given(st.text(alphabet="-+x0123456789 mdegC2/.()A\u00b0", max_size=40))
def test_setting_words_twice_changes_nothing(text):
    assert typeset(typeset(text)) == typeset(text)
    assert bound(bound(text)) == bound(text)
    assert clean_text(clean_text(text)) == clean_text(text)


@pytest.mark.parametrize("wide", range(12, 60, 3))
def test_no_line_ends_between_a_figure_and_its_unit(wide):
    text = clean_text("Lay 12.9 m of tape 28 mm out, 4210 mm x 1200 mm, at 21 degC for 1 h 30 min")
    lines = wrapped(text, float(wide), 2.5)
    assert " ".join(lines) == text
    for line, after in zip(lines, lines[1:], strict=False):
        whole = text_width_mm(f"{line.split()[-1]} {after.split()[0]}", 2.5) <= wide
        broken = re.match(r"(mm|m|\u00b0C|h|min|\u00d7)\b", after) and line[-1].isdigit()
        assert not (broken and whole), (line, after)
