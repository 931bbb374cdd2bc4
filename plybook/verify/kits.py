"""Kits: what comes off a roll together, and the table of what each way of sorting pieces takes.

The lengths of the way that is cut are those of the layouts; those of other ways were searched when
the plan was made, and are held only to what no layout can better, the area of the pieces.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from plybook.verify import plane
from plybook.verify.bays import tape_figure
from plybook.verify.cut_pages import Cut, cuts_of, heading
from plybook.verify.cutplaces import EDGE_MM, Columns, check_sheet
from plybook.verify.names import Names
from plybook.verify.pdf_pages import Page, open_book
from plybook.verify.printed import same
from plybook.verify.report import Report
from plybook.verify.tables import rows, words
from plybook.verify.tolerances import TOUCH_MM

NAME, TABLE = "cutplan.pdf", "tables/kits.csv"
WAYS = ("tightest", "by part", "by stage", "by hand")
HANDS = {"left": "the left hand", "right": "the right hand"}
KITS, SAID = "Kits", "what each way of cutting takes off the rolls"
LONGER, NONE, ALIKE_MM = "longer than the tightest", "\u2013", 0.5
READING = (
    "The pieces of a kit lie together on the roll, with a cut straight across between one kit and "
    "the next: cut the kit off, cut its pieces, roll them up and lay them away. Foam, plywood and "
    "bars are cut as they are without kits. Lengths other than those of this plan are the shortest "
    "that were found in as long a search."
)
BOTH = "Both hands at once"
FOLDING = (
    "Either side of these lines lie a kit and its image of the opposite hand: both can be cut at "
    "once. Draw the line across the cloth before anything is cut off, and mark out only the kit "
    "after it. Cut off what lies before the two kits. Fold the cloth on the line, its end "
    "underneath, selvedge on selvedge, and pin or tape both layers together outside the pieces. "
    "Cut through both. The lower layer gives the kit before the line, its pieces face down: write "
    "id, hand and fibre arrow on each before it is lifted. Turn the first two onto each other: "
    "where they differ by more than cloth may, cut each hand by itself."
)
ONE_FACED = "its faces differ, and a piece that comes out face down is soon laid the wrong way up"
UNBALANCED = "its warp and weft differ, and a fold breaks or shifts them"
IMAGE_MM = 0.015  # corners of images stand over one another
CELLS = Columns(1, (110.0, 148.0, 186.0, 224.0))
TABLE_MM = 36.0  # from the upper edge of what is printed to the table
INCH_MM = 25.4
UNSEARCHED = "what kits cut in another way would take: it was searched when the plan was made"

KitOf = Callable[[str, str], str]


def is_kit_page(page: Page) -> bool:
    """Whether a sheet of the cut plan is the table of kits."""
    return heading(page)[:1] == [KITS]


def kits_of(plan: dict) -> KitOf:
    """Gives the kit of a piece by its part and stage; the stage where there are no kits.

    Args:
        plan: `kits` and `part` of plan.json; of a set also `hands`, by part.
    """
    way = next((row["way"] for row in plan.get("kits", []) if row["chosen"]), "")
    hands = plan.get("hands", {plan["part"]["number"]: plan["part"].get("hand")})
    ways: dict[str, KitOf] = {
        "by part": lambda part, stage: part,
        "by stage": lambda part, stage: f"{part} {stage}",
        "by hand": lambda part, stage: HANDS.get(hands[part], "no hand"),
    }
    return ways.get(way, lambda part, stage: stage)


def check_kits(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """The kits of a cut plan: on the rolls, in the table, on paper.

    Args:
        plan: as for the mark-out: of a set, the pieces of all parts stand in `also_cut`.
        files: of the folder.
        report: takes what is found.
    """
    told = plan["kits"]
    if NAME not in files:
        return  # told elsewhere
    book = open_book(files[NAME])
    pages = [page for page in map(book.page, range(book.count)) if is_kit_page(page)]
    rolls = [layout for layout in plan["layouts"] if layout["kind"] == "roll"]
    if not told or not rolls:
        none = not pages and TABLE not in files and not plan["folds"]
        report.expect(none, "cut plans without a table of kits", NAME,
                      "has a table of kits and nothing is cut in kits")  # fmt: skip
        return
    good = tuple(row["way"] for row in told) == WAYS and sum(row["chosen"] for row in told) == 1
    names = [roll["material"] for roll in told[0]["rolls"]]
    good = good and all([x["material"] for x in row["rolls"]] == names for row in told)
    good = good and sorted(names) == sorted({x["material"] for x in rolls})
    if not report.expect(good, "kits told in every way, for each material on rolls", "plan.json",
                         "does not tell all ways, materials or which is chosen"):  # fmt: skip
        return
    _check_rolls(plan, rolls, report)
    _check_lengths(plan, rolls, report)
    _check_table(told, files, report)
    _check_folds(plan, rolls, report)
    _check_pages(plan, pages, report)
    report.unproved.append(UNSEARCHED)


def _check_rolls(plan: dict, rolls: list[dict], report: Report) -> None:
    """On each roll the pieces of one kit end before those of the next begin."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    counts: dict[str, set] = {way: set() for way in WAYS}
    chosen = next(row["way"] for row in plan["kits"] if row["chosen"])
    for layout in rolls:
        for way in WAYS:
            told = {**plan, "kits": [{"way": way, "chosen": True}]}
            cuts = cuts_of(layout, pieces, plan["part"]["number"], kits_of(told))
            counts[way] |= {cut.kit for cut in cuts}
            if way != chosen or way == WAYS[0]:
                continue
            spans: dict[str, tuple[float, float]] = {}
            for cut in cuts:
                low, high = spans.get(str(cut.kit), (np.inf, -np.inf))
                along = cut.ring_mm[:, 0]
                spans[str(cut.kit)] = min(low, float(along.min())), max(high, float(along.max()))
            ordered = sorted(spans.values())
            apart = all(a[1] <= b[0] + TOUCH_MM for a, b in zip(ordered, ordered[1:], strict=False))
            where = f"layout {layout['stock']}"
            report.expect(apart, "rolls on which one kit ends before the next begins", where,
                          f"its kits {way} lie over one another")  # fmt: skip
    for row in plan["kits"]:
        due = 0 if row["way"] == WAYS[0] else len(counts[row["way"]])
        report.expect(row["kits"] == due, "ways told with the number of their kits", "plan.json",
                      f"tells {row['kits']} kits {row['way']}, there are {due}")  # fmt: skip


def _check_folds(plan: dict, rolls: list[dict], report: Report) -> None:
    """Cloth is folded just where the kits on either side are images, of a material that may be."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    number, kit_of = plan["part"]["number"], kits_of(plan)
    chosen = next(row["way"] for row in plan["kits"] if row["chosen"])
    due = []
    for layout in rolls if chosen != WAYS[0] else ():
        kits: dict[str, list[Cut]] = {}
        for cut in cuts_of(layout, pieces, number, kit_of):
            kits.setdefault(str(cut.kit), []).append(cut)
        ordered = sorted(kits.items(), key=lambda kit: _span(kit[1])[0])
        for (lower, below), (upper, above) in zip(ordered, ordered[1:], strict=False):
            at = (_span(below)[1] + _span(above)[0]) / 2
            if _are_images(below, above, at):
                due.append((layout["stock"], layout["material"], lower, upper,
                            _not_folded(plan["materials"][layout["material"]]), at))  # fmt: skip
    keys = ("stock", "material", "lower", "upper", "refused")
    told = [(*(fold[key] for key in keys), fold["at_mm"]) for fold in plan["folds"]]
    good = len(told) == len(due) and all(
        a[:-1] == b[:-1] and abs(a[-1] - b[-1]) <= TOUCH_MM for a, b in zip(told, due, strict=True)
    )
    report.expect(good, "cloth folded just where both hands lie as images", "plan.json",
                  f"folds {told}, its kits are images at {due}")  # fmt: skip


def _not_folded(material: dict) -> str:
    if not material["faces_alike"]:
        return ONE_FACED
    return "" if material["axes_alike"] else UNBALANCED


def _span(cuts: list[Cut]) -> tuple[float, float]:
    return (min(float(cut.ring_mm[:, 0].min()) for cut in cuts),
            max(float(cut.ring_mm[:, 0].max()) for cut in cuts))  # fmt: skip


def _are_images(below: list[Cut], above: list[Cut], at: float) -> bool:
    """Whether each piece of one kit, turned over about a line across the roll, is one of the
    other; of the same name, and with the face up that it has."""
    left = list(above)
    for cut in below:
        ring = cut.ring_mm * (-1.0, 1.0) + (2 * at, 0.0)
        same = (c for c in left if c.piece == cut.piece and c.flipped == cut.flipped
                and _stand_over(ring, c.ring_mm))  # fmt: skip
        if (other := next(same, None)) is None:
            return False
        left = [c for c in left if c is not other]
    return not left


def _stand_over(ring: np.ndarray, other: np.ndarray) -> bool:
    if ring.shape != other.shape:
        return False
    away = np.hypot(*(ring[:, None] - other[None]).transpose(2, 0, 1))
    return bool(max(away.min(axis=0).max(), away.min(axis=1).max()) <= IMAGE_MM)


def _check_lengths(plan: dict, rolls: list[dict], report: Report) -> None:
    """The lengths of the plan itself are those of its layouts; none is less than its area."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    used: dict[str, float] = {}
    least: dict[str, float] = {}
    for layout in rolls:
        name = layout["material"]
        used[name] = used.get(name, 0.0) + layout["used_length_mm"]
        cuts = cuts_of(layout, pieces, plan["part"]["number"])
        area = sum(abs(plane.area(cut.ring_mm)) for cut in cuts)
        wide = max(x["width_mm"] for x in rolls if x["material"] == name)
        least[name] = least.get(name, 0.0) + area / wide
    for row in plan["kits"]:
        for roll in row["rolls"]:
            name, length = roll["material"], roll["length_mm"]
            good = length is None or length >= least[name] - TOUCH_MM
            if row["chosen"]:
                good = length is not None and math.isclose(length, used[name], abs_tol=1e-3)
            report.expect(good, "lengths of kits that can be", "plan.json",
                          f"{name} {row['way']} takes {length} mm, the pieces "
                          f"{used[name] if row['chosen'] else least[name]:.1f}")  # fmt: skip


def _check_table(told: list[dict], files: dict[str, bytes], report: Report) -> None:
    due = [(row["way"], str(row["kits"]), "yes" if row["chosen"] else "no", roll["material"],
            roll["length_mm"]) for row in told for roll in row["rolls"]]  # fmt: skip
    found = rows("kits", files, report)
    good = len(found) == len(due) and all(
        tuple(words(row[k]) for k in ("way", "kits", "cut_so", "material")) == wanted[:4]
        and (row["length_mm"] == "" if wanted[4] is None
             else abs(float(row["length_mm"]) - wanted[4]) <= 0.06)
        for row, wanted in zip(found, due, strict=True)
    )  # fmt: skip
    report.expect(good, "tables of kits equal to plan.json", TABLE, "differs from plan.json")


def _check_pages(plan: dict, pages: list[Page], report: Report) -> None:
    """The sheet with the table, line by line."""
    unit = "in" if plan["part"]["units"] == "in" else "mm"
    due = _lines(plan, unit)
    said: list[list[str]] = []
    for page in pages:
        high = page.height_mm - EDGE_MM - TABLE_MM
        check_sheet(page, f"{NAME}, {KITS}", report, CELLS, high)
        top = max(w.at_mm[1] for w in page.words)
        inside = [w for w in page.words if _foot(page) < w.at_mm[1] < top - 0.2]
        lines: dict[float, list[str]] = {}
        for w in sorted(inside, key=lambda w: w.at_mm[0]):
            lines.setdefault(round(w.at_mm[1], 1), []).append(w.text)
        told = sorted(lines.items(), reverse=True)
        reading = "".join("".join(row) for y, row in told if y > high + 4.0)
        report.expect(same(reading, READING, cut=False), "tables of kits with how they are read",
                      NAME, "says something else of kits")  # fmt: skip
        said += [row for y, row in told if y <= high + 4.0]
    said, folding = _without_folding(said)
    report.expect(same(folding, _folding(plan, unit), cut=False), "tables of kits that say what is "
                  "folded and how", NAME, "says something else of folded cloth")  # fmt: skip
    other = next((a for a, b in zip(said, due, strict=False) if not _alike(a, b)),
                 said[len(due) :] or due[len(said) :])  # fmt: skip
    report.expect(not other, "tables of kits on paper equal to plan.json", NAME,
                  f"has {other} in its table of kits")  # fmt: skip


def _without_folding(lines: list[list[str]]) -> tuple[list[list[str]], str]:
    """The lines of a table without what stands below the title of folded cloth, and that."""
    start = next((k + 1 for k, line in enumerate(lines) if line == [BOTH]), len(lines))
    end = next((k for k in range(start, len(lines)) if len(lines[k]) > 1), len(lines))
    return lines[:start] + lines[end:], "".join(line[0] for line in lines[start:end])


def _folding(plan: dict, unit: str) -> str:
    refused = {fold["material"]: fold["refused"] for fold in plan["folds"] if fold["refused"]}
    said = [f"{Names(plan).called(k)} is not folded: {why}." for k, why in refused.items()]
    named = "inches" if unit == "in" else unit
    if len(refused) < len({fold["material"] for fold in plan["folds"]}):
        said.insert(0, f"{FOLDING} The line: along the roll, from its end or from the line of a "
                    f"bay that is named, in {named}.")  # fmt: skip
    return " ".join(said)


def _alike(said: list[str], due: list[str]) -> bool:
    return len(said) == len(due) and all(map(same, said, due))


def _foot(page: Page) -> float:
    return max((w.at_mm[1] for w in page.words if w.text == "Part number"), default=0.0) + 2.0


def _lines(plan: dict, unit: str) -> list[list[str]]:
    told, names = plan["kits"], Names(plan)
    heads = [f"{row['way']}, cut so" if row["chosen"] else row["way"] for row in told]
    counts = [str(row["kits"] or "none") for row in told]
    found = [heads, ["Off the rolls"], ["kits", *counts]]
    for k, roll in enumerate(told[0]["rolls"]):
        lengths = [row["rolls"][k]["length_mm"] for row in told]
        shown = ("does not fit" if x is None else _roll(x, unit) for x in lengths)
        found.append([names.called(roll["material"]), *shown])
        found.append([LONGER, NONE, *(_more(x, lengths[0], unit) for x in lengths[1:])])
    if plan["folds"]:
        found.append([BOTH])
    for fold in plan["folds"]:
        where = "not folded" if fold["refused"] else _fold_line(plan, fold, unit)
        found.append([f"{fold['stock']}: {fold['lower']} and {fold['upper']}", where])
    return found


def _fold_line(plan: dict, fold: dict, unit: str) -> str:
    """Where cloth is folded, from the line of the bay that it is folded in, if the roll has any."""
    bays = next(x["bays"] for x in plan["layouts"] if x["stock"] == fold["stock"])
    at, number = max(((b["at_mm"], b["number"]) for b in bays if b["at_mm"] <= fold["at_mm"]),
                     default=(0.0, 0))  # fmt: skip
    figure = tape_figure(fold["at_mm"] - at, unit)
    return f"{figure} from line {number}" if number else figure


def _more(length: float | None, least: float | None, unit: str) -> str:
    if length is None or least is None:
        return NONE
    more = length - least
    sign = "\u2212" if more < -ALIKE_MM else "+" if more > ALIKE_MM else ""
    return sign + _roll(abs(more) if sign else 0.0, unit)


def _roll(length_mm: float, unit: str) -> str:
    """A length of a roll in words, to the centimetre or the inch above."""
    if unit == "in":
        whole = math.ceil(length_mm / INCH_MM - 1e-6)
        return f"{whole // 12} ft {whole % 12} in" if whole >= 12 else f"{whole} in"
    return f"{math.ceil(length_mm / 10 - 1e-6) / 100:.2f} m"
