"""Words of the tiled templates against plan.json: heads, page maps, the list of pieces, and what
stands on each piece."""

from __future__ import annotations

import numpy as np

from plybook.verify.lettering import Lettering
from plybook.verify.pdf_pages import Page
from plybook.verify.printed import same
from plybook.verify.report import Report

FRAME_MM = (190.0, 250.0)  # of every sheet, centred on the paper
FRAME_CORNER_MM = 10.0  # its lower side from the paper's edge
HEAD_RISE_MM = 2.6  # base line of the large words above the frame


def check_tile_words(plan: dict, tiles: list[dict], pages: dict[int, Page], report: Report) -> None:
    """Each sheet bears the name of the pieces on it, each piece its own words; the map before the
    tiles of a piece has its card, and the list tells where each piece is.

    Args:
        plan, report: what is held true; takes what is found.
        tiles: of plan.json.
        pages: read pages by number.
    """
    name = "templates.pdf"
    lettering = Lettering(plan, name, report)
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    cards = [*plan.get("served", []), *plan.get("figures", [])]
    by_tape = {card["piece"]: card["page"] for card in cards}
    across, up = plan["printer"]
    stretch = (across, up)
    own: dict[str, list[int]] = {}
    on: dict[int, list[dict]] = {}
    for sheet in tiles:
        own.setdefault(sheet["piece"], []).append(sheet["page"])
    for sheet in (*cards, *tiles):
        on.setdefault(sheet["page"], []).append(sheet)
    maps = {}  # a piece that has a page map -> its page
    for number, sheets in on.items():
        if number not in pages:
            continue
        page = pages[number]
        ids = ", ".join(dict.fromkeys(s["piece"] for s in sheets))
        _check_head(ids, page, stretch, number, report)
        for sheet in (s for s in sheets if s.get("way") in ("whole", "tiles")):
            alone = len(sheets) == 1
            words = [w for w in page.words if alone or _within(w.at_mm, sheet)]
            lettering.check_drawn(pieces[sheet["piece"]], words, f"page {number}")
        before, id = number - 1, sheets[0]["piece"]
        tiled = sheets[0].get("way") == "tiles"
        first = tiled and min(own[id]) == number and before in pages and before not in on
        if first and _head(pages[before], stretch)[1:2] == ["MAP"]:
            maps[id] = before
    for id, number in maps.items():
        page = pages[number]
        _check_head(id, page, stretch, number, report)
        lettering.check_card(pieces[id], page, f"page {number}", stretch)
    start = min([*on, *maps.values()], default=2)
    _check_list(plan, lettering, [pages[k] for k in range(2, start) if k in pages],
                {id: _told(maps.get(id), by_tape.get(id), own.get(id, [])) for id in pieces},
                report)  # fmt: skip


def _told(on_map: int | None, card: int | None, sheets: list[int]) -> str:
    """The pages of a piece as the list of pieces has them."""
    first, last = min(sheets, default=0), max(sheets, default=0)
    if on_map is not None:
        return f"{on_map} map, {first}\u2013{last}"
    if card is None and not sheets:
        return "cut plan"
    printed = f"{first}" if first == last else f"{first}\u2013{last}"
    if card is None:
        return printed
    return f"{card}, {printed}" if sheets else f"{card}"


def _head(page: Page, stretch: tuple[float, ...]) -> list[str]:
    """The large words above the frame of a page, from its left edge on; words of the piece that
    the frame cuts off may begin further out at the same height."""
    left = (page.width_mm - FRAME_MM[0]) / 2
    base = FRAME_CORNER_MM + (FRAME_MM[1] + HEAD_RISE_MM) * stretch[1]
    words = [w for w in page.words if w.mark == "TEXT" and abs(w.at_mm[1] - base) < 0.1
             and w.at_mm[0] > left - 0.1]  # fmt: skip
    words.sort(key=lambda w: w.at_mm[0])
    return [w.text for w in words] if words and abs(words[0].at_mm[0] - left) < 0.1 else []


def _check_head(
    ids: str, page: Page, stretch: tuple[float, ...], number: int, report: Report
) -> None:
    said = _head(page, stretch)
    report.expect(bool(said) and same(said[0], ids), "sheets headed with the pieces on them",
                  f"templates.pdf, page {number}", f"is headed {said[:1]}, not {ids}")  # fmt: skip


def _within(at_mm: tuple[float, float], sheet: dict) -> bool:
    """Whether a place on the page lies in the window of one of several pieces that share it."""
    size = np.array(sheet["window_mm"][2:]) - np.array(sheet["window_mm"][:2])
    at = (np.array(at_mm) - np.array(sheet["corner_mm"])) / np.array(sheet["stretch"])
    return bool((at >= 0).all() and (at <= size).all())


def _check_list(
    plan: dict, lettering: Lettering, pages: list[Page],
    where: dict[str, str], report: Report,
) -> None:  # fmt: skip
    """The list of pieces: one row for each, in their order."""
    rows: list[list[str]] = []
    for page in pages:
        by_height: dict[float, list] = {}
        for words in page.words:
            by_height.setdefault(round(words.at_mm[1], 1), []).append(words)
        for height in sorted(by_height, reverse=True):
            rows.append([w.text for w in sorted(by_height[height], key=lambda w: w.at_mm[0])])
    rows = [row for row in rows if len(row) >= 5 and row[2].endswith(" OFF")]
    for k, piece in enumerate(p for p in plan["pieces"] if p["id"] in where):
        row = rows[k] if k < len(rows) else [""] * 5
        told = where[piece["id"]]
        good = (
            same(row[0], piece["id"])
            and lettering.names.fits(piece["material"], row[1])
            and row[2] == f"{piece['quantity']} OFF"
            and same(row[-1], told)
        )
        report.expect(good, "rows of the list of pieces in the tiled templates", "templates.pdf",
                      f"tells {row[:1]} as {row[1:]}, where {piece['id']} should "
                      f"stand")  # fmt: skip
