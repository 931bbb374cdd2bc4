"""The CSV tables against plan.json, row by row, and the totals against what they add up."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np

from plybook.verify import plane
from plybook.verify.layouts import SHARED
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.tolerances import GRAM, SHARE

Rows = list[dict[str, str]]
# columns of each table, in their order
COLUMNS = {
    "pieces": "piece layer kind material angle_deg quantity stage length_mm width_mm area_m2 "
    "thickness_mm growth_along_mm growth_across_mm growth_area_pct splice_part splice_of",
    "stock": "stock kind material width_mm length_mm used_length_mm least_length_mm "
    "utilisation_pct pieces to_buy",
    "placements": "stock part piece copy x_mm y_mm rotation_deg face_down bay from_mm to_mm",
    "kits": "way kits cut_so material length_mm",
    "bag_cuts": "material roll roll_width_mm number cut stage copy of along_from_mm along_to_mm "
    "across_from_mm across_to_mm where",
    "purchases": "item amount unit parts price currency",
    "quantities": "group item amount unit detail stage price currency",
    "resin": "batch stage resin purpose batch_g component component_g filler filler_g pot_life_min",
    "stiffness": "zone stack thickness_mm A11_N_mm A12_N_mm A16_N_mm A22_N_mm A26_N_mm A66_N_mm "
    "B11_N B12_N B16_N B22_N B26_N B66_N D11_Nmm D12_Nmm D16_Nmm D22_Nmm D26_Nmm D66_Nmm",
    "checks": "stage step check kind text expected tolerance unit",
    "setout": "figure mark to role of from side at_mm value_mm tape",
}
_CELL = 6e-4  # of the last place of a figure, beside half of its rounding


def check_tables(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Pieces, stock, placements, quantities, resin and checks; mass, resin and cloth in sum.

    Where the cut plan is shared, the table of stock stands with it, and placements are the part's
    own.
    """
    _check_pieces(plan, rows("pieces", files, report), report)
    alone = SHARED not in plan
    if alone:
        check_stock(plan, rows("stock", files, report), report)
    check_used(plan, report)
    placed = [
        (x["stock"], p.get("part", plan["part"]["number"]), p)
        for x in plan["layouts"]
        for p in (*x["placements"], *(x.get("also_cut", []) if alone else []))
    ]
    check_placements(placed, rows("placements", files, report), "tables/placements.csv", report)
    _check_quantities(plan, rows("quantities", files, report), report)
    _check_resin(plan, rows("resin", files, report), report)
    _check_checks(plan, rows("checks", files, report), report)
    _check_totals(plan, report)


def rows(table: str, files: dict[str, bytes], report: Report) -> Rows:
    """A table as rows by column name; a fault and no row where it is missing."""
    name = f"tables/{table}.csv"
    if name not in files:
        report.fault(name, "is missing")
        return []
    text = files[name].decode("utf-8-sig")
    lines = list(csv.reader(io.StringIO(text, newline="")))
    head = COLUMNS[table_name(name)].split()
    good = lines[:1] == [head] and all(len(row) == len(head) for row in lines)
    report.expect(good, "tables with their own columns alone", name,
                  "has other columns, or cells beyond them")  # fmt: skip
    return list(csv.DictReader(io.StringIO(text, newline="")))


def table_name(name: str) -> str:
    """The table of a file."""
    return name.removeprefix("tables/").removesuffix(".csv")


def same_cells(row: dict[str, str], wanted: dict[str, Any]) -> bool:
    """Whether cells are what they should be: words alike, figures as exactly as they are printed,
    empty where there is nothing."""
    for column, value in wanted.items():
        said = words(row[column])
        if value is None or isinstance(value, str):
            if said != (value or ""):
                return False
        elif abs(float(said) - value) > 0.5 * 10.0 ** -len(said.partition(".")[2]) + _CELL:
            return False
    return True


def words(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from running it."""
    return cell[1:] if len(cell) > 1 and cell[0] == "'" and cell[1] in "=+-@\t\r" else cell


def check_placements(placed: list, table: Rows, name: str, report: Report) -> None:
    """Placements as (stock, part, placement of plan.json) against their table."""
    found: dict[tuple, dict[str, str] | None] = {}
    for row in table:
        key = (words(row["stock"]), words(row["part"]), words(row["piece"]), int(row["copy"]))
        if key in found:
            report.fault(name, f"{'/'.join(map(str, key))} stands twice")
        found[key] = row
    for stock, part, p in placed:
        line = found.pop((stock, part, p["piece"], p["copy"]), None)
        good = (
            line is not None
            and abs(float(line["x_mm"]) - p["x_mm"]) < 1e-3
            and abs(float(line["y_mm"]) - p["y_mm"]) < 1e-3
            and abs(float(line["rotation_deg"]) - p["rotation_deg"]) < 1e-4
            and line["face_down"] == ("yes" if p["flipped"] else "no")
            and line["bay"] == (str(p["bay"]) if p["bay"] else "")
            and _told_along(line, p)
        )
        report.expect(good, "rows of placements equal to plan.json", name,
                      f"{part}/{p['piece']} on {stock} differs from plan.json")  # fmt: skip
    for key in found:
        report.fault(name, f"{'/'.join(map(str, key))} is not in plan.json")


def without_corners(placement: dict) -> dict:
    """A placement of plan.json without its corner points: those of another tape."""
    return {k: v for k, v in placement.items() if k not in ("marks_mm", "in_bay_mm", "corner_mm")}


def _told_along(line: dict[str, str], placement: dict) -> bool:
    """Whether a row tells what a piece takes along its stock; not asked of a piece whose corners
    are for another tape."""
    along = [x for x, _ in placement.get("in_bay_mm", ())]
    ends = float(line["from_mm"]), float(line["to_mm"])
    return not along or (abs(ends[0] - min(along)) < 1e-3 and abs(ends[1] - max(along)) < 1e-3)


def _check_pieces(plan: dict, table: Rows, report: Report) -> None:
    by_id = {words(row["piece"]): row for row in table}
    for piece in plan["pieces"]:
        row = by_id.get(piece["id"])
        if row is None:
            report.fault("tables/pieces.csv", f"{piece['id']} is missing")
            continue
        size = np.ptp(ring(piece["outline_mm"]), axis=0)
        same = (
            abs(float(row["angle_deg"]) - piece["angle_deg"]) < 1e-3
            and abs(float(row["area_m2"]) - piece["area_mm2"] / 1e6) < 1e-6
            and int(row["quantity"]) == piece["quantity"]
            and abs(float(row["length_mm"]) - size[0]) < 0.06
            and abs(float(row["width_mm"]) - size[1]) < 0.06
            and all(words(row[k]) == piece[k] for k in ("material", "layer", "kind", "stage"))
        )
        report.expect(same, "rows of pieces equal to plan.json", "tables/pieces.csv",
                      f"{piece['id']} differs from plan.json")  # fmt: skip
        if row is not None:
            size = np.ptp(ring(piece["outline_mm"]), axis=0)
            growth, splice = piece["growth"], piece.get("splice", {})
            good = same_cells(row, {
                "length_mm": float(size[0]), "width_mm": float(size[1]),
                "thickness_mm": piece["thickness_mm"], "growth_along_mm": growth["along_mm"],
                "growth_across_mm": growth["across_mm"], "growth_area_pct": growth["area_pct"],
                "splice_part": splice.get("part"), "splice_of": splice.get("of"),
            })  # fmt: skip
            report.expect(good, "rows of pieces with size, growth and splice of plan.json",
                          "tables/pieces.csv", f"{piece['id']} differs from plan.json")  # fmt: skip
    if len(table) != len(plan["pieces"]):
        report.fault("tables/pieces.csv", f"{len(table)} rows, {len(plan['pieces'])} pieces")


def check_stock(plan: dict, table: Rows, report: Report) -> None:
    """Rolls, sheets and bars against their table."""
    by_id = {words(row["stock"]): row for row in table}
    pieces = {p["id"]: p for p in plan["pieces"]}
    if len(table) != len(plan["layouts"]):
        report.fault("tables/stock.csv", f"{len(table)} rows, {len(plan['layouts'])} layouts")
    for layout in plan["layouts"]:
        row = by_id.get(layout["stock"])
        placed = [(pieces.get(p["piece"], {}), p) for p in layout["placements"]]
        placed += [(p, p) for p in layout.get("also_cut", [])]
        same = (
            row is not None
            and int(row["pieces"]) == len(placed)
            and abs(float(row["used_length_mm"]) - layout["used_length_mm"]) < 0.06
            and abs(float(row["width_mm"]) - layout["width_mm"]) < 0.06
            and abs(float(row["utilisation_pct"]) - 100 * layout["utilisation"]) < 0.01
            and row["to_buy"] == ("yes" if layout["bought"] else "no")
        )
        report.expect(same, "rows of stock equal to plan.json", "tables/stock.csv",
                      f"{layout['stock']} differs from plan.json")  # fmt: skip
        if row is not None:
            good = same_cells(row, {"kind": layout["kind"], "material": layout["material"],
                                    "length_mm": layout["length_mm"],
                                    "least_length_mm": layout["bound_mm"]})  # fmt: skip
            report.expect(good, "rows of stock with kind, material and lengths of plan.json",
                          "tables/stock.csv", f"{layout['stock']} differs")  # fmt: skip


def check_used(plan: dict, report: Report) -> None:
    """How much of each roll, sheet and bar is used, by the pieces on it."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    for layout in plan["layouts"]:
        placed = [pieces.get(p["piece"], {}) for p in layout["placements"]]
        placed += layout.get("also_cut", [])
        shapes = [s.get("cut_outline_mm", s.get("outline_mm")) for s in placed]
        if any(shape is None for shape in shapes):
            continue
        area = sum(abs(plane.area(ring(shape))) for shape in shapes)
        whole = layout["used_length_mm"] * layout["width_mm"]
        if layout["kind"] != "roll" and layout["outline_mm"]:
            whole = abs(plane.area(ring(layout["outline_mm"])))
        report.expect(abs(area / whole - layout["utilisation"]) <= SHARE,
                      "shares of stock used, added up from the pieces",
                      f"layout {layout['stock']}",
                      f"its pieces fill {100 * area / whole:.1f} %, stated "
                      f"{100 * layout['utilisation']:.1f} %")  # fmt: skip
        report.expect(layout["bound_mm"] <= layout["used_length_mm"] + 0.01
                      or layout["kind"] != "roll",
                      "least lengths not above the length used", f"layout {layout['stock']}",
                      "its least length is more than it uses")  # fmt: skip


def _check_quantities(plan: dict, table: Rows, report: Report) -> None:
    stated = [
        (group, row)
        for group, listed in plan["quantities"].items()
        if isinstance(listed, list) and group != "batches"
        for row in listed
        if isinstance(row, dict)
    ]
    name = "tables/quantities.csv"
    if len(table) != len(stated):
        report.fault(name, f"{len(table)} rows, {len(stated)} in plan.json")
    currency = plan["workshop"]["currency"]
    good = all(words(r["currency"]) == (currency if r["price"] else "") for r in table)
    report.expect(good, "prices in the currency of the part", name, "has another currency")
    left = [
        (words(r["group"]), words(r["item"]), words(r["unit"]), words(r["stage"]),
         words(r["detail"]), float(r["amount"]), float(r["price"] or 0.0))
        for r in table
    ]  # fmt: skip
    for group, row in stated:
        key = (group, row["item"], row["unit"], row["stage"], row["detail"])
        match = next((x for x in left if x[:5] == key and abs(x[5] - row["amount"]) < 6e-4
                      and abs(x[6] - row["price"]) < 6e-3), None)  # fmt: skip
        report.expect(match is not None, "rows of quantities equal to plan.json", name,
                      f"{row['item']}, {row['amount']:g} {row['unit']}, is not there")  # fmt: skip
        if match is not None:
            left.remove(match)


def _check_resin(plan: dict, table: Rows, report: Report) -> None:
    for batch in plan["quantities"].get("batches", []):
        mine = [r for r in table if words(r["batch"]) == batch["id"]]
        total = sum(float(r["component_g"]) for r in mine)
        told = {"stage": batch["stage"], "resin": batch["resin"], "purpose": batch["purpose"],
                "batch_g": batch["mass_g"], "filler": batch["filler"]}  # fmt: skip
        report.expect(all(same_cells(r, told) for r in mine), "rows of resin with their use",
                      "tables/resin.csv", f"{batch['id']} differs from plan.json")  # fmt: skip
        report.expect(bool(mine) and abs(total - batch["mass_g"]) <= GRAM,
                      "rows of resin that sum to their batch", "tables/resin.csv",
                      f"{batch['id']} sums to {total:g} g, the batch is "
                      f"{batch['mass_g']:g} g")  # fmt: skip
        stated = [
            (words(r["component"]), float(r["component_g"]), float(r["filler_g"] or 0.0),
             float(r["pot_life_min"]))
            for r in mine
        ]  # fmt: skip
        wanted = [
            (part["name"], part["mass_g"], batch["filler_g"], batch["pot_life_s"] / 60)
            for part in batch["parts"]
        ]
        same = len(stated) == len(wanted) and all(
            a[0] == b[0] and max(abs(x - y) for x, y in zip(a[1:], b[1:], strict=True)) <= GRAM
            for a, b in zip(stated, wanted, strict=True)
        )
        report.expect(same, "batches whose rows are as in plan.json", "tables/resin.csv",
                      f"{batch['id']} differs from plan.json")  # fmt: skip


def _check_checks(plan: dict, table: Rows, report: Report) -> None:
    stated = [
        (stage["id"], step["id"], check["id"], check["text"])
        for stage in plan["stages"]
        for step in stage["steps"]
        for check in step["checks"]
    ]
    found = [tuple(words(r[k]) for k in ("stage", "step", "check", "text")) for r in table]
    lost = sorted(set(stated) ^ set(found))
    report.expect(stated == found, "tables of checks equal to the steps", "tables/checks.csv",
                  f"differs from the steps of plan.json: {lost[:1]}")  # fmt: skip

    checks = [c for stage in plan["stages"] for step in stage["steps"] for c in step["checks"]]
    good = len(checks) == len(table) and all(
        same_cells(row, {k: check[k] for k in ("kind", "expected", "tolerance", "unit")})
        for row, check in zip(table, checks, strict=True)
    )
    report.expect(good, "tables of checks with kinds and limits of the steps", "tables/checks.csv",
                  "has other kinds or limits than plan.json")  # fmt: skip


_BONDS = ("Resin of coats, seams and rods", "Filler of thickened resin")


def _check_totals(plan: dict, report: Report) -> None:
    """Resin by stage is the sum of its batches, cloth by area the sum of its pieces, the mass of
    the part the sum of its rows."""
    quantities = plan["quantities"]
    *parts, whole = [row["amount"] for row in quantities["mass"]]
    away = max(abs(math.fsum(parts) - whole), abs(quantities["part_mass_g"] - whole))
    report.expect(away < 0.051,
                  "the mass of the part, added up from its rows", "quantities",
                  f"its rows add up to {math.fsum(parts):.1f} g, stated {whole:.1f} g")  # fmt: skip
    bonds = [row["amount"] for row in quantities["mass"] if row["item"] in _BONDS]
    own = quantities["laminate_mass_g"]
    report.expect(abs(whole - math.fsum(bonds) - own) <= 0.5 * len(parts) + 0.5,
                  "the mass of the laminate, as that of the part without its bonds", "quantities",
                  f"without its bonds the part weighs {whole - math.fsum(bonds):.1f} g, the "
                  f"laminate {own:.1f} g")  # fmt: skip
    kit = next(row["amount"] for row in quantities["gone"] if row["item"].startswith("Kit"))
    report.expect(abs(kit - quantities["kit_mass_g"]) < 1e-6, "the mass of the kit, in two places",
                  "quantities", "plan.json states two masses of the kit")  # fmt: skip
    batches: dict[tuple[str, bool], float] = {}
    for batch in quantities.get("batches", []):
        key = batch["stage"], bool(batch["filler"])
        batches[key] = batches.get(key, 0.0) + batch["mass_g"]
    stated: dict[str, float] = {}
    for row in quantities.get("resin", []):
        if row["unit"] == "g":
            stated[row["stage"]] = stated.get(row["stage"], 0.0) + row["amount"]
    for stage in sorted({s for s, _ in batches} | set(stated)):
        total = sum(mass for (s, _), mass in batches.items() if s == stage)
        report.expect(abs(total - stated.get(stage, 0.0)) <= 0.06,
                      "resin of a stage, added up from its cups", f"stage {stage}",
                      f"its cups add up to {total:.1f} g, stated "
                      f"{stated.get(stage, 0.0):.1f} g")  # fmt: skip
    for group, kind in (("cloth", "ply"), ("core", "core")):
        areas = [row["amount"] for row in quantities.get(group, [])
                 if row["unit"] == "m2" and "as cut" in row["detail"]]  # fmt: skip
        kinds = (kind,) if kind == "ply" else ("core", "insert")
        cut = sum(p["area_mm2"] * p["quantity"] for p in plan["pieces"] if p["kind"] in kinds)
        if areas:
            report.expect(abs(sum(areas) - cut / 1e6) <= 1e-3 * len(areas) + SHARE * cut / 1e6,
                          f"areas of {group}, added up from the pieces", group,
                          f"the pieces add up to {cut / 1e6:.3f} m2, stated "
                          f"{sum(areas):.3f} m2")  # fmt: skip
