"""What the booklet and `tables/setout.csv` tell of the set-out of the mould."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from plybook.verify.printed import MM_PER_INCH, lengths, pattern, squeeze
from plybook.verify.report import Report
from plybook.verify.tables import rows, same_cells

_PAGE = b'data-step="setout"'
_BASES = ("base line", "square line")


def setout_rows(plan: dict) -> Iterator[tuple[str, str]]:
    """Which row of the booklet, and its cells squeezed, a regular expression: stations, diagonals,
    bows and marks; and the sentences with what diagonals and outlines may be off."""
    held, units = plan["setout"], plan["part"]["units"]
    if not held["lines"]:
        return
    if held["left_out"]:
        names = _listed([one["of"] for one in held["left_out"]])
        yield "what it leaves out", _text(f"Not on this sheet: {names}.")
    first, last = (line["name"] for line in held["lines"][:2])
    for name in held["rows"]:
        yield name, _station(name, first, last, held, units)
    straight = held["diagonals"]
    for pair in zip(straight[::2], straight[1::2], strict=True):
        told = (f"{row['start']}to{row['end']}{_told(row['mm'], units)}" for row in pair)
        yield f"diagonals of {pair[0]['of']}", _text(pair[0]["of"]) + "".join(told)
    for bow in held["bows"]:
        offsets = ";".join(
            f"{_told(at, units)}:{_told(abs(off), units)}{bow['sides'][0 if off > 0 else 1]}"
            for at, off in zip(bow["at_mm"], bow["offsets_mm"], strict=True)
        )
        said = f"{_text(bow['line'])}{bow['start']}to{bow['end']}{offsets}"
        yield f"bow of {bow['line']}", said
    for mark in held["marks"]:
        if not mark["row"] or mark["role"] not in ("axis", "net line"):
            yield f"mark {mark['number']}", _mark(mark, first, units)
    said = f"Adiagonalthatisoffbymorethan{_bound(held['tolerance_mm'], units)}:"
    yield "the tolerance of its diagonals", said
    within = [x["within_mm"] for x in held["outlines"] if x["role"] != "net line"]
    if within:
        said = f"thetruelinelieswithin{_bound(max(within), units)}ofastraightedge"
        yield "how true its outlines are", said


def _station(name: str, first: str, last: str, held: dict, units: str) -> str:
    own = [mark for mark in held["marks"] if mark["row"] == name]
    axis = [mark for mark in own if mark["role"] == "axis"]
    low, high = (next(m for m in own if m["role"] == "net line" and m["of"] == of)
                 for of in (first, last))  # fmt: skip
    cells = [_text(name)]
    for mark, lines in ((axis[0] if axis else None, ("axis", name)), (low, (first,)),
                        (high, (last, name))):  # fmt: skip
        if mark is not None:
            cells.append(str(mark["number"]))
            told = {tie["line"]: tie["mm"] for tie in mark["ties"]}
            cells += [_told(told[line], units) for line in lines]
    return "".join(cells)


def _mark(mark: dict, first: str, units: str) -> str:
    of = mark["of"] if mark["of"] == mark["role"] else f"{mark['of']}, {mark['role']}"
    of, measured = _text(of), ""
    for tie in mark["ties"]:
        if tie["way"] == "across":
            of += f",middleofacircle{_told(tie['mm'], units)}across"
        elif tie["way"] == "radius":
            of += f",R{_told(tie['mm'], units)}"
        else:
            side = tie["side"] if tie["side"] in ("inside", "outside") else f"{tie['side']} of"
            where = f"{side} {tie['line']}"
            if tie["way"] == "along":
                where = f"{tie['line']} from {first}"
            elif tie["line"] in _BASES:
                beyond = tie["side"] in ("left of", "below")
                where = f"{tie['side'] if beyond else 'from'} the {tie['line']}"
            measured += _text(where) + _told(tie["mm"], units)
    return f"{mark['number']}{of}{measured}"


def _bound(value_mm: float, units: str) -> str:
    """A bound with its unit, to the next mark of the tape above."""
    step = MM_PER_INCH / 32 if units == "in" else 0.5
    return _told(math.ceil(value_mm / step - 1e-9) * step, units) + units


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


def _text(words: str) -> str:
    return pattern(squeeze(words)).pattern


def _told(value_mm: float, units: str) -> str:
    """A length to the half millimetre or the thirty-second of an inch."""
    told = sorted(lengths(value_mm, units, "core"), key=len, reverse=True)
    return f"(?:{'|'.join(map(re.escape, told))})"


# ---------------------------------------------------------------- the table


def check_setout_table(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """`tables/setout.csv`, row by row; neither it nor a page of the booklet where the set-out is
    left out."""
    name = "tables/setout.csv"
    if not plan["setout"]["lines"]:
        report.expect(name not in files, "set-outs that are left out whole", name,
                      "is there, and plan.json leaves it out")  # fmt: skip
        report.expect(_PAGE not in files["booklet.html"], "set-outs that are left out whole",
                      "booklet.html", "shows the set-out that plan.json leaves out")  # fmt: skip
        return
    table, units = rows("setout", files, report), plan["part"]["units"]
    wanted = list(_figures(plan["setout"]))
    if len(table) != len(wanted):
        report.fault(name, f"has {len(table)} rows, plan.json {len(wanted)} figures")
    for row, cells in zip(table, wanted, strict=False):
        tape = "".join(row["tape"].split())
        good = same_cells(row, cells) and tape in {
            f"{told}{units}" for told in lengths(cells["value_mm"], units, "core")
        }
        report.expect(good, "rows of the set-out equal to plan.json", name,
                      f"tells {cells['figure']} of {cells['of']} otherwise")  # fmt: skip


def _figures(held: dict) -> Iterator[dict]:
    blank = {"to": None, "role": None, "from": None, "side": None, "at_mm": None}
    for mark in held["marks"]:
        for tie in mark["ties"]:
            yield {**blank, "figure": tie["way"], "mark": mark["number"], "role": mark["role"],
                   "of": mark["of"], "from": tie["line"], "side": tie["side"],
                   "value_mm": tie["mm"]}  # fmt: skip
    for row in held["diagonals"]:
        yield {**blank, "figure": "diagonal", "mark": row["start"], "to": row["end"],
               "of": row["of"], "value_mm": row["mm"]}  # fmt: skip
    for bow in held["bows"]:
        for at, off in zip(bow["at_mm"], bow["offsets_mm"], strict=True):
            yield {**blank, "figure": "bow", "mark": bow["start"], "to": bow["end"],
                   "of": bow["line"], "from": "string",
                   "side": bow["sides"][0 if off > 0 else 1], "at_mm": at,
                   "value_mm": abs(off)}  # fmt: skip
