"""Widths and boxes of words, held against the PDF library that prints them."""

import numpy as np
import pytest
from reportlab.pdfbase import pdfmetrics

from plybook.drawing import letters
from plybook.drawing.scene import Role, Text
from plybook.write.fonts import face, register

HEIGHT = 5.0


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("words", ["BEVEL 45° - BAG SIDE NARROWER", "±45 × 12.5 mm", "Łódź ≤ Ω"])
def test_a_width_is_what_the_pdf_library_sets(words, bold):
    register()
    size_pt = letters.type_size_mm(HEIGHT) * 72 / 25.4
    expected = pdfmetrics.stringWidth(words, face(bold), size_pt) * 25.4 / 72
    assert letters.text_width_mm(words, HEIGHT, bold) == pytest.approx(expected, abs=0.01)


def test_capitals_are_as_high_as_asked():
    """The capital H of the installed font, read by fontTools, is CAP of the type size."""
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.ttLib import TTFont

    font = TTFont(letters.font_path())
    glyphs = font.getGlyphSet()
    pen = BoundsPen(glyphs)
    glyphs[font.getBestCmap()[ord("H")]].draw(pen)
    assert pen.bounds[3] / font["head"].unitsPerEm == pytest.approx(letters.CAP, abs=0.001)


def test_the_box_holds_every_letter_it_is_drawn_with():
    """ASCENT and DESCENT cover letters with accents and tails."""
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.ttLib import TTFont

    font = TTFont(letters.font_path(bold=True))
    glyphs, cmap = font.getGlyphSet(), font.getBestCmap()
    for char in "ABCxgjpqyQ0123456789()/,;±°§":
        pen = BoundsPen(glyphs)
        glyphs[cmap[ord(char)]].draw(pen)
        low, high = pen.bounds[1] / 1000, pen.bounds[3] / 1000
        assert low >= -letters.DESCENT - 0.01, char
        assert high <= letters.ASCENT + 0.01, char


def test_the_typeface_knows_the_signs_a_drawing_needs():
    assert letters.missing_glyphs("±°×−≤≥→·½¼⅛²³ÄÖÜßéñłŐşğαβμΩ") == ""
    assert letters.missing_glyphs("a漢b字a") == "漢字"


@pytest.mark.parametrize(
    ("nasty", "shown"),
    [
        ("two\nlines\there", "two lines here"),
        ("nul\x00 bell\x07", "nul bell"),
        ("\u202eright to left\u202c", "right to left"),
        ("lone \ud800 surrogate", "lone  surrogate"),
        ("e\u0301", "é"),
        ("漢", "?"),
        ("zero\u200bwidth", "zero\u200bwidth"),
        ("\ufeffmark", "mark"),
    ],
)
def test_hostile_text_becomes_one_harmless_line(nasty, shown):
    cleaned = letters.clean_text(nasty)
    if "\u200b" in shown:  # the face has an empty glyph for it; either way nothing is harmed
        assert cleaned.replace("\u200b", "").replace("?", "") == shown.replace("\u200b", "")
    else:
        assert cleaned == shown


@pytest.mark.parametrize("anchor", ["start", "middle", "end"])
@pytest.mark.parametrize("turn", [0.0, 37.0, 90.0])
def test_a_text_box_turns_about_its_anchor(anchor, turn):
    word = Text(Role.TEXT, (100.0, 50.0), "ROOT", 5.0, turn, anchor)
    box = letters.text_box_mm(word)
    flat = letters.text_box_mm(Text(Role.TEXT, (0.0, 0.0), "ROOT", 5.0, 0.0, anchor))
    a = np.radians(turn)
    rotation = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    assert np.allclose(box, flat @ rotation.T + (100, 50))
    width = np.hypot(*(box[1] - box[0]))
    assert width == pytest.approx(letters.text_width_mm("ROOT", 5.0))


def test_wrapping_keeps_every_word_and_no_line_too_wide():
    said = "lay it over its neighbour until the crosses meet and averyveryverylongwordwithoutspaces"
    lines = letters.wrapped(said, 30.0, 2.5)
    assert "".join(lines).replace(" ", "") == said.replace(" ", "")
    assert all(letters.text_width_mm(line, 2.5) <= 30.0 for line in lines)


def test_fitting_shortens_with_an_ellipsis():
    short = letters.fitted("Carbon twill 200 g/m²", 20.0, 3.5)
    assert short.endswith("…")
    assert letters.text_width_mm(short, 3.5) <= 20.0
    assert letters.fitted("short", 50.0, 3.5) == "short"


def test_minus_plus_of_a_laminate_code_is_written_out():
    """The face lacks U+2213; a question mark would lose which ply is laid first."""
    assert letters.clean_text("[∓45]s") == "[-+45]s"
    assert letters.missing_glyphs("∓") == ""
    assert letters.text_width_mm("∓", 3.5) == pytest.approx(letters.text_width_mm("-+", 3.5))
