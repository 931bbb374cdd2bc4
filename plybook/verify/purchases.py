"""What is to be bought: each part's list against what it wants, the list of a set against the wants
of its parts, each thing once and rounded up once.
"""

from __future__ import annotations

import math

from plybook.verify.cut_pages import heading
from plybook.verify.cutplaces import EDGE_MM, Columns, check_sheet
from plybook.verify.pdf_pages import Page, open_book
from plybook.verify.printed import SQUARE_FOOT_M2, same
from plybook.verify.report import Report
from plybook.verify.tables import rows, words

NAME, TABLE = "cutplan.pdf", "tables/purchases.csv"
TO_BUY, SAID, TOGETHER = "To buy", "for all parts together", "Together"
READING = (
    "Each thing stands here once, rounded up once; the list in a booklet is for that part alone. "
    "What the cut plan takes off the shelf is not among it; of other things what the stock file "
    "holds is taken first, and named. "
    "{prices}; what has none is not in the sum."
)
ENTERED = "Prices as they were entered, in their own money"
CELLS = Columns(1, (124.0, 150.0), (158.0,))
TABLE_MM = 32.0  # from the upper edge of what is printed to the table
_TITLE = "What is wanted"
_FOOT_M = 0.3048
_EXACT = 2e-6  # of what plan.json rounds
Thing = tuple[str, str]  # item and unit
STEPS = {"m": (0.1, 0.001), "kg": (0.01,), "m2": (0.01,), "piece": (1.0,), "roll": (1.0,),
         "sheet": (1.0,)}  # fmt: skip


def is_buy_page(page: Page) -> bool:
    """Whether a sheet of a shared cut plan is of what is to be bought."""
    return heading(page)[:1] == [TO_BUY]


def check_wants(plan: dict, report: Report) -> None:
    """The purchase list of a part: what it wants, added up and rounded up."""
    for want in plan["wants"]:
        good = want["step"] in STEPS.get(want["unit"], ()) and want["exact"] > 0
        report.expect(good, "wants in the measure that a thing is sold in", want["item"],
                      f"is wanted as {want['exact']} {want['unit']} in steps of "
                      f"{want['step']}")  # fmt: skip
    due = _added(plan["wants"], plan["shelf"])
    _check_taken(plan, report)
    stated = {(row["item"], row["unit"]): row["amount"] for row in plan["quantities"]["buy"]}
    report.expect(len(stated) == len(plan["quantities"]["buy"]), "purchase lists with each thing "
                  "once", "quantities", "lists a thing twice")  # fmt: skip
    for thing in sorted(set(due) | set(stated)):
        good = math.isclose(due.get(thing, -1.0), stated.get(thing, -2.0), abs_tol=_EXACT)
        report.expect(good, "purchases as they are wanted", thing[0],
                      f"{due.get(thing)} {thing[1]} are wanted, {stated.get(thing)} are to be "
                      "bought")  # fmt: skip
    _check_stock(plan, report)
    _check_resin(plan, report)


def _exact(wants: list[dict]) -> dict[Thing, tuple[float, float]]:
    """How much of each thing is wanted, what has a key once; in what steps it is sold."""
    found: dict[Thing, dict[str, dict]] = {}
    for k, want in enumerate(wants):
        found.setdefault((want["item"], want["unit"]), {})[want["key"] or f"\0{k}"] = want
    return {
        thing: (math.fsum(want["exact"] for want in own.values()),
                max(want["step"] for want in own.values()))
        for thing, own in found.items()
    }  # fmt: skip


def _added(wants: list[dict], shelf: list[dict]) -> dict[Thing, float]:
    """How much of each thing is bought: added up, less what is there, and rounded up."""
    there: dict[Thing, float] = {}
    for one in {(row["id"], row["item"]): row for row in shelf}.values():
        thing = one["item"], one["unit"]
        there[thing] = there.get(thing, 0.0) + one["amount"]
    return {
        thing: math.ceil(round(max(0.0, exact - there.get(thing, 0.0)) / step, 5)) * step
        for thing, (exact, step) in _exact(wants).items()
    }


def _taken(wants: list[dict], shelf: list[dict]) -> dict[Thing, str]:
    """What each row says of the shelf: how much comes off it, of what, the first to be used first;
    "" where nothing does."""
    rows = list({(row["id"], row["item"]): row for row in shelf}.values())
    rows.sort(key=lambda row: row["use_by"] or "~")
    said = {}
    for thing, (exact, _) in _exact(wants).items():
        names, left = [], exact
        for row in (row for row in rows if (row["item"], row["unit"]) == thing):
            if left <= 0:
                break
            left -= row["amount"]
            facts = ", ".join([*([f"lot {row['lot']}"] if row["lot"] else []),
                               *([f"use by {row['use_by']}"] if row["use_by"] else [])])
            names.append(row["id"] + (f" ({facts})" if facts else ""))
        taken = round(exact - max(0.0, left), 3)
        amount = f"{taken:g} {thing[1]}{'s' * (thing[1] in ('piece', 'roll') and taken != 1.0)}"
        said[thing] = f"{amount} off the shelf: {', '.join(names)}" if names else ""
    return said  # fmt: skip


def _check_taken(plan: dict, report: Report) -> None:
    """Each row says what of it comes off the shelf; nothing past its last day is counted."""
    said = _taken(plan["wants"], plan["shelf"])
    prices: dict[Thing, float] = {}
    for want in plan["wants"]:
        if want["price"]:
            prices.setdefault((want["item"], want["unit"]), want["price"])
    for row in plan["quantities"]["buy"]:
        price = row["amount"] * prices.get((row["item"], row["unit"]), 0.0)
        report.expect(abs(row["price"] - price) <= 0.006, "purchases at the price of their amount",
                      row["item"], f"costs {row['price']:.2f}, not {price:.2f}")  # fmt: skip
        due = said.get((row["item"], row["unit"]), "")
        own = row["detail"].endswith(due) if due else "off the shelf" not in row["detail"]
        report.expect(own, "purchases that say what comes off the shelf", row["item"],
                      f"says {row['detail']!r}, due is {due!r}")  # fmt: skip
    day = plan["part"]["date"]
    old = [one["id"] for one in plan["shelf"] if one["use_by"] and day and one["use_by"] < day]
    report.expect(not old, "shelves without what is past its last day", "shelf",
                  f"{old} are too old")  # fmt: skip
    report.expect(all(one["amount"] > 0 for one in plan["shelf"]), "shelves that hold something",
                  "shelf", "has less than nothing of a thing")  # fmt: skip


def _check_stock(plan: dict, report: Report) -> None:
    """Each bought roll, sheet or bar is wanted as it is used."""
    names = {key: row["name"] for key, row in plan["materials"].items()}
    for layout in (x for x in plan["layouts"] if x["bought"]):
        due = {"roll": ("m", layout["used_length_mm"] / 1000), "sheet": ("sheet", 1.0),
               "bar": ("m", layout["length_mm"] / 1000)}[layout["kind"]]  # fmt: skip
        item = names.get(layout["material"])
        own = [w for w in plan["wants"] if w["key"] == layout["stock"] and w["item"] == item]
        good = len(own) == 1 and own[0]["unit"] == due[0] and abs(own[0]["exact"] - due[1]) < _EXACT
        report.expect(good, "stock to buy as the layouts use it", layout["stock"],
                      f"{due[1]:.3f} {due[0]} of it are used, {own} wanted")  # fmt: skip


def _check_resin(plan: dict, report: Report) -> None:
    """Each part of a resin is wanted as its cups hold it."""
    cups: dict[str, float] = {}
    for batch in plan["quantities"].get("batches", []):
        parts = [(part["name"], part["mass_g"]) for part in batch["parts"]]
        for name, grams in [*parts, *([(batch["filler"], batch["filler_g"])] * bool(
                batch["filler"]))]:  # fmt: skip
            cups[name] = cups.get(name, 0.0) + grams
    for name, grams in cups.items():
        own = [w["exact"] for w in plan["wants"] if w["unit"] == "kg"
               and (w["item"] == name or w["item"].endswith(f", {name}"))]  # fmt: skip
        good = math.isclose(math.fsum(own), grams / 1000, abs_tol=1e-5)
        report.expect(good, "resin to buy as its cups hold it", name,
                      f"cups hold {grams:.1f} g, {1000 * math.fsum(own):.1f} g are "
                      "wanted")  # fmt: skip


# ---------------------------------------------------------------- a set


def check_purchases(
    plans: dict[str, dict], files: dict[str, bytes], number: str, report: Report
) -> None:
    """The list of a set, as a table and on paper.

    Args:
        plans: of its parts, by number, in the order in which they were built.
        files: of the folder of the set.
        number: what the set is called.
        report: takes what is found.
    """
    whole = [want for plan in plans.values() for want in plan["wants"]]
    shelf = [one for plan in plans.values() for one in plan["shelf"]]
    amounts, said = _added(whole, shelf), _taken(whole, shelf)
    prices: dict[Thing, float] = {}
    for want in whole:
        if want["price"]:
            prices.setdefault((want["item"], want["unit"]), want["price"])
    parts = {thing: ", ".join(n for n, plan in plans.items() if any(
        (w["item"], w["unit"]) == thing for w in plan["wants"])) for thing in amounts}  # fmt: skip
    parts = {thing: "; ".join(filter(None, (own, said[thing]))) for thing, own in parts.items()}
    money = {plan["workshop"]["currency"] for plan in plans.values()}
    report.expect(len(money) == 1, "parts with prices in one currency", TABLE,
                  f"adds up prices in {sorted(money)}")  # fmt: skip
    currency = next(iter(plans.values()))["workshop"]["currency"]
    table = rows("purchases", files, report)
    due = list(amounts)
    good = [(words(r["item"]), words(r["unit"])) for r in table] == due and all(
        abs(float(r["amount"]) - amounts[thing]) < 6e-4
        and words(r["parts"]) == parts[thing]
        and words(r["currency"]) == (currency if r["price"] else "")
        and abs(float(r["price"] or 0.0) - prices.get(thing, 0.0) * amounts[thing])
        <= 0.006
        for r, thing in zip(table, due, strict=True)
    )
    report.expect(good, "purchase lists of sets equal to what their parts want", TABLE,
                  "differs from the wants of its parts")  # fmt: skip
    if NAME in files and good:
        unit = "in" if next(iter(plans.values()))["part"]["units"] == "in" else "mm"
        _check_pages(table, files, unit, currency, number, report)


def _check_pages(
    table: list[dict[str, str]], files: dict[str, bytes], unit: str, currency: str, number: str,
    report: Report,
) -> None:
    """The sheets, line by line."""
    book = open_book(files[NAME])
    pages = [page for page in map(book.page, range(book.count)) if is_buy_page(page)]
    said: list[list[str]] = []
    for page in pages:
        high = page.height_mm - EDGE_MM - TABLE_MM
        check_sheet(page, f"{NAME}, {TO_BUY}", report, CELLS, high)
        top = max(w.at_mm[1] for w in page.words)
        foot = max((w.at_mm[1] for w in page.words if w.text == "Part number"), default=0.0) + 2.0
        lines: dict[float, list[str]] = {}
        for w in sorted(page.words, key=lambda w: w.at_mm[0]):
            if foot < w.at_mm[1] < top - 0.2:
                lines.setdefault(round(w.at_mm[1], 1), []).append(w.text)
        told = sorted(lines.items(), reverse=True)
        reading = "".join("".join(row) for y, row in told if y > high + 4.0)
        heads = [heading(page)[1:], [row for y, row in told if y <= high + 4.0][:1]]
        prices = f"Prices in {currency}" if currency else ENTERED
        good = same(reading, READING.format(prices=prices), cut=False) and heads == [[SAID, number],
                                                               [["amount", "price", "for"]]]
        report.expect(good, "purchase lists with how they are read", NAME,
                      "says something else of what is to buy")  # fmt: skip
        own = [row for y, row in told if y <= high + 4.0][1:]
        for row in (row for row in own if not _is_title(row)):
            if len(row) == 1 and said:  # the last cell goes on
                said[-1][-1] += f" {row[0]}"
            else:
                said.append(row)
    total = math.fsum(float(row["price"] or 0.0) for row in table)
    good = len(said) == len(table) + 1 and all(
        _tells(line, row, unit) for line, row in zip(said, table, strict=False)
    ) and said[-1] == [TOGETHER, f"{total:.2f} {currency}".rstrip()]  # fmt: skip
    other = next((line for line, row in zip(said, table, strict=False)
                  if not _tells(line, row, unit)), said[-1:])  # fmt: skip
    report.expect(good, "purchase lists on paper equal to their table", NAME,
                  f"has {other} in its list of what is to buy")  # fmt: skip


def _is_title(line: list[str]) -> bool:
    return line in ([_TITLE], [f"{_TITLE} (goes on)"])


def _tells(line: list[str], row: dict[str, str], unit: str) -> bool:
    """Whether a line tells a row: item, amount, price where there is one, parts."""
    due = [words(row["item"]), "", *([row["price"]] if row["price"] else []), words(row["parts"])]
    if len(line) != len(due):
        return False
    amount, measure = float(row["amount"]), row["unit"]
    if unit == "in" and measure in ("m", "m2"):
        amount /= _FOOT_M if measure == "m" else SQUARE_FOOT_M2
        amount = math.ceil(round(10 * amount, 4)) / 10
        measure = "ft" if measure == "m" else "sq ft"
    many = "s" if measure in ("piece", "roll", "sheet") and amount != 1.0 else ""
    shown = f"{round(amount, 3):.10g} {measure.replace('m2', 'm²')}{many}"
    price = due[2:-1] and float(due[2])
    return (
        same(line[0], due[0])
        and line[1] == shown
        and (not price or line[2] == f"{float(due[2]):.2f} {words(row['currency'])}".rstrip())
        and same(line[-1], due[-1])
    )
