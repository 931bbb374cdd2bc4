"""cutplan.pdf against plan.json: a page for each unit of stock, its figures, and the mark-out table
from which pieces are drawn on the stock with tape and straightedge.

Each piece stands in its table once, by name and copy, with the corners that plan.json has; how
far over a curve they stand is worked out again.
"""

from __future__ import annotations

import re
from itertools import groupby

import numpy as np

from plybook.verify import corners
from plybook.verify.bagrolls import is_bag_page
from plybook.verify.bays import (
    by_bay,
    check_bay_blocks,
    check_lines_drawn,
    check_reading,
    check_table,
    is_bay,
    kit_lines,
    long_said,
)
from plybook.verify.cut_figures import ROUNDING_MM, SAID_MM, check_figures
from plybook.verify.cut_pages import (
    FIGURE,
    Block,
    Cut,
    block_top_mm,
    blocks,
    cuts_of,
    heading,
    in_title_block,
    length_mm,
    reads_as,
    squeeze,
    table_heads,
    whole_width_mm,
)
from plybook.verify.cut_pictures import check_picture
from plybook.verify.kits import is_kit_page, kits_of
from plybook.verify.layouts import tape_unit
from plybook.verify.names import Names
from plybook.verify.openings import check_openings
from plybook.verify.pdf_pages import Page, all_pages
from plybook.verify.printed import same, told_deg
from plybook.verify.purchases import is_buy_page
from plybook.verify.report import Report
from plybook.verify.rounds import round_told
from plybook.verify.tolerances import TOUCH_MM

NAME = "cutplan.pdf"
NOTHING = "Nothing is cut from stock."
ACROSS = "Cut across the roll"
TAPE_MM = {"mm": 0.05, "in": corners.INCH_MM / 128}  # half of the last mark of a running figure
LITTLE_MM = 2.5  # straight sides that stand over by less need not say so
_TITLE = re.compile(r"(\d+)\. (.+)")
_OVER = re.compile(r"atmost([\d.]+)(mm|in)over;trim")
_COPY = re.compile(r"(\d+)of(\d+)(?:·|$)")
_ANGLE = re.compile(r"([-+\u2212]?\d+(?:\.\d+)?)°")
_BAR = re.compile(rf"(\d+) off, ({FIGURE}) (mm|in) left")
_AT = re.compile(rf"CUT ACROSS at ({FIGURE}) (m|in)")


def check_cut_sheets(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every page of cutplan.pdf.

    Args:
        plan: `part` with number and units, `materials`, `pieces` and `layouts` of plan.json; of a
            set, the pieces of all parts stand in `also_cut` of its layouts.
        files: of the folder.
    """
    if NAME not in files:
        return  # told elsewhere
    pages = all_pages(files[NAME], NAME, report)
    if pages is None:
        return
    check_in_order(pages, plan["part"]["number"], report)
    if plan.get("bag_rolls"):
        pages = [page for page in pages if not is_bag_page(page)]
    if plan.get("kits"):
        pages = [page for page in pages if not is_kit_page(page)]
    if plan.get("set"):
        pages = [page for page in pages if not is_buy_page(page)]
    if not plan["layouts"]:
        told = any(w.text == NOTHING for w in pages[0].words)
        report.expect(told and len(pages) == 1, "cut plans that say nothing is cut", NAME,
                      "has pages and nothing is cut")  # fmt: skip
        return
    pieces = {p["id"]: p for p in plan["pieces"]}
    number, kit_of = plan["part"]["number"], kits_of(plan)
    cuts = {x["stock"]: cuts_of(x, pieces, number, kit_of) for x in plan["layouts"]}
    unit, names = tape_unit(plan), Names(plan)
    single = [x for x in plan["layouts"] if x["kind"] != "bar"]
    bars = [x for x in plan["layouts"] if x["kind"] == "bar"]
    left = list(pages)
    for layout in single:
        stock = layout["stock"]
        own = [p for p in left if heading(p) and reads_as(heading(p)[0], stock)
               and table_heads(p)[0] != "bars"]  # fmt: skip
        left = [p for p in left if not any(p is q for q in own)]
        _check_stock(layout, cuts[stock], names, own, unit, report)
        check_table(plan, layout, unit, f"{NAME}, {stock}", report)
    if bars:
        _check_bars(bars, cuts, names, left, unit, report)
    elif left:
        report.fault(NAME, f"has a page of {heading(left[0])[:1]}, which is no stock of the plan")


def check_in_order(pages: list[Page], number: str, report: Report) -> None:
    """The sheets of a cut plan are numbered through, and all of one part or set."""
    for k, page in enumerate(pages, start=1):
        told = in_title_block(page, "Sheet")
        report.expect(told == f"{k} / {len(pages)}", "sheets of the cut plan in order", NAME,
                      f"sheet {k} of {len(pages)} says {told!r}")  # fmt: skip
        told = in_title_block(page, "Part number")
        report.expect(reads_as(told, number), "sheets of the cut plan of this part", NAME,
                      f"sheet {k} is of {told!r}")  # fmt: skip


def _check_stock(
    layout: dict, cuts: list[Cut], names: Names, pages: list[Page], unit: str, report: Report
) -> None:
    """The drawing and the table of one roll or sheet."""
    where = f"{NAME}, {layout['stock']}"
    tables = [p for p in pages if table_heads(p)[0]]
    drawings = [p for p in pages if not table_heads(p)[0]]
    report.expect(bool(tables and drawings), "stock with its drawing and its mark-out table",
                  where, "has no drawing" if tables else "has no mark-out table")  # fmt: skip
    for page in pages:
        _check_said(layout, names, heading(page), where, report)
    found = blocks(tables)
    if layout["bays"]:
        check_reading(layout, tables, unit, where, report)
    _check_marks(layout, cuts, found, unit, where, report)
    _check_across(layout, cuts, found, drawings, unit, where, report)
    for page in drawings:
        check_figures(layout, len(cuts), page, unit, where, report)
        _check_order(found, cuts, page, where, report)
    check_picture([(layout, cuts)], drawings, unit, where, report)


def _check_said(layout: dict, names: Names, told: list[str], where: str, report: Report) -> None:
    """What kind of stock it is, of which material, and whether it is there."""
    said = told[1] if len(told) == 3 else ""
    state = "to buy" if layout["bought"] else "on the shelf"
    due = f"{layout['kind']} of {names.called(layout['material'])}, {state}"
    report.expect(len(told) == 2 or same(said, due), "stock with its kind, its material and where "
                  "it is", where, f"is called {said!r}, not {due!r}")  # fmt: skip


# ---------------------------------------------------------------- corners


def _check_marks(
    layout: dict, cuts: list[Cut], found: list[Block], unit: str, where: str, report: Report
) -> None:
    """Each piece once, in the order of cutting, with its own corners."""
    left, placed = list(cuts), []
    last = -np.inf
    shown = [row for row in by_bay(found, layout)
             if not (row[2].title.startswith(ACROSS) or is_bay(row[2]))]  # fmt: skip
    for order, (number, line, block) in enumerate(shown, start=1):
        title = _TITLE.fullmatch(block.title)
        if not title or int(title[1]) != order:
            report.fault(where, f"{block.title!r} stands where number {order} of its pieces is due")
            continue
        told = _marks(block, unit)
        if told is None:
            report.fault(where, f"the corners of {block.title!r} are not numbered from 1")
            continue
        marks = told + (line, 0.0)
        cut = _meant(title[2], block, left, marks)
        if not report.expect(cut is not None, "pieces marked out by name and copy", where,
                             f"marks out {block.title!r}, which is not cut here "
                             "or stands there before"):  # fmt: skip
            continue
        assert cut is not None
        left = [c for c in left if c is not cut]
        placed.append(cut)
        report.expect(cut.bay == number, "pieces marked out in the bay they begin in", where,
                      f"{block.title!r} is told from line {number}, it begins behind line {cut.bay}"
                      )  # fmt: skip
        low = float(cut.ring_mm[:, 0].min())
        report.expect(low >= last - 0.11, "pieces marked out from the end of the stock on", where,
                      f"{block.title!r} lies nearer to the end than the one before")  # fmt: skip
        last = max(last, low)
        at = f"{where}, {block.title}"
        _check_words(cut, block, at, report)
        _check_corners(cut, block, told, unit, at, report)
        if cut.holes_mm is not None:
            check_openings([hole - (line, 0.0) for hole in cut.holes_mm], block, unit, at, report)
        long = long_said(told, number, layout, unit)
        good = ("Longerthanthetable" in block.said) == bool(long)
        report.expect(good and squeeze(long or "") in block.said, "pieces longer than the table "
                      "told how they are measured", at, "is told otherwise")  # fmt: skip
    for cut in left:
        report.fault(where, f"does not mark out {cut.part}/{cut.piece}, copy {cut.copy}")
    check_bay_blocks(layout, placed, found, unit, where, report)


def _marks(block: Block, unit: str) -> np.ndarray | None:
    """The corners of a block; None where they are not numbered one by one."""
    rows = [row for row in block.rows if row[0][:1].isdigit()]
    numbers = [row[0] for row in rows]
    if len(numbers) < 3 or numbers != [f"{k}" for k in range(1, len(numbers) + 1)]:
        return None
    return np.array([[length_mm(x, unit), length_mm(y, unit)] for _, x, y in rows])


def _meant(name: str, block: Block, left: list[Cut], marks: np.ndarray) -> Cut | None:
    """The piece a block means: by name and copy; a name cut short may mean several."""
    copy = _COPY.match(block.said)
    number = int(copy[1]) if copy else 1
    able = [c for c in left if c.copy == number and any(reads_as(name, n) for n in c.names)]
    box = np.concatenate([marks.min(axis=0), marks.max(axis=0)])

    def off(cut: Cut) -> float:
        own = np.concatenate([cut.ring_mm.min(axis=0), cut.ring_mm.max(axis=0)])
        return float(np.abs(own - box).max())

    return min(able, key=off, default=None)


def _check_words(cut: Cut, block: Block, where: str, report: Report) -> None:
    """Copy, angle and face beside the name."""
    copy = _COPY.match(block.said)
    if cut.quantity is not None:
        told = copy is not None and int(copy[2]) == cut.quantity
        report.expect(told or (copy is None and cut.quantity == 1),
                      "marked pieces with their number of copies", where,
                      f"its copies are not {cut.quantity}")  # fmt: skip
    if cut.kind == "ply" and cut.angle_deg is not None:
        angle = _ANGLE.search(block.said)
        off = abs(told_deg(angle[1]) - cut.angle_deg) % 180.0 if angle else 90.0
        report.expect(min(off, 180.0 - off) <= 0.05 + 1e-6, "marked plies with their angle", where,
                      f"its angle is not {cut.angle_deg:g} degrees")  # fmt: skip
    report.expect(("FACEDOWN" in block.said) == cut.flipped, "marked pieces with the face that is "
                  "up", where, "is told to lie on the wrong face")  # fmt: skip


def _check_corners(
    cut: Cut, block: Block, marks: np.ndarray, unit: str, where: str, report: Report
) -> None:
    """The corners, from the line of the bay, are those of plan.json; marked with another part's
    tape, they are held against the outline themselves."""
    ring = cut.ring_mm - (cut.line_mm, 0.0)
    try:
        corner = round_told(marks, " ".join(block.words), unit)
    except ValueError as wrong:
        report.fault(where, f"tells {wrong}")
        return
    known = cut.corner_mm is None or abs(corner - cut.corner_mm) <= corners.ROUND_MM
    report.expect(known, "round pieces and corners with their size", where,
                  f"is told to be rounded to {corner:.2f} mm, not {cut.corner_mm}")  # fmt: skip
    if cut.told_mm is None:
        corners.check_marks(marks, ring, unit, where, report, corner)
    else:
        good = marks.shape == cut.told_mm.shape and np.abs(marks - cut.told_mm).max() < 1e-3
        report.expect(bool(good), "pieces with the corner points of plan.json", where,
                      "a corner is not where plan.json has it")  # fmt: skip
    told = _OVER.search(block.said)
    over = corners.over_mm(corners.rounded(marks, corner), ring)
    step = corners.INCH_MM if told and told[2] == "in" else 1.0
    high = float(told[1]) * step if told else LITTLE_MM
    low = high - (step if step == 1.0 else step / 100) if told else 0.0
    report.expect(low - ROUNDING_MM <= over <= high + ROUNDING_MM,
                  "mark-outs as far over as they say", where,
                  f"stands {over:.2f} mm over, it says {told and told[1]}")  # fmt: skip


# ---------------------------------------------------------------- cuts across


def _check_across(
    layout: dict, cuts: list[Cut], found: list[Block], drawings: list[Page], unit: str, where: str,
    report: Report,
) -> None:  # fmt: skip
    """A roll is cut across where kits part, stages where there are none, and nowhere else; no
    piece lies under the cut."""
    half = TAPE_MM[unit] + ROUNDING_MM
    wide = whole_width_mm(layout)
    crossing, placed = [], 0
    for _, line, block in by_bay(found, layout):
        if is_bay(block):
            continue
        if not block.title.startswith(ACROSS):
            placed += 1
            continue
        if [row[0] for row in block.rows] != ["from", "to"]:
            report.fault(where, "a cut across has not two ends")
            continue
        (_, x, y), (_, x1, y1) = block.rows
        along, ends = line + length_mm(x, unit), (length_mm(y, unit), length_mm(y1, unit))
        straight = x == x1 and ends[0] == 0.0 and abs(ends[1] - wide) <= half
        report.expect(straight, "cuts across from edge to edge", where,
                      f"the cut across at {x} does not run from 0 to the other edge")  # fmt: skip
        before = sum(float(c.ring_mm[:, 0].max()) <= along + half for c in cuts)
        after = sum(float(c.ring_mm[:, 0].min()) >= along - half for c in cuts)
        report.expect(before == placed and before + after == len(cuts),
                      "cuts across between two pieces", where,
                      f"a piece lies under the cut across at {x}")  # fmt: skip
        crossing.append((along, block))
    if layout["bays"]:
        check_lines_drawn(layout, drawings, [at for at, _ in crossing], unit, where, report)
        crossing = sorted([*crossing, *kit_lines(found, layout)], key=lambda row: row[0])
    drawn = {_across_mm(m[1], m[2]) for page in drawings for w in page.words
             if (m := _AT.fullmatch(w.text))}  # fmt: skip
    told = {round(along, 2) for along, _ in crossing if not layout["bays"]}
    report.expect(drawn == told, "drawings with the cuts across of their table", where,
                  f"cuts across are drawn at {sorted(drawn)}, told at {sorted(told)}")  # fmt: skip
    if layout["kind"] == "roll" and all(c.kit is not None for c in cuts):
        tries = [_partings(cuts, slack) for slack in (0.0, ROUNDING_MM, -ROUNDING_MM)]
        good = any(_same_partings(crossing, due, half) for due in tries)
        report.expect(good, "rolls cut across just where their stages part", where,
                      f"its stages part at {[round(p[0], 1) for p in tries[0]]} mm")  # fmt: skip


def _across_mm(figure: str, unit: str) -> float:
    return round(length_mm(figure, "in") if unit == "in" else 1000 * float(figure), 2)


Parting = tuple[float, float, list[str], list[str]]


def _partings(cuts: list[Cut], slack: float) -> list[Parting]:
    """Where stages part along a roll: from, to, and the stages before and after."""
    spans: dict[str, tuple[float, float]] = {}
    for cut in cuts:
        low, high = spans.get(str(cut.kit), (np.inf, -np.inf))
        along = cut.ring_mm[:, 0]
        spans[str(cut.kit)] = min(low, float(along.min())), max(high, float(along.max()))
    runs: list[tuple[list[str], float, float]] = []
    for stage, (low, high) in sorted(spans.items(), key=lambda row: row[1]):
        if runs and low < runs[-1][2] - slack:
            names, start, end = runs.pop()
            runs.append(([*names, stage], start, max(end, high)))
        else:
            runs.append(([stage], low, high))
    return [(a[2], b[1], a[0], b[0]) for a, b in zip(runs, runs[1:], strict=False)]


def _same_partings(crossing: list[tuple[float, Block]], due: list[Parting], half: float) -> bool:
    return len(crossing) == len(due) and all(
        low - half <= along <= high + half and _names_stages(block.said, before, after)
        for (along, block), (low, high, before, after) in zip(crossing, due, strict=True)
    )


def _names_stages(said: str, before: list[str], after: list[str]) -> bool:
    """The words beside a cut name the stages on either side, in any order."""
    first, parted, second = said.partition(",afteritthoseof")
    return bool(parted) and all(
        part.startswith(lead) and part.endswith(tail)
        and all(any(reads_as(part[k : k + len(n)], n) for k in range(len(part))) for n in wanted)
        and len(part) == len(lead + tail) + len("and".join(wanted))
        for part, lead, tail, names in (
            (first, "Beforeitliethepiecesof", "", before), (second, "", ".", after)
        )
        for wanted in [[squeeze(name) for name in names]]
    )  # fmt: skip


# ---------------------------------------------------------------- figures


def _check_order(
    found: list[Block], cuts: list[Cut], page: Page, where: str, report: Report
) -> None:
    """Names in the order of cutting are those of the table, as far as there is room."""
    notes = [w for w in page.words if w.at_mm[1] <= block_top_mm(page) and w.at_mm[0] < _left(page)]
    lines = [w.text for w in sorted(notes, key=lambda w: -w.at_mm[1])]
    start = next((k for k, x in enumerate(lines) if x.startswith("Cut in this order: ")), None)
    names = [m[2] for b in found if (m := _TITLE.fullmatch(b.title))]
    whole = [next((n for c in cuts for n in c.names if reads_as(name, n)), name) for name in names]
    due = squeeze("Cut in this order: " + ", ".join(dict.fromkeys(whole)))
    said, rest = "", lines[start:] if start is not None else []
    if any(name.endswith("\u2026") for name in names) or not rest:
        report.expect(bool(rest), "drawings with the order of cutting", where, "says no order")
        return
    while rest and reads_as(said + squeeze(rest[0]), due[: len(said + squeeze(rest[0]))]):
        said += squeeze(rest.pop(0))
    more = bool(rest) and rest[0].startswith("\u2026 the mark-out table")
    report.expect(bool(said) and (len(said) == len(due) or more),
                  "drawings with the order of cutting of their table", where,
                  "its order of cutting is not that of its table")  # fmt: skip


def _left(page: Page) -> float:
    """Where the title block begins."""
    return min((w.at_mm[0] for w in page.words if w.text == "Part number"), default=0.0)


# ---------------------------------------------------------------- bars


def _check_bars(
    bars: list[dict], cuts: dict[str, list[Cut]], names: Names, pages: list[Page], unit: str,
    report: Report,
) -> None:  # fmt: skip
    """The lengths cut from every bar, all in one table."""
    tables = [p for p in pages if table_heads(p)[0] == "bars"]
    drawings = [p for p in pages if not table_heads(p)[0]]
    found = {block.title: block for block in blocks(tables)}
    rest = list(bars)
    for named, alike in groupby(drawings, lambda page: heading(page)[0]):
        own = list(alike)
        count = next((k for k in range(len(rest), 0, -1) if any(
            reads_as(named, name) for name in
            ([rest[0]["stock"]] if k == 1 else [f"{rest[0]['stock']} to {rest[k - 1]['stock']}"])
        )), 0)  # fmt: skip
        if not report.expect(count > 0, "sheets of bars in order", NAME,
                             f"has a page of {named!r} out of its turn"):  # fmt: skip
            continue
        group, rest = rest[:count], rest[count:]
        where = f"{NAME}, {named}"
        for page in own:
            for layout in group:
                _check_said(layout, names, heading(page), where, report)
            _check_lengths_left(group, found, cuts, page, unit, where, report)
        check_picture([(x, cuts[x["stock"]]) for x in group], own, unit, where, report)
    report.expect(not rest and len(found) == len(bars), "bars with their drawing and their table",
                  NAME, f"{len(bars) - len(rest)} of {len(bars)} bars are drawn, "
                  f"{len(found)} told")  # fmt: skip
    for layout in bars:
        stock = layout["stock"]
        block = next((b for title, b in found.items() if reads_as(title, stock)), None)
        if block is None:
            report.fault(NAME, f"has no lengths of bar {stock}")
        else:
            _check_bar(block, cuts[stock], unit, f"{NAME}, {stock}", report)


def _check_bar(block: Block, cuts: list[Cut], unit: str, where: str, report: Report) -> None:
    """Each length by name, from and to as its corner points in plan.json have it."""
    said = dict(re.findall(r"(?:^|·)(\d+):([^·]*)", block.said))
    left = list(cuts)
    for order, (number, start, stop) in enumerate(block.rows, start=1):
        name = said.get(number, "")
        low, high = length_mm(start, unit), length_mm(stop, unit)
        named = (c for c in left if any(reads_as(name, squeeze(n)) for n in c.names))
        meant = next((c for c in named if _spans(c, low, high, unit)), None)
        good = meant is not None and number == f"{order}"
        report.expect(good, "lengths of bars from end to end", where,
                      f"{number}: {name} from {start} to {stop} is not what is cut")  # fmt: skip
        left = [c for c in left if c is not meant]
    for cut in left:
        report.fault(where, f"does not tell {cut.part}/{cut.piece}, copy {cut.copy}")


def _spans(cut: Cut, low: float, high: float, unit: str) -> bool:
    """Whether a length runs from and to where it should; marked with another part's tape, to the
    next marks outside the piece."""
    known = cut.marks_mm is not None
    along = (cut.marks_mm if cut.marks_mm is not None else cut.ring_mm)[:, 0]
    step = 0.0 if known else corners.STEP_MM[unit]
    over = (float(along.min()) - low, high - float(along.max()))
    return all(-TOUCH_MM <= x <= step + TOUCH_MM for x in over)


def _check_lengths_left(
    bars: list[dict], found: dict[str, Block], cuts: dict[str, list[Cut]], page: Page, unit: str,
    where: str, report: Report,
) -> None:  # fmt: skip
    """How many lengths come off each bar, and what is left of it."""
    lines = [w.text for w in page.words if w.at_mm[1] <= block_top_mm(page)]
    for layout in bars:
        stock, own = layout["stock"], cuts[layout["stock"]]
        rows = found[stock].rows if stock in found else []
        last = max((length_mm(stop, unit) for _, _, stop in rows), default=0.0)
        left = max(0.0, layout["length_mm"] - last)
        lead = f"{stock}: "
        told = [m for x in lines if reads_as(x[: len(lead)], lead)
                and (m := _BAR.fullmatch(x[len(lead) :]))]  # fmt: skip
        good = any(
            int(m[1]) == len(own) and m[3] == unit
            and abs(length_mm(m[2], unit) - left) <= SAID_MM[unit] + ROUNDING_MM
            for m in told
        )  # fmt: skip
        report.expect(
            good or any(x.endswith("\u2026") for x in lines),
            "drawings with what is left of each bar",
            where,
            f"does not say that {len(own)} come off {stock}, {left:.1f} mm left",
        )
