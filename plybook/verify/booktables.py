"""Tables of the booklet, on screen and on paper: each row of plan.json stands in them whole."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from plybook.verify.names import Names
from plybook.verify.pieces import ring
from plybook.verify.printed import (
    MM_PER_INCH,
    SQUARE_FOOT_M2,
    angle,
    area,
    figures,
    fixed,
    lengths,
    pattern,
    squeeze,
    thickness,
    weighed_g,
)
from plybook.verify.report import Report
from plybook.verify.setout_told import setout_rows
from plybook.verify.steptold import WITH_ANGLE, limits_told

_KG = 1000.0
_HANDS = {"left": "LEFT hand", "right": "RIGHT hand", "none": "no hand"}


@dataclass(frozen=True)
class Row:
    """`cells` is a regular expression for squeezed words."""

    what: str
    id: str
    cells: str


def check_tables_of_book(plan: dict, names: Names, words: str, where: str, report: Report) -> None:
    """Cut list, stack, zones, quantities, cups and jig figures among all words of a booklet.

    Args:
        plan, names: what is held true.
        words: of the whole booklet, squeezed.
        where: the file.
        report: takes what is found.
    """
    for row in _rows(plan, names):
        good = re.search(row.cells, words) is not None
        report.expect(good, f"rows of the booklet's {row.what} equal to plan.json", where,
                      f"the {row.what} does not tell {row.id} as plan.json")  # fmt: skip


def _rows(plan: dict, names: Names) -> Iterator[Row]:
    units = plan["part"]["units"]
    yield from _cover(plan)
    yield from _cut_list(plan, names)
    yield from _stack(plan, names)
    for zone in plan["zones"]:
        even = "".join("yes" if zone[k] else "no" for k in ("symmetric", "balanced"))
        cells = (
            _text(zone["label"] + _stack_said(zone, plan["layers"]))
            + thickness(zone["thickness_mm"], units)
            + area(zone["area_m2"], units)
            + fixed(zone["mass_g"], 0)
            + even
        )
        yield Row("table of zones", zone["label"], cells)
    yield from (Row("set-out", *row) for row in setout_rows(plan))
    yield from _stock(plan)
    yield from _quantities(plan["quantities"], units, plan["workshop"]["currency"])
    for batch in plan["quantities"].get("batches", []):
        yield Row("table of cups", batch["id"], _cup(batch))
    if not any(step["shows"] == "jig" for stage in plan["stages"] for step in stage["steps"]):
        for number, jig in enumerate(plan.get("jig", []), start=1):
            told = "|".join(sorted(_text(t) for t in limits_told(jig)))
            yield Row("jig card", jig["title"], _text(f"{number}. {jig['title']}") + f"(?:{told})")


def _stock(plan: dict) -> Iterator[Row]:
    """How much of each roll and sheet that the part is cut from is used."""
    number, units = plan["part"]["number"], plan["part"]["units"]
    for layout in plan["layouts"]:
        if layout["kind"] not in ("roll", "sheet") or not any(
            placement.get("part", number) == number for placement in layout["placements"]
        ):
            continue
        if layout["kind"] == "roll":
            size = rf"{_roll(layout['used_length_mm'], units)}ofaroll[\d./]+{units}wide"
        else:
            size = "×".join(f"{_either(lengths(layout[side], units))}{units}"
                            for side in ("length_mm", "width_mm"))  # fmt: skip
        title = _text(f"{layout['kind'].title()} {layout['stock']}")
        used = fixed(100 * layout["utilisation"], 0)
        yield Row("page of a layout", layout["stock"], f"{title}{size};{used}%used")


def _roll(length_mm: float, units: str) -> str:
    """A length of a roll to the centimetre above, or in feet to the inch above."""
    told = set()
    for off in (-1e-3, 0.0, 1e-3):
        if units == "mm":
            told.add(f"{math.ceil((length_mm + off) / 10.0) / 100.0:.2f}m")
            continue
        feet, inches = divmod(math.ceil((length_mm + off) / MM_PER_INCH), 12)
        told.add(f"{feet}ft{inches}in" if feet else f"{inches}in")
    return _either(told)


def _stack_said(zone: dict, layers: list[dict]) -> str:
    """The layers of a zone from the mould face up; neighbours of one material at one angle are
    told together, with their number."""
    by_id = {layer["id"]: layer for layer in layers}
    runs: list[list[dict]] = []
    for layer in (by_id[name] for name in zone["layers"]):
        alike = runs and all(runs[-1][0][k] == layer[k] for k in ("kind", "material", "angle_deg"))
        runs = [*runs[:-1], [*runs[-1], layer]] if alike else [*runs, [layer]]
    said = []
    for run in runs:
        first = run[0]
        what = angle(first["angle_deg"]) if first["kind"] == "ply" else first["kind"]
        between = " and " if len(run) == 2 else " to "
        names = between.join(dict.fromkeys([first["id"], run[-1]["id"]]))
        said.append(f"{names} {f'{len(run)} × ' if len(run) > 1 else ''}{what}")
    return ", ".join(said)


def _cover(plan: dict) -> Iterator[Row]:
    part, quantities = plan["part"], plan["quantities"]
    steps = sum(len(stage["steps"]) for stage in plan["stages"])
    mass = quantities["part_mass_g"]
    facts = {
        "Part": _text(part["number"]),
        "Revision": _text(part["revision"]),
        "Hand": _text(_HANDS[part["hand"]]),
        "Date": _text(part["date"]),
        "Pieces": str(sum(piece["quantity"] for piece in plan["pieces"])),
        "Layers": str(len(plan["layers"])),
        "Stages": f"{len(plan['stages'])}with{steps}steps",
        "Mass, trimmed": _mass(mass),
    }
    cells = "".join(f"{_text(label)}{value}" for label, value in facts.items())
    yield Row("cover", "the part", cells)
    for label, grams in weighed(quantities):
        said = _either(weighed_g(grams))
        yield Row("record", "a mass", f"{_text(label)}g\\({said}g\\)")


def weighed(quantities: dict) -> tuple[tuple[str, float], ...]:
    """What is weighed over the whole job, and what it should be, g."""
    gone = {row["item"]: row["amount"] for row in quantities.get("gone", [])}
    return (
        ("Mass of the part, trimmed", quantities["part_mass_g"]),
        ("Kit as cut, dry", quantities["kit_mass_g"]),
        ("Left in the cups, all stages", gone.get("Left in the cups", 0.0)),
        ("Trimmings", gone.get("Trimmings, with their resin", 0.0)),
    )


def _mass(grams: float) -> str:
    told = weighed_g(grams)
    return _either({f"{float(t) / _KG:.2f}kg" if float(t) >= _KG else f"{t}g" for t in told})


def _text(words: str) -> str:
    return pattern(squeeze(words)).pattern


def _said_angle(row: dict) -> str:
    return re.escape(squeeze(angle(row["angle_deg"])) if row["kind"] in WITH_ANGLE else row["kind"])


def _cut_list(plan: dict, names: Names) -> Iterator[Row]:
    stages = {stage["id"]: str(k) for k, stage in enumerate(plan["stages"], start=1)}
    cut_from = {p["piece"]: layout["stock"] for layout in plan["layouts"]
                for p in layout["placements"]}  # fmt: skip
    units = plan["part"]["units"]
    for piece in plan["pieces"]:
        size = [v for v in np.ptp(ring(piece["outline_mm"]), axis=0) if v]
        said = "×".join(_either(lengths(float(v), units, piece["kind"])) for v in size)
        cells = (
            f"{_text(piece['id'] + piece['layer'])}{names.expression(piece['material'])}"
            f"{_said_angle(piece)}{piece['quantity']}{said}"
            f"{area(piece['area_mm2'] * piece['quantity'] / 1e6, units)}"
            f"{_text(stages.get(piece['stage'], piece['stage']))}"
            f"{_text(cut_from.get(piece['id'], 'not placed'))}"
        )
        yield Row("cut list", piece["id"], cells)


def _stack(plan: dict, names: Names) -> Iterator[Row]:
    pieces = {piece["id"]: piece for piece in plan["pieces"]}
    units = plan["part"]["units"]
    for place, layer in enumerate(plan.get("layers", []), start=1):
        growth = [pieces[p]["growth"] for p in layer["pieces"] if p in pieces]
        along, across = (_either(_longest([g[way] for g in growth], units, layer["kind"]))
                         for way in ("along_mm", "across_mm"))  # fmt: skip
        cells = (
            f"{place}{_text(layer['id'])}{_said_angle(layer)}{names.expression(layer['material'])}"
            f"{thickness(layer['thickness_mm'], units)}{_text(','.join(layer['pieces']))}"
            f"{along}{across}"
        )
        yield Row("stack", layer["id"], cells)


def _longest(growth_mm: list[float], units: str, kind: str) -> set[str]:
    """The growth furthest from nothing, with its sign; "0" where it rounds to nothing."""
    most = max(map(abs, growth_mm), default=0.0)
    told = {t for g in growth_mm or [0.0] if abs(g) > most - 1e-5 for t in lengths(g, units, kind)}
    return {t if t == "0" or t.startswith("-") else f"+{t}" for t in told}


def _quantities(quantities: dict, units: str, currency: str) -> Iterator[Row]:
    for group, rows in quantities.items():
        if group in ("centre", "batches", "consumable", "centre_mm") or not isinstance(rows, list):
            continue
        for row in rows:
            price = fixed(row["price"], 2) + currency if row["price"] else ""
            cells = f"{_amount(row, row['amount'], units)}{_text(row['detail'])}{price}"
            yield Row("table of quantities", row["item"], cells)
    total = math.fsum(row["price"] for row in quantities["buy"])
    if total:
        yield Row("figures", "what is to be bought", f"together:{fixed(total, 2)}{currency};")
    sums: dict[tuple[str, str], float] = {}
    for row in quantities.get("consumable", []):
        key = row["item"], row["unit"]
        sums[key] = sums.get(key, 0.0) + row["amount"]
    for (item, unit), amount in sums.items():
        cells = _amount({"item": item, "unit": unit}, amount, units)
        yield Row("table of quantities", item, cells)
    unit = "in" if units == "in" else "mm"
    centre = ",".join(
        axis + _either({said + unit for said in lengths(value, units)})
        for axis, value in zip("xyz", quantities["centre_mm"], strict=True)
    )
    yield Row("figures", "its mass and centre of gravity",
              f"withoutwhatispeeledoff:{_mass(quantities['part_mass_g'])};"
              f"centreofgravityofthelaminate{centre}inpartaxes")  # fmt: skip


def _amount(row: dict, amount: float, units: str) -> str:
    """An item, how much of it and in what: areas and runs of inch parts in feet."""
    measures = {"m2": ("m²", 1.0), "m": ("m", 1.0)}
    if units == "in":
        measures = {"m2": ("sq ft", 1.0 / SQUARE_FOOT_M2), "m": ("ft", 1.0 / 0.3048)}
    unit, times = measures.get(row["unit"], (row["unit"], 1.0))
    told = _either(figures(amount * times))
    if unit == "g":
        told = fixed(amount, 0 if amount >= 10.0 else 1)
        told = told if amount >= 10.0 else f"{told}|{_either(figures(round(amount, 1)))}"
    return f"{_text(row['item'])}(?:{told}){_text(unit)}"


def _cup(batch: dict) -> str:
    """A cup with its use and the mass of each part and of all; all have as many decimals."""
    ways = []
    for decimals in (0, 1, 2):
        parts = [f"{_text(p['name'])}{fixed(p['mass_g'], decimals)}g" for p in batch["parts"]]
        if batch["filler"]:
            grams = fixed(batch["filler_g"], 0)
            parts.append(f"{_text(batch['filler'])}{grams}g(?:\\(about\\d+mlloose\\))?")
        ways.append(r"\+".join(parts) + _either({f"{batch['mass_g']:g}"}))
    return f"{_text(batch['id'] + batch['purpose'])}(?:{'|'.join(ways)})"


def _either(told: set[str]) -> str:
    return f"(?:{'|'.join(sorted(map(re.escape, told), key=len, reverse=True))})"
