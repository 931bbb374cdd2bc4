"""Layouts: every piece cut once, inside its stock, clear of the others, along its fibre, with
corner points that take nothing off it."""

from __future__ import annotations

from pathlib import PurePosixPath

import numpy as np

from plybook.verify import plane
from plybook.verify.corners import check_marks
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.tolerances import TOUCH_MM, TURN_DEG

SHARED = "shared_cut_plan"  # in plan.json: the cut plan stands in the folder of a set


def check_layouts(plan: dict, report: Report) -> None:
    """Layouts of plan.json against pieces, stock and the rules of each material."""
    pieces = {p["id"]: p for p in plan["pieces"]}
    materials = plan.get("materials", {})
    unit = tape_unit(plan)
    found: dict[str, list[int]] = {}
    for layout in plan["layouts"]:
        where = f"layout {layout['stock']}"
        rings: list[tuple[str, np.ndarray]] = []
        for placement in layout["placements"]:
            piece = pieces.get(placement["piece"])
            if piece is None:
                report.fault(where, f"places {placement['piece']}, which is no piece")
                continue
            found.setdefault(piece["id"], []).append(placement["copy"])
            report.expect(piece["material"] == layout["material"], "pieces on their own material",
                          where, f"{piece['id']} is cut from the wrong material")  # fmt: skip
            rings.append((piece["id"], placed_ring(piece, placement)))
            _check_turn(piece, placement, layout, materials, where, report)
            at = f"{where}, {piece['id']} copy {placement['copy']}"
            line = next((bay["at_mm"] for bay in layout["bays"]
                         if bay["number"] == placement["bay"]), 0.0)  # fmt: skip
            check_marks(np.array(placement["in_bay_mm"]),
                        on_stock(piece, placement, layout) - (line, 0.0), unit, at, report,
                        placement["corner_mm"])  # fmt: skip
        for placement in layout.get("also_cut", []):
            if "outline_mm" in placement:
                name = f"{placement['part']}/{placement['piece']}"
                rings.append((name, placed_ring(placement, placement)))
        gap = float(materials.get(layout["material"], {}).get("gap_mm", 0.0))
        _check_inside(layout, rings, where, report)
        _check_apart(rings, gap, where, report)
    for name, piece in pieces.items():
        copies = sorted(found.get(name, []))
        if piece["kind"] == "film" and not copies:
            report.proved("films cut by hand from their roll")
            continue
        report.expect(copies == list(range(1, piece["quantity"] + 1)),
                      "pieces cut as often as they are needed", f"piece {name}",
                      f"copies {copies} of {piece['quantity']} are in the layouts")  # fmt: skip


def placed_ring(piece: dict, placement: dict) -> np.ndarray:
    """The outline of a piece where its placement puts it on the stock."""
    return plane.placed(
        ring(piece.get("cut_outline_mm", piece["outline_mm"])),
        placement["x_mm"],
        placement["y_mm"],
        placement["rotation_deg"],
        placement["flipped"],
    )


def on_stock(piece: dict, placement: dict, layout: dict) -> np.ndarray:
    """The same counter-clockwise, from the stock's end and edge."""
    outline = placed_ring(piece, placement) + (0.0, layout["edge_mm"])
    return outline if plane.area(outline) > 0 else outline[::-1]


def set_folder(plan: dict) -> str:
    """The folder of the cut plan that a part shares; "" where it has its own, or names none."""
    told = plan.get(SHARED)
    name = told.get("folder") if isinstance(told, dict) else None
    plain = isinstance(name, str) and name not in ("", ".", "..") and "\\" not in name
    return str(name) if plain and PurePosixPath(str(name)).name == name else ""


def tape_unit(plan: dict) -> str:
    """What pieces are marked out in, "mm" or "in"."""
    return "in" if plan["part"]["units"] == "in" else "mm"


def _check_turn(
    piece: dict, placement: dict, layout: dict, materials: dict, where: str, report: Report
) -> None:
    if layout["kind"] != "roll" or piece["kind"] not in ("ply", "film"):
        return
    rules = materials.get(layout["material"], {})
    step = 90.0 if rules.get("axes_alike") else 180.0
    angle = -piece["angle_deg"] if placement["flipped"] else piece["angle_deg"]
    off = (angle + placement["rotation_deg"]) % step
    off = min(off, step - off)
    if piece["kind"] == "ply":
        report.expect(off <= TURN_DEG, "plies with their fibre along the warp", where,
                      f"{piece['id']} lies {off:.3f} degrees off the warp")  # fmt: skip
    if placement["flipped"]:
        allowed = rules.get("faces_alike") and piece.get("may_turn_over")
        report.expect(bool(allowed), "pieces face down only where faces are alike",
                      where, f"{piece['id']} is turned face down")  # fmt: skip


def _check_inside(layout: dict, rings: list, where: str, report: Report) -> None:
    for name, points in rings:
        low, high = points.min(axis=0), points.max(axis=0)
        limit = layout["used_length_mm"] if layout["kind"] == "roll" else layout["length_mm"]
        report.expect(
            bool(
                (low >= -TOUCH_MM).all()
                and high[0] <= limit + TOUCH_MM
                and high[1] <= layout["width_mm"] + TOUCH_MM
            ),
            "pieces inside their stock", where, f"{name} leaves the stock",
        )  # fmt: skip
        if layout.get("outline_mm"):
            edge = ring(layout["outline_mm"])
            out = ~plane.inside(points, edge) & (plane.distance_to_path(points, edge) > TOUCH_MM)
            report.expect(not out.any(), "pieces inside their remnant", where,
                          f"{name} leaves the remnant")  # fmt: skip
        for zone in layout["bad_zones_mm"]:
            bad = ring(zone)
            middle = bad.mean(axis=0)
            bad = middle + (bad - middle) * (1 - 4 * TOUCH_MM / max(1.0, np.ptp(bad, axis=0).min()))
            report.expect(plane.clearance(points, bad) > -1, "pieces clear of bad zones",
                          where, f"{name} lies on a bad zone")  # fmt: skip


def _check_apart(rings: list, gap: float, where: str, report: Report) -> None:
    boxes = [(p.min(axis=0) - gap, p.max(axis=0) + gap) for _, p in rings]
    order = sorted(range(len(rings)), key=lambda i: boxes[i][0][0])
    for position, i in enumerate(order):
        for j in order[position + 1 :]:
            if boxes[j][0][0] > boxes[i][1][0]:
                break
            if boxes[j][0][1] > boxes[i][1][1] or boxes[i][0][1] > boxes[j][1][1]:
                continue
            clear = plane.clearance(rings[i][1], rings[j][1])
            report.expect(clear >= gap - TOUCH_MM, "neighbours the cut's width apart", where,
                          f"{rings[i][0]} and {rings[j][0]} are {clear:.3f} mm apart, "
                          f"{gap:g} mm is needed")  # fmt: skip
