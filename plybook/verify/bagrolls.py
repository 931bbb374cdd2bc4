"""What lies under the bags: its rectangles on their rolls, against the rows of quantities and the
laminate they cover; its table and its sheets of the cut plan against plan.json.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator

import numpy as np

from plybook.verify.corners import INCH_MM
from plybook.verify.cut_figures import of_roll
from plybook.verify.cut_pages import (
    FIGURE,
    block_top_mm,
    heading,
    in_title_block,
    length_mm,
)
from plybook.verify.layouts import tape_unit
from plybook.verify.pdf_pages import Page, Words, open_book
from plybook.verify.pieces import ring
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.tables import rows, words
from plybook.verify.tolerances import TOUCH_MM

NAME, TABLE = "cutplan.pdf", "tables/bag_cuts.csv"
UNDER_BAGS = "Under the bags"
_SAID = "cut list of film, felt, mesh and peel ply"
_EDGE_MM = 10.0  # from the edge of the paper
_COLUMNS_MM = (0.0, 8.0, 44.0, 88.0, 132.0)
_NEAR_MM = 0.05
_ALIKE_MM = {"mm": 0.5, "in": INCH_MM / 32}  # half of the last mark of what is cut by tape
_DETAIL = re.compile(rf"(\d+) x ({FIGURE}) (mm|in) x ({FIGURE}) (?:mm|in), (.+)", re.DOTALL)
_SIZE = re.compile(rf"({FIGURE}) × ({FIGURE})")
_SPAN = re.compile(rf"(along|across) ({FIGURE}) to ({FIGURE})")
_FACTS = re.compile(rf"roll ({FIGURE}) (mm|in) wide · (.+) cut off it · (\d+) pieces?")
_COVERS = ("release_film", "breather", "bag_film")  # the whole laminate


def check_bag_rolls(plan: dict, report: Report) -> None:
    """Rolls of plan.json: each rectangle on its roll beside the others, as often as it is needed,
    as large as the quantities say, large enough; the length that is cut is bought."""
    for roll in plan.get("bag_rolls", []):
        _check_roll(roll, f"roll of {roll['item']}", report)
    _check_copies(plan, report)
    _check_amounts(plan, report)
    _check_covering(plan, report)
    _check_bought(plan, report)


def check_bag_files(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The table of cuts and the sheets that show them."""
    _check_table(plan, files, report)
    if NAME not in files:
        return  # told elsewhere
    book = open_book(files[NAME])
    pages = [page for page in map(book.page, range(book.count)) if is_bag_page(page)]
    if not plan["bag_rolls"]:
        report.expect(not pages, "cut plans without bags", NAME, "has cuts for a bag of no roll")
        return
    _Sheets(plan, pages, report).check()


def is_bag_page(page: Page) -> bool:
    """Whether a sheet of the cut plan is of what lies under the bags."""
    return heading(page)[:1] == [UNDER_BAGS]


# ---------------------------------------------------------------- the plan by itself


def _box(cut: dict) -> np.ndarray:
    """(2, 2) from and to, along and across."""
    low = np.array([cut["x_mm"], cut["y_mm"]], float)
    return np.stack([low, low + (cut["along_mm"], cut["across_mm"])])


def _check_roll(roll: dict, where: str, report: Report) -> None:
    boxes = np.array([_box(cut) for cut in roll["cuts"]]).reshape(-1, 2, 2)
    high = np.array([roll["used_length_mm"], roll["width_mm"]])
    inside = (boxes >= -TOUCH_MM).all() and (boxes <= high + TOUCH_MM).all()
    solid = (np.ptp(boxes, axis=1) > 1.0).all()
    report.expect(bool(inside and solid and len(boxes)), "cuts for bags inside their roll", where,
                  "has none, or one that leaves it")  # fmt: skip
    reach = float(boxes[:, 1, 0].max(initial=0.0))
    long = roll["used_length_mm"]
    report.expect(abs(reach - long) <= TOUCH_MM, "rolls for bags as long as their cuts reach",
                  where, f"its cuts reach to {reach:.1f} mm, it says {long:.1f}")  # fmt: skip
    low, top = boxes[:, None, 0], boxes[:, None, 1]
    over = np.minimum(top, boxes[None, :, 1]) - np.maximum(low, boxes[None, :, 0])
    lie_over = (over > TOUCH_MM).all(axis=2)
    np.fill_diagonal(lie_over, False)
    report.expect(not lie_over.any(), "cuts for bags beside one another", where,
                  "has two that lie over one another")  # fmt: skip


def _all_cuts(plan: dict) -> Iterator[tuple[dict, dict]]:
    """(roll, cut) of every rectangle."""
    for roll in plan.get("bag_rolls", []):
        for cut in roll["cuts"]:
            yield roll, cut


def _sides(cut: dict) -> tuple[float, float]:
    """The longer and the shorter side."""
    one, two = float(cut["along_mm"]), float(cut["across_mm"])
    return max(one, two), min(one, two)


def _check_copies(plan: dict, report: Report) -> None:
    """Every cut is there as often as it says, each of the same size, stage and use."""
    found: dict[str, list[tuple[dict, dict]]] = {}
    for roll, cut in _all_cuts(plan):
        found.setdefault(cut["id"], []).append((roll, cut))
    for name, alike in found.items():
        cuts = [cut for _, cut in alike]
        same = {(roll["role"], cut["stage"], cut["of"], cut["where"]) for roll, cut in alike}
        sizes = np.array([_sides(cut) for cut in cuts])
        good = (
            len(same) == 1
            and sorted(cut["copy"] for cut in cuts) == list(range(1, cuts[0]["of"] + 1))
            and float(np.ptp(sizes, axis=0).max()) <= TOUCH_MM
            and name.startswith(f"{cuts[0]['stage']}.{alike[0][0]['role']}")
        )
        report.expect(good, "cuts for bags as often as they are needed", f"cut {name}",
                      f"{len(cuts)} of {cuts[0]['of']} are there, or they differ")  # fmt: skip


def _check_amounts(plan: dict, report: Report) -> None:
    """Stage by stage the cuts are those that the rows of consumables name, with their sizes."""
    rolled = {roll["item"] for roll in plan.get("bag_rolls", [])}
    wanted: dict[tuple[str, str, str], list[tuple[int, float, float]]] = {}
    unit = tape_unit(plan)
    for row in plan["quantities"].get("consumable", []):
        told = _DETAIL.fullmatch(row["detail"])
        if row["unit"] != "m2" or row["item"] not in rolled or told is None:
            report.expect(row["unit"] != "m2" or row["item"] not in rolled,
                          "cuts for bags with their size", row["item"],
                          f"is told as {row['detail']!r}, without a size")  # fmt: skip
            continue
        sides = sorted((length_mm(told[2], told[3]), length_mm(told[4], told[3])), reverse=True)
        key = row["stage"], row["item"], told[5]
        wanted.setdefault(key, []).append((int(told[1]), sides[0], sides[1]))
        area = int(told[1]) * sides[0] * sides[1] / 1e6
        slack = 0.0006 + int(told[1]) * sum(sides) * _ALIKE_MM[unit] / 1e6
        report.expect(abs(area - row["amount"]) <= slack, "areas of cuts for bags", row["item"],
                      f"{told[0]!r} is {area:.3f} m2, stated {row['amount']:.3f}")  # fmt: skip
    there: dict[tuple[str, str, str], list[tuple[int, float, float]]] = {}
    met = set()
    for roll, cut in _all_cuts(plan):
        if cut["id"] not in met:
            met.add(cut["id"])
            key = cut["stage"], roll["item"], cut["where"]
            there.setdefault(key, []).append((cut["of"], *_sides(cut)))
    for key in sorted(set(wanted) | set(there)):
        one, two = sorted(wanted.get(key, [])), sorted(there.get(key, []))
        good = len(one) == len(two) and all(
            a[0] == b[0] and max(abs(x - y) for x, y in zip(a[1:], b[1:], strict=True))
            <= _ALIKE_MM[unit] for a, b in zip(one, two, strict=True)
        )
        report.expect(good, "cuts for bags as the quantities have them", f"stage {key[0]}",
                      f"{key[1]} is cut as {two}, the quantities say {one}")  # fmt: skip


def _check_covering(plan: dict, report: Report) -> None:
    """Release film, breather and bag film are larger than all that is laid so far."""
    laid: list[np.ndarray] = []
    for stage in plan["stages"]:
        laid += [ring(p["laid_outline_mm"]) for p in plan["pieces"] if p["stage"] == stage["id"]]
        own: dict[str, list[dict]] = {}
        for roll, cut in _all_cuts(plan):
            if cut["stage"] == stage["id"] and roll["role"] in _COVERS:
                own.setdefault(roll["role"], []).append(cut)
        for role, cuts in own.items():
            long = min(_sides(cut)[0] for cut in cuts)
            wide = sum(_sides(cut)[1] for cut in cuts)
            long, wide = (long, wide) if len(cuts) > 1 else _sides(cuts[0])
            points = np.concatenate(laid) if laid else np.zeros((1, 2))
            due = sorted(np.ptp(points, axis=0).tolist(), reverse=True)
            report.expect(long >= due[0] - TOUCH_MM and wide >= due[1] - TOUCH_MM,
                          "sheets under bags larger than the laminate", f"stage {stage['id']}",
                          f"its {role} of {long:.0f} x {wide:.0f} mm does not cover "
                          f"{due[0]:.0f} x {due[1]:.0f} mm")  # fmt: skip


def _check_bought(plan: dict, report: Report) -> None:
    """What is wanted of each is what is cut, with what the layouts buy of it, to the next tenth of
    a metre; what is laid out nowhere is not bought by its length."""
    used: dict[str, list[float]] = {
        row["item"]: [] for row in plan["quantities"].get("consumable", []) if row["unit"] == "m2"
    }
    for roll in plan.get("bag_rolls", []):
        used.setdefault(roll["item"], []).append(roll["used_length_mm"])
    names = {key: row["name"] for key, row in plan.get("materials", {}).items()}
    for item, lengths in used.items():
        layouts = [x["used_length_mm"] for x in plan["layouts"]
                   if x["bought"] and names.get(x["material"]) == item]  # fmt: skip
        metres = _metres(math.fsum([*lengths, *layouts]))
        stated = _metres(math.fsum(
            1000 * want["exact"] for want in plan["wants"]
            if want["item"] == item and want["unit"] == "m"
        ))  # fmt: skip
        report.expect(math.isclose(stated, metres, abs_tol=1e-6), "rolls for bags wanted as their "
                      "cuts need", item,
                      f"its cuts take {metres:.1f} m, {stated:.1f} m are wanted")  # fmt: skip


def _metres(length_mm: float) -> float:
    return math.ceil(round(length_mm / 100.0, 6)) / 10.0


# ---------------------------------------------------------------- the table


def _check_table(plan: dict, files: dict[str, bytes], report: Report) -> None:
    table = rows("bag_cuts", files, report)
    met: Counter[str] = Counter()
    due = []
    for roll in plan["bag_rolls"]:
        met[roll["role"]] += 1
        for number, cut in enumerate(roll["cuts"], start=1):
            low, high = _box(cut)
            due.append((
                (roll["item"], f"{met[roll['role']]}", f"{number}", cut["id"], cut["stage"],
                 f"{cut['copy']}", f"{cut['of']}", cut["where"]),
                (roll["width_mm"], low[0], high[0], low[1], high[1]),
            ))  # fmt: skip
    told = ("material", "roll", "number", "cut", "stage", "copy", "of", "where")
    figures = ("roll_width_mm", "along_from_mm", "along_to_mm", "across_from_mm", "across_to_mm")
    good = len(due) == len(table) and all(
        tuple(words(row[k]) for k in told) == said
        and max(abs(float(row[k]) - v) for k, v in zip(figures, values, strict=True)) < 0.06
        for row, (said, values) in zip(table, due, strict=True)
    )
    report.expect(good, "tables of cuts for bags equal to plan.json", TABLE,
                  "differs from plan.json")  # fmt: skip


# ---------------------------------------------------------------- the sheets


class _Sheets:
    """The sheets of what lies under the bags, read from above.

    Args:
        plan: what is held true.
        pages: in their order.
        report: takes what is found.
    """

    def __init__(self, plan: dict, pages: list[Page], report: Report):
        self.plan, self.pages, self.report = plan, pages, report
        self.unit = tape_unit(plan)
        self.half = _ALIKE_MM[self.unit] + 2 * TOUCH_MM
        self.stages = {stage["id"]: f"Stage {n}, {stage['title']}"
                       for n, stage in enumerate(plan["stages"], start=1)}  # fmt: skip

    def check(self) -> None:
        left = [(roll, list(enumerate(roll["cuts"], start=1))) for roll in self.plan["bag_rolls"]]
        named = drawn = 0
        for k, page in enumerate(self.pages, start=1):
            where = f"{NAME}, {UNDER_BAGS} {k}"
            frames, cuts, wrong = self._pictures(page)
            self._expect(not wrong, "sheets of bags without a stray line", where, wrong)
            for line in self._lines(page, frames, where):
                if len(line) == 2:
                    goes_on = line[0].text.endswith(" (goes on)")
                    if not goes_on:
                        if named and left[named - 1][1]:
                            self._expect(False, "", where, left[named - 1][1][:1])
                        named += 1
                        frame = frames.pop(0) if frames else None
                        drawn += frame is not None
                        if named <= len(left):
                            self._check_picture(left[named - 1][0], frame, cuts, page, where)
                    good = 0 < named <= len(left) and self._names(line, left[named - 1][0])
                    self._expect(good, "rolls for bags with their name and length", where,
                                 [w.text for w in line])  # fmt: skip
                    continue
                own = left[named - 1][1] if 0 < named <= len(left) else []
                good = bool(own) and self._tells(line, *own[0])
                self._expect(good, "cuts for bags told with size, place and use", where,
                             [w.text for w in line])  # fmt: skip
                del own[:1]
            self._expect(not frames and not cuts, "sheets of bags without a stray picture", where,
                         f"{len(frames)} rolls and {len(cuts)} cuts")  # fmt: skip
        lost = [roll["item"] for roll, own in left if own] or [named, drawn, len(left)]
        self._expect(named == drawn == len(left) and not any(own for _, own in left),
                     "rolls for bags drawn and listed whole", NAME, lost)  # fmt: skip

    def _expect(self, good: bool, what: str, where: str, found: object) -> None:
        self.report.expect(good, what, where, f"is not as plan.json has it: {found}")

    def _pictures(self, page: Page) -> tuple[list[np.ndarray], list[np.ndarray], list[str]]:
        """Frames of rolls from above, boxes of cuts, (2, 2) each, and what is neither."""
        frames, cuts, wrong = [], [], []
        for line in page.lines:
            if line.points[:, 1].min() <= block_top_mm(page) + 3.5:
                continue
            box = np.stack([line.points.min(axis=0), line.points.max(axis=0)])
            square = len(line.points) == 4 and line.closed and all(
                (np.abs(p - box).min(axis=0) <= _NEAR_MM).all() for p in line.points
            )
            if square and line.mark in ("STOCK", "CUT"):
                (frames if line.mark == "STOCK" else cuts).append(box)
            else:
                wrong.append(f"a line of {line.mark}")
        return sorted(frames, key=lambda b: -b[1, 1]), cuts, wrong

    def _lines(self, page: Page, frames: list[np.ndarray], where: str) -> Iterator[list[Words]]:
        """Lines of words below the reading, numbers in pictures left out."""
        top = page.height_mm - _EDGE_MM - 22.0
        own = [w for w in page.words if w.at_mm[1] > block_top_mm(page) + 1.0]
        own = [w for w in own if not any(_inside(w, frame) for frame in frames)]
        head = [w for w in own if w.at_mm[1] > top + 0.5]
        said = "".join(w.text for w in sorted(head, key=lambda w: (-w.at_mm[1], w.at_mm[0])))
        unit = "inches" if self.unit == "in" else "mm"
        due = f"{_SAID}{self.plan['part']['number']}Along: from the end of the roll. Across: from "
        due += f"its edge. In {unit}."
        told = re.sub(r"\s", "", said)
        good = told.startswith(re.sub(r"\s", "", UNDER_BAGS)) and re.sub(r"\s", "", due) in told
        self._expect(good, "sheets of bags that say how they are read", where, said[:60])
        levels: list[list[Words]] = []
        for word in sorted((w for w in own if w not in head), key=lambda w: -w.at_mm[1]):
            if levels and abs(levels[-1][0].at_mm[1] - word.at_mm[1]) <= 0.2:
                levels[-1].append(word)
            else:
                levels.append([word])
        for line in levels:
            yield sorted(line, key=lambda w: w.at_mm[0])

    def _names(self, line: list[Words], roll: dict) -> bool:
        """Whether a line is that of a roll: name, width, length, count."""
        name, facts = line
        told = _FACTS.fullmatch(facts.text)
        return bool(
            abs(name.at_mm[0] - _EDGE_MM) <= _NEAR_MM
            and same(name.text.removesuffix(" (goes on)"), roll["item"])
            and told
            and told[2] == self.unit
            and abs(length_mm(told[1], self.unit) - roll["width_mm"]) <= self.half
            and of_roll(told[3], roll["used_length_mm"], self.unit)
            and int(told[4]) == len(roll["cuts"])
        )

    def _tells(self, line: list[Words], number: int, cut: dict) -> bool:
        """Whether a line is that of a cut, with each of its words in its column."""
        if len(line) != len(_COLUMNS_MM):
            return False
        lefts = np.array([w.at_mm[0] for w in line]) - _EDGE_MM
        if np.abs(lefts - _COLUMNS_MM).max() > _NEAR_MM:
            return False
        size, along, across = (
            pattern.fullmatch(w.text)
            for pattern, w in zip((_SIZE, _SPAN, _SPAN), line[1:4], strict=True)
        )
        if line[0].text != f"{number}" or not (size and along and across):
            return False
        low, high = _box(cut)
        stated = [length_mm(x, self.unit) for x in (
            size[1], size[2], along[2], along[3], across[2], across[3])]  # fmt: skip
        due = [*(high - low), low[0], high[0], low[1], high[1]]
        use = f"{self.stages.get(cut['stage'], cut['stage'])}: {cut['where']}"
        if cut["of"] > 1:
            use = f"{cut['copy']} of {cut['of']} · {use}"
        return (
            (along[1], across[1]) == ("along", "across")
            and max(abs(a - b) for a, b in zip(stated, due, strict=True)) <= self.half
            and same(line[4].text, use)
        )

    def _check_picture(
        self, roll: dict, frame: np.ndarray | None, cuts: list[np.ndarray], page: Page, where: str
    ) -> None:
        """The roll and each of its cuts to the scale that the sheet states, each number in its own
        cut."""
        told = re.fullmatch(r"1:(\d+)", in_title_block(page, "Scale"))
        if frame is None or told is None:
            self._expect(False, "", where, "no picture, or no scale")
            return
        scale = float(told[1])
        due = np.array([roll["used_length_mm"], roll["width_mm"]]) / scale
        good = np.abs(np.ptp(frame, axis=0) - due).max() <= _NEAR_MM
        good = good and abs(frame[0, 0] - _EDGE_MM) <= _NEAR_MM
        self._expect(bool(good), "rolls for bags drawn to scale", where, roll["item"])
        boxes = [frame[0] + _box(cut) / scale for cut in roll["cuts"]]
        for box in boxes:
            k = next((k for k, c in enumerate(cuts) if np.abs(c - box).max() <= _NEAR_MM), -1)
            self._expect(k >= 0, "cuts for bags drawn in their place", where, roll["item"])
            if k >= 0:
                cuts.pop(k)
        for word in page.words:
            if _inside(word, frame):
                k = int(word.text) - 1 if word.text.isdigit() else -1
                good = 0 <= k < len(boxes) and _inside(word, boxes[k])
                self._expect(good, "numbers in their own cut", where, word.text)


def _inside(word: Words, box: np.ndarray) -> bool:
    at = np.array(word.at_mm)
    return bool((at > box[0]).all() and (at < box[1]).all())
