"""What may stand in an SVG drawing; anything else is a fault.

A program that shows or cuts the drawing obeys every element and attribute, also those that the
verifier does not read. So each that may occur is in the tables below, with the values it may have.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

import numpy as np

from plybook.verify.covering import Drawn, covered
from plybook.verify.looks import INK, LOOKS, TINTS, WHITE, WORDS_ON_OWN_LAYER, Look, kind_of
from plybook.verify.svg_paths import Drawing, Words, read_svg

REFERENCE = "REFERENCE_100_MM"  # the group of the line that proves the size
_SVG = "{http://www.w3.org/2000/svg}"
_NUMBER = r"-?\d+(?:\.\d{1,3})?"
_TINT = "|".join(sorted(TINTS))
_FONTS = r"'Source Sans Pro', 'Helvetica Neue', Arial, sans-serif"

# element -> attribute -> what it may be, as a regular expression; "" may be left out
ATTRIBUTES: dict[str, dict[str, str]] = {
    "svg": {
        "baseProfile": "full",
        "version": r"1\.1",
        "width": rf"{_NUMBER}mm",
        "height": rf"{_NUMBER}mm",
        "viewBox": rf"0 0 {_NUMBER} {_NUMBER}",
    },
    "title": {},
    "desc": {},
    "defs": {},
    "g": {
        "id": "[A-Z0-9_]+",
        "stroke": "none|#[0-9a-f]{6}",
        "stroke-width": f"|{_NUMBER}",
        "stroke-linecap": "|round",
        "stroke-linejoin": "|round",
        "stroke-dasharray": "|[0-9. ]+",
        "fill": "none",
    },
    "path": {
        "d": rf"M{_NUMBER} {_NUMBER}(?: L{_NUMBER} {_NUMBER})+(?: Z)?",
        "fill": f"|{_TINT}",
        "stroke": "|none",
    },
    "circle": {"cx": _NUMBER, "cy": _NUMBER, "r": _NUMBER, "fill": f"|{_TINT}"},
    "text": {
        "x": _NUMBER,
        "y": _NUMBER,
        "font-family": _FONTS,
        "font-size": _NUMBER,
        "font-weight": "|bold",
        "fill": "#[0-9a-f]{6}",
        "stroke": "none",
        "textLength": _NUMBER,
        "lengthAdjust": "spacingAndGlyphs",
        "transform": rf"|rotate\({_NUMBER} {_NUMBER} {_NUMBER}\)",
    },
}
CHILDREN = {"svg": ("title", "desc", "defs", "g"), "g": ("path", "circle", "text")}
WITH_WORDS = ("title", "desc", "text")
_KNOWN = {kind: {name: re.compile(value) for name, value in known.items()}
          for kind, known in ATTRIBUTES.items()}  # fmt: skip


def strange_in_svg(data: bytes) -> Iterator[str]:
    """What stands in a drawing that may not, or looks otherwise than its kind.

    Raises:
        ValueError: it cannot be read.
    """
    if data.count(b"<?") != 1 or not data.startswith(b"<?xml "):
        yield "an instruction to the program that shows it"
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as wrong:
        raise ValueError(f"not well formed: {wrong}") from None
    yield from _element(root, "")
    groups = [e for e in root if e.tag == f"{_SVG}g"]
    for group in groups:
        yield from _pen(group)
    drawing = read_svg(data)
    yield from _outside(drawing)
    yield from covered(list(_drawn(groups, drawing)))


def _element(element: ElementTree.Element, parent: str) -> Iterator[str]:
    """An element and all in it, against the tables."""
    kind = element.tag.removeprefix(_SVG) if isinstance(element.tag, str) else "instruction"
    if kind not in _KNOWN or (kind not in CHILDREN.get(parent, ()) if parent else kind != "svg"):
        yield f"element <{kind}> in <{parent}>"
        return
    known = _KNOWN[kind]
    for name, value in element.attrib.items():
        if name not in known or not known[name].fullmatch(value):
            yield f"<{kind} {name}={value[:40]!r}>"
    for name, rule in known.items():
        if name not in element.attrib and not rule.fullmatch(""):
            yield f"<{kind}> without {name}"
    words = [element.text, *(child.tail for child in element)]
    if kind not in WITH_WORDS and any((w or "").strip() for w in words):
        yield f"words loose in <{kind}>"
    for child in element:
        yield from _element(child, kind)


def _pen(group: ElementTree.Element) -> Iterator[str]:
    """The line of a group is that of its kind."""
    layer = group.get("id", "")
    look = look_of("REGISTRATION" if layer == REFERENCE else layer)
    if look is None:
        yield f"group {layer!r}"
        return
    wanted = {"stroke": "none", "fill": "none", "id": layer}
    if look.width_mm:
        wanted |= {"stroke": look.ink, "stroke-width": f"{look.width_mm:g}",
                   "stroke-linecap": "round", "stroke-linejoin": "round"}  # fmt: skip
        if look.dash_mm:
            wanted["stroke-dasharray"] = " ".join(f"{d:g}" for d in look.dash_mm)
    if group.attrib != wanted:
        yield f"group {layer} drawn with another line"
    for child in group:
        if child.tag == f"{_SVG}text" and child.get("fill") != look.ink:
            yield f"words of {layer} in another colour"
        if layer == "CUT" and child.get("fill") in (WHITE, INK):
            yield "a piece filled with the colour of nothing"


def look_of(layer: str) -> Look | None:
    """The look of a layer; None where there is no such layer."""
    if layer.endswith("_TEXT") and kind_of(layer) in WORDS_ON_OWN_LAYER:
        return None
    return LOOKS.get(kind_of(layer))


def _outside(drawing: Drawing) -> Iterator[str]:
    """Nothing is drawn outside the sheet, where it would not be seen."""
    places = [path.points for path in drawing.paths if path.stroked]
    places += [np.array([words.at]) for words in drawing.texts]
    if not places:
        return
    points = np.concatenate(places)
    low, high = (-0.5, -drawing.height_mm - 0.5), (drawing.width_mm + 0.5, 0.5)
    if (points < low).any() or (points > high).any():
        yield "a line or a word outside the sheet"


def _drawn(groups: list[ElementTree.Element], drawing: Drawing) -> Iterator[Drawn]:
    """All that is drawn, in its order."""
    paths, texts, circles = iter(drawing.paths), iter(drawing.texts), iter(drawing.circles)
    for group in groups:
        lined = group.get("stroke") != "none"
        for child in group:
            kind = child.tag.removeprefix(_SVG)
            if kind == "path":
                for _ in range(child.get("d", "").count("M")):
                    path = next(paths)
                    yield Drawn(path.layer, path.points, path.fill, lined and path.stroked)
            elif kind == "circle":
                layer, x, y, r = next(circles)
                box = np.array([(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)])
                yield Drawn(layer, box, child.get("fill", ""), lined)
            elif kind == "text":
                yield words_drawn(next(texts))


def words_drawn(words: Words) -> Drawn:
    """The base line of words, and how much white may lie around them."""
    line = np.array([words.along(share) for share in (0.0, 0.5, 1.0)])
    return Drawn(words.layer, line, "", True, words.height, words.length)
