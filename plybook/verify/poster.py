"""poster.pdf against plan.json: the list of layers in their order, the map of each with its pieces,
and where the splices of all plies run."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from plybook.verify import plane
from plybook.verify.lettering import rosette_in_order
from plybook.verify.pdf_pages import Line, Page, Words, all_pages
from plybook.verify.pieces import ring
from plybook.verify.printed import angle, same, thickness
from plybook.verify.report import Report
from plybook.verify.sheettwins import sheet_differs
from plybook.verify.svg_paths import read_svg
from plybook.verify.twins import stretched

NAME = "poster.pdf"
SIZES_MM = ((420.0, 297.0), (594.0, 420.0), (431.8, 279.4))  # ISO 216 A3, A2; ANSI B
DRAWN_MM = 0.06  # on paper: lines are drawn to hundredths, and the scale is read from them
ROW_MM = 0.3  # words of one row stand on one line, however large
MEET_MM = 3.0  # on the pattern: a splice runs so near the pieces that it joins
_ROSETTE = re.compile(r"[+\u2212]?(?:0|45|90)°|\+|0° along the axis")
_LESS = re.compile(r"layers 1 to \d+ lie below")
_SAID = ("mould face", "Splices of all plies and seams of cores",
         "Seen from the bag side, not to scale. To look at, not to cut or lay by: the booklet says "
         "how each layer is laid. It sizes nothing.")  # fmt: skip


@dataclass(frozen=True)
class _Map:
    """A drawing of the part: page = at + scale * pattern."""

    ring: np.ndarray
    scale: float
    at: np.ndarray

    def on_part(self, points: np.ndarray) -> np.ndarray:
        return (points - self.at) / self.scale


def check_poster(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The poster says and shows each layer of the plan, and nothing else."""
    if NAME not in files:
        report.fault(NAME, "is missing")
        return
    pages = all_pages(files[NAME], NAME, report)
    if pages is None:
        return
    drawn = sorted(name for name in files if re.fullmatch(r"poster-\d+\.svg", name))
    report.expect(len(drawn) == len(pages), "posters with a drawing of each sheet", NAME,
                  f"has {len(pages)} sheets and {len(drawn)} drawings")  # fmt: skip
    for number, page in enumerate(pages, start=1):
        twin = f"poster-{number}.svg"
        if twin in files:
            unlike = _unlike(files[twin], page)
            report.expect(not unlike, "posters on paper with just what their drawings show",
                          f"{NAME}, page {number}", unlike)  # fmt: skip
        size = page.width_mm, page.height_mm
        report.expect(any(np.abs(np.subtract(size, known)).max() < 0.1 for known in SIZES_MM),
                      "posters on sheets of a known size", f"{NAME}, page {number}",
                      f"is {size[0]:.1f} by {size[1]:.1f} mm")  # fmt: skip
    left = [[w for w in page.words if w.text.strip()] for page in pages]
    _check_list(plan, left, report)
    _check_maps(plan, pages, left, report)
    _check_splices(plan, pages, left, report)
    _check_rest(plan, left, report)


def _unlike(svg: bytes, page: Page) -> str:
    """What a sheet has otherwise than its drawing, "" nothing."""
    try:
        drawing = read_svg(svg)
        long = next(stretched(drawing), None)
        if long is not None:
            return f"has {long!r} stretched in its drawing"
        return sheet_differs(drawing, page, "FACE")
    except (ValueError, KeyError, IndexError) as wrong:
        return f"has a drawing that cannot be read: {wrong}"


def _lies(layer: dict) -> str:
    return angle(layer["angle_deg"]) if layer["kind"] == "ply" else layer["kind"]


def _take(words: list[Words], text: str, near: Words | None = None) -> Words | None:
    """The first words that are a text, in the row of others if they are given; they are taken
    away."""
    for k, one in enumerate(words):
        if near is not None:
            lift = (one.size_mm - near.size_mm) * 0.328  # half a capital: rows are centred
            if abs(one.at_mm[1] + lift - near.at_mm[1]) > ROW_MM or one.at_mm[0] < near.at_mm[0]:
                continue
        if same(one.text, text):
            return words.pop(k)
    return None


def _check_list(plan: dict, left: list[list[Words]], report: Report) -> None:
    """A row for each layer with its number, id, angle, thickness and material, first at the
    bottom; the list goes on on the next sheet."""
    units = plan["part"]["units"]
    at, sheet = -np.inf, 0
    for k, layer in enumerate(plan["layers"], start=1):
        name = plan["materials"].get(layer["material"], {}).get("name", layer["material"])
        head = next(((n, w) for n in range(sheet, len(left)) for w in left[n]
                     if w.text == f"{k}" and _in_row(left[n], w, layer["id"])), None)  # fmt: skip
        where = f"{NAME}, layer {layer['id']}"
        if head is None:
            report.fault(where, "is not in the list")
            continue
        at = -np.inf if head[0] > sheet else at
        sheet, number = head
        words = left[sheet]
        words.remove(number)
        rest = [_take(words, text, number) for text in (layer["id"], _lies(layer), name)]
        high = True
        if layer["kind"] != "film":
            told = re.compile(rf"{thickness(layer['thickness_mm'], units)}\s?{units}")
            found = [w for w in words if told.fullmatch(w.text)
                     and abs(w.at_mm[1] - number.at_mm[1]) < ROW_MM]  # fmt: skip
            high = bool(found)
            for one in found[:1]:
                words.remove(one)
        good = high and None not in rest and number.at_mm[1] > at
        report.expect(good, "layers in their order in the list of the poster", where,
                      "stands in the list with other figures, or elsewhere")  # fmt: skip
        at = number.at_mm[1]


def _in_row(words: list[Words], number: Words, text: str) -> bool:
    return any(same(w.text, text) and abs(w.at_mm[1] - number.at_mm[1]) < ROW_MM
               and w.at_mm[0] > number.at_mm[0] for w in words)  # fmt: skip


def _maps_on(page: Page, outline: np.ndarray) -> Iterator[_Map]:
    """Drawings of the whole part on a page."""
    size = np.ptp(outline, axis=0)
    for line in page.lines:
        if line.mark != "FACE" or not line.closed:
            continue
        scale = float((np.ptp(line.points, axis=0) / size).max())
        at = line.points.min(axis=0) - scale * outline.min(axis=0)
        made = _Map(line.points, scale, at)
        if plane.apart_by(made.on_part(line.points), outline) * scale <= DRAWN_MM:
            yield made


def _check_maps(plan: dict, pages: list[Page], left: list[list[Words]], report: Report) -> None:
    """The pieces of each layer, where they are laid, above the layer's caption."""
    outline = ring(plan["surface"]["outline_mm"])
    lines: list[tuple[int, Line]] = [
        (n, line) for n, page in enumerate(pages) for line in page.lines
        if line.mark == "HIGHLIGHT" and line.closed
    ]  # fmt: skip
    maps = [list(_maps_on(page, outline)) for page in pages]
    for k, layer in enumerate(plan["layers"], start=1):
        own = [p for p in plan["pieces"] if p["layer"] == layer["id"]]
        many = f", {len(own)} pieces" if len(own) > 1 else ""
        text = f"{k}  {layer['id']}  {_lies(layer)}{many}"
        where = f"{NAME}, map of layer {layer['id']}"
        found = next(((n, w) for n in range(len(left)) if (w := _take(left[n], text))), None)
        if found is None:
            report.fault(where, "has no caption")
            continue
        n, caption = found
        above = [m for m in maps[n] if m.ring[:, 0].max() > caption.at_mm[0]
                 and m.ring[:, 1].max() > caption.at_mm[1]]  # fmt: skip
        if not above:
            report.fault(where, "does not show the part")
            continue
        shown = min(above, key=lambda m: float(np.hypot(*(m.ring.min(axis=0) - caption.at_mm))))
        lost = []
        for piece in own:
            laid = ring(piece["laid_outline_mm"])
            hit = [k for k, row in enumerate(lines) if row[0] == n and _shows(shown, row[1], laid)]
            if not hit:
                lost.append(piece["id"])
                continue
            del lines[hit[0]]
            inner = [
                k
                for k, row in enumerate(lines)
                if row[0] == n and plane.inside(shown.on_part(row[1].points), laid).all()
            ]
            for spare in reversed(inner[: len(piece["holes_mm"])]):
                del lines[spare]
        report.expect(not lost, "layers on the poster with their pieces where they are laid", where,
                      f"does not show {', '.join(lost[:3])}")  # fmt: skip
    rosette = [line for _, line in lines if np.ptp(line.points, axis=0).max() < 10.0]
    report.expect(len(lines) == len(rosette), "posters without other pieces", NAME,
                  f"shows {len(lines) - len(rosette)} outlines that are no piece's")  # fmt: skip


def _shows(shown: _Map, line: Line, laid: np.ndarray) -> bool:
    drawn = shown.on_part(line.points)
    near = DRAWN_MM / shown.scale
    if np.abs(np.ptp(drawn, axis=0) - np.ptp(laid, axis=0)).max() > 2 * near:
        return False
    return plane.apart_by(drawn, laid) <= near


def _check_splices(plan: dict, pages: list[Page], left: list[list[Words]], report: Report) -> None:
    """A line for every two pieces of a layer that meet, each near the sides of both."""
    pairs = [
        (layer["id"], a, b)
        for layer in plan["layers"] if layer["kind"] in ("ply", "core")
        for a, b in combinations([ring(p["laid_outline_mm"]) for p in plan["pieces"]
                                  if p["layer"] == layer["id"]], 2)
        if plane.clearance(a, b) <= 1.0
    ]  # fmt: skip
    outline = ring(plan["surface"]["outline_mm"])
    page = pages[0]
    shown = max(_maps_on(page, outline), key=lambda m: (m.ring[:, 1].max(), m.scale), default=None)
    drawn = [line.points for line in page.lines if line.mark in ("SPLICE", "SEAM")]
    joins = {name for name, _, _ in pairs}
    if shown is None or not drawn:
        report.expect(not any(_long(a, b) for _, a, b in pairs), "posters without splices", NAME,
                      "shows no splices, but there are some")  # fmt: skip
        return
    for points in drawn:
        line = shown.on_part(plane.walk(points, 2.0))
        good = any(_runs_between(line, a, b) for _, a, b in pairs)
        report.expect(good, "splices on the poster where pieces meet", NAME,
                      "shows a splice where no pieces meet")  # fmt: skip
    for name, a, b in pairs:
        good = not _long(a, b) or any(
            _runs_between(shown.on_part(plane.walk(p, 2.0)), a, b) for p in drawn
        )
        report.expect(good, "splices of layers that the poster shows", f"{NAME}, layer {name}",
                      "has a splice that is not drawn")  # fmt: skip
    named: set[str] = set()
    for words in list(left[0]):
        split = words.text.split()
        if split and all(any(same(one, name) for name in joins) for one in split):
            named |= {name for name in joins if any(same(one, name) for one in split)}
            left[0].remove(words)
    report.expect(named == joins, "splices on the poster with the names of their layers", NAME,
                  f"does not name {sorted(joins - named)[:3]}")  # fmt: skip


def _long(a: np.ndarray, b: np.ndarray) -> bool:
    """Whether two pieces meet along a line, not only at a corner."""
    steps = plane.walk(np.concatenate([a, a[:1]]), 2.0)
    near = (plane.distance_to_path(steps, b) <= 1.2) | plane.inside(steps, b)
    return int(near.sum()) >= 20


def _runs_between(line: np.ndarray, a: np.ndarray, b: np.ndarray) -> bool:
    """Whether most of a line lies in the strip that two pieces share, or between them."""
    near = [(plane.distance_to_path(line, one) <= MEET_MM) | plane.inside(line, one)
            for one in (a, b)]  # fmt: skip
    return bool(np.mean(near[0] & near[1]) > 0.6)


def _check_rest(plan: dict, left: list[list[Words]], report: Report) -> None:
    """Ids on the maps, the head, the rosette; no other words."""
    part = plan["part"]
    ids = {p["id"] for p in plan["pieces"]}
    for number, words in enumerate(left, start=1):
        where = f"{NAME}, page {number}"
        count = f"sheet {number} of {len(left)}"
        head = [w for w in words if w.text.startswith(part["number"])
                and not any(same(w.text, id) for id in ids)]  # fmt: skip
        good = len(head) == 1 and f"rev {part['revision']}" in head[0].text
        report.expect(good and any(w.text == count for w in words),
                      "sheets of the poster with part, revision and their number", where,
                      "does not say whose it is, or which of how many")  # fmt: skip
        strange = [
            w.text for w in words if w not in head and w.text != count
            and not any(same(w.text, id) for id in ids) and not any(same(w.text, s) for s in _SAID)
            and not _ROSETTE.fullmatch(w.text) and not _LESS.fullmatch(w.text)
        ]  # fmt: skip
        report.expect(not strange, "posters with no other words", where,
                      f"says {strange[:2]}")  # fmt: skip
    if left:
        report.expect(rosette_in_order(left[0]), "posters with a rosette that turns as it should",
                      NAME, "a rosette has its angles exchanged")  # fmt: skip
