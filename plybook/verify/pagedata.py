"""What the script of the booklet goes by, its data attributes, each held against where it comes
from: plan.json, or the card it stands in. One row for each attribute; what has no row is a fault.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

from plybook.verify.booktables import weighed
from plybook.verify.pagetree import Element
from plybook.verify.printed import as_weighed_g
from plybook.verify.report import Report

NAME = "booklet.html"
LEDGERS = ("deviations", "hours", "readings", "instruments", "signatures")
DEEDS = ("new-record", "work", "page-history", "export", "history", "print", "photo", "import",
         "contents", "undo", "look")  # fmt: skip
CHAPTERS = ("This book", "Before you start", "After the cure")
FIGURES_NEAR = 1.001e-3  # limits are printed and judged to three decimals, each of two figures
_VACUUM = ".vacuum"  # end of the id of the timer that the first cup of a stage starts
_SIGNED = {"initials": "initials", "lot": "lot"}
_CUP_FIELDS = {"mixed": "time", "lot": "lot", "weighed": "text"}
# blanks that stand in no step -> their kind
_BLANKS = {"article.serial": "text", "record.builder": "initials",
           "record.inspector": "initials", "record.notes": None}  # fmt: skip
_WEIGHED = ("record.mass_g", "record.kit_g", "record.left_g", "record.trimmings_g")
_COUNTS = ("article.serial",)
_OPTIONS = {"disposition": ["use as is", "reworked to drawing", "repaired", "rejected"],
            "role": ["builder", "helper", "inspector", "designer"]}  # fmt: skip
_KINDS = {"text", "long", "choice", "initials", "time", "date", "number"}


@dataclass(frozen=True)
class Blank:
    """What a field must have: its kind ("tick" of a box, None of a text area), what its figure is
    held against, the materials whose lots it offers, and the fields it is computed from."""

    kind: str | None
    unit: str = ""
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    offers: str | None = None
    computed: str | None = None
    counts: bool = False


class Known:
    """What the figures of the page come from."""

    def __init__(self, plan: dict) -> None:
        self.plan = plan
        self.batches = {b["id"]: b for b in plan["quantities"].get("batches", [])}
        self.pieces = {p["id"]: p for p in plan["pieces"]}
        self.steps: dict[str, tuple[dict, dict, int]] = {
            step["id"]: (step, stage, number)
            for number, stage in enumerate(plan["stages"], start=1)
            for step in stage["steps"]
        }

    @cached_property
    def chapters(self) -> tuple[str, ...]:
        stages = enumerate(self.plan["stages"], start=1)
        return (*CHAPTERS, *(f"{k}. {stage['title']}" for k, stage in stages))

    @cached_property
    def tasks(self) -> tuple[str, ...]:
        """Titles of the stages, which may share one."""
        return tuple(dict.fromkeys(stage["title"] for stage in self.plan["stages"]))

    @cached_property
    def blanks(self) -> dict[str, Blank]:
        """Every field that the page may have, by its name."""
        found = {name: Blank(kind, counts=kind in ("measure", "initials") or name in _COUNTS)
                 for name, kind in _BLANKS.items()}  # fmt: skip
        for name, (_, grams) in zip(_WEIGHED, weighed(self.plan["quantities"]), strict=True):
            asked = name == _WEIGHED[0]
            found[name] = Blank("measure", "g", as_weighed_g(grams), counts=asked)
        resins = (batch["resin"] for batch in self.batches.values())
        for material in (*self.plan["materials"], *resins):
            found[f"record.lot.{material}"] = Blank("lot")
            found[f"record.expiry.{material}"] = Blank("date")
        asked = any(step["shows"] == "jig" for step, _, _ in self.steps.values())
        for jig in () if asked else self.plan.get("jig", []):
            low, high = bounds(jig)
            blank = Blank("measure", jig["unit"], jig["expected"], low, high, counts=True)
            found[f"jig.{jig['id']}"] = blank
        for step, stage, _ in self.steps.values():
            found |= dict(self._of_step(step, stage))
        return found

    def _of_step(self, step: dict, stage: dict) -> Iterator[tuple[str, Blank]]:
        used = self._materials(step, stage)
        names = [f"{step['id']}.{check['id']}" for check in step["checks"]]
        for k, (name, check) in enumerate(zip(names, step["checks"], strict=True)):
            kind = check["kind"]
            measured = kind == "measure"
            low, high = bounds(check) if measured else (None, None)
            yield name, Blank(
                kind, check["unit"] if measured else "", check["expected"] if measured else None,
                low, high, used if kind == "lot" else None,
                " ".join(names[k - 2 : k]) if measured and k >= 2 else None, True,
            )  # fmt: skip
        for name, kind in _SIGNED.items():
            if name != "lot" or step["lays"]:
                yield (
                    f"{step['id']}.{name}",
                    Blank(kind, offers=used if name == "lot" else None, counts=kind == "initials"),
                )
        for batch in self.batches.values():
            if batch["step"] == step["id"]:
                for name, kind in _CUP_FIELDS.items():
                    offers = batch["resin"] if kind == "lot" else None
                    yield f"{step['id']}.{batch['id']}.{name}", Blank(kind, offers=offers)

    def _materials(self, step: dict, stage: dict) -> str:
        """The materials whose lots a step offers: of its pieces, else the resins of its stage."""
        used = [self.pieces[p]["material"] for p in step["pieces"] if p in self.pieces]
        used = used or [b["resin"] for b in self.batches.values() if b["stage"] == stage["id"]]
        return " ".join(dict.fromkeys(used))


@dataclass(frozen=True)
class Place:
    """An attribute where it stands."""

    known: Known
    element: Element
    value: str

    def other(self, name: str) -> str | None:
        """Another attribute of the element."""
        return self.element.attributes.get(name)

    def above(self, kind: str, attribute: str) -> str | None:
        """An attribute of the nearest element of a kind that holds this one and has it."""
        here = self.element.within
        while here is not None and not (here.kind == kind and attribute in here.attributes):
            here = here.within
        return None if here is None else here.attributes[attribute]

    @property
    def card(self) -> str | None:
        return self.above("section", "data-step")

    @property
    def step(self) -> tuple[dict, dict, int]:
        """Step, stage and its number of the card; KeyError where it is none."""
        return self.known.steps[self.card or ""]

    @property
    def batch(self) -> dict:
        """Of the cup it stands in, or that it is."""
        return self.known.batches[self.other("data-cup") or self.above("div", "data-cup") or ""]

    @property
    def blank(self) -> Blank:
        return self.known.blanks[self.other("data-field") or ""]

    @property
    def timer(self) -> dict:
        step = self.step[0]
        named = {f"{step['id']}.{timer['id']}": timer for timer in step["timers"]}
        return named[self.other("data-timer") or ""]


def bounds(check: dict) -> tuple[float | None, float | None]:
    """Least and largest value that counts as in; None where there is none."""
    low, high = check.get("at_least"), check.get("at_most")
    if check["expected"] is not None and check["tolerance"] is not None:
        low = check["expected"] - check["tolerance"] if low is None else low
        high = check["expected"] + check["tolerance"] if high is None else high
    return low, high


def _one_of(*values: str) -> Callable[[Place], bool]:
    return lambda place: place.value in values


def _near(said: str, figure: float | None) -> bool:
    return figure is not None and abs(float(said) - figure) <= FIGURES_NEAR


def _card_of(place: Place) -> bool:
    """A card of a step is that of the step whose title it bears; others by their own name."""
    name = "p-" + re.sub(r"[^A-Za-z0-9_-]+", "-", place.value)
    own = (place.other("id") or "").rstrip("_") == name.rstrip("_")
    step = place.other("class") == "card step"
    return own and step == (place.value in place.known.steps)


def _chapter(place: Place) -> bool:
    if place.element.kind == "a":
        return place.value in place.known.chapters
    step = place.known.steps.get(place.other("data-step") or "")
    if step is None:
        return place.value in place.known.chapters
    return place.value == f"{step[2]}. {step[1]['title']}"


def _grams(place: Place) -> bool:
    """The mass of each part as it is printed in the cup."""
    decimals = int(place.other("data-decimals") or "")
    told = [[part["name"], round(part["mass_g"], decimals)] for part in place.batch["parts"]]
    return bool(json.loads(place.value) == told)


def _decimals(place: Place) -> bool:
    """As many as the grams of the cup are printed with."""
    cup = place.element
    while cup.within is not None and "data-cup" not in cup.attributes:
        cup = cup.within
    said = next("".join(e.words) for e in cup.walk() if e.kind == "strong")
    figure = re.search(r" \d+(?:\.(\d+))? g", said)
    return figure is not None and len(figure[1] or "") == int(place.value)


def _columns(place: Place) -> bool:
    """Title and labels of a ledger as they are printed above it."""
    facts = json.loads(place.value)
    above = place.element.within
    if above is None or set(facts) != {"title", "columns"}:
        return False
    before = above.inner[: above.inner.index(place.element)]
    title = next("".join(e.words) for e in reversed(before) if e.kind == "h3")
    head = next(e for e in reversed(before) if e.kind == "table")
    labels = ["".join(e.words) for e in head.walk() if e.kind == "th"]
    for column in facts["columns"]:
        if set(column) != {"name", "label", "kind", "options"} or column["kind"] not in _KINDS:
            return False
        options = column["options"]
        if column["name"] == "task":
            mine = [o for o in options if o not in ("Cutting", "Other")]
            good = mine == [task for task in place.known.tasks if task in mine]
        else:
            good = options == _OPTIONS.get(column["name"], [])
        if not good:
            return False
    said: bool = facts["title"] == title.partition(":")[0]
    return said and [column["label"] for column in facts["columns"]] == labels


def _head(place: Place) -> bool:
    """The head of its column."""
    row = place.element.within
    table = row
    while table is not None and table.kind != "table":
        table = table.within
    if row is None or table is None:
        return False
    heads = ["".join(e.words) for e in table.walk() if e.kind == "th"]
    return heads[row.inner.index(place.element)] == place.value


def _field(place: Place) -> bool:
    """A field of the page; one of a step stands in its card."""
    card = place.card or ""
    first = place.value.partition(".")[0]
    own = first == card if card in place.known.steps else first not in place.known.steps
    blank = place.known.blanks[place.value]
    if not own or (place.other("data-counts") is not None) != blank.counts:
        return False
    sort = {"tick": "checkbox", "date": "date", None: None}.get(blank.kind, "text")
    if place.other("type") != sort:
        return False
    asked = {"data-low": blank.low, "data-high": blank.high, "data-expected": blank.expected,
             "data-unit": blank.unit or None, "data-offers": blank.offers or None,
             "data-kind": None if blank.kind in ("tick", None) else blank.kind}  # fmt: skip
    return all((value is None) == (place.other(name) is None) for name, value in asked.items())


def _of_timer(key: str) -> Callable[[Place], bool]:
    def good(place: Place) -> bool:
        value = place.timer[key]
        if key == "seconds":
            return float(place.value) == value
        return bool(place.value == value)

    return good


def _of_blank(key: str) -> Callable[[Place], bool]:
    def good(place: Place) -> bool:
        value = getattr(place.blank, key)
        if key in ("low", "high", "expected"):
            return _near(place.value, value)
        return bool(place.value == value)

    return good


# element, attribute -> whether its value is that of the plan
ROWS: dict[tuple[str, str], Callable[[Place], bool]] = {
    ("a", "data-stage"): _chapter,
    ("section", "data-stage"): _chapter,
    ("section", "data-step"): _card_of,
    # planned working time, for what is left of the day; plan.json has it of no step
    ("section", "data-minutes"): lambda place: (
        0 <= float(place.value) < 1e5
        and (place.other("class") == "card step" or float(place.value) == 0)
    ),
    ("button", "data-add"): _one_of(*LEDGERS),
    ("button", "data-do"): _one_of(*DEEDS),
    ("button", "data-task"): lambda place: place.value == place.step[1]["title"],
    ("div", "data-columns"): _columns,
    ("div", "data-cup"): lambda place: place.batch["step"] == place.card,
    ("div", "data-tray"): lambda place: float(place.value) == place.batch["tray_s"],
    ("div", "data-grams"): _grams,
    ("div", "data-decimals"): _decimals,
    ("div", "data-kind"): _of_timer("kind"),
    ("div", "data-label"): _of_timer("label"),
    ("div", "data-seconds"): _of_timer("seconds"),
    ("div", "data-timer"): lambda place: (
        (place.other("data-with-first-cup") is not None) == place.timer["id"].endswith(_VACUUM)
    ),
    ("div", "data-with-first-cup"): lambda place: place.value == "",
    ("div", "data-ledger"): lambda place: (
        place.value in LEDGERS and place.value == place.other("id")
    ),
    ("div", "data-shows"): _one_of(*LEDGERS),
    ("div", "data-of"): lambda place: place.value in ("", place.card),
    ("input", "data-of"): lambda place: place.value in ("", place.card),
    ("input", "data-do"): _one_of(*DEEDS),
    ("input", "data-counts"): lambda place: place.value == "",
    ("input", "data-field"): _field,
    ("textarea", "data-field"): _field,
    ("input", "data-kind"): _of_blank("kind"),
    ("input", "data-unit"): _of_blank("unit"),
    ("input", "data-expected"): _of_blank("expected"),
    ("input", "data-high"): _of_blank("high"),
    ("input", "data-low"): _of_blank("low"),
    ("input", "data-offers"): _of_blank("offers"),
    ("input", "data-difference"): _of_blank("computed"),
    ("td", "data-head"): _head,
}  # fmt: skip


def check_page_data(plan: dict, tree: Element, report: Report) -> None:
    """Every data attribute of the booklet on screen; no field, timer or cup is missing."""
    known = Known(plan)
    seen: dict[str, list[str]] = {"data-field": [], "data-timer": [], "data-cup": []}
    for element in tree.walk():
        for name, value in element.attributes.items():
            if not name.startswith("data-"):
                continue
            if name in seen:
                seen[name].append(value)
            row = ROWS.get((element.kind, name))
            report.expect(row is not None and _holds(row, Place(known, element, value)),
                          "figures of the HTML's script equal to plan.json", NAME,
                          f"<{element.kind} {name}={value[:60]!r}> is not as planned")  # fmt: skip
    steps = [step for step, _, _ in known.steps.values()]
    wanted = {
        "data-timer": [f"{s['id']}.{timer['id']}" for s in steps for timer in s["timers"]],
        "data-cup": [b["id"] for b in known.batches.values()],
        "data-field": [n for n in known.blanks if n.partition(".")[0] in ("jig", *known.steps)],
    }
    for name, values in wanted.items():
        lost = sorted(set(values) - set(seen[name]))
        twice = sorted({v for v in seen[name] if seen[name].count(v) > 1}) if not lost else []
        report.expect(not lost and not twice, "fields, timers and cups of the HTML, each once",
                      NAME, f"has {name} {(lost or twice)[:1]} not once")  # fmt: skip


def _holds(row: Callable[[Place], bool], place: Place) -> bool:
    """A figure that is not found, or is none, does not hold."""
    try:
        return row(place)
    except (KeyError, IndexError, ValueError, TypeError, StopIteration):
        return False
