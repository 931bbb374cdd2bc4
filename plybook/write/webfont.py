"""The one typeface inside a page of HTML, cut down to what the page can show."""

from __future__ import annotations

import base64

from plybook.drawing.letters import FAMILY, font_path


def _characters(html: str) -> str:
    """The characters a page uses, plus all that can be typed into it from a plain keyboard."""
    plain = "".join(map(chr, range(0x20, 0x7F))) + "°±×−–…✓▸▾²³µ"
    return "".join(sorted(set(html) | set(plain)))


def font_faces(html: str) -> str:
    """The book's typeface, cut down to the characters of a page, inside its style sheet."""
    characters, faces = _characters(html), []
    for bold in (False, True):
        data = base64.b64encode(_font_subset(characters, bold)).decode()
        faces.append(
            f'@font-face{{font-family:"{FAMILY}";font-weight:{700 if bold else 400};'
            f'src:url(data:font/woff;base64,{data}) format("woff")}}'
        )
    return "\n".join(faces) + "\n"


def _font_subset(characters: str, bold: bool) -> bytes:
    import io

    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont

    font = TTFont(font_path(bold), recalcTimestamp=False, lazy=True)
    options = Options(
        layout_features=["kern", "tnum"], hinting=False, name_IDs=[1, 2], notdef_outline=True
    )
    subsetter = Subsetter(options)
    subsetter.populate(text=characters)
    subsetter.subset(font)
    font.flavor = "woff"
    buffer = io.BytesIO()
    font.save(buffer)
    return buffer.getvalue()
