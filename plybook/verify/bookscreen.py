"""The booklet on screen against plan.json: cards in order, each with what is its own."""

from __future__ import annotations

from html.parser import HTMLParser
from urllib.parse import unquote

import numpy as np

from plybook.verify.bays import BEFORE_IT, HALF_MM, bay_said, long_said, worked_in
from plybook.verify.bookpaper import check_named_angles, owner_of
from plybook.verify.booktables import check_tables_of_book
from plybook.verify.cut_pages import cuts_of, length_mm
from plybook.verify.drawings import file_name
from plybook.verify.layouts import set_folder, tape_unit
from plybook.verify.names import Names
from plybook.verify.pagedata import check_page_data
from plybook.verify.pagetree import read_page
from plybook.verify.printed import ANGLE, squeeze
from plybook.verify.report import Report
from plybook.verify.rounds import LEADS, round_said
from plybook.verify.steptold import StepTold
from plybook.verify.tolerances import TOUCH_MM

NAME = "booklet.html"
_ADDRESSES = ("src", "href", "action", "data", "poster", "srcset")


class _Cards(HTMLParser):
    """Cards with their title and words; addresses; fields."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.cards: list[dict] = []
        self.addresses: list[str] = []
        self._in_title = self._in_cell = self._skip = False
        self._div = ""

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        if tag == "section" and "card" in values.get("class", "").split():
            self.cards.append(
                {
                    "id": values.get("id", ""),
                    "class": values["class"],
                    "title": "",
                    "ids": "",
                    "line": "",
                    "words": [],
                    "rows": [],
                }
            )
        if tag == "tr" and self.cards:
            self.cards[-1]["rows"].append([])
        self._in_cell = tag == "td"
        if self._in_cell and self.cards:
            self.cards[-1]["rows"][-1].append("")
        self._in_title = tag == "h2"
        if tag == "div":
            self._div = values.get("class", "")
        self._skip = tag in ("style", "script")
        for name in _ADDRESSES:
            if name in values:
                self.addresses.append(values[name] or "")

    def handle_endtag(self, tag):
        if tag == "h2":
            self._in_title = False
        self._in_cell = self._in_cell and tag != "td"
        if tag == "div":
            self._div = ""
        if tag in ("style", "script"):
            self._skip = False

    def handle_data(self, data):
        if self._skip or not self.cards:
            return
        data = data.replace("\u00a0", " ")
        card = self.cards[-1]
        if self._in_title:
            card["title"] += data
        if self._div in ("ids", "line"):
            card[self._div] += f" {data}"
        if self._in_cell:
            card["rows"][-1][-1] += data
        card["words"].append(data)


def _shared(plan: dict) -> list[str]:
    """What of a shared cut plan a booklet leads to: the whole, and the drawings of its stock."""
    folder = set_folder(plan)
    stock = [f"cutplan/{file_name(layout['stock'])}.svg" for layout in plan["layouts"]]
    return [f"../{folder}/{name}" for name in ("cutplan.pdf", *stock)] if folder else []


def check_screen(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The whole of booklet.html, one of the files of a folder."""
    data = files[NAME]
    page = _Cards()
    page.feed(data.decode("utf-8"))
    page.close()
    if not data.rstrip().endswith(b"</html>"):
        report.fault(NAME, "is cut short")
    shared = _shared(plan)
    known = {*files, *shared}
    outside = [
        a for a in page.addresses if not a.startswith(("#", "data:")) and unquote(a) not in known
    ]
    report.expect(not outside and b"@import" not in data,
                  "booklets that lead to files of their folder alone", NAME,
                  f"names {outside[:1]}")  # fmt: skip
    lost = [a for a in shared if a not in map(unquote, page.addresses)]
    report.expect(not lost, "booklets that lead to the whole cut plan", NAME,
                  f"does not lead to {lost[:1]}")  # fmt: skip
    report.expect(b"Content-Security-Policy" in data, "booklets with a closed content policy", NAME,
                  "has no content policy")  # fmt: skip
    steps = [step for stage in plan["stages"] for step in stage["steps"]]
    cards = [card for card in page.cards if "step" in card["class"].split()]
    if len(cards) != len(steps):
        report.fault(NAME, f"{len(cards)} step cards, {len(steps)} steps in plan.json")
        return
    names = Names(plan)
    told = StepTold("HTML", plan, names, report)
    for card, step in zip(cards, steps, strict=True):
        where = f"{NAME}, step {step['title']}"
        report.expect(squeeze(card["title"]) == squeeze(step["title"]), "HTML steps in order",
                      where, f"the card says {card['title']!r}")  # fmt: skip
        told.check(step, squeeze(" ".join(card["words"])), where)
        _check_plate(step, card, told, where, report)
    said = [words for card in page.cards for words in card["words"]]
    check_tables_of_book(plan, names, squeeze(" ".join(said)), NAME, report)
    check_named_angles(plan, said, NAME, report)
    _check_mark_out(plan, page, report)
    tree = read_page(data).tree
    check_page_data(plan, tree, report)
    sections = [e for e in tree.walk() if e.attributes.get("class") == "card step"]
    for section, step in zip(sections, steps, strict=True):
        lists = [e for e in section.walk() if e.attributes.get("class") == "steps"]
        items = ["".join(item.words) for one in lists for item in one.inner]
        work = [*step["text"]] if len(step["text"]) > 1 else []
        report.expect([*map(squeeze, items)] == [*map(squeeze, work)],
                      "HTML steps with each of their works once", f"{NAME}, step {step['title']}",
                      f"lists {len(items)} works, not {len(work)}, or others")  # fmt: skip
    owner = owner_of(plan["part"])
    heads = ["".join(e.words) for e in tree.walk() if e.kind == "h1"]
    report.expect(heads == [f"{owner} \u00b7 "], "booklets headed with their part",
                  NAME, f"is headed {heads}, not {owner!r}")  # fmt: skip


def _check_mark_out(plan: dict, page: _Cards, report: Report) -> None:
    """Each piece on its stock with the figures it is marked out by."""
    unit = tape_unit(plan)
    quantity = {piece["id"]: piece["quantity"] for piece in plan["pieces"]}
    for layout in plan["layouts"]:
        card = next((c for c in page.cards if layout["stock"] in c["title"].split()), None)
        cells, bays = (4 if layout["bays"] else 3), {f"{b['number']}": b for b in layout["bays"]}
        found = [row for row in card["rows"] if len(row) == cells] if card else []
        rows = {(name, figures) for _, name, *_, figures in found}
        in_bay = {row[1]: row[2] for row in found}
        if layout["bays"]:
            _check_bays(plan, layout, card, report)
        told = {name: _marks_told(figures, unit) for name, figures in rows}
        for place in layout["placements"]:
            name = place["piece"]
            if quantity.get(name, 1) > 1:
                name = f"{name}, {place['copy']} of {quantity[name]}"
            marks = np.array(place["in_bay_mm"])
            report.expect(not bays or in_bay.get(name) == str(place["bay"]), "pieces marked out on "
                          "screen in their bay", NAME, f"{name} is not in its bay")  # fmt: skip
            round_ = round_said(marks, place["corner_mm"], unit)
            words = squeeze(" ".join(card["words"])) if card else ""
            stands = [f"{place['piece']}: {lead}" for lead in LEADS]
            good = squeeze(f"{place['piece']}: {round_}") in words if round_ else not any(
                squeeze(lead) in words for lead in stands)  # fmt: skip
            report.expect(good, "round pieces told on screen with their size", NAME,
                          f"{layout['stock']}: {place['piece']} is told otherwise")  # fmt: skip
            if layout["kind"] == "bar":
                marks = np.array([[marks[:, 0].min()], [marks[:, 0].max()]])
            said = told.get(name)
            good = said is not None and said.shape == marks.shape
            good = good and float(np.abs(said - marks).max()) <= TOUCH_MM
            report.expect(good, "pieces marked out on screen as in plan.json", NAME,
                          f"{layout['stock']}: does not mark out {name} as plan.json")  # fmt: skip


def _check_bays(plan: dict, layout: dict, card: dict | None, report: Report) -> None:
    """The bays of a roll in words, with how far on the next line lies."""
    unit, pieces = tape_unit(plan), {p["id"]: p for p in plan["pieces"]}
    order = sorted(
        cuts_of(layout, pieces, plan["part"]["number"]),
        key=lambda c: (*np.round(c.ring_mm.min(axis=0), 1), f"{c.part}/{c.piece}", c.copy),
    )
    told = [row for row in card["rows"] if len(row) == 3] if card else []
    good = len(told) == len(layout["bays"])
    for row, bay in zip(told, layout["bays"], strict=False):
        number, said, along = row
        said, _, _ = said.partition(f" {BEFORE_IT}")
        off = length_mm(along, unit) - (bay["to_mm"] - bay["at_mm"])
        good = good and abs(off) <= HALF_MM[unit] and number == str(bay["number"])
        good = good and squeeze(said) == squeeze(bay_said(bay, layout, order))
    report.expect(good, "bays told on screen with their lines", NAME,
                  f"tells other bays of {layout['stock']}")  # fmt: skip
    said = " ".join(" ".join(card["words"]).split()) if card else ""
    report.expect(worked_in(said, layout, unit), "screens that say how bays are worked", NAME,
                  f"says otherwise how {layout['stock']} is worked")  # fmt: skip
    for place in layout["placements"]:
        long = long_said(np.array(place["in_bay_mm"]), place["bay"], layout, unit)
        told_so = f"{place['piece']}: Longer than the table" in said
        right = squeeze(f"{place['piece']}: {long}") in squeeze(said) if long else not told_so
        report.expect(right, "pieces longer than the table told how they are measured", NAME,
                      f"{place['piece']} is told otherwise")  # fmt: skip


def _marks_told(figures: str, unit: str) -> np.ndarray | None:
    """ "1: 0 / 12.5 · 2: 340 / 12.5" or "0 to 340" as millimetres; None where it is neither."""
    try:
        if " to " in figures:
            return np.array([[length_mm(part, unit)] for part in figures.split(" to ")])
        points = [point.partition(": ") for point in figures.split(" · ")]
        if [number for number, *_ in points] != [str(k) for k in range(1, len(points) + 1)]:
            return None
        return np.array([[length_mm(v, unit) for v in at.split(" / ")] for *_, at in points])
    except ValueError:
        return None


def _check_plate(step: dict, card: dict, told: StepTold, where: str, report: Report) -> None:
    """In large letters the ids in hand and the angle they have in common."""
    large = card["ids"].split()
    angles = [words for words in large if ANGLE.fullmatch(words)]
    ids = told.plate(step)
    sawn = step["shows"] == "core" and not step["lays"] and len(step["pieces"]) == 1
    if not ids or step["shows"] == "none" or (sawn and not large):
        report.expect(not large, "HTML steps without a piece in large letters", where,
                      f"shows {large[:3]}")  # fmt: skip
        return
    wanted = told.plate_angle(step)
    report.expect(angles == wanted, "HTML steps with the angle of their pieces", where,
                  f"says {angles} for {wanted}")  # fmt: skip
    shown = squeeze("".join(words for words in large if words not in angles))
    report.expect(shown == ids, "HTML steps with their pieces in large letters", where,
                  f"shows {shown!r}, not {ids}")  # fmt: skip
    report.expect(told.plate_line(step, squeeze(card["line"])),
                  "HTML steps with the layer, material and number in hand", where,
                  f"says {card['line'].strip()!r}")  # fmt: skip
