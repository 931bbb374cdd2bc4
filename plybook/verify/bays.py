"""Bays of a roll: worked out again from where the pieces lie, and what is said of them.

Terms:
    line: straight across the roll, told from the one before; line 1 is the roll's end.
    bay: what begins between a line and the next one; it has the number of its first line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import numpy as np

from plybook.verify.corners import INCH_MM, on_the_tape
from plybook.verify.cut_pages import (
    FIGURE,
    Block,
    Cut,
    cuts_of,
    length_mm,
    squeeze,
    table_heads,
    whole_width_mm,
)
from plybook.verify.pdf_pages import Page
from plybook.verify.report import Report

NEAR_MM = 0.002  # of places along a roll; plan.json has them to 0.0001 mm
SQUARE_MM = 3.2  # corners of the square around a circle may lie off the cloth by less
ROOM_MM = 16.0  # a bay begins so far before its first piece, with what rounding takes
HALF_MM = {"mm": 0.05, "in": INCH_MM / 128}  # half of the last mark of a running figure
TABLE_MM = {"mm": 0.5, "in": INCH_MM / 32}  # the same of a length in words
BEFORE_IT = "Before it lie the pieces of "
_BAY = re.compile(r"BAY (\d+)")
_LINE = re.compile(
    rf"(?:LINE (\d+): )?(CUT|DRAW) ACROSS ({FIGURE}) (mm|in) from line (\d+)"
)  # fmt: skip
WORKED = re.compile(
    rf"The roll is worked in bays that lie on a table of ({FIGURE}) (mm|in): line 1 is its end\. "
    r"Measure each next line from the one before along both edges\. When the bay is marked out, "
    r"cut all of it, then roll on until the next line lies at the end of the table\."
)


def check_all_bays(plan: dict, report: Report) -> None:
    """The bays of every roll of a part, and the corners of its pieces told from their lines."""
    pieces, number = {p["id"]: p for p in plan["pieces"]}, plan["part"]["number"]
    for layout in plan["layouts"]:
        where = f"layout {layout['stock']}"
        cuts = cuts_of(layout, pieces, number)
        check_bays(layout, cuts, where, report)
        for placement, cut in zip(layout["placements"], cuts, strict=False):
            at = f"{where}, {cut.piece} copy {cut.copy}"
            check_in_bay(placement, cut, layout, at, report)


def check_table(plan: dict, layout: dict, unit: str, where: str, report: Report) -> None:
    """The bays are made for the table of the workshop, and lie on the marks of a tape.

    Args:
        plan: whose cut plan it is; of a set, `workshop` is the first part's.
        layout: of it.
        unit: "mm" or "in": of the tape.
        where: names the stock in the report.
        report: takes what is found.
    """
    table = plan["workshop"]["table_mm"]
    report.expect(layout["table_mm"] == table, "rolls cut on the table of the workshop", where,
                  f"is cut on a table of {layout['table_mm']:g} mm, not {table:g}")  # fmt: skip
    at = np.array([[bay["at_mm"]] for bay in layout["bays"]])
    report.expect(not len(at) or on_the_tape(at, unit), "lines on the marks of a tape", where,
                  "has a line that no tape shows")  # fmt: skip


def check_bays(layout: dict, cuts: Sequence[Cut], where: str, report: Report) -> None:
    """The bays of plan.json.

    Args:
        layout: one unit of stock.
        cuts: every piece on it, of all parts.
        where: names the stock in the report.
        report: takes what is found.
    """
    bays, table = layout["bays"], float(layout["table_mm"])
    spans = np.array([_span(cut) for cut in cuts]).reshape(-1, 2)
    end = float(spans[:, 1].max(initial=0.0))
    if not bays or layout["kind"] != "roll":
        short = end <= table + NEAR_MM or not table
        report.expect(not bays and (layout["kind"] != "roll" or short), "stock without bays where "
                      "all of it lies on the table", where, "is longer than the table and has no "
                      "bays, or has some and should not")  # fmt: skip
        return
    at = np.array([bay["at_mm"] for bay in bays] + [bays[-1]["to_mm"]])
    joined = all(abs(bay["to_mm"] - x) <= NEAR_MM for bay, x in zip(bays, at[1:], strict=True))
    counted = [bay["number"] for bay in bays] == list(range(1, len(bays) + 1))
    good = joined and counted and at[0] == 0.0 and bool((np.diff(at) > 0).all())
    report.expect(good, "bays one after another from the end of the roll", where,
                  "has bays that do not follow one another")  # fmt: skip
    report.expect(bool((np.diff(at) <= table + NEAR_MM).all()), "lines no further apart than the "
                  "table is long", where, f"has lines {np.diff(at).max():.1f} mm apart on a table "
                  f"of {table:g} mm")  # fmt: skip
    report.expect(at[-1] >= end - NEAR_MM, "rolls whose last line lies behind their pieces", where,
                  f"ends its bays at {at[-1]:.1f} mm, its pieces at {end:.1f} mm")  # fmt: skip
    for bay in bays:
        over = _under(bay["to_mm"], spans)
        report.expect(bay["cut"] == (not over.any()), "lines cut along just where no piece lies",
                      where, f"line {bay['number'] + 1} is {'cut' * bay['cut'] or 'not cut'}, and "
                      f"{over.sum()} pieces lie over it")  # fmt: skip


def _span(cut: Cut) -> tuple[float, float]:
    return float(cut.ring_mm[:, 0].min()), float(cut.ring_mm[:, 0].max())


def _under(at_mm: float, spans: np.ndarray) -> np.ndarray:
    """Which pieces lie over a line, by more than a rounding."""
    return (spans[:, 0] < at_mm - NEAR_MM) & (spans[:, 1] > at_mm + NEAR_MM)


def check_in_bay(placement: dict, cut: Cut, layout: dict, where: str, report: Report) -> None:
    """A placement with its bay, and its corners from the line of that."""
    report.expect(placement["bay"] == cut.bay, "pieces in the bay they begin in", where,
                  f"is of bay {placement['bay']}, it begins in bay {cut.bay}")  # fmt: skip
    told, marks = np.array(placement["in_bay_mm"]), np.array(placement["marks_mm"])
    good = told.shape == marks.shape and np.abs(told + (cut.line_mm, 0.0) - marks).max() < 1e-3
    report.expect(bool(good), "corners told from the line of their bay", where,
                  "has corners that are not those from its line")  # fmt: skip
    if cut.bay and good:
        low, high = _span(cut)
        least = -SQUARE_MM if placement["corner_mm"] else -NEAR_MM
        fits = float(told[:, 0].max()) <= layout["table_mm"] - least
        long = high - low > layout["table_mm"] - ROOM_MM
        report.expect(float(told[:, 0].min()) >= least and (fits or long),
                      "corners that lie on the table with their line", where,
                      f"reaches {told[:, 0].max():.1f} mm from its line")  # fmt: skip


# ---------------------------------------------------------------- what is said


def by_bay(found: Sequence[Block], layout: dict) -> Iterator[tuple[int, float, Block]]:
    """The blocks of a mark-out table, each with the bay it stands in and where that begins."""
    number, line = 0, 0.0
    for block in found:
        if named := _BAY.fullmatch(block.title):
            number = int(named[1])
            known = [bay["at_mm"] for bay in layout["bays"] if bay["number"] == number]
            line = float(known[0]) if known else 0.0
        yield number, line, block


def is_bay(block: Block) -> bool:
    """Whether a block of a mark-out table is a bay, not a piece."""
    return _BAY.fullmatch(block.title) is not None


def check_bay_blocks(
    layout: dict, placed: Sequence[Cut], found: Sequence[Block], unit: str, where: str,
    report: Report,
) -> None:  # fmt: skip
    """Each bay stands in the table once, with its words and the next line from edge to edge.

    Args:
        layout: of plan.json.
        placed: its pieces in the order of the table.
        found: the blocks of the table.
        unit: "mm" or "in": of the tape.
        where: names the stock in the report.
        report: takes what is found.
    """
    blocks = [block for block in found if is_bay(block)]
    titles = [block.title for block in blocks]
    report.expect(titles == [f"BAY {bay['number']}" for bay in layout["bays"]], "mark-out tables "
                  "with each bay once", where, f"has the bays {titles}")  # fmt: skip
    for bay, block in zip(layout["bays"], blocks, strict=False):
        at, wide = f"{where}, {block.title}", whole_width_mm(layout)
        on = bay["to_mm"] - bay["at_mm"]
        due = [("from", on, 0.0), ("to", on, wide)]
        told = [(name, length_mm(x, unit), length_mm(y, unit)) for name, x, y in block.rows]
        good = len(told) == 2 and all(
            a[0] == b[0] and abs(a[1] - b[1]) <= HALF_MM[unit] and abs(a[2] - b[2]) <= HALF_MM[unit]
            for a, b in zip(told, due, strict=True)
        )
        report.expect(good, "bays with their next line from edge to edge", at,
                      f"tells its next line {block.rows}, it lies {on:.1f} mm on")  # fmt: skip
        said, _, _ = block.said.partition(squeeze(BEFORE_IT))
        due_said = squeeze(bay_said(bay, layout, placed))
        report.expect(said == due_said, "bays with what is done first", at,
                      f"says {block.said!r}")  # fmt: skip


def kit_lines(found: Sequence[Block], layout: dict) -> list[tuple[float, Block]]:
    """The lines at which the cloth is cut between kits, mm along the roll, with the words that say
    so."""
    ends = {f"BAY {bay['number']}": float(bay["to_mm"]) for bay in layout["bays"]}
    told = [(ends.get(b.title, np.nan), b, b.said.find(squeeze(BEFORE_IT)))
            for b in found if is_bay(b)]  # fmt: skip
    return [(at, Block(b.title, [b.said[k:]], b.rows)) for at, b, k in told if k >= 0]


def bay_said(bay: dict, layout: dict, placed: Sequence[Cut]) -> str:
    """The words above the pieces of a bay, without those of kits."""
    number, spans = bay["number"], np.array([_span(cut) for cut in placed]).reshape(-1, 2)
    said = f"From line {number}{', the end of the roll' if number == 1 else ''}. "
    if not any(cut.bay == number for cut in placed):
        said += "No piece begins in it. "
    last, line = number == len(layout["bays"]), f"line {number + 1}"
    if last and bay["to_mm"] >= layout["length_mm"] - NEAR_MM:
        return said + "It ends where the roll ends."
    if last:
        return said + f"First cut straight across at {line}, behind its last piece."
    if bay["cut"]:
        return said + f"First cut straight across at {line}: the bay lies free."
    over = [str(k + 1) for k in np.flatnonzero(_under(bay["to_mm"], spans))]
    listed = " and ".join([", ".join(over[:-1]), over[-1]] if len(over) > 1 else over)
    return said + f"First draw {line} across, over piece{'s' if len(over) > 1 else ''} {listed}."


def long_said(told_mm: np.ndarray, number: int, layout: dict, unit: str) -> str | None:
    """How a piece is measured that is longer than the table, as a pattern; None for any other.

    Args:
        told_mm: (n, 2) its corners, from the line of its bay.
        number: of that bay.
        layout: of plan.json.
        unit: "mm" or "in": of the tape.
    """
    high = float(told_mm[:, 0].max())
    line = next((b["at_mm"] for b in layout["bays"] if b["number"] == number), None)
    if line is None or high <= layout["table_mm"] + NEAR_MM:
        return None
    told = []
    for bay in layout["bays"]:
        off = bay["at_mm"] - line
        if 0.0 < off < high:
            figure = tape_figure(off, unit)
            told.append(f"above {figure} from line {bay['number']}, less {figure}")
    return f"Longer than the table: figures {'; '.join(told)}."


def tape_figure(value_mm: float, unit: str) -> str:
    """A running figure as a tape shows it: tenths of a millimetre, 64ths of an inch."""
    if unit == "mm":
        return f"{round(value_mm, 1) + 0.0:g}" if value_mm < 1e5 else f"{round(value_mm, 1):.1f}"
    ticks = round(value_mm / INCH_MM * 64)
    whole, part = divmod(ticks, 64)
    if not part:
        return str(whole)
    share = int(np.gcd(part, 64))
    return f"{whole} {part // share}/{64 // share}" if whole else f"{part // share}/{64 // share}"


def check_reading(
    layout: dict, tables: Sequence[Page], unit: str, where: str, report: Report
) -> None:
    """How the table is read stands above it on each of its sheets, for a roll in bays."""
    named, step = ("inches", "1/16 in") if unit == "in" else ("mm", "1 mm")
    due = (
        f"Along: from the line of the bay. Across: from its edge. In {named}, to the next {step} "
        "outwards, so that no piece gets smaller. Point 1 is the one nearest to the line; the "
        "others follow counter-clockwise."
    )
    for page in tables:
        top, low = max(w.at_mm[1] for w in page.words) - 0.2, table_heads(page)[1][0].at_mm[1] + 1.0
        lines = sorted((w for w in page.words if low < w.at_mm[1] < top), key=lambda w: -w.at_mm[1])
        said = " ".join(w.text for w in lines)
        good = said.startswith(due) and worked_in(said, layout, unit)
        report.expect(good, "mark-out tables that say how bays are worked", where,
                      f"says otherwise how bays are worked: {said[:40]!r}")  # fmt: skip


def worked_in(said: str, layout: dict, unit: str) -> bool:
    """Whether words say how bays are worked through, with the length of the table."""
    told = WORKED.search(" ".join(said.split()))
    return told is not None and told[2] == unit and (
        abs(length_mm(told[1], unit) - layout["table_mm"]) <= TABLE_MM[unit] + NEAR_MM
    )  # fmt: skip


# ---------------------------------------------------------------- what is drawn

Line = tuple[float, bool]  # where it lies, mm from the roll's end, and whether it is cut along


def lines_told(pages: Sequence[Page], layout: dict) -> list[tuple[int, float, bool]]:
    """What drawings say of lines across: number (0 of a cut that begins no bay), place, whether it
    is a cut; a line told from one that is not there lies nowhere."""
    at = {bay["number"]: float(bay["at_mm"]) for bay in layout["bays"]}
    found = []
    for word in (w for page in pages for w in page.words):
        if told := _LINE.fullmatch(word.text):
            place = at.get(int(told[5]), np.nan) + length_mm(told[3], told[4])
            found.append((int(told[1] or 0), place, told[2] == "CUT"))
    return found


def check_lines_drawn(
    layout: dict, pages: Sequence[Page], across: Sequence[float], unit: str, where: str,
    report: Report,
) -> None:  # fmt: skip
    """The drawings name every line once, told as it is, and each cut that begins no bay.

    Args:
        layout: of plan.json, with bays.
        pages: its drawings.
        across: where its table has cuts that are no lines of bays.
        unit: "mm" or "in": of the tape.
        where: names the stock in the report.
        report: takes what is found.
    """
    due = [(bay["number"] + 1, bay["to_mm"], bay["cut"]) for bay in layout["bays"]]
    due += [(0, x, True) for x in across]
    told = lines_told(pages, layout)
    good = len(told) == len(due) and all(
        any(a[0] == b[0] and abs(a[1] - b[1]) <= HALF_MM[unit] + NEAR_MM and a[2] == b[2]
            for a in told)
        for b in due
    )  # fmt: skip
    report.expect(good, "drawings with the lines of the bays and the cuts of their table", where,
                  f"names the lines {sorted(told)[:3]}, its table {sorted(due)[:3]}")  # fmt: skip


def runs(layout: dict) -> list[tuple[float, float]]:
    """Stretches along which figures run on, from and to: bays, or all of the stock."""
    return [(b["at_mm"], b["to_mm"]) for b in layout.get("bays", ())] or [(0.0, np.inf)]
