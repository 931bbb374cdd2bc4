"""labels.pdf against plan.json: a label for every copy, and on it what is its own piece's.

Terms:
    sheet: the label sheets come first, then the same labels with lines to cut plain paper along.
    cell: a label's rectangle on the sheet; labels fill the rows in the order of laying.
    kit list: the pages after the sheets, with the pieces of each stage to tick off.
"""

from __future__ import annotations

import re
from urllib.parse import quote

from plybook.verify.bookpaper import GOES_ON, flow_of, owner_of
from plybook.verify.bookplaces import check_places
from plybook.verify.cut_pages import FIGURE, length_mm
from plybook.verify.labelplaces import (
    A4,
    LARGE_A4,
    LARGE_LETTER,
    LETTER,
    Grid,
    code_box,
    displaced,
    frames,
    modules_of,
    rows_of,
    same_lines,
    strokes,
)
from plybook.verify.layouts import tape_unit
from plybook.verify.names import Names
from plybook.verify.pdf_pages import Book, Page, Words
from plybook.verify.printed import CUT_OFF, angle, pattern, same, squeeze
from plybook.verify.qrcodes import read_code
from plybook.verify.report import Report
from plybook.verify.steptold import WITH_ANGLE
from plybook.verify.tolerances import PAPER_MM, TOUCH_MM

_HANDS = {"left": "LEFT", "right": "RIGHT", "none": ""}
_OF_KIT = ("Kit list: ", "In the order of laying: the first on top of the pile.")
_WITH_FIBRE = ("ply", "rod")
_LONGEST_LINK = 200
_DATUM, _BY_HAND = "DATUM ", "cut by hand from its roll"
_ALONG = re.compile(rf"from (.+?)(?:, bay (\d+))?, along ({FIGURE}) to ({FIGURE}) (mm|in)")


def check_labels(plan: dict, book: Book, name: str, report: Report) -> None:
    """All labels, once for label sheets and once for plain paper, and the kit lists."""
    small, large = (A4, LARGE_A4) if book.size_mm(0)[0] < 213.0 else (LETTER, LARGE_LETTER)
    grid = large if plan["workshop"]["booklets_at"] else small
    wanted = [(p, copy) for p in plan["pieces"] for copy in range(1, p["quantity"] + 1)]
    sheets = -(-len(wanted) // (grid.columns * grid.rows))
    names = Names(plan)
    pages = [book.page(k) for k in range(book.count)]
    stages = {stage["id"]: f"{n} of {len(plan['stages'])}"
              for n, stage in enumerate(plan["stages"], start=1)}  # fmt: skip
    turns, places = _turns(plan), _stock_places(plan)
    for first, what in ((0, "label"), (sheets, "label on plain paper")):
        own = pages[first : first + sheets]
        cells = _cells(own, grid)
        report.expect(set(cells) == set(range(len(wanted))), "sheets with a label for every copy",
                      name, f"{len(cells)} of {len(wanted)} are a {what}")  # fmt: skip
        for k, (piece, copy) in enumerate(wanted):
            words = cells.get(k, [])
            where = f"{name}, {what} {k + 1}"
            if len(words) < 2:
                report.fault(where, f"{piece['id']} has none")
                continue
            _check_label(plan, piece, copy, words, names, stages, where, report)
            side = f"stage {stages.get(piece['stage'], piece['stage'])}"
            side += turns.get((piece["id"], copy), "")
            _check_use(piece, words, side, places.get((piece["id"], copy)), tape_unit(plan), where,
                       report)  # fmt: skip
            astray = displaced(words, grid, grid.corner(k, own[0].height_mm))
            report.expect(not astray, "labels with all words in their place", where,
                          f"has {astray[:2]} elsewhere")  # fmt: skip
        _check_lines(own, wanted, grid, bool(first), f"{name}, {what}s", report)
        _check_codes(own, wanted, grid, _links(plan), f"{name}, {what}s", report)
    _check_kits(plan, pages[2 * sheets :], names, name, report)


def _cells(pages: list[Page], grid: Grid) -> dict[int, list[Words]]:
    """The words of each label, by its number."""
    found: dict[int, list[Words]] = {}
    for number, page in enumerate(pages):
        before = number * grid.columns * grid.rows
        for words in page.words:
            cell = grid.cell(words.at_mm, page.height_mm)
            found.setdefault(before + cell if cell >= 0 else -1, []).append(words)
    return found


def _check_lines(
    pages: list[Page], wanted: list[tuple[dict, int]], grid: Grid, framed: bool, where: str,
    report: Report,
) -> None:  # fmt: skip
    """Each label of a piece that has a fibre has an arrow along it; no sheet has another line."""
    on_sheet = grid.columns * grid.rows
    for number, page in enumerate(pages):
        some = wanted[number * on_sheet : (number + 1) * on_sheet]
        arrows = [strokes(piece["angle_deg"], grid, grid.corner(k, page.height_mm))
                  for k, (piece, _) in enumerate(some) if piece["kind"] in _WITH_FIBRE]  # fmt: skip
        lines = [stroke for arrow in arrows for stroke in arrow]
        lines += frames(len(some), grid, page.height_mm) if framed else []
        good = same_lines(page.lines, lines)
        report.expect(good, "sheets of labels with an arrow along each fibre and no other line",
                      where, f"an arrow on sheet {number + 1} lies otherwise, or there is more or "
                      "less drawn")  # fmt: skip


def _links(plan: dict) -> dict[str, str]:
    """What opens the step that lays each piece, where the plan says where booklets are found."""
    base, found = plan["workshop"]["booklets_at"], {}
    for step in (step for stage in plan["stages"] for step in stage["steps"] if step["lays"]):
        link = f"{base}{quote(plan['part']['number'])}/booklet.html#{quote(step['id'])}"
        for piece in step["pieces"] if base and len(link) <= _LONGEST_LINK else ():
            found.setdefault(piece, link)
    return found


def _check_codes(
    pages: list[Page], wanted: list[tuple[dict, int]], grid: Grid, links: dict[str, str],
    where: str, report: Report,
) -> None:  # fmt: skip
    """The QR code of each label opens the step that lays its piece; nothing else is dark."""
    on_sheet = grid.columns * grid.rows
    for number, page in enumerate(pages):
        left = list(page.areas)
        for k, (piece, _) in enumerate(wanted[number * on_sheet : (number + 1) * on_sheet]):
            box = code_box(grid, grid.corner(k, page.height_mm))
            own = [a for a in left if (a.points >= box[0] - PAPER_MM).all()
                   and (a.points <= box[1] + PAPER_MM).all()]  # fmt: skip
            left = [a for a in left if not any(a is b for b in own)]
            due, said = links.get(piece["id"], ""), ""
            if own:
                try:
                    said = read_code(modules_of(own, box))
                except ValueError as wrong:
                    said = f"nothing that can be read: it {wrong}"
            if own or due:
                report.expect(said == due, "QR codes that open the step of their piece", where,
                              f"{piece['id']} has a code of {said!r}, not {due!r}")  # fmt: skip
        report.expect(not left, "sheets of labels without a stray area", where,
                      f"{len(left)} areas on sheet {number + 1} are of no code")  # fmt: skip


def _check_label(
    plan: dict, piece: dict, copy: int, words: list[Words], names: Names, stages: dict[str, str],
    where: str, report: Report,
) -> None:  # fmt: skip
    """What stands on one label, from its upper edge down."""
    head, middle, last = rows_of(words)
    between = [w.text for w in middle]
    fibre = piece["kind"] in _WITH_FIBRE
    own = [piece["id"], angle(piece["angle_deg"])] if fibre else [piece["id"]]
    report.expect([w.text for w in head[1:]] == own[1:] and same(head[0].text, own[0]),
                  "labels with the id and the angle of their piece", where,
                  f"says {[w.text for w in head]}, not {own}")  # fmt: skip
    good = bool(between) and _layer_and_material(between[0], piece, names)
    report.expect(good, "labels with the layer and the material of their piece", where,
                  f"says {between[:1]}, not {piece['layer']} and the name of "
                  f"{piece['material']}")  # fmt: skip
    edges = _edges(piece)
    told, _ = _edges_and_datum(between)
    report.expect(same("".join(told), edges), "labels with the edges or the splice of "
                  "their piece", where, f"says {told}, not {edges!r}")  # fmt: skip
    part = plan["part"]
    owner = f"{part['number']} rev {part['revision']} {_HANDS[part['hand']]}"
    count = f"QTY {copy} of {piece['quantity']}"
    report.expect(
        len(last) == 2 and same(last[0].text, owner) and last[1].text == count,
        "labels with their part and their count", where,
        f"says {[w.text for w in last]}, not {owner.strip()!r} and {count!r}",
    )  # fmt: skip


Copy = tuple[str, int]  # id of a piece and which copy of it
Place = tuple[str, int, float, float]  # stock, bay or 0, from and to along it, mm


def _check_use(
    piece: dict, words: list[Words], laid: str, place: Place | None, unit: str, where: str,
    report: Report,
) -> None:  # fmt: skip
    """The last lines above the foot: the corner it is laid by, where it is cut, when it is laid."""
    between = [w.text for w in rows_of(words)[1]]
    side = f"BAG SIDE UP \u00b7 {laid}"
    report.expect(len(between) > 1 and same(between[-1], side), "labels with side, stage and turn",
                  where, f"says {between[-1:]}, not {side!r}")  # fmt: skip
    told = between[-2] if len(between) > 2 else ""
    good = _from_stock(told, place, unit) if place else told == _BY_HAND
    report.expect(good, "labels with the place of their piece on its stock", where,
                  f"says {told!r}, it is cut at {place}")  # fmt: skip
    datum = [m["label"] for m in piece["marks"] if m["kind"] == "datum"]
    _, said = _edges_and_datum(between)
    good = same("".join(said), _DATUM + datum[0] if datum else "")
    report.expect(good, "labels with the datum corner of their piece", where,
                  f"says {said}, not {datum[:1]}")  # fmt: skip


def _edges_and_datum(between: list[str]) -> tuple[list[str], list[str]]:
    """The lines between material and stock: how the edges are cut, and the datum corner."""
    lines = between[1:-2]
    start = max((k for k, text in enumerate(lines) if text.startswith(_DATUM)), default=len(lines))
    return lines[:start], lines[start:]


def _turns(plan: dict) -> dict[Copy, str]:
    """When each copy is laid, by the steps that lay: " · lay 2 of 7"."""
    quantity = {piece["id"]: piece["quantity"] for piece in plan["pieces"]}
    found: dict[Copy, str] = {}
    for stage in plan["stages"]:
        order: list[Copy] = []
        for step in stage["steps"]:
            for name in step["pieces"] if step["lays"] else ():
                if (name, 1) not in order:
                    order += [(name, k + 1) for k in range(quantity.get(name, 0))]
        found |= {one: f" \u00b7 lay {k} of {len(order)}" for k, one in enumerate(order, start=1)}
    return found


def _stock_places(plan: dict) -> dict[Copy, Place]:
    """The stock each copy is cut from, and what its mark-out takes along it."""
    pieces = {piece["id"] for piece in plan["pieces"]}
    found = {}
    for layout in plan["layouts"]:
        for p in layout["placements"]:
            if p["piece"] in pieces:
                along = [x for x, _ in p["in_bay_mm"]]
                found[p["piece"], p["copy"]] = layout["stock"], p["bay"], min(along), max(along)
    return found


def _from_stock(told: str, place: Place, unit: str) -> bool:
    """Whether words name the stock, the bay, and from and to along it as the mark-out has them."""
    stock, bay, low, high = place
    said = _ALONG.fullmatch(told)
    if said is None or said[5] != unit or not same(said[1], stock):
        named = f"from {stock}{f', bay {bay}' if bay else ''}, along"
        return told.endswith(CUT_OFF) and same(told, named)
    ends = length_mm(said[3], unit) - low, length_mm(said[4], unit) - high
    return int(said[2] or 0) == bay and max(map(abs, ends)) <= TOUCH_MM


def _layer_and_material(line: str, piece: dict, names: Names) -> bool:
    """Whether a line tells both; its end may be left out for an ellipsis."""
    said, layer = squeeze(line), pattern(squeeze(f"{piece['layer']}\u00b7"))
    if begun := layer.match(said):
        rest = said[begun.end() :]
        return rest == CUT_OFF or names.fits(piece["material"], rest)
    return said.endswith(CUT_OFF) and same(said, f"{piece['layer']}\u00b7")


def _edges(piece: dict) -> str:
    """How the edges of a core are cut, those that stay square first, or the place in a splice."""
    if piece["kind"] in ("core", "insert"):
        by: dict[str, list[str]] = {}
        for edge in piece["edges"]:
            by.setdefault(_cut_words(edge), []).append(edge["name"])
        rows = sorted(by.items(), key=lambda row: row[0] != "SQUARE")
        return "; ".join(f"{word}: {', '.join(names)}" for word, names in rows)
    if splice := piece.get("splice"):
        return (f"part {splice['part']} of {splice['of']}, {splice['kind']} to "
                f"{', '.join(splice['neighbours'])}")  # fmt: skip
    return ""


def _cut_words(edge: dict) -> str:
    if edge["treatment"] == "square":
        return "SQUARE"
    if edge["treatment"] not in ("bevel", "scarf"):
        return str(edge["treatment"])
    facing = "bag" if edge["wide_side"] == "mould" else "mould"
    slope = f" facing the {facing}" if edge["treatment"] == "scarf" else ""
    return f"{edge['treatment']} {edge['angle_deg']:g}°{slope}"


def _check_kits(plan: dict, pages: list[Page], names: Names, name: str, report: Report) -> None:
    """The kit list of each stage names its pieces in the order of laying."""
    check_places(pages, f"{name}, kit lists", report)
    drawn = [k for k, page in enumerate(pages, start=1) if any(i.mark for i, _ in page.painted)]
    report.expect(not drawn, "kit lists without a picture", name, f"draws on kit list {drawn[:1]}")
    words = squeeze(" ".join(w.text for page in pages for w in page.words))
    at = 0
    for stage in plan["stages"]:
        for piece in (p for p in plan["pieces"] if p["stage"] == stage["id"]):
            told = angle(piece["angle_deg"]) if piece["kind"] in _WITH_FIBRE else ""
            line = re.compile(
                f"{pattern(squeeze(piece['id'])).pattern}{re.escape(squeeze(told))}"
                f"{names.expression(piece['material'])}×{piece['quantity']}"
            )
            found = line.search(words, at)
            report.expect(found is not None, "pieces on the kit list of their stage", name,
                          f"{piece['id']} is not there as in plan.json, in its turn")  # fmt: skip
            at = found.end() if found else at
    _check_kit_words(plan, pages, names, name, report)


def _check_kit_words(
    plan: dict, pages: list[Page], names: Names, name: str, report: Report
) -> None:
    """Each kit list is headed and numbered, its stages stand in their order, and what it names
    besides pieces is told in the booklet too (see `check_kits_in_book`)."""
    owner = owner_of(plan["part"])
    number = f"{plan['part']['number']} \u00b7 revision {plan['part']['revision']}"
    heads = []
    for k, stage in enumerate(plan["stages"], start=1):
        heads += [f"{number} \u00b7 stage {k} of {len(plan['stages'])}",
                  f"Kit list: {stage['title']}"]  # fmt: skip
    said = [[w.text for w in page.words] for page in pages]
    for k, words in enumerate(said, start=1):
        good = len(words) > 1 and same(words[0], owner) and words[1] == f"{k} / {len(pages)}"
        report.expect(good, "kit lists headed with their part and number", name,
                      f"kit list {k} is headed {words[:2]}")  # fmt: skip
    told = [text for words in said for text in words if text.startswith((number, "Kit list: "))]
    told = [text for text in dict.fromkeys(told) if not text.endswith(GOES_ON)]
    heads = [head for head in dict.fromkeys(heads) if head in told]  # stages may share a title
    report.expect(told == heads and bool(told),
                  "kit lists of the stages in their order", name, f"says {told[:4]}")  # fmt: skip


def check_kits_in_book(plan: dict, labels: Book, book: Book, report: Report) -> None:
    """What a kit list names is named in the booklet: tools, consumables, resin."""
    names = Names(plan)
    flow = flow_of(book.page(k) for k in range(book.count)).text
    pieces = "".join(
        squeeze(p["id"] + (angle(p["angle_deg"]) if p["kind"] in WITH_ANGLE else "")
                + names.called(p["material"]) + f"\u00d7{p['quantity']}")
        for p in plan["pieces"]
    )  # fmt: skip
    heads = (f"{plan['part']['number']} \u00b7 revision {plan['part']['revision']} \u00b7 stage ",
             *_OF_KIT)  # fmt: skip
    strange = []
    for k in range(labels.count):
        words = [w.text for w in labels.page(k).words]
        kit = any(text.startswith("Kit list: ") for text in words)
        for text in words[3:] if kit else ():
            said = squeeze(text.removesuffix(CUT_OFF))
            if said not in flow and said not in pieces and not text.startswith(heads):
                strange.append(text)
    report.expect(not strange, "kit lists that name what the booklet names", "labels.pdf",
                  f"says {strange[:2]}, the booklet does not")  # fmt: skip
