"""The folder of several parts cut together, against the plans of those parts."""

from __future__ import annotations

import hashlib
import json

from plybook.verify.bays import check_bays
from plybook.verify.cut_pages import cuts_of
from plybook.verify.cutplaces import check_cut_places
from plybook.verify.drawings import check_cut_drawings
from plybook.verify.kits import check_kits
from plybook.verify.layouts import SHARED, tape_unit
from plybook.verify.manifest import check_manifest
from plybook.verify.markout import check_cut_sheets
from plybook.verify.purchases import check_purchases
from plybook.verify.report import Report
from plybook.verify.roles import check_roles
from plybook.verify.tables import check_placements, check_stock, rows, without_corners
from plybook.verify.twins import check_drawn, layout_facts

UNREAD = "the shared cut plan against its parts: their folders are not beside it"


def check_set(files: dict[str, bytes], listing: bytes, plans: dict, report: Report) -> None:
    """The shared cut plan holds just what its parts say is cut.

    Args:
        files: of the set's folder.
        listing: its manifest.
        plans: (plan, report) by part number, of the folders verified with it.
    """
    manifest, digest = read_manifest(listing), hashlib.sha256(listing).hexdigest()
    numbers = [part["number"] for part in manifest.get("parts", [])]
    missing = [n for n in numbers if n not in plans]
    if missing or not numbers:
        report.unproved.append(UNREAD)
        return
    for number in numbers:
        plan, _ = plans[number]
        told = plan.get(SHARED, {})
        good = told.get("folder") == manifest["folder"] and told.get("manifest_sha256") == digest
        report.expect(good, "parts built with this cut plan", number, "is built with another cut "
                      "plan than this one: build the set again, or delete this folder")  # fmt: skip
    own = {n: plans[n][0] for n in numbers}
    together, placed = as_one(own, numbers, manifest["folder"], report)
    shown = together["layouts"]
    name = "tables/placements.csv"
    check_placements(placed, rows("placements", files, report), name, report)
    first = own[numbers[0]]
    alike = all(own[n][k] == first[k] for n in numbers for k in ("kits", "folds"))
    report.expect(alike, "parts that tell the same of kits", "plan.json", "differs between parts")
    check_stock(together, rows("stock", files, report), report)
    check_cut_drawings(together, files, report)
    check_roles(together, files, report)
    check_drawn(layout_facts(shown), files, report)
    stocks = [row["stock"] for row in shown]
    check_manifest(manifest, list(own.values()), stocks, False, report)
    check_cut_sheets(together, files, report)
    check_cut_places(together, files, report)
    check_kits(together, files, report)
    check_purchases(own, files, manifest["folder"], report)


def as_one(
    plans: dict[str, dict], numbers: list[str], name: str, report: Report
) -> tuple[dict, list[tuple]]:
    """The cut plan of several parts as one plan, all its pieces in `also_cut`.

    Args:
        plans: plan.json of each part, by its number.
        numbers: of the parts, the first gives the unit.
        name: of the set.
        report: told where two parts disagree on a placement.

    Returns:
        The plan; every placement as (stock, part, placement), with its corner points where they are
        for the tape of the set.
    """
    layouts: dict[str, dict] = {}
    placed: dict[tuple, tuple] = {}
    for number in numbers:
        for layout in plans[number]["layouts"]:
            layouts.setdefault(layout["stock"], layout)
            for p in layout["placements"]:
                placed[layout["stock"], number, p["piece"], p["copy"]] = layout["stock"], number, p
                same = layouts[layout["stock"]]["bays"] == layout["bays"]
                report.expect(same, "rolls of which two parts tell the same bays", layout["stock"],
                              f"{number} tells others")  # fmt: skip
            for p in layout["also_cut"]:
                other = plans.get(p["part"], {"layouts": []})
                same = any(
                    q["piece"] == p["piece"] and q["copy"] == p["copy"]
                    and abs(q["x_mm"] - p["x_mm"]) + abs(q["y_mm"] - p["y_mm"]) < 1e-6
                    for x in other["layouts"] if x["stock"] == layout["stock"]
                    for q in x["placements"]
                )  # fmt: skip
                report.expect(same, "placements on which two parts agree", layout["stock"],
                              f"{number} sees {p['part']}/{p['piece']} elsewhere")  # fmt: skip
    first = plans[numbers[0]]
    tapes = {n: tape_unit(plans[n]) for n in numbers}
    pieces = {n: {p["id"]: p for p in plans[n]["pieces"]} for n in numbers}
    shown = []
    for layout in layouts.values():
        mine = [v for k, v in placed.items() if k[0] == layout["stock"]]
        outlines = [_cut(p, n, pieces[n][p["piece"]], tapes[n] == tape_unit(first))
                    for _, n, p in mine]  # fmt: skip
        shown.append({**layout, "placements": [], "also_cut": outlines})
        cuts = cuts_of(shown[-1], {}, "")
        check_bays(layout, cuts, f"layout {layout['stock']}", report)
    materials: dict[str, dict] = {}
    for number in reversed(numbers):  # the first part names them
        materials.update(plans[number]["materials"])
    together = {"part": {**first["part"], "number": name}, "pieces": [],
                "materials": materials, "layouts": shown, "set": True,
                "workshop": first["workshop"],
                "kits": first["kits"], "folds": first["folds"],
                "hands": {n: plans[n]["part"]["hand"] for n in numbers}}  # fmt: skip
    told = [(stock, n, p if tapes[n] == tape_unit(first) else without_corners(p))
            for stock, n, p in placed.values()]  # fmt: skip
    return together, told


def _cut(placement: dict, number: str, piece: dict, same_tape: bool) -> dict:
    """A placement with what the mark-out tells of its piece; its corner points only where they
    are for the tape of the set."""
    told = ("outline_mm", "cut_outline_mm", "quantity", "kind", "angle_deg", "stage")
    own = placement if same_tape else without_corners(placement)
    return {**own, "part": number, **{k: piece[k] for k in told if k in piece}}


def read_manifest(data: bytes) -> dict:
    """The manifest as data; {} when it cannot be read or does not list its parts as it should."""
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    parts = found.get("parts", []) if isinstance(found, dict) else None
    named = isinstance(parts, list) and all(
        isinstance(part, dict) and isinstance(part.get("number"), str) for part in parts
    )
    return found if named else {}
