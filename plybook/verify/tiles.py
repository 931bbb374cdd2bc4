"""The paper templates put together again: every cut line is on paper, in its place, at 1:1, or
comes out true from the printed figures."""

from __future__ import annotations

import numpy as np

from plybook.verify import plane
from plybook.verify.pdf_pages import open_book
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.served import check_served
from plybook.verify.tape import check_figures
from plybook.verify.tilewords import check_tile_words
from plybook.verify.tolerances import PAPER_MM

STEP_MM = 2.0


def check_tiles(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Re-assemble each piece from its sheets and compare with plan.json.

    `tiles` in plan.json says where each sheet's frame lies: page, window in the piece's own
    coordinates, corner of the frame on the paper, and the printer correction.
    """
    tiles = plan.get("tiles")
    if tiles is None or "templates.pdf" not in files:
        report.fault("templates.pdf", "its tiles cannot be placed")
        return
    try:
        book = open_book(files["templates.pdf"])
    except ValueError as wrong:
        report.fault("templates.pdf", f"cannot be read: {wrong}")
        return
    told = (*tiles, *plan.get("figures", []), *plan.get("served", []))
    last = max((t["page"] for t in told), default=0)
    pages = {k + 1: book.page(k) for k in range(min(book.count, last))}
    made = check_figures(plan, tiles, pages, report)
    told_by_card = set(made) | check_served(plan, pages, made, report)
    for piece in plan["pieces"]:
        if piece["id"] in told_by_card:
            continue
        drawn = []
        for sheet in (t for t in tiles if t["piece"] == piece["id"]):
            if sheet["page"] in pages:
                drawn += _on_sheet(pages[sheet["page"]].lines, sheet)
        where = f"templates.pdf, piece {piece['id']}"
        if drawn:
            compare_cut(piece, drawn, where, report)
        elif piece["kind"] == "rod":
            report.expect(_is_sawn_square(piece), "rods of a length alone, without a template",
                          where, "is no rectangle, and has no template")  # fmt: skip
        else:
            report.fault(where, "is on none of the sheets")
    check_tile_words(plan, tiles, pages, report)


def _is_sawn_square(piece: dict) -> bool:
    """Whether two square cuts make a rod: four corners of 90 degrees, by how far the shorter side
    of each lies off the square to the longer."""
    points = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
    ways = np.roll(points, -1, axis=0) - points
    size = np.hypot(*ways.T)
    longer = np.maximum(size, np.roll(size, -1))
    slant = np.abs(np.sum(ways * np.roll(ways, -1, axis=0), axis=1)) / longer
    return len(points) == 4 and not piece["holes_mm"] and bool(slant.max() <= PAPER_MM)


def _on_sheet(lines: list, sheet: dict) -> list[np.ndarray]:
    """The cut lines inside one frame, in the piece's own coordinates."""
    corner, stretch = np.array(sheet["corner_mm"]), np.array(sheet["stretch"])
    low, high = np.array(sheet["window_mm"][:2]), np.array(sheet["window_mm"][2:])
    found = []
    for line in lines:
        if line.mark not in ("CUT", "CUT_INNER"):
            continue
        points = (line.points - corner) / stretch + low
        if line.closed:
            points = np.concatenate([points, points[:1]])
        if (points.max(axis=0) < low - 2).any() or (points.min(axis=0) > high + 2).any():
            continue
        found.append(points)
    return found


def compare_cut(piece: dict, drawn: list[np.ndarray], where: str, report: Report) -> None:
    """Lines put together from several sheets against the outline and holes of a piece."""
    outline = ring(piece.get("cut_outline_mm", piece["outline_mm"]))
    rings = [outline, *(ring(h) for h in piece["holes_mm"])]
    start = np.concatenate([d[:-1] for d in drawn])
    end = np.concatenate([d[1:] for d in drawn])
    missed = max(float(_to_lines(_walk(r), start, end).max()) for r in rings)
    report.expect(missed <= PAPER_MM, "pieces whole when their sheets are put together", where,
                  f"a stretch of its cut is {missed:.3f} mm off or missing on paper")  # fmt: skip
    points = np.concatenate(drawn)
    stray = float(np.min([plane.distance_to_path(points, r) for r in rings], axis=0).max())
    report.expect(stray <= PAPER_MM, "sheets without a stray cut", where,
                  f"a cut line strays {stray:.3f} mm from plan.json")  # fmt: skip


def _walk(points: np.ndarray) -> np.ndarray:
    """Points along a ring, close enough that no missing tile slips through."""
    return plane.walk(np.concatenate([points, points[:1]]), STEP_MM)


def _to_lines(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of points to a bundle of segments; only those near each block are looked at."""
    best = np.full(len(points), np.inf)
    for k in range(0, len(points), 256):
        block = points[k : k + 256]
        low, high = block.min(axis=0) - 1, block.max(axis=0) + 1
        near = np.all(np.maximum(start, end) >= low, axis=1) & np.all(
            np.minimum(start, end) <= high, axis=1
        )
        if near.any():
            path = np.stack([start[near], end[near]], axis=1)
            best[k : k + 256] = np.min(
                [plane.distance_to_path(block, s, closed=False) for s in path], axis=0
            )
    return best
