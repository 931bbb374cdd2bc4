"""The folder of a part whose cut plan stands with that of other parts in the folder of a set.

In place of a cut plan it has a list of where its pieces lie. Each row is held to plan.json; with
the folder of the set at hand, to the drawings and the mark-out tables there as well.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from itertools import groupby

import numpy as np

from plybook.verify.bagrolls import is_bag_page
from plybook.verify.cut_pages import (
    Block,
    block_top_mm,
    blocks,
    heading,
    in_title_block,
    length_mm,
    reads_as,
    squeeze,
    table_heads,
)
from plybook.verify.cut_pictures import SCALE, strips_of
from plybook.verify.cutplaces import Columns, check_sheet
from plybook.verify.layouts import SHARED, on_stock, set_folder, tape_unit
from plybook.verify.manifest import MANIFEST
from plybook.verify.markout import check_in_order
from plybook.verify.names import Names
from plybook.verify.pdf_pages import Page, open_book
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.tables import check_placements, rows, without_corners, words

NAME = "cutplan.pdf"
CELLS = Columns(3, (7.0, 39.0, 55.0, 71.0, 84.0), (9.0,))
HEADS = ("No.", "piece", "bay", "from", "to", "sheet")
NO_BAY = "\u2013"
UNITS = {"mm": "mm", "in": "inches"}
SHOWN_MM, SLACK_MM = 10.0, 1.0  # a sheet with less of a piece is not named; either way, this near
NOT_BESIDE = (
    "the cut plan of {number}: it stands in the folder {folder}, which is not beside this one; "
    "without it the pieces cannot be cut"
)
_SPAN = re.compile(r"(\d+)(?:\u2013(\d+))?")
_KEYS = {"folder", "parts", "units", "sheets", "manifest_sha256"}
_COPY = re.compile(r"(.+), (\d+) of (\d+)")

Stretch = tuple[int, float, float]  # sheet, from, to


def check_shared(plan: dict, files: dict[str, bytes], there: dict[str, bytes] | None,
                 report: Report) -> None:  # fmt: skip
    """Everything that a part says of the cut plan it shares.

    Args:
        plan: plan.json of the part.
        files: of its folder.
        there: of the folder of the set, its manifest among them; None where that is not beside.
        report: takes what is found.
    """
    told, number = plan[SHARED], plan["part"]["number"]
    folder = set_folder(plan)
    good = (
        set(told) == _KEYS and bool(folder) and number in told["parts"]
        and len(set(told["parts"])) == len(told["parts"]) > 1 and told["units"] in ("mm", "in")
    )  # fmt: skip
    if not report.expect(good, "parts that name the folder of the cut plan they share", "plan.json",
                         "does not say where the shared cut plan stands"):  # fmt: skip
        return
    mixed = {p["part"] for x in plan["layouts"] for p in x["also_cut"]} - set(told["parts"])
    report.expect(not mixed, "stock shared with parts of the set alone", "plan.json",
                  f"shares stock with {sorted(mixed)}, which are not of the set")  # fmt: skip
    drawn: dict[str, list[Stretch]] | None = None
    tables: dict[str, list[Block]] = {}
    if there is None:
        report.unproved.append(NOT_BESIDE.format(number=number, folder=folder))
    else:
        _check_there(plan, told, there, report)
        pages = _pages(there[NAME])
        report.expect(len(pages) == told["sheets"], "shared cut plans of as many sheets as told",
                      "plan.json", f"tells {told['sheets']} sheets, not {len(pages)}")  # fmt: skip
        table = rows("stock", there, report)
        stock = [(words(row["stock"]), row["kind"] == "bar") for row in table]
        drawn = dict(_drawn(plan, pages, stock))
        tables = dict(_tables(pages, stock))
    pages = _pages(files[NAME])
    check_in_order(pages, number, report)
    for k, page in enumerate(pages, start=1):
        heads = table_heads(page)[1]
        high = heads[0].at_mm[1] - 3.0 if heads else None
        check_sheet(page, f"{NAME}, sheet {k}", report, CELLS, high)
    own = [page for page in pages if not (plan["bag_rolls"] and is_bag_page(page))]
    _check_list(plan, told, own, drawn, tables, report)


def _pages(data: bytes) -> list[Page]:
    book = open_book(data)
    return [book.page(k) for k in range(book.count)]


def _check_there(plan: dict, told: dict, there: dict[str, bytes], report: Report) -> None:
    """The folder of the set is the one that the part was built with, and cuts it as planned."""
    digest = hashlib.sha256(there[MANIFEST]).hexdigest()
    report.expect(digest == told["manifest_sha256"], "parts built with the cut plan beside them",
                  told["folder"], "is not the cut plan that this part was built with: build the "
                  "set again")  # fmt: skip
    manifest = json.loads(there[MANIFEST])
    numbers = [part.get("number") for part in manifest["parts"]]
    good = numbers == told["parts"] and manifest["folder"] == told["folder"]
    report.expect(good, "sets of the parts that a part names", told["folder"],
                  f"is of {numbers}, not of {told['parts']}")  # fmt: skip
    number = plan["part"]["number"]
    own = [row for row in rows("placements", there, report) if words(row["part"]) == number]
    alike = told["units"] == tape_unit(plan)
    placed = [(x["stock"], number, p if alike else without_corners(p))
              for x in plan["layouts"] for p in x["placements"]]  # fmt: skip
    check_placements(placed, own, f"{told['folder']}/tables/placements.csv", report)


# ---------------------------------------------------------------- the list


def _check_list(
    plan: dict, told: dict, pages: list[Page], drawn: dict[str, list[Stretch]] | None,
    tables: dict[str, list[Block]], report: Report,
) -> None:  # fmt: skip
    """Every piece of the part stands in the list once, by roll, sheet and bar."""
    number = plan["part"]["number"]
    for k, page in enumerate(pages, start=1):
        where = f"{NAME}, sheet {k}"
        due = ["Where it is cut",
               "together with " + ", ".join(n for n in told["parts"] if n != number), number]
        report.expect(len(heading(page)) == 3 and all(map(same, heading(page), due)),
                      "lists headed with the parts cut together", where,
                      f"is headed {heading(page)}")  # fmt: skip
        said = squeeze("".join(_above(page)))
        report.expect(said == squeeze(_said(plan, told)), "lists that say where the cut plan is",
                      where, "says something else of the shared cut plan")  # fmt: skip
    if not plan["layouts"]:
        return
    for page in pages:
        _, middles = table_heads(page)
        level = [w for w in page.words if abs(w.at_mm[1] - middles[0].at_mm[1]) < 0.2]
        names = [w.text for w in sorted(level, key=lambda w: w.at_mm[0])]
        report.expect(names == list(HEADS) * len(middles), "lists with the heads of their columns",
                      NAME, f"has the heads {names}")  # fmt: skip
    left = blocks(pages, len(HEADS))
    for layout in plan["layouts"]:
        block, *left = left or [Block("")]
        where = f"{NAME}, {layout['stock']}"
        if not report.expect(reads_as(block.title, layout["stock"]), "lists by roll, sheet and bar",
                             where, f"has {block.title!r} in its place"):  # fmt: skip
            continue
        own = drawn.get(layout["stock"], []) if drawn is not None else None
        _check_block(plan, layout, block, own, tables.get(layout["stock"]), where, report)
    report.expect(not left, "lists without more than the part's stock", NAME,
                  f"lists {[b.title for b in left[:2]]}, where nothing is cut for it")  # fmt: skip


def _above(page: Page) -> Iterator[str]:
    """What is said between the heading and the list, line by line."""
    _, heads = table_heads(page)
    low = heads[0].at_mm[1] + 1.0 if heads else block_top_mm(page)
    top = max(w.at_mm[1] for w in page.words) - 0.2
    lines = [w for w in page.words if low < w.at_mm[1] < top]
    yield from (w.text for w in sorted(lines, key=lambda w: -w.at_mm[1]))


def _said(plan: dict, told: dict) -> str:
    number, count = plan["part"]["number"], told["sheets"]
    first = (
        f"The cut plan of these parts stands once: in the folder {told['folder']} beside this one, "
        f"{count} sheet{'s' * (count != 1)} in cutplan.pdf with figures in {UNITS[told['units']]}, "
        "full-size drawings in cutplan."
    )
    if not plan["layouts"]:
        return f"{first} Nothing is cut from stock for {number}."
    return (
        f"{first} Cut each roll, sheet and bar once, for all parts together. Below, the pieces of "
        f"{number}: their number in the mark-out table there, the bay of a roll longer than the "
        "table, from and to along the stock from the line of the bay, else from its end, in "
        f"{UNITS[tape_unit(plan)]}, and the sheets that draw them."
    )


def _check_block(
    plan: dict, layout: dict, block: Block, drawn: list[Stretch] | None,
    there: list[Block] | None, where: str, report: Report,
) -> None:  # fmt: skip
    """The pieces on one roll, sheet or bar."""
    state = "to buy" if layout["bought"] else "on the shelf"
    lead = f"{layout['kind']} of {Names(plan).called(layout['material'])}, {state}; drawn on"
    spans = rf"sheets?({_SPAN.pattern})"
    said = re.fullmatch(rf"(.*drawnon){spans},markedouton{spans}", block.said)
    good = said is not None and same(said[1], lead)
    if drawn is not None and said is not None:
        good = good and _span([sheet for sheet, _, _ in drawn]) == said[2]
    report.expect(good, "lists with the sheets of their stock", where, f"says {block.said!r}")
    pieces = {p["id"]: p for p in plan["pieces"]}
    left = {(p["piece"], p["copy"]): p for p in layout["placements"]}
    last = 0
    for number, name, bay, start, end, sheets in block.rows:
        meant = next((key for key in left if _names(name, *key, pieces[key[0]]["quantity"])), None)
        good = meant is not None and number.isdigit() and int(number) > last
        if not report.expect(good, "pieces listed once, in the order of cutting", where,
                             f"lists {number} {name!r}, which is out of its turn"):  # fmt: skip
            continue
        assert meant is not None
        last, placed = int(number), left.pop(meant)
        along = np.array(placed["in_bay_mm"])[:, 0]
        report.expect(bay == str(placed["bay"] or NO_BAY), "pieces listed with their bay", where,
                      f"{name} is listed in bay {bay}")  # fmt: skip
        unit = tape_unit(plan)
        off = np.abs(np.array([length_mm(start, unit), length_mm(end, unit)])
                     - (along.min(), along.max()))  # fmt: skip
        report.expect(bool(off.max() < 1e-3), "pieces listed with their place along the stock",
                      where, f"{name} is listed from {start} to {end}")  # fmt: skip
        if there is not None:
            told = _told(there, layout["kind"] == "bar", int(number))
            good = _is(told, plan["part"]["number"], *meant)
            report.expect(good, "pieces listed by their number in the mark-out table", where,
                          f"{number} is {told[:1]} there, not {name}")  # fmt: skip
        if drawn is not None:
            ring = on_stock(pieces[meant[0]], placed, layout)
            _check_sheets(ring, sheets, drawn, f"{where}, {name}", report)
    for name, copy in left:
        report.fault(where, f"does not list {name}, copy {copy}")


def _names(said: str, piece: str, copy: int, quantity: int) -> bool:
    return reads_as(said, f"{piece}, {copy} of {quantity}" if quantity > 1 else piece)


def _check_sheets(
    ring: np.ndarray, sheets: str, drawn: list[Stretch], where: str, report: Report
) -> None:
    """The sheets that are named draw the piece, and no others draw much of it."""
    low, high = float(ring[:, 0].min()), float(ring[:, 0].max())
    least = min(SHOWN_MM, high - low)
    shown = {sheet: max((min(high, b) - max(low, a) for s, a, b in drawn if s == sheet), default=0)
             for sheet, _, _ in drawn}  # fmt: skip
    surely = [s for s, over in shown.items() if over >= least + SLACK_MM]
    may = [s for s, over in shown.items() if over >= least - SLACK_MM]
    span = _SPAN.fullmatch(sheets)
    first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
    good = first in may and last in may and all(first <= s <= last for s in surely)
    report.expect(good, "pieces listed with the sheets that draw them", where,
                  f"is said to be on sheet {sheets}, it is drawn on {may}")  # fmt: skip


def _span(numbers: list[int]) -> str:
    first, last = min(numbers, default=0), max(numbers, default=0)
    return str(first) if first == last else f"{first}\u2013{last}"


# ---------------------------------------------------------------- the shared cut plan


def _drawn(
    plan: dict, pages: list[Page], stock: list[tuple[str, bool]]
) -> Iterator[tuple[str, list[Stretch]]]:
    """The stretches of each unit of stock of the part and the sheets that draw them.

    Args:
        plan: of the part.
        pages: of the shared cut plan.
        stock: ids of all that the set cuts, and whether it is a bar, in order.
    """
    known = {x["stock"]: x for x in plan["layouts"]}
    numbered = [(k, p) for k, p in enumerate(pages, start=1) if not table_heads(p)[0]]
    for head, alike in groupby(numbered, lambda row: heading(row[1])[0]):
        own = list(alike)
        group = _meant(head, stock)
        shown = [known.get(name, {"stock": name, "kind": "bar", "width_mm": 1.0, "edge_mm": 0.0})
                 for name in group]  # fmt: skip
        scale = SCALE.fullmatch(in_title_block(own[0][1], "Scale"))
        if not any(name in known for name in group) or scale is None:
            continue
        strips = strips_of([(x, []) for x in shown], [p for _, p in own], float(scale[1]))
        sheet = {id(page): k for k, page in own}
        for name in group:
            mine = [s for s in strips if s.layout["stock"] == name]
            whole = len(mine) == 1
            yield name, [
                (sheet[id(s.page)],
                 -np.inf if whole else s.start_mm,
                 np.inf if whole else s.start_mm + float(s.size[0] * s.by[0]))
                for s in mine
            ]  # fmt: skip


def _meant(head: str, stock: list[tuple[str, bool]]) -> list[str]:
    """The stock that a heading names: one, or the bars from one to another."""
    one = next((name for name, _ in stock if reads_as(head, name)), None)
    if one is not None:
        return [one]
    bars = [name for name, bar in stock if bar]
    runs = (bars[a:b] for a in range(len(bars)) for b in range(a + 2, len(bars) + 1))
    return next((run for run in runs if reads_as(head, f"{run[0]} to {run[-1]}")), [])


def _tables(
    pages: list[Page], stock: list[tuple[str, bool]]
) -> Iterator[tuple[str, list[Block]]]:
    """The mark-out tables of the shared cut plan, by stock; a bar has one block."""
    bars = blocks([p for p in pages if table_heads(p)[0] == "bars"])
    for name, bar in stock:
        if bar:
            yield name, [b for b in bars if reads_as(b.title, name)]
            continue
        own = [p for p in pages if table_heads(p)[0] == "points" and reads_as(heading(p)[0], name)]
        yield name, blocks(own)


def _told(there: list[Block], bar: bool, number: int) -> list[str]:
    """What the mark-out tables have under a number: title and words."""
    if bar:
        named = [dict(re.findall(r"(?:^|·)(\d+):([^·]*)", block.said)) for block in there]
        return [row[str(number)] for row in named if str(number) in row]
    return [squeeze(b.title.partition(". ")[2] + "|" + b.said) for b in there
            if b.title.partition(". ")[0] == str(number)]  # fmt: skip


def _is(told: list[str], number: str, piece: str, copy: int) -> bool:
    """Whether an entry of the mark-out tables is a copy of a piece."""
    if len(told) != 1:
        return False
    name, _, said = told[0].partition("|")
    found = re.match(r"(\d+)of\d+(?:·|$)", said)
    right = not said or (int(found[1]) if found else 1) == copy
    return right and reads_as(name, squeeze(f"{number} {piece}"))
