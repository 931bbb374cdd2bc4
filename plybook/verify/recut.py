"""The folder of a recut, against the build it was made for.

A spoiled piece lies elsewhere, the place where it was spoiled is closed, and nothing else moves.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np

from plybook.verify import plane
from plybook.verify.cutplaces import check_cut_places
from plybook.verify.drawings import check_cut_drawings
from plybook.verify.layouts import SHARED, check_layouts, placed_ring
from plybook.verify.manifest import MANIFEST, check_manifest
from plybook.verify.markout import check_cut_sheets
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.roles import check_roles
from plybook.verify.sets import as_one, read_manifest
from plybook.verify.twins import check_drawn, layout_facts

AGAIN = "recut.json"
ENDS = "-recut"
_KEYS = {"recut", "of", "builds", "stock", "spoiled", "layouts"}
_SPOILED = {"part", "piece", "copy", "stock", "outline_mm"}
_SAME_MM = 0.01  # places in plan.json are told to a thousandth
UNREAD = "what was cut again against its build: the folders of its parts are not beside it"


def check_recut(folder: Path, files: dict[str, bytes], plans: dict, report: Report) -> None:
    """Everything of the folder of a recut.

    Args:
        folder: where it stands; the build stands beside it.
        files: of the folder.
        plans: (plan, report) by part number, of the build.
        report: takes what is found.
    """
    again = json.loads(files[AGAIN])
    manifest = read_manifest(files[MANIFEST])
    numbers = [part["number"] for part in manifest.get("parts", [])]  # the first gives the unit
    good = set(again) == _KEYS and all(set(one) == _SPOILED for one in again["spoiled"])
    good = good and again["recut"] == 1 and set(numbers) == set(again["builds"])
    report.expect(good, "recuts with nothing unaccounted for", AGAIN,
                  "has other keys than a recut")  # fmt: skip
    if any(n not in plans for n in numbers) or not numbers:
        report.unproved.append(UNREAD)
        return
    for number in numbers:
        told = hashlib.sha256((folder.parent / number / MANIFEST).read_bytes()).hexdigest()
        report.expect(told == again["builds"][number], "recuts of the build that stands beside",
                      AGAIN, f"is of another build of {number}: delete this folder")  # fmt: skip
        own = plans[number][0]
        stands = own[SHARED]["folder"] if SHARED in own else number
        report.expect(again["of"] == stands == folder.name.removesuffix(ENDS),
                      "recuts of the cut plan of their parts", AGAIN,
                      f"is of {again['of']}, and {number} is cut with {stands}")  # fmt: skip
    after = {n: _after(plans[n][0], again["layouts"].get(n, [])) for n in numbers}
    for number in numbers:
        check_layouts(after[number], report)
        _check_unmoved(plans[number][0], after[number], again["spoiled"], report)
    _check_zones(after, plans, again, report)
    _check_files(files, after, again, report)
    stock = again["stock"]
    check_manifest(manifest, list(after.values()), stock, False, report, {AGAIN})
    report.expect(manifest.get("folder") == folder.name, "manifests with the name of their folder",
                  MANIFEST, f"names the folder {manifest.get('folder')!r}")  # fmt: skip


def _after(plan: dict, rows: list[dict]) -> dict:
    """A plan with the layouts that were cut otherwise, new ones too."""
    now = {row["stock"]: row for row in rows}
    old = [now.pop(row["stock"], row) for row in plan["layouts"]]
    return {**plan, "layouts": [*old, *now.values()]}


def _places(plan: dict) -> dict[tuple, tuple]:
    """Where each copy of each piece lies: stock, x, y, turn, whether face down."""
    number = plan["part"]["number"]
    return {
        (p.get("part", number), p["piece"], p["copy"]): (
            layout["stock"], p["x_mm"], p["y_mm"], p["rotation_deg"], p["flipped"])
        for layout in plan["layouts"]
        for p in (*layout["placements"], *layout.get("also_cut", []))
    }  # fmt: skip


def _check_unmoved(plan: dict, after: dict, spoiled: list[dict], report: Report) -> None:
    """Pieces that were not spoiled stay where they are; those that were lie elsewhere."""
    before, now = _places(plan), _places(after)
    lost = {(one["part"], one["piece"], one["copy"]) for one in spoiled}
    number = plan["part"]["number"]
    for key in sorted(set(before) | set(now)):
        if key in lost:
            moved = key[0] != number or (key in now and before.get(key) != now[key])
            report.expect(moved, "spoiled pieces cut elsewhere", AGAIN,
                          f"{'/'.join(map(str, key))} lies where it was spoiled")  # fmt: skip
        else:
            report.expect(before.get(key) == now.get(key), "pieces that no recut moves", AGAIN,
                          f"{'/'.join(map(str, key))} was not spoiled, and moves")  # fmt: skip


def _check_zones(after: dict[str, dict], plans: dict, again: dict, report: Report) -> None:
    """Where a piece was spoiled nothing is cut any more: a bad zone for each, and no others."""
    first: set[tuple] = set()
    for one in again["spoiled"]:
        key = one["part"], one["piece"], one["copy"]
        plan = plans[one["part"]][0]
        if key not in first:  # a second time it lies where the first recut put it
            first.add(key)
            piece = next(p for p in plan["pieces"] if p["id"] == one["piece"])
            lies = [
                placed_ring(piece, p) for row in plan["layouts"] if row["stock"] == one["stock"]
                for p in row["placements"] if (p["piece"], p["copy"]) == key[1:]
            ]  # fmt: skip
            off = min((plane.apart_by(one_ring, ring(one["outline_mm"])) for one_ring in lies),
                      default=np.inf)  # fmt: skip
            report.expect(off <= _SAME_MM, "spoiled places where the piece was to be cut", AGAIN,
                          f"{'/'.join(map(str, key))} was not cut there")  # fmt: skip
    for number, plan in after.items():
        built = {row["stock"]: row["bad_zones_mm"] for row in plans[number][0]["layouts"]}
        for row in plan["layouts"]:
            lost = [one for one in again["spoiled"] if one["stock"] == row["stock"]]
            zones = [*built.get(row["stock"], []), *(one["outline_mm"] for one in lost)]
            if row["stock"] not in built:  # a unit that was not begun has the zones of its shelf
                report.expect(all(z in row["bad_zones_mm"] for z in zones),
                              "places of spoiled pieces closed", AGAIN,
                              f"{row['stock']} may be cut where a piece was spoiled")  # fmt: skip
                continue
            report.expect(row["bad_zones_mm"] == zones, "places of spoiled pieces closed", AGAIN,
                          f"{row['stock']} has other bad zones than those of the build and of "
                          "what was spoiled")  # fmt: skip


def _check_files(
    files: dict[str, bytes], after: dict[str, dict], again: dict, report: Report
) -> None:
    """The sheets and drawings of the layouts that are cut otherwise."""
    numbers = list(after)
    whole, _ = as_one(after, numbers, again["of"], report)
    shown = [row for row in whole["layouts"] if row["stock"] in again["stock"]]
    report.expect(sorted(row["stock"] for row in shown) == sorted(again["stock"]),
                  "recuts that name what is cut otherwise", AGAIN,
                  "names stock that is not cut from")  # fmt: skip
    if again["of"] == numbers[0]:  # a part alone; its pieces are its own
        own = after[numbers[0]]
        shown = [row for row in own["layouts"] if row["stock"] in again["stock"]]
        whole = {**own, "bag_rolls": []}
    shown = [row for row in shown if row["placements"] or row["also_cut"]]
    one = {**whole, "layouts": shown, "kits": [], "folds": []}
    check_cut_drawings(one, files, report)
    check_roles(one, files, report)
    check_drawn(layout_facts(shown), files, report)
    check_cut_sheets(one, files, report)
    check_cut_places(one, files, report)
