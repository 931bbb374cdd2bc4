"""The sheets that go with the tiles: printer test, list of pieces, page map of a piece."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from plybook.drawing.letters import LEADING, fitted, text_box_mm, text_width_mm, wrapped
from plybook.drawing.scene import Circle, Path, Primitive, Role, Scene, Text
from plybook.drawing.titleblock import TitleFacts, title_block
from plybook.spec.model import PartSpec
from plybook.units import STIFF, show_length, show_number
from plybook.write.paper import PITCH_MM, TILE_MM
from plybook.write.tiles import Tiling

RULERS_MM = (180.0, 240.0)  # 3 % off is 5 and 7 mm here; on an inch it would hide
MAP_ROLES = (Role.CUT, Role.CUT_INNER, Role.NET, Role.STATION, Role.BEVEL, Role.AXIS, Role.FOLD)
UNDER_MAP_MM = 36.0  # words under the map, and white space around it
TEST_STEPS = (
    "Print this page first, at actual size (100 %). Switch off every kind of fitting or shrinking.",
    "Measure both rulers with a steel rule and write down what you find.",
    "Across between 179.7 and 180.3 mm, up between 239.6 and 240.4 mm: print the rest.",
    "Otherwise put into the spec, under workshop and printer, what 100 mm measures: the figure "
    "found, divided by 180 (or 240), times 100. Build again and print this page again.",
    "Cut each tile along its frame on the right and on the upper side, lay it over its neighbour "
    "until crosses meet crosses and the letters agree, and tape it flat.",
    "Before cutting material, measure the check lines given on the piece's page map.",
)


def text(at: tuple[float, float], words: str, height: float = 2.5, **more) -> Text:
    """Words in the plain text role."""
    return Text(Role.TEXT, at, words, height, **more)


def test_page(spec: PartSpec, corner_mm: tuple[float, float]) -> Scene:
    """Long rulers both ways, blanks for what was measured, and how the tiles are put together."""
    x0, y0 = corner_mm
    items: list[Primitive] = [
        text((x0 + 25, y0 + 226), "Is your printer true?", 10.0, bold=True),
        text((x0 + 25, y0 + 216), f"{spec.part.number} rev {spec.part.revision} \u00b7 "
             f"{spec.part.name}", 3.5),
    ]  # fmt: skip
    items += _ruler((x0 + 5, y0 + 3), RULERS_MM[0], upright=False)
    items += _ruler((x0 + 5, y0 + 3), RULERS_MM[1], upright=True)
    y = y0 + 196.0
    for k, step in enumerate(TEST_STEPS):
        items.append(text((x0 + 25, y), f"{k + 1}", 5.0, bold=True))
        for row in wrapped(step, 140.0, 3.5):
            items.append(text((x0 + 35, y), row, 3.5))
            y -= 3.5 * LEADING
        y -= 3.5
    y -= 6.0
    for label, ruler in (("Across", RULERS_MM[0]), ("Up", RULERS_MM[1])):
        said = f"{label}: should be {show_number(ruler, 0)} mm, measured"
        items.append(text((x0 + 25, y), said, 3.5))
        start = x0 + 28 + text_width_mm(said, 3.5)
        items.append(Path(Role.FRAME, np.array([(start, y - 1), (start + 34, y - 1)])))
        items.append(text((start + 36, y), "mm", 3.5))
        y -= 12.0
    shop = spec.workshop
    if shop.printer_x_pct != 100.0 or shop.printer_y_pct != 100.0:
        said = (f"Drawn to make up for a printer that prints 100 mm as "
                f"{show_number(shop.printer_x_pct, 2)} mm across and "
                f"{show_number(shop.printer_y_pct, 2)} mm up.")  # fmt: skip
        items.append(text((x0 + 25, y), said, 2.5, bold=True))
    return Scene(tuple(items), (0, 0, 1, 1), "Printer test")


def _ruler(at: tuple[float, float], length: float, upright: bool) -> list[Primitive]:
    """A ruler with a tick each 10 mm and figures each 20 mm."""
    origin = np.array(at)
    along, off = (np.array([0.0, 1.0]), np.array([1.0, 0.0]))
    if not upright:
        along, off = off, along
    items: list[Primitive] = [Path(Role.FRAME, np.array([origin, origin + along * length]))]
    for mark in np.arange(0.0, length + 1, 10.0):
        reach = 5.0 if mark % 50 == 0 or mark == length else 3.0
        foot = origin + along * mark
        items.append(Path(Role.FRAME, np.array([foot, foot + off * reach])))
        if mark and (mark % 20 == 0 or mark == length):
            x, y = foot + off * 7.5
            last = mark == length
            items.append(text((float(x), float(y)), f"{mark:.0f}", 3.5 if last else 2.5,
                              turn_deg=90.0 if upright else 0.0, anchor="middle",
                              rise="top" if upright else "baseline", bold=last))  # fmt: skip
    return items


def list_pages(
    spec: PartSpec,
    head: tuple[str, ...],
    rows: Sequence[tuple[str, ...]],
    shares: tuple[float, ...],
    corner_mm: tuple[float, float],
) -> list[Scene]:
    """The list of pieces with their pages, on as many sheets as it takes."""
    per_page = 38
    chunks = [rows[k : k + per_page] for k in range(0, len(rows), per_page)] or [[]]
    scenes = []
    edges = np.concatenate([[0.0], np.cumsum(shares)]) * TILE_MM[0] / sum(shares) + corner_mm[0]
    for k, chunk in enumerate(chunks):
        y = corner_mm[1] + TILE_MM[1] - 16.0
        more = f" ({k + 1} of {len(chunks)})" if len(chunks) > 1 else ""
        items: list[Primitive] = [text((corner_mm[0], y), f"Pieces in this file{more}", 7.0,
                                       bold=True)]  # fmt: skip
        y -= 12.0
        for cell, x in zip(head, edges[:-1], strict=True):
            items.append(text((float(x), y), cell, 2.5, bold=True))
        y -= 2.0
        for row in chunk:
            items.append(Path(Role.DIMENSION, np.array([(edges[0], y), (edges[-1], y)])))
            y -= 4.0
            for c, (cell, x) in enumerate(zip(row, edges[:-1], strict=True)):
                room = edges[c + 1] - x - 1.5
                height = 2.5 if text_width_mm(cell, 2.5, c == 0) <= room else 1.8
                items.append(text((float(x), y), fitted(cell, room, height, c == 0), height,
                                  bold=c == 0))  # fmt: skip
            y -= 1.4
        items += title_block(
            spec.part, TitleFacts("Templates 1:1", "List of pieces", f"{k + 1} / {len(chunks)}"),
            (corner_mm[0] + 5.0, corner_mm[1]),
        )  # fmt: skip
        scenes.append(Scene(tuple(items), (0, 0, 1, 1), "Pieces"))
    return scenes


def map_page(
    tiling: Tiling,
    outline_mm: np.ndarray,
    card: tuple[Primitive, ...],
    spec: PartSpec,
    corner_mm: tuple[float, float],
) -> Scene:
    """Which tile lies where, the check lines to measure after taping, and the piece's card.

    Args:
        tiling: the piece in tiles.
        outline_mm: its cut outline, for the check lines.
        card: the piece's card, anywhere; it is moved to the foot of the page.
        spec: for units.
        corner_mm: lower left corner of the printed area.
    """
    grid = tiling.grid
    low, high = (
        np.array(grid.window(grid.rows - 1, 0)[:2]),
        np.array(grid.window(0, grid.columns - 1)[2:]),
    )
    rows = [i.points_mm[:, 1] for i in card if isinstance(i, Path)]
    card_high = max(float(r.max()) for r in rows) - min(float(r.min()) for r in rows)
    room = TILE_MM[1] - card_high - UNDER_MAP_MM
    scale = min((TILE_MM[0] - 8.0) / (high - low)[0], room / (high - low)[1], 0.5)
    size = (high - low) * scale
    top = corner_mm[1] + TILE_MM[1] - 5.0
    at = np.array([corner_mm[0] + (TILE_MM[0] - size[0]) / 2, top - size[1]])

    def put(points: np.ndarray) -> np.ndarray:
        return (np.asarray(points, dtype=float) - low) * scale + at

    items: list[Primitive] = []
    printed = set(tiling.printed)
    for row in range(grid.rows):
        for column in range(grid.columns):
            x0, y0, x1, y1 = grid.own(row, column)
            a, b = put(np.array([(x0, y0), (x1, y1)]))
            ring = np.array([a, (b[0], a[1]), b, (a[0], b[1])])
            items.append(Path(Role.GHOST, ring, True, "" if (row, column) in printed else "scrap"))
            if (row, column) not in printed:
                items.append(Path(Role.GHOST, ring[[0, 2]]))
                items.append(Path(Role.GHOST, ring[[1, 3]]))
    items += [
        Path(item.role, put(item.points_mm), item.closed)
        for item in tiling.scene.items
        if isinstance(item, Path) and item.role in MAP_ROLES
    ]
    checks, words = _check_lines(outline_mm, put, spec.part.units)
    names = _tile_names(tiling, put, scale, [*items, *checks])
    items += [*names, *checks]
    y = at[1] - 7.0
    count = f"{len(tiling.printed)} sheets. Crossed-out tiles carry no line and are not printed."
    items.append(text((corner_mm[0], y), count, 2.5))
    for said in words:
        y -= 7.0
        items.append(text((corner_mm[0], y), said, 3.5))
        x = corner_mm[0] + text_width_mm(said, 3.5) + 3.0
        items.append(Path(Role.FRAME, np.array([(x, y - 1.0), (x + 30.0, y - 1.0)])))
    foot = Scene(card, (0, 0, 1, 1))
    lowest = min(float(np.min(i.points_mm[:, 1])) for i in card if isinstance(i, Path))
    left = min(float(np.min(i.points_mm[:, 0])) for i in card if isinstance(i, Path))
    moved = foot.moved(corner_mm[0] + 5.0 - left, corner_mm[1] - lowest)
    return Scene((*items, *moved.items), (0, 0, 1, 1), "Page map")


def _tile_names(
    tiling: Tiling, put: Callable[[np.ndarray], np.ndarray], scale: float, drawn: list[Primitive]
) -> list[Primitive]:
    """The name of each printed tile in its cell, clear of the piece's lines where it can be."""
    grid = tiling.grid
    cell = PITCH_MM[0] * scale
    height = 5.0 if cell > 18 else 3.5 if cell > 12 else 2.5 if cell > 9 else 1.8
    lines = [
        shapely.linestrings(np.vstack([i.points_mm, i.points_mm[:1]]) if i.closed else i.points_mm)
        for i in drawn
        if isinstance(i, Path) and i.role not in (Role.GHOST, Role.ZONE)
    ]
    lines += [shapely.Polygon(text_box_mm(i, 0.3)) for i in drawn if isinstance(i, Text)]
    tree = shapely.STRtree(lines)
    names: list[Primitive] = []
    for row, column in tiling.printed:
        x0, y0, x1, y1 = grid.own(row, column)
        (x, y), (u, v) = put(np.array([(x0, y0), (x1, y1)]))
        tries = [
            text((float(x + (u - x) * a), float(y + (v - y) * b)), grid.name(row, column), height,
                 anchor="middle", rise="centre")
            for a in (0.5, 0.3, 0.7) for b in (0.5, 0.2, 0.8, 0.35, 0.65)
        ]  # fmt: skip
        free = (t for t in tries if not len(tree.query(shapely.Polygon(text_box_mm(t, 0.2)),
                                                       predicate="intersects")))  # fmt: skip
        names.append(next(free, None) or replace(tries[0], halo=True))
    return names


def _check_lines(
    outline_mm: np.ndarray, put: Callable[[np.ndarray], np.ndarray], unit: str
) -> tuple[list[Primitive], list[str]]:
    """The two longest ways across the piece, from corner to corner."""
    ring = np.asarray(outline_mm, dtype=float)
    sums, gaps = ring.sum(axis=1), ring[:, 0] - ring[:, 1]
    pairs = [(int(sums.argmin()), int(sums.argmax())), (int(gaps.argmin()), int(gaps.argmax()))]
    items: list[Primitive] = []
    words: list[str] = []
    for k, (i, j) in enumerate(pairs):
        if i == j:
            continue
        names = ("P", "Q") if k == 0 else ("R", "S")
        ends = put(ring[[i, j]])
        items.append(Path(Role.ZONE, ends))
        for name, end, other in zip(names, ends, ends[::-1], strict=True):
            out = (end - other) / max(np.hypot(*(end - other)), 1e-9)
            x, y = end + out * 3.4
            items.append(Circle(Role.DIMENSION, (float(end[0]), float(end[1])), 0.7, "ink"))
            items.append(text((float(x), float(y)), name, 3.5, anchor="middle", rise="centre",
                              bold=True, halo=True))  # fmt: skip
        length = show_length(math.dist(ring[i], ring[j]), unit, True, STIFF)
        words.append(f"{names[0]} to {names[1]} after taping: {length}, measured")
    return items, words
