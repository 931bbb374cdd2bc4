"""The DXF and the SVG of one drawing show the same.

Either is held against the other line by line and word by word, so that a line, a datum, a hatch or
a word that only one of them has is found, whatever its kind.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

import numpy as np

from plybook.verify.allowed_dxf import furniture, outside_extent
from plybook.verify.allowed_svg import REFERENCE
from plybook.verify.drawings import R12, REFERENCE_MM, file_name
from plybook.verify.dxf_tags import Drawing, TextItem, read_dxf, sections
from plybook.verify.lettermetrics import CAP, width
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.svg_paths import Drawing as Picture
from plybook.verify.svg_paths import Words, read_svg
from plybook.verify.tolerances import POINT_MM

WORDS_MM = 0.02  # where words stand; both files keep 3 decimals or more
TURN_DEG = 0.01
WIDTH_SHARE = 2e-3  # of the length of a line of words; a length keeps 3 decimals
_PLACE = re.compile(
    r"1 unit = 1 mm; the drawing's point \(x, y\) stands at "
    r"\(x ([-+]) ([\d.]+), (-?[\d.]+) - y\)"
)
_TITLE = re.compile(rb"<title>([^<]*)</title>")
_DESC = re.compile(rb"<desc>([^<]*)</desc>")
_ENTITIES = {"&lt;": "<", "&gt;": ">", "&quot;": '"', "&amp;": "&"}


def check_twins(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every drawing for a cutter, in both its files."""
    part = plan["part"]
    facts = {}
    for piece in plan["pieces"]:
        told = {"part": part["number"], "revision": part["revision"], "piece": piece["id"],
                "quantity": str(piece["quantity"]), "material": piece["material"]}  # fmt: skip
        title = f"{part['number']} {part['revision']} {piece['id']}"
        facts[f"templates/{file_name(piece['id'])}"] = title, told
    check_drawn(facts | layout_facts(plan["layouts"]), files, report)


def layout_facts(layouts: list[dict]) -> dict[str, tuple[str, dict[str, str]]]:
    """Title and facts of the drawing of each layout."""
    return {
        f"cutplan/{file_name(row['stock'])}": (
            row["stock"],
            {"stock": row["stock"], "material": row["material"], "kind": row["kind"]},
        )
        for row in layouts
    }


def check_drawn(
    facts: dict[str, tuple[str, dict[str, str]]], files: dict[str, bytes], report: Report
) -> None:
    """The drawings of a folder.

    Args:
        facts: of each drawing by its name without an ending: title and what its file tells.
        files: of the folder.
        report: takes what is found.
    """
    alike: dict[str, tuple] = {}
    for stem, (title, told) in facts.items():
        if f"{stem}.svg" not in files or f"{stem}.dxf" not in files:
            continue  # told where they are read
        svg, dxf = files[f"{stem}.svg"], files[f"{stem}.dxf"]
        try:
            for part, said in furniture(dxf).items():
                report.expect(alike.setdefault(part, said) == said,
                              "DXF files alike in all but their drawing", f"{stem}.dxf",
                              f"has other {part} than the first drawing")  # fmt: skip
            report.expect(not outside_extent(dxf), "DXF files that tell how far they reach",
                          f"{stem}.dxf", "tells an extent that its cut leaves")  # fmt: skip
            legacy = read_dxf(dxf).header.get("$ACADVER") == R12  # which has no room for them
            own = _custom(dxf)
            report.expect(own == ({} if legacy else told),
                          "DXF files that tell their piece and revision", f"{stem}.dxf",
                          f"tells {own}, not {told}")  # fmt: skip
            _same_drawing(svg, dxf, stem, title, legacy, report)
        except (ValueError, KeyError, IndexError) as wrong:
            report.fault(f"{stem}.svg", f"cannot be held against its DXF: {wrong}")


def _custom(data: bytes) -> dict[str, str]:
    """The facts a DXF file carries with it."""
    found, name, tag = {}, "", ""
    for code, value in sections(data).get("HEADER", []):
        if code == 9:
            name = value
        elif name == "$CUSTOMPROPERTYTAG":
            tag = value
        elif name == "$CUSTOMPROPERTY":
            found[tag] = value
    return found


def _same_drawing(
    svg: bytes, dxf: bytes, stem: str, title: str, legacy: bool, report: Report
) -> None:
    picture, drawing = read_svg(svg), read_dxf(dxf)
    name = f"{stem}.svg"
    said = _plain(_TITLE, svg)
    report.expect(same(said, title, cut=False), "SVG files titled with their piece and revision",
                  name, f"is titled {said!r}, not {title!r}")  # fmt: skip
    match = _PLACE.fullmatch(_plain(_DESC, svg))
    if match is None:
        report.fault(name, "does not tell where its drawing stands")
        return
    shift = np.array([float(match[1] + match[2]), -float(match[3])])
    wrong = [*_lines_differ(picture, drawing, shift), *_circles_differ(picture, drawing, shift)]
    report.expect(not wrong, "drawings with the same lines in DXF and SVG", name,
                  f"has other lines than its DXF on {', '.join(wrong[:3])}")  # fmt: skip
    sizes = [p.points for p in picture.paths if p.layer == REFERENCE]
    drawn = [p.points for p in drawing.polylines if p.layer == "REGISTRATION"][-len(sizes) :]
    report.expect(_is_reference(sizes) and _is_reference(drawn),
                  "drawings with a line of 100 mm in DXF and SVG", name,
                  "has another line of 100 mm, or none")  # fmt: skip
    told = list(_words_differ(picture, drawing, shift, legacy))
    report.expect(not told, "drawings with the same words in DXF and SVG", name,
                  f"has other words than its DXF: {'; '.join(told[:3])}")  # fmt: skip


def _is_reference(lines: list[np.ndarray]) -> bool:
    """A level line of 100 mm with a tick at either end, and no more."""
    if [len(line) for line in lines] != [2, 2, 2]:
        return False
    start, end = lines[0]
    level = np.abs(end - start - (REFERENCE_MM, 0.0)).max() < 1e-3
    ticks = [np.abs(tick.mean(axis=0) - at).max() < 1e-3 and np.ptp(tick[:, 0]) < 1e-3
             for tick, at in zip(lines[1:], (start, end), strict=True)]  # fmt: skip
    return bool(level and all(ticks))


def _plain(pattern: re.Pattern[bytes], data: bytes) -> str:
    found = pattern.search(data)
    text = found[1].decode("utf-8") if found else ""
    for written, char in _ENTITIES.items():
        text = text.replace(written, char)
    return text


def _lines_differ(picture: Picture, drawing: Drawing, shift: np.ndarray) -> list[str]:
    """Layers whose lines are not the same, in their order."""
    ours: dict[str, list[tuple[np.ndarray, bool]]] = {}
    theirs: dict[str, list[tuple[np.ndarray, bool]]] = {}
    for path in picture.paths:
        if path.stroked and path.layer not in ("FILL", REFERENCE):
            ours.setdefault(path.layer, []).append((path.points - shift, path.closed))
    for line in drawing.polylines:
        theirs.setdefault(line.layer, []).append((line.points, line.closed))
    reference = [p for p in picture.paths if p.layer == REFERENCE]
    last = theirs.get("REGISTRATION", [])
    del last[len(last) - len(reference) :]  # the line of 100 mm stands elsewhere in either file
    if not last:
        theirs.pop("REGISTRATION", None)
    return [
        layer
        for layer in sorted(ours.keys() | theirs.keys())
        if len(ours.get(layer, [])) != len(theirs.get(layer, []))
        or not all(map(_same_line, ours[layer], theirs[layer]))
    ]


def _same_line(one: tuple[np.ndarray, bool], two: tuple[np.ndarray, bool]) -> bool:
    same = one[1] == two[1] and one[0].shape == two[0].shape
    return same and float(np.abs(one[0] - two[0]).max()) <= POINT_MM


def _circles_differ(picture: Picture, drawing: Drawing, shift: np.ndarray) -> list[str]:
    offset = np.array([*shift, 0.0])
    ours = sorted((layer, [*map(float, np.array(c) - offset)]) for layer, *c in picture.circles
                  if layer != "FILL")  # fmt: skip
    theirs = sorted((layer, c) for layer, *c in drawing.circles)
    if [layer for layer, _ in ours] != [layer for layer, _ in theirs]:
        return ["circles"]
    for layer, one in ours:
        near = next((t for t in theirs if t[0] == layer and _near(one, t[1])), None)
        if near is None:
            return ["circles"]
        theirs.remove(near)
    return []


def _near(one: Sequence[float], two: Sequence[float]) -> bool:
    return max(abs(a - b) for a, b in zip(one, two, strict=True)) <= POINT_MM


def stretched(picture: Picture) -> Iterator[str]:
    """Words of a drawing that are set longer or shorter than they are."""
    for words in picture.texts:
        wide = {round(width(words.text, bold) * words.height, 3) for bold in (False, True)}
        if not any(abs(words.length - w) <= WIDTH_SHARE * w + 2e-3 for w in wide):
            yield words.text


def _words_differ(picture: Picture, drawing: Drawing, shift: np.ndarray, legacy: bool):
    """Words of either file that the other does not have in their place; stretched words."""
    yield from (f"{text!r} is stretched" for text in stretched(picture))
    ours = [w for w in picture.texts if w.layer != REFERENCE]
    theirs = list(drawing.texts)
    reference = [w for w in picture.texts if w.layer == REFERENCE]
    if reference:
        if not theirs or theirs[-1].text != "100 mm when the size is right":
            yield "the words of the line of 100 mm"
        theirs = theirs[:-1]
        if [w.text for w in reference] != ["100 mm"]:
            yield "the words of the line of 100 mm"
    by_layer: dict[str, list[TextItem]] = {}
    for item in theirs:
        by_layer.setdefault(item.layer, []).append(item)
    for words in ours:
        rest = by_layer.get(words.layer, [])
        if not rest or not _same_words(words, rest.pop(0), shift, legacy):
            yield repr(words.text)
    yield from (repr(item.text) for rest in by_layer.values() for item in rest)


def _same_words(words: Words, item: TextItem, shift: np.ndarray, legacy: bool) -> bool:
    at = words.along(item.align / 2) - shift
    turn = (words.turn_deg - item.turn_deg + 180.0) % 360.0 - 180.0
    return bool(
        math.dist(at, item.at) <= WORDS_MM
        and abs(turn) <= TURN_DEG
        and abs(words.height * CAP - item.height) <= 2e-3
        and _as_dxf(words.text, item.text, legacy)
    )


_CODES = {"\u00b0": "%%d", "\u00b1": "%%p", "\u00d8": "%%c"}


def _as_dxf(text: str, said: str, legacy: bool = False) -> bool:
    """Whether words of a DXF file are a text: signs that mean something else there are broken up;
    a legacy file is plain ASCII, with codes for some signs and something else for the others."""
    while "%%" in text:
        text = text.replace("%%", "% %")
    text = text.replace("^", "^ ").replace("\\", "/")
    if not legacy:
        return text == said
    pattern = "".join(re.escape(_CODES.get(c, c)) if c.isascii() or c in _CODES else ".{0,3}"
                      for c in text)  # fmt: skip
    return re.fullmatch(pattern, said) is not None
