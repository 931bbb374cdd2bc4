"""The folder of several parts cut together, against the plans of those parts."""

from __future__ import annotations

import json

from plybook.verify.drawings import check_cut_drawings
from plybook.verify.layouts import placed_ring
from plybook.verify.report import Report
from plybook.verify.tables import check_placements, rows

UNREAD = "the shared cut plan against its parts: their folders are not beside it"


def check_set(files: dict[str, bytes], manifest: dict, plans: dict, report: Report) -> None:
    """The shared cut plan holds just what its parts say is cut.

    Args:
        files: of the set's folder.
        manifest: of the set's folder.
        plans: (plan, report) by part number, of the folders verified with it.
    """
    numbers = [part["number"] for part in manifest.get("parts", [])]
    missing = [n for n in numbers if n not in plans]
    if missing or not numbers:
        report.unproved.append(UNREAD)
        return
    layouts: dict[str, dict] = {}
    placed: dict[tuple, tuple] = {}
    for number in numbers:
        plan, _ = plans[number]
        for layout in plan["layouts"]:
            layouts.setdefault(layout["stock"], layout)
            for p in layout["placements"]:
                placed[layout["stock"], number, p["piece"], p["copy"]] = layout["stock"], number, p
            for p in layout["also_cut"]:
                other = plans.get(p["part"], ({"layouts": []}, None))[0]
                same = any(
                    q["piece"] == p["piece"] and q["copy"] == p["copy"]
                    and abs(q["x_mm"] - p["x_mm"]) + abs(q["y_mm"] - p["y_mm"]) < 1e-6
                    for x in other["layouts"] if x["stock"] == layout["stock"]
                    for q in x["placements"]
                )  # fmt: skip
                report.expect(same, "placements on which two parts agree", layout["stock"],
                              f"{number} sees {p['part']}/{p['piece']} elsewhere")  # fmt: skip
    name = "tables/placements.csv"
    check_placements(list(placed.values()), rows("placements", files, report), name, report)
    first = plans[numbers[0]][0]
    shared = {**first, "layouts": list(layouts.values())}
    pieces = {n: {p["id"]: p for p in plans[n][0]["pieces"]} for n in numbers}
    for layout in shared["layouts"]:
        mine = [v for k, v in placed.items() if k[0] == layout["stock"]]
        outlines = [
            {**p, "part": n, **{k: pieces[n][p["piece"]][k] for k in ("outline_mm",)},
             **{k: v for k, v in pieces[n][p["piece"]].items() if k == "cut_outline_mm"}}
            for _, n, p in mine
        ]  # fmt: skip
        check_cut_drawings(
            {"pieces": [], "layouts": [{**layout, "placements": [], "also_cut": outlines}]},
            files, placed_ring, report,
        )  # fmt: skip


def read_manifest(data: bytes) -> dict:
    """The manifest as data; {} when it cannot be read."""
    try:
        found = json.loads(data)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
